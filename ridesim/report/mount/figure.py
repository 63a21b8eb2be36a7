"""How many times over each part holds, as a picture."""

from __future__ import annotations

from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullLocator

from ridesim.report.mount.view import safety_words
from ridesim.report.style import COLOURS, INK, LIMIT_COLOUR, key, new_figure, tag
from ridesim.workshop.mount.sheet import MountSheet

LEAST, MOST = 0.2, 20.0
"""Bars start and end here; the words beside them tell what lies beyond."""
ROW_MM = 15.0
TICKS = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0)


def draw_safeties(result: MountSheet) -> Figure:
    """Draw two bars a part, at the peak and for good, over a scale of ratios."""
    figure, (axes,) = new_figure(height_mm=38.0 + ROW_MM * len(result.parts))
    axes.set_xscale("log")
    for place, part in enumerate(result.parts):
        for shift, value, colour in ((-0.19, part.safety_peak, COLOURS[0]), (0.19, part.safety_lasting, COLOURS[2])):
            if value is None:
                continue
            end = min(max(value, LEAST), MOST)
            axes.barh(place + shift, end - LEAST, left=LEAST, color=colour, edgecolor="white", height=0.36)
            tag(axes, end, place + shift, safety_words(value), INK, offset=(4.0, 0.0), align=("left", "center"))
    axes.axvline(1.0, color=LIMIT_COLOUR, linestyle=(0, (5, 3)), linewidth=1.4)
    axes.set_yticks(range(len(result.parts)), [part.name.replace(" on ", "\non ") for part in result.parts])
    axes.set_xlim(LEAST, MOST * 3.0)
    axes.xaxis.set_major_locator(FixedLocator(TICKS))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.set_xticklabels(["1/4", "1/2", "1", "2", "5", "10"])
    axes.set_xlabel("bears over asked, 1 = just enough")
    axes.invert_yaxis()
    axes.grid(visible=False, axis="y")
    key(axes, [("at the peak", COLOURS[0], "-"), ("for good", COLOURS[2], "-")])
    return figure
