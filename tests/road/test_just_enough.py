"""Each guess that decides what a recorder's fault is: a recording just inside it, and one just outside."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from ridesim.report.road import text
from ridesim.report.road.figure import MENDED, draw_road
from ridesim.road.mendings import KINDS
from ridesim.road.order import disorder
from ridesim.road.pauses import FASTEST_M_PER_S
from ridesim.road.profile import Cleaning
from ridesim.units import from_si

from .made_tracks import raw_track
from .test_faults import ALONG, SECONDS, kinds, ride, road_of, twice


def test_two_points_written_again_are_no_copy() -> None:
    assert "copied" not in kinds(road_of(twice(slice(-2, None)))) and "copied" in kinds(road_of(twice(slice(-3, None))))


@pytest.mark.parametrize(("wrong", "used"), [(20, True), (21, False)])
def test_a_clock_is_used_where_at_most_a_fifth_of_it_is_out_of_order(wrong: int, used: bool) -> None:
    time = np.arange(100.0)
    time[:wrong] = 1e6 - time[:wrong]
    keep, told, timed = disorder(raw_track(6.0 * np.arange(100.0), np.zeros(100), None, time))
    assert timed == used and int(keep.sum()) == (100 - wrong if used else 100)
    assert told == (() if used else (f"{wrong} of 100 points run backwards in time: the recorded times are not used",))


@pytest.mark.parametrize(("without", "used"), [(10, True), (11, False)])
def test_a_clock_is_used_where_at_most_a_tenth_of_it_is_missing(without: int, used: bool) -> None:
    time = np.arange(100.0)
    time[30 : 30 + without] = np.nan
    keep, told, timed = disorder(raw_track(6.0 * np.arange(100.0), np.zeros(100), None, time))
    assert keep.all() and timed == used and bool(told) != used


@pytest.mark.parametrize(("wrong", "mended"), [(6, True), (7, False)])
def test_a_clock_that_is_wrong_too_often_is_not_mended(wrong: int, mended: bool) -> None:
    """One in a hundred of 601 readings are six."""
    time = SECONDS.copy()
    time[50 : 50 + 70 * wrong : 70] -= 3600.0
    cleaning = road_of(ride(time_s=time)).cleaning
    assert cleaning is not None
    assert (cleaning.times_left_out, cleaning.out_of_order_dropped) == ((wrong, 0) if mended else (0, wrong))


@pytest.mark.parametrize(("legs", "kind"), [(3.9, "time_wrong"), (4.1, "out_of_order")])
def test_a_wrong_time_beside_its_neighbour_keeps_its_place(legs: float, kind: str) -> None:
    more = np.where(SECONDS >= 101.0, legs - 1.0, 0.0)
    time, east = SECONDS + more, ALONG + 6.0 * more
    time[101] -= 3600.0
    found = kinds(road_of(ride(time_s=time, east_m=east)))
    assert list(found) == [kind] and found[kind].points == 1


@pytest.mark.parametrize(("faster", "kind"), [(1.9, "time_wrong"), (2.2, "clock_set_back")])
def test_wrong_times_are_left_out_where_those_beside_them_leave_a_believable_pace(faster: float, kind: str) -> None:
    time = SECONDS.copy()
    time[201:] -= 51.0 * (1.0 - 1.0 / faster)  # from point 150 to 201 in so much less
    time[151:201] = SECONDS[151:201] + 1e6
    assert set(kinds(road_of(ride(time_s=time)))) == {kind}


def test_a_clock_that_goes_on_unevenly_does_not_tick() -> None:
    edges = np.cumsum(np.tile([10.0, 14.0], 26))
    assert "ticks" not in kinds(road_of(ride(time_s=edges[np.searchsorted(edges, SECONDS, side="right")])))


@pytest.mark.parametrize(("parts", "ticks"), [(4, True), (5, False)])
def test_a_ticking_clock_may_go_back_three_times(parts: int, ticks: bool) -> None:
    part = (SECONDS * parts / 601.0).astype(np.int64)
    clock = np.floor(SECONDS / 10.0) * 10.0 - 6000.0 * part
    assert ("ticks" in kinds(road_of(ride(time_s=clock, segment=part)))) == ticks


@pytest.mark.parametrize(("grade", "steps"), [(0.15, True), (0.18, False)])
def test_altitudes_that_move_at_most_points_come_in_no_steps(grade: float, steps: bool) -> None:
    """In steps of 2 m: at 15 % 45 points in a hundred move by one, at 18 % 54."""
    assert ("steps" in kinds(road_of(ride(altitude_m=2.0 * np.round(0.5 * grade * ALONG))))) == steps


@pytest.mark.parametrize(("every", "steps"), [(6, True), (4, False)])
def test_altitudes_that_often_move_by_two_come_in_no_steps(every: int, steps: bool) -> None:
    change = np.zeros(len(ALONG))
    moved = np.arange(20, len(ALONG), 20)
    change[moved] = np.where(np.arange(len(moved)) % every == 0, 4.0, 2.0)
    road = road_of(ride(altitude_m=100.0 + np.cumsum(change)))
    assert ("steps" in kinds(road)) == steps and road.cleaning is not None
    assert road.cleaning.altitude_steps_evened == (len(moved) if steps else 0)


@pytest.mark.parametrize(("speed", "told"), [(29.0, False), (31.0, True)])
def test_a_leg_is_believed_up_to_108_km_h(speed: float, told: bool) -> None:
    """A guess; 120 m between two points."""
    east = ALONG + np.where(SECONDS >= 300.0, 114.0, 0.0)
    time = SECONDS + np.where(SECONDS >= 300.0, 120.0 / speed - 1.0, 0.0)
    assert ("pace" in kinds(road_of(ride(east_m=east, time_s=time)))) == told
    assert f" {from_si(FASTEST_M_PER_S, 'km_h'):.0f} km/h" in KINDS["pace"]


@pytest.mark.parametrize(("seconds", "ridden"), [(40.0, False), (80.0, True)])
def test_to_and_fro_is_ridden_from_a_minute_on(seconds: float, ridden: bool) -> None:
    """To and fro on 30 m, between two rides straight on."""
    clock = np.arange(0.0, seconds)
    shuttle = 600.0 + 30.0 * np.interp(clock % 10.0, [0.0, 5.0, 10.0], [0.0, 1.0, 0.0])
    east = np.concatenate((6.0 * np.arange(100.0), shuttle, 600.0 + 6.0 * np.arange(100.0)))
    road = road_of(raw_track(east, 0.0 * east, np.full(len(east), 50.0), np.arange(float(len(east)))))
    assert (road.recorded_pauses == ()) == ridden == ("left_out" not in kinds(road))


def test_a_line_that_turns_at_most_fixes_is_a_receivers() -> None:
    """Ten legs of 6 m that end where they began: two of ten go straight on."""
    cycle = np.radians([90.0, 90.0, 270.0, 270.0, 0.0, 180.0, 0.0, 180.0, 90.0, 270.0])
    heading = np.tile(cycle, 20)
    east, north = (np.concatenate(([0.0], np.cumsum(6.0 * part(heading)))) for part in (np.sin, np.cos))
    road = road_of(raw_track(east, north, np.full(len(east), 50.0), np.arange(float(len(east)))))
    assert len(road.recorded_pauses) == 1 and "left_out" in kinds(road)


def test_every_fault_has_its_words_in_text_and_picture() -> None:
    counted = {one.name for one in fields(Cleaning) if one.type == "int"}
    assert counted - {"points_read", "points_used", "segments", "gaps", "pauses"} == set(text.MENDED)
    assert set(MENDED) == set(KINDS)
    words = [each.get_text() for axes in draw_road(road_of(twice())).figure.axes for each in axes.texts]
    assert "mended: copies" in words
