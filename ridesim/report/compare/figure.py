"""Pictures of "which build?": what each lost, and speed and heat along the road."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from ridesim.report import style
from ridesim.report.study_words import LOSS_WORDS
from ridesim.units import from_si

if TYPE_CHECKING:
    from ridesim.studies.compare import Comparison, RoadComparison

GROUP = 0.68
"""Share of a row's height that its bars take; the rest is for its name."""
BAR_MM, NAME_MM, HEAD_MM = 6.0, 8.0, 34.0
BINS = 400
FLATTEST = 5.0
"""Least span of an altitude axis, so that a level road looks level [shown unit]."""


def draw_losses(result: Comparison, road: RoadComparison) -> Figure:
    """Return bars of what each build lost on a road, one bar a build under each name."""
    count, names = len(road.rides), list(LOSS_WORDS.values())
    figure, (axes,) = style.new_figure(height_mm=HEAD_MM + len(names) * (BAR_MM * count + NAME_MM))
    colours, bar = style.series(count + 1), GROUP / count
    for index, ride in enumerate(road.rides):
        at = np.arange(len(names)) + index * bar
        values = [max(ride.losses_wh[name], 0.0) for name in LOSS_WORDS]  # a loss of nothing comes as -0
        axes.barh(at, values, height=bar * 0.9, color=colours[index], align="edge")
        for place, value in zip(at, values, strict=True):
            style.tag(axes, value, float(place) + 0.5 * bar, f"{value:.1f}", align=("left", "center"), offset=(4, 0))
    for place, name in enumerate(names):
        style.tag(axes, 0.0, float(place), name, offset=(0, 2))
    style.key(axes, [(each.label, colours[index], "-") for index, each in enumerate(result.entries)], columns=2)
    axes.set_yticks([])
    axes.set_ylim(len(names) - 1 + GROUP + 0.1, -0.42)
    axes.grid(axis="y", visible=False)
    axes.margins(x=0.14)
    axes.set_xlim(left=0.0)
    axes.set_xlabel(style.axis_label("lost on the road", "wh"))
    return figure


def draw_along(result: Comparison, road: RoadComparison, units: str = "metric") -> Figure:
    """Return speed and winding temperature of each build along a road, under its altitude."""
    figure, (height, speed, winding) = style.new_figure(rows=3, heights=(0.7, 1.0, 1.0), height_mm=140.0)
    altitude = style.in_units(road.road.altitude_m, "m", units)
    low = float(np.min(altitude))
    at_road = style.in_units(from_si(road.road.distance_m, "km"), "km", units)
    height.fill_between(at_road, altitude, low, color=style.GROUND, linewidth=0.0)
    height.set_ylim(low, max(height.get_ylim()[1], low + FLATTEST))
    height.set_ylabel(style.quantity_label("altitude_m", units))
    colours = style.series(len(road.rides) + 1)
    for ride, colour, dash in zip(road.rides, colours, style.DASHES * 2, strict=False):
        at = style.in_units(ride.trace_distance_km, "km", units)
        every = slice(None, None, max(1, len(at) // BINS))
        speed.plot(
            at[every], style.in_units(ride.trace_speed_km_h, "km_h", units)[every], color=colour, linestyle=dash, lw=1.2
        )
        winding.plot(at, style.in_units(ride.trace_winding_c, "c", units), color=colour, linestyle=dash)
    style.key(
        height, [(e.label, c, d) for e, c, d in zip(result.entries, colours, style.DASHES * 2, strict=False)], columns=2
    )
    speed.set_ylabel(style.quantity_label("speed_km_h", units))
    speed.set_ylim(bottom=0.0)
    winding.set_ylabel(style.quantity_label("winding_temp_c", units))
    _draw_limits(winding, result, road, units)
    winding.set_xlabel(style.quantity_label("distance_km", units))
    winding.set_xlim(0.0, float(at_road[-1]))
    return figure


def _draw_limits(axes: object, result: Comparison, road: RoadComparison, units: str) -> None:
    """Draw the winding limits that come into the picture."""
    hottest = max(ride.motor.peak_winding_temp_c for ride in road.rides)
    for limit in sorted({ride.motor.winding_limit_c for ride in road.rides}):
        if limit < hottest + 60.0:
            style.limit_line(axes, float(style.in_units(limit, "c", units)), "limit of the winding", below=True)  # type: ignore[arg-type]
