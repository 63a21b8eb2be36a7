"""One ride: steps until the road, the pack or the patience ends, with every figure taken at every step."""

from __future__ import annotations

import math

import numpy as np

from ridesim.engine.here import brakes_for_stop_at
from ridesim.engine.state import Here, Limit, Outcome, Parameters, Pull, RoadArrays, State, Stop
from ridesim.engine.step import fade_over, step
from ridesim.engine.tally import LIMITS, book, count_limit, keep_extremes, record, start_totals, tally
from ridesim.jit import kernel

STALL_PATIENCE = 10.0
"""Time without movement, wanting to move, after which a ride counts as stuck [s]."""

STALL_SPEED = 0.05
"""Speed below which a bike counts as not moving [m/s]."""

LOW_VOLTAGE_SHARE = 0.02
"""Share of the motor current left by the low-voltage foldback at which the pack counts as done."""

FINE_STEPS = 24
"""Into how many a step is divided where a limit, or braking, starts or ends inside it: peaks live there."""

DWELL_STEPS = 10
"""How many steps long a step is at most while the bike stands at a stop."""

CALM_STEPS = 10
"""So many steps without a switch and with hardly any acceleration, and the next step is twice as long."""

CALM_ACCELERATION = 0.05
"""What counts as hardly any acceleration [m/s2]: the step's error falls with its square."""

SHORTEST_SHARE = 1e-9
"""Least share of a step that is ridden to a lap's end, so that no step has zero length."""


# Plain integers for the compiled code: an enum member is an object there.
_RUNNING, _FINISHED, _PACK_EMPTY, _LOW, _STALLED, _HOT, _LATE, _NOT_FINITE = (int(member) for member in Stop)
_LIMIT_LOW_VOLTAGE = int(Limit.LOW_VOLTAGE)


@kernel
def why_stop(p: Parameters, s: State, pull: Pull, out: Outcome, stuck: float, latest: float) -> int:
    """Return the stop code after a step, or RUNNING."""
    if not (math.isfinite(s.speed) and math.isfinite(s.winding_temp) and math.isfinite(out.pack_voltage)):
        return _NOT_FINITE
    if s.charge <= p.charge_floor:
        return _PACK_EMPTY
    if out.pack_voltage <= p.cut_off_voltage:
        return _LOW
    if p.limits_on and p.low_voltage_start > p.low_voltage_end:
        span = p.low_voltage_start - p.low_voltage_end
        if out.pack_voltage <= p.low_voltage_end + LOW_VOLTAGE_SHARE * span:
            return _LOW
    if stuck > STALL_PATIENCE:
        return _LOW if pull.limit == _LIMIT_LOW_VOLTAGE else _STALLED
    if s.winding_temp > p.winding_stop:
        return _HOT
    if s.time >= latest:
        return _LATE
    return _RUNNING


@kernel
def regime_of(pull: Pull, here: Here) -> int:
    """Return a number that changes when a bound, braking or the plan's own braking starts or ends."""
    regime = pull.limit + LIMITS * pull.tyre_limit
    if pull.wanted > 0.0:
        regime += LIMITS * LIMITS
    if here.for_stop:
        regime += 2 * LIMITS * LIMITS
    return regime


@kernel
def about_to_switch(
    p: Parameters, road: RoadArrays, after: State, pull: Pull, here: Here, margin: float, dt: float
) -> bool:
    """Return whether the next step will leave a limit, or start to brake for a stop, or brakes for a bend.

    `margin` is how far the asked current passed the limit one step ago [A]; its trend is drawn on for one step.
    """
    if pull.limit != 0 and 2.0 * (abs(pull.asked) - abs(pull.current)) <= margin:
        return True
    if road.cycle_speed.size > 1 or after.dwell_left > 0.0:
        return False
    if here.plan_acceleration < 0.0 and not here.for_stop:
        return True
    ahead = after.distance + 0.5 * dt * after.speed
    return brakes_for_stop_at(road, p, after, ahead) != here.for_stop


@kernel
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
        s.time, 0.0, 0.0, s.speed, s.acceleration, s.charge, s.polarisation, s.winding_temp, s.body_temp,
        s.controller_temp, s.pack_temp, s.rotor_energy, s.cooling_speed, s.cooling, 0.0, 0,
    )  # fmt: skip


@kernel
def ride(
    p: Parameters, road: RoadArrays, s: State, dt: float, laps: int, latest: float, every: int,
    trace: np.ndarray, totals: np.ndarray, ledger: np.ndarray, limit_seconds: np.ndarray, limit_first: np.ndarray,
    brake_by_limit: np.ndarray,
) -> tuple[State, int, int]:  # fmt: skip
    """Ride a road `laps` times from state s; return the last state, the stop code and the rows written.

    dt [s] is the step where something happens: a limit or braking that starts or ends divides it, calm riding doubles
    it. latest: time at which patience ends [s]; every: steps a row. trace (rows, channels), totals, ledger [J],
    limit_seconds [s], limit_first [m] and brake_by_limit (friction brake energy by the limit that kept the motor from
    braking, J) are filled in place; no trace is kept where it has no rows.
    """
    start_totals(totals, s)
    # A clock plan has its corners at full steps: a double one would pass them.
    longest = dt if road.cycle_speed.size > 1 else 2.0 * dt
    twice, whole, fine = fade_over(p, longest), fade_over(p, dt), fade_over(p, dt / FINE_STEPS)
    rows, lap, fine_left, calm, regime, code, fresh = 0, 0, 0, 0, -1, _RUNNING, True
    stuck, ridden, margin, next_row = 0.0, 0.0, 0.0, s.time + every * dt
    while code == _RUNNING:
        dwelling = s.dwell_left > 0.0
        over = fade_over(p, min(s.dwell_left, DWELL_STEPS * dt)) if dwelling else whole
        if not dwelling and (fine_left > 0 or calm >= CALM_STEPS):
            over = fine if fine_left > 0 else twice
        cut, halted = False, False
        while True:
            after, pull, out, here = step(p, road, s, over)
            now = regime_of(pull, here)
            share = lap_share(road, s, after)
            switches = now != regime or about_to_switch(p, road, after, pull, here, margin, dt)
            if switches and fine_left == 0 and over.step >= dt and not dwelling:
                fine_left, over = FINE_STEPS + round(over.step / fine.step), fine
            elif share < 1.0 and not cut:
                cut, over = True, fade_over(p, over.step * max(share, SHORTEST_SHARE))
            elif s.speed > 0.0 and after.speed == 0.0 and out.moving < over.step and not halted:
                halted, over = True, fade_over(p, max(out.moving, over.step * SHORTEST_SHARE))
            else:
                break
        steady = fine_left == 0 and abs(after.acceleration) <= CALM_ACCELERATION
        calm = calm + 1 if steady else 0
        regime, margin = now, abs(pull.asked) - abs(pull.current)
        fine_left = max(fine_left - 1, 0)
        h = over.step
        ridden += out.travelled
        book(ledger, p, pull, out, h)
        tally(totals, p, after, pull, out, ridden, h)
        count_limit(limit_seconds, limit_first, pull.limit, ridden, h)
        count_limit(limit_seconds, limit_first, pull.tyre_limit, ridden, h)
        brake_by_limit[pull.limit] += pull.brake_force * out.travelled
        stuck = stuck + h if pull.wanted > 0.0 and after.speed < STALL_SPEED else 0.0
        if share <= 1.0 or cut:
            lap += 1
        code = why_stop(p, after, pull, out, stuck, latest)
        if code == _RUNNING and lap >= laps:
            code = _FINISHED
        if rows < trace.shape[0]:
            keep_extremes(trace[rows], pull, out, fresh)
            fresh = False
            if after.time >= next_row - 0.5 * h or code != _RUNNING or cut:
                record(trace[rows], p, road, after, pull, out, here, ridden)
                rows, next_row, fresh = rows + 1, after.time + every * dt, True
        s = restart(after) if share <= 1.0 or cut else after
    return s, code, rows
