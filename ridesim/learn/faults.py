"""What is wrong with the columns of a log: empty, unbelievable, stuck and clipped readings, each with its share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import LogError
from ridesim.learn.quantities import SHARE, LogQuantity, in_own_unit
from ridesim.units import UNITS

Kind = Literal["empty", "unbelievable", "stuck", "clipped", "gap", "clock"]

TOLD_EMPTY = 0.001
STUCK_S = 30.0
"""A moving quantity that reads exactly alike for so long while the bike rides is stuck (guess)."""
MOVING = frozenset({
    "speed_km_h", "gps_speed_km_h", "motor_speed_rpm", "electrical_speed_rpm", "wheel_speed_rpm", "pack_current_a",
    "pack_power_w", "motor_current_a",
})  # fmt: skip
"""Quantities that no ride holds to the last digit. Voltages and temperatures may rest on one digit for minutes."""
CLIPPED_SHARE, CLIPPED_RUN = 0.005, 3
"""Readings at the very top (or bottom) that count as clipped: this share of all, in runs this long (guess)."""
COMMON_SHARE = 0.5
NAMED_AT_REST = 1e-9

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Finding:
    """One fault of a column (or of the clock, column ""): its share of the readings, and what was done, in words."""

    column: str
    kind: Kind
    share: float
    words: str


def believed(quantity: LogQuantity, values: Array) -> tuple[Array, list[Finding]]:
    """Return the readings with unbelievable ones blanked, and what was found."""
    found = []
    empty = ~np.isfinite(values)
    if empty.mean() > TOLD_EMPTY:
        found.append(Finding(quantity.name, "empty", float(empty.mean()), "empty or no number"))
    low, high = quantity.believed
    strange = ~empty & ((values < low) | (values > high))
    if strange.any():
        words = f"outside {low:g} to {high:g} {symbol(quantity)}: left out"
        found.append(Finding(quantity.name, "unbelievable", float(strange.mean()), words.replace("  ", " ")))
        values = np.where(strange, np.nan, values)
    return values, found


def symbol(quantity: LogQuantity) -> str:
    """Return the symbol of a quantity's own unit."""
    return "" if quantity.units[0] == SHARE else UNITS[quantity.units[0]].symbol


def refuse_units(quantity: LogQuantity, raw: Array, unit: str, where: str, head: str) -> None:
    """Raise LogError for a column that cannot hold what it is said to: a unit wrong by a thousand, zeros."""
    known = raw[np.isfinite(raw)]
    if not known.size:
        raise LogError(where, f"{head} holds no number", "name another column in a mapping")
    if quantity.name in ("latitude_deg", "longitude_deg", "throttle", "cadence_rpm", "pedal_power_w", "altitude_m"):
        return
    low, high = quantity.typical
    moving = np.abs(known[np.abs(known) > 0.0]) if low > 0.0 else known
    if not moving.size:
        if quantity.name == "pack_voltage_v":
            raise LogError(where, f"{head} is zero in all readings", "check the sensor, or map another column")
        return
    if quantity.name.endswith("speed_km_h") and float(np.max(in_own_unit(quantity, moving, unit))) < low:
        return  # it stands still: said by the whole log
    middle = float(np.median(in_own_unit(quantity, moving, unit)))
    if low <= middle <= high:
        return
    others = [each for each in quantity.units if low <= float(np.median(in_own_unit(quantity, moving, each))) <= high]
    hint = f'unit = "{others[0]}" would fit' if others else "a scale would do"
    what = (
        f"{head} reads {middle:.4g} {symbol(quantity)} in its middle, no {quantity.words} of a bike "
        f"({low:g} to {high:g} {symbol(quantity)})"
    )
    raise LogError(
        where, " ".join(what.split()), f"mend its unit in a mapping ({hint}): ridesim log LOG --mapping-only"
    )


def stuck(name: str, values: Array, step_s: float, riding: Mask) -> tuple[Array, Finding | None]:
    """Return readings with stuck stretches blanked: exactly alike for STUCK_S while the bike rides."""
    known = np.isfinite(values)
    if name not in MOVING or not known.any():
        return values, None
    same = np.concatenate(([False], (values[1:] == values[:-1]) & known[1:]))
    resting = np.abs(values) <= NAMED_AT_REST
    run = _run_lengths(same & riding & ~resting)
    bad = run * step_s >= STUCK_S
    if not bad.any():
        return values, None
    words = f"exactly alike for {STUCK_S:g} s or more while the bike rides: left out"
    return np.where(bad, np.nan, values), Finding(name, "stuck", float(bad.mean()), words)


def _run_lengths(held: Mask) -> Array:
    """Return for each place the length of the run of True that it stands in, 0 outside."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], held, [False])).astype(np.int8)))
    lengths = np.zeros(len(held))
    for start, end in edges.reshape(-1, 2):
        lengths[start:end] = end - start
    return lengths


def clipped(quantity: LogQuantity, values: Array) -> Finding | None:
    """Return a finding where many readings stand at the very top or bottom of a column, in runs."""
    known = values[np.isfinite(values)]
    if quantity.name in ("throttle", "duty", "charge_fraction", "cadence_rpm", "pedal_power_w", "air_temperature_c",
                         "distance_km") or known.size < 100:  # fmt: skip
        return None
    for edge, words in ((known.max(), "largest"), (known.min(), "smallest")):
        if abs(edge) <= NAMED_AT_REST:
            continue
        at = known == edge
        share, fast = float(at.mean()), _run_lengths(at)
        spread = float(np.quantile(np.abs(known - edge), 0.5))
        step = _smallest_step(known)
        if CLIPPED_SHARE < share < COMMON_SHARE and fast.max() >= CLIPPED_RUN and spread > 3.0 * step:
            near = float((np.abs(known - edge) < 3.5 * step).mean())
            if share > 0.6 * near and share * known.size >= 3.0 * CLIPPED_RUN:
                said = f"at the {words} reading, {edge:.5g} {symbol(quantity)}: a sensor's end, or a limit"
                return Finding(quantity.name, "clipped", share, " ".join(said.split()))
    return None


def _smallest_step(known: Array) -> float:
    """Return the step between readings, as a recorder rounds them."""
    steps = np.abs(np.diff(known))
    steps = steps[steps > 0.0]
    return float(np.quantile(steps, 0.01)) if steps.size else 0.0
