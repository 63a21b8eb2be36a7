"""Heat transfer and lumps of heat against textbook examples and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm

from ridesim.physics import cooling
from ridesim.physics.cooling import Air
from ridesim.physics.heat import one_lump, two_lumps


@pytest.mark.parametrize(
    ("reynolds", "prandtl", "printed", "half_unit"),
    [(6071.0, 0.70, 40.6, 0.05), (6.228e4, 0.7232, 159.1, 0.05)],
    ids=["Incropera-Fundamentals-example-7-4-row-6-4", "Cengel-problem-19-35-row-6-5"],
)
def test_churchill_bernstein(reynolds: float, prandtl: float, printed: float, half_unit: float) -> None:
    assert cooling.churchill_bernstein(reynolds, prandtl) == pytest.approx(printed, abs=half_unit)


def test_cylinder_in_a_wind_incropera_example_7_4_row_6_4() -> None:
    """12.7 mm at 10 m/s: h = 96.0 W/(m2 K); the measured h of the example is about 102 (from memory)."""
    air = Air(conductivity=0.0300, kinematic_viscosity=10.0 * 12.7e-3 / 6071.0, prandtl=0.70)
    assert cooling.moving_air_coefficient(12.7e-3, 10.0, air) == pytest.approx(96.0, abs=0.05)


@pytest.mark.parametrize(
    ("diameter", "speed", "printed"),
    [(0.063, 5.0, 32.664), (0.063, 10.0, 49.103), (0.080, 2.0, 17.604), (0.080, 5.0, 29.528),
     (0.080, 8.333, 40.018)],
    ids=lambda value: f"ht-1.2.0-CoolProp-row-6-11-{value:.4g}",
)  # fmt: skip
def test_motor_can_in_a_wind(diameter: float, speed: float, printed: float) -> None:
    # The property library's conductivity and viscosity are rounded to 2e-5 in the row: 6e-4 of h beside its half unit.
    assert cooling.moving_air_coefficient(diameter, speed) == pytest.approx(printed, abs=1.1e-3)


@pytest.mark.parametrize(
    ("diameter", "warmer", "printed"),
    [(0.063, 60.0, 6.460), (0.080, 60.0, 6.233), (0.080, 20.0, 4.573)],
    ids=lambda value: f"ht-1.2.0-row-6-11b-{value:g}",
)
def test_motor_can_in_still_air(diameter: float, warmer: float, printed: float) -> None:
    assert cooling.still_air_coefficient(diameter, warmer) == pytest.approx(printed, abs=5e-4)


def test_churchill_bernstein_agrees_with_ht() -> None:
    conv = pytest.importorskip("ht.conv_external")
    for reynolds in (50.0, 3e3, 2e4, 3e5):
        theirs = conv.Nu_cylinder_Churchill_Bernstein(reynolds, 0.704)
        assert cooling.churchill_bernstein(reynolds, 0.704) == pytest.approx(theirs, rel=1e-12)


@pytest.mark.parametrize(
    ("surface", "around", "emissivity", "printed"),
    [(353.15, 293.15, 0.9, 416.874), (400.0, 0.0, 1.0, 1451.61)],
    ids=["row-6-9-painted", "row-6-9-black-body-400-K"],
)
def test_radiation(surface: float, around: float, emissivity: float, printed: float) -> None:
    flux = cooling.radiation_coefficient(emissivity, surface, around) * (surface - around)
    # The rows take sigma as 5.670e-8 or 5.67037e-8: 7e-5 apart.
    assert flux == pytest.approx(printed, rel=7e-5)


@pytest.mark.parametrize(
    ("seconds", "celsius"),
    [(225.0, 84.0204), (450.0, 119.8181), (900.0, 154.6997), (1800.0, 172.2527)],
    ids=lambda value: f"closed-form-row-6-1-{value:g}",
)
def test_one_lump(seconds: float, celsius: float) -> None:
    """R 1.5 K/W, C 300 J/K, 100 W, 25 degC, in steps of 0.1 s: 4e-9 of trapezoidal error is left."""
    temp = 25.0
    for _ in range(round(seconds / 0.1)):
        temp = one_lump(temp, 100.0, 1.0 / 300.0, 1.0 / 1.5, 25.0, 0.1)
    assert temp == pytest.approx(celsius, abs=5e-5)


def feedback_rise(power_20: float, seconds: float, step: float) -> float:
    """One lump with copper's feedback, 1.5 K/W and 300 J/K in air of 25 degC, loss taken in the middle of the step."""
    temp = 25.0
    for _ in range(round(seconds / step)):
        guess = temp
        for _ in range(4):
            loss = power_20 * (1.0 + 0.00393 * (0.5 * (temp + guess) - 20.0))
            guess = float(one_lump(temp, loss, 1.0 / 300.0, 1.0 / 1.5, 25.0, step))
        temp = guess
    return temp


def test_copper_feedback_closed_form_row_6_2() -> None:
    """60 W at 20 degC: 92.59022 after 450 s, 166.99056 in the end; time constant 696.271 s."""
    assert feedback_rise(60.0, 450.0, 1.0) == pytest.approx(92.59022, abs=5e-5)
    assert feedback_rise(60.0, 20.0 * 696.271, 5.0) == pytest.approx(166.99056, abs=5e-5)


@pytest.mark.parametrize(("power", "steady"), [(169.0, True), (170.3, False)])
def test_runaway_loss_closed_form_row_6_2(power: float, steady: bool) -> None:
    """169.635 W is the bound: below it the second difference of the warming is negative, above it positive."""
    temps = [feedback_rise(power, seconds, 2.0) for seconds in (400.0, 800.0, 1200.0)]
    assert (temps[2] - 2.0 * temps[1] + temps[0] < 0.0) == steady


@pytest.mark.parametrize(
    ("seconds", "winding", "body"),
    [(10.0, 13.76499, 0.20826), (43.1, 42.76954, 2.73315), (127.0, 70.25873, 11.29507), (300.0, 85.48027, 20.93291),
     (600.0, 91.03033, 24.87987)],
    ids=lambda value: f"catalogue-EC-45-flat-row-6-3-{value:g}",
)  # fmt: skip
def test_two_lumps_of_a_catalogue_motor(seconds: float, winding: float, body: float) -> None:
    """6.64 and 2.55 K/W, 43.1 and 127 s, 10 W into the winding; rises above the air."""
    c_w, c_b, r_wb, r_ba = 43.1 / 6.64, 127.0 / 2.55, 6.64, 2.55
    step = 0.1
    hot, warm = 0.0, 0.0
    for _ in range(round(seconds / step)):
        hot, warm = two_lumps(hot, warm, 10.0, 0.0, 1.0 / c_w, 1.0 / c_b, 1.0 / r_wb, 1.0 / r_ba, 0.0, step)
    assert (hot, warm) == pytest.approx((winding, body), abs=1e-4)  # the printed rounding and 1e-5 of the 0.1 s step
    matrix = np.array([[-1 / (r_wb * c_w), 1 / (r_wb * c_w)], [1 / (r_wb * c_b), -(1 / r_wb + 1 / r_ba) / c_b]])
    exact = (np.eye(2) - expm(matrix * seconds)) @ -np.linalg.solve(matrix, [10.0 / c_w, 0.0])
    assert (hot, warm) == pytest.approx(tuple(exact), abs=5e-5)
    slow, fast = sorted(-1.0 / np.linalg.eigvals(matrix), reverse=True)
    assert (slow, fast) == pytest.approx((150.2122, 36.4398), abs=5e-5)


def test_lumps_stay_finite_for_any_step() -> None:
    """Unconditionally stable: a step of an hour stays between the air and twice the steady state."""
    hot, warm = two_lumps(20.0, 20.0, 100.0, 5.0, 1 / 10.0, 1 / 50.0, 3.0, 1.0, 20.0, 3600.0)
    steady_body = 20.0 + 105.0 / 1.0
    steady = steady_body + 100.0 / 3.0
    assert 20.0 <= hot <= 2.0 * steady
    assert 20.0 <= warm <= 2.0 * steady_body
