"""The temperature of the hour from a day's lowest and highest, and how long the day is.

Source: Parton and Logan (1981), A model for diurnal variation in soil and air temperature, Agricultural Meteorology
23:205-216: a sine while the sun is up, an exponential decay at night. Lags and decay of air at 1.5 m, Denver.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RideError

Array = NDArray[np.float64]

NOON_H, DAY_H = 12.0, 24.0
POLAR_DEG = 66.0
"""Latitude up to which every day has a sunrise and a sunset."""
TILT_DEG, DAYS_A_YEAR, EQUINOX_OFFSET = 23.45, 365.0, 284.0


class Diurnal(NamedTuple):
    """`max_lag_h`: of the maximum behind noon; `decay`: of the night; `min_lag_h`: of the minimum behind sunrise."""

    max_lag_h: float = 1.86
    decay: float = 2.20
    min_lag_h: float = -0.17


DENVER = Diurnal()
"""Parton and Logan (1981), 1.5 m. Lag and decay are easily swapped: then the night grows warmer."""


def day_length_h(latitude_deg: float, day_of_year: int) -> float:
    """Return the hours between sunrise and sunset; raises RideError beyond the polar circles.

    Declination: Cooper (1969), Solar Energy 12:333-346.
    """
    if not abs(latitude_deg) <= POLAR_DEG:
        what = f"latitude_deg = {latitude_deg:g} (-{POLAR_DEG:g} to {POLAR_DEG:g})"
        raise RideError("typical year", what, "beyond it there are days without a night")
    turn = 2.0 * math.pi * (EQUINOX_OFFSET + day_of_year) / DAYS_A_YEAR
    declination = math.radians(TILT_DEG) * math.sin(turn)
    return DAY_H / math.pi * math.acos(-math.tan(math.radians(latitude_deg)) * math.tan(declination))


def temperature_of_hour(
    hour: float, lowest_c: float, highest_c: float, length_h: float, *, next_lowest_c: float | None = None,
    dusk_before_c: float | None = None, form: Diurnal = DENVER,
) -> float:  # fmt: skip
    """Return the temperature [degC] at an hour of a day, 0 to 24, sun noon at 12.

    The evening falls towards `next_lowest_c` (else the day's own); the hours before sunrise go on from the evening
    before, which began at `dusk_before_c` (else the day's own).
    """
    rise = NOON_H - 0.5 * length_h + form.min_lag_h
    dusk = NOON_H + 0.5 * length_h
    night_h = DAY_H - length_h

    def by_day(at: float) -> float:
        """Return the temperature [degC] at an hour of daylight."""
        swing = math.sin(math.pi * (at - rise) / (length_h + 2.0 * form.max_lag_h))
        return lowest_c + (highest_c - lowest_c) * swing

    if rise <= hour <= dusk:
        return by_day(hour)
    if hour > dusk:
        start, floor, since = by_day(dusk), lowest_c if next_lowest_c is None else next_lowest_c, hour - dusk
    else:
        start = by_day(dusk) if dusk_before_c is None else dusk_before_c
        floor, since = lowest_c, hour + DAY_H - dusk
    return floor + (start - floor) * math.exp(-form.decay * since / night_h)


def hours_of_year(lowest_c: Array, highest_c: Array, latitude_deg: float) -> Array:
    """Return the temperature of every hour of a year [degC], (days x 24,), from each day's lowest and highest."""
    found = np.empty(len(lowest_c) * int(DAY_H))
    dusk_before = None
    for day, (low, high) in enumerate(zip(lowest_c.tolist(), highest_c.tolist(), strict=True)):
        length = day_length_h(latitude_deg, day + 1)
        coming = float(lowest_c[day + 1]) if day + 1 < len(lowest_c) else low
        for hour in range(int(DAY_H)):
            found[day * int(DAY_H) + hour] = temperature_of_hour(
                float(hour), low, high, length, next_lowest_c=coming, dusk_before_c=dusk_before
            )
        dusk_before = temperature_of_hour(NOON_H + 0.5 * length, low, high, length)
    return found
