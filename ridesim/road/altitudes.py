"""Recorded altitudes: which of them are no altitude of the road, and straight lines in their place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RoadError
from ridesim.road.limits import ALTITUDE_M
from ridesim.road.steps import step_of, through_the_steps

# Guesses, set on recordings with such faults and on made noise.
SAME_PLACE_M = 0.01
SPIKE_LEAST_M = 5.0
SPIKE_LEAST_SLOPE = 0.35
SPIKE_MOST_POINTS = 3
FALSE_ZERO_LEAP_M = 30.0
SETTLING_S = 60.0  # as in the fit of ride logs: recorders then set a barometer anew, and it creeps to its place
SETTLING_M = 150.0
MOST_SETTLING_M = 600.0
LEAP_LEAST_M = 5.0
LEAP_OVER_M = 20.0
SLACK_M = 1.5  # of a barometer that is well, with steps of a metre
USUAL_OVER_M = 50.0
USUAL_QUANTILE = 0.99
USUAL_MARGIN = 1.25
USUAL_LEAST, USUAL_MOST = 0.08, 0.25

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Line:
    """The recorded line: places [m], altitudes [m] (nan where none), the riding clock [s] or None.

    `joints` are points right behind a stop of a minute, a gap or the joint of two segments.
    """

    place_m: Array
    altitude_m: Array
    clock_s: Array | None
    joints: Sequence[int]


@dataclass(frozen=True)
class Mended:
    """Altitudes without holes and steps, and which points were missing, spikes or not to be trusted."""

    altitude_m: Array
    missing: Mask
    spike: Mask
    unsettled: Mask
    step_m: float = 0.0
    """In which the altitudes came, 0 where they did not come in steps."""


def impossible(altitude_m: Array) -> Mask:
    """Return which altitudes are told and are those of no place on land, or no number a road could have."""
    return np.isfinite(altitude_m) & ~((altitude_m >= ALTITUDE_M.low) & (altitude_m <= ALTITUDE_M.high))


def mend_altitudes(line: Line, where: str, flat: bool, as_it_is: bool) -> Mended:
    """Return the altitudes with what is wrong bridged by straight lines. Raises RoadError where there are none."""
    altitude, none = line.altitude_m, np.zeros(len(line.altitude_m), dtype=bool)
    known = np.isfinite(altitude)
    if not as_it_is:
        known &= ~false_zeros(altitude)
    if flat:
        level = float(altitude[known].mean()) if known.any() else 0.0
        return Mended(np.full_like(altitude, level), none, none, none)
    if known.sum() < 2:
        what = f"{int(known.sum())} of {len(known)} points have an altitude, at least 2 needed"
        raise RoadError(where, what, "add altitudes to the file, or ask for a flat road (flat = true, --flat)")
    missing, spike, unsettled, step = ~known, none.copy(), none.copy(), 0.0
    if not as_it_is:
        step = step_of(altitude[known])
        if step > 0.0:
            altitude = altitude.copy()
            altitude[known] = through_the_steps(altitude[known], line.place_m[known])
            line = replace(line, altitude_m=altitude)
        spike[known] = altitude_spikes(altitude[known], line.place_m[known])
        known &= ~spike
        unsettled = untrusted(line, known)
        known &= ~unsettled
    return Mended(np.interp(line.place_m, line.place_m[known], altitude[known]), missing, spike, unsettled, step)


def false_zeros(altitude_m: Array) -> Mask:
    """Return which altitudes of exactly zero stand for "not known": runs beside places well above the sea."""
    false = np.zeros(len(altitude_m), dtype=bool)
    told = np.flatnonzero(np.isfinite(altitude_m))
    zero = altitude_m[told] == 0.0
    if not zero.any() or zero.all():
        return false
    edges = np.diff(np.concatenate(([0], zero.astype(np.int8), [0])))
    heights = np.concatenate(([np.inf], altitude_m[told], [np.inf]))
    for first, after in zip(np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist(), strict=True):
        if min(heights[first], heights[after + 1]) > FALSE_ZERO_LEAP_M:
            false[told[first:after]] = True
    return false


def altitude_spikes(altitude_m: Array, horizontal_m: Array) -> Mask:
    """Return which points stand off their neighbours, one to three at a time, steeply in and steeply out again."""
    spiky = np.zeros(len(altitude_m), dtype=bool)
    for width in range(1, SPIKE_MOST_POINTS + 1):
        for start in _spike_starts(altitude_m, horizontal_m, width).tolist():
            if not spiky[start] and not spiky[start + width + 1]:
                spiky[start + 1 : start + width + 1] = True
    return spiky


def _spike_starts(altitude_m: Array, horizontal_m: Array, width: int) -> NDArray[np.int64]:
    """Return the points right before each spike that is `width` points wide."""
    windows = len(altitude_m) - width - 1
    if windows < 1:
        return np.empty(0, dtype=np.int64)
    altitude = [altitude_m[step : step + windows] for step in range(width + 2)]
    place = [horizontal_m[step : step + windows] for step in range(width + 2)]
    slope = (altitude[-1] - altitude[0]) / np.maximum(place[-1] - place[0], SAME_PLACE_M)
    off = np.stack([altitude[k] - altitude[0] - slope * (place[k] - place[0]) for k in range(1, width + 1)])
    side = np.sign(off[0])
    enters = side * (altitude[1] - altitude[0]) > SPIKE_LEAST_SLOPE * (place[1] - place[0])
    leaves = side * (altitude[-2] - altitude[-1]) > SPIKE_LEAST_SLOPE * (place[-1] - place[-2])
    return np.flatnonzero((side * off > SPIKE_LEAST_M).all(axis=0) & enters & leaves)


def untrusted(line: Line, known: Mask) -> Mask:
    """Return which known altitudes cannot be reached from the trusted ones on grades that the road has elsewhere.

    They are looked for at both ends, and behind stops, gaps and leaps, for 60 s or 150 m and on until they can.
    """
    at = np.flatnonzero(known)
    place, altitude = line.place_m[at], line.altitude_m[at]
    clock = line.clock_s[at] if line.clock_s is not None else None
    joints = sorted({int(np.searchsorted(at, joint)) for joint in line.joints} | set(_leaps(place, altitude)))
    steepest = usual_grade(place, altitude, joints)
    bad = np.zeros(len(at), dtype=bool)
    _at_end(place, altitude, clock, steepest, bad)
    _at_end(*_reversed(place, altitude, clock), steepest, bad[::-1])
    for joint in joints:
        if 0 < joint < len(at) and not bad[:joint].all() and not bad[joint:].all():
            _behind(place, altitude, clock, joint, steepest, bad)
    if bad.sum() > len(bad) - 2:
        return np.zeros(len(known), dtype=bool)
    found = np.zeros(len(known), dtype=bool)
    found[at] = bad
    return found


def usual_grade(place_m: Array, altitude_m: Array, joints: Sequence[int]) -> float:
    """Return the steepest grade that is usual on this road: over 50 m, away from its ends and joints, with a margin."""
    grid = np.arange(place_m[0], place_m[-1], USUAL_OVER_M)
    if len(grid) < 3:
        return USUAL_MOST
    grade = np.abs(np.diff(np.interp(grid, place_m, altitude_m))) / USUAL_OVER_M
    inside = (grid[:-1] > place_m[0] + SETTLING_M) & (grid[1:] < place_m[-1] - SETTLING_M)
    behind = np.array([joint for joint in joints if 0 < joint < len(place_m)], dtype=np.int64)
    covers = np.zeros(len(grid) + 1)
    np.add.at(covers, np.maximum(np.searchsorted(grid, place_m[behind - 1]) - 1, 0), 1.0)
    np.add.at(covers, np.searchsorted(grid, place_m[behind] + SETTLING_M), -1.0)
    inside &= np.cumsum(covers)[: len(inside)] < 0.5
    if inside.sum() < 3:
        return USUAL_MOST
    return float(np.clip(USUAL_MARGIN * np.quantile(grade[inside], USUAL_QUANTILE), USUAL_LEAST, USUAL_MOST))


def _leaps(place_m: Array, altitude_m: Array) -> list[int]:
    """Return the points behind the largest step of each stretch of 20 m that no road climbs."""
    ahead = np.minimum(np.searchsorted(place_m, place_m + LEAP_OVER_M, side="right") - 1, len(place_m) - 1)
    ahead = np.maximum(ahead, np.minimum(np.arange(len(place_m)) + 1, len(place_m) - 1))
    rise, run = np.abs(altitude_m[ahead] - altitude_m), place_m[ahead] - place_m
    steep = np.flatnonzero((rise > LEAP_LEAST_M) & (rise > SPIKE_LEAST_SLOPE * run))
    if not steep.size:
        return []
    step = np.abs(np.diff(altitude_m))
    starts = np.flatnonzero(np.concatenate(([True], steep[1:] > ahead[steep[:-1]])))
    ends = np.concatenate((starts[1:], [len(steep)])) - 1
    spans = zip(steep[starts].tolist(), ahead[steep[ends]].tolist(), strict=True)
    return [first + int(step[first:last].argmax()) + 1 for first, last in spans]


def _behind(place: Array, altitude: Array, clock: Array | None, joint: int, steepest: float, bad: Mask) -> None:
    """Mark the altitudes behind a joint that cannot be reached from before it."""
    before = joint - 1
    while before > 0 and bad[before]:
        before -= 1
    last = _settled(place, clock, joint)
    far = slice(joint, max(last, joint + 1))
    if not (np.abs(altitude[far] - altitude[before]) > SLACK_M + steepest * (place[far] - place[before])).any():
        return
    end = int(np.searchsorted(place, place[joint] + MOST_SETTLING_M))
    on = slice(last, max(end, last))
    fits = np.abs(altitude[on] - altitude[before]) <= SLACK_M + steepest * (place[on] - place[before])
    bad[joint : last + int(fits.argmax()) if fits.any() else max(end, last)] = True


def _settled(place: Array, clock: Array | None, joint: int) -> int:
    """Return the first point that is 150 m or 60 s behind a joint."""
    last = int(np.searchsorted(place, place[joint] + SETTLING_M))
    if clock is not None:
        last = min(last, int(np.searchsorted(clock, clock[joint] + SETTLING_S)))
    return last


def _at_end(place: Array, altitude: Array, clock: Array | None, steepest: float, bad: Mask) -> None:
    """Mark the altitudes before the first settled point that cannot be reached from it, nor from one another."""
    quarter = int(np.searchsorted(place, place[0] + 0.25 * (place[-1] - place[0])))
    edge = min(_settled(place, clock, 0), quarter)
    while edge < len(place) - 1 and bad[edge]:
        edge += 1
    trusted = edge
    for point in range(edge - 1, -1, -1):
        near = abs(altitude[point] - altitude[trusted]) <= SLACK_M + steepest * (place[trusted] - place[point])
        if near and abs(altitude[point] - altitude[edge]) <= SLACK_M + steepest * (place[edge] - place[point]):
            trusted = point
        else:
            bad[point] = True


def _reversed(place: Array, altitude: Array, clock: Array | None) -> tuple[Array, Array, Array | None]:
    return place[-1] - place[::-1], altitude[::-1], None if clock is None else clock[-1] - clock[::-1]
