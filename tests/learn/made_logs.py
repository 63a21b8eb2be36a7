"""Made logs: a ride of the simulator written as a recorder would, with the faults that recorders have."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.engine.batch import Job, run_one
from ridesim.engine.pace import NORMAL
from ridesim.engine.params import current_scale, start_state
from ridesim.ride.running import RideOptions, arrays_for, ride_parameters, run
from ridesim.ride.simulate import simulate
from ridesim.ride.trace import trace_columns
from ridesim.road.profile import Road

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Faults:
    """What the recorder adds: standard deviations, steps of rounding, dropped rows, a clock that runs fast, a lag."""

    noise: float = 1.0
    """Times: 0.05 V, 0.15 A, 0.3 A of the motor, 0.3 K, 0.1 km/h, 0.004 of duty, 0.3 m."""
    round_a: float = 0.1
    round_c: float = 1.0
    round_km_h: float = 0.1
    dropped: float = 0.01
    clock_ppm: float = 50.0
    altitude_lag_s: float = 0.0


def _rounded(values: Array, step: float) -> Array:
    return np.round(values / step) * step if step else values


def pedalled(loaded: LoadedBuild, road: Road, rng: np.random.Generator, every_s: float = 1.0) -> dict[str, Array]:
    """Return what a perfect recorder would write whose rider gives 100 W more than he says for a tenth of it."""
    options = RideOptions(record_every_s=every_s)
    params, arrays = ride_parameters(loaded.build, options), arrays_for(loaded.build, road, options)
    pushing = np.zeros(len(road.distance_m), dtype=bool)
    while pushing.mean() < 0.1:
        begin = float(rng.uniform(0.0, road.length_m))
        pushing |= (road.distance_m >= begin) & (road.distance_m < begin + rng.uniform(140.0, 420.0))
    arrays.nodes["pedal_power"] += 100.0 * pushing
    raw = run(params, arrays, start_state(loaded.build), options, trace=True)
    return _named(trace_columns(raw.trace, current_scale(loaded.build)), loaded.build.motor.pole_pairs)


def columns_of(loaded: LoadedBuild, road: Road, every_s: float = 0.5, **options: Any) -> dict[str, Array]:
    """Return what a perfect recorder would write, under the names of a log."""
    ride = simulate(loaded, road, record_every_s=every_s, **options)
    return _named(trace_columns(ride.raw.trace, current_scale(loaded.build)), loaded.build.motor.pole_pairs)


def throttled(loaded: LoadedBuild, road: Road, levels: Array, each_s: float, every_s: float = 0.5) -> dict[str, Array]:
    """Return what a perfect recorder would write of a ride whose throttle stands at each of `levels` for a while."""
    build = loaded.build
    options = RideOptions(record_every_s=every_s)
    params, arrays = ride_parameters(build, options), arrays_for(build, road, options)
    arrays.nodes["pedal_power"] = 0.0
    state, parts, opened = start_state(build), [], []
    for level in levels:
        job = Job(params._replace(throttle=float(level)), arrays, state, NORMAL, 1, state.time + each_s)
        raw = run_one(job, int(each_s / every_s) + 2, every_s)
        rows = raw.trace[: round(each_s / every_s)]
        parts.append(rows)
        opened.append(np.full(len(rows), level))
        state = raw.end
    columns = _named(trace_columns(np.concatenate(parts), current_scale(build)), build.motor.pole_pairs)
    return columns | {"throttle": np.concatenate(opened)}


def _named(t: dict[str, Array], pairs: float) -> dict[str, Array]:
    return {
        "time_s": t["time_s"], "speed_km_h": t["speed_km_h"], "electrical_speed_rpm": t["motor_speed_rpm"] * pairs,
        "pack_current_a": t["pack_current_a"], "pack_voltage_v": t["pack_voltage_v"],
        "motor_current_a": t["motor_current_a"], "duty": t["modulation"],
        "winding_temperature_c": t["winding_temp_c"], "body_temperature_c": t["body_temp_c"],
        "controller_temperature_c": t["controller_temp_c"], "pack_temperature_c": t["pack_temp_c"],
        "altitude_m": t["altitude_m"],
    }  # fmt: skip


def spoiled(true: dict[str, Array], faults: Faults, rng: np.random.Generator) -> dict[str, Array]:
    """Return the columns as a real recorder writes them."""
    count = len(true["time_s"])
    size = {"speed_km_h": 0.1, "electrical_speed_rpm": 10.0, "pack_current_a": 0.15, "pack_voltage_v": 0.05,
            "motor_current_a": 0.3, "duty": 0.004, "winding_temperature_c": 0.3, "body_temperature_c": 0.3,
            "controller_temperature_c": 0.3, "pack_temperature_c": 0.2, "altitude_m": 0.15,
            "throttle": 0.002}  # fmt: skip
    step = {"speed_km_h": faults.round_km_h, "electrical_speed_rpm": 1.0, "pack_current_a": faults.round_a,
            "pack_voltage_v": 0.1, "motor_current_a": faults.round_a, "duty": 0.001, "altitude_m": 0.2}  # fmt: skip
    made = {}
    for name, values in true.items():
        noisy = values + rng.normal(0.0, faults.noise * size.get(name, 0.0), count)
        made[name] = _rounded(noisy, faults.round_c if name.endswith("temperature_c") else step.get(name, 0.0))
    if faults.altitude_lag_s:
        late = np.interp(true["time_s"] - faults.altitude_lag_s, true["time_s"], true["altitude_m"])
        made["altitude_m"] = _rounded(late + rng.normal(0.0, faults.noise * 0.15, count), 0.2)
    made["time_s"] = true["time_s"] * (1.0 + 1e-6 * faults.clock_ppm)
    keep = rng.random(count) >= faults.dropped
    return {name: values[keep] for name, values in made.items()}


def write_log(place: Path, columns: dict[str, Array], names: tuple[str, ...] = ()) -> Path:
    """Write columns as a CSV and return its place."""
    chosen = names or tuple(columns)
    body = np.column_stack([columns[name] for name in chosen])
    np.savetxt(place, body, fmt="%.6g", delimiter=",", header=",".join(chosen), comments="")
    return place
