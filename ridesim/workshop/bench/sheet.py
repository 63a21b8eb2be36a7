"""Everything measured in one go on the bench, and the build-file keys that come of it.

Sources stand in `readings` and `resistance`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from ridesim.errors import RideError
from ridesim.workshop.bench.errors import NO_ERRORS, ReadingErrors
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
from ridesim.workshop.limits import Verdict, worst_verdict

AGREEING_KV, AGREEING_RESISTANCE = 0.06, 0.15
"""Share by which two tests' Kv, and two ways to one resistance, may differ before one of them is doubted: a spin test
reads some per cent high where the back-EMF is no sine, and clips and warmth cost some of a resistance (guess)."""

CAUTIONS: tuple[str, ...] = (
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


@dataclass(frozen=True)
class BenchSheet:
    """Results of the tests that were made; the others are None. `keys`: what to write into a build file."""

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
    cautions: tuple[str, ...] = CAUTIONS


def fill_sheet(readings: Readings, errors: ReadingErrors = NO_ERRORS) -> BenchSheet:
    """Work out every test that has readings. Raises RidesimError for none, or for readings that make no sense."""
    r = readings
    resistance = line_resistance(*r.drop, errors) if r.drop else None
    pairs = compare_pairs(r.pairs_mohm) if r.pairs_mohm else None
    loaded = fit_loaded_points(r.loaded, errors) if r.loaded else None
    no_load = None
    if r.no_load:
        no_load = fit_no_load(r.no_load, _resistance(r, resistance, pairs), errors, r.name_plate_kv_rpm_per_v)
    spin = kv_from_spin(*r.spin, errors) if r.spin else None
    pole_pairs = pole_pairs_from_magnets(r.magnets) if r.magnets is not None else None
    pack = pack_resistance(*r.sag, errors) if r.sag else None
    tests = (("resistance", resistance), ("pairs", pairs), ("no load", no_load), ("under load", loaded),
             ("spin", spin), ("pack", pack))  # fmt: skip
    findings = [(test.verdict, f"{name}: {test.reason}") for name, test in tests if test is not None]
    findings += [("look again", words) for words in _disagreements(no_load, loaded, spin, resistance, pairs)]
    if not findings and pole_pairs is None:
        raise RideError("bench", "no readings", "give at least one test, e.g. --drop 0.52,20,25")
    verdict, reason = worst_verdict(findings, "; ".join(words for _, words in findings) or "counted, not measured")
    sheet = BenchSheet(resistance, pairs, no_load, loaded, spin, pole_pairs, pack, (), verdict, reason)
    return BenchSheet(**{**vars(sheet), "keys": _keys(sheet, r)})


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
            found.append(f"Kv {name} is {kv:.4g}, {other} {kv_2:.4g} rpm/V: one of the two tests is wrong")
    if resistance is not None and pairs is not None:
        ratio = pairs.resistance_mohm / resistance.resistance_mohm
        if abs(ratio - 1.0) > AGREEING_RESISTANCE:
            found.append(f"the three pairs give {ratio:.2f} times the resistance by the drop: which is it?")
    own = resistance.resistance_mohm if resistance else pairs.resistance_mohm if pairs else None
    if own is not None and loaded is not None and loaded.resistance_mohm < (1.0 - AGREEING_RESISTANCE) * own:
        words = "inverter and leads cannot take any away"
        found.append(f"under load {loaded.resistance_mohm:.3g} mΩ, the motor alone {own:.3g}: {words}")
    return found


def _resistance(r: Readings, measured: LineResistance | None, pairs: PairBalance | None) -> float:
    """Line-to-line resistance for the no-load fit: given, else measured, else the mean of the pairs."""
    if r.resistance_mohm is not None:
        return r.resistance_mohm
    if measured is not None:
        return measured.resistance_mohm
    if pairs is not None:
        return pairs.resistance_mohm
    raise RideError("no-load test", "the resistance is not known", "give --resistance-mohm, --drop or --pairs")


def _keys(sheet: BenchSheet, r: Readings) -> tuple[tuple[str, str], ...]:
    """Keys of a build file, best source first: bench Kv from the no-load fit, else spin, else under load.

    A test that says stop gives none.
    """
    keys = []
    no_load = sheet.no_load if sheet.no_load and sheet.no_load.verdict != "stop" else None
    loaded = sheet.loaded if sheet.loaded and sheet.loaded.verdict != "stop" else None
    fit = no_load or sheet.spin or loaded
    if fit is not None:
        keys.append(("motor.kv_rpm_per_v", f"{fit.kv_rpm_per_v:.4g}"))
    if sheet.resistance is not None:
        keys.append(("motor.resistance_mohm", f"{sheet.resistance.resistance_at_20_c_mohm:.4g}"))
    elif sheet.pairs is not None:
        keys.append(("motor.resistance_mohm", f"{sheet.pairs.resistance_mohm:.4g}"))
    if no_load is not None:
        points = ", ".join(f"{{ speed_rpm = {p.speed_rpm:g}, current_a = {p.current_a:g} }}" for p in r.no_load)
        keys.append(("motor.no_load", f"[{points}]"))
    if sheet.pole_pairs is not None:
        keys.append(("motor.pole_pairs", str(sheet.pole_pairs)))
    return tuple(keys)
