"""Does it hold the climb for ever? Grade x speed from cold with the compiled step, and the continuous rating.

Each point of the map is a ride of its own: the speed held on a constant grade from cold until the winding reaches its
limit, a bound is met, or the heat settles. The steady state in closed form decides how long to look, and is compared
with what the ride settles at. So that time does not end the question, the pack's charge and temperature are held, the
air is still and stays that of the start, and the temperature foldbacks are off (the rating and one line respect them).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ridesim.build.load import LoadedBuild
from ridesim.build.schema import Build
from ridesim.engine.batch import Job, Outcome, run_many
from ridesim.engine.codes import Law, Limit, Stop, Total
from ridesim.engine.params import parameters, start_state
from ridesim.engine.state import NODE, STOP, Parameters, RoadArrays
from ridesim.errors import RideError
from ridesim.physics import motor
from ridesim.ride.simulate import as_loaded
from ridesim.studies.rating import RATING_SPEEDS_KM_H, Rating, rate_all
from ridesim.studies.steady import (
    HALF_CHARGE,
    Load,
    Settled,
    Still,
    controller_temp,
    demands,
    electric_at,
    foldback_demands,
    load_at,
    settle,
    still_of,
)
from ridesim.units import from_si, to_si

Array = NDArray[np.float64]

POINTS = 60
STEEPEST_PERCENT = 20.0
SLOWEST_KM_H = 4.0
"""Slower than a walk: the map begins here."""
FASTEST_KM_H = 60.0
ENDLESS_ROAD_M = 1e9
PATIENCE_S = 24 * 3600.0
"""A winding that takes longer than this to reach its limit is as good as held."""
LONGEST_STEP_S = 10.0
STEPS_TO_LIMIT = 100
"""At least so many steps between cold and the winding's limit."""
STEPS_A_WINDING = 4
"""At least so many steps in the winding's own time constant."""
SETTLED_SHARE = 1e-4
"""Share of the rise that may be missing where a ride counts as settled."""
NO_LIMIT = 0


@dataclass(frozen=True, eq=False)
class ClimbMap:
    """Grade x speed: arrays have the shape (grades, speeds)."""

    loaded: LoadedBuild
    grade_percent: Array
    speed_km_h: Array
    minutes: Array
    """Until the winding's limit or a bound ends it; inf: held for ever; 0: not to be held at all."""
    ended_by: tuple[tuple[str, ...], ...]
    """Per point: `nothing`, `winding`, or the bound that takes the speed away."""
    winding_temp_c: Array
    """Where the ride left the winding; nan where it was not ridden."""
    steady_winding_c: Array
    """In closed form; nan where nothing settles."""
    steady_body_c: Array
    steady_controller_c: Array
    demand: dict[str, Array]
    """What a cold motor takes of each bound: 1 is the bound."""
    foldback: Array
    """What the settled motor takes of the current that the temperature foldbacks leave: above 1 they take speed."""
    rating: tuple[Rating, ...]
    charge_fraction: float
    air_temp_c: float
    worst_disagreement_k: float
    """Largest difference between the settled ride and the closed form, over the points held for ever."""
    notes: tuple[str, ...] = field(default=())


class _Point(NamedTuple):
    load: Load
    settled: Settled | None
    cold: dict[str, float]
    foldback: float
    controller_c: float


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
    _refuse(loaded.build, points, steepest_percent, fastest_km_h, charge_fraction)
    p, still = parameters(loaded.build), still_of(loaded.build, charge_fraction)
    grade = np.linspace(0.0, steepest_percent, points)
    fastest = fastest_km_h or just_past_top_speed(p, still)
    speed = np.linspace(min(SLOWEST_KM_H, 0.5 * fastest), fastest, points)
    table = [[_point(p, still, g / 100.0, to_si(float(v), "km_h")) for v in speed] for g in grade]
    flat = [point for row in table for point in row]
    minutes, left, ended = _ride_all(loaded.build, p, still, charge_fraction, flat, threads, done)
    shape = (points, points)
    steady = np.array([math.nan if a.settled is None else a.settled.winding_temp for a in flat])
    apart = np.abs(left - steady)[np.isinf(minutes)]
    ended = [cause or _bound_met_first(flat, points, index) for index, cause in enumerate(ended)]
    return ClimbMap(
        loaded=loaded,
        grade_percent=grade,
        speed_km_h=speed,
        minutes=minutes.reshape(shape),
        ended_by=tuple(tuple(ended[row * points : (row + 1) * points]) for row in range(points)),
        winding_temp_c=left.reshape(shape),
        steady_winding_c=steady.reshape(shape),
        steady_body_c=np.array([math.nan if a.settled is None else a.settled.body_temp for a in flat]).reshape(shape),
        steady_controller_c=np.array([a.controller_c for a in flat]).reshape(shape),
        demand={name: np.array([a.cold[name] for a in flat]).reshape(shape) for name in flat[0].cold},
        foldback=np.array([a.foldback for a in flat]).reshape(shape),
        rating=rate_all(loaded.build, p, still, rating_speeds_km_h),
        charge_fraction=charge_fraction,
        air_temp_c=still.air_temp,
        worst_disagreement_k=float(apart.max()) if apart.size else 0.0,
        notes=_notes(loaded.build, charge_fraction),
    )


def just_past_top_speed(p: Parameters, still: Still) -> float:
    """Return a speed a little past what bounds allow on the level [km/h], rounded up to a multiple of 5."""
    for speed in np.arange(SLOWEST_KM_H, FASTEST_KM_H, 1.0):
        load = load_at(p, still, 0.0, to_si(float(speed), "km_h"))
        if max(demands(p, load, electric_at(p, load, still, still.air_temp, still.air_temp)).values()) > 1.0:
            return min(5.0 * math.ceil((float(speed) + 1.0) / 5.0), FASTEST_KM_H)
    return FASTEST_KM_H


def _point(p: Parameters, still: Still, grade: float, speed: float) -> _Point:
    """Return the closed-form side of one point."""
    load = load_at(p, still, grade, speed)
    cold = demands(p, load, electric_at(p, load, still, still.air_temp, still.air_temp))
    settled = settle(p, load, still.air_temp)
    if settled is None:
        return _Point(load, None, cold, math.inf, math.nan)
    found = electric_at(p, load, still, settled.winding_temp, settled.body_temp)
    box = controller_temp(p, still, found)
    folded = max(foldback_demands(p, found, settled.winding_temp, box).values())
    return _Point(load, settled, cold, folded, box)


def _ride_all(
    build: Build, p: Parameters, still: Still, charge: float, flat: list[_Point], threads: int | None,
    done: Callable[[int], None] | None,
) -> tuple[Array, Array, list[str]]:  # fmt: skip
    """Return minutes held, the winding temperature left and what ended it, for every point."""
    held_still = without_time(p)
    rides = [index for index, point in enumerate(flat) if max(point.cold.values()) <= 1.0]
    jobs = [_job(build, held_still, still, charge, flat[index]) for index in rides]
    if done is not None:
        done(len(flat) - len(rides))
    minutes, left, ended = np.zeros(len(flat)), np.full(len(flat), math.nan), [""] * len(flat)
    for index, out in zip(rides, run_many(jobs, threads, done), strict=True):
        minutes[index], ended[index] = _read(p, flat[index], out)
        left[index] = out.end.winding_temp
    return minutes, left, ended


def _bound_met_first(flat: list[_Point], columns: int, index: int) -> str:
    """Return the bound in the way of a cold motor: the one met first on the way up at this speed."""
    at = index % columns
    while max(flat[at].cold.values()) <= 1.0:
        at += columns
    return max(flat[at].cold, key=lambda name: flat[at].cold[name])


def without_time(p: Parameters) -> Parameters:
    """Return a bike that follows the plan with its pack held still, without foldbacks, ended by the winding's limit."""
    return p._replace(
        law=int(Law.TORQUE),
        throttle=-1.0,
        response_rate=0.25 / LONGEST_STEP_S,
        charge_per_coulomb=0.0,
        pack_k_per_j=0.0,
        motor_fold_start=0.0,
        motor_fold_end=0.0,
        controller_fold_start=0.0,
        controller_fold_end=0.0,
        winding_stop=p.winding_limit,
    )


def _job(build: Build, p: Parameters, still: Still, charge: float, point: _Point) -> Job:
    found = electric_at(p, point.load, still, still.air_temp, still.air_temp)
    start = start_state(build, speed_m_per_s=point.load.speed)._replace(
        charge=charge, polarisation=found.pack_current * p.polarisation_resistance
    )
    return Job(p, endless_climb(still, point.load), start, _step(p, point), 1, _patience(p, point))


def endless_climb(still: Still, load: Load) -> RoadArrays:
    """Return a road of one grade without end, through air that stays the same, with one planned speed."""
    nodes = np.zeros(2, dtype=NODE)
    nodes["sin_theta"] = load.grade * load.cos_theta
    nodes["cos_theta"] = load.cos_theta
    nodes["air_density"] = still.air_density
    nodes["air_temp"] = still.air_temp
    nodes["rolling"] = still.rolling
    nodes["pedal_power"] = still.pedal_power
    nodes["plan_square"] = load.speed * load.speed
    return RoadArrays(
        length=ENDLESS_ROAD_M,
        spacing=ENDLESS_ROAD_M,
        per_spacing=1.0 / ENDLESS_ROAD_M,
        nodes=nodes,
        stops=np.zeros(0, dtype=STOP),
        cycle_step=1.0,
        cycle_speed=np.empty(0),
    )


def _step(p: Parameters, point: _Point) -> float:
    """Return the step [s]: many to the limit, several in the winding's time constant."""
    winding_time = 1.0 / (p.winding_k_per_j * p.winding_to_body)
    longest = min(LONGEST_STEP_S, winding_time / STEPS_A_WINDING)
    if _for_ever(p, point):
        return longest
    current = point.load.torque / motor.torque_constant(p.torque_constant, p.magnet_per_k, p.winding_limit)
    hottest = current * current * motor.winding_resistance(p.resistance, p.winding_limit)
    least_time = p.winding_limit / (p.winding_k_per_j * hottest)
    return min(longest, least_time / STEPS_TO_LIMIT)


def _patience(p: Parameters, point: _Point) -> float:
    """Return for how long to look [s]: until all but a thousandth of the rise is there, where it is held for ever."""
    if point.settled is None or not _for_ever(p, point):
        return PATIENCE_S
    slow = (1.0 / p.winding_k_per_j + 1.0 / p.body_k_per_j) / point.load.body_to_air
    return -math.log(SETTLED_SHARE) * slow / max(1.0 - point.settled.gain, 1e-3)


def _for_ever(p: Parameters, point: _Point) -> bool:
    return point.settled is not None and point.settled.winding_temp <= p.winding_limit


def _read(p: Parameters, point: _Point, out: Outcome) -> tuple[float, str]:
    """Return for how many minutes one ride held its speed, and what ended it."""
    met = [limit for limit in Limit if limit is not Limit.NONE and out.limit_seconds[limit] > 0.0]
    if met:
        first = min(met, key=lambda limit: float(out.limit_first_m[limit]))
        return from_si(float(out.limit_first_m[first]) / point.load.speed, "min"), _bound_name(first)
    if out.stop is Stop.OVER_TEMPERATURE:
        return from_si(_crossing(p, out), "min"), "winding"
    if out.stop is Stop.TIME_LIMIT:
        return (math.inf, "nothing") if _for_ever(p, point) else (from_si(PATIENCE_S, "min"), "winding")
    return from_si(out.end.time, "min"), out.stop.name.lower()


def _crossing(p: Parameters, out: Outcome) -> float:
    """Return when the winding passed its limit [s]: the last step is drawn back along its slope."""
    end = out.end
    copper = math.nan
    if out.totals[Total.TIME] > 0.0:
        copper = float(out.totals[Total.MOTOR_SQUARE_TIME]) / float(out.totals[Total.TIME])
        copper *= motor.winding_resistance(p.resistance, end.winding_temp)
    slope = (copper - p.winding_to_body * (end.winding_temp - end.body_temp)) * p.winding_k_per_j
    if not slope > 0.0:
        return end.time
    return end.time - (end.winding_temp - p.winding_limit) / slope


def _bound_name(limit: Limit) -> str:
    return {Limit.DUTY: "voltage", Limit.PACK_POWER: "pack_current"}.get(limit, limit.name.lower())


def _refuse(build: Build, points: int, steepest: float, fastest: float | None, charge: float) -> None:
    if not 5 <= points <= 400:
        raise RideError("--map", f"{points} points a side (allowed 5 to 400)", "choose a number inside it")
    if not 1.0 <= steepest <= 60.0:
        raise RideError("steepest grade", f"{steepest:g} % is out of range (allowed 1 to 60 %)", "choose inside it")
    if fastest is not None and not 5.0 <= fastest <= 120.0:
        raise RideError("fastest speed", f"{fastest:g} km/h is out of range (allowed 5 to 120 km/h)", "choose inside")
    floor = build.pack.charge_floor_fraction
    if not floor < charge <= 1.0:
        what = f"{charge:g} is out of range (allowed above {floor:g}, the floor, to 1)"
        raise RideError("charge", what, "choose a charge that the rider would use")


def _notes(build: Build, charge: float) -> tuple[str, ...]:
    notes = [
        f"The pack is held at {charge:.0%} of charge and its starting temperature, so that an emptying pack does not "
        "end the question; a fuller pack reaches further to the right.",
        "Still air of the start, whatever the height climbed. The rider pedals all the time with "
        f"{build.rider.power_w:g} W.",
        "The map asks what the motor can hold: the throttle law and the temperature foldbacks are left out of it. The "
        "continuous rating respects the foldbacks and the magnets' limit as well.",
    ]
    if build.controller.motor_foldback_start_c is None:
        notes.append("No motor sensor: nothing holds the current back before the winding's limit.")
    return tuple(notes)
