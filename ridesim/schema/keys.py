"""The schema seen as a list of keys: unit, range, default and meaning of each, in the order of the schema."""

from __future__ import annotations

import math
import types
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from ridesim.schema.tolerance import Tolerances
from ridesim.units import symbol_of

LONGEST_TEXT = 100
"""Characters of a user's text shown in a message."""


@dataclass(frozen=True)
class Key:
    """One key of the schema. `section` is dotted; an array of tables has the section of its tables."""

    section: str
    name: str
    field: FieldInfo
    in_array: bool

    @property
    def unit(self) -> str:
        """Symbol of the unit, or an empty string."""
        return symbol_of(self.name)

    @property
    def help(self) -> str:
        """What the key means."""
        return self.field.description or ""

    @property
    def required(self) -> bool:
        """Whether a file must give it."""
        return self.field.is_required()

    @property
    def default(self) -> Any:
        """Value when left out; None means that it is estimated, or off."""
        return None if self.required else self.field.get_default(call_default_factory=True)

    @property
    def bounds(self) -> tuple[float, float]:
        """Lowest and highest allowed value; infinite where there is none."""
        low, above, high = (_bound(self.field.metadata, mark) for mark in ("ge", "gt", "le"))
        lowest = next((each for each in (low, above) if each is not None), -math.inf)
        return lowest, math.inf if high is None else high

    @property
    def tolerance(self) -> Tolerances | None:
        """How uncertain its value is by whose it is; None: exact."""
        return next((mark for mark in self.field.metadata if isinstance(mark, Tolerances)), None)

    @property
    def allowed(self) -> str:
        """Allowed values in words, with the unit: `1 to 5000 rpm/V`, `belt, chain or gear`."""
        return allowed_of(self.name, self.field)


def printable(text: str) -> str:
    """Return a user's text fit for one line of a message: no control characters, and not endless."""
    shown = "".join(letter if letter.isprintable() else " " for letter in text)
    return shown if len(shown) <= LONGEST_TEXT else shown[:LONGEST_TEXT] + "..."


def _plain(annotation: Any) -> Any:
    """The annotation without its `| None`."""
    if get_origin(annotation) in (Union, types.UnionType):
        return next(branch for branch in get_args(annotation) if branch is not type(None))
    return annotation


def model_of(field: FieldInfo) -> tuple[type[BaseModel] | None, bool]:
    """Return the model behind a field and whether the field is an array of them; (None, False) for a value."""
    annotation = _plain(field.annotation)
    is_array = get_origin(annotation) is tuple
    inner = get_args(annotation)[0] if is_array else annotation
    if isinstance(inner, type) and issubclass(inner, BaseModel):
        return inner, is_array
    return None, False


@cache
def layout(model: type[BaseModel]) -> tuple[tuple[str, str, type[BaseModel] | None, bool], ...]:
    """Return (name, help, model behind it or None, whether an array) of each field; kept, as sweeps ask it often."""
    return tuple((name, field.description or "", *model_of(field)) for name, field in model.model_fields.items())


Kind = Literal["number", "whole number", "text", "choice", "yes or no", "list of numbers", "list of texts"]


def kind_of(field: FieldInfo) -> Kind:
    """Return what a field that is no section takes."""
    annotation = _plain(field.annotation)
    if get_origin(annotation) is tuple:
        return "list of texts" if get_args(annotation)[0] is str else "list of numbers"
    if get_origin(annotation) is Literal:
        return "choice"
    if annotation is str:
        return "text"
    if annotation is bool:
        return "yes or no"
    return "whole number" if annotation is int else "number"


def _bound(marks: Iterable[Any], name: str) -> float | None:
    return next((getattr(mark, name) for mark in marks if hasattr(mark, name)), None)


def choices_of(field: FieldInfo) -> list[str]:
    """Return the words that a choice allows."""
    return [str(value) for value in get_args(_plain(field.annotation))]


def allowed_of(name: str, field: FieldInfo) -> str:
    """Return the allowed values of a field in words, with the unit."""
    kind = kind_of(field)
    if kind == "choice":
        *others, last = choices_of(field)
        return f"{', '.join(others)} or {last}" if others else last
    if kind == "text":
        return "text"
    if kind == "list of texts":
        return "texts in quotes"
    if kind == "yes or no":
        return "true or false"
    unit = f" {symbol_of(name)}" if symbol_of(name) else ""
    if kind == "list of numbers":
        item = get_args(_plain(field.annotation))[0]
        marks = [mark for info in get_args(item) if isinstance(info, FieldInfo) for mark in info.metadata]
        if _bound(marks, "ge") is None:
            return f"numbers{unit and ' in'}{unit}"
        return f"numbers from {_bound(marks, 'ge'):.10g} to {_bound(marks, 'le'):.10g}{unit}"
    low, above, high = (_bound(field.metadata, mark) for mark in ("ge", "gt", "le"))
    start = f"more than {above:.10g}, up to" if above is not None else f"{low:.10g} to"
    return f"{start} {high:.10g}{unit}"


def is_optional(field: FieldInfo) -> bool:
    """Return whether a section may be absent as a whole."""
    return field.default is None and model_of(field)[0] is not None


def walk(model: type[BaseModel], section: str = "", in_array: bool = False, *, optional: bool = False) -> Iterator[Key]:
    """Yield every key: the plain keys of a section first, then its sub-sections, as a TOML file has them.

    Sections that may be absent as a whole (they repeat others) only where `optional` ones are asked for.
    """
    inner: list[tuple[str, type[BaseModel], bool]] = []
    for name, field in model.model_fields.items():
        child, is_array = model_of(field)
        if is_optional(field) and not optional:
            continue
        if child is None or is_array:
            yield Key(section, name, field, in_array)
        if child is not None:
            inner.append((f"{section}.{name}".lstrip("."), child, is_array))
    for path, child, is_array in inner:
        yield from walk(child, path, is_array, optional=optional)


def model_at(root: type[BaseModel], path: tuple[str | int, ...]) -> type[BaseModel] | None:
    """Return the model at a place such as ("drive", "stage", 0) of a file, or None where there is none."""
    model: type[BaseModel] | None = root
    for step in path:
        if isinstance(step, int):
            continue
        if model is None or step not in model.model_fields:
            return None
        model = model_of(model.model_fields[step])[0]
    return model


def field_at(root: type[BaseModel], path: tuple[str | int, ...]) -> FieldInfo | None:
    """Return the field at a place such as ("motor", "mass_kg") of a file, or None where there is none."""
    while path and isinstance(path[-1], int):
        path = path[:-1]
    model = model_at(root, path[:-1])
    return model.model_fields.get(str(path[-1])) if model is not None and path else None
