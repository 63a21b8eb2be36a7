"""What a hand can hold: the keys most turned, as sliders, and every other key by name, all from the schema."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from ridesim.bike.drive import Drive
from ridesim.bike.files import part_names, read_layer, shipped_parts
from ridesim.bike.keys import PART_SECTIONS
from ridesim.bike.load import LoadedBuild
from ridesim.bike.second import PREFIX
from ridesim.errors import BuildError
from ridesim.schema.keys import Key, choices_of, kind_of, layout


class Hand(NamedTuple):
    """A key with a slider: what it is called, and the stretch of values that a builder tries."""

    key: str
    words: str
    low: float
    high: float
    step: float


STAGE_HANDS = (
    Hand("driver_teeth", "motor side, teeth", 9, 40, 1),
    Hand("driven_teeth", "wheel side, teeth", 20, 220, 1),
    Hand("ratio", "ratio", 1.0, 20.0, 0.05),
)
"""Of every stage; what a stage leaves open is not shown."""
HANDS = (
    Hand("controller.motor_current_limit_a", "motor current limit", 10, 200, 1),
    Hand("controller.pack_current_limit_a", "pack current limit", 5, 100, 1),
    Hand("controller.brake_current_limit_a", "braking current limit", 0, 100, 1),
    Hand("rider.cruise_speed_km_h", "cruise speed", 8, 50, 0.5),
    Hand("bicycle.cargo_kg", "load", 0, 150, 1),
    Hand("pack.start_charge_fraction", "start charge", 0.05, 1.0, 0.01),
    Hand("pack.parallel", "cells in parallel", 1, 20, 1),
    Hand("weather.wind_speed_km_h", "wind", 0, 60, 1),
    Hand("weather.wind_from_deg", "wind from", 0, 355, 5),
    Hand("weather.temperature_c", "air temperature", -15, 45, 1),
)
"""The stretches are common practice and guesses; the box beside a slider takes any value of the key's range."""
SECOND_HANDS = tuple(
    hand._replace(key=f"{PREFIX}{hand.key}", words=f"2nd drive, {hand.words}")
    for hand in HANDS
    if hand.key.startswith("controller.")
)
"""Of a second, different drive."""
PART_WORDS = {"motor": "motor", "pack.cell": "cells", "controller": "controller", "tyre": "tyre"}


def hands_of(loaded: LoadedBuild, beside: Path) -> dict[str, Any]:
    """Return the sliders, the parts at hand and every key of a build, as plain values."""
    keys = {each["key"]: each for each in keys_of(loaded)}
    stages = _stage_hands(loaded.build.drive, keys)
    words_of: dict[str, str] = PART_WORDS
    others: tuple[Hand, ...] = HANDS
    if loaded.build.second is not None:
        stages += _stage_hands(loaded.build.second.drive, keys, PREFIX, "2nd drive, ")
        others = (*HANDS, *SECOND_HANDS)
        words_of = PART_WORDS | {f"{PREFIX}{name}": f"2nd {name}" for name in ("motor", "controller")}
    parts = [
        {"key": section, "words": words, "names": list(parts_of(section, beside)), "value": _part_of(loaded, section)}
        for section, words in words_of.items()
    ]
    sliders = [_slider(hand, keys[hand.key]) for hand in (*stages, *others) if hand.key in keys]
    return {"hands": sliders, "parts": parts, "keys": list(keys.values())}


def _stage_hands(drive: Drive, keys: Mapping[str, Any], prefix: str = "", whose: str = "") -> list[Hand]:
    """Return the sliders of a drive's stages; `prefix`: how its keys begin, `whose`: how its words do."""
    count = len(drive.stage)
    return [
        Hand(f"{prefix}drive.stage.{at}.{hand.key}", f"{whose}{_staged(hand, at, count)}", *hand[2:])
        for at in range(count)
        for hand in STAGE_HANDS
        if keys[f"{prefix}drive.stage.{at}.{hand.key}"]["value"] is not None
    ]


def _staged(hand: Hand, at: int, count: int) -> str:
    return hand.words if count == 1 else f"stage {at + 1}, {hand.words}"


def _slider(hand: Hand, key: dict[str, Any]) -> dict[str, Any]:
    """A slider that reaches the present value and never leaves the key's range."""
    value = float(key["value"])
    low, high = min(hand.low, value), max(hand.high, value)
    low = low if key["low"] is None else max(low, key["low"])
    high = high if key["high"] is None else min(high, key["high"])
    return {"key": hand.key, "words": hand.words, "low": low, "high": high, "step": hand.step}


def _part_of(loaded: LoadedBuild, section: str) -> str | None:
    """Return the part that a section stands on, by the file that named its keys."""
    files = {Path(said.split(" (")[0]).stem for key, said in loaded.sources.items() if key.startswith(f"{section}.")}
    named = [name for name in files if name in parts_of(section, Path(loaded.path).parent)]
    return named[0] if len(named) == 1 else None


def parts_of(section: str, beside: Path) -> Iterator[str]:
    """Yield the names of the parts that fit a section: all their keys are keys of it."""
    fields = set(PART_SECTIONS[section].model_fields) | {"tolerance"}
    for name in part_names(beside):
        place = next((p for p in (beside / "parts", shipped_parts()) if (p / f"{name}.toml").is_file()), None)
        if place is None:
            continue
        try:
            layer = read_layer(place / f"{name}.toml", name, section)
        except BuildError:
            continue
        if {path.removeprefix(f"{section}.").split(".")[0] for path in layer.sources} <= fields:
            yield name


def keys_of(loaded: LoadedBuild) -> list[dict[str, Any]]:
    """Return every key of a build as it stands: unit, range, default, meaning and present value."""
    return [_told(path, field, value, path in loaded.given) for path, field, value in _walk(loaded.build)]


def key_names(loaded: LoadedBuild) -> set[str]:
    """Return the names of every key of a build as it stands."""
    return {path for path, _, _ in _walk(loaded.build)}


def _walk(model: BaseModel, prefix: str = "") -> Iterator[tuple[str, FieldInfo, Any]]:
    for name, _, child, is_array in layout(type(model)):
        value = getattr(model, name)
        if child is None:
            yield f"{prefix}{name}", type(model).model_fields[name], value
        elif is_array:
            for at, item in enumerate(value):
                yield from _walk(item, f"{prefix}{name}.{at}.")
        elif value is not None:
            yield from _walk(value, f"{prefix}{name}.")


def _told(path: str, field: FieldInfo, value: Any, given: bool) -> dict[str, Any]:
    section, _, name = path.rpartition(".")
    key, kind = Key(section, name, field, False), kind_of(field)
    low, high = key.bounds
    return {
        "key": path, "unit": key.unit, "kind": kind, "allowed": key.allowed, "help": key.help,
        "default": None if key.required else _plain(key.default), "required": key.required, "given": given,
        "choices": choices_of(field) if kind == "choice" else [],
        "low": low if math.isfinite(low) else None, "high": high if math.isfinite(high) else None,
        "value": _plain(value),
    }  # fmt: skip


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, Sequence) and not isinstance(value, str) else value
