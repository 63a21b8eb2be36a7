"""The speed plan: how fast a careful rider would go at each place, before the bike has its say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RoadError
from ridesim.road.profile import Road, SpeedCycle, Stop

RECORDED_FLOOR_M_PER_S = 1.0  # guess: walking beside the bike; standing still is a stop of its own
CYCLE_STEP_S = 1.0
FINE_CYCLE_STEP_S = 0.1
SOURCES = ("plan", "recorded")

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class SpeedPlan:
    """Planned speed at the road's nodes, (n,), stops left out; the stops in order, (k,); a clock plan or empty."""

    speed_m_per_s: Array
    stop_distance_m: Array
    stop_dwell_s: Array
    cycle_time_s: Array
    cycle_speed_m_per_s: Array
    braking_m_per_s2: float


def plan_speed(
    road: Road,
    cruise_m_per_s: float,
    *,
    lateral_m_per_s2: float = 2.0,
    braking_m_per_s2: float = 1.5,
    source: str = "plan",
) -> SpeedPlan:
    """Return the speed plan of a road.

    "plan" is the lowest of cruise speed, limits and bends; "recorded" is the recording's own speed, with its
    pauses as stops. Both are lowered ahead of slow places so that braking never passes `braking_m_per_s2`.
    Raises RoadError for numbers that are not above zero, or a recording without times.
    """
    _refuse(road, cruise_m_per_s, lateral_m_per_s2, braking_m_per_s2, source)
    if source == "recorded" and road.recorded_speed_m_per_s is not None:
        wanted, stops = np.maximum(road.recorded_speed_m_per_s, RECORDED_FLOOR_M_PER_S), road.recorded_pauses
    else:
        wanted, stops = wanted_speed(road, cruise_m_per_s, lateral_m_per_s2), road.stops
    time, speed = _clock_plan(road.cycle)
    distance, dwell = _sorted_stops(stops)
    return SpeedPlan(braked(wanted, road.spacing_m, braking_m_per_s2), distance, dwell, time, speed, braking_m_per_s2)


def wanted_speed(road: Road, cruise_m_per_s: float, lateral_m_per_s2: float) -> Array:
    """Return the lowest of cruise speed, speed limit and bend speed sqrt(lateral / curvature) at the nodes."""
    fastest = max(cruise_m_per_s, float(road.cycle.speed_m_per_s.max())) if road.cycle else cruise_m_per_s
    straightest = lateral_m_per_s2 / fastest**2
    bend = np.sqrt(lateral_m_per_s2 / np.maximum(road.curvature_per_m, straightest))
    return np.minimum(bend, road.speed_limit_m_per_s)


def braked(speed_m_per_s: Array, spacing_m: float, braking_m_per_s2: float) -> Array:
    """Return the speeds lowered so that v^2 falls by at most 2 a per metre: the backward pass, in one sweep."""
    ramp = 2.0 * braking_m_per_s2 * spacing_m * np.arange(len(speed_m_per_s))
    lowest_ahead = np.minimum.accumulate((speed_m_per_s**2 + ramp)[::-1])[::-1]
    return np.minimum(speed_m_per_s, np.sqrt(np.maximum(lowest_ahead - ramp, 0.0)))


def _sorted_stops(stops: tuple[Stop, ...]) -> tuple[Array, Array]:
    """Return places and dwells in order; stops at one place become one."""
    dwell: dict[float, float] = {}
    for stop in stops:
        dwell[stop.distance_m] = dwell.get(stop.distance_m, 0.0) + stop.dwell_s
    places = sorted(dwell)
    return np.array(places, dtype=np.float64), np.array([dwell[place] for place in places], dtype=np.float64)


def _clock_plan(cycle: SpeedCycle | None) -> tuple[Array, Array]:
    """Return a speed-time cycle on a uniform clock: as given, else every second, else every tenth of one."""
    if cycle is None:
        return np.empty(0), np.empty(0)
    step = np.diff(cycle.time_s)
    if np.allclose(step, step[0], rtol=0.0, atol=1e-9):
        return cycle.time_s.copy(), cycle.speed_m_per_s.copy()
    whole = bool(np.all(cycle.time_s == np.round(cycle.time_s)))
    spacing = CYCLE_STEP_S if whole else FINE_CYCLE_STEP_S
    span = float(cycle.time_s[-1] - cycle.time_s[0])
    time = np.linspace(0.0, span, max(1, round(span / spacing)) + 1) + cycle.time_s[0]
    return time, np.interp(time, cycle.time_s, cycle.speed_m_per_s)


def _refuse(road: Road, cruise: float, lateral: float, braking: float, source: str) -> None:
    named = (("cruise speed", cruise, "m/s"), ("lateral acceleration", lateral, "m/s²"), ("braking", braking, "m/s²"))
    for name, value, unit in named:
        if not (value > 0.0 and np.isfinite(value)):
            raise RoadError("speed plan", f"{name} is {value:g} {unit}, must be above zero", "give a positive number")
    if source not in SOURCES:
        raise RoadError(
            "speed plan", f"unknown source ({source!r}, allowed {', '.join(SOURCES)})", "choose one of them"
        )
    if source == "recorded" and road.recorded_speed_m_per_s is None:
        what = "the road has no recorded times to ride by"
        raise RoadError(road.source, what, "use a recording with times, or the plan from cruise speed")
