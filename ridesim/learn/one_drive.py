"""One of two different drives ridden alone: what a log of its controller is held against, the other switched off."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace
from typing import Any

from ridesim.bike.files import flatten
from ridesim.bike.load import LoadedBuild, build_from_dict
from ridesim.bike.second import PREFIX, refuse_second
from ridesim.bike.tolerance import TABLE, TOGETHER
from ridesim.errors import BuildError

ALONE = (", first drive alone", ", second drive alone")
"""How such a bike is called, behind its name."""
PARTS = ("drive", "motor", "controller")
SWITCH_ONE_OFF = (
    "a log does not tell how two drives share a force: ride with one of them switched off, and say whose log it is "
    "(--drive 1 or --drive 2)"
)


def one_drive(loaded: LoadedBuild, number: int | None, who: str) -> LoadedBuild:
    """Return a build as it rides on one of its two different drives (1 or 2), the other switched off but carried.

    A bike of one drive is returned as it is. Raises BuildError where two drives are there and none is named, or a drive
    is named that is not there. What a switched-off hub motor still drags is left out.
    """
    second = loaded.build.second
    if number is None:
        refuse_second(loaded.build, who, SWITCH_ONE_OFF)
        return loaded
    if second is None or number not in (1, 2):
        has = "one drive" if second is None else "two drives"
        raise BuildError("--drive", f"there is no drive {number} (this bike has {has})", "leave it out, or mend it")
    data = _without_the_other(dict(deepcopy(loaded.data)), number)
    off = second.mass_kg if number == 1 else loaded.build.motor.mass_kg + loaded.build.controller.mass_kg
    data["bicycle"] = {**data.get("bicycle", {}), "mass_kg": loaded.build.bicycle.mass_kg + off}
    data["name"] = f"{loaded.build.name}{ALONE[number - 1]}"
    alone = build_from_dict(data, where=loaded.path)
    return replace(alone, path=loaded.path, sha256=loaded.sha256)


def _without_the_other(data: dict[str, Any], number: int) -> dict[str, Any]:
    """Return a build's keys with those of one drive in the first one's place, the other one's left out."""
    second = data.pop("second")
    if number == 2:
        data |= {part: second[part] for part in PARTS if part in second}
        if "drive" not in second:
            data.pop("drive", None)
    stated = dict(flatten(data.pop(TABLE, {})))
    data[TABLE] = {name: value for key, value in stated.items() if (name := _own(key, number))}
    groups = [group for group in data.pop(TOGETHER, ()) if all(_own(key, number) for key in group["keys"])]
    if groups:
        data[TOGETHER] = [{**group, "keys": [_own(key, number) for key in group["keys"]]} for group in groups]
    return data


def _own(key: str, number: int) -> str:
    """Return what a key is called where its drive stands alone; "" for one of the other drive."""
    if key.startswith(PREFIX):
        return key.removeprefix(PREFIX) if number == 2 else ""
    return "" if number == 2 and key.partition(".")[0] in PARTS else key
