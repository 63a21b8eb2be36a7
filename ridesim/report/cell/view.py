"""A cell fitted to its own measurements: its keys with their errors, and how each run is met."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ridesim.learn.cell_circuit import follow_cell
from ridesim.learn.cell_files import GOOD_MV, CellAnswer
from ridesim.report.digits import to_error
from ridesim.report.view import Table, View
from ridesim.ride.judge import FINE
from ridesim.units import from_si, symbol_of, told

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def view(answer: CellAnswer, units: str = "metric", *, pictures: bool = True) -> View:
    """Return a fitted cell."""
    fit = answer.fit
    worst = max(answer.rms_mv)
    words = (
        f"{fit.resistance_mohm:.3g} mΩ fast and {fit.polarisation_resistance_mohm:.3g} mΩ slow, over "
        f"{fit.polarisation_time_s:.0f} s, at half charge; voltages are met within {worst:.0f} mV rms"
        f"{_amiss(answer)}."
    )
    rows = []
    for name, value in answer.part.items():
        if isinstance(value, float):
            share = answer.errors.get(name)
            error = f"± {from_si(share, 'percent'):.0f} %" if share is not None else "-"
            rows.append((name, f"{to_error(value, abs(value) * (share or 0.0))} {symbol_of(name)}".strip(), error))
    runs = tuple((path, f"{rms:.1f} mV") for path, rms in zip(answer.paths, answer.rms_mv, strict=True))
    return View(
        title="What is this cell?",
        question="One circuit, the ride's own, fitted to all runs between 10 and 90 % of charge.",
        answer=(words, *_cold(answer)),
        verdict=answer.verdict,
        tables=(Table("Keys of a cell part", ("key", "value", "error"), tuple(rows)),
                Table("Runs", ("file", "rms"), runs)),
        figures=(("Voltage of each run: measured, and by the fitted circuit (dashed).", picture(answer)),)
        if pictures
        else (),
        notes=tuple(told(each, units) for each in answer.notes),
    )  # fmt: skip


def _amiss(answer: CellAnswer) -> str:
    """Say why a cell is to be looked at again, and what to do; nothing where it is fine."""
    if answer.edges:
        ended = f"{' and '.join(answer.edges)} ended at the edge of the search: the runs do not tell that"
        return f", but {ended}; see --capacity and the charge that each run begins with (FILE@CHARGE), or add pulses"
    if answer.met.verdict != FINE:
        return (
            f", a cell of a kind within {GOOD_MV:.0f}: see --capacity, the runs' clock, their current and first charge"
        )
    if answer.pulsed.verdict != FINE:
        both = answer.fit.resistance_mohm + answer.fit.polarisation_resistance_mohm
        return (
            f". No run has pulses: {both:.3g} mΩ in all is told, how much of it is fast is not; add a run with pulses"
        )
    return ""


def _cold(answer: CellAnswer) -> tuple[str, ...]:
    """Say what cold runs told, with the error that eight of ten lie within."""
    kept, error = answer.fit.cold_capacity_loss_percent, answer.errors.get("cold_capacity_loss_percent")
    if kept is None or error is None:
        return ()
    sure = "" if error < HINT else " That is no more than a hint: measure two cold discharges, far apart."
    return (f"At 0 °C and 1C the cold keeps {kept:.0f} % of the charge (± {error:.0%} of that), beyond what resistance "
            f"takes.{sure}",)  # fmt: skip


HINT = 1.0
"""Error of what the cold keeps, as a share of it, from which it may as well be nothing (guess)."""


def picture(answer: CellAnswer) -> Figure:
    """Return measured and computed voltage of every run."""
    from ridesim.report.style import axis_label, key, new_figure, series

    figure, (axes,) = new_figure()
    for run, colour in zip(answer.runs, series(len(answer.runs)), strict=True):
        hours = from_si(run.time_s, "h")
        axes.plot(hours, run.voltage_v, color=colour, linewidth=1.2)
        axes.plot(
            hours,
            follow_cell(answer.fit, run, recorded_warmth=True).voltage_v,
            color=colour,
            linestyle="--",
            linewidth=1.2,
        )
    names = [Path(path).stem for path in answer.paths]
    colours = series(len(names))
    key(axes, [(name, colour, "-") for name, colour in zip(names, colours, strict=True)])
    axes.set_xlabel(axis_label("time", "h"))
    axes.set_ylabel(axis_label("voltage", "v"))
    return figure
