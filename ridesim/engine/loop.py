"""One ride: steps until the road, the pack or the patience ends, with every figure taken at every step.

Legend: dt and all lengths of steps in s, distances in m, speeds in m/s, currents in A.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ridesim.engine.circuit import fade_over
from ridesim.engine.here import square_to_stop
from ridesim.engine.state import Here, Limit, Outcome, Parameters, Pull, RoadArrays, State, Stop
from ridesim.engine.step import step
from ridesim.engine.tally import LIMITS, book, count_limit, keep_extremes, record, start_totals, tally
from ridesim.jit import inner_kernel, kernel

STALL_PATIENCE = 10.0
"""Time without movement, wanting to move, after which a ride counts as stuck [s]."""

STALL_SPEED = 0.05
"""Speed below which a bike counts as not moving [m/s]."""

LOW_VOLTAGE_SHARE = 0.02
"""Share of the motor current left by the low-voltage foldback at which the pack counts as done."""

SHARPER = 7.0
"""A step in which a limit or braking starts or ends is taken again so many times shorter: peaks live there."""

HOLD_STEPS = int(SHARPER)
"""So many steps are as short as the first: together one of those that were divided."""

FINEST_SHARE = 0.02
"""The shortest such step, as a share of the step."""

WIDER = 2.0
"""After a switch each step may be so many times longer than the one before."""

DWELL_STEPS = 10
"""How many steps long a step is at most while the bike stands at a stop."""

CALM_STEPS = 10
"""So many steps without a switch and with hardly any acceleration, and the next step is twice as long."""

CALM_ACCELERATION = 0.1
"""What counts as hardly any acceleration [m/s2]: the step's error falls with its square."""

BEND_SHARE = 0.25
"""The longest step, as a share of the step, while the plan brakes for a bend: the current is a pulse with a peak."""

SHORTEST_SHARE = 1e-9
"""Least share of a step that is ridden to a lap's end, so that no step has zero length."""


class Pace(NamedTuple):
    """How the ride steps on."""

    length: float  # of the next step [s]
    hold: int  # steps before it may grow again
    calm: int  # steady steps behind


@inner_kernel
def why_stop(p: Parameters, s: State, pull: Pull, out: Outcome, stuck: float, latest: float) -> Stop:
    """Return the stop code after a step, or RUNNING."""
    if not (math.isfinite(s.speed) and math.isfinite(s.winding_temp) and math.isfinite(out.pack_voltage)):
        return Stop.NOT_FINITE
    if s.charge <= p.charge_floor:
        return Stop.PACK_EMPTY
    if out.pack_voltage <= p.cut_off_voltage:
        return Stop.LOW_VOLTAGE
    if p.limits_on and p.low_voltage_start > p.low_voltage_end:
        span = p.low_voltage_start - p.low_voltage_end
        if out.pack_voltage <= p.low_voltage_end + LOW_VOLTAGE_SHARE * span:
            return Stop.LOW_VOLTAGE
    if stuck > STALL_PATIENCE:
        return Stop.LOW_VOLTAGE if pull.limit == Limit.LOW_VOLTAGE else Stop.STALLED
    if s.winding_temp > p.winding_stop:
        return Stop.OVER_TEMPERATURE
    if s.time >= latest:
        return Stop.TIME_LIMIT
    return Stop.RUNNING


@inner_kernel
def regime_of(pull: Pull, here: Here) -> int:
    """Return a number that changes when a bound, braking or the plan's own braking starts or ends."""
    regime = pull.limit + LIMITS * pull.tyre_limit
    if pull.wanted > 0.0:
        regime += LIMITS * LIMITS
    if here.for_stop:
        regime += 2 * LIMITS * LIMITS
    return regime


@inner_kernel
def beyond(pull: Pull) -> float:
    """Return how far the asked current passes the limit [A]."""
    return abs(pull.asked) - abs(pull.current)


@inner_kernel
def about_to_switch(
    p: Parameters, road: RoadArrays, after: State, pull: Pull, here: Here, falling: float, fell: float, dt: float
) -> bool:
    """Return whether the next step will leave a limit, or start to brake for a stop.

    `falling` is how fast the asked current comes back to the limit [A/s] and `fell` how fast it did a step ago; both
    are drawn on for one step of dt.
    """
    if pull.limit != Limit.NONE and beyond(pull) <= dt * (falling + max(falling - fell, 0.0)):
        return True
    if here.for_stop or road.cycle_speed.size > 1 or after.dwell_left > 0.0:
        return False
    ahead = after.distance + 0.5 * dt * after.speed
    return square_to_stop(road, p, after, ahead) < here.plan_speed * here.plan_speed


@inner_kernel
def paced(pace: Pace, here: Here, switches: bool, after: State, dt: float) -> Pace:
    """Return how the ride steps on after a step of the pace's own length.

    Steps that have grown back end on whole multiples of dt again, double ones on even multiples, so that the trace has
    even times.
    """
    hold = max(pace.hold - 1, int(switches))
    steady = pace.length >= dt and abs(after.acceleration) <= CALM_ACCELERATION
    calm = pace.calm + 1 if steady else 0
    if hold > 0:
        return Pace(length=pace.length, hold=hold, calm=calm)
    doubled = calm >= CALM_STEPS and abs(after.time / (2.0 * dt) % 1.0 - 0.5) > 0.25
    longer = min(WIDER * pace.length, 2.0 * dt if doubled else dt)
    if here.plan_acceleration < 0.0 and not here.for_stop:
        return Pace(length=min(longer, BEND_SHARE * dt), hold=0, calm=calm)
    if pace.length <= 0.5 * dt < longer:
        past = after.time / dt % 1.0
        longer = dt * (1.0 - past if past <= 0.5 else 2.0 - past)
    return Pace(length=longer, hold=0, calm=calm)


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
def lap_share(road: RoadArrays, before: State, after: State) -> float:
    """Return the share of the step after which the lap ends, or 2 if it goes on."""
    if road.cycle_speed.size > 1:
        end = road.cycle_step * (road.cycle_speed.size - 1)
        if after.lap_time < end:
            return 2.0
        return (end - before.lap_time) / (after.lap_time - before.lap_time)
    if after.distance < road.length:
        return 2.0
    return (road.length - before.distance) / (after.distance - before.distance)


@kernel
def restart(s: State) -> State:
    """Return the state at the road's start again: everything but place, lap clock and stops is kept."""
    return State(
        time=s.time,
        lap_time=0.0,
        distance=0.0,
        speed=s.speed,
        acceleration=s.acceleration,
        charge=s.charge,
        polarisation=s.polarisation,
        winding_temp=s.winding_temp,
        body_temp=s.body_temp,
        controller_temp=s.controller_temp,
        pack_temp=s.pack_temp,
        rotor_energy=s.rotor_energy,
        cooling_speed=s.cooling_speed,
        cooling=s.cooling,
        dwell_left=0.0,
        stop_index=0,
    )


@kernel
def ride(
    p: Parameters, road: RoadArrays, s: State, dt: float, laps: int, latest: float, every: int,
    trace: np.ndarray, totals: np.ndarray, ledger: np.ndarray, limit_seconds: np.ndarray, limit_first: np.ndarray,
    brake_by_limit: np.ndarray, halt: np.ndarray,
) -> tuple[State, Stop, int]:  # fmt: skip
    """Ride a road `laps` times from state s; return the last state, the stop code and the rows written.

    dt [s] is the step: a limit or braking that starts or ends divides it, calm riding doubles it. latest: time at which
    patience ends [s]; every: steps a row. trace (rows, channels), totals, ledger [J], limit_seconds [s], limit_first
    [m] and brake_by_limit (friction brake energy by the limit that kept the motor from braking, J) are filled in place;
    no trace is kept where it has no rows. halt is read after every step: another thread ends the ride by setting it.
    """
    start_totals(totals, s)
    pace, over = Pace(length=dt, hold=0, calm=0), fade_over(p, dt)
    rows, lap, regime, code, fresh = 0, 0, -1, Stop.RUNNING, True
    stuck, ridden, passed, fell, next_row = 0.0, 0.0, 0.0, 0.0, s.time + every * dt
    while code == Stop.RUNNING:
        before, given, cut = over.step, s.dwell_left > 0.0, False
        span = min(s.dwell_left, DWELL_STEPS * dt) if given else to_corner(road, s, pace.length)
        while True:
            if span != over.step:
                over = fade_over(p, span)
            after, pull, out, here = step(p, road, s, over)
            now = regime_of(pull, here)
            share = lap_share(road, s, after)
            falling = 2.0 * (passed - beyond(pull)) / (before + span)
            if given:
                break
            switches = now != regime or about_to_switch(p, road, after, pull, here, falling, fell, span)
            if switches and span > FINEST_SHARE * dt:
                span = max(span / SHARPER, FINEST_SHARE * dt)
                pace = Pace(length=span, hold=HOLD_STEPS, calm=0)
            elif share < 1.0:
                given, cut, span = True, True, span * max(share, SHORTEST_SHARE)
            elif s.speed > 0.0 and after.speed == 0.0 and out.moving < span:
                given, span = True, max(out.moving, span * SHORTEST_SHARE)
            else:
                pace = paced(pace, here, switches, after, dt)
                break
        regime, passed, fell = now, beyond(pull), falling
        ridden += out.travelled
        book(ledger, p, pull, out, span)
        tally(totals, p, after, pull, out, here, ridden, span)
        count_limit(limit_seconds, limit_first, pull.limit, ridden, span)
        count_limit(limit_seconds, limit_first, pull.tyre_limit, ridden, span)
        brake_by_limit[pull.limit] += pull.brake_force * out.travelled
        stuck = stuck + span if pull.wanted > 0.0 and after.speed < STALL_SPEED else 0.0
        ends = cut or share <= 1.0
        lap += ends
        code = why_stop(p, after, pull, out, stuck, latest)
        if code == Stop.RUNNING and lap >= laps:
            code = Stop.FINISHED
        if code == Stop.RUNNING and halt[0] != 0:
            code = Stop.INTERRUPTED
        if rows < trace.shape[0]:
            keep_extremes(trace[rows], pull, out, fresh)
            fresh = False
            if after.time >= next_row - 0.5 * span or code != Stop.RUNNING or cut:
                record(trace[rows], p, road, after, pull, out, here, ridden)
                rows, next_row, fresh = rows + 1, after.time + every * dt, True
        s = restart(after) if ends else after
    return s, code, rows
