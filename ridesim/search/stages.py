"""The stages of a search: what is ridden as a draft, what in full, and what would take too long."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from time import perf_counter

import numpy as np
from numpy.typing import NDArray

from ridesim.engine.halting import usable_cores
from ridesim.errors import GoalsError
from ridesim.search.evolve import evolve
from ridesim.search.executors import Threads, ride_all
from ridesim.search.front import not_beaten
from ridesim.search.how import How, Way
from ridesim.search.judged import Judged, Margins, Study, judged, margins_of
from ridesim.search.reasons import relative, worth_riding
from ridesim.search.ridden import evaluate
from ridesim.search.sift import Sifted, Test, bike_figures, bound_words
from ridesim.search.space import Rows, twins
from ridesim.units import from_si

MOST_COMBINATIONS = 1_000_000
PATIENCE_S = 120.0
"""A search larger or longer than this wants a yes."""
SHORT_S = 10.0
"""Below this nobody tries first how long rides take."""
USUAL_RIDE_S = 1e-3
"""What a draft ride takes, where there is no time to try (guess)."""
CALIBRATED = 24
"""Candidates ridden both ways, to learn how far drafts may be off."""
PRICED = 12
"""Rides beside the front, for each bound, to tell what the bound costs."""
GONE_RIDDEN, GONE_SHARE = 400, 0.15
"""Combinations over a ceiling of mass, price or volume by at most this share that are ridden to price the ceiling."""
BROKEN_DRIVE = 2.0
"""How badly the optimiser takes what a cheap test removes."""


def refuse_many(study: Study, how: How) -> None:
    """Raise GoalsError for more combinations than are ridden unasked."""
    count, rides = study.space.count, len(study.roads)
    if count > MOST_COMBINATIONS and not how.yes and how.way != "evolve":
        words = time_words(count * rides * USUAL_RIDE_S / usable_cores())
        told = f"{count:,} combinations: if the cheap tests remove none, some {words} of rides"
        raise GoalsError(str(study.asked.path), told, "let fewer things vary, say --yes, or --way evolve")


def time_words(seconds: float) -> str:
    """Return seconds in the unit in which people would say them."""
    if seconds < 120.0:
        return f"{seconds:.0f} s"
    minutes = from_si(seconds, "min")
    return f"{minutes:.0f} min" if minutes < 120.0 else f"{from_si(seconds, 'h'):.0f} h"


class Stages:
    """The stages of one search; counts what was ridden."""

    def __init__(self, study: Study, how: How, sifted: Sifted, tests: list[Test]) -> None:
        self.study, self.how, self.sifted, self.tests = study, how, sifted, tests
        self.first, self.back = twins(study.space, sifted.rows)
        self.draft_rides = self.full_count = 0
        self.bar: Callable[[int], None] | None = None
        self.way: Way = how.way if how.way != "auto" else "evolve" if study.space.is_free else "all"
        if self.way == "all" and study.space.is_free:
            raise GoalsError("--way", "all values of a number that may take any cannot be ridden", "give it a step")

    def ride(self, rows: Rows, draft: bool, words: str) -> Judged:
        """Ride rows, each distinct drive once, and judge them."""
        first, back = twins(self.study.space, rows)
        with nullcontext(self.bar) if self.bar else self.how.tell(words, len(first)) as done:
            table = ride_all(self.how.executor, self.study.problem, rows[first], draft, self.how.kept, done)
        if draft:
            self.draft_rides += len(first)
        else:
            self.full_count += len(first)
        return judged(self.study, rows, table[back])

    def drafts(self) -> Judged:
        """Return every candidate that the draft rides were given, judged."""
        if self.way == "evolve":
            return self._evolved()
        rows = self.sifted.rows
        self._refuse_long()
        beyond = self._beyond_exact(GONE_SHARE if len(rows) else np.inf)
        parts = [(rows, "draft rides"), (beyond, "beyond a ceiling")]
        found = [self.ride(each, True, words) for each, words in parts if len(each)]
        return together(self.study, found) if found else self.ride(rows, True, "draft rides")

    def _refuse_long(self) -> None:
        rows = self.sifted.rows[self.first]
        if len(rows) * len(self.study.roads) * USUAL_RIDE_S < SHORT_S or self.how.yes:
            return
        tried = rows[np.linspace(0, len(rows) - 1, 8).astype(np.intp)]
        evaluate(self.study.problem, tried[:1], True, threads=1)  # compiles, where that is still to do
        begun = perf_counter()
        evaluate(self.study.problem, tried, True)
        seconds = (perf_counter() - begun) / len(tried) * len(rows)
        if seconds > PATIENCE_S and isinstance(self.how.executor, Threads):
            told = f"{len(rows):,} different drives to ride take about {time_words(seconds)}"
            to_do = "let fewer things vary, say --yes, or look through a part of them: --way evolve"
            raise GoalsError(str(self.study.asked.path), told, to_do)

    def _beyond_exact(self, share: float) -> Rows:
        """Return combinations a little over one exact ceiling that pass every other test: they price the ceiling."""
        found = [np.empty((0, len(self.study.space.axes)))]
        for bound in self.study.bounds:
            name = bound_words(bound)
            rows = self.sifted.gone.get(name, found[0])
            for other, passes in self.tests:
                if other != name and len(rows):
                    rows = rows[passes(rows)]
            if len(rows):
                over = bound.excess(bike_figures(self.study.space, rows, self.study.prices)[bound.what]) / bound.scale
                order = np.argsort(over, kind="stable")[:GONE_RIDDEN]
                found.append(rows[order[over[order] <= share]])
        return np.concatenate(found)

    def _evolved(self) -> Judged:
        """Return what the optimiser had ridden: every row once, none of those that a cheap test removes."""
        study, how, parts = self.study, self.how, [self.ride(self.sifted.rows[:0], True, "draft rides")]

        def assess(rows: Rows) -> tuple[Rows, Rows]:
            """Return costs and how far bounds are broken; what fails the cheap tests is not ridden."""
            passes = np.ones(len(rows), dtype=bool)
            for _, test in self.tests:
                passes &= test(rows)
            costs, broken = np.full((len(rows), len(study.matters)), np.inf), np.full(len(rows), BROKEN_DRIVE)
            if passes.any():
                found = self.ride(rows[passes], True, "draft rides")
                parts.append(found)
                over = np.minimum(relative(study, found.excess), 1.0).sum(axis=1)
                costs[passes], broken[passes] = found.costs, over + (found.stopped > 0.0)
            return costs, broken

        with how.tell("draft rides", how.budget) as self.bar:
            evolve(study.space, assess, len(study.matters), seed=how.seed, budget=how.budget)
        self.bar = None
        return together(study, parts)

    def full_rides(self, draft: Judged) -> Judged:
        """Ride in full what a draft cannot rule out: near the front, and near enough to tell what a bound costs."""
        self.draft = draft
        self.maybe = np.flatnonzero((draft.surely_stopped == 0.0) & np.isfinite(draft.costs).all(axis=1))
        self.chosen = np.empty(0, dtype=np.intp)
        if not len(self.maybe):
            return draft.part([])
        self.margins = self._margins(draft, self.maybe)
        near = self._near(np.zeros(len(draft.rows), dtype=bool))
        self.chosen = np.union1d(near, worth_riding(self.study, draft, PRICED))
        if not len(near):
            self.chosen = np.union1d(self.chosen, self._least_broken(draft, self.maybe))
        return self.ride(draft.rows[self.chosen], False, "full rides")

    def more_rides(self, dead: NDArray[np.bool_], full: Judged) -> Judged:
        """Return the full rides with those that come near the front once what is `dead`, (drafts,), is thrown out."""
        new = np.setdiff1d(self._near(dead), self.chosen)
        if not len(new):
            return full
        self.chosen = np.concatenate([self.chosen, new])
        return together(self.study, [full, self.ride(self.draft.rows[new], False, "full rides")])

    def _near(self, dead: NDArray[np.bool_]) -> NDArray[np.intp]:
        """Return the drafts that may keep all and that no sure one beats."""
        at = self.maybe[~dead[self.maybe]]
        excess, costs = self.draft.excess[at], self.draft.costs[at]
        keeps = (excess <= self.margins.excess).all(axis=1)
        sure = (excess <= -self.margins.excess).all(axis=1) & (self.draft.stopped[at] == 0.0)
        return at[keeps][not_beaten(costs[keeps], costs[sure], self.margins.costs)]

    def _least_broken(self, draft: Judged, maybe: NDArray[np.intp]) -> NDArray[np.intp]:
        share = relative(self.study, draft.excess[maybe]).sum(axis=1)
        return maybe[np.argsort(share, kind="stable")[:PRICED]]

    def _margins(self, draft: Judged, maybe: NDArray[np.intp]) -> Margins:
        """Learn how far drafts may be off: the best of each cost and an even choice of the rest, ridden both ways."""
        good = maybe[draft.stopped[maybe] == 0.0]
        known = good if len(good) else maybe
        best = [int(known[np.argmin(draft.costs[known, k])]) for k in range(draft.costs.shape[1])]
        even = known[np.linspace(0, len(known) - 1, min(CALIBRATED, len(known))).astype(np.intp)].tolist()
        both = sorted({*best, *even})
        full = self.ride(draft.rows[both], False, "how good are drafts")
        return margins_of(draft.part(both), full)


def together(study: Study, parts: list[Judged]) -> Judged:
    """Return some candidates after others, judged as one table."""
    rows = np.concatenate([each.rows for each in parts])
    return judged(study, rows, np.concatenate([each.table for each in parts]))
