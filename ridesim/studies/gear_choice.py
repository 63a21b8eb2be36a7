"""How many gears, and which? Sets of evenly stepped gears behind the fixed stages, ridden; then nearer to the best.

A set steps by one factor from its lowest gear to its highest. One gear is a plain ratio without a gear's loss: the
drive as it is with other teeth. Of the sets that keep every ceiling the fewest gears are taken, unless more of them
save energy worth their weight, price and shifts. The gears that a build has now are ridden as they are.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ridesim.answers import Answer
from ridesim.bike.gears import LEAST_RATIO, MOST_GEARS, MOST_RATIO
from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.errors import BuildError, RideError
from ridesim.ride.simulate import as_loaded
from ridesim.road.load import load_road
from ridesim.road.profile import Road
from ridesim.studies.many import Done
from ridesim.studies.ratio_choice import (
    SAME_DISTANCE_DIGITS,
    TOO_SLOW,
    Ceilings,
    RatioCase,
    Reduction,
    broken_by,
    ceilings_for,
)
from ridesim.studies.ratios import ACCELERATE_TO_KM_H, BeltJudge, Study, with_reduction

COUNTS = (1, 2, 3, 4, 5, 7, 8, 11, 14)
"""Numbers of gears that are tried, up to the most that are asked for, which is tried too: those of hubs
(common practice, no source)."""
LOWEST_SHARES = (0.6, 0.8, 1.0, 1.25, 1.6, 2.0)
"""Lowest gears tried, as shares of the lowest that the build has now (guess: a wheel's worth of teeth either way)."""
SINGLE_SHARES = (0.3, 0.37, 0.45, 0.55, 0.67, 0.82, 1.0, 1.22, 1.5, 1.83)
"""Single ratios tried, likewise (guess)."""
SPANS = (1.4, 1.9, 2.6, 3.6, 5.0)
"""Lowest over highest gear: from a hub of two gears to more than a hub of fourteen (common practice, no source)."""
LEAST_STEP, MOST_STEP = 1.06, 2.0
"""Of one gear to the next: below it a step is not felt, above it the motor drops out of its range (guesses)."""
NEARER = (0.92, 1.0, 1.09)
"""Shares by which lowest and highest gear are varied around the best of each number (guess)."""
RATIO_DIGITS = 4
"""Of a set's ratios: none is cut or counted finer."""
WORTH_MORE_GEARS = 0.02
"""Energy that more gears have to save to be taken (guess: what weight, price and care are worth)."""


@dataclass(frozen=True, eq=False, repr=False)
class GearSets(Answer):
    """Every set ridden, fewest gears first, the best of each number, and the one to take."""

    loaded: LoadedBuild
    road: Road
    cases: tuple[RatioCase, ...]
    broken: tuple[tuple[str, ...], ...]
    best: tuple[int, ...]
    """The best set of each number of gears, as places in `cases`; of equals the one that keeps more."""
    taken: int
    keeps_all: bool
    ceilings: Ceilings
    accelerate_to_km_h: float
    cruise_speed_km_h: float
    notes: tuple[str, ...]

    @property
    def case(self) -> RatioCase:
        """The set to take."""
        return self.cases[self.taken]


def gear_sets(
    build: str | Path | Build | LoadedBuild,
    road: str | Path | Road,
    most: int = 8,
    *,
    least: int = 1,
    max_winding_c: float | None = None,
    min_top_speed_km_h: float | None = None,
    max_time_s: float | None = None,
    accelerate_to_km_h: float = ACCELERATE_TO_KM_H,
    cruise_speed_km_h: float | None = None,
    notes: Sequence[str] = (),
    belts: BeltJudge | None = None,
    threads: int | None = None,
    done: Done | None = None,
) -> GearSets:
    """Return how sets of `least` to `most` gears ride a road, and which to take under the given ceilings.

    The gears are of the build's own kind, by one efficiency; its shift-up speed is kept. Raises RideError for a number
    of gears or ceilings out of range, and for a hub motor, behind which there is nothing to shift.
    """
    loaded = as_loaded(build)
    ridden = road if isinstance(road, Road) else load_road(road)
    if not 1 <= least <= most <= MOST_GEARS:
        words = f"{most} gears" if least == 1 else f"{least} to {most} gears"
        raise RideError("gears", f"{words} (allowed 1 to {MOST_GEARS})", "choose a number inside it")
    if not loaded.build.drive.stage:
        what = "this motor sits in the wheel: nothing can be shifted behind it"
        raise RideError("gears", what, "choose a build with a stage between motor and wheel")
    cruise = cruise_speed_km_h or loaded.build.rider.cruise_speed_km_h
    study = Study(loaded, ridden, 0, cruise_speed_km_h, accelerate_to_km_h, belts, threads, done)
    wanted = (max_winding_c, min_top_speed_km_h, max_time_s)
    first = first_sets(loaded.build.drive.speeds[0].turns, most, least)
    now = loaded.build.drive.gears.ratios
    if now and least <= len(now) <= most:
        first = (*first, Reduction(now[0], gears=now))
    cases = study.cases(_startable(loaded, first))
    near = nearer([cases[at].reduction for at in _judged(loaded, cases, cruise, wanted)[2]], cases)
    cases = tuple(sorted((*cases, *study.cases(_startable(loaded, near))), key=lambda case: _order(case.reduction)))
    ceilings, broken, best = _judged(loaded, cases, cruise, wanted)
    taken = fewest_that_pay(cases, broken, best)
    return GearSets(
        loaded, ridden, cases, broken, best, taken, not broken[taken], ceilings, accelerate_to_km_h, cruise,
        (*notes, *loaded.warnings, *ridden.warnings),
    )  # fmt: skip


def _judged(
    loaded: LoadedBuild, cases: Sequence[RatioCase], cruise: float, wanted: tuple[float | None, ...]
) -> tuple[Ceilings, tuple[tuple[str, ...], ...], tuple[int, ...]]:
    ceilings = ceilings_for(loaded.build, cases, cruise, *wanted)
    broken = tuple(broken_by(case, ceilings) for case in cases)
    return ceilings, broken, best_of_each(cases, broken)


def evenly(lowest: float, span: float, count: int) -> Reduction:
    """Return gears that fall from the lowest by one factor, lowest over highest being `span`."""
    ratios = lowest / span ** (np.arange(count) / max(count - 1, 1))
    return Reduction(lowest, gears=tuple(float(round(each, RATIO_DIGITS)) for each in ratios))


def first_sets(lowest: float, most: int, least: int = 1) -> tuple[Reduction, ...]:
    """Return the sets tried first, around the lowest gear that a build has now."""
    found = [evenly(share * lowest, 1.0, 1) for share in SINGLE_SHARES] if least == 1 else []
    for count in sorted({each for each in COUNTS if max(1, least - 1) < each < most} | ({most} - {1})):
        found += [evenly(share * lowest, span, count) for share in LOWEST_SHARES for span in SPANS]
    return tuple(each for each in found if _can_be(each.gears))


def nearer(best: Sequence[Reduction], cases: Sequence[RatioCase]) -> tuple[Reduction, ...]:
    """Return sets around the best of each number that were not ridden yet."""
    ridden = {case.reduction.gears for case in cases}
    found = {}
    for each in best:
        gears, single = each.gears, len(each.gears) == 1
        for low in NEARER:
            for high in (1.0,) if single else NEARER:
                span = 1.0 if single else low * gears[0] / (high * gears[-1])
                one = evenly(low * gears[0], span, len(gears))
                found[one.gears] = one
    return tuple(one for one in found.values() if one.gears not in ridden and _can_be(one.gears))


def _can_be(gears: tuple[float, ...]) -> bool:
    steps = [before / after for before, after in itertools.pairwise(gears)]
    within = LEAST_RATIO <= gears[-1] <= gears[0] <= MOST_RATIO
    return within and all(LEAST_STEP <= step <= MOST_STEP for step in steps)


def _startable(loaded: LoadedBuild, tried: Sequence[Reduction]) -> tuple[Reduction, ...]:
    """Return the sets with which the bike starts at all. Raises the first fault where it does with none."""
    found, faults = [], []
    for each in tried:
        try:
            with_reduction(loaded, 0, each)
            found.append(each)
        except BuildError as fault:
            faults.append(fault)
    if faults and not found:
        raise faults[0]
    return tuple(sorted(found, key=_order))


def _order(each: Reduction) -> tuple[int, tuple[float, ...]]:
    return len(each.gears), each.gears


def best_of_each(cases: Sequence[RatioCase], broken: Sequence[tuple[str, ...]]) -> tuple[int, ...]:
    """Return the best set of each number of gears: it breaks least, gets furthest, and takes the least energy.

    Of sets that are too slow the quickest, which misses by least: the slowest would take the least energy.
    """
    found: dict[int, int] = {}
    for at, case in enumerate(cases):
        count = len(case.reduction.gears)
        if count not in found or _badness(case, broken[at]) < _badness(cases[found[count]], broken[found[count]]):
            found[count] = at
    return tuple(found[count] for count in sorted(found))


def _badness(case: RatioCase, faults: tuple[str, ...]) -> tuple[int, float, float, float, float]:
    figures = case.figures
    far = -round(figures.distance_km, SAME_DISTANCE_DIGITS)
    late = figures.total_time_s if TOO_SLOW in faults else 0.0
    return len(faults), far, late, case.net_wh_per_km if figures.finished else 0.0, figures.peak_winding_temp_c


def fewest_that_pay(cases: Sequence[RatioCase], broken: Sequence[tuple[str, ...]], best: Sequence[int]) -> int:
    """Return the set to take: of the fewest gears that keep every ceiling, or of more that save enough energy for it.

    Where none keeps them all, the least bad of all.
    """
    keeping = [at for at in best if not broken[at]]
    if not keeping:
        return min(best, key=lambda at: _badness(cases[at], broken[at]))
    taken = keeping[0]
    for at in keeping[1:]:
        if cases[at].net_wh_per_km < cases[taken].net_wh_per_km - WORTH_MORE_GEARS * abs(cases[taken].net_wh_per_km):
            taken = at
    return taken
