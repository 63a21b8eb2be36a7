"""Each kind of dirt in a recording, alone, with known truth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridesim.road.altitudes import altitude_spikes
from ridesim.road.clean import clean_track, merge_repeats
from ridesim.road.made import make_climb
from ridesim.road.order import in_order
from ridesim.road.survey import road_from_track

from .made_tracks import raw_track

ALONG = np.arange(0.0, 2000.0, 5.0)


def straight(count: int = 400) -> np.ndarray:
    return 5.0 * np.arange(count)


def test_clean_recording_stays_as_it_is() -> None:
    track = clean_track(raw_track(ALONG, 0.0 * ALONG, 100.0 + 0.05 * ALONG, ALONG / 5.0), "made", False)
    assert track.counts["points_used"] == track.counts["points_read"] == 400
    assert track.horizontal_m[-1] == pytest.approx(1995.0, abs=0.1)
    assert track.warnings == () and track.pauses == ()
    assert track.moving_s is not None and track.moving_s[-1] == pytest.approx(399.0)


def test_repeats_are_merged_and_lend_their_altitude() -> None:
    altitude = np.array([10.0, np.nan, 14.0, 20.0])
    merged, leave = merge_repeats(
        raw_track([0, 100, 100, 200], np.zeros(4), altitude, np.array([0.0, 10.0, 30.0, 40.0]))
    )
    assert merged.altitude_m.tolist() == [10.0, 14.0, 20.0]
    assert merged.time_s.tolist() == [0.0, 10.0, 40.0]
    assert leave.tolist() == [0.0, 30.0, 40.0]


def test_points_that_run_backwards_are_dropped() -> None:
    time = ALONG / 5.0
    east = ALONG.copy()
    east[[100, 101]] = east[[101, 100]]
    time[[100, 101]] = time[[101, 100]]
    track = clean_track(raw_track(east, 0.0 * east, None, time), "made", False)
    assert track.counts["out_of_order_dropped"] == 1
    assert track.horizontal_m[-1] == pytest.approx(1995.0, abs=0.1)


@pytest.mark.parametrize("reading_s", [1e6, -3600.0])
@pytest.mark.parametrize("where", [slice(50, 51), slice(50, 70)])
def test_wrong_clock_readings_cost_their_times_and_no_place(reading_s: float, where: slice) -> None:
    """One reading, or twenty in another time zone: the places between are as good as any."""
    time = ALONG / 5.0
    time[where] += reading_s
    raw = raw_track(ALONG, 0.0 * ALONG, None, time)
    track = clean_track(raw, "made", False)
    wrong = where.stop - where.start
    assert track.counts["out_of_order_dropped"] == 0 and track.counts["times_left_out"] == wrong
    assert track.counts["points_used"] == 400 and track.pauses == ()
    assert track.moving_s is not None and np.allclose(track.moving_s, ALONG / 5.0, atol=0.01)
    (one,) = track.mendings
    assert (one.kind, one.points, one.not_recorded) == ("time_wrong", wrong, False)
    assert one.from_m == pytest.approx(250.0, abs=1.0)
    as_it_is = clean_track(raw, "made", False, as_it_is=True)
    assert as_it_is.counts["out_of_order_dropped"] == wrong and as_it_is.counts["points_used"] == 400 - wrong


@pytest.mark.parametrize("back_s", [10.0, 7200.0])
@pytest.mark.parametrize("at", [60, 200, 380])
def test_a_clock_that_is_set_back_runs_on(back_s: float, at: int) -> None:
    time = ALONG / 5.0 - np.where(np.arange(400) >= at, back_s, 0.0)
    raw = raw_track(ALONG, 0.0 * ALONG, 100.0 + 0.02 * ALONG, time)
    track = clean_track(raw, "made", False)
    assert track.counts["points_used"] == 400 and track.warnings == ()
    assert track.moving_s is not None and np.allclose(track.moving_s, ALONG / 5.0, atol=0.01)
    (one,) = track.mendings
    assert track.counts["clock_set_back"] == 1
    assert one.kind == "clock_set_back" and one.from_m == pytest.approx(5.0 * (at - 1), abs=1.0)
    assert road_from_track(track, "made", 60.0, 5.0).warnings[0].startswith("1 jump of the clock backwards")
    left = clean_track(raw, "made", False, as_it_is=True)
    assert left.counts["points_used"] < 400 or left.moving_s is None


def test_a_stretch_written_twice_is_a_copy_and_no_fault_of_the_clock() -> None:
    twice = np.concatenate((np.arange(120), np.arange(100, 400)))
    track = clean_track(raw_track(ALONG[twice], 0.0 * ALONG[twice], None, ALONG[twice] / 5.0), "made", False)
    assert track.counts["points_used"] == 400 and track.counts["times_left_out"] == 0
    assert track.counts["copied_points_dropped"] == 20
    assert track.horizontal_m[-1] == pytest.approx(1995.0, abs=0.1)


def test_a_leg_that_nobody_could_ride_is_told_with_its_place() -> None:
    """150 m in one second between two clocks: the median pace stands in, and is said to."""
    east = ALONG + np.where(np.arange(400) >= 200, 145.0, 0.0)
    track = clean_track(raw_track(east, 0.0 * east, None, ALONG / 5.0), "made", False, as_it_is=True)
    assert track.counts["paces_not_believed"] == 1
    assert track.moving_s is not None and track.moving_s[-1] == pytest.approx(398.0 + 150.0 / 5.0)
    told = road_from_track(track, "made", 60.0, 5.0).warnings
    assert "1 leg recorded faster than 108 km/h, taken at the recording's median pace: at 1.00 to 1.15 km" in told
    at_pace = clean_track(raw_track(east, 0.0 * east, None, east / 5.0), "made", False)
    assert at_pace.counts["paces_not_believed"] == 0


def test_a_road_that_is_ridden_flat_against_its_altitudes_says_so() -> None:
    hill = raw_track(ALONG, 0.0 * ALONG, 100.0 + 0.05 * ALONG, ALONG / 5.0)
    told = ("flat, as asked: its altitudes, 100 m to 200 m, are left out",)
    assert clean_track(hill, "made", True).warnings == told
    assert clean_track(hill, "made", False).warnings == ()
    none = raw_track(ALONG, 0.0 * ALONG, np.full(400, np.nan), ALONG / 5.0)
    assert clean_track(none, "made", True).warnings == ()
    assert make_climb(1000.0, 5.0, start_altitude_m=100.0).flattened().warnings == (told[0].replace("200", "150"),)
    assert make_climb(1000.0, 0.0).flattened().warnings == ()


@given(st.lists(st.integers(0, 50), min_size=1, max_size=60))
@settings(max_examples=80, deadline=None)
def test_longest_run_in_order(values: list[int]) -> None:
    keep = in_order(np.array(values, dtype=float))
    kept = np.array(values)[keep]
    assert np.all(np.diff(kept) >= 0)
    best = [1] * len(values)
    for i in range(len(values)):
        best[i] = 1 + max((best[j] for j in range(i) if values[j] <= values[i]), default=0)
    assert len(kept) == max(best)


@pytest.mark.parametrize("width", [1, 2, 3])
def test_spikes_are_found_and_nothing_else(width: int) -> None:
    altitude = 100.0 + 0.08 * ALONG
    altitude[200 : 200 + width] += 25.0
    altitude[300 : 300 + width] -= 25.0
    spiky = altitude_spikes(altitude, ALONG)
    assert np.flatnonzero(spiky).tolist() == [*range(200, 200 + width), *range(300, 300 + width)]


def test_a_steep_ramp_is_no_spike() -> None:
    assert not altitude_spikes(0.3 * np.clip(ALONG - 900.0, 0.0, 100.0), ALONG).any()


def test_holes_in_the_altitude_are_bridged_and_counted() -> None:
    altitude = 100.0 + 0.05 * ALONG
    holes = altitude.copy()
    holes[50:150] = np.nan
    track = clean_track(raw_track(ALONG, 0.0 * ALONG, holes), "made", False)
    assert track.counts["altitudes_filled"] == 100
    assert np.allclose(track.altitude_m, altitude, atol=0.01)


def test_zeros_high_above_the_sea_are_holes() -> None:
    altitude = 100.0 + 0.05 * ALONG
    holes = altitude.copy()
    holes[50:150] = 0.0
    track = clean_track(raw_track(ALONG, 0.0 * ALONG, holes), "made", False)
    assert track.counts["altitudes_filled"] == 100
    assert np.allclose(track.altitude_m, altitude, atol=0.01)


def test_zeros_at_the_shore_are_altitudes() -> None:
    altitude = np.maximum(0.0, 0.05 * (ALONG - 500.0))
    track = clean_track(raw_track(ALONG, 0.0 * ALONG, altitude), "made", False)
    assert track.counts["altitudes_filled"] == 0


def test_a_ramp_lost_in_smoothing_is_told() -> None:
    ramp = 0.16 * np.clip(ALONG - 900.0, 0.0, 100.0)
    track = clean_track(raw_track(ALONG, 0.0 * ALONG, ramp), "made", False)
    kept, lost = (road_from_track(track, "made", width, 5.0) for width in (60.0, 300.0))
    assert kept.cleaning is not None and kept.cleaning.steepest_100m_recorded == pytest.approx(0.16, rel=1e-3)
    assert kept.cleaning.steepest_100m_smoothed > 0.79 * 0.16 and kept.warnings == ()
    assert "a ramp lost" in lost.warnings[0]


def test_across_the_date_line_and_by_the_pole() -> None:
    across = raw_track(ALONG, 0.0 * ALONG)
    for latitude, longitude in ((0.0 * ALONG, 179.995 + ALONG / 111_319.5), (89.99 + ALONG / 111_694.0, 0.0 * ALONG)):
        over = latitude > 90.0
        track = across.kept(
            np.arange(len(ALONG)),
            latitude_deg=np.where(over, 180.0 - latitude, latitude),
            longitude_deg=np.mod(np.where(over, longitude + 180.0, longitude) + 180.0, 360.0) - 180.0,
        )
        road = road_from_track(clean_track(track, "made", False), "made", 60.0, 5.0)
        assert road.length_m == pytest.approx(1995.0, rel=1e-3)
        assert road.longitude_deg is not None and np.abs(road.longitude_deg).max() <= 180.0
        if not over.any():
            assert np.sqrt(2.0 / max(road.curvature_per_m.max(), 1e-9)) > 25.0


def test_a_gap_is_bridged_by_a_straight_line_and_counted() -> None:
    east = np.concatenate((straight(100), 1500.0 + straight(100)))
    segment = np.repeat([0, 1], 100)
    track = clean_track(raw_track(east, 0.0 * east, segment=segment), "made", False)
    assert track.counts["gaps"] == 1 and track.counts["segments"] == 2
    assert track.gap_longest_m == pytest.approx(1005.0, rel=1e-3)
    assert track.horizontal_m[-1] == pytest.approx(1995.0, rel=1e-3)


def test_a_position_jump_is_dropped() -> None:
    north = 0.0 * ALONG
    north[200] = 400.0
    track = clean_track(raw_track(ALONG, north), "made", False)
    assert track.counts["position_jumps_dropped"] == 1
    assert track.horizontal_m[-1] == pytest.approx(1995.0, abs=0.1)


def test_a_pause_with_the_recording_off_is_a_stop_and_no_riding_time() -> None:
    time = ALONG / 5.0 + np.where(ALONG >= 1000.0, 600.0, 0.0)
    track = clean_track(raw_track(ALONG, 0.0 * ALONG, None, time), "made", False)
    ((place, dwell),) = track.pauses
    assert place == pytest.approx(995.0, abs=0.5)
    assert dwell == pytest.approx(600.0, abs=3.0)
    assert track.moving_s is not None and track.moving_s[-1] == pytest.approx(399.0, abs=3.0)


def test_the_drift_of_a_standstill_adds_no_road() -> None:
    random = np.random.default_rng(3)
    steps = random.normal(0.0, 0.35, (2, 300))
    drift = np.array([np.convolve(axis, 0.96 ** np.arange(100))[:300] for axis in steps])
    east = np.concatenate((ALONG[:200], 1000.0 + drift[0], ALONG[201:]))
    north = np.concatenate((np.zeros(200), drift[1], np.zeros(199)))
    track = clean_track(raw_track(east, north, None, np.arange(len(east), dtype=float)), "made", False)
    wandered = float(np.hypot(*np.diff(drift, axis=1)).sum())
    assert wandered > 100.0 and track.counts["wandering_left_out_m"] == 0  # slower than walking
    assert track.horizontal_m[-1] == pytest.approx(1995.0, abs=12.0)
    assert sum(dwell for _, dwell in track.pauses) == pytest.approx(300.0, abs=10.0)


def test_a_straight_road_recorded_badly_makes_no_bend_below_25_km_h() -> None:
    for seed in range(8):
        random = np.random.default_rng(seed)
        along = 6.0 * np.arange(700)
        noise = random.normal(0.0, 1.0, (2, 700))
        keep = np.exp(-1.0 / 15.0)
        for axis in noise:
            axis[1:] *= np.sqrt(1.0 - keep**2)
            for i in range(1, 700):
                axis[i] += keep * axis[i - 1]
        noise = 3.0 * noise + random.normal(0.0, 0.5, (2, 700))
        track = clean_track(raw_track(along + noise[0], noise[1], None, np.arange(700.0)), "made", False)
        road = road_from_track(track, "made", 60.0, 5.0)
        assert np.sqrt(2.0 / road.curvature_per_m.max()) > 25.0 / 3.6


def test_a_round_bend_has_its_radius() -> None:
    angle = np.linspace(0.0, np.pi, 200)
    track = clean_track(raw_track(80.0 * np.sin(angle), 80.0 * (1.0 - np.cos(angle))), "made", False)
    road = road_from_track(track, "made", 60.0, 5.0)
    middle = road.curvature_per_m[len(road.curvature_per_m) // 2]
    assert 1.0 / middle == pytest.approx(80.0, rel=0.05)


def test_bearing_turns_from_east_through_north() -> None:
    angle = np.linspace(0.0, np.pi / 2.0, 200)
    track = clean_track(raw_track(500.0 * np.sin(angle), 500.0 * (1.0 - np.cos(angle))), "made", False)
    road = road_from_track(track, "made", 60.0, 5.0)
    assert road.bearing_deg[0] == pytest.approx(90.0, abs=2.0)
    assert np.abs((road.bearing_deg[-1] + 180.0) % 360.0 - 180.0) < 2.0


def test_length_is_along_the_surface() -> None:
    track = clean_track(raw_track(ALONG, 0.0 * ALONG, 0.2 * ALONG), "made", False)
    road = road_from_track(track, "made", 60.0, 5.0)
    assert road.length_m == pytest.approx(track.horizontal_m[-1] * np.sqrt(1.04), rel=1e-4)
    assert np.allclose(road.grade, 0.2, rtol=2e-3)


def test_recorded_speed_keeps_the_riding_time() -> None:
    speed = 5.0 + 2.0 * np.sin(ALONG / 150.0)
    time = np.concatenate(([0.0], np.cumsum(5.0 / speed[:-1])))
    track = clean_track(raw_track(ALONG, 0.0 * ALONG, None, time), "made", False)
    road = road_from_track(track, "made", 60.0, 5.0)
    assert road.recorded_speed_m_per_s is not None
    spent = np.trapezoid(1.0 / road.recorded_speed_m_per_s, road.distance_m)
    assert spent == pytest.approx(time[-1], rel=2e-3)
    assert np.allclose(road.recorded_speed_m_per_s[10:-10], np.interp(road.distance_m, ALONG, speed)[10:-10], atol=0.1)
