"""Draws: scrambled Sobol points mapped through the tolerances, and through a covariance where one is given."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.schema.tolerance import Tolerance
from ridesim.sure.scores import normal_score
from ridesim.sure.sobol import scrambled
from ridesim.sure.uncertain import ALTITUDE, Doubts, Uncertain
from ridesim.units import symbol_of

Array = NDArray[np.float64]

FULL_TURN_DEG = 360.0
TOLD_SHARE = 0.001
"""A tolerance that reaches beyond its allowed range by more than this share says so."""
INSIDE = 2.0**-40
"""Keeps points of the unit cube off its faces, where a normal has no quantile."""


def cube(count: int, dimensions: int, seed: int) -> Array:
    """Return `count` points of a scrambled Sobol sequence, (count, dimensions), none on a face."""
    return np.clip(scrambled(count, dimensions, seed), INSIDE, 1.0 - INSIDE)


def mapped(points: Array, doubts: Doubts) -> Array:
    """Return points of the unit cube as values of the uncertain numbers, each inside its allowed range.

    A tolerance cut by its range keeps its shape inside. Keys drawn together share a Gaussian copula: without a cut
    they are the multivariate normal of the covariance.
    """
    points = points.copy()
    place = {key: at for at, key in enumerate(doubts.keys)}
    numbers = list(doubts.numbers)
    for group in doubts.together:
        at = [place[key] for key in group.keys]
        covariance = np.asarray(group.covariance)
        deviation = np.sqrt(np.diag(covariance))
        root = square_root(covariance / np.outer(deviation, deviation))
        points[:, at] = np.clip(normal_share(normal_score(points[:, at]) @ root.T), INSIDE, 1.0 - INSIDE)
        for index, size in zip(at, deviation.tolist(), strict=True):
            each = numbers[index]
            numbers[index] = replace(each, tolerance=Tolerance("normal", size, said="together"))
    columns = [quantile(points[:, at], each) for at, each in enumerate(numbers)]
    return np.column_stack(columns) if columns else np.empty((len(points), 0))


def square_root(correlation: Array) -> Array:
    """Return L with L L^T = correlation, of a positive semi-definite matrix too."""
    values, vectors = np.linalg.eigh(correlation)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def quantile(shares: Array, number: Uncertain) -> Array:
    """Return the values below which these shares of a number's tolerance lie, inside its allowed range."""
    tolerance, value = number.tolerance, number.value
    if tolerance.kind == "exact":
        return np.full(len(shares), value)
    if tolerance.kind == "around":
        return np.mod(value + tolerance.size * normal_score(shares), FULL_TURN_DEG)
    lowest, highest = share_below(number.low, number), share_below(number.high, number)
    inside = lowest + shares * (highest - lowest)
    if tolerance.kind == "uniform":
        half = tolerance.size * (abs(value) if tolerance.relative else 1.0)
        drawn = value + half * (2.0 * inside - 1.0)
    elif tolerance.kind == "normal":
        drawn = value + tolerance.size * normal_score(np.clip(inside, INSIDE, 1.0 - INSIDE))
    else:
        drawn = value * np.exp(tolerance.size * normal_score(np.clip(inside, INSIDE, 1.0 - INSIDE)))
    return np.clip(drawn, number.low, number.high)  # rounding only: the shares are those of the range


def share_below(limit: float, number: Uncertain) -> float:
    """Return the share of a number's tolerance that lies below a limit."""
    tolerance, value = number.tolerance, number.value
    if math.isinf(limit):
        return float(limit > 0.0)
    if tolerance.kind == "log-normal":
        return 0.0 if limit <= 0.0 else _normal_share(math.log(limit / value) / tolerance.size)
    if tolerance.kind == "normal":
        return _normal_share((limit - value) / tolerance.size)
    half = tolerance.size * (abs(value) if tolerance.relative else 1.0)
    return min(max(0.5 + 0.5 * (limit - value) / half, 0.0), 1.0)


def normal_share(scores: Array) -> Array:
    """Return the shares of the standard normal below these scores."""
    return np.array([_normal_share(score) for score in scores.ravel().tolist()]).reshape(scores.shape)


def leaving(doubts: Doubts) -> Iterator[str]:
    """Yield what to know of tolerances that reach beyond their key's allowed range: a line for each stated one."""
    others = []
    for each in doubts.numbers:
        if each.tolerance.kind in ("exact", "around") or each.key == ALTITUDE:
            continue
        beyond = share_below(each.low, each) + 1.0 - share_below(each.high, each)
        if beyond <= TOLD_SHARE:
            continue
        if each.whose != "stated":
            others.append(each.key)
            continue
        allowed = f"{each.low:g} to {each.high:g} {symbol_of(each.key)}".rstrip()
        yield f"{each.key}: {beyond:.1%} of its tolerance lies outside the allowed {allowed}; it is drawn inside."
    if others:
        yield f"Tolerances that reach beyond the allowed range, and are drawn inside it: {', '.join(others)}."


def _normal_share(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def columns_of(doubts: Doubts) -> list[list[int]]:
    """Return the columns of each independent factor: one key, or all keys of a group drawn together."""
    place = {key: at for at, key in enumerate(doubts.keys)}
    groups = [[place[key] for key in group.keys] for group in doubts.together]
    taken = {at for group in groups for at in group}
    return [[at] for at in range(len(place)) if at not in taken] + groups


def row_of(doubts: Doubts, values: Any) -> dict[str, float]:
    """Return one draw as values by key."""
    return dict(zip(doubts.keys, (float(value) for value in values), strict=True))
