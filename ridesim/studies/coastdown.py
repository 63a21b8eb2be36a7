"""What holds the bike back when nobody pedals? Drag area and rolling coefficient from coasting to a halt.

Roll out on a quiet road, note speed against time, and do it again the other way: the two runs together also give the
slope and the wind of the road. Closed form without bearings: White and Korst (1972), SAE 720099.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import least_squares

from ridesim.errors import LogError
from ridesim.jit import kernel
from ridesim.physics.resistance import air_drag, bearing_drag, grade_force, rolling_drag
from ridesim.road.air import air_density, pressure_pa
from ridesim.road.smooth import sine_of
from ridesim.studies.fit import CHAIN_EFFICIENCY, MASS_RANGE_KG, WHEEL_DRAG_AREA_M2, WHEELS_KG
from ridesim.studies.road_load import HUMIDITY, Machine
from ridesim.units import to_si

SPEED_COLUMNS = {"speed_m_per_s": "m_per_s", "speed_km_h": "km_h"}
SUBSTEP_S = 0.1
SLOWEST_M_PER_S = 0.5
"""Slower than this a bike wobbles to a halt, and a wheel sensor counts too few turns: not fitted (guess)."""
LEAST_READINGS = 8
LEAST_FALL_M_PER_S = 2.0
"""A run that loses less speed cannot part air from rolling drag (guess)."""
START = (0.45, 0.006, 0.0, 0.0)
LOWEST, HIGHEST = (0.05, 0.0005, -0.03, -8.0), (2.0, 0.06, 0.03, 8.0)
SCALE = (0.1, 0.002, 0.002, 1.0)

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CoastRun:
    """One run: seconds and speed in m/s, (n,)."""

    path: str
    time_s: Array
    speed_m_per_s: Array


@dataclass(frozen=True, eq=False)
class CoastFit:
    """Drags with standard deviations; slope (rise per run) and head wind as met on the way there.

    Slope and wind are fitted only where there are runs back; else they are those given. `modelled` are speeds by run.
    """

    runs: tuple[CoastRun, ...]
    backs: int
    drag_area_m2: float
    drag_area_sd_m2: float
    rolling_resistance: float
    rolling_resistance_sd: float
    grade: float
    headwind_m_per_s: float
    speed_error_m_per_s: float
    modelled: tuple[Array, ...]
    notes: tuple[str, ...]


def load_coast_run(path: str | Path) -> CoastRun:
    """Return a run from a CSV with `time_s` and `speed_m_per_s` or `speed_km_h`. Raises LogError."""
    try:
        table = pd.read_csv(path, skipinitialspace=True)
    except OSError as error:
        raise LogError(str(path), f"cannot be read ({error.strerror})", "check the name") from None
    except (ValueError, UnicodeError):
        raise LogError(str(path), "is no table of comma-separated values", "export the run as CSV") from None
    speed = next((name for name in SPEED_COLUMNS if name in table), None)
    if "time_s" not in table or speed is None:
        there = ", ".join(map(str, table.columns[:6]))
        raise LogError(str(path), f"has the columns {there}", "name them time_s and speed_m_per_s or speed_km_h")
    rows = table[["time_s", speed]].apply(pd.to_numeric, errors="coerce").dropna()
    time, values = rows["time_s"].to_numpy(np.float64), rows[speed].to_numpy(np.float64)
    return checked_run(CoastRun(str(path), time - time[:1].sum(), values * to_si(1.0, SPEED_COLUMNS[speed])))


def checked_run(run: CoastRun) -> CoastRun:
    """Return the part of a run above walking pace. Raises LogError where it cannot be fitted."""
    slow = np.flatnonzero(run.speed_m_per_s < SLOWEST_M_PER_S)
    last = int(slow[0]) if slow.size else len(run.time_s)
    time, speed = run.time_s[:last], run.speed_m_per_s[:last]
    if len(time) < LEAST_READINGS:
        raise LogError(run.path, f"has {len(time)} readings above walking pace", f"give at least {LEAST_READINGS}")
    if np.any(np.diff(time) <= 0.0):
        raise LogError(run.path, "time_s does not rise", "sort the rows and drop repeats")
    if speed[0] - speed.min() < LEAST_FALL_M_PER_S:
        what = f"loses only {speed[0] - speed.min():.1f} m/s, at least {LEAST_FALL_M_PER_S:g} needed"
        raise LogError(run.path, what, "coast longer, from a higher speed")
    return CoastRun(run.path, time, speed)


def fit_coastdown(
    there: Sequence[CoastRun],
    back: Sequence[CoastRun] = (),
    *,
    mass_kg: float,
    temperature_c: float = 15.0,
    altitude_m: float = 0.0,
    grade_percent: float = 0.0,
    headwind_m_per_s: float = 0.0,
) -> CoastFit:
    """Return drags from runs one way and, if any, the other; mass is rider and bike. Raises LogError."""
    runs = [checked_run(run) for run in (*there, *back)]
    if not runs:
        raise LogError("coast-down", "has no run", "give at least one")
    if not MASS_RANGE_KG[0] <= mass_kg <= MASS_RANGE_KG[1]:
        allowed = f"allowed {MASS_RANGE_KG[0]:g} to {MASS_RANGE_KG[1]:g} kg"
        raise LogError("mass", f"{mass_kg:g} kg is out of range ({allowed})", "give rider and bike together")
    ways = np.array([1.0] * len(there) + [-1.0] * len(back))
    machine = Machine(mass_kg, WHEELS_KG, WHEEL_DRAG_AREA_M2, CHAIN_EFFICIENCY)
    density = float(air_density(pressure_pa(altitude_m), temperature_c, HUMIDITY))
    given = np.array([grade_percent / 100.0, headwind_m_per_s])
    fitted = 4 if len(back) else 2

    def speeds(values: Array) -> list[Array]:
        road = values[2:4] if fitted == 4 else given
        firsts = values[fitted:]
        return [
            coasted(run.time_s, first, machine, density, values[0], values[1], way * road[0], way * road[1])
            for run, first, way in zip(runs, firsts, ways, strict=True)
        ]

    measured = np.concatenate([run.speed_m_per_s for run in runs])
    firsts = [float(run.speed_m_per_s[0]) for run in runs]
    start = np.array([*START[:fitted], *firsts])

    def misses(values: Array) -> Array:
        return np.concatenate(speeds(values)) - measured

    found = least_squares(
        misses,
        start,
        bounds=([*LOWEST[:fitted], *(0.5 * v for v in firsts)], [*HIGHEST[:fitted], *(1.5 * v for v in firsts)]),
        x_scale=[*SCALE[:fitted], *firsts],
    )
    error = math.sqrt(2.0 * found.cost / max(len(measured) - len(start), 1))
    slopes = np.asarray(found.jac, dtype=np.float64)
    spread = error * np.sqrt(np.diag(np.linalg.pinv(slopes.T @ slopes)))
    road = found.x[2:4] if fitted == 4 else given
    return CoastFit(
        tuple(runs), len(back), float(found.x[0]), float(spread[0]), float(found.x[1]), float(spread[1]),
        float(road[0]), float(road[1]), error, tuple(speeds(found.x)), _notes(bool(len(back))),
    )  # fmt: skip


def _notes(both_ways: bool) -> tuple[str, ...]:
    notes = ["method alone scatters by about 0.001 in rolling and 0.1 m² in drag area (Tengattini 2017)"]
    if not both_ways:
        notes.append("one way only: a slope of 0.1 % reads as 0.001 of rolling resistance; add runs the other way")
    return tuple(notes)


def coasted(
    time_s: Array,
    first: float,
    machine: Machine,
    density: float,
    drag_area: float,
    crr: float,
    grade: float,
    wind: float,
) -> Array:
    """Return the speed at each time of a bike that coasts from `first` [m/s], bearings included, (n,)."""
    speed = np.zeros(len(time_s))
    sine = float(sine_of(np.array([grade]))[0])
    _coast(
        time_s, first, machine.mass_kg, machine.wheels_kg, density, drag_area + machine.wheel_drag_area_m2, crr, sine,
        wind, speed,
    )  # fmt: skip
    return speed


@kernel
def _slowing(
    v: float, mass: float, wheels: float, density: float, drag_area: float, crr: float, sine: float, wind: float
) -> float:
    force = air_drag(density, drag_area, v, wind, 0.0) + rolling_drag(crr, mass, math.sqrt(1.0 - sine * sine))
    return (force + bearing_drag(v) + grade_force(mass, sine)) / (mass + wheels)


@kernel
def _coast(
    time: Array, first: float, mass: float, wheels: float, density: float, drag_area: float, crr: float, sine: float,
    wind: float, out: Array,
) -> None:  # fmt: skip
    """Midpoint rule in steps of at most SUBSTEP_S."""
    v = first
    out[0] = v
    for i in range(1, time.size):
        steps = math.ceil((time[i] - time[i - 1]) / SUBSTEP_S)
        dt = (time[i] - time[i - 1]) / steps
        for _ in range(steps):
            middle = v - 0.5 * dt * _slowing(v, mass, wheels, density, drag_area, crr, sine, wind)
            v = v - dt * _slowing(middle, mass, wheels, density, drag_area, crr, sine, wind)
        out[i] = v
