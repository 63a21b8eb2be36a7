"""What would let it through? One thing is changed, the road ridden with each value, and what keeps every limit is told.

Nothing is taken for granted: more speed cools the motor and slower climbs take longer, so what is kept need not lie on
one side of what the build has now. Each edge is ridden to by halving.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.bike.rough import usual_wheel_kv_rpm_per_v
from ridesim.bike.schema import Build
from ridesim.bike.second import PREFIX, drives_of, geared_drive
from ridesim.errors import BuildError, RideError
from ridesim.ride.drives import drive_figures, nearest_its_limit
from ridesim.ride.kept import foldback_s, in_the_way, nears, stops
from ridesim.ride.limits import STOP
from ridesim.ride.simulate import Ride, RideOptions
from ridesim.road.profile import Road
from ridesim.studies.many import Done, Wish, ride_many
from ridesim.studies.ratio_choice import MOST_TURNS, THUMB_KV
from ridesim.sure.spread import DRAWS, LOOK_CHANCE, Chance, spread, word_of

FINDS = ("speed", "current", "load", "ratio")
"""What can be varied: cruise speed, motor current limit, rider and load, the turns of the last stage of the motor's
own."""
COUNT = 25
"""Values tried evenly, beside the present one (a choice: a stretch between two of them is not seen)."""
HALVINGS = 7
"""Most rides to each edge: the last step is 1/128 of the distance of two tried values, and none that is not told."""
SLOWEST_KM_H, FASTEST_KM_H = 6.0, 60.0
"""Speeds are tried from a brisk walk's (below it a bike is not steered well) up to this (guess)."""
FASTER_SHARE = 1.2
"""Of the cruise speed, up to which speeds are tried where that is more (guess)."""
CURRENT_SHARES, RATIO_SHARES = (0.15, 1.6), (0.4, 2.5)
"""Of the present motor current limit and ratio, between which values are tried (guess)."""
LIGHTEST_KG, MORE_LOAD_KG = 40.0, 60.0
"""A load is tried from this up to so much more than now (guess)."""
BEYOND_THUMB = 1.5
"""Ratios are tried to this much beyond the rule of thumb's, where it lies far from what the build has (guess)."""
SENSOR_ROOM_K, SENSOR_SPAN_K = 10.0, 25.0
"""A sensor is tried that takes all current so far below the winding's limit, and begins so far before that (guess)."""


@dataclass(frozen=True)
class Tried:
    """One value and its ride. `stops` says what would stop the bike, empty where nothing does.

    `near`: the limits that it keeps with too little room for the judge to find them fine; `reason` and `cure`: why the
    judge stops it, and what helps.
    """

    value: float
    stops: tuple[str, ...]
    distance_km: float
    time_s: float
    peak_winding_temp_c: float
    peak_body_temp_c: float
    foldback_s: float
    near: tuple[str, ...] = ()
    reason: str = ""
    cure: str = ""

    @property
    def roomy(self) -> bool:
        """Whether nothing stops it and nothing comes near."""
        return not self.stops and not self.near


@dataclass(frozen=True)
class WayOut:
    """What one key can do. Values in the unit of the suffix `unit`; `kept` holds stretches of values that keep all.

    `best` is the value nearest to the present one that keeps all with room (of those without, where none has any), None
    where none was found; `roomy` holds the stretches with room; `impossible` says why nothing could be varied.
    `others`: where nothing was found, what other keys do. `best_chances`: the limits that more than one in twenty bikes
    like it pass with `best`, where that was asked; `sure`: the nearest value tried at which none is passed so often.
    `passed_over`: a value nearer than `best`, which most bikes like it would not bear.
    """

    find: str
    unit: str
    present: float
    kept: tuple[tuple[float, float], ...]
    best: Tried | None
    tried: tuple[Tried, ...]
    max_winding_c: float
    impossible: str | None = None
    roomy: tuple[tuple[float, float], ...] = ()
    others: tuple[WayOut, ...] = ()
    best_chances: tuple[Chance, ...] = ()
    sure: float | None = None
    passed_over: float | None = None
    ceilings_c: tuple[float, ...] = ()
    """What each drive's winding may reach [degC], where two different ones bear different heat."""

    @property
    def commonest_fault(self) -> str:
        """What stops most of the values tried; empty where nothing stops any."""
        counts = Counter(fault for each in self.tried for fault in each.stops)
        return counts.most_common(1)[0][0] if counts else ""


@dataclass(frozen=True, eq=False)
class Question:
    """A build on a road, and how it is ridden there."""

    loaded: LoadedBuild
    road: Road
    cruise_km_h: float
    rolling_start: bool = False
    max_winding_c: float | None = None
    threads: int | None = None

    @property
    def winding_ceiling_c(self) -> float:
        """What the winding is held against [degC]; of two different drives the lower one."""
        return min(self._each_c)

    @property
    def ceilings_c(self) -> tuple[float, ...]:
        """What each drive's winding is held against [degC]; empty where that is the same for all."""
        return self._each_c if len(set(self._each_c)) > 1 else ()

    @property
    def _each_c(self) -> tuple[float, ...]:
        limits = (drive.motor.winding_limit_c for drive in drives_of(self.loaded.build))
        return tuple(limit if self.max_winding_c is None else min(self.max_winding_c, limit) for limit in limits)


def way_out(find: str, asked: Question, done: Done | None = None) -> WayOut:
    """Return which values of one key let the road be ridden with every limit kept. Raises RideError for `find`."""
    if find not in FINDS:
        raise RideError("--find", f"there is nothing called {find!r} to vary", f"choose {', '.join(FINDS)}")
    build = asked.loaded.build
    unit, present, values = _values(find, asked)
    if not values:
        why = "this motor sits in the wheel: it has no reduction to vary"
        return WayOut(find, unit, present, (), None, (), asked.winding_ceiling_c, why)
    ask = _asker(find, asked, build, done)
    tried = ask(values)
    kept, more = _stretches(tried, unit, ask, lambda each: not each.stops)
    every = _in_order(tried, more)
    roomy = kept
    if any(each.near and not each.stops for each in every):
        roomy, more = _stretches(every, unit, ask, lambda each: each.roomy)
        every = _in_order(every, more)
    fine = [each for each in every if each.roomy] or [each for each in every if not each.stops]
    best = min(fine, key=lambda each: (abs(each.value - present), each.value), default=None)
    return WayOut(
        find, unit, present, kept, best, every, asked.winding_ceiling_c, roomy=roomy, ceilings_c=asked.ceilings_c
    )


def with_others(found: WayOut, asked: Question) -> WayOut:
    """Return an answer that found nothing with what every other key does, and a sensor; another as it is."""
    if found.best is not None:
        return found
    others = [_for_this_rider(way_out(find, asked), asked) for find in FINDS if find != found.find]
    return replace(found, others=tuple(each for each in (*others, with_sensor(asked)) if each is not None))


def _for_this_rider(found: WayOut, asked: Question) -> WayOut:
    """Return a load's answer as none where it asks for less than the rider weighs: that is no load to leave at home."""
    if found.find != "load" or found.best is None or found.best.value >= asked.loaded.build.rider.mass_kg:
        return found
    return replace(found, best=None, kept=(), roomy=())


SURE_TRIES = 5
"""Values that are ridden in drawn bikes, from the proposal away from the present value (a choice: each takes 256)."""


def with_chances(found: WayOut, asked: Question) -> WayOut:
    """Return an answer whose proposal was ridden in bikes drawn from the tolerances, and the value that is sure.

    A value that most of them do not bear is passed over for the nearest that most of them do, where one was found.
    """
    if found.best is None:
        return found
    best, told = found.best, _chances(found.find, found.best.value, asked)
    if not told:
        return replace(found, sure=best.value)
    chances = told
    for each in _further(found):
        told = _chances(found.find, each.value, asked)
        if word_of(chances) == STOP != word_of(told):
            best, chances = each, told
        if not told:
            break
    over = None if best is found.best else found.best.value
    return replace(found, best=best, best_chances=chances, sure=None if told else each.value, passed_over=over)


def _further(found: WayOut) -> list[Tried]:
    """Return a few of the values with room, from the proposal away from the present value."""
    roomy = sorted((each for each in found.tried if each.roomy), key=lambda each: abs(each.value - found.present))
    places = np.linspace(0, len(roomy) - 1, SURE_TRIES + 1) if roomy else np.empty(0)
    some = (roomy[at] for at in dict.fromkeys(places.round().astype(int).tolist()))
    return [each for each in some if each != found.best]


def _chances(find: str, value: float, asked: Question) -> tuple[Chance, ...]:
    """Return the limits that more than one in twenty drawn bikes pass with a value."""
    loaded, cruise = _changed(find, asked, asked.loaded.build, value)
    told = spread(loaded, asked.road, _options(asked, cruise), samples=DRAWS, with_indices=False, band=False)
    return tuple(each for each in told.chances if each.chance > LOOK_CHANCE)


def _in_order(*some: Sequence[Tried]) -> tuple[Tried, ...]:
    return tuple(sorted((one for each in some for one in each), key=lambda each: each.value))


def expected_rides() -> int:
    """Return how many rides a question takes about, for a progress bar."""
    return COUNT + 1 + 4 * HALVINGS


def with_sensor(asked: Question) -> WayOut | None:
    """Return what a motor temperature sensor would do on the road; None where the build has one."""
    end = asked.winding_ceiling_c - SENSOR_ROOM_K
    changes: dict[str, object] = {}
    for prefix, drive in zip(("", PREFIX), drives_of(asked.loaded.build), strict=False):
        if drive.controller.motor_full_current_below_c is None:
            changes[f"{prefix}controller.motor_full_current_below_c"] = end - SENSOR_SPAN_K
            changes[f"{prefix}controller.motor_no_current_above_c"] = end
    if not changes:
        return None
    try:
        loaded = replace_keys(asked.loaded, changes)
    except BuildError:
        return None
    ride = ride_many([_wish(loaded, asked, asked.cruise_km_h)], threads=asked.threads)[0]
    tried = _tried(end, ride, asked)
    kept = () if tried.stops else ((end, end),)
    return WayOut("sensor", "c", end, kept, None if tried.stops else tried, (tried,), asked.winding_ceiling_c)


def _values(find: str, asked: Question) -> tuple[str, float, list[float]]:
    """Return unit, present value and the values to try, the present one among them."""
    build = asked.loaded.build
    if find == "speed":
        return _with("km_h", asked.cruise_km_h, SLOWEST_KM_H, max(FASTEST_KM_H, FASTER_SHARE * asked.cruise_km_h))
    if find == "current":
        limit = build.controller.motor_current_limit_a
        return _with("a", limit, *(share * limit for share in CURRENT_SHARES))
    if find == "load":
        load = build.rider.mass_kg + build.bicycle.cargo_kg
        return _with("kg", load, min(LIGHTEST_KG, load), load + MORE_LOAD_KG)
    _, build = geared_drive(build)
    if not build.drive.stage:
        return "", 1.0, []
    turns = build.drive.stage[build.drive.motors_last_stage].turns
    thumb = turns * usual_wheel_kv_rpm_per_v(build) / THUMB_KV
    low, high = (share * turns for share in RATIO_SHARES)
    return _with("", turns, min(low, thumb / BEYOND_THUMB), max(high, min(thumb * BEYOND_THUMB, MOST_TURNS)))


def _with(unit: str, present: float, low: float, high: float) -> tuple[str, float, list[float]]:
    return unit, present, sorted({present, *(as_told(float(each), unit) for each in np.linspace(low, high, COUNT))})


def as_told(value: float, unit: str) -> float:
    """Return a value as people are told it, three figures and a tenth at the finest: what is proposed was ridden."""
    digits = min(2 - math.floor(math.log10(value)), 1 if unit else 2)
    return round(value, digits)


def _changed(find: str, asked: Question, build: Build, value: float) -> tuple[LoadedBuild, float]:
    """Return the build with one value changed, and the cruise speed to ride it at. Raises BuildError."""
    if find == "speed":
        return asked.loaded, value
    keys: dict[str, object] = {}
    if find == "current":
        now = build.controller.motor_current_limit_a
        for prefix, drive in zip(("", PREFIX), drives_of(build), strict=False):  # both in proportion
            keys[f"{prefix}controller.motor_current_limit_a"] = value * drive.controller.motor_current_limit_a / now
    elif find == "load":
        rider = min(build.rider.mass_kg, value)
        keys = {"rider.mass_kg": rider, "bicycle.cargo_kg": value - rider}
    else:
        prefix, seen = geared_drive(build)
        at = f"{prefix}drive.stage.{seen.drive.motors_last_stage}."
        keys = {f"{at}ratio": value, f"{at}driver_teeth": None, f"{at}driven_teeth": None}
    return replace_keys(asked.loaded, keys), asked.cruise_km_h


def _asker(
    find: str, asked: Question, build: Build, done: Done | None
) -> Callable[[Sequence[float]], tuple[Tried, ...]]:
    """Return a function that rides values; one with which the bike cannot start is left out."""

    def ask(values: Sequence[float]) -> tuple[Tried, ...]:
        """Ride the bike with each value and return what came of it; what no bike can have is left out."""
        wishes, known = [], []
        for value in values:
            try:
                loaded, cruise = _changed(find, asked, build, value)
            except BuildError:
                continue
            wishes.append(_wish(loaded, asked, cruise))
            known.append(value)
        rides = ride_many(wishes, threads=asked.threads, done=done) if wishes else []
        return tuple(_tried(value, ride, asked) for value, ride in zip(known, rides, strict=True))

    return ask


def _wish(loaded: LoadedBuild, asked: Question, cruise_km_h: float) -> Wish:
    """Return a ride over the road; only a trace tells how hot the brakes get that a build states."""
    return Wish(loaded, asked.road, _options(asked, cruise_km_h), trace=loaded.build.brakes.stated)


def _options(asked: Question, cruise_km_h: float) -> RideOptions:
    options = RideOptions(cruise_speed_km_h=cruise_km_h)
    return replace(options, start_speed_km_h=cruise_km_h) if asked.rolling_start else options


def _tried(value: float, ride: Ride, asked: Question) -> Tried:
    f, (reason, cure) = ride.figures, in_the_way(ride)
    hot = nearest_its_limit(drive_figures(ride))
    return Tried(
        value=value,
        stops=stops(ride, asked.max_winding_c),
        distance_km=f.distance_km,
        time_s=f.total_time_s,
        peak_winding_temp_c=hot.peak_winding_temp_c,
        peak_body_temp_c=hot.peak_body_temp_c,
        foldback_s=foldback_s(ride),
        near=nears(ride, asked.max_winding_c),
        reason=reason,
        cure=cure,
    )


Ask = Callable[[Sequence[float]], tuple[Tried, ...]]
Good = Callable[[Tried], bool]


def _stretches(
    tried: Sequence[Tried], unit: str, ask: Ask, good: Good
) -> tuple[tuple[tuple[float, float], ...], list[Tried]]:
    """Return the stretches of good values, each edge halved to, and the rides that took."""
    kept: list[tuple[float, float]] = []
    more: list[Tried] = []
    start: float | None = None
    for before, each in zip([None, *tried], tried, strict=False):
        if good(each) and start is None:
            start = each.value if before is None else _edge(each, before, unit, ask, good, more)
        if not good(each) and before is not None and good(before) and start is not None:
            kept.append((start, _edge(before, each, unit, ask, good, more)))
            start = None
    if start is not None:
        kept.append((start, tried[-1].value))
    return tuple(kept), more


def _edge(inside: Tried, outside: Tried, unit: str, ask: Ask, good: Good, more: list[Tried]) -> float:
    """Return the last good value between a good one and another, by halving; the rides are added to `more`."""
    low, high = inside.value, outside.value
    for _ in range(HALVINGS):
        middle = as_told(0.5 * (low + high), unit)
        if not min(low, high) < middle < max(low, high):
            break
        found = ask([middle])
        more.extend(found)
        low, high = (middle, high) if found and good(found[0]) else (low, middle)
    return low
