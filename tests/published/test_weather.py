"""The temperature of the hour by Parton and Logan (1981), and the wind by Weibull's law."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from ridesim.evidence.store import sheet
from ridesim.workshop.season.diurnal import DENVER, day_length_h, temperature_of_hour
from ridesim.workshop.season.typical import weibull_wind

from .rows import near, rows_of


@rows_of("weather.hour")
def test_parton_and_logan(row: Any) -> None:
    assert temperature_of_hour(row.hour, 4.0, 14.0, 12.0) == near(row.temperature_c)


def test_the_night_grows_colder() -> None:
    """Lag of the minimum and decay of the night swapped: the night then grows warmer, as a help page has it."""
    right = [temperature_of_hour(hour, 4.0, 14.0, 12.0) for hour in (20.0, 2.0)]
    assert right[1] < right[0] - 2.0
    swapped = sheet("weather.hour_swapped")
    wrong = DENVER._replace(decay=DENVER.min_lag_h, min_lag_h=DENVER.decay)
    found = [temperature_of_hour(hour, 4.0, 14.0, 12.0, form=wrong) for hour in (20.0, 2.0)]
    assert found[1] > found[0]
    assert float(swapped.at_2_am_c) > float(swapped.at_8_pm_c)


@rows_of("weather.weibull")
def test_weibull(row: Any) -> None:
    mean = row.scale * math.gamma(1.0 + 1.0 / row.shape)
    assert mean == near(row.mean)
    assert float(weibull_wind(np.array([0.5]), np.array([mean]), row.shape)[0]) == near(row.median)
    assert float(weibull_wind(np.array([0.9]), np.array([mean]), row.shape)[0]) == near(row.most)
    shares = (np.arange(200_000) + 0.5) / 200_000
    # The mean of 200,000 even shares of the law is its mean to 1e-5.
    assert np.mean(weibull_wind(shares, np.array([1.0]), row.shape)) == pytest.approx(1.0, abs=1e-4)


def test_the_length_of_the_day() -> None:
    """Equinox: twelve hours everywhere; at 47 degrees midsummer has about 15.8 h and midwinter 8.3 h (almanacs, from
    memory, sunrise taken at the sun's middle without refraction)."""
    assert day_length_h(47.0, 81) == pytest.approx(12.0, abs=0.05)
    assert day_length_h(47.0, 172) == pytest.approx(15.7, abs=0.2)
    assert day_length_h(47.0, 355) == pytest.approx(8.3, abs=0.2)
    assert day_length_h(-47.0, 172) == pytest.approx(24.0 - day_length_h(47.0, 172), abs=1e-9)
