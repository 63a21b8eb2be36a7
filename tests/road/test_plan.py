"""The speed plan: never faster than allowed, and always able to brake in time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridesim.errors import RoadError
from ridesim.road.made import make_cycle, make_flat
from ridesim.road.plan import RECORDED_FLOOR_M_PER_S, braked, plan_speed
from ridesim.road.profile import Stop


@given(
    wanted=st.lists(st.floats(0.5, 20.0), min_size=2, max_size=80),
    braking=st.floats(0.2, 5.0),
    spacing=st.floats(1.0, 20.0),
)
@settings(max_examples=80, deadline=None)
def test_braking_pass_matches_the_step_by_step_one(wanted: list[float], braking: float, spacing: float) -> None:
    speed = np.array(wanted)
    expected = speed.copy()
    for i in range(len(speed) - 2, -1, -1):
        expected[i] = min(speed[i], np.sqrt(expected[i + 1] ** 2 + 2.0 * braking * spacing))
    assert np.allclose(braked(speed, spacing, braking), expected, rtol=1e-9)


def test_speed_before_a_limit_falls_with_the_root_of_the_distance() -> None:
    road = make_flat(1000.0).with_speed_limit(500.0, 600.0, 3.0)
    plan = plan_speed(road, 8.0, braking_m_per_s2=1.5)
    start = int(np.argmax(road.speed_limit_m_per_s < 10.0))
    before = plan.speed_m_per_s[start - 3]
    assert before**2 == pytest.approx(9.0 + 2.0 * 1.5 * 15.0)
    assert plan.speed_m_per_s[0] == 8.0 and plan.speed_m_per_s[-1] == 8.0


def test_bends_bound_the_lateral_acceleration() -> None:
    road = make_flat(1000.0)
    bent = replace(road, curvature_per_m=np.where(np.abs(road.distance_m - 500.0) < 20.0, 1.0 / 12.5, 0.0))
    plan = plan_speed(bent, 8.0, lateral_m_per_s2=2.0)
    assert plan.speed_m_per_s.min() == pytest.approx(5.0)
    assert np.all(plan.speed_m_per_s**2 * bent.curvature_per_m <= 2.0 + 1e-9)


def test_stops_are_listed_in_order_and_are_no_zeros() -> None:
    road = make_flat(1000.0).with_stops((Stop(700.0, 5.0), Stop(200.0, 9.0), Stop(200.0, 1.0)))
    plan = plan_speed(road, 7.0)
    assert plan.stop_distance_m.tolist() == [200.0, 700.0]
    assert plan.stop_dwell_s.tolist() == [10.0, 5.0]
    assert plan.speed_m_per_s.min() == 7.0
    assert plan.cycle_time_s.size == plan.cycle_speed_m_per_s.size == 0


def test_recorded_speed_has_a_floor_and_its_pauses() -> None:
    road = make_flat(1000.0)
    speed = np.full(len(road.distance_m), 6.0)
    speed[100] = 0.2
    road = replace(road, recorded_speed_m_per_s=speed, recorded_pauses=(Stop(500.0, 33.0),)).with_stops(
        (Stop(10.0, 1.0),)
    )
    plan = plan_speed(road, 3.0, source="recorded")
    assert plan.speed_m_per_s.min() == RECORDED_FLOOR_M_PER_S
    assert plan.speed_m_per_s[0] == 6.0
    assert plan.stop_distance_m.tolist() == [500.0] and plan.stop_dwell_s.tolist() == [33.0]


@pytest.mark.parametrize(("times", "step"), [([0, 4, 8], 4.0), ([0, 3, 8], 1.0), ([0, 3.5, 8.1], 0.1)])
def test_cycle_runs_on_a_uniform_clock(times: list[float], step: float) -> None:
    plan = plan_speed(make_cycle(times, [0.0, 5.0, 0.0]), 7.0)
    assert np.allclose(np.diff(plan.cycle_time_s), step)
    assert plan.cycle_time_s[0] == 0.0 and plan.cycle_time_s[-1] == pytest.approx(times[-1])
    assert np.interp(times[1], plan.cycle_time_s, plan.cycle_speed_m_per_s) == pytest.approx(5.0)


@pytest.mark.parametrize(
    "asked",
    [
        {"cruise_m_per_s": 0.0},
        {"cruise_m_per_s": float("nan")},
        {"cruise_m_per_s": 5.0, "lateral_m_per_s2": -1.0},
        {"cruise_m_per_s": 5.0, "braking_m_per_s2": 0.0},
        {"cruise_m_per_s": 5.0, "source": "guess"},
        {"cruise_m_per_s": 5.0, "source": "recorded"},
    ],
)
def test_plans_that_cannot_be(asked: dict[str, object]) -> None:
    with pytest.raises(RoadError):
        plan_speed(make_flat(100.0), **asked)  # type: ignore[arg-type]
