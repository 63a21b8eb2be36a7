"""How lithium cells age: published laws of capacity and resistance, and how a pack's years follow from them.

Oxide cells (4.2 V): Schmalstieg et al. 2014, J. Power Sources 257:325-334 (nickel-manganese-cobalt 18650, 2.15 Ah).
Iron phosphate (3.65 V): Naumann et al. 2018, J. Energy Storage 17:153-169 (rest) and 2020, J. Power Sources 451:227666
(cycles); Wang et al. 2011, J. Power Sources 196:3942-3948, as a second opinion on cycles. Constants as quoted by
independent public texts; of Wang's pre-factors three are from memory. Losses are shares of the new cell (0 to 1).

Each law grows as `q = k t^n`. Where conditions change, growth goes on from the time at which the new law alone would
have come to the same loss: `t_eq = (q / k)^(1 / n)`; adding losses from zero, or a mean of temperatures, gives another
loss. No law here knows cold charging, damage, or the knee at which old cells fail.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RideError
from ridesim.units import from_si, to_si
from ridesim.workshop.limits import Verdict, held, require_not_negative, require_positive

Law = Literal["Schmalstieg et al. 2014", "Naumann et al. 2018, 2020"]
Floats = TypeVar("Floats", float, NDArray[np.float64])
"""A number, or an array of them."""
GAS_ZERO_C = 273.15
GAS_CONSTANT = 8.3145
"""J/(mol K), as Naumann's constants were fitted with it."""
DAYS_PER_YEAR, SECONDS_PER_DAY = 365.25, 86400.0

SCHMALSTIEG_CELL_AH = 2.15
"""Ah of the cell behind the law; throughput of another cell is scaled by it, which is a guess."""
CALENDAR_POWER = 0.75
SCHMALSTIEG_FITTED_C = 35.0
"""degC, the coolest that was measured; below, the Arrhenius term is carried on, as others have done."""
SCHMALSTIEG_RANGE = {"temperature_c": (0.0, 50.0), "voltage_v": (3.3, 4.2), "depth_fraction": (0.0, 1.0)}
"""Carried on down to 0 degC, where charging ends; fitted to about 30 % of loss."""
SLOWEST_RESISTANCE_GROWTH = 1.5e-5
"""1/Ah, floor of the growth by cycles (Schmalstieg et al. 2014)."""
SCHMALSTIEG_OCV_V = (3.331, 3.491, 3.581, 3.627, 3.655, 3.697, 3.775, 3.869, 3.965, 4.073, 4.162)
"""Resting voltage of the law's cell at 0, 10, ... 100 % of charge."""
CYCLE_STEPS = 50
"""Equal parts of a cycle over which its voltage is averaged."""
NAUMANN_RANGE = {"temperature_c": (10.0, 60.0), "charge_fraction": (0.0, 1.0), "depth_fraction": (0.0, 1.0)}
"""Rest was measured at 10 to 60 degC; cycles at 40 and 25 degC, whose rate term is taken as it stands."""
NAUMANN_C_RATE = (0.1, 1.0)
"""1/h, the rates of the cycle law."""
WANG_CELL_AH, WANG_POWER, WANG_GAS_CONSTANT = 2.2, 0.55, 8.314
WANG_FACTORS = {0.5: 31630.0, 2.0: 21681.0, 6.0: 12934.0, 10.0: 15512.0}
"""Pre-factor by C-rate; 0.5, 6 and 10 from memory. Not monotone: take the nearest rate, never between."""
AGEING_SPREAD = (0.5, 2.0)
"""Real loss over estimated loss that is thought possible across cells and uses; a guess."""
END_OF_LIFE_LOSS = 0.20
"""Loss at which a pack is called worn out; common practice, no source."""
LARGEST_FITTED_LOSS = 0.30
"""Loss up to which the laws were held against cells (Schmalstieg et al. 2014: about 30 %, from memory)."""


@dataclass(frozen=True)
class Ageing:
    """Capacity lost by rest and by cycles, by a law made for one published cell; low and high are a guessed range.

    `resistance_growth_percent` is None where the law's own texts disagree on it. `second_opinion_percent`: the loss
    with the cycles by Wang et al. 2011 (iron phosphate only). `carried_on`: what was asked outside the measured range.
    """

    law: Law
    calendar_loss_percent: float
    cycle_loss_percent: float
    loss_percent: float
    loss_low_percent: float
    loss_high_percent: float
    resistance_growth_percent: float | None
    second_opinion_percent: float | None
    carried_on: str
    verdict: Verdict
    reason: str


def schmalstieg_calendar(voltage_v: Floats, temperature_c: Floats) -> tuple[Floats, Floats]:
    """Loss of capacity and growth of resistance by rest, both per day^0.75.

    `alpha_cap = (7.543 V - 23.75) 1e6 exp(-6976 / T)`, `alpha_res = (5.270 V - 16.32) 1e5 exp(-5986 / T)`, T in K.
    Source: Schmalstieg et al. 2014. Raises RideError outside SCHMALSTIEG_RANGE.
    """
    _within("Schmalstieg's law", SCHMALSTIEG_RANGE, voltage_v=voltage_v, temperature_c=temperature_c)
    kelvin: Any = temperature_c + GAS_ZERO_C
    capacity = (7.543 * voltage_v - 23.75) * 1e6 * np.exp(-6976.0 / kelvin)
    return capacity, (5.270 * voltage_v - 16.32) * 1e5 * np.exp(-5986.0 / kelvin)


def schmalstieg_cycles(mean_voltage_v: float, depth_fraction: float) -> tuple[float, float]:
    """Loss of capacity per sqrt(Ah) and growth of resistance per Ah of a 2.15 Ah cell, charge and discharge counted.

    `mean_voltage_v` is the quadratic mean over a cycle. Source: Schmalstieg et al. 2014, at 35 degC.
    Raises RideError outside SCHMALSTIEG_RANGE.
    """
    _within("Schmalstieg's law", SCHMALSTIEG_RANGE, voltage_v=mean_voltage_v, depth_fraction=depth_fraction)
    capacity = 7.348e-3 * (mean_voltage_v - 3.667) ** 2 + 7.6e-4 + 4.081e-3 * depth_fraction
    resistance = 2.153e-4 * (mean_voltage_v - 3.725) ** 2 - 1.521e-5 + 2.798e-4 * depth_fraction
    return capacity, max(resistance, SLOWEST_RESISTANCE_GROWTH)


def naumann_calendar(charge_fraction: Floats, temperature_c: Floats) -> tuple[Floats, Floats]:
    """Loss of capacity by rest per sqrt(s), and growth of resistance per s, of iron phosphate.

    `1.2571e-5 exp(-17126/R (1/T - 1/298.15)) (2.8575 (s - 0.5)^3 + 0.60225)`;
    `3.419e-10 exp(-71827/R (...)) (3.3903 (s - 0.5)^2 + 1.5604)`. Source: Naumann et al. 2018.
    Raises RideError outside NAUMANN_RANGE.
    """
    _within("Naumann's law", NAUMANN_RANGE, charge_fraction=charge_fraction, temperature_c=temperature_c)
    inverse: Any = 1.0 / (temperature_c + GAS_ZERO_C) - 1.0 / 298.15
    off = charge_fraction - 0.5
    capacity = 1.2571e-5 * np.exp(-17126.0 / GAS_CONSTANT * inverse) * (2.8575 * off**3 + 0.60225)
    resistance = 3.419e-10 * np.exp(-71827.0 / GAS_CONSTANT * inverse) * (3.3903 * off**2 + 1.5604)
    return capacity, resistance


def naumann_cycles(c_rate: float, depth_fraction: float) -> float:
    """Loss of capacity by cycles per sqrt(full equivalent cycle) of iron phosphate; rates outside 0.1 to 1 are refused.

    `(0.063 C + 0.0971) (4.0253 (D - 0.6)^3 + 1.0923) / 100`. Source: Naumann et al. 2020; its law of the resistance is
    not used, for two public texts of it disagree by a factor of five.
    """
    _within("Naumann's law", {**NAUMANN_RANGE, "c_rate": NAUMANN_C_RATE}, c_rate=c_rate, depth_fraction=depth_fraction)
    return to_si((0.063 * c_rate + 0.0971) * (4.0253 * (depth_fraction - 0.6) ** 3 + 1.0923), "percent")


def wang_cycles(c_rate: float, temperature_c: float, throughput_ah: float) -> float:
    """Loss of capacity of iron phosphate by the Ah put through a 2.2 Ah cell, at one of the four measured C-rates.

    `B exp((-31700 + 370.3 C) / (R T)) Ah^0.55 / 100`. Source: Wang et al. 2011. Raises RideError for another rate.
    """
    require_not_negative("Wang's law", throughput_ah=throughput_ah)
    _within("Wang's law", {"temperature_c": (0.0, 60.0)}, temperature_c=temperature_c)
    if c_rate not in WANG_FACTORS:
        rates = ", ".join(f"{rate:g}" for rate in WANG_FACTORS)
        raise RideError("Wang's law", f"c_rate = {c_rate:g} ({rates})", "take the nearest of these")
    exponent = (-31700.0 + 370.3 * c_rate) / (WANG_GAS_CONSTANT * (temperature_c + GAS_ZERO_C))
    return to_si(WANG_FACTORS[c_rate] * math.exp(exponent) * throughput_ah**WANG_POWER, "percent")


def grown(loss: float, rate: float, amount: float, power: float) -> float:
    """Loss after `amount` more of time (or charge) at `rate`, where the law is `rate * amount^power` from new.

    Growth goes on from the equivalent amount `(loss / rate)^(1 / power)`. Raises RideError for a rate not above zero.
    Source: common practice in the laws' own texts; the closed form of one law under constant conditions is exact.
    """
    require_positive("ageing", rate=rate, power=power)
    require_not_negative("ageing", loss=loss, amount=amount)
    return float(rate * ((loss / rate) ** (1.0 / power) + amount) ** power)


def mean_rate(rates: Sequence[float], power: float) -> float:
    """The constant rate that ages as much as these rates in equal shares of time, in any order, do.

    The mean is of the rates (of the Arrhenius term), never of the temperatures: by `grown` in small turns,
    `k = (mean of k_i^(1/n))^n`.
    """
    if not rates:
        raise RideError("ageing", "no rates to take a mean of", "give at least one")
    return float((sum(rate ** (1.0 / power) for rate in rates) / len(rates)) ** power)


def age_oxide(
    capacity_ah: float,
    years: float,
    cycles: float,
    depth_fraction: float,
    rest_charge_fraction: float = 0.5,
    temperature_c: float = 20.0,
    top_charge_fraction: float = 1.0,
) -> Ageing:
    """Age of a 4.2 V cell after years at rest with cycles of one depth: an estimate with a range, no promise.

    `temperature_c` is that of the rest. Cycles go down from `top_charge_fraction` by the depth.
    Raises RidesimError outside the law's range. Source: `schmalstieg_calendar`, `schmalstieg_cycles`.
    """
    _require_use(capacity_ah, years, cycles, rest_charge_fraction)
    by_rest, resistance_by_rest = schmalstieg_calendar(rest_voltage_v(rest_charge_fraction), temperature_c)
    mean_v = cycle_voltage_v(top_charge_fraction, depth_fraction)
    by_cycles, resistance_by_cycles = schmalstieg_cycles(mean_v, depth_fraction)
    span = (DAYS_PER_YEAR * years) ** CALENDAR_POWER
    # A cycle is a discharge and a charge; a larger cell is worn by as much less per Ah.
    throughput_ah = 2.0 * cycles * depth_fraction * SCHMALSTIEG_CELL_AH
    growth = resistance_by_rest * span + resistance_by_cycles * throughput_ah
    cool = temperature_c < SCHMALSTIEG_FITTED_C
    carried_on = f"rest at {temperature_c:g} °C is carried on from {SCHMALSTIEG_FITTED_C:g} °C and up" if cool else ""
    losses = (by_rest * span, by_cycles * math.sqrt(throughput_ah))
    return _ageing("Schmalstieg et al. 2014", losses, growth, None, carried_on)


def age_phosphate(
    capacity_ah: float,
    years: float,
    cycles: float,
    depth_fraction: float,
    rest_charge_fraction: float = 0.5,
    temperature_c: float = 20.0,
    c_rate: float = 0.5,
) -> Ageing:
    """Age of an iron-phosphate cell after years at rest with cycles of one depth and rate; the rest as `age_oxide`.

    Raises RidesimError outside the laws' ranges. Source: `naumann_calendar`, `naumann_cycles`, `wang_cycles`.
    """
    _require_use(capacity_ah, years, cycles, rest_charge_fraction)
    by_rest, _ = naumann_calendar(rest_charge_fraction, temperature_c)
    calendar = by_rest * math.sqrt(DAYS_PER_YEAR * SECONDS_PER_DAY * years)
    by_cycles = naumann_cycles(c_rate, depth_fraction) * math.sqrt(cycles * depth_fraction)
    nearest = min(WANG_FACTORS, key=lambda rate: abs(rate - c_rate))
    # Wang counts the charge that is drawn; Naumann whole cycles.
    second = calendar + wang_cycles(nearest, temperature_c, cycles * depth_fraction * WANG_CELL_AH)
    return _ageing("Naumann et al. 2018, 2020", (calendar, by_cycles), None, second, "")


def rest_voltage_v(charge_fraction: Floats) -> Floats:
    """Resting voltage [V] of Schmalstieg's cell at a charge of 0 to 1, straight between the published points."""
    _within("ageing", {"rest_charge_fraction": (0.0, 1.0)}, rest_charge_fraction=charge_fraction)
    found: Any = np.interp(charge_fraction, np.linspace(0.0, 1.0, len(SCHMALSTIEG_OCV_V)), SCHMALSTIEG_OCV_V)
    return found


def cycle_voltage_v(top_charge_fraction: float, depth_fraction: float) -> float:
    """Quadratic mean of the resting voltage [V] between a top charge and the top less the depth.

    Raises RideError for a depth below nothing or above the top charge.
    """
    if not 0.0 <= depth_fraction <= top_charge_fraction:
        what = f"depth_fraction = {depth_fraction:g} (0 to the top charge, {top_charge_fraction:g})"
        raise RideError("ageing", what, "charge higher or use less")
    share = (np.arange(CYCLE_STEPS) + 0.5) / CYCLE_STEPS
    return float(np.sqrt(np.mean(rest_voltage_v(top_charge_fraction - depth_fraction * share) ** 2)))


def _require_use(capacity_ah: float, years: float, cycles: float, rest_charge_fraction: float) -> None:
    require_positive("ageing", capacity_ah=capacity_ah)
    require_not_negative("ageing", years=years, cycles=cycles)
    _within("ageing", {"rest_charge_fraction": (0.0, 1.0)}, rest_charge_fraction=rest_charge_fraction)


def _ageing(
    law: Law, losses: tuple[float, float], growth: float | None, second: float | None, carried_on: str
) -> Ageing:
    calendar, cycling = losses
    loss = calendar + cycling
    low, high = (min(1.0, factor * loss) for factor in AGEING_SPREAD)
    verdict, reason = _judge_loss(loss, low, high)
    return Ageing(
        law,
        from_si(calendar, "percent"),
        from_si(cycling, "percent"),
        from_si(loss, "percent"),
        from_si(low, "percent"),
        from_si(high, "percent"),
        None if growth is None else from_si(growth, "percent"),
        None if second is None else from_si(second, "percent"),
        carried_on,
        verdict,
        reason,
    )


class WornOutError(RideError):
    """More is lost than any of the laws was fitted to: worn out, without a figure."""


def _judge_loss(loss: float, low: float, high: float) -> tuple[Verdict, str]:
    if loss > LARGEST_FITTED_LOSS:
        what = f"more than {LARGEST_FITTED_LOSS:.0%} lost, which is worn out; the law was fitted no further"
        raise WornOutError("ageing", what, "fewer years or cycles, a cooler place, less charge")
    words = f"{loss:.0%} lost, {low:.0%} to {high:.0%} thought possible; {END_OF_LIFE_LOSS:.0%} is called worn out"
    return held("ageing", loss, END_OF_LIFE_LOSS, words)


def _within(where: str, ranges: dict[str, tuple[float, float]], **values: Any) -> None:
    for name, value in values.items():
        low, high = ranges[name]
        lowest, highest = float(np.min(value)), float(np.max(value))
        if not (low <= lowest and highest <= high):
            wrong = highest if highest > high else lowest
            raise RideError(where, f"{name} = {wrong:g} ({low:g} to {high:g})", "the law holds no further")
