"""Zigzags of a receiver: a line that turns left and right again and again, sharper than any road does."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.road.geodesy import leg_lengths
from ridesim.road.gpx import RawTrack
from ridesim.road.smooth import smoothed

# Guesses, set on made zigzags and held against recordings that have none.
GRID_M = 4.0
TURNS_OVER_M = 10.0  # shorter wiggles are no zigzag: smoothing sees them whole
SWING_DEG = 50.0
WAVE_MOST_M = 90.0  # along the line: hairpins of a pass lie further apart
TURNS_LEAST = 5
SPARSE_LEG_M = 400.0
MIDDLE_PER_WAVE = 3.0  # width of the smoothing, in half waves: of the wave itself a hundredth is left
LONGER_LEAST, LONGER_MOST = 1.08, 1.8  # a line that doubles back on itself was ridden to and fro
FASTEST_TO_THE_SIDE_M_PER_S2 = 4.0  # guess: half of what dry asphalt holds; nobody rides it in turn after turn
METRES_PER_DEGREE = 111_195.0  # of the mean sphere: shifts are tens of metres
POLAR_DEG = 85.0

Array = NDArray[np.float64]
Numbers = NDArray[np.int64]


@dataclass(frozen=True)
class Zigzag:
    """A stretch between two points: its line as recorded and the way through its middle [m].

    `is_straightened`: by the clock nobody could have ridden it, and its points were moved onto that way.
    """

    first: int
    last: int
    line_m: float
    middle_m: float
    is_straightened: bool


def without_zigzags(track: RawTrack, clock_s: Array | None, moves: bool = True) -> tuple[RawTrack, tuple[Zigzag, ...]]:
    """Return the track with the points of impossible zigzags on the way through their middle, and every zigzag.

    Points are numbered as those of `track`; `clock_s` is the riding clock at them, or None. What was perhaps ridden
    (there is no clock, or it was slow), or all without `moves`, stays as it is.
    """
    length, heading = leg_lengths(track.latitude_deg, track.longitude_deg)
    place = np.concatenate(([0.0], np.cumsum(length)))
    if len(place) < TURNS_LEAST or not place[-1] > 0.0 or np.abs(track.latitude_deg).max() > POLAR_DEG:
        return track, ()
    if place[-1] > SPARSE_LEG_M * len(place):  # points far apart have no turns between them
        return track, ()
    grid = np.linspace(0.0, place[-1], max(2, round(place[-1] / GRID_M)) + 1)
    line = [
        np.interp(grid, place, np.concatenate(([0.0], np.cumsum(length * part))))
        for part in (np.sin(np.radians(heading)), np.cos(np.radians(heading)))
    ]
    found, shift = list[Zigzag](), [np.zeros(len(place)), np.zeros(len(place))]
    for start, end, wave_m, bend_per_m in _runs(line, float(grid[1])):
        middle = [_through(part[start : end + 1], float(grid[1]), wave_m) for part in line]
        middle_m = float(np.hypot(*map(np.diff, middle)).sum())
        first, after = np.searchsorted(place, (grid[start], grid[end])).tolist()
        inside, last = slice(first, after), min(after, len(place) - 1)
        line_m = float(grid[end] - grid[start])
        if not LONGER_LEAST * middle_m <= line_m <= LONGER_MOST * middle_m or after - first < TURNS_LEAST:
            continue
        moved = moves and _to_the_side(clock_s, first, last, line_m, bend_per_m) > FASTEST_TO_THE_SIDE_M_PER_S2
        found.append(Zigzag(first, last, line_m, middle_m, moved))
        if moved:
            for shifted, part, mid in zip(shift, line, middle, strict=True):
                off = mid - part[start : end + 1]
                shifted[inside] = np.interp(place[inside], grid[start : end + 1], off)
    return (_shifted(track, *shift) if any(one.is_straightened for one in found) else track), tuple(found)


def _runs(line: list[Array], step_m: float) -> list[tuple[int, int, float, float]]:
    """Return first and last node of each zigzag, its usual half wave [m] and how sharply it usually bends [1/m]."""
    east, north = (np.gradient(smoothed(part, step_m, TURNS_OVER_M)) for part in line)
    heading = np.unwrap(np.arctan2(east, north))
    turns = turning_points(heading, float(np.radians(SWING_DEG)))
    close = np.diff(turns) * step_m <= WAVE_MOST_M
    edges = np.flatnonzero(np.diff(np.concatenate(([0], close.astype(np.int8), [0]))))
    bend, found = np.abs(np.gradient(heading)) / step_m, []
    for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if last - first + 1 < TURNS_LEAST:
            continue
        at = turns[first : last + 1]
        sharpest = [float(bend[one : two + 1].max()) for one, two in itertools.pairwise(at)]
        found.append((int(at[0]), int(at[-1]), float(np.median(np.diff(at))) * step_m, float(np.median(sharpest))))
    return found


def turning_points(values: Array, least: float) -> Numbers:
    """Return the highs and lows, by turns, between which the values move by at least so much."""
    found, side, best = list[int](), 0, 0
    low = high = 0
    for index, value in enumerate(values.tolist()):
        if side == 0:
            low, high = (index if value < values[low] else low), (index if value > values[high] else high)
            if values[high] - values[low] >= least:
                side, best = (1 if high > low else -1), index
                found.append(min(low, high))
        elif side * (value - values[best]) > 0.0:
            best = index
        elif side * (values[best] - value) >= least:
            found.append(best)
            side, best = -side, index
    return np.array([*found, best] if side else [], dtype=np.int64)


def _through(part: Array, step_m: float, wave_m: float) -> Array:
    """Return one coordinate of the way through the middle of a zigzag."""
    return smoothed(part, step_m, MIDDLE_PER_WAVE * wave_m)


def _to_the_side(clock_s: Array | None, first: int, last: int, line_m: float, bend_per_m: float) -> float:
    """Return the sideways acceleration in a usual turn of a zigzag, had it been ridden [m/s2]; 0 without a clock."""
    spent = float(clock_s[last] - clock_s[first]) if clock_s is not None else 0.0
    return (line_m / spent) ** 2 * bend_per_m if spent > 0.0 else 0.0


def _shifted(track: RawTrack, east_m: Array, north_m: Array) -> RawTrack:
    latitude = track.latitude_deg + north_m / METRES_PER_DEGREE
    longitude = track.longitude_deg + east_m / (METRES_PER_DEGREE * np.cos(np.radians(track.latitude_deg)))
    everything = np.ones(len(latitude), dtype=bool)
    around = np.where(east_m == 0.0, track.longitude_deg, np.mod(longitude + 180.0, 360.0) - 180.0)
    return track.kept(everything, latitude_deg=latitude, longitude_deg=around)
