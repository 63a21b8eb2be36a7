"""Pictures of a ride, by name: each is a function of the ride that returns a matplotlib figure."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ridesim.engine.estimates import estimate
from ridesim.errors import RideError
from ridesim.report import style
from ridesim.report.along import Along, along, draw_ground, draw_lanes, held_by, mark_pushed, shade_held
from ridesim.report.ride.energy import draw_energy
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
from ridesim.report.ride.two_drives import draw_both_currents, draw_both_temperatures
from ridesim.report.ride.way import draw_way
from ridesim.report.text import shown
from ridesim.ride.quantities import QUANTITIES
from ridesim.units import from_si

if TYPE_CHECKING:
    from ridesim.ride.simulate import Ride

PICTURES: dict[str, str] = {
    "road": "altitude and grade along the road",
    "speed": "speed and planned speed over the altitude, and the gear where there are gears",
    "currents": "motor and pack current with their limits, shaded where a limit held",
    "temperatures": "winding, motor body, controller and pack, with what each may reach",
    "charge": "charge left and pack voltage under load",
    "energy": "where the energy came from and where it went",
    "way": "the way seen from above, coloured by winding temperature",
}
"""Names of the pictures of a ride, and what each shows."""

LEAST_GRADE = 0.6
"""A grade axis reaches at least this far up and down [%]."""
LOW_CHARGE = 0.25
"""Below this share of charge there is no room for words under the line."""


def draw(ride: Ride, picture: str = "road", units: str = "metric") -> Figure:
    """Return a picture of a ride; `units` is "metric" or "imperial". Raises RideError for a name not in PICTURES."""
    if picture not in PICTURES:
        raise RideError("picture", f"there is no picture {picture!r}", f"choose one of {', '.join(PICTURES)}")
    if len(ride.trace) < 2:
        raise RideError("picture", "the ride was not recorded", "simulate it with trace=True")
    both = _OF_TWO_DRIVES.get(picture)
    if both is not None and ride.raw.second is not None:
        return both(ride, units)
    return _DRAWERS[picture](ride, units)


def draw_road_ridden(ride: Ride, units: str) -> Figure:
    """Return altitude and grade along what was ridden."""
    a = along(ride, units)
    figure, (upper, lower) = style.new_figure(rows=2, height_mm=2 * PANEL_MM)
    draw_ground(upper, a.x, a.values("altitude_m", "m"), units)
    grade = a.values("grade_percent")
    a.band(lower, np.minimum(grade, 0.0), np.maximum(grade, 0.0), color=style.COLOURS[1], alpha=0.5)
    a.line(lower, grade, color=style.COLOURS[1], linewidth=1.0)
    lower.axhline(0.0, color=style.FAINT, linewidth=0.8)
    low, high = lower.get_ylim()
    lower.set_ylim(min(low, -LEAST_GRADE), max(high, LEAST_GRADE))
    if grade.max() > 0.0:
        a.peak(lower, grade, f"{grade.max():.0f} %")
    lower.set_ylabel(style.quantity_label("grade_percent"))
    a.name_axis(lower)
    mark_pushed(ride, (upper, lower), a)
    _mark_stop(ride, upper, a)
    return figure


def draw_speed(ride: Ride, units: str) -> Figure:
    """Return speed and planned speed over the altitude."""
    a = along(ride, units)
    geared = len(ride.build.drive.gears.ratios) > 1
    heights = (1.0, 1.7, 0.9) if geared else (1.0, 1.7)
    figure, (upper, lower, *rest) = style.new_figure(
        rows=len(heights), heights=heights, height_mm=(3.0 if geared else 2.2) * PANEL_MM
    )
    draw_ground(upper, a.x, a.values("altitude_m", "m"), units)
    plan, speed = a.values("plan_speed_km_h", "km_h"), a.values("speed_km_h", "km_h")
    a.line(lower, plan, color=style.FAINT, linestyle="--", linewidth=1.4)
    a.line(lower, speed, color=style.COLOURS[0])
    lower.set_ylim(bottom=0.0)
    lower.set_ylabel(style.quantity_label("speed_km_h", units))
    style.key(lower, [("ridden", style.COLOURS[0], "-"), ("planned", style.FAINT, "--")])
    for each in rest:
        _draw_gear(ride, each, a)
    a.name_axis(rest[0] if rest else lower)
    mark_pushed(ride, (upper, lower, *rest), a)
    _mark_stop(ride, upper, a)
    return figure


def _draw_gear(ride: Ride, axes: Axes, a: Along) -> None:
    """Draw the gear that is in; a shift is a gap."""
    gear = a.values("gear")
    axes.plot(a.x, np.where(gear > 0.0, gear, np.nan), color=style.COLOURS[2], linewidth=1.4, drawstyle="steps-post")
    count = len(ride.build.drive.gears.ratios)
    axes.set_ylim(0.5, count + 0.5)
    axes.set_yticks(range(1, count + 1, 1 if count < 6 else 2))
    axes.set_ylabel(QUANTITIES["gear"].label)


def _mark_stop(ride: Ride, axes: Axes, a: Along) -> None:
    """Mark where a ride ended that did not arrive."""
    if ride.finished:
        return
    altitude = float(a.values("altitude_m", "m")[-1])
    axes.plot([a.x[-1]], [altitude], marker="X", markersize=9, color=style.LIMIT_COLOUR, clip_on=False, zorder=6)
    style.tag(axes, float(a.x[-1]), altitude, f"stopped at {shown(ride.summary['distance_km'], 'km', a.units)}",
        style.LIMIT_COLOUR, offset=(-6, 6), align=("right", "bottom"))  # fmt: skip


def draw_currents(ride: Ride, units: str) -> Figure:
    """Return motor and pack current with their limits, the extremes of every interval, and what held the motor."""
    a = along(ride, units)
    held = held_by(ride, a)
    rows = 3 if held else 2
    heights = [PANEL_MM, PANEL_MM, LANE_MM * len(held)][:rows]
    figure, axes = style.new_figure(rows=rows, heights=heights, height_mm=sum(heights) + AXIS_MM)
    bounds = bounds_of(ride)
    motor = f"motor current, {current_reading(ride)}"
    for row, (name, words) in enumerate((("motor", motor), ("pack", "pack current"))):
        panel = axes[row]
        shade_held(panel, held)
        current_panel(a, panel, name, words, style.COLOURS[row])
        if ride.options.limits:
            current_bounds(panel, *bounds[row])
    a.name_axis(axes[-1])
    if held:
        draw_lanes(axes[2], held)
        style.head(axes[2], "held by")
    return figure


def draw_temperatures(ride: Ride, units: str) -> Figure:
    """Return the four temperatures and what each may reach."""
    a, build = along(ride, units), ride.build
    figure, (motor, other) = style.new_figure(rows=2, height_mm=2.5 * PANEL_MM)
    heat_lines(a, motor, ride.summary, ("winding", "body"))
    heat_lines(a, other, ride.summary, ("controller", "pack"))
    insulation, grade = build.motor.insulation_class, build.motor.magnet_grade
    heat_bound(motor, build.motor.winding_limit_c, f"winding, class {insulation}", units)
    heat_bound(motor, build.motor.magnet_limit_c, f"magnets, grade {grade}", units)
    if ride.options.limits:
        heat_bound(other, build.controller.controller_full_current_below_c, "controller folds back from", units)
    heat_bound(other, build.pack.temperature_limit_c, "pack", units)
    for axes in (motor, other):  # room for words below the lowest line
        low, high = axes.get_ylim()
        axes.set_ylim(low - 0.14 * (high - low), high)
    a.name_axis(other)
    return figure


def draw_charge(ride: Ride, units: str) -> Figure:
    """Return charge left, and the pack's voltage at rest and under load with the lowest allowed."""
    a, found = along(ride, units), estimate(ride.build)
    figure, (upper, lower) = style.new_figure(rows=2, height_mm=2.2 * PANEL_MM)
    a.line(upper, from_si(a.values("charge_fraction"), "percent"), color=style.COLOURS[0])
    upper.set_ylim(0.0, 105.0)
    upper.set_ylabel(style.quantity_label("charge_fraction", suffix="percent"))
    left = ride.summary["charge_left_fraction"]
    place, side = ((-3.0, -6.0), "top") if left > LOW_CHARGE else ((-3.0, 22.0), "bottom")
    style.tag(
        upper,
        float(a.x[-1]),
        from_si(left, "percent"),
        f"{left:.0%} left",
        style.INK,
        offset=place,
        align=("right", side),
    )
    loaded = a.values("pack_voltage_v")
    a.band(lower, a.values("pack_voltage_low_v"), loaded, color=style.COLOURS[0], alpha=0.3)
    a.line(lower, loaded, color=style.COLOURS[0], linewidth=1.4)
    a.line(lower, a.values("open_voltage_v"), color=style.COLOURS[1], linestyle="--")
    style.key(lower, [("under load", style.COLOURS[0], "-"), ("at rest", style.COLOURS[1], "--")])
    style.limit_line(
        lower, found.full_current_above_v, f"folds back below {found.full_current_above_v:.1f} V", below=True
    )
    low, high = lower.get_ylim()
    lower.set_ylim(min(low, found.full_current_above_v - 0.16 * (high - found.full_current_above_v)), high)
    lower.set_ylabel(style.quantity_label("pack_voltage_v"))
    a.name_axis(lower)
    return figure


_DRAWERS: dict[str, Callable[[Ride, str], Figure]] = {
    "road": draw_road_ridden,
    "speed": draw_speed,
    "currents": draw_currents,
    "temperatures": draw_temperatures,
    "charge": draw_charge,
    "energy": draw_energy,
    "way": draw_way,
}
_OF_TWO_DRIVES: dict[str, Callable[[Ride, str], Figure]] = {
    "currents": draw_both_currents,
    "temperatures": draw_both_temperatures,
}
"""Pictures that show each of two different drives."""
