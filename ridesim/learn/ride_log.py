"""A recorded ride with measured pedal power: one table in, clean riding stretches out."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ridesim.errors import LogError
from ridesim.learn.log import Log
from ridesim.learn.table import numbers, read_table, refuse_span
from ridesim.road.smooth import smoothed
from ridesim.units import to_si

NEEDED = ("time_s", "altitude_m", "power_w")
OPTIONAL = ("speed_m_per_s", "distance_m", "lat", "lon", "temperature_c")

RECORDING_GAP_S = 5.0
GAP_INTERVALS = 4.0
"""A silence longer than the first, and than so many of the recorder's usual intervals, is a pause (guess: a recorder
that drops a few readings goes on)."""
SETTLING_S = 60.0
"""At the start and after each silence the altitude is not trusted for so long: recorders then set a barometer anew, and
it creeps to its place (guess)."""
STANDING_M_PER_S = 0.5
"""Slower than this is standing (guess: a receiver wanders about so fast)."""
SHORTEST_STRETCH_S = 30
"""A stretch of recording shorter than this is left out: filters need room (guess)."""
SPEED_SMOOTHING_S = 2.5
HEADING_SMOOTHING_S = 10.0
"""Widths at half height of the Gaussians over speed and heading (guess: a few samples of a 1 Hz recording)."""
LEAST_READINGS = 120
MOST_EMPTY = 0.1
"""A needed column with a larger share of gaps is refused (guess)."""
DEFAULT_TEMPERATURE_C = 15.0
"""Air temperature where none is recorded. Source: ISO 2533:1975, sea level."""
BELIEVED = {"power_w": (0.0, 2500.0), "speed_m_per_s": (0.0, 35.0), "altitude_m": (-450.0, 6000.0)}
"""Readings outside are not believed and taken from their neighbours (guess)."""

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Stretch:
    """One stretch of recording without a silence, every second: columns of (n,), SI, as recorded but smoothed in speed.

    `riding` is False at a standstill, `trusted` where the altitude had just been set anew. Headings are unit vectors;
    zero where unknown.
    """

    time_s: Array
    speed: Array
    acceleration: Array
    altitude: Array
    power: Array
    east: Array
    north: Array
    temperature_c: Array
    riding: NDArray[np.bool_]
    trusted: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class RideLog:
    """A ride's stretches in order, and what was found on the way."""

    path: str
    stretches: tuple[Stretch, ...]
    knows_heading: bool
    recorded_s: float
    notes: tuple[str, ...]

    @property
    def riding_s(self) -> float:
        """Seconds ridden, pauses left out."""
        return float(sum(int(stretch.riding.sum()) for stretch in self.stretches))


def load_ride_log(path: str | Path) -> RideLog:
    """Return a ride log from a CSV with `time_s, altitude_m, power_w` and `speed_m_per_s` or `distance_m`.

    `lat, lon` (degrees) let a wind be found, `temperature_c` sets the air. Raises LogError.
    """
    return ride_log_of(_read(Path(path)), str(path))


def pedal_log(log: Log) -> RideLog:
    """Return the ride of any log with pedal power, altitude and speed, by its mapping. Raises LogError."""
    log.require("pedal_power_w", "altitude_m")
    names = {"altitude_m": "altitude_m", "pedal_power_w": "power_w", "latitude_deg": "lat", "longitude_deg": "lon",
             "air_temperature_c": "temperature_c"}  # fmt: skip
    columns = {"time_s": log.time_s, **{new: log.columns[old] for old, new in names.items() if old in log}}
    speed = next((log.columns[name] for name in ("speed_km_h", "gps_speed_km_h") if name in log), None)
    if speed is None:
        log.require("speed_km_h")
    columns["speed_m_per_s"] = np.asarray(to_si(np.asarray(speed), "km_h"))
    recorded = np.isfinite(columns["altitude_m"]) & np.isfinite(columns["power_w"])
    return ride_log_of(pd.DataFrame(columns)[recorded].reset_index(drop=True), log.path)


def ride_log_of(table: pd.DataFrame, where: str) -> RideLog:
    """Return a ride log from a table with the columns of `load_ride_log`. Raises LogError."""
    notes: list[str] = []
    for name, (low, high) in BELIEVED.items():
        if name in table:
            strange = int(((table[name] < low) | (table[name] > high)).sum())
            if strange:
                notes.append(
                    f"{strange} readings of {name} outside {low:g} to {high:g} were taken from their neighbours"
                )
            table.loc[(table[name] < low) | (table[name] > high), name] = np.nan
    table = _refused(where, table).interpolate(limit_direction="both")
    if "temperature_c" not in table or table["temperature_c"].isna().all():
        table["temperature_c"] = DEFAULT_TEMPERATURE_C
        notes.append(f"no temperature is recorded: {DEFAULT_TEMPERATURE_C:g} °C is taken")
    heading = {"lat", "lon"} <= set(table) and not table[["lat", "lon"]].isna().all().any()
    if not heading:
        notes.append("no positions are recorded: the wind cannot be told from the rest, and is taken as calm")
    stretches = tuple(_stretches(table, heading))
    if not stretches:
        raise LogError(where, "no riding is found in it (speeds are all near zero)", "give a recording of a ride")
    span = float(table["time_s"].iloc[-1] - table["time_s"].iloc[0])
    return RideLog(where, stretches, heading, span, tuple(notes))


def _read(path: Path) -> pd.DataFrame:
    table = read_table(path)
    blank = [name for name in OPTIONAL if name in table and pd.to_numeric(table[name], errors="coerce").isna().all()]
    table = table.drop(columns=blank)
    missing = [name for name in NEEDED if name not in table]
    if not missing and not {"speed_m_per_s", "distance_m"} & set(table):
        missing = ["speed_m_per_s or distance_m"]
    if missing:
        there = ", ".join(map(str, table.columns[:8]))
        raise LogError(str(path), f"lacks the column {', '.join(missing)} (it has {there})", "name the columns so")
    columns = [name for name in (*NEEDED, *OPTIONAL) if name in table]
    return numbers(table, columns)


def _refused(where: str, table: pd.DataFrame) -> pd.DataFrame:
    """Return the rows that have a time. Raises LogError for a table that cannot be a ride."""
    moving = "speed_m_per_s" if "speed_m_per_s" in table else "distance_m"
    for name in (*NEEDED, moving):
        empty = float(table[name].isna().mean())
        if empty > MOST_EMPTY:
            raise LogError(where, f"{empty:.0%} of {name} is empty or no believable number", "mend the recording")
    table = table.dropna(subset=["time_s"])
    back = np.flatnonzero(np.diff(table["time_s"].to_numpy()) <= 0.0)
    if back.size:
        raise LogError(f"{where}, row {back[0] + 3}", "time_s does not rise", "sort the rows and drop repeats")
    if len(table):
        refuse_span(where, float(table["time_s"].iloc[0]), float(table["time_s"].iloc[-1]))
    if len(table) < LEAST_READINGS:
        what = f"has {len(table)} readings, at least {LEAST_READINGS} needed"
        raise LogError(where, what, "record every second, for half an hour or more")
    return table


def _stretches(table: pd.DataFrame, heading: bool) -> list[Stretch]:
    columns: dict[str, Array] = {str(name): table[name].to_numpy(np.float64) for name in table}
    time = columns["time_s"]
    columns["speed_m_per_s"] = _speed(columns)
    silent = np.concatenate(([np.inf], np.diff(time)))
    longest = max(RECORDING_GAP_S, GAP_INTERVALS * float(np.median(silent[1:])))
    edges = [*np.flatnonzero(silent > longest).tolist(), len(time)]
    found = []
    for first, last in pairwise(edges):
        if time[last - 1] - time[first] >= SHORTEST_STRETCH_S:
            found.append(_stretch({name: values[first:last] for name, values in columns.items()}, heading))
    return [stretch for stretch in found if stretch.riding.any()]


def _speed(columns: dict[str, Array]) -> Array:
    if "speed_m_per_s" in columns:
        return columns["speed_m_per_s"]
    return np.maximum(np.gradient(columns["distance_m"], columns["time_s"]), 0.0)


def _stretch(rows: dict[str, Array], heading: bool) -> Stretch:
    """Return one stretch on a clock of whole seconds."""
    clock = np.arange(rows["time_s"][0], rows["time_s"][-1] + 0.5)
    on = {name: np.interp(clock, rows["time_s"], values) for name, values in rows.items()}
    speed = np.maximum(smoothed(on["speed_m_per_s"], 1.0, SPEED_SMOOTHING_S), 0.0)
    east, north = _heading(on["lat"], on["lon"]) if heading else (np.zeros_like(speed), np.zeros_like(speed))
    return Stretch(
        clock, speed, np.gradient(speed), on["altitude_m"], on["power_w"], east, north, on["temperature_c"],
        speed >= STANDING_M_PER_S, clock >= clock[0] + SETTLING_S,
    )  # fmt: skip


def _heading(latitude: Array, longitude: Array) -> tuple[Array, Array]:
    """Return the way the bike goes as a unit vector, from positions in degrees on a sphere: only angles matter here."""
    east = smoothed(np.gradient(longitude) * np.cos(np.radians(latitude)), 1.0, HEADING_SMOOTHING_S)
    north = smoothed(np.gradient(latitude), 1.0, HEADING_SMOOTHING_S)
    length = np.hypot(east, north)
    known = np.maximum(length, 1e-12)  # degrees a second: a bike at rest stays below, one that walks is far above
    return east / known, north / known
