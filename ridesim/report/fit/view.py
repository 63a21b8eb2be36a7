"""Words and pictures of a fitted ride log and of a coast-down."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ridesim.report.text import duration, shown
from ridesim.report.view import Table, View
from ridesim.ride.judge import FINE
from ridesim.units import from_si, told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.learn.coastdown import CoastFit
    from ridesim.learn.pedal_fit import LogFit, Skill

CALM_M_PER_S = 0.3


def view(result: LogFit, units: str = "metric", *, pictures: bool = True) -> View:
    """Return drags, wind and skill of a ride log."""
    return View(
        title=f"What did the ride {result.path} cost?",
        question=(
            f"Drags and a constant wind, with {shown(result.machine.mass_kg, 'kg', units, 0)} of rider and bike held "
            "fixed. Every other five minutes are fitted, those between are predicted."
        ),
        answer=(
            _drags(result),
            *(f"{told(words, units)}." for words in result.at_bounds),
            _wind(result, units),
            *_skill_words(result),
        ),
        verdict=result.verdict,
        tables=(_values(result, units), _skills(result)),
        figures=((_CAPTION, means_picture(result)),) if pictures else (),
        notes=tuple(told(each, units) for each in result.notes),
    )


_CAPTION = "Pedal power, means of 60 s: measured, and predicted by the fit that did not see that minute."


def _drags(result: LogFit) -> str:
    load, off = result.load, result.deviation
    return (
        f"drag_area_m2 = {load.drag_area_m2:.3f} ± {off.drag_area_m2:.3f}, "
        f"rolling_resistance = {load.rolling_resistance:.4f} ± {off.rolling_resistance:.4f}."
    )


def _wind(result: LogFit, units: str) -> str:
    load = result.load
    if load.wind_speed_m_per_s < CALM_M_PER_S:
        return "No wind to speak of."
    speed = shown(from_si(load.wind_speed_m_per_s, "km_h"), "km_h", units, 0)
    return f"Wind at rider height {speed} from {load.wind_from_deg:.0f}°."


def _skill_words(result: LogFit) -> tuple[str, ...]:
    skill, other = result.skill, result.skill_swapped
    words = (
        f"The minutes that were not fitted: work {skill.work_error_percent:+.1f} %, correlation "
        f"{_shown(skill.correlation)}; with the parts swapped {other.work_error_percent:+.1f} %, "
        f"{_shown(other.correlation)}."
    )
    if result.verdict == FINE:
        return (words,)
    return (words, "That is poor: altitude, a gusty day, drafting, or a wrong mass. Take the drags with care.")


def _shown(correlation: float) -> str:
    return f"{correlation:.2f}" if np.isfinite(correlation) else "none"


def _values(result: LogFit, units: str) -> Table:
    load, off = result.load, result.deviation
    wind = [("wind to the east", load.wind_east_m_per_s, off.wind_east_m_per_s),
            ("wind to the north", load.wind_north_m_per_s, off.wind_north_m_per_s)]  # fmt: skip
    rows = [
        ("drag area without wheels", f"{load.drag_area_m2:.3f} m²", f"{off.drag_area_m2:.3f}"),
        ("rolling resistance", f"{load.rolling_resistance:.4f}", f"{off.rolling_resistance:.4f}"),
        *((name, shown(from_si(value, "km_h"), "km_h", units), shown(from_si(spread, "km_h"), "km_h", units))
          for name, value, spread in wind),
        ("rider and bike", shown(result.machine.mass_kg, "kg", units, 0), "held fixed"),
        ("altitude lags by", f"{result.lag_s:.0f} s", "-"),
        ("ridden", duration(result.riding_s), "-"),
        ("left out after silences", duration(result.left_out_s), "-"),
        ("braking", duration(result.braking_s), "-"),
    ]  # fmt: skip
    return Table("Fitted on the whole ride", ("quantity", "value", "standard deviation"), tuple(rows))


def _skills(result: LogFit) -> Table:
    head = ("fitted blocks", "work", "predicted", "error", "correlation", "scatter", "minutes")
    rows = (_skill_row("1, 3, 5 ...", result.skill), _skill_row("2, 4, 6 ...", result.skill_swapped))
    return Table("Prediction of the blocks between", head, rows)


def _skill_row(name: str, skill: Skill) -> tuple[str, ...]:
    return (
        name,
        f"{skill.work_measured_wh:.0f} Wh",
        f"{skill.work_predicted_wh:.0f} Wh",
        f"{skill.work_error_percent:+.1f} %",
        _shown(skill.correlation),
        f"{skill.deviation_w:.0f} W",
        str(skill.means),
    )


def means_picture(result: LogFit) -> Figure:
    """Return measured and predicted 60 s means over the ride's clock; pauses leave gaps."""
    from ridesim.report.style import COLOURS, axis_label, key, new_figure, quantity_label

    figure, (axes,) = new_figure()
    minutes = from_si(result.mean_time_s, "min")
    gaps = np.flatnonzero(np.diff(minutes) > 2.5) + 1
    at = np.insert(minutes, gaps, np.nan)
    for values, colour, dash in (
        (result.mean_measured_w, COLOURS[0], "-"),
        (result.mean_predicted_w, COLOURS[2], "--"),
    ):
        axes.plot(at, np.insert(values, gaps, np.nan), color=colour, linestyle=dash)
    axes.set_xlabel(quantity_label("time_s", suffix="min"))
    axes.set_ylabel(axis_label("pedal power", "w"))
    axes.set_ylim(bottom=0.0)
    key(axes, (("measured", COLOURS[0], "-"), ("predicted unseen", COLOURS[2], "--")))
    return figure


def coast_view(result: CoastFit, units: str = "metric", *, pictures: bool = True) -> View:
    """Return drags of a coast-down."""
    wind = shown(from_si(result.headwind_m_per_s, "km_h"), "km_h", units)
    road = f"rises {from_si(result.grade, 'percent'):+.2f} %, head wind {wind} on the way there"
    fitted = "fitted from both ways" if result.backs else "as given"
    area, rolling = result.drag_area_90_m2, result.rolling_resistance_90
    fine = 4 if rolling[1] - rolling[0] > 4e-4 else 5
    rows = (
        ("drag area without wheels", f"{result.drag_area_m2:.3f} m²", f"{area[0]:.3f} to {area[1]:.3f} m²"),
        (
            "rolling resistance",
            f"{result.rolling_resistance:.{fine}f}",
            f"{rolling[0]:.{fine}f} to {rolling[1]:.{fine}f}",
        ),
        ("rider and bike", shown(result.mass_kg, "kg", units, 0), "held fixed"),
        ("speed, rms error", shown(from_si(result.speed_error_m_per_s, "km_h"), "km_h", units, 2), "-"),
    )
    return View(
        title="What holds the bike back?",
        question=f"{_runs_words(result)}, with {shown(result.mass_kg, 'kg', units, 0)} "
        f"of rider and bike held fixed. The road {road} ({fitted}).",
        answer=(
            f"{result.reason[0].upper()}{told(result.reason[1:], units)}.",
            f"drag_area_m2 = {result.drag_area_m2:.3f} ({area[0]:.3f} to {area[1]:.3f}), "
            f"rolling_resistance = {result.rolling_resistance:.{fine}f} ({rolling[0]:.{fine}f} to "
            f"{rolling[1]:.{fine}f}), 90 % each.",
        ),
        verdict=result.verdict,
        tables=(Table("Fitted", ("quantity", "value", "90 % interval"), rows),),
        figures=(("Speed against time: dots as recorded, lines as fitted.", coast_picture(result, units)),)
        if pictures
        else (),
        notes=tuple(told(each, units) for each in result.notes),
    )


def _runs_words(result: CoastFit) -> str:
    count = len(result.runs)
    return "One run" if count == 1 else f"{count} runs, {result.backs or 'none'} of them back"


def coast_picture(result: CoastFit, units: str = "metric") -> Figure:
    """Return recorded and fitted speeds of every run, one colour for the way there and one for the way back."""
    from ridesim.report.style import COLOURS, in_units, key, new_figure, quantity_label

    figure, (axes,) = new_figure()
    there = len(result.runs) - result.backs
    for number, (run, fitted) in enumerate(zip(result.runs, result.modelled, strict=True)):
        colour = COLOURS[0] if number < there else COLOURS[2]
        recorded = in_units(from_si(1.0, "km_h") * run.speed_m_per_s, "km_h", units)
        axes.plot(run.time_s, recorded, ".", color=colour, markersize=5)
        axes.plot(run.time_s, in_units(from_si(1.0, "km_h") * fitted, "km_h", units), color=colour)
    axes.set_xlabel(quantity_label("time_s"))
    axes.set_ylabel(quantity_label("speed_km_h", units))
    axes.set_xlim(left=0.0)
    axes.set_ylim(bottom=0.0)
    if result.backs:
        key(axes, (("there", COLOURS[0], "-"), ("back", COLOURS[2], "-")))
    return figure
