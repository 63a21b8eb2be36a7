"""Rows of the trace at even times: the operating point of the instant, worked out anew between a step's two ends.

Legend: `share` of a step that is over at the row's instant; x distance ridden, laps added up [m]; times in s.
"""

from __future__ import annotations

import numpy as np

from ridesim.engine.circuit import read_pack
from ridesim.engine.command import command
from ridesim.engine.here import read_road
from ridesim.engine.pair import Second, SecondState
from ridesim.engine.second_tally import keep_second, record_second
from ridesim.engine.state import Fade, Outcome, Parameters, Pull, RoadArrays, State
from ridesim.engine.step import settle
from ridesim.engine.tally import keep_extremes, record
from ridesim.jit import if_none, inner_kernel, rare_kernel

SAME_TIME = 1e-9
"""Two rows this close in time are one [s]."""


@inner_kernel
def _mix(before: float, after: float, share: float) -> float:
    return before + (after - before) * share


@inner_kernel
def _no_second(s: None, after: None, share: float, faster: float) -> None:
    return None


@inner_kernel
def _between_second(s: SecondState, after: SecondState, share: float, faster: float) -> SecondState:
    return SecondState(
        winding_temp=_mix(s.winding_temp, after.winding_temp, share),
        body_temp=_mix(s.body_temp, after.body_temp, share),
        controller_temp=_mix(s.controller_temp, after.controller_temp, share),
        rotor_energy=s.rotor_energy * faster * faster,
    )


_second_between = if_none(_no_second, _between_second)


@inner_kernel
def between(s: State, after: State, share: float, acceleration_slope: float) -> State:
    """Return the state inside a step: heat moves in a straight line, speed in the bow of its trend, distance in one.

    A rotor that turns with the wheel goes on doing so: it owes the wheel nothing.
    """
    gone = (after.time - s.time) * share
    speed_bow = 0.5 * acceleration_slope * gone * (after.time - s.time) * (share - 1.0)
    bow = 0.5 * (after.speed - s.speed) * gone * (share - 1.0)
    speed = max(_mix(s.speed, after.speed, share) + speed_bow, 0.0)
    faster = speed / s.speed if s.speed > 0.0 else 0.0
    return State(
        time=s.time + gone,
        lap_time=s.lap_time + gone,
        distance=_mix(s.distance, after.distance, share) + bow,
        speed=speed,
        acceleration=after.acceleration,
        charge=_mix(s.charge, after.charge, share),
        polarisation=_mix(s.polarisation, after.polarisation, share),
        winding_temp=_mix(s.winding_temp, after.winding_temp, share),
        body_temp=_mix(s.body_temp, after.body_temp, share),
        controller_temp=_mix(s.controller_temp, after.controller_temp, share),
        pack_temp=_mix(s.pack_temp, after.pack_temp, share),
        rotor_energy=s.rotor_energy * faster * faster,
        cooling_speed=s.cooling_speed,
        cooling=s.cooling,
        dwell_left=max(s.dwell_left - gone, 0.0),
        shift_left=s.shift_left,
        gear=s.gear,
        stop_index=s.stop_index,
        second=_second_between(s.second, after.second, share, faster),
    )


@rare_kernel
def write_row(
    second: Second | None, at: int, row: np.ndarray, p: Parameters, road: RoadArrays, s: State, after: State,
    x: float, share: float, acceleration_slope: float,
) -> None:  # fmt: skip
    """Write the row of an instant inside a step that starts at x [m], from the operating point at that instant."""
    then = between(s, after, share, acceleration_slope)
    span = after.time - s.time
    over = Fade(step=span, rate=1.0 / span, share=1.0, fade=1.0)
    here = read_road(road, p, then, then.distance, then.distance, then.lap_time)
    now = read_pack(p, then, over)
    pull = command(second, p, here, then, now, then.speed, span)
    out = settle(second, p, then, over, now, pull, then.speed, then.speed * span, span)
    keep_extremes(row, pull, out, False)
    record(row, p, road, then, pull, out, here, x + then.distance - s.distance)
    record_second(second, at, p, road, then, pull, out, here, x + then.distance - s.distance)


@inner_kernel
def write_rows(
    second: Second | None, trace: np.ndarray, rows: int, row_at: float, fresh: bool, interval: float, p: Parameters,
    road: RoadArrays, s: State, after: State, pull: Pull, out: Outcome, x: float, acceleration_slope: float, last: bool,
) -> tuple[int, float, bool]:  # fmt: skip
    """Write the rows that are due by the step's end, and one at its end if that is the `last` of a lap or ride.

    Returns the rows written so far, when the next is due, and whether it starts afresh with the next step. The row
    under way holds the extremes since the one before it, this step's included.
    """
    if rows >= trace.shape[0]:
        return rows, row_at, fresh
    keep_extremes(trace[rows], pull, out, fresh)
    keep_second(second, rows, pull, out, fresh)
    fresh = False
    while rows < trace.shape[0] and not fresh and (row_at <= after.time + SAME_TIME or last):
        fresh = row_at >= after.time - SAME_TIME
        share = 1.0 if fresh else (row_at - s.time) / (after.time - s.time)
        write_row(second, rows, trace[rows], p, road, s, after, x, share, acceleration_slope)
        if row_at <= after.time + SAME_TIME:
            row_at += interval
        rows += 1
        if rows < trace.shape[0] and not fresh:
            keep_extremes(trace[rows], pull, out, True)
            keep_second(second, rows, pull, out, True)
    return rows, row_at, fresh
