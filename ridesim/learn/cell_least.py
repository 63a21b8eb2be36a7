"""The least squares of a cell's numbers, some of which are held, and how sure they are."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

Array = NDArray[np.float64]
Misses: TypeAlias = Callable[[Array], Array]
CLOSE = 1e-8
"""Relative change of the sum of squares, or of the numbers, at which a fit ends."""
LEAST_VALUE = 1e-3
"""An error is told as a share of at least this."""


class Found(NamedTuple):
    """Numbers that miss least, which of them were free, the covariance of those, and half the sum of squares."""

    full: Array
    free: NDArray[np.bool_]
    covariance: Array
    cost: float

    def shares(self, names: Sequence[str], readings: int) -> dict[str, float]:
        """Return one deviation of each free number as a share of its value.

        readings: how many measurements there were; what they miss beyond one each widens all.
        """
        size = self._widening(readings)
        wide = np.sqrt(size * np.diag(self.covariance)) / np.maximum(np.abs(self.full[self.free]), LEAST_VALUE)
        free = (name for name, is_free in zip(names, self.free, strict=True) if is_free)
        return dict(zip(free, wide.tolist(), strict=True))

    def share_of_sum(self, places: Sequence[int], readings: int) -> float:
        """Return one deviation of the sum of some free numbers as a share of it: what trades off falls out."""
        at = [int(self.free[:place].sum()) for place in places]
        variance = float(self.covariance[np.ix_(at, at)].sum())
        return float(np.sqrt(self._widening(readings) * max(variance, 0.0)) / self.full[list(places)].sum())

    def _widening(self, readings: int) -> float:
        """Return what measurements miss beyond one each, by which every variance is wider."""
        return max(1.0, 2.0 * self.cost / readings)


def fit_numbers(
    start: Array,
    free: NDArray[np.bool_],
    lowest: Sequence[float],
    highest: Sequence[float],
    misses: Misses,
    close: float = CLOSE,
) -> Found:
    """Return the numbers that miss least; those that are not free stay as they start."""

    def full_of(values: Array) -> Array:
        full = start.copy()
        full[free] = values
        return full

    bounds = (np.array(lowest)[free], np.array(highest)[free])
    first = np.clip(start[free], bounds[0], bounds[1])

    def of_free(values: Array) -> Array:
        return misses(full_of(values))

    found = least_squares(of_free, first, bounds=bounds, x_scale=first + 1.0, ftol=close, xtol=close)
    slopes = np.asarray(found.jac)
    return Found(full_of(found.x), free, np.linalg.pinv(slopes.T @ slopes), float(found.cost))
