"""Short ramps that motor and rider cannot climb are pushed up on foot: how far, how steep, and what it takes."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridesim.engine.codes import Channel, Ledger, Limit, Stop, Total
from ridesim.ride.figures import gear_times_s
from ridesim.ride.judge import judge
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_points, make_ramp
from ridesim.road.profile import Road
from ridesim.road.profile import Stop as Halt

from ..bikes import bike

G = 9.80665
WEAK: dict[str, Any] = {"controller.motor_current_limit_a": 30.0, "bicycle.mass_centre_height_mm": 500.0}
"""A bike that starts on 9 %."""
SHORT, WALL = make_ramp(200.0, 40.0, 20.0, run_out_m=100.0), make_ramp(200.0, 300.0, 20.0, run_out_m=100.0)


def ridden(road: Road = SHORT, keys: dict[str, Any] | None = None, **options: Any) -> Ride:
    return simulate(bike({**WEAK, **(keys or {})}), road, **{"record_every_s": 0.25, **options})


@pytest.fixture(scope="module")
def pushed() -> Ride:
    return ridden()


def test_a_short_ramp_is_pushed_and_told(pushed: Ride) -> None:
    f = pushed.figures
    assert pushed.finished and f.pushes == 1
    assert 15.0 < f.pushed_m < 40.0 and 0.2 < f.pushed_first_at_km < 0.24
    # at 3 km/h but for getting going and what the motor's drag takes, within a tenth
    assert f.pushed_m / (3.0 / 3.6) < f.pushed_s < 1.1 * f.pushed_m / (3.0 / 3.6) + 2.2
    verdict = judge(pushed)
    assert verdict.word == "look again"
    assert verdict.reasons[0].startswith(f"Pushed {f.pushed_m:.0f} m at 0.2 km, where motor and rider cannot move it")
    assert "Pushed 72 ft at 0.1 mi" in judge(pushed, "imperial").reasons[0]
    assert pushed.summary["pushed_m"] == f.pushed_m and pushed.summary["pushed_s"] == f.pushed_s


def test_the_trace_shows_it_with_the_motor_off(pushed: Ride) -> None:
    table = pushed.trace
    on_foot = table[table["walker_force_n"] > 0.0]
    assert len(on_foot) == pytest.approx(4.0 * pushed.figures.pushed_s, abs=2)
    assert (on_foot["motor_current_a"] == 0.0).all() and (on_foot["pedal_force_n"] == 0.0).all()
    assert (on_foot["copper_power_w"] == 0.0).all() and (on_foot["limit"] == "none").all()
    assert on_foot["winding_temp_c"].is_monotonic_decreasing
    assert 2.7 < on_foot["speed_km_h"].max() < 3.01
    assert 1000.0 * (on_foot["distance_km"].iloc[-1] - on_foot["distance_km"].iloc[0]) == pytest.approx(
        pushed.figures.pushed_m, abs=1.0
    )


def test_its_work_has_a_line_and_the_ledger_closes(pushed: Ride) -> None:
    """Steady up an even slope: m g (sin + C_rr cos) of the bike without its rider, and what a fixed drive drags."""
    assert abs(pushed.ledger_residual_fraction) < 1e-9
    table = pushed.trace
    assert (
        0.9
        < pushed.ledger["walker_in"] / (np.trapezoid(table["walker_force_n"], 1000.0 * table["distance_km"]) / 3600.0)
        < 1.1
    )
    build, steady = pushed.build, table[(table["walker_force_n"] > 0.0) & (table["grade_percent"] > 19.9)].iloc[-1]
    angle = math.atan(0.2)
    mass = build.mass_kg - build.rider.mass_kg
    rolling = build.tyre.rolling_resistance * mass * G * math.cos(angle)
    wheel = mass * G * math.sin(angle) + rolling + steady["air_force_n"] + steady["bearing_force_n"]
    assert steady["rolling_force_n"] == pytest.approx(rolling, rel=1e-3)
    assert steady["motor_force_n"] < 0.0
    assert steady["walker_force_n"] == pytest.approx(wheel - steady["motor_force_n"], rel=0.01)


def test_a_freewheel_drags_nothing() -> None:
    ride = ridden(keys={"drive.coupling": "freewheel"})
    table = ride.trace
    on_foot = table[table["walker_force_n"] > 0.0]
    assert ride.figures.pushes == 1 and (on_foot["motor_force_n"] == 0.0).all()
    assert (on_foot["iron_power_w"] == 0.0).all() and abs(ride.ledger_residual_fraction) < 1e-9


def test_just_inside_and_just_outside_of_the_stated_length(pushed: Ride) -> None:
    told = pushed.figures.pushed_m
    inside = ridden(keys={"rider.pushes_up_to_m": told + 0.5})
    assert inside.finished and inside.figures.pushed_m == pytest.approx(told, abs=0.1)
    outside = ridden(keys={"rider.pushes_up_to_m": told - 0.5})
    assert outside.figures.stop == "stalled" and outside.figures.pushed_m == 0.0 and outside.figures.pushes == 0
    assert f"longer than the {told - 0.5:g} m that its rider pushes" in judge(outside).reasons[0]


def test_just_inside_and_just_outside_of_the_force(pushed: Ride) -> None:
    """The bike without its rider, by hand: m g (sin + C_rr cos) and bearings of 0.091 + 0.0087 v."""
    build, angle, free = pushed.build, math.atan(0.2), {"drive.coupling": "freewheel"}
    mass = build.mass_kg - build.rider.mass_kg
    force = mass * G * (math.sin(angle) + build.tyre.rolling_resistance * math.cos(angle)) + 0.091 + 0.0087 * 3.0 / 3.6
    assert ridden(keys={**free, "rider.pushing_force_n": force + 0.5}).finished
    outside = ridden(keys={**free, "rider.pushing_force_n": force - 0.5})
    assert outside.figures.stop == "stalled" and outside.figures.pushes == 0
    assert f"more than the {force - 0.5:g} N that its rider pushes with" in judge(outside).reasons[0]
    # A fixed drive drags: it is not begun with what moves a freewheel only, so that nobody is left half way.
    dragged = ridden(keys={"rider.pushing_force_n": force + 1.0})
    assert dragged.figures.stop == "stalled" and dragged.figures.pushes == 0


def test_a_wall_ends_the_ride_as_if_nobody_pushed() -> None:
    wall, never = ridden(WALL), ridden(WALL, {"rider.pushes_up_to_m": 0.0})
    assert wall.figures.stop == never.figures.stop == "stalled"
    assert np.array_equal(wall.raw.trace, never.raw.trace) and np.array_equal(wall.raw.ledger, never.raw.ledger)
    assert wall.summary["stuck"]["not_pushed"] and not never.summary["stuck"]["not_pushed"]
    assert "What helps:" in judge(wall).reasons[0] and "It is not pushed" not in judge(never).reasons[0]


def test_a_wall_with_steps_in_it_is_one_wall() -> None:
    """Level rests of 8 m in a wall let the rider get on, and not push the wall piece by piece."""
    at, height, x, y = [0.0, 100.0], [0.0, 0.0], 100.0, 0.0
    for _ in range(8):
        for length, rise in ((22.0, 4.4), (8.0, 0.0)):
            x, y = x + length, y + rise
            at.append(x)
            height.append(y)
    road = make_points([*at, x + 100.0], [*height, y], spacing_m=1.0)
    ride = ridden(road)
    assert ride.figures.stop == "stalled" and ride.figures.pushed_m <= 50.0


def test_a_step_of_three_metres_in_a_ramp_is_no_place_to_get_on() -> None:
    """Five metres that can be ridden are: 20 m at 20 %, 3 m level and 20 m more are pushed at one go."""
    f = ridden(
        make_points([0.0, 100.0, 120.0, 123.0, 143.0, 220.0], [0.0, 0.0, 4.0, 4.0, 8.0, 8.0], spacing_m=0.5)
    ).figures
    assert f.finished and f.pushes == 1 and 23.0 < f.pushed_m < 30.0


def test_the_rider_gets_on_where_the_bike_gets_going() -> None:
    """From rest on a slope that falls from 16 % by 0.2 % a metre: at 0.1 m/s2, found to the metre that is looked at."""
    along = np.arange(61.0)
    grade = 0.16 - 0.002 * along
    rise = np.concatenate(([0.0], np.cumsum(0.5 * (grade[1:] + grade[:-1]))))
    at, height = [0.0, 20.0, *(30.0 + along), 150.0], [0.0, 0.0, *(1.0 + rise), 2.0 + rise[-1]]
    road = make_points(at, height, spacing_m=1.0).with_stops((Halt(35.0, 3.0),))
    ride = ridden(road, record_every_s=0.05)
    table, p = ride.trace, ride.params
    on_foot = np.flatnonzero(table["walker_force_n"] > 0.0)
    before, behind = table.iloc[on_foot[0] - 1], table.iloc[on_foot[-1] + 1]
    angle = math.atan(behind["grade_percent"] / 100.0)
    resisting = p.mass * G * (math.sin(angle) + ride.build.tyre.rolling_resistance * math.cos(angle)) + 0.091
    spare = before["motor_force_n"] + before["pedal_force_n"] - resisting
    assert 0.099 < spare / p.mass_driving < 0.1 + 0.002 * G * 1.1


def test_a_walker_speeds_up_the_bike_with_its_rotor_and_without_its_rider() -> None:
    ride = ridden(record_every_s=0.05)
    table = ride.trace
    rows = table[table["walker_force_n"] > 0.0].iloc[1:12]
    resisting = sum(rows[f"{name}_force_n"] for name in ("air", "rolling", "grade", "bearing"))
    net = (rows["walker_force_n"] + rows["motor_force_n"] - resisting).to_numpy()
    gained = np.gradient(rows["speed_km_h"].to_numpy() / 3.6, rows["time_s"].to_numpy())
    mass = float(np.median(net / gained))
    assert mass == pytest.approx(ride.params.mass_driving - ride.build.rider.mass_kg, rel=0.015)


@pytest.mark.parametrize("looks_like", ["recorder", "road"])
def test_a_slope_of_the_recorders_is_told(pushed: Ride, looks_like: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ridesim.ride.stuck.place_report", lambda *_: SimpleNamespace(looks_like=looks_like))
    assert ("looks like the recorder's" in judge(pushed).reasons[0]) is (looks_like == "recorder")


def test_two_ramps_far_apart_are_pushed_twice() -> None:
    at = [0.0, 150.0, 180.0, 400.0, 430.0, 600.0]
    ride = ridden(make_points(at, [0.0, 0.0, 6.0, 6.0, 12.0, 12.0]))
    f = ride.figures
    assert ride.finished and f.pushes == 2 and f.pushed_first_at_km == pytest.approx(0.17, abs=0.02)
    assert f"Pushed {f.pushed_m:.0f} m on 2 stretches, the first at 0.2 km" in judge(ride).reasons[0]
    assert abs(ride.ledger_residual_fraction) < 1e-9


def test_the_end_of_the_road_is_a_place_to_push_to() -> None:
    ride = ridden(make_ramp(200.0, 40.0, 20.0))
    assert ride.finished and 2.7 < ride.figures.end_speed_km_h < 3.01


def test_nothing_changes_where_nothing_is_pushed() -> None:
    road = make_climb(1500.0, 4.0)
    rides = [ridden(road, {"rider.pushes_up_to_m": length}) for length in (0.0, 50.0)]
    assert np.array_equal(rides[0].raw.trace, rides[1].raw.trace)
    assert rides[1].raw.ledger[Ledger.WALKER] == 0.0 and rides[1].figures.pushed_first_at_km is None
    assert all(finding.name != "pushed" for finding in judge(rides[1]).findings)


def test_an_empty_pack_is_no_ramp_to_push_up() -> None:
    """Three tenths of charge climb what they can and are pushed over the rest; a tenth is empty on the ramp."""
    full = {"controller.no_current_below_v": 36.0, "controller.full_current_above_v": 46.0}
    rides = [ridden(keys={**full, "pack.start_charge_fraction": charge}).figures for charge in (0.3, 0.1)]
    assert [(f.stop, f.pushes) for f in rides] == [("finished", 1), ("low_voltage", 0)]
    assert rides[1].distance_km > 0.2


def test_a_held_throttle_holds_its_rider_on_the_bike() -> None:
    road = make_ramp(20.0, 40.0, 20.0, run_out_m=50.0)
    assert ridden(road).figures.pushes == 1
    assert ridden(road, throttle=1.0).figures.stop == "stalled"


def test_steps_do_not_matter() -> None:
    fine, normal = ridden(accuracy="fine"), ridden()
    assert normal.figures.pushed_m == pytest.approx(fine.figures.pushed_m, abs=0.3)
    assert normal.figures.total_time_s == pytest.approx(fine.figures.total_time_s, rel=5e-3)


def test_a_geared_bike_keeps_both_books() -> None:
    """Figures of gears and of pushing stand beside each other: none is written over by the other."""
    three = {"kind": "gearbox", "ratios": [1.3, 1.1, 1.0], "efficiency": 0.95, "shift_time_s": 0.5}
    ride = ridden(keys={"drive.gears": three})
    f = ride.figures
    assert ride.finished and f.pushes == 1 and 5.0 < f.pushed_m < 40.0 and f.pushed_s > f.pushed_m / (3.0 / 3.6)
    assert sum(gear_times_s(ride)) + f.pushed_s == pytest.approx(ride.raw.end.time, abs=1e-6)
    assert min(gear_times_s(ride)) >= 0.0 and f.peak_gear_torque_nm is not None
    assert 10.0 < f.peak_gear_torque_nm < 200.0  # a torque, and no distance
    assert abs(ride.ledger_residual_fraction) < 1e-9
    trace = ride.trace
    assert len(trace[trace["walker_force_n"] > 0.0]) == pytest.approx(4.0 * f.pushed_s, abs=2)


@pytest.mark.parametrize("codes", [Total, Ledger, Channel, Limit, Stop])
def test_no_two_codes_share_a_place(codes: Any) -> None:
    assert len(codes.__members__) == len(set(codes)) == max(codes) + 1
    assert max(Total) == Total.GEAR_TIME  # the other gears follow it
