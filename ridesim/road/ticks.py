"""A clock that ticks: times rounded to minutes or so, with many points in each, are spread over the way ridden."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ridesim.road.geodesy import leg_lengths
from ridesim.road.gpx import RawTrack
from ridesim.road.mendings import Fault
from ridesim.road.pauses import PAUSE_LEAST_S, STANDSTILL_M_PER_S

# Guesses. A tick shorter than the shortest pause makes no false one.
TICKS_LEAST = 3
AT_ONCE_LEAST_SHARE = 0.2  # of the legs that lead on take no time: a clock of seconds has none
MOVED_M = 0.5
ROUNDING = 0.02
FALLS_MOST = 3  # a clock that goes back more often has other faults
LEAST_WEIGHT_S = 1e-6

Array = NDArray[np.float64]


def without_ticks(track: RawTrack, faults: list[Fault]) -> RawTrack:
    """Return the track with the times of a ticking clock spread over the way within each tick; add the fault.

    Where a tick begins is known to the leg. Between two of them the pace is even, but for points that stand: a stop
    shorter than a tick may be lost, a longer one is right to about a tick.
    """
    timed = np.flatnonzero(np.isfinite(track.time_s))
    if len(timed) < 2 * TICKS_LEAST:
        return track
    length, _ = leg_lengths(track.latitude_deg, track.longitude_deg)
    leg = np.diff(np.concatenate(([0.0], np.cumsum(length)))[timed])
    clock = track.time_s[timed]
    step, change = tick_of(clock, leg), np.diff(clock)
    if step <= 0.0 or np.count_nonzero(change < 0.0) > FALLS_MOST:
        return track
    usual = np.concatenate(([0.0], np.cumsum(_usual_s(change, leg, step))))
    time = track.time_s.copy()
    broken = np.flatnonzero((change < 0.0) | (change > 1.5 * step)) + 1
    for start, after in pairwise([0, *broken.tolist(), len(timed)]):
        time[timed[start:after]] = _spread(clock[start:after], usual[start:after] - usual[start], step)
    ticks = int(np.count_nonzero(change))
    faults.append(Fault("ticks", int(track.number[timed[0]]), int(track.number[timed[-1]]), ticks))
    return track.kept(np.ones(len(time), dtype=bool), time_s=time)


def tick_of(time_s: Array, length_m: Array) -> float:
    """Return the step in which recorded times come [s], 0 where they do not tick; `length_m` are the legs between."""
    change = np.diff(time_s)
    moves, led_on = change[change > 0.0], length_m > MOVED_M
    if len(moves) < TICKS_LEAST or not led_on.any() or (change[led_on] == 0.0).mean() < AT_ONCE_LEAST_SHARE:
        return 0.0
    step = float(moves.min())
    many = moves / step
    return step if step >= PAUSE_LEAST_S and (np.abs(many - np.round(many)) < ROUNDING).all() else 0.0


def _spread(clock_s: Array, usual_s: Array, step_s: float) -> Array:
    """Return times between the ticks of a clock that goes on tick by tick; `usual_s` runs on at the usual pace.

    A tick begins half-way between two points. Before the first one and behind the last one the pace is the usual.
    """
    edge = np.flatnonzero(np.diff(clock_s) > 0.0)
    if not edge.size:
        whole = min(float(usual_s[-1]), step_s)
        return clock_s + 0.5 * (step_s - whole) + usual_s * (whole / max(float(usual_s[-1]), LEAST_WEIGHT_S))
    at, when = 0.5 * (usual_s[edge] + usual_s[edge + 1]), clock_s[edge + 1]
    begin, end = when[0] - min(at[0], step_s), when[-1] + min(usual_s[-1] - at[-1], step_s)
    return np.interp(usual_s, [0.0, *at, usual_s[-1]], [begin, *when, end])


def _usual_s(change_s: Array, length_m: Array, step_s: float) -> Array:
    """Return how long each leg takes at the usual pace of a tick; where the bike stands, as long as most legs."""
    edge = np.flatnonzero(change_s != 0.0)
    place = np.concatenate(([0.0], np.cumsum(length_m)))
    ridden, spent = np.diff(place[edge]), change_s[edge][1:]
    moving = (spent > 0.0) & (ridden > STANDSTILL_M_PER_S * spent)
    leg_s = step_s / float(np.median(np.diff(edge)))
    pace_s_per_m = float(np.median(spent[moving] / ridden[moving])) if moving.any() else 1.0 / STANDSTILL_M_PER_S
    return np.where(length_m < STANDSTILL_M_PER_S * leg_s, leg_s, length_m * pace_s_per_m) + LEAST_WEIGHT_S
