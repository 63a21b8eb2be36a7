"""The inverter between pack and motor: its losses, and the motor current that each bound allows.

Legend: I DC-equivalent motor current [A], J = -I > 0 when braking, E back-EMF [V], X = pole_pairs omega L_ll [ohm],
R_w winding, R_on switches and leads, R = R_w + R_on [ohm], k switching loss fraction, P_s standby power [W], U and r
the pack behind its resistance [V, ohm], V pack voltage [V], I_b pack current, + out [A], d modulation limit.
Losses: P = P_s + R_on I^2 + k |I| V; power balance: V I_b = E I + R I^2 + P_s + k |I| V with V = U - r I_b.
Source of the losses' form: Mohan, Undeland and Robbins, Power Electronics (2003), chapter 2 (conduction and switching),
from memory; the balance is the conservation of energy, its roots are those of a quadratic.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from ridesim.jit import called_kernel, inner_kernel, kernel
from ridesim.physics.motor import voltage_squared
from ridesim.physics.pack import voltage_at_load

ROOT_PASSES = 60
ROOT_TOLERANCE = 1e-12
"""Relative width at which a bracketed root counts as found: a few roundings of a double."""

NEARLY = 1.0 - 1e-12
"""What still counts as the whole, a few roundings short of it."""

SAME_PULL = 1e-10
"""Relative width at which the current for a torque is found."""

FIELD_PASSES, FIELD_TOLERANCE = 20, 1e-9
HALVINGS = 45
"""Rounds of the field current and its loaded voltage, and of the search for a bound with them."""

UNBOUNDED = 1e9
"""A current that no bound reaches [A]."""


class Circuit(NamedTuple):
    """Motor, switches and pack at one speed and one charge, as plain numbers."""

    emf: float  # E, line to line, peak [V]
    motor_resistance: float  # R_w [ohm]
    reactance: float  # X, of the q axis [ohm]
    salience: float  # X over that of the d axis; 1: magnets on the surface
    on_resistance: float  # R_on [ohm]
    switching: float  # k
    standby: float  # P_s [W]
    open_voltage: float  # U [V]
    pack_resistance: float  # r [ohm]
    taken: float = 0.0  # I_b of another drive, already off U [A]


@kernel
def foldback(reading: float, start: float, end: float) -> float:
    """Return the share of the current that is left: 1 at `start`, 0 at `end`, linear between (start may exceed end).

    Equal ends mean that the foldback is off. share = (end - reading)/(end - start). Common practice, no source.
    """
    if start == end or (reading - start) * (end - start) <= 0.0:
        return 1.0
    return min(max((end - reading) / (end - start), 0.0), 1.0)


@kernel
def controller_loss(c: Circuit, I: float, V: float) -> float:
    """Return P_s + R_on I^2 + k |I| V [W]."""
    return c.standby + c.on_resistance * I * I + c.switching * abs(I) * V


@inner_kernel
def fixed_power(c: Circuit, I: float) -> float:
    """Return E I + R I^2 + P_s [W]: the part of the load that does not grow with the pack's voltage."""
    R = c.motor_resistance + c.on_resistance
    return (c.emf + R * I) * I + c.standby


@kernel
def loaded_voltage(c: Circuit, I: float) -> float:
    """Return the pack voltage V under a motor current I [V]; NaN past the pack's power peak."""
    return voltage_at_load(c.open_voltage, c.pack_resistance, fixed_power(c, I), c.switching * abs(I))


@kernel
def drive_current_at_pack_current(c: Circuit, I_b: float) -> float:
    """Return the motor current I that draws I_b [A].

    Upper root of R I^2 + (E + k V) I = V I_b - P_s at V = U - r I_b.
    """
    V = c.open_voltage - c.pack_resistance * I_b
    spare = V * I_b - c.standby
    if spare <= 0.0:
        return 0.0
    R = c.motor_resistance + c.on_resistance
    b = c.emf + c.switching * V
    return 2.0 * spare / (b + math.sqrt(b * b + 4.0 * R * spare))


@inner_kernel
def brake_current_at_pack_current(c: Circuit, I_b: float) -> float:
    """Return J that draws I_b from the pack, slow braking whose copper takes more than it gives [A].

    Upper root of R J^2 - (E - k V) J = V I_b - P_s at V = U - r I_b.
    """
    V = c.open_voltage - c.pack_resistance * I_b
    spare = V * I_b - c.standby
    if spare <= 0.0:
        return 0.0
    R = c.motor_resistance + c.on_resistance
    b = c.emf - c.switching * V
    return (b + math.sqrt(b * b + 4.0 * R * spare)) / (2.0 * R)


@kernel
def brake_current_at_charge_current(c: Circuit, charging: float) -> float:
    """Return J that charges the pack with -I_b = `charging` [A], the smaller root; unbounded where no J reaches it.

    R J^2 - (E - k V) J + P_s + V charging = 0 at V = U + r charging.
    """
    V = c.open_voltage + c.pack_resistance * charging
    R = c.motor_resistance + c.on_resistance
    b = c.emf - c.switching * V
    rest = c.standby + V * charging
    inside = b * b - 4.0 * R * rest
    if b <= 0.0 or inside < 0.0:
        return UNBOUNDED
    return 2.0 * rest / (b + math.sqrt(inside))


@inner_kernel
def voltage_excesses(c: Circuit, I: float, d: float, full: float, start: float, end: float) -> tuple[float, float]:
    """Return by how much a motor current passes the modulation [V2] and the low-voltage foldback [A]; > 0: too much.

    V_motor^2 - (d V)^2, and I - full foldback(V(I)); both infinite past the pack's power peak.
    """
    V = loaded_voltage(c, I)
    if not V > 0.0:
        return math.inf, math.inf
    by_duty = voltage_squared(c.emf, I, c.motor_resistance, c.reactance) - d * d * V * V
    return by_duty, I - full * foldback(V, start, end)


@kernel
def draws_at_least(c: Circuit, I: float, I_b: float) -> bool:
    """Return whether a motor current I draws I_b or more from the pack; as much to a rounding counts."""
    V = c.open_voltage - c.pack_resistance * I_b
    return fixed_power(c, I) + c.switching * abs(I) * V >= V * I_b * NEARLY


@called_kernel
def voltage_excess(c: Circuit, I: float, d: float, full: float, start: float, end: float) -> float:
    """Return the larger of both excesses: each rises with a driving current."""
    by_duty, by_voltage = voltage_excesses(c, I, d, full, start, end)
    return max(by_duty, by_voltage)


@called_kernel
def current_within_voltage(c: Circuit, limit: float, d: float, full: float, start: float, end: float) -> float:
    """Return the current between 0 and `limit` (either sign) that modulation and low-voltage foldback allow [A].

    The loaded pack voltage is solved for together with the current, not chased from step to step. `limit` must
    exceed the bound. Zero where even no current is too much. Bracketed false position, Illinois form.
    Source: Dowell and Jarratt (1971), BIT 11:168-174.
    """
    low, high = 0.0, limit
    f_low = voltage_excess(c, low, d, full, start, end)
    if f_low >= 0.0:
        return 0.0
    f_high = voltage_excess(c, high, d, full, start, end)
    side = 0
    for _ in range(ROOT_PASSES):
        if abs(high - low) <= ROOT_TOLERANCE * abs(limit):
            break
        middle = 0.5 * (low + high)
        if f_high < math.inf:
            middle = (low * f_high - high * f_low) / (f_high - f_low)
        f = voltage_excess(c, middle, d, full, start, end)
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
def with_field(c: Circuit, f: float, I: float) -> Circuit:
    """Return the circuit with a field current f beside I: its copper and switching losses stand in for P_s.

    f^2 (R_w + R_on) + k (sqrt(I^2 + f^2) - |I|) U: the switches carry the length of the current's arrow. A salient
    motor's current works against E + (X - X_d) f: its shaft power is that times I.
    """
    R = c.motor_resistance + c.on_resistance
    more = f * f * R + c.switching * (math.sqrt(I * I + f * f) - abs(I)) * c.open_voltage
    return Circuit(
        emf=c.emf + (c.reactance - c.reactance / c.salience) * f,
        motor_resistance=c.motor_resistance,
        reactance=c.reactance,
        salience=c.salience,
        on_resistance=c.on_resistance,
        switching=c.switching,
        standby=c.standby + more,
        open_voltage=c.open_voltage,
        pack_resistance=c.pack_resistance,
        taken=c.taken,
    )


@kernel
def field_at_voltage(c: Circuit, I: float, V_m: float) -> float:
    """Return the smallest field current f >= 0 at which the motor takes V_m [A]; unbounded where none does.

    V_m^2 = (E - X_d f + I R)^2 + (X I + R f)^2, f = -I_d: a quadratic, its smaller root; with magnets on the surface
    (X_d = X) the cross terms in I cancel. Source: Morimoto et al. (1990), IEEE Trans. Ind. Appl. 26:866-871 (voltage
    circle of a magnet motor), the DC-equivalent reading on both axes.
    """
    over = voltage_squared(c.emf, I, c.motor_resistance, c.reactance) - V_m * V_m
    if over <= 0.0:
        return 0.0
    direct = c.reactance / c.salience
    cross = direct * c.emf + (direct - c.reactance) * c.motor_resistance * I
    inside = cross * cross - (direct * direct + c.motor_resistance * c.motor_resistance) * over
    if inside < 0.0 or cross <= 0.0:
        return UNBOUNDED
    return over / (cross + math.sqrt(inside))


@called_kernel
def field_needed(c: Circuit, I: float, d: float) -> float:
    """Return the smallest field current with which a motor current I keeps the modulation limit d [A].

    The loaded pack voltage falls with the field's own losses: a few rounds settle both. Unbounded where none does.
    """
    f = 0.0
    for _ in range(FIELD_PASSES):
        V = loaded_voltage(with_field(c, f, I), I)
        if not V > 0.0:
            return UNBOUNDED
        before, f = f, field_at_voltage(c, I, d * V)
        if f >= UNBOUNDED or abs(f - before) <= FIELD_TOLERANCE * f:
            break
    return f


@kernel
def field_within_power(c: Circuit, P: float) -> float:
    """Return the field current whose losses, with what is always drawn, are a pack power P [A]; see `with_field`."""
    R, kU = c.motor_resistance + c.on_resistance, c.switching * c.open_voltage
    left = max(P - c.standby, 0.0)
    return 2.0 * left / (kU + math.sqrt(kU * kU + 4.0 * R * left)) if left > 0.0 else 0.0


@called_kernel
def weakened_current(c: Circuit, I: float, d: float, most: float, full: float, I_b: float) -> float:
    """Return the largest driving current up to I that field weakening leaves room for [A].

    Its field current stays within `most`, the arrow of both within `full`, the draw within the pack current I_b. What a
    current asks of all three rises with it: halved until rounding.
    """
    low, high = 0.0, I
    for _ in range(HALVINGS):
        f = field_needed(c, high, d)
        if f <= most and high * high + f * f <= full * full and not draws_at_least(with_field(c, f, high), high, I_b):
            low = high
        else:
            I = high
        high = 0.5 * (low + I)
        if I - low <= FIELD_TOLERANCE * I:
            break
    return low


@called_kernel
def salient_current(c: Circuit, A: float, d: float, most: float) -> float:
    """Return the motor current I that pulls as A would without a field current (either sign) [A].

    (E + (X - X_d) f) I = E A with f = the smallest field current that I asks for at the modulation limit d, `most` at
    most. Bracketed false position, Illinois form: from A down to what the most field leaves to do.
    """
    gain = c.reactance - c.reactance / c.salience
    if gain <= 0.0 or c.emf <= 0.0:
        return A
    high, low = A, A * c.emf / (c.emf + gain * most)
    f_high = gain * min(field_needed(c, high, d), most) * high / (A * c.emf)  # over the whole, what is too much
    if f_high <= 0.0:
        return A
    f_low = (c.emf + gain * min(field_needed(c, low, d), most)) * low / (A * c.emf) - 1.0
    side = 0
    for _ in range(ROOT_PASSES):
        if f_low >= 0.0 or abs(high - low) <= SAME_PULL * abs(A):
            break
        middle = (low * f_high - high * f_low) / (f_high - f_low)
        f = (c.emf + gain * min(field_needed(c, middle, d), most)) * middle / (A * c.emf) - 1.0
        if abs(f) <= SAME_PULL:
            return middle
        if f > 0.0:
            high, f_high = middle, f
            if side == 1:
                f_low *= 0.5
            side = 1
        else:
            low, f_low = middle, f
            if side == -1:
                f_high *= 0.5
            side = -1
    return low


@called_kernel
def brake_current_with_field(c: Circuit, J: float, charging: float, d: float, most: float) -> float:
    """Return the largest braking current up to J of a salient motor that charges the pack with `charging` at most [A].

    Its field current adds to what J brakes, and to what flows back. Halved until rounding.
    """
    low, high = 0.0, J
    for _ in range(HALVINGS):
        f = min(field_needed(c, -high, d), most)
        if draws_at_least(with_field(c, f, -high), -high, -charging):
            low = high
        else:
            J = high
        high = 0.5 * (low + J)
        if J - low <= FIELD_TOLERANCE * J:
            break
    return low


@called_kernel
def diode_current(c: Circuit) -> float:
    """Return the current I through the diodes where the back-EMF passes the pack voltage, <= 0 [A]: E + I R_w = V.

    With I_b = I (1 - k) + (R_on I^2 + P_s)/V the fault V - (U - r I_b) is solved by Newton's method from the loss-free
    answer (E - U)/(R_w + r); the curve is so straight that three steps reach rounding. Source: Mohan et al. (2003),
    chapter 5 (diode rectifiers on a voltage), the three phases as one line-to-line loop.
    """
    I = -max(c.emf - c.open_voltage, 0.0) / (c.motor_resistance + c.pack_resistance)
    if I == 0.0:
        return 0.0
    for _ in range(3):
        V = c.emf + I * c.motor_resistance
        lost = c.on_resistance * I * I + c.standby
        I_b = I * (1.0 - c.switching) + lost / V
        steep = 1.0 - c.switching + (2.0 * c.on_resistance * I - lost * c.motor_resistance / V) / V
        fault = V - (c.open_voltage - c.pack_resistance * I_b)
        I -= fault / (c.motor_resistance + c.pack_resistance * steep)
    return min(I, 0.0)
