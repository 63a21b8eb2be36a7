"""Draws, percentiles and indices against closed forms and the worked examples of the GUM."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from ridesim.bike.tolerance import Together
from ridesim.schema.tolerance import Tolerance, parse_tolerance
from ridesim.sure.draws import cube, mapped
from ridesim.sure.indices import exchanged, indices, shares
from ridesim.sure.spread import chance_of, percentile, scores_of
from ridesim.sure.uncertain import Doubts, Uncertain

COUNT = 4096


def numbers(*pairs: tuple[float, Tolerance], together: tuple[Together, ...] = ()) -> Doubts:
    """Uncertain numbers a, b, c ... without bounds."""
    made = tuple(
        Uncertain(name, value, tolerance, -math.inf, math.inf, "stated")
        for name, (value, tolerance) in zip("abcdef", pairs, strict=False)
    )
    return Doubts(made, together)


def of_function(function, lows, highs, count=COUNT, seed=5):
    """Indices of a function of uniform numbers, by the room's own draws."""
    width = len(lows)
    points = lows + cube(count, 2 * width, seed).reshape(count, 2, width) * (highs - lows)
    a, b = points[:, 0], points[:, 1]
    mixed = exchanged(a, b, [[at] for at in range(width)])
    return indices(function(a)[None], function(b)[None], np.array([function(m)[None] for m in mixed]))


def ishigami(x, a=7.0, b=0.1):
    return np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])


@pytest.mark.parametrize(
    ("b", "first", "total"),
    [
        (0.1, [0.31390519, 0.44241114, 0.0], [0.55758886, 0.44241114, 0.24368366]),
        (0.05, [0.21851856, 0.68689464, 0.0], [0.31310536, 0.68689464, 0.09458679]),
    ],
    ids=["Ishigami and Homma 1990, b 0.1, closed form", "b 0.05, closed form"],
)
def test_ishigami(b, first, total):
    ends = np.full(3, np.pi)
    found = of_function(lambda x: ishigami(x, b=b), -ends, ends)
    assert found.first_order[0] == pytest.approx(first, abs=0.02)
    assert found.total[0] == pytest.approx(total, abs=0.02)
    assert (found.total_low[0] <= np.array(total) + 0.02).all()


def test_linear_model_closed_form():
    """y = a + 2 b + 3 c of standard normals: indices 1/14, 4/14, 9/14."""
    expected = np.array([1.0, 4.0, 9.0]) / 14.0
    scores = scores_of(cube(512, 3, 2))
    answer = scores @ np.array([1.0, 2.0, 3.0])
    assert shares(scores, answer) == pytest.approx(expected, abs=0.01)


def test_product_of_normals_closed_form():
    """(1 +- 0.3)(2 +- 0.4): variance 0.5344, first order 0.67365 and 0.29940; the rest is the interaction."""
    scores = scores_of(cube(COUNT, 2, 2))
    answer = (1.0 + 0.3 * scores[:, 0]) * (2.0 + 0.4 * scores[:, 1])
    assert answer.var() == pytest.approx(0.5344, rel=0.01)
    assert shares(scores, answer) == pytest.approx([0.67365, 0.29940], abs=0.01)


def test_shares_see_a_parabola_and_no_ghosts():
    """y = z1 + z2 squared: 1/3 and 2/3; twenty idle numbers carry nothing."""
    scores = scores_of(cube(512, 22, 4))
    found = shares(scores, scores[:, 0] + scores[:, 1] ** 2)
    assert found[:2] == pytest.approx([1.0 / 3.0, 2.0 / 3.0], abs=0.05)
    assert found[2:].sum() < 0.02
    idle = np.random.default_rng(3).normal(size=512)
    assert shares(scores, idle).sum() < 0.1


def test_an_answer_that_nothing_moves_has_no_indices():
    found = indices(np.ones((1, 64)), np.ones((1, 64)), np.ones((3, 1, 64)))
    assert not found.first_order.any()
    assert not found.total.any()
    assert not shares(scores_of(cube(64, 3, 1)), np.ones(64)).any()


V = [5.007, 4.994, 5.005, 4.990, 4.999]
I_MA = [19.663, 19.639, 19.640, 19.685, 19.678]
PHASE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def test_gum_h2_correlated_readings():
    """JCGM 100:2008, H.2: resistance, reactance and impedance from five simultaneous readings, correlated."""
    readings = np.array([V, np.array(I_MA) * 1e-3, PHASE])
    covariance = np.cov(readings) / 5.0
    group = Together(("a", "b", "c"), tuple(tuple(row) for row in covariance.tolist()))
    means = readings.mean(axis=1)
    doubts = numbers(*((float(mean), parse_tolerance("exact")) for mean in means), together=(group,))
    drawn = mapped(cube(2**14, 3, 1), doubts)
    volts, amps, phase = drawn.T
    answers = np.array([volts / amps * np.cos(phase), volts / amps * np.sin(phase), volts / amps])
    assert answers.mean(axis=1) == pytest.approx([127.732, 219.847, 254.260], abs=2e-3)
    assert answers.std(axis=1) == pytest.approx([0.07107, 0.29558, 0.23634], rel=0.01)
    r = np.corrcoef(answers)
    assert (r[0, 1], r[0, 2], r[1, 2]) == pytest.approx((-0.58843, -0.48526, 0.99251), abs=0.01)


def interval(values, share):
    ordered = np.sort(values)
    return tuple(percentile(ordered, end).value for end in (0.5 - share / 2.0, 0.5 + share / 2.0))


def test_gum_supplement_additive_model_of_four_rectangular_numbers():
    """JCGM 101:2008, 9.2.3: four rectangular inputs, u = 1 each: 95 % within 3.88, where the Gaussian says 3.92."""
    flat = parse_tolerance(f"within {math.sqrt(3.0)!r}")
    total = mapped(cube(2**16, 4, 1), numbers(*[(0.0, flat)] * 4)).sum(axis=1)
    assert interval(total, 0.95) == pytest.approx((-3.879407, 3.879407), abs=0.02)
    assert total.std() == pytest.approx(2.0, rel=1e-3)


def test_gum_supplement_one_dominating_rectangular_number():
    """JCGM 101:2008, 9.2.4: one of them with u = 10: 95 % within 17.0."""
    flat, wide = (parse_tolerance(f"within {u * math.sqrt(3.0)!r}") for u in (1.0, 10.0))
    total = mapped(cube(2**16, 4, 1), numbers((0.0, flat), (0.0, flat), (0.0, flat), (0.0, wide))).sum(axis=1)
    assert interval(total, 0.95) == pytest.approx((-17.0158, 17.0158), abs=0.03)


def test_gum_supplement_mass_calibration():
    """JCGM 101:2008, 9.3: a weight in air; u 0.0754 mg, where the first order says 0.0539."""
    doubts = numbers(
        (100_000.0, parse_tolerance(0.05)), (1.234, parse_tolerance(0.02)), (1.2, parse_tolerance("within 0.1")),
        (8000.0, parse_tolerance("within 1000")), (8000.0, parse_tolerance("within 50")),
    )  # fmt: skip
    reference, small, air, weight, made = mapped(cube(2**16, 5, 1), doubts).T
    mass = (reference + small) * (1.0 + (air - 1.2) * (1.0 / weight - 1.0 / made)) - 1e5
    assert mass.std() == pytest.approx(0.0754793, rel=0.01)
    assert interval(mass, 0.95) == pytest.approx((1.0844342, 1.3835658), abs=3e-3)


def test_draws_together_have_the_covariance():
    covariance = ((4.0, -1.8), (-1.8, 1.0))
    doubts = numbers((1.0, parse_tolerance("exact")), (2.0, parse_tolerance("exact")),
                     together=(Together(("a", "b"), covariance),))  # fmt: skip
    drawn = mapped(cube(2**14, 2, 1), doubts)
    assert np.cov(drawn.T) == pytest.approx(np.array(covariance), rel=0.01)
    assert drawn.mean(axis=0) == pytest.approx([1.0, 2.0], abs=0.01)


def test_a_singular_covariance_is_drawn_too():
    doubts = numbers((0.0, parse_tolerance("exact")), (0.0, parse_tolerance("exact")),
                     together=(Together(("a", "b"), ((1.0, 2.0), (2.0, 4.0))),))  # fmt: skip
    drawn = mapped(cube(256, 2, 1), doubts)
    assert drawn[:, 1] == pytest.approx(2.0 * drawn[:, 0], abs=1e-6)


def test_a_bearing_goes_round():
    north = Uncertain("weather.wind_from_deg", 5.0, Tolerance("around", 20.0), 0.0, 360.0, "default")
    drawn = mapped(cube(1024, 1, 1), Doubts((north,)))[:, 0]
    assert ((drawn >= 0.0) & (drawn < 360.0)).all()
    assert 0.3 < (drawn > 180.0).mean() < 0.5
    turned = np.angle(np.exp(1j * np.radians(drawn)).mean(), deg=True)
    assert turned == pytest.approx(5.0, abs=1.0)


def test_sampling_error_of_a_mean_falls_faster_than_chance():
    """200 seeds: four times the draws halve the error of plain chance; Sobol points do better."""

    def error(count):
        means = [ishigami(-np.pi + 2.0 * np.pi * cube(count, 3, seed)).mean() for seed in range(200)]
        return float(np.std(means))

    plain = math.sqrt(13.84458794)
    small, large = error(64), error(256)
    assert small <= 1.1 * plain / math.sqrt(64)
    assert large <= 0.55 * small


@pytest.mark.parametrize("sobol", [False, True])
def test_the_shown_error_of_a_percentile_holds_the_truth(sobol):
    """200 repeats: a 95 % interval fails at most in 10 + 3 sqrt(9.5) of them, for independent and for Sobol draws."""
    missed = {0.1: 0, 0.9: 0}
    for seed in range(200):
        values = scores_of(cube(256, 2, seed)) if sobol else np.random.default_rng(seed).normal(size=(256, 2))
        ordered = np.sort(values.sum(axis=1))
        for share in missed:
            true = stats.norm.ppf(share) * math.sqrt(2.0)
            found = percentile(ordered, share)
            missed[share] += not found.low <= true <= found.high
    assert max(missed.values()) <= 19
    assert sobol or min(missed.values()) >= 1  # an interval that never fails would be too wide


@pytest.mark.parametrize(
    ("passed", "count", "low", "high"),
    [(950, 1000, 0.934610, 0.962665), (90, 100, 0.823777, 0.950995), (0, 20, 0.0, 0.168433)],
    ids=lambda value: str(value),
)
def test_chances_have_clopper_pearson_intervals(passed, count, low, high):
    found = chance_of("winding", passed, count)
    assert found.interval == pytest.approx((low, high), abs=1e-6)
    assert found.standard_error == pytest.approx(math.sqrt(found.chance * (1.0 - found.chance) / count))
