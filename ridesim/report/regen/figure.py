"""Pictures of "what is regen worth?": where the braking energy went, and where on the road it was won."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from ridesim.report.study_words import all_destinations, destinations
from ridesim.report.style import DASHES, GROUND, axis_label, in_units, key, new_figure, quantity_label, series, tag

if TYPE_CHECKING:
    from ridesim.studies.regen import Regen

BAR = 0.34
ROW_MM = 17.0
HEAD_MM = 34.0
LEAST_DRAWN_WH = 0.05
"""Brakes that take less than this have no panel of their own."""
FLATTEST = 5.0
"""Least span of an altitude axis, so that a level road looks level [shown unit]."""


def draw_where(result: Regen) -> Figure:
    """Return bars of the braking energy by where it went, one bar a start."""
    names = all_destinations(result)
    figure, (axes,) = new_figure(height_mm=HEAD_MM + ROW_MM * len(names))
    colours = series(len(result.cases) + 1)
    for index, case in enumerate(result.cases):
        found = destinations(case)
        at = np.arange(len(names)) + index * BAR
        values = [found.get(name, 0.0) for name in names]
        axes.barh(at, values, height=BAR * 0.9, color=colours[index], align="edge")
        for place, value in zip(at, values, strict=True):
            tag(axes, value, float(place) + 0.5 * BAR, f"{value:.1f}", align=("left", "center"), offset=(4, 0))
    for place, name in enumerate(names):
        tag(axes, 0.0, float(place), name, align=("left", "bottom"), offset=(0, 2))
    key(axes, [(f"from {c.start_charge_fraction:.0%}", colours[i], "-") for i, c in enumerate(result.cases)])
    axes.set_yticks([])
    axes.set_ylim(len(names) - 0.2, -0.45)
    axes.grid(axis="y", visible=False)
    axes.margins(x=0.14)
    axes.set_xlim(left=0.0)
    axes.set_xlabel(axis_label("braking energy of one ride", "wh"))
    return figure


def draw_along(result: Regen, units: str = "metric") -> Figure:
    """Return the energy returned and rubbed away so far, each on its own scale, under the road's altitude."""
    rubs = any(float(trace.friction_wh[-1]) >= LEAST_DRAWN_WH for trace in result.traces)
    figure, (height, *panels) = new_figure(rows=3, heights=(0.8, 1.0, 1.0), height_mm=135.0) if rubs else new_figure(
        rows=2, heights=(0.8, 1.0), height_mm=100.0
    )  # fmt: skip
    first = result.traces[0]
    altitude = in_units(first.altitude_m, "m", units)
    low = float(np.min(altitude))
    height.fill_between(in_units(first.distance_km, "km", units), altitude, low, color=GROUND, linewidth=0.0)
    height.set_ylabel(quantity_label("altitude_m", units))
    height.set_ylim(low, max(height.get_ylim()[1], low + FLATTEST))
    colours = series(len(result.cases) + 1)
    words = tuple(axis_label(each, "wh") for each in ("back in\nthe pack", "into the\nbrakes"))
    for panel, name, said in zip(panels, ("returned_wh", "friction_wh"), words, strict=False):
        for trace, colour, dash in zip(result.traces, colours, DASHES, strict=False):
            panel.plot(in_units(trace.distance_km, "km", units), getattr(trace, name), color=colour, linestyle=dash)
        most = max(float(getattr(trace, name)[-1]) for trace in result.traces)
        panel.set_ylabel(said)
        panel.set_ylim(0.0, 1.12 * most or 1.0)
    starts = [f"from {case.start_charge_fraction:.0%}" for case in result.cases]
    key(height, zip(starts, colours, DASHES, strict=False), columns=2)
    panels[-1].set_xlabel(quantity_label("distance_km", units))
    panels[-1].set_xlim(left=0.0)
    return figure
