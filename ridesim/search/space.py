"""Every combination that the goals allow: axes, their options, and a candidate as one row of numbers.

A row has one number an axis: the option's place in its list, or the value itself where an axis has no list. A row
becomes a bike in two ways: `build_of` lays its numbers into a checked bike of the same parts (fast, each number was
checked when the axis was made), `loaded_of` loads it as a file is loaded (for what is shown and written).
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.keys import PART_SECTIONS
from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.bike.schema import Build, Stage
from ridesim.ride.keyed import laid_in

Rows = NDArray[np.float64]


@dataclass(frozen=True)
class Option:
    """One choice on an axis: its label, and the keys of the build that it sets. `part`: the part's name, for prices."""

    label: str
    keys: Mapping[str, Any]
    part: str = ""
    stage: Stage | None = None


@dataclass(frozen=True)
class Axis:
    """One thing that varies. `options` empty: any value of `key` from `low` to `high`. `stage`: which reduction."""

    name: str
    options: tuple[Option, ...] = ()
    key: str = ""
    low: float = 0.0
    high: float = 0.0
    stage: int | None = None

    @property
    def is_part(self) -> bool:
        """Whether the axis swaps a whole part."""
        return self.key in PART_SECTIONS

    @property
    def is_free(self) -> bool:
        """Whether any value between two may be taken."""
        return not self.options

    def option(self, value: float) -> Option:
        """Return the option at a row's number."""
        if self.is_free:
            return Option(f"{value:.4g}", {self.key: float(value)})
        return self.options[int(value)]


@dataclass(frozen=True)
class Space:
    """All combinations of a base build's axes. `fixed`: keys that every candidate changes."""

    base: LoadedBuild
    axes: tuple[Axis, ...]
    fixed: Mapping[str, Any]
    families: dict[tuple[int, ...], LoadedBuild] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def sizes(self) -> tuple[int, ...]:
        """How many options each axis has; 1 where it is free."""
        return tuple(max(len(axis.options), 1) for axis in self.axes)

    @property
    def count(self) -> int:
        """How many combinations there are, free axes at one value."""
        return math.prod(self.sizes)

    @cached_property
    def is_free(self) -> bool:
        """Whether some number may take any value."""
        return any(axis.is_free for axis in self.axes)

    def rows(self, start: int, stop: int) -> Rows:
        """Return combinations by their number, (stop - start, axes), a free axis in the middle of its range."""
        if not self.axes:
            return np.zeros((stop - start, 0))
        places = np.array(np.unravel_index(np.arange(start, stop), self.sizes), dtype=np.float64).T
        for at, axis in enumerate(self.axes):
            if axis.is_free:
                places[:, at] = 0.5 * (axis.low + axis.high)
        return np.ascontiguousarray(places)

    def chosen(self, row: Rows) -> Iterator[tuple[Axis, Option]]:
        """Yield each axis with the option that a row takes."""
        for axis, value in zip(self.axes, row.tolist(), strict=True):
            yield axis, axis.option(value)

    def labels(self, row: Rows) -> dict[str, str]:
        """Return what a row chooses, by the names of the axes."""
        return {axis.name: option.label for axis, option in self.chosen(row)}

    def stages_of(self, row: Rows) -> tuple[Stage, ...] | None:
        """Return the reductions of a row; None where they stay as the base has them."""
        if not any(axis.stage is not None for axis in self.axes):
            return None
        found = (option.stage for axis, option in self.chosen(row) if axis.stage is not None)
        return tuple(stage for stage in found if stage is not None)

    def overrides_of(self, row: Rows) -> dict[str, Any]:
        """Return the keys that make the base into a row's bike: parts first, then what changes them."""
        chosen = sorted(self.chosen(row), key=lambda each: not each[0].is_part)
        keys = {key: value for _, option in chosen for key, value in option.keys.items()}
        stages = self.stages_of(row)
        if stages is not None:
            keys["drive.stage"] = [stage.model_dump(exclude_none=True, exclude_defaults=True) for stage in stages]
        return {**self.fixed, **keys}

    def loaded_of(self, row: Rows) -> LoadedBuild:
        """Return a row's bike, loaded and checked as a file is. Raises BuildError."""
        return replace_keys(self.base, self.overrides_of(row))

    def build_of(self, row: Rows) -> Build:
        """Return a row's bike, unchecked beyond its parts and the range of each number."""
        return self.lean_of(row).build

    def lean_of(self, row: Rows) -> LoadedBuild:
        """Return a row's bike with the record of its family: as much as a ride needs."""
        values = row.tolist()
        family = self.family_of(values)
        plain: dict[str, Any] = {}
        for axis, value in zip(self.axes, values, strict=True):
            if not axis.is_part and axis.stage is None:
                plain.update(axis.option(value).keys)
        build = laid_in(family.build, plain) if plain else family.build
        stages = self.stages_of(row)
        if stages is not None:
            build = build.model_copy(update={"drive": build.drive.model_copy(update={"stage": stages})})
        made: LoadedBuild = object.__new__(LoadedBuild)
        made.__dict__.update({**family.__dict__, "build": build})
        return made

    @cached_property
    def digest(self) -> str:
        """Return a hash of all that candidates are made of: the base as it is, every option, every part's content."""
        found = hashlib.sha256(repr((self.base.build, self.fixed)).encode())
        for axis in self.axes:
            found.update(repr((axis.name, axis.key, axis.low, axis.high)).encode())
            for option in axis.options:
                made = value_at(self._with(axis, option), axis.key) if axis.is_part else None
                found.update(repr((option, made)).encode())
        return found.hexdigest()

    def group_of(self, row: Rows) -> tuple[int, ...]:
        """Return what rows must have in common to be ridden as columns: their parts, and which stages are there."""
        found = []
        for axis, option in self.chosen(row):
            if axis.is_part:
                found.append(axis.options.index(option))
            elif axis.stage is not None:
                found.append(int(option.stage is None))
        return tuple(found)

    def columns_of(self, rows: Rows) -> tuple[LoadedBuild, Build]:
        """Return the bike of the first of some rows of one group, and the same with a column for all that varies."""
        first = self.lean_of(rows[0])
        columns: dict[str, Any] = {}
        for at, axis in enumerate(self.axes):
            if axis.is_free:
                columns[axis.key] = rows[:, at].copy()
            elif not axis.is_part and axis.stage is None:
                values = np.array([float(option.keys[axis.key]) for option in axis.options])
                columns[axis.key] = values[rows[:, at].astype(np.intp)]
        build = laid_in(first.build, columns) if columns else first.build
        stages = [at for at, axis in enumerate(self.axes) if axis.stage is not None]
        if not stages:
            return first, build
        made = tuple(stage for at in stages if (stage := self._stage_column(rows, at)) is not None)
        return first, build.model_copy(update={"drive": build.drive.model_copy(update={"stage": made})})

    def _stage_column(self, rows: Rows, at: int) -> Stage | None:
        options = self.axes[at].options
        stage = options[int(rows[0, at])].stage
        if stage is None:
            return None
        turns = np.array([1.0 if option.stage is None else option.stage.turns for option in options])
        ratio = turns[rows[:, at].astype(np.intp)]
        return stage.model_copy(update={"driver_teeth": None, "driven_teeth": None, "ratio": ratio})

    def family_of(self, values: list[float]) -> LoadedBuild:
        """Return the checked bike of a row's parts, its numbers as in the base."""
        key = tuple(int(value) for axis, value in zip(self.axes, values, strict=True) if axis.is_part)
        if key not in self.families:
            parts: dict[str, Any] = {}
            for axis, value in zip(self.axes, values, strict=True):
                if axis.is_part:
                    parts.update(axis.options[int(value)].keys)
            self.families[key] = replace_keys(self.base, {**self.fixed, **parts}, must_start=False)
        return self.families[key]

    def column(self, rows: Rows, path: str, read: Callable[[Any], float] = float) -> Rows:
        """Return one number of each row's bike by its dotted key, (n,), without making the bikes."""
        found = np.full(len(rows), read(value_at(self.plain_base.build, path)))
        for at, axis in enumerate(self.axes):
            if axis.is_part and path.startswith(f"{axis.key}."):
                each = [read(value_at(self._with(axis, option), path)) for option in axis.options]
                found = np.array(each)[rows[:, at].astype(np.intp)]
        for at, axis in enumerate(self.axes):
            if axis.key != path:
                continue
            if axis.is_free:
                found = rows[:, at].copy()
            else:
                each = [read(option.keys[path]) for option in axis.options]
                found = np.array(each)[rows[:, at].astype(np.intp)]
        return found

    @cached_property
    def plain_base(self) -> LoadedBuild:
        """The base with the keys that every candidate changes."""
        return replace_keys(self.base, self.fixed, must_start=False)

    def _with(self, axis: Axis, option: Option) -> Build:
        values = [0.0] * len(self.axes)
        values[self.axes.index(axis)] = float(axis.options.index(option))
        return self.family_of(values).build

    def second_turns(self, rows: Rows) -> Rows:
        """Return the motor turns a wheel turn of a second, different drive of each row, (n,)."""
        second = self.base.build.second
        if second is None:
            raise ValueError("these bikes have one drive")
        _, build = self.columns_of(rows) if len(rows) else (self.base, self.base.build)
        drive = second.drive if build.second is None else build.second.drive
        return np.asarray(np.broadcast_to(drive.turns, len(rows)), dtype=np.float64)

    def turns(self, rows: Rows) -> Rows:
        """Return motor turns a wheel turn of each row, (n,), in the lowest gear."""
        drive, found = self.base.build.drive, np.full(len(rows), 1.0)
        if not any(axis.stage is not None for axis in self.axes):
            return found * drive.turns
        found = found * drive.speeds[0].turns
        for at, axis in enumerate(self.axes):
            if axis.stage is not None:
                each = [1.0 if option.stage is None else option.stage.turns for option in axis.options]
                found = found * np.array(each)[rows[:, at].astype(np.intp)]
        return found

    def fastest_turns(self, rows: Rows) -> Rows:
        """Return motor turns a wheel turn of each row, (n,), in the highest gear."""
        speeds = self.base.build.drive.speeds
        return self.turns(rows) * (speeds[-1].turns / speeds[0].turns)

    def stage_count(self, rows: Rows) -> Rows:
        """Return the number of reductions of each row, (n,)."""
        if not any(axis.stage is not None for axis in self.axes):
            return np.full(len(rows), float(len(self.base.build.drive.stage)))
        found = np.zeros(len(rows))
        for at, axis in enumerate(self.axes):
            if axis.stage is not None:
                there = np.array([float(option.stage is not None) for option in axis.options])
                found = found + there[rows[:, at].astype(np.intp)]
        return found


def value_at(build: Build, path: str) -> Any:
    """Return a value of a build by its dotted key."""
    found: Any = build
    for step in path.split("."):
        found = found[int(step)] if isinstance(found, tuple) else getattr(found, step)
    return found


def twins(space: Space, rows: Rows) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return which rows to ride, and for each row which of those stands for it: one ride for pulleys of one ratio.

    What a ride leans on of a stage is its ratio and its efficiency; teeth, pitch and width are the workshop's.
    """
    staged = [at for at, axis in enumerate(space.axes) if axis.stage is not None]
    if not staged or len(rows) == 0:
        every = np.arange(len(rows))
        return every, every
    plain = np.delete(rows, staged, axis=1)
    loss = np.ones(len(rows))
    for at in staged:
        each = [1.0 if option.stage is None else option.stage.load_efficiency for option in space.axes[at].options]
        loss = loss * np.array(each)[rows[:, at].astype(np.intp)]
    marks = np.column_stack([plain, np.round(space.turns(rows), 10), space.stage_count(rows), np.round(loss, 12)])
    _, first, back = np.unique(marks, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return first[order], rank[back.ravel()]
