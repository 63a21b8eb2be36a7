"""What would hold: for a part that a build does not state, the smallest usual choice that the judge finds fine."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any, NamedTuple

from pydantic import BaseModel

from ridesim.bike.load import LoadedBuild
from ridesim.workshop.belt.shaft import Shaft, estimated_limit_n, overhang_mm
from ridesim.workshop.mount.loads import MountLoads
from ridesim.workshop.mount.parts import Part

SHAFTS_MM = (5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 17.0, 20.0, 25.0)
"""Bores of usual ball bearings."""
SCREWS = ("M3", "M4", "M5", "M6", "M8")
PLATES_MM = (3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0)
SHAFT_FOR_JOINT_MM = 8.0
"""The motor's shaft where a build does not state it, for the joint's proposal (guess)."""

Maker = Callable[[LoadedBuild, MountLoads], "Part | str"]
IsFine = Callable[[Part], bool]


class Choice(NamedTuple):
    """Keys of a choice and what it is in words."""

    keys: dict[str, Any]
    words: str


def shaft_that_holds(loaded: LoadedBuild, loads: MountLoads, maker: Maker, fine: IsFine) -> float | None:
    """Return the smallest usual shaft that the judge finds fine [mm]; None where none is, or it cannot be judged."""
    for choice in _shafts(SHAFT_FOR_JOINT_MM):
        if _holds(loaded, loads, maker, fine, choice) is not None:
            return float(choice.keys["motor.shaft_diameter_mm"])
    return None


def proposed(
    loaded: LoadedBuild, loads: MountLoads, maker: Maker, fine: IsFine, shaft_mm: float = SHAFT_FOR_JOINT_MM
) -> str:
    """Return the words of the first choice that is fine for a part, or that none of them is.

    `shaft_mm`: the motor's shaft where the build does not state it.
    """
    diameter = loaded.build.motor.shaft_diameter_mm
    for choice in CHOICES[maker.__name__](shaft_mm if diameter is None else diameter):
        part = _holds(loaded, loads, maker, fine, choice)
        if part is not None:
            return f"{choice.words} would do ({part.peak_words})"
    if maker.__name__ == "motor_shaft":
        return "no usual shaft and bearing are enough by estimate: a bearing on both sides of the pulley"
    return "no usual choice is enough: share the load, or take it at a larger radius"


def _holds(loaded: LoadedBuild, loads: MountLoads, maker: Maker, fine: IsFine, choice: Choice) -> Part | None:
    """Return the part that a choice makes where it is fine; a shaft and its bearing as `ridesim belt` has them, too."""
    part = maker(with_keys(loaded, choice.keys), loads)
    if not isinstance(part, Part) or not fine(part):
        return None
    if maker.__name__ != "motor_shaft" or loads.pull is None:
        return part
    diameter, pull = choice.keys["motor.shaft_diameter_mm"], loads.pull
    out = overhang_mm(Shaft(diameter, None, loaded.build.mount.belt_overhang_mm), pull.width_mm)
    bears = estimated_limit_n(diameter, out, pull.speed_rpm)
    return part if bears >= loads.pull.side_load_n else None


def with_keys(loaded: LoadedBuild, keys: dict[str, Any]) -> LoadedBuild:
    """Return a build with keys put in unchecked, all of them in their ranges; for trials only."""
    build: BaseModel = loaded.build
    for key, value in keys.items():
        build = _copied(build, key.split("."), value)
    return replace(loaded, build=build)  # type: ignore[arg-type]


def _copied(model: BaseModel, path: list[str], value: Any) -> BaseModel:
    name, *inner = path
    if inner:
        value = _copied(getattr(model, name), inner, value)
    return model.model_copy(update={name: value})


def _shafts(diameter: float) -> Iterator[Choice]:
    for size in SHAFTS_MM:
        yield Choice({"motor.shaft_diameter_mm": size}, f"{size:g} mm of plain steel")


def _joints(diameter: float) -> Iterator[Choice]:
    shaft = {"motor.shaft_diameter_mm": diameter}
    for screw in SCREWS:
        for count in (1, 2):
            keys = {"mount.joint.kind": "clamp", "mount.joint.screw": screw, "mount.joint.screws": count}
            yield Choice({**shaft, **keys}, f"a split clamp with {count} {screw} on {diameter:g} mm")


def _bolts(diameter: float) -> Iterator[Choice]:
    for screw in SCREWS[2:]:
        for count in (4, 6, 8, 12):
            keys = {"mount.wheel_pulley.bolts": count, "mount.wheel_pulley.bolt": screw}
            yield Choice(keys, f"{count} {screw} of grade 8.8 on their circle, as stated or guessed,")


def _arms(diameter: float) -> Iterator[Choice]:
    for count in (4, 5, 6, 8):
        keys = {"mount.wheel_pulley.material": "aluminium", "mount.wheel_pulley.arms": count}
        yield Choice(keys, f"{count} arms of aluminium, their size as stated or guessed,")


def _brackets(diameter: float) -> Iterator[Choice]:
    for thick in PLATES_MM:
        keys = {"mount.bracket.material": "aluminium", "mount.bracket.thickness_mm": thick}
        yield Choice(keys, f"{thick:g} mm of aluminium, its width and reach as stated or guessed,")


def _clamps(diameter: float) -> Iterator[Choice]:
    for screw in SCREWS[2:]:
        for count in (2, 4, 6):
            keys = {"mount.bracket.clamp_screw": screw, "mount.bracket.clamp_screws": count}
            yield Choice({"mount.bracket.tube_diameter_mm": 34.0, **keys}, f"{count} {screw} about a tube of 34 mm")


CHOICES: dict[str, Callable[[float], Iterator[Choice]]] = {
    "motor_shaft": _shafts,
    "first_joint": _joints,
    "wheel_bolts": _bolts,
    "wheel_arms": _arms,
    "bracket": _brackets,
    "tube_clamp": _clamps,
}
"""By the function that makes the part."""
