"""A ride as a page draws it: figures as the command's JSON has them, and columns thinned to the screen."""

from __future__ import annotations

import json
import struct
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.bike.second import drives_of, seen_by_second
from ridesim.engine.estimates import estimate
from ridesim.engine.params import current_scale
from ridesim.engine.state import Channel, Limit
from ridesim.harmless import harmless
from ridesim.report.plain import plain
from ridesim.report.spread.view import answer_text
from ridesim.report.text import shown
from ridesim.ride.bounds import BOUNDS
from ridesim.ride.drives import FIRST, each_drive
from ridesim.ride.quantities import OF_SECOND, QUANTITIES, SECOND
from ridesim.ride.simulate import Ride, simulate
from ridesim.ride.trace import trace_columns
from ridesim.road.above import seen_from_above
from ridesim.road.profile import Road
from ridesim.units import UNITS, from_si

Array = NDArray[np.float64]

COLUMNS = (
    "distance_km", "time_s", "altitude_m", "grade_percent", "speed_km_h", "plan_speed_km_h", "winding_temp_c",
    "body_temp_c", "controller_temp_c", "motor_current_a", "motor_current_high_a", "motor_current_low_a",
    "pack_current_a", "pack_current_high_a", "pack_current_low_a", "charge_fraction", "pack_voltage_v",
)  # fmt: skip
"""Columns of the trace that a page draws or reads; behind them the code of the bound that holds."""
HEADLINES = (
    "total_time_s", "mean_speed_km_h", "net_energy_wh", "charge_left_fraction", "range_km", "peak_winding_temp_c",
    "peak_body_temp_c", "peak_controller_temp_c", "peak_motor_current_a", "sustained_motor_current_a",
    "peak_pack_current_a", "lowest_pack_voltage_v",
)  # fmt: skip
"""Figures that are compared between bikes; the range is ridden after the ride."""
SECOND_COLUMNS = ("winding_temp_c", "motor_current_a")
"""Of two different drives the second one's own, as `second_...`."""
LEAST_POINTS, MOST_POINTS = 200, 8000
PLACES = 1500
"""Places of a way seen from above."""


def answer_ride(loaded: LoadedBuild, road: Road, points: int) -> bytes:
    """Ride and return the answer: the length of a JSON head, the head, then its columns as 32-bit floats."""
    ride = simulate(loaded, road)
    columns = thinned(along(ride), min(max(points, LEAST_POINTS), MOST_POINTS))
    head = {
        "title": f"{loaded.build.name} on {road.name}",
        "bike": loaded.build.name,
        "figures": ride.summary,
        "headlines": [_headline(name, value, ride) for name, value in headlines_of(ride).items()],
        "limits": limits_of(ride),
        "bounds": [[BOUNDS[limit].short, BOUNDS[limit].words] for limit in Limit],
        "bound_names": [BOUNDS[limit].name for limit in Limit],
        "arrived": ride.finished,
        "columns": list(columns),
        "rows": len(columns["distance_km"]),
    }
    return packed(head, list(columns.values()))


def packed(head: dict[str, Any], columns: list[Array]) -> bytes:
    """Return a JSON head and columns as one message."""
    text = harmless(json.dumps(plain(head), ensure_ascii=False, allow_nan=False)).encode()
    text += b" " * (-len(text) % 4)  # 32-bit floats begin at a multiple of four
    body = np.ascontiguousarray(columns, dtype="<f4").tobytes() if columns else b""
    return struct.pack("<I", len(text)) + text + body


def along(ride: Ride) -> dict[str, Array]:
    """Return the columns of a ride that a page draws, (rows,) each."""
    rows = ride.raw.trace
    table = trace_columns(rows, current_scale(ride.build))
    found = {name: np.asarray(table[name], dtype=np.float64) for name in COLUMNS}
    bound, second = rows[:, Channel.LIMIT].astype(np.float64), ride.raw.second
    if second is not None:
        own = trace_columns(second.trace, current_scale(seen_by_second(ride.build)))
        found |= {f"{SECOND}{name}": np.asarray(own[name], dtype=np.float64) for name in SECOND_COLUMNS}
        bound = np.where(bound == 0.0, second.trace[:, Channel.LIMIT], bound)
    return found | {"bound": bound}


def thinned(columns: dict[str, Array], points: int) -> dict[str, Array]:
    """Return columns of at most `points` rows: two a bucket, the lowest and the highest of each column in its order."""
    count = len(columns["distance_km"])
    if count <= points:
        return columns
    starts = np.linspace(0, count, points // 2 + 1).astype(np.int64)[:-1]
    middles = (starts + np.append(starts[1:], count)) // 2
    return {name: _thinned(name, values, starts, middles) for name, values in columns.items()}


def _thinned(name: str, values: Array, starts: NDArray[np.int64], middles: NDArray[np.int64]) -> Array:
    if name in ("distance_km", "time_s"):  # they only rise
        pair = (values[starts], values[middles])
    elif name == "bound":  # whatever held anywhere in the bucket
        held = np.maximum.reduceat(values, starts)
        pair = (held, held)
    else:
        low, high = np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)
        rises = values[np.append(starts[1:], len(values)) - 1] >= values[starts]
        pair = (np.where(rises, low, high), np.where(rises, high, low))
    return np.stack(pair, axis=1).reshape(-1)


def headlines_of(ride: Ride) -> dict[str, float | None]:
    """Return the figures that are compared between bikes, those of a second, different drive behind them."""
    found = {name: getattr(ride.figures, name, None) for name in HEADLINES}
    for drive in each_drive(ride)[1:]:
        found |= {f"{SECOND}{name}": getattr(drive.figures, name) for name in OF_SECOND}
    return found


def _headline(name: str, value: float | None, ride: Ride) -> dict[str, Any]:
    found = QUANTITIES[name]
    words = f"{FIRST}, {found.words}" if ride.raw.second is not None and name in OF_SECOND else found.words
    unit = UNITS[found.unit].symbol if found.unit else ""
    return {
        "name": name, "words": words, "unit": unit, "digits": found.digits, "better": found.better,
        "value": value, "text": headline_text(name, value),
    }  # fmt: skip


def headline_text(name: str, value: float | None) -> str:
    """Return a headline figure as people read it; empty where it is not known yet."""
    return "" if value is None else answer_text(name, value, "metric")


def limits_of(ride: Ride) -> dict[str, list[list[Any]]]:
    """Return the limits that each strip draws: [value, words]; of two different drives those of both."""
    first, *others = (_limits_of_one(build) for build in drives_of(ride.build))
    for other in others:
        for strip in ("heat", "motor"):
            told = {value for value, _ in first[strip]}
            first[strip] = [[value, f"1st {words}"] for value, words in first[strip]]
            first[strip] += [[value, f"2nd {words}"] for value, words in other[strip] if value not in told]
        ends = [sum(value for value, _ in (*first["pack"], *other["pack"]) if (value > 0.0) == out)
                for out in (True, False)]  # fmt: skip
        words = ("pack current limit, both", "charging current limit")
        first["pack"] = [[value, word] for value, word in zip(ends, words, strict=True) if value != 0.0]
    return first


def _limits_of_one(build: Build) -> dict[str, list[list[Any]]]:
    box, found, motor = build.controller, estimate(build), build.motor
    fixed = build.drive.coupling != "freewheel"
    motor_a: list[list[Any]] = [[box.motor_current_limit_a, "motor current limit"]]
    together = f"pack current limit{', both' if build.drive.motors > 1 else ''}"
    pack_a: list[list[Any]] = [[build.drive.motors * box.pack_current_limit_a, together]]
    if fixed and box.brake_current_limit_a > 0.0:
        motor_a.append([-box.brake_current_limit_a, "braking current limit"])
        pack_a.append([-found.charge_current_limit_a, "charging current limit"])
    heat: list[list[Any]] = [
        [motor.winding_limit_c, f"winding, class {motor.insulation_class}"],
        [motor.magnet_limit_c, f"magnets, grade {motor.magnet_grade}"],
    ]
    if box.motor_full_current_below_c is not None:
        heat.append([box.motor_full_current_below_c, "folds back from"])
    return {"heat": heat, "motor": motor_a, "pack": pack_a}


def road_answer(road: Road) -> bytes:
    """Return a road as a page draws it before a ride: its words, and its places seen from above."""
    at = np.linspace(0.0, road.length_m, min(PLACES, len(road.distance_m)))
    east, north = (np.interp(at, road.distance_m, side) for side in seen_from_above(road))
    altitude = np.interp(at, road.distance_m, road.altitude_m)
    head = {
        "name": road.name,
        "length": shown(from_si(road.length_m, "km"), "km", "metric"),
        "climb": shown(road.climb_m, "m", "metric", 0),
        "warnings": list(road.warnings),
        "rows": len(at),
        "columns": ["distance_km", "east_m", "north_m", "altitude_m"],
    }
    return packed(head, [from_si(at, "km"), east, north, altitude])
