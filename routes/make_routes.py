"""Write the demo roads. Run `python routes/make_routes.py`; the same files come out each time.

The roads are invented: a valley market, allotments and terraces on a ridge, put in an empty stretch of ocean so that
no real place is meant. Each is a true line with slopes, then recorded as a cheap receiver would: correlated position
noise, a drifting barometer, rounded numbers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

HERE = Path(__file__).parent
MARKET_LATITUDE_DEG, MARKET_LONGITUDE_DEG = -47.3, -118.0
METRES_PER_DEGREE_NORTH = 111_170.0  # WGS84 near 47 degrees, rounded
METRES_PER_DEGREE_EAST = 75_610.0
STEP_M = 1.0  # of the true line
START = datetime(2026, 5, 2, 6, 30, tzinfo=UTC)

# Guesses at a telephone in a handlebar bag.
POSITION_NOISE_M, POSITION_MEMORY_S, POSITION_JITTER_M = 2.2, 25.0, 0.3
BAROMETER_NOISE_M, BAROMETER_MEMORY_S, BAROMETER_DRIFT_M_PER_H = 0.4, 40.0, 3.0
CORNER_M_PER_S2, LEAST_M_PER_S = 1.5, 2.0

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    """A true line every metre: metres east and north of the market, and metres above the sea."""

    east_m: Array
    north_m: Array
    altitude_m: Array


@dataclass(frozen=True)
class Recording:
    """How a line was ridden and recorded."""

    name: str
    interval_s: float
    cruise_m_per_s: float
    seed: int
    with_time: bool
    pauses: tuple[tuple[float, float, bool], ...] = ()  # at metres, for seconds, recording switched off


def pieced_line(
    pieces: list[tuple[float, float]], heading_deg: float, slopes: list[tuple[float, float]], start_m: float
) -> Line:
    """Return a line of pieces (length [m], turn [degrees, right +]) with slopes (length [m], grade [%])."""
    turning = np.concatenate([np.full(round(length), math.radians(turn) / length) for length, turn in pieces])
    heading = math.radians(heading_deg) + np.concatenate(([0.0], np.cumsum(turning * STEP_M)))
    east, north = (
        np.concatenate(([0.0], np.cumsum(part[:-1] * STEP_M))) for part in (np.sin(heading), np.cos(heading))
    )
    corner = np.concatenate(([0.0], np.cumsum([length for length, _ in slopes])))
    height = np.concatenate(([0.0], np.cumsum([length * grade / 100.0 for length, grade in slopes])))
    altitude = start_m + np.interp(np.arange(len(east)) * STEP_M, corner, height)
    return Line(east, north, rounded_off(altitude, 30))


def rounded_off(altitude_m: Array, over: int) -> Array:
    """Return altitudes whose corners are rounded by a running mean over so many metres."""
    padded = np.concatenate((np.full(over, altitude_m[0]), altitude_m, np.full(over, altitude_m[-1])))
    return np.convolve(padded, np.ones(over) / over, mode="same")[over:-over]


def closed_line(length_m: float, start_m: float) -> Line:
    """Return a loop through the terraces whose place and height come back to the start."""
    angle = np.linspace(0.0, 2.0 * math.pi, 40_001)
    radius = 1.0 + 0.22 * np.cos(2.0 * angle + 0.4) + 0.12 * np.sin(3.0 * angle) + 0.04 * np.cos(11.0 * angle)
    east, north = radius * np.sin(angle), radius * np.cos(angle)
    along = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))))
    scale = length_m / along[-1]
    at = np.arange(0.0, length_m, STEP_M)
    part = 2.0 * math.pi * at / length_m
    waves = ((44.0, 2.0, 0.0), (18.0, 5.0, 0.9), (9.0, 9.0, 2.1), (4.0, 17.0, 0.3))
    altitude = start_m + sum(high * (1.0 - np.cos(turns * part + phase)) for high, turns, phase in waves)
    east, north = (np.interp(at, along * scale, (axis - axis[0]) * scale) for axis in (east, north))
    return Line(east, north, altitude)


def ridden_clock(line: Line, recording: Recording) -> Array:
    """Return the time [s] at each metre of a rider who slows on climbs and in bends."""
    heading = np.unwrap(np.arctan2(np.gradient(line.east_m), np.gradient(line.north_m)))
    bend = np.convolve(np.abs(np.gradient(heading)), np.ones(15) / 15.0, mode="same")
    grade = np.convolve(np.gradient(line.altitude_m), np.ones(41) / 41.0, mode="same")
    speed = recording.cruise_m_per_s / (1.0 + 9.0 * np.maximum(grade, 0.0))
    speed = np.minimum(speed, np.sqrt(CORNER_M_PER_S2 / np.maximum(bend, 1e-6)))
    return np.cumsum(STEP_M / np.maximum(speed, LEAST_M_PER_S))


def recorded(line: Line, recording: Recording) -> str:
    """Return the GPX text of a ride along the line."""
    clock = ridden_clock(line, recording)
    moving, told, shown = fix_times(clock, recording)
    at = np.interp(moving, clock, np.arange(len(clock), dtype=np.float64))
    random = np.random.default_rng(recording.seed)
    place = np.arange(len(clock), dtype=np.float64)
    east, north = (
        np.interp(at, place, axis)
        + wandering(random, len(at), recording.interval_s, POSITION_NOISE_M, POSITION_MEMORY_S)
        + random.normal(0.0, POSITION_JITTER_M, len(at))
        for axis in (line.east_m, line.north_m)
    )
    altitude = np.interp(at, place, line.altitude_m) + BAROMETER_DRIFT_M_PER_H * told / 3600.0
    altitude += wandering(random, len(at), recording.interval_s, BAROMETER_NOISE_M, BAROMETER_MEMORY_S)
    latitude = MARKET_LATITUDE_DEG + north / METRES_PER_DEGREE_NORTH
    longitude = MARKET_LONGITUDE_DEG + east / METRES_PER_DEGREE_EAST
    columns = (column[shown].tolist() for column in (latitude, longitude, altitude, told))
    return gpx_text(recording, list(zip(*columns, strict=True)))


def fix_times(clock: Array, recording: Recording) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Return riding time and clock time [s] of each fix, and which fixes were recorded."""
    total = float(clock[-1]) + sum(dwell for _, dwell, _ in recording.pauses)
    told = np.arange(0.0, total, recording.interval_s)
    moving, shown, spent = told.copy(), np.ones(len(told), dtype=bool), 0.0
    for at_m, dwell, switched_off in recording.pauses:
        begin = float(clock[round(at_m / STEP_M)]) + spent
        inside = (told > begin) & (told < begin + dwell)
        moving = moving - np.clip(told - begin, 0.0, dwell)
        shown &= ~(inside & switched_off)
        spent += dwell
    return np.clip(moving, clock[0], clock[-1]), told, shown


def wandering(random: np.random.Generator, count: int, step_s: float, size: float, memory_s: float) -> Array:
    """Return noise of a standard deviation that forgets itself over a memory time (first-order Markov)."""
    keep = math.exp(-step_s / memory_s)
    kicks = random.normal(0.0, size * math.sqrt(1.0 - keep**2), count)
    value, values = random.normal(0.0, size), []
    for kick in kicks.tolist():
        value = keep * value + kick
        values.append(value)
    return np.array(values)


def gpx_text(recording: Recording, fixes: list[tuple[float, float, float, float]]) -> str:
    """Return GPX 1.1 text of fixes (latitude, longitude, altitude, seconds)."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="routes/make_routes.py" xmlns="http://www.topografix.com/GPX/1/1">',
        f" <trk><name>{recording.name}</name><trkseg>",
    ]
    for latitude, longitude, altitude, told in fixes:
        time = f"<time>{START + timedelta(seconds=told):%Y-%m-%dT%H:%M:%SZ}</time>" if recording.with_time else ""
        place = f'lat="{latitude:.6f}" lon="{longitude:.6f}"'
        lines.append(f"  <trkpt {place}><ele>{altitude:.1f}</ele>{time}</trkpt>")
    return "\n".join([*lines, " </trkseg></trk>", "</gpx>", ""])


def valley_commute() -> str:
    """Return the way from the market to the allotment sheds: streets with corners, a bridge, lanes along the river."""
    corner_right, corner_left = (14.0, 90.0), (14.0, -90.0)
    streets = [(620.0, 4.0), corner_right, (410.0, -3.0), corner_left, (890.0, 12.0), corner_left, (760.0, 0.0)]
    lanes = [(500.0, 35.0), (640.0, -50.0), corner_right, (820.0, 20.0), (700.0, -60.0), (450.0, 45.0)]
    farm = [(900.0, -25.0), corner_left, (720.0, 30.0), corner_right, (520.0, 0.0)]
    slopes = [
        (1500.0, 0.3), (700.0, -0.4), (130.0, 6.0), (120.0, -5.5), (1800.0, 0.4),
        (900.0, 1.8), (600.0, -1.2), (1300.0, 0.5), (400.0, 3.5), (560.0, 0.8),
    ]  # fmt: skip
    line = pieced_line(streets + lanes + farm, 40.0, slopes, 112.0)
    return recorded(line, Recording("Market to the allotment sheds", 1.0, 6.4, 11, with_time=False))


def ridge_climb() -> str:
    """Return the climb from the sheds to the ridge: hairpins, 5 to 9 %, and a steeper ramp below the top terrace."""
    hairpin_right, hairpin_left = (44.0, 175.0), (44.0, -175.0)
    bends = [
        (900.0, 25.0), hairpin_left, (640.0, 12.0), hairpin_right, (720.0, -20.0), hairpin_left, (560.0, 15.0),
        hairpin_right, (980.0, -35.0), (800.0, 40.0), hairpin_left, (700.0, 20.0), (480.0, -10.0),
    ]  # fmt: skip
    slopes = [
        (700.0, 5.0),
        (900.0, 6.5),
        (800.0, 8.0),
        (700.0, 7.0),
        (900.0, 9.0),
        (220.0, 13.5),
        (800.0, 6.0),
        (1000.0, 8.0),
    ]
    line = pieced_line(bends, 310.0, slopes, 158.0)
    return recorded(line, Recording("Sheds to the top terrace", 3.0, 4.8, 12, with_time=False))


def terrace_round() -> str:
    """Return the round of the terraces, with times, a rest by the cistern and one with the recording switched off."""
    line = closed_line(20_000.0, 300.0)
    pauses = ((6_300.0, 95.0, False), (13_800.0, 420.0, True))
    return recorded(line, Recording("Round of the terraces", 2.0, 6.6, 13, with_time=True, pauses=pauses))


def written_routes() -> dict[str, str]:
    """Return the text of each recording by file name."""
    return {
        "valley-commute.gpx": valley_commute(),
        "ridge-climb.gpx": ridge_climb(),
        "terrace-round.gpx": terrace_round(),
    }


def write_routes(folder: Path) -> None:
    """Write every recording into a folder."""
    for name, text in written_routes().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write_routes(HERE)
