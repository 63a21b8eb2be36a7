"""A road in plain words and aligned figures."""

from __future__ import annotations

from typing import Any

from ridesim.report.text import columns, duration, lined, shown
from ridesim.road.mendings import plural
from ridesim.road.places import OVER_M
from ridesim.road.profile import Road
from ridesim.units import told

MENDED = {
    "duplicates_dropped": "repeated point{s} dropped",
    "copied_points_dropped": "point{s} written twice dropped",
    "parts_with_earlier_clock": "part{s} with an earlier clock",
    "out_of_order_dropped": "point{s} out of order dropped",
    "times_left_out": "wrong time{s} left out",
    "clock_ticks_spread": "tick{s} of the clock spread",
    "clock_set_back": "jump{s} of the clock backwards",
    "paces_not_believed": "leg{s} at the median pace",
    "wandering_left_out_m": "m of wandering left out",
    "zigzags_straightened": "zigzag{s} straightened",
    "far_points_dropped": "point{s} far off the road dropped",
    "position_jumps_dropped": "point{s} off the line dropped",
    "frozen_fixes": "frozen position{s} taken for gaps",
    "altitudes_impossible": "impossible altitude{s} left out",
    "altitude_spikes_mended": "altitude spike{s} mended",
    "altitudes_not_trusted": "altitude{s} not trusted",
    "altitude_steps_evened": "step{s} of the altitude evened",
    "altitudes_filled": "missing altitude{s} filled",
}

LEVEL_PERCENT = 0.05
STEEP_PERCENT = 8.0  # guess: a gentler place stops nobody, whoever made it
STEEP_TITLE = "Steepest places, as the ride feels them"


def road_text(road: Road, figures: dict[str, Any], units: str = "metric") -> str:
    """Return what was read from a road and what was cleaned; `figures` is `road_account(road)`."""
    heading = f"{road.name} ({figures['road_kind']})"
    lines = [heading, "=" * len(heading), lined(road_rows(figures, units))]
    if figures["steepest_climbs"]:
        head, rows = steep_table(figures, units)
        lines += ["", STEEP_TITLE, *columns(head, rows).splitlines(), *steep_reasons(figures, units)]
    if figures["cleaning"] is not None:
        methods = figures["climb_method"].split("; ")
        lines += ["", "How the climb is counted", *[f"  {told(method, units)}" for method in methods]]
    lines += [f"note: {text}" for text in figures["warnings"]]
    return "\n".join(lines)


def road_rows(f: dict[str, Any], units: str) -> list[tuple[str, str]]:
    """Return the figures of a road as labels and words."""
    low, high = (shown(f[name], "m", units, 0) for name in ("lowest_altitude_m", "highest_altitude_m"))
    length = shown(f["length_km"], "km", units, 2)
    rows = [("length", length if f["duration_s"] is None else f"{length} in {duration(f['duration_s'])}")]
    rows += [("altitude", f"{low} to {high}"), ("climb", _climb(f, "climb", units))]
    rows += [("descent", _climb(f, "descent", units)), ("steepest", _steepest(f, units))]
    rows += [("bends", _bends(f["bends"], units)), ("stops", _stops(f["stops"], units))]
    if f["speed_limits"]:
        limits = (
            f"{shown(row['speed_km_h'], 'km_h', units, 0)} from {_place(row['from_km'], row['to_km'], units)}"
            for row in f["speed_limits"]
        )
        rows.append(("speed limits", "; ".join(limits)))
    surfaces = (f"{kind.replace('_', ' ')} {shown(km, 'km', units)}" for kind, km in f["surfaces_km"].items())
    rows.append(("surfaces", ", ".join(surfaces)))
    return rows + (_cleaning_rows(f["cleaning"], units) if f["cleaning"] is not None else [])


def steep_table(f: dict[str, Any], units: str) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Return head and rows of the steepest places: grade over each length, as recorded, and what it looks like."""
    lengths = tuple(shown(over, "m", units, 0) for over in OVER_M)
    is_recorded = f["cleaning"] is not None
    head = ("climb at", *lengths, *((f"recorded {lengths[1]}", "looks like") if is_recorded else ()))
    rows = []
    for place in f["steepest_climbs"]:
        row = (
            shown(place["at_km"], "km", units, 2),
            *(_percent(place[f"grade_{over:.0f}m_percent"]) for over in OVER_M),
        )
        recorded = _percent(place[f"recorded_grade_{OVER_M[1]:.0f}m_percent"])
        rows.append((*row, *((recorded, f"the {place['looks_like']}") if is_recorded else ())))
    return head, tuple(rows)


def steep_reasons(f: dict[str, Any], units: str) -> list[str]:
    """Return why steep places look like the recorder, a line each."""
    return [
        f"{shown(place['at_km'], 'km', units, 2)}: {place['because']}"
        for place in f["steepest_climbs"]
        if place["looks_like"] == "recorder" and place[f"grade_{OVER_M[1]:.0f}m_percent"] >= STEEP_PERCENT
    ]


def _percent(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f} %"


def _climb(f: dict[str, Any], way: str, units: str) -> str:
    smooth, raw, counted = (shown(f[f"{way}_{how}_m"], "m", units, 0) for how in ("smoothed", "raw", "hysteresis"))
    if f["cleaning"] is None:
        return smooth
    return f"{smooth} smoothed (ridden); {raw} raw; {counted} with hysteresis"


def _steepest(f: dict[str, Any], units: str) -> str:
    over = shown(f["steepest_over_m"], "m", units, 0)
    ways = [
        f"{f[f'steepest_{way}_percent']:.1f} % {way} from {shown(f[f'steepest_{way}_from_km'], 'km', units)}"
        for way in ("up", "down")
        if f[f"steepest_{way}_percent"] >= LEVEL_PERCENT
    ]
    return f"{', '.join(ways)}, over {over}" if ways else "level"


def _bends(bends: list[dict[str, float]], units: str) -> str:
    if not bends:
        return "none tight enough to brake for"
    tightest = min(bends, key=lambda bend: bend["radius_m"])
    radius, speed = shown(tightest["radius_m"], "m", units, 0), shown(tightest["careful_speed_km_h"], "km_h", units, 0)
    return f"{len(bends)}, the tightest at {shown(tightest['at_km'], 'km', units)}: radius {radius}, careful {speed}"


def _stops(stops: list[dict[str, float]], units: str) -> str:
    if not stops:
        return "none"
    return ", ".join(f"{shown(stop['at_km'], 'km', units)} ({duration(stop['dwell_s'])})" for stop in stops)


def _place(from_km: float, to_km: float, units: str) -> str:
    return f"{shown(from_km, 'km', units)} to {shown(to_km, 'km', units)}"


def _cleaning_rows(c: dict[str, Any], units: str) -> list[tuple[str, str]]:
    mended = [f"{c[name]} {words.format(s=plural(c[name]))}" for name, words in MENDED.items() if c[name]]
    time = "with times" if c["has_time"] else "without usable times"
    segments = "1 segment" if c["segments"] == 1 else f"{c['segments']} segments"
    rows = [
        ("read", f"{c['points_read']} points in {segments}, {time}; {c['points_used']} used"),
        ("cleaned", ", ".join(mended) or "nothing to mend"),
        ("smoothed", f"altitude over {shown(c['smoothing_m'], 'm', units, 0)}, a node every "
         f"{shown(c['spacing_m'], 'm', units)}"),
    ]  # fmt: skip
    if c["gaps"]:
        longest, total = (shown(c[name], "m", units, 0) for name in ("gap_longest_m", "gap_total_m"))
        rows.append(("gaps", f"{c['gaps']} bridged by straight lines, {total} in all, the longest {longest}"))
    if c["pauses"]:
        rows.append(
            (
                "pauses",
                f"{c['pauses']} in the recording, {duration(c['pause_total_s'])} in all; ridden with --as-recorded",
            )
        )
    return rows
