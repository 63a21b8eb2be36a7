"""Everything measured in one go on the bench, and the build-file keys that come of it.

Sources stand in `readings` and `resistance`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from ridesim.errors import RideError
from ridesim.workshop.bench.errors import NO_ERRORS, Floats, ReadingErrors
from ridesim.workshop.bench.heating import COLD, HeatingFit, fit_heating
from ridesim.workshop.bench.readings import (
    BenchPoint,
    LoadedFit,
    NoLoadFit,
    SpinTest,
    fit_loaded_points,
    fit_no_load,
    kv_from_spin,
    pole_pairs_from_magnets,
)
from ridesim.workshop.bench.resistance import (
    LineResistance,
    PackResistance,
    PairBalance,
    compare_pairs,
    line_resistance,
    pack_resistance,
)
from ridesim.workshop.bench.rundown import DRAG, GROWTH, Drag, RundownFit, falls_of, fit_rundown
from ridesim.workshop.bench.runs import RunKey
from ridesim.workshop.bench.sweep import Sweep, odd_rows
from ridesim.workshop.bench.warming import HeatingRun
from ridesim.workshop.limits import Verdict, held, worst_verdict

AGREEING_KV, AGREEING_RESISTANCE = 0.06, 0.15
"""Share by which two tests' Kv, and two ways to one resistance, may differ before one of them is doubted: a spin test
reads some per cent high where the back-EMF is no sine, and clips and warmth cost some of a resistance (guess)."""

CAUTIONS: tuple[str, ...] = (
    "A heating run can burn: watch the winding, stop below its class's limit, keep what burns away, never leave it.",
    "Clamp the motor: an unloaded motor at full duty throws what is loose. Guard the shaft, wear eye protection.",
    "A resistance test with a strong current heats the winding within seconds: read quickly, let it cool.",
    "Packs give hundreds of ampere into a slipped clip: fuse the test leads at the pack.",
)
"""Common practice, no source."""


@dataclass(frozen=True)
class Readings:
    """What was read. A drop is (V, A, degC); a sag is (V, A) lightly and (V, A) heavily loaded; a spin (V rms, rpm)."""

    no_load: Sequence[BenchPoint] = ()
    loaded: Sequence[BenchPoint] = ()
    drop: tuple[float, float, float] | None = None
    pairs_mohm: Sequence[float] = ()
    spin: tuple[float, float] | None = None
    magnets: int | None = None
    sag: tuple[float, float, float, float] | None = None
    resistance_mohm: float | None = None
    name_plate_kv_rpm_per_v: float | None = None
    no_load_file: Sweep | None = None
    loaded_file: Sweep | None = None
    heating: HeatingRun | None = None
    moving: HeatingRun | None = None
    """Heated in moving air."""
    rundown: tuple[str, Floats, Floats] | None = None
    """Where from, seconds and shaft speed [rpm]."""
    inertia_kg_m2: float | None = None
    known_drag: Drag | None = None
    """Of the motor part that is named, for a rundown without a no-load test."""
    gain_error: float = 0.0
    """Relative error of meters' gains that all readings share."""

    @property
    def unloaded(self) -> tuple[BenchPoint, ...]:
        """All no-load points, by hand and from a file."""
        return (*self.no_load, *(self.no_load_file.points if self.no_load_file else ()))

    @property
    def under_load(self) -> tuple[BenchPoint, ...]:
        """All loaded points, by hand and from a file."""
        return (*self.loaded, *(self.loaded_file.points if self.loaded_file else ()))


@dataclass(frozen=True)
class BenchSheet:
    """Results of the tests that were made; the others are None. `keys`: what to write into a build file; `measured`:
    the motor's numbers with one deviation each, meters' gains included (0: nobody told)."""

    resistance: LineResistance | None
    pairs: PairBalance | None
    no_load: NoLoadFit | None
    loaded: LoadedFit | None
    spin: SpinTest | None
    pole_pairs: int | None
    pack: PackResistance | None
    keys: tuple[tuple[str, str], ...]
    verdict: Verdict
    reason: str
    heating: HeatingFit | None = None
    moving: HeatingFit | None = None
    rundown: RundownFit | None = None
    measured: tuple[RunKey, ...] = ()
    inverter: RunKey | None = None
    """What is left of the resistance under load once the winding's own is taken off: switches and leads."""
    cautions: tuple[str, ...] = CAUTIONS


def fill_sheet(readings: Readings, errors: ReadingErrors = NO_ERRORS) -> BenchSheet:
    """Work out every test that has readings. Raises RidesimError for none, or for readings that make no sense."""
    r = readings
    resistance = line_resistance(*r.drop, errors) if r.drop else None
    pairs = compare_pairs(r.pairs_mohm) if r.pairs_mohm else None
    loaded = fit_loaded_points(r.under_load, errors, r.name_plate_kv_rpm_per_v) if r.under_load else None
    ohm = _resistance(r, resistance, pairs, loaded)
    no_load = None
    if r.unloaded:
        if ohm is None:
            raise RideError("no-load test", "the resistance is not known", "give --resistance-mohm, --drop or --pairs")
        no_load = fit_no_load(r.unloaded, ohm, errors, r.name_plate_kv_rpm_per_v)
    spin = kv_from_spin(*r.spin, errors, r.name_plate_kv_rpm_per_v) if r.spin else None
    pole_pairs = pole_pairs_from_magnets(r.magnets) if r.magnets is not None else None
    pack = pack_resistance(*r.sag, errors) if r.sag else None
    # What heats the winding is its own resistance: that under load is the inverter's and the leads' too.
    winding = resistance.resistance_at_20_c_mohm if resistance else _resistance(r, resistance, pairs, None)
    heating = None if r.heating is None else _heating(r, r.heating, winding, no_load)
    moving = None if r.moving is None else _heating(r, r.moving, winding, no_load, heating)
    rundown = _rundown(r, no_load)
    tests = (("resistance", resistance), ("pairs", pairs), ("no load", no_load), ("under load", loaded),
             ("spin", spin), ("pack", pack), ("heating", heating), ("moving air", moving),
             ("rundown", rundown))  # fmt: skip
    findings = [(test.verdict, f"{name}: {test.reason}") for name, test in tests if test is not None]
    findings += [("look again", words) for words in _disagreements(no_load, loaded, spin, resistance, pairs)]
    findings += _odd(r, no_load, loaded, ohm)
    if not findings and pole_pairs is None:
        raise RideError("bench", "no readings", "give at least one test, e.g. --drop 0.52,20,25")
    verdict, reason = worst_verdict(findings, "; ".join(words for _, words in findings) or "counted, not measured")
    sheet = BenchSheet(
        resistance, pairs, no_load, loaded, spin, pole_pairs, pack, (), verdict, reason, heating, moving, rundown
    )
    measured = tuple(measured_keys(sheet, r))
    sheet = replace(sheet, measured=measured, inverter=beside_the_winding(loaded, measured, resistance, r))
    return replace(sheet, keys=_keys(sheet))


def _heating(
    r: Readings, run: HeatingRun, cold_mohm: float | None, no_load: NoLoadFit | None, still: HeatingFit | None = None
) -> HeatingFit:
    """Fit a heating run by the winding's resistance at 20 degC; what a run in still air told is known beforehand."""
    drag = _drag(no_load) or r.known_drag
    if np.any(run.omega > 0.0):
        if drag is None:
            to_do = "give --no-load, or a --motor part that has it"
            raise RideError(run.where, "the motor turns in it, and its drag is not known", to_do)
        run = replace(run, iron_w=np.where(run.omega > 0.0, drag.at(run.omega) * run.omega, 0.0))
    known = still if still is not None and still.verdict != "stop" else None
    own = None if known is None else next((each.value for each in known.keys if each.key == COLD), None)
    return fit_heating(replace(run, resistance_mohm=cold_mohm if cold_mohm is not None else own), known)


def beside_the_winding(
    loaded: LoadedFit | None, measured: Sequence[RunKey], drop: LineResistance | None, r: Readings
) -> RunKey | None:
    """Return what switches and leads add under load to the winding's own resistance; None where that is not known.

    Nobody reads the winding's warmth under load: its resistance is taken as it was read, give or take `WARMER` of it.
    """
    cold = next((each for each in measured if each.key == COLD), None)
    if loaded is None or loaded.verdict == "stop":
        return None
    own = drop.resistance_mohm if drop else cold.value if cold else r.resistance_mohm
    if own is None or loaded.resistance_mohm <= own:
        return None
    left = loaded.resistance_mohm - own
    gain = 2**0.5 * r.gain_error * loaded.resistance_mohm
    error = math.hypot(loaded.resistance_error_mohm, cold.error if cold else 0.0, WARMER * own, gain)
    return RunKey(
        "on_resistance_mohm", "inverter and leads: under load less the winding", left, error, error < left / 2
    )


WARMER = 0.1
"""Copper's change over 25 K, by which a winding under load is warmer or cooler than it was read (guess)."""


def _drag(no_load: NoLoadFit | None) -> Drag | None:
    if no_load is None or no_load.verdict == "stop":
        return None
    return Drag(no_load.drag_torque_nm, no_load.drag_growth_nm_s, no_load.drag_torque_error_nm,
                no_load.drag_growth_error_nm_s)  # fmt: skip


def _rundown(r: Readings, no_load: NoLoadFit | None) -> RundownFit | None:
    if r.rundown is None:
        return None
    where, time, speed = r.rundown
    known = r.known_drag if r.inertia_kg_m2 is None else None
    drag = _drag(no_load) or known
    return fit_rundown(where, falls_of(where, time, speed), drag, r.inertia_kg_m2, r.gain_error)


def _odd(
    r: Readings, no_load: NoLoadFit | None, loaded: LoadedFit | None, ohm: float | None
) -> list[tuple[Verdict, str]]:
    """Rows of files that stand far off the rest: told by their number; they are in the fit all the same."""
    found: list[tuple[Verdict, str]] = []
    for name, sweep, fit, r_mohm in (
        ("no load", r.no_load_file, no_load, ohm),
        ("under load", r.loaded_file, loaded, loaded.resistance_mohm if loaded else None),
    ):
        if sweep is None or fit is None or r_mohm is None:
            continue
        rows = odd_rows(sweep, fit.kv_rpm_per_v, r_mohm)
        finding = held("bench_rows", float(len(rows)), 0.0, f"{name}: {'; '.join(rows[:4])}")
        found += [finding] if finding[0] != "fine" else []
    return found


def _root_apart(kv: float, spun: float) -> str:
    """Say what a spun Kv that is a root apart is wont to come from; "" where it is not."""
    if abs(kv / spun / math.sqrt(2.0) - 1.0) <= AGREEING_KV:
        return "; they are the root of 2 apart: was a peak given to --spin, which takes what a meter reads (RMS)?"
    if abs(spun / kv / math.sqrt(3.0) - 1.0) <= AGREEING_KV:
        return "; they are the root of 3 apart: was it read against the star point, not between two leads?"
    return ""


def _disagreements(
    no_load: NoLoadFit | None,
    loaded: LoadedFit | None,
    spin: SpinTest | None,
    resistance: LineResistance | None,
    pairs: PairBalance | None,
) -> list[str]:
    """Where two tests of one motor contradict each other."""
    kvs = [(name, test.kv_rpm_per_v, test.kv_error_rpm_per_v)
           for name, test in (("no load", no_load), ("under load", loaded), ("spun", spin)) if test]  # fmt: skip
    found = []
    for (name, kv, error), (other, kv_2, error_2) in combinations(kvs, 2):
        if abs(kv - kv_2) > max(AGREEING_KV * kv, 3.0 * math.hypot(error, error_2)):
            root = _root_apart(kv, kv_2) if other == "spun" else ""
            found.append(f"Kv {name} is {kv:.4g}, {other} {kv_2:.4g} rpm/V: one of the two tests is wrong{root}")
    if resistance is not None and pairs is not None:
        ratio = pairs.resistance_mohm / resistance.resistance_mohm
        if abs(ratio - 1.0) > AGREEING_RESISTANCE:
            found.append(f"the three pairs give {ratio:.2f} times the resistance by the drop: which is it?")
    own = resistance.resistance_mohm if resistance else pairs.resistance_mohm if pairs else None
    if own is not None and loaded is not None and loaded.resistance_mohm < (1.0 - AGREEING_RESISTANCE) * own:
        words = "inverter and leads cannot take any away"
        found.append(f"under load {loaded.resistance_mohm:.3g} mΩ, the motor alone {own:.3g}: {words}")
    return found


def _resistance(
    r: Readings, measured: LineResistance | None, pairs: PairBalance | None, loaded: LoadedFit | None
) -> float | None:
    """Line-to-line resistance: given, else measured, else the mean of the pairs, else that under load."""
    if r.resistance_mohm is not None:
        return r.resistance_mohm
    if measured is not None:
        return measured.resistance_mohm
    if pairs is not None:
        return pairs.resistance_mohm
    return loaded.resistance_mohm if loaded is not None and loaded.verdict != "stop" else None


def measured_keys(sheet: BenchSheet, r: Readings) -> Iterator[RunKey]:
    """Yield the motor's numbers, best source first, each with its deviation; a test that says stop gives none."""
    no_load, loaded, heat, fall = (_unless_stopped(each) for each in (
        sheet.no_load, sheet.loaded, sheet.heating, sheet.rundown))  # fmt: skip
    spun = sheet.no_load if no_load else sheet.spin or (sheet.loaded if loaded else None)
    gain = r.gain_error
    if spun is not None:
        yield _key("kv_rpm_per_v", "Kv", spun.kv_rpm_per_v, spun.kv_error_rpm_per_v, gain)
    of_heat = [] if heat is None else [each for each in sheet.heating.keys if each.told]  # type: ignore[union-attr]
    of_air = sheet.moving.keys if _unless_stopped(sheet.moving) is not None and sheet.moving is not None else ()
    own = [each for each in (*of_heat, *of_air) if each.key == COLD]
    if sheet.resistance is not None:
        cold = sheet.resistance
        yield _key(COLD, "resistance at 20 °C", cold.resistance_at_20_c_mohm, cold.resistance_error_mohm, 2**0.5 * gain)
    elif sheet.pairs is not None:
        yield _key(COLD, "mean of the three pairs", sheet.pairs.resistance_mohm, 0.0, gain)
    elif own:
        yield _key(COLD, own[0].words, own[0].value, own[0].error, 2**0.5 * gain)
    yield from (each for each in of_heat if each.key != COLD)
    known = {each.key for each in of_heat}
    yield from (each for each in of_air if each.told and each.key != COLD and each.key not in known)
    of_fall = sheet.rundown.keys if fall is not None and sheet.rundown is not None else ()
    if no_load is not None and sheet.no_load is not None:
        n = sheet.no_load
        yield _key(DRAG, "drag, constant part", n.drag_torque_nm, n.drag_torque_error_nm, 2**0.5 * gain)
        yield _key(GROWTH, "drag, growing part", n.drag_growth_nm_s, n.drag_growth_error_nm_s, 2**0.5 * gain)
        of_fall = tuple(each for each in of_fall if each.key not in (DRAG, GROWTH))
    yield from of_fall


def _unless_stopped(test: object | None) -> object | None:
    return test if test is not None and getattr(test, "verdict", "stop") != "stop" else None


def _key(key: str, words: str, value: float, error: float, gain: float) -> RunKey:
    return RunKey(key, words, value, math.hypot(error, gain * value))


def _keys(sheet: BenchSheet) -> tuple[tuple[str, str], ...]:
    """Keys of a build file; a test that says stop gives none."""
    keys = [(f"motor.{each.key}", f"{each.value:.4g}") for each in sheet.measured]
    if sheet.pole_pairs is not None:
        keys.append(("motor.pole_pairs", str(sheet.pole_pairs)))
    if sheet.inverter is not None and sheet.inverter.told:
        keys.append((f"controller.{sheet.inverter.key}", f"{sheet.inverter.value:.4g}"))
    if sheet.pack is not None and sheet.pack.verdict != "stop":
        keys.append(("pack.resistance_mohm", f"{sheet.pack.resistance_mohm:.4g}"))
    return tuple(keys)
