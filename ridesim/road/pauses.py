"""Standstills in a recording: find them, take out the drift of the receiver, keep the riding clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.road.geodesy import leg_lengths
from ridesim.road.gpx import RawTrack

# Guesses, set on recordings with known stops.
STANDSTILL_M_PER_S = 0.5
EDGE_M_PER_S = 1.0  # legs beside a standstill that are slower than this belong to it
HALF_WINDOW_S = 5.0  # a standing receiver wanders fast from fix to fix, but not far in ten seconds
PAUSE_LEAST_S = 5.0
BRIDGE_M_PER_S = 2.0  # speed at which the drift of a standstill is taken to be crossed
FASTEST_M_PER_S = 30.0
LEAP_LEAST_M = 100.0
# Standing receivers wander at up to 1.0 m/s in the recordings at hand, and turn at every fix.
RIDDEN_M_PER_S, RIDDEN_LEAST_S = 3.0, 60.0
STRAIGHT_ON_DEG, STRAIGHT_ON_SHARE = 60.0, 0.5
WALKING_M_PER_S = 2.0
LEFT_OUT_LEAST_M = 50.0  # wandering of a pause is told from here on, where it was faster than walking

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Ridden:
    """A track without the drift of standstills: its moving clock, (index, dwell [s]) of each pause.

    The clock is None where the track has no usable times. `leaps`: numbers of the points before and behind each leg
    whose recorded time nobody could have ridden; the median pace stands in for it.
    """

    track: RawTrack
    clock_s: Array | None
    pauses: list[tuple[int, float]]
    leaps: list[tuple[int, int]]
    left_out: list[tuple[int, int, float]]
    """Numbers of the points before and behind, and the metres, of wandering in a pause that was faster than walking."""


def take_out_pauses(track: RawTrack, leave_s: Array) -> Ridden:
    """Return the track without the drift of standstills; `leave_s`: when each point was left [s]."""
    known = np.isfinite(track.time_s)
    if known.sum() < 2:
        return Ridden(track, None, [], [], [])
    number = np.arange(len(known), dtype=np.float64)
    arrive = np.interp(number, number[known], track.time_s[known])
    standing = np.where(known, leave_s, arrive) - arrive
    length, heading = leg_lengths(track.latitude_deg, track.longitude_deg)
    told = np.maximum(np.diff(arrive) - standing[:-1], 0.0)
    riding = believable_legs(told, length)
    leaps = np.flatnonzero(riding != told)
    keep, moving, dwell = np.ones(len(known), dtype=bool), riding.copy(), np.zeros(len(known))
    left_out = list[tuple[int, int, float]]()
    for first, last in _runs(slow_legs(riding, standing, length, heading), standing > 0.0):
        stood = float(standing[first : last + 1].sum())
        spent = float(riding[first:last].sum()) + stood
        if spent < PAUSE_LEAST_S:
            moving[min(first, len(moving) - 1)] += stood
            continue
        keep[first + 1 : last] = False
        apart = _apart_m(track, first, last)
        more = float(length[first:last].sum()) - apart
        if more > LEFT_OUT_LEAST_M and more > WALKING_M_PER_S * (spent - stood):
            left_out.append((int(track.number[first]), int(track.number[last]), more))
        crossing = min(apart / BRIDGE_M_PER_S, spent)
        moving[first:last] = 0.0
        if last > first:
            moving[first] = crossing
        dwell[first] = spent - crossing
    clock = np.concatenate(([0.0], np.cumsum(moving)))[keep]
    if clock[-1] <= 0.0:
        return Ridden(track, None, [], [], [])
    dwell = dwell[keep]
    pauses = [(int(i), float(dwell[i])) for i in np.flatnonzero(dwell > 0.0)]
    told_leaps = [(int(track.number[leg]), int(track.number[leg + 1])) for leg in leaps]
    return Ridden(track.kept(keep), clock, pauses, told_leaps, left_out)


def believable_legs(riding_s: Array, length_m: Array) -> Array:
    """Return the leg times with the median pace where a long leg was crossed impossibly fast, as between two clocks."""
    leap = (length_m > LEAP_LEAST_M) & (length_m > FASTEST_M_PER_S * riding_s)
    told = (riding_s > 0.0) & (length_m > 0.0) & ~leap
    if not (leap.any() and told.any()):
        return riding_s
    return np.where(leap, length_m * float(np.median(riding_s[told] / length_m[told])), riding_s)


def slow_legs(riding_s: Array, standing_s: Array, length_m: Array, heading_deg: Array) -> Mask:
    """Return which legs belong to a standstill: slow themselves, or leading nowhere within the window around them."""
    begin = np.cumsum(standing_s)[:-1] + np.concatenate(([0.0], np.cumsum(riding_s)[:-1]))
    middle = begin + 0.5 * riding_s
    half = np.maximum(HALF_WINDOW_S, 0.5 * riding_s)
    clock = np.column_stack((begin, begin + riding_s)).ravel()
    gone = [np.zeros(len(middle)), np.zeros(len(middle))]
    for axis, part in enumerate((np.sin(np.radians(heading_deg)), np.cos(np.radians(heading_deg)))):
        reached = np.concatenate(([0.0], np.cumsum(length_m * part)))
        place = np.column_stack((reached[:-1], reached[1:])).ravel()
        gone[axis] = np.interp(middle + half, clock, place) - np.interp(middle - half, clock, place)
    whole = (middle - half >= clock[0]) & (middle + half <= clock[-1])
    nowhere = whole & (np.hypot(*gone) < STANDSTILL_M_PER_S * 2.0 * half)
    slow = (length_m < STANDSTILL_M_PER_S * riding_s) | nowhere
    edge = length_m < EDGE_M_PER_S * riding_s
    ridden = _to_and_fro(nowhere & ~edge, begin, riding_s, length_m, heading_deg)
    return _grown(slow & ~ridden, edge & ~ridden)


def _to_and_fro(nowhere: Mask, begin_s: Array, riding_s: Array, length_m: Array, heading_deg: Array) -> Mask:
    """Return which legs lead nowhere and were ridden all the same: fast for a minute, and straight on at most fixes."""
    ridden = np.zeros(len(nowhere), dtype=bool)
    stretches = _stretches(nowhere)
    joined = list[tuple[int, int]]()
    for first, after in stretches:
        if joined and begin_s[first] - begin_s[joined[-1][1] - 1] - riding_s[joined[-1][1] - 1] < PAUSE_LEAST_S:
            first = joined.pop()[0]
        joined.append((first, after))
    for first, after in joined:
        spent = float(begin_s[after - 1] + riding_s[after - 1] - begin_s[first])
        if spent < RIDDEN_LEAST_S or float(length_m[first:after].sum()) < RIDDEN_M_PER_S * spent:
            continue
        turn = np.abs(np.mod(np.diff(heading_deg[first:after]) + 180.0, 360.0) - 180.0)
        ridden[first:after] = bool((turn < STRAIGHT_ON_DEG).mean() > STRAIGHT_ON_SHARE)
    return ridden


def _grown(seed: Mask, allowed: Mask) -> Mask:
    """Return the seeds with every stretch of allowed neighbours that touches one."""
    grown = seed.copy()
    for first, last in _stretches(seed | allowed):
        if seed[first:last].any():
            grown[first:last] = True
    return grown


def _stretches(mask: Mask) -> list[tuple[int, int]]:
    """Return (first, one past last) of each stretch that is true."""
    edges = np.diff(np.concatenate(([0], mask.astype(np.int8), [0])))
    return list(zip(np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist(), strict=True))


def _runs(slow: Mask, stood: Mask) -> list[tuple[int, int]]:
    """Return (first, last) point of each run of slow legs, and (point, point) of each lone standstill."""
    runs = _stretches(slow)
    covered = np.zeros(len(stood), dtype=bool)
    for first, last in runs:
        covered[first : last + 1] = True
    return sorted(runs + [(point, point) for point in np.flatnonzero(stood & ~covered).tolist()])


def _apart_m(track: RawTrack, first: int, last: int) -> float:
    ends = np.array([first, last])
    return float(leg_lengths(track.latitude_deg[ends], track.longitude_deg[ends])[0][0])
