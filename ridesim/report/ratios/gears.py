"""Words, figures and picture of "how many gears, and which?"."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.report.ratios.plain import case_row
from ridesim.report.ratios.view import LAW_WORDS, START_WORDS, ceiling_words, look_words, start_words
from ridesim.report.reach.view import pace
from ridesim.report.text import duration, shown
from ridesim.report.view import Table, View
from ridesim.ride.judge import worst
from ridesim.ride.limits import LOOK_AGAIN, STOP
from ridesim.studies.gear_choice import WORTH_MORE_GEARS
from ridesim.units import told

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.figure import Figure

    from ridesim.studies.gear_choice import GearSets
    from ridesim.studies.ratio_choice import RatioCase

SET_WORDS = (
    "A gear is written as turns in per turn out of the gears, the lowest first; a hub's sheet has one over it. The "
    "sets step evenly, with one efficiency; one gear counts as other teeth, without a gear's loss. Sets that can be "
    "bought step as they are made: put theirs into [drive.gears] and ride them."
)


def gear_figures(result: GearSets) -> dict[str, Any]:
    """Return the figures of the answer as plain values."""
    rows = [_row(result, at) for at in range(len(result.cases))]
    return {
        "ceilings": {**vars(result.ceilings), "given": sorted(result.ceilings.given)},
        "recommended": rows[result.taken],
        "keeps_all_ceilings": result.keeps_all,
        "reasons": list(_reasons(result)),
        "best_by_number": [rows[at] for at in result.best],
        "accelerate_to_km_h": result.accelerate_to_km_h,
        "candidates": rows,
        "notes": list(result.notes),
    }


def _row(result: GearSets, at: int) -> dict[str, Any]:
    gears = result.cases[at].reduction.gears
    return {"gears": len(gears), "gear_ratios": list(gears), **case_row(result.cases[at], result.broken[at])}


def gear_rows(result: GearSets) -> list[dict[str, Any]]:
    """Return every set as a row of a table, its gears in one cell."""
    rows = gear_figures(result)["candidates"]
    return [{**row, "gear_ratios": " ".join(f"{each:g}" for each in row["gear_ratios"])} for row in rows]


def gear_view(result: GearSets, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer as words and tables, and a picture where one is wanted."""
    name = result.loaded.build.name
    most = max(len(case.reduction.gears) for case in result.cases)
    return View(
        title=f"How many gears, and which, for {name} on {result.road.name}?",
        question=(
            f"{len(result.cases)} sets of one to {most} gears behind the drive's stages, each ridden over the road "
            f"{pace(result.road, result.cruise_speed_km_h, units)}. {ceiling_words(result.ceilings, units)}"
        ),
        answer=_answer(result, units),
        verdict=_verdict(result),
        tables=(_best_table(result, units),),
        figures=(("The best set of each number of gears; hollow: breaks a ceiling", draw_gears(result, units)),)
        if pictures
        else (),
        notes=(SET_WORDS, START_WORDS, LAW_WORDS, *(told(each, units) for each in result.notes)),
    )


def _verdict(result: GearSets) -> str:
    """The judge's word of the ride with the set to take, and the belts'; stop where none keeps every ceiling."""
    belts = (result.case.belts,) if result.case.belts == LOOK_AGAIN else ()
    return worst((result.case.verdict, *belts)) if result.keeps_all else STOP


def _answer(result: GearSets, units: str) -> tuple[str, ...]:
    case, gears = result.case, result.case.reduction.gears
    count = f"{len(gears)} gear{'s' if len(gears) > 1 else ''}"
    f = case.figures
    end = shown(case.net_wh_per_km, "wh_per_km", units) if f.finished else f"{f.distance_km:.1f} km, {f.stop_reason}"
    verb = f"Take {count}" if result.keeps_all else f"None is good. The least bad has {count}"
    head = (
        f"{verb}: {', '.join(f'{each:.2f}' for each in gears)} turns in per turn out. {end}, winding "
        f"{shown(f.peak_winding_temp_c, 'c', units, 0)}, top speed "
        f"{shown(case.top_speed_cold_pedalled_half_charge_km_h, 'km_h', units)} at half charge, starts on "
        f"{case.steepest_start_percent:.0f} %, {f.gear_shifts} shifts."
    )
    return (head, *start_words(case, result.road, units), *look_words(case, units), *_reasons(result))


def _reasons(result: GearSets) -> tuple[str, ...]:
    """Say why not fewer gears and why not more."""
    taken, found = len(result.case.reduction.gears), []
    fewer = [at for at in result.best if len(result.cases[at].reduction.gears) < taken]
    out = [at for at in fewer if result.broken[at]]
    kept = [at for at in fewer if not result.broken[at]]
    if out:
        words = result.cases[out[-1]].reduction.words
        found.append(f"Fewer: the best of them, {words}, breaks: {', '.join(result.broken[out[-1]])}.")
    if kept:
        less = result.cases[kept[0]]
        more_energy = less.net_wh_per_km / result.case.net_wh_per_km - 1.0
        found.append(f"Fewer would do: {less.reduction.words}, with {more_energy:.1%} more energy.")
    further = [at for at in result.best if len(result.cases[at].reduction.gears) > taken]
    more = [result.cases[at] for at in further if not result.broken[at]]
    if further and not more and result.keeps_all:
        first = further[0]
        found.append(f"More: {result.cases[first].reduction.words} breaks: {', '.join(result.broken[first])}.")
    if more and result.keeps_all:
        least = min(more, key=lambda case: case.net_wh_per_km)
        saved = 1.0 - least.net_wh_per_km / result.case.net_wh_per_km
        told = f"save {saved:.1%}" if saved > 0.0 else f"take {-saved:.1%} more"
        worth = f"below {WORTH_MORE_GEARS:.0%} they are not thought worth their weight, price and care (a guess)"
        found.append(f"More: {least.reduction.words} {told} energy; {worth}.")
    return tuple(found)


def _best_table(result: GearSets, units: str) -> Table:
    head = ("gears", "time", "energy", "motor A", "winding", "top, half charge", "start", "shifts", "breaks")
    rows = tuple(_best_row(result, at, units) for at in result.best)
    return Table("The best set of each number of gears; --out and --json hold all", head, rows)


def _best_row(result: GearSets, at: int, units: str) -> tuple[str, ...]:
    case = result.cases[at]
    f = case.figures
    return (
        f"{case.reduction.words}{' <' if at == result.taken else ''}",
        duration(f.total_time_s) if f.finished else "-",
        shown(case.net_wh_per_km, "wh_per_km", units) if f.finished else "-",
        f"{f.sustained_motor_current_a:.0f} ({f.peak_motor_current_a:.0f})",
        shown(f.peak_winding_temp_c, "c", units, 0),
        shown(case.top_speed_cold_pedalled_half_charge_km_h, "km_h", units),
        f"{case.steepest_start_percent:.0f} %",
        f"{f.gear_shifts}",
        ", ".join(result.broken[at]) or "-",
    )


def draw_gears(result: GearSets, units: str = "metric") -> Figure:
    """Return energy, winding and steepest start of the best sets against the number of gears."""
    import numpy as np

    from ridesim.report.style import COLOURS, axis_label, in_units, limit_line, new_figure, quantity_label

    figure, (energy, heat, start) = new_figure(rows=3, height_mm=135.0)
    cases = [result.cases[at] for at in result.best]
    counts = np.array([len(case.reduction.gears) for case in cases])
    broken = np.array([bool(result.broken[at]) for at in result.best])

    def points(axes: Any, value: Callable[[RatioCase], float], suffix: str) -> None:
        """Draw a value of every case, those that break down hollow, and the bike's own number of gears."""
        y = np.asarray(in_units([value(case) for case in cases], suffix, units))
        axes.margins(y=0.2)
        axes.plot(counts, y, color=COLOURS[1], linewidth=1.0)
        axes.plot(counts[~broken], y[~broken], "o", color=COLOURS[1], markersize=5)
        axes.plot(counts[broken], y[broken], "o", color=COLOURS[1], markersize=5, markerfacecolor="white")
        axes.axvline(len(result.case.reduction.gears), color=COLOURS[0], linewidth=1.2, zorder=0.8)

    points(energy, lambda case: case.net_wh_per_km if case.figures.finished else np.nan, "wh_per_km")
    energy.set_ylabel(quantity_label("net_wh_per_km", units))
    points(heat, lambda case: case.figures.peak_winding_temp_c, "c")
    heat.set_ylabel(quantity_label("winding_temp_c", units))
    limit_line(heat, float(in_units(result.ceilings.max_winding_c, "c", units)), "ceiling", below=True)
    points(start, lambda case: case.steepest_start_percent, "percent")
    start.set_ylabel(axis_label("steepest\nstart", "percent"))
    start.set_xlabel("gears; the line stands at those to take")
    start.set_xticks(counts)
    start.set_xlim(counts[0] - 0.5, counts[-1] + 0.5)
    return figure
