"""Words of "which ratio?"."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ridesim.report.climb.way_out import way_words
from ridesim.report.reach.view import pace
from ridesim.report.spread.common import against, difference_words, differences_table, stopped_words
from ridesim.report.text import duration, sentence, shown
from ridesim.report.view import Table, View
from ridesim.ride.drives import FIRST, SECOND
from ridesim.ride.judge import Verdict, worst
from ridesim.ride.limits import FINE, LIMITS, LOOK_AGAIN, STOP
from ridesim.road.places import steepest_places
from ridesim.studies.ratio_choice import THUMB_KV, split_words
from ridesim.units import from_si
from ridesim.units import told as in_units

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.road.profile import Road
    from ridesim.studies.ratio_choice import Ceilings, RatioCase
    from ridesim.studies.ratios import Ratios

MOST_ROWS = 24
"""Rows of the longest table shown; files and JSON hold every candidate."""
THUMB_WORDS = (
    "Kv / ratio is the motor's Kv as the wheel sees it. Values around 10 rpm/V are said to suit a 26 to 28 inch wheel "
    "and a pack near 44 to 48 V, and other wheels and packs by the same unloaded speed (common practice, no source). "
    "Slower gearing: more motor turns a wheel turn, a higher ratio; faster gearing: fewer."
)
START_WORDS = (
    "At full throttle on the level in still air, the rider pedalling: top speeds with a cold motor, the charge held as "
    "at the start or at half; time and steepest start from rest, the motor cold, the pack as at the start."
)
LAW_WORDS = "Local law decides what power and speed may be ridden on a public road."


def view(result: Ratios, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer to "which ratio?" as words and tables, and pictures where they are wanted."""
    title = f"Which ratio for {result.loaded.build.name} on {result.road.name}?"
    if result.impossible or result.choice is None or result.ceilings is None:
        return View(title, "Can the ratio be varied?", (f"No. {result.impossible}",), notes=_two_drives(result))
    return View(
        title=title,
        question=_question(result, units),
        answer=_answer(result, units),
        verdict=_verdict(result),
        heeds_chances=result.common is not None,
        tables=_tables(result, units),
        figures=_figures(result, units) if pictures else (),
        notes=(
            THUMB_WORDS,
            START_WORDS,
            LAW_WORDS,
            *_two_drives(result),
            *(in_units(each, units) for each in result.notes),
        ),
    )


def whose_words(result: Ratios) -> str:
    """Return what the drive is called that is varied."""
    return "the drive" if result.loaded.build.second is None else f"the {(FIRST, SECOND)[result.drive - 1]}"


def _two_drives(result: Ratios) -> tuple[str, ...]:
    if result.loaded.build.second is None:
        return ()
    other = 3 - result.drive
    return (
        f"The ratio of {whose_words(result)} is varied, the other drive stays as it is; motor current, heat and Kv / "
        f"ratio are those of {whose_words(result)}, what the other breaks is told with it. `--drive {other}` varies "
        "that of the other, `--set` sets one beside.",
    )


def _verdict(result: Ratios) -> str:
    """The judge's word of the recommended candidate's ride, as its chances have it; first in the same bikes."""
    assert result.choice is not None  # view() has answered that case in words
    if not result.choice.keeps_all:
        return STOP
    case = result.cases[result.choice.index]
    own = Verdict(case.verdict, case.reasons)
    word = own.word if result.common is None else result.common.heeded(own, 0).word
    return worst((word, LOOK_AGAIN)) if case.belts in (LOOK_AGAIN, STOP) else word


def _figures(result: Ratios, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.ratios.figure import draw_performance, draw_road

    return (
        ("On the road: energy, heat and current by ratio; hollow: breaks a ceiling", draw_road(result, units)),
        ("At full throttle: top speed, time from rest and steepest start by ratio", draw_performance(result, units)),
    )


def _question(result: Ratios, units: str) -> str:
    stages, whose = len(result.seen.drive.stage), whose_words(result)
    which = f"{whose}'s only stage" if stages == 1 else f"stage {result.stage} of {stages}, counted from the motor"
    if stages > 1 and result.loaded.build.second is not None:
        which = f"{which} of {whose}"
    return (
        f"{len(result.cases)} reductions of {which}, each ridden over the road "
        f"{pace(result.road, result.cruise_speed_km_h, units)}. {ceiling_words(result.ceilings, units)}"
    )


def ceiling_words(bounds: Ceilings | None, units: str) -> str:
    """Return what a candidate has to keep, in words; those that nobody set are marked."""
    if bounds is None:
        return ""
    parts = {
        "winding": f"winding at most {shown(bounds.max_winding_c, 'c', units, 0)}",
        "top speed": f"top speed at least {shown(bounds.min_top_speed_km_h, 'km_h', units, 0)} at half charge",
        "time": f"time at most {duration(bounds.max_time_s)}" if np.isfinite(bounds.max_time_s) else "no time is set",
    }
    words = [text + ("" if name in bounds.given else " (default)") for name, text in parts.items()]
    return f"Ceilings: {', '.join(words)}; it arrives, and the magnets keep their grade."


def _answer(result: Ratios, units: str) -> tuple[str, ...]:
    choice = result.choice
    assert choice is not None  # view() has answered that case in words
    case = result.cases[choice.index]
    verb = "Take" if choice.keeps_all else "None is good. The least bad is"
    energy = (
        shown(case.net_wh_per_km, "wh_per_km", units)
        if case.figures.finished
        else f"after {case.figures.distance_km:.1f} km {case.figures.stop_reason}"
    )
    figures = (
        f"{energy}, winding {shown(case.figures.peak_winding_temp_c, 'c', units, 0)}, "
        f"top speed {shown(case.top_speed_cold_pedalled_half_charge_km_h, 'km_h', units)} at half charge, starts on "
        f"{case.steepest_start_percent:.0f} %"
    )
    present = "" if abs(case.reduction.ratio / result.present_ratio - 1.0) > 5e-3 else ", what the build has now"
    head = f"{verb} {_name(case)}{present}: {figures}."
    first, *others = choice.reasons
    because = f"Because {first}." if choice.keeps_all else f"{first[0].upper()}{first[1:]}."
    ways = tuple(f"A way out with {case.reduction.words}? {way_words(way, units)}" for way in result.ways)
    split = split_words(result.seen.drive.stage[result.stage - 1].kind, case.reduction.ratio)
    told = (
        *(f"{line[0].upper()}{line[1:]}." for line in (*others, split) if line),
        *start_words(case, result.road, units),
        *_belt_words(case, units),
        *look_words(case, units),
    )
    return (head, because, *told, *_sure_words(result, units), *ways, thumb_words(result, units))


def start_words(case: RatioCase, road: Road, units: str) -> tuple[str, ...]:
    """Say so where a bike that rides up a road does not start again on the steepest of it."""
    steepest = next((each for each in steepest_places(road) if each.looks_like != "recorder"), None)
    if steepest is None or from_si(steepest.grade[1], "percent") <= case.steepest_start_percent:
        return ()
    return (
        (
            f"It rides up the steepest of this road, {from_si(steepest.grade[1], 'percent'):.0f} % at "
            f"{shown(from_si(steepest.at_m, 'km'), 'km', units)}, with a run-up, but starts from rest on no more than "
            f"{case.steepest_start_percent:.0f} %: whoever stops there pushes.",
        )
        if case.figures.finished
        else ()
    )


def look_words(case: RatioCase, units: str) -> tuple[str, ...]:
    """Say what the judge of its ride looks at again, or stops: `ridesim ride` with it says the same."""
    return tuple(f"Of its ride: {sentence(in_units(each, units))}" for each in case.reasons if case.verdict != FINE)


def _sure_words(result: Ratios, units: str) -> tuple[str, ...]:
    """Return whether the recommended candidate can be told from its rivals by what it was taken for: its energy."""
    if result.common is None:
        return ()
    told = [difference_words(one, units) for one in against(result.common, ("net_energy_wh",))]
    open_ones = [one for one in against(result.common, ("net_energy_wh",)) if not one.told_apart]
    tail = "Between those that cannot be told apart take what fits." if open_ones else ""
    return tuple(line for line in (" ".join([*told, tail]).strip(), stopped_words(result.common)) if line)


def _belt_words(case: RatioCase, units: str) -> tuple[str, ...]:
    return (
        (f"Its belts: {case.belts}, {in_units(case.belts_reason, units)}. To do: {LIMITS['belt_pull'].cure}.",)
        if case.belts in (LOOK_AGAIN, STOP)
        else ()
    )


def thumb_words(result: Ratios, units: str = "metric") -> str:
    """Return the choice beside the rule of thumb, and where they differ, why."""
    choice = result.choice
    if choice is None:
        return ""
    case = result.cases[choice.index]
    rule = (
        f"Kv / ratio is {case.wheel_kv_rpm_per_v:.1f} rpm/V, with this wheel and pack as fast as "
        f"{case.usual_wheel_kv_rpm_per_v:.1f} on the usual ones; the rule of thumb says about {THUMB_KV:g}"
    )
    if choice.thumb_agrees:
        return f"{rule}: they agree."
    if choice.thumb_nearest is None:
        return f"{rule}, which no candidate comes near."
    return f"{rule}. {_why_not_thumb(case, result.cases[choice.thumb_nearest], units, kept=choice.keeps_all)}"


def _why_not_thumb(case: RatioCase, near: RatioCase, units: str, *, kept: bool = True) -> str:
    """Return the choice beside what the rule says; why it is better only where it is one to take (`kept`)."""
    beside = f"Here {near.reduction.words} comes nearest to it"
    if not near.figures.finished:
        return f"{beside} and does not arrive: {near.figures.stop_reason}."
    energy = f"{near.net_wh_per_km / case.net_wh_per_km - 1.0:+.1%} energy, " if case.net_wh_per_km > 0.0 else ""
    winding, top = (
        f"{shown(first, suffix, units, 0)} against {shown(second, suffix, units, 0)}"
        for first, second, suffix in (
            (near.figures.peak_winding_temp_c, case.figures.peak_winding_temp_c, "c"),
            (
                near.top_speed_cold_pedalled_half_charge_km_h,
                case.top_speed_cold_pedalled_half_charge_km_h,
                "km_h",
            ),
        )
    )
    current = f"{near.figures.sustained_motor_current_a:.0f} A against {case.figures.sustained_motor_current_a:.0f} A"
    told = f"{beside}: {energy}winding {winding}, sustained motor current {current}, top speed {top}."
    if not kept:
        return told
    if near.total_ratio < case.total_ratio:
        return f"{told} This road's climbs pay for slower gearing: more motor turns, less current, less copper loss."
    if case.held_by_heat:
        return f"{told} Heat holds this ride back, so that faster gearing is slower, and takes less for that."
    return f"{told} This ride is light enough for faster gearing: fewer motor turns, less iron loss."


def _name(case: RatioCase) -> str:
    reduction = case.reduction
    if reduction.driver_teeth is None:
        return f"a ratio of {reduction.words}"
    return f"{reduction.words} teeth (ratio {reduction.ratio:.2f})"


def shown_rows(result: Ratios) -> list[int]:
    """Return which candidates a table shows: all, or an even choice with the recommended and the present one."""
    count = len(result.cases)
    if count <= MOST_ROWS:
        return list(range(count))
    kept = {round(at) for at in np.linspace(0, count - 1, MOST_ROWS - 2)}
    if result.choice is not None:
        kept.add(result.choice.index)
    kept.add(min(range(count), key=lambda each: abs(result.cases[each].reduction.ratio - result.present_ratio)))
    return sorted(kept)


def _tables(result: Ratios, units: str) -> tuple[Table, ...]:
    rows = shown_rows(result)
    title = "Each candidate on the road" if len(rows) == len(result.cases) else (
        f"{len(rows)} of {len(result.cases)} candidates on the road; --out and --json hold all")  # fmt: skip
    sure = () if result.common is None else (differences_table(result.common, against(result.common), units),)
    return (
        Table(title, _road_head(result), tuple(_road_row(result, each, units) for each in rows)),
        Table(
            "At full throttle from rest", _start_head(result, units), tuple(_start_row(result, e, units) for e in rows)
        ),
        *sure,
    )


def _road_head(result: Ratios) -> tuple[str, ...]:
    return ("ratio", "Kv/ratio", "time", "energy", "motor A", "pack A", "winding", "body", "breaks")


def _mark(result: Ratios, index: int) -> str:
    words = result.cases[index].reduction.words
    return f"{words} <" if result.choice is not None and index == result.choice.index else words


def _road_row(result: Ratios, index: int, units: str) -> tuple[str, ...]:
    case = result.cases[index]
    broken = result.choice.broken[index] if result.choice is not None else ()
    return (
        _mark(result, index),
        f"{case.wheel_kv_rpm_per_v:.1f}",
        duration(case.figures.total_time_s) if case.figures.finished else "-",
        shown(case.net_wh_per_km, "wh_per_km", units) if case.figures.finished else "-",
        f"{case.figures.sustained_motor_current_a:.0f} ({case.figures.peak_motor_current_a:.0f})",
        f"{case.figures.sustained_pack_current_a:.0f} ({case.figures.peak_pack_current_a:.0f})",
        shown(case.figures.peak_winding_temp_c, "c", units, 0),
        shown(case.figures.peak_body_temp_c, "c", units, 0),
        ", ".join(broken) or "-",
    )


def _start_head(result: Ratios, units: str) -> tuple[str, ...]:
    head = [
        "ratio",
        "top, start charge",
        "top, half charge",
        f"to {shown(result.accelerate_to_km_h, 'km_h', units, 0)}",
        "steepest start",
    ]
    if _has_pairs(result):
        head += ["turns", "teeth in mesh", "outside diameter"]
    return tuple(head)


def _has_pairs(result: Ratios) -> bool:
    return any(case.reduction.driver_teeth is not None for case in result.cases)


def _start_row(result: Ratios, index: int, units: str) -> tuple[str, ...]:
    case = result.cases[index]
    row = [
        _mark(result, index),
        shown(case.top_speed_cold_pedalled_start_charge_km_h, "km_h", units),
        shown(case.top_speed_cold_pedalled_half_charge_km_h, "km_h", units),
        "-" if case.accelerate_s is None else f"{case.accelerate_s:.1f} s",
        f"{case.steepest_start_percent:.0f} %",
    ]
    if _has_pairs(result):
        mesh, outside = case.reduction.teeth_in_mesh, case.reduction.outside_diameter_mm
        row += [
            f"{case.reduction.ratio:.2f}",
            "-" if mesh is None else f"{mesh:.1f}",
            "-" if outside is None else f"{outside:.0f} mm",
        ]
    return tuple(row)
