"""What readings over time share: a number found from them, and the error of readings that scatter in runs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridesim.workshop.bench.errors import Floats

MOST_CORRELATED = 0.98
MAD_TO_DEVIATION = 1.4826
"""Of a normal spread."""
LEAST_ERROR = 1e-6


@dataclass(frozen=True)
class RunKey:
    """One number of a motor part found from a run: its key, words, value and error; `told`: sure enough to be used."""

    key: str
    words: str
    value: float
    error: float
    told: bool = True


def correlated_error(left: Floats, stated: float = 0.0) -> float:
    """Return the error of one reading that counts one: the scatter, at least the stated one, widened for its run.

    A first-order run of correlation r leaves `(1 - r) / (1 + r)` of the readings independent (Bayley and Hammersley
    1946, J. R. Stat. Soc. Suppl. 8:184-197, from memory).
    """
    if len(left) < 3:
        return max(stated, 1.0)
    centred = left - left.mean()
    power = float(centred @ centred)
    run = float(centred[1:] @ centred[:-1]) / power if power > 0.0 else 0.0
    run = min(max(run, 0.0), MOST_CORRELATED)
    spread = max(float(np.sqrt(np.mean(left**2))), stated, LEAST_ERROR)
    return spread * float(np.sqrt((1.0 + run) / (1.0 - run)))
