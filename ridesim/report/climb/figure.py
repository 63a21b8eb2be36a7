"""Pictures of "does it cook on the climb?": heat along a climb, and the map of grade and speed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import ListedColormap, LogNorm
from matplotlib.figure import Figure
from matplotlib.patheffects import Normal, Stroke
from matplotlib.ticker import FixedLocator, FuncFormatter
from numpy.typing import NDArray

from ridesim.engine.codes import Limit
from ridesim.report import style
from ridesim.report.along import Along, along, draw_ground
from ridesim.ride.bounds import BOUNDS, BY_NAME
from ridesim.studies.climb import DRIVING_LIMITS, FOLDBACKS, held_back
from ridesim.studies.climb_map import crossing
from ridesim.studies.demand import HEAT

if TYPE_CHECKING:
    from ridesim.ride.simulate import Ride
    from ridesim.studies.climb import Climb
    from ridesim.studies.climb_map import ClimbMap

Array = NDArray[np.float64]

MINUTES = (1.0, 2.0, 5.0, 10.0, 20.0, 60.0)
LEAST_MINUTES, MOST_MINUTES = 1.0, 90.0
"""Ends of the colours; shorter and longer times take the colour of the end."""
CURVES = {
    name: BY_NAME[name].short
    for name in ("motor_current", "pack_current", "cell_rating", "modulation", "low_voltage", "motor_power", "grip")
}
HEAT_DASHES = {
    "winding": "-",
    "magnets": (0, (6, 2)),
    "motor_temperature": (0, (3, 1.5)),
    "controller_temperature": (0, (4, 1.5, 1, 1.5)),
    "cells": (0, (1, 1.2)),
}
HEAT_CURVES = {name: (BY_NAME[name].short, dash) for name, dash in HEAT_DASHES.items()}
"""What heat meets in the end, each with its line: held for ever below all of them."""
UPRIGHTS = {name: BY_NAME[name].short for name in ("electrical_frequency", "assist_speed")}
WORTH_NAMING = 0.05
"""Share of the map above which an area is named in it."""
BEYOND = 1.02
"""A bound of heat is drawn up to this share beyond what a cold bike holds, so that its line ends on that bound."""
FIRST_NAME, NAME_EVERY = 0.1, 0.14
"""Where lines of equal time are named, in shares of the map's width."""
LONG_MINUTES = 600.0
"""Stand-in for a time without end, where lines run between points."""


def draw_climb(result: Climb, units: str = "metric") -> Figure:
    """Return altitude, temperatures and speed along the climb."""
    figure, (ground, heat, speed) = style.new_figure(rows=3, height_mm=175.0, heights=(0.7, 1.5, 1.0))
    a = along(result.hot, units)
    draw_ground(ground, a.x, a.values("altitude_m", "m"), units)
    _draw_heat(heat, result, a, units)
    _draw_speed(speed, result.hot, a, units)
    a.name_axis(speed)
    return figure


def _draw_heat(axes: Axes, result: Climb, a: Along, units: str) -> None:
    lines = (("winding", "winding_temp_c"), ("motor body", "body_temp_c"), ("controller", "controller_temp_c"))
    for (_, column), colour, dash in zip(lines, style.COLOURS, style.DASHES, strict=False):
        a.line(axes, a.values(column, "c"), color=colour, linestyle=dash)
    style.key(
        axes,
        [(words, colour, dash) for (words, _), colour, dash in zip(lines, style.COLOURS, style.DASHES, strict=False)],
        columns=3,
    )
    bounds = [(result.winding_limit_c, "winding limit"), (result.magnet_limit_c, "magnet limit")]
    if result.motor_full_current_below_c is not None:
        bounds.append((result.motor_full_current_below_c, "foldback starts"))
    bounds.sort()
    for index, (celsius, words) in enumerate(bounds):
        style.limit_line(
            axes, float(style.in_units(celsius, "c", units)), words, at=0.01, below=_crowded(bounds, index)
        )
    words = f"{result.drive}, temperature" if result.drive else "temperature"
    axes.set_ylabel(style.axis_label(words, "c", units))
    top = max(result.peak_winding_temp_c, result.winding_limit_c) * 1.12
    axes.set_ylim(top=float(style.in_units(top, "c", units)))


def _crowded(bounds: list[tuple[float, str]], index: int) -> bool:
    """Return whether the words of a line go below it, because the next line above is too near."""
    return index + 1 < len(bounds) and bounds[index + 1][0] - bounds[index][0] < 20.0


def _draw_speed(axes: Axes, ride: Ride, a: Along, units: str) -> None:
    names = a.table["limit"].to_numpy()
    back = held_back(ride)
    others = [BOUNDS[limit].name for limit in DRIVING_LIMITS if BOUNDS[limit].name not in FOLDBACKS]
    for chosen, colour in ((others, style.FAINT), (FOLDBACKS, style.LIMIT_COLOUR)):
        style.shade(axes, a.x, back & np.isin(names, chosen), colour, alpha=0.3)
    a.line(axes, a.values("plan_speed_km_h", "km_h"), color=style.COLOURS[2], linestyle="--", linewidth=1.4)
    a.line(axes, a.values("speed_km_h", "km_h"), color=style.COLOURS[0])
    entries: list[tuple[str, str, Any]] = [("speed", style.COLOURS[0], "-"), ("planned", style.COLOURS[2], "--")]
    if (back & np.isin(names, FOLDBACKS)).any():
        entries.append(("foldback takes current", style.LIMIT_COLOUR, "-"))
    if (back & (names != BOUNDS[Limit.NONE].name)).any():
        entries.append(("at a bound", style.FAINT, "-"))
    style.key(axes, entries)
    axes.set_ylabel(style.quantity_label("speed_km_h", units))
    axes.set_ylim(bottom=0.0)


def draw_map(result: ClimbMap, units: str = "metric") -> Figure:
    """Return the map: colour by minutes until heat ends it, and the boundary of every bound with its name."""
    figure, (axes,) = style.new_figure(height_mm=125.0)
    speed, grade = style.in_units(result.speed_km_h, "km_h", units), result.grade_percent
    axes.grid(visible=False)
    axes.set_facecolor("#ececec")
    axes.set_xlim(speed[0], speed[-1])
    axes.set_ylim(grade[0], grade[-1])
    by_heat = np.array([[cause in HEAT for cause in row] for row in result.ended_by])
    timed = np.where(by_heat, np.clip(result.minutes, LEAST_MINUTES, MOST_MINUTES), math.nan)
    scale = LogNorm(LEAST_MINUTES, MOST_MINUTES)
    colours = axes.pcolormesh(speed, grade, timed, cmap=style.MAP, norm=scale, shading="nearest", rasterized=True)
    _paint(axes, speed, grade, np.isinf(result.minutes), "#fbfbfb")
    _paint(axes, speed, grade, (result.minutes > 0.0) & ~np.isinf(result.minutes) & ~by_heat, "#c8c8c8")
    _draw_minutes(axes, result, speed, by_heat)
    entries = [
        *_draw_bounds(axes, result, speed),
        *_draw_uprights(axes, result, speed),
        *_draw_heat_bounds(axes, result, speed),
    ]
    _name_areas(axes, result, speed)
    if entries:
        style.key(axes, entries)
    bar = figure.colorbar(colours, ax=axes, pad=0.02, fraction=0.05)
    bar.set_label("minutes until heat ends it")
    bar.ax.yaxis.set_major_locator(FixedLocator(MINUTES))
    bar.ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    bar.ax.minorticks_off()
    axes.set_xlabel(style.quantity_label("speed_km_h", units))
    axes.set_ylabel(style.quantity_label("grade_percent"))
    return figure


def _paint(axes: Axes, speed: Array, grade: Array, where: NDArray[np.bool_], colour: str) -> None:
    """Fill the points of the map where a condition holds."""
    if where.any():
        axes.pcolormesh(
            speed, grade, np.where(where, 1.0, math.nan), cmap=ListedColormap([colour]), shading="nearest",
            rasterized=True,
        )  # fmt: skip


def _draw_minutes(axes: Axes, result: ClimbMap, speed: Array, by_heat: NDArray[np.bool_]) -> None:
    """Draw lines of equal time, their names one beside the other."""
    timed = by_heat | np.isinf(result.minutes)
    minutes = np.where(timed, np.minimum(result.minutes, LONG_MINUTES), math.nan)
    for index, level in enumerate(minute for minute in MINUTES[:-1] if _straddles(minutes, minute)):
        lines = axes.contour(
            speed, result.grade_percent, np.log(minutes), levels=[math.log(level)], colors="white", linewidths=0.9
        )  # fmt: skip
        column = round((FIRST_NAME + NAME_EVERY * index) * len(speed))
        at = crossing(level / minutes, result.grade_percent)
        if column < len(speed) and np.isfinite(at[column]):
            place = [(float(speed[column]), float(at[column]))]
            for text in axes.clabel(lines, fmt=f"{level:g} min", inline_spacing=2, manual=place):
                text.set_bbox({"facecolor": style.INK, "alpha": 0.6, "edgecolor": "none", "pad": 0.8})


def _straddles(values: Array, level: float) -> bool:
    """Return whether a level lies between the values, so that a line can be drawn."""
    known = values[np.isfinite(values)]
    return bool(known.size) and float(known.max()) > level > float(known.min())


Entry = tuple[str, str, Any]


def _draw_bounds(axes: Axes, result: ClimbMap, speed: Array) -> list[Entry]:
    """Draw where a cold bike meets each bound that is anywhere the first; return their names for the key."""
    curves, entries = {name: result.met_at_percent[name] for name in CURVES}, []
    first = _lowest(curves)
    for index, (name, curve) in enumerate(curves.items()):
        leads = np.where(curve <= first * 1.001, curve, math.nan)
        if np.isfinite(leads).sum() < 2:
            continue
        colour = style.sample("plasma", 0.1 + 0.12 * index)
        axes.plot(speed, leads, color=colour, linewidth=2.6)
        entries.append((CURVES[name], colour, "-"))
    return entries


def _draw_heat_bounds(axes: Axes, result: ClimbMap, speed: Array) -> list[Entry]:
    """Draw where the settled bike meets each bound of heat, as far as a cold one can hold the load at all."""
    cold, entries = _lowest({name: result.met_at_percent[name] for name in CURVES}), []
    for name, (words, dash) in HEAT_CURVES.items():
        curve = result.met_at_percent[name]
        curve = np.where(curve <= BEYOND * cold, curve, math.nan)
        if np.isfinite(curve).sum() < 2:
            continue
        (line,) = axes.plot(speed, curve, color=style.INK, linewidth=1.5, linestyle=dash)
        line.set_path_effects([Stroke(linewidth=3.0, foreground="white", alpha=0.7), Normal()])
        entries.append((words, style.INK, dash))
    return entries


def _lowest(curves: dict[str, Array]) -> Array:
    """Return per speed the grade of the bound met first; large where none is met."""
    return np.min(np.stack([np.nan_to_num(curve, nan=1e9) for curve in curves.values()]), axis=0)


def _draw_uprights(axes: Axes, result: ClimbMap, speed: Array) -> list[Entry]:
    """Draw the speeds past which the bike is not driven on any grade; return their names for the key."""
    entries: list[Entry] = []
    for name, words in UPRIGHTS.items():
        at = _upright(result.demand[name][0], speed)
        if at is not None:
            axes.axvline(at, color=style.LIMIT_COLOUR, linewidth=2.0)
            entries.append((words, style.LIMIT_COLOUR, "-"))
    return entries


def _upright(demand: Array, speed: Array) -> float | None:
    over = np.flatnonzero(demand > 1.0)
    if not over.size or over[0] == 0:
        return None
    return float(np.interp(1.0, demand[over[0] - 1 : over[0] + 1], speed[over[0] - 1 : over[0] + 1]))


def _name_areas(axes: Axes, result: ClimbMap, speed: Array) -> None:
    """Write into the areas what they mean."""
    for where, words in ((np.isinf(result.minutes), "held for ever"), (result.minutes <= 0.0, "cannot be held")):
        if where.mean() > WORTH_NAMING:
            row, column = _roomiest(where)
            x, y = float(speed[column]), float(result.grade_percent[row])
            style.tag(axes, x, y, words, style.INK, offset=(0, 0), align=("center", "center"))


def _roomiest(where: NDArray[np.bool_]) -> tuple[int, int]:
    """Return the point of an area farthest from its edge, widths counted half as words are wide."""
    from scipy.ndimage import distance_transform_edt

    room = distance_transform_edt(np.pad(where, 1), sampling=(1.0, 0.5))[1:-1, 1:-1]
    row, column = np.unravel_index(int(room.argmax()), room.shape)
    return int(row), int(column)
