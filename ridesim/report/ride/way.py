"""The way seen from above, coloured by the winding's temperature: where on the road the motor grows hot."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from ridesim.report.along import along
from ridesim.report.style import INK, LIMIT_COLOUR, WIDTH_MM, axis_label, in_units, new_figure, quantity_label, tag
from ridesim.report.text import shown
from ridesim.ride.drives import named_drives
from ridesim.ride.lap import laps_behind
from ridesim.road.above import seen_from_above
from ridesim.units import from_si

if TYPE_CHECKING:
    from ridesim.ride.simulate import Ride

PIECES = 600
"""Pieces of the line, each of one colour."""
HEAT_MAP, SHADES = "inferno", 48
PALEST = 0.88
"""The map's end beyond it is too pale for a white page. (Of 50 shades and more matplotlib makes pixels.)"""


def draw_way(ride: Ride, units: str) -> Figure:
    """Return the way seen from above, drawn by the road's bearings, in the colours of the winding's temperature.

    Of two different drives the one with the hotter winding, named.
    """
    from matplotlib import colormaps
    from matplotlib.colors import ListedColormap

    whose, ride = _hottest(ride)
    a = along(ride, units)
    figure, (axes,) = new_figure(height_mm=0.72 * WIDTH_MM)
    east, north, joined = _places(ride, a.table["distance_km"].to_numpy(dtype=np.float64), units)
    heat = a.values("winding_temp_c", "c")
    points = np.column_stack((east, north))
    shades = ListedColormap(colormaps[HEAT_MAP](np.linspace(0.0, PALEST, SHADES)))
    line = LineCollection(
        list(np.stack((points[:-1], points[1:]), axis=1)[joined]), cmap=shades, linewidths=3.2, capstyle="round"
    )
    kept = np.linspace(0, len(heat) - 1, len(points)).astype(np.int64)
    line.set_array(np.maximum(heat[kept][:-1], heat[kept][1:])[joined])
    axes.add_collection(line)
    axes.set_aspect("equal", adjustable="datalim")
    axes.autoscale_view()
    axes.set_xlabel(axis_label("east", "km", units))
    axes.set_ylabel(axis_label("north", "km", units))
    figure.colorbar(line, ax=axes, label=f"{whose}{quantity_label('winding_temp_c', units)}", aspect=30, pad=0.02)
    _mark(ride, axes, a.table["winding_temp_c"].to_numpy(dtype=np.float64)[kept], points, units)
    return figure


def _hottest(ride: Ride) -> tuple[str, Ride]:
    """Return the drive with the hotter winding, as a ride of its own, and how it is named; a single one has no name."""
    named = [(f"{name}, ", drive) for name, drive in named_drives(ride)] or [("", ride)]
    return max(named, key=lambda each: each[1].figures.peak_winding_temp_c)


def _places(ride: Ride, distance_km: np.ndarray, units: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the ride's places, at most `PIECES` of them, and which are joined to the next.

    A lap is ridden over the one before; from the end of a lap nothing leads to the start of the next.
    """
    kept = np.linspace(0, len(distance_km) - 1, min(PIECES, len(distance_km))).astype(np.int64)
    lap = from_si(ride.road.length_m, "km")
    laps = laps_behind(distance_km[kept], lap)
    at = distance_km[kept] - laps * lap
    nodes = from_si(ride.road.distance_m, "km")
    east, north = (in_units(from_si(side, "km"), "km", units) for side in seen_from_above(ride.road))
    return np.interp(at, nodes, east), np.interp(at, nodes, north), np.diff(laps) == 0.0


def _mark(ride: Ride, axes: Axes, heat: np.ndarray, points: np.ndarray, units: str) -> None:
    """Mark start, end and the hottest place, which is named as the ride found it."""
    end, mark = ("end", "s") if ride.finished else ("stopped here", "X")
    hottest = f"hottest {shown(ride.figures.peak_winding_temp_c, 'c', units, 0)}"
    named = ((0, "o", "start", INK, (6.0, 6.0)), (-1, mark, end, INK, (6.0, -14.0)),
             (int(np.argmax(heat)), "D", hottest, LIMIT_COLOUR, (6.0, 3.0)))  # fmt: skip
    for at, shape, words, colour, offset in named:
        x, y = float(points[at, 0]), float(points[at, 1])
        axes.plot([x], [y], marker=shape, markersize=6, color="white", markeredgecolor=colour, zorder=5)
        tag(axes, x, y, words, colour, offset=offset, align=("left", "bottom"))
