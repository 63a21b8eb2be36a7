"""A motor's Kv and resistance from readings at full throttle, by the ride's own motor: V = rpm / Kv + I R."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import LogError
from ridesim.physics.motor import voltage_squared
from ridesim.units import from_si, to_si

LEAST_READINGS = 4
"""Two numbers are fitted; fewer readings than twice as many show no scatter."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class MotorFit:
    """Kv and the resistance of winding, switches and leads at the temperature of the readings; errors in per cent."""

    kv_rpm_per_v: float
    resistance_mohm: float
    rms_error_percent: float
    worst_error_percent: float
    unseen_rms_error_percent: float
    readings: int


def fit_motor(voltage_v: Sequence[float], current_a: Sequence[float], speed_rpm: Sequence[float]) -> MotorFit:
    """Return Kv and resistance from pack voltage, pack current and speed at full throttle, where duty is one.

    `unseen_rms_error_percent` predicts each reading from the fit to all others. Raises LogError for too few readings.
    """
    volts, amps, speed = (np.asarray(column, dtype=np.float64) for column in (voltage_v, current_a, speed_rpm))
    if not len(volts) == len(amps) == len(speed) >= LEAST_READINGS:
        what = f"has {len(volts)} readings, at least {LEAST_READINGS} complete ones needed"
        raise LogError("motor", what, "read voltage, current and speed at full throttle under several loads")
    kv, ohm = _line(volts, amps, speed)
    errors = _errors(kv, ohm, volts, amps, speed)
    unseen = np.array([_unseen_error(number, volts, amps, speed) for number in range(len(volts))])
    return MotorFit(
        kv,
        from_si(ohm, "mohm"),
        float(np.sqrt(np.mean(errors**2))),
        float(np.abs(errors).max()),
        float(np.sqrt(np.mean(unseen**2))),
        len(volts),
    )


def _line(volts: Array, amps: Array, speed: Array) -> tuple[float, float]:
    """Return Kv [rpm/V] and resistance [ohm] by least squares."""
    (per_rpm, ohm), *_ = np.linalg.lstsq(np.column_stack((speed, amps)), volts, rcond=None)
    if per_rpm <= 0.0:
        raise LogError("motor", "turns slower at a higher voltage", "check the columns")
    return float(1.0 / per_rpm), float(ohm)


def _errors(kv: float, ohm: float, volts: Array, amps: Array, speed: Array) -> Array:
    """Return our voltage over the measured one, less one [%]."""
    constant = 1.0 / to_si(kv, "rpm_per_v")
    emf = constant * np.array([to_si(value, "rpm") for value in speed])
    ours = [math.sqrt(voltage_squared(e, i, ohm, 0.0)) for e, i in zip(emf, amps, strict=True)]
    return 100.0 * (np.array(ours) / volts - 1.0)


def _unseen_error(number: int, volts: Array, amps: Array, speed: Array) -> float:
    others = np.arange(len(volts)) != number
    kv, ohm = _line(volts[others], amps[others], speed[others])
    here = slice(number, number + 1)
    return float(_errors(kv, ohm, volts[here], amps[here], speed[here])[0])
