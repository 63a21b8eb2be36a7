"""Recordings that nobody here wrote: each is ridden or refused as it should be."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from ridesim.errors import RoadError
from ridesim.road import load
from ridesim.road.plan import plan_speed
from ridesim.road.profile import Road

from .conftest import COPIED

Find = Callable[[str], Path]
load_road = functools.lru_cache(maxsize=64)(load.load_road)  # each recording is read once

# name, length m, within share; lengths by the recorder of the ride or by the plain sum of its legs.
RIDDEN = [
    ("ride-a.gpx", 18_517.0, 0.005),
    ("ride-b.gpx", 29_756.0, 0.005),
    ("ride-c.gpx", 78_938.0, 0.03),  # the receiver wanders in towns, the wheel sensor does not
    ("flat-36km.gpx", 36_300.0, 0.005),
    ("noisy-30km.gpx", 30_250.0, 0.005),
    ("commute-phone.gpx", 7_600.0, 0.005),
]
REFUSED = [
    ("empty-ele-tag.gpx", "one place"),
    ("empty-trk.gpx", "0 points"),
    ("one-point.gpx", "1 points"),
    ("osm-no-ele-dup-time.gpx", "altitude"),
    ("wpt-only.gpx", "40 waypoints"),
]
COPIED_REFUSED = [
    ("ext-no-ns.gpx", "0 points"),
    ("cerknicko-jezero-without-elevations.gpx", "flat = true"),
    ("route-without-elevation.gpx", "flat = true"),
]


def hold_together(road: Road) -> None:
    """Assert what must be true of every road."""
    sine = np.sin(np.arctan(road.grade))
    risen = np.concatenate(([0.0], np.cumsum(0.5 * (sine[1:] + sine[:-1]) * road.spacing_m)))
    assert np.allclose(road.altitude_m[0] + risen, road.altitude_m, rtol=0.0, atol=1e-6)
    assert np.allclose(np.diff(road.distance_m), road.spacing_m)
    for name in ("altitude_m", "grade", "bearing_deg", "curvature_per_m", "rolling_factor", "latitude_deg"):
        column = getattr(road, name)
        assert column.shape == road.distance_m.shape and np.isfinite(column).all(), name
    assert road.curvature_per_m.min() >= 0.0 and road.curvature_per_m.max() <= 0.5
    assert ((road.bearing_deg >= 0.0) & (road.bearing_deg < 360.0)).all()
    plan = plan_speed(road, 25.0 / 3.6)
    assert plan.speed_m_per_s.min() >= 2.0 - 1e-9
    if road.recorded_speed_m_per_s is not None:
        assert np.isfinite(road.recorded_speed_m_per_s).all() and road.recorded_speed_m_per_s.min() > 0.0


@pytest.mark.parametrize(("name", "length_m", "share"), RIDDEN, ids=[row[0] for row in RIDDEN])
def test_shared_recordings_are_ridden(name: str, length_m: float, share: float, shared_track: Find) -> None:
    road = load_road(shared_track(name))
    hold_together(road)
    assert road.length_m == pytest.approx(length_m, rel=share)
    assert road.cleaning is not None and road.cleaning.has_time
    straight_speed = np.sqrt(2.0 / np.maximum(road.curvature_per_m, 1e-9))
    assert (straight_speed < 25.0 / 3.6).mean() < 0.04


@pytest.mark.parametrize(("name", "told"), REFUSED, ids=[row[0] for row in REFUSED])
def test_shared_recordings_are_refused(name: str, told: str, shared_track: Find) -> None:
    with pytest.raises(RoadError, match=told) as caught:
        load_road(shared_track(name))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("name", "told"), COPIED_REFUSED, ids=[row[0] for row in COPIED_REFUSED])
def test_copied_recordings_are_refused(name: str, told: str) -> None:
    with pytest.raises(RoadError, match=told):
        load_road(COPIED / name)


@pytest.mark.parametrize("name", ["cerknicko-jezero-without-elevations.gpx", "route-without-elevation.gpx"])
def test_without_altitude_but_flat(name: str) -> None:
    road = load_road(COPIED / name, flat=True)
    hold_together(road)
    assert np.all(road.grade == 0.0)


def test_both_climbs_of_a_flat_ride(shared_track: Find) -> None:
    # The data index: 52 m with 3 m of hysteresis, 230 m by plain summing.
    cleaning = load_road(shared_track("flat-36km.gpx")).cleaning
    assert cleaning is not None
    assert cleaning.climb_raw_m == pytest.approx(230.0, abs=0.5)
    assert cleaning.climb_hysteresis_m == pytest.approx(52.0, abs=0.5)
    assert 52.0 < cleaning.climb_smoothed_m < 230.0


def test_both_climbs_of_a_noisy_ride(shared_track: Find) -> None:
    # The data index: 564 m against 950 m. The hysteresis runs over the cleaned points, hence a few metres.
    cleaning = load_road(shared_track("noisy-30km.gpx"), as_it_is=True).cleaning
    assert cleaning is not None
    assert cleaning.climb_raw_m == pytest.approx(950.0, abs=0.5)
    assert cleaning.climb_hysteresis_m == pytest.approx(564.0, abs=5.0)
    assert cleaning.climb_smoothed_m < 0.6 * 950.0


def test_more_smoothing_less_climb(shared_track: Find) -> None:
    path = shared_track("flat-36km.gpx")
    climbs = [load_road(path, smoothing_m=width).climb_m for width in (20.0, 60.0)]
    assert climbs[0] > climbs[1]


def test_the_long_stop_of_a_commute_is_found(shared_track: Find) -> None:
    # The data index: an 82 s stop.
    pauses = load_road(shared_track("commute-phone.gpx")).recorded_pauses
    assert max(stop.dwell_s for stop in pauses) == pytest.approx(82.0, abs=4.0)


def test_several_tracks_a_quarter_without_altitude(shared_track: Find) -> None:
    road = load_road(shared_track("quarter-without-altitude.gpx"))
    hold_together(road)
    assert road.cleaning is not None and road.cleaning.altitudes_filled == 82
    assert "11 tracks" in road.warnings[0]
    assert any("82 altitudes missing" in text for text in road.warnings)


def test_walk_with_an_empty_segment() -> None:
    road = load_road(COPIED / "korita-zbevnica.gpx")
    hold_together(road)
    assert road.cleaning is not None
    assert road.cleaning.segments == 3 and road.cleaning.gaps >= 2
    assert road.cleaning.distance_horizontal_m - road.cleaning.gap_total_m == pytest.approx(15_300.0, rel=0.07)
    assert road.cleaning.altitude_spikes_mended > 0
    assert road.recorded_speed_m_per_s is None


def test_altitude_spikes_by_the_lake() -> None:
    road = load_road(COPIED / "cerknicko-jezero.gpx")
    hold_together(road)
    assert road.cleaning is not None
    assert road.cleaning.segments == 7
    assert road.cleaning.climb_smoothed_m < 0.6 * road.cleaning.climb_raw_m
    # Of its 13.4 km the walker recorded 4.7 (the data's index), some of it in legs of 300 m: that the rest is straight
    # lines is told.
    assert 8_700.0 <= road.cleaning.gap_total_m <= 8_700.0 + 1_100.0
    assert any("72% of the length, 9.7 km, was not recorded" in text for text in road.warnings), road.warnings


def test_a_few_short_gaps_are_no_reason_to_doubt_a_road(shared_track: Find) -> None:
    road = load_road(shared_track("noisy-30km.gpx"))
    assert road.cleaning is not None and 0.0 < road.cleaning.gap_total_m < 0.1 * road.length_m
    assert not any("was not recorded" in text for text in road.warnings)


def test_altitude_only_at_the_ends() -> None:
    road = load_road(COPIED / "first-last-ele.gpx")
    hold_together(road)
    assert road.cleaning is not None and road.cleaning.altitudes_filled == 7
    assert np.allclose(road.altitude_m, 140.0)
    assert any("is a guess" in text for text in road.warnings)


def test_all_altitudes_zero_is_told() -> None:
    assert any("probably not recorded" in text for text in load_road(COPIED / "zero-ele.gpx").warnings)


def test_few_points_with_extremes() -> None:
    hold_together(load_road(COPIED / "extremes.gpx"))
