"""Published laws of ageing: Schmalstieg 2014, Naumann 2018 and 2020, Wang 2011, and the rule of equivalent time."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridesim.errors import RidesimError
from ridesim.workshop.pack import ageing

YEAR_D, YEAR_S = 365.0, 365.0 * 86400.0

# Charge in per cent, degC; alpha_cap per day^0.75; loss and growth of resistance after 365 days in per cent.
REST = [
    (50, 25.0, 2.852156e-4, 2.38173, 5.04026),
    (100, 25.0, 5.270625e-4, 4.40131, 8.94499),
    (50, 35.0, 6.094389e-4, 5.08920, 9.66968),
    (50, 50.0, 1.743005e-3, 14.55521, 23.82402),
    (100, 50.0, 3.220976e-3, 26.89720, 42.28069),
    (0, 25.0, 9.485877e-5, 0.79213, 1.96686),
]


@pytest.mark.parametrize(
    ("charge", "temperature", "alpha", "loss", "growth"), REST, ids=lambda v: f"Schmalstieg-2014-rest-{v}"
)
def test_schmalstieg_at_rest(charge: int, temperature: float, alpha: float, loss: float, growth: float) -> None:
    """Constants as four independent public texts quote Schmalstieg et al. 2014, J. Power Sources 257:325."""
    capacity, resistance = ageing.schmalstieg_calendar(ageing.rest_voltage_v(charge / 100.0), temperature)
    assert capacity == pytest.approx(alpha, rel=2e-7)
    assert 100.0 * capacity * YEAR_D**0.75 == pytest.approx(loss, abs=5e-6)
    assert 100.0 * resistance * YEAR_D**0.75 == pytest.approx(growth, abs=5e-6)


CYCLES = [
    (3.667, 0.5, 2.8005e-3, 12.52422, 25.08285),
    (3.7, 0.8, 4.032802e-3, 18.03524, 41.75291),
    (3.7, 1.0, 4.849002e-3, 21.68540, 52.94491),
]


@pytest.mark.parametrize(
    ("voltage", "depth", "beta", "loss", "growth"), CYCLES, ids=lambda v: f"Schmalstieg-2014-cycles-{v}"
)
def test_schmalstieg_in_cycles(voltage: float, depth: float, beta: float, loss: float, growth: float) -> None:
    capacity, resistance = ageing.schmalstieg_cycles(voltage, depth)
    assert capacity == pytest.approx(beta, rel=2e-7)
    assert 100.0 * capacity * math.sqrt(2000.0) == pytest.approx(loss, abs=5e-6)
    assert 100.0 * resistance * 2000.0 == pytest.approx(growth, abs=5e-6)


@pytest.mark.parametrize("source", ["Schmalstieg-2014-floor"])
def test_resistance_has_a_floor_in_shallow_cycles(source: str) -> None:
    assert ageing.schmalstieg_cycles(3.725, 0.0)[1] == 1.5e-5
    assert ageing.schmalstieg_cycles(3.725, 0.2)[1] == pytest.approx(-1.521e-5 + 0.2 * 2.798e-4)


@pytest.mark.parametrize("source", ["Schmalstieg-2014-a-commuters-year"])
def test_a_commuters_year(source: str) -> None:
    """230 days of half a charge out and back in about 3.78 V, at rest at 3.95 V and 15 degC (carried on)."""
    throughput = 230.0 * 2.0 * 0.5 * ageing.SCHMALSTIEG_CELL_AH
    assert throughput == pytest.approx(494.5)
    by_cycles, resistance = ageing.schmalstieg_cycles(3.78, 0.5)
    by_rest, resistance_by_rest = ageing.schmalstieg_calendar(3.95, 15.0)
    assert 100.0 * by_cycles * math.sqrt(throughput) == pytest.approx(6.43622, abs=5e-6)
    assert 100.0 * by_rest * YEAR_D**0.75 == pytest.approx(1.54527, abs=5e-6)
    growth = resistance * throughput + resistance_by_rest * YEAR_D**0.75
    assert 100.0 * growth == pytest.approx(9.76759, abs=5e-6)


@pytest.mark.parametrize("source", ["equivalent-time-Schmalstieg-25-then-35-degC"])
def test_a_change_of_condition_goes_on_from_the_equivalent_time(source: str) -> None:
    first, second = (ageing.schmalstieg_calendar(3.7, temperature)[0] for temperature in (25.0, 35.0))
    loss = ageing.grown(0.0, first, YEAR_D, 0.75)
    assert 100.0 * loss == pytest.approx(2.39476, abs=5e-6)
    assert (loss / second) ** (1.0 / 0.75) == pytest.approx(132.62246, abs=5e-6)
    assert 100.0 * ageing.grown(loss, second, YEAR_D, 0.75) == pytest.approx(6.45616, abs=5e-6)
    # The slip: each law from new, added, gives 7.512 %.
    assert 100.0 * (loss + ageing.grown(0.0, second, YEAR_D, 0.75)) == pytest.approx(7.512, abs=1e-3)


@pytest.mark.parametrize("source", ["equivalent-time-Naumann-two-years"])
def test_two_years_in_one_go_are_one_and_one(source: str) -> None:
    rate = ageing.naumann_calendar(0.5, 25.0)[0]
    one = ageing.grown(0.0, rate, YEAR_S, 0.5)
    both = ageing.grown(one, rate, YEAR_S, 0.5)
    # 6.013 %; the slip t_eq = q / k^2 gives 4.685 %.
    assert 100.0 * both == pytest.approx(6.013, abs=5e-4)
    assert both == pytest.approx(ageing.grown(0.0, rate, 2.0 * YEAR_S, 0.5), rel=1e-12)


@given(st.floats(1e-6, 1e-2), st.floats(1.0, 5000.0), st.integers(1, 40), st.sampled_from([0.5, 0.55, 0.75, 1.0]))
def test_a_constant_condition_in_any_number_of_turns(rate: float, amount: float, turns: int, power: float) -> None:
    loss = 0.0
    for _ in range(turns):
        loss = ageing.grown(loss, rate, amount / turns, power)
    assert loss == pytest.approx(rate * amount**power, rel=1e-10)


@pytest.mark.parametrize("source", ["activation-energies-Schmalstieg-2014"])
def test_activation(source: str) -> None:
    for kelvin, joule in ((6976.0, 58001.69), (5986.0, 49770.37)):
        assert kelvin * 8.314462618 == pytest.approx(joule, abs=0.5)
    hot, cold = (ageing.schmalstieg_calendar(3.7, temperature)[1] for temperature in (35.0, 25.0))
    assert hot / cold == pytest.approx(math.exp(49770.37 / 8.314462618 * (1.0 / 298.15 - 1.0 / 308.15)), rel=1e-4)
    warm, cool = (ageing.schmalstieg_calendar(3.7, temperature)[0] for temperature in (35.0, 25.0))
    assert warm / cool == pytest.approx(2.13677, abs=5e-6)


NAUMANN_REST = [
    (0.5, 25.0, 4.25158, 1.68245),
    (1.0, 25.0, 6.77314, 2.59632),
    (0.0, 25.0, 1.73002, 2.59632),
    (0.5, 40.0, 5.91925, 6.74055),
    (1.0, 40.0, 9.42989, 10.40187),
    (1.0, 60.0, 13.99581, 54.49431),
    (0.5, 10.0, 2.94853, 0.36251),
]


@pytest.mark.parametrize(
    ("charge", "temperature", "loss", "growth"), NAUMANN_REST, ids=lambda v: f"Naumann-2018-rest-{v}"
)
def test_naumann_at_rest(charge: float, temperature: float, loss: float, growth: float) -> None:
    """Naumann et al. 2018, J. Energy Storage 17:153, iron phosphate of 3 Ah, as two public texts quote it; a year."""
    capacity, resistance = ageing.naumann_calendar(charge, temperature)
    assert 100.0 * capacity * math.sqrt(YEAR_S) == pytest.approx(loss, abs=5e-6)
    assert 100.0 * resistance * YEAR_S == pytest.approx(growth, abs=5e-6)


NAUMANN_CYCLES = [
    (1.0, 1.0, 1000.0, 6.83438),
    (0.8, 1.0, 1000.0, 5.69314),
    (0.6, 0.5, 1000.0, 4.44204),
    (0.2, 1.0, 1000.0, 4.22583),
    (1.0, 0.5, 4000.0, 10.97940),
]


@pytest.mark.parametrize(("depth", "c_rate", "turns", "loss"), NAUMANN_CYCLES, ids=lambda v: f"Naumann-2020-cycles-{v}")
def test_naumann_in_cycles(depth: float, c_rate: float, turns: float, loss: float) -> None:
    """Naumann et al. 2020, J. Power Sources 451:227666, full equivalent cycles."""
    assert 100.0 * ageing.naumann_cycles(c_rate, depth) * math.sqrt(turns) == pytest.approx(loss, abs=5e-6)


WANG = [
    (0.5, (6.2258, 13.8450, 23.6739)),
    (2.0, (5.3394, 11.7077, 19.8309)),
    (6.0, (5.7897, 12.2271, 20.1949)),
    (10.0, (12.6212, 25.6716, 41.3449)),
]


@pytest.mark.parametrize(("c_rate", "losses"), WANG, ids=lambda v: f"Wang-2011-{v}")
def test_wang(c_rate: float, losses: tuple[float, float, float]) -> None:
    """Wang et al. 2011, J. Power Sources 196:3942; exponents read, B of C/2, 6C and 10C from memory; 2000 Ah."""
    for temperature, loss in zip((25.0, 45.0, 60.0), losses, strict=True):
        assert 100.0 * ageing.wang_cycles(c_rate, temperature, 2000.0) == pytest.approx(loss, abs=5e-5)


@pytest.mark.parametrize("source", ["Wang-2011-to-20-percent"])
def test_wang_to_the_end_of_life(source: str) -> None:
    assert 100.0 * ageing.wang_cycles(0.5, 25.0, 16693.5) == pytest.approx(20.0, abs=5e-5)


@pytest.mark.parametrize("source", ["mean-of-the-Arrhenius-term-over-15-plus-minus-10-degC"])
def test_the_mean_temperature_ages_too_little(source: str) -> None:
    phases = (np.arange(20000) + 0.5) * 2.0 * math.pi / 20000
    kelvin = 288.15 + 10.0 * np.sin(phases)
    rates = np.exp(-6976.0 / kelvin) / math.exp(-6976.0 / 288.15)
    assert ageing.mean_rate(rates.tolist(), 1.0) == pytest.approx(1.166315, abs=5e-7)
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


@given(st.floats(0.0, 8.0), st.floats(0.0, 800.0), st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(10.0, 49.0))
def test_age_only_grows(years: float, cycles: float, depth: float, rest: float, temperature: float) -> None:
    for law in (ageing.age_oxide, ageing.age_phosphate):
        now = law(3.0, years, cycles, depth, rest, temperature)
        later = law(3.0, years + 1.0, cycles, depth, rest, temperature)
        more = law(3.0, years, cycles + 50.0, depth, rest, temperature)
        hotter = law(3.0, years + 1.0, cycles, depth, rest, temperature + 1.0)
        assert later.calendar_loss_percent > now.calendar_loss_percent
        assert more.cycle_loss_percent >= now.cycle_loss_percent
        assert hotter.calendar_loss_percent > later.calendar_loss_percent


def test_an_age_by_hand() -> None:
    aged = ageing.age_oxide(3.0, 1.0, 300.0, 0.5, 0.5, 25.0)
    assert aged.calendar_loss_percent == pytest.approx(2.852156e-2 * 365.25**0.75, rel=1e-6)
    # From full to half: 4.162, 4.073, 3.965, 3.869, 3.775, 3.697 V; the quadratic mean by Simpson's rule on each tenth.
    volts = (4.162, 4.073, 3.965, 3.869, 3.775, 3.697)
    square = sum((a * a + a * b + b * b) / 3.0 for a, b in pairwise(volts)) / 5.0
    beta = 7.348e-3 * (math.sqrt(square) - 3.667) ** 2 + 7.6e-4 + 4.081e-3 * 0.5
    assert aged.cycle_loss_percent == pytest.approx(100.0 * beta * math.sqrt(300.0 * 2.15), rel=1e-4)
    gentle = ageing.age_oxide(3.0, 1.0, 300.0, 0.5, 0.5, 25.0, top_charge_fraction=0.8)
    assert gentle.cycle_loss_percent < aged.cycle_loss_percent
    phosphate = ageing.age_phosphate(3.0, 1.0, 1000.0, 1.0, 0.5, 25.0, c_rate=1.0)
    assert phosphate.cycle_loss_percent == pytest.approx(6.83438, abs=5e-6)
    assert phosphate.calendar_loss_percent == pytest.approx(4.25158 * math.sqrt(365.25 / 365.0), abs=1e-5)
    wang = 100.0 * ageing.wang_cycles(0.5, 25.0, 2200.0)
    assert phosphate.second_opinion_percent == pytest.approx(phosphate.calendar_loss_percent + wang)
    assert (phosphate.resistance_growth_percent, aged.second_opinion_percent) == (None, None)


@pytest.mark.parametrize(
    ("temperature", "words"),
    [(34.9, "rest at 34.9 °C is carried on from 35 °C and up"), (35.0, ""), (50.0, "")],
)
def test_what_is_carried_on_is_said(temperature: float, words: str) -> None:
    assert ageing.age_oxide(3.0, 1.0, 10.0, 0.5, 0.5, temperature).carried_on == words


@pytest.mark.parametrize(("cycles", "verdict"), [(250.0, "fine"), (255.0, "look again"), (2000.0, "look again")])
def test_verdicts_on_a_loss(cycles: float, verdict: str) -> None:
    # Twice the estimate must stay within 20 %: so it does just before and not just after; past 30 % the law is silent.
    aged = ageing.age_oxide(3.0, 0.5, cycles, 0.6)
    assert (aged.verdict, aged.loss_high_percent <= 20.0) == (verdict, verdict == "fine"), aged.reason
    assert ("says nothing beyond" in aged.reason) == (aged.loss_percent > 30.0)
    new = ageing.age_oxide(3.0, 0.0, 0.0, 0.6)
    assert (new.loss_percent, new.verdict) == (0.0, "fine")


@pytest.mark.parametrize(
    ("call", "says"),
    [
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
