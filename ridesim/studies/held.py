"""How long is a speed held on a grade? One ride from cold a point, with the compiled step.

A ride ends where the winding reaches its limit, a bound is met, or the heat has settled; the steady state in closed
form decides how long to look. So that time does not end the question, the pack's charge and temperature are held, the
air is still and stays that of the start, and the temperature foldbacks are off.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.schema import Build
from ridesim.engine.batch import Job, Raw, run_many
from ridesim.engine.codes import Law, Limit, Stop
from ridesim.engine.params import start_state
from ridesim.engine.state import Parameters
from ridesim.physics import motor
from ridesim.studies.steady import (
    Load,
    Settled,
    Still,
    controller_temp,
    demands,
    electric_at,
    endless_road,
    foldback_demands,
    load_at,
    settle,
)
from ridesim.units import from_si, to_si

Array = NDArray[np.float64]

PATIENCE_S = 24 * 3600.0
"""A winding that takes longer than this to reach its limit is as good as held."""
LONGEST_STEP_S = 10.0
STEPS_TO_LIMIT = 100
"""At least so many steps between cold and the winding's limit."""
STEPS_A_WINDING = 4
"""At least so many steps in the winding's own time constant."""
SETTLED_SHARE = 1e-4
"""Share of the rise that may be missing where a ride counts as settled."""


class Point(NamedTuple):
    """One grade at one speed in closed form."""

    load: Load
    settled: Settled | None
    cold: dict[str, float]
    foldback: float
    controller_c: float


class Ridden(NamedTuple):
    """A table of points, closed form and rides; arrays (grades, speeds)."""

    points: list[Point]
    minutes: Array
    left: Array
    ended_by: tuple[tuple[str, ...], ...]


def _point(p: Parameters, still: Still, grade: float, speed: float) -> Point:
    """Return the closed-form side of one point."""
    load = load_at(p, still, grade, speed)
    cold = demands(p, load, electric_at(p, load, still, still.air_temp, still.air_temp))
    settled = settle(p, load, still.air_temp)
    if settled is None:
        return Point(load, None, cold, math.inf, math.nan)
    found = electric_at(p, load, still, settled.winding_temp, settled.body_temp)
    box = controller_temp(p, still, found)
    folded = max(foldback_demands(p, found, settled.winding_temp, box).values())
    return Point(load, settled, cold, folded, box)


def ride_table(
    build: Build, p: Parameters, still: Still, charge: float, grades: Array, speeds: Array, threads: int | None,
    done: Callable[[int], None] | None,
) -> Ridden:  # fmt: skip
    """Ride every grade [%] at every speed [km/h]; points that a cold motor cannot hold are not ridden."""
    held_still = without_time(p)
    flat = [_point(p, still, float(g) / 100.0, to_si(float(v), "km_h")) for g in grades for v in speeds]
    rides = [index for index, point in enumerate(flat) if max(point.cold.values()) <= 1.0]
    if done is not None:
        done(len(flat) - len(rides))
    minutes, left, ended = np.zeros(len(flat)), np.full(len(flat), math.nan), [""] * len(flat)
    jobs = [_job(build, held_still, still, charge, flat[index]) for index in rides]
    for index, out in zip(rides, run_many(jobs, threads, done), strict=True):
        minutes[index], ended[index] = _read(p, flat[index], out)
        left[index] = out.end.winding_temp
    wide, shape = len(speeds), (len(grades), len(speeds))
    named = [cause or _bound_met_first(flat, wide, index) for index, cause in enumerate(ended)]
    rows = tuple(tuple(named[row * wide : (row + 1) * wide]) for row in range(len(grades)))
    return Ridden(flat, minutes.reshape(shape), left.reshape(shape), rows)


def _bound_met_first(flat: list[Point], wide: int, index: int) -> str:
    """Return the bound in the way of a cold motor: the one met first on the way up at this speed."""
    at = index % wide
    while max(flat[at].cold.values()) <= 1.0:
        at += wide
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


def _job(build: Build, p: Parameters, still: Still, charge: float, point: Point) -> Job:
    found = electric_at(p, point.load, still, still.air_temp, still.air_temp)
    start = start_state(build, speed_m_per_s=point.load.speed)._replace(
        charge=charge, polarisation=found.pack_current * p.polarisation_resistance
    )
    road = endless_road(still, point.load.grade, point.load.speed)
    return Job(p, road, start, _step(p, still, point), 1, _patience(p, point))


def _step(p: Parameters, still: Still, point: Point) -> float:
    """Return the step [s]: many to the limit, several in the winding's time constant."""
    winding_time = 1.0 / (p.winding_k_per_j * p.winding_to_body)
    longest = min(LONGEST_STEP_S, winding_time / STEPS_A_WINDING)
    if _for_ever(p, point):
        return longest
    current = point.load.torque / motor.torque_constant(p.torque_constant, p.magnet_per_k, p.winding_limit)
    hottest = current * current * motor.winding_resistance(p.resistance, p.winding_limit)
    least_time = (p.winding_limit - still.air_temp) / (p.winding_k_per_j * hottest)
    return min(longest, least_time / STEPS_TO_LIMIT)


def _patience(p: Parameters, point: Point) -> float:
    """Return for how long to look [s]: until all but a thousandth of the rise is there, where it is held for ever."""
    if point.settled is None or not _for_ever(p, point):
        return PATIENCE_S
    slow = (1.0 / p.winding_k_per_j + 1.0 / p.body_k_per_j) / point.load.body_to_air
    return -math.log(SETTLED_SHARE) * slow / max(1.0 - point.settled.gain, 1e-3)


def _for_ever(p: Parameters, point: Point) -> bool:
    return point.settled is not None and point.settled.winding_temp <= p.winding_limit


def _read(p: Parameters, point: Point, out: Raw) -> tuple[float, str]:
    """Return for how many minutes one ride held its speed, and what ended it."""
    met = [limit for limit in Limit if limit is not Limit.NONE and out.limit_seconds[limit] > 0.0]
    if met:
        first = min(met, key=lambda limit: float(out.limit_first_m[limit]))
        return from_si(float(out.limit_first_m[first]) / point.load.speed, "min"), _bound_name(first)
    if out.stop is Stop.OVER_TEMPERATURE:
        return from_si(_crossing(p, point.load, out), "min"), "winding"
    if out.stop is Stop.TIME_LIMIT:
        return (math.inf, "nothing") if _for_ever(p, point) else (from_si(PATIENCE_S, "min"), "winding")
    return from_si(out.end.time, "min"), out.stop.name.lower()


def _crossing(p: Parameters, load: Load, out: Raw) -> float:
    """Return when the winding passed its limit [s]: from the last step back along its slope."""
    end = out.end
    current = load.torque / motor.torque_constant(p.torque_constant, p.magnet_per_k, end.body_temp)
    copper = current * current * motor.winding_resistance(p.resistance, end.winding_temp)
    slope = (copper - p.winding_to_body * (end.winding_temp - end.body_temp)) * p.winding_k_per_j
    if not slope > 0.0:
        return end.time
    return end.time - min((end.winding_temp - p.winding_limit) / slope, LONGEST_STEP_S)


def _bound_name(limit: Limit) -> str:
    return {Limit.MODULATION: "voltage", Limit.PACK_POWER: "pack_current"}.get(limit, limit.name.lower())
