"""Smoothing keeps what is real and quiets what is not."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridesim.road.smooth import (
    climb_and_descent,
    climb_and_descent_with_hysteresis,
    grade_of,
    running_integral,
    sine_of,
    smoothed,
)


@given(
    slope=st.floats(-0.5, 0.5),
    start=st.floats(-100.0, 3000.0),
    count=st.integers(3, 400),
    spacing=st.floats(1.0, 50.0),
    width=st.floats(0.0, 300.0),
)
@settings(max_examples=60, deadline=None)
def test_straight_lines_pass_unchanged(slope: float, start: float, count: int, spacing: float, width: float) -> None:
    line = start + slope * spacing * np.arange(count)
    assert np.allclose(smoothed(line, spacing, width), line, rtol=0.0, atol=1e-7)


def test_a_hill_is_neither_shifted_nor_shrunk_in_area() -> None:
    x = np.arange(0.0, 4000.0, 5.0)
    hill = 30.0 * np.exp(-0.5 * ((x - 1700.0) / 90.0) ** 2)
    after = smoothed(hill, 5.0, 60.0)
    assert after.argmax() == hill.argmax()
    assert np.sum(x * after) / np.sum(after) == pytest.approx(1700.0, abs=1e-6)
    assert after.sum() == pytest.approx(hill.sum(), rel=1e-9)


def test_width_is_the_full_width_at_half_height() -> None:
    impulse = np.zeros(401)
    impulse[200] = 1.0
    after = smoothed(impulse, 1.0, 60.0)
    assert after[230] / after[200] == pytest.approx(0.5, rel=1e-9)


def test_short_ramp_keeps_its_slope() -> None:
    # A Gaussian leaves erf(half length / (sigma sqrt 2)) of the slope in the middle of a ramp.
    x = np.arange(0.0, 1000.0, 1.0)
    ramp = 0.15 * np.clip(x - 450.0, 0.0, 100.0)
    steepest = np.gradient(smoothed(ramp, 1.0, 60.0), 1.0).max()
    sigma = 60.0 / (2.0 * math.sqrt(2.0 * math.log(2.0)))
    assert steepest == pytest.approx(0.15 * math.erf(50.0 / (sigma * math.sqrt(2.0))), rel=1e-3)
    assert steepest > 0.94 * 0.15


def test_noise_is_quieted() -> None:
    noise = np.random.default_rng(2).normal(0.0, 1.0, 4000)
    after = smoothed(noise, 5.0, 60.0)
    expected = math.sqrt(5.0 / (2.0 * math.sqrt(math.pi) * 60.0 / 2.3548))
    assert after[50:-50].std() == pytest.approx(expected, rel=0.1)


def test_both_climbs_of_a_saw() -> None:
    saw = np.array([0.0, 1.0, 0.0, 1.0, 0.0, 5.0, 4.0, 6.0, 0.0])
    assert climb_and_descent(saw) == (9.0, 9.0)
    assert climb_and_descent_with_hysteresis(saw, 3.0) == (5.0, 5.0)


@given(st.lists(st.floats(-50.0, 50.0), min_size=2, max_size=60))
@settings(max_examples=60, deadline=None)
def test_hysteresis_never_adds_climb(altitudes: list[float]) -> None:
    track = np.array(altitudes)
    plain, _ = climb_and_descent(track)
    counted, _ = climb_and_descent_with_hysteresis(track)
    assert counted <= plain + 1e-9


@given(st.floats(-0.9, 0.9))
def test_grade_and_sine_are_one_angle(grade: float) -> None:
    sine = float(sine_of(np.array([grade]))[0])
    assert sine == pytest.approx(math.sin(math.atan(grade)), abs=1e-15)
    assert float(grade_of(np.array([sine]))[0]) == pytest.approx(grade, abs=1e-12)


def test_running_integral_is_exact_for_lines() -> None:
    x = np.linspace(0.0, 10.0, 11)
    assert np.allclose(running_integral(2.0 * x, 1.0), x**2)
