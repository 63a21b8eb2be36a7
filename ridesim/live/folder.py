"""The files that a page may name: builds and roads inside the folder it was started from, and roads dropped on it."""

from __future__ import annotations

import hashlib
import os
import re
import tomllib
from collections.abc import Callable, Mapping
from functools import cached_property
from pathlib import Path
from typing import Any

from ridesim.bike.files import part_names
from ridesim.errors import BuildError, RideError, RoadError

DROPPED = "dropped/"
"""Begins the name of a road that was dropped on the page."""
DEEPEST, MOST_LISTED = 3, 400
LARGEST_LISTED_BYTES = 1024 * 1024
Seal = Callable[[Path], object]
_SKIPPED = ("parts", "node_modules")
_NEW_NAME = re.compile(r"[\w][\w .()+-]{0,98}", re.UNICODE)


class Folder:
    """The folder that a page was started from. `given` are the files named on the command line, wherever they lie.

    `seal` is told of every page to keep before it takes its place: it marks the page as ours.
    """

    def __init__(self, start: Path, room: Path, given: tuple[str, ...] = (), seal: Seal | None = None) -> None:
        self.start = start.resolve()
        self.room, self.seal = room, seal
        """Where dropped roads are kept until the server ends."""
        self.given = {str(Path(name)): Path(name).resolve() for name in given}

    def build(self, name: str) -> Path:
        """Return the place of a build. Raises BuildError for a name that is not inside the folder."""
        return self._inside(name, (".toml",), BuildError)

    def road(self, name: str) -> Path:
        """Return the place of a road, dropped ones included. Raises RoadError."""
        if name.startswith(DROPPED):
            found = self.dropped.get(name)
            if found is None:
                raise RoadError("road", "was dropped on a page that has ended", "drop the file again")
            return found
        return self._inside(name, (".toml", ".gpx"), RoadError)

    def shown(self, place: Path) -> str:
        """Return a place as a person in the folder names it."""
        inside = place.is_relative_to(self.start)
        return str(place.relative_to(self.start)) if inside else str(place)

    @cached_property
    def dropped(self) -> dict[str, Path]:
        """Roads dropped so far, by name."""
        return {}

    def keep_road(self, title: str, received: Path) -> str:
        """Keep a file that was dropped, in a room of its own, and return the name of its road."""
        with received.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()[:16]
        kind = ".toml" if title.lower().endswith(".toml") else ".gpx"
        plain = re.sub(r"[^\w .-]", "", Path(title.replace("\\", "/")).stem)[:60].strip(" .") or "road"
        name = f"{DROPPED}{digest}/{plain}{kind}"
        place = self.room / digest / f"{plain}{kind}"
        place.parent.mkdir(exist_ok=True)
        received.replace(place)
        self.dropped[name] = place
        return name

    def _inside(self, name: str, endings: tuple[str, ...], error: type[BuildError] | type[RoadError]) -> Path:
        if name in self.given and self.given[name].suffix.lower() in endings:
            return self.given[name]
        shown = f'"{name[:60]}"' if name.isprintable() else "this name"
        refused = error("page", f"{shown} is no file of the start folder", "choose one of the list")
        if "\0" in name or Path(name).is_absolute() or not name.lower().endswith(endings):
            raise refused
        try:
            place = (self.start / name).resolve()
        except (OSError, RuntimeError, ValueError):
            raise refused from None
        if not place.is_relative_to(self.start) or not place.is_file():
            raise refused
        return place

    def listed(self) -> dict[str, list[str]]:
        """Return the names of builds and roads in the folder, those of the command line first."""
        found: dict[str, list[str]] = {"build": [], "road": []}
        for place in self._files():
            name, kind = str(place.relative_to(self.start)), kind_of(place)
            if kind is not None:
                found[kind].append(name)
        first: dict[str, list[str]] = {"build": [], "road": []}
        for name, place in self.given.items():
            kind = kind_of(place)
            if kind is not None:
                first[kind].append(name)
        return {
            "builds": list(dict.fromkeys([*first["build"], *found["build"]])),
            "roads": list(dict.fromkeys([*first["road"], *found["road"]])),
        }

    def _files(self) -> list[Path]:
        found: list[Path] = []
        for folder, inner, files in os.walk(self.start):
            depth = len(Path(folder).relative_to(self.start).parts)
            keep = [each for each in inner if not each.startswith(".") and each not in _SKIPPED]
            inner[:] = sorted(keep) if depth + 1 < DEEPEST else []
            found += [Path(folder) / name for name in sorted(files) if name.lower().endswith((".toml", ".gpx"))]
            if len(found) > MOST_LISTED:
                break
        return found[:MOST_LISTED]

    def parts(self, build: Path) -> tuple[str, ...]:
        """Return the names of the parts at hand for a build."""
        return part_names(build.parent)

    def write_new(self, name: str, text: str, *, over: bool) -> str:
        """Write a file into the start folder and return its name; whole or not at all.

        Raises RideError for a name that is no plain one, FileExistsError where one is there and `over` is not said.
        """
        if not _NEW_NAME.fullmatch(name) or not name.lower().endswith((".toml", ".html")):
            raise RideError("name", f'"{name[:60]}" is no plain file name', "use letters, digits, spaces, - and _")
        place = self.start / name
        if place.is_symlink() or place.is_dir():
            raise RideError("name", f'"{name}" is a link or a folder', "choose another name")
        if place.exists() and not over:
            raise FileExistsError(name)
        hidden = self.start / f".ridesim-{os.getpid()}-{hashlib.sha256(name.encode()).hexdigest()[:8]}"
        try:
            with hidden.open("x", encoding="utf-8") as sink:
                sink.write(text)
            if self.seal is not None and name.lower().endswith(".html"):
                self.seal(hidden)
            if over:
                hidden.replace(place)
            else:  # a link refuses where a file has come in between
                os.link(hidden, place)
        except FileExistsError:
            raise FileExistsError(name) from None
        except OSError as fault:
            raise RideError(name, f"cannot be written ({fault.strerror or fault})", "look at the folder") from None
        finally:
            hidden.unlink(missing_ok=True)
        return name


def kind_of(place: Path) -> str | None:
    """Return "build" or "road", by what a file holds; None for anything else."""
    if place.suffix.lower() == ".gpx":
        return "road"
    try:
        if place.suffix.lower() != ".toml" or place.stat().st_size > LARGEST_LISTED_BYTES:
            return None
        data = tomllib.loads(place.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    return _kind_of_table(data)


def _kind_of_table(data: Mapping[str, Any]) -> str | None:
    if isinstance(data.get("road"), Mapping):
        return "road"
    return "build" if "extends" in data or ("rider" in data and "motor" in data) else None
