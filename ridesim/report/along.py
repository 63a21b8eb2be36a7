"""Lines along the road: a ride's axis, lines thinned with every extreme kept, and what held the motor."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from ridesim.report import style
from ridesim.report.text import duration, shown
from ridesim.ride.bounds import BY_NAME
from ridesim.units import from_si

if TYPE_CHECKING:
    import pandas as pd

    from ridesim.ride.simulate import Ride

BUCKETS = 500
"""Stretches that a long line is thinned to; each keeps its lowest and its highest point."""
NARROWEST_SHARE = 0.004
"""Shortest visible stretch of a limit, over the whole axis: a shorter one is widened to it."""

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Along:
    """A ride's trace over distance, or over time for a cycle that the clock drives."""

    table: pd.DataFrame
    x: Array
    words: str
    suffix: str
    units: str

    def name_axis(self, axes: Axes) -> None:
        """Write the words of the axis below the lowest picture, and let it begin where the ride began."""
        axes.set_xlim(min(float(self.x[0]), 0.0), float(self.x[-1]))
        axes.set_xlabel(style.axis_label(self.words, self.suffix, self.units if self.suffix == "km" else "metric"))

    def values(self, column: str, suffix: str = "") -> Array:
        """Return a column, in the units shown where its suffix is given."""
        plain = self.table[column].to_numpy(dtype=np.float64)
        return style.in_units(plain, suffix, self.units) if suffix else plain

    def line(self, axes: Axes, y: Array, **look: Any) -> None:
        """Draw a column as a line, thinned."""
        axes.plot(*thinned(self.x, y), **look)

    def band(self, axes: Axes, low: Array, high: Array, **look: Any) -> None:
        """Fill between the lowest and the highest value of every interval."""
        axes.fill_between(*bucketed(self.x, low, high), linewidth=0.0, **look)

    def peak(self, axes: Axes, y: Array, text: str, colour: str = style.INK, *, below: bool = False) -> None:
        """Mark the highest point of a line, in words above or below it."""
        at = int(np.argmax(y))
        side = "right" if self.x[at] > 0.5 * (self.x[0] + self.x[-1]) else "left"
        axes.plot([self.x[at]], [y[at]], marker="o", markersize=4, color=colour, zorder=5)
        offset, align = (-5.0 if side == "right" else 5.0, -4.0 if below else 3.0), (side, "top" if below else "bottom")
        style.tag(axes, float(self.x[at]), float(y[at]), text, colour, offset=offset, align=align)


def along(ride: Ride, units: str) -> Along:
    """Return the trace of a ride over the axis that suits its road."""
    table = ride.trace
    if ride.road.cycle is not None:
        return Along(table, from_si(table["time_s"].to_numpy(), "min"), "time", "min", units)
    return Along(table, style.in_units(table["distance_km"], "km", units), "distance", "km", units)


def thinned(x: Array, y: Array, buckets: int = BUCKETS) -> tuple[Array, Array]:
    """Return a line with at most two points a bucket: its lowest and its highest, in order."""
    if len(x) <= 2 * buckets:
        return x, y
    edges = np.linspace(0, len(x), buckets + 1).astype(np.int64)
    keep = {0, len(x) - 1}
    for start, end in itertools.pairwise(edges):
        part = y[start:end]
        keep.update((start + int(part.argmin()), start + int(part.argmax())))
    chosen = np.array(sorted(keep))
    return x[chosen], y[chosen]


def bucketed(x: Array, low: Array, high: Array, buckets: int = BUCKETS) -> tuple[Array, Array, Array]:
    """Return the first x, the lowest low and the highest high of every bucket, the last x kept."""
    if len(x) <= buckets:
        return x, low, high
    starts = np.linspace(0, len(x), buckets + 1).astype(np.int64)[:-1]
    at = x[starts]
    at[-1] = x[-1]
    return at, np.minimum.reduceat(low, starts), np.maximum.reduceat(high, starts)


def draw_ground(axes: Axes, x: Array, altitude: Array, units: str) -> None:
    """Draw the road's altitude as a body of ground."""
    at, low, _ = bucketed(x, altitude, altitude)
    span = max(float(altitude.max() - altitude.min()), 1.0)
    floor = float(altitude.min()) - 0.12 * span
    axes.fill_between(at, floor, low, color=style.GROUND, linewidth=0.0)
    axes.plot(at, low, color=style.FAINT, linewidth=1.4)
    axes.set_ylim(floor, float(altitude.max()) + 0.15 * span)
    axes.set_ylabel(style.quantity_label("altitude_m", units))


@dataclass(frozen=True)
class Held:
    """A limit that held the motor: its words, its colour, and the stretches of the axis."""

    words: str
    colour: str
    stretches: tuple[tuple[float, float], ...]


def held_by(ride: Ride, a: Along) -> list[Held]:
    """Return the limits met on a ride, the longest first, with where they held."""
    rows = ride.summary["limits"]
    names = a.table["limit"].to_numpy()
    found = []
    for index, row in enumerate(rows):
        colour = style.sample("plasma", 0.08 + 0.76 * index / max(len(rows) - 1, 1))
        words = f"{BY_NAME[row['name']].short}, {duration(row['seconds'])}"
        stretches = _visible(style.spans(a.x, names == row["name"]), float(a.x[-1] - a.x[0]))
        if not stretches and row["seconds"] > 0.0:  # met between two rows of the trace only
            stretches = _visible([_first(row, a)], float(a.x[-1] - a.x[0]))
        found.append(Held(words, colour, stretches))
    return found


def _first(row: dict[str, Any], a: Along) -> tuple[float, float]:
    at = float(np.interp(row["first_at_km"], a.table["distance_km"], a.x))
    return at, at


def _visible(stretches: list[tuple[float, float]], width: float) -> tuple[tuple[float, float], ...]:
    """Return stretches wide enough to be seen, joined where they then touch."""
    least = NARROWEST_SHARE * width
    joined: list[tuple[float, float]] = []
    for start, end in stretches:
        end = max(end, start + least)
        if joined and start <= joined[-1][1] + 0.5 * least:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return tuple(joined)


def mark_pushed(ride: Ride, panels: Iterable[Axes], a: Along) -> None:
    """Shade where the rider was on foot, and say so once, above the road."""
    s, width = ride.summary, float(a.x[-1] - a.x[0])
    if not s["pushes"]:
        return
    found = _visible(style.spans(a.x, a.values("walker_force_n") > 0.0), width)
    if not found:  # between two rows of the trace only
        first = float(np.interp(s["pushed_first_at_km"], a.table["distance_km"], a.x))
        found = _visible([(first, first)], width)
    for number, axes in enumerate(panels):
        for start, end in found:
            axes.axvspan(start, end, color=style.LIMIT_COLOUR, alpha=0.3, linewidth=0.0, zorder=0.5)
        if number == 0:
            start, side = found[0][0], "right" if found[0][0] > a.x[0] + 0.5 * width else "left"
            words, offset = f"pushed {shown(s['pushed_m'], 'm', a.units, 0)}", (-4.0 if side == "right" else 8.0, -4.0)
            style.tag(axes, start, axes.get_ylim()[1], words, style.LIMIT_COLOUR, offset=offset, align=(side, "top"))


def shade_held(axes: Axes, held: list[Held]) -> None:
    """Shade a picture where a limit held."""
    for limit in held:
        for start, end in limit.stretches:
            axes.axvspan(start, end, color=limit.colour, alpha=0.18, linewidth=0.0, zorder=0.5)


def draw_lanes(axes: Axes, held: list[Held]) -> None:
    """Draw one lane a limit, its name and its time above its bar."""
    left = axes.get_xlim()[0]
    for row, limit in enumerate(held):
        bars = [(start, end - start) for start, end in limit.stretches]
        axes.broken_barh(bars, (row + 0.62, 0.3), color=limit.colour, linewidth=0.0)
        style.tag(axes, left, row + 0.56, limit.words, style.INK, offset=(2, 0), align=("left", "bottom"))
    axes.set_ylim(max(len(held), 1), 0.0)
    axes.set_yticks([])
    axes.grid(visible=False, axis="y")
    axes.spines["left"].set_visible(False)
