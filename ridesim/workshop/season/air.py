"""A year of weather, hour by hour: what every day's ride is ridden in."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

HOURS = 24
SHORTEST_YEAR, LONGEST_YEAR = 365, 366
"""Days."""


@dataclass(frozen=True)
class Air:
    """The air at one hour of one day, in the units of a build's [weather]."""

    temperature_c: float
    wind_speed_km_h: float
    wind_from_deg: float
    wet: bool


@dataclass(frozen=True, eq=False)
class WeatherYear:
    """Every hour of a year, columns of (days x 24,); each stands at its full hour, local time.

    `by_the_hour`: False where only days were told. `invented`: nobody measured it. `notes`: what was mended or made.
    """

    name: str
    first: date
    temperature_c: Array
    wind_speed_km_h: Array
    wind_from_deg: Array
    wet: NDArray[np.bool_]
    by_the_hour: bool = True
    invented: bool = False
    notes: tuple[str, ...] = field(default=())

    @property
    def days(self) -> int:
        """Number of days."""
        return len(self.temperature_c) // HOURS

    def date_of(self, day: int) -> date:
        """Return the date of a day, counted from 0."""
        return self.first + timedelta(days=day)

    def at(self, day: int, hour: float) -> Air:
        """Return the air at an hour of a day: the temperature straight between full hours, the wind of the hour."""
        place = day * HOURS + hour
        before = min(int(place), len(self.temperature_c) - 1)
        return Air(
            float(self.temperature_at(np.array([place]))[0]),
            float(self.wind_speed_km_h[before]),
            float(self.wind_from_deg[before]),
            bool(self.wet[before]),
        )

    def temperature_at(self, hours: Array) -> Array:
        """Return the air temperature [degC] at hours since the first midnight; beyond the ends the year goes round."""
        count = len(self.temperature_c)
        return np.asarray(np.interp(hours, np.arange(count), self.temperature_c, period=count))


def constant_year(
    temperature_c: float,
    *,
    wind_speed_km_h: float = 0.0,
    wind_from_deg: float = 0.0,
    wet: bool = False,
    first: date = date(2001, 1, 1),
) -> WeatherYear:
    """Return a year in which the weather never changes; it begins on a Monday."""
    count = SHORTEST_YEAR * HOURS
    return WeatherYear(
        "constant weather", first, np.full(count, temperature_c), np.full(count, wind_speed_km_h),
        np.full(count, wind_from_deg), np.full(count, wet), invented=True,
    )  # fmt: skip
