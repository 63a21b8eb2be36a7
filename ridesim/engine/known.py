"""What is known to happen to a ride: a step ends there instead of looking for it.

Corners of a clock plan, the place where the plan starts to brake for a stop, the ends of a dwell and of a shift.
Legend: lengths of steps in s, places in m along the lap, v speed [m/s].
"""

from __future__ import annotations

import math

from ridesim.engine.state import Parameters, RoadArrays, State
from ridesim.jit import inner_kernel


@inner_kernel
def to_corner(road: RoadArrays, s: State, length: float) -> float:
    """Return a step's length, or what is left to the corner of a clock plan that it would pass [s]."""
    if road.cycle_speed.size <= 1:
        return length
    left = road.cycle_step - s.lap_time % road.cycle_step
    if left <= SHORTEST_SHARE * road.cycle_step:
        left += road.cycle_step
    return min(length, left)


@inner_kernel
def time_to_braking(road: RoadArrays, p: Parameters, s: State, length: float) -> float:
    """Return a step's length, or what is left to where the plan starts to brake for the next stop [s], if less."""
    if s.stop_index >= road.stops.size:
        return length
    left = road.stops[s.stop_index].braked_from - s.distance
    if left <= AT_A_CORNER_M or left > (s.speed + max(s.acceleration, 0.0) * length) * length or p.on_foot:
        return length
    return min(length, time_to(left, s.speed, s.acceleration))


@inner_kernel
def time_past_braking(road: RoadArrays, p: Parameters, before: State, after: State) -> float:
    """Return after how much of a step it passed where the plan starts to brake for the next stop [s]; inf if not.

    `time_to_braking` reckons with the acceleration that was, and a long step may have another.
    """
    if before.stop_index >= road.stops.size or p.on_foot:
        return math.inf
    place = road.stops[before.stop_index].braked_from
    if before.distance >= place - AT_A_CORNER_M or after.distance <= place + AT_A_CORNER_M:
        return math.inf
    return time_to(place - before.distance, before.speed, after.acceleration)


AT_A_CORNER_M = 1e-3
"""A bike this close to the place where its plan brakes for a stop is there [m]."""

SHORTEST_SHARE = 1e-9
"""What is left of a stretch below this share of it is rounding."""


@inner_kernel
def time_to(left: float, v: float, acceleration: float) -> float:
    """Return the time after which `left` metres are ridden under a held acceleration [s]: left = v t + a t^2/2."""
    return 2.0 * left / (v + math.sqrt(max(v * v + 2.0 * acceleration * left, 0.0)))


@inner_kernel
def to_known(road: RoadArrays, p: Parameters, s: State, length: float, left: float) -> float:
    """Return a step's length, or what is left to what is known beforehand [s].

    That is a corner of the plan, where braking for a stop begins, the end of a dwell or of a shift.

    left: to the end of patience [s].
    """
    span = min(to_corner(road, s, length), time_to_braking(road, p, s, length), left)
    if s.dwell_left > 0.0:
        span = min(span, max(s.dwell_left, SHORTEST_SHARE))
    if s.shift_left > 0.0:
        span = min(span, max(s.shift_left, SHORTEST_SHARE))
    return span
