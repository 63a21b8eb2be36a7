"""Pictures of a belt drive: where it runs, to scale, and its pull along a ride."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle
from matplotlib.ticker import MaxNLocator

from ridesim.report import style
from ridesim.units import from_si, shown, to_si
from ridesim.workshop.belt.design import BeltDrive
from ridesim.workshop.belt.geometry import PulleySpot
from ridesim.workshop.belt.tables import belt_type

MARGIN_SHARE = 0.12
INSIDE_SHARE = 0.14
"""A pulley whose radius is this share of the picture's width has room for its name inside."""
ROOM_FOR_WORDS = 0.35
BRAKING_SHOWN = 0.3
"""Share of the allowed pull from which braking gets its bound drawn too."""


def draw_layout(result: BeltDrive, units: str = "metric") -> Figure:
    """Draw every pulley and belt of the drive to scale, one picture a loop."""
    loops = _loops(result)
    figure, rows = style.new_figure(height_mm=52.0 * len(loops) + 16.0, rows=len(loops), share_x=False)
    for axes, (name, spots, pitch) in zip(rows, loops, strict=True):
        _draw_loop(axes, tuple(_in_shown(spot, units) for spot in spots), float(style.in_units(pitch, "mm", units)))
        axes.set_title(name)
        axes.set_aspect("equal")
        axes.set_ylabel(style.axis_label("height", "mm", units))
    rows[-1].set_xlabel(style.axis_label("along the bike", "mm", units))
    return figure


Loop = tuple[str, tuple[PulleySpot, ...], float]


def _loops(result: BeltDrive) -> list[Loop]:
    found: list[Loop] = []
    if result.series_layout is not None:
        layout = result.series_layout
        name = "first belt" if result.stages else ""
        found.append((name, (layout.wheel, layout.first, layout.second), belt_type(layout.belt).pitch_mm))
    for page in result.stages:
        stage = page.stage
        spots = (
            PulleySpot("driven", stage.teeth_driven, 0.0, 0.0),
            PulleySpot("driver", stage.teeth_driver, stage.centre_mm, 0.0),
        )
        found.append((page.name, spots, belt_type(stage.belt).pitch_mm))
    return found


def _draw_loop(axes: Axes, spots: Sequence[PulleySpot], pitch_mm: float) -> None:
    """Draw one belt around its pulleys; places and pitch are in the unit that is shown."""
    turn = _turning(spots)
    for start, end in zip(spots, [*spots[1:], spots[0]], strict=True):
        (ax, ay), (bx, by) = _tangent(start, end, pitch_mm, turn)
        axes.plot([ax, bx], [ay, by], color=style.COLOURS[1], linewidth=2.4)
    for spot in spots:
        radius = spot.teeth * pitch_mm / math.tau
        axes.add_patch(Circle((spot.x_mm, spot.y_mm), radius, fill=False, edgecolor=style.COLOURS[0], linewidth=1.6))
    axes.xaxis.set_major_locator(MaxNLocator(6))
    axes.margins(MARGIN_SHARE)
    axes.autoscale_view()
    low, high = axes.get_xlim()
    wide = (1.0 + ROOM_FOR_WORDS) * (high - low)
    left = [_name(axes, spot, spot.teeth * pitch_mm / math.tau, wide, spots) for spot in spots]
    axes.set_xlim(low - (ROOM_FOR_WORDS * (high - low) if any(left) else 0.0), high + ROOM_FOR_WORDS * (high - low))


def _name(axes: Axes, spot: PulleySpot, radius: float, wide: float, spots: Sequence[PulleySpot]) -> bool:
    """Name a pulley inside it, or beside it where it is small; return whether the words stand to its left."""
    words = f"{spot.name}\n{spot.teeth} teeth"
    if radius > INSIDE_SHARE * wide:
        style.tag(axes, spot.x_mm, spot.y_mm, words, style.INK, offset=(0.0, 0.0), align=("center", "center"))
        return False
    axes.plot(spot.x_mm, spot.y_mm, "+", color=style.FAINT, markersize=9.0)
    leftmost = spot.x_mm == min(each.x_mm for each in spots)
    side = -1.0 if leftmost else 1.0
    align = ("right" if leftmost else "left", "center")
    style.tag(axes, spot.x_mm + side * radius, spot.y_mm, words, style.INK, offset=(6.0 * side, 0.0), align=align)
    return leftmost


def _turning(spots: Sequence[PulleySpot]) -> float:
    """1 for a loop listed counter-clockwise, -1 for clockwise (two pulleys count as either)."""
    following = [*spots[1:], spots[0]]
    area = sum(a.x_mm * b.y_mm - b.x_mm * a.y_mm for a, b in zip(spots, following, strict=True))
    return -1.0 if area < 0.0 else 1.0


def _tangent(
    start: PulleySpot, end: PulleySpot, pitch_mm: float, turn: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Ends of the outer tangent from one pulley to the next, on the loop's outside."""
    across, up = end.x_mm - start.x_mm, end.y_mm - start.y_mm
    centre = math.hypot(across, up)
    first, second = start.teeth * pitch_mm / math.tau, end.teeth * pitch_mm / math.tau
    lean = math.asin(max(-1.0, min(1.0, (first - second) / centre)))
    angle = math.atan2(up, across) - turn * (math.pi / 2.0 - lean)
    way = (math.cos(angle), math.sin(angle))
    return (
        (start.x_mm + first * way[0], start.y_mm + first * way[1]),
        (end.x_mm + second * way[0], end.y_mm + second * way[1]),
    )


def _in_shown(spot: PulleySpot, units: str) -> PulleySpot:
    """The spot with its place in the unit that is shown, so that the ticks fall on whole ones."""
    x, y = (float(style.in_units(each, "mm", units)) for each in (spot.x_mm, spot.y_mm))
    return PulleySpot(spot.name, spot.teeth, x, y)


def draw_pull(result: BeltDrive, units: str = "metric") -> Figure:
    """Draw each belt's pull over the time of the ride [min] with its allowed pull; negative when braking."""
    pages = [page for page in result.stages if page.load.time_s is not None]
    figure, rows = style.new_figure(rows=len(pages))
    for axes, page in zip(rows, pages, strict=True):
        time, torque = page.load.time_s, page.load.torque_along_nm
        if time is None or torque is None:
            continue
        radius_m = to_si(page.check.geometry.pitch_diameter_driver_mm, "mm") / 2.0
        pull = style.in_units(np.asarray(torque) / radius_m, "n", units)
        axes.plot(from_si(np.asarray(time), "min"), pull, color=style.COLOURS[0], linestyle=style.DASHES[0])
        allowed = float(style.in_units(page.check.capacity.allowed_pull_n, "n", units))
        style.limit_line(axes, allowed, f"allowed {shown(page.check.capacity.allowed_pull_n, 'n', units, 0)}", at=0.99)
        if pull.min() < -BRAKING_SHOWN * allowed:
            style.limit_line(axes, -allowed, "allowed, braking", at=0.99, below=True)
        least = -allowed if pull.min() < -BRAKING_SHOWN * allowed else float(pull.min())
        axes.set_ylim(min(least, 0.0) - 0.08 * allowed, max(float(pull.max()), allowed) * 1.2)
        axes.set_ylabel(style.axis_label("pull", "n", units))
        axes.set_title(page.name)
    rows[-1].set_xlabel(style.quantity_label("time_s", suffix="min"))
    return figure
