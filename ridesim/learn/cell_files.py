"""A cell's own measurements from files: rested voltages and runs, fitted, and written as a cell part with tolerances.

How sure the fit is comes from the runs' own scatter: it is made again without each run (delete-one jackknife, Miller
1974, Biometrika 61:1-15, from memory); of one run alone nothing is known, and the schema's own word stands.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.answers import Answer
from ridesim.engine.cells import FREEZING_C
from ridesim.errors import LogError
from ridesim.learn.cell_circuit import CellFit, CellRun, cold_factors
from ridesim.learn.cell_cold import is_cold, is_emptied
from ridesim.learn.cell_fit import (
    HIGHEST,
    LOWEST,
    NAMES,
    OF_COLD,
    RISES,
    SLOW,
    STEADY,
    blank_cell,
    fit_cell,
    fit_cell_with_errors,
    voltage_rms_v,
)
from ridesim.learn.guess import plain_head, unit_in
from ridesim.learn.sheet import Sheet, read_sheet
from ridesim.ride.judge import FINE, Finding, Word, hold, worst
from ridesim.units import convert, from_si, to_si

HEADS: dict[str, tuple[str, ...]] = {
    "time": ("time_s", "time", "t", "seconds", "test_time_s"),
    "current": ("current_a", "current", "i", "amps", "a"),
    "voltage": ("voltage_v", "voltage", "v", "volts", "ocv_v", "ocv_mean_v", "u"),
    "charge": ("soc", "soc_pct", "soc_percent", "charge_fraction", "charge"),
    "temperature": ("temp_mid_c", "temperature_c", "temp_c", "temperature", "temp"),
}
"""Names of columns, in small letters; the first that is there counts."""
SPOKEN: dict[str, tuple[str, tuple[str, ...]]] = {
    "time": (r"\b(time|zeit|elapsed|seconds?|sekunden|t)\b", ("s", "ms", "min", "h")),
    "current": (r"\b(current|strom|amps?|amperes?|i)\b", ("a", "ma")),
    "voltage": (r"\b(volt\w*|\w*spannung|ocv|u)\b", ("v", "mv")),
    "charge": (r"\b(soc|charge|ladung|ladestand|ladezustand)\b", ("percent",)),
    "temperature": (r"\b(temp\w*)\b", ("c", "f", "k")),
}
"""Words that other heads speak of a column by, and the units it may have, its own first."""
CELL_VOLTS = (0.5, 6.0)
LONGEST_RUN_H, MOST_CELL_A = 200.0, 2000.0
"""Beyond these a table is no run of one cell: a fiftieth of its capacity an hour takes 50 h (guess)."""
AT_A_BOUND = 1e-4
"""Share of the searched span within which a fit has ended at its edge."""
FULL, WHOLE_SHARE = 0.97, 0.9
"""Charge from which a run begins full; share of the longest discharge that goes from full to empty (guesses)."""
RESTING_SHARE = 0.02
"""A current below this share of the run's largest is rest (guess)."""
STEADY_COLD = "steady_resistance_0_c_mohm"
JACKKNIFED = ("resistance_mohm", "polarisation_resistance_mohm", "polarisation_time_s")
GOOD_MV = 30.0
"""What a measured cell of a kind is met within by one circuit (see the outside checks)."""
EIGHT_OF_TEN, WIDEST = 1.2816, 5.0
"""Deviations of a normal number between its middle and the end of 10 to 90 %; no factor is told wider than that."""
LEAST_SHARE, MOST_SHARE, MOST_COLD_SHARE = 0.02, 0.95, 5.0
"""No cell is alike its neighbour to better than the first; from the second on, or of what the cold tells from the third
on, an error says that nothing is known (guesses)."""

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, repr=False)
class CellAnswer(Answer):
    """A fitted cell: `errors` by key, one deviation as a share of the value (empty: one run tells nothing of it)."""

    fit: CellFit
    runs: tuple[CellRun, ...]
    paths: tuple[str, ...]
    errors: Mapping[str, float]
    rms_mv: tuple[float, ...]
    notes: tuple[str, ...]

    @property
    def edges(self) -> tuple[str, ...]:
        """Keys of the circuit that ended at the edge of what was searched: the runs do not tell them."""
        return tuple(each.subject for each in self._ends() if each.verdict != FINE)

    def _ends(self) -> list[Finding]:
        """Hold how far each number ended from the edges of its search, as a share of that; subject: its key."""
        found = []
        for key, name in (("resistance_mohm", "fast at 0.5"), *((each, each) for each in JACKKNIFED[1:])):
            at, value = NAMES.index(name), float(getattr(self.fit, key))
            low, high = LOWEST[at], HIGHEST[at]
            left = min(value - low, high - value) / (high - low)
            found.append(hold("cell_edge", left, AT_A_BOUND, subject=key))
        return found

    @property
    def met(self) -> Finding:
        """The run that is missed most [mV rms] held against what a measured cell is met within."""
        return hold("cell_met", max(self.rms_mv), GOOD_MV)

    @property
    def pulsed(self) -> Finding:
        """How many runs have pulses, held against the one that parts fast from slow."""
        return hold("cell_pulses", sum(map(is_pulsed, self.runs)), 1)

    @property
    def part(self) -> dict[str, Any]:
        """The keys of a part file. Steady loads alone tell what both parts of the resistance are together: then that
        is stated, at 25 degC and, where cold runs tell it, at 0 degC, since their split is next to unknown."""
        found = self.fit.part()
        if self.pulsed.verdict == FINE:
            return found
        del found[SLOW]
        found[STEADY] = self.fit.steady_resistance_mohm
        if RISES[0] in self.errors:
            found = {key: value for key, value in found.items() if key not in RISES}
            found[STEADY_COLD] = self.fit.steady_resistance_0_c_mohm
        return found

    @property
    def verdict(self) -> Word:
        """The gravest of what the worst run, the pulses, and the edges of the search say."""
        return worst(each.verdict for each in (self.met, self.pulsed, *self._ends()))


def _column(sheet: Sheet, kind: str) -> Array | None:
    heads = [head.strip().lower().replace(" ", "_") for head in sheet.heads]
    for name in HEADS[kind]:
        if name in heads:
            return sheet.numbers(heads.index(name))
    return _spoken(sheet, kind)


def _spoken(sheet: Sheet, kind: str) -> Array | None:
    """Return the one column whose head speaks of a kind, in its own unit; None where there is none, or several."""
    words, units = SPOKEN[kind]
    found = []
    for at, head in enumerate(sheet.heads):
        unit = unit_in(head, sheet.units[at])
        if re.search(words, plain_head(re.sub(r"[\[(].*?[\])]", " ", head))) and unit in ("", *units):
            found.append((at, unit))
    if len(found) != 1:
        return None
    (at, unit), own = found[0], units[0]
    values = sheet.numbers(at)
    return values if unit in ("", own) else np.asarray(convert(values, unit, own))


def _required(sheet: Sheet, kind: str) -> Array:
    found = _column(sheet, kind)
    if found is None or not np.isfinite(found).any():
        there = ", ".join(sheet.heads[:8])
        raise LogError(sheet.path, f"has no column of {kind} (it has {there})", f"name it {HEADS[kind][0]}")
    return found


def read_open_circuit(path: str | Path) -> tuple[Array, Array]:
    """Return charge fractions, rising, and rested voltages [V] of a table. Raises LogError."""
    sheet = read_sheet(path)
    charge, volts = _required(sheet, "charge"), _required(sheet, "voltage")
    known = np.isfinite(charge) & np.isfinite(volts)
    if not known.any():
        raise LogError(str(path), "has no row with charge and voltage", "export both columns")
    charge, volts = charge[known], volts[known]
    if charge.max() > 1.5:
        charge = to_si(charge, "percent")
    _refuse_volts(str(path), volts)
    order = np.argsort(charge)
    charge, volts = charge[order], volts[order]
    rising = np.concatenate(([True], np.diff(charge) > 0.0)) & np.concatenate(
        ([True], volts[1:] > np.maximum.accumulate(volts)[:-1])
    )
    charge, volts = charge[rising], volts[rising]
    if len(charge) < 3 or charge[0] > 0.1 or charge[-1] < 0.9:
        raise LogError(
            str(path), "does not reach from empty to full (0.1 to 0.9 and beyond)", "measure the whole curve"
        )
    grid = np.unique(np.concatenate(([0.0], charge, [1.0])))
    return grid, np.interp(grid, charge, volts) + _beyond(grid, charge, volts)


def _beyond(grid: Array, charge: Array, volts: Array) -> Array:
    """Return what the curve's last slopes add outside what was measured: a curve rises to its ends."""
    low = np.minimum(grid - charge[0], 0.0) * (volts[1] - volts[0]) / (charge[1] - charge[0])
    high = np.maximum(grid - charge[-1], 0.0) * (volts[-1] - volts[-2]) / (charge[-1] - charge[-2])
    return np.asarray(low + high)


def _refuse_volts(where: str, volts: Array) -> None:
    low, high = CELL_VOLTS
    middle = float(np.median(volts))
    if not low <= middle <= high:
        what = f"the voltage stands at {middle:.4g} V in its middle, no cell's ({low:g} to {high:g} V)"
        raise LogError(where, what, "give volts of one cell")


def read_cell_run(path: str, curve: tuple[Array, Array], start_charge: float | None) -> CellRun:
    """Return a run of a cell: time, current (+ out), voltage and perhaps temperature. Raises LogError."""
    sheet = read_sheet(path)
    time, current, volts = (_required(sheet, kind) for kind in ("time", "current", "voltage"))
    warmth = _column(sheet, "temperature")
    known = np.isfinite(time) & np.isfinite(current) & np.isfinite(volts)
    if not known.any():
        raise LogError(path, "has no row with time, current and voltage", "export the columns of one clock")
    time, current, volts = time[known], current[known], volts[known]
    _refuse_volts(path, volts)
    hours, amps = from_si(float(np.ptp(time)), "h"), float(np.abs(current).max())
    if hours > LONGEST_RUN_H:
        raise LogError(path, f"spans {hours:.3g} h (at most {LONGEST_RUN_H:g} h)", "give one run, its time in seconds")
    if amps > MOST_CELL_A:
        raise LogError(path, f"holds a current of {amps:.3g} A (at most {MOST_CELL_A:g} A)", "give amperes of one cell")
    fresh = np.concatenate(([True], np.diff(np.maximum.accumulate(time)) > 0.0))
    if (~fresh).mean() > 0.05:
        raise LogError(path, "its time does not rise", "sort the rows; one run a file")
    time, current, volts = time[fresh], current[fresh], volts[fresh]
    if float(current.mean()) * (volts[-1] - volts[0]) > 0.0 and len(volts) > 2:
        current = -current  # it counts charging as positive: the voltage goes where the current goes
    charge = _first_charge(current, volts, curve) if start_charge is None else start_charge
    degrees = None
    if warmth is not None and np.isfinite(warmth[known][fresh]).mean() > 0.9:
        kept = warmth[known][fresh]
        degrees = np.interp(time, time[np.isfinite(kept)], kept[np.isfinite(kept)])
    first = float(degrees[0]) if degrees is not None else 25.0
    return CellRun(time - time[0], current, volts, charge, first, first, degrees)


def _first_charge(current: Array, volts: Array, curve: tuple[Array, Array]) -> float:
    """Return the charge that the first resting voltage tells; a run that begins under load begins full."""
    largest = float(np.abs(current).max())
    if largest > 0.0 and abs(float(current[0])) < RESTING_SHARE * largest:
        return float(np.interp(volts[0], curve[1], curve[0]))
    return 1.0


def fit_cell_files(open_circuit: str, runs: Sequence[str], capacity_ah: float | None) -> CellAnswer:
    """Return a cell from files; a run is `FILE` or `FILE@0.9`, with its charge at the start. Raises LogError.

    The capacity is that of the longest discharge where it is not given.
    """
    curve = read_open_circuit(open_circuit)
    named = [_named(run) for run in runs]
    read = tuple(read_cell_run(path, curve, charge) for path, charge in named)
    notes = []
    if capacity_ah is None:
        capacity_ah = _longest_discharge_ah(curve, read)
        notes.append(f"no capacity is given: {capacity_ah:.3f} Ah are what the longest discharge gave")
    if not 0.1 <= capacity_ah <= 500.0:
        raise LogError("capacity", f"{capacity_ah:.3g} Ah is out of range (0.1 to 500 Ah)", "give --capacity AH")
    fit, by_slopes = fit_cell_with_errors(*curve, capacity_ah, read, ())
    rms = tuple(from_si(voltage_rms_v(fit, run, recorded_warmth=True), "mv") for run in read)
    for (path, _), missed in zip(named, rms, strict=True):
        if not math.isfinite(missed):
            what = "never lies between 10 and 90 % charge, so that it tells nothing"
            raise LogError(path, what, "discharge through the middle, or give the charge it began with: FILE@0.9")
    # Left out in turn, a cold run would take with it what only it tells: then slopes say how sure the numbers are.
    in_the_cold = any(name in by_slopes for name in OF_COLD)
    slopes = _capped(by_slopes)
    if RISES[0] in slopes:  # R(0 degC) = R exp(E g): both errors as if they knew nothing of each other
        growth = math.log(cold_factors(1.0, np.array([FREEZING_C]))[0])
        slopes[STEADY_COLD] = math.hypot(slopes[STEADY], growth * fit.activation_kj_per_mol * slopes[RISES[0]])
    errors = slopes if in_the_cold else _errors(curve, capacity_ah, read)
    if errors and not any(map(is_pulsed, read)):  # the runs agree on a split that none of them shows
        errors |= {key: max(share, slopes[key]) for key, share in errors.items() if key in slopes}
    if any(map(is_cold, read)) and fit.cold_capacity_loss_percent is None:
        notes.append(
            "what the cold keeps of the charge is not told: it takes a cold and a warm discharge until the voltage "
            "falls away"
        )
    return CellAnswer(fit, read, tuple(path for path, _ in named), errors, rms, tuple(notes))


def _longest_discharge_ah(curve: tuple[Array, Array], runs: Sequence[CellRun]) -> float:
    """Return the charge of the longest run [Ah]. Raises LogError unless one went from full until its voltage fell."""
    blank = blank_cell(*curve, 1.0)
    most = max(_given(run) for run in runs)
    whole = (run.start_charge >= FULL and is_emptied(blank, run) and _given(run) >= WHOLE_SHARE * most for run in runs)
    if not any(whole):
        what = f"no run goes from full to empty (the longest gives {from_si(most, 'ah'):.3g} Ah)"
        raise LogError(
            "capacity", what, "give --capacity AH, or a discharge of a full cell until its voltage falls away"
        )
    return from_si(most, "ah")


def is_pulsed(run: CellRun) -> bool:
    """Return whether a run rests, or nearly, between two loads: only such steps part fast from slow."""
    loaded = np.flatnonzero(np.abs(run.current_a) > PULSE_SHARE * float(np.abs(run.current_a).max()))
    return bool(len(loaded) and loaded[-1] - loaded[0] + 1 > len(loaded))


PULSE_SHARE = 0.5
"""A current below this share of the run's largest is rest between pulses (guess)."""


def _given(run: CellRun) -> float:
    """Return the most charge that a run had given at any time [C]."""
    steps = 0.5 * (run.current_a[1:] + run.current_a[:-1]) * np.diff(run.time_s)
    return float(np.max(np.cumsum(steps), initial=0.0))


def _named(run: str) -> tuple[str, float | None]:
    path, at, charge = run.rpartition("@")
    if not at:
        return run, None
    try:
        return path, float(charge)
    except ValueError:
        return run, None


def _errors(curve: tuple[Array, Array], capacity_ah: float, runs: tuple[CellRun, ...]) -> dict[str, float]:
    """Return the error of each key as a share, by the fits without each run; nothing for one run."""
    if len(runs) < 2:
        return {}
    without = [fit_cell(*curve, capacity_ah, runs[:at] + runs[at + 1 :], ()) for at in range(len(runs))]
    found = {}
    for name in (*JACKKNIFED, STEADY):
        values = np.log([max(getattr(each, name), 1e-6) for each in without])
        spread = float(np.sqrt((len(runs) - 1) / len(runs) * np.sum((values - values.mean()) ** 2)))
        found[name] = min(max(spread, LEAST_SHARE), MOST_SHARE)
    return found


def cell_part_text(answer: CellAnswer, name: str, ratings: Mapping[str, float], command: str) -> str:
    """Return a cell part file: keys, ratings given by hand, and `[tolerance]`."""
    from ridesim.schema.texts import toml_value

    lines = ["# A cell part fitted by ridesim to its own measurements.", f"# command: {command}"]
    lines += [f"# run {path}: {rms:.1f} mV rms" for path, rms in zip(answer.paths, answer.rms_mv, strict=True)]
    if answer.fit.lead_mohm > 0.5:
        lines.append(f"# leads of the rig: {answer.fit.lead_mohm:.2f} mΩ, not in the cell")
    lines.append(f"name = {toml_value(name)}")
    for key, value in answer.part.items():
        lines.append(f"{key} = {_number(value)}")
    lines.append(f"max_voltage_v = {answer.fit.open_circuit_v[-1]:.3f}")
    lines += [f"{key} = {value:g}" for key, value in ratings.items()]
    lines += ["", "[tolerance]"]
    for key in (*JACKKNIFED, STEADY):
        if key not in answer.part:
            continue
        share = answer.errors.get(key)
        lines.append(f'{key} = "{from_si(share, "percent"):.3g} %"' if share is not None else f'{key} = "measured"')
    of_cold = (key for key in (*OF_COLD, STEADY_COLD) if key in answer.errors and key in answer.part)
    lines += [f'{key} = "{_factor(answer.errors[key])}"' for key in of_cold]
    return "\n".join([*lines, 'capacity_ah = "measured"']) + "\n"


def _capped(shares: Mapping[str, float]) -> dict[str, float]:
    most = {name: MOST_COLD_SHARE if name in OF_COLD else MOST_SHARE for name in shares}
    return {name: min(max(share, LEAST_SHARE), most[name]) for name, share in shares.items()}


def _factor(share: float) -> str:
    """Return a wide error as the factor that eight of ten lie within: what the cold tells is never below nothing."""
    return f"x/ {min(math.exp(EIGHT_OF_TEN * share), WIDEST):.3g}"


def _number(value: object) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(f'{each:.5g}' for each in value)}]"
    return f"{value:.5g}" if isinstance(value, float) else str(value)
