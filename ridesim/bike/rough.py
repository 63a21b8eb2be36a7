"""Rough sums over a build, in closed form: enough to tell whether it makes sense, too little to tell how it rides."""

from __future__ import annotations

import math
from typing import Any

from ridesim.bike.schema import LOW_VOLTAGE_END_SHARE, LOW_VOLTAGE_START_SHARE, Build
from ridesim.bike.second import seen_by_second
from ridesim.units import convert, from_si, to_si

SINE_TO_DC = math.sqrt(3.0) / 2.0
"""DC-equivalent current per ampere of phase-current amplitude."""

GRAVITY_M_PER_S2 = 9.80665
"""Standard gravity, ISO 80000-3."""

BEARING_N = 0.091
"""Bearing force at rest. Source: Martin et al. (1998)."""


def low_voltage_v(build: Build) -> tuple[float, float]:
    """Return start and end of the low-voltage foldback, V, defaults filled in."""
    start, end = build.controller.full_current_above_v, build.controller.no_current_below_v
    return (
        start if start is not None else _cells_at(build, LOW_VOLTAGE_START_SHARE),
        end if end is not None else _cells_at(build, LOW_VOLTAGE_END_SHARE),
    )


def _cells_at(build: Build, share: float) -> float:
    cell = build.pack.cell
    return build.pack.series * (cell.min_voltage_v + share * (cell.max_voltage_v - cell.min_voltage_v))


def resting_v(build: Build, charge: float) -> Any:
    """Return the resting pack voltage, V, at a charge fraction; of an array of charges (drawn bikes) an array."""
    import numpy as np

    pack = build.pack
    cell_v = np.interp(charge, pack.cell.charge_fraction, pack.cell.open_circuit_v)
    volts = pack.series * cell_v + pack.open_circuit_offset_v
    return volts if np.ndim(volts) else float(volts)


def pack_resistance_ohm(build: Build, slow: bool = False) -> float:
    """Return the fast resistance of the pack with its wiring, and the slow part if asked, ohm, at 25 degC."""
    pack = build.pack
    share = pack.resistance_share
    cell = pack.cell.resistance_mohm * share + (pack.cell.slow_mohm if slow else 0.0)
    cells = pack.series / pack.parallel * cell * pack.resistance_factor
    return to_si(cells + share * (pack.interconnect_mohm + pack.wiring_mohm), "mohm")


def full_v(build: Build) -> float:
    """Return the resting voltage of the full pack, V."""
    return resting_v(build, 1.0)


def pack_limit_a(build: Build) -> float:
    """Return what all controllers together may draw from the pack, A."""
    own = build.drive.motors * build.controller.pack_current_limit_a
    return own if build.second is None else own + build.second.controller.pack_current_limit_a


def standing_force_n(build: Build, iron_nm: float = 0.0) -> float:
    """Return the force at the wheel with the motor standing still at its current limit, N.

    `iron_nm`: what one motor's own iron and bearings hold back, which the step takes off too. Of two
    different drives that of the first; see `bike.second.seen_by_second`.
    """
    motor, controller = build.motor, build.controller
    limit = controller.motor_current_limit_a * (SINE_TO_DC if controller.commutation == "sine" else 1.0)
    by_voltage = controller.modulation_limit * full_v(build) / to_si(motor.resistance_mohm, "mohm")
    torque = build.drive.motors / to_si(motor.kv_rpm_per_v, "rpm_per_v") * min(limit, by_voltage)
    torque -= build.drive.motors * iron_nm
    for stage in build.drive.stage:
        torque = (torque - stage.drag_torque_nm) * stage.turns * stage.load_efficiency
    lowest = build.drive.speeds[0]
    return torque * lowest.turns * lowest.efficiency / (to_si(build.tyre.circumference_mm, "mm") / (2.0 * math.pi))


def both_standing_force_n(build: Build) -> float:
    """Return the force at the wheels with all motors standing still at their current limits, N."""
    own = standing_force_n(build)
    return own if build.second is None else own + max(standing_force_n(seen_by_second(build)), 0.0)


def flat_resistance_n(build: Build) -> float:
    """Return the force that starts the bike rolling on flat asphalt, N."""
    return build.tyre.rolling_resistance * build.mass_kg * GRAVITY_M_PER_S2 + BEARING_N


def wheel_kv_rpm_per_v(build: Build) -> float:
    """Return the wheel's unloaded speed per volt in the highest gear, rpm/V."""
    return build.motor.kv_rpm_per_v / build.drive.fastest_turns


SHIFT_UP_SHARE = 0.75
"""Of the motor's unloaded speed at half charge, where a build does not say when it shifts up (guess)."""
SHIFT_DOWN_SHARE = 0.9
"""Of the lowest speed that an up-shift leaves the motor, where it shifts down again: it would hunt above (guess)."""


def shift_rpm(build: Build) -> tuple[float, float]:
    """Return the motor speeds at which the gears shift up and down, rpm, defaults filled in."""
    gears, box = build.drive.gears, build.controller
    unloaded = build.motor.kv_rpm_per_v * resting_v(build, 0.5) * box.modulation_limit
    up = gears.up_rpm if gears.up_rpm is not None else SHIFT_UP_SHARE * unloaded
    down = gears.down_rpm if gears.down_rpm is not None else SHIFT_DOWN_SHARE * gears.widest_step * up
    return up, down


USUAL_WHEEL_KV = (9.0, 11.0)
"""Unloaded rpm per volt that is usual at a 26 to 28 inch wheel on 36 to 60 V (common practice, no source)."""
USUAL_WHEEL_MM, USUAL_PACK_V = 2100.0, 46.0
"""What the rule of thumb means by a usual wheel and pack: rolled length, and volts at half charge (guess)."""


def usual_wheel_kv_rpm_per_v(build: Build) -> float:
    """Return the wheel's rpm per volt that gives the same unloaded speed on a usual wheel and pack, rpm/V.

    The rule of thumb means a speed: a smaller wheel or a lower pack asks for more rpm per volt to reach it.
    """
    volts = resting_v(build, 0.5) / USUAL_PACK_V
    return wheel_kv_rpm_per_v(build) * volts * build.tyre.circumference_mm / USUAL_WHEEL_MM


FASTER_GEARING = "faster gearing (fewer motor turns a wheel turn)"
SLOWER_GEARING = "slower gearing (more motor turns a wheel turn)"
"""The words for both ways to change a reduction, the same everywhere."""


def unloaded_speed_km_h(build: Build) -> float:
    """Return the riding speed at which the full pack can push no more current into the motor, km/h."""
    rpm = wheel_kv_rpm_per_v(build) * full_v(build) * build.controller.modulation_limit
    return from_si(convert(rpm, "rpm", "rev_per_s") * to_si(build.tyre.circumference_mm, "mm"), "km_h")


def motor_speed_wanted_km_h(build: Build, cruise_km_h: float) -> float:
    """Return the speed that a motor has to reach for a cruise speed [km/h]: none above its legal limit; legs go on.

    A bike that is not pedalled has nothing that goes on: its motor is asked for all of it.
    """
    legal = build.controller.assist_speed_limit_km_h
    return cruise_km_h if legal is None or build.rider.power_w <= 0.0 else min(legal, cruise_km_h)
