"""What to measure next: how each number is measured, with which command, and how much narrower an answer becomes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.second import PREFIX
from ridesim.bike.tolerance import key_of
from ridesim.sure.uncertain import Doubts, Uncertain, measured_tolerance

Array = NDArray[np.float64]

LEAST_SHARE = 0.01
"""A number that carries less of an answer's variance is not worth a morning (guess)."""

_SCALE = ("weigh it", "")
_FIT = ("log a ride with a power meter, and fit drag and rolling together", "ridesim fit BUILD LOG")
_UNLOADED = ("run it with nothing on the shaft, at half and full voltage", "ridesim bench --no-load V,A,RPM")
_SAG = ("load the pack lightly, then heavily", "ridesim bench --sag V,A,V,A")
HOW: dict[str, tuple[str, str]] = {
    "motor.kv_rpm_per_v": ("turn the motor by a drill, two leads open", "ridesim bench --spin V_RMS,RPM"),
    "motor.resistance_mohm": ("measure the voltage between two leads at 20 A", "ridesim bench --drop V,A,C"),
    "motor.drag_torque_nm": _UNLOADED,
    "motor.drag_growth_nm_s": _UNLOADED,
    "motor.no_load": _UNLOADED,
    "motor.mass_kg": _SCALE,
    "rider.mass_kg": _SCALE,
    "bicycle.mass_kg": _SCALE,
    "bicycle.cargo_kg": _SCALE,
    "controller.mass_kg": _SCALE,
    "pack.cell.mass_kg": _SCALE,
    "pack.extra_mass_kg": _SCALE,
    "bicycle.drag_area_m2": _FIT,
    "tyre.rolling_resistance": _FIT,
    "tyre.circumference_mm": ("roll one turn with the rider up, and tape it", ""),
    "pack.cell.resistance_mohm": _SAG,
    "pack.resistance_mohm": _SAG,
    "pack.wiring_mohm": _SAG,
    "pack.interconnect_mohm": _SAG,
    "pack.start_charge_fraction": ("read the resting voltage before the ride", ""),
    "brakes.front.mass_g": ("weigh the disc, or the rim", ""),
    "brakes.rear.mass_g": ("weigh the disc, or the rim", ""),
    "brakes.front.area_cm2": ("draw the disc's ring or the rim on squared paper, both faces", ""),
    "brakes.rear.area_cm2": ("draw the disc's ring or the rim on squared paper, both faces", ""),
    "rider.power_w": ("a power meter", ""),
    "weather.temperature_c": ("a thermometer in the shade", ""),
    "weather.wind_speed_km_h": ("the nearest station, an hour before", ""),
}
"""How a builder measures a key, and the command that works it out ("" where none is needed)."""


@dataclass(frozen=True)
class Measurement:
    """One thing to measure: its share of the asked answer's variance, and the spread left after it (1 = as now)."""

    key: str
    share: float
    left: float
    how: str
    command: str


def next_measurements(doubts: Doubts, shares: Array) -> tuple[Measurement, ...]:
    """Return what narrows an answer most, the best first, among what a builder can measure.

    A measured key takes its share of the variance off, but for what the measurement leaves.
    """
    found = []
    for each, share in zip(doubts.numbers, shares.tolist(), strict=True):
        how = HOW.get(key_of(each.key).removeprefix(PREFIX))
        if how is None or share < LEAST_SHARE:
            continue
        gone = share * (1.0 - still_open(each))
        if gone > 0.0:
            found.append(Measurement(each.key, share, math.sqrt(max(1.0 - gone, 0.0)), *how))
    return tuple(sorted(found, key=lambda one: one.left))


def still_open(number: Uncertain) -> float:
    """Return the share of a number's variance that its measurement leaves; 1 where it is measured already."""
    measured = measured_tolerance(number.key)
    if measured is None or number.standard_deviation == 0.0:
        return 1.0
    return min((measured.standard_deviation(number.value) / number.standard_deviation) ** 2, 1.0)
