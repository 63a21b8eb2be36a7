"""A log's throttle as a share of its way: closed 0, open 1."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import LogError
from ridesim.learn.log import Log

CLOSED_SHARE, OPEN_SHARE = 0.05, 0.999
"""Quantiles of a throttle in volts that are taken as closed and as open (guesses)."""
LEAST_TRAVEL_V = 1.0
"""A hall throttle goes from some 0.8 to 4.2 V (common practice, no source); one that moves less was hardly opened."""
CLOSED = 0.02
"""A throttle below this share is let go: a sensor's zero (guess)."""
MOST_SHARE = 1.1

Array = NDArray[np.float64]


def throttle_of(log: Log, values: Array) -> tuple[Array, list[str]]:
    """Return throttle readings as shares from 0 to 1, and what is to know of them.

    Raises LogError for one that never opens, or that is no share and no voltage of a throttle.
    """
    column = log.mapping.of("throttle")
    known = values[np.isfinite(values)]
    top = float(np.quantile(known, OPEN_SHARE)) if known.size else 0.0
    if top < CLOSED:
        what = f"the throttle never opens: it reaches {top:.3g}" if known.size else "the throttle is never read"
        raise LogError(log.path, what, "check its column and unit, or replay it --by speed")
    in_volts = column is not None and column.unit == "v" and column.scale == 1.0 and column.offset == 0.0
    if in_volts or top > MOST_SHARE:
        return _by_travel(log, values, known, top)
    return np.clip(values, 0.0, 1.0), []


def _by_travel(log: Log, values: Array, known: Array, top: float) -> tuple[Array, list[str]]:
    """Return a voltage as the share of the way that it went in this log."""
    low = float(np.quantile(known, CLOSED_SHARE))
    if top - low < LEAST_TRAVEL_V:
        what = f"the throttle goes from {low:.2f} to {top:.2f} V alone: where it is closed and open is not seen"
        raise LogError(log.path, what, "give scale and offset in a mapping that make it 0 to 1")
    scale = 1.0 / (top - low)
    words = (
        f"the throttle is logged in volts: {low:.2f} V is taken as closed and {top:.2f} V as open, the range it has "
        f"here (scale = {scale:.4g}, offset = {-low * scale:.4g} in a mapping; mend them if it was never fully open)"
    )
    return np.clip((values - low) * scale, 0.0, 1.0), [words]
