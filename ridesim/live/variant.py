"""A build variant of a few lines: what a page has changed, over the build it was changed from."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ridesim.bike.files import shipped_parts
from ridesim.bike.keys import PART_SECTIONS
from ridesim.bike.load import LoadedBuild
from ridesim.bike.taken_back import KEY
from ridesim.live.folder import Folder
from ridesim.live.state import State, ordered
from ridesim.schema.texts import toml_value


def variant_text(state: State, changed: LoadedBuild, name: str, folder: Folder) -> str:
    """Return the TOML of a variant for the start folder: `extends`, its name, and the changed keys alone.

    TOML lays arrays of tables over each other as a whole, so that a changed stage brings all stages. Keys that were
    taken back to their defaults are listed.
    """
    taken = sorted(key for key, value in state.changes.items() if value is None and _array_of(key) is None)
    build = folder.build(state.build)
    extends = Path(os.path.relpath(build, folder.start)).as_posix()
    sections: dict[str, list[str]] = {}
    arrays: dict[str, Any] = {}
    for key, value in ordered(state.changes).items():
        if key in PART_SECTIONS:
            sections.setdefault(key, []).append(f"part = {toml_value(_part_from(str(value), build, folder))}")
            continue
        array = _array_of(key)
        if array is not None:
            arrays[array] = _at(changed.data, array)
            continue
        if value is None:
            continue
        section, _, last = key.rpartition(".")
        sections.setdefault(section, []).append(f"{last} = {toml_value(value)}")
    lines = [f"extends = {toml_value(extends)}", f"name = {toml_value(name)}"]
    lines += [f"{KEY} = {toml_value(taken)}"] if taken else []
    lines += [line for line in sections.pop("", []) if not line.startswith("name = ")]
    for section in sorted(sections):
        lines += ["", f"[{section}]", *sections[section]]
    for array, tables in arrays.items():
        for table in tables:
            lines += ["", f"[[{array}]]", *(f"{key} = {toml_value(value)}" for key, value in table.items())]
    return "\n".join(lines) + "\n"


def _array_of(key: str) -> str | None:
    steps = key.split(".")
    number = next((at for at, step in enumerate(steps) if step.isdecimal()), None)
    return None if number is None else ".".join(steps[:number])


def _at(data: Mapping[str, Any], path: str) -> Any:
    found: Any = data
    for step in path.split("."):
        found = found[step]
    return found


def _part_from(name: str, build: Path, folder: Folder) -> str:
    """Return a part's name as a file in the start folder finds it."""
    beside = build.parent / "parts" / f"{name}.toml"
    shipped = shipped_parts() / f"{name}.toml"
    if not beside.is_file() or build.parent == folder.start or (shipped.is_file() and beside.samefile(shipped)):
        return name
    return Path(os.path.relpath(beside, folder.start)).as_posix()
