"""From goals to axes: parts, labels, pulleys and numbers, each checked before anything is ridden."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from typing import Any

import numpy as np

from ridesim.bike.keys import bike_keys
from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.bike.schema import Stage
from ridesim.bike.second import PREFIX, drives_of
from ridesim.errors import BuildError, GoalsError
from ridesim.schema.keys import Key, kind_of, model_of, printable
from ridesim.search.goals import Asked, Between, Goals, StageWish
from ridesim.search.space import Axis, Option, Space
from ridesim.workshop.size.label import is_label, label_part, parse_label

PART_KEYS = {
    "motor": "motor", "controller": "controller", "second_motor": "second.motor",
    "second_controller": "second.controller", "tyre": "tyre", "cell": "pack.cell",
}  # fmt: skip
NUMBER_KEYS = {
    "series": "pack.series", "parallel": "pack.parallel",
    "motor_current_limit_a": "controller.motor_current_limit_a",
    "pack_current_limit_a": "controller.pack_current_limit_a",
    "cruise_speed_km_h": "rider.cruise_speed_km_h",
}  # fmt: skip
"""What the short names under [vary] set."""
BY_CELLS = ("full_current_above_v", "no_current_below_v", "charge_voltage_limit_v")
"""Controller settings that belong to one cell and its number in series."""
MOST_STEPS = 1000


def space_of(asked: Asked) -> tuple[Space, tuple[str, ...]]:
    """Return every combination that the goals allow, and notes. Raises GoalsError or BuildError."""
    base = load_build(asked.beside(asked.goals.build), dict(asked.changes))
    where = str(asked.path)
    axes = [*_parts(asked.goals, base, where), *_stages(asked.goals, where), *_numbers(asked.goals, base, where)]
    _refuse_twice(axes, where)
    fixed, notes = _fixed(base, axes)
    return Space(base, tuple(axes), fixed), notes


def _parts(goals: Goals, base: LoadedBuild, where: str) -> Iterator[Axis]:
    for name, key in PART_KEYS.items():
        given = getattr(goals.vary, name)
        if given is not None:
            if key.startswith(PREFIX) and base.build.second is None:
                raise GoalsError(f"{where}, [vary] {name}", "the base build has one drive", "leave it out")
            options = tuple(_part(text, name, key, base, where) for text in dict.fromkeys(given))
            yield Axis(name, options, key)


def _part(text: str, name: str, key: str, base: LoadedBuild, where: str) -> Option:
    """Return the option of one part, loaded once so that a fault is told before the search."""
    place = f"{where}, [vary] {name}"
    value: Any = text
    if name in ("motor", "second_motor") and is_label(text):
        value = label_part(parse_label(text, place))
    try:
        replace_keys(base, {key: value}, must_start=False)
    except BuildError as error:
        raise GoalsError(place, error.what, error.to_do) from None
    return Option(text, {key: value}, part=text)


def _stages(goals: Goals, where: str) -> Iterator[Axis]:
    for number, wish in enumerate(goals.vary.stage, start=1):
        options = tuple(_pair(wish, a, b) for a in dict.fromkeys(wish.driver_teeth) for b in _each(wish.driven_teeth))
        if wish.may_be_left_out:
            options = (Option("none", {}), *options)
        yield Axis(f"stage {number}", _by_ratio(options), stage=number)
    if goals.vary.stage and all(wish.may_be_left_out for wish in goals.vary.stage):
        raise GoalsError(where, "every stage may be left out", "take may_be_left_out from one of them")


def _each(teeth: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(dict.fromkeys(teeth))


def _by_ratio(options: tuple[Option, ...]) -> tuple[Option, ...]:
    """Order pulleys by their ratio: neighbours in the list are neighbours on the road."""
    return tuple(sorted(options, key=lambda each: 0.0 if each.stage is None else each.stage.turns))


def _pair(wish: StageWish, driver: int, driven: int) -> Option:
    centre = wish.centre_distance_mm
    stage = Stage(
        kind=wish.kind, driver_teeth=driver, driven_teeth=driven, pitch_mm=wish.pitch_mm, width_mm=wish.width_mm,
        centre_distance_mm=centre,
    )  # fmt: skip
    return Option(f"{driver}/{driven}", {}, stage=stage)


def _numbers(goals: Goals, base: LoadedBuild, where: str) -> Iterator[Axis]:
    vary = goals.vary
    for name, key in NUMBER_KEYS.items():
        given = getattr(vary, name)
        if given is not None:
            yield _listed(name, key, given, f"{where}, [vary] {name}")
    for number, each in enumerate(vary.values):
        place = f"{where}, vary.values.{number}.key"
        yield _listed(each.key, each.key, each.values, place, _numeric(each.key, base, place))
    for number, wish in enumerate(vary.between):
        place = f"{where}, vary.between.{number}.key"
        yield _between(wish, _numeric(wish.key, base, place), place)


def _listed(name: str, key: str, values: Any, where: str, known: Key | None = None) -> Axis:
    found = sorted(dict.fromkeys(values))
    if known is not None:
        found = [_inside(value, known, where) for value in found]
    return Axis(name, tuple(Option(f"{value:g}", {key: value}) for value in found), key)


def _between(wish: Between, known: Key, where: str) -> Axis:
    for value in (wish.low, wish.high):
        _inside(value, known, where)
    step = wish.step or (1.0 if kind_of(known.field) == "whole number" else None)
    if step is None:
        return Axis(wish.key, (), wish.key, wish.low, wish.high)
    count = int((wish.high - wish.low) / step + 1e-9) + 1
    if count > MOST_STEPS:
        raise GoalsError(
            where, f"asks for {count} values (at most {MOST_STEPS})", "take a larger step, or leave it out"
        )
    values = [float(value) for value in np.round(wish.low + step * np.arange(count), 10)]
    return _listed(wish.key, wish.key, values, where, known)


def _numeric(name: str, base: LoadedBuild, where: str) -> Key:
    """Return a number of the build by its dotted key. Raises GoalsError."""
    keys = bike_keys(second=base.build.second is not None)
    known = {f"{key.section}.{key.name}".lstrip("."): key for key in keys}
    plain = ".".join(step for step in name.split(".") if not step.isdecimal())
    found = known.get(plain)
    if found is None:
        ways = ([key for key in known if key.startswith(name)], difflib.get_close_matches(name, known, 1, 0.6),
                [key for key in known if key.rpartition(".")[2] == name.rpartition(".")[2]])  # fmt: skip
        near = next((each for each in ways if each), [])
        hint = f"did you mean {near[0]}?" if near else "name a key of the build, such as motor.kv_rpm_per_v"
        raise GoalsError(where, f"{printable(name)} is not a key of a build", hint)
    if model_of(found.field)[0] is not None or kind_of(found.field) not in ("number", "whole number"):
        raise GoalsError(where, f"{printable(name)} is no number", "vary a number, or a part under [vary]")
    own = name.removeprefix(PREFIX)
    stages = len(drives_of(base.build)[own != name].drive.stage)
    index = next((int(step) for step in name.split(".") if step.isdecimal()), None)
    if own.startswith("drive.stage") and (index is None or index >= stages):
        raise GoalsError(where, f"{printable(name)} names no stage of the build", f"count from 0 to {stages - 1}")
    return found


def _inside(value: float, known: Key, where: str) -> Any:
    low, high = known.bounds
    if not low <= value <= high:
        raise GoalsError(where, f"{known.name} = {value:g} is out of range ({known.allowed})", "give a value inside")
    if kind_of(known.field) != "whole number":
        return float(value)
    if value != int(value):
        raise GoalsError(where, f"{known.name} = {value:g} is not a whole number", "count again")
    return int(value)


def _refuse_twice(axes: list[Axis], where: str) -> None:
    keys = [axis.key for axis in axes if axis.key]
    twice = next((key for key in keys if keys.count(key) > 1), None)
    if twice is not None:
        raise GoalsError(where, f"{twice} varies twice", "say it once")
    if any(axis.stage for axis in axes) and any(key.startswith("drive.stage") for key in keys):
        raise GoalsError(where, "drive.stage varies as pulleys and as a number", "say it once")


def _fixed(base: LoadedBuild, axes: list[Axis]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return the keys to take back to their defaults, because what they belong to varies, and a note of it."""
    keys = {axis.key for axis in axes}
    if not keys & {"pack.cell", "pack.series"}:
        return {}, ()
    boxes = [box for box in ("controller", f"{PREFIX}controller") if box not in keys]
    named = [key for box in boxes for name in BY_CELLS if (key := f"{box}.{name}") in base.given]
    if not named:
        return {}, ()
    note = f"{', '.join(named)}: of the base build's cells, so each candidate takes its own cells' default."
    return dict.fromkeys(named), (note,)
