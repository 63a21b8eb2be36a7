"""The tolerances that a build and its parts state: `[tolerance]` and `[[tolerance_together]]`, checked."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from ridesim.bike.files import flatten
from ridesim.bike.keys import PART_SECTIONS, bike_keys
from ridesim.errors import BuildError
from ridesim.schema.keys import Key, kind_of, model_of, printable
from ridesim.schema.tolerance import Tolerance, parse_tolerance

TABLE, TOGETHER = "tolerance", "tolerance_together"
MEASURED = "measured"
"""Says that a number is the builder's own measurement, as sure as the schema says such a one is."""

ROUNDING = 1e-9
"""A correlation matrix's smallest eigenvalue down to which a covariance counts as positive semi-definite."""


@dataclass(frozen=True)
class Together:
    """Keys whose errors move together: their covariance in the keys' units, row by row."""

    keys: tuple[str, ...]
    covariance: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Stated:
    """What a build says of its tolerances: by key, and of keys together."""

    by_key: Mapping[str, Tolerance]
    together: tuple[Together, ...] = ()


def take_tolerances(data: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any], Any]:
    """Return a build's data without its tolerances, the tolerances by dotted key, and the tables of keys together.

    A part's own `[tolerance]` stands under its section; the build's own is laid over it.
    """
    rest, stated = dict(data), {}
    for place in PART_SECTIONS:
        *outer, last = place.split(".")
        holder: Any = rest
        for step in outer:
            if isinstance(holder.get(step), dict):
                holder[step] = dict(holder[step])
            holder = holder.get(step)
            if not isinstance(holder, dict):
                break
        if isinstance(holder, dict) and isinstance(holder.get(last), dict) and TABLE in holder[last]:
            holder[last] = dict(holder[last])
            own = holder[last].pop(TABLE)
            stated.update({f"{place}.{key}": value for key, value in _table(own, f"{place}.{TABLE}").items()})
    if TABLE in rest:
        stated.update(_table(rest.pop(TABLE), TABLE))
    return rest, stated, rest.pop(TOGETHER, ())


def _table(value: Any, name: str) -> dict[str, Any]:
    if isinstance(value, Mapping):
        return dict(flatten(value))
    raise BuildError(
        "build", f"{name} is not a table", f'write its keys under [{name}]: "motor.resistance_mohm" = "5 %"'
    )


def stated_tolerances(stated: Mapping[str, Any], together: Any, sources: Mapping[str, str], where: str) -> Stated:
    """Return the tolerances of a build, checked. Raises BuildError with every fault."""
    known = _numbers()
    faults: list[BuildError] = []
    found: dict[str, Tolerance] = {}
    for name, value in stated.items():
        try:
            found[name] = _one(name, value, known)
        except ValueError as fault:
            faults.append(_fault(_said_by(name, sources, where), str(fault)))
    groups = []
    for at, table in enumerate(together if isinstance(together, list | tuple) else [together]):
        try:
            groups.append(_group(table, known))
        except ValueError as fault:
            faults.append(_fault(where, f"{TOGETHER} {at + 1}: {fault}"))
    faults += _twice(found, groups, where)
    if faults:
        raise BuildError.many(tuple(faults))
    return Stated(found, tuple(groups))


def _fault(where: str, text: str) -> BuildError:
    what, _, to_do = text.partition("; ")
    return BuildError(where, what, to_do)


def _said_by(name: str, sources: Mapping[str, str], where: str) -> str:
    """The file that stated a tolerance: the build's own, or a part's."""
    section, _, key = name.rpartition(".")
    return sources.get(f"{TABLE}.{name}") or sources.get(f"{section}.{TABLE}.{key}") or where


def key_of(name: str) -> str:
    """Return the key of the schema behind a dotted name: `drive.stage.0.efficiency` -> `drive.stage.efficiency`."""
    return ".".join(step for step in name.split(".") if not step.isdecimal())


@cache
def _numbers() -> Mapping[str, Key]:
    """Every key of a bike by its dotted name; kept, since each build that is loaded asks."""
    return {f"{key.section}.{key.name}".lstrip("."): key for key in bike_keys(second=True)}


def _one(name: str, value: Any, known: Mapping[str, Key]) -> Tolerance:
    key = _known(name, known)
    if key.tolerance is None and not _is_number(key):
        raise ValueError(f"{TABLE}: {name} is no number that can be off; leave it out")
    if value == MEASURED:
        if key.tolerance is None:
            raise ValueError(f'{TABLE}: {name} = "{MEASURED}" is not known here; say how far off it may be')
        return key.tolerance.measured
    try:
        tolerance = parse_tolerance(value)
    except ValueError as fault:
        said = f'"{printable(value)}"' if isinstance(value, str) else printable(str(value))
        raise ValueError(f"{TABLE}: {name} = {said} {fault}") from None
    if key.tolerance is not None and key.tolerance.guess.kind == "around" and tolerance.kind == "normal":
        return Tolerance("around", tolerance.size, said=tolerance.said)
    return tolerance


def _known(name: str, known: Mapping[str, Key]) -> Key:
    key = known.get(key_of(name))
    if key is None:
        near = difflib.get_close_matches(name, known, 1, 0.6) or [
            each for each in known if each.rpartition(".")[2] == name.rpartition(".")[2]
        ]
        hint = f"did you mean {near[0]}?" if near else "name a key of the build, such as motor.resistance_mohm"
        raise ValueError(f"{TABLE}: {printable(name)} is not a known key; {hint}")
    return key


def _is_number(key: Key) -> bool:
    return model_of(key.field)[0] is None and kind_of(key.field) == "number"


def _group(table: Any, known: Mapping[str, Key]) -> Together:
    if not isinstance(table, Mapping) or set(table) != {"keys", "covariance"}:
        raise ValueError("needs keys and covariance, and nothing else; write keys = [...], covariance = [[...], ...]")
    keys, rows = table["keys"], table["covariance"]
    if not isinstance(keys, list | tuple) or len(keys) < 2 or not all(isinstance(key, str) for key in keys):
        raise ValueError('keys is no list of two keys or more; write keys = ["a.b", "c.d"]')
    for name in keys:
        if not _is_number(_known(name, known)):
            raise ValueError(f"{name} is no number that can be off; leave it out")
    if len(set(keys)) < len(keys):
        raise ValueError("names a key twice; name each once")
    return Together(tuple(keys), _covariance(rows, len(keys)))


def _covariance(rows: Any, count: int) -> tuple[tuple[float, ...], ...]:
    import numpy as np

    try:
        matrix = np.asarray(rows, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError("covariance is no matrix of numbers; write a row for each key") from None
    if matrix.shape != (count, count) or not np.isfinite(matrix).all():
        raise ValueError(f"covariance is not {count} rows of {count} numbers; write a row for each key")
    if not np.allclose(matrix, matrix.T, rtol=1e-6, atol=0.0):
        raise ValueError("covariance is not symmetric; the same number belongs on both sides of the diagonal")
    deviation = np.sqrt(np.maximum(np.diag(matrix), 0.0))
    if not (deviation > 0.0).all():
        raise ValueError("covariance has no positive diagonal; it holds each key's variance")
    lowest = float(np.linalg.eigvalsh(matrix / np.outer(deviation, deviation))[0])
    if lowest < -ROUNDING:
        raise ValueError(
            f"covariance is not positive semi-definite (smallest eigenvalue of its correlations {lowest:.3g}, allowed "
            f"0 and more); take it from a fit as it is"
        )
    return tuple(tuple(float(value) for value in row) for row in matrix)


def _twice(found: Mapping[str, Tolerance], groups: list[Together], where: str) -> Iterator[BuildError]:
    seen = set(found)
    for group in groups:
        for key in group.keys:
            if key in seen:
                yield BuildError(
                    where, f"{key} has two tolerances", f"state it once, in [{TABLE}] or in [[{TOGETHER}]]"
                )
            seen.add(key)
