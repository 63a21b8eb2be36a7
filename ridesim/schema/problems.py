"""Faults of a file in plain words: file, key, value, allowed range, what to do."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel, ValidationError

from ridesim.errors import MOST_TOLD, FileError
from ridesim.schema.keys import allowed_of, choices_of, field_at, kind_of, model_at, model_of, printable, walk
from ridesim.schema.section import TOGETHER

Path = tuple[str | int, ...]
LONGEST_VALUE = 40
"""Characters of a value shown in a message."""


@dataclass(frozen=True)
class Document:
    """A kind of file: the model of the whole, how its faults are raised, parts in files of their own, keys renamed.

    `also_called`: by what people call a key or a section, in small letters and without its unit, what it is called
    here, each with a word on how to come to its value where that differs.
    """

    root: type[BaseModel]
    error: type[FileError]
    parts: tuple[str, ...] = ()
    renamed: Mapping[str, str] = field(default_factory=dict)
    also_called: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def problems_of(fault: ValidationError, sources: Mapping[str, str], where: str, document: Document) -> FileError:
    """Return every problem that pydantic found, each on a line of its own, with the file that said it."""
    errors = fault.errors()
    # pydantic also counts the good points of a list that has bad ones: that line would only confuse.
    lists = {error["loc"][:-1] for error in errors if error["loc"] and isinstance(error["loc"][-1], int)}
    shown = [error for error in errors if not (error["type"] == "too_short" and error["loc"] in lists)]
    shown.sort(key=lambda error: error["type"] != "extra_forbidden")  # a typo first: it explains a missing key
    problems = [_problem(error, sources, where, document) for error in shown[:MOST_TOLD]]
    return document.error.many(tuple(problems), untold=max(len(shown) - MOST_TOLD, 0))


def _problem(error: Any, sources: Mapping[str, str], where: str, document: Document) -> FileError:
    path: Path = error["loc"]
    kind, value = error["type"], error["input"]
    field = field_at(document.root, path)
    if kind == "missing":
        return _missing(path, sources, where, document)
    if kind == "extra_forbidden":
        return _unknown(path, value, _said_by(path, sources, where), document)
    if kind.startswith(TOGETHER):
        kind = kind.removeprefix(TOGETHER)
        return _together(path, kind, error, _said_by((*path, kind), sources, where), document)
    label = _said_by(path, sources, where)
    if field is None or model_of(field)[0] is not None:
        return _not_a_table(path, value, label, document)
    return _bad_value(path, kind, value, label, document)


def _dotted(path: Path) -> str:
    return printable(".".join(str(step) for step in path))


def shown_value(value: object) -> str:
    """Return a value as a message shows it: short, on one line, whatever it is."""
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
    elif isinstance(value, list | tuple):
        shown = (str(item) if isinstance(item, float) else shown_value(item) for item in value[:LONGEST_VALUE])
        text = f"[{', '.join(shown)}]"
    else:
        text = str(value)
    return text if len(text) <= LONGEST_VALUE else text[: LONGEST_VALUE - 3] + "..."


def _said_by(path: Path, sources: Mapping[str, str], where: str) -> str:
    """The file that wrote a key, or the first key under it."""
    for end in range(len(path), 0, -1):
        key = _dotted(path[:end])
        if key in sources:
            return sources[key]
    under = _dotted(path) + "."
    return next((label for key, label in sources.items() if key.startswith(under)), where)


def _missing(path: Path, sources: Mapping[str, str], where: str, document: Document) -> FileError:
    key, field = _dotted(path), field_at(document.root, path)
    assert field is not None, "pydantic misses only what the schema has"
    child = model_of(field)[0]
    if child is not None:
        inner = [name for name, item in child.model_fields.items() if item.is_required() and model_of(item)[0]]
        values = [f"{item.name} ({item.allowed})" for item in walk(child) if item.required and not item.section]
        needs = ", ".join(values + inner)
        part = f', or name a part: {key} = "..."' if key in document.parts else ""
        return document.error(where, f"section [{key}] is missing ({field.description})", f"give {needs}{part}")
    section = _dotted(path[:-1])
    table = f"[[{_dotted(path[:-2])}]]" if isinstance(path[-2:][0], int) else f"[{section}]"
    what = f"{key} is missing: {field.description} ({allowed_of(str(path[-1]), field)})"
    part_file = next((label for name, label in sources.items() if name.startswith(f"{section}.")), where)
    also = f", or to {part_file}" if part_file != where and section in document.parts else ""
    place = f"under {table}" if section else "at the top"
    return document.error(where, what, f"add it {place}{also}")


def _unknown(path: Path, value: object, label: str, document: Document) -> FileError:
    name = str(path[-1])
    what = f"{_dotted(path)} = {shown_value(value)} is not a known key"
    if isinstance(value, Mapping):
        what = f"[{_dotted(path)}] is not a known section"
    return document.error(label, what, _nearest(name, path, document))


def not_known(path: Path, label: str, document: Document) -> FileError:
    """Return the fault of naming a key that is none."""
    named = printable(_dotted(path))
    return document.error(label, f"{named} is not a known key", _nearest(str(path[-1]), path, document))


def _nearest(name: str, path: Path, document: Document) -> str:
    if name in document.renamed:
        return f"it is called {document.renamed[name]} now"
    model = model_at(document.root, path[:-1])
    here = list(model.model_fields) if model is not None else []
    called = document.also_called.get(name.lower()) or document.also_called.get(name.lower().rsplit("_", 1)[0], ())
    meant = [each for each in called if each.split(" ")[0] in here]
    if meant:
        return f"did you mean {' or '.join(meant)}?"
    near = difflib.get_close_matches(name, here, 1, 0.6)
    near = near or [other for other in here if other.startswith(f"{name}_") or name.startswith(f"{other}_")]
    if near:
        return f"did you mean {near[0]}?"
    elsewhere = [key for key in walk(document.root) if key.name == name]
    if elsewhere:
        return f"it belongs under [{elsewhere[0].section}]" if elsewhere[0].section else "it belongs at the top"
    stem = name.split("_")[0]
    near = [other for other in here if stem in other.split("_")]
    if near:
        return f"the nearest is {near[0]}; delete the key if that is not meant"
    return f"known here: {', '.join(here)}"


def _together(path: Path, name: str, error: Any, label: str, document: Document) -> FileError:
    """A key that is at odds with its neighbours."""
    value = error["input"]
    what, _, to_do = error["msg"].partition("; ")
    given = value.get(name) if isinstance(value, Mapping) else None
    said = f" = {shown_value(given)}" if given is not None and not isinstance(given, list | tuple) else ""
    return document.error(label, f"{_dotted((*path, name))}{said} {what}", to_do or "correct one of them")


def _not_a_table(path: Path, value: object, label: str, document: Document) -> FileError:
    key, field = _dotted(path), field_at(document.root, path)
    is_array = field is not None and model_of(field)[1] and not isinstance(path[-1], int)
    to_do = f"write it as [[{key}]], once for each" if is_array else f"write its keys under [{key}]"
    return document.error(
        label, f"{key} = {shown_value(value)} is not {'a list of tables' if is_array else 'a table'}", to_do
    )


def _bad_value(path: Path, kind: str, value: object, label: str, document: Document) -> FileError:
    field = field_at(document.root, path)
    assert field is not None, "only keys of the schema have values to refuse"
    name = next(str(step) for step in reversed(path) if isinstance(step, str))
    said, allowed = f"{_dotted(path)} = {shown_value(value)}", allowed_of(name, field)
    takes, meant = kind_of(field), f"give a value within (it means: {field.description})"
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        return document.error(label, f"{said} is out of range ({allowed})", meant)
    if kind == "finite_number":
        return document.error(label, f"{said} is not a finite number ({allowed})", meant)
    if kind == "literal_error":
        near = difflib.get_close_matches(value, choices_of(field), 1) if isinstance(value, str) else []
        to_do = f"did you mean {near[0]}?" if near else f"choose: {field.description}"
        return document.error(label, f"{said} is not one of {allowed}", to_do)
    if kind == "too_short" and not value:
        return document.error(label, f"{said} is an empty list", f"give {field.description}")
    if kind == "too_short":
        return document.error(label, f"{said} has too few points", f"give {field.description}")
    if kind == "string_too_short":
        return document.error(label, f"{said} is empty", f"give {field.description}")
    if takes == "text":
        return document.error(label, f"{said} is not text", "write it in quotes")
    if takes == "yes or no":
        return document.error(label, f"{said} is neither true nor false", meant)
    if takes == "list of texts":
        wanted = "text" if isinstance(path[-1], int) else "list of texts"
        return document.error(label, f"{said} is not a {wanted}", 'write ["one", "another"]')
    wanted = takes if not isinstance(path[-1], int) else "number"
    allowed = allowed.removeprefix("numbers from ")
    cure = "write a number without quotes, unit or comma" if isinstance(value, str) else meant
    return document.error(label, f"{said} is not a {wanted} ({allowed})", cure)
