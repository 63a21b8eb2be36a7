"""How far? The road ridden over and over until the pack's voltage, the charge floor or a hill ends it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.bike.schema import Build
from ridesim.engine.state import Channel, Limit, Parameters
from ridesim.errors import RideError
from ridesim.ride.bounds import BOUNDS
from ridesim.ride.drives import drive_figures, nearest_its_limit
from ridesim.ride.judge import LOOK_AGAIN, STOP, Finding, brakes_found, judge
from ridesim.ride.lap import rise_a_lap_m
from ridesim.ride.range import read_range
from ridesim.ride.simulate import Ride, as_loaded
from ridesim.road.load import load_road
from ridesim.road.profile import Road
from ridesim.studies.many import Done, Wish, ride_many, until_empty_options
from ridesim.sure.beside import range_beside
from ridesim.units import convert, from_si

SPEEDS_KM_H = (15.0, 20.0, 25.0, 30.0)
"""Cruise speeds whose range is told (guess)."""
COLD_C = 0.0
"""A cold day where none is named: a winter morning (guess)."""
AGED = (0.8, 1.5)
"""Capacity and resistance of an aged pack to those of a new one: cell data sheets commonly count a life as over at 80 %
of the capacity (common practice, no source); the resistance is a guess."""
LEAST_CAPACITY, MOST_RESISTANCE = 0.1, 10.0
COLDEST_C, WARMEST_C = -30.0, 50.0
RECORD_EVERY_S = 5.0

AS_BUILT, COLD_DAY, COLD, AGED_PACK, COLD_AND_AGED = "as_built", "cold_day", "cold", "aged", "cold_and_aged"
"""Conditions: COLD_DAY has the pack from indoors, COLD has it as cold as the day."""


@dataclass(frozen=True)
class ReachCase:
    """One condition at one cruise speed; `range_km` is None where the pack outlasted the patience."""

    condition: str
    cruise_speed_km_h: float
    range_km: float | None
    stop: str
    stop_reason: str
    laps: float
    time_h: float
    mean_speed_km_h: float
    net_wh_per_km: float
    charge_left_fraction: float
    lowest_pack_voltage_v: float
    peak_winding_temp_c: float
    """Of two different drives, of the one that comes nearer to its limit."""
    stops: tuple[str, ...]
    """What the judge would stop on the way, each reason in metric words; the end of the pack is not one of them."""
    looks: tuple[str, ...] = ()
    """What the judge would look at again on the way; how a pack ends is not among them."""


@dataclass(frozen=True, eq=False)
class ReachCurve:
    """Charge and voltage along a ride until empty; arrays (n,). `voltage_low_v` is the lowest since the last row.

    `last_limit` is the bound that held the motor when the ride ended ("none" if none did).
    """

    condition: str
    distance_km: np.ndarray
    charge_fraction: np.ndarray
    voltage_v: np.ndarray
    voltage_low_v: np.ndarray
    last_limit: str


@dataclass(frozen=True, eq=False, repr=False)
class Reach(Answer):
    """How far a build goes on a road."""

    loaded: LoadedBuild
    road: Road
    base: ReachCase
    conditions: tuple[ReachCase, ...]
    speeds: tuple[ReachCase, ...]
    worst_speeds: tuple[ReachCase, ...]
    curves: tuple[ReachCurve, ...]
    cold_c: float | None
    aged: tuple[float, float] | None
    fold_back_v: tuple[float, float]
    rise_a_lap_m: float
    winding_limit_c: float
    warnings: tuple[str, ...]
    span_km: tuple[float, float | None] | None = None
    """10 to 90 % of the range as built, in bikes like it (None: no end), where it was asked how sure the answer is."""

    @property
    def worn(self) -> bool:
        """Whether the build's own pack is as aged as one is taken to be."""
        return _aged_beside(self.loaded.build) is None


def reach(
    build: str | Path | Build | LoadedBuild,
    road: str | Path | Road,
    *,
    speeds_km_h: Sequence[float] = SPEEDS_KM_H,
    cold_c: float | None = COLD_C,
    aged: tuple[float, float] | None = AGED,
    cruise_speed_km_h: float | None = None,
    how_sure: bool = False,
    threads: int | None = None,
    done: Done | None = None,
) -> Reach:
    """Return how far a build goes on a road, ridden over and over: as built, at other speeds, cold, and aged.

    `cold_c` is the day's and the pack's temperature [degC], `aged` capacity and resistance to a new pack's; None leaves
    a condition out. A road driven by the clock keeps its own speeds. Nothing is extrapolated: each figure is a ride to
    its end. `how_sure`: how far the range may be off, by rides of bikes drawn from the tolerances. Raises RideError.
    """
    loaded = as_loaded(build)
    ridden = road if isinstance(road, Road) else load_road(road)
    if cold_c == COLD_C:  # where a build's own day is colder, that is its worst day
        cold_c = min(COLD_C, loaded.build.weather.temperature_c)
    if aged == AGED:  # and where its own pack is older, that is its aged one
        aged = _aged_beside(loaded.build)
    conditions = _conditions(loaded, cold_c, aged)
    cruise = cruise_speed_km_h or loaded.build.rider.cruise_speed_km_h
    others = (
        []
        if ridden.cycle is not None
        else [speed for speed in dict.fromkeys(map(float, speeds_km_h)) if speed != cruise]
    )
    worst = list(conditions)[-1]
    named = [(name, cruise) for name in conditions] + [(AS_BUILT, speed) for speed in others]
    named += [(worst, speed) for speed in others if worst != AS_BUILT]
    wishes = [
        Wish(conditions[name], ridden, until_empty_options(cruise_speed_km_h=speed, record_every_s=RECORD_EVERY_S))
        for name, speed in named
    ]
    rides = ride_many(wishes, threads=threads, done=done)
    cases = [_case(name, speed, ride) for (name, speed), ride in zip(named, rides, strict=True)]
    traced = _traced([(n, r) for n, r in zip(conditions, rides, strict=False) if n != COLD_DAY], threads)
    cases[0] = _with_brakes(cases[0], traced[0][1])
    at_cruise = cases[: len(conditions)]
    return Reach(
        loaded=loaded,
        road=ridden,
        base=at_cruise[0],
        conditions=tuple(at_cruise),
        speeds=_by_speed(cases, AS_BUILT),
        worst_speeds=_by_speed(cases, worst) if worst != AS_BUILT else (),
        curves=tuple(_curve(name, ride) for name, ride in traced),
        cold_c=cold_c,
        aged=aged,
        fold_back_v=_fold_back(rides[0].params),
        rise_a_lap_m=rise_a_lap_m(ridden),
        winding_limit_c=nearest_its_limit(drive_figures(rides[0])).winding_limit_c,
        warnings=(*loaded.warnings, *ridden.warnings),
        span_km=range_beside(loaded, ridden, rides[0].options, at_cruise[0].range_km) if how_sure else None,
    )


def expected_rides(speeds: int = len(SPEEDS_KM_H), *, cold: bool = True, aged: bool = True) -> int:
    """Return how many rides a study takes at most, for a progress bar."""
    return 1 + 2 * cold + aged + (cold and aged) + speeds * (2 if cold or aged else 1)


def _conditions(loaded: LoadedBuild, cold_c: float | None, aged: tuple[float, float] | None) -> dict[str, LoadedBuild]:
    """Return the builds to ride by the name of their condition, the worst one last."""
    found = {AS_BUILT: loaded}
    cold: dict[str, object] = {}
    old: dict[str, object] = {}
    if cold_c is not None:
        _refuse_outside("cold", cold_c, COLDEST_C, WARMEST_C, "°C")
        cold = {"weather.temperature_c": float(cold_c), "pack.start_temperature_c": float(cold_c)}
        found[COLD_DAY] = replace_keys(loaded, cold | {"pack.start_temperature_c": indoors_c(loaded.build)})
        if not _is_so_cold(loaded.build, cold_c):
            found[COLD] = replace_keys(loaded, cold)
    if aged is not None:
        capacity, resistance = aged
        _refuse_outside("aged capacity", capacity, LEAST_CAPACITY, 1.0, "of a new pack's")
        _refuse_outside("aged resistance", resistance, 1.0, MOST_RESISTANCE, "times a new pack's")
        old = {"pack.capacity_fraction": float(capacity), "pack.resistance_factor": float(resistance)}
        found[AGED_PACK] = replace_keys(loaded, old)
    if COLD in found and old:
        found[COLD_AND_AGED] = replace_keys(loaded, cold | old)
    return found


def _aged_beside(build: Build) -> tuple[float, float] | None:
    """Return capacity and resistance of an aged pack, neither better than the build's own; None where it is one."""
    own = build.pack.capacity_fraction, build.pack.resistance_factor
    old = min(own[0], AGED[0]), max(own[1], AGED[1])
    return None if old == own else old


INDOORS_C = 18.0
"""A pack that waits in the house, of a build whose own day is colder and that says nothing of its pack (guess)."""


def indoors_c(build: Build) -> float:
    """Return the temperature of a pack that waits indoors [degC]: the build's own word for it, else its day's."""
    own = build.pack.start_temperature_c
    return max(build.weather.temperature_c, INDOORS_C) if own is None else own


def _is_so_cold(build: Build, cold_c: float) -> bool:
    """Return whether day and pack of a build are that cold anyway: then it is ridden so as built."""
    own = build.pack.start_temperature_c
    return build.weather.temperature_c == cold_c and own in (None, cold_c)


def _refuse_outside(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        what = f"{value:g} is out of range (allowed {low:g} to {high:g} {unit})"
        raise RideError(name, what, "choose a value inside it")


def _case(condition: str, speed: float, ride: Ride) -> ReachCase:
    f, far = ride.figures, read_range(ride)
    findings = [each for each in judge(ride).findings if not _of_the_end(each)]
    return f.into(
        ReachCase,
        condition=condition,
        cruise_speed_km_h=speed,
        range_km=far.range_km,
        stop_reason=far.range_ended_by,
        laps=f.distance_km / _lap_km(ride),
        time_h=convert(f.total_time_s, "s", "h"),
        peak_winding_temp_c=nearest_its_limit(drive_figures(ride)).peak_winding_temp_c,
        net_wh_per_km=math.nan if f.net_wh_per_km is None else f.net_wh_per_km,
        stops=tuple(each.reason for each in findings if each.verdict == STOP),
        looks=tuple(dict.fromkeys(each.reason for each in findings if each.verdict == LOOK_AGAIN)),
    )


def _of_the_end(each: Finding) -> bool:
    """Return whether a finding is how a ride until empty ends: it arrives nowhere, and the foldback comes first."""
    folded = each.name == "time_on_a_bound" and each.subject.endswith(BOUNDS[Limit.LOW_VOLTAGE].short)
    return folded or each.name == "arrival"


def _fold_back(p: Parameters) -> tuple[float, float]:
    """Return between which pack voltages the current folds back; of two drives, of the one that is first to."""
    drives = [p] if p.second is None else [p, p.second]
    return max((each.low_voltage_start, each.low_voltage_end) for each in drives)


def _lap_km(ride: Ride) -> float:
    return ride.figures.road_km / ride.options.laps


def _by_speed(cases: Sequence[ReachCase], condition: str) -> tuple[ReachCase, ...]:
    mine = (case for case in cases if case.condition == condition)
    return tuple(sorted(mine, key=lambda case: case.cruise_speed_km_h))


def _with_brakes(case: ReachCase, traced: Ride) -> ReachCase:
    """Return a case with what its brakes are stopped or looked at for on the way: only a trace tells."""
    found = brakes_found(traced, "metric")
    hot, warm = (tuple(each.reason for each in found if each.verdict == word) for word in (STOP, LOOK_AGAIN))
    return replace(case, stops=(*case.stops, *hot), looks=(*case.looks, *warm))


def _traced(named: Sequence[tuple[str, Ride]], threads: int | None) -> list[tuple[str, Ride]]:
    """Return each ride again with a trace, now that its laps are known."""
    wishes = []
    for _, ride in named:
        laps = max(1, math.ceil(ride.figures.distance_km / _lap_km(ride) + 0.5))
        wishes.append(Wish(ride.loaded, ride.road, replace(ride.options, laps=laps), trace=True))
    rides = ride_many(wishes, threads=threads)
    return [(name, ride) for (name, _), ride in zip(named, rides, strict=True)]


def _curve(name: str, ride: Ride) -> ReachCurve:
    rows = ride.raw.trace
    return ReachCurve(
        name,
        from_si(rows[:, Channel.DISTANCE], "km"),
        rows[:, Channel.CHARGE_FRACTION],
        rows[:, Channel.PACK_VOLTAGE],
        rows[:, Channel.PACK_VOLTAGE_LOW],
        BOUNDS[Limit(int(rows[-1, Channel.LIMIT]))].name,
    )
