"""Rides through gears: one gear is none, shifts happen at their speeds, cost their time, and the ledger closes."""

from __future__ import annotations

import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridesim.bike.gears import GEAR_EFFICIENCY, MOST_GEARS, sprocket_radius_mm
from ridesim.bike.load import load_build
from ridesim.bike.rough import shift_rpm, standing_force_n, wheel_kv_rpm_per_v
from ridesim.engine.gearing import stages
from ridesim.engine.gears import fastest_motor, gear_for, in_gear
from ridesim.engine.params import parameters
from ridesim.engine.state import Total
from ridesim.engine.tally import TOTALS
from ridesim.errors import BuildError
from ridesim.ride.figures import gear_times_s
from ridesim.ride.judge import FINE, LOOK_AGAIN, STOP, judge
from ridesim.ride.rows import ride_rows
from ridesim.ride.running import RideOptions
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_flat, make_points
from ridesim.road.profile import Stop
from ridesim.studies.launch import _pull
from ridesim.studies.steady import load_at, still_of

from ..bikes import bike

DEMO = Path(__file__).parents[2] / "configs" / "longtail-mid-drive.toml"
THREE = {"kind": "gearbox", "ratios": [2.0, 1.4, 1.0], "efficiency": 0.95, "shift_time_s": 0.5}


def demo(**changes: Any) -> Any:
    return load_build(DEMO, {key.replace("__", "."): value for key, value in changes.items()})


@pytest.fixture(scope="module")
def uphill() -> Ride:
    return simulate(demo(), make_climb(1500.0, 5.0), record_every_s=0.02)


@pytest.mark.parametrize("coupling", ["fixed", "freewheel"])
def test_one_gear_of_ratio_one_is_none_bit_for_bit(coupling: str):
    road = make_climb(800.0, 4.0).with_stops((Stop(400.0, 5.0),))
    plain = {"drive.coupling": coupling, **({"controller.brake_current_limit_a": 0.0} if coupling != "fixed" else {})}
    one = {**plain, "drive.gears": {"kind": "gearbox", "ratios": [1.0], "efficiencies": [1.0], "shift_time_s": 3.0}}
    without, with_one = (simulate(bike(keys), road, record_every_s=0.5).raw for keys in (plain, one))
    assert np.array_equal(without.trace, with_one.trace)
    assert np.array_equal(without.ledger, with_one.ledger)
    assert without.end == with_one.end


def test_gears_alike_in_ratio_are_one_drive_of_it():
    """A gear behind the stages is a stage of its ratio: held in the second of three, a ride is that of this stage."""
    held = {**THREE, "efficiency": 1.0, "up_rpm": 100000.0, "down_rpm": 1.0}
    road = make_climb(600.0, 3.0)
    geared = simulate(bike({"drive.gears": held}), road, start_speed_km_h=0.0)
    stage = [*bike().data["drive"]["stage"], {"kind": "gear", "ratio": 2.0, "efficiency": 1.0}]
    fixed = simulate(bike({"drive.stage": stage}), road)
    assert geared.figures.gear_shifts == 0
    assert geared.figures.net_energy_wh == pytest.approx(fixed.figures.net_energy_wh, rel=1e-9)
    assert geared.figures.peak_winding_temp_c == pytest.approx(fixed.figures.peak_winding_temp_c, rel=1e-9)


@pytest.mark.parametrize(("turns", "joined"), [(5.0, 0.05407), (8.0, 0.13841), (12.0, 0.31142)])
def test_rotor_counts_with_the_square_of_the_gear(turns: float, joined: float):
    """published: J G^2/r^2 of J 2.5e-4 kg m2 at r 0.34 m, closed form."""
    ratios = [12.0 / 2.0, 8.0 / 2.0, 5.0 / 2.0]
    p = parameters(bike({
        "drive.stage": [{"kind": "gear", "ratio": 2.0}], "tyre.circumference_mm": 2e3 * math.pi * 0.34,
        "motor.rotor_inertia_kg_m2": 2.5e-4, "drive.gears": {"kind": "gearbox", "ratios": ratios},
    }).build)  # fmt: skip
    geared = in_gear(p, ratios.index(turns / 2.0))
    assert geared.mass_driving - p.mass_shifting == pytest.approx(joined, abs=5e-6)


def test_shifts_at_its_motor_speeds_and_for_its_time(uphill: Ride):
    table, gears = uphill.trace, uphill.build.drive.gears
    up, down = shift_rpm(uphill.build)
    assert (up, down) == (gears.up_rpm, gears.down_rpm) == (4800.0, 3300.0)
    assert uphill.figures.gear_shifts > 3
    assert uphill.figures.shifting_time_s == pytest.approx(uphill.figures.gear_shifts * gears.shift_time_s, rel=1e-9)
    driven = table[table["gear"] > 0.0]
    assert driven["motor_speed_rpm"].max() <= up * (1.0 + 1e-5)
    moving = driven[(driven["gear"] > 1.0) & (driven["time_s"] > 20.0)]
    assert moving["motor_speed_rpm"].min() >= down * (1.0 - 1e-5)
    # Half a row before the first shift the motor all but turns at its shift speed.
    first = int(np.argmax(table["gear"].to_numpy() == 0.0))
    assert table["motor_speed_rpm"].iloc[first - 1] == pytest.approx(up, rel=0.02)
    assert sum(gear_times_s(uphill)) == pytest.approx(uphill.figures.total_time_s, rel=1e-9)


def test_it_shifts_down_at_its_speed():
    """From the level onto 11 %: the motor slows to its down speed, and no further, before a shift."""
    ride = simulate(demo(), make_points([0.0, 200.0, 500.0], [0.0, 0.0, 33.0]), record_every_s=0.02)
    gear, rpm = ride.trace["gear"].to_numpy(), ride.trace["motor_speed_rpm"].to_numpy()
    begin = np.flatnonzero((gear[:-1] > 0.0) & (gear[1:] == 0.0))
    down = [row for row in begin if gear[row + 1 :][gear[row + 1 :] > 0.0][0] < gear[row]]
    assert len(down) >= 2
    assert rpm[down] == pytest.approx([3300.0] * len(down), rel=5e-3)


def test_the_rotor_is_apart_in_a_shift():
    """The mass that the resistances slow is that without a rotor; one that stands still is not spun by a shift."""
    turning = bike({
        "drive.coupling": "freewheel", "drive.gears": {**THREE, "up_rpm": 1600.0, "down_rpm": 1000.0},
        "motor.rotor_inertia_kg_m2": 0.004, "rider.power_w": 0.0, "controller.brake_current_limit_a": 0.0,
        "drive.stage": [{"kind": "gear", "ratio": 6.0}],
    })  # fmt: skip
    ride = simulate(turning, make_flat(300.0), record_every_s=0.01)
    rows = ride.trace[ride.trace["gear"] == 0.0]
    resisting = sum(rows[f"{name}_force_n"] for name in ("air", "rolling", "grade", "bearing")).to_numpy()
    steps, gained = np.diff(rows["time_s"]), np.diff(rows["speed_km_h"]) / 3.6
    mass = float(np.median((-resisting[1:] * steps / gained)[steps < 0.02]))
    assert mass == pytest.approx(ride.params.mass_shifting, rel=5e-3)
    assert ride.params.mass_driving > 1.03 * mass
    coasting = simulate(turning, make_flat(150.0), start_speed_km_h=20.0, throttle=0.0)
    assert coasting.figures.gear_shifts >= 1 and coasting.ledger["gear_shifts"] == 0.0


def test_no_force_in_a_shift(uphill: Ride):
    shift = uphill.trace[uphill.trace["gear"] == 0.0]
    assert len(shift) > 50
    for name in ("motor_force_n", "pedal_force_n", "motor_current_a", "iron_power_w", "copper_power_w"):
        assert np.all(shift[name] == 0.0), name
    apart = simulate(demo(drive__through_pedal_chain=False), make_climb(600.0, 5.0), record_every_s=0.05).trace
    apart = apart[apart["gear"] == 0.0]
    assert np.all(apart["motor_force_n"] == 0.0) and np.all(apart["pedal_force_n"] > 0.0)


def test_force_by_gear_in_closed_form(uphill: Ride):
    table, drive = uphill.trace, uphill.build.drive
    radius = uphill.build.tyre.circumference_mm / 2e3 / math.pi
    before = 0.97 * 0.96 * 0.97  # belt, gear, chain by default
    for number, gear in enumerate(drive.speeds, 1):
        rows = table[(table["gear"] == number) & (table["motor_force_n"] > 1.0)].iloc[5:-5]
        if len(rows):
            turns = 108 / 18 * 8.8 * 20 / 38 * gear.turns
            force = rows["shaft_torque_nm"] * turns * before * gear.efficiency / radius
            assert rows["motor_force_n"].to_numpy() == pytest.approx(force.to_numpy(), rel=1e-6)
    assert table["gear"].nunique() >= 4


@pytest.mark.parametrize("coupling", ["fixed", "freewheel"])
def test_what_the_rotor_gives_up_is_a_line_and_the_ledger_closes(coupling: str):
    """Each shift's line is J/2 of the squares of the motor's speeds before and behind it."""
    gears = {**THREE, "up_rpm": 1600.0, "down_rpm": 1000.0}
    loaded = bike({
        "drive.coupling": coupling, "drive.gears": gears, "motor.rotor_inertia_kg_m2": 0.004, "rider.power_w": 0.0,
        "controller.brake_current_limit_a": 0.0, "drive.stage": [{"kind": "gear", "ratio": 6.0}],
    })  # fmt: skip
    ride = simulate(loaded, make_flat(300.0), record_every_s=0.01)
    assert abs(ride.ledger_residual_fraction) < 1e-9
    table = ride.trace
    shifting = (table["gear"] == 0.0).to_numpy()
    edges = np.flatnonzero(np.diff(shifting.astype(int)))
    assert len(edges) == 2 * ride.figures.gear_shifts == 4
    rpm = table["motor_speed_rpm"].to_numpy() * math.pi / 30.0
    lost = 0.0
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        lost += 0.5 * 0.004 * (rpm[begin] ** 2 - rpm[end + 1] ** 2)
    assert lost > 10.0
    assert ride.ledger["gear_shifts"] * 3600.0 == pytest.approx(lost, rel=0.02)


def test_braking_to_a_stop_shifts_down_and_closes(uphill: Ride):
    road = make_flat(900.0).with_stops((Stop(500.0, 8.0),))
    fixed = bike({"drive.gears": {**THREE, "up_rpm": 1500.0, "down_rpm": 900.0}})
    ride = simulate(fixed, road, record_every_s=0.1)
    assert abs(ride.ledger_residual_fraction) < 1e-9
    assert ride.figures.finished and ride.raw.end.gear == 2
    standing = ride.trace[(ride.trace["speed_km_h"] == 0.0) & (ride.trace["distance_km"] > 0.4)]
    assert standing["gear"].iloc[-1] == 1.0
    assert np.all(ride.trace.loc[ride.trace["gear"] == 0.0, "motor_force_n"] == 0.0)


def test_a_derailleur_does_not_shift_standing():
    """With shifts as slow as that, a hub is back in its first gear by the end of the pause, a derailleur is not."""
    road = make_flat(700.0).with_stops((Stop(400.0, 12.0),))
    first = {}
    for kind in ("hub", "derailleur"):
        gears = {"drive.gears.kind": kind, "drive.gears.shift_time_s": 1.5, "drive.through_pedal_chain": False}
        table = simulate(load_build(DEMO, gears), road, record_every_s=0.1).trace
        standing = table[(table["speed_km_h"] == 0.0) & (table["distance_km"] > 0.3)]
        first[kind] = standing["gear"].iloc[-1]
    assert first["hub"] == 1.0 < first["derailleur"]


def test_the_steady_gear_is_the_one_that_the_ride_is_in():
    ride = simulate(demo(rider__cruise_speed_km_h=19.0), make_flat(1500.0), record_every_s=1.0)
    last = ride.trace.iloc[-1]
    assert last["gear"] == gear_for(ride.params, 19.0 / 3.6) + 1
    assert gear_for(ride.params, 0.0) == 0 and gear_for(ride.params, 30.0) == 7
    assert gear_for(parameters(bike().build), 30.0) == 0
    load = load_at(ride.params, still_of(ride.build, 1.0), 0.0, 19.0 / 3.6)
    assert load.motor_speed * 30.0 / math.pi == pytest.approx(last["motor_speed_rpm"], rel=1e-3)
    assert load.shaft_torque == pytest.approx(last["shaft_torque_nm"], rel=5e-3)


def test_motor_speeds_of_a_top_speed():
    """Of a bike that got past its first gear the motor turned at least as fast as where it shifts up."""
    p = parameters(demo().build)
    first_up = 4800.0 * math.pi / 30.0
    assert fastest_motor(p, 1.0) == pytest.approx(p.turned)
    assert fastest_motor(p, 5.0) == pytest.approx(first_up)
    top = in_gear(p, 7).turned
    assert fastest_motor(p, 1.2 * first_up / top) == pytest.approx(1.2 * first_up)


def test_the_pull_at_a_speed_is_that_of_its_gear():
    """At one motor current the wheel's force goes with ratio and efficiency of the gear that is in there."""
    loaded, at = demo(), np.array([4.0, 10.0, 15.0, 20.0])
    p, speeds = parameters(loaded.build), loaded.build.drive.speeds
    force, _, held = _pull(loaded.build, RideOptions(throttle=1.0), still_of(loaded.build, 1.0), at)
    assert set(held) == {"motor_current"}
    gears = [gear_for(p, speed / 3.6) for speed in at]
    assert len(set(gears)) >= 3
    torque = [pull / speeds[gear].turns / speeds[gear].efficiency for pull, gear in zip(force, gears, strict=True)]
    assert torque == pytest.approx([torque[0]] * len(at), rel=0.03)


def test_a_start_is_in_the_lowest_gear_and_pays_its_loss():
    two = {"kind": "gearbox", "ratios": [2.0, 1.2], "efficiencies": [0.9, 0.95]}
    geared, plain = bike({"drive.gears": two}).build, bike().build
    assert standing_force_n(geared) == pytest.approx(1.8 * standing_force_n(plain))
    assert wheel_kv_rpm_per_v(geared) == pytest.approx(wheel_kv_rpm_per_v(plain) / 1.2)


def test_a_log_of_gears_is_refused():
    from ridesim.errors import LogError
    from ridesim.learn.driven import driven_by

    with pytest.raises(LogError, match="8 gears"):
        driven_by(SimpleNamespace(path="log.csv"), demo().build)  # type: ignore[arg-type]


@pytest.mark.parametrize(("teeth", "diameter"), [(11, 45.0782), (22, 89.2388), (18, 73.1364), (44, 178.0228)])
def test_sprockets(teeth: int, diameter: float):
    """p / sin(pi / z), closed form."""
    assert 2.0 * sprocket_radius_mm(teeth) == pytest.approx(diameter, abs=5e-5)


def test_a_hubs_efficiency_is_that_of_the_published_test():
    """A. Oehler, fahrradzukunft 2015: 90 % with eight gears, 97 % with one, chain included, at 200 W."""
    assert GEAR_EFFICIENCY["hub"] == pytest.approx(0.90 / 0.97, abs=0.005)


def test_legs_and_motor_add_up_on_the_chain(uphill: Ride):
    """By hand from the trace: the wheel's force back through the gear onto the hub's sprocket of 20 teeth."""
    table, drive = uphill.trace, uphill.build.drive
    radius = uphill.build.tyre.circumference_mm / 2e3 / math.pi
    driven = table[table["gear"] > 0.0]
    turns = np.array([gear.turns * gear.efficiency for gear in drive.speeds])[driven["gear"].astype(int) - 1]
    torque = (driven["motor_force_n"] + driven["pedal_force_n"]) * radius / turns
    f = uphill.figures
    assert f.peak_gear_torque_nm == pytest.approx(torque.max(), rel=5e-3)
    assert f.peak_chain_force_n == pytest.approx(f.peak_gear_torque_nm / 0.5 / 12.7e-3 * math.sin(math.pi / 20))
    crank = driven["pedal_force_n"] * radius / turns * 38 / 20 / uphill.build.rider.chain_efficiency
    assert crank.max() <= uphill.build.rider.crank_torque_limit_nm * (1.0 + 1e-9)


def test_a_chain_without_gears_has_a_pull_and_no_torque_into_gears():
    f = simulate(demo(drive__gears={}), make_climb(60.0, 5.0), trace=False).figures
    assert f.peak_gear_torque_nm is None and f.peak_chain_force_n > 500.0


def test_the_controllers_frequency_bounds_each_gear_at_its_own_speed():
    loaded = demo()
    p, box = parameters(loaded.build), loaded.build.controller
    fastest = 2.0 * math.pi * box.electrical_frequency_limit_hz / loaded.build.motor.pole_pairs
    bounds = [in_gear(p, gear).top_electrical_speed * in_gear(p, gear).turned for gear in range(8)]
    assert bounds == pytest.approx([fastest] * 8)


def test_the_drag_of_a_stage_is_that_of_its_faster_shaft():
    """A step up drags at its wheel's side: twice the speed, through its own efficiency."""
    behind = {"kind": "gear", "ratio": 20.0, "efficiency": 1.0}
    up, down = (
        stages(
            bike(
                {"drive.stage": [{"kind": "gear", "ratio": r, "efficiency": 0.9, "drag_torque_nm": 0.02}, behind]}
            ).build
        )
        for r in (0.5, 2.0)
    )
    assert up == pytest.approx((0.9, 0.02 * 2.0 / 0.9, 0.02 * 2.0 * 0.9))
    assert down == pytest.approx((0.9, 0.02, 0.02))


def test_a_ride_starts_in_the_gear_of_its_speed():
    ride = simulate(demo(), make_flat(60.0), start_speed_km_h=18.0, record_every_s=0.05)
    assert ride.trace["gear"].iloc[0] == gear_for(ride.params, 18.0 / 3.6) + 1 > 2


def test_a_derailleur_is_the_chain_and_its_loss_is_counted_once():
    for kind, chain in (("derailleur", 1.0), ("hub", 0.977)):
        loaded = demo(drive__gears__kind=kind, drive__gears__chainring_teeth=38 if kind == "derailleur" else None)
        p, speeds = parameters(loaded.build), loaded.build.drive.speeds
        passed = [in_gear(p, gear).pedal_efficiency for gear in range(8)]
        assert passed == pytest.approx([chain * each.efficiency for each in speeds]), kind


def test_the_cranks_bound_follows_the_gear():
    loaded = demo(rider__power_w=600.0)
    ride = simulate(loaded, make_climb(200.0, 10.0), record_every_s=0.05)
    table = ride.trace[ride.trace["gear"] == 1.0]
    radius = loaded.build.tyre.circumference_mm / 2e3 / math.pi
    bound = 80.0 * 0.977 * 0.90 * (20 / 38) * 1.86 / radius
    assert table["pedal_force_n"].max() == pytest.approx(bound, rel=1e-6)


def test_gears_and_chain_are_judged_by_what_they_stand(uphill: Ride):
    torque, pull = uphill.figures.peak_gear_torque_nm, uphill.figures.peak_chain_force_n
    assert torque is not None and pull is not None
    road = make_climb(1500.0, 5.0)

    def words(**keys: Any) -> dict[str, str]:
        found = judge(simulate(demo(**keys), road, trace=False)).findings
        return {each.name: each.verdict for each in found}

    assert words()["chain_guess"] == FINE
    inside = words(drive__gears__input_torque_limit_nm=torque, drive__chain_force_limit_n=pull)
    assert (inside["gear_torque"], inside["chain_force"]) == (FINE, FINE)
    outside = words(drive__gears__input_torque_limit_nm=0.98 * torque, drive__chain_force_limit_n=0.98 * pull)
    assert (outside["gear_torque"], outside["chain_force"]) == (STOP, STOP)
    strong = words(controller__motor_current_limit_a=110.0, controller__pack_current_limit_a=60.0, rider__power_w=300)
    assert strong["chain_guess"] == LOOK_AGAIN


def test_rows_ride_gears_as_single_rides_do():
    road, columns = make_climb(700.0, 4.0), {"drive.gears.up_rpm": [4500.0, 4800.0], "motor.kv_rpm_per_v": [170, 180]}
    rode = ride_rows(demo(), road, columns)
    for row in range(2):
        one = simulate(demo(**{key.replace(".", "__"): values[row] for key, values in columns.items()}), road)
        for name in ("net_energy_wh", "peak_gear_torque_nm", "peak_chain_force_n", "shifting_time_s", "gear_shifts"):
            assert rode.answer(name)[row] == pytest.approx(getattr(one.figures, name), rel=2e-3), name
    assert list(rode.answer("gear_shifts")) == list(rode.answer("gear_shifts").round())
    with pytest.raises(BuildError, match="to and fro"):
        ride_rows(demo(), road, {"drive.gears.down_rpm": [3300.0, 4100.0]})


@pytest.mark.parametrize(("keys", "words"), [
    ({"drive.gears": {"ratios": [1.0, 1.2]}, "drive.coupling": "freewheel"}, "do not fall"),
    ({"drive.gears": {"ratios": [20.0]}, "drive.coupling": "freewheel"}, "outside 0.1 to 10"),
    ({"drive.gears": {"ratios": [1.5] * 15}}, "at most 14"),
    ({"drive.gears": {"ratios": [1.5, 1.0]}}, "freewheel"),
    ({"drive.gears": {**THREE, "efficiencies": [0.9, 0.9, 0.9]}}, "given together"),
    ({"drive.gears": {"kind": "gearbox", "ratios": [1.0], "efficiencies": [0.9, 0.9]}}, "one a gear"),
    ({"drive.gears": {**THREE, "up_rpm": 3000.0, "down_rpm": 2200.0}}, "to and fro"),
    ({"drive.through_pedal_chain": True, "drive.coupling": "freewheel"}, "last stage of kind chain"),
    ({"drive.through_pedal_chain": True}, "cranks"),
])  # fmt: skip
def test_gears_that_cannot_be(keys: dict[str, Any], words: str):
    with pytest.raises(BuildError, match=words):
        bike({"controller.brake_current_limit_a": 0.0, **keys})


def test_time_in_gears_is_the_last_of_the_totals():
    """The other gears' times follow it: whatever is added later stands before it."""
    assert max(Total) is Total.GEAR_TIME and len(Total) == Total.GEAR_TIME + 1
    assert TOTALS == Total.GEAR_TIME + MOST_GEARS
