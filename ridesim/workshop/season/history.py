"""What the pack goes through in a year: every hour's charge and temperature, and every way down and up again."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ridesim.units import convert, from_si
from ridesim.workshop.season.air import HOURS
from ridesim.workshop.season.legs import BACK, Bike, Commute, Leg, decay_per_h, surroundings_c
from ridesim.workshop.season.plan import CHARGER_C_RATE
from ridesim.workshop.season.wear import Cycle, Rests

Array = NDArray[np.float64]
SHALLOWEST = 1e-4
"""A way down by less is no cycle."""


class Knots(NamedTuple):
    """The charge of the pack over the year: straight between these hours since the first midnight."""

    hours: Array
    charge: Array


def nearest_days(ridden: Sequence[int], wanted: Sequence[int]) -> list[int]:
    """Return for each wanted day the place of the ridden day next to it: a thinned year stands for the whole."""
    at = np.asarray(ridden)
    return [int(np.abs(at - day).argmin()) for day in wanted]


def charge_knots(c: Commute, days: Sequence[tuple[Leg, ...]], dates: Sequence[int], shrink: float = 1.0) -> Knots:
    """Return the pack's charge over the year; `dates` is the day on which each of `days` stands in.

    `shrink`: capacity over that of the rides; the same ampere-hours are a larger share of a smaller pack.
    """
    hours: list[float] = []
    charge: list[float] = []

    def put(hour: float, value: float) -> None:
        """Add a charge (0 to 1) at an hour, no earlier than the one before."""
        hours.append(max(hour, hours[-1]) if hours else hour)
        charge.append(min(max(value, 0.0), 1.0))

    level = c.plan.top_share
    for legs, day in zip(days, dates, strict=True):
        for leg in legs:
            share = c.plan.work_share if leg.way == BACK else c.plan.home_share
            level = _charged(c, put, level, leg.start_h + day * HOURS, share, hours)
            put(leg.start_h + day * HOURS, level)
            level = max(level - leg.charge_used / shrink, 0.0)
            put(leg.end_h + day * HOURS, level)
    return Knots(np.array(hours), np.array(charge))


def _charged(c: Commute, put: object, level: float, leaves_h: float, share: float | None, hours: list[float]) -> float:
    """Write down the charging before a ride that leaves at an hour, and return the charge it leaves with."""
    if share is None or share <= level or not hours:
        return level if share is None or hours else share
    room = leaves_h - hours[-1]
    takes = min((share - level) / CHARGER_C_RATE, room)
    begins = hours[-1] if c.plan.charge_on == "arrival" else leaves_h - takes
    put(begins, level)  # type: ignore[operator]
    put(begins + takes, share)  # type: ignore[operator]
    return share


def temperature_by_hour(c: Commute, bike: Bike, days: Sequence[tuple[Leg, ...]], dates: Sequence[int]) -> Array:
    """Return the pack's temperature in the middle of every hour of the year [degC]: it cools after each ride."""
    middle = np.arange(c.weather.days * HOURS, dtype=np.float64) + 0.5
    home, work = (surroundings_c(c, middle, place) for place in (c.plan.home_c, c.plan.work_c))
    around, warmed = home.copy(), np.full(len(middle), np.nan)
    for legs, day in zip(days, dates, strict=True):
        if len(legs) > 1:
            away = (middle > day * HOURS + legs[0].start_h) & (middle < day * HOURS + legs[1].end_h)
            around[away] = work[away]
        for leg in legs:
            warmed[min(int(day * HOURS + leg.end_h), len(middle) - 1)] = leg.pack_end_c
    keep = math.exp(-decay_per_h(bike))
    found, now = np.empty(len(middle)), float(around[0])
    for at, (air, warm) in enumerate(zip(around.tolist(), warmed.tolist(), strict=True)):
        now = air + (now - air) * keep if math.isnan(warm) else warm
        found[at] = now
    return found


def rests_of(knots: Knots, temperature_c: Array) -> Rests:
    """Return every hour of the year at its charge and temperature."""
    middle = np.arange(len(temperature_c)) + 0.5
    return Rests(convert(1.0, "h", "days"), np.interp(middle, knots.hours, knots.charge), temperature_c)


def cycles_of(
    c: Commute, bike: Bike, knots: Knots, days: Sequence[tuple[Leg, ...]], shrink: float = 1.0
) -> list[Cycle]:
    """Return every way down from where charging ended to where it began again, with all charge that was turned."""
    capacity = capacity_ah(bike) * shrink
    legs = [leg for day in days for leg in day]
    turned = sum(leg.drawn_ah + leg.returned_ah for leg in legs) / capacity
    net = sum(max(leg.charge_used, 0.0) for leg in legs) / shrink
    # Regen turns charge that no way down shows: each cycle takes its share.
    more = turned / net if net > 0.0 else 1.0
    rate = mean_c_rate(legs, capacity)
    warm = float(np.mean([0.5 * (leg.pack_start_c + leg.pack_end_c) for leg in legs])) if legs else 0.0
    return [
        Cycle(top, top - bottom, (top - bottom) * (1.0 + more), rate, warm)
        for top, bottom in ways_down(knots)
        if top - bottom > SHALLOWEST
    ]


def ways_down(knots: Knots) -> list[tuple[float, float]]:
    """Return (top, bottom) of every stretch over which the charge only falls or rests."""
    found: list[tuple[float, float]] = []
    if not len(knots.charge):
        return found
    top = low = float(knots.charge[0])
    for before, after in pairwise(knots.charge.tolist()):
        if after > before + SHALLOWEST:
            if top > low:
                found.append((top, low))
            top = low = after
        low = min(low, after)
    return [*found, (top, low)] if top > low else found


def capacity_ah(bike: Bike) -> float:
    """Return the pack's capacity as it is ridden."""
    return float(from_si(1.0 / bike.dry.charge_per_coulomb, "ah"))


def mean_c_rate(legs: Sequence[Leg], capacity: float) -> float:
    """Return the mean rate of discharge while riding [1/h]."""
    hours = sum(from_si(leg.time_s, "h") for leg in legs)
    return sum(leg.drawn_ah for leg in legs) / (capacity * hours) if hours > 0.0 else 0.0
