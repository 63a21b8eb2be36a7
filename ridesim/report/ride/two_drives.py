"""Pictures of a bike of two different drives: a panel for each, and one for what they share."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from matplotlib.figure import Figure

from ridesim.report import style
from ridesim.report.along import along, draw_lanes, held_by, shade_held
from ridesim.report.ride.panels import (
    AXIS_MM,
    LANE_MM,
    PANEL_MM,
    bounds_of,
    current_bounds,
    current_panel,
    current_reading,
    heat_bound,
    heat_lines,
)
from ridesim.report.text import shown
from ridesim.ride.drives import FIRST, SECOND, each_drive

if TYPE_CHECKING:
    from ridesim.ride.simulate import Ride


def draw_both_currents(ride: Ride, units: str) -> Figure:
    """Return each motor's current with its limits, what held it, and the pack's current of both."""
    a, drives = along(ride, units), each_drive(ride)
    lines = [along(drive, units) for drive in drives]
    held = [held_by(drive, line) for drive, line in zip(drives, lines, strict=True)]
    lanes = [replace(each, words=f"{name}: {each.words}") for name, mine in zip((FIRST, SECOND), held, strict=True)
             for each in mine]  # fmt: skip
    heights = [PANEL_MM, PANEL_MM, PANEL_MM, *([LANE_MM * len(lanes)] if lanes else [])]
    figure, axes = style.new_figure(rows=len(heights), heights=heights, height_mm=sum(heights) + AXIS_MM)
    for row, (name, drive) in enumerate(zip((FIRST, SECOND), drives, strict=True)):
        shade_held(axes[row], held[row])
        words = f"{name}, motor current, {current_reading(drive)}"
        current_panel(lines[row], axes[row], "motor", words, style.COLOURS[(0, 2)[row]])
        if ride.options.limits:
            current_bounds(axes[row], *bounds_of(drive)[0])
    current_panel(a, axes[2], "pack", "pack current, both drives", style.COLOURS[1])
    if ride.options.limits:
        (out, back), (more_out, more_back) = (bounds_of(drive)[1] for drive in drives)
        current_bounds(axes[2], out + more_out, ((back or 0.0) + (more_back or 0.0)) or None)
    a.name_axis(axes[-1])
    if lanes:
        draw_lanes(axes[3], lanes)
        style.head(axes[3], "held by")
    return figure


def draw_both_temperatures(ride: Ride, units: str) -> Figure:
    """Return winding and body of each motor, both controllers and the pack, with what each may reach."""
    drives = each_drive(ride)
    figure, axes = style.new_figure(rows=3, height_mm=3.5 * PANEL_MM)
    for name, drive, panel in zip(("1st", "2nd"), drives, axes[:2], strict=True):
        a, motor = along(drive, units), drive.build.motor
        heat_lines(a, panel, drive.figures.plain(), ("winding", "body"), f"{name} ")
        heat_bound(panel, motor.winding_limit_c, f"winding, class {motor.insulation_class}", units)
        heat_bound(panel, motor.magnet_limit_c, f"magnets, grade {motor.magnet_grade}", units)
    other, entries = axes[2], []
    rows = [(f"{name} controller", drive, "controller") for name, drive in zip(("1st", "2nd"), drives, strict=True)]
    for row, (words, each, node) in enumerate([*rows, ("pack", ride, "pack")]):
        a, look = along(each, units), (style.COLOURS[row], ("-", "--", "-.")[row])
        values = a.values(f"{node}_temp_c", "c")
        a.line(other, values, color=look[0], linestyle=look[1])
        peak = shown(getattr(each.figures, f"peak_{node}_temp_c"), "c", units, 0)
        a.peak(other, values, peak, look[0], below=row > 1)
        entries.append((words, *look))
    style.key(other, entries, columns=3)
    other.set_ylabel(style.axis_label("temperature", "c", units))
    heat_bound(other, ride.build.pack.temperature_limit_c, "pack", units)
    for panel in axes:  # room for words below the lowest line
        low, high = panel.get_ylim()
        panel.set_ylim(low - 0.14 * (high - low), high)
    along(ride, units).name_axis(other)
    return figure
