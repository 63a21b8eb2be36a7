"""Faults of recorders, each made on a road that is known: a gap or a guess, told with its place, never a wall."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ridesim.errors import RoadError
from ridesim.report.road.figure import draw_road
from ridesim.road.clean import clean_track
from ridesim.road.gpx import RawTrack
from ridesim.road.limits import DEFAULT_SMOOTHING_M, DEFAULT_SPACING_M
from ridesim.road.load import load_road
from ridesim.road.mendings import Mending, moved
from ridesim.road.places import OVER_M, place_report, steepest_places
from ridesim.road.profile import Road
from ridesim.road.survey import road_from_track

from .conftest import COPIED, gpx_xml, point_xml
from .made_tracks import METRES_PER_DEGREE_EAST, raw_track

SPEED = 6.0
SECONDS = np.arange(0.0, 601.0)
ALONG = SPEED * SECONDS
TRUE_ALTITUDE = 200.0 + 20.0 * np.sin(ALONG / 500.0)  # at most 4 %


def ride(**changes: np.ndarray) -> RawTrack:
    """Return a clean ride of 3.6 km to the east, a point a second, with some columns changed."""
    columns = {"altitude_m": TRUE_ALTITUDE.copy(), "time_s": SECONDS.copy()} | changes
    return raw_track(columns.pop("east_m", ALONG), np.zeros(len(columns["time_s"])), **columns)


def road_of(raw: RawTrack, as_it_is: bool = False) -> Road:
    track = clean_track(raw, "made", False, as_it_is)
    return road_from_track(track, "made", DEFAULT_SMOOTHING_M, DEFAULT_SPACING_M)


def steepest(road: Road) -> float:
    return float(np.abs(road.grade).max())


def kinds(road: Road) -> dict[str, Mending]:
    return {one.kind: one for one in road.mendings}


def test_a_clean_ride_has_no_mendings() -> None:
    road = road_of(ride())
    assert road.mendings == () and road.warnings == ()
    assert steepest(road) < 0.042


@pytest.mark.parametrize("frozen_s", [18, 25, 45])
@pytest.mark.parametrize("wander_m", [0.0, 0.3])
def test_a_frozen_fix_is_a_gap_and_no_wall(frozen_s: int, wander_m: float) -> None:
    """A tunnel: the same place again and again, then one leg with all of the way and all of the climb in a second."""
    tunnel = slice(300, 300 + frozen_s)
    east, altitude = ALONG.copy(), TRUE_ALTITUDE + 0.15 * np.clip(ALONG - 1800.0, 0.0, SPEED * frozen_s)
    east[tunnel] = ALONG[299] + wander_m * np.sin(np.arange(frozen_s))
    altitude[tunnel] = altitude[299]
    raw = ride(east_m=east, altitude_m=altitude)
    road, wall = road_of(raw), road_of(raw, as_it_is=True)
    gap = kinds(road)["frozen_fix"]
    assert gap.to_m - gap.from_m == pytest.approx(SPEED * (frozen_s + 1), rel=0.05) and gap.not_recorded
    assert gap.from_m == pytest.approx(1794.0, abs=8.0)
    assert road.recorded_pauses == () and len(wall.recorded_pauses) == 1
    assert road.cleaning is not None and road.cleaning.frozen_fixes == 1
    assert road.recorded_speed_m_per_s is not None
    assert np.allclose(road.recorded_speed_m_per_s, SPEED, atol=0.8)
    inside = road.grade[(road.distance_m > gap.from_m + 60.0) & (road.distance_m < gap.to_m - 60.0)]
    assert np.ptp(inside) < 0.01 if len(inside) else True
    assert place_report(road, 0.5 * (gap.from_m + gap.to_m)).looks_like == "recorder"
    assert any("frozen position with a leap" in text and "at 1.79" in text for text in road.warnings)


def test_a_gap_that_bends_is_as_long_as_it_was_ridden() -> None:
    """A curved tunnel: 60 s of riding come out 180 m further on."""
    east = np.concatenate((ALONG[:300], np.full(60, ALONG[299]), ALONG[299] + 180.0 + ALONG[:241]))
    altitude = np.concatenate((np.full(360, 100.0), np.full(241, 112.0)))
    raw = ride(east_m=east, altitude_m=altitude)
    road = road_of(raw)
    gap = kinds(road)["frozen_fix"]
    assert gap.to_m - gap.from_m == pytest.approx(61.0 * SPEED, rel=0.03)
    assert steepest(road) == pytest.approx(12.0 / 366.0, rel=0.1)


def test_a_stop_with_a_lost_fix_stays_a_stop() -> None:
    """Ten minutes indoors, then the fix is right again 60 m off: nobody rode 3.6 km there."""
    east = np.concatenate((ALONG[:300], np.full(600, ALONG[299]), ALONG[299] + 60.0 + ALONG[:300]))
    time = np.arange(float(len(east)))
    road = road_of(ride(east_m=east, time_s=time, altitude_m=np.full(len(east), 50.0)))
    assert road.length_m == pytest.approx(float(east[-1]), rel=0.01)
    (pause,) = road.recorded_pauses
    assert pause.dwell_s == pytest.approx(590.0, abs=12.0)


@pytest.mark.parametrize("drift_m", [-12.0, 9.0])
def test_altitude_that_drifts_in_a_stop_makes_no_wall(drift_m: float) -> None:
    east = np.concatenate((ALONG[:300], np.full(120, ALONG[299]), ALONG[300:]))
    true = np.concatenate((TRUE_ALTITUDE[:300], np.full(120, TRUE_ALTITUDE[299]), TRUE_ALTITUDE[300:]))
    drift = np.interp(np.arange(len(east)), [300, 420], [0.0, drift_m])
    raw = ride(east_m=east, time_s=np.arange(float(len(east))), altitude_m=true + drift)
    road, wall = road_of(raw), road_of(raw, as_it_is=True)
    assert steepest(wall) > 0.1 and steepest(road) < 0.095
    assert kinds(road)["altitude_unsettled"].from_m == pytest.approx(1800.0, abs=12.0)


@pytest.mark.parametrize("points", [1, 4, 20])
@pytest.mark.parametrize("off_m", [-12.0, -30.0, 25.0])
@pytest.mark.parametrize("end", ["first", "last"])
def test_wrong_altitudes_at_an_end_make_no_wall(points: int, off_m: float, end: str) -> None:
    altitude = TRUE_ALTITUDE.copy()
    altitude[slice(0, points) if end == "first" else slice(-points, None)] += off_m
    raw = ride(altitude_m=altitude)
    road, wall = road_of(raw), road_of(raw, as_it_is=True)
    assert steepest(wall) > 0.12 and steepest(road) < 0.07
    mending = kinds(road)["altitude_unsettled"]
    assert mending.points >= points
    assert mending.from_m == 0.0 if end == "first" else mending.to_m == pytest.approx(road.length_m, abs=1.0)


@pytest.mark.parametrize("where", [slice(0, 30), slice(-30, None), slice(200, 260)])
def test_zeros_are_holes_at_the_ends_too(where: slice) -> None:
    altitude = TRUE_ALTITUDE.copy()
    altitude[where] = 0.0
    road = road_of(ride(altitude_m=altitude))
    assert kinds(road)["altitude_missing"].points == len(altitude[where])
    assert steepest(road) < 0.05


@pytest.mark.parametrize("altitude_m", [-672.0, 1e9, 12_000.0])
def test_an_impossible_altitude_is_a_missing_one(altitude_m: float) -> None:
    altitude = TRUE_ALTITUDE.copy()
    altitude[100:105] = altitude_m
    for as_it_is in (False, True):
        road = road_of(ride(altitude_m=altitude), as_it_is)
        assert kinds(road)["altitude_impossible"].points == 5
        assert steepest(road) < 0.045
    assert road.cleaning is not None and road.cleaning.altitudes_impossible == 5
    assert road.cleaning.climb_raw_m < 200.0


@pytest.mark.parametrize("step_m", [2.0, 5.0, 10.0])
@pytest.mark.parametrize("noise_m", [0.0, 0.6])
def test_altitude_in_steps_is_one_word_and_the_road_between(step_m: float, noise_m: float) -> None:
    """Hills of at most 6 %: by its steps each would be a staircase of walls, part road, part recorder."""
    true = 200.0 + 60.0 * np.sin(ALONG / 1000.0)
    noise = np.random.default_rng(4).normal(0.0, noise_m, len(ALONG))
    raw = ride(altitude_m=step_m * np.round((true + noise) / step_m))
    road, wall = road_of(raw), road_of(raw, as_it_is=True)
    assert steepest(road) < 0.078 and (step_m < 5.0 or steepest(wall) > steepest(road) + 0.01)
    assert road.climb_m == pytest.approx(float(np.diff(true)[np.diff(true) > 0].sum()), abs=1.5 * step_m)
    assert np.abs(road.altitude_m - np.interp(road.distance_m, ALONG, true)).max() < 0.5 * step_m + 1.0
    (one,) = road.mendings
    assert (one.kind, one.from_m) == ("steps", 0.0) and one.points >= 100.0 / step_m
    assert (
        f"the altitude comes in steps of {step_m:.0f} m: the road is drawn through the middle of each" in road.warnings
    )
    places = steepest_places(road)
    assert places and {place.looks_like for place in places} == {"road"}
    for place in places:
        assert place.recorded_grade is not None and place.recorded_grade[1] == pytest.approx(place.grade[1], abs=0.03)
    assert all(each.kind != "steps" for each in wall.mendings)


@pytest.mark.parametrize("altitude_m", [np.round(TRUE_ALTITUDE), np.where(ALONG > 1800.0, 112.0, 100.0), TRUE_ALTITUDE])
def test_what_comes_in_no_steps_is_left(altitude_m: np.ndarray) -> None:
    """Whole metres, one terrace, a clean ride."""
    assert "steps" not in kinds(road_of(ride(altitude_m=altitude_m)))


def test_a_leap_of_the_altitude_on_the_way_is_spread() -> None:
    altitude = TRUE_ALTITUDE + np.where(ALONG > 1500.0, 14.0, 0.0)
    raw = ride(altitude_m=altitude)
    road, wall = road_of(raw), road_of(raw, as_it_is=True)
    assert steepest(wall) > 0.17 and steepest(road) < 0.12
    assert kinds(road)["altitude_unsettled"].from_m == pytest.approx(1506.0, abs=12.0)


def test_a_steep_street_is_no_fault() -> None:
    """18 % for 120 m in the middle, and 15 % from the very start: the road's own, and kept."""
    hill = 0.18 * np.clip(ALONG - 1500.0, 0.0, 120.0) + 0.15 * np.clip(ALONG - 2500.0, 0.0, 200.0)
    road = road_of(ride(altitude_m=200.0 + hill))
    assert road.mendings == () and steepest(road) > 0.165
    place = steepest_places(road, 1)[0]
    assert place.looks_like == "road" and place.at_m == pytest.approx(1560.0, abs=15.0)
    climb = road_of(ride(altitude_m=100.0 + 0.12 * ALONG))
    assert climb.mendings == () and climb.grade.min() > 0.115


@pytest.mark.parametrize("where", ["first", "last", "middle"])
@pytest.mark.parametrize("count", [1, 3])
def test_points_far_off_are_dropped_with_a_word(where: str, count: int) -> None:
    """A last point 13 km off, a first one, or some between."""
    east = ALONG.copy()
    at = {"first": slice(0, count), "last": slice(-count, None), "middle": slice(300, 300 + count)}[where]
    east[at] += 13_000.0
    road = road_of(ride(east_m=east))
    assert road.length_m == pytest.approx(3600.0, abs=25.0)
    told = kinds(road).get("far_points") or kinds(road)["position_jump"]
    assert told.points == count and not told.not_recorded
    assert road.warnings


def test_points_at_zero_degrees_are_dropped() -> None:
    raw = ride()
    latitude, longitude = raw.latitude_deg.copy(), raw.longitude_deg.copy()
    latitude[:40], longitude[:40] = 0.0, 0.0
    latitude[200], longitude[200] = 0.0, 0.0
    road = road_of(replace(raw, latitude_deg=latitude, longitude_deg=longitude))
    assert road.length_m == pytest.approx(3600.0 - 240.0, abs=10.0)
    assert sum(one.points for one in road.mendings if one.kind == "far_points") == 2  # repeats are one point


def test_a_leap_over_half_the_globe_is_refused_and_numbered() -> None:
    raw = ride()
    longitude = raw.longitude_deg.copy()
    longitude[300:] += 60.0
    with pytest.raises(RoadError, match=r"points 300 and 301 are \d+ km apart \(at most 100 km\)"):
        road_of(replace(raw, longitude_deg=longitude))


def test_a_road_that_is_too_long_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "long.gpx"
    there_and_back = [point_xml(40.0 + 0.8 * (i % 2), 0.005 * i, 1.0) for i in range(70)]
    path.write_text(gpx_xml("".join(there_and_back)))
    with pytest.raises(RoadError, match=r"the road is 6130 km long, at most 5000 km; cut it"):
        load_road(path)
    path.write_text(gpx_xml("".join(there_and_back[:40])))
    assert load_road(path).length_m == pytest.approx(3.46e6, rel=0.01)
    with pytest.raises(RoadError, match=r"nodes, at most 2000000; set them wider apart than 1 m"):
        load_road(path, spacing_m=1.0)


def test_too_many_laps_are_refused(tmp_path: Path) -> None:
    road = road_of(ride())
    with pytest.raises(RoadError, match="at most 5000 km"):
        road.repeated(1_000_000)


def test_a_clock_that_runs_for_months_is_not_used() -> None:
    """A recorder whose clock is set on the way."""
    time = SECONDS.copy()
    time[300:] += 1e9
    from ridesim.road.gpx import _believable_clock

    seconds, told = _believable_clock(time, 0)
    assert np.isnan(seconds).all() and "days" in told[0]


def test_mendings_move_with_the_road() -> None:
    altitude = TRUE_ALTITUDE.copy()
    altitude[300:320] = np.nan
    road = road_of(ride(altitude_m=altitude))
    (one,) = road.mendings
    assert one.from_m == pytest.approx(1800.0, abs=3.0) and one.points == 20
    (cut,) = road.slice(1500.0, 1850.0).mendings
    assert cut.from_m == pytest.approx(300.0, abs=6.0) and cut.to_m == pytest.approx(350.0, abs=6.0)
    assert road.slice(0.0, 1000.0).mendings == ()
    laps = road.repeated(2).mendings
    assert laps[1].from_m - laps[0].from_m == pytest.approx(road.length_m)
    assert moved((one,), 0.0, 10.0, 0.0) == ()


def test_the_picture_shows_what_was_mended() -> None:
    altitude = TRUE_ALTITUDE.copy()
    altitude[300:330] = np.nan
    figure = draw_road(road_of(ride(altitude_m=altitude)))
    words = [text.get_text() for axes in figure.axes for text in axes.texts]
    assert any(text.startswith("mended: altitude") for text in words)
    spans = [patch for patch in figure.axes[0].patches if patch.get_alpha() == 0.18]
    assert len(spans) == 1


def test_grades_of_a_place_are_those_of_the_road() -> None:
    ramp = 0.12 * np.clip(ALONG - 1500.0, 0.0, 400.0)
    road = road_of(ride(altitude_m=ramp))
    place = place_report(road, 1700.0)
    assert place.grade == pytest.approx((0.12, 0.12, 0.12), rel=0.02)
    assert place.recorded_grade == pytest.approx((0.12, 0.12, 0.12), rel=0.01)
    assert place.recorded_speed_m_per_s == pytest.approx(SPEED, rel=0.01)
    assert "12 % over 10 m, 12 % over 30 m, 12 % over 100 m; it looks like the road" in place.words
    edge = place_report(road, 1500.0)
    assert edge.grade[0] < edge.grade[1] + 0.001 < 0.075 and edge.grade[2] == pytest.approx(0.06, rel=0.05)
    assert len(place.grade) == len(OVER_M)
    for at in (-1.0, road.length_m + 1.0):
        with pytest.raises(RoadError, match="no place"):
            place_report(road, at)
    assert place_report(road, 0.0).grade[2] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("slope", "speed", "looks_like", "words"), [
    (0.13, 8.0, "road", "recorded 13 %"), (0.13, 10.0, "recorder", "a motor needs 13 W a kilogram"),
    (0.3, 16.5, "recorder", "if one had that it is the road"), (0.3, 17.5, "recorder", "nobody climbs so fast"),
])  # fmt: skip
def test_no_legs_climb_faster_than_12_watts_a_kilogram(slope: float, speed: float, looks_like: str, words: str) -> None:
    """ "Nobody climbs so fast" was said of a ramp that a motor bicycle of 1.4 kW had ridden."""
    altitude = slope * np.clip(ALONG - 1500.0, 0.0, 300.0)
    road = road_of(ride(altitude_m=altitude, time_s=ALONG / speed))
    place = place_report(road, 1650.0)
    assert place.looks_like == looks_like and words in place.because


def test_a_hump_of_the_altitude_looks_like_the_recorder() -> None:
    hump = 5.0 * np.exp(-0.5 * ((ALONG - 1800.0) / 22.0) ** 2)
    place = steepest_places(road_of(ride(altitude_m=hump)), 1)[0]
    assert place.looks_like == "recorder" and "up and down again" in place.because


def test_steepest_places_of_the_demo_climb_keep_apart() -> None:
    road = load_road(COPIED.parents[2] / "routes" / "ridge-climb.gpx")
    places = steepest_places(road)
    assert len(places) == 5 and places[0].at_m == pytest.approx(4120.0, abs=40.0)
    assert places[0].grade[1] == pytest.approx(float(road.grade.max()), rel=0.03)
    apart = np.abs(np.subtract.outer([place.at_m for place in places], [place.at_m for place in places]))
    assert apart[apart > 0.0].min() >= 100.0
    assert steepest_places(load_road(COPIED / "zero-ele.gpx")) == ()


def test_east_of_the_helper_is_metres() -> None:
    raw = ride()
    assert (raw.longitude_deg[-1] - 7.0) * METRES_PER_DEGREE_EAST == pytest.approx(3600.0)


def test_each_fault_is_told_once_and_costs_no_more_than_itself() -> None:
    altitude = TRUE_ALTITUDE.copy()
    altitude[:8] -= 14.0
    altitude[300] = -672.0
    road = road_of(ride(altitude_m=altitude))
    found = {one.kind: one for one in road.mendings}
    assert set(found) == {"altitude_unsettled", "altitude_impossible"}
    assert found["altitude_unsettled"].points == 8 and found["altitude_unsettled"].to_m < 50.0
    assert any(text.startswith("1 altitude that no place on land has: at 1.80 km") for text in road.warnings)


def twice(keep: slice = slice(None), **changes: np.ndarray) -> RawTrack:
    """Return a ride with a second segment that holds (part of) the first one again."""
    east, clock, altitude = (np.concatenate((column, column[keep])) for column in (ALONG, SECONDS, TRUE_ALTITUDE))
    segment = np.repeat([0, 1], [len(ALONG), len(east) - len(ALONG)])
    columns = {"east_m": east, "time_s": clock, "altitude_m": altitude, "segment": segment} | changes
    return ride(**columns)


@pytest.mark.parametrize("keep", [slice(None), slice(200, 500), slice(-3, None)])
def test_a_ride_written_twice_is_ridden_once(keep: slice) -> None:
    once, road, as_it_is = road_of(ride()), road_of(twice(keep)), road_of(twice(keep), as_it_is=True)
    copied = len(SECONDS[keep])
    assert road.length_m == pytest.approx(once.length_m, abs=0.1) and as_it_is.length_m > once.length_m + 10.0
    assert road.cleaning is not None and once.cleaning is not None
    assert road.cleaning.copied_points_dropped == copied and road.cleaning.points_read == 601 + copied
    assert road.cleaning.climb_raw_m == pytest.approx(once.cleaning.climb_raw_m)
    assert list(kinds(road)) == ["copied"] and road.recorded_pauses == ()
    assert [text for text in road.warnings if f"{copied} points written twice" in text] == list(road.warnings)


def test_a_part_that_goes_on_behind_its_copy_is_kept() -> None:
    """The second segment repeats the last hundred seconds of the first and rides on."""
    east = np.concatenate((ALONG[:400], ALONG[300:]))
    clock = np.concatenate((SECONDS[:400], SECONDS[300:]))
    segment = np.repeat([0, 1], [400, 301])
    road = road_of(ride(east_m=east, time_s=clock, segment=segment, altitude_m=np.interp(east, ALONG, TRUE_ALTITUDE)))
    assert road.length_m == pytest.approx(road_of(ride()).length_m, abs=0.1)
    assert road.cleaning is not None and road.cleaning.copied_points_dropped == 100


def test_repeats_are_no_copies_where_the_clock_goes_back_elsewhere() -> None:
    """Four readings at one place in one second, and later a part with an earlier clock."""
    clock, east = SECONDS - np.where(SECONDS >= 400.0, 5000.0, 0.0), ALONG.copy()
    clock[100:104], east[100:104] = clock[100], east[100]
    found = kinds(road_of(ride(time_s=clock, east_m=east, segment=np.repeat([0, 1], [400, 201]))))
    assert list(found) == ["earlier_part"]


@pytest.mark.parametrize("later_s", [1000.0, np.nan])
def test_a_second_lap_is_no_copy(later_s: float) -> None:
    """The same places at other times, or without times, are ridden again."""
    clock = np.concatenate((SECONDS, SECONDS + later_s)) if later_s == later_s else np.full(1202, np.nan)
    back = np.concatenate((ALONG, ALONG[::-1]))
    road = road_of(ride(east_m=back, time_s=clock, altitude_m=np.interp(back, ALONG, TRUE_ALTITUDE)))
    assert road.length_m == pytest.approx(7200.0, rel=0.01) and "copied" not in kinds(road)


@pytest.mark.parametrize(("later_s", "told"), [(-5000.0, True), (1.0, False)])
def test_a_part_with_an_earlier_clock_is_told(later_s: float, told: bool) -> None:
    clock = np.concatenate((SECONDS[:300], SECONDS[300:] + later_s))
    road = road_of(ride(time_s=clock, segment=np.repeat([0, 1], [300, 301])))
    assert road.length_m == pytest.approx(3600.0, rel=0.01)
    assert ("earlier_part" in kinds(road)) == told
    assert road.cleaning is not None and road.cleaning.parts_with_earlier_clock == told
    assert any("whose clock is earlier" in text and "1.79 km" in text for text in road.warnings) == told


@pytest.mark.parametrize("tick_s", [10.0, 60.0])
@pytest.mark.parametrize("up", [0.0, 0.5])  # cut, or rounded
@pytest.mark.parametrize("every", [1, 5])
def test_a_clock_of_whole_minutes_makes_no_pauses(tick_s: float, up: float, every: int) -> None:
    clock, altitude = np.floor(SECONDS / tick_s + up) * tick_s, TRUE_ALTITUDE[::every]
    raw = ride(time_s=clock[::every], east_m=ALONG[::every], altitude_m=altitude)
    road, as_it_is = road_of(raw), road_of(raw, as_it_is=True)
    assert road.recorded_pauses == () and road.recorded_speed_m_per_s is not None
    assert np.allclose(road.recorded_speed_m_per_s, SPEED, rtol=0.1)
    assert "ticks" not in kinds(as_it_is)
    assert len(as_it_is.recorded_pauses) >= 9 or tick_s < 60.0 or every > 1
    ticks = round(600.0 / tick_s)
    assert road.cleaning is not None and road.cleaning.clock_ticks_spread == ticks
    (told,) = road.warnings
    assert told.startswith(f"{ticks} ticks of a coarse clock") and "0.00 to 3.60 km" in told


@pytest.mark.parametrize("written", [True, False])
def test_a_stop_of_minutes_is_kept_by_a_clock_of_minutes(written: bool) -> None:
    """Five minutes at one place, with a fix a second or with none, and times cut to minutes."""
    east = np.concatenate((ALONG[:310], np.full(300, ALONG[309]), ALONG[310:]))
    seconds = np.arange(float(len(east)))
    keep = np.ones(len(east), dtype=bool)
    keep[310:610] = written
    clock, altitude = np.floor(seconds / 60.0) * 60.0, np.interp(east, ALONG, TRUE_ALTITUDE)
    road = road_of(ride(east_m=east[keep], time_s=clock[keep], altitude_m=altitude[keep]))
    (pause,) = road.recorded_pauses
    assert pause.distance_m == pytest.approx(1854.0, abs=10.0) and pause.dwell_s == pytest.approx(300.0, abs=61.0)
    assert road.recorded_speed_m_per_s is not None
    assert float(np.median(road.recorded_speed_m_per_s)) == pytest.approx(SPEED, rel=0.05)


@pytest.mark.parametrize("every", [10, 60])
def test_a_fix_every_ten_seconds_is_no_tick(every: int) -> None:
    road = road_of(ride(east_m=ALONG[::every], time_s=SECONDS[::every], altitude_m=TRUE_ALTITUDE[::every]))
    assert "ticks" not in kinds(road) and road.recorded_pauses == ()


def shuttle(fix_s: float, seconds: float, speed: float) -> tuple[np.ndarray, np.ndarray]:
    """Return times and places of a ride to and fro, a whole turn exactly every 10 s."""
    clock = np.arange(0.0, seconds + 1.0, fix_s)
    return clock, 5.0 * speed * np.interp(clock % 10.0, [0.0, 5.0, 10.0], [0.0, 1.0, 0.0])


@pytest.mark.parametrize(("fix_s", "speed"), [(1.0, 6.0), (2.0, 6.0), (1.0, 3.2)])
def test_to_and_fro_at_riding_speed_is_ridden(fix_s: float, speed: float) -> None:
    """A standing receiver leads nowhere in ten seconds as well, but not so fast for minutes."""
    clock, east = shuttle(fix_s, 400.0, speed)
    road = road_of(raw_track(east, 0.0 * east, np.full(len(east), 50.0), clock))
    line = float(np.abs(np.diff(east)).sum())
    assert line > 0.7 * speed * 400.0
    assert road.length_m == pytest.approx(line, rel=0.02) and road.recorded_pauses == ()
    assert "left_out" not in kinds(road)


def test_a_stop_amid_to_and_fro_is_a_stop() -> None:
    east = shuttle(1.0, 100.0, 6.0)[1]
    still = 0.4 * np.sin(np.arange(300.0))
    east = np.concatenate((east, still, east))
    road = road_of(raw_track(east, 0.0 * east, np.full(len(east), 50.0), np.arange(float(len(east)))))
    (pause,) = road.recorded_pauses
    assert pause.dwell_s == pytest.approx(300.0, abs=12.0) and road.length_m == pytest.approx(1200.0, rel=0.03)


@pytest.mark.parametrize(("fix_s", "seconds", "speed", "left_m"), [(1.0, 400.0, 2.8, 1100), (5.0, 400.0, 6.0, 2340)])
def test_what_may_be_wandering_is_left_out_with_its_metres(
    fix_s: float, seconds: float, speed: float, left_m: int
) -> None:
    """Too slow to be surely ridden, or a turn at every fix: as a receiver wanders between two echoes."""
    clock, east = shuttle(fix_s, seconds, speed)
    road = road_of(raw_track(east, 0.0 * east, np.full(len(east), 50.0), clock))
    assert len(road.recorded_pauses) == 1 and road.cleaning is not None
    assert road.cleaning.wandering_left_out_m == pytest.approx(left_m, rel=0.05)
    assert any(f"{road.cleaning.wandering_left_out_m} m of line to and fro" in text for text in road.warnings)
