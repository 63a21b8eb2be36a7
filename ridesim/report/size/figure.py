"""Hottest winding by motor size, one line a reduction."""

from __future__ import annotations

from matplotlib.figure import Figure

from ridesim.report import style
from ridesim.workshop.size.sizing import Sizing

NAMES = {0: "hub, no reduction", 1: "outrunner, one stage", 2: "outrunner, two stages"}
HOTTEST_SHARE = 1.6
"""The picture ends at this share of the winding's limit: what lies above has burnt."""


def draw_sizes(result: Sizing, units: str = "metric") -> Figure:
    """Draw each size's hottest winding over its mass [kg]; burnt ones stand at the top edge."""
    figure, (axes,) = style.new_figure()
    limit_c = result.chosen.winding_limit_c
    top_c = HOTTEST_SHARE * limit_c
    entries = []
    for stages, colour, dash in zip(NAMES, style.COLOURS, style.DASHES, strict=False):
        found = [each for each in result.candidates if each.stages == stages]
        if not found:
            continue
        mass = style.in_units([each.size.mass_kg for each in found], "kg", units)
        temps = style.in_units([min(each.peak_winding_temp_c, top_c) for each in found], "c", units)
        axes.plot(mass, temps, color=colour, linestyle=dash, marker="o")
        entries.append((NAMES[stages], colour, dash))
    chosen = result.chosen
    x = float(style.in_units(chosen.size.mass_kg, "kg", units))
    y = float(style.in_units(min(chosen.peak_winding_temp_c, top_c), "c", units))
    axes.plot(x, y, "o", markersize=14.0, fillstyle="none", color=style.LIMIT_COLOUR, markeredgewidth=2.0)
    style.tag(axes, x, y, "chosen", style.LIMIT_COLOUR, offset=(-8.0, -8.0), align=("right", "top"))
    style.limit_line(axes, float(style.in_units(limit_c, "c", units)), "winding limit", at=0.01)
    axes.set_xscale("log")
    ticks = [0.35, 0.7, 1.25, 2.5, 5.0, 10.0]
    axes.set_xticks(
        list(style.in_units(ticks, "kg", units)), [f"{each:.3g}" for each in style.in_units(ticks, "kg", units)]
    )
    axes.minorticks_off()
    axes.margins(x=0.06)
    axes.set_xlabel(style.axis_label("motor mass", "kg", units))
    axes.set_ylabel(style.quantity_label("peak_winding_temp_c", units))
    style.key(axes, entries, columns=1)
    return figure
