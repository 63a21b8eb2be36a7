"""Roads: the slope and the altitude are one, and laps, stretches, stops, limits and surfaces fit together."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridesim.errors import RoadError
from ridesim.road.made import make_climb, make_cycle, make_flat, make_hills, make_points, make_ramp
from ridesim.road.profile import SURFACES, Road, Stop

MADE = [
    make_flat(1000.0),
    make_climb(3210.0, 8.0, start_altitude_m=200.0),
    make_climb(900.0, -12.0),
    make_ramp(400.0, 150.0, 15.0, run_out_m=300.0, base_grade_percent=2.0),
    make_hills(5000.0, 40.0, 1000.0),
    make_points([0.0, 700.0, 1500.0], [10.0, 50.0, 20.0]),
    make_cycle([0.0, 10.0, 50.0, 60.0], [0.0, 5.0, 5.0, 0.0], grade_percent=3.0),
]


@pytest.mark.parametrize("road", MADE, ids=lambda road: road.name)
def test_integral_of_the_slope_is_the_altitude(road: Road) -> None:
    sine = np.sin(np.arctan(road.grade))
    risen = np.concatenate(([0.0], np.cumsum(0.5 * (sine[1:] + sine[:-1]) * np.diff(road.distance_m))))
    assert np.allclose(road.altitude_m[0] + risen, road.altitude_m, rtol=0.0, atol=1e-9)
    assert np.allclose(np.diff(road.distance_m), road.spacing_m)
    assert len(road.surface) == len(road.distance_m) == len(road.curvature_per_m) == len(road.speed_limit_m_per_s)


def test_climb_rises_by_length_times_sine() -> None:
    road = make_climb(1000.0, 10.0)
    assert road.climb_m == pytest.approx(1000.0 * math.sin(math.atan(0.1)), rel=1e-12)
    assert road.descent_m == 0.0
    assert np.allclose(road.grade, 0.1)


def test_ramp_keeps_its_grade_and_its_height() -> None:
    road = make_ramp(400.0, 150.0, 15.0, run_out_m=300.0)
    assert road.grade.max() == pytest.approx(0.15)
    assert road.altitude_m[-1] == pytest.approx(150.0 * math.sin(math.atan(0.15)), rel=1e-3)


def test_hills_are_as_high_as_asked() -> None:
    road = make_hills(3000.0, 40.0, 1000.0)
    assert road.altitude_m.max() == pytest.approx(40.0, rel=1e-3)
    assert road.climb_m == pytest.approx(120.0, rel=1e-3)


def test_points_pass_through_their_altitudes() -> None:
    road = make_points([0.0, 700.0, 1500.0], [10.0, 50.0, 20.0])
    assert np.interp([0.0, 350.0, 1500.0], road.distance_m, road.altitude_m) == pytest.approx(
        [10.0, 30.0, 20.0], abs=0.3
    )


@given(times=st.integers(1, 5), grade=st.floats(-15.0, 15.0), length=st.floats(10.0, 3000.0))
@settings(max_examples=40, deadline=None)
def test_laps_add_up(times: int, grade: float, length: float) -> None:
    road = make_climb(length, grade, start_altitude_m=100.0).with_stops((Stop(length / 2.0, 5.0),))
    laps = road.repeated(times)
    assert laps.length_m == pytest.approx(times * length, rel=1e-9)
    assert laps.altitude_m[-1] - 100.0 == pytest.approx(times * (road.altitude_m[-1] - 100.0), abs=1e-6)
    assert len(laps.stops) == times and len(laps.surface) == len(laps.distance_m)


def test_laps_of_a_loop_keep_climb_and_integral() -> None:
    road = make_hills(2000.0, 30.0, 500.0)
    laps = road.repeated(3)
    # The joint of two laps is one node with the mean slope of both ends, which rounds the valley there a little.
    assert laps.climb_m == pytest.approx(3.0 * road.climb_m, rel=1e-3)
    assert laps.warnings == ()
    sine = np.sin(np.arctan(laps.grade))
    assert np.sum(0.5 * (sine[1:] + sine[:-1])) * laps.spacing_m == pytest.approx(0.0, abs=1e-6)


def test_laps_that_drift_in_height_say_so() -> None:
    assert "each lap ends +100 m" in make_climb(1000.0, 10.05).repeated(2).warnings[0]


def test_cycle_laps_run_on() -> None:
    road = make_cycle([0.0, 10.0, 20.0], [0.0, 6.0, 0.0]).repeated(2)
    assert road.cycle is not None
    assert road.cycle.time_s.tolist() == [0.0, 10.0, 20.0, 30.0, 40.0]
    assert road.cycle.distance_m == pytest.approx(road.length_m)


def test_slice_starts_again_at_zero() -> None:
    road = make_hills(2000.0, 30.0, 500.0).with_stops((Stop(400.0, 5.0), Stop(900.0, 7.0)))
    part = road.slice(500.0, 1000.0)
    assert part.distance_m[0] == 0.0 and part.length_m == pytest.approx(500.0)
    assert part.stops == (Stop(400.0, 7.0),)
    assert part.altitude_m[0] == road.altitude_m[100]


def test_slices_make_up_the_whole() -> None:
    road = make_hills(2000.0, 30.0, 700.0)
    first, second = road.slice(0.0, 800.0), road.slice(800.0, 2000.0)
    assert first.length_m + second.length_m == pytest.approx(road.length_m)
    assert first.climb_m + second.climb_m == pytest.approx(road.climb_m)


def test_flattened_keeps_the_line() -> None:
    road = make_climb(1000.0, 10.0, start_altitude_m=50.0).flattened()
    assert road.climb_m == 0.0 and road.altitude_m[-1] == 50.0 and road.length_m == pytest.approx(1000.0)


def test_limits_and_surfaces_cover_their_stretch() -> None:
    road = make_flat(1000.0).with_speed_limit(201.0, 399.0, 5.0).with_speed_limit(0.0, 1000.0, 8.0)
    limit = np.interp([150.0, 201.0, 300.0, 399.0, 450.0], road.distance_m, road.speed_limit_m_per_s)
    assert limit.tolist() == [8.0, 5.0, 5.0, 5.0, 8.0]
    road = road.with_surface(100.0, 200.0, "gravel")
    assert road.surface[30] == "gravel" and road.rolling_factor[30] == SURFACES["gravel"]
    assert road.surface[50] == "asphalt" and road.rolling_factor[50] == 1.0


@pytest.mark.parametrize(
    "fault",
    [
        lambda: make_climb(5.0, 2.0),
        lambda: make_climb(100.0, float("nan")),
        lambda: make_climb(float("inf"), 2.0),
        lambda: make_hills(1000.0, 500.0, 100.0),
        lambda: make_hills(1000.0, 5.0, 0.0),
        lambda: make_ramp(-5.0, 100.0, 5.0),
        lambda: make_points([0.0, 10.0, 10.0], [0.0, 1.0, 2.0]),
        lambda: make_points([0.0, 100.0], [0.0, float("nan")]),
        lambda: make_points([5.0, 100.0], [0.0, 1.0]),
        lambda: make_points([0.0, 100.0, 110.0], [0.0, 1.0, 60.0]),
        lambda: make_cycle([0.0, 10.0], [5.0, -1.0]),
        lambda: make_cycle([0.0], [5.0]),
        lambda: make_cycle([0.0, 100.0], [0.0, 0.0]),
        lambda: make_flat(100.0, spacing_m=0.0),
        lambda: make_flat(100.0).with_stops((Stop(101.0, 3.0),)),
        lambda: make_flat(100.0).with_stops((Stop(50.0, -3.0),)),
        lambda: make_flat(100.0).with_speed_limit(50.0, 40.0, 5.0),
        lambda: make_flat(100.0).with_speed_limit(10.0, 40.0, 0.0),
        lambda: make_flat(100.0).with_surface(10.0, 40.0, "lava"),
        lambda: make_flat(100.0).repeated(0),
        lambda: make_flat(100.0).slice(50.0, 50.0),
    ],
)
def test_roads_that_cannot_be(fault: object) -> None:
    with pytest.raises(RoadError):
        fault()  # type: ignore[operator]
