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


def take_out_pauses(track: RawTrack, leave_s: Array) -> Ridden:
    """Return the track without the drift of standstills."""
    known = np.isfinite(track.time_s)
    if known.sum() < 2:
        return Ridden(track, None, [], [])
    number = np.arange(len(known), dtype=np.float64)
    arrive = np.interp(number, number[known], track.time_s[known])
    standing = np.where(known, leave_s, arrive) - arrive
    length, heading = leg_lengths(track.latitude_deg, track.longitude_deg)
    told = np.maximum(np.diff(arrive) - standing[:-1], 0.0)
    riding = believable_legs(told, length)
    leaps = np.flatnonzero(riding != told)
    keep, moving, dwell = np.ones(len(known), dtype=bool), riding.copy(), np.zeros(len(known))
    for first, last in _runs(slow_legs(riding, standing, length, heading), standing > 0.0):
        stood = float(standing[first : last + 1].sum())
        spent = float(riding[first:last].sum()) + stood
        if spent < PAUSE_LEAST_S:
            moving[min(first, len(moving) - 1)] += stood
            continue
        keep[first + 1 : last] = False
        crossing = min(_apart_m(track, first, last) / BRIDGE_M_PER_S, spent)
        moving[first:last] = 0.0
        if last > first:
            moving[first] = crossing
        dwell[first] = spent - crossing
    clock = np.concatenate(([0.0], np.cumsum(moving)))[keep]
    if clock[-1] <= 0.0:
        return Ridden(track, None, [], [])
    dwell = dwell[keep]
    pauses = [(int(i), float(dwell[i])) for i in np.flatnonzero(dwell > 0.0)]
    return Ridden(track.kept(keep), clock, pauses, [(int(track.number[i]), int(track.number[i + 1])) for i in leaps])


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
    return _grown(slow, length_m < EDGE_M_PER_S * riding_s)


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
