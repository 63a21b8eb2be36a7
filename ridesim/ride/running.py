"""How to ride, and the ride itself from plain numbers: everything below the public answer."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridesim.bike.schema import Build
from ridesim.bike.second import why_not_together
from ridesim.engine.batch import Job, Raw, run_one
from ridesim.engine.pace import ACCURACIES, Pacing, by_step
from ridesim.engine.params import both_parameters, road_arrays
from ridesim.engine.state import Parameters, RoadArrays, State
from ridesim.errors import BuildError, RideError
from ridesim.road.plan import SpeedPlan, plan_speed
from ridesim.road.profile import Road
from ridesim.units import to_si

LONGEST_STEP_S = 1.0
SHORTEST_STEP_S = 1e-4
TRACE_ROWS = 20_000
"""Rows of the longest trace; a longer ride is recorded at wider intervals, its extremes kept."""
RANGE_LIMIT_H = 100.0
"""A ride repeated longer than this without emptying the pack has no end that matters."""


@dataclass(frozen=True)
class RideOptions:
    """How to ride: everything that belongs neither to the bike nor to the road."""

    cruise_speed_km_h: float | None = None
    speed_source: str = "plan"
    throttle_law: str | None = None
    throttle: float | None = None
    limits: bool = True
    regen: bool = True
    accuracy: str = "normal"
    step_s: float | None = None
    """The longest step, for tests of convergence, in place of an accuracy."""
    laps: int = 1
    time_limit_h: float = 48.0
    record_every_s: float = 1.0
    start_speed_km_h: float = 0.0


def ride_parameters(build: Build, options: RideOptions) -> Parameters:
    """Return the numbers of a bike under these options; without regen the motor never brakes.

    Raises BuildError for a throttle law that two different drives cannot be ridden by together.
    """
    fault = None if options.throttle_law is None else why_not_together(build, options.throttle_law)
    if fault is not None:
        what, _, to_do = fault[1].rpartition("; ")
        raise BuildError(fault[0], what, to_do)
    params = both_parameters(build, limits=options.limits, law=options.throttle_law, throttle=options.throttle)
    if options.regen:
        return params
    second = params.second
    return params._replace(brake_current=0.0, second=None if second is None else second._replace(brake_current=0.0))


def arrays_for(build: Build, road: Road, options: RideOptions) -> RoadArrays:
    """Return road, weather and speed plan as the step reads them."""
    return road_arrays(build, road, plan_for(build, road, options))


def plan_for(build: Build, road: Road, options: RideOptions) -> SpeedPlan:
    """Return the speed plan of a build's rider under these options."""
    rider = build.rider
    return plan_speed(
        road,
        to_si(options.cruise_speed_km_h or rider.cruise_speed_km_h, "km_h"),
        lateral_m_per_s2=rider.cornering_m_per_s2,
        braking_m_per_s2=rider.braking_m_per_s2,
        source=options.speed_source,
    )


def run(
    params: Parameters, arrays: RoadArrays, start: State, options: RideOptions, *, trace: bool,
    second: Parameters | None = None,
) -> Raw:  # fmt: skip
    """Run the compiled ride and return what it left behind; `second`: of a second drive, where `params` is a record."""
    interval = options.record_every_s
    rows, interval = _trace_size(arrays, options, interval) if trace else (0, interval)
    while True:
        raw = _run_once(params, second, arrays, start, options, rows, interval)
        if not trace or len(raw.trace) < rows:
            return raw
        interval *= 2.0


def _trace_size(arrays: RoadArrays, options: RideOptions, interval: float) -> tuple[int, float]:
    """Return rows to keep room for and the time between them, for a slow rider; `run` doubles it if they were few."""
    slow = 1.5
    seconds = arrays.length / slow * max(options.laps, 1) + float(arrays.stops["dwell"].sum()) + 600.0
    wanted = seconds / interval + options.laps + 100.0
    rows = int(min(wanted, TRACE_ROWS))
    return rows, interval * max(1, math.ceil(wanted / TRACE_ROWS / 8.0))


def pacing_of(options: RideOptions) -> Pacing:
    """Return how the ride steps on: by the accuracy asked for, or by the longest step."""
    return ACCURACIES[options.accuracy] if options.step_s is None else by_step(options.step_s)


def _run_once(
    params: Parameters, second: Parameters | None, arrays: RoadArrays, start: State, options: RideOptions, rows: int,
    interval: float,
) -> Raw:  # fmt: skip
    latest = start.time + to_si(options.time_limit_h, "h")
    return run_one(Job(params, arrays, start, pacing_of(options), options.laps, latest, second), rows, interval)


def checked(options: RideOptions) -> RideOptions:
    """Return the options if they can be ridden; raises RideError with the allowed range."""
    if options.accuracy not in ACCURACIES:
        raise RideError("accuracy", f"there is no accuracy {options.accuracy!r}", "choose draft, normal or fine")
    if options.step_s is not None:
        _within("step_s", options.step_s, SHORTEST_STEP_S, LONGEST_STEP_S, "s")
    if options.cruise_speed_km_h is not None:
        _within("cruise_speed_km_h", options.cruise_speed_km_h, 3.0, 120.0, "km/h")
    if options.throttle is not None:
        _within("throttle", options.throttle, 0.0, 1.0, "")
    _within("laps", options.laps, 1, 2_000_000_000, "")
    _within("time_limit_h", options.time_limit_h, 1e-4, 10_000.0, "h")
    _within("start_speed_km_h", options.start_speed_km_h, 0.0, 120.0, "km/h")
    if options.throttle_law not in (None, "torque", "voltage", "governor", "assist"):
        raise RideError(
            "throttle_law",
            f"there is no law {options.throttle_law!r}",
            "choose torque, voltage, governor or assist",
        )
    return options


def _within(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        allowed = f"{low:g} to {high:g} {unit}".strip()
        raise RideError(name, f"{value:g} is out of range (allowed {allowed})", "choose a value inside it")
