"""A rewind as words, tables and a picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridesim.report.text import shown
from ridesim.report.view import Table, View
from ridesim.report.workshop_words import list_table
from ridesim.units import told
from ridesim.workshop.winding.plan import MOST_RIDDEN, RewindPlan, words_of
from ridesim.workshop.winding.rewind import Rewind
from ridesim.workshop.winding.ridden import RiddenWinding

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SOURCE_WORDS = (
    "Scaling at one tooth layout: Kv ~ 1/turns, resistance ~ turns squared over copper (Hendershot and Miller 2010, "
    "from memory); copper: IEC 60028. Slot fill 0.40 by hand and 3 to 6 A/mm² are common practice, no source."
)
DENSITY_WORDS = "Current density is a rule of thumb; with a BUILD, the ride with the new winding decides."


def view(result: RewindPlan, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer about a rewind."""
    question = {
        "this Kv": f"What must be wound to get {result.wanted_kv_rpm_per_v} rpm/V?",
        "this winding": "What does the motor become with the new winding?",
        "the other connection": "What does the motor become when today's winding is joined the other way?",
    }[result.asked]
    return View(
        title="Rewinding the motor",
        question=question,
        answer=(
            f"{words_of(result.new.winding)}: {result.new.kv_rpm_per_v:.1f} rpm/V; {told(result.judged, units)}.",
            *(told(line, units) for line in _heat(result)),
            *_ridden(result, units),
        ),
        verdict=result.verdict,
        tables=(_compare(result, units), *_candidates(result, units), *_joining(result, wrapped=not pictures)),
        figures=_figures(result) if pictures else (),
        notes=(SOURCE_WORDS, DENSITY_WORDS, *result.cautions),
    )


def _heat(result: RewindPlan) -> list[str]:
    ratio = result.new.heat_ratio
    lines = [
        f"At the same torque the copper makes {ratio:.2f} times today's heat: it depends on the copper in the slot "
        f"({result.new.copper_area_ratio:.2f} times today's), not on the turns."
    ]
    if result.new.copper_loss_w is not None and result.today.copper_loss_w is not None:
        lines.append(
            f"At {result.torque_nm:.2f} N·m that is {result.new.copper_loss_w:.0f} W at 20 °C (today "
            f"{result.today.copper_loss_w:.0f} W) with {result.new.current_a:.1f} A DC-equivalent (today "
            f"{result.today.current_a:.1f} A)."
        )
    return lines


def _ridden(result: RewindPlan, units: str) -> list[str]:
    today, new = result.today_ridden, result.new_ridden
    if today is None or new is None or today.peak_winding_temp_c is None or new.peak_winding_temp_c is None:
        return []
    allowed = shown(new.winding_limit_c, "c", units, 0)
    return [
        f"Ridden ({new.ridden}): the winding reaches {_hot(new, units)} of {allowed} allowed, today's "
        f"{_hot(today, units)}; {shown(new.mean_speed_km_h, 'km_h', units)} on the mean, today "
        f"{shown(today.mean_speed_km_h, 'km_h', units)}; motor alone on the level at most "
        f"{shown(new.top_speed_km_h, 'km_h', units)}, today {shown(today.top_speed_km_h, 'km_h', units)}.",
        *_limit_words(result, new),
    ]


OTHER_KV = 0.05
"""A Kv that differs by less leaves the current limit as good as it was (guess)."""


def _limit_words(result: RewindPlan, new: RiddenWinding) -> list[str]:
    """The limit that a controller keeps is another torque on another Kv: too much heat, or too little pull."""
    ratio, limit = result.new.kv_rpm_per_v / result.today.kv_rpm_per_v, new.motor_current_limit_a
    if limit is None or abs(ratio - 1.0) < OTHER_KV:
        return []
    effect = (
        "left as it is the motor pulls harder, and heats more, wherever that limit is met"
        if ratio < 1.0
        else "left as it is the motor pulls less wherever that limit is met, if the controller bears no more"
    )
    return [
        f"It is ridden with controller.motor_current_limit_a as it is, {limit:g} A; today's greatest torque takes "
        f"{limit * ratio:.0f} A: {effect}."
    ]


def _joining(result: RewindPlan, *, wrapped: bool) -> tuple[Table, ...]:
    if not result.joining:
        return ()
    return (list_table("Joining the leads", "what to mind", result.joining, wrapped=wrapped),)


def _shown(value: float | None, digits: int, unit: str) -> str:
    return "-" if value is None else f"{value:.{digits}f} {unit}".rstrip()


def _cells(each: Rewind, ridden: RiddenWinding | None, units: str) -> tuple[str, ...]:
    return (
        words_of(each.winding),
        f"{each.kv_rpm_per_v:.2f} rpm/V",
        f"{each.resistance_mohm:.2f} mΩ",
        _shown(each.resistance_from_length_mohm, 2, "mΩ"),
        f"{each.torque_per_current_nm_per_a:.4f} N·m/A",
        f"{each.heat_ratio:.3f}",
        _shown(each.slot_fill, 3, ""),
        "-" if each.copper_mass_kg is None else shown(each.copper_mass_kg, "kg", units, 3),
        _shown(each.current_a, 1, "A"),
        _shown(each.current_density_a_per_mm2, 1, "A/mm²"),
        _shown(each.copper_loss_w, 0, "W"),
        _hot(ridden, units),
        each.verdict,
        "-" if ridden is None else ridden.verdict,
    )


def _hot(ridden: RiddenWinding | None, units: str) -> str:
    return "-" if ridden is None else shown(ridden.peak_winding_temp_c, "c", units, 0)


ROWS = (
    "winding", "Kv", "resistance, 20 °C", "computed from the wire", "torque per ampere", "heat at the same torque",
    "slot fill", "copper on the teeth", "current at the torque", "density in the wire", "copper loss",
    "hottest in the ride", "the wire says", "the ride says",
)  # fmt: skip


def _compare(result: RewindPlan, units: str) -> Table:
    today, new = _cells(result.today, result.today_ridden, units), _cells(result.new, result.new_ridden, units)
    rows = zip((told(row, units) for row in ROWS), today, new, strict=True)
    return Table("Today and new", ("", "today", "new"), tuple(rows))


def _candidates(result: RewindPlan, units: str) -> tuple[Table, ...]:
    if not result.candidates:
        return ()
    rows = tuple(
        (words_of(each.result.winding), f"{each.result.kv_rpm_per_v:.1f}", f"{each.kv_error_percent:+.1f} %",
         f"{each.result.resistance_mohm:.2f} mΩ", f"{each.result.heat_ratio:.2f}",
         _shown(each.result.slot_fill, 2, ""), _hot(each.ridden, units), each.result.verdict,
         "-" if each.ridden is None else each.ridden.verdict)
        for each in result.candidates[:MOST_RIDDEN]
    )  # fmt: skip
    head = ("winding", "rpm/V", "off by", "resistance", "heat", "fill", "hottest", "wire", "ride")
    return (Table("Windings that come near, the nearest first", head, rows),)


def _figures(result: RewindPlan) -> tuple[tuple[str, Figure], ...]:
    if not result.candidates:
        return ()
    from ridesim.report.winding.figure import draw_candidates

    return (("Kv and heat of the windings that come near the wish", draw_candidates(result)),)
