"""Why the answer is what it is: what a ceiling costs, why a part never appears, who missed, what a rule says."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.rough import USUAL_PACK_V, USUAL_WHEEL_MM
from ridesim.search.front import ALIKE as SAME
from ridesim.search.judged import ROUNDING, Judged, Study
from ridesim.search.sift import Sifted
from ridesim.search.space import Rows
from ridesim.search.wanted import Bound
from ridesim.studies.ratio_choice import THUMB_KV
from ridesim.units import UNITS

Array = NDArray[np.float64]

WORTH_SHARE = 0.01
"""A ceiling's price is told where giving it up a little gains this share of something (guess)."""
LOSERS = 3


@dataclass(frozen=True)
class Miss:
    """A candidate that breaks bounds: how far each, in its unit; `labels` says what it is made of."""

    labels: dict[str, str]
    broken: tuple[tuple[Bound, float], ...]
    figures: dict[str, float]


@dataclass(frozen=True)
class Relief:
    """What giving up a bound a little would gain a member: by how much it is broken, and the change of each figure."""

    bound: Bound
    by: float
    changes: dict[str, float]
    labels: dict[str, str]


@dataclass(frozen=True)
class Never:
    """A part or number that no member has, and why: in words, with how many of its combinations it holds for."""

    axis: str
    option: str
    reason: str
    nearest: str


def miss_of(study: Study, found: Judged, at: int) -> Miss:
    """Return how a candidate misses."""
    broken = tuple(
        (bound, float(over))
        for bound, over in zip(study.ridden_bounds, found.excess[at], strict=True)
        if over > ROUNDING and np.isfinite(over)
    )
    figures = {name: float(values[at]) for name, values in found.figures.items()}
    return Miss(study.space.labels(found.rows[at]), broken, figures)


def relative(study: Study, excess: Array) -> Array:
    """Return excesses by the scale of each bound, so that kelvin and kilograms can be set side by side."""
    scales = np.array([bound.scale for bound in study.ridden_bounds])
    return np.maximum(excess, 0.0) / scales if len(scales) else np.zeros_like(excess)


def breaking_one(found: Judged) -> NDArray[np.intp]:
    """Return which candidates break exactly one bound, and nothing else stops them."""
    one = (found.excess > ROUNDING).sum(axis=1) == 1
    return np.flatnonzero(one & (found.stopped == 0.0) & np.isfinite(found.excess).all(axis=1))


def losers(study: Study, found: Judged, front: Array) -> tuple[Miss, ...]:
    """Return the nearest of those that break one bound only, and would be on the front without it."""
    at = breaking_one(found)
    slack = SAME * np.abs(front).max(axis=0, initial=0.0)
    beaten = np.array([bool((front <= found.costs[each] + slack).all(axis=1).any()) for each in at], dtype=bool)
    at = at[~beaten]
    order = np.argsort(relative(study, found.excess[at]).sum(axis=1), kind="stable")
    return tuple(miss_of(study, found, int(each)) for each in at[order[:LOSERS]])


def worth_riding(study: Study, draft: Judged, most: int) -> NDArray[np.intp]:
    """Return those that break one bound and might tell its price: for each bound the nearest, and the best beyond."""
    from ridesim.search.front import non_dominated, thinned

    at = breaking_one(draft)
    chosen: list[int] = []
    for number in range(len(study.ridden_bounds)):
        own = at[draft.excess[at, number] > ROUNDING]
        if len(own):
            costs = np.column_stack([draft.costs[own], draft.excess[own, number]])
            best = own[non_dominated(costs)]
            chosen += best[thinned(np.column_stack([draft.costs[best], draft.excess[best, number]]), most)].tolist()
            chosen += own[np.argsort(draft.excess[own, number], kind="stable")[:LOSERS]].tolist()
    return np.array(sorted(set(chosen)), dtype=np.intp)


def reliefs(study: Study, found: Judged, costs: Array) -> tuple[Relief, ...]:
    """Return, for each bound, the least that it must give for a member of these costs to gain without losing."""
    at, told = breaking_one(found), []
    size = np.maximum(np.abs(costs), 1e-12)
    for number, bound in enumerate(study.ridden_bounds):
        own = at[found.excess[at, number] > ROUNDING]
        gain = (costs - found.costs[own]) / size
        better = own[(gain >= -ROUNDING).all(axis=1) & (gain.max(axis=1, initial=0.0) >= WORTH_SHARE)]
        if len(better):
            best = int(better[np.argmin(found.excess[better, number])])
            changes = {
                each.key: float(abs(found.costs[best, k]) - abs(costs[k])) for k, each in enumerate(study.matters)
            }
            told.append(Relief(bound, float(found.excess[best, number]), changes, study.space.labels(found.rows[best])))
    return tuple(told)


def never(study: Study, sifted: Sifted, draft: Judged, front: Judged) -> tuple[Never, ...]:
    """Return every part that no member of the front has, with its main reason and its nearest candidate."""
    told = []
    for at, axis in enumerate(study.space.axes):
        if not axis.is_part:
            continue
        used = {int(value) for value in front.rows[:, at]}
        for place, option in enumerate(axis.options):
            if place not in used:
                own = draft.part(np.flatnonzero(draft.rows[:, at] == place))
                reason = _main_reason(study, sifted, own, at, place)
                told.append(Never(axis.name, option.label, reason, _nearest(study, own, front)))
    return tuple(told)


def _main_reason(study: Study, sifted: Sifted, own: Judged, at: int, place: int) -> str:
    counts: Counter[str] = Counter()
    for name, rows in sifted.gone.items():
        total = dict(sifted.removed)[name]
        if len(rows):
            counts[name] += round(float((rows[:, at] == place).mean()) * total)
    counts += own.stop_reasons()
    over = own.excess[own.stopped == 0.0]
    for number, bound in enumerate(study.ridden_bounds):
        count = int((over[:, number] > ROUNDING).sum())
        if count:
            words = "above" if bound.kind == "at most" else "below"
            counts[f"{bound.quantity.words} {words} {_with_unit(bound, bound.limit)}"] += count
    beaten = int(own.kept.sum())
    if beaten:
        counts["keeps all, but others do better"] += beaten
    if not counts:
        return "not tried"
    words, count = counts.most_common(1)[0]
    return f"{words} ({count} of {sum(counts.values())})"


def _nearest(study: Study, own: Judged, front: Judged) -> str:
    kept = own.costs[own.kept]
    if len(kept) and len(front.costs):
        share, what = min(_behind(row, front.costs) for row in kept)
        if share < SAME:
            return "its best is as good, within 0.1 %"
        return f"its best is {share:.1%} behind in {study.matters[what].short}"
    one = breaking_one(own)
    if not len(one):
        return ""
    best = int(one[np.argmin(relative(study, own.excess[one]).sum(axis=1))])
    (bound, over), *_ = miss_of(study, own, best).broken
    return f"its nearest breaks only {bound.quantity.words}, by {_with_unit(bound, over, difference=True)}"


def _with_unit(bound: Bound, value: float, *, difference: bool = False) -> str:
    unit = {"c": "k"}.get(bound.quantity.unit, bound.quantity.unit) if difference else bound.quantity.unit
    number = f"{value:.3g}" if difference else f"{value:g}"
    return f"{number} {UNITS[unit].symbol}" if unit else number


def _behind(row: Array, front: Array) -> tuple[float, int]:
    """Return how far a candidate is behind that of the front nearest to it: its worst share, and in which cost."""
    behind = (row - front) / np.maximum(np.abs(front), 1e-12)
    nearest = int(np.argmin(behind.max(axis=1)))
    return float(max(behind[nearest].max(), 0.0)), int(np.argmax(behind[nearest]))


def usual_kv(study: Study, rows: Rows) -> Array:
    """Return Kv over ratio as on the usual wheel and pack of the rule of thumb, (n,) [rpm/V]; see `bike.rough`."""
    space = study.space
    half = space.column(rows, "pack.cell.open_circuit_v", lambda volts: float(volts[len(volts) // 2]))
    volts = half * space.column(rows, "pack.series") / USUAL_PACK_V
    wheel = space.column(rows, "tyre.circumference_mm") / USUAL_WHEEL_MM
    return np.asarray(space.column(rows, "motor.kv_rpm_per_v") / space.fastest_turns(rows) * volts * wheel)


def by_thumb(study: Study, knee: Rows) -> Rows | None:
    """Return the row that the rule of thumb takes: the knee's parts, with the pulleys nearest to 10 rpm/V.

    None where pulleys do not vary.
    """
    import itertools

    space = study.space
    staged = [at for at, axis in enumerate(space.axes) if axis.stage is not None]
    if not staged:
        return None
    rows = []
    for places in itertools.product(*(range(len(space.axes[at].options)) for at in staged)):
        row = knee.copy()
        row[staged] = places
        rows.append(row)
    every = np.array(rows)
    return np.asarray(every[int(np.argmin(np.abs(usual_kv(study, every) - THUMB_KV)))])


def give_up(study: Study, found: Judged) -> tuple[Miss, ...]:
    """Return what would have to be given up where nothing keeps all: a miss for each bound, the least first.

    Candidates that break one bound alone come first; where there are none, the one with the least sum of shares.
    """
    good = np.flatnonzero((found.stopped == 0.0) & np.isfinite(found.excess).all(axis=1))
    if not len(good):
        return ()
    share = relative(study, found.excess[good])
    one = (found.excess[good] > ROUNDING).sum(axis=1) == 1
    told: list[tuple[float, int]] = []
    for number in range(len(study.ridden_bounds)):
        own = np.flatnonzero(one & (found.excess[good, number] > ROUNDING))
        if len(own):
            best = int(own[np.argmin(share[own, number])])
            told.append((float(share[best].sum()), int(good[best])))
    if not told:
        best = int(np.argmin(share.sum(axis=1)))
        told.append((float(share[best].sum()), int(good[best])))
    return tuple(miss_of(study, found, at) for _, at in sorted(told))
