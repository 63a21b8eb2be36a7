"""Where the lumps and the pack stand when a log begins."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.learn.driven import Driven
from ridesim.learn.follow import Start
from ridesim.learn.throttle import CLOSED

FIRST_READINGS = 5
RESTING_A = 1.0
RESTED = 50
NEARLY_FULL = 1.01

Array = NDArray[np.float64]


def start_of(loaded: LoadedBuild, driven: Driven) -> Start:
    """Return where the log begins: lumps at their first readings (else the air's), charge as logged or as built."""
    air = float(driven.air_c[0])

    def first(name: str, otherwise: float) -> float:
        """Return where a channel begins in its own unit, or `otherwise`."""
        values = driven.measured.get(name)
        return otherwise if values is None or not np.isfinite(values).any() else first_of(values)

    winding = first("winding_temperature_c", first("body_temperature_c", air))
    body = first("body_temperature_c", winding)
    charge = first("charge_fraction", start_charge(loaded, driven))
    pack_c = loaded.build.pack.start_temperature_c
    return Start(
        charge, winding, body, first("controller_temperature_c", air),
        first("pack_temperature_c", air if pack_c is None else pack_c),
    )  # fmt: skip


def first_of(values: Array) -> float:
    """Return where a course of readings, nan where unknown, begins: the middle of its first few, taken back by their
    trend.

    The trend is the median of the slopes between each two (Theil 1950, Sen 1968): one odd reading moves neither. Their
    middle alone would lie two readings late, tens of kelvin of a winding that warms under a slow recorder.
    """
    at = np.flatnonzero(np.isfinite(values))[:FIRST_READINGS]
    known = values[at]
    if known.size < FIRST_READINGS:
        return float(known[0])
    one, other = np.triu_indices(known.size, 1)
    slope = float(np.median((known[other] - known[one]) / (at[other] - at[one])))
    return float(np.median(known - slope * (at - at[0])))


def start_charge(loaded: LoadedBuild, driven: Driven) -> float:
    """Return the charge that the first resting voltage tells, else the build's own start."""
    pack = loaded.build.pack
    volts = driven.pack_voltage[:RESTED]
    resting = np.isfinite(volts) & at_rest(driven)[:RESTED]
    if not resting.any():
        return float(pack.start_charge_fraction)
    cell = (float(np.median(volts[resting])) - pack.open_circuit_offset_v) / pack.series
    curve = np.asarray(pack.cell.open_circuit_v)
    if not curve[0] <= cell <= curve[-1] * NEARLY_FULL:
        return float(pack.start_charge_fraction)
    return float(np.clip(np.interp(cell, curve, pack.cell.charge_fraction), 0.02, 1.0))


def at_rest(driven: Driven) -> NDArray[np.bool_]:
    """Return the readings in which the pack is known to give next to nothing: by a current, else by the throttle."""
    for amps in (driven.pack_current, driven.current):
        if np.isfinite(amps[driven.known]).any():
            return np.asarray(np.abs(amps) < RESTING_A)
    if driven.by == "throttle":
        return np.asarray(driven.throttle < CLOSED)
    return np.zeros(driven.count, dtype=bool)
