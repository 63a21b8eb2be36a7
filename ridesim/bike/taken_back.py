"""Keys taken back to their defaults: `back_to_default` in a build that extends another, `--set key=default`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ridesim.bike.keys import BIKE
from ridesim.errors import BuildError
from ridesim.schema.keys import field_at, printable
from ridesim.schema.problems import not_known, shown_value

KEY, WORD = "back_to_default", "default"
"""The list of a build file, and the bare word of `--set`; a text of the same letters is written in quotes."""


def take_list(data: dict[str, Any], label: str) -> tuple[str, ...]:
    """Take the list of keys out of a file's data and return them. Raises BuildError for what is no list of keys."""
    listed = data.pop(KEY, [])
    if not isinstance(listed, list) or not all(isinstance(each, str) for each in listed):
        what = f"{KEY} = {shown_value(listed)} is not a list of keys"
        raise BuildError(label, what, f'write for example {KEY} = ["rider.mass_kg"]')
    if listed and "extends" not in data:
        raise BuildError(label, f"{KEY} takes keys of a parent back, but nothing is extended", "leave the keys out")
    for key in listed:
        refuse_unknown(key, label)
    return tuple(listed)


def refuse_unknown(key: str, label: str) -> None:
    """Raise BuildError for a key that no build has."""
    path = tuple(int(step) if step.isdecimal() else step for step in key.split("."))
    if field_at(BIKE.root, path) is None:
        raise not_known(path, label, BIKE)


def refuse_given(keys: tuple[str, ...], own: Mapping[str, str], label: str) -> None:
    """Raise BuildError for a key that one file both gives and takes back."""
    for key in keys:
        given = next((name for name in own if name == key or name.startswith(f"{key}.")), None)
        if given is not None:
            what = f"gives {printable(given)} and takes {printable(key)} back to its default"
            raise BuildError(label, what, "leave out one of the two")
