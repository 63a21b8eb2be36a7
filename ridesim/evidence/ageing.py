"""Published laws of ageing, as the pack's calculator uses them, against their worked values."""

from __future__ import annotations

import math

from ridesim.evidence.checks import Check, Subject, near
from ridesim.evidence.store import sheet, table
from ridesim.units import from_si, to_si
from ridesim.workshop.pack import ageing

YEAR_D = 365.0
THROUGHPUT_AH = 2000.0
OXIDE, PHOSPHATE = "nickel-manganese-cobalt", "iron phosphate"


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of ageing."""
    return [*_oxide(), *_phosphate(), *_changes()], []


def _percent(share: float) -> float:
    return from_si(share, "percent")


def _oxide() -> list[Check]:
    checks = []
    for charge, celsius, alpha, loss, growth in table("ageing.rest").rows:
        volts = ageing.rest_voltage_v(to_si(charge, "percent"))
        capacity, resistance = ageing.schmalstieg_calendar(volts, celsius)
        name, grown = f"{OXIDE} at {charge:g} % and {celsius:g} °C", YEAR_D**0.75
        checks += [
            near(f"{name}: loss a day^0.75", capacity, alpha),
            near(f"{name}: lost in a year", _percent(capacity * grown), loss),
            near(f"{name}: resistance gained in a year", _percent(resistance * grown), growth),
        ]
    for volts, depth, beta, loss, growth in table("ageing.cycles").rows:
        capacity, resistance = ageing.schmalstieg_cycles(volts, depth)
        name = f"{OXIDE}, cycles {depth:g} deep about {volts:g} V"
        checks += [
            near(f"{name}: loss an Ah^0.5", capacity, beta),
            near(f"{name}: lost in 2000 Ah", _percent(capacity * math.sqrt(THROUGHPUT_AH)), loss),
            near(f"{name}: resistance gained in 2000 Ah", _percent(resistance * THROUGHPUT_AH), growth),
        ]
    return checks


def _phosphate() -> list[Check]:
    checks, year_s = [], to_si(YEAR_D, "days")
    for charge, celsius, loss, growth in table("ageing.phosphate_rest").rows:
        capacity, resistance = ageing.naumann_calendar(charge, celsius)
        name = f"{PHOSPHATE} at {charge:.0%} and {celsius:g} °C"
        checks += [
            near(f"{name}: lost in a year", _percent(capacity * math.sqrt(year_s)), loss),
            near(f"{name}: resistance gained in a year", _percent(resistance * year_s), growth),
        ]
    for depth, rate, turns, loss in table("ageing.phosphate_cycles").rows:
        ours = _percent(ageing.naumann_cycles(rate, depth) * math.sqrt(turns))
        checks.append(near(f"{PHOSPHATE}, {turns:g} turns {depth:g} deep at {rate:g}C: lost", ours, loss))
    for rate, *losses in table("ageing.throughput").rows:
        for celsius, loss in zip((25.0, 45.0, 60.0), losses, strict=True):
            ours = _percent(ageing.wang_cycles(rate, celsius, THROUGHPUT_AH))
            checks.append(near(f"{PHOSPHATE}, 2000 Ah at {rate:g}C and {celsius:g} °C: lost", ours, loss))
    end = sheet("ageing.end_of_life")
    ours = _percent(ageing.wang_cycles(0.5, 25.0, end.throughput_ah))
    return [*checks, near(f"{PHOSPHATE}, 16693.5 Ah at C/2 and 25 °C: lost", ours, end.loss_percent)]


def _changes() -> list[Check]:
    """What changes on the way: a warmer second year, two years in one go."""
    later, twice, year_s = sheet("ageing.warmer_later"), sheet("ageing.two_years"), to_si(YEAR_D, "days")
    cool, warm = (ageing.schmalstieg_calendar(3.7, celsius)[0] for celsius in (25.0, 35.0))
    first = ageing.grown(0.0, cool, YEAR_D, 0.75)
    rate = ageing.naumann_calendar(0.5, 25.0)[0]
    second = ageing.grown(first, warm, YEAR_D, 0.75)
    both = ageing.grown(ageing.grown(0.0, rate, year_s, 0.5), rate, year_s, 0.5)
    return [
        near("a year at 3.7 V and 25 °C: lost", _percent(first), later.first_percent),
        near("then a year at 35 °C: lost in all", _percent(second), later.both_percent),
        near(f"{PHOSPHATE}, one year and one more: lost", _percent(both), twice.loss_percent),
        near("loss at rest, 35 over 25 °C", warm / cool, sheet("ageing.activation").from_25_to_35_c),
    ]


SUBJECT = Subject("ageing", "Ageing of cells", run)
