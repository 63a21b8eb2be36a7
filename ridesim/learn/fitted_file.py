"""A fit written as a build: it extends the one that was fitted, with what the log says and how sure it is of it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.second import PREFIX
from ridesim.engine.estimates import estimate
from ridesim.learn.build_fit import BuildFit, FittedKey
from ridesim.learn.one_drive import ALONE
from ridesim.learn.priors import DRAG
from ridesim.schema.texts import toml_value
from ridesim.schema.tolerance import TEN_TO_NINETY
from ridesim.sure.uncertain import MOVING, NO_LOAD, STILL
from ridesim.units import from_si

WIDE = 0.25
"""Relative deviation above which a key's spread is written as a factor, on its own (guess)."""
BOUND = 0.3
"""Correlation from which keys are written together."""
LEAST_EIGENVALUE = 1e-6

Array = NDArray[np.float64]


def fitted_text(fit: BuildFit, extends: str, command: str, when: datetime | None = None, drive: int = 1) -> str:
    """Return the fitted build as TOML; `extends`: how the new file names the build that was fitted.

    `drive`: 2 where the log is of the second of two different drives: its keys are written as such.
    """
    told = with_whole_drag(fit)
    lines = list(_head(fit, command, when or datetime.now(UTC)))
    lines += [f"extends = {toml_value(extends)}", f"name = {toml_value(f'{_whole(fit)}, fitted')}", ""]
    lines += _values(fit, told)
    together = _together(fit, told)
    alone = [each for each in told if each.key not in together]
    if alone:
        lines += ["", "[tolerance]", *(line for each in alone for line in _tolerances(fit, each))]
    lines += _groups(fit, together)
    return "\n".join(map(_of_second, lines) if drive == 2 else lines) + "\n"


def _whole(fit: BuildFit) -> str:
    """Return the name of the bike, of one that was fitted on one of its drives that of the whole."""
    name = fit.loaded.build.name
    return next((name.removesuffix(each) for each in ALONE if name.endswith(each)), name)


def _of_second(line: str) -> str:
    """Return a line with the keys of a drive as those of the second one; comments and names stay."""
    told = line.startswith(("#", "extends = ", "name = "))
    return line if told else re.sub(r"(?<![\w.])(?=(?:drive|motor|controller)\.[a-z])", PREFIX, line)


def with_whole_drag(fit: BuildFit) -> tuple[FittedKey, ...]:
    """Return the keys that the log tells; of the two terms of the drag both, where either is: they stand in the place
    of no-load points together."""
    told = {each.key for each in fit.told}
    motor = fit.loaded.build.motor
    parted = bool(told & set(DRAG)) and None in (motor.drag_torque_nm, motor.drag_growth_nm_s)
    return tuple(each for each in fit.keys if each.key in told or (parted and each.key in DRAG))


def _head(fit: BuildFit, command: str, when: datetime) -> Iterator[str]:
    yield f"# Fitted by ridesim to a log, {when:%Y-%m-%d}."
    yield f"# command: {command}"
    yield f"# log: {fit.path}, sha256 {fit.sha256}"
    yield f"# build: {fit.loaded.path}, sha256 {fit.loaded.sha256}"
    for each in fit.skills:
        off = f"off by {each.off(each.fitted)}, {each.off(each.as_built)} before"
        yield f"# blocks that were not fitted, {each.words}: {off}"
    yield "# Values are the likeliest; [tolerance] and [[tolerance_together]] say how sure log and build are of them."


def _values(fit: BuildFit, told: tuple[FittedKey, ...]) -> list[str]:
    values: dict[str, Any] = {}
    stages: dict[int, float] = {}
    for each in told:
        if each.key == NO_LOAD:
            values.update({**_drag(fit), NO_LOAD: "[]"})
        elif each.key.startswith("drive.stage."):
            stages[int(each.key.split(".")[2])] = each.after
        else:
            values[each.key] = each.after
        if each.key in DRAG and fit.loaded.build.motor.no_load:
            values[NO_LOAD] = "[]"
        if each.key == STILL:
            values[MOVING] = _moving(fit) * each.after / each.before
    lines = [f"{key} = {_shown(value)}" for key, value in values.items()]
    return lines + (_stages(fit, stages) if stages else [])


def _shown(value: Any) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _moving(fit: BuildFit) -> float:
    stated = fit.loaded.build.motor.body_to_air_at_36_km_h_w_per_k
    return float(stated if stated is not None else estimate(fit.loaded.build).body_to_air_at_36_km_h_w_per_k)


def _drag(fit: BuildFit) -> dict[str, float]:
    """Return the fitted drag as the two terms that the model has, in place of no-load points."""
    build, params, _ = fit.problem.model(fit.solution.z)
    extra, motors = 1.0 + build.motor.extra_eddy_fraction, build.drive.motors
    return dict(zip(DRAG, (params.tau_0 / motors, params.tau_1 / extra / motors), strict=True))


def _stages(fit: BuildFit, changed: dict[int, float]) -> list[str]:
    """Return the stages whole: an array in a build that extends another replaces the other's."""
    lines: list[str] = []
    for at, stage in enumerate(fit.loaded.build.drive.stage):
        given = stage.model_dump(exclude_unset=True)
        if at in changed:
            given["efficiency"] = float(f"{changed[at]:.6g}")
        lines += ["", "[[drive.stage]]", *(f"{name} = {toml_value(value)}" for name, value in given.items())]
    return lines


def _together(fit: BuildFit, told: tuple[FittedKey, ...]) -> tuple[str, ...]:
    """Return the keys whose errors are bound to one another: those are written with their covariance."""
    may = [each for each in told if _may_be_together(fit, each)]
    if len(may) < 2:
        return ()
    correlation = _correlation(fit, tuple(each.key for each in may))
    np.fill_diagonal(correlation, 0.0)
    bound = np.abs(correlation).max(axis=1) > BOUND
    return tuple(each.key for each, is_bound in zip(may, bound, strict=True) if is_bound)


def _may_be_together(fit: BuildFit, each: FittedKey) -> bool:
    if each.key == NO_LOAD or each.key in fit.loaded.stated.by_key or each.key.startswith("drive.stage."):
        return False
    return (each.after != 0.0 and each.after_sd <= WIDE * abs(each.after)) or each.key.endswith("offset_v")


def _places(fit: BuildFit, keys: tuple[str, ...]) -> list[int]:
    every = fit.problem.priors.keys
    return [every.index(key) for key in keys]


def _correlation(fit: BuildFit, keys: tuple[str, ...]) -> Array:
    at = _places(fit, keys)
    part = fit.solution.covariance[np.ix_(at, at)]
    deviation = np.sqrt(np.diag(part))
    return np.asarray(part / np.outer(deviation, deviation))


def _groups(fit: BuildFit, keys: tuple[str, ...]) -> list[str]:
    """Return the table of keys that move together, beside those of the build that the fit left alone."""
    written = {each.key for each in fit.told}
    kept = [group for group in fit.loaded.stated.together if not set(group.keys) & written]
    lines: list[str] = []
    for group in kept:
        lines += _group(group.keys, np.asarray(group.covariance))
    if keys:
        by_key = {each.key: each for each in fit.keys}
        deviation = np.array([by_key[key].after_sd for key in keys])
        correlation = _correlation(fit, keys)
        lowest = float(np.linalg.eigvalsh(correlation)[0])
        if lowest < LEAST_EIGENVALUE:
            correlation = (correlation + LEAST_EIGENVALUE * np.eye(len(keys))) / (1.0 + LEAST_EIGENVALUE)
        lines += _group(keys, correlation * np.outer(deviation, deviation))
    if not lines and fit.loaded.stated.together:
        return []
    return lines


def _group(keys: tuple[str, ...], covariance: Array) -> list[str]:
    even = 0.5 * (covariance + covariance.T)
    rows = [f"    [{', '.join(f'{value:.12g}' for value in row)}]," for row in even]
    names = ",\n    ".join(toml_value(key) for key in keys)
    return ["", "[[tolerance_together]]", f"keys = [\n    {names},\n]", "covariance = [", *rows, "]"]


def _tolerances(fit: BuildFit, each: FittedKey) -> list[str]:
    """Return a key's tolerance; a log that knows the whole drag to a share knows each of two terms to more of it."""
    if each.key != NO_LOAD:
        return [_tolerance(each)]
    share = each.after_sd / each.after
    terms = [(key, value) for key, value in _drag(fit).items() if value > 0.0]
    apart = math.sqrt(float(len(terms)))
    return [_tolerance(replace(each, key=key, after=value, after_sd=apart * share * value)) for key, value in terms]


def _tolerance(each: FittedKey) -> str:
    name = toml_value(each.key)
    if each.key.endswith("offset_v") or each.key.endswith("efficiency") or each.after == 0.0:
        return f"{name} = {each.after_sd:.4g}"
    share = each.after_sd / abs(each.after)
    if share > WIDE:
        factor = math.exp(TEN_TO_NINETY * min(share, 1.5))
        return f'{name} = "x/ {max(factor, 1.001):.4g}"'
    return f'{name} = "{max(share * PER_CENT, LEAST_PER_CENT):.4g} %"'


PER_CENT = from_si(1.0, "percent")
LEAST_PER_CENT = 1e-4
