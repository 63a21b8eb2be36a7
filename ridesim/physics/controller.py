"""The inverter between pack and motor: its losses, and the motor current that each bound allows.

Legend: I DC-equivalent motor current [A], J = -I > 0 when braking, E back-EMF [V], R motor plus switch resistance
[ohm], k switching loss fraction, P_s standby power [W], U and r the pack behind its resistance [V, ohm], V pack
voltage [V], I_b pack current [A]. Loss: P = P_s + R_on I^2 + k |I| V.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from ridesim.jit import inner_kernel, kernel
from ridesim.physics.motor import voltage_squared
from ridesim.physics.pack import voltage_at_load

ROOT_PASSES = 60
ROOT_TOLERANCE = 1e-12
"""Relative width at which a bracketed root counts as found: a few roundings of a double."""

NEARLY = 1.0 - 1e-12
"""What still counts as the whole, a few roundings short of it."""

UNBOUNDED = 1e9
"""A current that no bound reaches [A]."""


class Circuit(NamedTuple):
    """Motor, switches and pack at one speed and one charge, as plain numbers."""

    emf: float  # back-EMF, line to line, peak [V]
    motor_resistance: float  # [ohm]
    reactance: float  # pole_pairs omega L_ll [ohm]
    on_resistance: float  # switches and leads [ohm]
    switching: float  # loss per |I| V
    standby: float  # [W]
    open_voltage: float  # pack voltage behind its resistance [V]
    pack_resistance: float  # [ohm]


@kernel
def foldback(reading: float, start: float, end: float) -> float:
    """Return the share of the current that is left: 1 at `start`, 0 at `end`, linear between (start may exceed end).

    Equal ends mean that the foldback is off.
    """
    if start == end or (reading - start) * (end - start) <= 0.0:
        return 1.0
    return min(max((end - reading) / (end - start), 0.0), 1.0)


@kernel
def controller_loss(c: Circuit, current: float, pack_voltage: float) -> float:
    """Return P_s + R_on I^2 + k |I| V [W]."""
    return c.standby + c.on_resistance * current * current + c.switching * abs(current) * pack_voltage


@kernel
def loaded_voltage(c: Circuit, current: float) -> float:
    """Return the pack voltage under a motor current [V]; NaN past the pack's power peak."""
    fixed = (c.emf + (c.motor_resistance + c.on_resistance) * current) * current + c.standby
    return voltage_at_load(c.open_voltage, c.pack_resistance, fixed, c.switching * abs(current))


@kernel
def drive_current_at_pack_current(c: Circuit, pack_current: float) -> float:
    """Return the motor current that draws `pack_current` [A].

    Upper root of R I^2 + (E + k V) I = V I_b - P_s at V = U - r I_b.
    """
    v = c.open_voltage - c.pack_resistance * pack_current
    spare = v * pack_current - c.standby
    if spare <= 0.0:
        return 0.0
    r = c.motor_resistance + c.on_resistance
    b = c.emf + c.switching * v
    return 2.0 * spare / (b + math.sqrt(b * b + 4.0 * r * spare))


@inner_kernel
def brake_current_at_pack_current(c: Circuit, pack_current: float) -> float:
    """Return J that draws `pack_current` from the pack, slow braking whose copper takes more than it gives [A].

    Upper root of R J^2 - (E - k V) J = V I_b - P_s at V = U - r I_b.
    """
    v = c.open_voltage - c.pack_resistance * pack_current
    spare = v * pack_current - c.standby
    if spare <= 0.0:
        return 0.0
    r = c.motor_resistance + c.on_resistance
    b = c.emf - c.switching * v
    return (b + math.sqrt(b * b + 4.0 * r * spare)) / (2.0 * r)


@kernel
def brake_current_at_charge_current(c: Circuit, charge_current: float) -> float:
    """Return J that charges the pack with `charge_current` [A], the smaller root; unbounded where no J reaches it.

    R J^2 - (E - k V) J + (P_s + V I_charge) = 0 at V = U + r I_charge.
    """
    v = c.open_voltage + c.pack_resistance * charge_current
    r = c.motor_resistance + c.on_resistance
    b = c.emf - c.switching * v
    rest = c.standby + v * charge_current
    inside = b * b - 4.0 * r * rest
    if b <= 0.0 or inside < 0.0:
        return UNBOUNDED
    return 2.0 * rest / (b + math.sqrt(inside))


@inner_kernel
def voltage_excesses(
    c: Circuit, current: float, duty: float, full: float, start: float, end: float
) -> tuple[float, float]:
    """Return by how much a motor current passes the duty [V2] and the low-voltage foldback [A]; positive: too much.

    V_motor^2 - (d V_pack)^2, and I - I_full foldback(V(I)); both infinite past the pack's power peak.
    """
    v = loaded_voltage(c, current)
    if not v > 0.0:
        return math.inf, math.inf
    by_duty = voltage_squared(c.emf, current, c.motor_resistance, c.reactance) - duty * duty * v * v
    return by_duty, current - full * foldback(v, start, end)


@kernel
def draws_at_least(c: Circuit, current: float, pack_current: float) -> bool:
    """Return whether a motor current draws `pack_current` or more from the pack; as much to a rounding counts."""
    v = c.open_voltage - c.pack_resistance * pack_current
    fixed = (c.emf + (c.motor_resistance + c.on_resistance) * current) * current + c.standby
    return fixed + c.switching * abs(current) * v >= v * pack_current * NEARLY


@kernel
def voltage_excess(c: Circuit, current: float, duty: float, full: float, start: float, end: float) -> float:
    """Return the larger of both excesses: each rises with a driving current."""
    by_duty, by_voltage = voltage_excesses(c, current, duty, full, start, end)
    return max(by_duty, by_voltage)


@kernel
def current_within_voltage(c: Circuit, limit: float, duty: float, full: float, start: float, end: float) -> float:
    """Return the current between 0 and `limit` (either sign) that duty and low-voltage foldback allow [A].

    The loaded pack voltage is solved for together with the current, not chased from step to step. `limit` must
    exceed the bound. Zero where even no current is too much. Bracketed false position, Illinois form.
    Source: Dowell and Jarratt (1971), BIT 11:168-174.
    """
    low, high = 0.0, limit
    f_low = voltage_excess(c, low, duty, full, start, end)
    if f_low >= 0.0:
        return 0.0
    f_high = voltage_excess(c, high, duty, full, start, end)
    side = 0
    for _ in range(ROOT_PASSES):
        if abs(high - low) <= ROOT_TOLERANCE * abs(limit):
            break
        middle = 0.5 * (low + high)
        if f_high < math.inf:
            middle = (low * f_high - high * f_low) / (f_high - f_low)
        f = voltage_excess(c, middle, duty, full, start, end)
        if f > 0.0:
            high, f_high = middle, f
            if side == 1:
                f_low *= 0.5
            side = 1
        elif f < 0.0:
            low, f_low = middle, f
            if side == -1:
                f_high *= 0.5
            side = -1
        else:
            return middle
    return low


@kernel
def diode_current(c: Circuit) -> float:
    """Return the current through the diodes when the back-EMF passes the pack voltage, <= 0 [A]: E + I R = V_pack.

    Newton's method from the loss-free answer (E - U)/(R + r); the curve is so straight that three steps reach rounding.
    """
    current = -max(c.emf - c.open_voltage, 0.0) / (c.motor_resistance + c.pack_resistance)
    if current == 0.0:
        return 0.0
    for _ in range(3):
        v = c.emf + current * c.motor_resistance
        lost = c.on_resistance * current * current + c.standby
        out = current * (1.0 - c.switching) + lost / v
        steep = 1.0 - c.switching + (2.0 * c.on_resistance * current - lost * c.motor_resistance / v) / v
        fault = v - (c.open_voltage - c.pack_resistance * out)
        current -= fault / (c.motor_resistance + c.pack_resistance * steep)
    return min(current, 0.0)
