"""From cleaned points to a road: resample, smooth, slope, bends and recorded speed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RoadError
from ridesim.road.clean import CleanTrack
from ridesim.road.mendings import told
from ridesim.road.pauses import FASTEST_M_PER_S
from ridesim.road.profile import (
    SHORTEST_ROAD_M,
    TIGHTEST_RADIUS_M,
    Cleaning,
    Road,
    Stop,
    refuse_too_long,
    road_on_grid,
    sine_from_altitude,
)
from ridesim.road.smooth import HYSTERESIS_M, climb_and_descent_with_hysteresis, smoothed, steepest
from ridesim.units import from_si

# Guess: 30 m keeps a street corner a corner and makes no bend below 25 km/h out of 3 m of noise.
BEND_SMOOTHING_M = 30.0
SPEED_SMOOTHING_M = 20.0  # guess: the clock of a recording ticks in whole seconds
RAMP_M = 100.0
RAMP_LOST_SHARE, RAMP_LOST_GRADE = 0.25, 0.02  # a steepest stretch that smoothing flattens by both is told
STEEP_GRADE = 0.3  # a grade above it is told: a road seldom is, a wrong altitude often
GAP_SHARE = 0.1
"""Share of a road from which on it is worth a word that nobody recorded it (guess)."""
WANDER_SHARE = 0.05  # a line this much longer than its smoothed self is told
SPARSE_LEG_M = 200.0  # points further apart than this leave the road between to a guess

Array = NDArray[np.float64]


@dataclass(frozen=True)
class _Line:
    """The smoothed plane line on a uniform horizontal grid: directions east and north, and curvature.

    Its length is that of the way through the middle where the line zigzags.
    """

    east: Array
    north: Array
    curvature_per_m: Array
    length_m: float


def road_from_track(track: CleanTrack, source: str, smoothing_m: float, spacing_m: float) -> Road:
    """Return the road of a cleaned recording. Raises RoadError when it is too short."""
    total = float(track.horizontal_m[-1])
    if total < SHORTEST_ROAD_M:
        what = f"the road is {total:.1f} m long, at least {SHORTEST_ROAD_M:g} m needed"
        raise RoadError(source, what, "give a longer recording")
    refuse_too_long(source, total, spacing_m)
    horizontal = np.linspace(0.0, total, max(2, round(total / spacing_m)) + 1)
    step = float(horizontal[1])
    recorded = np.interp(horizontal, track.horizontal_m, track.altitude_m)
    altitude = smoothed(recorded, step, smoothing_m)
    ramps = (steepest(recorded, step, RAMP_M), steepest(altitude, step, RAMP_M))
    along = np.concatenate(([0.0], np.cumsum(np.hypot(step, np.diff(altitude)))))
    distance = np.linspace(0.0, float(along[-1]), max(2, round(along[-1] / spacing_m)) + 1)
    at = np.interp(distance, along, horizontal)
    spacing = float(distance[1])
    sine = sine_from_altitude(np.interp(at, horizontal, altitude), spacing)
    line = _smoothed_line(track, horizontal)
    bearing = np.degrees(np.arctan2(np.interp(at, horizontal, line.east), np.interp(at, horizontal, line.north)))
    bearing = np.mod(np.mod(bearing, 360.0), 360.0)  # once more: a tiny negative angle becomes 360 at first
    latitude, longitude = _position(track, at)

    def along_at(place_m: float) -> float:
        """Return the distance along the road [m] of a place along its map line [m]."""
        return float(np.interp(place_m, horizontal, along))

    road = road_on_grid(
        track.name,
        source,
        sine,
        spacing,
        float(altitude[0]),
        bearing,
        curvature_per_m=np.interp(at, horizontal, line.curvature_per_m),
        recorded_speed_m_per_s=_recorded_speed(track, at, spacing),
        mendings=tuple(replace(one, from_m=along_at(one.from_m), to_m=along_at(one.to_m)) for one in track.mendings),
        recorded_pauses=tuple(Stop(along_at(x), dwell) for x, dwell in track.pauses),
        latitude_deg=latitude,
        longitude_deg=longitude,
        recorded_altitude_m=np.interp(at, horizontal, recorded),
    )
    return _with_account(road, track, line.length_m, smoothing_m, ramps)


def _smoothed_line(track: CleanTrack, horizontal_m: Array) -> _Line:
    """Return the smoothed line; x east and y north unroll leg by leg, so any latitude will do."""
    length, heading = np.diff(track.horizontal_m), np.radians(track.heading_deg)
    step = float(horizontal_m[1])
    flow = []
    for part in (np.sin(heading), np.cos(heading)):
        unrolled = np.concatenate(([0.0], np.cumsum(length * part)))
        even = np.interp(horizontal_m, track.horizontal_m, unrolled)
        flow.append(np.gradient(smoothed(even, step, BEND_SMOOTHING_M), step))
    east, north = flow
    pace = np.hypot(east, north)
    turning = np.abs(east * np.gradient(north, step) - north * np.gradient(east, step))
    # Where a line doubles back its smoothed self stands still: the tightest turn stands in for 0/0.
    least_pace = (turning * TIGHTEST_RADIUS_M) ** (1.0 / 3.0)
    curvature = np.where(pace > least_pace, turning / np.maximum(pace, 1e-9) ** 3, 1.0 / TIGHTEST_RADIUS_M)
    curvature = np.where(turning > 0.0, curvature, 0.0)
    length_m = float(np.trapezoid(pace, dx=step))
    for start, end, middle_m in track.zigzags:
        inside = (horizontal_m >= start) & (horizontal_m <= end)
        length_m += min(middle_m - float(np.trapezoid(pace[inside], dx=step)), 0.0)
    return _Line(east, north, curvature, length_m)


def _position(track: CleanTrack, at_m: Array) -> tuple[Array, Array]:
    """Return latitude and longitude at distances along the line, safe across the date line."""
    longitude = np.degrees(np.unwrap(np.radians(track.longitude_deg)))
    east = np.interp(at_m, track.horizontal_m, longitude)
    return np.interp(at_m, track.horizontal_m, track.latitude_deg), np.mod(east + 180.0, 360.0) - 180.0


def _recorded_speed(track: CleanTrack, at_m: Array, spacing_m: float) -> Array | None:
    """Return the speed without pauses at the nodes; the smoothed clock keeps the riding time."""
    if track.moving_s is None:
        return None
    clock = smoothed(np.interp(at_m, track.horizontal_m, track.moving_s), spacing_m, SPEED_SMOOTHING_M)
    return 1.0 / np.maximum(np.gradient(clock, spacing_m), 1.0 / FASTEST_M_PER_S)


def _with_account(road: Road, track: CleanTrack, line_m: float, smoothing_m: float, ramps: tuple[float, float]) -> Road:
    """Return the road with the account of its cleaning and its warnings."""
    climb_h, descent_h = climb_and_descent_with_hysteresis(track.altitude_m)
    method = (
        f"raw: plain sum of the altitudes as recorded, inside segments; "
        f"hysteresis: over the {track.counts['points_used']} points used, moves under {HYSTERESIS_M:g} m not counted; "
        f"smoothed: plain sum every {road.spacing_m:.1f} m after a Gaussian {smoothing_m:g} m wide at half height"
    )
    cleaning = Cleaning(
        **track.counts,
        gap_longest_m=track.gap_longest_m,
        gap_total_m=track.gap_total_m,
        pause_total_s=sum(dwell for _, dwell in track.pauses),
        has_time=track.moving_s is not None,
        distance_horizontal_m=float(track.horizontal_m[-1]),
        distance_smoothed_line_m=line_m,
        smoothing_m=smoothing_m,
        spacing_m=road.spacing_m,
        climb_raw_m=track.climb_raw_m,
        descent_raw_m=track.descent_raw_m,
        climb_hysteresis_m=climb_h,
        descent_hysteresis_m=descent_h,
        climb_smoothed_m=road.climb_m,
        descent_smoothed_m=road.descent_m,
        climb_method=method,
        steepest_100m_recorded=ramps[0],
        steepest_100m_smoothed=ramps[1],
    )
    return replace(road, cleaning=cleaning, warnings=track.warnings + _warnings(road, track, cleaning))


def _warnings(road: Road, track: CleanTrack, cleaning: Cleaning) -> tuple[str, ...]:
    """Return what a rider should know before trusting this recording."""
    length = cleaning.distance_horizontal_m
    median_leg = float(np.median(np.diff(track.horizontal_m)))
    wander = length / cleaning.distance_smoothed_line_m - 1.0
    sharpest = float(np.abs(road.grade).max())
    before = cleaning.steepest_100m_recorded
    lost = before - cleaning.steepest_100m_smoothed
    more = (
        (
            cleaning.gap_total_m > GAP_SHARE * length,
            f"{cleaning.gap_total_m / length:.0%} of the length, {from_si(cleaning.gap_total_m, 'km'):.1f} km, was not "
            "recorded: straight lines bridge it, and its climb is a guess; keep one of the tracks, or add the points",
        ),
        (median_leg > SPARSE_LEG_M, f"the points stand {median_leg:.0f} m apart: the road between them is a guess"),
        (
            lost > max(RAMP_LOST_GRADE, RAMP_LOST_SHARE * before),
            f"smoothing takes the steepest {RAMP_M:.0f} m from {before:.1%} to {before - lost:.1%}: "
            "noise, or a ramp lost",
        ),
        (sharpest > STEEP_GRADE, f"the steepest grade is {sharpest:.0%}: check the altitudes or smooth more"),
        (
            wander > WANDER_SHARE,
            f"the recorded line wanders: it is {wander:.0%} longer than its smoothed self" + _zigzag_words(track),
        ),
    )
    return told(road.mendings) + tuple(text for true, text in more if true)


def _zigzag_words(track: CleanTrack) -> str:
    """Say where a line zigzags and was left as it is."""
    if not track.zigzags:
        return ""
    start, end = (from_si(each, "km") for each in track.zigzags[0][:2])
    more = f" and {len(track.zigzags) - 1} more places" if len(track.zigzags) > 1 else ""
    return f"; it zigzags at {start:.2f} to {end:.2f} km{more}, by the receiver or by hairpins"
