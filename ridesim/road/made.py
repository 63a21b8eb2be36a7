"""Roads without a recording: climbs, ramps, hills, points and speed-time cycles."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ridesim.errors import RoadError
from ridesim.road.limits import DEFAULT_SPACING_M
from ridesim.road.profile import (
    SHORTEST_ROAD_M,
    STEEPEST_SINE,
    Road,
    SpeedCycle,
    refuse_too_long,
    road_on_grid,
    sine_from_altitude,
)
from ridesim.road.smooth import sine_of, smoothed
from ridesim.units import from_si, to_si

MADE = "made"

Array = NDArray[np.float64]


def make_flat(
    length_m: float,
    *,
    altitude_m: float = 0.0,
    bearing_deg: float = 0.0,
    spacing_m: float = DEFAULT_SPACING_M,
    name: str = "flat",
) -> Road:
    """Return a level road of `length_m`."""
    return make_climb(
        length_m, 0.0, start_altitude_m=altitude_m, bearing_deg=bearing_deg, spacing_m=spacing_m, name=name
    )


def make_climb(
    length_m: float,
    grade_percent: float,
    *,
    start_altitude_m: float = 0.0,
    bearing_deg: float = 0.0,
    spacing_m: float = DEFAULT_SPACING_M,
    name: str = "climb",
) -> Road:
    """Return a road of one grade; `length_m` is along the surface, a negative grade descends."""
    distance = _grid(length_m, spacing_m, name)
    sine = np.full(len(distance), _sine(grade_percent, name))
    return road_on_grid(name, MADE, sine, float(distance[1]), start_altitude_m, bearing_deg)


def make_ramp(
    approach_m: float,
    ramp_m: float,
    grade_percent: float,
    *,
    run_out_m: float = 0.0,
    base_grade_percent: float = 0.0,
    start_altitude_m: float = 0.0,
    bearing_deg: float = 0.0,
    spacing_m: float = DEFAULT_SPACING_M,
    name: str = "ramp",
) -> Road:
    """Return an approach and a run-out of the base grade with a steeper ramp between; the edges take one node."""
    distance = _grid(approach_m + ramp_m + run_out_m, spacing_m, name)
    if min(approach_m, run_out_m) < 0.0 or ramp_m <= 0.0:
        raise RoadError(name, "a ramp needs lengths of zero or more, and the ramp itself some", "mend the lengths")
    corners = [0.0, approach_m, approach_m + ramp_m, approach_m + ramp_m + run_out_m]
    slopes = np.array([_sine(g, name) for g in (base_grade_percent, grade_percent, base_grade_percent)])
    height = np.concatenate(([0.0], np.cumsum(slopes * np.diff(corners))))
    sine = sine_from_altitude(np.interp(distance, corners, height), float(distance[1]))
    return road_on_grid(name, MADE, sine, float(distance[1]), start_altitude_m, bearing_deg)


def make_hills(
    length_m: float,
    height_m: float,
    hill_length_m: float,
    *,
    start_altitude_m: float = 0.0,
    bearing_deg: float = 0.0,
    spacing_m: float = DEFAULT_SPACING_M,
    name: str = "hills",
) -> Road:
    """Return rolling hills: a sine of `height_m` from valley to top, one hill each `hill_length_m`, from a valley."""
    distance = _grid(length_m, spacing_m, name)
    steepest = math.pi * abs(height_m) / hill_length_m if hill_length_m > 0.0 else math.inf
    if not steepest < STEEPEST_SINE:
        what = f"the hills are too steep to exist ({height_m:g} m high every {hill_length_m:g} m)"
        raise RoadError(name, what, "make them lower or longer")
    altitude = 0.5 * height_m * (1.0 - np.cos(2.0 * math.pi * distance / hill_length_m))
    sine = sine_from_altitude(altitude, float(distance[1]))
    return road_on_grid(name, MADE, sine, float(distance[1]), start_altitude_m, bearing_deg)


def make_points(
    distance_m: ArrayLike,
    altitude_m: ArrayLike,
    *,
    smoothing_m: float = 0.0,
    bearing_deg: float = 0.0,
    spacing_m: float = DEFAULT_SPACING_M,
    name: str = "points",
) -> Road:
    """Return straight slopes between points; distances [m] along the surface, starting at 0 and rising."""
    at, height = (np.asarray(values, dtype=np.float64) for values in (distance_m, altitude_m))
    _refuse_columns(name, "distance", at, "altitude", height)
    if at[0] != 0.0:
        raise RoadError(name, f"the first distance is {at[0]:g} m", "let the distances begin at 0")
    slope = np.abs(np.diff(height) / np.diff(at))
    if slope.max() > STEEPEST_SINE:
        worst = int(slope.argmax())
        what = f"altitude changes {height[worst + 1] - height[worst]:+g} m on {at[worst + 1] - at[worst]:g} m of road"
        raise RoadError(f"{name}, points {worst + 1} and {worst + 2}", what, "mend the altitude or the distance")
    distance = _grid(float(at[-1]), spacing_m, name)
    spacing = float(distance[1])
    altitude = smoothed(np.interp(distance, at, height), spacing, smoothing_m)
    return road_on_grid(name, MADE, sine_from_altitude(altitude, spacing), spacing, float(altitude[0]), bearing_deg)


def make_cycle(
    time_s: ArrayLike,
    speed_m_per_s: ArrayLike,
    *,
    grade_percent: float = 0.0,
    start_altitude_m: float = 0.0,
    bearing_deg: float = 0.0,
    spacing_m: float = DEFAULT_SPACING_M,
    name: str = "cycle",
) -> Road:
    """Return a road driven by the clock: speeds [m/s] at times [s]; its length is the distance of the cycle."""
    time, speed = (np.asarray(values, dtype=np.float64) for values in (time_s, speed_m_per_s))
    _refuse_columns(name, "time", time, "speed", speed)
    if speed.min() < 0.0:
        raise RoadError(name, f"a speed is negative ({speed.min():g} m/s)", "give speeds of zero or more")
    cycle = SpeedCycle(time - time[0], speed.copy())
    road = make_climb(
        cycle.distance_m,
        grade_percent,
        start_altitude_m=start_altitude_m,
        bearing_deg=bearing_deg,
        spacing_m=spacing_m,
        name=name,
    )
    return replace(road, cycle=cycle)


def _grid(length_m: float, spacing_m: float, name: str) -> Array:
    """Return a uniform grid from 0 to the length, as near to the spacing as fits. Raises RoadError."""
    if not (SHORTEST_ROAD_M <= length_m < math.inf):
        what = f"the road is {length_m:g} m long, at least {SHORTEST_ROAD_M:g} m needed"
        raise RoadError(name, what, "make it longer")
    if not (0.0 < spacing_m < math.inf):
        raise RoadError(name, f"the spacing is {spacing_m:g} m, must be above zero", "give a positive spacing")
    refuse_too_long(name, length_m, spacing_m)
    return np.linspace(0.0, length_m, max(2, round(length_m / spacing_m)) + 1)


def _sine(grade_percent: float, name: str) -> float:
    sine = float(sine_of(np.array([to_si(grade_percent, "percent")]))[0])
    if not abs(sine) <= STEEPEST_SINE:
        most = from_si(STEEPEST_SINE / math.sqrt(1.0 - STEEPEST_SINE**2), "percent")
        what = f"grade is out of range ({grade_percent:g} %, allowed -{most:.0f} to {most:.0f} %)"
        raise RoadError(name, what, "make it less steep")
    return sine


def _refuse_columns(name: str, along: str, at: Array, what: str, values: Array) -> None:
    """Raise RoadError unless two columns pair up, are finite, and the first rises throughout."""
    if at.ndim != 1 or at.shape != values.shape or len(at) < 2:
        told = f"{along} has {at.size} numbers and {what} {values.size}, equal and at least 2 needed"
        raise RoadError(name, told, "give one for one")
    if not (np.isfinite(at).all() and np.isfinite(values).all()):
        raise RoadError(name, f"a {along} or {what} is not a number", "mend the list")
    falls = np.flatnonzero(np.diff(at) <= 0.0)
    if falls.size:
        first = int(falls[0])
        told = f"{along} does not rise after entry {first + 1} ({at[first]:g}, then {at[first + 1]:g})"
        raise RoadError(name, told, "put the entries in order and drop repeats")
