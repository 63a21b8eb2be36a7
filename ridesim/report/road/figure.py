"""A road before anyone rides it: altitude as recorded and as smoothed, grade, bends, stops, surfaces and limits."""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ridesim.report import style
from ridesim.report.along import bucketed, draw_ground, thinned
from ridesim.report.text import shown
from ridesim.road.account import bends, road_account, speed_limits, surface_stretches
from ridesim.road.profile import SURFACES, Road
from ridesim.units import from_si

PANEL_MM, LANE_MM, AXIS_MM = 46.0, 10.5, 14.0
LANE_CHARACTERS = 44


def draw_road(road: Road, units: str = "metric") -> Figure:
    """Return altitude and grade along a road, with a lane each for what it has of bends, stops, limits, surfaces."""
    lanes = _lanes(road, units)
    rows = 3 if lanes else 2
    heights = [PANEL_MM, PANEL_MM, LANE_MM * len(lanes)][:rows]
    figure, axes = style.new_figure(rows=rows, heights=heights, height_mm=sum(heights) + AXIS_MM)
    x = style.in_units(from_si(road.distance_m, "km"), "km", units)
    _draw_altitude(axes[0], road, x, units)
    _draw_grade(axes[1], road, x, units)
    if lanes:
        _draw_lanes(axes[2], lanes)
    axes[-1].set_xlim(0.0, float(x[-1]))
    axes[-1].set_xlabel(style.quantity_label("distance_km", units))
    return figure


def _draw_altitude(axes: Axes, road: Road, x: np.ndarray, units: str) -> None:
    draw_ground(axes, x, style.in_units(road.altitude_m, "m", units), units)
    if road.recorded_altitude_m is None or road.cleaning is None:
        return
    for one in road.mendings:
        if one.not_recorded:
            ends = style.in_units(from_si(np.array([one.from_m, one.to_m]), "km"), "km", units)
            axes.axvspan(*ends.tolist(), color=style.LIMIT_COLOUR, alpha=0.18, linewidth=0.6)
    axes.plot(*thinned(x, style.in_units(road.recorded_altitude_m, "m", units)), color=style.COLOURS[0], linewidth=0.8)
    raw, smooth = (shown(climb, "m", units, 0) for climb in (road.cleaning.climb_raw_m, road.climb_m))
    style.key(
        axes, [(f"recorded, climb {raw}", style.COLOURS[0], "-"), (f"smoothed, climb {smooth}", style.FAINT, "-")]
    )


def _draw_grade(axes: Axes, road: Road, x: np.ndarray, units: str) -> None:
    grade = from_si(road.grade, "percent")
    axes.fill_between(
        *bucketed(x, np.minimum(grade, 0.0), np.maximum(grade, 0.0)), color=style.COLOURS[1], alpha=0.5, lw=0
    )
    axes.axhline(0.0, color=style.FAINT, linewidth=0.8)
    axes.set_ylabel(style.quantity_label("grade_percent"))
    account = road_account(road)
    ways = (f"{account[f'steepest_{way}_percent']:.1f} % {way}" for way in ("up", "down"))
    told = ", ".join(words for words in ways if not words.startswith("0.0"))
    if told:
        style.head(axes, f"steepest {shown(account['steepest_over_m'], 'm', units, 0)}: {told}")


MENDED = {
    "gap": "gaps", "frozen_fix": "frozen", "far_points": "far points", "position_jump": "jumps",
    "copied": "copies", "earlier_part": "clock", "out_of_order": "clock", "time_wrong": "clock",
    "ticks": "clock", "clock_set_back": "clock", "pace": "pace", "zigzag": "zigzag", "steps": "steps",
    "altitude_impossible": "altitude", "altitude_missing": "altitude", "altitude_spike": "spikes",
    "altitude_unsettled": "altitude", "left_out": "pause",
}  # fmt: skip
"""A word for each kind of mending, for the lane under the road."""

Bar = tuple[float, float, str, str]
"""Start, end (shown units), colour and words of a stretch."""


def _lanes(road: Road, units: str) -> list[tuple[str, list[Bar]]]:
    def km(value: float) -> float:
        """Return kilometres in the unit that is shown."""
        return float(style.in_units(value, "km", units))

    def bar(row: dict[str, Any], colour: str, words: str) -> Bar:
        """Return a stretch of the road as a bar."""
        return km(row["from_km"]), km(row["to_km"]), colour, words

    least = 0.004 * km(from_si(road.length_m, "km"))
    turns = [(km(row["at_km"]), km(row["at_km"]) + least, style.INK, "") for row in bends(road)]
    stops = [
        (km(at), km(at) + least, style.LIMIT_COLOUR, "")
        for at in (from_si(stop.distance_m, "km") for stop in road.stops)
    ]
    limits = [
        bar(row, style.COLOURS[3], f"{style.in_units(row['speed_km_h'], 'km_h', units):.0f}")
        for row in speed_limits(road)
    ]
    surfaces = [
        bar(row, _surface_colour(row["kind"]), row["kind"].replace("_", " "))
        for row in surface_stretches(road)
        if row["kind"] != "asphalt"
    ]
    mended = [
        (km(start), max(km(end), km(start) + least), style.LIMIT_COLOUR, word)
        for start, end, word in (
            (from_si(m.from_m, "km"), from_si(m.to_m, "km"), MENDED[m.kind]) for m in road.mendings
        )
    ]
    unit = style.axis_label("speed limits", "km_h", units)
    lanes = [("mended", mended), ("bends", turns), ("stops", stops), (unit, limits), ("surface", surfaces)]
    return [(f"{len(bars)} {name}" if name in ("bends", "stops") else name, bars) for name, bars in lanes if bars]


def _surface_colour(kind: str) -> str:
    """Return a colour that darkens with how hard a surface rolls."""
    hardest = max(SURFACES.values())
    return style.sample("cividis", 0.85 - 0.75 * (SURFACES[kind] - 1.0) / (hardest - 1.0))


def _draw_lanes(axes: Axes, lanes: list[tuple[str, list[Bar]]]) -> None:
    for row, (name, bars) in enumerate(lanes):
        axes.broken_barh(
            [(start, end - start) for start, end, _, _ in bars], (row + 0.62, 0.3), color=[bar[2] for bar in bars], lw=0
        )
        words = ", ".join(dict.fromkeys(bar[3] for bar in bars if bar[3]))
        told = textwrap.shorten(f"{name}: {words}" if words else name, LANE_CHARACTERS, placeholder=" …")
        style.tag(axes, 0.0, row + 0.56, told, style.INK, offset=(2, 0), align=("left", "bottom"))
    axes.set_ylim(len(lanes), 0.0)
    axes.set_yticks([])
    axes.grid(visible=False, axis="y")
    axes.spines["left"].set_visible(False)
