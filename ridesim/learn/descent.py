"""The least squares of a fit: few slopes, each used for as long as it is right.

Levenberg (1944) and Marquardt (1963), from memory, in units of the prior: its penalty keeps the normal equations sound,
so that they are formed of all windows at a fraction of what a decomposition of the whole matrix takes. Bounds by an
active set: what would leave its room is held at its end while the rest is solved anew.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Left = dict[str, Array]
Differences = Callable[[Array], Left]

STEP_Z = 1e-3
"""Of the slopes, in prior deviations: where keys trade off, slopes cancel to a thousandth, and so must their errors."""
MOST_TURNS = 20
CLOSE = 1e-4
"""Relative change of the cost at which a fit ends."""
NEAR_Z, FAR_Z = 0.02, 0.1
"""Prior deviations that a last step moves, and within which slopes count as those of a place (guesses)."""
FORETOLD = 0.05
"""Share of a step's gain that slopes may miss and still serve the next (guess)."""
LEAST_DAMPING, MOST_DAMPING, GROWTH = 1e-6, 1e6, 10.0
SOFTENED = 3.0
"""Deviations beyond which squares grow as sizes."""


@dataclass(frozen=True, eq=False)
class Linear:
    """A place z, what is left there by channel, and the slopes of it, (m, n) by channel."""

    z: Array
    left: Left
    slopes: dict[str, Array]


@dataclass(frozen=True, eq=False)
class Weighing:
    """How what is left becomes residuals: errors, weights and chosen windows by channel, and the prior's root."""

    sigma: dict[str, float]
    weights: dict[str, Array]
    chosen: dict[str, NDArray[np.bool_]]
    root: Array
    as_they_are: bool

    def residuals(self, left: Left, z: Array) -> Array:
        """Return residuals of unit error, the prior's last."""
        parts = [softened(self._scaled(left, name), self.as_they_are) for name in self.sigma]
        return np.concatenate([*parts, self.root @ z])

    def slopes(self, at: Linear) -> Array:
        """Return the slopes of the residuals at a place."""
        parts = []
        for name, sigma in self.sigma.items():
            size = self._scaled(at.left, name)
            chosen = self.chosen[name]
            gain = (self.weights[name][chosen] / sigma) * softening(size, self.as_they_are)
            parts.append(at.slopes[name][chosen] * gain[:, None])
        return np.concatenate([*parts, self.root])

    def _scaled(self, left: Left, name: str) -> Array:
        chosen = self.chosen[name]
        return (self.weights[name][chosen] * left[name][chosen]) / self.sigma[name]


def softened(r: Array, as_they_are: bool) -> Array:
    """Return residuals whose squares grow as their size beyond SOFTENED deviations."""
    if as_they_are:
        return r
    return np.sign(r) * np.sqrt(2.0 * SOFTENED**2 * (np.sqrt(1.0 + (r / SOFTENED) ** 2) - 1.0))


def softening(r: Array, as_they_are: bool) -> Array:
    """Return the slope of `softened`; 1 where a residual is small."""
    if as_they_are:
        return np.ones_like(r)
    root = np.sqrt(1.0 + (r / SOFTENED) ** 2)
    # d/dr sqrt(2 c2 (root - 1)) = r / (s root), and s2 = 2 c2 (root - 1) = 2 r2 / (root + 1).
    return np.asarray(np.sqrt(0.5 * (root + 1.0)) / root)


def linearise(differences: Differences, z: Array, upper: Array, left: Left | None = None) -> Linear:
    """Return a place with its slopes, by differences of a thousandth of a prior deviation, inside the bounds.

    From the last unknown to the first: those of the log alone stand last, and leave the bike as it was computed.
    """
    here = differences(z) if left is None else left
    slopes = {name: np.empty((len(values), len(z))) for name, values in here.items()}
    for index in reversed(range(len(z))):
        step = STEP_Z if z[index] + STEP_Z < upper[index] else -STEP_Z
        moved = z.copy()
        moved[index] += step
        for name, values in differences(moved).items():
            slopes[name][:, index] = (values - here[name]) / step
    return Linear(z, here, slopes)


def descend(
    differences: Differences, at: Linear, weighing: Weighing, bounds: tuple[Array, Array]
) -> tuple[Linear, Array]:
    """Return the place of the least squares and the slopes of its residuals, from a place with slopes of its own.

    Slopes serve further steps for as long as they foretell what a step leaves; a fit ends with slopes of its place.
    """
    damping, made_at = LEAST_DAMPING, at.z
    for _ in range(MOST_TURNS):
        slopes = weighing.slopes(at)
        before = weighing.residuals(at.left, at.z)
        cost = float(before @ before)
        equations = normal_equations(slopes, before)
        moved, damping = _better(differences, at, weighing, equations, cost, damping, bounds)
        z, left, lower = moved if moved is not None else (at.z, at.left, cost)
        step, gained = z - at.z, cost - lower
        ended = moved is None or (gained < CLOSE * cost and float(np.max(np.abs(step))) < NEAR_Z)
        foretold = -float(2.0 * equations[0] @ step + step @ equations[1] @ step)
        off = float(np.max(np.abs(z - made_at)))
        at = replace(at, z=z, left=left)
        if ended and off < FAR_Z:
            break
        if ended or abs(gained - foretold) > FORETOLD * foretold:
            if off == 0.0:
                break
            at, made_at = linearise(differences, z, bounds[1], left), z
    return at, weighing.slopes(at)


def normal_equations(slopes: Array, left: Array) -> tuple[Array, Array]:
    """Return gradient and matrix of the least squares, (n,) and (n, n).

    In bundles of rows: so small a product is done at once, where one of thousands of rows wakes every core to wait.
    """
    count = slopes.shape[1]
    gradient, matrix = np.zeros(count), np.zeros((count, count))
    for first in range(0, len(slopes), BUNDLE):
        rows = slopes[first : first + BUNDLE]
        gradient += rows.T @ left[first : first + BUNDLE]
        matrix += rows.T @ rows
    return gradient, matrix


BUNDLE = 200


def _better(
    differences: Differences, at: Linear, weighing: Weighing, equations: tuple[Array, Array], cost: float,
    damping: float, bounds: tuple[Array, Array],
) -> tuple[tuple[Array, Left, float] | None, float]:  # fmt: skip
    """Return a place of less cost with what is left there, or None; and the damping that found it."""
    while damping < MOST_DAMPING:
        z = _step(at.z, *equations, damping, bounds)
        if not np.any(z != at.z):
            return None, damping
        left = differences(z)
        after = weighing.residuals(left, z)
        lower = float(after @ after)
        if lower < cost:
            return (z, left, lower), max(damping / GROWTH, LEAST_DAMPING)
        if float(np.max(np.abs(z - at.z))) < CLOSE:
            return None, damping
        damping *= GROWTH
    return None, LEAST_DAMPING


def _step(z: Array, gradient: Array, normal: Array, damping: float, bounds: tuple[Array, Array]) -> Array:
    """Return the damped step, inside the bounds: what would leave is held at its end, and the rest solved anew."""
    low, high = bounds
    free = ~(((z <= low) & (gradient > 0.0)) | ((z >= high) & (gradient < 0.0)))
    target = z.copy()
    for _ in range(len(z)):
        held = target - z
        right = -(gradient + normal @ np.where(free, 0.0, held))
        part = np.flatnonzero(free)
        if not part.size:
            break
        matrix = normal[np.ix_(part, part)] + damping * np.diag(np.diag(normal)[part])
        target[part] = z[part] + np.linalg.solve(matrix, right[part])
        out = free & ((target < low) | (target > high))
        if not out.any():
            break
        target[out] = np.clip(target[out], low[out], high[out])
        free &= ~out
    return np.clip(target, low, high)
