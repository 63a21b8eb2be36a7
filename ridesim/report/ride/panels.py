"""Panels that pictures of a ride share: a current with its bounds, temperatures with what each may reach."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from matplotlib.axes import Axes

from ridesim.engine.estimates import estimate
from ridesim.report import style
from ridesim.report.along import Along
from ridesim.report.text import shown

if TYPE_CHECKING:
    from ridesim.ride.simulate import Ride

LANE_MM = 10.5
PANEL_MM = 46.0
AXIS_MM = 14.0

Bounds = tuple[float, float | None]
"""Most current out, and most current back; None: none goes back."""


def bounds_of(ride: Ride) -> tuple[Bounds, Bounds]:
    """Return the bounds of a motor's current and of the pack's [A], which two alike motors draw on together."""
    box, found = ride.build.controller, estimate(ride.build)
    driven = ride.build.drive.coupling == "freewheel"
    braking = None if driven or not ride.options.regen else box.brake_current_limit_a
    charging = None if driven or not ride.options.regen else found.charge_current_limit_a
    together = ride.build.drive.motors * box.pack_current_limit_a
    return (box.motor_current_limit_a, braking), (together, charging)


def current_reading(ride: Ride) -> str:
    """Return how the controller reads its motor current, in short."""
    return "phase amplitude" if ride.build.controller.commutation == "sine" else "DC-equivalent"


def current_panel(a: Along, panel: Axes, name: str, words: str, colour: str) -> None:
    """Draw a current, the extremes of every interval behind it; `name` is that of its columns."""
    a.band(panel, a.values(f"{name}_current_low_a"), a.values(f"{name}_current_high_a"), color=colour, alpha=0.3)
    a.line(panel, a.values(f"{name}_current_a"), color=colour, linewidth=1.4)
    panel.axhline(0.0, color=style.FAINT, linewidth=0.8)
    style.head(panel, words)
    panel.set_ylabel(style.axis_label("", "a").strip())


def current_bounds(axes: Axes, upper: float, lower: float | None) -> None:
    """Mark the bounds of a current, with room for their words."""
    low, high = axes.get_ylim()
    style.limit_line(axes, upper, f"limit {upper:.0f} A", at=0.99)
    if lower:
        style.limit_line(axes, -lower, f"limit {lower:.0f} A", at=0.99, below=True)
    room = 0.24 * (max(high, upper) - min(low, -(lower or 0.0)))
    axes.set_ylim(min(low, -lower - room) if lower else min(low, 0.0), max(high, upper + room))


def heat_lines(a: Along, axes: Axes, summary: Mapping[str, Any], nodes: tuple[str, ...], whose: str = "") -> None:
    """Draw temperatures; a peak is named as the ride found it, which a row of the trace may miss by a little."""
    entries = []
    for row, node in enumerate(nodes):
        colour, dash = style.COLOURS[row], ("-", "-.")[row]
        values = a.values(f"{node}_temp_c", "c")
        a.line(axes, values, color=colour, linestyle=dash)
        a.peak(axes, values, shown(summary[f"peak_{node}_temp_c"], "c", a.units, 0), colour, below=row > 0)
        entries.append((f"{whose}{node}", colour, dash))
    style.key(axes, entries)
    axes.set_ylabel(style.axis_label("temperature", "c", a.units))


def heat_bound(axes: Axes, limit_c: float, words: str, units: str) -> None:
    """Mark what a part may reach."""
    value = float(style.in_units(limit_c, "c", units))
    low, high = axes.get_ylim()
    style.limit_line(axes, value, f"{words} {shown(limit_c, 'c', units, 0)}", at=0.01)
    axes.set_ylim(low, max(high, value + 0.14 * (value - low)))
