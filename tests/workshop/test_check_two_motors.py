"""Two alike motors on one belt, or joined by another: the check sheet says what `ridesim belt` says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from ridesim.bike.load import LoadedBuild, load_build
from ridesim.cli.reductions import belts_of
from ridesim.ride.judge import Finding
from ridesim.road.made import make_climb
from ridesim.workshop.belt.design import Judging
from ridesim.workshop.belt.of_build import drive_of_build, with_build
from ridesim.workshop.check.drive import check_belts
from ridesim.workshop.check.two_motors import _in_series, with_both_motors
from ridesim.workshop.loads import RideLoads, loads_of, ride_of, stage_loads

CONFIGS = Path(__file__).parents[2] / "configs"
ROAD = make_climb(400.0, 7.0)
AROUND = {"first_x_mm": 330.0, "first_y_mm": 320.0, "second_x_mm": -90.0, "second_y_mm": -380.0}
BESIDE = {"first_x_mm": 330.0, "first_y_mm": 90.0, "second_x_mm": 320.0, "second_y_mm": -40.0}


def pair(share: str, wide_mm: float, **second: float) -> tuple[LoadedBuild, RideLoads]:
    keys: dict[str, object] = {
        "drive.motors": 2, "drive.motors_share": share, "drive.stage.0.width_mm": wide_mm,
        **{f"drive.second_motor.{name}": value for name, value in second.items()},
    }  # fmt: skip
    loaded = load_build(CONFIGS / "longtail-belt.toml", keys)
    return loaded, loads_of(ride_of(loaded, ROAD))


def found(loaded: LoadedBuild, loads: RideLoads) -> dict[str, Finding]:
    belts = check_belts(stage_loads(loaded.build, loads))
    return {each.subject: each for each in with_both_motors(belts, loaded, loads)}


@pytest.mark.parametrize("width_mm", [20.0, 30.0, 40.0, 60.0, 100.0])
@pytest.mark.parametrize("places", [AROUND, BESIDE], ids=["around", "beside"])
def test_a_belt_round_both_motors_is_judged_by_its_spans(width_mm: float, places: dict[str, float]) -> None:
    """As if one pulley carried both was said here, and by spans there: they stopped at other widths."""
    loaded, loads = pair("one_belt", width_mm, **places)
    told, belt = found(loaded, loads), drive_of_build(loaded, loads, with_build(Judging(), loaded))
    assert set(told) == {"both motors"} and belt.series is not None and belt.series_ride is not None
    words = {belt.series.verdict, belt.series_ride.verdict}
    worst = next(word for word in ("stop", "look again", "fine") if word in words)
    assert told["both motors"].verdict == worst
    assert bool(told["both motors"].cure) == (worst != "fine")
    least = min(belt.series.pulleys, key=lambda p: p.safety_factor)
    assert told["both motors"].limit == pytest.approx(least.allowed_pull_n)
    assert told["both motors"].figure == pytest.approx(least.pull_n)


@pytest.mark.parametrize("width_mm", [20.0, 30.0, 40.0, 60.0, 100.0])
@pytest.mark.parametrize("places", [AROUND, BESIDE], ids=["around", "beside"])
def test_ratios_judge_it_by_its_spans_too(width_mm: float, places: dict[str, float]) -> None:
    loaded, loads = pair("one_belt", width_mm, **places)
    belt = drive_of_build(loaded, loads, with_build(Judging(), loaded))
    peak = max(loads.peak_shaft_torque_nm, loads.peak_brake_torque_nm)
    word, words = belts_of(loaded.build, peak, loads.top_motor_speed_rpm)
    assert belt.series is not None and word == belt.series.verdict and words == f"first belt: {belt.series.reason}"
    unsaid, _ = pair("one_belt", width_mm)
    assert belts_of(unsaid.build, peak, loads.top_motor_speed_rpm)[1].startswith("stage 1: ")
    none, _ = pair("one_belt", width_mm, **(places | {"first_x_mm": 0.0, "first_y_mm": 0.0}))
    assert belts_of(none.build, peak, loads.top_motor_speed_rpm)[0] == "look again"


def test_what_is_said_of_another_belt_stays() -> None:
    loaded, loads = pair("one_belt", 30.0, **AROUND)
    (first,) = check_belts(stage_loads(loaded.build, loads))
    second = replace(first, subject="stage 2")
    told = with_both_motors([first, second], loaded, loads)
    assert [each.subject for each in told] == ["stage 2", "both motors"]


def test_where_nobody_says_how_the_belt_runs_one_pulley_stands_for_both() -> None:
    told = found(*pair("one_belt", 25.0))
    assert set(told) == {"stage 1"}
    assert set(found(*pair("one_shaft", 25.0))) == {"stage 1"}


@pytest.mark.parametrize(("width_mm", "verdict"), [(6.0, "stop"), (85.0, "look again")])
def test_the_belt_that_joins_a_second_motor_is_judged_too(width_mm: float, verdict: str) -> None:
    """It was judged by `ridesim belt` alone: the sheet was fine with a belt that one motor tears."""
    loaded, loads = pair("second_belt", 50.0, teeth=18, pitch_mm=5.0, width_mm=width_mm, centre_distance_mm=110.0)
    told, belt = found(loaded, loads), drive_of_build(loaded, loads, with_build(Judging(), loaded))
    assert set(told) == {"stage 1", "the joining belt"} and belt.joined is not None
    joining = told["the joining belt"]
    assert (joining.verdict == "stop") == (verdict == "stop") == (belt.joined.joining.verdict == "stop")
    assert joining.figure == pytest.approx(belt.joined.joining.tensions.effective_pull_n)
    assert joining.limit == pytest.approx(belt.joined.joining.capacity.allowed_pull_n)


def test_motors_that_no_belt_runs_round_are_looked_at_again() -> None:
    loaded, loads = pair("one_belt", 25.0, first_x_mm=1.0, first_y_mm=1.0, second_x_mm=2.0, second_y_mm=1.0)
    told = found(loaded, loads)
    assert told["both motors"].verdict == "look again" and "not judged" in told["both motors"].reason


@pytest.mark.parametrize("along", ["fine", "look again", "stop"])
def test_spans_that_hang_along_the_ride_count_too(along: str) -> None:
    """At the peak all is tight; where both motors brake another span is the slack one."""
    loaded, loads = pair("one_belt", 100.0, **AROUND)
    belts = drive_of_build(loaded, loads, with_build(Judging(), loaded))
    assert belts.series is not None and belts.series_ride is not None
    calm = replace(belts.series, verdict="fine", reason="tight at the peak")
    ridden = replace(belts.series_ride, verdict=along, reason="a span hangs")
    told = _in_series(replace(belts, series=calm, series_ride=ridden))
    assert told.verdict == along
    assert ("along the ride: a span hangs" in told.reason) == (along != "fine")
