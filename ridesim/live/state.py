"""What a page shows: a build, a road and the keys that its hands have changed. What a page sends is checked here."""

from __future__ import annotations

import json
import math
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any

from ridesim.bike.keys import PART_SECTIONS
from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.errors import RideError
from ridesim.live.folder import Folder
from ridesim.live.hands import key_names
from ridesim.road.load import load_road
from ridesim.road.profile import Road

MOST_CHANGES, LONGEST_TEXT, LONGEST_LIST = 200, 200, 2000
KEPT_ROADS, KEPT_BUILDS = 8, 32

Value = bool | int | float | str | list[float] | None


@dataclass(frozen=True)
class State:
    """A build by its name, a road by its name, and the changed keys; None takes a key back to its default."""

    build: str
    road: str
    changes: Mapping[str, Value]


def parse_json(body: bytes) -> dict[str, Any]:
    """Return the object that a page sent. Raises RideError."""
    try:
        found = json.loads(body, parse_constant=_refuse_constant)
    except (ValueError, RecursionError):
        raise RideError("page", "sent no JSON", "reload it") from None
    if not isinstance(found, dict):
        raise RideError("page", "sent no object", "reload it")
    return found


def _refuse_constant(name: str) -> float:
    raise ValueError(name)


def parse_state(sent: object) -> State:
    """Return the state that a page sent. Raises RideError for anything of another shape."""
    if not isinstance(sent, Mapping):
        raise RideError("page", "sent no state", "reload it")
    build, road, changes = sent.get("build"), sent.get("road"), sent.get("changes", {})
    if not isinstance(build, str) or not isinstance(road, str) or not isinstance(changes, Mapping):
        raise RideError("page", "sent a state without build and road", "reload it")
    if len(changes) > MOST_CHANGES:
        raise RideError("page", f"changed more than {MOST_CHANGES} keys", "save a build of your own and start from it")
    return State(build, road, {str(key)[:LONGEST_TEXT]: _value(str(key), value) for key, value in changes.items()})


def _value(key: str, value: object) -> Value:
    if isinstance(value, float) and not math.isfinite(value):
        raise RideError(key[:LONGEST_TEXT], "is not a number", "write a plain number")
    if value is None or isinstance(value, (bool, int, float)):
        return value
    if isinstance(value, str) and len(value) <= LONGEST_TEXT:
        return value
    if isinstance(value, list) and len(value) <= LONGEST_LIST and all(type(each) in (int, float) for each in value):
        return value
    raise RideError(key[:LONGEST_TEXT], "is no plain value", "write a number, a word, or numbers with commas")


class Shelf:
    """Builds and roads of a folder, read once until their files change."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self._roads: OrderedDict[tuple[str, int], Road] = OrderedDict()
        self._builds: OrderedDict[tuple[str, int], LoadedBuild] = OrderedDict()
        self._lock = Lock()

    def file_build(self, name: str) -> LoadedBuild:
        """Return a build as its file has it. Raises BuildError."""
        place = self.folder.build(name)
        return self._kept(self._builds, place, KEPT_BUILDS, lambda: load_build(self._called(name, place)))

    def build(self, state: State) -> LoadedBuild:
        """Return the build with the page's changes. Raises BuildError or RideError."""
        plain = self.file_build(state.build)
        changes = ordered(state.changes)
        parts = {key: value for key, value in changes.items() if key in PART_SECTIONS}
        known = self.folder.parts(self.folder.build(state.build))
        for key, value in parts.items():
            if value not in known:
                raise RideError(key, "names no part at hand", f"choose one of {', '.join(known)}")
        fitted = replace_keys(plain, parts) if parts else plain
        for key in changes.keys() - parts.keys() - key_names(fitted):
            raise RideError(key, "is no key of this build", "take the change back")
        return replace_keys(plain, changes) if changes else plain

    def road(self, state: State) -> Road:
        """Return the road. Raises RoadError."""
        place = self.folder.road(state.road)
        return self._kept(self._roads, place, KEPT_ROADS, lambda: load_road(self._called(state.road, place)))

    def _called(self, name: str, place: Path) -> Path:
        """A file as the user names it, where that leads there: messages and pages then read like the commands'."""
        return Path(name) if Path(name).resolve() == place else place

    def _kept(self, shelf: OrderedDict[tuple[str, int], Any], place: Path, most: int, read: Any) -> Any:
        mark = (str(place), place.stat().st_mtime_ns)
        with self._lock:
            if mark in shelf:
                shelf.move_to_end(mark)
                return shelf[mark]
        found = read()
        with self._lock:
            shelf[mark] = found
            while len(shelf) > most:
                shelf.popitem(last=False)
        return found


def ordered(changes: Mapping[str, Value]) -> dict[str, Value]:
    """Return changes as they are laid over a build: parts first, since a part begins its section anew."""
    return dict(sorted(changes.items(), key=lambda item: (item[0] not in PART_SECTIONS, item[0])))


def command_of(state: State, word: str = "ride") -> list[str]:
    """Return the command that gives the same answer."""
    from ridesim.bike.taken_back import WORD
    from ridesim.schema.texts import toml_value

    said = {key: WORD if value is None else toml_value(value) for key, value in ordered(state.changes).items()}
    return ["ridesim", word, state.build, state.road, *(f"--set={key}={value}" for key, value in said.items())]
