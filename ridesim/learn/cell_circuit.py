"""One cell as the ride's own pack of one: its numbers, its records, and what it does under a current."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import build_from_dict
from ridesim.engine.cells import FREEZING_C
from ridesim.engine.circuit import fade_over, polarise, polarised, read_pack
from ridesim.engine.params import CHARGE_GRID, parameters
from ridesim.engine.state import Parameters, as_record
from ridesim.jit import kernel
from ridesim.physics.heat import one_lump
from ridesim.physics.pack import CAPACITY_REFERENCE_K, GAS_CONSTANT, RESISTANCE_REFERENCE_K, cold_growth
from ridesim.units import from_si, to_si

CURVE_WITHIN = (0.05, 20.0)
"""What a part file may say of the fast resistance at a charge, over that at half charge."""
STEP_S = 1.0
COLD_GROWTH_KJ_PER_MOL = 35.0
"""How what the cold keeps grows where no one measured it: a build's default."""
COLD_KEYS = ("cold_capacity_loss_percent", "cold_capacity_activation_kj_per_mol")

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
    cold_capacity_loss_percent: float | None = None
    """None where no discharge in the cold was measured; so the next, where none was at two cold temperatures."""
    cold_capacity_activation_kj_per_mol: float | None = None

    @property
    def steady_resistance_mohm(self) -> float:
        """Under a lasting load, at 25 degC and half charge: both parts together."""
        return self.resistance_mohm + self.polarisation_resistance_mohm

    @property
    def steady_resistance_0_c_mohm(self) -> float:
        """The same at 0 degC."""
        cold = np.array([FREEZING_C])
        fast, slow = (
            float(cold_factors(each, cold)[0])
            for each in (self.activation_kj_per_mol, self.polarisation_activation_kj_per_mol)
        )
        return self.resistance_mohm * fast + self.polarisation_resistance_mohm * slow

    def part(self) -> dict[str, Any]:
        """Return the keys as a part file names them."""
        names = (
            "capacity_ah", "charge_fraction", "open_circuit_v", "resistance_mohm", "resistance_curve",
            "polarisation_resistance_mohm", "polarisation_time_s", "activation_kj_per_mol",
            "polarisation_activation_kj_per_mol",
        )  # fmt: skip
        found = {name: getattr(self, name) for name in names}
        cold = {name: getattr(self, name) for name in COLD_KEYS}
        found |= {name: value for name, value in cold.items() if value is not None}
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


def follow_cell(fit: CellFit, run: CellRun, *, recorded_warmth: bool = False) -> CellTrace:
    """Return voltage, temperature and charge of a fitted cell under a run's current, by the ride's own pack step.

    A run without temperatures is held at its start's; `recorded_warmth` holds the cell at the recorded ones.
    """
    clock, current = _even_clock(run)
    volts, warmth, charge = np.zeros(len(clock)), np.zeros(len(clock)), np.zeros(len(clock))
    params, held = _cell_params(fit), np.empty(0)
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


def _even_clock(run: CellRun) -> tuple[Array, Array]:
    """Return a clock of steps up to a second and the mean current of each step, so that no charge is lost."""
    clock = np.arange(run.time_s[0], run.time_s[-1] + STEP_S, STEP_S)
    passed = np.concatenate(([0.0], np.cumsum(0.5 * (run.current_a[1:] + run.current_a[:-1]) * np.diff(run.time_s))))
    mean = np.diff(np.interp(clock, run.time_s, passed)) / STEP_S
    return clock, np.append(mean, mean[-1] if len(mean) else 0.0)


def _fast_resistance(fit: CellFit, run: CellRun, charge: Array, clock: Array, warmth: Array) -> Array:
    """Return the fast resistance at a run's readings [ohm]: a reading's own current differs from its step's mean."""
    at, warm = np.interp(run.time_s, clock, charge), np.interp(run.time_s, clock, warmth)
    cold = cold_factors(fit.activation_kj_per_mol, warm)
    curve = np.interp(at, fit.charge_fraction, fit.resistance_curve)
    fast = fit.resistance_mohm * curve * cold + fit.lead_mohm
    return np.asarray(to_si(fast + cold_resistance_mohm(fit, at, warm), "mohm"))


def cold_resistance_mohm(fit: CellFit, charge: Array, temperature_c: Array) -> Array:
    """Return what the cold adds at some charges and temperatures [mohm], (n,), as `engine.circuit.cold_resistance`."""
    if not fit.cold_capacity_loss_percent:
        return np.zeros(len(charge))
    growth, share = _cold_of(fit)
    behind = share * np.maximum(np.expm1(_rise(growth, temperature_c, CAPACITY_REFERENCE_K)), 0.0)
    first = (fit.open_circuit_v[1] - fit.open_circuit_v[0]) / fit.charge_fraction[1]

    def rested(at: Array) -> Array:
        return np.asarray(np.interp(at, fit.charge_fraction, fit.open_circuit_v) + np.minimum(at, 0.0) * first)

    half = np.full(len(charge), 0.5)
    shifted = rested(charge) - rested(charge - behind) - rested(half) + rested(half - behind)
    curve = np.interp(charge - behind, fit.charge_fraction, fit.resistance_curve)
    more = np.maximum(curve - np.interp(charge, fit.charge_fraction, fit.resistance_curve), 0.0)
    more *= fit.resistance_mohm * cold_factors(fit.activation_kj_per_mol, temperature_c)
    return np.asarray(from_si(np.maximum(shifted, 0.0) / fit.capacity_ah, "mohm") + more)


def cold_factors(activation_kj_per_mol: float, temperature_c: Array) -> Array:
    """Return the factors on a resistance at some temperatures, (n,), as `physics.pack.arrhenius_factor`."""
    return np.exp(_rise(activation_kj_per_mol, temperature_c, RESISTANCE_REFERENCE_K))


def _rise(activation_kj_per_mol: float, temperature_c: Array, reference_k: float) -> Array:
    per_k = to_si(activation_kj_per_mol, "kj_per_mol") / GAS_CONSTANT
    return np.asarray(per_k * (1.0 / to_si(temperature_c, "c") - 1.0 / reference_k))


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


def _cold_of(fit: CellFit) -> tuple[float, float]:
    """Return how what the cold keeps grows [kJ/mol], and its share of the charge per growth."""
    growth = fit.cold_capacity_activation_kj_per_mol or COLD_GROWTH_KJ_PER_MOL
    loss = to_si(fit.cold_capacity_loss_percent or 0.0, "percent")
    return growth, loss / float(cold_growth(to_si(growth, "kj_per_mol"), FREEZING_C))


def _cell_params(fit: CellFit) -> Parameters:
    """Return the ride's own parameters with a fitted cell for a pack, in SI."""
    grid = np.linspace(0.0, 1.0, CHARGE_GRID)
    growth, share = _cold_of(fit)
    return _one_cell()._replace(
        charge_per_coulomb=1.0 / to_si(float(fit.capacity_ah), "ah"),
        cell_resistance=to_si(fit.resistance_mohm, "mohm"),
        wiring_resistance=to_si(fit.lead_mohm, "mohm"),
        polarisation_resistance=to_si(fit.polarisation_resistance_mohm, "mohm"),
        polarisation_time=fit.polarisation_time_s,
        activation=to_si(fit.activation_kj_per_mol, "kj_per_mol"),
        slow_activation=to_si(fit.polarisation_activation_kj_per_mol, "kj_per_mol"),
        cold_share=share,
        cold_activation=to_si(growth, "kj_per_mol"),
        per_one_c=1.0 / fit.capacity_ah,
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
