"""A GPX beside a log: places, altitude and speed brought onto the log's clock, by time, by speed, or by distance.

Clocks of two recorders differ by seconds, by hours (a time zone), and drift: the offset is where the speeds of both
agree best, found by cross-correlation, in each half of the ride, so that a drift shows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import LogError
from ridesim.learn.log import Log, load_log
from ridesim.road.geodesy import leg_lengths
from ridesim.road.gpx import RawTrack, parse_gpx
from ridesim.road.smooth import smoothed
from ridesim.units import from_si, to_si

LEAST_AGREEMENT = 0.75
"""Correlation of both speeds below which the GPX is not of this ride (guess)."""
LEAST_OVERLAP_S = 120.0
SMOOTHING_S = 5.0
DRIFT_TOLD = 1e-4
SAME_LENGTH = 0.1
"""A road without times may be longer or shorter by this share than the log (guess)."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Aligned:
    """A log with the columns of a GPX; how it was aligned, and how well both speeds agree (correlation)."""

    log: Log
    by: str
    agreement: float
    offset_s: float
    drift_ppm: float
    note: str


def with_gpx(log: Log, path: str | Path) -> Aligned:
    """Return a log with place, altitude and speed of a GPX. Raises LogError for one that is not of this ride."""
    track = parse_gpx(Path(path))
    if np.isfinite(track.time_s).mean() > 0.5:
        return _by_speed(log, _timed(track), str(path))
    return _by_distance(log, track, str(path))


def read_ride(
    path: str | Path, mapping: str | Path | None = None, gpx: str | Path | None = None,
    step: Callable[[int], None] = lambda _done: None,
) -> Log:  # fmt: skip
    """Return a log, with the GPX beside it if one is given; its notes say what is to know of both. Raises LogError.

    `step` is told of each of two steps.
    """
    log = load_log(path, mapping)
    step(1)
    notes = [*log.notes, *(f"{each.column or 'rows'}: {each.share:.1%} {each.words}" for each in log.findings)]
    if log.mapping.guessed:
        notes.append("what the columns hold is guessed: ridesim log LOG shows it, --map takes a corrected mapping")
    if gpx is not None:
        aligned = with_gpx(log, gpx)
        log = aligned.log
        notes.append(f"{gpx}: {aligned.note}")
    step(1)
    return replace(log, notes=tuple(notes))


def parts_per_million(share: float) -> float:
    """Return a share in parts per million."""
    return share / MILLIONTH


MILLIONTH = 1e-6


def log_speed(log: Log) -> Array:
    """Return a log's road speed [m/s], nan in gaps; or turns of the motor, in any unit, where no speed is logged."""
    for name in ("speed_km_h", "gps_speed_km_h"):
        if name in log:
            return np.asarray(to_si(log.columns[name], "km_h"))
    for name in ("motor_speed_rpm", "electrical_speed_rpm", "wheel_speed_rpm"):
        if name in log:
            return np.asarray(np.abs(log.columns[name]))
    if "distance_km" in log:
        return np.asarray(np.gradient(to_si(log.columns["distance_km"], "km"), log.step_s))
    log.require("speed_km_h")
    raise AssertionError


@dataclass(frozen=True, eq=False)
class _Timed:
    time_s: Array
    speed: Array
    latitude: Array
    longitude: Array
    altitude: Array


def _timed(track: RawTrack) -> _Timed:
    known = np.isfinite(track.time_s)
    part = track.kept(np.flatnonzero(known))
    rising = np.concatenate(([True], np.diff(np.maximum.accumulate(part.time_s)) > 0.0))
    part = part.kept(np.flatnonzero(rising))
    length, _ = leg_lengths(part.latitude_deg, part.longitude_deg)
    speed = length / np.diff(part.time_s)
    middle = 0.5 * (part.time_s[1:] + part.time_s[:-1])
    return _Timed(
        part.time_s, np.interp(part.time_s, middle, speed), part.latitude_deg, part.longitude_deg, part.altitude_m
    )


def _by_speed(log: Log, track: _Timed, where: str) -> Aligned:
    """Align by the offset at which both speeds agree best; the clocks' own offset is only told."""
    own = _each_second(log.time_s, log_speed(log))
    first = float(track.time_s[0])
    other = _each_second(track.time_s - first, track.speed)
    offset, agreement = _best_offset(own, other)
    if agreement < LEAST_AGREEMENT:
        what = f"its speed is not that of {log.path} (correlation {agreement:.2f} at best)"
        raise LogError(where, what, f"give the GPX of the same ride (at least {LEAST_AGREEMENT:g})")
    half = len(own) // 2
    drift = 0.0
    if len(own) > 4.0 * LEAST_OVERLAP_S:
        early, late = (_near_offset(own, other, offset, part) for part in (slice(0, half), slice(half, None)))
        drift = (late - early) / (0.5 * len(own))
        offset = 0.5 * (early + late) - drift * 0.5 * len(own)
    at = log.time_s * (1.0 + drift) + offset
    columns = _on_log(log, at, track, first)
    note = f"aligned by speed: correlation {agreement:.2f}"
    if log.epoch_s is not None:
        note += f"; the clocks differ by {float(first + at[0] - log.epoch_s):.0f} s"
    if abs(drift) > DRIFT_TOLD:
        note += f", and drift by {parts_per_million(drift):.0f} ppm"
    return Aligned(replace(log, columns=columns), "speed", agreement, float(at[0]), parts_per_million(drift), note)


def _each_second(time: Array, values: Array) -> Array:
    """Return values at whole seconds, 0 where nothing is known (a silence is mostly a halt), smoothed."""
    clock = np.arange(0.0, time[-1] + 0.5)
    known = np.isfinite(values)
    if known.sum() < 2:
        return np.zeros(len(clock))
    drawn = np.interp(clock, time[known], values[known])
    return smoothed(drawn, 1.0, SMOOTHING_S)


def _best_offset(own: Array, other: Array) -> tuple[float, float]:
    """Return the second of the other's clock at which the log begins, and the correlation there."""
    from scipy.signal import fftconvolve

    ones_own, ones_other = np.ones_like(own), np.ones_like(other)
    a, b = own - own.mean(), other - other.mean()
    count = fftconvolve(ones_other, ones_own[::-1])
    product = fftconvolve(b, a[::-1])
    own_square = fftconvolve(ones_other, (a * a)[::-1])
    other_square = fftconvolve(b * b, ones_own[::-1])
    least = max(LEAST_OVERLAP_S, 0.6 * min(len(own), len(other)))
    scale = np.sqrt(np.maximum(own_square * other_square, 1e-12))
    correlation = np.where(count >= least, product / scale, -1.0)
    best = int(np.argmax(correlation))
    return float(best - (len(own) - 1)), float(correlation[best])


def _near_offset(own: Array, other: Array, offset: float, part: slice) -> float:
    """Return the offset of a part of the log, within 30 s of the whole's, to a tenth of a second."""
    at = np.arange(len(own))[part]
    mine = own[part] - own[part].mean()
    tried = np.arange(-30, 31)
    clock = np.arange(len(other))
    found = []
    for shift in tried:
        theirs = np.interp(at + offset + shift, clock, other)
        theirs = theirs - theirs.mean()
        found.append(float(mine @ theirs / max(np.sqrt((mine @ mine) * (theirs @ theirs)), 1e-12)))
    best = int(np.argmax(found))
    if 0 < best < len(tried) - 1:
        low, middle, high = found[best - 1 : best + 2]
        bend = low - 2.0 * middle + high
        return offset + float(tried[best]) + (0.5 * (low - high) / bend if bend < 0.0 else 0.0)
    return offset + float(tried[best])


def _on_log(log: Log, at: Array, track: _Timed, first: float) -> dict[str, Array]:
    columns = dict(log.columns)
    time = track.time_s - first
    for name, values in (
        ("latitude_deg", track.latitude), ("longitude_deg", track.longitude), ("altitude_m", track.altitude),
        ("gps_speed_km_h", from_si(track.speed, "km_h")),
    ):  # fmt: skip
        known = np.isfinite(values)
        if known.sum() > 1:
            columns[name] = np.interp(at, time[known], values[known], left=np.nan, right=np.nan)
    return columns


def _by_distance(log: Log, track: RawTrack, where: str) -> Aligned:
    """Align a GPX without times by distance: the log's own distance, stretched to the road's length."""
    speed = log_speed(log)
    if not ({"speed_km_h", "gps_speed_km_h", "distance_km"} & set(log.columns)):
        log.require("speed_km_h")
    run = np.concatenate(([0.0], np.cumsum(np.nan_to_num(speed[1:] + speed[:-1]) * 0.5 * log.step_s)))
    length, _ = leg_lengths(track.latitude_deg, track.longitude_deg)
    road = np.concatenate(([0.0], np.cumsum(length)))
    ratio = float(road[-1] / max(run[-1], 1e-9))
    if abs(ratio - 1.0) > SAME_LENGTH:
        what = f"is {from_si(float(road[-1]), 'km'):.2f} km long, the log {from_si(float(run[-1]), 'km'):.2f} km"
        raise LogError(where, what, "it has no times, so give a GPX of exactly this ride")
    columns = dict(log.columns)
    fresh = np.concatenate(([True], np.diff(road) > 0.0))
    for name, values in (
        ("latitude_deg", track.latitude_deg), ("longitude_deg", track.longitude_deg), ("altitude_m", track.altitude_m),
    ):  # fmt: skip
        known = np.isfinite(values) & fresh
        if known.sum() > 1:
            columns[name] = np.interp(run * ratio, road[known], values[known])
    note = f"aligned by distance: the GPX has no times; it is {ratio - 1.0:+.1%} as long as the log"
    return Aligned(replace(log, columns=columns), "distance", float("nan"), 0.0, 0.0, note)
