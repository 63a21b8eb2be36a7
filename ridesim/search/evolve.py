"""Where combinations are too many to ride: differential evolution over whole and real numbers, then a walk about.

The costs of what matters become one number by a weighted Chebyshev distance from the best seen of each, once for each
of several weights, so that the front is met all along; everything ridden is remembered, and the front is taken of all.
Source: Storn and Price (1997), J. Global Optim. 11:341, as in scipy (`integrality` for whole numbers); the distance:
Bowman (1976), Steuer and Choo (1983), from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.search.front import non_dominated
from ridesim.search.space import Rows, Space

Array = NDArray[np.float64]
Assess = Callable[[Rows], tuple[Array, Array]]
"""Rows -> costs (n, matters) and how far they break what must hold, (n,), 0 where they keep all."""

BROKEN = 1e3
"""Added to the distance of what breaks a bound: any that keeps all is better."""
SLANT = 0.05
"""Weight of the plain sum beside the largest cost, so that what is no better in anything loses."""
POPULATION, GENERATIONS = 12, 40
FREE_STEPS = (0.02, 0.005, 0.001)
"""Steps of a free number on the walk, as shares of its range."""
MOST_ROUNDS = 40


class Archive:
    """Everything assessed, each row once."""

    def __init__(self, assess: Assess, budget: int) -> None:
        self._assess, self.left = assess, budget
        self.places: dict[bytes, int] = {}
        self.rows: list[Rows] = []
        self.costs: list[Array] = []
        self.broken: list[float] = []

    def ask(self, rows: Rows) -> NDArray[np.intp]:
        """Return the places of rows in the archive, assessing those that are new; -1 when the budget is spent."""
        fresh = list(dict.fromkeys(row.tobytes() for row in rows if row.tobytes() not in self.places))[: self.left]
        if fresh:
            new = np.array([np.frombuffer(each) for each in fresh])
            costs, broken = self._assess(new)
            self.left -= len(new)
            for at, each in enumerate(fresh):
                self.places[each] = len(self.rows)
                self.rows.append(new[at])
                self.costs.append(costs[at])
                self.broken.append(float(broken[at]))
        return np.array([self.places.get(row.tobytes(), -1) for row in rows], dtype=np.intp)

    def front(self) -> NDArray[np.intp]:
        """Return the places of the non-dominated ones among those that keep all."""
        good = np.flatnonzero(np.array(self.broken) <= 0.0)
        return good[non_dominated(np.array(self.costs)[good])] if len(good) else good

    def distance(self, at: NDArray[np.intp], weights: Array) -> Array:
        """Return the scalar cost of archived rows under some weights."""
        costs, broken = np.array(self.costs), np.array(self.broken)
        good = costs[broken <= 0.0]
        known = good if len(good) > 1 else costs[np.isfinite(costs).all(axis=1)]
        if not len(known):
            return np.full(len(at), 2.0 * BROKEN)
        low, high = known.min(axis=0), known.max(axis=0)
        inside = np.where(at >= 0, at, 0)
        parts = weights * (costs[inside] - low) / np.where(high > low, high - low, 1.0)
        found = parts.max(axis=1) + SLANT * parts.sum(axis=1)
        found = np.where(np.isfinite(found), found, BROKEN)
        found = found + np.where(broken[inside] > 0.0, BROKEN + broken[inside], 0.0)
        return np.where(at >= 0, found, 4.0 * BROKEN)


def evolve(space: Space, assess: Assess, matters: int, *, seed: int, budget: int) -> Archive:
    """Return everything that the optimiser assessed; the same seed gives the same rows."""
    archive = Archive(assess, budget)
    weights = weights_of(matters)
    for number, each in enumerate(weights):
        share = int(archive.left / (len(weights) - number + 1))  # the walk has the last share
        _one(space, archive, each, np.random.default_rng([seed, number]), share)
    walk(space, archive)
    return archive


def weights_of(matters: int) -> list[Array]:
    """Return the directions that are searched: each cost alone, all alike, and between two."""
    if matters == 1:
        return [np.ones(1)]
    found = [np.full(matters, 1.0)]
    for at in range(matters):
        alone = np.full(matters, 0.02)
        alone[at] = 1.0
        found.append(alone)
        tilted = np.full(matters, 0.35)
        tilted[at] = 1.0
        found.append(tilted)
    return found


def _one(space: Space, archive: Archive, weights: Array, rng: np.random.Generator, most: int) -> None:
    from scipy.optimize import Bounds, OptimizeResult, differential_evolution

    moving = [at for at, axis in enumerate(space.axes) if axis.is_free or len(axis.options) > 1]
    if not moving:
        archive.ask(space.rows(0, 1))
        return
    bounds = [(axis.low, axis.high) if axis.is_free else (0.0, len(axis.options) - 1.0) for axis in space.axes]
    whole = [not space.axes[at].is_free for at in moving]
    stop_at = archive.left - most

    def cost(columns: Any) -> Any:
        """Return the weighted distance of candidates, one a column."""
        points = columns.reshape(len(moving), -1).T
        rows = np.zeros((len(points), len(space.axes)))
        rows[:, moving] = np.where(whole, np.round(points), points)
        return archive.distance(archive.ask(rows), weights)

    def spent(intermediate_result: OptimizeResult) -> None:
        """End the search once no rides are left."""
        if archive.left <= max(stop_at, 0):
            raise StopIteration  # scipy ends the search then

    low, high = np.array([bounds[at] for at in moving]).T
    differential_evolution(
        cost, Bounds(low, high), integrality=whole, vectorized=True, updating="deferred", polish=False, rng=rng,
        popsize=POPULATION, maxiter=GENERATIONS, tol=1e-6, mutation=(0.4, 1.0), callback=spent,
    )  # fmt: skip


def walk(space: Space, archive: Archive) -> None:
    """Try every neighbour of every member of the front, until none is new or better: one option or one step away."""
    tried: set[int] = set()
    for _ in range(MOST_ROUNDS):
        fresh = [int(at) for at in archive.front() if int(at) not in tried]
        if not fresh or archive.left <= 0:
            return
        tried.update(fresh)
        archive.ask(np.concatenate([neighbours(space, archive.rows[at]) for at in fresh]))


def neighbours(space: Space, row: Rows) -> Rows:
    """Return rows that differ in one axis: any other part, the next two numbers or pulleys, a step of a free one."""
    found = []
    for at, axis in enumerate(space.axes):
        if axis.is_free:
            steps = [sign * share * (axis.high - axis.low) for share in FREE_STEPS for sign in (-1.0, 1.0)]
            values = [min(max(float(row[at]) + step, axis.low), axis.high) for step in steps]
        elif axis.is_part:
            values = [float(place) for place in range(len(axis.options))]
        else:
            near = (int(row[at]) + step for step in (-2, -1, 1, 2))
            values = [float(place) for place in near if 0 <= place < len(axis.options)]
        for value in values:
            if value != row[at]:
                other = row.copy()
                other[at] = value
                found.append(other)
    return np.array(found) if found else np.empty((0, len(row)))
