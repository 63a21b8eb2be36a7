"""Pictures of "how far?": charge and voltage along the ride, range against speed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ridesim.report import style
from ridesim.report.study_words import condition_words
from ridesim.units import from_si

if TYPE_CHECKING:
    from ridesim.studies.reach import Reach, ReachCase, ReachCurve

BINS = 300
"""Stretches of road into which a voltage trace is gathered for the picture."""


def draw_curves(result: Reach, units: str = "metric") -> Figure:
    """Return charge and voltage against distance, one line a condition."""
    figure, (charge, voltage) = style.new_figure(rows=2, height_mm=125.0)
    entries = []
    for curve, colour, dash in zip(result.curves, style.COLOURS, style.DASHES, strict=False):
        at = style.in_units(curve.distance_km, "km", units)
        charge.plot(at, from_si(curve.charge_fraction, "percent"), color=colour, linestyle=dash)
        _draw_voltage(voltage, at, curve, colour, dash)
        entries.append((condition_words(result, curve.condition, units), colour, dash))
    style.key(charge, entries, columns=1)
    charge.set_ylabel(style.quantity_label("charge_fraction", suffix="percent"))
    charge.set_ylim(bottom=0.0)
    voltage.set_ylabel(style.axis_label("lowest voltage\nunder load", "v"))
    start, end = result.fold_back_v
    style.limit_line(voltage, start, "current folds back below", at=0.01)
    style.limit_line(voltage, end, "no current below", at=0.01)
    voltage.set_xlabel(style.axis_label("distance ridden", "km", units))
    voltage.set_xlim(left=0.0)
    return figure


def _draw_voltage(axes: Axes, at: np.ndarray, curve: ReachCurve, colour: str, dash: object) -> None:
    """Draw the lowest voltage of each stretch: what a rider on a hill has left."""
    count = min(BINS, len(at))
    edges = np.linspace(0, len(at), count + 1).astype(int)[:-1]
    low = np.minimum.reduceat(curve.voltage_low_v, edges)
    axes.plot(at[edges], low, color=colour, linestyle=dash, linewidth=1.2)


def draw_speeds(result: Reach, units: str = "metric") -> Figure:
    """Return range against cruise speed, as built and on the worst day."""
    figure, (axes,) = style.new_figure()
    lines: tuple[tuple[Sequence[ReachCase], str], ...] = (
        (result.speeds, "as built"),
        (result.worst_speeds, condition_words(result, result.conditions[-1].condition, units)),
    )
    for (cases, words), colour, dash in zip(lines, style.COLOURS, style.DASHES, strict=False):
        ended = [case for case in cases if case.range_km is not None]
        if not ended:
            continue
        x = style.in_units([case.cruise_speed_km_h for case in ended], "km_h", units)
        y = style.in_units([case.range_km or 0.0 for case in ended], "km", units)
        axes.plot(x, y, color=colour, linestyle=dash, marker="o")
        above = words == "as built"
        for at, far in zip(x, y, strict=True):
            place = ("center", "bottom") if above else ("center", "top")
            style.tag(
                axes,
                float(at),
                float(far),
                f"{far:.0f}",
                style.darker(colour),
                offset=(0, 5 if above else -6),
                align=place,
            )
    entries = [
        (words, colour, dash)
        for (cases, words), colour, dash in zip(lines, style.COLOURS, style.DASHES, strict=False)
        if cases
    ]
    style.key(axes, entries, columns=1)
    axes.set_xlabel(style.axis_label("cruise speed", "km_h", units))
    axes.set_ylabel(style.quantity_label("range_km", units))
    axes.set_xticks(style.in_units([case.cruise_speed_km_h for case in result.speeds], "km_h", units))
    axes.xaxis.set_major_formatter("{x:.3g}")
    axes.margins(x=0.08, y=0.15)
    axes.set_ylim(bottom=0.0)
    return figure
