"""Measured cells into groups of nearly equal capacity, and groups of a pack held against each other.

Unequal groups drift apart and the weakest is overcharged or emptied too far: show SAFETY of `pack_design`. Limits are
common practice or guesses, and say so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridesim.errors import RideError
from ridesim.workshop.limits import Verdict, require_positive, require_whole

GROUP_DIFFERENCE_V = (0.02, 0.10)
"""V between groups at rest: above the first look again, above the second stop; common practice, no source."""
GROUP_SPREAD = (0.02, 0.05)
"""Strongest to weakest group over the mean: above the first look again, above the second stop; a guess."""


@dataclass(frozen=True)
class Grouping:
    """Which cell (index into the list given) sits in which group, and how even the groups are.

    `weakest_group_fraction` is the weakest group over the mean, the number a build file asks for.
    """

    groups: tuple[tuple[int, ...], ...]
    spare: tuple[int, ...]
    group_capacity_ah: tuple[float, ...]
    weakest_ah: float
    weakest_group_fraction: float
    spread_percent: float
    verdict: Verdict
    reason: str


def judge_group_voltages(voltages_v: Sequence[float]) -> tuple[Verdict, str]:
    """Verdict and reason on the resting voltages [V] of the groups of one pack. Limits: common practice, no source."""
    if len(voltages_v) < 2:
        raise RideError("group voltages", f"{len(voltages_v)} groups (2 or more)", "measure every group")
    for value in voltages_v:
        require_positive("group voltages", voltages_v=value)
    difference = max(voltages_v) - min(voltages_v)
    words = f"the groups differ by {1e3 * difference:.0f} mV at rest"
    return _judge_limits(difference, GROUP_DIFFERENCE_V, words)


def group_cells(capacities_ah: Sequence[float], series: int, parallel: int) -> Grouping:
    """Sort measured cells into `series` groups of `parallel` of nearly equal capacity [Ah]; the weakest are spared.

    Serpentine over the sorted cells, then the swap of two cells that evens the groups most, again and again until none
    helps (sum of squared group capacities falls each time, so it ends). Not proven best, but no swap betters it.
    Raises RidesimError for too few cells or capacities not above zero. Source: textbook local search.
    """
    require_whole("pack", series=series, parallel=parallel)
    count = series * parallel
    if len(capacities_ah) < count:
        raise RideError("cell grouping", f"{len(capacities_ah)} cells for {count} places", "measure more cells")
    for value in capacities_ah:
        require_positive("cell grouping", capacities_ah=value)
    order = sorted(range(len(capacities_ah)), key=lambda index: -capacities_ah[index])
    used = np.array(order[:count])
    lap = np.arange(series)
    place = np.concatenate([lap if row % 2 == 0 else lap[::-1] for row in range(parallel)])
    values = np.array([capacities_ah[index] for index in used], dtype=float)
    _even_out(values, place, series)
    sums = np.bincount(place, weights=values, minlength=series)
    groups = tuple(tuple(sorted(used[place == group].tolist())) for group in range(series))
    weakest, mean = float(sums.min()), float(sums.mean())
    spread = float(sums.max() - sums.min()) / mean
    words = f"strongest and weakest group are {spread:.2%} of the mean apart"
    verdict, reason = _judge_limits(spread, GROUP_SPREAD, words)
    spare = tuple(sorted(order[count:]))
    return Grouping(
        groups, spare, tuple(sums.tolist()), weakest, weakest / mean, 100.0 * spread, verdict, reason
    )  # fmt: skip


def _even_out(values: np.ndarray, place: np.ndarray, series: int) -> None:
    """Swap cells between groups, in `place`, until no swap lowers the sum of squared group capacities."""
    difference = values[:, None] - values[None, :]
    # Gains below this are rounding of the squared sums; without it two swaps could undo each other for ever.
    least_gain = 1e-12 * float(values.sum()) ** 2
    while True:
        sums = np.bincount(place, weights=values, minlength=series)[place]
        change = 2.0 * difference * (difference - (sums[:, None] - sums[None, :]))
        change[place[:, None] == place[None, :]] = 0.0
        best = int(change.argmin())
        first, second = divmod(best, len(values))
        if change[first, second] >= -least_gain:
            return
        place[first], place[second] = place[second], place[first]


def _judge_limits(value: float, limits: tuple[float, float], words: str) -> tuple[Verdict, str]:
    if value > limits[1]:
        return "stop", words + ": do not use it like this"
    return ("look again" if value > limits[0] else "fine"), words
