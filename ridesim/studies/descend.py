"""Do the brakes cook on the way down? As built, from a full pack, without regen; and at which speeds they stay safe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.bike.schema import Build
from ridesim.bike.second import drives_of
from ridesim.errors import RideError
from ridesim.ride.brakes import BrakesHeat, brakes_heat
from ridesim.ride.judge import FINE, LOOK_AGAIN, STOP, Finding, Word, brake_finding, judge, worst
from ridesim.ride.limits import ORDER
from ridesim.ride.simulate import Ride, RideOptions, as_loaded
from ridesim.road.load import load_road
from ridesim.road.made import make_climb
from ridesim.road.profile import Road
from ridesim.road.turned import turned_round
from ridesim.studies.many import Done, Wish, ride_many
from ridesim.studies.regen import ROOM_CHARGE, why_not
from ridesim.units import to_si

SPEED_SHARES = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.15, 1.3, 1.5)
"""Cruise speeds that are tried, over the asked one (guess)."""
RECORD_EVERY_S = 1.0
FULL_CHARGE = 1.0
DOWN_PERCENT, DOWN_MIN = 6.0, 10.0
"""The descent that stands in for a road that nobody named (guess)."""
SHORTEST_MIN, LONGEST_MIN = 0.5, 240.0
STEEPEST_PERCENT = 40.0
"""Steepest grade of a descent without a road: a little above the steepest street, some 35 % (from memory)."""
UPWARD_SHARE = 0.5
"""Share of its rise that a road keeps by its end, above which it is taken for the way up (guess)."""
WITHOUT = "without regen"
WITH_ROOM = f"from {ROOM_CHARGE:.0%}"
CASES = ("as built", "from a full pack", WITHOUT)


@dataclass(frozen=True, eq=False)
class DescendCase:
    """One way down. `heat` along the road; `findings` of the brakes; `verdict` of the whole ride with them."""

    name: str
    finished: bool
    stop_reason: str
    heat: BrakesHeat
    returned_wh: float
    total_time_s: float
    findings: tuple[Finding, ...]
    verdict: Word
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class DescendSpeed:
    """The same road at another cruise speed, without regen."""

    speed_km_h: float
    finished: bool
    hottest_c: float
    wheel: str
    limit_c: float
    verdict: Word


@dataclass(frozen=True, eq=False, repr=False)
class Descend(Answer):
    """The answer. The gravest case counts; that regen fails altogether asks to look again, no more."""

    loaded: LoadedBuild
    road: Road
    cases: tuple[DescendCase, ...]
    speeds: tuple[DescendSpeed, ...]
    verdict: Word
    reason: str
    guessed: bool
    fine_speeds_km_h: tuple[float, ...]
    worst_speed_km_h: float | None
    warnings: tuple[str, ...]
    turned_round: bool = False
    """Whether the road goes up and is ridden the other way."""
    room: DescendCase | None = None
    """The same with room in the pack for regen; None where it cannot brake, or starts with as much room anyway."""


def descend(
    build: str | Path | Build | LoadedBuild,
    road: str | Path | Road | None = None,
    *,
    grade_percent: float = DOWN_PERCENT,
    minutes: float = DOWN_MIN,
    cruise_speed_km_h: float | None = None,
    threads: int | None = None,
    done: Done | None = None,
) -> Descend:
    """Return how hot the brakes get down a road, or a stated grade: with regen, with none, by speed.

    Without a road the descent is of `grade_percent` (its size counts) for `minutes` at the asked speed, or the build's.
    A road that goes up is ridden the other way. Raises RidesimError.
    """
    loaded = as_loaded(build)
    if road is None:
        road = descent(loaded.build, grade_percent, minutes, cruise_speed_km_h)
    stated = road if isinstance(road, Road) else load_road(road)
    ridden = turned_round(stated) if goes_up(stated) else stated
    once = RideOptions(cruise_speed_km_h=cruise_speed_km_h, record_every_s=RECORD_EVERY_S)
    bare = replace(once, regen=False)
    full = replace_keys(loaded, {"pack.start_charge_fraction": FULL_CHARGE})
    asked = cruise_speed_km_h or loaded.build.rider.cruise_speed_km_h
    tried = sorted({float(round(asked * share)) for share in SPEED_SHARES if 3.0 <= round(asked * share) <= 120.0})
    wishes = [Wish(loaded, ridden, once, True), Wish(full, ridden, once, True), Wish(loaded, ridden, bare, True)]
    wishes += [Wish(loaded, ridden, replace(bare, cruise_speed_km_h=speed), True) for speed in tried]
    regen = any(why_not(each) is None for each in drives_of(loaded.build))
    if regen and loaded.build.pack.start_charge_fraction > ROOM_CHARGE:
        wishes.append(Wish(replace_keys(loaded, {"pack.start_charge_fraction": ROOM_CHARGE}), ridden, once, True))
    rides = ride_many(wishes, threads=threads, done=done)
    cases = tuple(_case(name, ride) for name, ride in zip(CASES, rides, strict=False))
    speeds = tuple(_speed(speed, ride) for speed, ride in zip(tried, rides[len(CASES) :], strict=False))
    more = rides[len(CASES) + len(tried) :]
    gravest = max(cases, key=lambda case: _grave(case, regen))
    hot = max(speeds, key=lambda each: each.hottest_c, default=None)
    return Descend(
        loaded=loaded,
        road=ridden,
        cases=cases,
        speeds=speeds,
        verdict=worst((_word(gravest, regen), *(each.verdict for each in cases if each.name != WITHOUT))),
        reason=_first_reason(cases, gravest, regen),
        guessed=not loaded.build.brakes.stated,
        fine_speeds_km_h=tuple(each.speed_km_h for each in speeds if each.verdict == FINE and each.finished),
        worst_speed_km_h=None if hot is None else hot.speed_km_h,
        warnings=(*loaded.warnings, *stated.warnings),
        turned_round=ridden is not stated,
        room=_case(WITH_ROOM, more[0]) if more else None,
    )


def goes_up(road: Road) -> bool:
    """Return whether a road rises more than it falls, by more than half of all that it rises: it is no way down."""
    steps = np.diff(road.altitude_m)
    return road.cycle is None and float(steps.sum()) > UPWARD_SHARE * float(steps[steps > 0.0].sum())


def descent(build: Build, grade_percent: float, minutes: float, speed_km_h: float | None = None) -> Road:
    """Return the way down that stands in for a road. Raises RoadError, RideError."""
    if not SHORTEST_MIN <= minutes <= LONGEST_MIN:
        what = f"{minutes:g} is out of range (allowed {SHORTEST_MIN:g} to {LONGEST_MIN:g} minutes)"
        raise RideError("descend, minutes", what, "change it")
    if not 0.0 < abs(grade_percent) <= STEEPEST_PERCENT:
        what = f"{abs(grade_percent):g} % is out of range (allowed: more than 0, up to {STEEPEST_PERCENT:g} %)"
        raise RideError("descend, grade", what, "no street is steeper: give the grade that you ride down, or a ROAD")
    speed = to_si(speed_km_h or build.rider.cruise_speed_km_h, "km_h")
    name = f"a descent of {abs(grade_percent):g} % for {minutes:g} min"
    return make_climb(speed * to_si(minutes, "min"), -abs(grade_percent), name=name)


def expected_rides() -> int:
    """Return how many rides a study takes at most, for a progress bar."""
    return len(CASES) + len(SPEED_SHARES) + 1


def _word(case: DescendCase, regen: bool) -> Word:
    """The brakes' verdict; that regen fails altogether is worth a look, it does not stop a bike that has it."""
    word = worst(each.verdict for each in case.findings)
    return LOOK_AGAIN if word == STOP and regen and case.name == WITHOUT else word


def _grave(case: DescendCase, regen: bool) -> tuple[int, float]:
    hottest = case.heat.hottest
    return ORDER.index(_word(case, regen)), -np.inf if hottest is None else hottest.hottest_c - hottest.limit_c


def _case(name: str, ride: Ride) -> DescendCase:
    heat = brakes_heat(ride)
    findings = tuple(brake_finding(each) for each in heat.brakes)
    whole = judge(ride)
    return ride.figures.into(
        DescendCase,
        name=name,
        heat=heat,
        returned_wh=ride.figures.pack_energy_returned_wh,
        findings=findings,
        verdict=worst((whole.word, *(each.verdict for each in findings))),
        reasons=whole.reasons if whole.word != FINE else (),
    )


def _speed(speed: float, ride: Ride) -> DescendSpeed:
    heat = brakes_heat(ride)
    hottest = heat.hottest
    word = worst(brake_finding(each).verdict for each in heat.brakes)
    if hottest is None:
        return DescendSpeed(speed, ride.finished, float("nan"), "none", float("nan"), FINE)
    return DescendSpeed(speed, ride.finished, hottest.hottest_c, hottest.wheel, hottest.limit_c, word)


def _first_reason(cases: Sequence[DescendCase], gravest: DescendCase, regen: bool) -> str:
    """The brakes' reason, unless the way down, regen and all, is judged more gravely for something else."""
    whole = max((each for each in cases if each.name != WITHOUT), key=lambda each: ORDER.index(each.verdict))
    if ORDER.index(whole.verdict) <= ORDER.index(_word(gravest, regen)):
        return _reason(gravest)
    return f"{whole.name}: {whole.reasons[0].rstrip('.')}. The brakes: {_reason(gravest)}"


def _reason(case: DescendCase) -> str:
    word = worst(each.verdict for each in case.findings)
    told = [each.reason.rstrip(".") for each in case.findings if each.verdict == word]
    if not told:
        return "the bike has no friction brakes: nothing is judged"
    if case.heat.friction_wh <= 0.0:
        return "the friction brakes have nothing to do on this road"
    return f"{case.name}: {'; '.join(told)}"
