"""How two different drives share what both ask of: a wanted force, a tyre, a top speed, the most that the pack gives.

One throttle commands both, so each has a part of its own: what it would have at equal throttle, which is in proportion
of what each gives at its controller's current limit. What a drive makes no use of, the other may have. So what a drive
gets is told by both drives' numbers alone, never by which of them stands first in the build.

Legend: v speed [m/s], forces at the wheel [N], draws + out of the pack [A]; letters as in `physics/controller`.
"""

from __future__ import annotations

import math

from ridesim.engine.asks import driving_grip, speed_hold
from ridesim.engine.circuit import PEAK_POWER_SHARE
from ridesim.engine.state import Here, Law, MotorNow, PackNow, Parameters
from ridesim.jit import inner_kernel
from ridesim.physics import controller

LEAST_WISH = 1e-9
"""A driving force that stays one when the other drive gives all that is wanted [N]."""

STIFF = 1e-5
"""Resistance of a pack whose voltage is known, over its own: too little to be seen, enough to be divided by."""


@inner_kernel
def full_force(p: Parameters, drives: bool) -> float:
    """Return what a drive gives, or brakes with, at its controller's current limit [N], its own drag left out."""
    if drives:
        return p.torque_constant * p.drive_current * p.driving_gain
    return 0.0 if p.freewheel else p.torque_constant * p.brake_current * p.braking_gain


@inner_kernel
def second_share(p: Parameters, q: Parameters, drives: bool) -> float:
    """Return the second drive's share of a wanted force at equal throttle; where none brakes, that of their pull."""
    own, other = full_force(q, drives), full_force(p, drives)
    if own + other <= 0.0:
        own, other = full_force(q, True), full_force(p, True)
    return own / (own + other) if own + other > 0.0 else 0.5


@inner_kernel
def wish_for(p: Parameters, drives: bool, left: float, own: float, force: float) -> float:
    """Return what a motor is asked for of a force `left` to both [N]: its own part, or what the other leaves of it.

    A voltage throttle asks for no force, and a held one for all.
    """
    if drives and (p.law == Law.VOLTAGE or p.throttle >= 0.0):
        return left
    return max(own, left - force) if drives else min(own, left - force)


@inner_kernel
def wish_with_legs(wish: float, pedal: float, drives: bool) -> float:
    """Return a wish as `motor_pull` takes it, legs included, its sign kept [N]."""
    return max(wish + pedal, LEAST_WISH) if drives else min(wish, 0.0)


@inner_kernel
def counted_force(
    p: Parameters, resist: float, v: float, pedal: float, drives: bool, force: float, share: float
) -> float:
    """Return what of the other's force counts where this one is held at its top speed [N]: at most its share there."""
    if not drives or not p.limits_on:
        return force
    hold, _ = speed_hold(p, resist, v, pedal)
    return min(force, share * max(hold, 0.0))


@inner_kernel
def taken_grip(
    p: Parameters, q: Parameters, here: Here, pedal: float, drives: bool, force: float, share: float
) -> float:
    """Return what the other drive's force takes of this one's grip [N]; of the one at the other wheel < 0: it adds.

    Where both go through one tyre it takes no more than its share.
    """
    of_own, of_other, whole = p.beside_share, q.beside_share, driving_grip(p, here, pedal)
    if not drives:
        of_own, of_other, whole = p.beside_share_braking, q.beside_share_braking, p.motor_brake_grip * here.cos_theta
    taken = of_own * max(force if drives else -force, 0.0)
    return min(taken, share * max(whole, 0.0)) if of_own == 1.0 and of_other == 1.0 else taken


@inner_kernel
def peak_draw(now: PackNow) -> float:
    """Return what both drives together draw at the pack's power peak [A]."""
    return PEAK_POWER_SHARE * now.voltage / now.resistance


@inner_kernel
def peak_voltage(now: PackNow) -> float:
    """Return what is then left of the pack's voltage [V]."""
    return (1.0 - PEAK_POWER_SHARE) * now.voltage


@inner_kernel
def second_draw(p: Parameters, q: Parameters, m: MotorNow, n: MotorNow, now: PackNow) -> float:
    """Return what the second drive draws at the pack's power peak where both motors have equal throttle [A].

    Both currents are the same share t of their limits: sum(P_s + (E + k V) I t + R I^2 t^2) is the peak's power.
    """
    volts = peak_voltage(now)
    spare = volts * peak_draw(now) - p.standby - q.standby
    full, own_full = p.drive_current, q.drive_current
    level = m.emf + p.switching * volts
    own_level = n.emf + q.switching * volts
    own_steep = (n.resistance + q.on_resistance) * own_full * own_full
    steep = (m.resistance + p.on_resistance) * full * full + own_steep
    both = level * full + own_level * own_full
    if spare <= 0.0 or both + steep <= 0.0:
        return 0.5 * peak_draw(now)
    t = 2.0 * spare / (both + math.sqrt(both * both + 4.0 * steep * spare))
    return (q.standby + (own_level * own_full + own_steep * t) * t) / volts


@inner_kernel
def beside(c: controller.Circuit, draw: float) -> controller.Circuit:
    """Return a circuit whose pack another drive draws from as well [A]."""
    return _on_pack(c, c.open_voltage - c.pack_resistance * draw, c.pack_resistance, draw)


@inner_kernel
def at_peak(c: controller.Circuit, allowed: float) -> controller.Circuit:
    """Return a circuit on a pack at its power peak, which the other drive leaves `allowed` of [A].

    Both draw its most, so its voltage is known and asks for no rounds; `taken` lets `power_peak` tell `allowed`.
    """
    r = STIFF * c.pack_resistance
    volts = (1.0 - PEAK_POWER_SHARE) * c.open_voltage + r * allowed
    return _on_pack(c, volts, r, (PEAK_POWER_SHARE * volts / r - allowed) / (1.0 - PEAK_POWER_SHARE))


@inner_kernel
def _on_pack(c: controller.Circuit, voltage: float, resistance: float, taken: float) -> controller.Circuit:
    """Return a motor's circuit on another pack."""
    return controller.Circuit(
        emf=c.emf,
        motor_resistance=c.motor_resistance,
        reactance=c.reactance,
        salience=c.salience,
        on_resistance=c.on_resistance,
        switching=c.switching,
        standby=c.standby,
        open_voltage=voltage,
        pack_resistance=resistance,
        taken=taken,
    )


@inner_kernel
def left_to(c: controller.Circuit, draw: float, of_peak: float, peak: float, contested: bool) -> controller.Circuit:
    """Return a circuit on what the other drive leaves that draws `draw` [A]; at the peak at most its part counts."""
    return at_peak(c, peak - min(draw, of_peak)) if contested else beside(c, draw)
