"""Answers in plain words and aligned figures, functions of results."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from ridesim.ride.bounds import BY_NAME
from ridesim.ride.judge import judge
from ridesim.ride.recorded import against_recording
from ridesim.units import shown

if TYPE_CHECKING:
    from ridesim.ride.range import Outlook
    from ridesim.ride.simulate import Ride
    from ridesim.sure.spread import Spread

VERDICT_MARKS = {"fine": "FINE", "look again": "LOOK AGAIN", "stop": "STOP"}
LABEL_WIDTH = 19
NO_CHANCES = "No chances were drawn: the verdict is of the bike exactly as it stands."


def duration(seconds: float) -> str:
    """Return a time as `1 h 05 min`, `12 min 30 s` or `9 s`."""
    whole = round(seconds)
    if whole >= 3600:
        return f"{whole // 3600} h {whole % 3600 // 60:02d} min"
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
    from ridesim.report.spread.beside import with_spans
    from ridesim.sure.beside import judged

    s = ride.summary
    head = f"{ride.build.name} on {ride.road.name}"
    verdict = judged(judge(ride, system), told)
    lines = [head, "=" * len(head), f"{VERDICT_MARKS[verdict.word]}: {verdict.reasons[0]}"]
    lines += [f"  also: {reason}" for reason in verdict.reasons[1:]]
    lines += ["", lined(with_spans([*ride_rows(s, outlook, system), *recorded_rows(ride)], told, system))]
    if s["warnings"]:
        lines += ["", *[f"note: {text}" for text in s["warnings"]]]
    if told is None:
        lines += ["", f"note: {NO_CHANCES}"]
    used = s["defaults_used"]
    if used:
        estimates = sum(row["kind"] == "estimate" for row in used)
        lines += ["", f"Leans on {len(used) - estimates} defaults and {estimates} estimates; --defaults lists them."]
    return "\n".join(lines)


def ride_rows(s: dict[str, Any], outlook: Outlook | None, system: str) -> list[tuple[str, str]]:
    """Return the figures of a ride as labels and words; without an outlook its range is not told."""
    km = lambda value, digits=1: shown(value, "km", system, digits)  # noqa: E731
    heat = lambda value: shown(value, "c", system, 0)  # noqa: E731
    reading = "phase amplitude" if s["motor_current_reading"].startswith("amplitude") else "DC-equivalent"
    rest = "" if s["rest_to_cool_min"] in (None, 0.0) else (
        f"; {s['rest_to_cool_min']:.0f} min of rest cool it to {shown(s['rest_to_c'], 'c', system, 0)}")  # fmt: skip
    rows = [
        ("distance", f"{km(s['distance_km'])} of {km(s['road_km'])}, {s['stop_reason']}"),
        ("time", f"{duration(s['total_time_s'])}, moving {duration(s['moving_time_s'])} at "
         f"{shown(s['mean_speed_km_h'], 'km_h', system)}, top {shown(s['top_speed_km_h'], 'km_h', system)}"),
        ("energy", f"{s['net_energy_wh']:.0f} Wh from the pack, {shown(s['net_wh_per_km'], 'wh_per_km', system)}; "
         f"rider {s['rider_energy_wh']:.0f} Wh"),
        ("charge left", f"{s['charge_left_fraction']:.0%}"),
        *([] if outlook is None else [("range", range_words(outlook, system))]),
        ("regen", f"{s['pack_energy_returned_wh']:.1f} Wh returned ({s['returned_fraction']:.1%} of what was drawn)"
         + ("" if outlook is None else f", {km(outlook.range_added_by_regen_km)} of range")),
        ("motor current", f"peak {s['peak_motor_current_a']:.0f} A, sustained {s['sustained_motor_current_a']:.0f} A "
         f"({reading}); peak {shown(s['peak_shaft_torque_nm'], 'nm', system)}"),
        ("pack current", f"peak {s['peak_pack_current_a']:.1f} A ({s['peak_cell_current_a']:.1f} A a cell), "
         f"charging {s['peak_charge_current_a']:.1f} A"),
        ("lowest voltage", f"{s['lowest_pack_voltage_v']:.1f} V at {km(s['lowest_pack_voltage_at_km'])}"),
        ("hottest winding", f"{shown(s['peak_winding_temp_c'], 'c', system, 0)} at {km(s['peak_winding_temp_at_km'])}, "
         f"limit {shown(s['winding_limit_c'], 'c', system, 0)}{rest}"),
        ("other heat", f"body {heat(s['peak_body_temp_c'])} (magnets {heat(s['magnet_limit_c'])}), "
         f"controller {heat(s['peak_controller_temp_c'])}, cells {heat(s['peak_pack_temp_c'])}"),
    ]  # fmt: skip
    for index, limit in enumerate(s["limits"][:4]):
        words = f"{BY_NAME[limit['name']].short} for {duration(limit['seconds'])}, first at {km(limit['first_at_km'])}"
        rows.append(("limits met" if index == 0 else "", words))
    return rows


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


def range_words(outlook: Outlook, system: str) -> str:
    """Return how far a road goes, ridden again and again, and what that means on a road that ends at another height."""
    far = shown(outlook.range_km, "km", system) if outlook.range_km is not None else "not told"
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
