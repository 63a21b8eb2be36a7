"""Pictures of "does it cook on the climb?": heat along a climb, and the map of grade and speed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import ListedColormap, LogNorm
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter
from numpy.typing import NDArray

from ridesim.engine.codes import Limit
from ridesim.report.along import Along, along, draw_ground
from ridesim.report.style import (
    COLOURS,
    DASHES,
    FAINT,
    INK,
    LIMIT_COLOUR,
    MAP,
    axis_label,
    in_units,
    key,
    limit_line,
    new_figure,
    sample,
    shade,
    shown_suffix,
    tag,
)
from ridesim.studies.climb import DRIVING_LIMITS, FOLDBACKS, held_back
from ridesim.units import UNITS

if TYPE_CHECKING:
    from ridesim.ride.simulate import Ride
    from ridesim.studies.climb import Climb
    from ridesim.studies.climb_map import ClimbMap

Array = NDArray[np.float64]

MINUTES = (1.0, 2.0, 5.0, 10.0, 20.0, 60.0)
LEAST_MINUTES, MOST_MINUTES = 1.0, 90.0
"""Ends of the colours; shorter and longer times take the colour of the end."""
CURVES = {
    "motor_current": "motor current limit",
    "pack_current": "pack current limit",
    "voltage": "pack voltage",
    "low_voltage": "low voltage",
    "motor_power": "motor power limit",
    "grip": "grip or front lift",
}
UPRIGHTS = {"electrical_frequency": "electrical frequency limit", "assist_speed": "legal speed limit"}
WORTH_NAMING = 0.05
"""Share of the map above which an area is named in it."""
HIGHEST_NAME, NAME_SPACING, NAMED_LEFT_FROM = 0.92, 0.065, 0.6
"""Where the bounds' names go, in shares of the map: highest, distance between two, and from where to the left."""
ROUNDING_UP = 1.05
"""Demands up to this are drawn into, so that lines end on a bound and not a point before it."""
HOTTER_THAN_ALL_C, LONG_MINUTES = 1e4, 600.0
"""Stand-ins for a steady state that does not exist, and for a time without end, where lines run between points."""


def draw_climb(result: Climb, units: str = "metric") -> Figure:
    """Return altitude, temperatures and speed along the climb."""
    figure, (ground, heat, speed) = new_figure(rows=3, height_mm=175.0, heights=(0.7, 1.5, 1.0))
    a = along(result.ride, units)
    draw_ground(ground, a.x, a.values("altitude_m", "m"), units)
    _draw_heat(heat, result, a, units)
    _draw_speed(speed, result.ride, a, units)
    a.name_axis(speed)
    return figure


def _draw_heat(axes: Axes, result: Climb, a: Along, units: str) -> None:
    lines = (("winding", "winding_temp_c"), ("motor body", "body_temp_c"), ("controller", "controller_temp_c"))
    for (_, column), colour, dash in zip(lines, COLOURS, DASHES, strict=False):
        a.line(axes, a.values(column, "c"), color=colour, linestyle=dash)
    key(
        axes,
        [(words, colour, dash) for (words, _), colour, dash in zip(lines, COLOURS, DASHES, strict=False)],
        columns=3,
    )
    bounds = [(result.winding_limit_c, "winding limit"), (result.magnet_limit_c, "magnet limit")]
    if result.motor_full_current_below_c is not None:
        bounds.append((result.motor_full_current_below_c, "foldback starts"))
    bounds.sort()
    for index, (celsius, words) in enumerate(bounds):
        limit_line(axes, float(in_units(celsius, "c", units)), words, at=0.01, below=_crowded(bounds, index))
    axes.set_ylabel(axis_label("temperature", "c", units))
    top = max(result.peak_winding_temp_c, result.winding_limit_c) * 1.12
    axes.set_ylim(top=float(in_units(top, "c", units)))


def _crowded(bounds: list[tuple[float, str]], index: int) -> bool:
    """Return whether the words of a line go below it, because the next line above is too near."""
    return index + 1 < len(bounds) and bounds[index + 1][0] - bounds[index][0] < 20.0


def _draw_speed(axes: Axes, ride: Ride, a: Along, units: str) -> None:
    names = a.table["limit"].to_numpy()
    back = held_back(ride)
    for limits, colour in ((DRIVING_LIMITS, FAINT), (FOLDBACKS, LIMIT_COLOUR)):
        chosen = [limit.name.lower() for limit in limits if limits is FOLDBACKS or limit not in FOLDBACKS]
        shade(axes, a.x, back & np.isin(names, chosen), colour, alpha=0.3)
    a.line(axes, a.values("plan_speed_km_h", "km_h"), color=COLOURS[2], linestyle="--", linewidth=1.4)
    a.line(axes, a.values("speed_km_h", "km_h"), color=COLOURS[0])
    entries: list[tuple[str, str, Any]] = [("speed", COLOURS[0], "-"), ("planned", COLOURS[2], "--")]
    if (back & np.isin(names, [limit.name.lower() for limit in FOLDBACKS])).any():
        entries.append(("foldback takes current", LIMIT_COLOUR, "-"))
    if (back & (names != Limit.NONE.name.lower())).any():
        entries.append(("at a bound", FAINT, "-"))
    key(axes, entries, columns=2)
    axes.set_ylabel(axis_label("speed", "km_h", units))
    axes.set_ylim(bottom=0.0)


def draw_map(result: ClimbMap, units: str = "metric") -> Figure:
    """Return the map: colour by minutes to the winding's limit, and the boundaries of every bound."""
    figure, (axes,) = new_figure(height_mm=115.0)
    speed, grade = in_units(result.speed_km_h, "km_h", units), result.grade_percent
    axes.grid(visible=False)
    axes.set_facecolor("#ececec")
    axes.set_xlim(speed[0], speed[-1])
    axes.set_ylim(grade[0], grade[-1])
    by_winding = np.array([[cause == "winding" for cause in row] for row in result.ended_by])
    timed = np.where(by_winding, np.clip(result.minutes, LEAST_MINUTES, MOST_MINUTES), math.nan)
    colours = axes.pcolormesh(
        speed, grade, timed, cmap=MAP, norm=LogNorm(LEAST_MINUTES, MOST_MINUTES), shading="nearest", rasterized=True
    )  # fmt: skip
    _paint(axes, speed, grade, np.isinf(result.minutes), "#fbfbfb")
    _paint(axes, speed, grade, (result.minutes > 0.0) & ~np.isinf(result.minutes) & ~by_winding, "#c8c8c8")
    _draw_minutes(axes, result, speed)
    _draw_bounds(axes, result, speed)
    _name_areas(axes, result, speed)
    limit = float(in_units(result.loaded.build.motor.winding_limit_c, "c", units))
    settles = f"settles at {limit:.0f} {UNITS[shown_suffix('c', units)].symbol}"
    named = [(settles, INK, "-")]
    if _draw_foldback(axes, result, speed):
        named.append(("foldback takes speed above", INK, "--"))
    key(axes, named, columns=1)
    bar = figure.colorbar(colours, ax=axes, pad=0.02, fraction=0.05)
    bar.set_label("minutes to the winding's limit")
    bar.ax.yaxis.set_major_locator(FixedLocator(MINUTES))
    bar.ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    bar.ax.minorticks_off()
    axes.set_xlabel(axis_label("speed", "km_h", units))
    axes.set_ylabel("grade [%]")
    return figure


def _paint(axes: Axes, speed: Array, grade: Array, where: NDArray[np.bool_], colour: str) -> None:
    """Fill the points of the map where a condition holds."""
    if where.any():
        axes.pcolormesh(
            speed, grade, np.where(where, 1.0, math.nan), cmap=ListedColormap([colour]), shading="nearest",
            rasterized=True,
        )  # fmt: skip


def _draw_minutes(axes: Axes, result: ClimbMap, speed: Array) -> None:
    """Draw lines of equal time, and the edge of what is held for ever."""
    limit = result.loaded.build.motor.winding_limit_c
    possible = _worst_demand(result) <= ROUNDING_UP
    settled = np.where(possible, np.nan_to_num(result.steady_winding_c, nan=HOTTER_THAN_ALL_C), math.nan)
    if not _straddles(settled, limit):
        return
    axes.contour(speed, result.grade_percent, settled, levels=[limit], colors=[INK], linewidths=2.0)
    by_winding = np.array([[cause in ("winding", "nothing") for cause in row] for row in result.ended_by])
    minutes = np.where(by_winding, np.minimum(result.minutes, LONG_MINUTES), math.nan)
    levels = [minute for minute in MINUTES[:-1] if _straddles(minutes, minute)]
    if not levels:
        return
    lines = axes.contour(
        speed, result.grade_percent, np.log(minutes), levels=np.log(levels), colors="white", linewidths=0.9
    )  # fmt: skip
    for text in axes.clabel(lines, fmt=lambda value: f"{math.exp(value):.0f} min", inline_spacing=2):
        text.set_bbox({"facecolor": INK, "alpha": 0.6, "edgecolor": "none", "pad": 0.8})


def _straddles(values: Array, level: float) -> bool:
    """Return whether a level lies between the values, so that a line can be drawn."""
    known = values[np.isfinite(values)]
    return bool(known.size) and float(known.max()) > level > float(known.min())


def _worst_demand(result: ClimbMap) -> Array:
    return np.max(np.stack(list(result.demand.values())), axis=0)


def _crossing(demand: Array, grade: Array) -> Array:
    """Return per speed the grade at which a demand reaches 1; nan where it does not on this map."""
    found = np.full(demand.shape[1], math.nan)
    for column in range(demand.shape[1]):
        over = np.flatnonzero(demand[:, column] > 1.0)
        if over.size and over[0] > 0:
            row = over[0]
            before, after = demand[row - 1, column], min(demand[row, column], 10.0)
            share = (1.0 - before) / (after - before)
            found[column] = grade[row - 1] + share * (grade[row] - grade[row - 1])
    return found


def _draw_bounds(axes: Axes, result: ClimbMap, speed: Array) -> None:
    """Draw where each bound is met by a cold motor, and where the foldbacks take speed from a warm one."""
    curves = {words: _crossing(result.demand[name], result.grade_percent) for name, words in CURVES.items()}
    first = np.nanmin(np.stack([np.nan_to_num(curve, nan=1e9) for curve in curves.values()]), axis=0)
    heights: list[float] = []
    for index, (words, curve) in enumerate(curves.items()):
        colour = sample("plasma", 0.1 + 0.14 * index)
        if np.isfinite(curve).sum() < 2:
            continue
        leads = np.where(curve <= first * 1.001, curve, math.nan)
        axes.plot(speed, curve, color=colour, linewidth=1.1, linestyle=":")
        axes.plot(speed, leads, color=colour, linewidth=2.4)
        _name_curve(axes, speed, curve, words, colour, heights)
    for name, words in UPRIGHTS.items():
        at = _upright(result.demand[name][0], speed)
        if at is not None:
            axes.axvline(at, color=LIMIT_COLOUR, linewidth=2.0)
            tag(axes, at, float(result.grade_percent[-1]), words, LIMIT_COLOUR, offset=(-3, -4), align=("right", "top"))


def _draw_foldback(axes: Axes, result: ClimbMap, speed: Array) -> bool:
    """Draw from where the foldbacks take speed from a settled motor; return whether they do on this map."""
    possible = (_worst_demand(result) <= ROUNDING_UP) & np.isfinite(result.steady_winding_c)
    inside = np.where(possible, np.minimum(result.foldback, 10.0), math.nan)
    if not _straddles(inside, 1.0):
        return False
    axes.contour(speed, result.grade_percent, inside, levels=[1.0], colors=[INK], linewidths=1.4, linestyles="--")
    return True


def _upright(demand: Array, speed: Array) -> float | None:
    over = np.flatnonzero(demand > 1.0)
    if not over.size or over[0] == 0:
        return None
    return float(np.interp(1.0, demand[over[0] - 1 : over[0] + 1], speed[over[0] - 1 : over[0] + 1]))


def _name_curve(axes: Axes, speed: Array, curve: Array, words: str, colour: str, heights: list[float]) -> None:
    """Write a bound's name beside its line, high up, and clear of the names written at `heights`."""
    rows = np.flatnonzero(np.isfinite(curve))
    top = axes.get_ylim()[1]
    clear = [row for row in rows if all(abs(curve[row] - other) > NAME_SPACING * top for other in heights)]
    low_enough = [row for row in clear if curve[row] < HIGHEST_NAME * top] or list(rows)
    at = max(low_enough, key=lambda row: curve[row])
    heights.append(float(curve[at]))
    left = at > NAMED_LEFT_FROM * len(speed)
    tag(axes, float(speed[at]), float(curve[at]), words, colour, offset=(-5.0 if left else 5.0, 0.0),
        align=("right" if left else "left", "center"))  # fmt: skip


def _name_areas(axes: Axes, result: ClimbMap, speed: Array) -> None:
    """Write into the areas what they mean."""
    if np.isinf(result.minutes).mean() > WORTH_NAMING:
        row, column = _roomiest(np.isinf(result.minutes))
        tag(axes, float(speed[column]), float(result.grade_percent[row]), "held for ever", INK, offset=(0, 0),
            align=("center", "center"))  # fmt: skip
    if (result.minutes <= 0.0).mean() > WORTH_NAMING:
        corner = (float(speed[-1]), float(result.grade_percent[-1]))
        tag(axes, *corner, "cannot be held", INK, offset=(-4.0, -4.0), align=("right", "top"))


def _roomiest(where: NDArray[np.bool_]) -> tuple[int, int]:
    """Return the point of an area farthest from its edge, widths counted half as words are wide."""
    from scipy.ndimage import distance_transform_edt

    room = distance_transform_edt(np.pad(where, 1), sampling=(1.0, 0.5))[1:-1, 1:-1]
    row, column = np.unravel_index(int(room.argmax()), room.shape)
    return int(row), int(column)
