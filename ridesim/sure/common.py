"""Candidates under common draws: is a difference real, or no larger than what nobody knows about the bike?

What is one number in two candidates (the rider, the day, a part that both have) is drawn once for both, so that its
error falls out of their difference; what belongs to one of them alone is drawn for it alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.bike.second import PREFIX
from ridesim.ride.judge import Verdict
from ridesim.ride.quantities import QUANTITIES, SECOND
from ridesim.ride.running import RideOptions
from ridesim.road.profile import Road
from ridesim.sure.batch import Done, Outcomes, ride_draws
from ridesim.sure.beside import FEWER, FEWER_BEYOND_KM, NONE_BEYOND_KM, heeding
from ridesim.sure.draws import cube, mapped
from ridesim.sure.packing import packer
from ridesim.sure.spread import DRAWS, OF_A_WHOLE_ROAD, SPAN, Chance, chance_of
from ridesim.sure.uncertain import NO_LOAD, Doubts, Uncertain, doubts_of, is_certain
from ridesim.units import from_si

Array = NDArray[np.float64]
Judged = TypeVar("Judged")
"""A dataclass with a `verdict` in one word and its `reasons`."""

APART_CHANCE = 0.9
"""Two candidates are told apart where one is better in nine of ten bikes or more (guess)."""
NOTHING = Doubts(())
OF_A_WINDING = ("peak_winding_temp_c",)


@dataclass(frozen=True)
class Candidate:
    """One of several that are compared: a build, and how it is ridden."""

    label: str
    loaded: LoadedBuild
    options: RideOptions = field(default_factory=RideOptions)


@dataclass(frozen=True)
class Difference:
    """One answer of two candidates in the same bikes. `low`, `middle`, `high`: 10, 50 and 90 % of better less other.

    `chance`: the share of bikes in which `better` is better, ties counted half; `bikes`: how many of `drawn` have both
    answers: those that arrive, for what a whole road takes; for the winding those too that burn.
    """

    answer: str
    better: str
    other: str
    chance: float
    low: float
    middle: float
    high: float
    bikes: int
    drawn: int

    @property
    def told_apart(self) -> bool:
        """Whether the difference is real: the better one is better in nine of ten bikes or more."""
        return self.chance >= APART_CHANCE

    @property
    def alike(self) -> bool:
        """Whether no bike shows any difference."""
        return self.low == self.high == 0.0


@dataclass(frozen=True, eq=False)
class Common:
    """Candidates ridden over one road in the same bikes; `drawn` and `labels` in the order of the candidates."""

    road: str
    labels: tuple[str, ...]
    drawn: tuple[Outcomes, ...]
    samples: int
    seed: int

    def told(self, answer: str, at: int) -> Array:
        """Return an answer of a candidate in every bike, nan where it tells nothing."""
        drawn = self.drawn[at]
        found = drawn.of(answer)
        if answer in OF_A_WINDING and f"{SECOND}{answer}" in drawn.names:  # the hotter one of two different drives
            found = np.fmax(found, drawn.of(f"{SECOND}{answer}"))
        if answer in OF_A_WHOLE_ROAD:
            return np.where(drawn.stops == "finished", found, np.nan)
        if answer == "peak_winding_temp_c":  # what is stuck at the start is not the cooler one; what burnt is hot
            return np.where(np.isin(drawn.stops, ("finished", "over_temperature")), found, np.nan)
        return found

    def difference(self, answer: str, one: int, two: int) -> Difference | None:
        """Return how sure the difference of two candidates in an answer is; None where no bike has both."""
        sign = -1.0 if QUANTITIES[answer].better == "high" else 1.0
        first, second = self.told(answer, one), self.told(answer, two)
        known = np.isfinite(first) & np.isfinite(second)
        if not known.any():
            return None
        apart = (first - second)[known]
        chance = float((sign * apart < 0.0).mean() + 0.5 * (apart == 0.0).mean())
        if chance < 0.5:
            one, two, apart, chance = two, one, -apart, 1.0 - chance
        low, middle, high = (float(each) for each in np.quantile(apart, (SPAN[0], 0.5, SPAN[1])))
        return Difference(
            answer, self.labels[one], self.labels[two], chance, low, middle, high, int(known.sum()), len(known)
        )  # fmt: skip

    def best_two(self, answer: str, of: Sequence[int] | None = None) -> Difference | None:
        """Return the difference of the best candidate from the next, of some or all; None where fewer have it."""
        sign = -1.0 if QUANTITIES[answer].better == "high" else 1.0
        ranked = [
            (sign * float(np.median(value[np.isfinite(value)])), at)
            for at in (range(len(self.labels)) if of is None else of)
            if np.isfinite(value := self.told(answer, at)).any()
        ]
        if len(ranked) < 2:
            return None
        (_, first), (_, second), *_ = sorted(ranked)
        return self.difference(answer, first, second)

    def against_all(self, answer: str, at: int) -> tuple[Difference, ...]:
        """Return the differences of one candidate from each other."""
        found = (self.difference(answer, at, other) for other in range(len(self.labels)) if other != at)
        return tuple(each for each in found if each is not None)

    def pairs(self, answer: str) -> tuple[Difference, ...]:
        """Return the differences of every two candidates."""
        found = (self.difference(answer, one, two) for one, two in combinations(range(len(self.labels)), 2))
        return tuple(each for each in found if each is not None)

    def chances(self, at: int) -> tuple[Chance, ...]:
        """Return how likely a candidate passes each limit, the likeliest first."""
        drawn = self.drawn[at]
        count = int(drawn.ridden.sum())
        found = [chance_of(name, int(drawn.past(name).sum()), count, drawn.limits) for name in drawn.limits]
        return tuple(sorted(found, key=lambda each: -each.chance))

    def heeded(self, verdict: Verdict, at: int) -> Verdict:
        """Return a candidate's verdict with its chances, by the rule of every ride that was drawn."""
        return heeding(verdict, self.chances(at))

    def heeding(self, cases: Iterable[Judged]) -> tuple[Judged, ...]:
        """Return the candidates' cases in their order, `verdict` and `reasons` of each as its chances have them."""
        found = []
        for at, case in enumerate(cases):
            verdict = self.heeded(Verdict(case.verdict, case.reasons), at)  # type: ignore[attr-defined]
            found.append(replace(case, verdict=verdict.word, reasons=verdict.reasons))  # type: ignore[type-var]
        return tuple(found)

    def stopped(self, at: int) -> float:
        """Return the share of bikes in which a candidate passes any limit that stops it."""
        return float(self.drawn[at].passed.any(axis=1).mean())


def in_common(
    candidates: Sequence[Candidate], road: Road, *, samples: int | None = None, seed: int = 1,
    threads: int | None = None, done: Done | None = None,
) -> Common | None:  # fmt: skip
    """Ride all candidates over a road in the same bikes.

    `samples`: None takes as many as an answer may wait for; None comes back where that is none, or nothing is
    uncertain. Raises RideError for options out of range, and Interrupted.
    """
    count = samples if samples is not None else affordable(len(candidates), road)
    doubts = [NOTHING if is_certain(each.loaded, road) else doubts_of(each.loaded, road) for each in candidates]
    if not count or not any(each.numbers for each in doubts):
        return None
    places: dict[Any, int] = {}
    columns = [[places.setdefault(_same(each, one, found), len(places)) for one in found.numbers]
               for each, found in zip(candidates, doubts, strict=True)]  # fmt: skip
    points = cube(count, len(places), seed)
    drawn = []
    for each, found, at in zip(candidates, doubts, columns, strict=True):
        values = mapped(points[:, at], found) if at else np.empty((count, 0))
        drawn.append(ride_draws(packer(each.loaded, road, each.options, found), values, threads=threads, done=done))
    return Common(road.name, tuple(each.label for each in candidates), tuple(drawn), count, seed)


def affordable(candidates: int, road: Road) -> int:
    """Return how many bikes an answer may wait for: fewer on a long road, none on a very long one."""
    km = candidates * from_si(road.length_m, "km")
    return 0 if km > NONE_BEYOND_KM else FEWER if km > FEWER_BEYOND_KM else DRAWS


def _same(candidate: Candidate, one: Uncertain, found: Doubts) -> Any:
    """Return what two candidates have to agree in for a number to be one and the same in both.

    An estimate's error is that of its formula, whatever the part; a bench reading's that of one motor.
    """
    group = next((each for each in found.together if one.key in each.keys), None)
    build = candidate.loaded.build
    motors = {NO_LOAD: build.motor} | ({} if build.second is None else {f"{PREFIX}{NO_LOAD}": build.second.motor})
    bench = motors[one.key].no_load if one.key in motors else ()
    return one.key, None if one.is_open else one.value, one.tolerance, one.low, one.high, bench, group
