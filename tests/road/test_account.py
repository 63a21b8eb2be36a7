"""The account of a road: what it has, and what was cleaned."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ridesim.report.road.figure import draw_road
from ridesim.report.road.text import road_text
from ridesim.road.account import bends, road_account, speed_limits, surface_stretches
from ridesim.road.load import load_road
from ridesim.road.made import make_climb, make_flat, make_ramp
from ridesim.road.profile import Stop


def test_steepest_stretch_of_a_ramp_and_its_place() -> None:
    account = road_account(make_ramp(400.0, 150.0, 15.0, run_out_m=300.0))
    assert account["steepest_up_percent"] == pytest.approx(15.0, rel=1e-3)
    assert 0.39 <= account["steepest_up_from_km"] <= 0.46
    assert account["steepest_down_percent"] == 0.0


def test_climb_of_a_made_road_is_the_same_by_each_plain_sum() -> None:
    account = road_account(make_climb(1000.0, 10.0))
    assert account["climb_raw_m"] == account["climb_smoothed_m"] == pytest.approx(1000.0 * math.sin(math.atan(0.1)))
    assert account["cleaning"] is None and account["road_kind"] == "made"


def test_surfaces_cover_the_road_and_limits_are_told() -> None:
    road = make_flat(2000.0).with_surface(500.0, 900.0, "gravel").with_speed_limit(100.0, 700.0, 5.0)
    road = road.with_stops((Stop(300.0, 12.0),))
    account = road_account(road)
    assert sum(account["surfaces_km"].values()) == pytest.approx(2.0)
    assert account["surfaces_km"]["gravel"] == pytest.approx(0.4, abs=0.012)
    assert [row["kind"] for row in surface_stretches(road)] == ["asphalt", "gravel", "asphalt"]
    (limit,) = speed_limits(road)
    assert limit["speed_km_h"] == pytest.approx(18.0) and limit["to_km"] == pytest.approx(0.7, abs=0.011)
    assert account["stops"] == [{"at_km": 0.3, "dwell_s": 12.0}]


def test_a_bend_is_told_once_with_its_radius() -> None:
    road = make_flat(1000.0)
    curvature = np.where(np.abs(road.distance_m - 600.0) < 20.0, 1.0 / 20.0, 0.0)
    (bend,) = bends(replace(road, curvature_per_m=curvature))
    assert bend["radius_m"] == pytest.approx(20.0)
    assert bend["careful_speed_km_h"] == pytest.approx(3.6 * math.sqrt(40.0))


def test_a_recording_keeps_its_raw_altitude_beside_the_smoothed(root: Path) -> None:
    road = load_road(root / "routes" / "terrace-round.gpx")
    assert road.recorded_altitude_m is not None and len(road.recorded_altitude_m) == len(road.altitude_m)
    assert 0.0 < float(np.abs(road.recorded_altitude_m - road.altitude_m).max()) < 10.0
    account = road_account(road)
    assert account["climb_raw_m"] > account["climb_smoothed_m"]
    assert road.slice(1000.0, 2000.0).recorded_altitude_m is not None
    assert road.flattened().recorded_altitude_m is None and road.repeated(2).recorded_altitude_m is None
    json.dumps(account)


def test_words_and_picture_tell_the_same_road(root: Path) -> None:
    road = load_road(root / "routes" / "valley-commute.toml")
    account = road_account(road)
    text = road_text(road, account)
    for words in ("0.6 km (15 s)", "cobbles", "smoothed (ridden)", "How the climb is counted"):
        assert words in text
    assert "mph" in road_text(road, account, "imperial") and "km/h" not in road_text(road, account, "imperial")
    told = "\n".join(text.get_text() for axes in draw_road(road).axes for text in axes.texts)
    assert "4 stops" in told and "speed limits [km/h]: 20, 15" in told


def test_road_command_answers_in_text_json_files_and_page(ridesim_command, tmp_path: Path) -> None:
    out, page = tmp_path / "out", tmp_path / "road.html"
    done = ridesim_command("road", "routes/valley-commute.toml", "--json", "--out", out, "--report", page)
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert answer["schema"] == "ridesim.road/2" and answer["cleaning"]["points_read"] == 1343
    assert {path.name for path in out.glob("[!.]*")} == {"road.json", "road.png"}
    assert "The road in figures" in page.read_text(encoding="utf-8")
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_a_page_that_cannot_be_written_is_one_clear_line(ridesim_command, tmp_path: Path) -> None:
    done = ridesim_command("road", "routes/ridge-climb.gpx", "--report", tmp_path)
    assert done.returncode == 2 and done.stdout == ""
    assert done.stderr.strip() == f"{tmp_path}: is a folder, not a file; name a file in it"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("percent", [12.0, -12.0, 25.0])
def test_a_made_grade_is_told_as_it_was_asked_for(percent: float):
    """Rise over run, as the road is made, not rise over the way along the surface (11.9 for 12)."""
    told = road_account(make_climb(1000.0, percent))
    way = "up" if percent > 0.0 else "down"
    assert told[f"steepest_{way}_percent"] == pytest.approx(abs(percent), rel=1e-9)
