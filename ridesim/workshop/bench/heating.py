"""A heating run and its cooling: heat capacities and conductances of winding and body, as the ride has them.

`C_w T_w' = P - G_wb (T_w - T_b)`, `C_b T_b' = P_i + G_wb (T_w - T_b) - G_ba (T_b - T_air)`: the step's own two lumps.
A winding without a sensor is its own: a copper winding shows its warmth by its resistance (IEC 60034-1:2022, 8.6.2,
the resistance method, from memory; copper after IEC 60028:1925). Errors: covariance of the least squares under the
scatter that is left, widened where it runs on from reading to reading, and the meters' gain beside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ridesim.errors import RideError
from ridesim.units import from_si
from ridesim.workshop.bench.errors import WIDE_ERROR, Floats
from ridesim.workshop.bench.resistance import COPPER_ZERO_C, LEAST_MOHM, REFERENCE_C
from ridesim.workshop.bench.runs import RunKey, correlated_error
from ridesim.workshop.bench.warming import (
    AIR_MOVES,
    BODY,
    EXPONENT_OFF,
    LEAST_RISE_K,
    LINE,
    RANGES,
    START_K,
    WINDING,
    HeatingRun,
    Problem,
    read_by,
    rise_of,
)
from ridesim.workshop.limits import Verdict, held

MOST_ROWS = 1500
LEAST_ROWS = 20
UNTOLD = 0.5
"""Relative error from which a run has not told a number: it is shown, and written nowhere (guess)."""
ROUNDS = 3
OFF_A_FIT = 0.15
"""Share of the rise by which two lumps may miss a run before it counts as another motor's (guess)."""

KEYS = ("winding_heat_capacity_j_per_k", "body_heat_capacity_j_per_k", "winding_to_body_w_per_k",
        "body_to_air_still_w_per_k")  # fmt: skip
WORDS = ("winding, heat capacity", "body, heat capacity", "winding to body", "body to air, as on the bench")
COLD = "resistance_mohm"


@dataclass(frozen=True, eq=False)
class HeatingFit:
    """Capacities and conductances with errors; `rms_k`: how far the readings stand off the two lumps."""

    keys: tuple[RunKey, ...]
    rms_k: float
    rise_k: float
    thermometers: tuple[str, ...]
    time_s: Floats
    measured_c: dict[str, Floats]
    computed_c: dict[str, Floats]
    verdict: Verdict
    reason: str
    lacking: tuple[str, ...] = ()
    """Which further reading would tell what this run does not, in sentences."""

    def value(self, key: str) -> RunKey:
        """Return one of the numbers by its key."""
        return next(each for each in self.keys if each.key == key)


def fit_heating(run: HeatingRun, still: HeatingFit | None = None) -> HeatingFit:
    """Return what a heating run and its cooling tell of the motor. Raises RideError for one that tells nothing.

    still: of another run of the same motor, whose numbers and errors are known beforehand.
    """
    thermometers = _thermometers(run)
    _refuse(run, thermometers)
    known = () if still is None else tuple((each.value, each.error / each.value) for each in still.keys[:4])
    problem = Problem(run, thermometers, known)
    theta, sigma = problem.start(), dict.fromkeys(thermometers, 1.0)
    for _ in range(ROUNDS):
        theta, slopes = problem.solve(theta, sigma)
        left = problem.left(theta)
        sigma = {name: correlated_error(values, run.temperature_error_c) for name, values in left.items()}
    _, slopes = problem.solve(theta, sigma)
    covariance = np.asarray(np.linalg.inv(slopes.T @ slopes), dtype=np.float64)
    spread = np.sqrt(np.diag(covariance))
    # Heat that all readings share a fault of moves all four alike; the resistance shows none of it.
    shares = np.hypot(spread[:4], run.gain_error)
    keys = [
        RunKey(key, words, float(np.exp(value)), float(np.exp(value) * share), bool(share < UNTOLD))
        for key, words, value, share in zip(KEYS, WORDS, theta[:4], shares, strict=True)
    ]
    air = moving_keys(run, theta, covariance, problem.air) if run.in_moving_air else []
    keys += air
    if problem.by_resistance:
        cold = float(np.exp(theta[-1]))
        keys.append(RunKey(COLD, COLD_WORDS, cold, cold * float(spread[-1]), True))
    keys += by_sensor(run)
    rms = float(np.sqrt(np.mean(np.concatenate(list(left.values())) ** 2)))
    rise = rise_of(problem.celsius(theta))
    sure = spread if rms < OFF_A_FIT * rise else 0.0 * spread
    _refuse_ranges(run.where, theta, sure, problem.by_resistance)
    verdict, reason = _judge(rms, rise, tuple(each for each in keys if each not in air or each.told), thermometers)
    return HeatingFit(
        tuple(keys), rms, rise, thermometers, run.time_s, problem.celsius(theta), problem.computed(theta), verdict,
        reason, tuple(_lacking(run, keys)),
    )  # fmt: skip


MOVING, EXPONENT_KEY = "body_to_air_at_36_km_h_w_per_k", "cooling_exponent"
EXPONENT_TOLD = 0.7
"""Share of what was known of the exponent beforehand, below which a run has told something of it (guess)."""


def moving_keys(run: HeatingRun, theta: Floats, covariance: Floats, air: slice) -> list[RunKey]:
    """Return the conductance at 36 km/h and the power of the speed, with errors of the whole fit."""
    at = [3, air.start, air.stop - 1]
    still, added, exponent = np.exp(theta[at])
    part = covariance[np.ix_(at, at)]
    gradient = np.array([still, added, 0.0])
    total = float(still + added)
    share = float(np.hypot(np.sqrt(gradient @ part @ gradient) / total, run.gain_error))
    off = float(np.sqrt(part[2, 2]))
    return [
        RunKey(MOVING, "body to air at 36 km/h", total, total * share, bool(share < UNTOLD)),
        RunKey(EXPONENT_KEY, "power of the air's speed", float(exponent), float(exponent) * off,
               bool(off < EXPONENT_TOLD * EXPONENT_OFF)),
    ]  # fmt: skip


def _lacking(run: HeatingRun, keys: list[RunKey]) -> Iterator[str]:
    by_key = {each.key: each for each in keys}
    if run.air_m_per_s is None or not run.in_moving_air:
        yield ("How moving air cools it is not told: log a run before a fan or on the road, with the air's speed "
               "(--moving-air FILE).")  # fmt: skip
        return
    if not by_key[KEYS[3]].told:
        yield "What still air takes is not told: log the cooling in still air too (--heating FILE)."
    if not by_key[EXPONENT_KEY].told:
        speed = run.air_m_per_s[run.air_m_per_s > AIR_MOVES]
        usual = from_si(float(np.median(speed)), "km_h")
        yield (f"How cooling grows with the air's speed is not told by air at about {usual:.0f} km/h: log a stretch at "
               f"another speed, {0.4 * usual:.0f} or {2.5 * usual:.0f} km/h.")  # fmt: skip


def by_sensor(run: HeatingRun) -> list[RunKey]:
    """Return the winding's resistance at 20 degC by voltage, current and the sensor in it, where a run has them."""
    warm = (COPPER_ZERO_C + run.winding_c) / (COPPER_ZERO_C + REFERENCE_C)
    cold = (run.line_mohm / warm)[np.isfinite(run.line_mohm) & np.isfinite(run.winding_c)]
    if len(cold) < LEAST_ROWS:
        return []
    value = float(np.median(cold))
    scatter, off = correlated_error(cold - value) / len(cold) ** 0.5, max(run.temperature_error_c, START_K)
    return [RunKey(COLD, COLD_WORDS, value, float(np.hypot(scatter, value * COPPER_PER_K * off)), True)]


COLD_WORDS, COPPER_PER_K = "resistance at 20 °C, with leads", 1.0 / (COPPER_ZERO_C + REFERENCE_C)


def _thermometers(run: HeatingRun) -> tuple[str, ...]:
    found = []
    if np.isfinite(run.winding_c).sum() >= LEAST_ROWS:
        found.append(WINDING)
    elif np.isfinite(run.line_mohm).sum() >= LEAST_ROWS:
        found.append(LINE)
    return (*found, BODY) if np.isfinite(run.body_c).sum() >= LEAST_ROWS else tuple(found)


def _refuse(run: HeatingRun, thermometers: tuple[str, ...]) -> None:
    if not thermometers:
        what = f"has fewer than {LEAST_ROWS} readings of a temperature of winding or body"
        raise RideError(run.where, what, "log a sensor on the body, or in the winding")
    if not np.any(run.heat_w > 0.0) and not np.any(run.current_a != 0.0):
        raise RideError(run.where, "no current heats the motor: all currents are zero", "check the column of current")
    if np.any(run.current_a != 0.0) and run.resistance_mohm is None:
        what = "the motor's current heats it by its resistance, which is not known"
        raise RideError(run.where, what, "give --resistance-mohm, --drop or --pairs, or log voltage and current")
    rise = rise_of({name: read_by(run, name) for name in thermometers if name != LINE})
    if rise < LEAST_RISE_K and thermometers != (LINE,):
        what = f"no temperature rises by more than {rise:.1f} K (at least {LEAST_RISE_K:g} K)"
        raise RideError(run.where, what, "heat it for longer, or check the unit of the temperatures")


def _refuse_ranges(where: str, theta: Floats, spread: Floats, by_resistance: bool) -> None:
    """Raise RideError for a number that is told, and that no motor has."""
    for key, words, (low, high), value, share in zip(KEYS, WORDS, RANGES, theta, spread, strict=False):
        if share < UNTOLD and not np.log(low) + 0.01 < value < np.log(high) - 0.01:
            unit = "J/K" if key.endswith("j_per_k") else "W/K"
            what = f"{words} comes out at {np.exp(value):.3g} {unit}, outside {low:g} to {high:g} {unit}"
            raise RideError(where, what, "check the units of time, current and voltage")
    if by_resistance and np.exp(theta[-1]) < LEAST_MOHM:
        what = f"voltage over current is {np.exp(theta[-1]):.3g} mΩ, no motor's (at least {LEAST_MOHM:g} mΩ)"
        raise RideError(where, what, "check the units of voltage and current")


def _judge(rms: float, rise: float, keys: tuple[RunKey, ...], thermometers: tuple[str, ...]) -> tuple[Verdict, str]:
    off = f"two lumps miss the temperatures by {rms:.1f} K rms of {rise:.0f} K: a loose sensor, a draught, a lost row"
    grave = held("bench_scatter", rms / rise, OFF_A_FIT, off)
    if grave[0] != "fine":
        return grave
    findings = [*_untold(keys, thermometers)]
    looked = held("bench_error", rms / rise, WIDE_ERROR, off)
    if looked[0] != "fine":
        findings.append(looked)
    if findings:
        return "look again", "; ".join(words for _, words in findings)
    told = "; ".join(f"{each.words} to {each.error / each.value:.0%}" for each in keys)
    return "fine", f"met within {rms:.1f} K rms; {told}"


def _untold(keys: tuple[RunKey, ...], thermometers: tuple[str, ...]) -> Iterator[tuple[Verdict, str]]:
    wide = [each for each in keys if each.error > 0.0 and each.error / each.value > WIDE_HEAT]
    if not wide:
        return
    names = ", ".join(f"{each.words} (± {min(each.error / each.value, 9.99):.0%})" for each in wide)
    help_ = "log the winding's warmth too" if WINDING not in thermometers else "heat longer, then let it cool longer"
    worst = max(each.error / each.value for each in wide)
    yield held("bench_run_error", worst, WIDE_HEAT, f"hardly told by this run: {names}; {help_}")


WIDE_HEAT = 0.25
"""Relative error of a capacity or conductance that is worth another run (guess: estimates from the size are off by a
quarter to six tenths)."""
