"""Hottest winding by motor size, one line a reduction."""

from __future__ import annotations

from matplotlib.figure import Figure

from ridesim.report import style
from ridesim.workshop.size.candidate import Candidate
from ridesim.workshop.size.sizing import Sizing

HOTTEST_SHARE = 1.6
"""The picture ends at this share of the winding's limit: what lies above has burnt."""


def draw_sizes(result: Sizing, units: str = "metric") -> Figure:
    """Draw each size's hottest winding over its mass [kg]; burnt ones stand at the top edge."""
    figure, (axes,) = style.new_figure()
    limit_c = result.chosen.winding_limit_c
    top_c = HOTTEST_SHARE * limit_c
    entries = []
    kinds = sorted({each.layout.kind for each in result.candidates})
    ways = list(dict.fromkeys(_way(kind) for kind in kinds))
    for kind in kinds:
        colour, dash = style.COLOURS[ways.index(_way(kind))], style.DASHES[max(kind[2] - 1, 0)]
        found = [each for each in result.candidates if each.layout.kind == kind]
        mass = style.in_units([each.layout.motors_kg for each in found], "kg", units)
        temps = style.in_units([min(each.peak_winding_temp_c, top_c) for each in found], "c", units)
        axes.plot(mass, temps, color=colour, linestyle=dash, marker="o")
        entries.append((_words(found[0]), colour, dash))
    chosen = result.chosen
    x = float(style.in_units(chosen.layout.motors_kg, "kg", units))
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
    axes.set_xlabel(style.axis_label("mass of all motors", "kg", units))
    axes.set_ylabel(style.quantity_label("peak_winding_temp_c", units))
    style.key(axes, entries, columns=1 if len(entries) < 4 else 2)
    return figure


def _way(kind: tuple[int, bool, int]) -> tuple[int, bool, bool]:
    """What has a colour of its own: motors, gears, and whether there are stages; their number is the dash."""
    return kind[0], kind[1], kind[2] > 0


def _words(each: Candidate) -> str:
    """What a line of the picture stands for."""
    if not each.stages:
        return "hub motor"
    stages = "1 stage" if each.stages == 1 else "2 stages"
    return f"{'two, ' if each.motors > 1 else ''}{stages}{f', {len(each.gears)} gears' if each.gears else ''}"
