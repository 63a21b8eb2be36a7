"""Resistances on the bench: the motor's leads, brought to 20 degC, and the pack between two loads.

Sources: Ohm's law; copper after IEC 60028:1925; errors as `bench.errors`. Raises RidesimError for readings
that make no sense.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridesim.errors import RideError
from ridesim.units import from_si, to_si
from ridesim.workshop.bench.errors import NO_ERRORS, Floats, ReadingErrors, judge_error, propagate
from ridesim.workshop.limits import Verdict, held, require_positive

COPPER_ZERO_C = 234.5
"""degC below zero where copper's resistance would vanish, IEC 60028:1925."""
REFERENCE_C = 20.0
"""degC, reference temperature of IEC 60028:1925."""
COPPER_RANGE_C = (-60.0, 250.0)
"""degC, where the straight line for copper is used here; a guess, wider than any winding needs."""
LEAST_MOHM = 0.1
"""A motor's leads below this are ohms by mistake; as the build file's own range has it."""
PAIR_SPREAD = 0.05
"""Spread of the three line-to-line resistances that is worth a second look; common practice, no source."""


@dataclass(frozen=True)
class LineResistance:
    """Line-to-line resistance as measured and brought to 20 degC; the error belongs to the 20 degC value."""

    resistance_mohm: float
    resistance_at_20_c_mohm: float
    resistance_error_mohm: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class PairBalance:
    """Mean of the three line-to-line resistances, and the largest distance between two as a share of it."""

    resistance_mohm: float
    spread_percent: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class PackResistance:
    """Resistance of a pack with its leads, and the voltage it would show without load."""

    resistance_mohm: float
    resistance_error_mohm: float
    open_circuit_v: float
    verdict: Verdict
    reason: str


def line_resistance(
    voltage_v: float, current_a: float, temperature_c: float, errors: ReadingErrors = NO_ERRORS
) -> LineResistance:
    """Line-to-line resistance [mOhm] from the voltage drop of a known current, brought to 20 degC.

    Voltage leads on the motor's own leads, inside the current clips. `temperature_c` is the winding's, -60 to 250 degC.
    `R_20 = R (234.5 + 20) / (234.5 + T)`. Raises RideError for readings not above zero or copper out of range.
    Source: IEC 60028:1925.
    """
    require_positive("resistance test", voltage_v=voltage_v, current_a=current_a)
    low, high = COPPER_RANGE_C
    if not low <= temperature_c <= high:
        raise RideError("resistance test", f"{temperature_c:g} degC ({low:g} to {high:g})", "check the thermometer")
    readings = np.array([voltage_v, current_a, temperature_c])
    spread = np.array([errors.voltage_v, errors.current_a, errors.temperature_c])
    (cold,), (error,) = propagate(_resistance_at_20, readings, spread)
    verdict, reason = judge_error(error / cold, "the resistance")
    return LineResistance(from_si(voltage_v / current_a, "mohm"), cold, error, verdict, reason)


def _resistance_at_20(readings: Floats) -> Floats:
    voltage, current, temperature = readings
    return np.array([from_si(voltage / current, "mohm") / copper_factor(float(temperature))])


def copper_factor(temperature_c: float) -> float:
    """Resistance of copper at `temperature_c` to that at 20 degC. Source: IEC 60028:1925."""
    return (COPPER_ZERO_C + temperature_c) / (COPPER_ZERO_C + REFERENCE_C)


def require_milliohms(where: str, **values: float) -> None:
    """Raise BuildError or RideError for a motor's resistance [mOhm] that is not above zero, or looks like ohms."""
    require_positive(where, **values)
    for name, value in values.items():
        if value < LEAST_MOHM:
            what = f"{value:g} mΩ is out of range (at least {LEAST_MOHM:g} mΩ)"
            raise RideError(f"{where}.{name}", what, f"give it in mΩ: {value:g} Ω are {from_si(value, 'mohm'):g} mΩ")


def compare_pairs(resistances_mohm: Sequence[float]) -> PairBalance:
    """Compare the three line-to-line resistances [mOhm] of one motor, all at one temperature.

    Raises RideError unless there are three, all above zero. Limit: common practice, no source.
    """
    if len(resistances_mohm) != 3:
        raise RideError("resistance test", f"{len(resistances_mohm)} pairs of leads (3)", "measure all three pairs")
    for value in resistances_mohm:
        require_milliohms("resistance test", resistances_mohm=value)
    mean = sum(resistances_mohm) / 3.0
    spread = (max(resistances_mohm) - min(resistances_mohm)) / mean
    words = f"the pairs differ by {spread:.1%}: a bad joint, a shorted turn or a slipped clip"
    verdict, reason = held("lead_pairs", spread, PAIR_SPREAD, words)
    calm = f"the pairs agree within {spread:.1%}"
    return PairBalance(mean, from_si(spread, "percent"), verdict, calm if verdict == "fine" else reason)


def pack_resistance(
    light_voltage_v: float,
    light_current_a: float,
    heavy_voltage_v: float,
    heavy_current_a: float,
    errors: ReadingErrors = NO_ERRORS,
) -> PackResistance:
    """Pack resistance [mOhm] from two steady loads, `R = (V_1 - V_2) / (I_2 - I_1)`, read some 10 s after each change.

    Raises RideError when the heavy load does not draw more current at less voltage. Source: circuit law.
    """
    require_positive("pack test", light_voltage_v=light_voltage_v, heavy_voltage_v=heavy_voltage_v)
    require_positive("pack test", heavy_current_a=heavy_current_a)
    if not 0.0 <= light_current_a < heavy_current_a:
        raise RideError(
            "pack test", "the heavy load draws no more current than the light one", "swap or repeat the loads"
        )
    if heavy_voltage_v >= light_voltage_v:
        raise RideError("pack test", "the voltage does not fall under the heavy load", "check the meter and the order")
    readings = np.array([light_voltage_v, light_current_a, heavy_voltage_v, heavy_current_a])
    spread = np.array([errors.voltage_v, errors.current_a, errors.voltage_v, errors.current_a])
    (resistance,), (error,) = propagate(_pack_solution, readings, spread)
    verdict, reason = judge_error(error / resistance, "the resistance")
    open_circuit = light_voltage_v + light_current_a * to_si(resistance, "mohm")
    return PackResistance(resistance, error, open_circuit, verdict, reason)


def _pack_solution(readings: Floats) -> Floats:
    light_voltage, light_current, heavy_voltage, heavy_current = readings
    return np.array([from_si((light_voltage - heavy_voltage) / (heavy_current - light_current), "mohm")])
