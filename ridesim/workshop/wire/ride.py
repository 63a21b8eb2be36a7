"""How hot a wire gets in seconds without cooling, and along a ride's current.

Sources: adiabatic heating by Onderdonk (Stauffacher 1928, General Electric Review), with (234 + start) in the
denominator; Preece (1884 to 1888) for melting in the end; first-order heating with the loss of `wire_heat`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ridesim.errors import RideError
from ridesim.workshop.limits import Verdict, load_profile, load_time, require_finite_load, require_positive
from ridesim.workshop.wire.heat import COPPER_MELTS_C, lead_loss_w_per_m, verdict_on_temp
from ridesim.workshop.wire.tables import Insulation, Wire, heat_capacity_j_per_m_k

ONDERDONK_FACTOR = 33.0
ONDERDONK_OFFSET_C = 234.0
CIRCULAR_MILS_PER_MM2 = 1973.525
"""Constants of Onderdonk's equation (area in circular mils; 1 mil = 0.0254 mm)."""

LOSS_TABLE_POINTS = 60
"""Temperatures at which the loss is tabulated for a ride (linear between: below 0.1 K error)."""

STEP_SHARE_OF_TIME_CONSTANT = 0.05
"""Longest inner step along a ride, so that the loss coefficient may be held through it."""


@dataclass(frozen=True)
class LeadRide:
    """A lead's conductor temperature along a ride."""

    conductor_c: NDArray[np.float64]
    peak_c: float
    peak_at_s: float
    time_over_limit_s: float
    rms_current_a: float
    time_constant_s: float
    verdict: Verdict
    reason: str


class _Lump(NamedTuple):
    """One metre of lead: heat capacity, rise of resistance, and its loss per kelvin over temperature."""

    wire: Wire
    capacity_j_per_m_k: float
    slope_ohm_per_m_k: float
    air_c: float
    grid_c: NDArray[np.float64]
    conductance_w_per_m_k: NDArray[np.float64]


def short_time_current_a(area_mm2: float, time_s: float, start_c: float, limit_c: float = COPPER_MELTS_C) -> float:
    """Return the current that heats copper from `start_c` to `limit_c` in `time_s` with no cooling [A].

    `33 (I/A)^2 t = log10((limit - start)/(234 + start) + 1)`, A in circular mils. Valid up to about 10 s; beyond,
    cooling helps. Source: Onderdonk, in Stauffacher (1928), General Electric Review; another limit than melting by
    the same integral. Raises BuildError.
    """
    require_positive("wire", area_mm2=area_mm2, time_s=time_s)
    if limit_c <= start_c:
        return 0.0
    rise = math.log10((limit_c - start_c) / (ONDERDONK_OFFSET_C + start_c) + 1.0)
    return area_mm2 * CIRCULAR_MILS_PER_MM2 * math.sqrt(rise / (ONDERDONK_FACTOR * time_s))


def short_time_s(area_mm2: float, current_a: float, start_c: float, limit_c: float = COPPER_MELTS_C) -> float:
    """Return the seconds copper takes from `start_c` to `limit_c` with no cooling. Source: Onderdonk, as above."""
    require_positive("wire", current_a=current_a)
    return (short_time_current_a(area_mm2, 1.0, start_c, limit_c) / current_a) ** 2


def short_time_temp_c(area_mm2: float, current_a: float, time_s: float, start_c: float) -> float:
    """Return the temperature after `time_s` at a current with no cooling [degC], at most copper's melting point.

    Source: Onderdonk's equation solved for the limit. Raises BuildError, RideError.
    """
    require_positive("wire", area_mm2=area_mm2)
    require_finite_load("wire", current_a=current_a, time_s=time_s)
    power = ONDERDONK_FACTOR * (current_a / (area_mm2 * CIRCULAR_MILS_PER_MM2)) ** 2 * max(time_s, 0.0)
    hottest = math.log10((COPPER_MELTS_C + ONDERDONK_OFFSET_C) / (start_c + ONDERDONK_OFFSET_C))
    return float(10.0 ** min(power, hottest) * (start_c + ONDERDONK_OFFSET_C)) - ONDERDONK_OFFSET_C


def preece_fusing_current_a(diameter_mm: float) -> float:
    """Return the current that melts a bare copper wire in free air in the end [A]: `10244 d^1.5`, d in inches.

    Source: Preece (1884 to 1888). Raises BuildError.
    """
    require_positive("wire", diameter_mm=diameter_mm)
    return float(10244.0 * (diameter_mm / 25.4) ** 1.5)


def lead_along_ride(
    wire: Wire,
    jacket: Insulation,
    time_s: ArrayLike,
    current_a: ArrayLike,
    *,
    air_c: float,
    start_c: float | None = None,
    grouping: float = 1.0,
) -> LeadRide:
    """Return a lead's conductor temperature along a current profile; sample `i` holds until sample `i + 1`.

    One lump for copper and jacket, each inner step by the exact exponential of the balance linearised at its start
    (`I^2 R(T)` is linear in T, the loss coefficient is held); at copper's melting point it stays. `current_a` is the
    conductor's own rms current. Source: first-order heating; `lead_loss_w_per_m`. Raises BuildError, RideError.
    """
    times, currents = load_profile("wire.ride", time_s=time_s, current_a=current_a)
    load_time("wire.ride", times)
    start = air_c if start_c is None else start_c
    if start < air_c:
        raise RideError(
            "wire.start_c", f"{start:g} degC is below the air ({air_c:g})", "start at or above air temperature"
        )
    grid = np.linspace(air_c, COPPER_MELTS_C, LOSS_TABLE_POINTS)
    grid = air_c + (grid - air_c) ** 2 / (COPPER_MELTS_C - air_c)  # dense where wires live
    losses = np.array([lead_loss_w_per_m(wire, jacket, each, air_c, grouping) for each in grid])
    conductance = np.append(losses[1] / (grid[1] - air_c), losses[1:] / (grid[1:] - air_c))
    slope = wire.resistance_ohm_per_m(1.0) - wire.resistance_ohm_per_m(0.0)
    lump = _Lump(wire, heat_capacity_j_per_m_k(wire, jacket), slope, air_c, grid, conductance)
    temps = np.empty_like(times)
    temps[0] = temp = start
    for index, span in enumerate(np.diff(times)):
        temp = _warm(lump, temp, float(span), float(currents[index]) ** 2)
        temps[index + 1] = temp
    time_constant = lump.capacity_j_per_m_k / float(np.interp(jacket.limit_c, grid, conductance))
    return _ride_result(times, currents, temps, jacket, time_constant)


def _warm(lump: _Lump, temp_c: float, span_s: float, current_squared: float) -> float:
    """Carry the lump through one sample at constant current, in inner steps short against its time constant."""
    left = span_s
    while left > 0.0:
        loss_per_k = float(np.interp(temp_c, lump.grid_c, lump.conductance_w_per_m_k))
        rate = (loss_per_k - current_squared * lump.slope_ohm_per_m_k) / lump.capacity_j_per_m_k
        step = left if rate == 0.0 else min(left, STEP_SHARE_OF_TIME_CONSTANT / abs(rate))
        heating = current_squared * lump.wire.resistance_ohm_per_m(temp_c) - loss_per_k * (temp_c - lump.air_c)
        decay = rate * step
        weight = 1.0 if decay == 0.0 else -math.expm1(-decay) / decay
        temp_c = min(temp_c + heating / lump.capacity_j_per_m_k * step * weight, COPPER_MELTS_C)
        left -= step
    return temp_c


def _ride_result(
    times: NDArray[np.float64],
    currents: NDArray[np.float64],
    temps: NDArray[np.float64],
    jacket: Insulation,
    time_constant_s: float,
) -> LeadRide:
    steps = np.diff(times)
    hottest = int(np.argmax(temps))
    peak = float(temps[hottest])
    over = float(np.sum(steps[temps[1:] > jacket.limit_c]))
    rms = math.sqrt(float(np.sum(currents[:-1] ** 2 * steps) / np.sum(steps)))
    verdict = verdict_on_temp(peak, jacket.limit_c)
    words = f"{peak:.0f} °C at {times[hottest]:.0f} s, {jacket.limit_words}"
    return LeadRide(temps, peak, float(times[hottest]), over, rms, time_constant_s, verdict, words)
