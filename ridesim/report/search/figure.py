"""Pictures of a search: every build that keeps all, the front, and the knee."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from ridesim.report.style import COLOURS, FAINT, INK, in_units, key, new_figure, shown_suffix, tag
from ridesim.search.wanted import worse_way
from ridesim.units import UNITS

if TYPE_CHECKING:
    from ridesim.ride.quantities import Quantity
    from ridesim.search.found import Found

Array = NDArray[np.float64]

HEIGHT_MM = 95.0
BINS = 30
NAME_SHARE, LINE_SHARE = 0.22, 0.07
"""Shares of the picture that a name, and its line, take."""
FEW = 300
"""So many dots or fewer are drawn large."""


def draw_front(found: Found, units: str = "metric") -> Figure:
    """Return the trade-off of the two things that matter first, or how the only one is spread."""
    figure, (axes,) = new_figure(height_mm=HEIGHT_MM)
    if len(found.study.matters) == 1:
        _draw_one(found, axes, units)
    else:
        _draw_two(found, axes, units)
    return figure


def _values(costs: Array, at: int, quantity: Quantity, units: str) -> Array:
    values = worse_way(quantity) * costs[:, at]
    return in_units(values, quantity.unit, units) if quantity.unit else values


def _label(quantity: Quantity, units: str) -> str:
    if not quantity.unit:
        return quantity.short
    return f"{quantity.short} [{UNITS[shown_suffix(quantity.unit, units)].symbol}]"


def _draw_one(found: Found, axes: Axes, units: str) -> None:
    (quantity,) = found.study.matters
    values = _values(found.cloud, 0, quantity, units)
    axes.hist(values[np.isfinite(values)], bins=BINS, color=COLOURS[1], alpha=0.7)
    for member in found.members:
        best = float(_values(member.costs[None], 0, quantity, units)[0])
        axes.axvline(best, color=INK, linewidth=1.6)
        tag(axes, best, axes.get_ylim()[1], "A", INK, align=("left", "top"))
    axes.set_xlabel(_label(quantity, units))
    axes.set_ylabel("builds that keep all")


def _draw_two(found: Found, axes: Axes, units: str) -> None:
    first, second = found.study.matters[:2]
    x, y = (_values(found.cloud, at, each, units) for at, each in enumerate((first, second)))
    large, pale = (3.0, 0.5) if len(x) > FEW else (7.0, 0.9)
    axes.plot(x, y, ".", color=FAINT, markersize=large, alpha=pale, zorder=1)
    fx, fy = (_values(found.front_costs, at, each, units) for at, each in enumerate((first, second)))
    order = np.argsort(fx)
    dash = "-" if len(found.study.matters) == 2 else ""
    axes.plot(fx[order], fy[order], f"o{dash}", color=COLOURS[1], markersize=4, linewidth=1.0, zorder=2)
    for place, member in enumerate(found.members):
        own = member.costs[None]
        mx, my = (float(_values(own, k, each, units)[0]) for k, each in enumerate((first, second)))
        is_knee = place == found.knee
        axes.plot(mx, my, "D" if is_knee else "o", color=COLOURS[0], markersize=9 if is_knee else 6, zorder=3)
        _name(axes, (mx, my), f"{letter(place)}{', the knee' if is_knee else ''}", (first, second))
    axes.set_xlabel(_label(first, units))
    axes.set_ylabel(_label(second, units))
    axes.margins(0.08)
    _make_room(axes, first, second)
    key(axes, [("keeps all", FAINT, ":"), ("the front", COLOURS[1], "-")])


def _name(axes: Axes, at: tuple[float, float], words: str, of: tuple[Quantity, Quantity]) -> None:
    """Write a name on the side of a member where nothing that keeps all can lie: the better one of both quantities."""
    x, y = (worse_way(each) for each in of)
    align = ("right" if x > 0.0 else "left", "top" if y > 0.0 else "bottom")
    tag(axes, *at, words, INK, offset=(-5.0 * x, -3.0 * y), align=align)


def _make_room(axes: Axes, first: Quantity, second: Quantity) -> None:
    """Widen the picture on its better sides, where the names stand."""
    low, high = axes.get_xlim()
    room = NAME_SHARE * (high - low)
    axes.set_xlim((low - room, high) if worse_way(first) > 0.0 else (low, high + room))
    low, high = axes.get_ylim()
    room = LINE_SHARE * (high - low)
    axes.set_ylim((low - room, high) if worse_way(second) > 0.0 else (low, high + room))


def letter(place: int) -> str:
    """Return the name of a member by its place: A, B, ... Z, then AA."""
    return chr(ord("A") + place) if place < 26 else letter(place // 26 - 1) + letter(place % 26)
