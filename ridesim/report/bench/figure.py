"""Pictures of a bench sheet: a sweep, a heating run and rundowns, each measured and as fitted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ridesim.units import from_si, to_si

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.workshop.bench.heating import HeatingFit
    from ridesim.workshop.bench.readings import NoLoadFit
    from ridesim.workshop.bench.rundown import RundownFit
    from ridesim.workshop.bench.sweep import Sweep

DOT = 3.0
LONG_S = to_si(10.0, "min")


def sweep_picture(sweep: Sweep, fit: NoLoadFit) -> Figure:
    """Return the no-load current over speed: readings, and the two drag terms as a line."""
    from ridesim.report.style import axis_label, key, new_figure, series

    figure, (axes,) = new_figure()
    dots, line = series(2)
    speed = np.array([each.speed_rpm for each in sweep.points])
    current = np.array([each.current_a for each in sweep.points])
    even = np.linspace(0.0, speed.max(), 50)
    drag = fit.drag_torque_nm + fit.drag_growth_nm_s * to_si(even, "rpm")
    axes.plot(speed, current, "o", color=dots, markersize=DOT)
    axes.plot(even, drag / fit.torque_per_current_nm_per_a, color=line, linewidth=1.4)
    axes.set_xlim(left=0.0)
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel(axis_label("shaft speed", "rpm"))
    axes.set_ylabel(axis_label("no-load current", "a"))
    key(axes, (("read", dots, ":"), ("two drag terms", line, "-")))
    return figure


def heating_picture(fit: HeatingFit, units: str = "metric") -> Figure:
    """Return the temperatures of a heating run, measured and computed, and what is left between them."""
    from ridesim.report.style import axis_label, in_units, key, new_figure, series

    figure, (above, below) = new_figure(rows=2, heights=(3.0, 1.0))
    unit = "h" if fit.time_s[-1] > 6.0 * LONG_S else "min"
    time, entries = from_si(fit.time_s, unit), []
    for (name, measured), colour in zip(fit.measured_c.items(), series(len(fit.measured_c)), strict=True):
        computed = fit.computed_c[name]
        above.plot(time, in_units(measured, "c", units), "o", color=colour, markersize=DOT - 1.0, alpha=0.6)
        above.plot(time, in_units(computed, "c", units), color=colour, linewidth=1.4)
        below.plot(time, in_units(measured - computed, "k", units), color=colour, linewidth=0.8)
        entries.append((name, colour, "-"))
    below.axhline(0.0, color="0.5", linewidth=0.6)
    above.set_ylabel(axis_label("temperature", "c", units))
    below.set_ylabel(axis_label("left", "k", units))
    below.set_xlabel(axis_label("time", unit))
    key(above, entries)
    return figure


def rundown_picture(fit: RundownFit) -> Figure:
    """Return the falls of a motor let go at speed: read, and by the fitted drag over inertia."""
    from ridesim.report.style import axis_label, new_figure, series

    figure, (axes,) = new_figure()
    for (time, omega), computed, colour in zip(fit.measured, fit.computed, series(fit.falls), strict=True):
        axes.plot(time, from_si(omega, "rpm"), "o", color=colour, markersize=DOT - 0.5, alpha=0.6)
        axes.plot(time, from_si(computed, "rpm"), color=colour, linewidth=1.4)
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel(axis_label("since let go", "s"))
    axes.set_ylabel(axis_label("shaft speed", "rpm"))
    return figure
