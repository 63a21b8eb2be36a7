"""Heat transfer and lumps of heat against textbook examples and closed forms."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.linalg import expm

from ridesim.evidence.store import sheet, table
from ridesim.physics import cooling
from ridesim.physics.cooling import Air
from ridesim.physics.heat import one_lump, two_lumps
from ridesim.units import to_si

from .rows import near, rows_of


@rows_of("heat.cross_flow")
def test_churchill_bernstein(row: Any) -> None:
    assert cooling.churchill_bernstein(row.reynolds, row.prandtl) == near(row.nusselt)


def test_cylinder_in_a_wind_incropera_example_7_4_row_6_4() -> None:
    """The measured h of the example is about 102 W/(m2 K) (from memory)."""
    said, flow = sheet("heat.cross_flow_example"), table("heat.cross_flow").rows[0]
    diameter, speed = to_si(said.diameter_mm, "mm"), said.speed_m_per_s
    air = Air(said.conductivity_w_per_m_k, speed * diameter / flow.reynolds, flow.prandtl)
    assert cooling.moving_air_coefficient(diameter, speed, air) == near(said.coefficient_w_per_m2_k)


@rows_of("heat.moving_air")
def test_motor_can_in_a_wind(row: Any) -> None:
    ours = cooling.moving_air_coefficient(to_si(row.diameter_mm, "mm"), row.speed_m_per_s)
    # The property library's conductivity and viscosity are rounded to 2e-5 in the row: 6e-4 of h beside its half unit.
    assert ours == pytest.approx(row.coefficient_w_per_m2_k, abs=1.1e-3)


@rows_of("heat.still_air")
def test_motor_can_in_still_air(row: Any) -> None:
    ours = cooling.still_air_coefficient(to_si(row.diameter_mm, "mm"), row.warmer_k)
    assert ours == near(row.coefficient_w_per_m2_k)


def test_churchill_bernstein_agrees_with_ht() -> None:
    conv = pytest.importorskip("ht.conv_external")
    for reynolds in (50.0, 3e3, 2e4, 3e5):
        theirs = conv.Nu_cylinder_Churchill_Bernstein(reynolds, 0.704)
        assert cooling.churchill_bernstein(reynolds, 0.704) == pytest.approx(theirs, rel=1e-12)


@rows_of("heat.radiation")
def test_radiation(row: Any) -> None:
    surface, around = row.surface_temperature_k, row.around_temperature_k
    flux = cooling.radiation_coefficient(row.emissivity, surface, around) * (surface - around)
    # The rows take sigma as 5.670e-8 or 5.67037e-8: 7e-5 apart.
    assert flux == pytest.approx(row.flux_w_per_m2, rel=7e-5)


@rows_of("heat.one_lump")
def test_one_lump(row: Any) -> None:
    """R 1.5 K/W, C 300 J/K, 100 W, 25 degC, in steps of 0.1 s: 4e-9 of trapezoidal error is left."""
    temp = 25.0
    for _ in range(round(row.seconds / 0.1)):
        temp = one_lump(temp, 100.0, 1.0 / 300.0, 1.0 / 1.5, 25.0, 0.1)
    assert temp == near(row.temperature_c)


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
    said = sheet("heat.feedback")
    power = said.power_at_20_c_w
    # The loss of a step is taken at its middle: 4e-5 K in steps of 1 s.
    assert feedback_rise(power, 450.0, 1.0) == pytest.approx(said.after_450_s_c, abs=5e-5)
    assert feedback_rise(power, 20.0 * said.time_constant_s, 5.0) == pytest.approx(said.in_the_end_c, abs=5e-5)


@pytest.mark.parametrize(("power", "steady"), [(169.0, True), (170.3, False)])
def test_runaway_loss_closed_form_row_6_2(power: float, steady: bool) -> None:
    """The bound lies between: below it the second difference of the warming is negative, above it positive."""
    temps = [feedback_rise(power, seconds, 2.0) for seconds in (400.0, 800.0, 1200.0)]
    assert (temps[2] - 2.0 * temps[1] + temps[0] < 0.0) == steady


@rows_of("heat.two_lumps")
def test_two_lumps_of_a_catalogue_motor(row: Any) -> None:
    """10 W into the winding; rises above the air."""
    motor, times, seconds = sheet("motor.catalogue"), sheet("heat.two_lump_times"), row.seconds
    r_wb, r_ba = motor.winding_to_body_k_per_w, motor.body_to_air_k_per_w
    c_w, c_b = motor.winding_time_s / r_wb, motor.body_time_s / r_ba
    step = 0.1
    hot, warm = 0.0, 0.0
    for _ in range(round(seconds / step)):
        hot, warm = two_lumps(hot, warm, 10.0, 0.0, 1.0 / c_w, 1.0 / c_b, 1.0 / r_wb, 1.0 / r_ba, 0.0, step)
    assert (hot, warm) == pytest.approx(
        (row.winding_k, row.body_k), abs=1e-4
    )  # the printed rounding and 1e-5 of the 0.1 s step
    matrix = np.array([[-1 / (r_wb * c_w), 1 / (r_wb * c_w)], [1 / (r_wb * c_b), -(1 / r_wb + 1 / r_ba) / c_b]])
    exact = (np.eye(2) - expm(matrix * seconds)) @ -np.linalg.solve(matrix, [10.0 / c_w, 0.0])
    assert (hot, warm) == pytest.approx(tuple(exact), abs=5e-5)
    slow, fast = sorted(-1.0 / np.linalg.eigvals(matrix), reverse=True)
    assert (slow, fast) == (near(times.slow_s), near(times.fast_s))


def test_lumps_stay_finite_for_any_step() -> None:
    """Unconditionally stable: a step of an hour stays between the air and twice the steady state."""
    hot, warm = two_lumps(20.0, 20.0, 100.0, 5.0, 1 / 10.0, 1 / 50.0, 3.0, 1.0, 20.0, 3600.0)
    steady_body = 20.0 + 105.0 / 1.0
    steady = steady_body + 100.0 / 3.0
    assert 20.0 <= hot <= 2.0 * steady
    assert 20.0 <= warm <= 2.0 * steady_body
