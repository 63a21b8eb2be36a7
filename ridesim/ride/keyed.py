"""Columns of changed keys: checked as a build's values are, and laid into the build, one model for all rows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import BaseModel

from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.bike.rough import shift_rpm
from ridesim.bike.schema import Build
from ridesim.bike.second import drives_of
from ridesim.engine.columns import is_column
from ridesim.errors import BuildError
from ridesim.schema.keys import field_at, kind_of, model_of

Array = NDArray[np.float64]

BETWEEN = (
    ("bicycle.mass_centre_ahead_mm", "bicycle.wheelbase_mm"),
    ("controller.motor_full_current_below_c", "controller.motor_no_current_above_c"),
    ("controller.controller_full_current_below_c", "controller.controller_no_current_above_c"),
    ("controller.no_current_below_v", "controller.full_current_above_v"),
    ("pack.cell.min_voltage_v", "pack.cell.max_voltage_v"),
)
"""Keys of which the first is below the second, by the rules of the schema."""
NOT_BELOW = (("motor.body_to_air_still_w_per_k", "motor.body_to_air_at_36_km_h_w_per_k"),)
"""Keys of which the first is not above the second."""


def checked_columns(loaded: LoadedBuild, columns: Mapping[str, ArrayLike]) -> dict[str, Array]:
    """Return columns of keys as arrays, every row of them a build that could be loaded.

    Ranges and rules between keys are held for all rows at once; the row that breaks one is then loaded as a build, so
    that its fault is told in the same words. Raises BuildError.
    """
    found = {key: _column(key, values) for key, values in columns.items()}
    sizes = {len(column) for column in found.values()}
    if len(sizes) > 1:
        raise BuildError("columns", f"have {sorted(sizes)} rows", "give as many values of each key")
    if not found:
        return found
    _refuse(loaded, found, 0)
    laid = laid_in(loaded.build, found)
    for row in _broken(found, laid):
        _refuse(loaded, found, row)
    return found


def _column(key: str, values: ArrayLike) -> Array:
    path = _path(key)
    field = field_at(Build, path)
    if field is not None and (model_of(field)[0] is not None or kind_of(field) not in ("number", "whole number")):
        raise BuildError("columns", f"{key} is no number", "load a build for each of its values")
    if "no_load" in path:
        raise BuildError("columns", f"{key} is a bench reading", "load a build for each reading")
    try:
        column = np.array(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise BuildError("columns", f"{key} has values that are no numbers", "give one number a row") from None
    if column.ndim != 1 or not column.size:
        raise BuildError("columns", f"{key} has the shape {column.shape}", "give one number a row")
    return column


def _path(key: str) -> tuple[str | int, ...]:
    return tuple(int(step) if step.isdecimal() else step for step in key.split("."))


def _broken(columns: Mapping[str, Array], laid: Build) -> list[int]:
    """Return the first row that breaks each range or rule."""
    bad = [row_ for key, column in columns.items() if (row_ := _first(_outside(key, column))) is not None]
    for drive in drives_of(laid):
        bad += _out_of_order(drive)
    (up, down), step = shift_rpm(laid), laid.drive.gears.widest_step
    if is_column(up) or is_column(down):
        row = _first(np.greater_equal(down, up * step) & (len(laid.drive.gears.ratios) > 1))
        bad += [] if row is None else [row]
    return sorted(bad)


def _out_of_order(laid: Build) -> list[int]:
    """Return the first row that breaks each rule between two keys."""
    bad = []
    for pairs, is_broken in ((BETWEEN, np.greater_equal), (NOT_BELOW, np.greater)):
        for below, above in pairs:
            low, high = value_at(laid, below), value_at(laid, above)
            if low is not None and high is not None and (is_column(low) or is_column(high)):
                row = _first(is_broken(low, high))
                bad += [] if row is None else [row]
    return bad


def _outside(key: str, column: Array) -> NDArray[np.bool_]:
    field = field_at(Build, _path(key))
    assert field is not None, "the first row was loaded with this key"
    wrong = ~np.isfinite(column)
    for mark, broken in (("ge", np.less), ("gt", np.less_equal), ("le", np.greater)):
        for each in field.metadata:
            if getattr(each, mark, None) is not None:
                wrong |= broken(column, getattr(each, mark))
    return wrong | (column != np.round(column)) if kind_of(field) == "whole number" else wrong


def _first(broken: NDArray[np.bool_]) -> int | None:
    return int(np.argmax(broken)) if broken.any() else None


def _refuse(loaded: LoadedBuild, columns: Mapping[str, Array], row: int) -> None:
    """Raise BuildError if a row is no build."""
    try:
        replace_keys(loaded, row_of(columns, row))
    except BuildError as fault:
        raise BuildError(f"row {row}", fault.what, fault.to_do) from None


def row_of(columns: Mapping[str, Array], row: int) -> dict[str, float | int]:
    """Return one row as values by key, whole numbers as such."""
    found: dict[str, float | int] = {}
    for key, column in columns.items():
        value, field = float(column[row]), field_at(Build, _path(key))
        whole = field is not None and kind_of(field) == "whole number" and value.is_integer()
        found[key] = int(value) if whole else value
    return found


def value_at(build: Build, key: str) -> Any:
    """Return what stands at a dotted key of a build."""
    value: Any = build
    for step in key.split("."):
        value = value[int(step)] if isinstance(value, tuple) else getattr(value, step)
    return value


def laid_in(build: Build, values: Mapping[str, Any]) -> Build:
    """Return the build with values, or columns of them, laid in by dotted key, unchecked."""
    tree: dict[str, Any] = {}
    for key, value in values.items():
        *outer, last = key.split(".")
        holder = tree
        for step in outer:
            holder = holder.setdefault(step, {})
        holder[last] = value
    laid = _laid(build, tree)
    assert isinstance(laid, Build)
    return laid


def _laid(model: BaseModel, tree: Mapping[str, Any]) -> BaseModel:
    update: dict[str, Any] = {}
    for name, change in tree.items():
        old = getattr(model, name)
        if isinstance(old, tuple):
            update[name] = tuple(
                _laid(item, change[str(at)]) if str(at) in change else item for at, item in enumerate(old)
            )
        else:
            update[name] = _laid(old, change) if isinstance(change, dict) else change
    return model.model_copy(update=update)
