"""Words and pictures of "how far?"."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from ridesim.report.cold_words import cell_in_the_cold
from ridesim.report.spread.beside import span_text
from ridesim.report.spread.view import answer_text
from ridesim.report.study_words import condition_words, nearer_words
from ridesim.report.text import sentence, shown
from ridesim.report.view import Table, View
from ridesim.ride.bounds import BY_NAME
from ridesim.ride.lap import FALLS_AWAY
from ridesim.ride.limits import FINE, LOOK_AGAIN, STOP
from ridesim.studies.reach import AGED_PACK, AS_BUILT, COLD, COLD_AND_AGED, COLD_DAY
from ridesim.units import told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.road.profile import Road
    from ridesim.studies.reach import Reach, ReachCase

PACK_STOPS = ("pack_empty", "low_voltage")
ENDED = {"stalled": "got stuck", "over_temperature": "winding burnt"}
"""How a ride ended, in short, where the code is no plain word."""
Ends: TypeAlias = tuple[float, float | None] | None
JUMP_WORDS = (
    "A colder or older pack goes as far here, or farther: a range ends where the next hill is too much for the pack, "
    "so that it jumps by whole hills. The energy a distance is the steadier measure."
)
RESERVE_WORDS = "Leave a reserve: headwind, a detour or a soft tyre are not in these figures."
COLD_WORDS = "Do not charge lithium cells below {freezing}."


def view(result: Reach, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer to "how far?" as words and tables, and pictures where they are wanted."""
    base = result.base
    way = pace(result.road, base.cruise_speed_km_h, units)
    return View(
        title=f"How far does {result.loaded.build.name} go on {result.road.name}?",
        question=f"The road is ridden over and over {way} until something ends it.",
        answer=(
            _headline(base, way, units, result.span_km),
            *_span(result, units),
            *_held(result),
            *_stops(result, units),
            *_worst_day(result, units),
            *_speeds(result, units),
        ),
        verdict=_verdict(result),
        tables=_tables(result, units),
        figures=_figures(result, units) if pictures else (),
        notes=_notes(result, units),
    )


def pace(road: Road, cruise_km_h: float, units: str = "metric") -> str:
    """Return at what speed a road is ridden, in words."""
    if road.cycle is not None:
        return "at the speeds of its clock"
    return f"at {pace_km_h(cruise_km_h, units)}"


def pace_km_h(cruise_km_h: float, units: str = "metric") -> str:
    """Return a cruise speed as people set it: whole where it is whole."""
    whole = units == "metric" and cruise_km_h == round(cruise_km_h)
    return shown(cruise_km_h, "km_h", units, 0 if whole else 1)


def _speed(case: ReachCase, units: str) -> str:
    return pace_km_h(case.cruise_speed_km_h, units)


def _far(case: ReachCase, units: str, ends: Ends = None) -> str:
    if case.stop_reason == FALLS_AWAY:
        return "not told"
    return "no end" if case.range_km is None else answer_text("range_km", case.range_km, units, ends)


def _headline(base: ReachCase, way: str, units: str, ends: Ends = None) -> str:
    if base.stop_reason == FALLS_AWAY:
        return f"No range is told: {FALLS_AWAY}. Give the whole round."
    if base.range_km is None:
        return (
            f"No end in sight: after {base.time_h:.0f} h of riding the pack still had {base.charge_left_fraction:.0%}."
        )
    laps = f"{base.laps:.1f} times the road" if base.laps >= 1.0 else f"{base.laps:.0%} of the road, not once around"
    return (
        f"{_far(base, units, ends)} {way} ({laps}, {base.time_h:.1f} h); then {base.stop_reason}, with "
        f"{max(base.charge_left_fraction, 0.0):.0%} of charge left."
    )


def _span(result: Reach, units: str) -> tuple[str, ...]:
    """Say how far the range may be off."""
    if result.span_km is None:
        return ()
    span = span_text(result.span_km, "range_km", units).strip(" []")
    return (f"In 8 of 10 bikes like it the range is {span or 'the same'}.",)


def _held(result: Reach) -> tuple[str, ...]:
    """Say what held the motor back where a hill, not the pack, ended the ride."""
    last = result.curves[0].last_limit
    if result.base.stop != "stalled" or last == "none":
        return ()
    return (f"What held the motor back there: {BY_NAME[last].words}.",)


def _stops(result: Reach, units: str) -> tuple[str, ...]:
    base = result.base
    return tuple(f"On the way: {sentence(told(reason, units))}" for reason in (*base.stops, *base.looks))


def _verdict(result: Reach) -> str:
    base = result.base
    if base.stop not in (*PACK_STOPS, "time_limit", "finished") or base.stops:
        return STOP
    # Not once around is a ride that does not arrive, and `ridesim ride` stops it.
    if base.laps < 1.0:
        return STOP
    return LOOK_AGAIN if base.looks else FINE


def _figures(result: Reach, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.reach.figure import draw_curves, draw_speeds

    speeds = [("Range against cruise speed; each point is a ride to its end", draw_speeds(result, units))]
    if len(result.speeds) < 2 or all(case.stop_reason == FALLS_AWAY for case in result.speeds):
        speeds = []
    return (
        ("Charge and voltage against distance until the ride ends", draw_curves(result, units)),
        *speeds,
    )


def _worst_day(result: Reach, units: str) -> tuple[str, ...]:
    worst = result.conditions[-1]
    if worst is result.base or result.base.stop_reason == FALLS_AWAY:
        return ()
    words = condition_words(result, worst.condition, units)
    line = f"{words[0].upper()}{words[1:]}: {_far(worst, units)}"
    if worst.stop != result.base.stop:
        line += f"; there {worst.stop_reason}"
    return (line + ".",)


def _change(case: ReachCase, base: ReachCase) -> str:
    if case is base or case.range_km is None or not base.range_km:
        return "-"
    change = f"{case.range_km / base.range_km - 1.0:+.0%}"
    return "0%" if change in ("+0%", "-0%") else change


def _speeds(result: Reach, units: str) -> tuple[str, ...]:
    slow, fast = result.speeds[0], result.speeds[-1]
    if slow is fast or slow.range_km is None or fast.range_km is None:
        return ()
    line = (
        f"Speed costs range: {_far(slow, units)} at {_speed(slow, units)}, {_far(fast, units)} at {_speed(fast, units)}"
    )
    if fast.mean_speed_km_h < 0.9 * fast.cruise_speed_km_h:
        line += f", where the bike only reaches {shown(fast.mean_speed_km_h, 'km_h', units)} on average"
    return (line + ".",)


def _tables(result: Reach, units: str) -> tuple[Table, ...]:
    head = ("condition", "range", "change", "ended by", "charge left", "lowest", "energy", "winding")
    rows = tuple(
        (
            condition_words(result, case.condition, units),
            _far(case, units),
            _change(case, result.base),
            ENDED.get(case.stop, case.stop.replace("_", " ")),
            f"{max(case.charge_left_fraction, 0.0):.0%}",
            f"{case.lowest_pack_voltage_v:.1f} V",
            shown(case.net_wh_per_km, "wh_per_km", units),
            shown(case.peak_winding_temp_c, "c", units, 0),
        )
        for case in result.conditions
    )
    tables = [Table(f"Ridden {pace(result.road, result.base.cruise_speed_km_h, units)}", head, rows)]
    if len(result.speeds) > 1 and any(case.stop_reason != FALLS_AWAY for case in result.speeds):
        tables.append(_speed_table(result, units))
    return tuple(tables)


def _speed_table(result: Reach, units: str) -> Table:
    head = ["cruise speed", "range", "ended by", "energy", "mean speed"]
    worst = {case.cruise_speed_km_h: case for case in result.worst_speeds}
    if worst:
        head.append("worst day")
    rows = []
    for case in result.speeds:
        row = [
            _speed(case, units),
            _far(case, units),
            ENDED.get(case.stop, case.stop.replace("_", " ")),
            shown(case.net_wh_per_km, "wh_per_km", units),
            shown(case.mean_speed_km_h, "km_h", units),
        ]
        if worst:
            row.append(_far(worst[case.cruise_speed_km_h], units))
        rows.append(tuple(row))
    title = "Speed against range"
    if worst:
        title += f"; worst day: {condition_words(result, result.conditions[-1].condition, units)}"
    return Table(title, tuple(head), tuple(rows))


HARDER = (
    (AS_BUILT, COLD_DAY),
    (COLD_DAY, COLD),
    (AS_BUILT, AGED_PACK),
    (COLD, COLD_AND_AGED),
    (AGED_PACK, COLD_AND_AGED),
)
"""Conditions of which the second is the harder on the pack."""


def _worse_goes_farther(result: Reach) -> bool:
    """Return whether a condition that is harder on the pack goes as far: the last hill decides, not the pack alone."""
    far = {case.condition: case.range_km for case in result.conditions if case.range_km is not None}
    if result.cold_c is not None and result.loaded.build.weather.temperature_c <= result.cold_c:
        far.pop(COLD_DAY, None)  # its own day is as cold, and its pack colder
    pairs = ((far[easy], far[hard]) for easy, hard in HARDER if easy in far and hard in far)
    return any(hard >= easy for easy, hard in pairs)


def _notes(result: Reach, units: str) -> tuple[str, ...]:
    notes = []
    if result.rise_a_lap_m:
        rise = shown(abs(result.rise_a_lap_m), "m", units, 0)
        way = "higher" if result.rise_a_lap_m > 0.0 else "lower"
        notes.append(
            f"This road ends {rise} {way} than it began, and each lap goes on from there: it is the range of "
            "climbing (or descending) on and on, not of going there and back. For that, give the whole round."
        )
    notes.append(RESERVE_WORDS)
    notes += nearer_words([result.loaded.build])
    if _worse_goes_farther(result):
        notes.append(JUMP_WORDS)
    if result.cold_c is not None:
        cell = cell_in_the_cold(result.loaded.build.pack.cell, result.cold_c, units)
        notes.append(f"{cell} " + COLD_WORDS.format(freezing=shown(0.0, "c", units, 0)))
    if result.aged is not None:
        notes.append(
            f"Aged pack: {result.aged[0]:.0%} of the capacity (where data sheets commonly end a cell's life; common "
            f"practice, no source) and {result.aged[1]:g} times the resistance (a guess). Measure your own."
        )
    elif result.worn:
        pack = result.loaded.build.pack
        notes.append(
            f"No older pack is told: the build's own, with {pack.capacity_fraction:.0%} of the capacity and "
            f"{pack.resistance_factor:g} times the resistance, is an aged one."
        )
    return (*notes, *(told(each, units) for each in result.warnings))
