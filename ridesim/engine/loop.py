"""One ride: steps until the road, the pack or the patience ends, with every figure taken at every step.

Legend: dt and all lengths of steps in s, distances in m, speeds in m/s, currents in A.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ridesim.engine.circuit import fade_over
from ridesim.engine.command import resting
from ridesim.engine.foot import MOUNTED_M, all_on_foot, gets_off, place_to_mount, start_of_ramp
from ridesim.engine.gears import engage, engaged, time_to_shift
from ridesim.engine.known import SHORTEST_SHARE, time_past_braking, time_to, to_known
from ridesim.engine.laps import Laps, another, held_by_pack, why_no_range
from ridesim.engine.pace import (
    CAREFUL,
    CLOSE_ENOUGH,
    FIRST_SHARE,
    SAME_ERROR,
    STEP_BACK,
    SURELY_A_JUMP,
    Pacing,
    Trend,
    error_of,
    follow,
    next_length,
    no_trend,
    shorter,
)
from ridesim.engine.pair import Second
from ridesim.engine.rows import write_rows
from ridesim.engine.second import nothing_done
from ridesim.engine.second_step import hotter_winding
from ridesim.engine.second_tally import start_all, write_second
from ridesim.engine.state import Fade, Here, Limit, Outcome, Parameters, Pull, RoadArrays, State, Stop
from ridesim.engine.step import step
from ridesim.engine.tally import book, count_limit, count_push, count_walk, tally
from ridesim.jit import inner_kernel, kernel, rare_kernel

STALL_PATIENCE = 10.0
"""Time without movement, wanting to move, after which a ride counts as stuck [s]."""

STALL_SPEED = 0.05
"""Speed below which a bike counts as not moving [m/s]."""

STANDING_STEP = 0.2
"""The longest step of a bike that wants to move and does not [s]: its patience ends with a step."""

LOW_VOLTAGE_SHARE = 0.02
"""Share of the motor current left by the low-voltage foldback at which the pack counts as done."""

ENDLESS_LAPS = 1_000_000_000
"""Laps asked for where the pack is to end the ride."""

OVERCHARGED = 1.2
"""Charge fraction at which a ride ends: abused lithium cells vent or burn from about here on (guess)."""

RETAKEN = 3
"""How often a step that ends a lap is taken again, to end it at the road's end."""

HALT_WITHIN = 0.05
"""A step ends where the bike halts, within this share of the shortest one."""

LAP_END_M = 1e-9
"""A lap ends this close to its end [m]."""

EMPTY_WITHIN = 1e-7
"""A pack counts as empty this close to its floor [charge fraction]."""


@inner_kernel
def time_to_lap_end(road: RoadArrays, before: State, after: State, span: float) -> float:
    """Return after how much of a step its lap ends [s]; inf where it goes on."""
    if road.cycle_speed.size > 1:
        end = road.cycle_step * (road.cycle_speed.size - 1)
        return end - before.lap_time if after.lap_time >= end - SHORTEST_SHARE * end else math.inf
    if after.distance < road.length - LAP_END_M:
        return math.inf
    if after.distance <= road.length + LAP_END_M:
        return span
    return time_to(road.length - before.distance, before.speed, after.acceleration)


@inner_kernel
def time_to_empty(p: Parameters, before: State, after: State, span: float) -> float:
    """Return after how much of a step the pack is at its floor [s]; inf where it is not: the current is held."""
    left, used = before.charge - p.charge_floor, before.charge - after.charge
    return span * left / used if 0.0 < left < used - EMPTY_WITHIN else math.inf


@inner_kernel
def time_to_mount(p: Parameters, left: float, v: float, length: float) -> float:
    """Return a step's length [s], or what is left to the place where a rider on foot gets on [m] takes, if less."""
    return max(left, MOUNTED_M) / v if p.on_foot and left < v * length else length


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
        shift_left=s.shift_left,
        gear=s.gear,
        stop_index=0,
        second=s.second,
    )


class Taken(NamedTuple):
    """A step that was taken, and waits for the next one to agree with it before it is written down."""

    after: State
    pull: Pull
    out: Outcome
    here: Here
    trend: Trend  # behind the step
    span: float  # [s]
    next_length: float  # [s]
    ends: bool  # whether its lap ends with it
    exact: bool  # whether it ends where something is known to happen: nothing in its second half is unseen


@inner_kernel
def stuck_after(stuck: float, s: State, t: Taken) -> float:
    """Return for how long a bike that wants to move has not by the end of a step from s [s]."""
    if not (t.pull.wanted > 0.0 and t.after.speed < STALL_SPEED):
        return 0.0
    return stuck + (t.span if s.speed < STALL_SPEED else t.span - t.out.moving)


@inner_kernel
def why_ended(p: Parameters, s: State, pull: Pull, out: Outcome, stuck: float, latest: float) -> Stop:
    """Return the stop code of what a bike cannot go on with, or RUNNING."""
    if not (math.isfinite(s.speed) and math.isfinite(s.winding_temp) and math.isfinite(out.pack_voltage)):
        return Stop.NOT_FINITE
    if s.charge <= p.charge_floor + EMPTY_WITHIN:
        return Stop.PACK_EMPTY
    if out.pack_voltage <= p.cut_off_voltage:
        return Stop.LOW_VOLTAGE
    if p.limits_on and p.low_voltage_start > p.low_voltage_end:
        span = p.low_voltage_start - p.low_voltage_end
        if out.pack_voltage <= p.low_voltage_end + LOW_VOLTAGE_SHARE * span:
            return Stop.LOW_VOLTAGE
    if stuck > STALL_PATIENCE:
        return Stop.LOW_VOLTAGE if pull.limit == Limit.LOW_VOLTAGE else Stop.STALLED
    if hotter_winding(s.second, s.winding_temp) > p.winding_stop:
        return Stop.OVER_TEMPERATURE
    if s.charge >= OVERCHARGED:
        return Stop.OVERCHARGED
    if s.time >= latest:
        return Stop.TIME_LIMIT
    return Stop.RUNNING


@inner_kernel
def why_stop(
    p: Parameters, t: Taken, stuck: float, latest: float, behind: Laps, laps: int, held: float, halt: np.ndarray
) -> Stop:
    """Return the stop code after a step, or RUNNING; `behind` without the lap that it ends, of `laps` asked for."""
    code = why_ended(p, t.after, t.pull, t.out, stuck, latest)
    if code != Stop.RUNNING:
        return code
    if t.ends and behind.done + 1 >= laps:
        return Stop.FINISHED
    if halt[0] != 0:
        return Stop.INTERRUPTED
    if t.ends and laps >= ENDLESS_LAPS:
        return why_no_range(behind, t.after.charge, held)
    return Stop.RUNNING


@rare_kernel
def nothing_taken(p: Parameters, s: State, trend: Trend) -> Taken:
    """Return what stands for a step where none was taken yet, or one was taken back; it is never written down."""
    out = Outcome(
        travelled=0.0,
        moving=0.0,
        mean_speed=0.0,
        motor_speed=0.0,
        resistance=0.0,
        emf=0.0,
        pack_voltage=0.0,
        pack_current=0.0,
        open_voltage=0.0,
        copper=0.0,
        iron=0.0,
        controller=0.0,
        shaft=0.0,
        fast_loss=0.0,
        slow_loss=0.0,
        polarisation_stored=0.0,
        chemistry=0.0,
        kinetic=0.0,
        rotor_lost=0.0,
        shifted=0.0,
        halted=0.0,
        fast_resistance=0.0,
        slow_resistance=0.0,
        second=nothing_done(s.second),
    )
    here = Here(
        sin_theta=0.0,
        cos_theta=0.0,
        air_density=0.0,
        air_temp=0.0,
        headwind=0.0,
        crosswind=0.0,
        rolling=0.0,
        pedal_power=0.0,
        plan_speed=0.0,
        plan_acceleration=0.0,
        for_stop=False,
    )
    pull = resting(p, s, 0.0, 0.0, 0.0, 0.0)
    return Taken(after=s, pull=pull, out=out, here=here, trend=trend, span=0.0, next_length=0.0, ends=False, exact=True)


@inner_kernel
def halts_inside(pacing: Pacing, s: State, after: State, standing: float) -> bool:
    """Return whether a bike halts in a step from s and stands for more than a moment of it [s]."""
    return s.speed > 0.0 and after.speed == 0.0 and standing > HALT_WITHIN * pacing.shortest


@inner_kernel
def take(
    second: Second | None, p: Parameters, road: RoadArrays, s: State, trend: Trend, over: Fade, pacing: Pacing,
    length: float, latest: float, totals: np.ndarray, known: bool, may_go_back: bool,
) -> tuple[Taken, Fade, bool]:  # fmt: skip
    """Return a step from s that misses no more than it may, the fade of its length, and whether to go back instead.

    A step whose error is too large is taken again shorter; if that does not help, what happened lies before its start:
    in the second half of the step before it, which is then to be taken again (or at the start itself, and the step is
    as short as it gets). known: whether s is a place where something is known to happen.
    """
    wished, cut, back, error_before, retaken, halts = length, False, False, math.inf, 0, 0
    least = pacing.shortest_known if known else pacing.shortest
    span = to_known(road, p, s, length, max(latest - s.time, pacing.shortest))
    exact = span < length
    while True:
        if span != over.step:
            over = fade_over(p, span)
        after, pull, out, here = step(second, p, road, s, trend, over)
        error = error_of(second, pacing, trend, s, after, pull, out, span, totals)
        ends_at = time_to_lap_end(road, s, after, span)
        cut_at = min(ends_at, time_to_shift(p, s, after, span), time_to_empty(p, s, after, span))
        cut_at = min(cut_at, time_past_braking(road, p, s, after))
        if cut and (retaken >= RETAKEN or cut_at >= span):
            break
        retaken += cut
        if halts < RETAKEN and halts_inside(pacing, s, after, span - out.moving):
            halts, span = halts + 1, max(out.moving, SHORTEST_SHARE)
            continue
        jumped = error > (SURELY_A_JUMP if known else max(1.0, SAME_ERROR * error_before))
        back = jumped and may_go_back and not cut
        if back:
            break
        if error > 1.0 and span > least and not cut:
            span = wished = least if jumped else shorter(least, span, error)
            error_before, exact = error, False
        elif cut_at < span:
            cut, span = True, max(cut_at, SHORTEST_SHARE)
        else:
            break
    following = follow(second, trend, s, after, pull, out, error, span, known)
    longer = next_length(pacing, span, error, wished)
    ends, at_known = ends_at <= span, cut or exact or (halts > 0 and after.speed == 0.0)
    return Taken(after, pull, out, here, following, span, next_length=longer, ends=ends, exact=at_known), over, back


@inner_kernel
def write_down(
    second: Second | None, p: Parameters, s: State, t: Taken, next_one: Taken, x: float, totals: np.ndarray,
    ledger: np.ndarray, limit_seconds: np.ndarray, limit_first: np.ndarray, brake_by_limit: np.ndarray,
) -> None:  # fmt: skip
    """Take a step from s into the ledger, the running figures and the times on limits; x: ridden by its end [m].

    A step behind a known corner has no slopes of its own: `next_one` tells what it began with, if the same bound holds.
    A bound that holds at the middle of a step is told from the step's start on.
    """
    book(ledger, p, t.pull, t.out, t.span)
    slopes = next_one.trend if t.trend.corner and t.pull.limit == next_one.pull.limit else t.trend
    tally(second, totals, p, s, t.after, t.pull, t.out, t.here, slopes.current_slope, slopes.draw_slope, x, t.span)
    write_second(second, p, s, t.after, t.pull, t.out, t.here, slopes, x, t.span)
    count_limit(limit_seconds, limit_first, t.pull.limit, x - t.out.travelled, t.span)
    count_limit(limit_seconds, limit_first, t.pull.tyre_limit, x - t.out.travelled, t.span)
    brake_by_limit[t.pull.limit] += t.pull.brake_force * t.out.travelled
    if p.on_foot:
        count_walk(totals, t.out.travelled, t.span)


@inner_kernel
def most_ahead(pacing: Pacing, t: Taken, stuck: float, hold: int) -> float:
    """Return how long the step after this one may be [s]: short while a bike stands, no longer than this on hold."""
    longest = t.span if hold > 0 else pacing.longest
    if stuck > 0.0 or (t.after.speed == 0.0 and t.after.dwell_left <= 0.0):
        longest = min(longest, STANDING_STEP)
    return min(t.next_length, longest)


@kernel
def ride(
    bike: Parameters, foot: np.ndarray, road: RoadArrays, s: State, pacing: Pacing, laps: int, latest: float,
    interval: float, trace: np.ndarray, totals: np.ndarray, ledger: np.ndarray, limit_seconds: np.ndarray,
    limit_first: np.ndarray, brake_by_limit: np.ndarray, halt: np.ndarray, second: Second | None,
) -> tuple[State, Stop, int]:  # fmt: skip
    """Ride a road `laps` times from state s; return the last state, the stop code and the rows written.

    foot: room for the bike's numbers while it is pushed, (1,). pacing: how long the steps are. latest: time at which
    patience ends [s]; interval: time between rows [s]. trace (rows, channels), totals, ledger [J], limit_seconds [s],
    limit_first [m] and brake_by_limit (friction brake energy by the limit that kept the motor from braking, J) are
    filled in place; no trace is kept without rows. halt is read after every step: another thread ends the ride by it;
    second: the other one of two different drives, or None.
    """
    start_all(second, totals, s)
    gear = s.gear
    if bike.gears > 1:
        engage(bike, gear)
    p = bike
    length, hold, trend = FIRST_SHARE * pacing.shortest, 0, no_trend(s)
    over, behind = fade_over(p, length), Laps(done=0, charge=s.charge, most=0.0, held=0.0)
    rows, row_at, code, fresh = 0, s.time + interval, Stop.RUNNING, True
    stuck, ridden, waits, one = 0.0, 0.0, False, nothing_taken(p, s, trend)
    mount_at, ramp_from, pushed_to = -math.inf, -math.inf, -math.inf
    while code == Stop.RUNNING:
        start, following = restart(one.after) if one.ends else one.after, one.trend
        ahead = bike if waits and p.on_foot and (one.ends or mount_at - start.distance <= MOUNTED_M) else p
        length = time_to_mount(ahead, mount_at - start.distance, start.speed, length)
        known, back = waits and one.exact, waits and not one.exact and one.span > CLOSE_ENOUGH * pacing.shortest
        gear = engaged(ahead, start.gear, gear)
        new, over, back = take(second, ahead, road, start, following, over, pacing, length, latest, totals, known, back)
        if back:
            length, hold, waits = max(STEP_BACK * one.span, pacing.shortest), CAREFUL, False
            one = nothing_taken(p, s, trend)
            continue
        if waits:
            ridden += one.out.travelled
            gear = engaged(p, s.gear, gear)
            write_down(second, p, s, one, new, ridden, totals, ledger, limit_seconds, limit_first, brake_by_limit)
            stuck = stuck_after(stuck, s, one)
            code = why_stop(p, one, stuck, latest, behind, laps, held_by_pack(limit_seconds), halt)
            if one.ends:
                behind = another(behind, one.after.charge, held_by_pack(limit_seconds))
            rows, row_at, fresh = write_rows(
                second, trace, rows, row_at, fresh, interval, p, road, s, one.after, one.pull, one.out,
                ridden - one.out.travelled, one.trend.acceleration_slope, one.ends or code != Stop.RUNNING,
            )  # fmt: skip
            s, trend, p = start, following, ahead
            if code == Stop.RUNNING and gets_off(p, road, s, one.pull, stuck, one.span):
                ramp_from = start_of_ramp(p, ridden, pushed_to, ramp_from)
                mount_at = place_to_mount(p, road, s.distance, one.pull, p.push_length - (ridden - ramp_from))
                if count_push(totals, ridden, mount_at):
                    all_on_foot(second, bike, foot)
                    p, pushed_to, stuck, waits = foot[0], ridden + mount_at - s.distance, 0.0, False
                    one, length = nothing_taken(p, s, no_trend(s)), FIRST_SHARE * pacing.shortest
                    continue
        one, waits, length = new, True, most_ahead(pacing, new, stuck, hold)
        hold = max(hold - 1, 0)
    return s, code, rows
