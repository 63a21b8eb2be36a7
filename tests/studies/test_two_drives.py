"""Studies of a bike of two different drives: their figures are the ride's; two alike drives answer as two motors."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.bike.second import drives_of
from ridesim.engine.codes import Channel, Limit, Stop
from ridesim.engine.params import both_parameters
from ridesim.errors import BuildError, RideError
from ridesim.report.climb.both import held_view
from ridesim.report.climb.both import view as both_view
from ridesim.report.climb.view import view
from ridesim.report.climb.way_out import _both_currents, _split
from ridesim.report.launch.view import view as launch_view
from ridesim.report.ratios.view import view as ratios_view
from ridesim.report.throttle.view import view as throttle_view
from ridesim.ride.bounds import BOUNDS
from ridesim.ride.cooling import rest_from_hottest_s
from ridesim.ride.drives import each_drive
from ridesim.ride.keyed import laid_in
from ridesim.ride.range import outlook_of
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb, make_hills
from ridesim.studies.climb import climb
from ridesim.studies.climb_map import climb_map
from ridesim.studies.compare import compare
from ridesim.studies.held_by_both import _ended, _slowed, _without_time, held_by_both
from ridesim.studies.launch import launch
from ridesim.studies.ratios import ratios
from ridesim.studies.reach import reach
from ridesim.studies.regen import regen, why_not
from ridesim.studies.steady import still_of
from ridesim.studies.throttle import throttle
from ridesim.studies.top_speed import half_charge_speeds, top_speeds
from ridesim.studies.way_out import Question, Tried, WayOut, way_out

from ..bikes import CONFIGS, twice

ROAD = make_hills(1500.0, 25.0, 750.0)
NEAR = 2e-3
LITTLE = {"pack.parallel": 2, "pack.start_charge_fraction": 0.4, "pack.cell.max_discharge_a": 40.0}
"""A pack that is soon empty, so that rides until then are short."""


@pytest.fixture(scope="module")
def demo() -> LoadedBuild:
    return replace_keys(load_build(CONFIGS / "longtail-two-drives.toml"), LITTLE)


@pytest.fixture(scope="module")
def alike() -> tuple[LoadedBuild, LoadedBuild]:
    return twice("longtail-two-stage.toml", **LITTLE)


def test_range_is_that_of_the_ride(demo: LoadedBuild, alike: tuple[LoadedBuild, LoadedBuild]):
    told = reach(demo, ROAD, speeds_km_h=[], cold_c=None, aged=None)
    ride = simulate(demo, ROAD)
    assert told.base.range_km == pytest.approx(outlook_of(ride).range_km, rel=NEAR)
    hot = max(each.figures.peak_winding_temp_c for each in each_drive(ride))
    assert told.base.peak_winding_temp_c >= hot - 0.5  # ridden further; of the drive that gets nearer to its limit
    one, written = (reach(each, ROAD, speeds_km_h=[], aged=None) for each in alike)
    for ours, theirs in zip(written.conditions, one.conditions, strict=True):
        assert ours.stop == theirs.stop
        assert ours.range_km == pytest.approx(theirs.range_km, rel=NEAR)
        assert ours.peak_winding_temp_c == pytest.approx(theirs.peak_winding_temp_c, rel=NEAR)


def test_regen_is_that_of_the_ride(demo: LoadedBuild, alike: tuple[LoadedBuild, LoadedBuild]):
    told, ride = regen(demo, ROAD), simulate(demo, ROAD, record_every_s=0.2)
    case = told.cases[0]
    assert case.with_regen.returned_wh == pytest.approx(ride.figures.pack_energy_returned_wh, rel=NEAR)
    assert case.braking_wh == pytest.approx(case.without.friction_wh, rel=0.05)  # the same hill, braked either way
    one, written = (regen(each, ROAD) for each in alike)
    assert written.charge_limit_a == pytest.approx(one.charge_limit_a, rel=1e-9)
    for ours, theirs in zip(written.cases, one.cases, strict=True):
        for name in ("returned_wh", "drawn_wh", "range_km"):
            mine, other = getattr(ours.with_regen, name), getattr(theirs.with_regen, name)
            assert mine == pytest.approx(other, rel=NEAR), name
        assert [each.cause for each in ours.causes][:1] == [each.cause for each in theirs.causes][:1]
    assert written.freewheel_range_km == pytest.approx(one.freewheel_range_km, rel=NEAR)


def test_regen_asks_each_drive_whether_it_can(demo: LoadedBuild):
    """One drive that can brake is enough; where none can, each says why."""
    assert why_not(demo.build) is None
    front = {"drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0,
             "second.drive.coupling": "fixed", "second.controller.brake_current_limit_a": 20.0}  # fmt: skip
    swapped = replace_keys(demo, front)
    case = regen(swapped, ROAD).cases[0]
    assert case.with_regen.returned_wh > 0.1
    assert sum(each.friction_wh for each in case.causes) == pytest.approx(case.with_regen.friction_wh, rel=1e-6)
    assert {each.cause for each in case.causes} <= {"motor_current", "charge_current", "grip", "modulation"}
    none = replace_keys(demo, {"controller.brake_current_limit_a": 0.0})
    words = why_not(none.build)
    assert words is not None and words.startswith("First drive: The drive is fixed")
    assert "Second drive: The freewheel" in words
    assert regen(none, ROAD).cases == ()


def test_a_comparison_has_the_ride_of_each(demo: LoadedBuild, alike: tuple[LoadedBuild, LoadedBuild]):
    result = compare([demo, *alike], [ROAD])
    ride, (first, second) = simulate(demo, ROAD), (each.figures for each in each_drive(simulate(demo, ROAD)))
    ours, one, written = result.roads[0].rides
    assert ours.figures.net_energy_wh == pytest.approx(ride.figures.net_energy_wh, rel=NEAR)
    hotter = second if second.winding_limit_c - second.peak_winding_temp_c < first.winding_limit_c - (
        first.peak_winding_temp_c) else first  # fmt: skip
    assert ours.value("peak_winding_temp_c") == pytest.approx(hotter.peak_winding_temp_c, rel=NEAR)
    assert ours.value("peak_motor_current_dc_equivalent_a") is None and one.value("lost_wh") > 1.0
    wasted = sum(ride.ledger[f"{name}"] for name in ("motor_copper_loss", "second_motor_copper_loss"))
    assert ours.losses_wh["motor_copper_loss"] == pytest.approx(wasted, rel=NEAR)
    for name in (
        "net_wh_per_km",
        "range_km",
        "lost_wh",
        "winding_margin_k",
        "magnet_margin_k",
        "peak_controller_temp_c",
    ):
        assert written.value(name) == pytest.approx(one.value(name), rel=NEAR), name
    mine, theirs = result.entries[2], result.entries[1]
    assert mine.masses_kg == pytest.approx(theirs.masses_kg)
    assert mine.masses_kg["all that rolls"] == pytest.approx(sum(mine.masses_kg[name] for name in (
        "motor, controller and pack", "bicycle", "cargo", "rider")))  # fmt: skip
    for name in ("copper_at_push_w", "top_speed_cold_pedalled_start_charge_km_h", "accelerate_s",
                 "top_speed_cold_pedalled_half_charge_km_h", "steepest_start_percent"):  # fmt: skip
        assert getattr(mine, name) == pytest.approx(getattr(theirs, name), rel=NEAR), name
    assert mine.wheel_kv_rpm_per_v == mine.second_wheel_kv_rpm_per_v == theirs.wheel_kv_rpm_per_v


def test_top_speeds_of_rows_are_those_of_bikes(demo: LoadedBuild):
    column = np.array([44.0, 60.0])
    rows = half_charge_speeds(demo.build, laid_in(demo.build, {"second.motor.kv_rpm_per_v": column}), 2)
    for row, value in enumerate(column):
        ((_, half),) = top_speeds([replace_keys(demo, {"second.motor.kv_rpm_per_v": float(value)})])
        assert rows[row] == pytest.approx(half.speed_km_h, rel=NEAR)
    assert abs(rows[1] - rows[0]) > 0.05


def test_a_climb_tells_of_the_drive_that_gets_hotter(demo: LoadedBuild, alike: tuple[LoadedBuild, LoadedBuild]):
    full = replace_keys(demo, {"pack.start_charge_fraction": 0.9})
    hill = make_climb(600.0, 6.0)
    found, (first, second) = climb(full, hill, how_sure=True), each_drive(simulate(full, hill))
    assert found.drive == "second drive"
    for name in ("peak_winding_temp_c", "peak_body_temp_c", "winding_limit_c", "peak_controller_temp_c"):
        assert getattr(found, name) == pytest.approx(getattr(second.figures, name), rel=NEAR)
    assert found.peak_winding_temp_c > first.figures.peak_winding_temp_c + 5.0
    assert found.places[-1].motor_current_a == pytest.approx(second.trace["motor_current_a"].iloc[-1], rel=0.01)
    assert found.rest_from_hottest_min == pytest.approx(rest_from_hottest_s(second) / 60.0, abs=0.05)
    words = " ".join(view(found).answer)
    assert "hottest winding (second drive)" in words and "second drive, hottest winding" in words
    one, written = (climb(each, grade_percent=6.0, length_km=0.5) for each in alike)
    assert written.peak_winding_temp_c == pytest.approx(one.peak_winding_temp_c, rel=NEAR)
    assert written.rest_min == pytest.approx(one.rest_min, rel=0.02)
    assert one.steady is not None and written.steady is None
    assert any("of one drive only" in note for note in view(written).notes)
    with pytest.raises(BuildError, match="`ridesim climb BUILD` rides them"):
        climb_map(written.ride.loaded, points=5)


def test_what_both_hold_is_what_two_motors_hold(alike: tuple[LoadedBuild, LoadedBuild]):
    """Every round grade and speed against the map of one motor, with its own closed form and its own end of a ride.

    Both end by heat at the same minute; where the map ends at a bound a little of the speed may still be left.
    """
    one, written = (replace_keys(each, {"pack.parallel": 4, "pack.cell.max_discharge_a": 15.0}) for each in alike)
    spots, theirs = held_by_both(written), climb_map(one, points=5).spots
    heat = 0
    for ours, other in zip(spots, theirs, strict=True):
        assert (ours.grade_percent, ours.speed_km_h) == pytest.approx((other.grade_percent, other.speed_km_h))
        if other.ended_by in ("winding", "magnets", "cells") and other.minutes < 115.0:
            heat += 1
            assert (ours.ended_by, ours.minutes) == (other.ended_by, pytest.approx(other.minutes, abs=0.5))
        elif other.minutes > 125.0:
            assert ours.minutes == math.inf
    assert heat > 5
    words = held_view(written).answer
    assert words[1].startswith("At 8 km/h it holds ")
    cruising = next(each for each in words if each.startswith("At 25 km/h"))
    assert words[0] == cruising.replace("At 25 km/h", "At its cruise speed of 25 km/h")  # first of all
    faster = both_view(spots, replace_keys(written, {"rider.cruise_speed_km_h": 26.0}), 0.5).answer[0]
    assert faster.startswith("Nearest to its cruise speed of 26 km/h: at 25 km/h it ")
    with pytest.raises(RideError, match="charge"):
        held_by_both(written, 0.0)


def test_which_drive_is_varied_is_told_of_two_only(demo: LoadedBuild):
    one = load_build(CONFIGS / "longtail-two-stage.toml")
    best = Tried(4.4, (), 1.0, 60.0, 50.0, 40.0, 0.0)
    for find, words in (("current", "the second drive's is varied in the same proportion"),
                        ("ratio", "the second drive's ratio that is varied")):  # fmt: skip
        found = WayOut(find, "", 4.4, ((4.4, 4.4),), best, (best,), 130.0)
        for loaded, told in ((demo, True), (one, False)):
            said = _split(found, loaded) if find == "ratio" else _both_currents(found, loaded)
            assert (words in said) is told, said


def _rows(*, speed: list[float], winding: float = 20.0, limit: Limit = Limit.NONE) -> np.ndarray:
    """A trace by hand: a row every ten seconds."""
    rows = np.zeros((len(speed), len(Channel)))
    rows[:, Channel.TIME], rows[:, Channel.SPEED] = 10.0 * np.arange(len(speed)), speed
    rows[:, Channel.WINDING_TEMP], rows[:, Channel.LIMIT] = winding, limit
    return rows


def _raw(first: np.ndarray, second: np.ndarray) -> SimpleNamespace:
    return SimpleNamespace(trace=first, second=SimpleNamespace(trace=second), stop=Stop.TIME_LIMIT)


def test_a_speed_is_held_until_three_in_a_hundred_of_it_are_lost():
    """Just inside and just outside; lost within the first two rows it was never held."""
    for speeds, at in (([10.0] * 4 + [9.75], math.inf), ([10.0] * 4 + [9.65], 40.0),
                       ([10.0] * 3 + [9.6], 30.0), ([10.0, 10.0, 9.6], 0.0)):  # fmt: skip
        assert _slowed(_raw(_rows(speed=speeds), _rows(speed=speeds)), 10.0)[0] == at


def test_what_folds_back_is_told_before_the_bound_that_the_other_meets_then():
    speeds = [10.0] * 4 + [9.0]
    hot, full = (_rows(speed=speeds, limit=each) for each in (Limit.MOTOR_TEMPERATURE, Limit.MOTOR_CURRENT))
    for rows, drive in (((hot, full), "first drive"), ((full, hot), "second drive")):
        assert _slowed(_raw(*rows), 10.0)[1:] == (BOUNDS[Limit.MOTOR_TEMPERATURE].name, drive)


def test_the_drive_whose_winding_passes_its_own_limit_is_told(demo: LoadedBuild):
    """The second's limit is 155 degC (its own), the first's what its motor states; each from its own rows."""
    limits = [drive.motor.winding_limit_c for drive in drives_of(demo.build)]
    speeds = [10.0] * 4
    for at, drive in ((0, "first drive"), (1, "second drive")):
        for more, ended in ((-0.5, "nothing"), (0.5, "winding")):
            rows = [_rows(speed=speeds, winding=limits[at] + more if this == at else 20.0) for this in (0, 1)]
            assert _ended(demo, _raw(*rows), 10.0)[1:] == (ended, drive if ended == "winding" else "")


def test_both_ride_on_to_the_higher_winding_limit_with_no_more_than_the_cells_are_rated_for(demo: LoadedBuild):
    both, still = both_parameters(demo.build), still_of(demo.build, 0.5)
    for limit in (120.0, 170.0):  # the second's is 155
        p = both._replace(winding_limit=limit)
        held = _without_time(p, still)
        assert held.winding_stop == held.second.winding_stop == max(limit, 155.0)
        stated = p.pack_current + p.second.pack_current
        for rating in (0.5 * stated, 2.0 * stated):
            held = _without_time(p, still._replace(cell_rating=rating))
            most = held.pack_current + held.second.pack_current
            assert most == pytest.approx(min(rating, stated), rel=0.015)


@pytest.mark.parametrize("find", ["current", "ratio", "load"])
def test_what_one_key_can_do_is_ridden_with_both(demo: LoadedBuild, alike: tuple[LoadedBuild, LoadedBuild], find: str):
    """Both currents in proportion; the ratio of the drive that has one: what is proposed rides as `ride` does."""
    steep = make_climb(300.0, 14.0)
    full = replace_keys(demo, {"pack.start_charge_fraction": 0.9, "pack.parallel": 3})
    found = way_out(find, Question(full, steep, 20.0))
    assert found.best is not None
    value = found.best.value
    now = full.build
    keys = {
        "current": {"controller.motor_current_limit_a": value,
                    "second.controller.motor_current_limit_a": value * 35.0 / 45.0},
        "ratio": {"second.drive.stage.0.ratio": value},
        "load": {"rider.mass_kg": min(now.rider.mass_kg, value),
                 "bicycle.cargo_kg": value - min(now.rider.mass_kg, value)},
    }[find]  # fmt: skip
    ride = simulate(replace_keys(full, keys), steep, cruise_speed_km_h=20.0, trace=False)
    assert ride.finished and ride.figures.total_time_s == pytest.approx(found.best.time_s, rel=NEAR)
    assert found.present == pytest.approx({"current": 45.0, "ratio": 4.4, "load": 118.0}[find])
    one, written = (way_out(find, Question(each, steep, 20.0)) for each in alike)
    if find != "ratio":  # of two motors one reduction is varied, of two drives that of the first
        assert [each.value for each in written.tried][:3] == [each.value for each in one.tried][:3]
        for ours, theirs in zip(written.tried, one.tried, strict=False):
            assert ours.peak_winding_temp_c == pytest.approx(theirs.peak_winding_temp_c, rel=5e-3)


def test_ratios_varies_the_drive_that_is_named(demo: LoadedBuild, alike: tuple[LoadedBuild, LoadedBuild]):
    """The first one with a reduction by default; the candidate that the bike has now rides as `ride` does."""
    full = replace_keys(demo, {"pack.start_charge_fraction": 0.9})
    hill, tried = make_climb(300.0, 6.0), [3.5, 4.4, 6.0]
    found = ratios(full, hill, tried)
    assert (found.drive, found.present_ratio) == (2, 4.4)
    ride = simulate(full, hill, trace=False)
    now, second = found.cases[1], each_drive(ride)[1].figures
    assert now.total_ratio == pytest.approx(4.4) and now.wheel_kv_rpm_per_v == pytest.approx(10.0)
    for name in ("net_energy_wh", "total_time_s", "peak_pack_current_a"):
        assert getattr(now.figures, name) == pytest.approx(getattr(ride.figures, name), rel=NEAR)
    for name in ("peak_winding_temp_c", "peak_motor_current_a", "sustained_motor_current_a", "peak_shaft_torque_nm"):
        assert getattr(now.figures, name) == pytest.approx(getattr(second, name), rel=NEAR)
    assert found.cases[2].figures.peak_winding_temp_c < now.figures.peak_winding_temp_c
    assert "3 reductions of the second drive's only stage" in ratios_view(found, pictures=False).question
    hub = ratios(full, hill, tried, drive=1)
    assert hub.impossible is not None and hub.cases == ()
    with pytest.raises(BuildError, match="there is no drive 2"):
        ratios(alike[0], hill, drive=2)
    one = ratios(alike[0], hill, [4.5], stage=2)
    for drive in (1, 2):
        (mine,), (theirs,) = ratios(alike[1], hill, [4.5], stage=2, drive=drive).cases, one.cases
        assert mine.total_ratio == pytest.approx(theirs.total_ratio)
    present = one.present_ratio
    (mine,), (theirs,) = (ratios(each, hill, [present]).cases for each in (alike[1], alike[0]))
    for name in ("top_speed_cold_pedalled_half_charge_km_h", "steepest_start_percent", "accelerate_s"):
        assert getattr(mine, name) == pytest.approx(getattr(theirs, name), rel=NEAR), name
    assert mine.figures.peak_winding_temp_c == pytest.approx(theirs.figures.peak_winding_temp_c, rel=NEAR)


def test_a_start_has_the_push_of_both(demo: LoadedBuild, alike: tuple[LoadedBuild, LoadedBuild]):
    one, written = (launch(each) for each in alike)
    assert written.sprint_s == pytest.approx(one.sprint_s, rel=NEAR)
    assert written.steepest_start_percent == pytest.approx(one.steepest_start_percent, rel=NEAR)
    assert written.motor_force_n == pytest.approx(one.motor_force_n, rel=5e-3, abs=0.5)
    assert written.run_up_end_winding_temp_c == pytest.approx(one.run_up_end_winding_temp_c, rel=NEAR)
    assert written.peak_motor_current_a == pytest.approx(one.peak_motor_current_a, rel=NEAR)
    assert (written.slip_force_n, written.lift_force_n) == pytest.approx((one.slip_force_n, one.lift_force_n))
    both = launch(demo)
    alone = launch(replace_keys(demo, {"second.controller.motor_current_limit_a": 1.0}))
    assert both.motor_force_n[0] > alone.motor_force_n[0] + 50.0
    assert both.slip_force_n > alone.motor_force_n[0] and both.lift_force_n == math.inf
    words = " ".join(launch_view(both, pictures=False).answer)
    assert "Both motors' push of" in words


def test_a_throttle_law_commands_both(demo: LoadedBuild, alike: tuple[LoadedBuild, LoadedBuild]):
    full = {"pack.start_charge_fraction": 0.9}
    hill = {"grade_percent": 8.0, "length_km": 0.3}
    one, written = (throttle(replace_keys(each, full), **hill) for each in alike)
    for ours, theirs in zip(written.cases, one.cases, strict=True):
        assert (ours.law, ours.finished) == (theirs.law, theirs.finished)
        for name in ("time_min", "peak_pack_current_a"):
            assert getattr(ours, name) == pytest.approx(getattr(theirs, name), rel=NEAR), name
        if ours.limits:  # without them the pack's power peak is the bound: which motor takes more of it is left open
            assert ours.peak_winding_temp_c == pytest.approx(theirs.peak_winding_temp_c, rel=NEAR)
            assert 2.0 * ours.copper_loss_wh == pytest.approx(theirs.copper_loss_wh, rel=NEAR)
    told = throttle(replace_keys(demo, full), **hill)
    case, ride = told.case("torque", limits=True), told.rides[0]
    assert told.drive == "second drive" and told.winding_limit_c == 155.0
    assert case.peak_winding_temp_c == ride.figures.peak_winding_temp_c and told.motor_current_limit_a == 35.0
    assert any("second drive" in note for note in throttle_view(told, pictures=False).notes)
