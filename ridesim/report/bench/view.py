"""Bench measurements as words and a table."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from ridesim.report.digits import to_error
from ridesim.report.view import Table, View
from ridesim.units import UNITS, symbol_of, told
from ridesim.workshop.bench.errors import NOTHING_TOLD
from ridesim.workshop.bench.heating import COLD
from ridesim.workshop.bench.runs import RunKey
from ridesim.workshop.bench.sheet import BenchSheet, Readings

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MODEL_WORDS = (
    "Model: V = rpm / Kv + I R, drag torque tau_0 + tau_1 omega (Hendershot and Miller 2010, from memory); copper at "
    "20 °C after IEC 60028. Errors: first order, readings independent, or the scatter about the line by Student's "
    "factor, the larger of the two (JCGM 100:2008, from memory); in the table the meters' gain (--gain-error) is added."
)


NOTHING_READ = Readings()
RUN_WORDS = (
    "Runs: the step's own two lumps of heat, and J dω/dt = -(tau_0 + tau_1 ω); errors from the covariance of least "
    "squares under the scatter that is left, widened where it runs from reading to reading, and the meters' gain."
)


def view(
    result: BenchSheet, readings: Readings = NOTHING_READ, units: str = "metric", *, pictures: bool = True,
    columns: Sequence[tuple[str, ...]] = (), notes: Sequence[str] = (), hint: str = "",
) -> View:  # fmt: skip
    """Return the answer of the bench: figures with their errors, and the keys to write into a build file.

    `columns`: option, head, quantity, unit and why of each column that was read from a file.
    """
    keys = tuple((f"{key} = {value}",) for key, value in result.keys)
    runs = result.heating is not None or result.moving is not None or result.rundown is not None
    return View(
        title="Bench sheet",
        question="What do the readings say about motor and pack?",
        answer=(f"{told(result.reason, units)}.", *_together(result), *_lacking(result), *((hint,) if hint else ())),
        verdict=result.verdict,
        tables=(
            Table("Measured", ("", "value", "error", "verdict"),
                  (*_rows(result, units, readings.gain_error), *_run_rows(result))),
            *((Table("For the build file", ("key = value",), keys),) if keys else ()),
            *((Table("Columns of the files", ("file", "head", "is", "unit", "why"), tuple(columns)),)
              if columns else ()),
        ),
        figures=tuple(_figures(result, readings, units)) if pictures else (),
        notes=(*notes, told(MODEL_WORDS, units), *((RUN_WORDS,) if runs else ()), *result.cautions),
    )  # fmt: skip


def _together(s: BenchSheet) -> tuple[str, ...]:
    """Say that a resistance under load is not the winding's, where nothing parts them."""
    if s.loaded is None or s.inverter is not None or any(each.key == COLD for each in s.measured):
        return ()
    return (
        f"The {s.loaded.resistance_mohm:.3g} mΩ under load are of winding, inverter and leads together, and of a warm "
        "winding: no resistance is written. --drop or --pairs tells the winding's, and so the rest.",
    )


def _lacking(s: BenchSheet) -> tuple[str, ...]:
    """Return which further reading would tell more of the cooling, by the best run of it."""
    best = s.moving or s.heating
    return () if best is None else best.lacking


def picture_names(result: BenchSheet, readings: Readings) -> tuple[str, ...]:
    """Return the names of the sheet's pictures, in order."""
    swept = result.no_load is not None and readings.no_load_file is not None
    drawn = (
        ("no-load", swept),
        ("heating", result.heating is not None),
        ("moving-air", result.moving is not None),
        ("rundown", result.rundown is not None),
    )
    return tuple(name for name, there in drawn if there)


def _figures(result: BenchSheet, readings: Readings, units: str) -> Iterator[tuple[str, Figure]]:
    from ridesim.report.bench.figure import heating_picture, rundown_picture, sweep_picture

    if result.no_load is not None and readings.no_load_file is not None:
        yield "No-load current: read, and by the two drag terms.", sweep_picture(readings.no_load_file, result.no_load)
    if result.heating is not None:
        words = "Heating and cooling: read (dots), by two lumps (lines), and the difference."
        yield words, heating_picture(result.heating, units)
    if result.moving is not None:
        words = "In moving air: read (dots), by two lumps (lines), and the difference."
        yield words, heating_picture(result.moving, units)
    if result.rundown is not None:
        yield "Let go at speed: read (dots), and by one drag (lines).", rundown_picture(result.rundown)


def _run_rows(s: BenchSheet) -> Iterator[tuple[str, str, str, str]]:
    if s.heating is not None:
        for at, each in enumerate(s.heating.keys):
            yield _run_row(each, s.heating.verdict if at == 0 else "")
    if s.moving is not None:
        known = set() if s.heating is None else {each.key for each in s.heating.keys if each.told}
        new = [each for each in s.moving.keys if each.key not in known]
        for at, each in enumerate(new):
            yield _run_row(each, s.moving.verdict if at == 0 else "")
    if s.rundown is not None:
        f = s.rundown
        slowing = f"{f.still_rad_per_s2:.3g} + {f.growth_per_s:.3g} ω rad/s²"
        yield f"slowing down ({f.falls} {'fall' if f.falls == 1 else 'falls'})", slowing, "", f.verdict
        for each in f.keys:
            yield _run_row(each, "")


def _run_row(each: RunKey, verdict: str) -> tuple[str, str, str, str]:
    unit = UNITS["nm_s"].symbol if each.key.endswith("nm_s") else symbol_of(each.key)
    error = f"± {each.error:.2g}" if each.told else f"± {each.error:.2g}: not told, not written"
    return each.words, f"{to_error(each.value, each.error)} {unit}".strip(), error, verdict


def _rows(s: BenchSheet, units: str, gain: float) -> list[tuple[str, str, str, str]]:
    rows: list[tuple[str, str, str, str]] = []

    def add(words: str, value: float, unit: str, digits: int, error: float, meters: int, verdict: str = "") -> None:
        """Add a value with its error and the gain of the meters that it hangs on."""
        shared = gain * meters**0.5 * abs(value)
        by_gain = f"± {shared:.{digits}f} by gain alone" if shared else "not given"
        told_error = f"± {math.hypot(error, shared):.{digits}f}" if error > NOTHING_TOLD * abs(value) else by_gain
        rows.append((words, f"{value:.{digits}f} {unit}", told_error, verdict))

    if s.resistance is not None:
        r = s.resistance
        rows.append(("resistance, as read", f"{r.resistance_mohm:.2f} mΩ", "", ""))
        words = told("resistance at 20 °C", units)
        add(words, r.resistance_at_20_c_mohm, "mΩ", 2, r.resistance_error_mohm, 2, r.verdict)
    if s.pairs is not None:
        rows.append(("mean of the three pairs", f"{s.pairs.resistance_mohm:.2f} mΩ", "", s.pairs.verdict))
        rows.append(("spread of the pairs", f"{s.pairs.spread_percent:.1f} %", "", ""))
    if s.no_load is not None:
        n = s.no_load
        add("Kv, no load", n.kv_rpm_per_v, "rpm/V", 2, n.kv_error_rpm_per_v, 1, n.verdict)
        rows.append(("torque per ampere", f"{n.torque_per_current_nm_per_a:.4f} N·m/A", "", ""))
        add("drag, constant part", n.drag_torque_nm, "N·m", 4, n.drag_torque_error_nm, 2)
        growth = math.hypot(n.drag_growth_error_nm_s, gain * 2**0.5 * n.drag_growth_nm_s)
        rows.append(("drag, growing part", f"{n.drag_growth_nm_s:.3g} N·m·s", f"± {growth:.2g}", ""))
    if s.loaded is not None:
        f = s.loaded
        add("Kv, under load", f.kv_rpm_per_v, "rpm/V", 2, f.kv_error_rpm_per_v, 1, f.verdict)
        add("winding, inverter and leads, warm", f.resistance_mohm, "mΩ", 2, f.resistance_error_mohm, 2)
    if s.inverter is not None:
        rows.append(_run_row(s.inverter, ""))
    if s.spin is not None:
        add("Kv, spun", s.spin.kv_rpm_per_v, "rpm/V", 2, s.spin.kv_error_rpm_per_v, 1, s.spin.verdict)
    if s.pole_pairs is not None:
        rows.append(("pole pairs", str(s.pole_pairs), "", ""))
    if s.pack is not None:
        p = s.pack
        add("pack with leads", p.resistance_mohm, "mΩ", 1, p.resistance_error_mohm, 2, p.verdict)
        rows.append(("pack at rest", f"{p.open_circuit_v:.2f} V", "", ""))
    return rows
