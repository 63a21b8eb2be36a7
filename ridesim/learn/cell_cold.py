"""What cold runs, and the ends of runs, tell of a cell."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ridesim.learn.cell_circuit import (
    STEP_S,
    CellFit,
    CellRun,
    CellTrace,
    follow_cell,
)
from ridesim.units import to_si

COLD_RUN_C, APART_K = 15.0, 5.0
"""A run that begins colder tells of the cold; two runs that begin so far apart tell how it grows (guesses)."""
END_SHARE = 0.01
"""Error of the charge at which a discharge ends that counts one: 1 % of the capacity (guess)."""
EMPTIED_CHARGE, LOADED_SHARE, ON_SHARE = 0.03, 0.2, 0.25
"""A run whose loaded voltage fell below the rested one at that charge was emptied; a load is a current above the next
share of the largest; a discharge is followed on for the last share of the capacity."""

Array = NDArray[np.float64]


def is_cold(run: CellRun) -> bool:
    """Return whether a run begins in the cold."""
    return run.start_c < COLD_RUN_C


def apart(celsius: Sequence[float]) -> bool:
    """Return whether temperatures lie so far apart that they tell how something grows."""
    return bool(celsius) and max(celsius) - min(celsius) >= APART_K


def is_emptied(cell: CellFit, run: CellRun) -> bool:
    """Return whether a run is a discharge that went on until its voltage fell away."""
    at = last_loaded(run)
    low = float(np.interp(EMPTIED_CHARGE, cell.charge_fraction, cell.open_circuit_v))
    return bool(run.current_a[at] > 0.0 and run.voltage_v[at] < low)


def last_loaded(run: CellRun) -> int:
    """Return the last reading of a run's first load: a recharge afterwards is not looked at."""
    loaded = np.abs(run.current_a) > LOADED_SHARE * float(np.abs(run.current_a).max())
    first = int(np.argmax(loaded))
    ends = np.flatnonzero(~loaded[first:])
    return int(first + ends[0] - 1) if ends.size else len(loaded) - 1


def end_miss(fit: CellFit, run: CellRun) -> float:
    """Return by how much charge the circuit ends a discharge too late, over the error that counts one.

    The last load is held on until the circuit's voltage is where the run's ended, or the charge is gone.
    """
    at = last_loaded(run)
    amps, capacity = float(run.current_a[at]), to_si(fit.capacity_ah, "ah")
    on = np.arange(STEP_S, ON_SHARE * capacity / amps, STEP_S)

    def held(values: Array) -> Array:
        return np.concatenate((values[: at + 1], np.full(len(on), values[at])))

    warmth = None if run.temperature_c is None else held(run.temperature_c)
    clock = np.concatenate((run.time_s[: at + 1], run.time_s[at] + on))
    longer = CellRun(clock, held(run.current_a), held(run.voltage_v), run.start_charge, run.start_c, run.air_c, warmth)
    trace = follow_cell(fit, longer, recorded_warmth=True)
    return (float(trace.charge[at]) - max(_charge_at(trace, float(run.voltage_v[at])), 0.0)) / END_SHARE


def _charge_at(trace: CellTrace, volts: float) -> float:
    """Return the charge at which a voltage that falls away passes one for good."""
    over = trace.voltage_v - volts
    above = np.flatnonzero(over > 0.0)
    last = int(above[-1]) if above.size else 0
    if last + 1 >= len(over):
        return float(trace.charge[-1])
    share = over[last] / (over[last] - over[last + 1])
    return float(trace.charge[last] + share * (trace.charge[last + 1] - trace.charge[last]))


def sooner_ends(fit: CellFit, runs: Sequence[CellRun]) -> Array:
    """Return by how much charge cold discharges end sooner, beside warm ones, than the circuit knows, (cold ones,)."""
    ends, cold = np.array([end_miss(fit, run) for run in runs]), np.array([is_cold(run) for run in runs])
    return np.asarray(ends[cold] - ends[~cold].mean())
