"""The rider on foot: where a bike is pushed up a ramp that it cannot climb, and the bike's numbers while it is pushed.

A pushed bike is stepped as a ridden one is, with other numbers: without its rider, who carries himself, the motor off,
the walker's push in place of the pedals'. So the step knows nothing of it, and takes no longer.

Legend: x distance along the lap [m], forces on the bike in N.
"""

from __future__ import annotations

import numpy as np

from ridesim.engine.pair import Second
from ridesim.engine.state import Law, Limit, Parameters, Pull, RoadArrays, State
from ridesim.jit import if_none, inner_kernel, rare_kernel
from ridesim.physics import drive, motor, resistance
from ridesim.physics.rider import SLOWEST_PEDALLING

GET_OFF_AFTER = 3.0
"""Time without movement, wanting to move, after which a rider gets off [s] (guess)."""

EASY_M = 5.0
"""A rider gets on again where the bike can ride this far, at least [m] (guess): not for a step in the ramp."""

LOOK_EVERY_M = 1.0
"""How closely the road ahead is looked at [m]."""

START_M_PER_S2 = 0.1
"""The acceleration with which a bike must be able to ride on for its rider to get on again [m/s2] (guess)."""

MOUNTED_M = 1e-3
"""This close to where the rider gets on, he is on [m]."""

TOO_LONG, TOO_STEEP = -1.0, -2.0
"""In place of a place to get on again: why a bike is not pushed there."""


@inner_kernel
def gets_off(p: Parameters, road: RoadArrays, s: State, pull: Pull, stuck: float, span: float) -> bool:
    """Return whether a rider who is `stuck` for so long since the last step of `span` [s] looks whether to push now.

    An empty pack is no ramp; on a cycle the clock drives.
    """
    if stuck <= GET_OFF_AFTER or stuck - span > GET_OFF_AFTER or p.push_length <= 0.0 or p.on_foot:
        return False
    return s.shift_left <= 0.0 and pull.limit != Limit.LOW_VOLTAGE and road.cycle_speed.size <= 1


@inner_kernel
def drag_on_foot(p: Parameters) -> float:
    """Return what the bearings, and a motor that turns with the wheel, hold a walker back with [N]."""
    bearing = resistance.bearing_drag(p.push_speed)
    if p.freewheel:
        return bearing
    iron = motor.iron_torque(p.tau_0, p.tau_1, p.push_speed * p.turned)
    return bearing - drive.wheel_force(
        -iron, p.stage_drag_driving, p.stage_drag_braking, p.driving_gain, p.braking_gain
    )


@inner_kernel
def start_of_ramp(p: Parameters, x: float, pushed_to: float, ramp_from: float) -> float:
    """Return where the ramp began that a bike is stuck on [m]: what is pushed twice within a ramp's length is one."""
    return x if x - pushed_to > p.push_length else ramp_from


@rare_kernel
def place_to_mount(p: Parameters, road: RoadArrays, x: float, pull: Pull, left: float) -> float:
    """Return the place to push a bike to that is stuck at x [m]; TOO_LONG beyond `left` [m], TOO_STEEP for a walker.

    It is the first from which the force that the bike has now takes it `EASY_M` on, or the road's end.
    """
    force = pull.motor_force + pull.pedal_force
    start, easy_from, pushing = x, -1.0, p.push_force - drag_on_foot(p)
    while x < road.length and (easy_from < 0.0 or x - easy_from < EASY_M):
        if x - start > left + EASY_M:
            return TOO_LONG
        place = min(max(x, 0.0), road.length) * road.per_spacing
        index = min(int(place), road.nodes.size - 2)
        share = min(place - index, 1.0)
        a, b = road.nodes[index], road.nodes[index + 1]
        sine = a.sin_theta + (b.sin_theta - a.sin_theta) * share
        cosine = a.cos_theta + (b.cos_theta - a.cos_theta) * share
        weight = sine + cosine * (a.rolling + (b.rolling - a.rolling) * share)
        riding = resistance.grade_force(p.mass, weight) + resistance.BEARING_STILL_N
        if riding + START_M_PER_S2 * p.mass_driving <= force:
            easy_from = x if easy_from < 0.0 else easy_from
        elif resistance.grade_force(p.mass - p.rider_mass, weight) > pushing:
            return TOO_STEEP
        else:
            easy_from = -1.0
        x += LOOK_EVERY_M
    to = easy_from if easy_from >= 0.0 else road.length
    return to if MOUNTED_M < to - start <= left else TOO_LONG


@rare_kernel
def on_foot(p: Parameters, into: np.ndarray) -> None:
    """Write the numbers of the bike while it is pushed into a row, (1,): see the head of this module."""
    into[0] = p
    walked = into[0]
    walked.on_foot = True
    walked.mass = p.mass - p.rider_mass
    walked.mass_coasting = p.mass_coasting - p.rider_mass
    walked.mass_driving = p.mass_driving - p.rider_mass
    walked.per_mass_coasting = 1.0 / walked.mass_coasting
    walked.per_mass_driving = 1.0 / walked.mass_driving
    walked.pace = p.push_speed
    walked.walker_power = p.push_force * max(p.push_speed, SLOWEST_PEDALLING)
    walked.pedal_force_bound = p.push_force
    walked.pedal_efficiency = 1.0
    # The assist law of nothing: a motor that is off holds nobody back, and no limit of its is told.
    walked.law = Law.ASSIST + 0  # an integer: the compiler puts no enum member into a record
    walked.assist_factor = 0.0
    walked.brake_current = 0.0
    walked.field_current = 0.0
    # The gear stays in, and no chain is pulled.
    walked.gears = 1
    walked.through_chain = False
    walked.input_per_force = 0.0


@inner_kernel
def _one_on_foot(second: None, p: Parameters, into: np.ndarray) -> None:
    on_foot(p, into)


@rare_kernel
def _both_on_foot(second: Second, p: Parameters, into: np.ndarray) -> None:
    """Write the numbers of both drives while the bike is pushed into their rows."""
    on_foot(p, into)
    on_foot(second.bike[0], second.bike[1:])


all_on_foot = if_none(_one_on_foot, _both_on_foot)
