"""What can it hold for ever? Grade x speed from cold with the compiled step, and the continuous rating.

Held for ever means that winding, magnets, cells and both foldbacks settle within their limits, every other bound kept:
the map and the rating hold a load against the same bounds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.bike.second import refuse_second
from ridesim.engine.params import parameters
from ridesim.engine.state import Parameters
from ridesim.errors import RideError
from ridesim.ride.simulate import as_loaded
from ridesim.studies.demand import HEAT, cold_demands
from ridesim.studies.held import Ridden, ride_table
from ridesim.studies.rating import RATING_SPEEDS_KM_H, Rating, rate, rate_all
from ridesim.studies.steady import HALF_CHARGE, Still, load_at, still_of
from ridesim.units import to_si

Array = NDArray[np.float64]

RIDE_IT = "`ridesim climb BUILD` rides them: studies.held_by_both"
POINTS = 60
STEEPEST_PERCENT = 20.0
SLOWEST_KM_H = 4.0
"""Slower than a walk: the map begins here (guess)."""
FASTEST_KM_H = 60.0
"""And ends here, and at the grade above: beyond what such a bike is ridden at for long (guess)."""
SPOT_GRADES = np.array([2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0])
SPOT_SPEEDS = np.array([8.0, 12.0, 16.0, 20.0, 25.0, 30.0])
"""Grades [%] and speeds [km/h] of the table beside the map."""


LEAST_DEMAND = 1e-3
"""A demand below it is none: its inverse stays a number."""


@dataclass(frozen=True)
class Spot:
    """One grade at one speed."""

    grade_percent: float
    speed_km_h: float
    minutes: float
    ended_by: str


@dataclass(frozen=True, eq=False, repr=False)
class ClimbMap(Answer):
    """Grade x speed: arrays have the shape (grades, speeds)."""

    loaded: LoadedBuild
    grade_percent: Array
    speed_km_h: Array
    minutes: Array
    """Until a limit of heat or another bound ends it; inf: held for ever; 0: not to be held at all."""
    ended_by: tuple[tuple[str, ...], ...]
    """Per point: `nothing`, a bound of heat (`HEAT`), or the bound that takes the speed away."""
    spots: tuple[Spot, ...]
    """The same for round grades and speeds."""
    winding_temp_c: Array
    """Where the ride left the winding; nan where it was not ridden."""
    steady_winding_c: Array
    """In closed form; nan where nothing settles."""
    steady_body_c: Array
    steady_controller_c: Array
    demand: dict[str, Array]
    """What a cold motor takes of each bound: 1 is the bound."""
    heat_demand: dict[str, Array]
    """What the settled bike takes of each bound of heat (`HEAT`); inf where nothing settles."""
    met_at_percent: dict[str, Array]
    """Per speed, the grade at which each bound is met: cold, or settled for those of heat; nan where it is not here."""
    rating: tuple[Rating, ...]
    cruise_rating: Rating
    charge_fraction: float
    air_temp_c: float
    worst_disagreement_k: float
    """Largest difference between the settled ride and the closed form, over the points held for ever."""
    notes: tuple[str, ...] = field(default=())


def climb_map(
    build: str | Path | Build | LoadedBuild,
    *,
    points: int = POINTS,
    steepest_percent: float = STEEPEST_PERCENT,
    fastest_km_h: float | None = None,
    charge_fraction: float = HALF_CHARGE,
    rating_speeds_km_h: Sequence[float] = RATING_SPEEDS_KM_H,
    threads: int | None = None,
    done: Callable[[int], None] | None = None,
) -> ClimbMap:
    """Ride every grade (0 to `steepest_percent`) at every speed from cold and return for how long each is held.

    `points` a side; the pack is held at `charge_fraction`; `fastest_km_h` defaults to just past the speed that the
    voltage allows on the level. Raises BuildError, or RideError for a map that cannot be drawn.
    """
    loaded = as_loaded(build)
    refuse_second(loaded.build, "the map of `ridesim climb`", RIDE_IT)
    _refuse(loaded.build, points, steepest_percent, fastest_km_h, charge_fraction)
    p, still = parameters(loaded.build), still_of(loaded.build, charge_fraction)
    grade = np.linspace(0.0, steepest_percent, points)
    fastest = fastest_km_h or just_past_top_speed(p, still)
    speed = np.linspace(min(SLOWEST_KM_H, 0.5 * fastest), fastest, points)
    area = ride_table(loaded.build, p, still, charge_fraction, grade, speed, threads, done)
    few = ride_table(loaded.build, p, still, charge_fraction, SPOT_GRADES, SPOT_SPEEDS, threads, None)
    flat, shape = area.points, area.minutes.shape
    steady = np.array([math.nan if a.settled is None else a.settled.winding_temp for a in flat]).reshape(shape)
    apart = np.abs(area.left - steady)[np.isinf(area.minutes)]
    demand = {name: np.array([a.cold[name] for a in flat]).reshape(shape) for name in flat[0].cold}
    heat = {name: np.array([a.warm.get(name, math.inf) for a in flat]).reshape(shape) for name in HEAT}
    return ClimbMap(
        loaded=loaded,
        grade_percent=grade,
        speed_km_h=speed,
        minutes=area.minutes,
        ended_by=area.ended_by,
        spots=_spots(few),
        winding_temp_c=area.left,
        steady_winding_c=steady,
        steady_body_c=np.array([math.nan if a.settled is None else a.settled.body_temp for a in flat]).reshape(shape),
        steady_controller_c=np.array([a.controller_c for a in flat]).reshape(shape),
        demand=demand,
        heat_demand=heat,
        met_at_percent=_met_at(demand, heat, grade),
        rating=rate_all(loaded.build, p, still, rating_speeds_km_h),
        cruise_rating=rate(loaded.build, p, still, loaded.build.rider.cruise_speed_km_h),
        charge_fraction=charge_fraction,
        air_temp_c=still.air_temp,
        worst_disagreement_k=float(apart.max()) if apart.size else 0.0,
        notes=_notes(loaded.build, charge_fraction),
    )


def _met_at(demand: dict[str, Array], heat: dict[str, Array], grade: Array) -> dict[str, Array]:
    """Return per speed the grade at which each bound is met, at the speeds at which a cold bike holds the first row."""
    too_fast = np.max(np.stack([each[0] for each in demand.values()]), axis=0) > 1.0
    nothing_settles = np.isinf(heat["winding"])
    settled = {name: np.where(nothing_settles, math.nan, each) for name, each in heat.items()}
    found = {name: crossing(each, grade) for name, each in (demand | settled).items()}
    return {name: np.where(too_fast, math.nan, at) for name, at in found.items()}


def crossing(demand: Array, grade: Array) -> Array:
    """Return per speed the grade at which a demand reaches 1; nan where it does not on this map, or is not known.

    Straight in the room left, the inverse of the demand, which stays finite where a demand does not.
    """
    found = np.full(demand.shape[1], math.nan)
    room = 1.0 / np.maximum(demand, LEAST_DEMAND)
    for column in range(demand.shape[1]):
        over = np.flatnonzero(~(room[:, column] >= 1.0))
        if over.size and over[0] > 0:
            row = over[0]
            before, after = room[row - 1, column], room[row, column]
            found[column] = grade[row - 1] + (before - 1.0) / (before - after) * (grade[row] - grade[row - 1])
    return found


def just_past_top_speed(p: Parameters, still: Still) -> float:
    """Return a speed a little past what bounds allow on the level [km/h], rounded up to a multiple of 5."""
    for speed in np.arange(SLOWEST_KM_H, FASTEST_KM_H, 1.0):
        load = load_at(p, still, 0.0, to_si(float(speed), "km_h"))
        if max(cold_demands(p, still, load).values()) > 1.0:
            return min(5.0 * math.ceil((float(speed) + 1.0) / 5.0), FASTEST_KM_H)
    return FASTEST_KM_H


def _spots(few: Ridden) -> tuple[Spot, ...]:
    return tuple(
        Spot(float(grade), float(speed), float(few.minutes[row, column]), few.ended_by[row][column])
        for row, grade in enumerate(SPOT_GRADES)
        for column, speed in enumerate(SPOT_SPEEDS)
    )


def _refuse(build: Build, points: int, steepest: float, fastest: float | None, charge: float) -> None:
    if not 5 <= points <= 400:
        raise RideError("--map", f"{points} points a side (allowed 5 to 400)", "choose a number inside it")
    if not 1.0 <= steepest <= 60.0:
        raise RideError("steepest grade", f"{steepest:g} % is out of range (allowed 1 to 60 %)", "choose inside it")
    if fastest is not None and not 5.0 <= fastest <= 120.0:
        raise RideError("fastest speed", f"{fastest:g} km/h is out of range (allowed 5 to 120 km/h)", "choose inside")
    refuse_charge(build, charge)


def refuse_charge(build: Build, charge: float) -> None:
    """Raise RideError for a charge at which nobody rides."""
    floor = build.pack.charge_floor_fraction
    if not floor < charge <= 1.0:
        what = f"{charge:.0%} is out of range (allowed above {floor:.0%}, the floor, to 100 %)"
        raise RideError("charge", what, "choose a charge that the rider would use")


def _notes(build: Build, charge: float) -> tuple[str, ...]:
    return (
        f"The pack is held at {charge:.0%} of charge, so that an emptying pack does not end the question (many a pack "
        "is empty before its cells are too warm); a fuller pack reaches further to the right.",
        "Still air of the start, whatever the height climbed. The rider pedals all the time with "
        f"{build.rider.power_w:g} W.",
        "Held for ever: winding, magnets and cells settle within their limits, and neither the motor's nor the "
        "controller's temperature foldback takes the current that the grade asks for. The throttle law is left out.",
    )
