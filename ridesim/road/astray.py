"""Positions gone astray: points far off the road, jumps, and fixes that froze while the bike rode on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RoadError
from ridesim.road.geodesy import leg_lengths
from ridesim.road.gpx import RawTrack
from ridesim.road.limits import LONGEST_LEAP_M
from ridesim.road.pauses import EDGE_M_PER_S, FASTEST_M_PER_S
from ridesim.units import from_si

# Guesses, set on recordings with such faults.
JUMP_LEAST_M = 50.0
JUMP_LEGS = 4.0
FAR_LEAST_M = 2000.0
FAR_LEGS = 50.0
FEW_POINTS = 3
FEW_SHARE = 0.005  # a piece with so few points is no part of the ride
NULL_ISLAND_M = 100_000.0
FROZEN_LEAST_S = 3.0
FROZEN_LEAP_M = 20.0
FROZEN_MOST_S = 1800.0
PACE_BEFORE_S = 20.0
SLOWEST_RIDDEN_SHARE = 1.0 / 3.0  # a leap shorter than this share of what was ridden before is a stop, not a tunnel
CROSSING_M_PER_S = 2.0

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


def lost_points(track: RawTrack) -> Mask:
    """Return which points are far off the road: at 0°, 0°, or a few on their own beyond a leap."""
    lost = _null_island(track)
    for _ in range(8):  # a piece that is gone may bare another one
        kept = np.flatnonzero(~lost)
        more = _small_pieces(track.latitude_deg[kept], track.longitude_deg[kept], track.is_route)
        if not more.any():
            break
        lost[kept[more]] = True
    return lost


def _null_island(track: RawTrack) -> Mask:
    """Return the points at exactly 0°, 0°, where receivers without a fix are, if the road is elsewhere."""
    null = (track.latitude_deg == 0.0) & (track.longitude_deg == 0.0)
    if not null.any() or null.all():
        return null & False
    middle = (float(np.median(track.latitude_deg[~null])), float(np.median(track.longitude_deg[~null])))
    away, _ = leg_lengths(np.array([0.0, middle[0]]), np.array([0.0, middle[1]]))
    return null & (away[0] > NULL_ISLAND_M)


def _small_pieces(latitude: Array, longitude: Array, is_route: bool) -> Mask:
    """Return which points belong to a small piece at an end beyond a leap, or between a leap out and a leap back."""
    small = np.zeros(len(latitude), dtype=bool)
    if is_route or len(latitude) < 2 * FEW_POINTS:
        return small
    length, _ = leg_lengths(latitude, longitude)
    leaps = np.flatnonzero(length > max(FAR_LEAST_M, FAR_LEGS * float(np.median(length))))
    if not leaps.size:
        return small
    few = max(FEW_POINTS, int(FEW_SHARE * len(latitude)))
    edges = [0, *(leaps + 1).tolist(), len(latitude)]
    sizes = np.diff(edges)
    for number in np.flatnonzero(sizes <= few).tolist():
        first, after = edges[number], edges[number + 1]
        at_end = number in (0, len(sizes) - 1)
        if sizes[number] == sizes.max() or (not at_end and not _returns(latitude, longitude, length, first, after)):
            continue
        small[first:after] = True
    return small


def _returns(latitude: Array, longitude: Array, length: Array, first: int, after: int) -> bool:
    """Return whether the line goes on near where it left off before the points from `first` up to `after`."""
    ends = np.array([first - 1, after])
    chord = float(leg_lengths(latitude[ends], longitude[ends])[0][0])
    return chord < 0.5 * float(min(length[first - 1], length[after - 1]))


def position_jumps(track: RawTrack) -> Mask:
    """Return which single points jump far off the line and back."""
    jumps = np.zeros(len(track.segment), dtype=bool)
    if len(jumps) < 5:
        return jumps
    latitude, longitude = track.latitude_deg, track.longitude_deg
    length, _ = leg_lengths(latitude, longitude)
    least = max(JUMP_LEAST_M, JUMP_LEGS * float(np.median(length)))
    out = np.flatnonzero((length[:-1] > least) & (length[1:] > least)) + 1
    if not out.size:
        return jumps
    ends = np.column_stack((out - 1, out + 1)).ravel()
    chord = leg_lengths(latitude[ends], longitude[ends])[0][::2]
    returns = chord < 0.5 * np.minimum(length[out - 1], length[out])
    if bool((returns & (chord > 0.0)).any()) or bool((length <= least).any()):
        for index in out[returns].tolist():
            jumps[index] = not jumps[index - 1]
    return jumps


def refuse_leaps(number: NDArray[np.int64], length_m: Array, where: str) -> None:
    """Raise RoadError for a leg over which nobody rode on."""
    far = np.flatnonzero(length_m > LONGEST_LEAP_M)
    if far.size:
        first = int(far[0])
        apart = f"{from_si(float(length_m[first]), 'km'):.0f} km apart"
        most = f"at most {from_si(LONGEST_LEAP_M, 'km'):.0f} km"
        what = f"points {number[first] + 1} and {number[first + 1] + 1} are {apart} ({most})"
        raise RoadError(where, what, "cut the recording there, or delete the wrong points")


@dataclass(frozen=True)
class Thawed:
    """A track with its frozen fixes turned into gaps: leaving times, legs to lengthen and the gaps' first points."""

    track: RawTrack
    leave_s: Array
    stretch: dict[int, float]
    """Number of the recorded point before a gap -> how long the gap is at least [m]."""


def thaw(track: RawTrack, leave_s: Array) -> Thawed:
    """Return the track with frozen fixes as gaps.

    A fix is frozen where the bike seems to stand for seconds and then leaps faster than it can ride: it rode on. The
    gap is as long as the leap, or as the speed before times the frozen time where that is more. Where it is far more,
    the bike did stand, and only the leap is ridden.
    """
    keep, stretch = np.ones(len(leave_s), dtype=bool), dict[int, float]()
    known = np.isfinite(track.time_s)
    if known.sum() < 3:
        return Thawed(track, leave_s, stretch)
    count = np.arange(len(known))
    arrive = np.interp(count, count[known], track.time_s[known])
    leave = np.where(known, leave_s, arrive)
    length, _ = leg_lengths(track.latitude_deg, track.longitude_deg)
    riding = arrive[1:] - leave[:-1]
    leaps = np.flatnonzero((length > FROZEN_LEAP_M) & (riding >= 0.0) & (length > FASTEST_M_PER_S * riding))
    place = np.concatenate(([0.0], np.cumsum(length)))
    for leg in leaps.tolist():
        first = _frozen_from(arrive, leave, length, leg)
        spent = float(arrive[leg + 1] - arrive[first])
        if float(leave[leg] - arrive[first]) < FROZEN_LEAST_S or not keep[first]:
            continue
        pace = _pace_before(arrive, leave, place, first)
        leap = float(leg_lengths(track.latitude_deg[[first, leg + 1]], track.longitude_deg[[first, leg + 1]])[0][0])
        keep[first + 1 : leg + 1] = False
        if leap >= SLOWEST_RIDDEN_SHARE * pace * spent:
            leave[first] = arrive[first]
            stretch[int(track.number[first])] = max(leap, pace * spent)
        else:
            crossing = min(leap / max(pace, CROSSING_M_PER_S), 0.5 * spent)
            leave[first] = arrive[leg + 1] - crossing
            stretch[int(track.number[first])] = leap
    return Thawed(track.kept(keep), leave[keep], stretch)


def _frozen_from(arrive: Array, leave: Array, length: Array, leg: int) -> int:
    """Return the point at which the fix froze that leaps over `leg`: back over legs as slow as a standing receiver."""
    first = leg
    while (
        first > 0
        and arrive[leg] - arrive[first - 1] < FROZEN_MOST_S
        and length[first - 1] < EDGE_M_PER_S * (arrive[first] - leave[first - 1])
    ):
        first -= 1
    return first


def _pace_before(arrive: Array, leave: Array, place: Array, first: int) -> float:
    """Return the mean speed over the seconds before a point, standing left out [m/s]; 0 where nothing is known."""
    start = int(np.searchsorted(arrive[: first + 1], arrive[first] - PACE_BEFORE_S))
    if start >= first:
        return 0.0
    ridden = arrive[first] - arrive[start] - float((leave[start:first] - arrive[start:first]).sum())
    return float(min((place[first] - place[start]) / max(ridden, 1.0), FASTEST_M_PER_S))
