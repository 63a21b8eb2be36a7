"""The road at one place, and the speed planned there.

Legend: x distance along the lap [m], `share` the place between two nodes (0 to 1), plan speeds in m/s and their squares
in m2/s2, accelerations in m/s2.
"""

from __future__ import annotations

import math

from ridesim.engine.state import Here, Parameters, RoadArrays, State
from ridesim.jit import inner_kernel


@inner_kernel
def _mix(before: float, after: float, share: float) -> float:
    return before + (after - before) * share


@inner_kernel
def _cubic(before: float, after: float, slope_before: float, slope_after: float, share: float) -> float:
    """Return the cubic with these values and slopes (per spacing) at both nodes: Hermite's form."""
    left = 1.0 - share
    rise = after - before
    bend = share * left * (left * (slope_before - rise) - share * (slope_after - rise))
    return before + rise * share + bend


@inner_kernel
def mean_sine(road: RoadArrays, x: float, end: float) -> float:
    """Return the mean of the slope's sine from x to end [m]: exact for sines that run straight between nodes.

    So a step takes the height that lies in it, however many nodes it passes.
    """
    place = min(max(x, 0.0), road.length) * road.per_spacing
    last = min(max(end, 0.0), road.length) * road.per_spacing
    index = min(int(place), road.nodes.size - 2)
    start, risen = place, 0.0
    while last > index + 1.0 and index < road.nodes.size - 2:
        risen += (index + 1.0 - place) * _sine(road, index, 0.5 * (place + index + 1.0))
        index += 1
        place = float(index)
    middle = _sine(road, index, 0.5 * (place + last))
    if start == place:
        return middle
    return (risen + (last - place) * middle) / (last - start)


@inner_kernel
def _sine(road: RoadArrays, index: int, place: float) -> float:
    return _mix(road.nodes[index].sin_theta, road.nodes[index + 1].sin_theta, place - index)


@inner_kernel
def read_road(road: RoadArrays, p: Parameters, s: State, x: float, end: float, lap_time: float) -> Here:
    """Return the road and the planned speed at distance x [m]; the slope: its mean from the state's place to `end`."""
    place = min(max(x, 0.0), road.length) * road.per_spacing
    index = min(int(place), road.nodes.size - 2)
    share = min(place - index, 1.0)
    a, b = road.nodes[index], road.nodes[index + 1]
    for_stop = False
    if road.cycle_speed.size > 1:
        plan, plan_acceleration = _cycle_plan(road, lap_time)
    else:
        square = _cubic(a.plan_square, b.plan_square, a.plan_slope, b.plan_slope, share)
        plan_acceleration = _cubic(a.plan_braking, b.plan_braking, 0.0, 0.0, share)
        to_stop = square_to_stop(road, p, s, x)
        if to_stop < square:
            square, plan_acceleration, for_stop = to_stop, -p.braking, True
        plan = math.sqrt(square)
        if plan > p.pace:
            plan, plan_acceleration, for_stop = p.pace, 0.0, False
    return Here(
        sin_theta=mean_sine(road, s.distance, end),
        cos_theta=_mix(a.cos_theta, b.cos_theta, share),
        air_density=_mix(a.air_density, b.air_density, share),
        air_temp=_mix(a.air_temp, b.air_temp, share),
        headwind=_mix(a.headwind, b.headwind, share),
        crosswind=_mix(a.crosswind, b.crosswind, share),
        rolling=_mix(a.rolling, b.rolling, share),
        pedal_power=_mix(a.pedal_power, b.pedal_power, share) + p.walker_power,
        plan_speed=plan,
        plan_acceleration=plan_acceleration,
        for_stop=for_stop,
    )


@inner_kernel
def _cycle_plan(road: RoadArrays, lap_time: float) -> tuple[float, float]:
    place = lap_time / road.cycle_step
    index = min(int(place), road.cycle_speed.size - 2)
    share = min(place - index, 1.0)
    slope = (road.cycle_speed[index + 1] - road.cycle_speed[index]) / road.cycle_step
    return _mix(road.cycle_speed[index], road.cycle_speed[index + 1], share), slope


@inner_kernel
def square_to_stop(road: RoadArrays, p: Parameters, s: State, x: float) -> float:
    """Return the square of the speed from which planned braking ends at the next stop [m2/s2]; inf without one."""
    if s.stop_index >= road.stops.size:
        return math.inf
    return 2.0 * p.braking * max(road.stops[s.stop_index].at - x, 0.0)


@inner_kernel
def altitude_at(road: RoadArrays, x: float) -> float:
    """Return the altitude at distance x [m]."""
    place = min(max(x, 0.0), road.length) * road.per_spacing
    index = min(int(place), road.nodes.size - 2)
    return _mix(road.nodes[index].altitude, road.nodes[index + 1].altitude, min(place - index, 1.0))
