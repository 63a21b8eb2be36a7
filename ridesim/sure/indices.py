"""Which uncertain number carries how much of an answer's variance: first order, total, and shares from draws."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

RESAMPLES = 200
CONFIDENCE = 0.8
"""Intervals of indices hold the true one in 8 of 10 cases, as the spans hold the bikes."""


@dataclass(frozen=True, eq=False)
class Indices:
    """Indices of every answer (rows) to every factor (columns), with the ends of their intervals."""

    first_order: Array
    first_order_low: Array
    first_order_high: Array
    total: Array
    total_low: Array
    total_high: Array


def exchanged(a: Array, b: Array, factors: Sequence[Sequence[int]]) -> list[Array]:
    """Return, for each factor, the points of `a` with the columns of that factor from `b`."""
    found = []
    for columns in factors:
        mixed = a.copy()
        mixed[:, list(columns)] = b[:, list(columns)]
        found.append(mixed)
    return found


def indices(f_a: Array, f_b: Array, f_ab: Array) -> Indices:
    """Return indices from an answer at points a and b, (answers, n), and at the exchanged, (factors, answers, n).

    First order by Saltelli et al. (2010), Comput. Phys. Commun. 181:259-270, total by Jansen (1999), ibid. 117:35-43,
    as scipy.stats.sobol_indices has them. An answer without any variance has indices 0.
    """
    from scipy.stats import sobol_indices

    middle = np.mean(np.concatenate([f_a, f_b], axis=1), axis=1, keepdims=True)
    a, b, ab = f_a - middle, f_b - middle, f_ab - middle[None]
    still = np.ptp(np.concatenate([a, b], axis=1), axis=1) == 0.0
    with np.errstate(invalid="ignore", divide="ignore"):
        function: Any = {"f_A": a, "f_B": b, "f_AB": ab}
        found = sobol_indices(func=function, n=a.shape[1])
        low, high = _resampled(a, b, ab)
    parts = (found.first_order, low[0], high[0], found.total_order, low[1], high[1])
    known = [np.nan_to_num(np.where(still[:, None], 0.0, np.atleast_2d(part))) for part in parts]
    return Indices(*known)


def _resampled(a: Array, b: Array, ab: Array) -> tuple[Array, Array]:
    """Return the ends of the intervals of first order and total, (2, answers, factors), by resampling the points.

    Source: Efron (1979), Ann. Stat. 7:1-26; percentile intervals.
    """
    count, random = a.shape[1], np.random.default_rng(RESAMPLES)
    changed = ab - a
    first, total = b * changed, 0.5 * changed**2
    seen = np.empty((RESAMPLES, 2, a.shape[0], len(ab)))
    for row in range(RESAMPLES):
        weight = np.bincount(random.integers(0, count, count), minlength=count) / count
        both = 0.5 * (a**2 @ weight + b**2 @ weight) - (0.5 * (a + b) @ weight) ** 2
        seen[row] = np.stack([first @ weight, total @ weight]).transpose(0, 2, 1) / both[:, None]
    ends = np.quantile(seen, [0.5 - 0.5 * CONFIDENCE, 0.5 + 0.5 * CONFIDENCE], axis=0)
    return ends[0], ends[1]


def shares(scores: Array, answer: Array) -> Array:
    """Return each column's share of an answer's variance, (columns,), from draws alone.

    `scores` are independent standard normals, (draws, columns). The answer is drawn as a sum of a line and a parabola
    in each score, whose squared coefficients are first-order indices; what chance alone would give is taken off.
    Source: Sudret (2008), Reliab. Eng. Syst. Saf. 93:964-979, polynomial chaos, here without mixed terms.
    """
    known = np.isfinite(answer)
    y, z = answer[known], scores[known]
    count, width = z.shape
    if count < 3 or np.ptp(y) == 0.0:
        return np.zeros(width)
    many = count > 4 * width
    basis = np.column_stack([z, (z * z - 1.0) / np.sqrt(2.0)]) if many else z
    basis = basis - basis.mean(axis=0)
    centred = y - y.mean()
    gram = basis.T @ basis
    # Of many draws the columns are all but independent; an eigenvalue problem takes 40 times as long.
    spread_of = np.linalg.inv(gram) if many else np.linalg.pinv(gram, hermitian=True)
    coefficient = spread_of @ (basis.T @ centred)
    left = centred - basis @ coefficient
    freedom = max(count - basis.shape[1] - 1, 1)
    noise = float(left @ left) / freedom * np.diag(spread_of)
    carried = np.maximum(coefficient**2 - noise, 0.0) * basis.var(axis=0)
    return np.asarray(carried.reshape(-1, width).sum(axis=0) / y.var())


def evaluated(ride: Callable[[Array], Array], points: Sequence[Array]) -> list[Array]:
    """Return an evaluation of several blocks of points, asked for in one call so that all cores are kept busy."""
    sizes = np.cumsum([len(block) for block in points])[:-1]
    return list(np.split(ride(np.concatenate(list(points))), sizes, axis=-1))
