"""A receiver's zigzag on a road that is known: as long as the road again, told, shown, and left alone when asked."""

from __future__ import annotations

import numpy as np
import pytest

from ridesim.report.road.figure import draw_road
from ridesim.road.clean import clean_track
from ridesim.road.limits import DEFAULT_SMOOTHING_M, DEFAULT_SPACING_M
from ridesim.road.profile import Road
from ridesim.road.survey import road_from_track
from ridesim.road.zigzag import turning_points

from .made_tracks import raw_track


def zigzag(step_m: float, half: int, amplitude_m: float, speed_m_per_s: float | None) -> tuple[np.ndarray, ...]:
    """Points along a straight road of 3 km, to and fro between both its sides, and their clock."""
    along = step_m * np.arange(int(3000.0 / step_m))
    side = amplitude_m * 2.0 / np.pi * np.arcsin(np.sin(np.pi * (np.arange(len(along)) / half - 0.5)))
    return along, side, along / speed_m_per_s if speed_m_per_s else np.full(len(along), np.nan)


def road_of(points: tuple[np.ndarray, ...], as_it_is: bool = False) -> Road:
    east, north, time = points
    track = clean_track(raw_track(east, north, 100.0 + 0.02 * east, time), "made", False, as_it_is)
    return road_from_track(track, "made", DEFAULT_SMOOTHING_M, DEFAULT_SPACING_M)


SHAPES = ((6.0, 3, 9.0), (6.0, 5, 16.0), (20.0, 1, 11.0), (6.0, 8, 22.0), (15.0, 2, 16.0))
"""Metres between points, points to a half wave, and how far to a side: 36 to 49 % more way than the road has."""


@pytest.mark.parametrize(("step_m", "half", "amplitude_m"), SHAPES)
def test_a_zigzag_that_nobody_could_ride_is_straightened_and_told(step_m: float, half: int, amplitude_m: float):
    points = zigzag(step_m, half, amplitude_m, 6.0)
    road, left = road_of(points), road_of(points, as_it_is=True)
    true = float(points[0][-1])
    assert left.length_m > 1.35 * true and road.length_m == pytest.approx(true, rel=0.02)
    (one,) = road.mendings
    assert one.kind == "zigzag" and one.to_m - one.from_m > 0.9 * true and not one.not_recorded
    assert "1 zigzag of the receiver, which nobody could ride so fast, straightened: at " in road.warnings[0]
    assert road.cleaning is not None and road.cleaning.zigzags_straightened == 1
    assert float(np.quantile(road.curvature_per_m, 0.9)) < 1.0 / 30.0  # no bends to brake for
    assert road.climb_m == pytest.approx(0.02 * true, rel=0.05)
    words = [text.get_text() for axes in draw_road(road).figure.axes for text in axes.texts]
    assert any("mended: zigzag" in text for text in words)


@pytest.mark.parametrize(("step_m", "half", "amplitude_m"), SHAPES)
def test_a_zigzag_that_is_left_is_told_as_long_as_it_is(step_m: float, half: int, amplitude_m: float):
    """Without a clock it may have been ridden: then its length stays, and the word of it is right within a tenth."""
    points = zigzag(step_m, half, amplitude_m, None)
    road, true = road_of(points), float(points[0][-1])
    cleaning = road.cleaning
    assert road.mendings == () and cleaning is not None
    assert cleaning.distance_smoothed_line_m == pytest.approx(true, rel=0.04)
    longer = cleaning.distance_horizontal_m / true - 1.0
    told = next(text for text in road.warnings if "wanders" in text)
    said = int(told.split("it is ")[1].split("%")[0])
    assert said == pytest.approx(100.0 * longer, abs=4.0)
    assert "; it zigzags at 0." in told and "by the receiver or by hairpins" in told


def test_a_slow_zigzag_may_be_ridden():
    """A path in hairpins at walking pace."""
    road = road_of(zigzag(6.0, 5, 16.0, 1.0))
    assert road.mendings == () and any("hairpins" in text for text in road.warnings)


@pytest.mark.parametrize("radius_m", [14.0, 30.0])
def test_hairpins_of_a_pass_are_a_road(radius_m: float):
    """Turns of half a circle, 80 m of straight between them, ridden at 22 km/h."""
    heading, step = [], 5.0
    for turn in range(12):
        curve = np.linspace(0.0, np.pi, int(np.pi * radius_m / step))
        heading += [*np.full(16, (turn % 2) * np.pi), *(curve if turn % 2 == 0 else np.pi - curve)]
    east, north = (np.cumsum(step * part(np.array(heading))) for part in (np.sin, np.cos))
    road = road_of((east, north + 3.0 * np.arange(len(east)), step * np.arange(len(east)) / 6.0))
    assert all(one.kind != "zigzag" for one in road.mendings)


@pytest.mark.parametrize("turn_m", [20.0, 45.0, 60.0, 100.0])
def test_to_and_fro_in_a_yard_is_ridden(turn_m: float):
    """A first try of a bike: up and down the yard, with a turn between two readings."""
    along = 6.0 * np.arange(400.0)
    east = turn_m * np.abs(np.mod(along / turn_m, 2.0) - 1.0)
    road = road_of((east, np.zeros(400), along / 6.0))
    assert road.mendings == () and road.length_m == pytest.approx(float(np.abs(np.diff(east)).sum()), rel=0.01)


def test_noise_of_a_receiver_is_taken_off_where_it_zigzags():
    chance = np.random.default_rng(3)
    along = 6.0 * np.arange(500.0)
    east, north = along + chance.normal(0.0, 4.0, 500), chance.normal(0.0, 4.0, 500)
    way = float(np.hypot(np.diff(east), np.diff(north)).sum())
    road = road_of((east, north, along / 6.0))
    assert way > 1.4 * along[-1] and along[-1] < road.length_m < 1.1 * along[-1]


def test_turning_points_are_highs_and_lows_by_turns():
    values = np.array([0.0, 1.0, 0.6, 3.0, 2.5, -1.0, -0.5, 2.0])
    assert turning_points(values, 2.0).tolist() == [0, 3, 5, 7]
    assert turning_points(values, 9.0).tolist() == []
    assert turning_points(-values, 2.0).tolist() == [0, 3, 5, 7]
