"""Faults of a build in plain words: file, key, value, allowed range, what to do."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from ridesim.bike.keys import PART_SECTIONS, allowed_of, field_at, kind_of, model_at, model_of, printable, walk
from ridesim.bike.section import TOGETHER
from ridesim.errors import BuildError

Path = tuple[str | int, ...]
LONGEST_VALUE = 40
"""Characters of a value shown in a message."""
RENAMED = {
    "motor_foldback_start_c": "motor_full_current_below_c",
    "motor_foldback_end_c": "motor_no_current_above_c",
    "controller_foldback_start_c": "controller_full_current_below_c",
    "controller_foldback_end_c": "controller_no_current_above_c",
    "low_voltage_start_v": "full_current_above_v",
    "low_voltage_end_v": "no_current_below_v",
    "electrical_speed_limit_rpm": "electrical_frequency_limit_hz (its value divided by 60)",
    "duty_limit": "modulation_limit",
}
"""Keys of earlier versions and what they are called today."""


def problems_of(fault: ValidationError, sources: Mapping[str, str], where: str) -> BuildError:
    """Return every problem that pydantic found, each on a line of its own, with the file that said it."""
    errors = fault.errors()
    # pydantic also counts the good points of a list that has bad ones: that line would only confuse.
    lists = {error["loc"][:-1] for error in errors if error["loc"] and isinstance(error["loc"][-1], int)}
    shown = [error for error in errors if not (error["type"] == "too_short" and error["loc"] in lists)]
    shown.sort(key=lambda error: error["type"] != "extra_forbidden")  # a typo first: it explains a missing key
    problems = [_problem(error, sources, where) for error in shown]
    return BuildError.many(tuple(problems))


def _problem(error: Any, sources: Mapping[str, str], where: str) -> BuildError:
    path: Path = error["loc"]
    kind, value = error["type"], error["input"]
    field = field_at(path)
    if kind == "missing":
        return _missing(path, sources, where)
    if kind == "extra_forbidden":
        return _unknown(path, value, _said_by(path, sources, where))
    if kind.startswith(TOGETHER):
        kind = kind.removeprefix(TOGETHER)
        return _together(path, kind, error["msg"], value, _said_by((*path, kind), sources, where))
    label = _said_by(path, sources, where)
    if field is None or model_of(field)[0] is not None:
        return _not_a_table(path, value, label)
    return _bad_value(path, kind, value, label)


def _dotted(path: Path) -> str:
    return printable(".".join(str(step) for step in path))


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        return "{...}"
    if isinstance(value, str):
        text = f'"{printable(value)}"'
    elif isinstance(value, float):
        text = f"{value:.10g}"
    elif isinstance(value, int) and abs(value) >= 10**LONGEST_VALUE:
        return "a number without end"
    else:
        text = str(list(value) if isinstance(value, tuple) else value)
    return text if len(text) <= LONGEST_VALUE else text[: LONGEST_VALUE - 3] + "..."


def _said_by(path: Path, sources: Mapping[str, str], where: str) -> str:
    """The file that wrote a key, or the first key under it."""
    for end in range(len(path), 0, -1):
        key = _dotted(path[:end])
        if key in sources:
            return sources[key]
    under = _dotted(path) + "."
    return next((label for key, label in sources.items() if key.startswith(under)), where)


def _missing(path: Path, sources: Mapping[str, str], where: str) -> BuildError:
    key, field = _dotted(path), field_at(path)
    assert field is not None, "pydantic misses only what the schema has"
    child = model_of(field)[0]
    if child is not None:
        inner = [name for name, item in child.model_fields.items() if item.is_required() and model_of(item)[0]]
        values = [f"{item.name} ({item.allowed})" for item in walk(child) if item.required and not item.section]
        needs = ", ".join(values + inner)
        part = f', or name a part: {key} = "..."' if key in PART_SECTIONS else ""
        return BuildError(where, f"section [{key}] is missing ({field.description})", f"give {needs}{part}")
    section = _dotted(path[:-1])
    table = f"[[{_dotted(path[:-2])}]]" if isinstance(path[-2], int) else f"[{section}]"
    what = f"{key} is missing: {field.description} ({allowed_of(str(path[-1]), field)})"
    part_file = next((label for name, label in sources.items() if name.startswith(f"{section}.")), where)
    also = f", or to {part_file}" if part_file != where and section in PART_SECTIONS else ""
    return BuildError(where, what, f"add it under {table}{also}")


def _unknown(path: Path, value: object, label: str) -> BuildError:
    name, section = str(path[-1]), _dotted(path[:-1])
    what = f"{_dotted(path)} = {_shown(value)} is not a known key"
    if isinstance(value, Mapping):
        what = f"[{_dotted(path)}] is not a known section"
    return BuildError(label, what, _nearest(name, section, path))


def _nearest(name: str, section: str, path: Path) -> str:
    if name in RENAMED:
        return f"it is called {RENAMED[name]} now"
    model = model_at(path[:-1])
    here = list(model.model_fields) if model is not None else []
    near = difflib.get_close_matches(name, here, 1, 0.6)
    near = near or [other for other in here if other.startswith(f"{name}_") or name.startswith(f"{other}_")]
    if near:
        return f"did you mean {near[0]}?"
    elsewhere = [key for key in walk() if key.name == name]
    if elsewhere:
        return f"it belongs under [{elsewhere[0].section}]" if elsewhere[0].section else "it belongs at the top"
    stem = name.split("_")[0]
    near = [other for other in here if stem in other.split("_")]
    if near:
        return f"the nearest is {near[0]}; delete the key if that is not meant"
    return f"known here: {', '.join(here)}"


def _together(path: Path, name: str, message: str, value: Any, label: str) -> BuildError:
    """A key that is at odds with its neighbours."""
    what, _, to_do = message.partition("; ")
    given = value.get(name) if isinstance(value, Mapping) else None
    said = f" = {_shown(given)}" if given is not None and not isinstance(given, list | tuple) else ""
    return BuildError(label, f"{_dotted((*path, name))}{said} {what}", to_do or "correct one of them")


def _not_a_table(path: Path, value: object, label: str) -> BuildError:
    key, field = _dotted(path), field_at(path)
    is_array = field is not None and model_of(field)[1] and not isinstance(path[-1], int)
    to_do = f"write it as [[{key}]], once for each" if is_array else f"write its keys under [{key}]"
    return BuildError(label, f"{key} = {_shown(value)} is not {'a list of tables' if is_array else 'a table'}", to_do)


def _bad_value(path: Path, kind: str, value: object, label: str) -> BuildError:
    field = field_at(path)
    assert field is not None, "only keys of the schema have values to refuse"
    name = next(str(step) for step in reversed(path) if isinstance(step, str))
    said, allowed = f"{_dotted(path)} = {_shown(value)}", allowed_of(name, field)
    takes, meant = kind_of(field), f"give a value within (it means: {field.description})"
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        return BuildError(label, f"{said} is out of range ({allowed})", meant)
    if kind == "finite_number":
        return BuildError(label, f"{said} is not a finite number ({allowed})", meant)
    if kind == "literal_error":
        return BuildError(label, f"{said} is not one of {allowed}", f"choose: {field.description}")
    if kind == "too_short":
        return BuildError(label, f"{said} has too few points", f"give {field.description}")
    if takes == "text":
        return BuildError(label, f"{said} is not text", "write it in quotes")
    wanted = takes if not isinstance(path[-1], int) else "number"
    cure = "write a number without quotes" if isinstance(value, str) else meant
    return BuildError(label, f"{said} is not a {wanted} ({allowed})", cure)
