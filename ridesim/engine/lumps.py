"""A lump of heat beside the ride, followed along its recorded rows: the brakes, which the motion does not read."""

from __future__ import annotations

import math

import numpy as np

from ridesim.jit import called_kernel
from ridesim.physics.brakes import lump_after


@called_kernel
def follow_lump(
    temps: np.ndarray, start_k: float, heat_w: np.ndarray, to_air: np.ndarray, radiating_m2: float, air_k: np.ndarray,
    span_s: np.ndarray, capacity: float, longest_s: float,
) -> float:  # fmt: skip
    """Fill in a lump's temperature at the end of every row [K], and return the heat that it gave to the air [J].

    By row: heat_w into it [W], to_air [W/K], air_k [K], span_s since the row before [s]; radiating_m2 = emissivity x
    area, capacity [J/K], longest_s the longest step [s].
    """
    now, given = start_k, 0.0
    for row in range(temps.size):
        pieces = max(1, math.ceil(span_s[row] / longest_s))
        dt = span_s[row] / pieces
        for _ in range(pieces):
            if dt > 0.0:
                now, left = lump_after(now, heat_w[row], to_air[row], radiating_m2, air_k[row], capacity, dt)
                given += left
        temps[row] = now
    return given
