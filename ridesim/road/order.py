"""Points and clock in order: what runs backwards in time, and whether it is the place that is wrong or the clock."""

from __future__ import annotations

from bisect import bisect_right
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ridesim.road.geodesy import leg_lengths
from ridesim.road.gpx import RawTrack
from ridesim.road.mendings import Fault, faults_of

DISORDER_MOST_SHARE = 0.2  # a clock that is wrong more often than this is not used at all
UNTIMED_MOST_SHARE = 0.1  # more points without time than this, and the times are not used
# Guesses.
FALLS_MOST, FALLS_MOST_SHARE = 3, 0.01  # a clock that is set back more often is not mended
NEXT_MOST_LEGS = 4.0  # a point further off its neighbour than so many usual legs is out of order itself
TURN_MOST_DEG = 90.0
PACE_MOST_TIMES = 2.0  # a wrong time is left out where the times beside it leave a believable speed

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


def in_clock_order(
    track: RawTrack, leave_s: Array, as_it_is: bool, faults: list[Fault]
) -> tuple[RawTrack, Array, tuple[str, ...]]:
    """Return the track without points out of order, when each place was left [s], and warnings; add each fault.

    A point whose place is in line and whose clock is not loses its time only; a clock that was set back on the way is
    taken to run on. `as_it_is`: neither, such points go.
    """
    if not as_it_is:
        track, leave_s = _with_mended_clock(track, leave_s, faults)
    keep, warnings, timed = disorder(track)
    faults += faults_of("out_of_order", track.number[~keep], track.number)
    track, leave_s = track.kept(keep), leave_s[keep]
    return (track, leave_s, warnings) if timed else (_timed(track, np.nan), np.full_like(leave_s, np.nan), warnings)


def disorder(track: RawTrack) -> tuple[Mask, tuple[str, ...], bool]:
    """Return which points to keep so that no clock runs backwards inside a segment, warnings, and whether to use it.

    A clock that is mostly in disorder, or mostly missing, is left out instead.
    """
    keep = np.ones(len(track.segment), dtype=bool)
    known = np.isfinite(track.time_s)
    if not known.any():
        return keep, (), True
    untimed = float((~known).mean())
    if untimed > UNTIMED_MOST_SHARE:
        return keep, (f"{untimed:.0%} of the points have no time: the recorded times are not used",), False
    timed = np.flatnonzero(known)
    for start, end in _segments(track, timed):
        keep[timed[start:end]] = in_order(track.time_s[timed[start:end]])
    dropped = int((~keep).sum())
    if dropped > DISORDER_MOST_SHARE * len(keep):
        told = f"{dropped} of {len(keep)} points run backwards in time: the recorded times are not used"
        return np.ones(len(keep), dtype=bool), (told,), False
    return keep, (), True


def _segments(track: RawTrack, timed: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Return (start, end) among the timed points of each segment whose clock falls somewhere."""
    clock, joint = track.time_s[timed], np.flatnonzero(np.diff(track.segment[timed]) != 0) + 1
    spans = pairwise([0, *joint.tolist(), len(timed)])
    falls = np.concatenate(([0], np.cumsum(np.diff(clock) < 0.0)))
    return [(start, end) for start, end in spans if end > start and falls[end - 1] > falls[start]]


def _timed(track: RawTrack, time_s: Array | float) -> RawTrack:
    everything = np.ones(len(track.segment), dtype=bool)
    return track.kept(everything, time_s=np.broadcast_to(time_s, len(track.segment)).astype(np.float64))


def in_order(times: Array) -> Mask:
    """Return which values form the longest run that never falls (patience sorting)."""
    tails: list[float] = []
    holders: list[int] = []
    before = [-1] * len(times)
    for index, time in enumerate(times.tolist()):
        place = bisect_right(tails, time)
        before[index] = holders[place - 1] if place else -1
        if place == len(tails):
            tails.append(time)
            holders.append(index)
        else:
            tails[place], holders[place] = time, index
    keep = np.zeros(len(times), dtype=bool)
    index = holders[-1] if holders else -1
    while index >= 0:
        keep[index] = True
        index = before[index]
    return keep


def _with_mended_clock(track: RawTrack, leave_s: Array, faults: list[Fault]) -> tuple[RawTrack, Array]:
    """Return the track with the clock mended where only the clock is wrong, and the times of leaving."""
    timed = np.flatnonzero(np.isfinite(track.time_s))
    spans = _segments(track, timed) if len(timed) > 1 else []
    if not spans:
        return track, leave_s
    falls = sum(int((np.diff(track.time_s[timed[start:end]]) < 0.0).sum()) for start, end in spans)
    if falls > max(FALLS_MOST, FALLS_MOST_SHARE * len(timed)):
        return track, leave_s
    line = _Line(track)
    time, leave = track.time_s.copy(), leave_s.copy()
    for start, end in spans:
        lone, sets = _clock_faults(line, timed[start:end], track.time_s[timed[start:end]])
        time[lone], leave[lone] = np.nan, np.nan
        faults += faults_of("time_wrong", track.number[np.sort(lone)], track.number)
        for at in sets:
            _set_on(line, time, leave, timed[start:end], at)
            faults.append(Fault("clock_set_back", int(track.number[at - 1]), int(track.number[at]), 0))
    return _timed(track, time), leave


class _Line:
    """The legs of a track, and which of them go on in line with those beside them."""

    def __init__(self, track: RawTrack) -> None:
        self.length, heading = leg_lengths(track.latitude_deg, track.longitude_deg)
        turn = np.abs(np.mod(np.diff(heading) + 180.0, 360.0) - 180.0)
        straight = turn <= TURN_MOST_DEG
        ridden = self.length[self.length > 0.0]
        self.usual_m = float(np.median(ridden)) if ridden.size else 0.0
        near = self.length <= NEXT_MOST_LEGS * self.usual_m
        self.goes_on = near & np.concatenate(([True], straight)) & np.concatenate((straight, [True]))
        self.place = np.concatenate(([0.0], np.cumsum(self.length)))
        clock = np.diff(track.time_s)
        usual = clock[np.isfinite(clock) & (clock > 0.0)]
        self.usual_s = float(np.median(usual)) if usual.size else 1.0

    def joins(self, point: int) -> bool:
        """Return whether the line goes on into a point from the one before it."""
        return point < 1 or point > len(self.length) or bool(self.goes_on[point - 1])


def _clock_faults(line: _Line, at: NDArray[np.int64], clock: Array) -> tuple[NDArray[np.int64], list[int]]:
    """Return the points in line whose time alone is wrong, and the points in line from which on the clock is set back.

    `at`: the points of one segment that have a time, `clock` [s].
    """
    keep = in_order(clock)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], (~keep).astype(np.int8), [0]))))
    lone, sets = list[int](), list[int]()
    for first, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        inner = first > 0 and after < len(at)
        if not (first == 0 or line.joins(int(at[first]))) or not (after == len(at) or line.joins(int(at[after]))):
            continue
        if inner:
            spent, way = clock[after] - clock[first - 1], line.place[at[after]] - line.place[at[first - 1]]
            if way * line.usual_s <= PACE_MOST_TIMES * line.usual_m * spent:
                lone += at[first:after].tolist()
                continue
        falls = first + np.flatnonzero(np.diff(clock[max(first - 1, 0) : after + 1]) < 0.0) + (first == 0)
        sets += [int(at[fall]) for fall in falls.tolist() if line.joins(int(at[fall]))]
    return np.array(lone, dtype=np.int64), sets


def _set_on(line: _Line, time: Array, leave: Array, at: NDArray[np.int64], point: int) -> None:
    """Let a segment's clock run on from a point at which it was set back, over that leg at the usual pace."""
    before = time[:point][np.isfinite(time[:point])]
    usual = line.usual_s * (line.length[point - 1] / line.usual_m if line.usual_m > 0.0 else 1.0)
    by = float(before[-1]) + usual - float(time[point]) if before.size else 0.0
    later = slice(point, int(at[-1]) + 1)
    time[later] += by
    leave[later] += by
