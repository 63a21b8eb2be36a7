"""Clean recorded points: repeats, disorder, points gone astray, frozen fixes, standstills and wrong altitudes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RoadError
from ridesim.road.altitudes import Line, Mended, impossible, mend_altitudes
from ridesim.road.astray import lost_points, position_jumps, refuse_leaps, thaw
from ridesim.road.copies import told_of_earlier_parts, without_copies
from ridesim.road.geodesy import leg_lengths
from ridesim.road.gpx import RawTrack
from ridesim.road.mendings import Fault, Mending, faults_of, placed, told_of_flattened
from ridesim.road.order import in_clock_order
from ridesim.road.pauses import take_out_pauses
from ridesim.road.ticks import without_ticks
from ridesim.road.zigzag import Zigzag, without_zigzags

# Guesses, set on the recordings in tests/data/tracks and on made noise.
SAME_PLACE_M = 0.01
GAP_LEAST_M = 100.0
GAP_LEGS = 8.0
LONG_STOP_S = 60.0  # the altitude behind a stop of a minute is looked at

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Numbers = NDArray[np.int64]


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
    zigzags: tuple[tuple[float, float, float], ...]
    """Perhaps the receiver's, perhaps ridden: from, to, and the length of the way through the middle [m]."""
    mendings: tuple[Mending, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class _Moving:
    """Points without standstills: the riding clock, (index, dwell [s]) of each pause, legs longer than they look."""

    track: RawTrack
    moving_s: Array | None
    pauses: list[tuple[int, float]]
    stretch: dict[int, float]
    repeats: int


def clean_track(raw: RawTrack, where: str, flat: bool, as_it_is: bool = False) -> CleanTrack:
    """Return the cleaned line of a recording. Raises RoadError where there is no line, or no altitude to ride.

    `as_it_is` drops only repeats and disorder, and fills only what is missing.
    """
    faults: list[Fault] = []
    read = raw
    as_read = raw if as_it_is else without_copies(raw, faults)
    climb, descent = recorded_climb(as_read)
    raw = _without_impossible_altitudes(as_read, faults)
    moving, warnings = _in_motion(raw, as_it_is, faults)
    track = moving.track
    if len(track.segment) < 2:
        raise RoadError(where, f"all {len(raw.segment)} points stand at one place", "give a recording that moves")
    length, heading = leg_lengths(track.latitude_deg, track.longitude_deg)
    refuse_leaps(track.number, length, where)
    track, zigzags = without_zigzags(track, moving.moving_s, moves=not as_it_is)
    if any(one.is_straightened for one in zigzags):
        length, heading = leg_lengths(track.latitude_deg, track.longitude_deg)
    length = _stretched(length, track, moving.stretch, faults)
    gap = gap_legs(length, raw.is_route)
    legs = zip(track.number[:-1][gap].tolist(), track.number[1:][gap].tolist(), strict=True)
    faults += [Fault("gap", first, last, 0) for first, last in legs if first not in moving.stretch]
    horizontal = np.concatenate(([0.0], np.cumsum(length)))
    if horizontal[-1] <= 0.0:
        raise RoadError(where, f"all {len(raw.segment)} points stand at one place", "give a recording that moves")
    faults += [
        Fault("zigzag", int(track.number[one.first]), int(track.number[one.last]), 0)
        for one in zigzags
        if one.is_straightened
    ]
    line = Line(horizontal, track.altitude_m, moving.moving_s, _joints(moving, gap))
    mended = mend_altitudes(line, where, flat, as_it_is)
    faults += _altitude_faults(mended, track.altitude_m, track.number, raw.number[impossible(as_read.altitude_m)])
    return CleanTrack(
        name=raw.name,
        latitude_deg=track.latitude_deg,
        longitude_deg=track.longitude_deg,
        altitude_m=mended.altitude_m,
        horizontal_m=horizontal,
        heading_deg=heading,
        moving_s=moving.moving_s,
        pauses=tuple((float(horizontal[index]), dwell) for index, dwell in moving.pauses),
        counts=_counts(read, track, moving, faults),
        gap_longest_m=float(length[gap].max()) if gap.any() else 0.0,
        gap_total_m=float(length[gap].sum()),
        climb_raw_m=climb,
        descent_raw_m=descent,
        zigzags=_placed_zigzags(zigzags, horizontal),
        mendings=placed(faults, track.number, horizontal),
        warnings=raw.warnings + warnings + _told_of_altitudes(mended, track.altitude_m, flat),
    )


def _in_motion(raw: RawTrack, as_it_is: bool, faults: list[Fault]) -> tuple[_Moving, tuple[str, ...]]:
    """Return the points in order and without standstills, and warnings; add each fault of position or clock."""
    track, leave_s = merge_repeats(raw if as_it_is else without_ticks(raw, faults))
    repeats = len(raw.segment) - len(track.segment)
    track, leave_s, warnings = in_clock_order(track, leave_s, as_it_is, faults)
    faults += told_of_earlier_parts(track)
    if as_it_is:
        return _without_pauses(track, leave_s, {}, repeats, faults), warnings
    for kind, astray in (("far_points", lost_points), ("position_jump", position_jumps)):
        keep = ~astray(track)
        faults += faults_of(kind, track.number[~keep], track.number)
        track, leave_s = track.kept(keep), leave_s[keep]
    thawed = thaw(track, leave_s)
    return _without_pauses(thawed.track, thawed.leave_s, thawed.stretch, repeats, faults), warnings


def _without_pauses(
    track: RawTrack, leave_s: Array, stretch: dict[int, float], repeats: int, faults: list[Fault]
) -> _Moving:
    """Return the points without standstills, and tell each leg whose time is not believed and each line left out."""
    ridden = take_out_pauses(track, leave_s)
    faults += [Fault("pace", first, after, 0) for first, after in ridden.leaps]
    faults += [Fault("left_out", first, after, round(line_m)) for first, after, line_m in ridden.left_out]
    return _Moving(ridden.track, ridden.clock_s, ridden.pauses, stretch, repeats)


def _without_impossible_altitudes(raw: RawTrack, faults: list[Fault]) -> RawTrack:
    """Return the recording with impossible altitudes as missing ones, and tell each."""
    bad = impossible(raw.altitude_m)
    faults += faults_of("altitude_impossible", raw.number[bad], raw.number)
    everything = np.ones(len(bad), dtype=bool)
    return raw.kept(everything, altitude_m=np.where(bad | ~np.isfinite(raw.altitude_m), np.nan, raw.altitude_m))


def _stretched(length: Array, track: RawTrack, stretch: dict[int, float], faults: list[Fault]) -> Array:
    """Return leg lengths with the gaps of frozen fixes as long as they were ridden, and tell each."""
    length = length.copy()
    for number, least_m in stretch.items():
        leg = int(np.searchsorted(track.number, number))
        if leg < len(length) and track.number[leg] == number:
            length[leg] = max(float(length[leg]), least_m)
            faults.append(Fault("frozen_fix", number, int(track.number[leg + 1]), 0))
    return length


def _joints(moving: _Moving, gap: Mask) -> list[int]:
    """Return the points behind a stop of a minute, a gap or the joint of two segments."""
    joints = np.diff(moving.track.segment) != 0
    joints |= gap
    for number in moving.stretch:
        leg = int(np.searchsorted(moving.track.number, number))
        joints[min(leg, len(joints) - 1)] = True
    for index, dwell in moving.pauses:
        if dwell >= LONG_STOP_S and index < len(joints):
            joints[index] = True
    return (np.flatnonzero(joints) + 1).tolist()


def _placed_zigzags(zigzags: Sequence[Zigzag], place_m: Array) -> tuple[tuple[float, float, float], ...]:
    return tuple(
        (float(place_m[one.first]), float(place_m[one.last]), one.middle_m)
        for one in zigzags
        if not one.is_straightened
    )


def _altitude_faults(mended: Mended, recorded_m: Array, number: Numbers, told: Numbers) -> list[Fault]:
    """Return the faults of the altitudes; those of the points `told` are told already."""
    found = []
    if mended.step_m > 0.0:
        changed = int(np.count_nonzero(np.diff(recorded_m[np.isfinite(recorded_m)])))
        found.append(Fault("steps", int(number[0]), int(number[-1]), changed))
    kinds = (
        ("missing", mended.missing & ~np.isin(number, told)),
        ("spike", mended.spike),
        ("unsettled", mended.unsettled),
    )
    for kind, bad in kinds:
        found += faults_of(f"altitude_{kind}", number[bad], number)
    return found


def _counts(raw: RawTrack, track: RawTrack, moving: _Moving, faults: list[Fault]) -> dict[str, int]:
    """Return how much was read, mended and used."""
    points: dict[str, int] = {}
    for fault in faults:
        points[fault.kind] = points.get(fault.kind, 0) + fault.points
    return {
        "points_read": len(raw.segment),
        "points_used": len(track.segment),
        "segments": len(np.unique(raw.segment)),
        "duplicates_dropped": moving.repeats,
        "copied_points_dropped": points.get("copied", 0),
        "parts_with_earlier_clock": sum(fault.kind == "earlier_part" for fault in faults),
        "out_of_order_dropped": points.get("out_of_order", 0),
        "times_left_out": points.get("time_wrong", 0),
        "clock_ticks_spread": points.get("ticks", 0),
        "clock_set_back": sum(fault.kind == "clock_set_back" for fault in faults),
        "paces_not_believed": sum(fault.kind == "pace" for fault in faults),
        "wandering_left_out_m": points.get("left_out", 0),
        "far_points_dropped": points.get("far_points", 0),
        "position_jumps_dropped": points.get("position_jump", 0),
        "zigzags_straightened": sum(fault.kind == "zigzag" for fault in faults),
        "frozen_fixes": sum(fault.kind == "frozen_fix" for fault in faults),
        "altitudes_impossible": points.get("altitude_impossible", 0),
        "altitude_spikes_mended": points.get("altitude_spike", 0),
        "altitudes_not_trusted": points.get("altitude_unsettled", 0),
        "altitude_steps_evened": points.get("steps", 0),
        "altitudes_filled": points.get("altitude_missing", 0),
        "gaps": sum(fault.kind == "gap" for fault in faults),
        "pauses": len(moving.pauses),
    }


def _told_of_altitudes(mended: Mended, recorded_m: Array, flat: bool) -> tuple[str, ...]:
    """Return what to tell of altitudes that come in steps, and of a road without a slope: asked for, or unrecorded."""
    if flat:
        return told_of_flattened(recorded_m[np.isfinite(recorded_m)])
    if mended.step_m > 0.0:
        return (f"the altitude comes in steps of {mended.step_m:.3g} m: the road is drawn through the middle of each",)
    if np.any(mended.altitude_m != 0.0):
        return ()
    return ("the altitude is zero at every point: it was probably not recorded",)


def recorded_climb(raw: RawTrack) -> tuple[float, float]:
    """Return the plain sums of rises and falls [m] as recorded, inside segments only."""
    told = np.isfinite(raw.altitude_m) & ~impossible(raw.altitude_m)
    step, same = np.diff(raw.altitude_m[told]), np.diff(raw.segment[told]) == 0
    return float(step[same & (step > 0.0)].sum()), float(np.abs(step[same & (step < 0.0)]).sum())


def merge_repeats(track: RawTrack) -> tuple[RawTrack, Array]:
    """Return the track with points that repeat the place before them merged, and when each place was left [s].

    A merged point keeps the first time and the first known altitude: while a bike stands, or its fix is frozen, the
    altitude drifts or belongs to another place.
    """
    length, _ = leg_lengths(track.latitude_deg, track.longitude_deg)
    first = np.flatnonzero(np.concatenate(([True], length >= SAME_PLACE_M)))
    known = np.flatnonzero(np.isfinite(track.altitude_m))
    ends = np.concatenate((first[1:], [len(track.segment)]))
    altitude = np.full(len(first), np.nan)
    if known.size:
        at = np.minimum(np.searchsorted(known, first), len(known) - 1)
        inside = (known[at] >= first) & (known[at] < ends)
        altitude[inside] = track.altitude_m[known[at[inside]]]
    arrive = track.time_s[first]
    arrive = np.where(np.isfinite(arrive), arrive, np.fmin.reduceat(track.time_s, first))
    leave = np.fmax(arrive, np.fmax.reduceat(track.time_s, first))
    return track.kept(first, altitude_m=altitude, time_s=arrive), leave


def gap_legs(length_m: Array, is_route: bool) -> Mask:
    """Return which legs are gaps: far longer than the others. The points of a route are meant to stand apart."""
    if is_route:
        return np.zeros(len(length_m), dtype=bool)
    return length_m > max(GAP_LEAST_M, GAP_LEGS * float(np.median(length_m)))
