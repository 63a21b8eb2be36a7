"""A log as the model is driven by it: motor speed, currents and air in SI, and what was measured beside them."""

from __future__ import annotations

import math
from collections.abc import Container, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.schema import Build
from ridesim.engine.gearing import wheel_radius
from ridesim.engine.params import motor_scale
from ridesim.errors import LogError
from ridesim.learn.log import Log
from ridesim.learn.throttle import throttle_of
from ridesim.physics.motor import AMPLITUDE_TO_DC
from ridesim.road.air import LAPSE_RATE_K_PER_M
from ridesim.units import from_si, to_si

FINEST_STEP_S = 0.1
"""Finer logs are averaged to it: no lump of heat and no polarisation moves faster."""
RMS_TO_AMPLITUDE = math.sqrt(2.0)
ALWAYS_POSITIVE_A = -0.3
"""A motor current that never falls below it may be logged as a plain magnitude (guess: a sensor's noise about zero)."""

SpeedBy = Literal["motor speed", "electrical speed", "wheel speed", "speed", "receiver"]
CurrentBy = Literal["motor current", "pack current", "none"]
By = Literal["current", "throttle", "speed"]
"""What drives the model: speed and current; the throttle, on the log's road; the speed alone, on the log's road."""

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Driven:
    """What drives the model, each (n,) on an even clock, and what was measured, nan where nothing was.

    `omega` motor shaft [rad/s]; `speed` over the road [m/s]; `current` DC-equivalent [A]; `pack_current` [A] and
    `pack_voltage` [V], nan where not logged; `air` [degC]; `known`: motion and current were recorded. `measured`: by
    the names of the log, in their units.
    """

    path: str
    step_s: float
    omega: Array
    speed: Array
    current: Array
    pack_current: Array
    pack_voltage: Array
    air_c: Array
    known: Mask
    measured: Mapping[str, Array]
    speed_by: SpeedBy
    current_by: CurrentBy
    air_known: bool
    rounding: Mapping[str, tuple[float, float]]
    notes: tuple[str, ...]
    by: By
    throttle: Array

    @property
    def count(self) -> int:
        """Steps."""
        return len(self.speed)

    @property
    def time_s(self) -> Array:
        """Time of each step's middle."""
        return (np.arange(self.count, dtype=np.float64) + 0.5) * self.step_s


def averaged(values: Array, factor: int) -> Array:
    """Return means over `factor` readings, of those that are known; nan where none is."""
    if factor <= 1:
        return values
    count = len(values) // factor
    blocks = values[: count * factor].reshape(count, factor)
    known = np.isfinite(blocks)
    total, number = np.where(known, blocks, 0.0).sum(axis=1), known.sum(axis=1)
    means: Array = np.full(count, np.nan)
    means[number > 0] = total[number > 0] / number[number > 0]
    return means


def driver_of(log: Log) -> By:
    """Return what a log drives a model by best: its current, which tells most of the parts, else its throttle."""
    return "throttle" if not has_current(log.columns) and "throttle" in log.columns else "current"


def driven_by(log: Log, build: Build, by: By = "current") -> Driven:
    """Return a log as what drives a build's model.

    Raises LogError for a log without motion or without its driver, and for gears that shift.
    """
    if len(build.drive.gears.ratios) > 1:
        what = f"goes with a bike of {len(build.drive.gears.ratios)} gears, and which one was in is not read from a log"
        raise LogError(log.path, what, "cut out a stretch in one gear, and give that gear alone in drive.gears.ratios")
    if by == "throttle":
        log.require("throttle")
    factor = max(1, round(FINEST_STEP_S / log.step_s))
    columns = {name: averaged(values, factor) for name, values in log.columns.items()}
    omega, speed, speed_by = _motion(log, columns, build)
    current, current_by, notes = _current(log, columns, build, needed=by == "current")
    throttle = np.full(len(speed), np.nan)
    if by == "throttle":
        throttle, more = throttle_of(log, columns["throttle"])
        notes += more
    pack_current, pack_voltage = _pack(columns, len(speed))
    driver = {"throttle": throttle, "speed": speed}.get(by, current if current_by == "motor current" else pack_current)
    known = np.isfinite(speed) & np.isfinite(driver)
    if float(known.sum()) * log.step_s * factor < LEAST_DRIVEN_S:
        what = f"has {known.sum() * log.step_s * factor:.0f} s with motion and {by} together"
        raise LogError(log.path, what, f"give a log with {LEAST_DRIVEN_S:g} s or more of both")
    air = columns.get("air_temperature_c")
    air_known = air is not None and bool(np.isfinite(air).any())
    air_c = _filled(air) if air is not None and air_known else _air_by_altitude(columns, build, len(speed))
    if not known.all():
        notes.append(f"{1.0 - known.mean():.1%} of the time nothing drives the model: it stands there, without current")
    return Driven(
        log.path, log.step_s * factor, np.where(known, omega, 0.0), np.where(known, speed, 0.0),
        np.where(known, current, 0.0) if current_by == "motor current" else current, np.where(known, pack_current, 0.0),
        pack_voltage, air_c, known, columns, speed_by, current_by, air_known, log.rounding, tuple(notes), by,
        np.where(known, throttle, 0.0),
    )  # fmt: skip


def _pack(columns: Mapping[str, Array], count: int) -> tuple[Array, Array]:
    """Return pack current and voltage, nan where they are not logged."""
    current, voltage = (columns.get(name, np.full(count, np.nan)) for name in ("pack_current_a", "pack_voltage_v"))
    if "pack_current_a" not in columns and {"pack_power_w", "pack_voltage_v"} <= set(columns):
        current = columns["pack_power_w"] / columns["pack_voltage_v"]
    return current, voltage


def _has_pack_current(columns: Container[str]) -> bool:
    return "pack_current_a" in columns or ("pack_power_w" in columns and "pack_voltage_v" in columns)


def has_current(columns: Container[str]) -> bool:
    """Return whether a log holds a current, of motor or pack."""
    return "motor_current_a" in columns or _has_pack_current(columns)


LEAST_DRIVEN_S = 60.0


def _air_by_altitude(columns: Mapping[str, Array], build: Build, count: int) -> Array:
    """Return the build's air temperature, colder where the log climbs, as in a ride."""
    air = np.full(count, build.weather.temperature_c)
    altitude = columns.get("altitude_m")
    if altitude is None or not np.isfinite(altitude).any():
        return air
    height = _filled(altitude)
    return air + LAPSE_RATE_K_PER_M * (height - height[0])


def _motion(log: Log, columns: Mapping[str, Array], build: Build) -> tuple[Array, Array, SpeedBy]:
    """Return motor and road speed, and which column told the motor's: the nearest to the motor that is logged."""
    radius, turns = wheel_radius(build), build.drive.turns
    motor: Array | None = None
    by: SpeedBy = "speed"
    if "motor_speed_rpm" in columns:
        motor, by = to_si(columns["motor_speed_rpm"], "rpm"), "motor speed"
    elif "electrical_speed_rpm" in columns:
        motor, by = to_si(columns["electrical_speed_rpm"], "rpm") / build.motor.pole_pairs, "electrical speed"
    elif "wheel_speed_rpm" in columns:
        motor, by = to_si(columns["wheel_speed_rpm"], "rpm") * turns, "wheel speed"
    road = next((columns[name] for name in ("speed_km_h", "gps_speed_km_h") if name in columns), None)
    if motor is None and road is None:
        if "distance_km" in columns:
            road = from_si(np.gradient(to_si(columns["distance_km"], "km"), log.step_s), "km_h")
        else:
            log.require("speed_km_h")
    if motor is None:
        assert road is not None
        speed = np.maximum(to_si(road, "km_h"), 0.0)
        return speed * turns / radius, speed, "speed" if "speed_km_h" in columns else "receiver"
    speed = np.abs(motor) * radius / turns
    freewheels = build.drive.coupling == "freewheel"
    if road is not None and (freewheels or "speed_km_h" in columns):
        speed = np.where(np.isfinite(road), np.maximum(to_si(road, "km_h"), 0.0), speed)
    return np.abs(motor), speed, by


def _current(
    log: Log, columns: Mapping[str, Array], build: Build, *, needed: bool
) -> tuple[Array, CurrentBy, list[str]]:
    """Return the motor current, DC-equivalent, nan throughout where only the pack's is logged, or none (`needed`)."""
    if "motor_current_a" not in columns:
        size = len(next(iter(columns.values())))
        if not _has_pack_current(columns):
            if needed:
                log.require("motor_current_a")
            return np.full(size, np.nan), "none", []
        notes = ["no motor current is logged: it is taken from the pack's"] if needed else []
        return np.full(size, np.nan), "pack current", notes
    column = log.mapping.of("motor_current_a")
    reading = column.reading if column is not None else ""
    scale = {
        "amplitude": AMPLITUDE_TO_DC, "dc": 1.0, "rms": RMS_TO_AMPLITUDE * AMPLITUDE_TO_DC,
    }.get(reading, motor_scale(build)) * build.drive.motors  # fmt: skip
    notes = []
    if not reading:
        words = "the amplitude of the phase current" if motor_scale(build) != 1.0 else "DC-equivalent"
        notes.append(f"the motor current is read as {words}, as the build's commutation has it")
    current = columns["motor_current_a"] * scale
    pack = columns.get("pack_current_a")
    if pack is not None and np.nanmin(current) >= ALWAYS_POSITIVE_A and np.nanmin(pack) < 3.0 * ALWAYS_POSITIVE_A:
        current = np.where(pack < ALWAYS_POSITIVE_A, -current, current)
        notes.append("the motor current has no sign: it is taken as braking where the pack is charged")
    return current, "motor current", notes


def _filled(values: Array) -> Array:
    """Return readings with gaps drawn through and held at the ends."""
    known = np.flatnonzero(np.isfinite(values))
    return np.interp(np.arange(len(values)), known, values[known])
