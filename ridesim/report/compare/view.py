"""Words of "which build?"."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from ridesim.report.compare.taking import take_words
from ridesim.report.spread.common import best_differences, difference_words, differences_table, stopped_words
from ridesim.report.study_words import AS_IT_STANDS, LOSS_WORDS, nearer_words
from ridesim.report.text import VERDICT_MARKS, duration, shown
from ridesim.report.view import Table, View
from ridesim.ride.lap import rise_a_lap_m
from ridesim.ride.limits import FINE
from ridesim.units import for_people, from_si, told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.studies.compare import Comparison, Entry, RoadComparison
    from ridesim.studies.compare_rows import RoadRide, Row

MOST_KEYS = 20
"""Differing keys that a table still shows; JSON holds all."""
TOLD_ROWS = 3
CURRENT_WORDS = (
    "Motor currents are DC-equivalent here, so that sine-wave and six-step drives compare; a sine-wave drive shows "
    "1.155 times as much (the amplitude of its phase current)."
)
MASS_WORDS = (
    "Belts, pulleys, brackets and a hub motor's rim are not weighed apart: they count where the build puts them, "
    "mostly in the bicycle's mass."
)
SURE_OF = ("net_energy_wh", "total_time_s", "peak_winding_temp_c")
UNTOLD = frozenset({"peak_winding_temp_c", "lost_fraction", "distance_km"})
"""Rows that repeat another one: left out of the words, kept in the table."""


def view(result: Comparison, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer to "which build?" as words and tables, and pictures where they are wanted."""
    labels = [each.label for each in result.entries]
    roads = ", ".join(each.road.name for each in result.roads)
    heeds_chances = all(road.common is not None for road in result.roads)
    return View(
        title=" or ".join(labels) + "?",
        question=f"Each build on the same roads ({roads}), the largest differences first.",
        answer=(
            *take_words(result),
            *(line for road in result.roads for line in (*_road_words(road, labels, units), *_sure_words(road, units))),
            _mass_words(result.entries, units),
            *_loss_words(result),
        ),
        tables=_tables(result, units),
        figures=_figures(result, units) if pictures else (),
        heeds_chances=heeds_chances,
        notes=(
            *(() if heeds_chances else (AS_IT_STANDS,)),
            CURRENT_WORDS,
            *nearer_words(entry.loaded.build for entry in result.entries),
            MASS_WORDS,
            *_one_way(result),
            *_keys_note(result),
            *(told(each, units) for each in result.warnings),
        ),
    )


def _figures(result: Comparison, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.compare.figure import draw_along, draw_losses

    made: list[tuple[str, Figure]] = []
    for road in result.roads:
        made.append((f"Where energy was lost on {road.road.name}", draw_losses(result, road)))
        made.append((f"Speed and winding temperature along {road.road.name}", draw_along(result, road, units)))
    return tuple(made)


def _road_words(road: RoadComparison, labels: Sequence[str], units: str) -> list[str]:
    lines = (_verdicts(road, labels, units), _arrivals(road, labels), _heat(road, labels, units),
             _told(road, labels, units))  # fmt: skip
    return [line for line in lines if line]


def _verdicts(road: RoadComparison, labels: Sequence[str], units: str) -> str:
    """Each build's verdict on a road, with the first reason of those that are not fine."""
    parts = []
    for label, ride in zip(labels, road.rides, strict=True):
        why = "" if ride.verdict == FINE else f" ({told(ride.reasons[0].split('. ')[0], units).rstrip('.')})"
        parts.append(f"{label} {VERDICT_MARKS[ride.verdict]}{why}")
    return f"On {road.road.name}: {'; '.join(parts)}."


def _sure_words(road: RoadComparison, units: str) -> list[str]:
    """Return what of the differences is real: those told apart, then those that are not."""
    if road.common is None:
        return []
    sure = " ".join(difference_words(one, units) for one in best_differences(road.common, SURE_OF))
    return [line for line in (sure, stopped_words(road.common)) if line]


def _heat(road: RoadComparison, labels: Sequence[str], units: str) -> str:
    hot = [
        f"{label} ({shown(ride.motor.peak_winding_temp_c, 'c', units, 0)})"
        for label, ride in zip(labels, road.rides, strict=True)
        if ride.winding_margin_k < 0.0
    ]
    return f"On {road.road.name} the winding gets hotter than its class allows in {' and '.join(hot)}." if hot else ""


def _arrivals(road: RoadComparison, labels: Sequence[str]) -> str:
    late = [
        f"{label} ({ride.figures.stop_reason})"
        for label, ride in zip(labels, road.rides, strict=True)
        if not ride.figures.finished
    ]
    verb = "does" if len(late) == 1 else "do"
    return f"On {road.road.name} {' and '.join(late)} {verb} not arrive." if late else ""


def _told(road: RoadComparison, labels: Sequence[str], units: str) -> str:
    telling = [
        row for row in road.rows if row.better and not row.same and row.name not in UNTOLD and None not in row.values
    ]
    if not telling:
        return f"On {road.road.name} they ride alike: nothing differs by more than 2 %."
    parts = [f"{row.words} {_against(row, units)}" for row in telling[:TOLD_ROWS]]
    return f"On {road.road.name} ({', '.join(labels)}): {'; '.join(parts)}."


def _against(row: Row, units: str) -> str:
    return " against ".join(row_value(row, value, units) for value in row.values)


def row_value(row: Row, value: float | None, units: str) -> str:
    """Return one figure of a row as people read it."""
    if value is None:
        return "no end" if row.name == "range_km" else "-"
    if row.unit == "fraction":
        return f"{value:.0%}"
    if row.unit == "s":
        return duration(value)
    return shown(value, row.unit, units, 0 if row.unit in ("c", "k") else 1)


def _mass_words(entries: Sequence[Entry], units: str) -> str:
    drive = " against ".join(shown(each.masses_kg["motor, controller and pack"], "kg", units) for each in entries)
    whole = " against ".join(shown(each.masses_kg["all that rolls"], "kg", units, 0) for each in entries)
    return f"Motor, controller and pack weigh {drive}, all that rolls {whole}."


def _loss_words(result: Comparison) -> tuple[str, ...]:
    lines = []
    for road in result.roads:
        if not all(ride.figures.finished for ride in road.rides):
            continue
        line = max(LOSS_WORDS, key=lambda name: _span([ride.losses_wh[name] for ride in road.rides]))
        values = " against ".join(f"{ride.losses_wh[line]:.0f} Wh" for ride in road.rides)
        told = [f"{ride.lost_fraction:.0%}" for ride in road.rides if ride.lost_fraction is not None]
        shares = f"{' against '.join(told)} of the energy is lost before the wheel and in the brakes; "
        lead = shares if len(told) == len(road.rides) else ""  # a fall of the road has no such share
        lines.append(f"On {road.road.name} {lead}the losses differ most in {LOSS_WORDS[line]}: {values}.")
    return tuple(lines)


def _span(values: Sequence[float]) -> float:
    return max(values) - min(values)


def _tables(result: Comparison, units: str) -> tuple[Table, ...]:
    labels = tuple(each.label for each in result.entries)
    tables = []
    for road in result.roads:
        tables.append(_road_table(road, labels, units))
        if road.common is not None:
            tables.append(differences_table(road.common, best_differences(road.common), units))
        tables.append(_loss_table(road, labels))
    tables.append(_drive_table(result, labels, units))
    if 0 < len(result.keys_that_differ) <= MOST_KEYS:
        rows = tuple((name, *map(_value, values)) for name, values in result.keys_that_differ.items())
        tables.append(Table("Keys that differ", ("key", *labels), rows))
    return tuple(tables)


def _value(value: Any) -> str:
    if value is None or value == ():
        return "-"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _road_table(road: RoadComparison, labels: tuple[str, ...], units: str) -> Table:
    rows = [
        (
            row.words,
            *(row_value(row, value, units) for value in row.values),
            _difference(row, units),
            _best(row, labels, units, _arrived(road, row)),
        )
        for row in road.rows
    ]
    return Table(f"On {road.road.name}", ("", *labels, "difference", "better"), tuple(rows))


def _difference(row: Row, units: str) -> str:
    """Return the second against the first of two builds, else the span of all."""
    known = [value for value in row.values if value is not None]
    if len(known) < len(row.values) or len(known) < 2:
        return "-"
    if row.same:
        return "alike"
    if row.share_of:
        return f"{row.spread:.0%} {row.share_of}"
    two = len(known) == 2
    apart, sign = (known[1] - known[0], "+") if two else (_span(known), "")
    if row.unit in ("c", "k"):
        degrees, symbol = for_people(apart, "k", units)
        return f"{degrees:{sign}.0f} {symbol}"
    if row.unit == "fraction":
        return f"{from_si(apart, 'percent'):{sign}.0f} points"
    if not all(_bears_percent(row, value, units) for value in (known[:1] if two else known)):
        return f"{sign if apart > 0.0 else ''}{row_value(row, apart, units)}"
    return f"{known[1] / known[0] - 1.0:+.0%}" if two else f"{row.spread:.0%}"


FIGURES_OF_A_BASE = 2
"""A percentage of a figure that shows fewer digits than this says more than the figure knows (guess)."""
SMALLEST_BASE = 0.2
"""A base that is a smaller part of the other than this (guess): +1323 % tells nobody, the difference itself does."""


def _bears_percent(row: Row, value: float, units: str) -> bool:
    """Return whether a figure, as it is shown, is far enough from nothing to take percentages of it."""
    digits = row_value(row, value, units).split(" ")[0].lstrip("-+").replace(".", "").lstrip("0")
    most = max(abs(each) for each in row.values if each is not None)
    return value > 0.0 and abs(value) >= SMALLEST_BASE * most and (row.unit == "s" or len(digits) >= FIGURES_OF_A_BASE)


OF_ANY_RIDE = frozenset({"distance_km", "range_km"})


def _arrived(road: RoadComparison, row: Row) -> list[bool]:
    """Which builds count in a row: one that got stuck at once has the coolest cells, and is no better for it."""
    return [ride.figures.finished or row.name in OF_ANY_RIDE for ride in road.rides]


def _best(row: Row, labels: Sequence[str], units: str, counts: Sequence[bool]) -> str:
    """The build that is better, with those that are as good to the digits shown; nothing where all are."""
    each_of = zip(row.values, labels, counts, strict=True)
    known = [(value, label) for value, label, counted in each_of if value is not None and counted]
    if row.same or not row.better or len(known) < 2:
        return ""
    best = row_value(row, (min if row.better == "low" else max)(known)[0], units)
    as_good = [label for value, label in known if row_value(row, value, units) == best]
    return ", ".join(as_good) if len(as_good) < len(known) else ""


def _loss_table(road: RoadComparison, labels: tuple[str, ...]) -> Table:
    rows = [
        (words, *(f"{max(ride.losses_wh[name], 0.0):.1f}" for ride in road.rides)) for name, words in LOSS_WORDS.items()
    ]
    rows.append(("all of these", *(_lost(ride) for ride in road.rides)))
    return Table(f"Lost on {road.road.name} [Wh]", ("", *labels), tuple(rows))


def _lost(ride: RoadRide) -> str:
    share = "" if ride.lost_fraction is None else f" ({ride.lost_fraction:.0%})"
    return f"{ride.lost_wh:.1f}{share}"


def _drive_table(result: Comparison, labels: tuple[str, ...], units: str) -> Table:
    from ridesim.studies.compare import PUSH_N

    entries, push = result.entries, shown(PUSH_N, "n", units, 0)
    rows = [(name, *(shown(each.masses_kg[name], "kg", units, 2) for each in entries)) for name in entries[0].masses_kg]
    rows += [
        ("energy in a full pack", *(f"{each.pack_wh:.0f} Wh" for each in entries)),
        ("Kv / ratio", *map(_wheel_kv, entries)),
        (f"copper loss for {push} at the wheel", *(f"{each.copper_at_push_w:.0f} W" for each in entries)),
        ("top speed, start charge, motor cold",
         *(shown(each.top_speed_cold_pedalled_start_charge_km_h, "km_h", units) for each in entries)),
        ("top speed, half charge, motor cold",
         *(shown(each.top_speed_cold_pedalled_half_charge_km_h, "km_h", units) for each in entries)),
        (
            f"from rest to {shown(result.accelerate_to_km_h, 'km_h', units, 0)}",
            *("-" if each.accelerate_s is None else f"{each.accelerate_s:.1f} s" for each in entries),
        ),
        ("steepest start", *(f"{each.steepest_start_percent:.0f} %" for each in entries)),
    ]  # fmt: skip
    return Table("Mass and drive (full throttle on the level, rider pedalling, still air)", ("", *labels), tuple(rows))


def _one_way(result: Comparison) -> tuple[str, ...]:
    return tuple(
        f"{road.road.name} does not come back to its height, and each lap goes on from there: its ranges are those of "
        "climbing (or descending) on and on."
        for road in result.roads
        if rise_a_lap_m(road.road)
    )


def _keys_note(result: Comparison) -> tuple[str, ...]:
    count = len(result.keys_that_differ)
    return (f"The builds differ in {count} keys; --json lists them all.",) if count > MOST_KEYS else ()


def _wheel_kv(entry: Entry) -> str:
    """Return the wheel's unloaded rpm per volt, of two different drives both."""
    both = (entry.wheel_kv_rpm_per_v, entry.second_wheel_kv_rpm_per_v)
    return f"{' and '.join(f'{each:.1f}' for each in both if each is not None)} rpm/V"
