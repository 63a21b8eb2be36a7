"""Published laws of ageing: Schmalstieg 2014, Naumann 2018 and 2020, Wang 2011, and the rule of equivalent time."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridesim.errors import RidesimError
from ridesim.evidence.store import sheet, table
from ridesim.units import to_si
from ridesim.workshop.pack import ageing

from .rows import near, rows_of

YEAR_D, YEAR_S = 365.0, 365.0 * 86400.0


@rows_of("ageing.rest")
def test_schmalstieg_at_rest(row: Any) -> None:
    volts = ageing.rest_voltage_v(row.charge_percent / 100.0)
    capacity, resistance = ageing.schmalstieg_calendar(volts, row.temperature_c)
    assert capacity == pytest.approx(row.alpha, rel=2e-7)
    assert 100.0 * capacity * YEAR_D**0.75 == near(row.loss_percent)
    assert 100.0 * resistance * YEAR_D**0.75 == near(row.growth_percent)


@rows_of("ageing.cycles")
def test_schmalstieg_in_cycles(row: Any) -> None:
    capacity, resistance = ageing.schmalstieg_cycles(row.voltage_v, row.depth)
    assert capacity == pytest.approx(row.beta, rel=2e-7)
    assert 100.0 * capacity * math.sqrt(2000.0) == near(row.loss_percent)
    assert 100.0 * resistance * 2000.0 == near(row.growth_percent)


@pytest.mark.parametrize("source", ["Schmalstieg-2014-floor"])
def test_resistance_has_a_floor_in_shallow_cycles(source: str) -> None:
    assert ageing.schmalstieg_cycles(3.725, 0.0)[1] == 1.5e-5
    assert ageing.schmalstieg_cycles(3.725, 0.2)[1] == pytest.approx(-1.521e-5 + 0.2 * 2.798e-4)


def test_a_commuters_year_schmalstieg_2014() -> None:
    """230 days of half a charge out and back in, at rest at 15 degC (carried on)."""
    said = sheet("ageing.commuter")
    throughput = 230.0 * 2.0 * said.depth * ageing.SCHMALSTIEG_CELL_AH
    assert throughput == pytest.approx(said.throughput_ah)
    by_cycles, resistance = ageing.schmalstieg_cycles(said.voltage_v, said.depth)
    by_rest, resistance_by_rest = ageing.schmalstieg_calendar(said.rest_v, said.rest_c)
    assert 100.0 * by_cycles * math.sqrt(throughput) == near(said.cycles_percent)
    assert 100.0 * by_rest * YEAR_D**0.75 == near(said.rest_percent)
    growth = resistance * throughput + resistance_by_rest * YEAR_D**0.75
    assert 100.0 * growth == near(said.growth_percent)


def test_a_change_of_condition_goes_on_from_the_equivalent_time() -> None:
    said = sheet("ageing.warmer_later")
    first, second = (ageing.schmalstieg_calendar(3.7, temperature)[0] for temperature in (25.0, 35.0))
    loss = ageing.grown(0.0, first, YEAR_D, 0.75)
    assert 100.0 * loss == near(said.first_percent)
    assert (loss / second) ** (1.0 / 0.75) == near(said.equivalent_days)
    assert 100.0 * ageing.grown(loss, second, YEAR_D, 0.75) == near(said.both_percent)
    # The slip: each law from new, added.
    assert 100.0 * (loss + ageing.grown(0.0, second, YEAR_D, 0.75)) == pytest.approx(said.wrong_percent, abs=1e-3)


def test_two_years_in_one_go_are_one_and_one() -> None:
    said = sheet("ageing.two_years")
    rate = ageing.naumann_calendar(0.5, 25.0)[0]
    one = ageing.grown(0.0, rate, YEAR_S, 0.5)
    both = ageing.grown(one, rate, YEAR_S, 0.5)
    assert 100.0 * both == near(said.loss_percent)
    assert abs(100.0 * both - said.wrong_percent) > 1.0
    assert both == pytest.approx(ageing.grown(0.0, rate, 2.0 * YEAR_S, 0.5), rel=1e-12)


@given(st.floats(1e-6, 1e-2), st.floats(1.0, 5000.0), st.integers(1, 40), st.sampled_from([0.5, 0.55, 0.75, 1.0]))
def test_a_constant_condition_in_any_number_of_turns(rate: float, amount: float, turns: int, power: float) -> None:
    loss = 0.0
    for _ in range(turns):
        loss = ageing.grown(loss, rate, amount / turns, power)
    assert loss == pytest.approx(rate * amount**power, rel=1e-10)


def test_activation_schmalstieg_2014() -> None:
    said, gas = sheet("ageing.activation"), 8.314462618
    assert said.capacity_k * gas == pytest.approx(said.capacity_j_per_mol, abs=0.5)
    assert said.resistance_k * gas == pytest.approx(said.resistance_j_per_mol, abs=0.5)
    hot, cold = (ageing.schmalstieg_calendar(3.7, temperature)[1] for temperature in (35.0, 25.0))
    apart = 1.0 / 298.15 - 1.0 / 308.15
    assert hot / cold == pytest.approx(math.exp(said.resistance_j_per_mol / gas * apart), rel=1e-4)
    warm, cool = (ageing.schmalstieg_calendar(3.7, temperature)[0] for temperature in (35.0, 25.0))
    assert warm / cool == near(said.from_25_to_35_c)


@rows_of("ageing.phosphate_rest")
def test_naumann_at_rest(row: Any) -> None:
    capacity, resistance = ageing.naumann_calendar(row.charge_fraction, row.temperature_c)
    assert 100.0 * capacity * math.sqrt(YEAR_S) == near(row.loss_percent)
    assert 100.0 * resistance * YEAR_S == near(row.growth_percent)


@rows_of("ageing.phosphate_cycles")
def test_naumann_in_cycles(row: Any) -> None:
    assert 100.0 * ageing.naumann_cycles(row.c_rate, row.depth) * math.sqrt(row.turns) == near(row.loss_percent)


@rows_of("ageing.throughput")
def test_wang(row: Any) -> None:
    for temperature, loss in zip((25.0, 45.0, 60.0), row[1:], strict=True):
        assert 100.0 * ageing.wang_cycles(row.c_rate, temperature, 2000.0) == near(loss)


def test_wang_2011_to_the_end_of_life() -> None:
    said = sheet("ageing.end_of_life")
    assert 100.0 * ageing.wang_cycles(0.5, 25.0, said.throughput_ah) == near(said.loss_percent)


@pytest.mark.parametrize("source", ["mean-of-the-Arrhenius-term-over-15-plus-minus-10-degC"])
def test_the_mean_temperature_ages_too_little(source: str) -> None:
    said = sheet("ageing.seasons")
    mean = to_si(said.mean_c, "c")
    phases = (np.arange(20000) + 0.5) * 2.0 * math.pi / 20000
    kelvin = mean + said.swing_k * np.sin(phases)
    activation = sheet("ageing.activation").capacity_k
    rates = np.exp(-activation / kelvin) / math.exp(-activation / mean)
    assert ageing.mean_rate(rates.tolist(), 1.0) == near(said.over_the_mean)
    # By the law's own power the hot turns count a little more, and turns in order agree with the mean.
    few = rates[::500].tolist()
    loss = 0.0
    for rate in few:
        loss = ageing.grown(loss, rate, 1.0, 0.75)
    assert loss == pytest.approx(ageing.mean_rate(few, 0.75) * len(few) ** 0.75, rel=1e-12)


@pytest.mark.parametrize(
    "pair",
    [
        # Keil et al. 2016, J. Electrochem. Soc. 163:A1872 (abstract): storage fade has plateaus, so not less.
        pytest.param((0.9, 0.5), id="Keil-2016-fuller-rests-worse"),
        pytest.param((0.5, 0.1), id="Keil-2016-emptier-rests-better"),
    ],
)
def test_fuller_cells_age_no_less(pair: tuple[float, float]) -> None:
    for law in (lambda s: ageing.schmalstieg_calendar(ageing.rest_voltage_v(s), 25.0)[0],
                lambda s: ageing.naumann_calendar(s, 25.0)[0]):  # fmt: skip
        assert law(pair[0]) >= law(pair[1])


@given(st.floats(0.0, 1.0), st.floats(0.0, 100.0), st.floats(0.0, 1.0), st.floats(0.0, 0.6), st.floats(10.0, 34.0))
def test_age_only_grows(years: float, cycles: float, depth: float, rest: float, temperature: float) -> None:
    for law in (ageing.age_oxide, ageing.age_phosphate):
        now = law(3.0, years, cycles, depth, rest, temperature)
        later = law(3.0, years + 1.0, cycles, depth, rest, temperature)
        more = law(3.0, years, cycles + 50.0, depth, rest, temperature)
        hotter = law(3.0, years + 1.0, cycles, depth, rest, temperature + 1.0)
        assert later.calendar_loss_percent > now.calendar_loss_percent
        assert more.cycle_loss_percent >= now.cycle_loss_percent
        assert hotter.calendar_loss_percent > later.calendar_loss_percent


def test_past_the_fitted_loss_there_is_no_figure() -> None:
    """Full and at 50 degC, rest alone takes 26.89720 % in 365 days, so 30 % in 422.2 days or 1.156 years."""
    assert ageing.age_oxide(3.0, 1.153, 0.0, 0.0, 1.0, 50.0).loss_percent == pytest.approx(29.94, abs=0.02)
    with pytest.raises(RidesimError, match="more than 30%"):
        ageing.age_oxide(3.0, 1.16, 0.0, 0.0, 1.0, 50.0)


def test_an_age_by_hand() -> None:
    aged = ageing.age_oxide(3.0, 1.0, 300.0, 0.5, 0.5, 25.0)
    assert aged.calendar_loss_percent == pytest.approx(
        100.0 * table("ageing.rest").rows[0].alpha * 365.25**0.75, rel=1e-6
    )
    # From full to half: 4.162, 4.073, 3.965, 3.869, 3.775, 3.697 V; the quadratic mean by Simpson's rule on each tenth.
    volts = (4.162, 4.073, 3.965, 3.869, 3.775, 3.697)
    square = sum((a * a + a * b + b * b) / 3.0 for a, b in pairwise(volts)) / 5.0
    beta = 7.348e-3 * (math.sqrt(square) - table("ageing.cycles").rows[0].voltage_v) ** 2 + 7.6e-4 + 4.081e-3 * 0.5
    assert aged.cycle_loss_percent == pytest.approx(100.0 * beta * math.sqrt(300.0 * 2.15), rel=1e-4)
    gentle = ageing.age_oxide(3.0, 1.0, 300.0, 0.5, 0.5, 25.0, top_charge_fraction=0.8)
    assert gentle.cycle_loss_percent < aged.cycle_loss_percent
    year = table("ageing.phosphate_rest").rows[0].loss_percent
    phosphate = ageing.age_phosphate(3.0, 1.0, 1000.0, 1.0, 0.5, 25.0, c_rate=1.0)
    assert phosphate.cycle_loss_percent == near(table("ageing.phosphate_cycles").rows[0].loss_percent)
    assert phosphate.calendar_loss_percent == pytest.approx(year * math.sqrt(365.25 / 365.0), abs=1e-5)
    wang = 100.0 * ageing.wang_cycles(0.5, 25.0, 2200.0)
    assert phosphate.second_opinion_percent == pytest.approx(phosphate.calendar_loss_percent + wang)
    assert (phosphate.resistance_growth_percent, aged.second_opinion_percent) == (None, None)


@pytest.mark.parametrize(
    ("temperature", "words"),
    [(34.9, "rest at 34.9 °C is carried on from 35 °C and up"), (35.0, ""), (50.0, "")],
)
def test_what_is_carried_on_is_said(temperature: float, words: str) -> None:
    assert ageing.age_oxide(3.0, 1.0, 10.0, 0.5, 0.5, temperature).carried_on == words


@pytest.mark.parametrize(("cycles", "verdict"), [(1110.0, "fine"), (1115.0, "look again")])
def test_verdicts_on_a_loss(cycles: float, verdict: str) -> None:
    # A fifth lost is called worn out: the estimate passes it between the two, its doubt is told beside it.
    aged = ageing.age_oxide(3.0, 0.5, cycles, 0.6)
    assert (aged.verdict, aged.loss_percent <= 20.0) == (verdict, verdict == "fine"), aged.reason
    new = ageing.age_oxide(3.0, 0.0, 0.0, 0.6)
    assert (new.loss_percent, new.verdict) == (0.0, "fine")


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: ageing.age_oxide(3.0, 1.0, 5000.0, 0.9), "more than 30% lost, which is worn out"),
        (lambda: ageing.age_oxide(3.0, 1.0, 10.0, 1.5), "depth_fraction = 1.5"),
        (lambda: ageing.age_oxide(3.0, 1.0, 10.0, 0.5, 0.5, -0.1), r"temperature_c = -0.1 \(0 to 50\)"),
        (lambda: ageing.age_oxide(3.0, 1.0, 10.0, 0.5, 0.5, 50.1), r"temperature_c = 50.1 \(0 to 50\)"),
        (lambda: ageing.age_oxide(3.0, 1.0, 10.0, 0.5, 0.5, math.nan), "temperature_c = nan"),
        (lambda: ageing.age_oxide(3.0, 1.0, 10.0, 0.5, 1.1), "rest_charge_fraction = 1.1"),
        (lambda: ageing.age_oxide(3.0, 1.0, 10.0, 0.9, top_charge_fraction=0.8), "0 to the top charge, 0.8"),
        (lambda: ageing.age_oxide(3.0, -1.0, 10.0, 0.9), r"years: must be .*got -1"),
        (lambda: ageing.age_phosphate(3.0, 1.0, 10.0, 0.5, 0.5, 9.9), r"temperature_c = 9.9 \(10 to 60\)"),
        (lambda: ageing.naumann_cycles(1.1, 0.5), r"c_rate = 1.1 \(0.1 to 1\)"),
        (lambda: ageing.wang_cycles(1.0, 25.0, 100.0), r"c_rate = 1 \(0.5, 2, 6, 10\)"),
        (lambda: ageing.grown(0.1, 0.0, 1.0, 0.5), r"rate: must be .*got 0"),
        (lambda: ageing.mean_rate([], 0.5), "no rates"),
    ],
)
def test_outside_a_law_there_is_no_figure(call: object, says: str) -> None:
    assert callable(call)
    with pytest.raises(RidesimError, match=says) as caught:
        call()
    assert str(caught.value).count("\n") == 0
