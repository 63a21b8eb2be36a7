"""Motor, switches and pack: closed forms and bracketed roots against a general root finder."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from ridesim.physics import controller, drive, motor
from ridesim.physics.controller import UNBOUNDED, Circuit
from ridesim.physics.pack import voltage_at_load

STEADY = settings(max_examples=80, deadline=None, derandomize=True)


def circuit(emf: float, ohms: float, pack_ohms: float, switching: float, standby: float) -> Circuit:
    return Circuit(emf, ohms, 0.02, 1.0, 0.006, switching, standby, 48.0, pack_ohms)


CIRCUITS = st.builds(
    circuit,
    st.floats(0.0, 55.0),
    st.floats(0.01, 0.3),
    st.floats(0.02, 0.4),
    st.floats(0.0, 0.02),
    st.floats(0.0, 10.0),
)


def pack_current(c: Circuit, current: float) -> float:
    """Pack current from the energy balance alone: U - r I_b = V, V I_b = E I + (R + R_on) I2 + P_s + k |I| V."""

    def unbalanced(volts: float) -> float:
        drawn = (c.open_voltage - volts) / c.pack_resistance
        needed = c.emf * current + (c.motor_resistance + c.on_resistance) * current**2 + c.standby
        return volts * drawn - needed - c.switching * abs(current) * volts

    # Between half the open-circuit voltage, where the power peaks, and far above it, there is one root.
    return (
        c.open_voltage - brentq(unbalanced, c.open_voltage / 2.0, 4.0 * c.open_voltage, xtol=1e-13)
    ) / c.pack_resistance


@STEADY
@given(CIRCUITS, st.just(0.0) | st.floats(1e-6, 30.0))  # a subnormal current has no digits left to compare
def test_drive_current_at_a_pack_current(c: Circuit, draw: float) -> None:
    current = controller.drive_current_at_pack_current(c, draw)
    if (c.open_voltage - c.pack_resistance * draw) * draw <= c.standby:
        assert current == 0.0
    elif draw < 0.45 * c.open_voltage / c.pack_resistance:
        assert pack_current(c, current) == pytest.approx(draw, rel=1e-9)
        assert controller.draws_at_least(c, current * 1.001 + 1e-6, draw)
        assert not controller.draws_at_least(c, current * 0.999, draw)


@STEADY
@given(CIRCUITS, st.floats(0.1, 30.0))
def test_braking_current_at_a_charge_current_is_the_smaller_root(c: Circuit, charge: float) -> None:
    braking = controller.brake_current_at_charge_current(c, charge)
    if braking < UNBOUNDED:
        assert pack_current(c, -braking) == pytest.approx(-charge, rel=1e-8)
        assert pack_current(c, -0.9 * braking) > -charge
        best = c.emf / (2.0 * (c.motor_resistance + c.on_resistance))
        assert braking <= best * (1.0 + 1e-9)
    else:
        most = max(-pack_current(c, -0.01 * n * c.emf / (c.motor_resistance + c.on_resistance)) for n in range(1, 100))
        assert most < charge * (1.0 + 1e-9)


@STEADY
@given(CIRCUITS, st.floats(1.0, 150.0), st.floats(0.3, 1.0))
def test_current_within_the_duty(c: Circuit, asked: float, duty: float) -> None:
    """At the bound the motor's voltage is the duty times the pack's; below it, less."""
    if controller.voltage_excess(c, asked, duty, UNBOUNDED, 0.0, 0.0) <= 0.0:
        return
    bound = controller.current_within_voltage(c, asked, duty, UNBOUNDED, 0.0, 0.0)

    def passed(current: float) -> float:
        volts = controller.loaded_voltage(c, current)
        motor_volts = math.hypot(c.emf + current * c.motor_resistance, c.reactance * current)
        return motor_volts - duty * volts if volts > 0.0 else 1e3

    if passed(0.0) >= 0.0:
        assert bound == 0.0
    else:
        assert bound == pytest.approx(brentq(passed, 0.0, asked, xtol=1e-13), rel=1e-8, abs=1e-8)


@STEADY
@given(st.floats(0.01, 0.3), st.floats(0.02, 0.4), st.floats(0.0, 10.0), st.floats(1.0, 40.0))
def test_diodes_balance_power(ohms: float, pack_ohms: float, standby: float, above: float) -> None:
    """E + I R = V_pack, and what the motor gives is what pack and losses take."""
    c = circuit(48.0 + above, ohms, pack_ohms, 0.004, standby)
    current = controller.diode_current(c)
    volts = c.emf + current * c.motor_resistance
    pack = (c.open_voltage - volts) / c.pack_resistance
    lost = controller.controller_loss(c, current, volts)
    assert current < 0.0
    # Three steps of Newton's method; what is left is below the solver's own 1e-6.
    assert volts * pack == pytest.approx(c.emf * current + c.motor_resistance * current**2 + lost, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize(
    ("reading", "share"), [(99.0, 1.0), (100.0, 1.0), (105.0, 0.75), (110.0, 0.5), (120.0, 0.0), (200.0, 0.0)]
)
def test_foldback_rising(reading: float, share: float) -> None:
    assert controller.foldback(reading, 100.0, 120.0) == pytest.approx(share, abs=1e-12)


@pytest.mark.parametrize(("reading", "share"), [(45.0, 1.0), (42.0, 1.0), (40.0, 0.5), (38.0, 0.0), (30.0, 0.0)])
def test_foldback_falling(reading: float, share: float) -> None:
    assert controller.foldback(reading, 42.0, 38.0) == pytest.approx(share, abs=1e-12)


@STEADY
@given(st.floats(20.0, 80.0), st.floats(0.01, 0.5), st.floats(-2000.0, 20000.0), st.floats(0.0, 3.0))
def test_loaded_voltage_is_the_upper_root_or_nothing(u: float, r: float, power: float, switching: float) -> None:
    volts = voltage_at_load(u, r, power, switching)
    inside = (u - r * switching) ** 2 - 4.0 * r * power
    if math.isnan(volts):
        assert inside < 0.0
    else:
        assert volts * (u - volts) / r == pytest.approx(power + switching * volts, rel=1e-9, abs=1e-6)
        assert volts >= 0.5 * (u - r * switching) - 1e-9


@STEADY
@given(
    st.floats(-800.0, 800.0), st.floats(0.0, 0.2), st.floats(0.0, 0.1), st.floats(1.0, 40.0), st.floats(0.6, 1.0)
)  # fmt: skip
def test_shaft_torque_inverts_wheel_force(force: float, belt: float, more: float, turns: float, share: float) -> None:
    driving, braking = drive.driving_gain(turns, share, 0.33), drive.braking_gain(turns, share, 0.33)
    torque = drive.shaft_torque(force, belt + more, belt, 1.0 / driving, 1.0 / braking)
    assert drive.wheel_force(torque, belt + more, belt, driving, braking) == pytest.approx(force, rel=1e-9, abs=1e-9)


def test_stages_lose_both_ways() -> None:
    """Driving, less arrives at the wheel; braking, less arrives at the motor."""
    driving, braking = drive.driving_gain(10.0, 0.9, 0.33), drive.braking_gain(10.0, 0.9, 0.33)
    assert drive.wheel_force(5.0, 0.0, 0.0, driving, braking) == pytest.approx(5.0 * 10.0 * 0.9 / 0.33)
    assert drive.wheel_force(-5.0, 0.0, 0.0, driving, braking) == pytest.approx(-5.0 * 10.0 / 0.9 / 0.33)


def test_no_force_between_both_drags() -> None:
    """A torque that one stage passes on and the next takes up moves nothing and holds nothing back."""
    assert drive.wheel_force(0.11, 0.12, 0.10, 30.0, 40.0) == 0.0
    assert drive.wheel_force(0.13, 0.12, 0.10, 30.0, 40.0) == pytest.approx(0.3)
    assert drive.wheel_force(0.09, 0.12, 0.10, 30.0, 40.0) == pytest.approx(-0.4)


def test_voltage_with_reactance() -> None:
    assert motor.voltage_squared(30.0, 40.0, 0.1, 0.2) == pytest.approx(34.0**2 + 8.0**2, rel=1e-12)
