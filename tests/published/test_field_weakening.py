"""Field weakening against closed forms: the voltage circle with and without resistance, base and top speed."""

from __future__ import annotations

import math
from typing import Any

import pytest

from ridesim.evidence.store import sheet
from ridesim.physics.controller import (
    UNBOUNDED,
    Circuit,
    controller_loss,
    field_at_voltage,
    field_needed,
    loaded_voltage,
    weakened_current,
    with_field,
)
from ridesim.physics.motor import AMPLITUDE_TO_DC
from ridesim.units import to_si

from .rows import near, rows_of

MACHINE = sheet("motor.weakened_machine")
K = 1.0 / to_si(MACHINE.kv_rpm_per_v, "rpm_per_v")


def circuit(share: float, *, resistance: bool = True, pack_ohm: float = 1e-9) -> Circuit:
    """The machine at a share of its unloaded speed, on a stiff supply without losses of its own."""
    omega = to_si(share * MACHINE.unloaded_rpm, "rpm")
    return Circuit(
        emf=K * omega,
        motor_resistance=to_si(MACHINE.resistance_mohm, "mohm") if resistance else 1e-12,
        reactance=MACHINE.pole_pairs * omega * to_si(MACHINE.inductance_uh, "uh"),
        on_resistance=0.0,
        switching=0.0,
        standby=0.0,
        open_voltage=MACHINE.supply_v,
        pack_resistance=pack_ohm,
    )


@rows_of("motor.weakened_at_limit")
def test_at_the_current_limit(row: Any) -> None:
    c, full = circuit(row.share, resistance=False), MACHINE.limit_a * AMPLITUDE_TO_DC
    current = weakened_current(c, full, 1.0, full, full, UNBOUNDED)
    field = field_needed(c, current, 1.0)
    assert current / AMPLITUDE_TO_DC == pytest.approx(row.quadrature_a, rel=2e-7)
    assert field / AMPLITUDE_TO_DC == pytest.approx(row.direct_a, rel=2e-6)
    assert K * current == pytest.approx(row.torque_nm, rel=2e-7)
    assert math.hypot(current, field) == pytest.approx(full, rel=1e-7)


@rows_of("motor.weakened_torque")
def test_at_a_torque(row: Any) -> None:
    c, current = circuit(row.share), row.torque_nm / K
    field = field_needed(c, current, 1.0)
    copper = (current**2 + field**2) * c.motor_resistance
    if row.direct_a is not None:
        assert field / AMPLITUDE_TO_DC == near(row.direct_a)
    if row.copper_w is not None:
        assert copper == near(row.copper_w)
    if row.supply_w is not None:
        assert c.emf * current + copper == near(row.supply_w)


def test_base_and_top_speed() -> None:
    full = MACHINE.limit_a * AMPLITUDE_TO_DC
    base = MACHINE.base_rpm / MACHINE.unloaded_rpm
    assert field_needed(circuit(base * (1.0 - 1e-6)), full, 1.0) == 0.0
    assert field_needed(circuit(base * (1.0 + 1e-6)), full, 1.0) > 0.0
    top = MACHINE.top_rpm / MACHINE.unloaded_rpm
    assert field_needed(circuit(top * (1.0 - 1e-5)), 0.0, 1.0) < full
    assert field_needed(circuit(top * (1.0 + 1e-5)), 0.0, 1.0) > full


@pytest.mark.parametrize("current", [-30.0, 0.0, 20.0])
def test_the_loaded_pack_and_the_losses_are_those_of_the_ride(current: float) -> None:
    c = circuit(1.16, pack_ohm=0.08)._replace(on_resistance=0.006, switching=0.004, standby=2.0)
    field = field_needed(c, current, 0.95)
    beside = with_field(c, field, current)
    V = loaded_voltage(beside, current)
    across = (c.emf - field * c.reactance + current * c.motor_resistance) ** 2
    along = (current * c.reactance + field * c.motor_resistance) ** 2
    assert math.sqrt(across + along) == pytest.approx(0.95 * V, rel=1e-9)
    length = math.hypot(current, field)
    lost = 2.0 + 0.006 * length**2 + 0.004 * abs(current) * V + 0.004 * (length - abs(current)) * c.open_voltage
    copper = field**2 * c.motor_resistance
    assert controller_loss(beside, current, V) == pytest.approx(lost + copper, rel=1e-12)


def test_no_field_where_none_is_needed_and_none_helps_past_reach() -> None:
    assert field_at_voltage(circuit(0.5), 10.0, MACHINE.supply_v) == 0.0
    assert field_at_voltage(circuit(1.5)._replace(reactance=0.001), 10.0, MACHINE.supply_v) == UNBOUNDED
