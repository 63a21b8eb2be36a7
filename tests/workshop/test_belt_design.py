"""Belt drives as a whole: builds, numbers by hand, two motors, against the calculators they are made of."""

from __future__ import annotations

from pathlib import Path

import pytest

from ridesim.bike.load import load_build, replace_keys
from ridesim.errors import BuildError
from ridesim.workshop import belt
from ridesim.workshop.belt.design import Judging, Load, drive_by_hand, drive_of_build, joined_drive, series_drive
from ridesim.workshop.loads import loads_of, ride_of

STAGE = belt.BeltStage(20, 100, 240.0, 25.0, "5M")


def test_by_hand_is_the_calculator() -> None:
    drive = drive_by_hand((STAGE,), Load(3.0, 2000.0), Judging())
    check = belt.check_stage(STAGE, 3.0, 2000.0)
    assert drive.stages[0].check == check
    assert (drive.verdict, drive.layout) == (check.verdict, "one belt stage")
    assert drive.two_stages is None and drive.fit is None


def test_two_stages_pass_the_torque_on() -> None:
    second = belt.BeltStage(18, 72, 200.0, 25.0, "8M")
    drive = drive_by_hand((STAGE, second), Load(3.0, 2000.0), Judging(), (None, 330.0))
    assert drive.two_stages is not None and drive.fit is not None
    assert drive.stages[1].torque_nm == pytest.approx(3.0 * 5.0 * 0.97)
    assert drive.stages[1].speed_rpm == pytest.approx(400.0)
    assert drive.stages[1].check.tensions == drive.two_stages.second.tensions
    assert drive.two_stages.ratio == pytest.approx(20.0)


def test_a_build_s_belts_are_judged_at_their_peak(root: Path) -> None:
    loaded = load_build(root / "configs/longtail-two-stage.toml")
    loads = loads_of(ride_of(loaded, None))
    drive = drive_of_build(loaded, loads, Judging())
    first, second = drive.stages
    assert first.torque_nm == pytest.approx(loads.peak_shaft_torque_nm)
    pull = 2.0 * second.torque_nm / (16 * 8e-3 / 3.141592653589793)
    assert second.check.tensions.effective_pull_n == pytest.approx(pull)
    assert not first.centre_guessed and not second.centre_guessed
    assert first.skip is not None and first.sustained is not None
    assert first.sustained.safety_factor >= first.check.safety_factor


def test_the_distance_of_the_shafts_is_the_build_s_where_it_says_so(root: Path) -> None:
    loaded = load_build(root / "configs/longtail-belt.toml")
    said = replace_keys(loaded, {"drive.stage.0.centre_distance_mm": 410.0})
    drive = drive_of_build(said, loads_of(ride_of(said, None)), Judging())
    assert drive.stages[0].stage.centre_mm == 410.0 and not drive.stages[0].centre_guessed


def test_a_tighter_belt_keeps_more_margin(root: Path) -> None:
    loaded = load_build(root / "configs/longtail-belt.toml")
    loads = loads_of(ride_of(loaded, None))
    loose, tight = (drive_of_build(loaded, loads, Judging(pretension_n=each)).stages[0] for each in (120.0, 240.0))
    assert loose.skip is not None and tight.skip is not None
    assert loose.skip.verdict == "stop"
    assert tight.skip.worst_slack_side_margin == pytest.approx(2.0 * loose.skip.worst_slack_side_margin, rel=0.01)


def test_chains_and_hubs_have_no_belt(root: Path) -> None:
    hub = load_build(root / "configs/longtail-hub.toml")
    with pytest.raises(BuildError, match="no stage of kind belt"):
        drive_of_build(hub, loads_of(ride_of(hub, None)), Judging())


def test_series_takes_the_pretension_that_is_needed() -> None:
    layout = belt.SeriesLayout(
        belt.PulleySpot("wheel", 136, 0.0, 0.0), belt.PulleySpot("first", 24, 330.0, 60.0),
        belt.PulleySpot("second", 24, 330.0, -60.0), 25.0,
    )  # fmt: skip
    drive = series_drive(layout, (2.0, 2.0), Load(2.0, 2000.0), Judging(), "hand")
    assert drive.series is not None
    assert drive.series.pretension_n == pytest.approx(drive.series.needed_pretension_n)
    assert not drive.series.warnings
    slack = series_drive(layout, (2.0, 2.0), Load(2.0, 2000.0), Judging(pretension_n=5.0), "hand")
    assert slack.verdict == "stop" and any("slack" in words for words in slack.series.warnings)  # type: ignore[union-attr]


def test_joined_motors_load_the_main_belt_with_both() -> None:
    joining = belt.BeltStage(20, 20, 90.0, 15.0)
    drive = joined_drive(joining, STAGE, (2.0, 2.0), 2000.0, Judging(), "hand")
    assert drive.joined is not None
    assert drive.joined.shaft_torque_nm == pytest.approx(2.0 + 2.0 * 0.97)
    assert drive.stages[1].torque_nm == pytest.approx(drive.joined.shaft_torque_nm)
