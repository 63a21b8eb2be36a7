"""Where the energy of a ride came from and where it went: the ledger as bars that sum up."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ridesim.report.style import COLOURS, INK, head, new_figure, quantity_label, tag
from ridesim.ride.ledger import BOOK, LINES, SECOND_BOOK, SOURCES

if TYPE_CHECKING:
    from ridesim.ride.simulate import Ride

LINE_OF = {line.name: line for line in (*BOOK.values(), *SECOND_BOOK.values())}
GIVING = {LINES[code] for code in SOURCES}
SMALL_SHARE = 0.004
"""Lines below this share of the sum are drawn as one."""
UNSEEN_SHARE = 5e-4
"""Below this share of the sum they are left to the summary."""
ROW_MM, FRAME_MM = 8.4, 20.0


def balance(ledger_wh: dict[str, float]) -> tuple[list[tuple[str, float]], list[tuple[str, float]]]:
    """Return what gave energy and what took it [Wh], the largest first; both sum to the same."""
    given: list[tuple[str, float]] = []
    taken: list[tuple[str, float]] = []
    for name, value in ledger_wh.items():
        gives, line = (value > 0.0) == (name in GIVING), LINE_OF[name]
        words = line.given if gives and line.given else line.words
        if value != 0.0:
            (given if gives else taken).append((words, abs(value)))
    return _by_size(given), _by_size(taken)


def _by_size(rows: list[tuple[str, float]]) -> list[tuple[str, float]]:
    """Return rows the largest first, the small ones as one."""
    least = SMALL_SHARE * sum(value for _, value in rows)
    small = [(words, value) for words, value in rows if value < least]
    kept = sorted((row for row in rows if row[1] >= least), key=lambda row: -row[1])
    rest = sum(value for _, value in small)
    if rest < UNSEEN_SHARE * least / SMALL_SHARE:
        return kept
    return kept + small if len(small) == 1 else [*kept, (f"{len(small)} smaller lines", rest)]


def draw_energy(ride: Ride, units: str) -> Figure:
    """Return the ledger as bars: what gave energy above, what took it below, with sums and shares."""
    given, taken = balance(ride.ledger)
    heights = [len(given) + 0.4, len(taken) + 0.4]
    figure, (upper, lower) = new_figure(
        height_mm=FRAME_MM + ROW_MM * (len(given) + len(taken) + 2), rows=2, heights=heights
    )
    total = sum(value for _, value in taken)
    _bars(upper, given, COLOURS[1], "in", sum(value for _, value in given))
    _bars(lower, taken, COLOURS[3], "out", total)
    lower.set_xlabel(quantity_label("net_energy_wh"))
    return figure


def _bars(axes: Axes, rows: list[tuple[str, float]], colour: str, title: str, total: float) -> None:
    widest = max((value for _, value in rows), default=1.0)
    axes.barh([words for words, _ in rows], [value for _, value in rows], height=0.7, color=colour)
    for row, (_, value) in enumerate(rows):
        share = value / total if total > 0.0 else 0.0
        tag(axes, value, row, f"{value:.1f} ({share:.0%})" if share >= 0.005 else f"{value:.2f}", INK, offset=(4, 0),
            align=("left", "center"))  # fmt: skip
    head(axes, f"{title}: {total:.0f} Wh")
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xlim(0.0, max(1.5 * widest, axes.get_xlim()[1]))
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0)
