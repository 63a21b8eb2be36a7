"""The check sheet as a picture: how much of each limit is used."""

from __future__ import annotations

from matplotlib.figure import Figure

from ridesim.report.style import COLOURS, INK, LIMIT_COLOUR, new_figure, tag
from ridesim.ride.judge import Finding
from ridesim.workshop.check.sheet import CheckSheet

WIDEST = 2.0
"""Bars end here; what is used more often than twice is written out."""
HATCHES = {"fine": "", "look again": "//", "stop": "xx"}
SHADES = {"fine": COLOURS[2], "look again": COLOURS[1], "stop": COLOURS[0]}
ROW_MM = 9.0
NOT_A_SHARE = ("c",)
"""Units whose zero is a matter of convention: their share is taken from 20 degC."""
ROOM_C = 20.0


def draw_margins(result: CheckSheet) -> Figure:
    """Draw one bar a check: figure over limit (limit over figure where the figure must be at least the limit)."""
    rows = [(each, share) for each in result.findings if (share := used_share(each)) is not None]
    figure, (axes,) = new_figure(height_mm=30.0 + ROW_MM * len(rows))
    for place, (each, share) in enumerate(rows):
        shown = min(share, WIDEST)
        axes.barh(place, shown, color=SHADES[each.verdict], hatch=HATCHES[each.verdict], edgecolor="white", height=0.7)
        words = f"{share:.0%}" if each.verdict == "fine" else f"{share:.0%} {each.verdict}"
        tag(axes, shown, place, words, INK, offset=(4.0, 0.0), align=("left", "center"))
    axes.axvline(1.0, color=LIMIT_COLOUR, linestyle=(0, (5, 3)), linewidth=1.4)
    axes.set_yticks(range(len(rows)), [each.title for each, _ in rows])
    axes.set_xlim(0.0, WIDEST * 1.25)
    axes.set_xticks([0.0, 0.5, 1.0, 1.5, 2.0], ["0", "50 %", "limit", "150 %", "200 %"])
    axes.invert_yaxis()
    axes.grid(visible=False, axis="y")
    return figure


def used_share(each: Finding) -> float | None:
    """Return the share of its limit that a figure uses, 1 at the limit; None where that makes no sense."""
    if each.figure is None or each.limit is None:
        return None
    figure, limit = (value - ROOM_C if each.unit in NOT_A_SHARE else value for value in (each.figure, each.limit))
    top, bottom = (limit, figure) if each.at_least else (figure, limit)
    return top / bottom if top >= 0.0 and bottom > 0.0 else None
