"""What is wrong with the columns of a log: empty, unbelievable, stuck and clipped readings, each with its share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import LogError
from ridesim.learn.guess import is_typical, telling
from ridesim.learn.quantities import SHARE, LogQuantity, in_own_unit
from ridesim.units import UNITS

Kind = Literal["empty", "unbelievable", "stuck", "clipped", "gap", "clock"]

TOLD_EMPTY = 0.001
STUCK_S = 30.0
"""A moving quantity that reads exactly alike for so long while the bike rides may be stuck (guess)."""
_SPEEDS = ("speed_km_h", "gps_speed_km_h", "motor_speed_rpm", "electrical_speed_rpm", "wheel_speed_rpm")
_CURRENTS = ("pack_current_a", "motor_current_a", "pack_power_w")
PARTNERS = {
    **{name: tuple(other for other in _SPEEDS if other != name) for name in _SPEEDS},
    **{name: tuple(other for other in _CURRENTS if other != name) for name in _CURRENTS},
    "pack_voltage_v": _CURRENTS,
}
"""What moves together: a column is stuck where it rests while one of these moves. A steady cruise rests in all."""
FINE_STEPS = 4.0
"""A voltage rests for long under any current where its steps are coarser than this part of its spread (guess)."""
AT_AN_END = 0.02
"""Share of a column's range within which it rests at its end: a controller's limit, not a stuck sensor (guess)."""
PARTNER_MOVES = 0.25
"""A partner moves if it covers this share of its own spread meanwhile (guess)."""
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
    if quantity.name in ("latitude_deg", "longitude_deg", "throttle", "cadence_rpm", "pedal_power_w"):
        return
    low, high = quantity.typical
    moving = np.abs(known[np.abs(known) > 0.0]) if low > 0.0 else known
    if not moving.size:
        if quantity.name == "pack_voltage_v":
            raise LogError(where, f"{head} is zero in all readings", "check the sensor, or map another column")
        return
    if quantity.name.endswith("speed_km_h") and float(np.max(in_own_unit(quantity, moving, unit))) < low:
        return  # it stands still: said by the whole log
    if is_typical(quantity, moving, unit):
        return
    reading, place = (
        telling(quantity, moving, unit),
        "in the largest of 20 readings" if quantity.signed else "in its middle",
    )
    others = [each for each in quantity.units if is_typical(quantity, moving, each)]
    hint = f'unit = "{others[0]}" would fit' if others else "a scale would do"
    what = (
        f"{head} reads {reading:.4g} {symbol(quantity)} {place}, no {quantity.words} of a bike "
        f"({low:g} to {high:g} {symbol(quantity)})"
    )
    raise LogError(
        where, " ".join(what.split()), f"mend its unit in a mapping ({hint}): ridesim log LOG --mapping-only"
    )


def stuck(name: str, columns: Mapping[str, Array], step_s: float, riding: Mask) -> tuple[Array, Finding | None]:
    """Return readings with stuck stretches blanked: exactly alike for STUCK_S while what moves with them moves."""
    values = columns[name]
    partners = [columns[other] for other in PARTNERS.get(name, ()) if other in columns]
    if not partners or (name == "pack_voltage_v" and _is_coarse(values)):
        return values, None
    same = np.concatenate(([False], values[1:] == values[:-1]))
    held = same & riding & (np.abs(np.nan_to_num(values)) > NAMED_AT_REST)
    bad = np.zeros(len(values), dtype=bool)
    ends = (np.nanmin(values), np.nanmax(values)) if np.isfinite(values).any() else (0.0, 0.0)
    for start, end in _runs(held):
        if (end - start) * step_s < STUCK_S:
            continue
        if min(abs(values[start] - edge) for edge in ends) < AT_AN_END * (ends[1] - ends[0]):
            continue  # a limit holds it
        if any(not np.nanmax(np.abs(np.diff(columns[hand][start:end])), initial=0.0) for hand in _hands(name, columns)):
            continue  # the hand that asks for it holds still too
        if any(_moved(partner, start, end) for partner in partners):
            bad[start:end] = True
    if not bad.any():
        return values, None
    words = f"exactly alike for {STUCK_S:g} s or more while what moves with it moves: left out"
    return np.where(bad, np.nan, values), Finding(name, "stuck", float(bad.mean()), words)


def _is_coarse(values: Array) -> bool:
    known = values[np.isfinite(values)]
    if not known.size:
        return True
    low, high = np.quantile(known, (0.05, 0.95))
    return bool(high - low < FINE_STEPS * _smallest_step(known))


def _hands(name: str, columns: Mapping[str, Array]) -> list[str]:
    """Return the logged columns that ask for a quantity."""
    return [each for each in ASKED_BY.get(name, ()) if each in columns]


ASKED_BY = {"motor_current_a": ("throttle",)}
"""A throttle held still asks for one current: a controller that logs what is asked for repeats its last digit."""


def _moved(partner: Array, start: int, end: int) -> bool:
    low, high = np.nanquantile(partner, (0.05, 0.95)) if np.isfinite(partner).any() else (0.0, 0.0)
    part = partner[start:end]
    if not np.isfinite(part).any() or high <= low:
        return False
    near, far = np.nanquantile(part, (0.05, 0.95))
    return bool(far - near > PARTNER_MOVES * (high - low))


def _runs(held: Mask) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], held, [False])).astype(np.int8)))
    return [(int(start), int(end)) for start, end in edges.reshape(-1, 2)]


def _longest_run(held: Mask) -> int:
    return max((end - start for start, end in _runs(held)), default=0)


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
        share = float(at.mean())
        spread = float(np.quantile(np.abs(known - edge), 0.5))
        step = _smallest_step(known)
        if CLIPPED_SHARE < share < COMMON_SHARE and _longest_run(at) >= CLIPPED_RUN and spread > 3.0 * step:
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
