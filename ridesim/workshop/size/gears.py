"""Gears for a sizing: a generic hub to try every size with, and how many of its gears are enough.

Ratios are turns in per turn out, the lowest gear first, evenly stepped around a direct middle.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ridesim.errors import RidesimError
from ridesim.ride.limits import ORDER
from ridesim.road.made import make_ramp
from ridesim.road.profile import Road
from ridesim.studies.gear_choice import evenly, gear_sets
from ridesim.studies.ratio_choice import SLOWER_SHARE
from ridesim.units import to_si
from ridesim.workshop.size.candidate import Candidate, coolest, reference_bike
from ridesim.workshop.size.wish import Wish

SPAN_BY_GEARS = {2: 1.4, 3: 1.8, 5: 2.3, 7: 2.5, 8: 3.0, 11: 4.1, 14: 5.2}
"""Lowest over highest gear of common gear hubs by their number of gears; between them a straight line (from memory)."""
WIDER = 1.05
"""A set this much wider than a common hub is still that hub (a choice)."""
MOST_LEVEL_KM = 0.5
"""Level road before and behind the hill on which sets of gears are searched: the wish's own is longer."""


def hub_of(count: int) -> tuple[float, ...]:
    """Return the gears of a generic hub, as wide as common ones; none for one gear."""
    return () if count < 2 else evenly(math.sqrt(span_of(count)), span_of(count), count).gears


def span_of(count: int) -> float:
    """Return lowest over highest gear of a common hub of so many gears."""
    return float(np.interp(count, list(SPAN_BY_GEARS), list(SPAN_BY_GEARS.values())))


def fewer_gears(wish: Wish, each: Candidate) -> Candidate | None:
    """Return a geared candidate with as few gears as the search of `ridesim ratios --gears` finds enough.

    Tried are the numbers with which a set keeps every ceiling and is no wider than common hubs of that number are, the
    fewest first. None where none of them does as well.
    """
    count = len(each.gears)
    try:
        loaded = reference_bike(wish, each.layout, each.ratio)
        found = gear_sets(
            loaded, _short_road(wish), count, least=2,
            min_top_speed_km_h=wish.top_speed_km_h, cruise_speed_km_h=wish.cruise, max_time_s=_time_s(wish),
        )  # fmt: skip
    except RidesimError:
        return None
    keeping = (case.reduction.gears for case, broken in zip(found.cases, found.broken, strict=True) if not broken)
    common = {len(gears) for gears in keeping if gears[0] <= WIDER * span_of(len(gears)) * gears[-1]}
    for enough in sorted(common - {count}):
        other = coolest(wish, replace(each.layout, gears=hub_of(enough)))
        if other is not None and ORDER.index(other.verdict) <= ORDER.index(each.verdict):
            return other
    return None


def _level_km(wish: Wish) -> float:
    return min((wish.range_km - wish.hill_km) / 2.0, MOST_LEVEL_KM)


def _time_s(wish: Wish) -> float:
    """Return how long the short road takes at the speeds that were wished for, and a little more [s]."""
    hours = 2.0 * _level_km(wish) / wish.cruise + wish.hill_km / min(wish.hill_speed_km_h, wish.cruise)
    return SLOWER_SHARE * to_si(hours, "h")


def _short_road(wish: Wish) -> Road:
    level, hill = to_si(_level_km(wish), "km"), to_si(wish.hill_km, "km")
    return make_ramp(level, hill, wish.hill_percent, run_out_m=level, spacing_m=10.0, name="the hill and around it")
