"""The non-dominated front, its knee, and a few members that stand for many."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Costs = NDArray[np.float64]
"""What matters, (n, objectives), each so that less is better."""


def non_dominated(costs: Costs) -> NDArray[np.intp]:
    """Return the rows that no other row beats: none is as good in everything and better in something.

    Of rows that are equal in everything the first stands for all. Source: Kung, Luccio and Preparata (1975), J. ACM
    22:469, the plain form: rows by their first cost, each held against the front so far.
    """
    order = np.lexsort(costs.T[::-1])
    front: list[int] = []
    kept = np.empty((0, costs.shape[1]))
    for at in order.tolist():
        row = costs[at]
        if not np.isfinite(row).all() or (len(kept) and bool((kept <= row).all(axis=1).any())):
            continue
        front.append(at)
        kept = np.vstack([kept, row])
    return np.array(front, dtype=np.intp)


ALIKE = 1e-3
"""Costs closer than this share are no difference to a rider (guess)."""


def told_apart(costs: Costs) -> NDArray[np.intp]:
    """Return the rows of the front that differ by more than `ALIKE`: each beats the others in something by more.

    Of rows that are alike, the one with the least sum of costs, each by its size, stands for all.
    """
    front = non_dominated(costs)
    slack = ALIKE * np.abs(costs[front]).max(axis=0, initial=0.0)
    order = np.argsort((costs[front] / np.maximum(np.abs(costs[front]).max(axis=0, initial=0.0), 1e-12)).sum(axis=1),
                       kind="stable")  # fmt: skip
    kept: list[int] = []
    for at in front[order].tolist():
        if not kept or not (costs[kept] <= costs[at] + slack).all(axis=1).any():
            kept.append(at)
    return np.array(sorted(kept), dtype=np.intp)


def not_beaten(costs: Costs, sure: Costs, margin: Costs) -> NDArray[np.bool_]:
    """Return which rows no sure one beats: clearly in something, and in the rest but for `ALIKE`; `margin` is doubt."""
    kept = np.ones(len(costs), dtype=bool)
    if not len(sure) or not len(costs):
        return kept
    slack = ALIKE * np.abs(sure).max(axis=0)
    for row in sure[non_dominated(sure)] + margin:
        kept &= ~((row <= costs + slack).all(axis=1) & (row < costs - slack).any(axis=1))
    return kept


def scaled(costs: Costs) -> Costs:
    """Return costs from 0, the best of each, to 1, the worst of the front; 0 where all are equal."""
    low, high = costs.min(axis=0), costs.max(axis=0)
    return np.asarray((costs - low) / np.where(high > low, high - low, 1.0))


def knee_of(costs: Costs) -> int:
    """Return the member nearest to the best of everything at once, each cost scaled over the front."""
    return int(np.argmin((scaled(costs) ** 2).sum(axis=1)))


def thinned(costs: Costs, most: int) -> NDArray[np.intp]:
    """Return at most `most` members, the best of each cost and the knee first, then those farthest from any chosen."""
    count = len(costs)
    if count <= most:
        return np.arange(count)
    places = scaled(costs)
    chosen = list(dict.fromkeys([knee_of(costs), *(int(at) for at in costs.argmin(axis=0))]))[:most]
    apart = np.full(count, np.inf)
    for at in chosen:
        apart = np.minimum(apart, ((places - places[at]) ** 2).sum(axis=1))
    while len(chosen) < most:
        at = int(np.argmax(apart))
        chosen.append(at)
        apart = np.minimum(apart, ((places - places[at]) ** 2).sum(axis=1))
    return np.array(sorted(chosen), dtype=np.intp)
