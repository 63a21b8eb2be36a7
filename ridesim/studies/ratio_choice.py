"""Candidates of a reduction, the ceilings a user sets, and which candidate to take: the reason in words."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ridesim.bike.rough import motor_speed_wanted_km_h
from ridesim.bike.schema import Build
from ridesim.errors import RideError
from ridesim.ride.judge import FELT_SHARE, NEAR_LIMIT_K, Word, is_passed
from ridesim.ride.kept import HOT_WINDING
from ridesim.ride.limits import LIMITS

if TYPE_CHECKING:
    from ridesim.ride.figures import Figures

SLOWER_SHARE = 1.05
"""A ride this much slower than the fastest candidate's counts as too slow, where no time is set (guess)."""
SAME_ENERGY_SHARE = 1e-3
"""Energies closer than this decide nothing (guess)."""
RIVALS = 2
"""So many of the next best candidates are ridden in the same bikes as the recommended one (guess)."""
SAME_DISTANCE_DIGITS = 6
"""Of a distance in km: two rides to the road's end differ by rounding."""
NEAR_SHARE = 0.01
"""Share of the least energy, given back or taken, within which candidates are as good as each other (guess)."""
TOO_SLOW = "too slow"
MOST_TURNS = 100.0
ONE_STAGE_RATIO = 12.0
"""One pair of pulleys or sprockets seldom gives more turns (common practice, no source)."""
THUMB_KV = 10.0
THUMB_KV_RANGE = (8.0, 12.0)
"""The rule: about 10 rpm/V at a 26 to 28 inch wheel with 44 to 48 V, or what gives that speed with another wheel and
pack (common practice, no source); how near counts is a guess."""


@dataclass(frozen=True)
class Reduction:
    """One candidate for the varied stage: a plain ratio, or a pair of pulleys with what is known of its fit."""

    ratio: float
    driver_teeth: int | None = None
    driven_teeth: int | None = None
    teeth_in_mesh: float | None = None
    outside_diameter_mm: float | None = None
    gears: tuple[float, ...] = ()
    """A set of gears behind the stages, the lowest first; `ratio` is then the lowest."""

    @property
    def words(self) -> str:
        """The candidate as people write it."""
        if self.gears:
            ends = f"{self.gears[0]:.2f}" + (f" to {self.gears[-1]:.2f}" if len(self.gears) > 1 else "")
            return f"{len(self.gears)} gear{'s' if len(self.gears) > 1 else ''}, {ends}"
        return f"{self.ratio:.2f}" if self.driver_teeth is None else f"{self.driver_teeth}/{self.driven_teeth}"


@dataclass(frozen=True)
class RatioCase:
    """What one candidate does: on the road, at full throttle on the level, and from rest.

    Motor currents as the build's commutation reads them. `accelerate_s` is None where the speed is not reached. Top
    speeds on the level, motor cold, rider pedalling, still air; a ceiling judges the one at half charge.
    """

    reduction: Reduction
    total_ratio: float
    wheel_kv_rpm_per_v: float
    usual_wheel_kv_rpm_per_v: float
    """The same unloaded speed on the wheel and pack of the rule of thumb."""
    stops: tuple[str, ...]
    """What of the ride would stop the bike, in words."""
    belts: str
    """Verdict of the belts at this ride's peak torque; empty where none was asked for or known."""
    belts_reason: str
    figures: Figures
    verdict: Word
    reasons: tuple[str, ...]
    foldback_s: float
    top_speed_cold_pedalled_start_charge_km_h: float
    top_speed_cold_pedalled_half_charge_km_h: float
    accelerate_s: float | None
    steepest_start_percent: float

    @property
    def net_wh_per_km(self) -> float:
        """Energy a distance [Wh/km]; nothing where it does not move."""
        return self.figures.net_wh_per_km or 0.0

    @property
    def held_by_heat(self) -> bool:
        """Whether a temperature foldback holds the bike back for so long that a rider feels it."""
        return self.foldback_s > FELT_SHARE * self.figures.total_time_s


@dataclass(frozen=True)
class Ceilings:
    """What a candidate has to keep. `given` names those that the user set; the others are defaults."""

    max_winding_c: float
    min_top_speed_km_h: float
    max_time_s: float
    given: frozenset[str]


@dataclass(frozen=True)
class Choice:
    """The candidate to take: its place in the list, whether it keeps every ceiling, and why.

    `broken` holds, for each candidate, the ceilings that it breaks, in words. `thumb_nearest` is the candidate nearest
    to the rule of thumb, if any is near.
    """

    index: int
    keeps_all: bool
    reasons: tuple[str, ...]
    broken: tuple[tuple[str, ...], ...]
    thumb_agrees: bool
    thumb_nearest: int | None


def ceilings_for(
    build: Build,
    cases: Sequence[RatioCase],
    cruise_km_h: float,
    max_winding_c: float | None,
    min_top_speed_km_h: float | None,
    max_time_s: float | None,
) -> Ceilings:
    """Return the user's ceilings, and defaults for the rest: class limit, cruise speed, time of the fastest.

    The cruise speed wanted of a motor is no higher than where its legal speed limit ends it and legs go on.
    """
    asked = {"winding": max_winding_c, "top speed": min_top_speed_km_h, "time": max_time_s}
    for name, value in asked.items():
        if value is not None and not value > 0.0:
            raise RideError(name, f"a ceiling of {value:g} (allowed: above 0)", "set a positive one")
    fastest = min((case.figures.total_time_s for case in cases if case.figures.finished), default=math.inf)
    return Ceilings(
        max_winding_c=build.motor.winding_limit_c - NEAR_LIMIT_K if max_winding_c is None else max_winding_c,
        min_top_speed_km_h=motor_speed_wanted_km_h(build, cruise_km_h)
        if min_top_speed_km_h is None
        else min_top_speed_km_h,
        max_time_s=SLOWER_SHARE * fastest if max_time_s is None else max_time_s,
        given=frozenset(name for name, value in asked.items() if value is not None),
    )


def broken_by(case: RatioCase, bounds: Ceilings) -> tuple[str, ...]:
    """Return the ceilings that a candidate breaks, in words."""
    found = {
        **dict.fromkeys(case.stops, True),
        HOT_WINDING: HOT_WINDING in case.stops or case.figures.peak_winding_temp_c > bounds.max_winding_c,
        "belt cannot carry it": case.belts == "stop",
        "top speed too low": is_passed(
            LIMITS["top_speed"], case.top_speed_cold_pedalled_half_charge_km_h, bounds.min_top_speed_km_h
        ),
        TOO_SLOW: case.figures.finished and case.figures.total_time_s > bounds.max_time_s,
    }
    return tuple(words for words, is_so in found.items() if is_so)


def choose(cases: Sequence[RatioCase], bounds: Ceilings) -> Choice:
    """Return the candidate that keeps every ceiling with the least energy; without one, the least bad.

    What heat holds back takes less energy for being slower: it is taken only where heat holds back all that keep them.
    """
    broken = tuple(broken_by(case, bounds) for case in cases)
    keeping = [index for index, faults in enumerate(broken) if not faults]
    if keeping:
        least = min(cases[index].net_wh_per_km for index in keeping)
        index = min(keeping, key=lambda each: _rank(cases[each], least))
        reasons = _why(cases, index, keeping, broken)
    else:
        index = min(range(len(cases)), key=lambda each: _badness(cases[each], broken[each]))
        reasons = _why_none(cases, index, broken)
    agrees, nearest = beside_thumb(cases, index)
    return Choice(index, bool(keeping), reasons, broken, agrees, nearest)


def rivals(cases: Sequence[RatioCase], choice: Choice, present_ratio: float) -> tuple[int, ...]:
    """Return the recommended candidate, the next best `RIVALS` with other words, and the one the build has now."""
    least = min(case.net_wh_per_km for case in cases)
    order = sorted(
        range(len(cases)), key=lambda at: (_badness(cases[at], choice.broken[at])[:3], _rank(cases[at], least))
    )  # fmt: skip
    now = min(range(len(cases)), key=lambda at: abs(cases[at].reduction.ratio / present_ratio - 1.0))
    others = [at for at in order if at != choice.index]
    found = dict.fromkeys((choice.index, *others[:RIVALS], now))
    return tuple(found)


def _badness(case: RatioCase, broken: tuple[str, ...]) -> tuple[bool, float, int, float]:
    """Order by how far it comes: a bike that never starts breaks few other ceilings, and is no better for it."""
    figures = case.figures
    distance = round(figures.distance_km, SAME_DISTANCE_DIGITS)
    return not figures.finished, -distance, len(broken), figures.peak_winding_temp_c


def _rank(case: RatioCase, least: float) -> tuple[bool, float, float, float]:
    """Order by energy, what heat holds back last; the same to 0.1 %, by more teeth in mesh, then the cooler winding."""
    scale = max(abs(least), 1e-3)
    energy = round((case.net_wh_per_km - least) / scale / SAME_ENERGY_SHARE)
    return case.held_by_heat, energy, -(case.reduction.teeth_in_mesh or 0.0), case.figures.peak_winding_temp_c


def _why(
    cases: Sequence[RatioCase], index: int, keeping: Sequence[int], broken: Sequence[tuple[str, ...]]
) -> tuple[str, ...]:
    case = cases[index]
    like = [each for each in keeping if cases[each].held_by_heat == case.held_by_heat]
    calm = " without being held back by heat" if len(like) < len(keeping) else ""
    least = f"of the {len(like)} candidates that keep every ceiling{calm} it takes the least energy"
    reasons = [least if len(like) > 1 else f"it alone keeps every ceiling{calm}"]
    most = case.net_wh_per_km + NEAR_SHARE * abs(case.net_wh_per_km)
    near = [cases[each].reduction for each in like if cases[each].net_wh_per_km <= most]
    if len(near) > 1:
        reasons.append(f"from {near[0].words} to {near[-1].words} the energy is within 1 %: take of these what fits")
    reasons += _edge_words(cases, index)
    sides = {"faster": (-math.inf, case.total_ratio), "slower": (case.total_ratio, math.inf)}
    for side, (low, high) in sides.items():
        out = [faults for each, faults in zip(cases, broken, strict=True) if faults and low < each.total_ratio < high]
        if out:
            reasons.append(f"{side} gearings that are out ({len(out)}): {_counted(out)}")
    return tuple(reasons)


def _why_none(cases: Sequence[RatioCase], index: int, broken: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    return (
        f"no candidate keeps every ceiling: {_counted(broken)}",
        f"the least bad one breaks {len(broken[index])}: {', '.join(broken[index])}",
        *_edge_words(cases, index),
    )


def at_edge(cases: Sequence[RatioCase], index: int) -> str:
    """Return "faster" or "slower" where the choice is the last candidate on that side of several, else nothing."""
    if len(cases) < 2 or 0 < index < len(cases) - 1:
        return ""
    return "faster" if index == 0 else "slower"


def _edge_words(cases: Sequence[RatioCase], index: int) -> list[str]:
    side = at_edge(cases, index)
    if not side:
        return []
    return [f"it is the last one tried towards {side} gearing: beyond it there may be a better one"]


def split_words(kind: str, ratio: float) -> str:
    """Return how a ratio is built that one belt or chain does not give; empty where one does, and for gears."""
    if kind == "gear" or ratio <= ONE_STAGE_RATIO:
        return ""
    return (
        f"one {kind} seldom gives more than {ONE_STAGE_RATIO:g} to 1 (common practice, no source): take two stages, "
        f"such as {math.sqrt(ratio):.1f} to 1 each, or a motor of less Kv"
    )


def _counted(faults: Sequence[tuple[str, ...]]) -> str:
    counts = Counter(name for each in faults for name in each)
    return ", ".join(f"{name} ({count})" for name, count in counts.most_common())


def beside_thumb(cases: Sequence[RatioCase], index: int) -> tuple[bool, int | None]:
    """Return whether a choice agrees with the rule of thumb, and the candidate nearest to it.

    The rule counts the wheel's size and the pack's voltage. No candidate is named where none comes near.
    """
    low, high = THUMB_KV_RANGE
    nearest = min(range(len(cases)), key=lambda each: abs(cases[each].usual_wheel_kv_rpm_per_v - THUMB_KV))
    near = nearest if low <= cases[nearest].usual_wheel_kv_rpm_per_v <= high else None
    return low <= cases[index].usual_wheel_kv_rpm_per_v <= high, near
