"""Clean recorded points: repeats, disorder, jumps, standstills and wrong or missing altitudes."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RoadError
from ridesim.road.geodesy import leg_lengths
from ridesim.road.gpx import RawTrack
from ridesim.road.pauses import take_out_pauses

# Guesses, set on the recordings in tests/data/tracks and on made noise.
SAME_PLACE_M = 0.01
DISORDER_MOST_SHARE = 0.2  # a clock that is wrong more often than this is not used at all
UNTIMED_MOST_SHARE = 0.1  # more points without time than this, and the times are not used
SPIKE_LEAST_M = 5.0
FALSE_ZERO_LEAP_M = 30.0
SPIKE_LEAST_SLOPE = 0.35
SPIKE_MOST_POINTS = 3
JUMP_LEAST_M = 50.0
JUMP_LEGS = 4.0
GAP_LEAST_M = 100.0
GAP_LEGS = 8.0

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class CleanTrack:
    """Points in order at `horizontal_m` along the line; `moving_s` is the clock without pauses, or None."""

    name: str
    latitude_deg: Array
    longitude_deg: Array
    altitude_m: Array
    horizontal_m: Array
    heading_deg: Array
    moving_s: Array | None
    pauses: tuple[tuple[float, float], ...]
    counts: dict[str, int]
    gap_longest_m: float
    gap_total_m: float
    climb_raw_m: float
    descent_raw_m: float
    warnings: tuple[str, ...]


def clean_track(raw: RawTrack, where: str, flat: bool) -> CleanTrack:
    """Return the cleaned line of a recording. Raises RoadError where there is no line, or no altitude to ride."""
    climb, descent = recorded_climb(raw)
    counts: dict[str, int] = {"points_read": len(raw.segment), "segments": len(np.unique(raw.segment))}
    track, leave_s = merge_repeats(raw)
    counts["duplicates_dropped"] = counts["points_read"] - len(track.segment)
    track, leave_s, counts["out_of_order_dropped"], warnings = drop_disorder(track, leave_s)
    keep = ~position_jumps(track)
    counts["position_jumps_dropped"] = int((~keep).sum())
    track, leave_s = track.kept(keep), leave_s[keep]
    track, moving_s, pauses = take_out_pauses(track, leave_s)
    counts["pauses"] = len(pauses)
    length, heading = leg_lengths(track.latitude_deg, track.longitude_deg)
    horizontal = np.concatenate(([0.0], np.cumsum(length)))
    if horizontal[-1] <= 0.0:
        what = f"all {counts['points_read']} points stand at one place"
        raise RoadError(where, what, "give a recording that moves")
    altitude, counts["altitude_spikes_mended"], counts["altitudes_filled"] = mend_altitudes(
        track.altitude_m, horizontal, where, flat
    )
    counts["points_used"] = len(altitude)
    gap = gap_legs(length, raw.is_route)
    counts["gaps"] = int(gap.sum())
    return CleanTrack(
        name=raw.name,
        latitude_deg=track.latitude_deg,
        longitude_deg=track.longitude_deg,
        altitude_m=altitude,
        horizontal_m=horizontal,
        heading_deg=heading,
        moving_s=moving_s,
        pauses=tuple((float(horizontal[index]), dwell) for index, dwell in pauses),
        counts=counts,
        gap_longest_m=float(length[gap].max()) if gap.any() else 0.0,
        gap_total_m=float(length[gap].sum()),
        climb_raw_m=climb,
        descent_raw_m=descent,
        warnings=raw.warnings + warnings + _told_of_zero(altitude, flat),
    )


def _told_of_zero(altitude_m: Array, flat: bool) -> tuple[str, ...]:
    if flat or np.any(altitude_m != 0.0):
        return ()
    return ("the altitude is zero at every point: it was probably not recorded",)


def recorded_climb(raw: RawTrack) -> tuple[float, float]:
    """Return the plain sums of rises and falls [m] as recorded, inside segments only."""
    told = np.isfinite(raw.altitude_m)
    step, same = np.diff(raw.altitude_m[told]), np.diff(raw.segment[told]) == 0
    return float(step[same & (step > 0.0)].sum()), float(np.abs(step[same & (step < 0.0)]).sum())


def merge_repeats(track: RawTrack) -> tuple[RawTrack, Array]:
    """Return the track with points that repeat the place before them merged, and when each place was left [s].

    A merged point keeps the first time and the mean of the known altitudes.
    """
    length, _ = leg_lengths(track.latitude_deg, track.longitude_deg)
    first = np.flatnonzero(np.concatenate(([True], length >= SAME_PLACE_M)))
    known = np.isfinite(track.altitude_m)
    number = np.add.reduceat(known.astype(np.float64), first)
    total = np.add.reduceat(np.where(known, track.altitude_m, 0.0), first)
    altitude = np.where(number > 0.0, total / np.maximum(number, 1.0), np.nan)
    arrive = track.time_s[first]
    arrive = np.where(np.isfinite(arrive), arrive, np.fmin.reduceat(track.time_s, first))
    leave = np.fmax(arrive, np.fmax.reduceat(track.time_s, first))
    return track.kept(first, altitude_m=altitude, time_s=arrive), leave


def drop_disorder(track: RawTrack, leave_s: Array) -> tuple[RawTrack, Array, int, tuple[str, ...]]:
    """Return track and leaving times without the points whose clock runs backwards inside a segment.

    A clock that is mostly in disorder, or mostly missing, is left out instead (all times nan).
    """
    if np.isnan(track.time_s).all():
        return track, leave_s, 0, ()
    untimed = float(np.isnan(track.time_s).mean())
    if untimed > UNTIMED_MOST_SHARE:
        told = f"{untimed:.0%} of the points have no time: the recorded times are not used"
        return _without_times(track), np.full_like(leave_s, np.nan), 0, (told,)
    keep = np.ones(len(leave_s), dtype=bool)
    for number in np.unique(track.segment):
        inside = np.flatnonzero((track.segment == number) & np.isfinite(track.time_s))
        keep[inside] = in_order(track.time_s[inside])
    dropped = int((~keep).sum())
    if dropped > DISORDER_MOST_SHARE * len(keep):
        told = f"{dropped} of {len(keep)} points run backwards in time: the recorded times are not used"
        return _without_times(track), np.full_like(leave_s, np.nan), 0, (told,)
    return track.kept(keep), leave_s[keep], dropped, ()


def _without_times(track: RawTrack) -> RawTrack:
    everything = np.ones(len(track.segment), dtype=bool)
    return track.kept(everything, time_s=np.full(len(track.segment), np.nan))


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


def position_jumps(track: RawTrack) -> Mask:
    """Return which single points jump far off the line and back."""
    jumps = np.zeros(len(track.segment), dtype=bool)
    if len(jumps) < 5:
        return jumps
    latitude, longitude = track.latitude_deg, track.longitude_deg
    length, _ = leg_lengths(latitude, longitude)
    skipped = np.maximum(*(leg_lengths(latitude[start::2], longitude[start::2])[0].max() for start in (0, 1)))
    least = max(JUMP_LEAST_M, JUMP_LEGS * float(np.median(length)))
    if skipped == 0.0 or length.max() < least:
        return jumps
    for index in np.flatnonzero((length[:-1] > least) & (length[1:] > least)) + 1:
        ends = np.array([index - 1, index + 1])
        chord = float(leg_lengths(latitude[ends], longitude[ends])[0][0])
        jumps[index] = chord < 0.5 * min(length[index - 1], length[index]) and not jumps[index - 1]
    return jumps


def mend_altitudes(altitude_m: Array, horizontal_m: Array, where: str, flat: bool) -> tuple[Array, int, int]:
    """Return altitudes with spikes and holes bridged by straight lines, and how many of each there were."""
    known = np.isfinite(altitude_m) & ~false_zeros(altitude_m)
    if flat:
        level = float(altitude_m[known].mean()) if known.any() else 0.0
        return np.full_like(altitude_m, level), 0, 0
    if known.sum() < 2:
        what = f"{int(known.sum())} of {len(known)} points have an altitude, at least 2 needed"
        raise RoadError(where, what, "add altitudes to the file, or ask for a flat road (flat = true)")
    filled = int((~known).sum())
    spiky = np.zeros(len(altitude_m), dtype=bool)
    spiky[known] = altitude_spikes(altitude_m[known], horizontal_m[known])
    known &= ~spiky
    return np.interp(horizontal_m, horizontal_m[known], altitude_m[known]), int(spiky.sum()), filled


def false_zeros(altitude_m: Array) -> Mask:
    """Return which altitudes of exactly zero stand for "not known": runs between two places well above the sea."""
    false = np.zeros(len(altitude_m), dtype=bool)
    told = np.flatnonzero(np.isfinite(altitude_m))
    zero = altitude_m[told] == 0.0
    high = np.flatnonzero(~zero)
    for before, after in zip(high[:-1].tolist(), high[1:].tolist(), strict=True):
        if after - before > 1 and min(altitude_m[told[before]], altitude_m[told[after]]) > FALSE_ZERO_LEAP_M:
            false[told[before + 1 : after]] = True
    return false


def altitude_spikes(altitude_m: Array, horizontal_m: Array) -> Mask:
    """Return which points stand off their neighbours, one to three at a time, steeply in and steeply out again."""
    spiky = np.zeros(len(altitude_m), dtype=bool)
    for width in range(1, SPIKE_MOST_POINTS + 1):
        for start in _spike_starts(altitude_m, horizontal_m, width):
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


def gap_legs(length_m: Array, is_route: bool) -> Mask:
    """Return which legs are gaps: far longer than the others. The points of a route are meant to stand apart."""
    if is_route:
        return np.zeros(len(length_m), dtype=bool)
    return length_m > max(GAP_LEAST_M, GAP_LEGS * float(np.median(length_m)))
