"""Pictures of a year on the commute: energy, time and charge of every day, and the pack's years."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ridesim.report import style
from ridesim.units import from_si

if TYPE_CHECKING:
    from ridesim.workshop.season.season import Season

ROOM = 0.05
"""Times that hardly differ are not drawn larger than this share of them."""
UNDER = 0.25
"""Share of a panel's height under a dot that holds a line of words."""
INITIALS = tuple("JFMAMJJASOND")


def draw_year(result: Season, units: str = "metric") -> Figure:
    """Return the air, energy, time and charge of every day of the year, one below the other."""
    figure, (air, energy, time, charge) = style.new_figure(rows=4, height_mm=205.0)
    days = result.days
    months = np.array([result.commute.weather.date_of(day.day).month for day in days])
    at = np.arange(len(days))
    cold = style.in_units([min(leg.air.temperature_c for leg in day.legs) for day in days], "c", units)
    _dots(air, at, cold, months, style.COLOURS[0], f"colder ride\n{style.quantity_label('air_temp_c', units)}")
    _dots(
        energy,
        at,
        np.array([day.net_wh for day in days]),
        months,
        style.COLOURS[1],
        style.quantity_label("net_energy_wh"),
    )
    minutes = from_si(np.array([day.time_s for day in days]), "min")
    _dots(time, at, minutes, months, style.COLOURS[3], style.quantity_label("time_s", suffix="min"))
    middle = float(np.nanmedian(minutes))
    time.set_ylim(min(middle * (1.0 - ROOM), time.get_ylim()[0]), max(middle * (1.0 + ROOM), time.get_ylim()[1]))
    left = from_si(np.array([day.charge_left for day in days]), "percent")
    _dots(charge, at, left, months, style.COLOURS[2], style.quantity_label("charge_left_fraction", suffix="percent"))
    charge.set_ylim(bottom=0.0)
    _mark(charge, result, left)
    _mark(energy, result, np.array([day.net_wh for day in days]), said=False)
    starts = [int(np.argmax(months == month)) for month in dict.fromkeys(months.tolist())]
    charge.set_xticks(starts, [INITIALS[month - 1] for month in dict.fromkeys(months.tolist())])
    charge.set_xlabel("month")
    return figure


def _dots(axes: Axes, at: np.ndarray, values: np.ndarray, months: np.ndarray, colour: str, label: str) -> None:
    axes.plot(at, values, linestyle="none", marker=".", markersize=3.5, color=colour, alpha=0.6)
    edges = np.flatnonzero(np.diff(months)) + 1
    for part in np.split(at, edges):
        known = values[part][np.isfinite(values[part])]
        if not known.size:
            continue
        low, middle, high = np.quantile(known, (0.1, 0.5, 0.9))
        axes.fill_between((part[0], part[-1] + 1), low, high, color=colour, alpha=0.2, linewidth=0.0)
        axes.plot((part[0], part[-1] + 1), (middle, middle), color=style.darker(colour, 0.6), linewidth=1.6)
    axes.set_ylabel(label)
    axes.set_xlim(0.0, len(at))


def _mark(axes: Axes, result: Season, values: np.ndarray, *, said: bool = True) -> None:
    """Circle the worst day, and say which it is."""
    place = next(at for at, day in enumerate(result.days) if day.day == result.worst.day)
    if not np.isfinite(values[place]):
        return
    axes.plot([place], [values[place]], marker="o", markersize=8, fillstyle="none", color=style.LIMIT_COLOUR)
    if said:
        from ridesim.report.season.view import date_words

        right = place > len(values) * 0.6
        level = float(values[place])
        under = level > UNDER * axes.get_ylim()[1]  # the worst day lies below the others: there is room under it
        style.tag(
            axes, place, level, f"worst day, {date_words(result.worst.date)}", style.LIMIT_COLOUR,
            offset=(0.0, -8.0) if under else (-8.0 if right else 8.0, 4.0),
            align=("right" if right else "left", "top" if under else "bottom"),
        )  # fmt: skip


def draw_years(result: Season) -> Figure:
    """Return capacity and resistance over the years, and the worst day's charge at its end."""
    figure, (pack, worst) = style.new_figure(rows=2, height_mm=120.0)
    rows = result.years.rows
    years = [row.year for row in rows]
    lines = (
        ("capacity", [row.capacity_left_fraction for row in rows], style.COLOURS[0], style.DASHES[0]),
        ("resistance", [row.resistance_factor for row in rows], style.COLOURS[1], style.DASHES[1]),
    )
    for _, values, colour, dash in lines:
        pack.plot(years, from_si(np.array(values), "percent"), color=colour, linestyle=dash, marker="o", markersize=4)
    style.key(pack, [(words, colour, dash) for words, _, colour, dash in lines])
    pack.set_ylabel(style.axis_label("of the first day", "percent"))
    left = np.array([row.worst_day_charge_left_fraction or 0.0 for row in rows])
    worst.plot(years, from_si(left, "percent"), color=style.INK, marker="o", markersize=4)
    floor = float(from_si(result.commute.build.pack.charge_floor_fraction, "percent"))
    fails = result.years.fails_in_year
    if fails is not None:
        worst.axvspan(
            fails, years[-1] if years[-1] > fails else fails + 0.1, color=style.LIMIT_COLOUR, alpha=0.15, linewidth=0.0
        )
        style.tag(worst, fails, float(from_si(left.max(), "percent")) * 0.5, "does not come home", style.LIMIT_COLOUR)
    if floor > 0.0:
        style.limit_line(worst, floor, "the rider's floor")
    worst.set_ylabel(style.axis_label("worst day,\ncharge left", "percent"))
    worst.set_ylim(0.0, 1.15 * float(from_si(max(float(left.max()), 0.1), "percent")))
    worst.set_xlabel("years")
    worst.set_xticks(years)
    worst.set_xlim(-0.3, years[-1] + 0.3)
    return figure
