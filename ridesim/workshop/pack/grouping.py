"""Measured cells into groups of nearly equal capacity, and groups of a pack held against each other.

Unequal groups drift apart and the weakest is overcharged or emptied too far; unequal resistances in a group share the
current unequally. Show SAFETY of `design` with it. Limits are common practice or guesses, and say so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RideError
from ridesim.units import from_si
from ridesim.workshop.limits import Verdict, held, require_between, require_positive, require_whole, worst_verdict

GROUP_DIFFERENCE_V = (0.02, 0.10)
"""V between groups at rest: above the first look again, above the second stop; common practice, no source."""
GROUP_SPREAD = (0.02, 0.05)
"""Strongest to weakest group over the mean: above the first look again, above the second stop; a guess."""
RESISTANCE_SPREAD = 0.10
"""Largest to smallest group resistance over the mean, above which look again; a guess."""
UNEQUAL_SHARE = 1.25
"""Current of a cell over its even share, by the resistances of its group, above which look again; a guess."""
WEAK_SHARE = 0.8
"""A cell below this share of the middle one's capacity is worn, or not of its kind (common practice, no source)."""
MAH_FROM = 400.0
"""A capacity from here on is no cell of a bike in ampere-hours: milliampere-hours were meant (guess)."""
LEAST_AH = 0.01
RESISTANCE_RANGE_MOHM = (0.01, 10_000.0)
"""No cell of a bike lies outside (guess)."""
MOST_CELLS = 400
"""The search compares every cell with every other, again and again: some seconds for so many."""
MOST_WINDOWS = 11
MOST_SETS = 100
"""Sets of cells that are tried when some are to spare: every one where there are few, else cuts from either end (guess:
a second or two for a few hundred cells)."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Grouping:
    """Which cell (index into the list given) sits in which group, and how even the groups are.

    `weakest_group_fraction` is the weakest group over the mean, the number a build file asks for. Resistances are of a
    whole group; None where no resistance was measured. `largest_share`: the most loaded cell over its even share.
    """

    groups: tuple[tuple[int, ...], ...]
    spare: tuple[int, ...]
    group_capacity_ah: tuple[float, ...]
    weakest_ah: float
    weakest_group_fraction: float
    spread_percent: float
    group_resistance_mohm: tuple[float, ...] | None
    resistance_spread_percent: float | None
    largest_share: float | None
    verdict: Verdict
    reason: str
    weak: tuple[int, ...] = ()
    """Cells in a group that hold far less than the middle one of all: they drag their group down."""


def judge_group_voltages(voltages_v: Sequence[float]) -> tuple[Verdict, str]:
    """Verdict and reason on the resting voltages [V] of the groups of one pack. Limits: common practice, no source."""
    if len(voltages_v) < 2:
        raise RideError("group voltages", f"{len(voltages_v)} groups (2 or more)", "measure every group")
    for value in voltages_v:
        require_positive("group voltages", voltages_v=value)
    difference = max(voltages_v) - min(voltages_v)
    words = f"the groups differ by {from_si(difference, 'mv'):.0f} mV at rest"
    return _held("group_voltage", difference, GROUP_DIFFERENCE_V[1], words)


def group_cells(
    capacities_ah: Sequence[float],
    series: int,
    parallel: int,
    resistances_mohm: Sequence[float] | None = None,
) -> Grouping:
    """Sort measured cells into `series` groups of `parallel` of nearly equal capacity [Ah], and resistance if given.

    With few cells to spare every set is tried; else stretches of the sorted cells, so many of the strongest left out
    and the rest of the weakest. Kept is the set with the gentler verdict, of these the one with the larger weakest
    group, then the more even. In a set: serpentine over the sorted cells, then the swap of two cells that evens the
    groups most, again and again until none helps (a sum of squares falls each time, so it ends). Not proven best, but
    no swap betters it.
    Raises RidesimError for too few cells, values not above zero, or milliampere-hours. Source: textbook local search.
    """
    require_whole("pack", series=series, parallel=parallel)
    count = series * parallel
    if len(capacities_ah) < count:
        raise RideError("cell grouping", f"{len(capacities_ah)} cells for {count} places", "measure more cells")
    if len(capacities_ah) > MOST_CELLS:
        raise RideError("cell grouping", f"{len(capacities_ah)} cells, at most {MOST_CELLS}", "group fewer at a time")
    for value in capacities_ah:
        require_positive("cell grouping", capacities_ah=value)
        if value < LEAST_AH:
            raise RideError("cell grouping", f"capacities_ah = {value:g}, at least {LEAST_AH:g}", "give ampere-hours")
        if value >= MAH_FROM:
            what = f"capacities_ah = {value:g}: no cell of a bike holds {MAH_FROM:g} Ah"
            raise RideError("cell grouping", what, "give ampere-hours, not milliampere-hours")
    capacity = np.array(capacities_ah, dtype=float)
    conductance = _conductances(capacities_ah, resistances_mohm)
    order = np.argsort(-capacity, kind="stable")
    found = [_grouped(capacity, conductance, used, series, parallel) for used in _sets(order, conductance, count)]
    return min(found, key=_preference)


def _preference(found: Grouping) -> tuple[int, float, float]:
    order: tuple[Verdict, ...] = ("fine", "look again", "stop")
    # To a thousandth: a few mAh more are no reason to take the less even set.
    return order.index(found.verdict), -round(found.weakest_ah, 3), found.spread_percent


def _conductances(capacities_ah: Sequence[float], resistances_mohm: Sequence[float] | None) -> Floats | None:
    if resistances_mohm is None:
        return None
    if len(resistances_mohm) != len(capacities_ah):
        what = f"{len(resistances_mohm)} resistances for {len(capacities_ah)} capacities"
        raise RideError("cell grouping", what, "measure both of every cell")
    for value in resistances_mohm:
        require_between("cell grouping", "resistances_mohm", value, *RESISTANCE_RANGE_MOHM)
    return 1.0 / np.array(resistances_mohm, dtype=float)


def _sets(order: NDArray[np.intp], conductance: Floats | None, count: int) -> list[NDArray[np.intp]]:
    """Sets of cells to try: stretches of the sorted cells, also without those whose resistance stands out."""
    spare = len(order) - count
    if math.comb(len(order), count) <= MOST_SETS:
        return [order[list(chosen)] for chosen in combinations(range(len(order)), count)]
    kept = [order]
    if conductance is not None and spare:
        off = np.abs(np.log(conductance[order] / np.median(conductance)))
        worst_first = np.argsort(-off, kind="stable")[:spare]
        odd = {int(order[at]) for at in worst_first if off[at] > np.log(UNEQUAL_SHARE)}
        if odd:
            kept.append(np.array([cell for cell in order.tolist() if cell not in odd]))
    found = []
    for cells in kept:
        left = len(cells) - count
        starts = np.unique(np.linspace(0, left, min(left + 1, MOST_WINDOWS)).round().astype(int))
        found += [cells[start : start + count] for start in starts]
    return found


def _grouped(
    capacity: Floats, conductance: Floats | None, used: NDArray[np.intp], series: int, parallel: int
) -> Grouping:
    lap = np.arange(series)
    place = np.concatenate([lap if row % 2 == 0 else lap[::-1] for row in range(parallel)])
    columns = [capacity[used] / (capacity[used].mean() * GROUP_SPREAD[0])]
    if conductance is not None:
        columns.append(conductance[used] / (conductance[used].mean() * RESISTANCE_SPREAD))
    _even_out(np.column_stack(columns), place, series)
    sums = np.bincount(place, weights=capacity[used], minlength=series)
    groups = tuple(tuple(sorted(used[place == group].tolist())) for group in range(series))
    weakest, mean = float(sums.min()), float(sums.mean())
    spread = float(sums.max() - sums.min()) / mean
    apart = f"strongest and weakest group are {spread:.2%} of the mean apart"
    findings = [_held("group_capacity", spread, GROUP_SPREAD[1], apart)]
    resistances, unlike, share = None, None, None
    if conductance is not None:
        by_group = 1.0 / np.bincount(place, weights=conductance[used], minlength=series)
        unlike = float(np.ptp(by_group) / by_group.mean())
        share = max(
            float(parallel * conductance[list(group)].max() / conductance[list(group)].sum()) for group in groups
        )
        resistances = tuple(by_group.tolist())
        findings += _judge_resistance(unlike, share)
    verdict, reason = worst_verdict(findings, findings[0][1])
    spare = tuple(sorted(set(range(len(capacity))) - set(used.tolist())))
    weak = tuple(sorted(used[capacity[used] < WEAK_SHARE * np.median(capacity)].tolist()))
    return Grouping(
        groups, spare, tuple(sums.tolist()), weakest, weakest / mean, from_si(spread, "percent"), resistances,
        None if unlike is None else from_si(unlike, "percent"), share, verdict, reason, weak,
    )  # fmt: skip


def _judge_resistance(unlike: float, share: float) -> list[tuple[Verdict, str]]:
    """Verdicts on the groups' resistances and on the current of the most loaded cell. Limits: guesses."""
    apart = f"the groups' resistances are {unlike:.0%} of the mean apart: the highest sags first"
    loaded = f"one cell carries {share:.2f} times its even share of the current: it warms and ages first"
    return [
        held("group_resistance", unlike, RESISTANCE_SPREAD, apart),
        held("cell_share", share, UNEQUAL_SHARE, loaded),
    ]


def _even_out(values: Floats, place: NDArray[np.intp], series: int) -> None:
    """Swap cells between groups, in `place`, until no swap lowers the sum of squared sums over groups and columns.

    `values` are (cells, columns): capacity, and conductance where known, each in units of what is looked at again.
    """
    differences = [column[:, None] - column[None, :] for column in values.T]
    # Gains below this are rounding of the squared sums; without it two swaps could undo each other for ever.
    least_gain = 1e-12 * float(np.sum(values.sum(axis=0) ** 2))
    while True:
        change = np.zeros((len(values), len(values)))
        for column, difference in zip(values.T, differences, strict=True):
            sums = np.bincount(place, weights=column, minlength=series)[place]
            change += 2.0 * difference * (difference - (sums[:, None] - sums[None, :]))
        change[place[:, None] == place[None, :]] = 0.0
        best = int(change.argmin())
        first, second = divmod(best, len(values))
        if change[first, second] >= -least_gain:
            return
        place[first], place[second] = place[second], place[first]


def _held(name: str, value: float, limit: float, words: str) -> tuple[Verdict, str]:
    verdict, words = held(name, value, limit, words)
    return verdict, f"{words}: do not use it like this" if verdict == "stop" else words
