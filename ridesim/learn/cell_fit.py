"""A cell's equivalent circuit from its own measurements, by the ride's own pack: what to write into a cell part file.

Discharges at constant current show the whole resistance; pulses show which part of it is fast. One needs both: from
constant currents alone the split is a guess. Pulses at several temperatures and a discharge in the cold give the rise
of each part in the cold; discharges alone, at two temperatures or more, one rise for both. What charge the cold keeps
out of reach is told by where a cold discharge ended. The heat of one run gives the lump. Source of the circuit: Plett,
Battery Management Systems vol. 1 (2015), chapter 2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from ridesim.errors import LogError
from ridesim.learn.cell_circuit import (
    COLD_GROWTH_KJ_PER_MOL,
    COLD_KEYS,
    CellFit,
    CellRun,
    CellTrace,
    Pulse,
    cold_factors,
    cold_resistance_mohm,
    follow_cell,
)
from ridesim.learn.cell_cold import apart, is_cold, is_emptied, sooner_ends
from ridesim.learn.cell_least import fit_numbers
from ridesim.units import from_si, to_si

CURVE_POINTS = tuple(round(0.1 * point, 1) for point in range(11))
"""Charges at which the fast resistance may differ."""
WITHIN = (0.1, 0.9)
"""Charges that a voltage is judged between: outside, an open-circuit curve is too steep for any circuit."""
NOISE_V = 0.010
"""Error of a voltage that counts one (guess; only the ratio to the next matters)."""
BEND_OHM = 0.1
"""Second difference of the resistance curve that counts one (guess: holds the curve where no reading lies)."""
LEAST_MOHM, STEEPEST_KJ_PER_MOL = 0.5, 40.0
"""Bounds of the fast part. Without them a little resistance with a very steep rise stands
for a cold that the readings hardly show (guess: charge transfer is told at 30 to 60 kJ/mol)."""
CHARGE_DIGITS = 6
READINGS = 200
NEAR = 1e-4
"""Relative change at which a fit of circuit and cold together ends: far within the error of what the cold tells."""
DEFAULT_ACTIVATION_KJ_PER_MOL = 20.0
"""As a build's default, where no temperatures are given (guess)."""
START_CAPACITY_J_PER_K = 70.0
"""Heat capacity before it is fitted: a 70 g cell at 1000 J/(kg K)."""

Array = NDArray[np.float64]


def fit_cell(
    charge_fraction: Sequence[float] | Array,
    open_circuit_v: Sequence[float] | Array,
    capacity_ah: float,
    runs: Sequence[CellRun],
    pulses: Sequence[Pulse],
    heat_runs: Sequence[CellRun] = (),
) -> CellFit:
    """Return a cell's circuit and lump of heat from its rested voltages, discharges and pulses.

    Each kind of measurement counts alike, however many readings it has. Raises LogError without any.
    """
    return fit_cell_with_errors(charge_fraction, open_circuit_v, capacity_ah, runs, pulses, heat_runs)[0]


def fit_cell_with_errors(
    charge_fraction: Sequence[float] | Array,
    open_circuit_v: Sequence[float] | Array,
    capacity_ah: float,
    runs: Sequence[CellRun],
    pulses: Sequence[Pulse],
    heat_runs: Sequence[CellRun] = (),
) -> tuple[CellFit, dict[str, float]]:
    """Return a fitted cell, and one deviation of its numbers as a share of their values, by key.

    An error counts each run as one reading, off by `NOISE_V`, or by what the fit misses where that is more.
    """
    if not runs and not pulses:
        raise LogError("cell", "has neither discharges nor pulses", "measure at least one discharge and some pulses")
    blank = blank_cell(charge_fraction, open_circuit_v, capacity_ah)
    emptied = [run for run in runs if is_emptied(blank, run)]
    free = _free(runs, pulses, emptied)
    numbers = np.where(free | (np.array(NAMES) != "lead_mohm"), START, 0.0)

    def ends(full: Array) -> Array:
        """Return how much sooner cold discharges end than the cell of these numbers knows."""
        return sooner_ends(_fit_of(blank, full, free), emptied)

    def misses(full: Array) -> Array:
        """Return what the cell of these numbers misses of all voltages, and how its curve bends."""
        fit = _fit_of(blank, full, free)
        parts = [_run_misses(fit, run) for run in runs]
        parts += [_pulse_misses(fit, pulses)] if pulses else []
        return np.concatenate([*parts, np.diff(full[: len(CURVE_POINTS)], 2) / from_si(BEND_OHM, "mohm")])

    kept, readings = free & IS_KEPT, len(runs) + bool(pulses)
    if not kept.any():
        whole = found = fit_numbers(numbers, free, LOWEST, HIGHEST, misses)
        errors = found.shares(NAMES, readings)
    elif free[NAMES.index("lead_mohm")]:  # pulses show the circuit, which what the cold keeps must not bend
        whole = first = fit_numbers(numbers, free & ~IS_KEPT, LOWEST, HIGHEST, misses)
        found = fit_numbers(np.where(kept, FIRST_LOOK, first.full), kept, LOWEST, HIGHEST, ends)
        errors = first.shares(NAMES, readings) | found.shares(NAMES, int(kept.sum()))
    else:  # a cold run must tell both at once
        whole = found = fit_numbers(
            numbers, free, LOWEST, HIGHEST, lambda full: np.append(misses(full), ends(full)), NEAR
        )
        errors = found.shares(NAMES, readings + 1)
    fit = _fit_of(blank, found.full, free)
    told = {name: share for name, share in errors.items() if name in OF_CELL}
    told["resistance_mohm"] = errors["fast at 0.5"]
    told[STEADY] = whole.share_of_sum([NAMES.index(name) for name in ("fast at 0.5", SLOW)], readings)
    return (_with_lump(fit, heat_runs) if heat_runs else fit), told


SLOW, STEADY = "polarisation_resistance_mohm", "steady_resistance_mohm"
RISES = ("activation_kj_per_mol", "polarisation_activation_kj_per_mol")
OF_COLD = (*RISES, *COLD_KEYS)
OF_CELL = ("polarisation_resistance_mohm", "polarisation_time_s", *OF_COLD)
NAMES = (
    *(f"fast at {charge:g}" for charge in CURVE_POINTS), "polarisation_resistance_mohm", "polarisation_time_s",
    "lead_mohm", *OF_COLD,
)  # fmt: skip
"""The numbers of a fit, in order, with their bounds and starts."""
IS_KEPT = np.array([name in COLD_KEYS for name in NAMES])
LOWEST = (*(LEAST_MOHM,) * len(CURVE_POINTS), 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 10.0)
HIGHEST = (*(200.0,) * len(CURVE_POINTS), 200.0, 900.0, 100.0, STEEPEST_KJ_PER_MOL, 80.0, 40.0, 90.0)
START = (
    *(20.0,) * len(CURVE_POINTS), 10.0, 40.0, 10.0, DEFAULT_ACTIVATION_KJ_PER_MOL, DEFAULT_ACTIVATION_KJ_PER_MOL,
    0.0, COLD_GROWTH_KJ_PER_MOL,
)  # fmt: skip
FIRST_LOOK = (*START[:-2], 5.0, COLD_GROWTH_KJ_PER_MOL)
"""Where what the cold keeps is looked for from: the circuit is found without it."""


def _free(runs: Sequence[CellRun], pulses: Sequence[Pulse], emptied: Sequence[CellRun]) -> NDArray[np.bool_]:
    """Return which numbers the measurements tell of.

    Pulses part the rises of the fast and of the slow part; from discharges alone both rise as one. What the cold keeps
    is told by where cold discharges end beside warm ones, how that grows by ends at two cold temperatures.
    """
    by_pulses = len({pulse.temperature_c for pulse in pulses}) > 1
    colds = [run.start_c for run in emptied if is_cold(run)]
    risen = by_pulses or apart([run.start_c for run in runs])
    kept = risen and 0 < len(colds) < len(emptied)
    told = (by_pulses, risen, by_pulses, kept, kept and apart(colds))
    return np.array([True] * (len(NAMES) - len(told)) + list(told))


def voltage_rms_v(fit: CellFit, run: CellRun, *, recorded_warmth: bool = False) -> float:
    """Return the root mean square voltage error of a fitted cell on a run between 10 and 90 % charge [V].

    `recorded_warmth` holds the cell at the recorded temperatures, as the fit does; else its own lump warms it, which
    tells something only where that was fitted too. Not a number where the run never lies there.
    """
    trace = follow_cell(fit, run, recorded_warmth=recorded_warmth)
    judged = _judged(trace)
    if not judged.any():
        return math.nan
    return float(np.sqrt(np.mean((trace.voltage_v - run.voltage_v)[judged] ** 2)))


def _judged(trace: CellTrace) -> NDArray[np.bool_]:
    return (trace.charge > WITHIN[0]) & (trace.charge < WITHIN[1])


def _run_misses(fit: CellFit, run: CellRun) -> Array:
    """Return voltage errors of a run between 10 and 90 % charge, thinned out, so weighed that a run counts one."""
    trace = follow_cell(fit, run, recorded_warmth=True)
    judged = np.flatnonzero(_judged(trace))
    kept = judged[:: max(1, len(judged) // READINGS)]
    return (trace.voltage_v - run.voltage_v)[kept] / (NOISE_V * np.sqrt(max(len(kept), 1)))


def _pulse_misses(fit: CellFit, pulses: Sequence[Pulse]) -> Array:
    """Return voltage errors of pulses, so weighed that all together count one."""
    rows = np.array([(p.charge, p.after_s, p.resistance_mohm, p.current_a, p.temperature_c) for p in pulses])
    cells = fit.resistance_mohm * np.interp(rows[:, 0], fit.charge_fraction, fit.resistance_curve)
    fast = cells * cold_factors(fit.activation_kj_per_mol, rows[:, 4]) + fit.lead_mohm
    fast += cold_resistance_mohm(fit, rows[:, 0], rows[:, 4])
    slow = fit.polarisation_resistance_mohm * -np.expm1(-rows[:, 1] / fit.polarisation_time_s)
    slow *= cold_factors(fit.polarisation_activation_kj_per_mol, rows[:, 4])
    return to_si(1.0, "mohm") * (fast + slow - rows[:, 2]) * rows[:, 3] / (NOISE_V * np.sqrt(len(rows)))


def blank_cell(
    charge_fraction: Sequence[float] | Array, open_circuit_v: Sequence[float] | Array, capacity_ah: float
) -> CellFit:
    """Return a cell of known rest and capacity whose circuit nobody has looked for yet."""
    both = np.concatenate((np.asarray(charge_fraction, dtype=np.float64), CURVE_POINTS))
    grid = np.unique(np.round(both, CHARGE_DIGITS))  # 0.7 and 7 x 0.1 are one point: a part file's charges rise
    volts = np.interp(grid, charge_fraction, open_circuit_v)
    flat = (1.0,) * len(grid)
    return CellFit(
        capacity_ah, tuple(grid.tolist()), tuple(volts.tolist()), 20.0, flat, 0.0, 10.0, 40.0,
        DEFAULT_ACTIVATION_KJ_PER_MOL, DEFAULT_ACTIVATION_KJ_PER_MOL, START_CAPACITY_J_PER_K, 0.1,
    )  # fmt: skip


def _fit_of(blank: CellFit, values: Array, free: NDArray[np.bool_]) -> CellFit:
    count = len(CURVE_POINTS)
    middle = float(np.interp(0.5, CURVE_POINTS, values[:count]))
    curve = np.interp(blank.charge_fraction, CURVE_POINTS, values[:count]) / middle
    slow, seconds, lead, rise, slow_rise, loss, growth = map(float, values[count:])
    told = dict(zip(NAMES, free.tolist(), strict=True))
    return replace(
        blank,
        resistance_mohm=middle,
        resistance_curve=tuple(curve.tolist()),
        polarisation_resistance_mohm=slow,
        polarisation_time_s=seconds,
        lead_mohm=lead,
        activation_kj_per_mol=rise,
        polarisation_activation_kj_per_mol=rise if told[RISES[0]] and not told[RISES[1]] else slow_rise,
        cold_capacity_loss_percent=loss if told[COLD_KEYS[0]] else None,
        cold_capacity_activation_kj_per_mol=growth if told[COLD_KEYS[1]] else None,
    )


def _with_lump(fit: CellFit, runs: Sequence[CellRun]) -> CellFit:
    """Return the fit with heat capacity and conductance from runs that recorded the cell's temperature."""
    if any(run.temperature_c is None for run in runs):
        raise LogError("cell", "a run for the heat has no temperatures", "record the cell's surface temperature")

    def misses(values: Array) -> Array:
        """Return what a heat capacity [J/K] and a conductance [W/K] miss of the recorded warmth."""
        warmer = replace(fit, heat_capacity_j_per_k=float(values[0]), to_air_w_per_k=float(values[1]))
        return np.concatenate([_warmth_misses(warmer, run) for run in runs])

    found = least_squares(misses, (START_CAPACITY_J_PER_K, 0.1), bounds=((5.0, 1e-3), (1e4, 10.0)), x_scale=(70.0, 0.1))
    return replace(fit, heat_capacity_j_per_k=float(found.x[0]), to_air_w_per_k=float(found.x[1]))


def _warmth_misses(fit: CellFit, run: CellRun) -> Array:
    thin = slice(None, None, max(1, len(run.time_s) // READINGS))
    measured = np.empty(0) if run.temperature_c is None else run.temperature_c
    return (follow_cell(fit, run).temperature_c - measured)[thin]
