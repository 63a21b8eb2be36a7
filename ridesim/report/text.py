"""Answers in plain words and aligned figures, functions of results."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any

from ridesim.report.digits import significant_digits
from ridesim.ride.bounds import BY_NAME
from ridesim.ride.figures import OF_EACH
from ridesim.ride.judge import judge
from ridesim.ride.quantities import SECOND
from ridesim.ride.recorded import against_recording
from ridesim.units import shown
from ridesim.units import told as in_units

if TYPE_CHECKING:
    from ridesim.ride.range import Outlook
    from ridesim.ride.simulate import Ride
    from ridesim.sure.spread import Spread

VERDICT_MARKS = {"fine": "FINE", "look again": "LOOK AGAIN", "stop": "STOP"}
LABEL_WIDTH = 19
LEAST_TOLD_S = 0.5
"""A bound that was met for less would read as 0 s."""
NO_CHANCES = "No chances were drawn: the verdict is of the bike exactly as it stands."


def duration(seconds: float, step_s: float = 1.0) -> str:
    """Return a time as `1 h 05 min`, `12 min 30 s` or `9 s`; `12 min` where it is told to the minute."""
    whole = round(round(seconds / step_s) * step_s)
    if 60 <= whole < 3600 and step_s >= 60.0:
        return f"{whole // 60} min"
    if whole >= 3600:
        minutes = round(whole / 60)
        return f"{minutes // 60} h {minutes % 60:02d} min"
    if whole >= 60:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole} s"


def sentence(words: str) -> str:
    """Return words with one full stop at their end."""
    return f"{words.rstrip().rstrip('.')}."


def lined(rows: Iterable[tuple[str, str]], width: int = LABEL_WIDTH) -> str:
    """Return label and text side by side, one row a line."""
    return "\n".join(f"{label:<{width}}{text}" for label, text in rows)


def columns(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table as text: the first column to the left, the others to the right."""
    table = [list(head), *[list(row) for row in rows]]
    widths = [max(len(row[index]) for row in table) for index in range(len(head))]
    lines = []
    for row in table:
        cells = [
            cell.ljust(width) if index == 0 else cell.rjust(width)
            for index, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    lines.insert(1, "  ".join("-" * width for width in widths))
    return "\n".join(lines)


def ride_text(ride: Ride, outlook: Outlook, system: str = "metric", told: Spread | None = None) -> str:
    """Return the answer to a ride, its range and its spread asked for beforehand, in under one screen."""
    from ridesim.report.ride.helps import helps_words
    from ridesim.report.spread.beside import with_spans
    from ridesim.sure.beside import judged

    s = ride.summary
    head = f"{ride.build.name} on {ride.road.name}"
    verdict = judged(judge(ride, system), told)
    lines = [head, "=" * len(head), f"{VERDICT_MARKS[verdict.word]}: {verdict.reasons[0]}"]
    lines += [f"  also: {reason}" for reason in verdict.reasons[1:]]
    lines += [f"  to do: {words}" for words in helps_words(ride, verdict, told)]
    lines += [f"  set: {words}" for words in gear_setting_words(outlook, system)]
    lines += ["", lined(with_spans([*ride_rows(s, outlook, system, told), *recorded_rows(ride)], told, system))]
    if s["warnings"]:
        lines += ["", *[f"note: {in_units(text, system)}" for text in s["warnings"]]]
    if told is None:
        lines += ["", f"note: {NO_CHANCES}"]
    used = s["defaults_used"]
    if used:
        estimates = sum(row["kind"] == "estimate" for row in used)
        lines += ["", f"Leans on {len(used) - estimates} defaults and {estimates} estimates; --defaults lists them."]
    return "\n".join(lines)


def gear_setting_words(outlook: Outlook | None, system: str) -> tuple[str, ...]:
    """Return which motor current gears and chain stand, of a ride that they do not stand."""
    setting = None if outlook is None else outlook.gear_setting
    return () if setting is None else (setting.words(system),)


def ride_rows(
    s: dict[str, Any], outlook: Outlook | None, system: str, told: Spread | None = None
) -> list[tuple[str, str]]:
    """Return the figures of a ride as labels and words; without an outlook its range is not told.

    With its spread, each is told as finely as its span supports.
    """
    from ridesim.report.spread.beside import Digits

    figures = Digits(told, system)
    km = lambda value, digits=1: shown(value, "km", system, digits)  # noqa: E731
    heat = lambda value: shown(value, "c", system, 0)  # noqa: E731
    text = lambda key: figures.text(key, s[key])  # noqa: E731
    like = lambda key, of: figures.like(key, of, s[of], s[key])  # noqa: E731
    reading, drives = _reading(s), s.get("drives", [])
    rows = [
        ("distance", f"{km(s['distance_km'])} of {km(s['road_km'])}, {s['stop_reason']}"),
        ("time", f"{text('total_time_s')}, moving {like('moving_time_s', 'total_time_s')} at "
         f"{shown(s['mean_speed_km_h'], 'km_h', system)}, top {shown(s['top_speed_km_h'], 'km_h', system)}"),
        *([("on foot", _pushed(s, system))] if s["pushes"] else []),
        ("energy", f"{text('net_energy_wh')} from the pack, {like('net_wh_per_km', 'net_energy_wh')}; "
         f"rider {s['rider_energy_wh']:.0f} Wh"),
        ("charge left", f"{s['charge_left_fraction']:.0%}"),
        *([] if outlook is None else [("range", range_words(outlook, system, told))]),
        ("regen", f"{like('pack_energy_returned_wh', 'net_energy_wh')} returned "
         f"({s['returned_fraction']:.0%} of what was drawn)"
         + ("" if outlook is None else _added(outlook.range_added_by_regen_km, system))),
        *([] if drives else [
            ("motor current", f"peak {text('peak_motor_current_a')}, sustained {s['sustained_motor_current_a']:.0f} A "
             f"({reading}); {_torque(s, system)}")]),
        *([("gears", _gears(s, system))] if s["gear_times_s"] else []),
        ("pack current", f"peak {text('peak_pack_current_a')} ({s['peak_cell_current_a']:.1f} A a cell), "
         f"charging {s['peak_charge_current_a']:.1f} A"),
        ("lowest voltage", f"{text('lowest_pack_voltage_v')} at {km(s['lowest_pack_voltage_at_km'])}"),
        *(_drive_rows(drives, system, told) if drives else [
            ("hottest winding", f"{text('peak_winding_temp_c')} at {km(s['peak_winding_temp_at_km'])}, "
             f"limit {shown(s['winding_limit_c'], 'c', system, 0)}{_rest_words(s, system)}"),
            ("other heat", f"body {heat(s['peak_body_temp_c'])} (magnets {heat(s['magnet_limit_c'])}), "
             f"controller {heat(s['peak_controller_temp_c'])}, cells {heat(s['peak_pack_temp_c'])}")]),
    ]  # fmt: skip
    return rows if drives else rows + _limit_rows(s, km)


def _drive_rows(drives: list[dict[str, Any]], system: str, told: Spread | None) -> list[tuple[str, str]]:
    """Return what each of two different drives came to: currents, heat, limits met; spans behind what they are of."""
    from ridesim.report.spread.beside import Digits, span_text

    figures = Digits(told, system)
    km = lambda value, digits=1: shown(value, "km", system, digits)  # noqa: E731
    heat = lambda value: shown(value, "c", system, 0)  # noqa: E731
    rows = []
    for each, prefix in zip(drives, ("", SECOND), strict=True):
        current, winding = f"{prefix}peak_motor_current_a", f"{prefix}peak_winding_temp_c"
        peak, hottest = (
            f"{figures.text(name, each[name.removeprefix(SECOND)])}{span_text(figures.ends(name), name, system)}"
            for name in (current, winding)
        )
        rows += [
            (each["drive"], f"motor peak {peak}, sustained "
             f"{each['sustained_motor_current_a']:.0f} A ({_reading(each)}); {_torque(each, system)}; from the pack "
             f"{each['peak_pack_current_a']:.0f} A"),
            ("", f"winding {hottest} at {km(each['peak_winding_temp_at_km'])}, limit "
             f"{heat(each['winding_limit_c'])}{_rest_words(each, system)}"),
            ("", f"body {heat(each['peak_body_temp_c'])} (magnets {heat(each['magnet_limit_c'])}), controller "
             f"{heat(each['peak_controller_temp_c'])}"),
            *[("", f"{label}: {words}" if label else words) for label, words in _limit_rows(each, km)],
        ]  # fmt: skip
    return [*rows, ("cells", f"up to {heat(drives[0]['peak_pack_temp_c'])}")]


def _reading(s: dict[str, Any]) -> str:
    reads = "phase amplitude" if s["motor_current_reading"].startswith("amplitude") else "DC-equivalent"
    return f"{reads}, each of two motors" if s["motor_current_reading"].endswith(OF_EACH) else reads


def _torque(s: dict[str, Any], system: str) -> str:
    both = "both together " if s["motor_current_reading"].endswith(OF_EACH) else ""
    return f"{both}peak {shown(s['peak_shaft_torque_nm'], 'nm', system)}"


def _added(added_km: float | None, system: str) -> str:
    """Say what regen adds to a range, to two figures: a difference is no surer than that."""
    if added_km is None:
        return ""
    return f", {shown(added_km, 'km', system, significant_digits(added_km, 'km', system, 1, 2))} of range"


def _rest_words(s: dict[str, Any], system: str) -> str:
    rest_min = s["rest_to_cool_min"]
    if rest_min in (None, 0.0):
        return ""
    how_long, cools = (f"{rest_min:.0f} min", "cool") if rest_min >= 1.5 else ("a minute", "cools")
    return f"; {how_long} of rest {cools} it to {shown(s['rest_to_c'], 'c', system, 0)}"


def _limit_rows(s: dict[str, Any], km: Callable[[float], str]) -> list[tuple[str, str]]:
    rows = []
    met = [limit for limit in s["limits"] if limit["seconds"] >= LEAST_TOLD_S]
    for index, limit in enumerate(met[:4]):
        words = f"{BY_NAME[limit['name']].short} for {duration(limit['seconds'])}, first at {km(limit['first_at_km'])}"
        rows.append(("limits met" if index == 0 else "", words))
    return rows


def _gears(s: dict[str, Any], system: str) -> str:
    """Return how often a ride shifted, where it spent its time, and what went through gears and chain."""
    times = s["gear_times_s"]
    most = max(range(len(times)), key=lambda at: times[at])
    into = shown(s["peak_gear_torque_nm"], "nm", system, 0)
    words = (
        f"{s['gear_shifts']} shifts, {s['shifting_time_s']:.0f} s without force; gear {most + 1} of {len(times)} for "
        f"{times[most] / sum(times):.0%} of the time; up to {into} into them"
    )
    pull = s["peak_chain_force_n"]
    return words if pull is None else f"{words}, {shown(pull, 'n', system, 0)} on the chain"


def _pushed(s: dict[str, Any], system: str) -> str:
    """Return how far a bike was pushed, and where."""
    where = f"at {shown(s['pushed_first_at_km'], 'km', system)}"
    if s["pushes"] > 1:
        where = f"on {s['pushes']} stretches, the first {where}"
    return f"pushed {shown(s['pushed_m'], 'm', system, 0)} {where}, {duration(s['pushed_s'])}"


def recorded_rows(ride: Ride) -> list[tuple[str, str]]:
    """Return the recording's times beside the ride's, for a ride at the recording's own speed."""
    beside = against_recording(ride)
    if beside is None:
        return []
    moving = (duration(beside.recorded_moving_time_s), duration(beside.ridden_moving_time_s))
    rows = [("as recorded", f"moving {moving[0]} when recorded, {moving[1]} ridden")]
    if beside.pauses_recorded:
        reached = f"{beside.pauses_reached} of {beside.pauses_recorded} pauses reached"
        stood = f"{duration(beside.stood_time_s)} stood of {duration(beside.recorded_pause_time_s)} recorded"
        rows.append(("", f"{reached}, {stood}"))
    return rows


def range_words(outlook: Outlook, system: str, told: Spread | None = None) -> str:
    """Return how far a road goes, ridden again and again, and what that means on a road that ends at another height."""
    from ridesim.report.spread.beside import Digits

    if outlook.range_km is None:
        return f"not told: {outlook.range_ended_by}"
    far = Digits(told, system).text("range_km", outlook.range_km)
    rise = outlook.rise_a_lap_m
    if not rise:
        return f"{far} on this road, again and again; ended by: {outlook.range_ended_by}"
    way = f"each time {shown(abs(rise), 'm', system, 0)} {'up' if rise > 0.0 else 'down'}"
    return f"{far} of this road again and again, {way}, not there and back; ended by: {outlook.range_ended_by}"


def defaults_text(ride: Ride) -> str:
    """Return the defaults and estimates a ride leaned on, one a line."""
    rows = [
        (row["key"], "off" if row["value"] is None else _value_text(row["value"]), row["kind"], row["note"])
        for row in ride.summary["defaults_used"]
    ]
    return columns(("key", "value", "kind", "meaning"), [(k, v, kind, note) for k, v, kind, note in rows])


def _value_text(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.4g}"
    text = str(value)
    return text if len(text) <= 24 else text[:21] + "..."
