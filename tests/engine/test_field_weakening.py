"""Rides with field weakening: none is as before, more is faster, limits and the ledger hold, the danger is told."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridesim.bike.load import load_build
from ridesim.engine.params import parameters
from ridesim.ride.judge import LOOK_AGAIN, STOP, judge
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb

CONFIGS = Path(__file__).parents[2] / "configs"
FAST: dict[str, Any] = {
    "rider.cruise_speed_km_h": 60.0, "rider.power_w": 0.0, "controller.pack_current_limit_a": 60.0,
    "pack.parallel": 12,
}  # fmt: skip


def ridden(field_a: float, grade: float = 0.0, length: float = 3000.0, **keys: Any) -> Ride:
    loaded = load_build(CONFIGS / "longtail-hub.toml", {
        **FAST, **{name.replace("__", "."): value for name, value in keys.items()},
        "controller.field_weakening_current_a": field_a,
    })  # fmt: skip
    return simulate(loaded, make_climb(length, grade), record_every_s=0.5)


@pytest.fixture(scope="module")
def rides() -> dict[float, Ride]:
    return {field: ridden(field) for field in (0.0, 20.0, 40.0)}


def test_none_is_as_before(rides: dict[float, Ride]):
    plain = simulate(load_build(CONFIGS / "longtail-hub.toml", FAST), make_climb(3000.0, 0.0), record_every_s=0.5)
    assert np.array_equal(plain.raw.trace, rides[0.0].raw.trace)
    assert rides[0.0].figures.peak_field_current_a == 0.0


def test_more_is_faster_and_within_its_limits(rides: dict[float, Ride]):
    speeds = [ride.figures.top_speed_km_h for ride in rides.values()]
    assert speeds[0] < speeds[1] - 2.0 < speeds[2] - 3.0
    for field, ride in rides.items():
        figures, table = ride.figures, ride.trace
        box = ride.build.controller
        assert figures.peak_field_current_a <= field * (1.0 + 1e-6)
        assert table["modulation"].max() <= box.modulation_limit * (1.0 + 1e-6)
        assert figures.peak_pack_current_a <= box.pack_current_limit_a * (1.0 + 2e-3)
        arrow = np.hypot(table["motor_current_a"], table["field_current_a"])
        assert arrow.max() <= box.motor_current_limit_a * (1.0 + 1e-3)
        assert abs(ride.ledger_residual_fraction) < 1e-9


SALIENT = {"motor__salience": 2.0, "motor__inductance_uh": 600.0, "motor__kv_rpm_per_v": 9.0}


@pytest.mark.parametrize("grade", [0.0, -4.0])
def test_a_salient_motor_pulls_with_both_currents(grade: float):
    """Torque by 1.5 p (lambda I_q + (L_d - L_q) I_d I_q) of the amplitudes, and the voltage circle, written out."""
    ride = ridden(40.0, grade, rider__cruise_speed_km_h=65.0, **SALIENT)
    motor, table = ride.build.motor, ride.trace[ride.trace["motor_current_a"] != 0.0]
    i_q, i_d = table["motor_current_a"], -table["field_current_a"]
    assert i_d.min() < -20.0
    flux = 60.0 / (2.0 * np.pi * motor.kv_rpm_per_v) / (np.sqrt(3.0) * motor.pole_pairs)
    flux *= 1.0 + motor.magnet_coefficient_percent_per_k / 100.0 * (table["body_temp_c"] - 20.0)
    l_q = 0.5 * motor.inductance_uh * 1e-6
    l_d = l_q / 2.0
    torque = 1.5 * motor.pole_pairs * (flux * i_q + (l_d - l_q) * i_d * i_q)
    speed = table["motor_speed_rpm"] * np.pi / 30.0
    drag = parameters(ride.build)
    passed_on = torque - drag.tau_0 - drag.tau_1 * speed
    assert passed_on.to_numpy() == pytest.approx(table["shaft_torque_nm"].to_numpy(), abs=1e-9)
    omega = motor.pole_pairs * speed
    ohm = 0.5 * motor.resistance_mohm / 1e3 * (1.0 + 0.00393 * (table["winding_temp_c"] - 20.0))
    u_d, u_q = ohm * i_d - omega * l_q * i_q, ohm * i_q + omega * (flux + l_d * i_d)
    line = np.sqrt(3.0) * np.hypot(u_d, u_q)
    fast = table["field_current_a"] > 1.0
    assert (line / table["pack_voltage_v"])[fast].to_numpy() == pytest.approx(0.95, rel=2e-3)
    assert ride.build.controller.modulation_limit == 0.95 and abs(ride.ledger_residual_fraction) < 1e-9


def test_a_salient_motor_s_braking_keeps_the_charge_limit():
    """Its field current adds to what the brake gives back: the limit of the pack holds for the sum."""
    keys = {"rider__cruise_speed_km_h": 66.0, "pack__start_charge_fraction": 0.5,
            "controller__brake_current_limit_a": 80.0, **SALIENT}  # fmt: skip
    free = ridden(60.0, -14.0, 2000.0, controller__charge_current_limit_a=60.0, **keys)
    held = ridden(60.0, -14.0, 2000.0, controller__charge_current_limit_a=20.0, **keys)
    braking = held.trace[(held.trace["motor_current_a"] < -1.0) & (held.trace["field_current_a"] > 5.0)]
    assert len(braking) > 10 and free.figures.peak_charge_current_a > 25.0
    assert held.figures.peak_charge_current_a == pytest.approx(20.0, rel=1e-3)
    assert abs(held.ledger_residual_fraction) < 1e-9


def test_salience_alone_changes_nothing(rides: dict[float, Ride]):
    """Without field weakening the current lies along the q axis: bit for bit the ride of surface magnets."""
    assert np.array_equal(ridden(0.0, motor__salience=2.0).raw.trace, rides[0.0].raw.trace)
    assert np.array_equal(ridden(20.0, motor__salience=1.0).raw.trace, rides[20.0].raw.trace)


def test_its_copper_heats(rides: dict[float, Ride]):
    table = rides[40.0].trace
    fast = table[table["field_current_a"] > 10.0]
    motor = rides[40.0].build.motor
    scale = 0.75  # (sqrt(3)/2)^2, amplitude to DC-equivalent
    ohm = motor.resistance_mohm / 1e3 * (1.0 + 0.00393 * (fast["winding_temp_c"] - 20.0))
    copper = scale * (fast["motor_current_a"] ** 2 + fast["field_current_a"] ** 2) * ohm
    assert fast["copper_power_w"].to_numpy() == pytest.approx(copper.to_numpy(), rel=5e-3)


def test_what_its_loss_would_do_is_told():
    down = ridden(40.0, grade=-4.0, length=6000.0, rider__cruise_speed_km_h=70.0)
    assert down.figures.top_speed_km_h > (down.figures.over_speed_from_km_h or 0.0)
    assert down.figures.over_speed_s == 0.0
    findings = {each.name: each for each in judge(down).findings}
    assert findings["field_lost"].verdict == LOOK_AGAIN
    volts = findings["field_lost"].figure
    assert volts is not None
    # Back-EMF by hand at the top speed.
    build = down.build
    rpm = down.figures.top_speed_km_h / 3.6 / (build.tyre.circumference_mm / 1e3) * 60.0 * build.drive.turns
    assert volts == pytest.approx(rpm / build.motor.kv_rpm_per_v, rel=1e-9)
    weak_box = ridden(40.0, -4.0, 6000.0, rider__cruise_speed_km_h=70.0, controller__voltage_limit_v=volts - 0.1)
    assert {each.name: each.verdict for each in judge(weak_box).findings}["field_lost"] == STOP
    enough = ridden(40.0, -4.0, 6000.0, rider__cruise_speed_km_h=70.0, controller__voltage_limit_v=volts + 0.1)
    assert {each.name: each.verdict for each in judge(enough).findings}["field_lost"] == LOOK_AGAIN


def test_without_it_the_same_descent_is_over_speed():
    down = ridden(0.0, grade=-8.0, length=3000.0, rider__cruise_speed_km_h=75.0)
    assert {each.name: each.verdict for each in judge(down).findings}["over_speed"] == STOP
