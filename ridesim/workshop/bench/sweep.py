"""A sweep recorded on the bench: many steady readings of one motor, and those that do not go with the rest.

Below full duty the inverter gives the motor `V d` and takes `I d` for its `I` (averaged switching, no loss of its own).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridesim.errors import RideError
from ridesim.units import to_si
from ridesim.workshop.bench.errors import Floats
from ridesim.workshop.bench.readings import BenchPoint

MOST_POINTS = 400
"""More rows are averaged with their neighbours: their scatter stays the same of what is fitted."""
LEAST_DUTY = 0.05
STEADY_PER_S = 0.02
"""Share of the top speed by which a steady reading changes in a second, at most (guess)."""
FAR_OFF = 6.0
"""Deviations, by the middle of all, from which one reading is told by its row (guess)."""
MAD_TO_DEVIATION = 1.4826
"""Of a normal spread."""


@dataclass(frozen=True)
class Sweep:
    """Steady readings, the rows of the file (from 1) at which they begin, and what was left out."""

    points: tuple[BenchPoint, ...]
    rows: tuple[int, ...]
    notes: tuple[str, ...]


def sweep_of(
    where: str, voltage_v: Floats, current_a: Floats, speed_rpm: Floats, *, duty: Floats | None = None,
    time_s: Floats | None = None,
) -> Sweep:  # fmt: skip
    """Return the steady readings of columns, each (n,): DC side and shaft. Raises RideError for fewer than two."""
    notes = []
    speed, current = np.abs(speed_rpm), np.abs(current_a)
    good = np.isfinite(voltage_v) & np.isfinite(current) & np.isfinite(speed)
    at = np.ones(len(speed)) if duty is None else np.abs(duty)
    turning = good & (voltage_v > 0.0) & (current > 0.0) & (speed > 0.0) & (np.nan_to_num(at) > LEAST_DUTY)
    notes += _left_out(good & ~turning, "show no voltage, current or speed")
    steady = turning if time_s is None else turning & _steady(time_s, speed)
    notes += _left_out(turning & ~steady, "are not steady: the speed changes")
    rows = np.flatnonzero(steady)
    if len(rows) < 2:
        raise RideError(where, f"has {len(rows)} steady readings of a turning motor, at least 2 needed", "; ".join(
            notes) or "measure more points")  # fmt: skip
    if duty is not None and np.any(at[rows] < 1.0):
        notes.append("readings below full duty: the motor gets voltage times duty, and current over duty")
    columns = (voltage_v * at, current / np.where(steady, at, 1.0), speed)
    factor = -(-len(rows) // MOST_POINTS)
    if factor > 1:
        notes.append(f"every {factor} neighbouring rows are averaged")
    groups = [rows[first : first + factor] for first in range(0, len(rows), factor)]
    points = tuple(BenchPoint(*(float(each[group].mean()) for each in columns)) for group in groups)
    return Sweep(points, tuple(int(group[0]) + 1 for group in groups), tuple(notes))


def _left_out(which: np.ndarray, words: str) -> list[str]:
    return [f"{int(which.sum())} of {len(which)} rows {words}: left out"] if which.any() else []


def _steady(time_s: Floats, speed: Floats) -> np.ndarray:
    """Whether the speed hardly changes, by the readings on both sides."""
    known = np.isfinite(speed)
    filled = np.interp(time_s, time_s[known], speed[known])
    slope = np.gradient(filled, time_s) if len(speed) > 2 else np.zeros(len(speed))
    return np.asarray(np.abs(slope) < STEADY_PER_S * filled.max())


def odd_rows(sweep: Sweep, kv_rpm_per_v: float, resistance_mohm: float) -> list[str]:
    """Return in words the readings whose voltage stands far off what `V = rpm / Kv + I R` makes of all of them."""
    points = np.array([(each.voltage_v, each.current_a, each.speed_rpm) for each in sweep.points])
    voltage, current, speed = points.T
    off = voltage - speed / kv_rpm_per_v - current * to_si(resistance_mohm, "mohm")
    off = off - np.median(off)
    deviation = MAD_TO_DEVIATION * float(np.median(np.abs(off)))
    if len(off) < 5 or deviation <= 0.0:
        return []
    far = np.flatnonzero(np.abs(off) > FAR_OFF * deviation)
    return [f"row {sweep.rows[at]} is {off[at]:+.3g} V ({abs(off[at]) / deviation:.0f} deviations) off" for at in far]
