"""How a year of rides and rests ages the pack: the laws of `workshop.pack.ageing` under changing conditions.

A law `q = k t^n` under changing k grows by its equivalent time, which is the same as adding up `k^(1/n) dt`: a `Wear`
is such sums. So the mean is one of the Arrhenius term, never of the temperature; two years in one go are one and one.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RidesimError
from ridesim.units import convert, to_si
from ridesim.workshop.pack.ageing import (
    CALENDAR_POWER,
    DAYS_PER_YEAR,
    LARGEST_FITTED_LOSS,
    NAUMANN_C_RATE,
    NAUMANN_RANGE,
    SCHMALSTIEG_CELL_AH,
    SCHMALSTIEG_FITTED_C,
    SCHMALSTIEG_RANGE,
    WANG_CELL_AH,
    WANG_FACTORS,
    WANG_POWER,
    cycle_voltage_v,
    naumann_calendar,
    naumann_cycles,
    rest_voltage_v,
    schmalstieg_calendar,
    schmalstieg_cycles,
    wang_cycles,
)
from ridesim.workshop.pack.plan import FULL_OF_OXIDE_V, PHOSPHATE_V

Array = NDArray[np.float64]
Kind = Literal["oxide", "phosphate"]
CYCLE_POWER = 0.5
DEPTH_DIGITS = 4
"""Of a share of charge: cycles of the same depth and top share their rate."""
RATE_DIGITS = 3


class Rests(NamedTuple):
    """Stretches of time, each of `days`, at a charge [share] and a temperature [degC], (n,)."""

    days: float
    charge: Array
    temperature_c: Array


class Cycle(NamedTuple):
    """A way down from a top charge by a depth and up again; `turned`: all charge in and out, in full packs.

    `c_rate`: mean rate while riding [1/h]; `temperature_c` while riding.
    """

    top: float
    depth: float
    turned: float
    c_rate: float
    temperature_c: float


@dataclass(frozen=True)
class Wear:
    """What a pack has been through, in the laws' own sums; `rest` is a loss^(1/n). Add two with `plus`.

    `below_range_h`: hours at rest below the law's range, which count as its coolest (that is no less than the truth);
    `below_measured_h`: below what was measured. `slow_cycles`: slower than the law's rates, counted as its slowest.
    """

    kind: Kind
    rest: float = 0.0
    cycles: float = 0.0
    rest_resistance: float = 0.0
    cycles_resistance: float = 0.0
    second: float = 0.0
    years: float = 0.0
    below_range_h: float = 0.0
    below_measured_h: float = 0.0
    slow_cycles: float = 0.0

    @property
    def rest_loss(self) -> float:
        """Share of the new capacity lost by rest."""
        return float(self.rest ** (CALENDAR_POWER if self.kind == "oxide" else CYCLE_POWER))

    @property
    def cycle_loss(self) -> float:
        """Share of the new capacity lost by cycles."""
        return float(self.cycles**CYCLE_POWER)

    @property
    def loss(self) -> float:
        """Share of the new capacity lost."""
        return self.rest_loss + self.cycle_loss

    @property
    def second_loss(self) -> float | None:
        """The loss with the cycles by Wang et al. 2011; iron phosphate only."""
        return None if self.kind == "oxide" else float(self.rest_loss + self.second**WANG_POWER)

    @property
    def resistance_growth(self) -> float:
        """Growth of the new resistance, as a share; of iron phosphate by rest alone."""
        power = CALENDAR_POWER if self.kind == "oxide" else 1.0
        return float(self.rest_resistance**power + self.cycles_resistance)

    def plus(self, other: Wear) -> Wear:
        """Return what both came to, one after the other."""
        sums = {
            name: value + getattr(other, name) for name, value in vars(self).items() if isinstance(value, float)
        }  # fmt: skip
        return replace(self, **sums)


class NoLaw(RidesimError):
    """No law tells how this pack ages here."""


def kind_of(max_voltage_v: float) -> Kind:
    """Return the kind of a cell by its full voltage. Raises NoLaw."""
    if max_voltage_v >= FULL_OF_OXIDE_V:
        return "oxide"
    if PHOSPHATE_V[0] <= max_voltage_v <= PHOSPHATE_V[1]:
        return "phosphate"
    what = f"no law for cells that are full at {max_voltage_v:g} V"
    raise NoLaw("ageing", what, "ask the cells' maker for theirs")


class Part(NamedTuple):
    """What one rest or one cycle adds to a `Wear`, by the names of its fields."""

    rest: float = 0.0
    cycles: float = 0.0
    rest_resistance: float = 0.0
    cycles_resistance: float = 0.0
    second: float = 0.0
    below_range_h: float = 0.0
    below_measured_h: float = 0.0
    slow_cycles: float = 0.0


def worn_by(kind: Kind, rests: Rests, cycles: Sequence[Cycle]) -> Wear:
    """Return the wear of these rests and cycles. Raises NoLaw where a law would be asked beyond what it can tell."""
    by_rest, by_cycle = (_oxide_rest, _oxide_cycle) if kind == "oxide" else (_phosphate_rest, _phosphate_cycle)
    try:
        parts = [by_rest(rests), *map(by_cycle, cycles)]
    except RidesimError as error:
        raise NoLaw(error.where, error.what, error.to_do) from None
    sums = dict(zip(Part._fields, map(sum, zip(*parts, strict=True)), strict=True))
    return Wear(kind, years=rests.days * len(rests.charge) / DAYS_PER_YEAR, **sums)


def refuse_beyond(wear: Wear) -> None:
    """Raise NoLaw for a loss further than the laws were held against cells."""
    if wear.loss > LARGEST_FITTED_LOSS:
        what = f"more than {LARGEST_FITTED_LOSS:.0%} lost, which is worn out; the law was fitted no further"
        raise NoLaw("ageing", what, "a new pack, a cooler place, or less charge")


def _counted(rests: Rests, coolest: float, measured: float) -> tuple[Array, tuple[float, float]]:
    """The temperatures a law is asked at, and the hours below its range and below what was measured."""
    hour = convert(rests.days, "days", "h")
    counted = tuple(hour * float(np.sum(rests.temperature_c < limit)) for limit in (coolest, measured))
    return np.maximum(rests.temperature_c, coolest), counted  # type: ignore[return-value]


def _oxide_rest(rests: Rests) -> Part:
    asked, counted = _counted(rests, SCHMALSTIEG_RANGE["temperature_c"][0], SCHMALSTIEG_FITTED_C)
    rates = schmalstieg_calendar(rest_voltage_v(rests.charge), asked)
    capacity, resistance = (rests.days * float(np.sum(rate ** (1.0 / CALENDAR_POWER))) for rate in rates)
    return Part(capacity, 0.0, resistance, 0.0, 0.0, *counted)


def _oxide_cycle(cycle: Cycle) -> Part:
    capacity, resistance = _oxide_rates(round(cycle.top, DEPTH_DIGITS), round(cycle.depth, DEPTH_DIGITS))
    turned_ah = cycle.turned * SCHMALSTIEG_CELL_AH
    return Part(cycles=capacity ** (1.0 / CYCLE_POWER) * turned_ah, cycles_resistance=resistance * turned_ah)


@functools.lru_cache(maxsize=20_000)
def _oxide_rates(top: float, depth: float) -> tuple[float, float]:
    return schmalstieg_cycles(cycle_voltage_v(top, min(depth, top)), depth)


def _phosphate_rest(rests: Rests) -> Part:
    coolest = NAUMANN_RANGE["temperature_c"][0]
    asked, counted = _counted(rests, coolest, coolest)
    capacity, resistance = naumann_calendar(rests.charge, asked)
    seconds = to_si(rests.days, "days")
    squared = float(np.sum(capacity ** (1.0 / CYCLE_POWER)))
    return Part(squared * seconds, 0.0, float(np.sum(resistance)) * seconds, 0.0, 0.0, *counted)


def _phosphate_cycle(cycle: Cycle) -> Part:
    slowest = NAUMANN_C_RATE[0]
    rate = naumann_cycles(round(max(cycle.c_rate, slowest), RATE_DIGITS), cycle.depth)
    full_cycles = 0.5 * cycle.turned
    nearest = min(WANG_FACTORS, key=lambda each: abs(each - cycle.c_rate))
    second = wang_cycles(nearest, max(cycle.temperature_c, 0.0), 1.0) ** (1.0 / WANG_POWER)
    return Part(
        cycles=rate ** (1.0 / CYCLE_POWER) * full_cycles,
        second=second * full_cycles * WANG_CELL_AH,
        slow_cycles=float(cycle.c_rate < slowest),
    )
