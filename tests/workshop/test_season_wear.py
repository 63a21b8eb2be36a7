"""How a year ages the pack: closed forms, the equivalent-time rule, and where the laws stop."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ridesim.workshop.pack.ageing import (
    age_oxide,
    age_phosphate,
    grown,
    mean_rate,
    naumann_calendar,
    rest_voltage_v,
    schmalstieg_calendar,
)
from ridesim.workshop.season.wear import Cycle, NoLaw, Rests, Wear, kind_of, refuse_beyond, worn_by

HOUR = 1.0 / 24.0


def year(charge: float, celsius: float, days: float = 365.0) -> Rests:
    count = round(days / HOUR)
    return Rests(HOUR, np.full(count, charge), np.full(count, celsius))


def test_a_constant_year_at_rest_is_the_closed_form():
    # D-1 of Schmalstieg et al. 2014: 50 % of charge, 25 degC, 365 d: 2.38173 % lost, 5.04026 % more resistance.
    wear = worn_by("oxide", year(0.5, 25.0), [])
    assert 100.0 * wear.rest_loss == pytest.approx(2.38173, abs=5e-6)
    assert 100.0 * wear.resistance_growth == pytest.approx(5.04026, abs=5e-6)
    # D-6, D-7 of Naumann et al. 2018: full, 40 degC, a year of 365 days: 9.42989 % and 10.40187 %.
    wear = worn_by("phosphate", year(1.0, 40.0), [])
    assert 100.0 * wear.rest_loss == pytest.approx(9.42989, abs=5e-6)
    assert 100.0 * wear.resistance_growth == pytest.approx(10.40187, abs=5e-6)


@pytest.mark.parametrize("kind", ["oxide", "phosphate"])
def test_constant_years_with_cycles_are_the_packs_own_estimate(kind):
    """The same laws stand behind `ridesim pack`: three years in hours and cycles are its closed form."""
    count, depth = 300, 0.6
    # `turned` of a cycle is its way down and up; 365.25 days are a year of the estimate.
    wear = worn_by(kind, year(0.5, 20.0, 3 * 365.25), [Cycle(1.0, depth, 2.0 * depth, 0.5, 20.0)] * count)
    whole = (age_oxide if kind == "oxide" else age_phosphate)(3.0, 3.0, count, depth)
    assert 100.0 * wear.rest_loss == pytest.approx(whole.calendar_loss_percent, rel=1e-9)
    assert 100.0 * wear.cycle_loss == pytest.approx(whole.cycle_loss_percent, rel=1e-9)
    if kind == "oxide":
        assert 100.0 * wear.resistance_growth == pytest.approx(whole.resistance_growth_percent, rel=1e-9)
    else:
        assert 100.0 * wear.second_loss == pytest.approx(whole.second_opinion_percent, rel=1e-9)


def test_a_change_of_condition_goes_on_from_the_equivalent_time():
    # D-4: one year at 25 degC, then one at 35 degC, at 3.7 V: 2.39476 -> 6.45616 %; from zero each it would be 7.512 %.
    charge = float(np.interp(3.7, [rest_voltage_v(q) for q in (0.5, 0.6)], (0.5, 0.6)))
    first, second = (worn_by("oxide", year(charge, celsius), []) for celsius in (25.0, 35.0))
    assert 100.0 * first.loss == pytest.approx(2.39476, abs=5e-6)
    assert 100.0 * first.plus(second).loss == pytest.approx(6.45616, abs=5e-6)
    rate = schmalstieg_calendar(3.7, 35.0)[0]
    assert first.plus(second).loss == pytest.approx(grown(first.loss, rate, 365.0, 0.75), rel=1e-9)


def test_two_years_in_one_go_are_one_and_one():
    one = worn_by("oxide", year(0.9, 12.0), [Cycle(0.9, 0.3, 0.6, 0.4, 10.0)] * 200)
    two = worn_by("oxide", year(0.9, 12.0, 730.0), [Cycle(0.9, 0.3, 0.6, 0.4, 10.0)] * 400)
    both = one.plus(one)
    assert both.loss == pytest.approx(two.loss, rel=1e-12)
    assert both.resistance_growth == pytest.approx(two.resistance_growth, rel=1e-12)
    assert both.years == pytest.approx(two.years)


def test_the_mean_is_of_the_arrhenius_term_not_of_the_temperature():
    # H-8: a sine of 15 +- 10 degC ages 1.166315 times as fast as 15 degC; that mean is of the rates themselves.
    celsius = 15.0 + 10.0 * np.sin(2.0 * math.pi * np.arange(8760) / 8760)
    swinging = worn_by("oxide", Rests(HOUR, np.full(8760, 0.5), celsius), [])
    still = worn_by("oxide", year(0.5, 15.0), [])
    rates = [float(schmalstieg_calendar(rest_voltage_v(0.5), t)[0]) for t in celsius.tolist()]
    assert np.mean(rates) / rates[0] == pytest.approx(1.166315, abs=5e-7)
    assert swinging.loss / still.loss == pytest.approx(mean_rate(rates, 0.75) / rates[0], rel=1e-9)
    assert swinging.loss > 1.15 * still.loss


def test_cold_hours_count_as_the_coolest_and_are_told():
    cold, edge = (worn_by("oxide", year(0.5, celsius), []) for celsius in (-8.0, 0.0))
    assert cold.loss == edge.loss
    assert (cold.below_range_h, edge.below_range_h) == (pytest.approx(8760.0), 0.0)
    assert worn_by("oxide", year(0.5, 34.9), []).below_measured_h == pytest.approx(8760.0)
    assert worn_by("oxide", year(0.5, 35.0), []).below_measured_h == 0.0
    # What is counted is no less than the truth: Naumann's rate falls on below 10 degC.
    assert naumann_calendar(0.5, 10.0)[0] < naumann_calendar(0.5, 11.0)[0]
    assert worn_by("phosphate", year(0.5, -5.0), []).loss == worn_by("phosphate", year(0.5, 10.0), []).loss


@pytest.mark.parametrize(
    ("kind", "celsius", "rate", "told"),
    [
        ("oxide", 50.1, 0.4, "temperature_c = 50.1"), ("phosphate", 60.1, 0.4, "temperature_c = 60.1"),
        ("phosphate", 20.0, 1.01, "c_rate = 1.01"),
    ],
)  # fmt: skip
def test_beyond_a_law_there_is_no_figure(kind, celsius, rate, told):
    with pytest.raises(NoLaw, match=told):
        worn_by(kind, year(0.5, celsius, 1.0), [Cycle(1.0, 0.5, 1.0, rate, 20.0)])
    inside = {"oxide": 50.0, "phosphate": 60.0}[kind]
    assert worn_by(kind, year(0.5, inside, 1.0), [Cycle(1.0, 0.5, 1.0, 1.0, 20.0)]).loss > 0.0


def test_slow_cycles_of_iron_phosphate_count_as_the_slowest_measured():
    slow, edge = (worn_by("phosphate", year(0.5, 20.0, 1.0), [Cycle(1.0, 0.5, 1.0, r, 20.0)]) for r in (0.02, 0.1))
    assert slow.cycle_loss == edge.cycle_loss
    assert (slow.slow_cycles, edge.slow_cycles) == (1.0, 0.0)


def test_kinds_and_the_end_of_the_fit():
    assert (kind_of(4.2), kind_of(3.65)) == ("oxide", "phosphate")
    with pytest.raises(NoLaw, match=r"full at 2\.8 V"):
        kind_of(2.8)
    refuse_beyond(Wear("oxide", cycles=0.2999**2))
    with pytest.raises(NoLaw, match="worn out"):
        refuse_beyond(Wear("oxide", cycles=0.3001**2))
