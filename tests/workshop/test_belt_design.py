"""Belt drives as a whole: builds, numbers by hand, two motors, against the calculators they are made of."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from ridesim.bike.load import load_build, replace_keys
from ridesim.errors import BuildError
from ridesim.workshop.belt.design import (
    BeltDrive,
    Judging,
    Load,
    drive_by_hand,
    joined_drive,
    series_drive,
)
from ridesim.workshop.belt.geometry import PulleySpot
from ridesim.workshop.belt.layout import check_stage, pulls_together_n
from ridesim.workshop.belt.of_build import drive_of_build, with_build
from ridesim.workshop.belt.series import SeriesLayout
from ridesim.workshop.belt.shaft import Shaft
from ridesim.workshop.belt.strength import BeltStage, shaft_load_n
from ridesim.workshop.check.sheet import check_build
from ridesim.workshop.loads import RideLoads, loads_of, ride_of
from ridesim.workshop.mount.loads import mount_loads
from ridesim.workshop.wire.flows import currents_of
from ridesim.workshop.wire.harness import Habits, design_harness

STAGE = BeltStage(20, 100, 240.0, 25.0, "5M")


def test_by_hand_is_the_calculator() -> None:
    drive = drive_by_hand((STAGE,), Load(3.0, 2000.0), Judging())
    check = check_stage(STAGE, 3.0, 2000.0)
    assert drive.stages[0].check == check
    assert (drive.verdict, drive.layout) == (check.verdict, "one belt stage")
    assert drive.two_stages is None and drive.fit is None


def test_two_stages_pass_the_torque_on() -> None:
    second = BeltStage(18, 72, 200.0, 25.0, "8M")
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
    loose, tight = (drive_of_build(loaded, loads, Judging((each,))).stages[0] for each in (120.0, 240.0))
    assert loose.skip is not None and tight.skip is not None
    assert loose.skip.verdict == "stop"
    assert tight.skip.worst_slack_side_margin == pytest.approx(2.0 * loose.skip.worst_slack_side_margin, rel=0.01)


def test_chains_and_hubs_have_no_belt(root: Path) -> None:
    hub = load_build(root / "configs/longtail-hub.toml")
    with pytest.raises(BuildError, match="no stage of kind belt"):
        drive_of_build(hub, loads_of(ride_of(hub, None)), Judging())


def test_series_takes_the_pretension_that_is_needed() -> None:
    layout = SeriesLayout(
        PulleySpot("wheel", 136, 0.0, 0.0), PulleySpot("first", 24, 330.0, 60.0),
        PulleySpot("second", 24, 330.0, -60.0), 25.0,
    )  # fmt: skip
    drive = series_drive(layout, (2.0, 2.0), Load(2.0, 2000.0), Judging(), "hand")
    assert drive.series is not None
    assert drive.series.pretension_n == pytest.approx(drive.series.needed_pretension_n)
    assert not drive.series.warnings
    slack = series_drive(layout, (2.0, 2.0), Load(2.0, 2000.0), Judging((5.0,)), "hand")
    assert slack.verdict == "stop" and any("slack" in words for words in slack.series.warnings)  # type: ignore[union-attr]


def test_joined_motors_load_the_main_belt_with_both() -> None:
    joining = BeltStage(20, 20, 90.0, 15.0)
    drive = joined_drive(joining, STAGE, (2.0, 2.0), 2000.0, Judging(), "hand")
    assert drive.joined is not None
    assert drive.joined.shaft_torque_nm == pytest.approx(2.0 + 2.0 * 0.97)
    assert drive.stages[1].torque_nm == pytest.approx(drive.joined.shaft_torque_nm)


def test_the_tension_that_is_set_by_hand_reaches_every_belt() -> None:
    second = BeltStage(22, 88, 250.0, 25.0, "8M")
    both = drive_by_hand((STAGE, second), Load(3.0, 2000.0), Judging((150.0, 400.0)))
    assert [page.check.tensions.pretension_n for page in both.stages] == [150.0, 400.0]
    assert both.two_stages is not None
    assert both.two_stages.jackshaft.least_n == both.stages[1].check.tensions.shaft_load_n > 700.0
    same = drive_by_hand((STAGE, second), Load(3.0, 2000.0), Judging((150.0,)))
    assert [page.check.tensions.pretension_n for page in same.stages] == [150.0, 150.0]
    joined = joined_drive(BeltStage(20, 20, 90.0, 15.0), STAGE, (2.0, 2.0), 2000.0, Judging((120.0, 240.0)), "hand")
    assert joined.joined is not None
    alone = max(page.check.tensions.shaft_load_n for page in joined.stages)
    assert joined.joined.first_motor_shaft.least_n == alone
    assert joined.joined.main.tensions.pretension_n == 240.0


def test_the_angle_at_a_shared_shaft_is_heard() -> None:
    second = BeltStage(22, 88, 250.0, 25.0, "8M")
    loads = []
    for turn in (None, 0.0, 90.0, 180.0):
        found = drive_by_hand((STAGE, second), Load(3.0, 2000.0), Judging(turn_deg=turn)).two_stages
        assert found is not None and found.jackshaft.angle_deg == turn
        loads.append(found.jackshaft.load_n)
    assert loads[0] == loads[3] > loads[2] > loads[1]
    joining = BeltStage(20, 20, 90.0, 15.0)
    near, far = (
        joined_drive(joining, STAGE, (2.0, 2.0), 2000.0, Judging(between_deg=each), "hand") for each in (0.0, 180.0)
    )
    assert near.shafts[0].side_load_n > far.shafts[0].side_load_n
    assert near.joined is not None and near.shafts[0].side_load_n == near.joined.first_motor_shaft.load_n


def test_braking_by_hand_pulls_the_second_belt_harder() -> None:
    """Losses eat a driving torque on its way to the wheel and add to a braking one on its way to the motor."""
    second = BeltStage(22, 88, 250.0, 25.0, "8M")
    braking = drive_by_hand((STAGE, second), Load(-3.0, 2000.0), Judging())
    assert braking.stages[1].torque_nm == pytest.approx(-3.0 * 5.0 / 0.97)
    assert braking.brakes and not drive_by_hand((STAGE, second), Load(3.0, 2000.0), Judging()).brakes


def test_a_build_that_brakes_harder_than_it_drives_loads_its_second_belt_by_braking(root: Path) -> None:
    loaded = load_build(root / "configs/longtail-two-stage.toml")
    loads = loads_of(ride_of(loaded, None))
    strong = replace(loads, peak_brake_torque_nm=2.0 * loads.peak_shaft_torque_nm)
    first, second = drive_of_build(loaded, strong, Judging()).stages
    ratio = first.stage.teeth_driven / first.stage.teeth_driver
    assert first.torque_nm == pytest.approx(strong.peak_brake_torque_nm)
    assert second.torque_nm == pytest.approx(strong.peak_brake_torque_nm * ratio / 0.97)
    weak = replace(loads, peak_brake_torque_nm=0.97 * loads.peak_shaft_torque_nm)
    braked = drive_of_build(loaded, weak, Judging()).stages[1].torque_nm  # weaker at the motor, stronger behind it
    assert braked == pytest.approx(loads.peak_shaft_torque_nm * ratio)


def test_a_build_says_what_its_shaft_bears(root: Path) -> None:
    loaded = load_build(root / "configs/longtail-belt.toml")
    loads = loads_of(ride_of(loaded, None))

    def judged(**keys: float) -> object:
        said = replace_keys(loaded, {f"motor.{name}": value for name, value in keys.items()})
        return drive_of_build(said, loads, with_build(Judging(), said)).shafts[0]

    unknown, thin, stated = judged(), judged(shaft_diameter_mm=6.0), judged(shaft_side_load_limit_n=50.0)
    assert unknown.limit_from == "" and unknown.side_load_n > 100.0  # type: ignore[attr-defined]
    assert (thin.verdict, thin.limit_from) == ("look again", "estimate")  # type: ignore[attr-defined]
    assert (stated.verdict, stated.limit_from) == ("stop", "stated")  # type: ignore[attr-defined]
    by_hand = with_build(Judging(shaft=Shaft(12.0)), replace_keys(loaded, {"motor.shaft_diameter_mm": 6.0}))
    assert by_hand.shaft.diameter_mm == 12.0


def test_a_shaft_that_is_overloaded_reaches_the_verdict() -> None:
    found = drive_by_hand((STAGE,), Load(3.0, 2000.0), Judging(shaft=Shaft(side_load_limit_n=100.0)))
    assert found.verdict == "stop" and "motor shaft" in found.reason


def test_series_motors_bear_what_their_two_spans_pull() -> None:
    layout = SeriesLayout(
        PulleySpot("wheel", 136, 0.0, 0.0), PulleySpot("first", 24, 330.0, 60.0),
        PulleySpot("second", 24, 330.0, -60.0), 25.0,
    )  # fmt: skip
    drive = series_drive(
        layout, (2.0, 2.0), Load(2.0, 2000.0), Judging((200.0,), shaft=Shaft(side_load_limit_n=50.0)), "x"
    )
    assert drive.series is not None
    tight, between, slack = (span.tension_n for span in drive.series.spans)
    for place, (come, out) in enumerate(((slack, tight), (tight, between), (between, slack))):
        pulley = drive.series.pulleys[place]
        assert pulley.shaft_load_n == pytest.approx(shaft_load_n(come, out, pulley.wrap_deg))
    assert [each.verdict for each in drive.shafts] == ["stop", "stop"]
    torn = series_drive(layout, (2.0, 2.0), Load(2.0, 2000.0), Judging((900.0,)), "x")
    assert torn.verdict == "stop" and "slacken" in torn.reason


@pytest.mark.parametrize("name", ["longtail-belt", "longtail-two-stage", "longtail-freewheel"])
def test_belt_and_wire_say_of_a_ride_what_check_says(root: Path, name: str) -> None:
    loaded = load_build(root / f"configs/{name}.toml")
    said = replace_keys(loaded, {"motor.shaft_side_load_limit_n": 150.0})
    sheet = {(each.name, each.subject): each for each in check_build(said).findings}
    loads = loads_of(ride_of(said, None))
    drive = drive_of_build(said, loads, with_build(Judging(), said))
    for page in drive.stages:
        other = sheet["belt_pull", page.name]
        assert (other.verdict, other.figure) == (page.check.verdict, page.check.tensions.effective_pull_n)
        assert other.limit == page.check.capacity.allowed_pull_n
    shaft = sheet["shaft_load", ""]
    assert (shaft.verdict, shaft.figure) == (drive.shafts[0].verdict, drive.shafts[0].side_load_n)
    harness = design_harness(currents_of(said.build, loads), Habits())
    for lead in harness.leads:
        if lead.kind != "charge":
            assert sheet["lead", lead.kind].verdict == lead.verdict
    assert harness.fuse is not None and sheet["fuse", ""].figure == harness.fuse.rating_a


MULE = {
    "drive.motors_share": "second_belt", "drive.second_motor.teeth": 30, "drive.second_motor.centre_distance_mm": 160.0,
    "motor.shaft_diameter_mm": 10.0,
}  # fmt: skip
SPOTS = {
    "drive.motors_share": "one_belt", "drive.second_motor.first_x_mm": 120.0, "drive.second_motor.first_y_mm": 50.0,
    "drive.second_motor.second_x_mm": 120.0, "drive.second_motor.second_y_mm": -50.0,
}  # fmt: skip


def two_motors(root: Path, keys: dict[str, object]) -> tuple[BeltDrive, RideLoads]:
    """The belts of the bike with two motors, loaded by a short climb."""
    loaded = load_build(root / "configs/longtail-two-motors.toml", keys)
    loads = loads_of(ride_of(loaded, None, 6.0, 0.5))
    return drive_of_build(loaded, loads, with_build(Judging(), loaded)), loads


def test_the_layout_of_two_motors_comes_from_the_build(root: Path) -> None:
    """On one shaft the first belt carries both; what is not described is named instead of judged."""
    shaft, loads = two_motors(root, {})
    assert "both motors on one shaft" in shaft.layout and not shaft.remarks
    assert shaft.stages[0].torque_nm == max(loads.peak_shaft_torque_nm, loads.peak_brake_torque_nm)
    for share, word in (("one_belt", "first_x_mm"), ("second_belt", "second_motor.teeth")):
        drive, _ = two_motors(root, {"drive.motors_share": share})
        assert any(word in each for each in drive.remarks) and drive.series is None and drive.joined is None


def test_a_second_belt_carries_one_motor_and_adds_to_the_first_one_s_shaft(root: Path) -> None:
    drive, _ = two_motors(root, MULE)
    assert [page.name for page in drive.stages] == ["joining belt", "stage 1", "stage 2"]
    link, trunk, _ = drive.stages
    assert link.torque_nm == pytest.approx(trunk.torque_nm / 2.0)
    # by hand: half the torque over the pitch radius of 30 teeth of 5 mm
    assert link.check.tensions.effective_pull_n == pytest.approx(link.torque_nm / (30 * 5e-3 / (2 * math.pi)))
    first, second = drive.shafts
    assert second.side_load_n == link.check.tensions.shaft_load_n
    assert first.side_load_n == pytest.approx(second.side_load_n + trunk.check.tensions.shaft_load_n)
    across, _ = two_motors(root, {**MULE, "drive.second_motor.between_deg": 90.0})
    both = math.hypot(second.side_load_n, trunk.check.tensions.shaft_load_n)
    assert across.shafts[0].side_load_n == pytest.approx(both)
    # what lasts, and the course of the ride, are one motor's too
    assert link.sustained is not None and trunk.sustained is not None
    assert link.sustained.tensions.effective_pull_n == pytest.approx(
        0.5 * trunk.load.sustained_torque_nm / (30 * 5e-3 / (2 * math.pi))
    )
    assert link.load.torque_along_nm == pytest.approx(trunk.load.torque_along_nm / 2.0)
    loaded = load_build(root / "configs/longtail-two-motors.toml", {**MULE, "drive.second_motor.between_deg": 90.0})
    asked = replace(with_build(Judging(), loaded), between_deg=0.0)
    straight = drive_of_build(loaded, loads_of(ride_of(loaded, None, 6.0, 0.5)), asked)
    assert straight.shafts[0].side_load_n == pytest.approx(first.side_load_n)


def test_the_first_motor_s_shaft_is_held_to_both_belts(root: Path) -> None:
    """A stated limit just below what both belts pull stops it, one just above is fine."""
    both = two_motors(root, MULE)[0].shafts[0].side_load_n
    below, above = (
        two_motors(root, {**MULE, "motor.shaft_side_load_limit_n": share * both})[0] for share in (0.99, 1.01)
    )
    assert (below.shafts[0].verdict, above.shafts[0].verdict) == ("stop", "fine")
    assert below.verdict == "stop" and below.shafts[1].verdict == "fine"


def test_motors_in_series_have_half_the_pull_each_and_the_belt_behind_both(root: Path) -> None:
    drive, loads = two_motors(root, SPOTS)
    assert drive.series is not None and [page.name for page in drive.stages] == ["stage 2"]
    whole = max(loads.peak_shaft_torque_nm, loads.peak_brake_torque_nm) / (24 * 5e-3 / (2 * math.pi))
    jackshaft, first, second = drive.series.pulleys
    assert jackshaft.name == "jackshaft"
    assert [jackshaft.pull_n, first.pull_n, second.pull_n] == pytest.approx([whole, whole / 2, whole / 2])
    before, between, after = (span.tension_n for span in drive.series.spans)
    assert (before - between, between - after) == pytest.approx((whole / 2, whole / 2))
    alone, _ = two_motors(root, {})
    assert drive.stages[0].torque_nm == alone.stages[1].torque_nm and len(drive.shafts) == 2
    apart, _ = two_motors(root, {**SPOTS, "drive.second_motor.second_x_mm": 150.0})
    assert apart.series_layout is not None
    spots = [(each.x_mm, each.y_mm) for each in (apart.series_layout.first, apart.series_layout.second)]
    assert spots == [(120.0, 50.0), (150.0, -50.0)]
    narrow, _ = two_motors(root, {**SPOTS, "drive.stage.1.width_mm": 5.0})
    assert narrow.verdict == narrow.stages[0].verdict == "stop" and drive.verdict != "stop"


@pytest.mark.parametrize("between", [None, 60.0])
def test_mount_bears_what_both_belts_pull_at_the_first_motor_s_shaft(root: Path, between: float | None) -> None:
    keys = MULE if between is None else {**MULE, "drive.second_motor.between_deg": between}
    loaded = load_build(root / "configs/longtail-two-motors.toml", keys)
    loads = loads_of(ride_of(loaded, None, 6.0, 0.5))
    pull = mount_loads(loaded, loads).pull
    both = drive_of_build(loaded, loads, with_build(Judging(), loaded)).shafts[0]
    assert pull is not None and pull.side_load_n == pytest.approx(both.side_load_n, rel=1e-9)
    alone = mount_loads(load_build(root / "configs/longtail-two-motors.toml"), loads).pull
    assert alone is not None
    link = drive_of_build(loaded, loads, with_build(Judging(), loaded)).stages[0].sustained
    assert link is not None and pull.lasting_side_load_n == pytest.approx(
        pulls_together_n(alone.lasting_side_load_n, link.tensions.shaft_load_n, between)
    )
