"""The check sheet as a picture: how much of each limit is used."""

from __future__ import annotations

from matplotlib.figure import Figure

from ridesim.report.style import COLOURS, INK, LIMIT_COLOUR, new_figure, tag
from ridesim.ride.judge import Finding
from ridesim.ride.limits import ORDER
from ridesim.workshop.check.sheet import CheckSheet

WIDEST = 2.0
"""Bars end here; what is used more often than twice is written out."""
HATCHES = {"fine": "", "look again": "//", "stop": "xx"}
SHADES = {"fine": COLOURS[2], "look again": COLOURS[1], "stop": COLOURS[0]}
ROW_MM, HEAD_MM = 11.0, 22.0
BAR = 0.45
"""Share of a row that its bar takes; the rest is for its name."""
NOT_A_SHARE = ("c",)
"""Units whose zero is a matter of convention: their share is taken from 20 degC."""
ROOM_C = 20.0
YES_OR_NO = ("arrival",)
"""Limits that are met or not: a share of them says nothing while they are met."""


def draw_margins(result: CheckSheet) -> Figure:
    """Draw one bar a check, the worst first: figure over limit (limit over figure where it must be at least that)."""
    rows = [(each, share) for each in result.findings if (share := used_share(each)) is not None]
    rows.sort(key=lambda row: (-ORDER.index(row[0].verdict), -row[1]))
    figure, (axes,) = new_figure(height_mm=HEAD_MM + ROW_MM * len(rows))
    for place, (each, share) in enumerate(rows):
        shown = min(share, WIDEST)
        axes.barh(place, shown, color=SHADES[each.verdict], hatch=HATCHES[each.verdict], edgecolor="white",
                  height=BAR, align="edge")  # fmt: skip
        words = f"{share:.0%}" if each.verdict == "fine" else f"{share:.0%} {each.verdict}"
        tag(axes, shown, place + 0.5 * BAR, words, INK, offset=(4.0, 0.0), align=("left", "center"))
        tag(axes, 0.0, place, each.title, offset=(0.0, 2.0))
    axes.axvline(1.0, color=LIMIT_COLOUR, linestyle=(0, (5, 3)), linewidth=1.4)
    axes.set_yticks([])
    axes.set_ylim(len(rows) - 1 + BAR + 0.1, -0.55)
    axes.set_xlim(0.0, WIDEST * 1.25)
    axes.set_xticks([0.0, 0.5, 1.0, 1.5, 2.0], ["0", "50 %", "limit", "150 %", "200 %"])
    axes.grid(visible=False, axis="y")
    return figure


def used_share(each: Finding) -> float | None:
    """Return the share of its limit that a figure uses, 1 at the limit; None where that makes no sense."""
    if each.figure is None or each.limit is None or (each.name in YES_OR_NO and each.verdict == "fine"):
        return None
    figure, limit = (value - ROOM_C if each.unit in NOT_A_SHARE else value for value in (each.figure, each.limit))
    top, bottom = (limit, figure) if each.at_least else (figure, limit)
    return top / bottom if top >= 0.0 and bottom > 0.0 else None
