"""From a TOML file to a checked build that remembers who said what."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from ridesim.bike.checks import plausibility
from ridesim.bike.files import Layer, lay_over, place_parts, read_layer, with_key
from ridesim.bike.keys import BIKE, PART_SECTIONS
from ridesim.bike.schema import Build
from ridesim.bike.startable import startability
from ridesim.bike.taken_back import WORD, refuse_unknown
from ridesim.bike.tolerance import Stated, stated_tolerances, take_tolerances
from ridesim.errors import BuildError
from ridesim.schema.keys import layout, printable
from ridesim.schema.problems import problems_of

NOT_RIDDEN = frozenset({
    "name", "price", "pitch_mm", "width_mm", "centre_distance_mm", "capacitance_uf", "shaft_diameter_mm",
    "shaft_side_load_limit_n",
})  # fmt: skip
"""Keys that no ride leans on: names, and what only the workshop calculators read."""

NO_RIDE_READS: tuple[str, ...] = ("mount.", "brakes.", "drive.second_motor.", "second.mount.")
"""Sections that no ride's motion reads; `mount`, `descend` and `belt` name what is left out of them."""

OVERRIDE = "override"
"""The source of a key given on the command line or by a sweep."""


@dataclass(frozen=True)
class DefaultUsed:
    """A key left out, the value it took (None: estimated, or off) and what it means."""

    key: str
    value: object
    help: str


@dataclass(frozen=True)
class LoadedBuild:
    """A valid build, with its hash, the origin of each number and the warnings of the plausibility checks."""

    build: Build
    path: str
    sha256: str
    given: frozenset[str]
    defaults_used: tuple[DefaultUsed, ...]
    sources: dict[str, str]
    warnings: tuple[str, ...]
    overrides: tuple[tuple[str, object], ...] = ()
    data: Mapping[str, Any] = field(default_factory=dict, repr=False, compare=False)
    """The merged keys as written, from which `replace_keys` starts."""
    stated: Stated = field(default_factory=lambda: Stated({}))
    """The tolerances that the build and its parts state."""
    keys_begin: str = ""
    """How the keys begin that `build` has in the first drive's place: `second.` where the second drive sees it."""


def load_build(path: str | Path, overrides: Mapping[str, object] | None = None) -> LoadedBuild:
    """Load a build file with its parent and parts; `overrides` maps dotted keys to values.

    Raises BuildError, which carries every problem of the file.
    """
    layer = read_layer(Path(path), str(path))
    return _finish(layer, str(path), _hash(layer.texts), overrides or {})


def build_from_dict(data: Mapping[str, Any], where: str = "build") -> LoadedBuild:
    """Load a build from nested dicts, as a TOML file would give them. Parts are looked up from the working folder."""
    layer = place_parts(data, where, Path())
    text = json.dumps(layer.data, sort_keys=True, default=str).encode()
    return _finish(layer, where, _hash([text, *layer.texts]), {})


def replace_keys(loaded: LoadedBuild, overrides: Mapping[str, object], *, must_start: bool = True) -> LoadedBuild:
    """Return a build with some keys replaced, named by dotted keys such as `drive.stage.0.driven_teeth`.

    None takes a key out, back to its default. A part section takes the name of a part: `motor = "motor-63mm"`.
    Without `must_start` a bike that cannot start is let through: a search changes it further.
    """
    layer = Layer(dict(loaded.data), dict(loaded.sources))
    before = dict(loaded.overrides)
    return _finish(layer, loaded.path, loaded.sha256, overrides, before, must_start)


def parse_override(text: str) -> tuple[str, object]:
    """Parse `key=value`, the value as TOML, a bare word as text, the bare word `default` as None.

    Raises BuildError.
    """
    key, equals, value = (piece.strip() for piece in text.partition("="))
    if not equals or not key or not value:
        raise BuildError(OVERRIDE, f'"{printable(text)}" is not key=value', "write for example rider.mass_kg=90")
    if value == WORD:
        return key, None
    try:
        return key, tomllib.loads(f"value = {value}")["value"]
    except RecursionError:
        raise BuildError(OVERRIDE, f"{printable(key)} has brackets nested too deep", "write a plain value") from None
    except ValueError:
        return key, value


def _hash(texts: list[bytes]) -> str:
    digest = hashlib.sha256()
    for text in texts:
        digest.update(len(text).to_bytes(8, "big") + text)
    return digest.hexdigest()


def _finish(
    layer: Layer, path: str, sha256: str, overrides: Mapping[str, object],
    before: Mapping[str, object] | None = None, must_start: bool = True,
) -> LoadedBuild:  # fmt: skip
    for key, value in overrides.items():
        layer = _override(layer, key, value, Path(path).parent)
    if overrides:
        sha256 = _hash([sha256.encode(), json.dumps(dict(overrides), sort_keys=True, default=str).encode()])
    data, tolerances, together = take_tolerances(layer.data)
    try:
        build = Build.model_validate(data)
    except ValidationError as fault:
        raise problems_of(fault, layer.sources, path, BIKE) from None
    stated = stated_tolerances(tolerances, together, layer.sources, path)
    given = frozenset(layer.sources)
    if must_start:
        startability(build, layer.sources, path)
    return LoadedBuild(
        build=build,
        path=path,
        sha256=sha256,
        given=given,
        defaults_used=tuple(_defaults(build, given, _no_ride_reads(build))),
        sources=layer.sources,
        warnings=plausibility(build),
        overrides=tuple({**(before or {}), **overrides}.items()),
        data=layer.data,
        stated=stated,
    )


def _override(layer: Layer, key: str, value: object, beside: Path) -> Layer:
    """Lay one dotted key over the build; a path through an array changes one table of it."""
    if value is None:
        refuse_unknown(key, OVERRIDE)
    part = key.removesuffix(".part")
    names_a_part = isinstance(value, str) or (isinstance(value, Mapping) and "part" in value)
    if part in PART_SECTIONS and names_a_part:
        change = place_parts(_nested(part.split("."), value), OVERRIDE, beside)
        return lay_over(layer, change)
    return with_key(layer, key, value, OVERRIDE)


def _nested(path: list[str], value: object) -> dict[str, Any]:
    for step in reversed(path[1:]):
        value = {step: value}
    return {path[0]: value}


def _no_ride_reads(build: Build) -> tuple[str, ...]:
    """Return how the keys begin that no ride of this build reads."""
    drive = build.drive
    found = NO_RIDE_READS if drive.gears.ratios else (*NO_RIDE_READS, "drive.gears.")
    if build.controller.field_weakening_current_a == 0.0:
        found = (*found, "motor.salience")
    return found if drive.through_pedal_chain else (*found, "drive.through_pedal_chain", "drive.chain_force_limit_n")


def _defaults(
    model: BaseModel, given: frozenset[str], unread: tuple[str, ...], prefix: str = ""
) -> Iterator[DefaultUsed]:
    """Every key of a build that nobody wrote, in the order of the schema."""
    for name, meaning, child, is_array in layout(type(model)):
        path, value = f"{prefix}{name}", getattr(model, name)
        if is_array and value:
            for index, item in enumerate(value):
                yield from _defaults(item, given, unread, f"{path}.{index}.")
        elif child is not None and value is None:
            continue
        elif child is not None and not is_array:
            yield from _defaults(value, given, unread, f"{path}.")
        elif path not in given and name not in NOT_RIDDEN and not path.startswith(unread):
            yield DefaultUsed(path, value, meaning)
