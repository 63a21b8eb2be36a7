"""A bench sheet written as a motor part, which a build can name: measured keys with their tolerances."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from ridesim.errors import RideError
from ridesim.schema.texts import toml_value
from ridesim.schema.tolerance import TEN_TO_NINETY
from ridesim.units import from_si
from ridesim.workshop.bench.heating import MOVING
from ridesim.workshop.bench.rundown import DRAG
from ridesim.workshop.bench.runs import RunKey
from ridesim.workshop.bench.sheet import BenchSheet

NEEDED = ("kv_rpm_per_v", "resistance_mohm", "pole_pairs", "mass_kg", "can_diameter_mm", "can_length_mm")
"""Without these no part loads."""
HOW = {
    "kv_rpm_per_v": "--no-load, --loaded or --spin", "resistance_mohm": "--drop or --pairs",
    "pole_pairs": "--magnets", "mass_kg": "--size", "can_diameter_mm": "--size", "can_length_mm": "--size",
}  # fmt: skip
WIDE, LEAST_PERCENT = 0.25, 0.1
"""A deviation above this share is written as a factor; nobody's meter is surer than the second (guesses)."""
STILL = "body_to_air_still_w_per_k"


def missing_keys(sheet: BenchSheet, given: Mapping[str, float], extends: str | None) -> list[str]:
    """Return the keys that a part of this sheet would lack to load, each with the option that gives it."""
    if extends is not None:
        return []
    have = {each.key for each in sheet.measured} | set(given)
    have |= {"pole_pairs"} if sheet.pole_pairs is not None else set()
    return [f"{key} ({HOW[key]})" for key in NEEDED if key not in have]


def motor_part_text(
    sheet: BenchSheet, name: str, command: str, files: Sequence[tuple[str, str]],
    given: Mapping[str, float], extends: str | None = None, cooling_ratio: float | None = None,
) -> str:  # fmt: skip
    """Return a motor part file (TOML); `given`: keys typed by hand; `extends`: the part it is laid over.

    `cooling_ratio`: moving over still air of the motor's size; the body's cooling is written only with it, since the
    two belong together. Raises RideError where keys lack without which no part loads, or a test says stop.
    """
    lacking = missing_keys(sheet, given, extends)
    if lacking:
        to_do = "measure or give them, or name the part to lay it over: --motor PART.toml"
        raise RideError("motor part", f"lacks {', '.join(lacking)}", to_do)
    cooling, by_size = _cooling(sheet, cooling_ratio)
    measured = [*(each for each in sheet.measured if each.key not in (STILL, MOVING)), *cooling]
    lines = ["# A motor part measured on the bench, written by ridesim.", f"# command: {command}"]
    lines += [f"# readings: {path}, sha256 {digest}" for path, digest in files]
    lines += [f"extends = {toml_value(extends)}"] if extends is not None else []
    lines.append(f"name = {toml_value(name)}")
    lines += [f"{key} = {value:.6g}" for key, value in given.items()]
    if extends is not None and any(each.key == DRAG for each in measured):
        lines.append("no_load = []  # the two drag terms stand in its place")
    lines += [f"pole_pairs = {sheet.pole_pairs}"] if sheet.pole_pairs is not None else []
    for each in measured:
        note = "  # by the motor's size: no run tells it" if each.key == by_size else ""
        lines.append(f"{each.key} = {each.value:.6g}{note}")
    stated = [f"{each.key} = {toml_value(_tolerance(each))}" for each in measured]
    return "\n".join([*lines, "", "[tolerance]", *stated]) + "\n"


def _cooling(sheet: BenchSheet, ratio: float | None) -> tuple[list[RunKey], str]:
    """Return both conductances to air, and which of them goes by the motor's size; none where one cannot be told.

    Both are drawn by one factor: each is as unsure as the less sure.
    """
    found = {each.key: each for each in sheet.measured if each.key in (STILL, MOVING)}
    by_size = ""
    if len(found) == 1 and ratio is not None:
        one = next(iter(found.values()))
        by_size, factor = (MOVING, ratio) if one.key == STILL else (STILL, 1.0 / ratio)
        found[by_size] = RunKey(by_size, one.words, factor * one.value, factor * one.error)
    if len(found) < 2:
        return [], ""
    share = max(each.error / each.value for each in found.values())
    still = found[STILL].value
    values = {STILL: still, MOVING: max(found[MOVING].value, still)}
    return [RunKey(key, found[key].words, value, share * value) for key, value in values.items()], by_size


def _tolerance(each: RunKey) -> str:
    share = each.error / each.value if each.value > 0.0 else 0.0
    if share <= 0.0:
        return "measured"
    if share > WIDE:
        return f"x/ {math.exp(TEN_TO_NINETY * share):.3g}"
    return f"{max(float(from_si(share, 'percent')), LEAST_PERCENT):.3g} %"


def cooling_ratio(can_diameter_mm: float, can_length_mm: float) -> float:
    """Return how much more a body of this size gives to air at 36 km/h than to still air, by the estimates' own.

    Raises RideError for a size that no motor of a build may have.
    """
    from ridesim.bike.motor import Motor
    from ridesim.engine.estimates import moving_conductance, still_conductance
    from ridesim.schema.keys import walk

    for key in walk(Motor):
        size = {"can_diameter_mm": can_diameter_mm, "can_length_mm": can_length_mm}.get(key.name)
        if size is not None and not key.bounds[0] <= size <= key.bounds[1]:
            raise RideError("--size", f"{key.name} = {size:g} is out of range ({key.allowed})", "measure the can in mm")
    can = Motor(kv_rpm_per_v=100, resistance_mohm=30, pole_pairs=7, mass_kg=1, can_diameter_mm=can_diameter_mm,
                can_length_mm=can_length_mm)  # fmt: skip
    return max(moving_conductance(can) / still_conductance(can), 1.0)
