"""Pictures of the brakes' heat: along the road, and by cruise speed."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from ridesim.report import style
from ridesim.report.along import thinned
from ridesim.studies.descend import Descend
from ridesim.units import shown

PANEL_MM = 52.0


def draw_along(result: Descend, units: str = "metric") -> Figure:
    """Draw altitude, then each wheel's brake along the road, a line a case, with its limit."""
    wheels = [each.wheel for each in result.cases[0].heat.brakes]
    figure, rows = style.new_figure(rows=1 + len(wheels), height_mm=PANEL_MM * (1 + len(wheels)))
    first = result.cases[0].heat
    x = style.in_units(first.distance_km, "km", units)
    rows[0].plot(*thinned(x, style.in_units(first.altitude_m, "m", units)), color=style.FAINT)
    rows[0].set_ylabel(style.quantity_label("altitude_m", units))
    for place, (wheel, axes) in enumerate(zip(wheels, rows[1:], strict=True)):
        for number, case in enumerate(result.cases):
            brake = case.heat.brakes[place]
            along = style.in_units(case.heat.distance_km, "km", units)
            values = style.in_units(brake.temp_c, "c", units)
            axes.plot(*thinned(along, values), color=style.COLOURS[number], linestyle=style.DASHES[number])
        limit = first.brakes[place].limit_c
        if max(float(np.max(case.heat.brakes[place].temp_c)) for case in result.cases) > 0.5 * limit:
            style.limit_line(
                axes, float(style.in_units(limit, "c", units)), f"limit {shown(limit, 'c', units, 0)}", at=0.01
            )
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + 0.18 * (high - low))  # room for the limit's words
        axes.set_ylabel(style.axis_label(f"{wheel} {first.brakes[place].kind}", "c", units))
    style.key(
        rows[1], [(case.name, style.COLOURS[number], style.DASHES[number]) for number, case in enumerate(result.cases)]
    )
    rows[-1].set_xlim(float(x[0]), float(x[-1]))
    rows[-1].set_xlabel(style.quantity_label("distance_km", units))
    return figure


def draw_speeds(result: Descend, units: str = "metric") -> Figure:
    """Draw the hottest brake over the cruise speed, with its limit."""
    figure, (axes,) = style.new_figure()
    speed = style.in_units(np.array([each.speed_km_h for each in result.speeds]), "km_h", units)
    hottest = style.in_units(np.array([each.hottest_c for each in result.speeds]), "c", units)
    axes.plot(speed, hottest, color=style.COLOURS[0], marker="o", markersize=5.0)
    limit = result.speeds[0].limit_c
    style.limit_line(axes, float(style.in_units(limit, "c", units)), f"limit {shown(limit, 'c', units, 0)}", at=0.01)
    axes.set_ylabel(style.axis_label("hottest brake", "c", units))
    axes.set_xlabel(style.axis_label("cruise speed", "km_h", units))
    return figure
