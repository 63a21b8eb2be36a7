"""What a log holds: its clock, every column with its guess or mapping, and every fault with its share."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ridesim.learn.log import Log
from ridesim.learn.mapping import Column
from ridesim.learn.quantities import BY_NAME, IGNORED, SHARE, TIME, LogQuantity
from ridesim.report.text import duration
from ridesim.report.view import Table, View
from ridesim.ride.judge import FINE, hold
from ridesim.units import for_people, told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DOUBTED_SHARE, DOUBTED_GAP = 0.01, 0.05
"""Shares of a column's readings with a fault, and of gaps, from which it is worth a look (guess)."""


def view(log: Log, units: str = "metric", *, pictures: bool = True) -> View:
    """Return what a log holds and what is wrong with it."""
    doubts = [told(words, units) for words in doubted(log)]
    known = [each for each in log.mapping.columns if each.quantity not in (TIME, IGNORED)]
    answer = [
        f"{duration(log.span_s)}, a row every {log.step_s:g} s ({log.rows} rows); "
        f"{len(known)} of {len(log.mapping.columns) - 1} columns beside the clock are known.",
        *doubts,
    ]
    if log.mapping.guessed:
        answer.append("What the columns hold is guessed: look at each, and correct the mapping where one is wrong.")
    return View(
        title=f"What is in {log.path}?",
        question="Columns by quantity, in one clock's even steps; silences stay gaps.",
        answer=tuple(answer),
        verdict="look again" if doubts else "fine",
        tables=(_columns(log, units), *_faults(log, units)),
        figures=(("Readings as they are understood, over time; gaps stay white.", picture(log, units)),)
        if pictures
        else (),
        notes=tuple(told(words, units) for words in log.notes),
    )


def doubted(log: Log) -> list[str]:
    """Return what in a log is worth a second look, in words."""
    found = []
    for each in log.findings:
        most = DOUBTED_GAP if each.kind in ("gap", "empty") else DOUBTED_SHARE
        if hold("log_faults", each.share, most).verdict != FINE:
            found.append(f"{each.column or 'the rows'}: {each.share:.1%} {each.words}.")
    return found


def _columns(log: Log, units: str) -> Table:
    head = ("column", "holds", "unit in the file", "lowest", "middle", "highest", "why")
    return Table("Columns", head, tuple(_row(log, each, units) for each in log.mapping.columns))


def _row(log: Log, column: Column, units: str) -> tuple[str, ...]:
    name = f"{column.number} {column.head[:28]}"
    if column.quantity == TIME:
        return (name, "the clock", column.unit, "0 s", "-", f"{log.span_s:.5g} s", column.why)
    if column.quantity == IGNORED:
        return (name, "ignored", "", "", "", "", column.why)
    values = log.columns[column.quantity]
    known = values[np.isfinite(values)]
    sign = ", turned round" if column.sign < 0 else ""
    three = [
        _reading(BY_NAME[column.quantity], float(np.quantile(known, at)), units) if known.size else "-"
        for at in (0.0, 0.5, 1.0)
    ]
    return (name, column.quantity, f"{column.unit}{sign}", *three, column.why)


def _reading(quantity: LogQuantity, value: float, units: str) -> str:
    own = quantity.units[0]
    number, unit = (value, "") if own == SHARE else for_people(value, own, units)
    return f"{number:.5g} {unit}".strip()


def _faults(log: Log, units: str) -> tuple[Table, ...]:
    if not log.findings:
        return ()
    rows = tuple(
        (each.column or "rows", each.kind, f"{each.share:.2%}", told(each.words, units)) for each in log.findings
    )
    return (Table("Faults", ("column", "fault", "share", "what was done"), rows),)


MOST_PANELS = 6
FIRST = (
    "speed_km_h", "gps_speed_km_h", "pack_current_a", "motor_current_a", "pack_voltage_v", "winding_temperature_c",
    "body_temperature_c", "controller_temperature_c", "duty", "electrical_speed_rpm", "motor_speed_rpm", "altitude_m",
    "pedal_power_w",
)  # fmt: skip


def picture(log: Log, units: str = "metric") -> Figure:
    """Return the columns that tell most, one row each, over time."""
    from ridesim.report.along import thinned
    from ridesim.report.style import COLOURS, axis_label, head, in_units, new_figure, quantity_label
    from ridesim.units import from_si

    names = [name for name in (*FIRST, *log.columns) if name in log.columns]
    names = list(dict.fromkeys(names))[:MOST_PANELS]
    figure, rows = new_figure(rows=len(names))
    minutes = from_si(log.time_s, "min")
    for axes, name in zip(rows, names, strict=True):
        words, unit = BY_NAME[name].words.split(",")[0], BY_NAME[name].units[0]
        values = log.columns[name] if unit == SHARE else in_units(log.columns[name], unit, units)
        if np.isfinite(values).all():
            axes.plot(*thinned(minutes, values), color=COLOURS[0], linewidth=1.2)
        else:
            thin = max(1, len(values) // 4000)
            axes.plot(minutes[::thin], values[::thin], color=COLOURS[0], linewidth=1.2)
        head(axes, words if unit == SHARE else axis_label(words, unit, units))
    rows[-1].set_xlabel(quantity_label("time_s", suffix="min"))
    return figure
