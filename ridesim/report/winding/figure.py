"""Windings near a wanted Kv: how far they miss, and how hot they run."""

from __future__ import annotations

from matplotlib.figure import Figure

from ridesim.report.style import COLOURS, LIMIT_COLOUR, axis_label, new_figure, tag
from ridesim.workshop.winding.plan import RewindPlan

MARKERS = {"star": "*", "delta": "^"}
NAMED = 6
"""As many of the nearest candidates carry their turns."""


def draw_candidates(result: RewindPlan) -> Figure:
    """Draw heat at the same torque over Kv, a mark a candidate, and today's winding."""
    figure, (axes,) = new_figure()
    for place, each in enumerate(result.candidates):
        winding = each.result.winding
        x, y = each.result.kv_rpm_per_v, each.result.heat_ratio
        axes.plot(x, y, MARKERS[winding.connection], color=COLOURS[1], markersize=11.0)
        if place < NAMED:
            # Above its mark and centred on it, so that no label leaves the axes at either side.
            words = f"{winding.turns} t, {winding.connection}"
            tag(axes, x, y, words, offset=(0.0, 9.0), align=("center", "bottom"))
    if result.wanted_kv_rpm_per_v is not None:
        axes.axvline(result.wanted_kv_rpm_per_v, color=LIMIT_COLOUR, linestyle=(0, (5, 3)), linewidth=1.4)
    axes.margins(x=0.3, y=0.35)
    if result.wanted_kv_rpm_per_v is not None:
        top = axes.get_ylim()[1]
        tag(axes, result.wanted_kv_rpm_per_v, top, "wanted", LIMIT_COLOUR, offset=(4.0, -4.0), align=("left", "top"))
    axes.set_xlabel(axis_label("Kv", "rpm_per_v"))
    axes.set_ylabel("copper heat, today = 1")
    return figure
