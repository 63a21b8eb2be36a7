"""Words and pictures of "how does the throttle law matter?"."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ridesim.report.spread.common import difference_words, differences_table, law_differences, stopped_words
from ridesim.report.text import duration, shown
from ridesim.report.view import Table, View
from ridesim.ride.judge import FINE
from ridesim.units import from_si, to_si, told

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ridesim.studies.throttle import Throttle, ThrottleCase

ALIKE_SHARE = 0.01
"""Rides whose heat differs by less than this are told as one."""
ALIKE_K = 5.0
"""Peaks of the winding closer than this are as good as the same (guess)."""
SURGE = 1.2
"""A peak this many times the set current is a surge worth telling (guess)."""
SCALE_ROOM = 2.0
"""The current axis ends at so many times the set current; a higher peak is written, not drawn."""
HOW_WORDS = {
    "torque": (
        "Torque law: the throttle asks for a motor current and never gets more than the set one. It cooks slowly: on a "
        "hill that is too steep the full current stays on while the bike slows to a crawl, when hardly any of it "
        "becomes climbing and the least air cools."
    ),
    "voltage": (
        "Voltage law: the throttle asks for a share of the pack's voltage, and the current is what the hill makes of "
        "it: (applied voltage - back-EMF) / resistance. It cooks at low speed: the slower the motor turns, the more it "
        "takes, most of all from rest, and nothing in the law itself holds it back."
    ),
    "governor": (
        "Governor law: the controller holds the speed at any current. It cooks by obeying: the hill sets the current, "
        "the rider feels nothing but a steady speed, and the first sign of heat is the smell."
    ),
}
CAUTION = (
    "Limits off is for the screen only. A current that no limit holds melts solder, welds contacts, and can set "
    "lithium cells on fire; never try it on a bike."
)


def view(result: Throttle, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer as words and a table, and pictures where they are wanted."""
    speed = shown(result.cruise_speed_km_h, "km_h", units, 0)
    start = "a standing start on the level, then " if result.made_climb else ""
    road = told(result.road.name, units) if result.made_climb else result.road.name
    return View(
        title=f"How does the throttle law matter for {result.loaded.build.name}?",
        question=f"Six rides that all want {speed}: {start}{road}.",
        answer=(
            *_headlines(result, units),
            *_sure_words(result, units),
            *(_law_words(result, law, units) for law in HOW_WORDS),
        ),
        verdict=_own(result).verdict,  # the other rides are lessons
        heeds_chances=result.common is not None,
        tables=(_table(result, units), *_sure_table(result, units)),
        figures=_figures(result, units) if pictures else (),
        notes=(*(told(each, units) for each in result.warnings), *_two_drives(result), _reading(result), CAUTION),
    )


def _two_drives(result: Throttle) -> tuple[str, ...]:
    if not result.drive:
        return ()
    return (
        f"One throttle commands both drives. Motor currents, heat and copper are those of the {result.drive}, whose "
        "winding comes nearest to its limit; the pack's current is of both, and the verdict heeds both.",
    )


def _own(result: Throttle) -> ThrottleCase:
    law = result.loaded.build.controller.throttle_law
    return result.case(law if law in HOW_WORDS else "torque", limits=True)


def _whose(result: Throttle, own: ThrottleCase) -> str:
    law = result.loaded.build.controller.throttle_law
    if law == own.law:
        return f"As built ({law} law, limits on)"
    other = f"the build's own law, {law}, is none of the three; `ridesim ride` rides it"
    return f"Under the {own.law} law, limits on ({other})"


def _headlines(result: Throttle, units: str) -> tuple[str, ...]:
    on = [case for case in result.cases if case.limits]
    off = [case for case in result.cases if not case.limits]
    own = _own(result)
    why = () if own.verdict == FINE else (f"{_whose(result, own)}: {told(own.reasons[0], units)}",)
    return (
        *why,
        _group_words("With the limits on", on, result, units),
        _group_words("With the limits off", off, result, units),
        f"Standing still at full throttle nothing but resistance holds the current: {result.stall_current_a:.0f} A, "
        f"{result.stall_current_a / result.motor_current_limit_a:.1f} times the set {result.motor_current_limit_a:.0f} "
        "A. That is why a stalled start burns the first motor.",
    )


def _sure_words(result: Throttle, units: str) -> tuple[str, ...]:
    """Return whether the coolest law can be told from the next, limits on and off, and how often each passes one."""
    if result.common is None:
        return ()
    half = len(result.cases) // 2
    found = (result.common.best_two("peak_winding_temp_c", of) for of in (range(half), range(half, 2 * half)))
    told = " ".join(difference_words(one, units) for one in found if one is not None)
    return tuple(line for line in (told, stopped_words(result.common)) if line)


def _sure_table(result: Throttle, units: str) -> tuple[Table, ...]:
    if result.common is None:
        return ()
    return (differences_table(result.common, law_differences(result.common), units),)


def _group_words(lead: str, cases: list[ThrottleCase], result: Throttle, units: str) -> str:
    hottest = max(cases, key=lambda case: case.peak_winding_temp_c)
    ridden = [case for case in cases if case.finished or case.winding_over_limit_s > 0.0] or cases
    coolest = min(ridden, key=lambda case: case.peak_winding_temp_c)
    limit = shown(result.winding_limit_c, "c", units, 0)
    burnt = [case.law for case in cases if case.winding_over_limit_s > 0.0]
    low, high = (shown(case.peak_winding_temp_c, "c", units, 0) for case in (coolest, hottest))
    words = f"{lead} the winding reaches {low} ({coolest.law}) to {high} ({hottest.law})"
    if low == high:
        laws = "every law" if ridden == cases else _listed([case.law for case in ridden])
        words = f"{lead} the winding reaches {high} under {laws}"
    words += f"; past its limit of {limit} under {_listed(burnt)}" if burnt else f"; its limit is {limit}"
    stuck = [case.law for case in cases if not case.finished]
    peak = max(case.peak_motor_current_a for case in cases)
    tail = f". The motor current peaks at {peak:.0f} A."
    if hottest.limits and hottest.peak_winding_temp_c - coolest.peak_winding_temp_c < ALIKE_K:
        tail += " The laws hardly differ: the limits guard the motor, and where they are set too high nothing does."
    return f"{words}{'; not up under ' + _listed(stuck) if stuck else ''}{tail}"


def _listed(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _law_words(result: Throttle, law: str, units: str) -> str:
    return f"{HOW_WORDS[law]} Here: {_here(result, law, units)}"


def _here(result: Throttle, law: str, units: str) -> str:
    on, off = result.case(law, limits=True), result.case(law, limits=False)
    if _alike(on, off):
        return f"{_one(on, result, units)}, limits on or off."
    return f"with limits {_one(on, result, units)}; without them {_one(off, result, units)}."


def _alike(one: ThrottleCase, other: ThrottleCase) -> bool:
    apart = abs(one.peak_winding_temp_c - other.peak_winding_temp_c) / max(one.peak_winding_temp_c, 1.0)
    surge = abs(one.peak_motor_current_a - other.peak_motor_current_a) / max(one.peak_motor_current_a, 1.0)
    return max(apart, surge) < ALIKE_SHARE and one.finished == other.finished


def _one(case: ThrottleCase, result: Throttle, units: str) -> str:
    peak = f"peak {case.peak_motor_current_a:.0f} A"
    if case.peak_motor_current_a > SURGE * result.motor_current_limit_a:
        peak += f" ({case.peak_motor_current_a / result.motor_current_limit_a:.1f} times the set current)"
    words = f"{peak}, winding {shown(case.peak_winding_temp_c, 'c', units, 0)}"
    if case.limit_passed_after_min is not None:
        words += f" (past its limit after {duration(to_si(case.limit_passed_after_min, 'min'))})"
    if not case.finished:
        return f"{words}, ended at {shown(case.distance_km, 'km', units)} because {case.stop_reason}"
    return f"{words}, {shown(case.slowest_on_climb_km_h, 'km_h', units)} at the slowest"


def _table(result: Throttle, units: str) -> Table:
    head = ("law", "limits", "time", "slowest", "peak", "rms", "pack peak", "winding", "body", "copper", "ended")
    rows = tuple(
        (
            case.law,
            "on" if case.limits else "off",
            duration(to_si(case.time_min, "min")),
            shown(case.slowest_on_climb_km_h, "km_h", units),
            shown(case.peak_motor_current_a, "a", units, 0),
            shown(case.rms_motor_current_a, "a", units, 0),
            shown(case.peak_pack_current_a, "a", units, 0),
            shown(case.peak_winding_temp_c, "c", units, 0),
            shown(case.peak_body_temp_c, "c", units, 0),
            shown(case.copper_loss_wh, "wh", units, 0),
            case.stop.replace("_", " "),
        )
        for case in result.cases
    )
    return Table("Six rides up one climb", head, rows)


def _reading(result: Throttle) -> str:
    return (
        f"Motor currents read as the controller does: {result.motor_current_reading}. With the limits off the torque "
        "law keeps its set current, since that is what its throttle means; foldbacks, pack limits and speed limits go."
    )


def _figures(result: Throttle, units: str) -> tuple[tuple[str, Figure], ...]:
    return (
        ("Limits on: motor current and winding temperature against time", draw_group(result, True, units)),
        ("Limits off: the same climb, the same scales", draw_group(result, False, units)),
    )


def draw_group(result: Throttle, limits: bool, units: str = "metric") -> Figure:
    """Return motor current and winding temperature against time, one line a law."""
    from ridesim.report.style import COLOURS, DASHES, in_units, key, limit_line, new_figure, quantity_label

    figure, (amps, heat) = new_figure(rows=2, height_mm=130.0)
    styles = list(zip(COLOURS, DASHES, strict=True))[:3]
    top = SCALE_ROOM * result.motor_current_limit_a
    chosen = [(c, r) for c, r in zip(result.cases, result.rides, strict=True) if c.limits == limits]
    over: list[tuple[str, float, str]] = []
    for (case, ride), (colour, dash) in zip(chosen, styles, strict=True):
        table = ride.trace
        minutes = from_si(table["time_s"].to_numpy(), "min")
        amps.plot(minutes, np.minimum(table["motor_current_high_a"], 2.0 * top), color=colour, linestyle=dash)
        heat.plot(minutes, in_units(table["winding_temp_c"], "c", units), color=colour, linestyle=dash)
        if not case.finished:
            _mark_end(heat, float(minutes[-1]), float(in_units(table["winding_temp_c"].iloc[-1], "c", units)), colour)
        if case.peak_motor_current_a > top:
            over.append((case.law, case.peak_motor_current_a, colour))
    entries: list[tuple[str, str, Any]] = [(case.law, *style) for (case, _), style in zip(chosen, styles, strict=True)]
    key(amps, entries, columns=3)
    _write_peaks(amps, over)
    limit_line(amps, result.motor_current_limit_a, "set motor current", at=0.98)
    limit_line(heat, float(in_units(result.winding_limit_c, "c", units)), "winding limit", at=0.98)
    amps.set_ylim(0.0, top)
    amps.set_ylabel(quantity_label("motor_current_a"))
    hottest = max([case.peak_winding_temp_c for case in result.cases] + [result.winding_limit_c])
    heat.set_ylim(top=float(in_units(1.12 * hottest, "c", units)))
    heat.set_ylabel(quantity_label("winding_temp_c", units))
    heat.set_xlim(0.0, max(case.time_min for case in result.cases))
    heat.set_xlabel(quantity_label("time_s", suffix="min"))
    return figure


def _mark_end(axes: Axes, x: float, y: float, colour: str) -> None:
    axes.plot([x], [y], marker="X", markersize=8, color=colour, zorder=5)


def _write_peaks(axes: Axes, over: list[tuple[str, float, str]]) -> None:
    """Write the peaks that pass the top of the picture."""
    if over:
        from ridesim.report.style import INK

        words = "off the scale: " + ", ".join(f"{law} {peak:.0f} A" for law, peak, _ in over)
        axes.annotate(
            words, (0.02, 0.97), xycoords="axes fraction", color=INK, ha="left", va="top",
            bbox={"facecolor": "white", "alpha": 0.8, "edgecolor": "none", "pad": 1.0}, zorder=6,
        )  # fmt: skip
