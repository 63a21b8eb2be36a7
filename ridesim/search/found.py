"""What a search found, and the last loop to it: look at what would be shown, throw out what fails, look again."""

from __future__ import annotations

from dataclasses import dataclass
from time import perf_counter

import numpy as np
from numpy.typing import NDArray

from ridesim.answers import Answer
from ridesim.search.finish import Certainty, Look, certainties, look_at, not_certain
from ridesim.search.front import knee_of, thinned, told_apart
from ridesim.search.judged import Judged, Study
from ridesim.search.reasons import (
    Miss,
    Never,
    Relief,
    by_thumb,
    give_up,
    losers,
    never,
    reliefs,
    usual_kv,
)
from ridesim.search.ridden import PEAK_CURRENT, stop_words
from ridesim.search.space import Rows
from ridesim.search.stages import Stages

Places = NDArray[np.intp]

LOOKS = 400
"""Last looks before a search says that nothing passes them."""
CLOUD = 4000
"""Candidates kept for the picture."""


@dataclass(frozen=True, eq=False)
class Member:
    """One build on the front, ridden, checked and drawn. `binding`: the bound it comes nearest to, and its room."""

    labels: dict[str, str]
    row: Rows
    figures: dict[str, float]
    costs: Rows
    look: Look
    certainty: Certainty | None
    binding: tuple[int, float] | None
    reliefs: tuple[Relief, ...]
    usual_kv: float


@dataclass(frozen=True, eq=False)
class Thumb:
    """What the rule of thumb would have taken: the knee's parts on pulleys near 10 rpm/V."""

    labels: dict[str, str]
    usual_kv: float
    figures: dict[str, float]
    fault: str
    is_knee: bool


@dataclass(frozen=True, eq=False, repr=False)
class Found(Answer):
    """The answer of a search. `members` are in the order of what matters first; `knee` is the place of one of them."""

    study: Study
    seed: int
    way: str
    combinations: int
    removed: tuple[tuple[str, int], ...]
    distinct: int
    draft_rides: int
    full_rides: int
    front_size: int
    members: tuple[Member, ...]
    knee: int
    thrown_out: tuple[tuple[dict[str, str], str], ...]
    losers: tuple[Miss, ...]
    never: tuple[Never, ...]
    thumb: Thumb | None
    give_up: tuple[Miss, ...]
    stops: tuple[tuple[str, int], ...]
    cloud: Rows
    front_costs: Rows
    seconds: float


class _Looker:
    """The last looks of one search, each candidate once."""

    def __init__(self, run: Stages, full: Judged) -> None:
        self.run, self.full, self.study = run, full, run.study
        self.alive = full.kept.copy()
        self.dead = np.zeros(len(run.draft.rows), dtype=bool)
        self.looks: dict[int, Look] = {}
        self.sure: dict[int, Certainty] = {}
        self.out: list[tuple[dict[str, str], str]] = []

    def front(self) -> Places:
        """Return the places of the front among what is alive."""
        at = np.flatnonzero(self.alive)
        return at[told_apart(self.full.costs[at])] if len(at) else at

    def settle(self) -> tuple[Places, Places]:
        """Return the front and those of it that are shown, each of which passed every look.

        What is thrown out may have beaten others before they were ridden in full: those are ridden then.
        """
        while True:
            front = self.front()
            shown = front[thinned(self.full.costs[front], self.run.how.shown)] if len(front) else front
            thrown = self._thrown_out([int(at) for at in shown if int(at) not in self.looks])
            shown = np.array([at for at in shown if self.alive[at]], dtype=np.intp)
            thrown += self._uncertain([int(at) for at in shown if int(at) not in self.sure])
            if not thrown:
                return front, shown
            if len(self.looks) >= LOOKS:
                return self.front(), np.array([at for at in shown if self.alive[at]], dtype=np.intp)
            self._ride_more()

    def _ride_more(self) -> None:
        """Ride what comes near the front now."""
        known = len(self.full.rows)
        self.full = self.run.more_rides(self.dead, self.full)
        self.alive = np.concatenate([self.alive, self.full.kept[known:] & ~self.dead[self.run.chosen[known:]]])

    def _thrown_out(self, places: list[int]) -> int:
        count = 0
        for at in places:
            self.looks[at] = look = look_at(self.study, self.full.rows[at])
            if look.fault:
                count += self._out(at, look.fault)
                if look.is_torn:
                    self._out_too(at)
        return count

    def _out_too(self, at: int) -> None:
        """Throw out what has the same belts, motor and controller and asks for as much current or more."""
        same = [k for k, axis in enumerate(self.study.space.axes)
                if axis.stage is not None or axis.key in ("motor", "controller")]  # fmt: skip
        current = self._current(self.full)[at]
        for judged, mask in ((self.full, None), (self.run.draft, self.dead)):
            alike = (judged.rows[:, same] == self.full.rows[at, same]).all(axis=1) & (self._current(judged) >= current)
            if mask is None:
                self.alive &= ~alike
            else:
                mask |= alike

    def _current(self, judged: Judged) -> Rows:
        return np.asarray(self.study.problem.values(judged.table, PEAK_CURRENT).max(axis=1))

    def _uncertain(self, places: list[int]) -> int:
        if not places or self.run.how.samples == 0:
            return 0
        bikes = [self.looks[at].loaded for at in places]
        with self.run.how.tell("how sure", None):
            found = certainties(self.study, [each for each in bikes if each], self.run.how.samples, self.run.how.seed)
        count = 0
        for at, sure in zip(places, found, strict=True):
            self.sure[at] = sure
            why = not_certain(self.study, sure)
            if why:
                count += self._out(at, why)
        return count

    def _out(self, at: int, why: str) -> int:
        self.alive[at] = False
        if at < len(self.run.chosen):
            self.dead[self.run.chosen[at]] = True
        self.out.append((self.study.space.labels(self.full.rows[at]), why))
        return 1


def found_of(run: Stages, draft: Judged, full: Judged, begun: float) -> Found:
    """Return the answer of a search from its rides; the last looks ride again."""
    looker = _Looker(run, full)
    front, shown = looker.settle()
    full = looker.full
    shown = shown[np.argsort(full.costs[shown, 0], kind="stable")] if len(shown) else shown
    members = tuple(_member(run.study, full, looker, int(at)) for at in shown)
    knee = knee_of(full.costs[shown]) if len(shown) else 0
    kept = np.flatnonzero(draft.kept)
    cloud = kept[:: max(1, len(kept) // CLOUD)]
    thumb = _thumb(run, members[knee]) if members else None
    return Found(
        study=run.study,
        seed=run.how.seed,
        way=run.way,
        combinations=run.sifted.count,
        removed=run.sifted.removed,
        distinct=len(run.first),
        draft_rides=run.draft_rides,
        full_rides=run.full_count,
        front_size=len(front),
        members=members,
        knee=knee,
        thrown_out=tuple(looker.out),
        losers=losers(run.study, full, full.costs[front]),
        never=never(run.study, run.sifted, draft, full.part(front)),
        thumb=thumb,
        give_up=() if members else give_up(run.study, full),
        stops=tuple(draft.stop_reasons().most_common()),
        cloud=draft.costs[cloud],
        front_costs=full.costs[front],
        seconds=perf_counter() - begun,
    )


def _member(study: Study, full: Judged, looker: _Looker, at: int) -> Member:
    excess = full.excess[at]
    scales = np.array([bound.scale for bound in study.ridden_bounds])
    nearest = int(np.argmax(excess / scales)) if len(excess) else None
    return Member(
        labels=study.space.labels(full.rows[at]),
        row=full.rows[at],
        figures={name: float(values[at]) for name, values in full.figures.items()},
        costs=full.costs[at],
        look=looker.looks[at],
        certainty=looker.sure.get(at),
        binding=None if nearest is None else (nearest, float(-excess[nearest])),
        reliefs=reliefs(study, full, full.costs[at]),
        usual_kv=float(usual_kv(study, full.rows[at : at + 1])[0]),
    )


def _thumb(run: Stages, knee: Member) -> Thumb | None:
    row = by_thumb(run.study, knee.row)
    if row is None:
        return None
    labels, like = run.study.space.labels(row), float(usual_kv(run.study, row[None])[0])
    found = run.ride(row[None], False, "the rule of thumb")
    figures = {name: float(values[0]) for name, values in found.figures.items()}
    return Thumb(labels, like, figures, _thumb_fault(run, found), bool((row == knee.row).all()))


def _thumb_fault(run: Stages, found: Judged) -> str:
    """Return why the search would not have shown what the rule takes; empty where nothing speaks against it."""
    for name, passes in run.tests:
        if not passes(found.rows)[0]:
            return name
    if found.stopped[0] > 0.0:
        return stop_words(float(found.stopped[0]), float(found.ended[0]))
    broken = [bound for bound, over in zip(run.study.ridden_bounds, found.excess[0], strict=True) if over > 0.0]
    if broken:
        return f"{broken[0].quantity.words} is not {broken[0].kind} {broken[0].limit:g}"
    return look_at(run.study, found.rows[0]).fault
