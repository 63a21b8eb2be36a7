"""How long is a speed held on a grade? One ride from cold a point, with the compiled step.

A ride ends where heat reaches the limit of winding, magnets or cells, a bound is met (the temperature foldbacks of
motor and controller among them), or the heat has settled; the steady state in closed form decides how long to look. So
that time does not end the question, the pack's charge is held, and the air is still and stays that of the start.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.schema import Build
from ridesim.engine.batch import Job, Raw, run_one
from ridesim.engine.codes import Law, Limit, Stop
from ridesim.engine.halting import all_or_so_far
from ridesim.engine.pace import by_step
from ridesim.engine.params import start_state
from ridesim.engine.state import Parameters
from ridesim.errors import Interrupted
from ridesim.ride.bounds import BOUNDS
from ridesim.ride.figures import bounds_met, seconds_over
from ridesim.ride.limits import ROUNDING
from ridesim.studies.demand import HEAT, cold_demands, hardest, warm_demands
from ridesim.studies.so_far import SoFar
from ridesim.studies.steady import (
    Load,
    Settled,
    Still,
    controller_temp,
    electric_at,
    endless_road,
    load_at,
    motor_at,
    settle_with_field,
)
from ridesim.units import from_si, to_si

Array = NDArray[np.float64]

PATIENCE_S = to_si(24.0, "h")
"""Heat that takes longer than this to reach a limit is as good as held (guess)."""
LONGEST_STEP_S = 20.0
STEPS_TO_LIMIT = 50
"""At least so many steps between cold and the winding's limit."""
STEPS_A_WINDING = 2
"""At least so many steps in the winding's own time constant."""
SETTLED_SHARE = 1e-4
"""Share of the rise that may be missing where a ride counts as settled."""


class Point(NamedTuple):
    """One grade at one speed in closed form."""

    load: Load
    settled: Settled | None
    cold: dict[str, float]
    warm: dict[str, float]
    """What it takes of every bound once settled; empty where nothing settles."""
    controller_c: float

    @property
    def broken(self) -> list[str]:
        """The bounds that are passed once settled."""
        return [name for name, taken in self.warm.items() if taken > 1.0]

    @property
    def for_ever(self) -> bool:
        """Whether the heat settles with every bound kept."""
        return self.settled is not None and not self.broken


class Ridden(NamedTuple):
    """A table of points, closed form and rides; arrays (grades, speeds)."""

    points: list[Point]
    minutes: Array
    left: Array
    ended_by: tuple[tuple[str, ...], ...]


def _point(p: Parameters, still: Still, grade: float, speed: float) -> Point:
    """Return the closed-form side of one point."""
    load = load_at(p, still, grade, speed)
    cold, settled = cold_demands(p, still, load), settle_with_field(p, still, load)
    if settled is None:
        return Point(load, None, cold, {}, math.nan)
    found = electric_at(p, load, still, settled.winding_temp, settled.body_temp)
    return Point(load, settled, cold, warm_demands(p, still, load, settled), controller_temp(p, still, found))


def ride_table(
    build: Build, p: Parameters, still: Still, charge: float, grades: Array, speeds: Array, threads: int | None,
    done: Callable[[int], None] | None,
) -> Ridden:  # fmt: skip
    """Ride every grade [%] at every speed [km/h]; points that a cold motor cannot hold are not ridden."""
    held_still = without_time(p, still)
    flat = [_point(p, still, to_si(float(g), "percent"), to_si(float(v), "km_h")) for g in grades for v in speeds]
    rides = [index for index, point in enumerate(flat) if max(point.cold.values()) <= 1.0]
    if done is not None:
        done(len(flat) - len(rides))
    minutes, left, ended = np.zeros(len(flat)), np.full(len(flat), math.nan), [""] * len(flat)
    jobs = [_job(build, held_still, still, charge, flat[index]) for index in rides]
    try:
        outs = all_or_so_far(run_one, jobs, threads, done)
    except Interrupted as end:
        so_far = [(flat[rides[at]], out) for at, out in cast(list[tuple[int, Raw]], end.left)]
        raise Interrupted(f"{len(so_far)} of {len(rides)} points", _held_so_far(p, still, so_far, len(rides))) from None
    for index, out in zip(rides, outs, strict=True):
        minutes[index], ended[index] = _read(p, still, flat[index], out)
        left[index] = out.end.winding_temp
    wide, shape = len(speeds), (len(grades), len(speeds))
    named = [cause or _bound_met_first(flat, wide, index) for index, cause in enumerate(ended)]
    rows = tuple(tuple(named[row * wide : (row + 1) * wide]) for row in range(len(grades)))
    return Ridden(flat, minutes.reshape(shape), left.reshape(shape), rows)


def _held_so_far(p: Parameters, still: Still, done: list[tuple[Point, Raw]], asked: int) -> SoFar:
    """Return for how long each point that was ridden is held."""

    def rows() -> list[dict[str, object]]:
        """Return what is known so far, one row a load."""
        found = [(point.load, *_read(p, still, point, out)) for point, out in done]
        return [
            {
                "grade_percent": from_si(load.grade, "percent"),
                "speed_km_h": from_si(load.speed, "km_h"),
                "held_min": minutes,
                "ended_by": cause,
            }
            for load, minutes, cause in found
        ]

    return SoFar(asked, rows)


def _bound_met_first(flat: list[Point], wide: int, index: int) -> str:
    """Return the bound in the way of a cold motor: the one met first on the way up at this speed."""
    at = index % wide
    while max(flat[at].cold.values()) <= 1.0:
        at += wide
    return hardest(flat[at].cold)


def without_time(p: Parameters, still: Still) -> Parameters:
    """Return a bike that follows the plan with its charge held, ended by the winding's limit at the latest.

    The pack may give what the controller allows or the cells are rated for, whichever is less.
    """
    return p._replace(
        law=int(Law.TORQUE),
        throttle=-1.0,
        response_rate=0.25 / LONGEST_STEP_S,
        charge_per_coulomb=0.0,
        pack_current=min(p.pack_current, ROUNDING * still.cell_rating),
        winding_stop=p.winding_limit,
    )


def _job(build: Build, p: Parameters, still: Still, charge: float, point: Point) -> Job:
    found = electric_at(p, point.load, still, still.air_temp, still.air_temp)
    start = start_state(build, speed_m_per_s=point.load.speed)._replace(
        charge=charge, polarisation=found.pack_current * still.slow
    )
    road = endless_road(still, point.load.grade, point.load.speed)
    return Job(p, road, start, by_step(_step(p, still, point)), 1, _patience(p, point))


def _step(p: Parameters, still: Still, point: Point) -> float:
    """Return the step [s]: several in the winding's time constant, and many to its limit where the motor meets one."""
    winding_time = 1.0 / (p.winding_k_per_j * p.winding_to_body)
    longest = min(LONGEST_STEP_S, winding_time / STEPS_A_WINDING)
    if set(point.broken) <= {"controller_temperature", "cells"} and point.settled is not None:
        return longest
    hot = motor_at(p, point.load.motor_speed, p.winding_limit, p.winding_limit)
    hottest = (point.load.torque / hot.torque_constant) ** 2 * hot.resistance
    least_time = (p.winding_limit - still.air_temp) / (p.winding_k_per_j * hottest)
    return min(longest, least_time / STEPS_TO_LIMIT)


def _patience(p: Parameters, point: Point) -> float:
    """Return for how long to look [s]: until all but a little of the rise is there, or the first bound must be met."""
    if point.settled is None:
        return PATIENCE_S
    slow = (1.0 / p.winding_k_per_j + 1.0 / p.body_k_per_j) / point.load.body_to_air
    motor_s = -math.log(SETTLED_SHARE) * slow / max(1.0 - point.settled.gain, 1e-3)
    times = [_cells_s(p, point) if name == "cells" else _box_s(p, motor_s, name) for name in point.broken]
    return min((LONGEST_STEP_S + time for time in times), default=motor_s)


def _box_s(p: Parameters, motor_s: float, name: str) -> float:
    """Return until when a bound is met at the latest [s]: with the motor's heat, or the controller's."""
    box_s = -math.log(SETTLED_SHARE) / (p.controller_k_per_j * p.controller_to_air)
    return min(max(box_s, motor_s) if name == "controller_temperature" else motor_s, PATIENCE_S)


def _cells_s(p: Parameters, point: Point) -> float:
    """Return until when the cells pass their limit at the latest [s]: by the loss of warm cells, the least there is."""
    share = 1.0 / point.warm["cells"]
    return min(-math.log1p(-share) / (p.pack_k_per_j * p.pack_to_air), PATIENCE_S) if share < 1.0 else PATIENCE_S


def _read(p: Parameters, still: Still, point: Point, out: Raw) -> tuple[float, str]:
    """Return for how many minutes one ride kept every bound, and which one was passed first."""
    seconds, cause = min(_passed(p, still, point, out), default=(math.inf, "nothing"))
    if cause == "nothing" and not point.for_ever:
        late = {name: point.warm.get(name, math.inf) for name in HEAT}
        return from_si(PATIENCE_S, "min"), max(late, key=lambda name: late[name])
    return from_si(seconds, "min"), cause


def _passed(p: Parameters, still: Still, point: Point, out: Raw) -> list[tuple[float, str]]:
    """Return when a ride passed which bounds [s]. Under one load heat only rises: time over a limit is at its end."""
    speed = point.load.speed
    found = [(place / speed, _bound_name(limit, p, still)) for limit, place in bounds_met(out)]
    found += [(out.end.time - seconds, name) for name, seconds in seconds_over(out).items() if seconds > 0.0]
    if out.stop is Stop.OVER_TEMPERATURE:
        found.append((_crossing(p, point.load, out), "winding"))
    elif out.stop is not Stop.TIME_LIMIT:
        found.append((out.end.time, out.stop.name.lower()))
    return found


def _crossing(p: Parameters, load: Load, out: Raw) -> float:
    """Return when the winding passed its limit [s]: from the last step back along its slope."""
    end = out.end
    now = motor_at(p, load.motor_speed, end.winding_temp, end.body_temp)
    copper = (load.torque / now.torque_constant) ** 2 * now.resistance
    slope = (copper - p.winding_to_body * (end.winding_temp - end.body_temp)) * p.winding_k_per_j
    if not slope > 0.0:
        return end.time
    return end.time - min((end.winding_temp - p.winding_limit) / slope, LONGEST_STEP_S)


def _bound_name(limit: Limit, p: Parameters, still: Still) -> str:
    """Return a bound's name as `demands` has it; the pack's current is bounded by controller or cells."""
    by_cells = ROUNDING * still.cell_rating < p.pack_current
    if limit is Limit.PACK_CURRENT and by_cells:
        return "cell_rating"
    return BOUNDS[Limit.PACK_CURRENT if limit is Limit.PACK_POWER else limit].name
