"""How pictures look: one size of text, colours for every eye, units, limits, and files that are the same each time.

Colours are samples of viridis (lines), inferno (limits) and cividis (maps): perceptually uniform, and told apart
with the usual colour blindness. No picture codes a meaning by colour alone: lines differ in dash and have names.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib import colormaps, rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text
from numpy.typing import ArrayLike, NDArray

from ridesim.ride.quantities import QUANTITIES
from ridesim.units import IMPERIAL, UNITS

MM_PER_INCH = 25.4
WIDTH_MM = 130.0
HEIGHT_SHARE = 0.62
"""Height of a picture with one row, over its width."""
EXTRA_ROW_SHARE = 0.34
TEXT_PT = 12.0
"""Size of text in a picture WIDTH_MM wide: 12 px when the picture fills a telephone 390 px wide."""
PNG_DPI = 150
KEY_CHARACTERS, KEY_DASH_CHARACTERS = 44, 6
"""Characters of a row of line names above a picture, and what the dash before each name takes of them."""

MAP = "cividis"
"""Colour map for areas."""


def sample(name: str, at: float) -> str:
    """Return the colour of a matplotlib colour map at a place from 0 to 1, as a hex text."""
    return to_hex(colormaps[name](at))


COLOURS: tuple[str, ...] = tuple(sample("viridis", at) for at in (0.05, 0.45, 0.70, 0.30, 0.84))
"""Colours of lines, in the order to use them."""
DASHES: tuple[str, ...] = ("-", "--", "-.", ":", (0, (6, 2, 1, 2, 1, 2)))  # type: ignore[assignment]
"""Dashes that go with COLOURS where lines of one picture share an axis."""
LIMIT_COLOUR = sample("inferno", 0.5)
"""Of all three maps the place furthest from the lines' colours with any colour blindness, dark enough for words."""
INK, FAINT, GROUND = "#222222", "#8a8a8a", "#d9d6cf"
"""Text; grids and remarks; the road's body under its altitude."""

PAPER: Any = {"facecolor": "white", "alpha": 0.72, "edgecolor": "none", "pad": 0.6}
"""Behind words that stand on lines. (A halo would turn the words into outlines in SVG.)"""

STYLE: Any = {
    "axes.axisbelow": True,
    "axes.edgecolor": FAINT,
    "axes.grid": True,
    "axes.labelcolor": INK,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.unicode_minus": True,
    "axes.xmargin": 0.0,
    "axes.ymargin": 0.08,
    "figure.facecolor": "white",
    "font.family": "sans-serif",
    "grid.color": "#e6e6e6",
    "grid.linewidth": 0.8,
    "lines.linewidth": 1.8,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
}


def series(count: int) -> list[str]:
    """Return `count` colours for lines of equal rank, evenly over viridis, its palest end left out."""
    return [sample("viridis", 0.05 + 0.79 * index / max(count - 1, 1)) for index in range(count)]


def new_figure(
    width_mm: float = WIDTH_MM,
    height_mm: float | None = None,
    rows: int = 1,
    *,
    share_x: bool = True,
    heights: Sequence[float] | None = None,
) -> tuple[Figure, list[Axes]]:
    """Return a figure and its axes, one a row from the top; `heights` are the rows' shares. No window is opened.

    Text grows with the width, so that every picture reads alike when it is scaled to one screen.
    """
    tall = width_mm * (HEIGHT_SHARE + EXTRA_ROW_SHARE * (rows - 1)) if height_mm is None else height_mm
    size = text_size(width_mm)
    with rc_context({**STYLE, "font.size": size, **dict.fromkeys(_SIZES, size)}):
        figure = Figure(figsize=(width_mm / MM_PER_INCH, tall / MM_PER_INCH), layout="constrained")
        FigureCanvasAgg(figure)
        made = figure.subplots(rows, 1, sharex=share_x, squeeze=False, height_ratios=heights)
        return figure, list(made[:, 0])


_SIZES: Any = ("axes.titlesize", "axes.labelsize", "xtick.labelsize", "ytick.labelsize", "legend.fontsize")


def text_size(width_mm: float = WIDTH_MM) -> float:
    """Return the size of text [pt] in a picture of this width."""
    return TEXT_PT * width_mm / WIDTH_MM


def shown_suffix(suffix: str, units: str = "metric") -> str:
    """Return the suffix that stands for `suffix` in a system of units: `km` -> `mi` for "imperial"."""
    return IMPERIAL.get(suffix, suffix) if units == "imperial" else suffix


def in_units(values: ArrayLike, suffix: str, units: str = "metric") -> NDArray[np.float64]:
    """Return values given in the unit of `suffix` in the unit that is shown."""
    given, wanted = UNITS[suffix], UNITS[shown_suffix(suffix, units)]
    if given is wanted:
        return np.asarray(values, dtype=np.float64)
    si = np.asarray(values, dtype=np.float64) * given.factor + given.offset
    return np.asarray((si - wanted.offset) / wanted.factor)


def axis_label(words: str, suffix: str, units: str = "metric") -> str:
    """Return the words of an axis with its unit: `speed [km/h]`."""
    return f"{words} [{UNITS[shown_suffix(suffix, units)].symbol}]"


def quantity_label(key: str, units: str = "metric", suffix: str | None = None) -> str:
    """Return the words of an axis for a quantity of the one table, in its unit or that of `suffix`: `time [min]`."""
    row = QUANTITIES[key]
    return axis_label(row.short, suffix or row.unit, units)


def head(axes: Axes, words: str) -> None:
    """Write the words above a picture, from its left edge."""
    axes.set_title(words, loc="left", fontsize=_size_of(axes))


def _size_of(axes: Axes) -> float:
    figure = axes.get_figure(root=True)
    assert figure is not None  # an Axes always has one
    return text_size(float(figure.get_size_inches()[0]) * MM_PER_INCH)


def tag(
    axes: Axes,
    x: float,
    y: float,
    text: str,
    colour: str = INK,
    *,
    offset: tuple[float, float] = (4.0, 4.0),
    align: tuple[str, str] = ("left", "bottom"),
) -> Text:
    """Write words beside a point, legible over lines; `offset` in pt."""
    return axes.annotate(
        text,
        (x, y),
        xytext=offset,
        textcoords="offset points",
        color=colour,
        ha=align[0],
        va=align[1],
        fontsize=_size_of(axes),
        bbox=PAPER,
        zorder=6,
    )


def limit_line(axes: Axes, value: float, text: str, *, at: float = 0.01, below: bool = False) -> None:
    """Draw a bound across the picture and name it on the line; `at` is the place of the words from 0 to 1."""
    axes.axhline(value, color=LIMIT_COLOUR, linestyle=(0, (5, 3)), linewidth=1.4, zorder=3)
    axes.annotate(
        text,
        (at, value),
        xycoords=("axes fraction", "data"),
        xytext=(0.0, -3.0 if below else 2.0),
        textcoords="offset points",
        color=LIMIT_COLOUR,
        ha="right" if at > 0.5 else "left",
        va="top" if below else "bottom",
        fontsize=_size_of(axes),
        bbox=PAPER,
        zorder=6,
    )


def clear_side(values: ArrayLike, level: float) -> float:
    """Return the place (0.01 left, 0.99 right) at which words on a level are farther from a curve's ends."""
    known = np.asarray(values, dtype=np.float64)
    known = known[np.isfinite(known)]
    width = max(1, len(known) // 4)
    if not known.size:
        return 0.01
    left, right = (float(np.min(np.abs(part - level))) for part in (known[:width], known[-width:]))
    return 0.01 if left >= right else 0.99


def shade(axes: Axes, x: ArrayLike, where: ArrayLike, colour: str, *, alpha: float = 0.22) -> None:
    """Shade the whole height of the picture where a condition holds; it is held from each point to the next."""
    for start, end in spans(x, where):
        axes.axvspan(start, end, color=colour, alpha=alpha, linewidth=0.0, zorder=0.5)


def spans(x: ArrayLike, where: ArrayLike) -> list[tuple[float, float]]:
    """Return the stretches of `x` over which a condition holds, each from its first point to the one after its last."""
    at, held = np.asarray(x, dtype=np.float64), np.asarray(where, dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], held, [False])).astype(np.int8)))
    last = len(at) - 1
    return [(float(at[start]), float(at[min(end, last)])) for start, end in edges.reshape(-1, 2)]


def key(axes: Axes, entries: Iterable[tuple[str, str, Any]], *, columns: int | None = None) -> None:
    """Name lines above the picture in their own colour: entries are (words, colour, dash); as many a row as fit."""
    lines = [Line2D([], [], color=colour, linestyle=dash, label=words) for words, colour, dash in entries]
    longest = max(len(str(line.get_label())) for line in lines)
    legend = axes.legend(
        handles=lines,
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
        ncols=columns or max(1, KEY_CHARACTERS // (longest + KEY_DASH_CHARACTERS)),
        frameon=False,
        borderaxespad=0.2,
        borderpad=0.0,
        columnspacing=1.2,
        handlelength=1.8,
        handletextpad=0.4,
        fontsize=_size_of(axes),
    )
    for text, line in zip(legend.get_texts(), lines, strict=True):
        text.set_color(darker(str(line.get_color())))


def darker(colour: str, share: float = 0.75) -> str:
    """Return a colour dark enough for words on white."""
    from matplotlib.colors import to_rgb

    rgb = np.asarray(to_rgb(colour))
    return to_hex(tuple(rgb * share)) if float(rgb @ (0.2126, 0.7152, 0.0722)) > 0.35 else colour


def settle(figure: Figure) -> None:
    """Raise every text of a figure to the size that can be read on a telephone, then lay it out once and for all."""
    least = text_size(float(figure.get_size_inches()[0]) * MM_PER_INCH)
    for text in figure.findobj(Text):
        if not isinstance(text, Text):
            continue
        if float(text.get_fontsize()) < least:
            text.set_fontsize(least)
        if text.get_text() and "\\mathdefault" not in text.get_text():  # that one writes the powers of a log axis
            text.set_parse_math(False)
    engine = figure.get_layout_engine()
    if engine is not None:
        engine.execute(figure)
        figure.set_layout_engine(None)  # by the word "none" a place is kept for it, and saving draws all once more


def save(figure: Figure, path: Path | str) -> None:
    """Write a figure as PNG (or SVG, by the ending); the same figure gives the same bytes."""
    place = Path(path)
    if place.suffix.lower() == ".svg":
        place.write_text(svg_text(figure), encoding="utf-8")
        return
    settle(figure)
    with rc_context(STYLE):
        figure.savefig(place, dpi=PNG_DPI, format="png", metadata={"Software": "ridesim"})


def svg_text(figure: Figure, name: str = "figure") -> str:
    """Return a figure as SVG that scales with its container, text kept as text; ids begin with `name`."""
    settle(figure)
    sink = io.StringIO()
    with rc_context({**STYLE, "svg.fonttype": "none", "svg.hashsalt": "ridesim"}):
        figure.savefig(sink, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return _for_inline(sink.getvalue(), name)


def _for_inline(text: str, name: str) -> str:
    """Take off what only a file of its own needs, and make ids unique among several pictures on one page."""
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*|<!--.*?-->\s*", "", text, flags=re.DOTALL)
    text = re.sub(r'<svg([^>]*?) width="[^"]*"', r"<svg\1", text, count=1)
    text = re.sub(r'<svg([^>]*?) height="[^"]*"', r"<svg\1", text, count=1)
    text = re.sub(r'\bid="', f'id="{name}-', text)
    text = re.sub(r"url\(#", f"url(#{name}-", text)
    return re.sub(r'href="#', f'href="#{name}-', text)
