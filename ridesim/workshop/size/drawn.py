"""A proposal in bikes like it: drawn from the tolerances that its build file states, and ridden as the wish is.

`ridesim ride` draws the file's bike so and heeds the chances; what a sizing says of it is to be the same word.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from ridesim.bike.load import LoadedBuild
from ridesim.ride.judge import judge
from ridesim.ride.limits import LIMITS, LOOK_AGAIN
from ridesim.ride.running import RideOptions
from ridesim.ride.simulate import Ride
from ridesim.road.made import make_ramp
from ridesim.road.profile import Road
from ridesim.sure.beside import beside
from ridesim.sure.spread import LOOK_CHANCE, Chance, spread, word_of
from ridesim.units import to_si
from ridesim.workshop.limits import Verdict
from ridesim.workshop.size.judged import EMPTY, OF_THE_CELLS, Trials
from ridesim.workshop.size.wish import Wish

HILL_DRAWS = 64
"""Of a hill from warm, beside the range ride's own (a choice: a chance of one in twenty is then off by 3 in 100)."""
MOST_TOLD = 3
"""So many limits are told with their chances."""
SAID = frozenset({"winding", "magnets", "shifting"})
"""Findings of the range ride that the trials' own verdict has already."""


class Drawn(NamedTuple):
    """What bikes like a proposal come to: the limits they pass, the likeliest first, each by the ride that passes it
    most often, and how many run their pack empty on the range ride (share)."""

    chances: tuple[Chance, ...]
    empty: float

    @property
    def cells_worn(self) -> bool:
        """Whether too many of them pass a limit of the cells that more cells side by side keep."""
        return any(each.limit in OF_THE_CELLS for each in likely(self.chances))

    @property
    def pack_too_small(self) -> bool:
        """Whether a larger pack is what too many of them want for."""
        return self.empty > LOOK_CHANCE or self.cells_worn


def drawn_bikes(wish: Wish, written: LoadedBuild, trials: Trials) -> Drawn:
    """Return what bikes drawn from a build file come to.

    The range ride is drawn just as `ridesim ride` draws it; the hill from warm too, where that leaves less room.
    Raises RidesimError.
    """
    found: dict[str, Chance] = {}
    whole = beside(replace(trials.whole, loaded=written))
    if whole is None:
        return Drawn((), 0.0)
    for each in (*whole.chances, *_on_a_hotter_hill(wish, written, trials)):
        if each.passed and (each.limit not in found or found[each.limit].chance < each.chance):
            found[each.limit] = each
    empty = sum(whole.ends.get(word, 0) for word in EMPTY) / whole.samples
    return Drawn(tuple(sorted(found.values(), key=lambda each: -each.chance)), empty)


def _on_a_hotter_hill(wish: Wish, written: LoadedBuild, trials: Trials) -> tuple[Chance, ...]:
    """Return the chances on the hill from warm, as wished or wide open, where that leaves less room than the range."""
    whole = _room_k(trials.whole)
    asked = ((trials.hill, wish.hill_speed_km_h), (trials.fast, wish.top_speed_km_h))
    room, speed_km_h = min((_room_k(ride), speed) for ride, speed in asked)
    if room >= whole:
        return ()
    options = RideOptions(cruise_speed_km_h=speed_km_h, accuracy="draft", time_limit_h=200.0)
    return spread(written, warm_road(wish), options, samples=HILL_DRAWS, with_indices=False, band=False).chances


def _room_k(ride: Ride) -> float:
    """Return how far winding and magnets of a ride stay below their limits, the nearer of both [K]."""
    f, motor = ride.figures, ride.build.motor
    return min(motor.winding_limit_c - f.peak_winding_temp_c, motor.magnet_limit_c - f.peak_body_temp_c)


def warm_road(wish: Wish) -> Road:
    """Return the level half of the range at cruise speed and the hill behind it: each bike warms itself on the way."""
    level, hill = to_si(wish.range_km - wish.hill_km, "km") / 2.0, to_si(wish.hill_km, "km")
    road = make_ramp(level, hill, wish.hill_percent, spacing_m=10.0, name="the hill from warm")
    return road.with_speed_limit(0.0, level, to_si(wish.cruise, "km_h"))


def range_verdict(trials: Trials) -> tuple[Verdict, str]:
    """Return what the judge would look at again on the range ride beyond what the trials' verdict says."""
    near = [each for each in judge(trials.whole).findings if each.verdict == LOOK_AGAIN and each.name not in SAID]
    if not near:
        return "fine", "nothing else comes near"
    return LOOK_AGAIN, "; ".join(f"on the range ride {_as_clause(each.reason)}" for each in near)


def _as_clause(reason: str) -> str:
    return f"{reason[:1].lower()}{reason[1:]}".rstrip(".")


def likely(chances: Sequence[Chance]) -> list[Chance]:
    """Return the limits that more than one bike in twenty passes."""
    return [each for each in chances if each.chance > LOOK_CHANCE]


def chance_verdict(chances: Sequence[Chance]) -> tuple[Verdict, str]:
    """Return the word of the likeliest limit, by the one rule for chances, and what is passed how often."""
    told = " and ".join(f"{each.words} in {each.chance:.0%}" for each in likely(chances)[:MOST_TOLD])
    return word_of(chances), f"{told} of bikes like it"


def helps(chances: Sequence[Chance]) -> str:
    """Return what helps against the limits that bikes like it pass; empty where hardly one does."""
    return "; ".join(dict.fromkeys(LIMITS[each.limit].cure for each in likely(chances) if each.limit in LIMITS))
