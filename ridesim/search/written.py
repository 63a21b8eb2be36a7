"""Members of a front as build files of a few lines: what they extend, and what differs."""

from __future__ import annotations

import os
from itertools import chain
from pathlib import Path
from typing import Any

from ridesim.bike.drive import Drive
from ridesim.bike.files import find_part, shipped_parts
from ridesim.bike.keys import PART_SECTIONS
from ridesim.bike.load import LoadedBuild
from ridesim.bike.second import PREFIX, drives_of
from ridesim.engine.estimates import estimate
from ridesim.schema.texts import toml_value
from ridesim.search.found import Found, Member
from ridesim.workshop.size.label import is_label, parse_label, part_text

COMMENT = "# Build {letter} of {name!r}{knee}, found by ridesim search (seed {seed}).\n"
CAUTION = (
    "# A proposal on paper: check it part by part (ridesim check) before you build; lithium cells, high currents and\n"
    "# hot motors hurt. Local law decides what may be ridden on a public road.\n"
)


MOTORS = ("motor", f"{PREFIX}motor")
"""Sections that a motor's label may stand in for."""


def label_file(label: str) -> str:
    """Return the name of the part file of a motor given by its label."""
    return f"motor-{'-'.join(piece.strip() for piece in label.split(','))}"


def member_files(found: Found, folder: Path, letters: list[str]) -> dict[str, str]:
    """Return the files of a front, name -> text: a build a member, and the motor parts that labels stand for."""
    files: dict[str, str] = {}
    for place, (name, member) in enumerate(zip(letters, found.members, strict=True)):
        files[f"build-{name}.toml"] = build_text(found, member, name, folder, place == found.knee)
        for axis in found.study.space.axes:
            label = member.labels[axis.name]
            if axis.key in MOTORS and is_label(label):
                files[f"{label_file(label)}.toml"] = part_text(parse_label(label))
    return files


def build_text(found: Found, member: Member, letter: str, folder: Path, is_knee: bool) -> str:
    """Return a member's build file, to be written into `folder`; `ridesim ride` takes it."""
    base, loaded = found.study.space.base, member.look.loaded
    assert loaded is not None  # a member has been loaded in the last look
    parent = os.path.relpath(Path(base.path).resolve(), folder.resolve())
    name = f"{base.build.name}, build {letter}"
    head = COMMENT.format(letter=letter, name=found.study.asked.goals.name, seed=found.seed,
                          knee=", the knee of the front" if is_knee else "")  # fmt: skip
    lines = [f"extends = {toml_value(parent)}", f"name = {toml_value(name)}"]
    tables: dict[str, list[str]] = {}
    for key, value in _differing(found, member, loaded).items():
        if key == "drive.stage" or key.startswith("drive.stage."):
            tables["drive.stage"] = _stages(loaded.build.drive, "drive.stage")
        elif key.startswith(f"{PREFIX}drive.stage.") and loaded.build.second is not None:
            tables[PREFIX] = _stages(loaded.build.second.drive, f"{PREFIX}drive.stage")
        else:
            lines.append(f"{key} = {toml_value(_named(key, value, found, folder))}")
    return head + CAUTION + "\n".join([*lines, *chain.from_iterable(tables.values())]) + "\n"


def _differing(found: Found, member: Member, loaded: LoadedBuild) -> dict[str, Any]:
    """Return the keys in which a member differs from the base file: parts by their names, what is reset as a value."""
    space = found.study.space
    keys = {**dict(found.study.asked.changes), **space.overrides_of(member.row)}
    for axis, option in space.chosen(member.row):
        if option.part:
            keys[axis.key] = option.part
    made = {prefix: estimate(drive) for prefix, drive in zip(("", PREFIX), drives_of(loaded.build), strict=False)}
    whose = lambda key: made[PREFIX if key.startswith(PREFIX) else ""]  # noqa: E731
    return {key: getattr(whose(key), key.rpartition(".")[2]) if value is None else value for key, value in keys.items()}


def _named(key: str, value: Any, found: Found, folder: Path) -> Any:
    """Return a part's name as it is found from `folder`; any other value as it is."""
    if key not in PART_SECTIONS or not isinstance(value, str):
        return value
    if key in MOTORS and is_label(value):
        return label_file(value)
    path, _ = find_part(value, Path(found.study.space.base.path).parent, key, key)
    if path.parent.resolve() == shipped_parts().resolve():
        return value
    return os.path.relpath(path.resolve(), folder.resolve())


def _stages(drive: Drive, place: str) -> list[str]:
    lines = []
    for stage in drive.stage:
        lines += ["", f"[[{place}]]"]
        keys = stage.model_dump(exclude_none=True, exclude_defaults=True)
        lines += [f"{key} = {toml_value(value)}" for key, value in keys.items()]
    return lines
