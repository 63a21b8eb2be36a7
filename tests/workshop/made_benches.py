"""Made recordings of a bench: a motor of known numbers, swept, heated, cooled and let go, as a logger writes it.

The heat is integrated by scipy's solve_ivp, not by the kernel that fits it.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

Array = NDArray[np.float64]

KV, OHM, STILL_NM, GROWTH_NM_S, INERTIA = 100.0, 0.026, 0.08, 1.4e-4, 1.1e-3
C_W, C_B, G_WB, G_BA, AIR = 120.0, 650.0, 3.5, 0.7, 21.0
G_AT_36, POWER = 2.4, 0.7
PER_OMEGA = 60.0 / (2.0 * np.pi)


def sweep(rng: np.random.Generator, rows: int = 24, noise: float = 1.0) -> dict[str, Array]:
    """Return a no-load sweep at full duty: 12 to 50 V; noise 0.05 V, 0.02 A, 5 rpm."""
    volts = np.linspace(12.0, 50.0, rows)
    k = PER_OMEGA / KV
    # V = k w + I R with k I = t0 + t1 w, solved for w.
    omega = (volts - STILL_NM / k * OHM) / (k + GROWTH_NM_S / k * OHM)
    current = (STILL_NM + GROWTH_NM_S * omega) / k
    return {
        "voltage_v": volts + noise * rng.normal(0.0, 0.05, rows),
        "current_a": current + noise * rng.normal(0.0, 0.02, rows),
        "rpm": omega * PER_OMEGA + noise * rng.normal(0.0, 5.0, rows),
    }


def loaded(rng: np.random.Generator, rows: int = 16, noise: float = 1.0) -> dict[str, Array]:
    """Return points at full duty of 48 V under 5 to 60 A."""
    current = np.linspace(5.0, 60.0, rows)
    speed = (48.0 - current * OHM) * KV
    return {
        "voltage_v": 48.0 + noise * rng.normal(0.0, 0.03, rows),
        "current_a": current + noise * rng.normal(0.0, 0.05, rows),
        "rpm": speed + noise * rng.normal(0.0, 5.0, rows),
    }


def _still(at: float) -> float:
    return 0.0


def heating(
    rng: np.random.Generator, *, current: float = 30.0, on_s: float = 2400.0, off_s: float = 2400.0,
    every_s: float = 10.0, round_c: float = 1.0, noise_c: float = 0.3, air_km_h: Callable[[float], float] = _still,
) -> dict[str, Array]:  # fmt: skip
    """Return a motor at stand, a supply of constant current at two leads, then cooling: both sensors, V, A, air.

    air_km_h: how fast the air moves at each moment.
    """
    time = np.arange(0.0, on_s + off_s + every_s / 2, every_s)

    def slopes(at: float, t: Array) -> list[float]:
        heat = current**2 * OHM * (234.5 + t[0]) / 254.5 if at < on_s else 0.0
        through = G_WB * (t[0] - t[1])
        to_air = G_BA + (G_AT_36 - G_BA) * (air_km_h(at) / 36.0) ** POWER
        return [(heat - through) / C_W, (through - to_air * (t[1] - AIR)) / C_B]

    first = solve_ivp(slopes, (0.0, on_s), [AIR, AIR], t_eval=time[time < on_s], rtol=1e-8, max_step=20.0)
    last = solve_ivp(slopes, (0.0, on_s), [AIR, AIR], rtol=1e-8, max_step=20.0).y[:, -1]
    late = time[time >= on_s]
    second = solve_ivp(slopes, (on_s, late[-1] + 1.0), last, t_eval=late, rtol=1e-8, max_step=20.0)
    winding, body = np.concatenate((first.y, second.y), axis=1)
    amps = np.where(time < on_s, current, 0.0)
    volts = amps * OHM * (234.5 + winding) / 254.5
    count = len(time)

    def read(values: Array) -> Array:
        noisy = values + rng.normal(0.0, noise_c, count)
        return np.round(noisy / round_c) * round_c if round_c else noisy

    return {
        "time_s": time, "voltage_v": volts + rng.normal(0.0, 0.001, count) * (amps > 0.0), "current_a": amps,
        "winding_temperature_c": read(winding), "body_temperature_c": read(body),
        "air_temperature_c": np.full(count, AIR), "air_speed_km_h": np.array([air_km_h(each) for each in time]),
    }  # fmt: skip


def rundown(
    rng: np.random.Generator, *, falls: int = 2, top_rpm: float = 4500.0, every_s: float = 0.05, noise_rpm: float = 8.0,
) -> dict[str, Array]:  # fmt: skip
    """Return a motor held at speed for a second and let go, so many times."""
    a, b, first = STILL_NM / INERTIA, GROWTH_NM_S / INERTIA, top_rpm / PER_OMEGA
    speeds = []
    for _ in range(falls):
        time = np.arange(0.0, 10.0, every_s)
        omega = np.maximum((first + a / b) * np.exp(-b * time) - a / b, 0.0)
        speeds += [np.full(int(1.0 / every_s), first), omega]
    rpm = np.concatenate(speeds) * PER_OMEGA
    return {"time_s": np.arange(len(rpm)) * every_s, "rpm": rpm + rng.normal(0.0, noise_rpm, len(rpm))}


def write(place: Path, columns: dict[str, Array]) -> Path:
    """Write columns as a CSV and return its place."""
    body = np.column_stack(list(columns.values()))
    np.savetxt(place, body, fmt="%.7g", delimiter=",", header=",".join(columns), comments="")
    return place
