"""The rides of a season: out, rest, back, each in the air of its hour; many days on all cores."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.engine.halting import on_all_cores
from ridesim.engine.params import road_arrays, start_state
from ridesim.engine.state import Parameters
from ridesim.ride.drives import drive_figures, named_drives, nearest_its_limit
from ridesim.ride.judge import (
    FINE,
    LOOK_AGAIN,
    OF_A_DRIVE,
    STOP,
    Word,
    brakes_found,
    drive_findings,
    ride_findings,
    worst,
)
from ridesim.ride.limits import ORDER
from ridesim.ride.result import Ridden
from ridesim.ride.running import RideOptions, ride_parameters, run
from ridesim.road.plan import SpeedPlan, plan_speed
from ridesim.road.profile import Road
from ridesim.sure.batch import CHANCES
from ridesim.sure.packing import laid_in
from ridesim.units import from_si, to_si
from ridesim.workshop.season.air import HOURS, Air, WeatherYear
from ridesim.workshop.season.plan import Plan

Array = NDArray[np.float64]
Done = Callable[[int], None]

WET_GRIP = 0.7
"""Grip of a wet road over that of a dry one (guess)."""
OUT, BACK = 0, 1
STEPS_AN_HOUR = 4
"""In which the pack's rest is taken; the air between two hours is straight."""


class Leg(NamedTuple):
    """One ride of a day and what it came to; `way` OUT or BACK; `word` the judge's; `passed` the limits that stop it.

    Charges are shares of the pack as it is; `drawn_ah` and `returned_ah` of the whole pack.
    """

    day: int
    way: int
    start_h: float
    air: Air
    finished: bool
    stop: str
    word: Word
    passed: tuple[str, ...]
    distance_km: float
    road_km: float
    time_s: float
    net_wh: float
    drawn_ah: float
    returned_ah: float
    charge_start: float
    charge_end: float
    pack_start_c: float
    pack_end_c: float
    peak_winding_temp_c: float
    lowest_pack_voltage_v: float
    rms_pack_current_a: float
    looked: tuple[str, ...] = ()
    """The limits that are worth a second look."""

    @property
    def end_h(self) -> float:
        """Hour of the day at which it ends."""
        return self.start_h + from_si(self.time_s, "h")

    @property
    def charge_used(self) -> float:
        """Share of the pack used."""
        return self.charge_start - self.charge_end


@dataclass(frozen=True, eq=False)
class Commute:
    """Everything that the days of a season share; both ways' speed plans are made once."""

    loaded: LoadedBuild
    out: Road
    back: Road
    weather: WeatherYear
    plan: Plan
    options: RideOptions
    speeds: tuple[SpeedPlan, SpeedPlan]

    @property
    def build(self) -> Build:
        """The bike."""
        return self.loaded.build

    @property
    def chained(self) -> bool:
        """Whether one day's charge is the next one's: nothing is charged at home."""
        return self.plan.home_share is None


def commute(
    loaded: LoadedBuild, out: Road, back: Road, weather: WeatherYear, plan: Plan, options: RideOptions
) -> Commute:
    """Return a season ready to ride."""
    speeds = (_speeds(loaded, out, options), _speeds(loaded, back, options))
    return Commute(loaded, out, back, weather, plan, options, speeds)


def _speeds(loaded: LoadedBuild, road: Road, options: RideOptions) -> SpeedPlan:
    rider = loaded.build.rider
    return plan_speed(
        road,
        to_si(options.cruise_speed_km_h or rider.cruise_speed_km_h, "km_h"),
        lateral_m_per_s2=rider.cornering_m_per_s2,
        braking_m_per_s2=rider.braking_m_per_s2,
        source=options.speed_source,
    )


@dataclass(frozen=True, eq=False)
class Bike:
    """One bike of the season: as built, aged, or drawn; `adjust` changes its numbers after packing."""

    build: Build
    dry: Parameters
    wet: Parameters


def bike_of(c: Commute, build: Build, adjust: Callable[[Parameters], Parameters] = lambda p: p) -> Bike:
    """Return a bike with its numbers for a dry and for a wet road."""
    slippery = laid_in(build, {"bicycle.grip": WET_GRIP * build.bicycle.grip})
    return Bike(build, *(adjust(ride_parameters(each, c.options)) for each in (build, slippery)))


def riding_days(c: Commute) -> list[int]:
    """Return the days of the year on which the plan rides."""
    return [day for day in range(c.weather.days) if c.weather.date_of(day).weekday() in c.plan.weekdays]


def ride_season(
    c: Commute, bike: Bike, days: Sequence[int], *, threads: int | None = None, done: Done | None = None
) -> list[tuple[Leg, ...]]:
    """Ride each of these days and return its legs, one where the way out did not arrive; the threads change nothing.

    Where nothing is charged at home one day starts with what the day before left.
    """
    rested = rested_pack_c(c, bike)
    if not c.chained:
        work = lambda day: ride_day(c, bike, day, float(c.plan.home_share or 1.0), rested)  # noqa: E731
        return on_all_cores(work, days, threads, done)

    def whole(_: int) -> list[tuple[Leg, ...]]:
        """Ride day after day, each from the charge that the one before left."""
        charge, found = float(c.plan.work_share or 1.0), []
        for day in days:
            found.append(ride_day(c, bike, day, charge, rested))
            charge = found[-1][-1].charge_end
        return found

    (found,) = on_all_cores(whole, [0], 1, None)
    if done:
        done(len(days))
    return found


def ride_day(c: Commute, bike: Bike, day: int, charge: float, rested_c: Array) -> tuple[Leg, ...]:
    """Ride out and, where that arrives, back; motor and controller start as warm as the air."""
    place = day * HOURS + c.plan.out_at_h
    pack_c = float(np.interp(place * STEPS_AN_HOUR, np.arange(len(rested_c)), rested_c))
    way_out = ride_leg(c, bike, day, OUT, c.plan.out_at_h, charge, pack_c)
    if not way_out.finished:
        return (way_out,)
    starts = max(c.plan.back_at_h, way_out.end_h)
    left = way_out.charge_end if c.plan.work_share is None else max(c.plan.work_share, way_out.charge_end)
    pack_c = relaxed_c(c, bike, way_out.pack_end_c, day * HOURS + way_out.end_h, day * HOURS + starts, c.plan.work_c)
    return way_out, ride_leg(c, bike, day, BACK, starts, left, pack_c)


def ride_leg(c: Commute, bike: Bike, day: int, way: int, hour: float, charge: float, pack_c: float) -> Leg:
    """Ride one way in the air of an hour, from a charge and a temperature of the pack."""
    air = c.weather.at(day, hour)
    build = laid_in(bike.build, {
        "weather.temperature_c": air.temperature_c, "weather.wind_speed_km_h": air.wind_speed_km_h,
        "weather.wind_from_deg": air.wind_from_deg,
    })  # fmt: skip
    road = c.back if way else c.out
    params = bike.wet if air.wet else bike.dry
    start = start_state(build)._replace(charge=charge, pack_temp=pack_c)
    arrays = road_arrays(build, road, c.speeds[way])
    raw = run(params, arrays, start, c.options, trace=build.brakes.stated)
    ridden = Ridden(c.loaded, road, c.options, params, arrays, start, raw)
    return _leg(ridden, build, day, way, hour, air)


def _leg(ridden: Ridden, build: Build, day: int, way: int, hour: float, air: Air) -> Leg:
    f, raw = ridden.figures, ridden.raw
    findings, drives = [*ride_findings(f, build, "metric"), *brakes_found(ridden, "metric")], named_drives(ridden)
    if drives:
        findings = [each for each in findings if each.name not in OF_A_DRIVE] + drive_findings(drives)
    stopping = {each.name for each in findings if each.verdict == STOP}
    return Leg(
        day, way, hour, air, f.finished, f.stop, worst(each.verdict for each in findings),
        tuple(name for name in CHANCES if name in stopping), f.distance_km, f.road_km, f.total_time_s,
        f.net_energy_wh, *ridden.charge_moved_ah,
        float(ridden.start.charge), float(raw.end.charge), float(ridden.start.pack_temp), float(raw.end.pack_temp),
        nearest_its_limit(drive_figures(ridden)).peak_winding_temp_c, f.lowest_pack_voltage_v, f.rms_pack_current_a,
        tuple(dict.fromkeys(each.name for each in findings if each.verdict == LOOK_AGAIN)),
    )  # fmt: skip


def relaxed_c(c: Commute, bike: Bike, pack_c: float, from_h: float, to_h: float, place_c: float | None) -> float:
    """Return the pack's temperature after a rest, hours since the first midnight, in a place or in the air outside.

    One lump towards its surroundings, exact for a constant air in each step.
    """
    steps = max(1, math.ceil((to_h - from_h) * STEPS_AN_HOUR))
    step = (to_h - from_h) / steps
    keep = math.exp(-decay_per_h(bike) * step)
    air = surroundings_c(c, np.asarray(from_h + (np.arange(steps) + 0.5) * step, dtype=np.float64), place_c)
    for around in air.tolist():
        pack_c = around + (pack_c - around) * keep
    return pack_c


def decay_per_h(bike: Bike) -> float:
    """Return how fast the pack takes its surroundings' temperature [1/h]."""
    return bike.dry.pack_to_air * bike.dry.pack_k_per_j * to_si(1.0, "h")


def surroundings_c(c: Commute, hours: Array, place_c: float | None) -> Array:
    """Return the temperature around a resting pack [degC]: the place's, or the air's."""
    return c.weather.temperature_at(hours) if place_c is None else np.full(len(hours), place_c)


def rested_pack_c(c: Commute, bike: Bike) -> Array:
    """Return the temperature of a pack that rests at home all year [degC], in quarters of an hour.

    The warmth of the evening's ride is gone by morning: left out, so that days are ridden on all cores.
    """
    count = c.weather.days * HOURS * STEPS_AN_HOUR
    air = surroundings_c(c, (np.arange(count) + 0.5) / STEPS_AN_HOUR, c.plan.home_c)
    keep = math.exp(-decay_per_h(bike) / STEPS_AN_HOUR)
    found = np.empty(count + 1)
    found[0] = air[0]
    for at, around in enumerate(air.tolist()):
        found[at + 1] = around + (found[at] - around) * keep
    return found


def day_word(legs: Sequence[Leg]) -> Word:
    """Return the judge's word of a day: the graver of its rides."""
    return worst(leg.word for leg in legs) if legs else FINE


def arrives(legs: Sequence[Leg]) -> bool:
    """Return whether a day came home."""
    return len(legs) == BACK + 1 and legs[-1].finished


def least_left(legs: Sequence[Leg]) -> float:
    """Return the least charge of a day's ends; 0 where it does not come home."""
    return min(leg.charge_end for leg in legs) if arrives(legs) else 0.0


def worse(legs: Sequence[Leg]) -> tuple[int, float, float, int]:
    """Return a key that puts the worst day first: not home, then the shorter way, then the least charge left."""
    home = arrives(legs)
    way = 0.0 if home else sum(leg.distance_km for leg in legs)
    return int(home), way, least_left(legs), -ORDER.index(day_word(legs))
