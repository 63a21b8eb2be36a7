"""A cell's equivalent circuit from its own measurements, by the ride's own pack: what to write into a cell part file.

Discharges at constant current show the whole resistance; pulses show which part of it is fast. One needs both: from
constant currents alone the split is a guess. Pulses at several temperatures and a discharge in the cold give the rise
of each part in the cold. The heat of one run gives the lump. Source of the circuit: Plett, Battery
Management Systems vol. 1 (2015), chapter 2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from ridesim.bike.load import build_from_dict
from ridesim.engine.circuit import fade_over, polarise, polarised, read_pack
from ridesim.engine.params import CHARGE_GRID, parameters
from ridesim.engine.state import Parameters, as_record
from ridesim.errors import LogError
from ridesim.jit import kernel
from ridesim.physics.heat import one_lump
from ridesim.physics.pack import arrhenius_factor
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
"""Bounds of the fast part. Without them a little resistance with a very steep rise stands for a cold that the readings
hardly show (guess: charge transfer is told at 30 to 60 kJ/mol)."""
CHARGE_DIGITS = 6
CURVE_WITHIN = (0.05, 20.0)
"""What a part file may say of the fast resistance at a charge, over that at half charge."""
READINGS = 200
STEP_S = 1.0
DEFAULT_ACTIVATION_KJ_PER_MOL = 20.0
"""As a build's default, where no temperatures are given (guess)."""
START_CAPACITY_J_PER_K = 70.0
"""Heat capacity before it is fitted: a 70 g cell at 1000 J/(kg K)."""

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CellRun:
    """A record of one cell: clock, current (+ out) and voltage, (n,); its charge and warmth at the start."""

    time_s: Array
    current_a: Array
    voltage_v: Array
    start_charge: float = 1.0
    start_c: float = 25.0
    air_c: float = 25.0
    temperature_c: Array | None = None


@dataclass(frozen=True)
class Pulse:
    """The resistance of one pulse from rest: voltage drop over current, some seconds after the current began."""

    charge: float
    after_s: float
    resistance_mohm: float
    current_a: float
    temperature_c: float = 25.0


@dataclass(frozen=True, eq=False)
class CellFit:
    """Keys of a cell part file, and what no part file has: a resistance that no temperature moves, and one cell's lump.

    `lead_mohm` belongs to the pack's wiring (times cells in series over parallel). `to_air_w_per_k` is the rig's.
    """

    capacity_ah: float
    charge_fraction: tuple[float, ...]
    open_circuit_v: tuple[float, ...]
    resistance_mohm: float
    resistance_curve: tuple[float, ...]
    lead_mohm: float
    polarisation_resistance_mohm: float
    polarisation_time_s: float
    activation_kj_per_mol: float
    polarisation_activation_kj_per_mol: float
    heat_capacity_j_per_k: float
    to_air_w_per_k: float

    def part(self) -> dict[str, Any]:
        """Return the keys as a part file names them."""
        names = (
            "capacity_ah", "charge_fraction", "open_circuit_v", "resistance_mohm", "resistance_curve",
            "polarisation_resistance_mohm", "polarisation_time_s", "activation_kj_per_mol",
            "polarisation_activation_kj_per_mol",
        )  # fmt: skip
        found = {name: getattr(self, name) for name in names}
        # Beyond its allowed factors only a curve's ends are, where no reading was judged.
        bent = np.clip(self.resistance_curve, *CURVE_WITHIN)
        return {**found, "resistance_curve": tuple(bent.tolist())}


class _CellState(NamedTuple):
    """The part of a ride's state that is the pack's."""

    charge: float
    polarisation: float
    pack_temp: float


@dataclass(frozen=True, eq=False)
class CellTrace:
    """What the circuit does under a run's current, at the run's own clock, (n,)."""

    voltage_v: Array
    temperature_c: Array
    charge: Array


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
    if not runs and not pulses:
        raise LogError("cell", "has neither discharges nor pulses", "measure at least one discharge and some pulses")
    warm = len({pulse.temperature_c for pulse in pulses}) > 1
    blank = _blank(charge_fraction, open_circuit_v, capacity_ah)
    lowest = [*[LEAST_MOHM] * len(CURVE_POINTS), 0.0, 1.0, 0.0, 0.0, 0.0]
    highest = [*[200.0] * len(CURVE_POINTS), 200.0, 900.0, 100.0, STEEPEST_KJ_PER_MOL, 80.0]
    start = np.array([*[20.0] * len(CURVE_POINTS), 10.0, 40.0, 10.0 if warm else 0.0, 20.0, 20.0])
    free = np.array([True] * (len(start) - 3) + [warm] * 3)

    def fit_of(values: Array) -> CellFit:
        """Return the cell of some values of the free numbers."""
        full = start.copy()
        full[free] = values
        return _fit_of(blank, full)

    def misses(values: Array) -> Array:
        """Return what the cell of these values misses of every run and pulse, and how its curve bends."""
        fit = fit_of(values)
        parts = [_run_misses(fit, run) for run in runs]
        if pulses:
            parts.append(_pulse_misses(fit, pulses))
        return np.concatenate([*parts, np.diff(values[: len(CURVE_POINTS)], 2) / from_si(BEND_OHM, "mohm")])

    found = least_squares(
        misses, start[free], bounds=(np.array(lowest)[free], np.array(highest)[free]), x_scale=start[free] + 1.0
    )
    fit = fit_of(found.x)
    return _with_lump(fit, heat_runs) if heat_runs else fit


def follow_cell(fit: CellFit, run: CellRun, *, recorded_warmth: bool = False) -> CellTrace:
    """Return voltage, temperature and charge of a fitted cell under a run's current, by the ride's own pack step.

    A run without temperatures is held at its start's; `recorded_warmth` holds the cell at the recorded ones.
    """
    clock, current = _even_clock(run)
    volts, warmth, charge = np.zeros(len(clock)), np.zeros(len(clock)), np.zeros(len(clock))
    params, held = _params(fit), np.empty(0)
    if run.temperature_c is None:
        params = params._replace(pack_k_per_j=0.0)
    elif recorded_warmth:
        held = np.interp(clock, run.time_s, run.temperature_c)
    start = (float(run.start_charge), float(run.start_c), float(run.air_c))
    _follow(as_record(params), clock, current, *start, held, volts, warmth, charge)
    drop = (np.interp(run.time_s, clock, current) - run.current_a) * _fast_resistance(fit, run, charge, clock, warmth)
    return CellTrace(
        np.interp(run.time_s, clock, volts) + drop,
        np.interp(run.time_s, clock, warmth),
        np.interp(run.time_s, clock, charge),
    )


def voltage_rms_v(fit: CellFit, run: CellRun) -> float:
    """Return the root mean square voltage error of a fitted cell on a run between 10 and 90 % charge [V].

    Not a number where the run never lies there.
    """
    trace = follow_cell(fit, run)
    judged = _judged(trace)
    if not judged.any():
        return math.nan
    return float(np.sqrt(np.mean((trace.voltage_v - run.voltage_v)[judged] ** 2)))


def _judged(trace: CellTrace) -> NDArray[np.bool_]:
    return (trace.charge > WITHIN[0]) & (trace.charge < WITHIN[1])


def _even_clock(run: CellRun) -> tuple[Array, Array]:
    """Return a clock of steps up to a second and the mean current of each step, so that no charge is lost."""
    clock = np.arange(run.time_s[0], run.time_s[-1] + STEP_S, STEP_S)
    passed = np.concatenate(([0.0], np.cumsum(0.5 * (run.current_a[1:] + run.current_a[:-1]) * np.diff(run.time_s))))
    mean = np.diff(np.interp(clock, run.time_s, passed)) / STEP_S
    return clock, np.append(mean, mean[-1] if len(mean) else 0.0)


def _fast_resistance(fit: CellFit, run: CellRun, charge: Array, clock: Array, warmth: Array) -> Array:
    """Return the fast resistance at a run's readings [ohm]: a reading's own current differs from its step's mean."""
    at, warm = np.interp(run.time_s, clock, charge), np.interp(run.time_s, clock, warmth)
    cold = _factors(fit.activation_kj_per_mol, warm)
    curve = np.interp(at, fit.charge_fraction, fit.resistance_curve)
    return to_si(fit.resistance_mohm, "mohm") * curve * cold + to_si(fit.lead_mohm, "mohm")


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
    fast = cells * _factors(fit.activation_kj_per_mol, rows[:, 4]) + fit.lead_mohm
    slow = fit.polarisation_resistance_mohm * -np.expm1(-rows[:, 1] / fit.polarisation_time_s)
    slow *= _factors(fit.polarisation_activation_kj_per_mol, rows[:, 4])
    return to_si(1.0, "mohm") * (fast + slow - rows[:, 2]) * rows[:, 3] / (NOISE_V * np.sqrt(len(rows)))


def _factors(activation_kj_per_mol: float, temperature_c: Array) -> Array:
    """Return the factors on a resistance at some temperatures, (n,), each worked out once."""
    warm, place = np.unique(temperature_c, return_inverse=True)
    return np.array([arrhenius_factor(to_si(activation_kj_per_mol, "kj_per_mol"), value) for value in warm])[place]


def _blank(
    charge_fraction: Sequence[float] | Array, open_circuit_v: Sequence[float] | Array, capacity_ah: float
) -> CellFit:
    both = np.concatenate((np.asarray(charge_fraction, dtype=np.float64), CURVE_POINTS))
    grid = np.unique(np.round(both, CHARGE_DIGITS))  # 0.7 and 7 x 0.1 are one point: a part file's charges rise
    volts = np.interp(grid, charge_fraction, open_circuit_v)
    flat = (1.0,) * len(grid)
    return CellFit(
        capacity_ah, tuple(grid.tolist()), tuple(volts.tolist()), 20.0, flat, 0.0, 10.0, 40.0,
        DEFAULT_ACTIVATION_KJ_PER_MOL, DEFAULT_ACTIVATION_KJ_PER_MOL, START_CAPACITY_J_PER_K, 0.1,
    )  # fmt: skip


def _fit_of(blank: CellFit, values: Array) -> CellFit:
    count = len(CURVE_POINTS)
    middle = float(np.interp(0.5, CURVE_POINTS, values[:count]))
    curve = np.interp(blank.charge_fraction, CURVE_POINTS, values[:count]) / middle
    slow, seconds, lead, activation, slow_activation = map(float, values[count:])
    return replace(
        blank,
        resistance_mohm=middle,
        resistance_curve=tuple(curve.tolist()),
        polarisation_resistance_mohm=slow,
        polarisation_time_s=seconds,
        lead_mohm=lead,
        activation_kj_per_mol=activation,
        polarisation_activation_kj_per_mol=slow_activation,
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


@cache
def _one_cell() -> Parameters:
    """Return the parameters of a bike with a pack of one cell: the pack's are then replaced by a fit's."""
    build = {
        "rider": {"mass_kg": 75},
        "bicycle": {"mass_kg": 20},
        "tyre": {"circumference_mm": 2100},
        "motor": {"kv_rpm_per_v": 10, "resistance_mohm": 200, "inductance_uh": 200, "pole_pairs": 20, "mass_kg": 5,
                  "can_diameter_mm": 200, "can_length_mm": 40},
        "controller": {"commutation": "six_step", "motor_current_limit_a": 30, "pack_current_limit_a": 20},
        "pack": {"series": 1, "parallel": 1, "weakest_group_fraction": 1,
                 "cell": {"capacity_ah": 5, "resistance_mohm": 20, "max_discharge_a": 20, "max_charge_a": 5,
                          "mass_kg": 0.07}},
    }  # fmt: skip
    return parameters(build_from_dict(build, where="one cell").build)


def _params(fit: CellFit) -> Parameters:
    grid = np.linspace(0.0, 1.0, CHARGE_GRID)
    return _one_cell()._replace(
        charge_per_coulomb=1.0 / to_si(float(fit.capacity_ah), "ah"),
        cell_resistance=to_si(fit.resistance_mohm, "mohm"),
        wiring_resistance=to_si(fit.lead_mohm, "mohm"),
        polarisation_resistance=to_si(fit.polarisation_resistance_mohm, "mohm"),
        polarisation_time=fit.polarisation_time_s,
        activation=to_si(fit.activation_kj_per_mol, "kj_per_mol"),
        slow_activation=to_si(fit.polarisation_activation_kj_per_mol, "kj_per_mol"),
        pack_k_per_j=1.0 / fit.heat_capacity_j_per_k,
        pack_to_air=fit.to_air_w_per_k,
        open_voltage=np.interp(grid, fit.charge_fraction, fit.open_circuit_v),
        resistance_curve=np.interp(grid, fit.charge_fraction, fit.resistance_curve),
    )


@kernel
def _follow(
    p: Parameters, clock: Array, current: Array, charge: float, warm_c: float, air_c: float, held: Array,
    volts: Array, warmth: Array, charges: Array,
) -> None:  # fmt: skip
    """Move the ride's pack, and nothing else, through a current; write what a meter would read at each clock mark."""
    slow = 0.0
    over = fade_over(p, clock[1] - clock[0])
    for i in range(clock.size):
        if held.size > 0:
            warm_c = held[i]
        s = _CellState(charge, slow, warm_c)
        now = read_pack(p, s, over)  # type: ignore[arg-type]  # these are the fields it reads
        amps = current[i]
        volts[i] = now.open_circuit - slow - amps * now.fast_resistance
        warmth[i], charges[i] = warm_c, charge
        _, slow_loss = polarise(p, s, over, now.slow_resistance, amps)  # type: ignore[arg-type]
        warm = now.fast_resistance * amps * amps + slow_loss / over.step
        slow = polarised(s, over, now.slow_resistance, amps)  # type: ignore[arg-type]
        warm_c = one_lump(warm_c, warm, p.pack_k_per_j, p.pack_to_air, air_c, over.step)
        charge -= amps * over.step * p.charge_per_coulomb
