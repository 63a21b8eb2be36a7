"""The whole simulator on a recorded ride: the measured pedal power as the rider, no motor, against the clock.

Each stretch without braking is ridden again from its recorded speed over its recorded slopes. The recorded power goes
with the place, not with the clock: a rider who arrives later at a ramp still pushes on the ramp.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import build_from_dict
from ridesim.bike.schema import Build
from ridesim.engine.params import parameters, road_arrays, start_state
from ridesim.engine.state import Stop
from ridesim.errors import LogError
from ridesim.learn.pedal_fit import (
    ASSUMED_MASS_KG,
    CHAIN_EFFICIENCY,
    WHEEL_DRAG_AREA_M2,
    WHEELS_KG,
    LogFit,
    fit_blocks,
    refuse_idle_power,
)
from ridesim.learn.ride_log import RideLog, load_ride_log
from ridesim.learn.road_load import STEEPEST_SINE, Machine, Motion, RoadLoad, braking_seconds, motion_of
from ridesim.ride.simulate import RideOptions, run
from ridesim.road.plan import plan_speed
from ridesim.road.profile import Road, road_on_grid
from ridesim.road.smooth import smoothed
from ridesim.units import from_si, to_si

POWER_SMOOTHING_S = 5.0
"""Width of the Gaussian over pedal power: some turns of the crank, and inertia carries the rest (guess)."""
SHORTEST_S = 60
"""A stretch shorter than this says more of altitude noise than of the rider (guess)."""
SPACING_M = 5.0
FASTEST_KM_H = 120.0
RADIUS_M = 0.311
PATIENCE = 3.0
"""A stretch that takes this many times the recorded time is a stall."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ReplayStretch:
    """One stretch without braking: where in the log, how long it was, recorded and simulated time."""

    from_s: float
    distance_m: float
    recorded_s: float
    simulated_s: float
    stalled: bool


@dataclass(frozen=True)
class Replay:
    """All stretches of the blocks that were not fitted. Times and errors are those of the stretches that arrived."""

    path: str
    load: RoadLoad
    stretches: tuple[ReplayStretch, ...]

    @property
    def arrived(self) -> tuple[ReplayStretch, ...]:
        """The stretches that the simulator rode to their end."""
        return tuple(stretch for stretch in self.stretches if not stretch.stalled)

    @property
    def stuck_s(self) -> float:
        """Recorded time of the stretches on which the simulator got stuck: they count in no mean."""
        return sum(stretch.recorded_s for stretch in self.stretches if stretch.stalled)

    @property
    def recorded_s(self) -> float:
        """Recorded time of the stretches that arrived."""
        return sum(stretch.recorded_s for stretch in self.arrived)

    @property
    def simulated_s(self) -> float:
        """Simulated time of the stretches that arrived."""
        return sum(stretch.simulated_s for stretch in self.arrived)

    @property
    def time_error_percent(self) -> float:
        """Simulated over recorded time, less one; not a number where nothing arrived."""
        return from_si(self.simulated_s / self.recorded_s - 1.0, "percent") if self.arrived else float("nan")

    @property
    def speed_error_percent(self) -> float:
        """Simulated over recorded mean speed, less one; not a number where nothing arrived."""
        return from_si(self.recorded_s / self.simulated_s - 1.0, "percent") if self.arrived else float("nan")


def replay_log(
    log: RideLog | str | Path,
    *,
    mass_kg: float = ASSUMED_MASS_KG,
    chain_efficiency: float = CHAIN_EFFICIENCY,
    fit: LogFit | None = None,
) -> Replay:
    """Return the even five-minute blocks of a log ridden again with the drags and wind that the odd ones gave.

    `fit` is the log's own fit, if it was made before: it brings its mass and chain.
    Raises LogError for a log that cannot be used, or that brakes all the time.
    """
    ride = log if isinstance(log, RideLog) else load_ride_log(log)
    machine = Machine(mass_kg, WHEELS_KG, WHEEL_DRAG_AREA_M2, chain_efficiency)
    if fit is not None:
        machine, load, lag = fit.machine, fit.skill.load, fit.skill.lag_s
    else:
        refuse_idle_power(ride)
        load, lag = fit_blocks(ride, machine, 0)
    motion = motion_of(ride, lag)
    free = ~braking_seconds(motion, load, machine) & (motion.block % 2 == 1)
    air_c = float(np.mean(np.concatenate([stretch.temperature_c for stretch in ride.stretches])))
    build = rider_only(machine, load, air_c)
    found = tuple(_ride_again(build, motion, first, last) for first, last in _runs(motion, free))
    if not found:
        raise LogError(ride.path, "has no minute without braking to ride again", "give a longer recording")
    return Replay(ride.path, load, found)


def rider_only(machine: Machine, load: RoadLoad, air_c: float) -> Build:
    """Return a build of rider and bicycle alone, in the log's wind; the motor is switched off when it is ridden."""
    others_kg = {"motor": 0.1, "controller": 0.1, "cell": 0.05}
    data: dict[str, Any] = {
        "name": "rider alone",
        "rider": {
            "mass_kg": machine.mass_kg - 5.0 - sum(others_kg.values()),
            "chain_efficiency": machine.chain_efficiency,
            "cruise_speed_km_h": FASTEST_KM_H,
            "crank_torque_limit_nm": 300,
            "lowest_gear": 0.9,
        },
        "bicycle": {
            "mass_kg": 5,
            "drag_area_m2": load.drag_area_m2,
            "wheel_drag_area_m2": machine.wheel_drag_area_m2,
            "wheels_inertia_kg_m2": machine.wheels_kg * RADIUS_M**2,
        },
        "tyre": {
            "circumference_mm": from_si(2.0 * np.pi * RADIUS_M, "mm"),
            "rolling_resistance": load.rolling_resistance,
        },
        "drive": {"coupling": "freewheel"},
        "motor": {
            "kv_rpm_per_v": 10, "resistance_mohm": 200, "inductance_uh": 200, "pole_pairs": 20,
            "mass_kg": others_kg["motor"], "can_diameter_mm": 60, "can_length_mm": 40,
        },
        "controller": {
            "commutation": "six_step", "mass_kg": others_kg["controller"], "motor_current_limit_a": 50,
            "pack_current_limit_a": 50, "standby_power_w": 0,
        },
        "pack": {
            "series": 1, "parallel": 1, "extra_mass_kg": 0,
            "cell": {"capacity_ah": 100, "resistance_mohm": 10, "max_discharge_a": 50, "max_charge_a": 1,
                     "mass_kg": others_kg["cell"]},
        },
        "weather": {
            "temperature_c": air_c, "wind_speed_km_h": from_si(load.wind_speed_m_per_s, "km_h"),
            "wind_from_deg": load.wind_from_deg, "wind_exposure": 1,
        },
    }  # fmt: skip
    return build_from_dict(data, where="rider alone").build


def _runs(motion: Motion, free: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return the stretches of at least a minute without braking, silence or halt, as (first, last + 1)."""
    gap = np.concatenate(([True], np.diff(motion.time_s) != 1.0))
    edges = np.flatnonzero(np.diff(np.concatenate(([False], free, [False])).astype(np.int8)) != 0).reshape(-1, 2)
    runs = []
    for first, last in edges:
        cuts = [first, *(first + 1 + np.flatnonzero(gap[first + 1 : last])), last]
        runs += [(int(a), int(b)) for a, b in pairwise(cuts) if b - a > SHORTEST_S]
    return runs


def _ride_again(build: Build, motion: Motion, first: int, last: int) -> ReplayStretch:
    """Ride one stretch with the recorded pedal power, from its recorded speed, and no motor current."""
    speed = motion.speed[first:last]
    place = np.concatenate(([0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]))))
    place = np.maximum(place, np.arange(len(place)) * 1e-6)  # a standing bike would repeat a place
    road = _road(motion, first, last, place)
    arrays = road_arrays(build, road, plan_speed(road, to_si(FASTEST_KM_H, "km_h")))
    arrays.nodes["pedal_power"] = np.interp(
        road.distance_m, place, smoothed(motion.power[first:last], 1.0, POWER_SMOOTHING_S)
    )
    recorded_s = float(len(place) - 1)
    options = RideOptions(time_limit_h=from_si(PATIENCE * recorded_s, "h"))
    start = start_state(build, speed_m_per_s=float(speed[0]))
    raw = run(parameters(build)._replace(drive_current=0.0), arrays, start, options, trace=False)
    stalled = raw.stop is not Stop.FINISHED
    return ReplayStretch(float(motion.time_s[first]), float(place[-1]), recorded_s, raw.end.time, stalled)


def _road(motion: Motion, first: int, last: int, place: Array) -> Road:
    """Return the stretch as a road: recorded slopes and headings on an even grid."""
    grid = np.linspace(0.0, place[-1], max(2, round(place[-1] / SPACING_M)) + 1)
    moving = np.maximum(motion.speed[first:last], 1.0)
    sine = np.clip(motion.rise[first:last] / moving, -STEEPEST_SINE, STEEPEST_SINE)
    bearing = np.unwrap(np.arctan2(motion.east[first:last], motion.north[first:last]))
    return road_on_grid(
        "stretch", "log", np.interp(grid, place, sine), float(grid[1]), float(motion.altitude[first]),
        np.degrees(np.interp(grid, place, bearing)) % 360.0,
    )  # fmt: skip
