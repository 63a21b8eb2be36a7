"""The road at one place, and the speed planned there."""

from __future__ import annotations

import math

from ridesim.engine.state import Here, Parameters, RoadArrays, State
from ridesim.jit import kernel


@kernel
def _mix(values, index, share):  # type: ignore[no-untyped-def]
    return values[index] + (values[index + 1] - values[index]) * share


@kernel
def read_road(road: RoadArrays, p: Parameters, s: State, x: float, lap_time: float) -> Here:
    """Return the road at distance x [m], with the speed planned there (braking to the next stop included)."""
    place = min(max(x, 0.0), road.length) / road.spacing
    index = min(int(place), road.sin_theta.size - 2)
    share = min(place - index, 1.0)
    sin_theta = _mix(road.sin_theta, index, share)
    if road.cycle_speed.size > 1:
        plan, plan_acceleration = _cycle_plan(road, lap_time)
    else:
        plan, plan_acceleration = _distance_plan(road, p, s, x, index, share)
    return Here(
        sin_theta,
        math.sqrt(1.0 - sin_theta * sin_theta),
        _mix(road.air_density, index, share),
        _mix(road.air_temp, index, share),
        _mix(road.headwind, index, share),
        _mix(road.crosswind, index, share),
        _mix(road.rolling, index, share),
        plan,
        plan_acceleration,
    )


@kernel
def _cycle_plan(road: RoadArrays, lap_time: float) -> tuple[float, float]:
    place = lap_time / road.cycle_step
    index = min(int(place), road.cycle_speed.size - 2)
    share = min(place - index, 1.0)
    slope = (road.cycle_speed[index + 1] - road.cycle_speed[index]) / road.cycle_step
    return _mix(road.cycle_speed, index, share), slope


@kernel
def _distance_plan(
    road: RoadArrays, p: Parameters, s: State, x: float, index: int, share: float
) -> tuple[float, float]:
    square = _mix(road.plan_square, index, share)
    slope = 0.5 * (road.plan_square[index + 1] - road.plan_square[index]) / road.spacing
    acceleration = min(slope, 0.0)
    if s.stop_index < road.stop_at.size:
        to_stop = 2.0 * p.braking * max(road.stop_at[s.stop_index] - x, 0.0)
        if to_stop < square:
            square = to_stop
            acceleration = -p.braking
    return math.sqrt(square), acceleration


@kernel
def plan_brakes_at(road: RoadArrays, p: Parameters, s: State, x: float) -> bool:
    """Return whether the speed plan brakes at distance x [m]: for a stop ahead, or for a slower stretch."""
    place = min(max(x, 0.0), road.length) / road.spacing
    index = min(int(place), road.plan_square.size - 2)
    if road.plan_square[index + 1] < road.plan_square[index]:
        return True
    if s.stop_index >= road.stop_at.size:
        return False
    return 2.0 * p.braking * (road.stop_at[s.stop_index] - x) < _mix(road.plan_square, index, min(place - index, 1.0))


@kernel
def altitude_at(road: RoadArrays, x: float) -> float:
    """Return the altitude at distance x [m]."""
    place = min(max(x, 0.0), road.length) / road.spacing
    index = min(int(place), road.altitude.size - 2)
    return _mix(road.altitude, index, min(place - index, 1.0))
