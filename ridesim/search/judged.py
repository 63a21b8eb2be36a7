"""A table of rides read by the goals: what breaks each bound and by how much, what stops it, and what it costs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.ride.quantities import Quantity
from ridesim.road.profile import Road
from ridesim.search.goals import Asked
from ridesim.search.ridden import MARKS, Problem, Table, stop_words
from ridesim.search.sift import bike_figures
from ridesim.search.space import Rows, Space
from ridesim.search.wanted import OF_BELTS, OF_BIKE, Bound, joined, worse_way

Mask = NDArray[np.bool_]

ROUNDING = 1e-9
MARGIN_FACTOR, LEAST_MARGIN = 2.0, 2e-4
"""A draft's margin: this many times the largest miss seen, and at least this share of the values (guess)."""


@dataclass(frozen=True)
class Study:
    """One search as it was asked: goals, space, roads, bounds and what matters."""

    asked: Asked
    space: Space
    roads: tuple[Road, ...]
    bounds: tuple[Bound, ...]
    matters: tuple[Quantity, ...]
    prices: dict[str, float]
    problem: Problem
    notes: tuple[str, ...] = ()

    @property
    def weights(self) -> Rows:
        """How much each road counts."""
        return np.array([each.weight for each in self.asked.goals.road])

    @property
    def ridden_bounds(self) -> tuple[Bound, ...]:
        """The bounds that a ride or the parts tell, as built; belts and certainty come last."""
        return tuple(each for each in self.bounds if each.what not in OF_BELTS)

    @property
    def shown(self) -> tuple[str, ...]:
        """What is told of each member: what matters, then what is held, each once."""
        held = (each.what for each in self.bounds if each.what not in OF_BELTS)
        return tuple(dict.fromkeys([*(each.key for each in self.matters), *held]))


@dataclass(frozen=True)
class Judged:
    """Candidates and what became of them. `excess` (n, bounds), `costs` (n, matters), `figures` by name (n,)."""

    rows: Rows
    table: Table
    excess: Table
    costs: Table
    stopped: Table
    surely_stopped: Table
    ended: Table
    figures: dict[str, Table]

    @property
    def kept(self) -> Mask:
        """Which keep every bound, with nothing that stops them."""
        return (self.stopped == 0.0) & self.keeps_bounds

    def stop_reasons(self) -> Counter[str]:
        """Return in how many candidates each thing stops the bike, in words."""
        at = np.flatnonzero(self.stopped > 0.0)
        return Counter(map(stop_words, self.stopped[at].tolist(), self.ended[at].tolist()))

    @property
    def keeps_bounds(self) -> Mask:
        """Which keep every bound of the goals."""
        return np.asarray((self.excess <= ROUNDING).all(axis=1))

    def part(self, which: Mask | NDArray[np.intp] | Sequence[int]) -> Judged:
        """Return some of the candidates."""
        at = np.asarray(which)
        return Judged(
            self.rows[at], self.table[at], self.excess[at], self.costs[at], self.stopped[at], self.surely_stopped[at],
            self.ended[at],
            {name: values[at] for name, values in self.figures.items()},
        )  # fmt: skip


def judged(study: Study, rows: Rows, table: Table) -> Judged:
    """Read a table by the goals."""
    problem = study.problem
    bike = bike_figures(study.space, rows, study.prices)
    excess = [_excess(problem, table, bike, bound) for bound in study.ridden_bounds]
    costs, figures = [], {}
    for quantity in study.matters:
        figures[quantity.key] = _joined(study, table, bike, quantity.key, quantity)
        costs.append(worse_way(quantity) * figures[quantity.key])
    for bound in study.ridden_bounds:
        if bound.what not in figures:
            figures[bound.what] = _worst(problem, table, bike, bound)
    ended, stopped, surely = (table[:, problem.columns.index(name)] for name in MARKS)
    count = len(rows)
    return Judged(
        rows, table, np.array(excess).reshape(len(excess), count).T, np.array(costs).reshape(len(costs), count).T,
        stopped, surely, ended, figures,
    )  # fmt: skip


def _joined(study: Study, table: Table, bike: dict[str, Rows], name: str, quantity: Quantity) -> Table:
    if name in OF_BIKE:
        return bike[name]
    values = study.problem.values(table, name)
    weights = study.weights if values.shape[1] == len(study.roads) else np.ones(1)
    return joined(values, weights, quantity)


def _worst(problem: Problem, table: Table, bike: dict[str, Rows], bound: Bound) -> Table:
    """Return a figure of the road that comes nearest to breaking a bound."""
    if bound.what in OF_BIKE:
        return bike[bound.what]
    values = problem.values(table, bound.what)
    return np.asarray(values.max(axis=1) if bound.kind == "at most" else values.min(axis=1))


def _excess(problem: Problem, table: Table, bike: dict[str, Rows], bound: Bound) -> Table:
    return bound.excess(_worst(problem, table, bike, bound))


@dataclass(frozen=True)
class Margins:
    """How far a draft may be off: of each bound's figure, and of each cost."""

    excess: Table
    costs: Table


def margins_of(draft: Judged, full: Judged) -> Margins:
    """Return the margins that some candidates ridden both ways ask for."""
    return Margins(_margin(draft.excess, full.excess), _margin(draft.costs, full.costs))


def _margin(draft: Table, full: Table) -> Table:
    if draft.size == 0:
        return np.zeros(draft.shape[1])
    both = np.isfinite(draft) & np.isfinite(full)
    miss = np.where(both, np.abs(np.where(both, draft, 0.0) - np.where(both, full, 0.0)), 0.0).max(axis=0)
    size = np.where(np.isfinite(full), np.abs(full), 0.0).max(axis=0)
    return np.asarray(np.maximum(MARGIN_FACTOR * miss, LEAST_MARGIN * size))


def names_of(bounds: Iterable[Bound]) -> tuple[str, ...]:
    """Return what some bounds hold, each once."""
    return tuple(dict.fromkeys(each.what for each in bounds))
