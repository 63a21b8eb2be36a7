"""The weather of an invented year: the temperature of the hour and the wind's law, against their worked values."""

from __future__ import annotations

import math

import numpy as np

from ridesim.evidence.checks import Check, Subject, near
from ridesim.evidence.store import table
from ridesim.workshop.season.diurnal import temperature_of_hour
from ridesim.workshop.season.typical import weibull_wind

LOWEST_C, HIGHEST_C, DAY_H = 4.0, 14.0, 12.0
"""The day of the worked values."""


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of the weather."""
    checks = [
        near(f"temperature at {hour:g} h", temperature_of_hour(hour, LOWEST_C, HIGHEST_C, DAY_H), printed)
        for hour, printed in table("weather.hour").rows
    ]
    for shape, scale, mean, median, most in table("weather.weibull").rows:
        name, own = f"wind of shape {shape:g} and scale {scale:g}", scale * math.gamma(1.0 + 1.0 / shape)
        half, nine = weibull_wind(np.array([0.5, 0.9]), np.full(2, own), shape).tolist()
        checks += [
            near(f"{name}: mean", own, mean),
            near(f"{name}: not passed half of the time", half, median),
            near(f"{name}: not passed nine tenths of the time", nine, most),
        ]
    return checks, []


SUBJECT = Subject("weather", "Weather of an invented year", run)
