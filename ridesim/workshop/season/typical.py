"""A typical year from monthly means and a seed: invented, and marked so."""

from __future__ import annotations

import math
import tomllib
from datetime import date
from pathlib import Path
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, ValidationError

from ridesim.errors import FileError, RideError
from ridesim.schema.problems import Document, problems_of
from ridesim.schema.section import Section, key
from ridesim.schema.source import read_whole, refuse_deep_keys
from ridesim.workshop.season.air import HOURS, SHORTEST_YEAR, WeatherYear
from ridesim.workshop.season.diurnal import POLAR_DEG, hours_of_year

Array = NDArray[np.float64]

OWN_YEAR = Path(__file__).with_name("typical-year.toml")
MOST_BYTES = 64 * 1024
MONTHS = 12
FIRST_DAY = date(2001, 1, 1)
"""A Monday of a year without a leap day."""
DAY_MEMORY, HOUR_MEMORY = 0.7, 0.9
"""How much of a warm or windy spell is left a day, or an hour, later (guesses)."""
COLDEST_C, WARMEST_C = -30.0, 50.0
"""What a build's [weather] allows."""
FULL_TURN_DEG = 360.0


class YearError(FileError):
    """A typical year that cannot be used."""


class TypicalYear(Section):
    """Twelve monthly figures of each kind, January first."""

    name: str = key(..., "what you call the place")
    latitude_deg: float = key(..., "for the length of the day", -POLAR_DEG, POLAR_DEG)
    mean_temperature_c: tuple[Annotated[float, Field(ge=-25.0, le=45.0, strict=True)], ...] = Field(
        ..., description="monthly means"
    )
    daily_range_k: tuple[Annotated[float, Field(ge=0.0, le=30.0, strict=True)], ...] = Field(
        ..., description="mean of the days' highest less their lowest"
    )
    day_to_day_k: tuple[Annotated[float, Field(ge=0.0, le=10.0, strict=True)], ...] = Field(
        ..., description="deviation of a day's mean from the month's"
    )
    wind_mean_km_h: tuple[Annotated[float, Field(ge=0.0, le=60.0, strict=True)], ...] = Field(
        ..., description="monthly means of the reported wind"
    )
    wind_shape: float = key(2.0, "Weibull's k; 2 is Rayleigh", 1.0, 5.0)
    wind_from_deg: float = key(..., "where it mostly blows from", 0.0, FULL_TURN_DEG)
    wind_direction_spread_deg: float = key(60.0, "deviation of a day's direction", 0.0, 180.0)
    wet_share: tuple[Annotated[float, Field(ge=0.0, le=1.0, strict=True)], ...] = Field(
        ..., description="share of the hours with a wet road"
    )


MONTHLY = ("mean_temperature_c", "daily_range_k", "day_to_day_k", "wind_mean_km_h", "wet_share")


def load_typical(path: str | Path | None = None) -> TypicalYear:
    """Return the typical year of a file, or the one that ships. Raises YearError with every problem."""
    place, where = Path(path or OWN_YEAR), str(path or OWN_YEAR.name)
    raw = read_whole(place, MOST_BYTES, YearError)
    refuse_deep_keys(raw, where, YearError)
    try:
        table = tomllib.loads(raw.decode("utf-8-sig"))
    except (ValueError, RecursionError) as fault:  # bad UTF-8 and bad TOML are ValueErrors
        raise YearError(where, f"is not TOML ({' '.join(str(fault).split())[:160]})", "mend the line") from None
    for name in MONTHLY:
        found = table.get(name)
        if isinstance(found, list) and len(found) != MONTHS:
            raise YearError(f"{where}, {name}", f"has {len(found)} months (a year has 12)", "give January to December")
    try:
        return TypicalYear.model_validate(table)
    except ValidationError as fault:
        raise problems_of(fault, {}, where, Document(TypicalYear, YearError)) from None


def typical_year(source: TypicalYear, seed: int = 1) -> WeatherYear:
    """Return an invented year of hours: same seed, same year.

    Days wander about the monthly means with a memory; the hour follows Parton and Logan (1981); the wind of the hour is
    drawn from Weibull's law (Weibull 1951, J. Appl. Mech. 18:293-297; k = 2 is Rayleigh's). Raises RideError for a seed
    below zero.
    """
    if seed < 0:
        raise RideError("--seed", f"{seed} is below 0", "give 0 or more")
    random = np.random.default_rng(seed)
    spells = _spells(random, SHORTEST_YEAR, DAY_MEMORY)
    mean = by_day(source.mean_temperature_c) + spells * by_day(source.day_to_day_k)
    half = 0.5 * by_day(source.daily_range_k)
    hours = np.clip(hours_of_year(mean - half, mean + half, source.latitude_deg), COLDEST_C, WARMEST_C)
    gusts = _spells(random, len(hours), HOUR_MEMORY)
    turned = _spells(random, SHORTEST_YEAR, DAY_MEMORY) * source.wind_direction_spread_deg
    return WeatherYear(
        name=source.name,
        first=FIRST_DAY,
        temperature_c=hours,
        wind_speed_km_h=weibull_wind(_share_below(gusts), by_hour(source.wind_mean_km_h), source.wind_shape),
        wind_from_deg=np.repeat(np.mod(source.wind_from_deg + turned, FULL_TURN_DEG), HOURS),
        wet=_share_below(_spells(random, len(hours), HOUR_MEMORY)) < by_hour(source.wet_share),
        invented=True,
        notes=(f"The weather is invented: {source.name}, seed {seed}; give your own with --weather.",),
    )


def weibull_wind(shares: Array, mean: Array, shape: float) -> Array:
    """Return the wind below which these shares of the time lie, in the mean's unit.

    `c (-ln(1 - u))^(1/k)`, the scale from the mean, `mean = c Gamma(1 + 1/k)`. Source: Weibull (1951).
    """
    scale = mean / math.gamma(1.0 + 1.0 / shape)
    return np.asarray(scale * (-np.log1p(-np.clip(shares, 0.0, 1.0 - 1e-12))) ** (1.0 / shape))


def by_day(monthly: tuple[float, ...]) -> Array:
    """Return monthly figures for every day of a year: straight between the middles of the months."""
    starts = np.array([date(FIRST_DAY.year, month, 1).toordinal() for month in range(1, MONTHS + 1)], dtype=float)
    starts -= FIRST_DAY.toordinal()
    ends = np.append(starts[1:], SHORTEST_YEAR)
    return np.asarray(np.interp(np.arange(SHORTEST_YEAR) + 0.5, 0.5 * (starts + ends), monthly, period=SHORTEST_YEAR))


def by_hour(monthly: tuple[float, ...]) -> Array:
    """Return monthly figures for every hour of a year."""
    return np.repeat(by_day(monthly), HOURS)


def _spells(random: np.random.Generator, count: int, memory: float) -> Array:
    """Return standard normal numbers, each keeping a share of the one before."""
    fresh = random.normal(size=count)
    found = np.empty(count)
    found[0] = fresh[0]
    rest = math.sqrt(1.0 - memory**2)
    for at in range(1, count):
        found[at] = memory * found[at - 1] + rest * fresh[at]
    return found


def _share_below(scores: Array) -> Array:
    from scipy.special import ndtr

    return np.asarray(ndtr(scores))
