"""The main job from the command line: answers, files, JSON, and one clear line for bad input."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import pytest

KEYS = [
    "distance_km",
    "total_time_s",
    "moving_time_s",
    "mean_speed_km_h",
    "pack_energy_out_wh",
    "pack_energy_returned_wh",
    "net_energy_wh",
    "net_wh_per_km",
    "charge_left_fraction",
    "range_km",
    "peak_motor_current_a",
    "peak_pack_current_a",
    "peak_cell_current_a",
    "lowest_pack_voltage_v",
    "peak_winding_temp_c",
    "peak_winding_temp_at_km",
    "peak_body_temp_c",
    "peak_controller_temp_c",
    "peak_pack_temp_c",
    "limits",
    "ledger_wh",
    "ledger_residual_fraction",
    "finished",
    "stop_reason",
    "defaults_used",
    "warnings",
]

BELT, CLIMB = "configs/longtail-belt.toml", "routes/ridge-climb.gpx"


def test_answer_fits_a_screen_and_ends_with_zero(ridesim_command):
    done = ridesim_command("ride", BELT, CLIMB)
    assert done.returncode == 0, done.stderr
    assert 8 < len(done.stdout.splitlines()) <= 30
    for word in ("distance", "range", "hottest winding", "pack current", "km/h"):
        assert word in done.stdout


def test_json_is_the_summary_alone(ridesim_command):
    done = ridesim_command("ride", BELT, CLIMB, "--json")
    answer = json.loads(done.stdout)
    assert not [key for key in KEYS if key not in answer]
    assert answer["schema"] == "ridesim.ride/2"
    assert answer["finished"] is True
    assert abs(answer["ledger_residual_fraction"]) < 1e-6
    assert len(answer["inputs"]["build"]["sha256"]) == 64
    assert {"name", "seconds", "first_at_km"} <= set(answer["limits"][0])


def test_same_inputs_give_the_same_bytes(ridesim_command, ridesim_process):
    """In this process, and in a new one that knows nothing yet."""
    first, second = (run("ride", BELT, CLIMB, "--json") for run in (ridesim_command, ridesim_process))
    assert first.stdout == second.stdout
    assert first.returncode == second.returncode == 0
    assert ridesim_process("ride", BELT, "none.gpx").returncode == 2


def test_imperial_shows_miles_and_json_stays_metric(ridesim_command):
    text = ridesim_command("ride", BELT, CLIMB, "--units", "imperial").stdout  # with its spans
    assert "mph" in text and "mi" in text and "km/h" not in text
    assert (
        json.loads(ridesim_command("ride", BELT, CLIMB, "--units", "imperial", "--json", "--quick").stdout)["road_km"]
        > 5.9
    )


def test_out_writes_trace_summary_and_pictures(ridesim_command, tmp_path: Path):
    done = ridesim_command("ride", BELT, CLIMB, "--out", tmp_path / "answer")
    assert done.returncode == 0, done.stderr
    names = {path.name for path in (tmp_path / "answer").iterdir()}
    assert {"trace.csv", "summary.json"} <= names
    assert sum(name.endswith(".png") for name in names) >= 5
    assert [name for name in names if name.startswith(".")] == [".written-by-ridesim"]
    rows = list(csv.DictReader((tmp_path / "answer" / "trace.csv").open()))
    assert float(rows[-1]["distance_km"]) == pytest.approx(
        json.loads((tmp_path / "answer" / "summary.json").read_text())["distance_km"], rel=1e-5
    )
    for path in (tmp_path / "answer").glob("*.png"):
        assert path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_set_changes_a_key(ridesim_command):
    road = "routes/terrace-round.gpx"
    plain = json.loads(ridesim_command("ride", BELT, road, "--json", "--quick").stdout)
    windy = json.loads(
        ridesim_command("ride", BELT, road, "--json", "--quick", "--set", "bicycle.drag_area_m2=1.2").stdout
    )
    assert windy["finished"] and windy["ledger_wh"]["air_drag"] > plain["ledger_wh"]["air_drag"] * 1.9


def test_a_bike_stuck_on_a_hill_is_an_answer(ridesim_command, tmp_path: Path):
    wall = tmp_path / "wall.toml"
    wall.write_text('[road]\nkind = "ramp"\napproach_km = 0.3\nramp_km = 1.0\nrun_out_km = 0.1\ngrade_percent = 40\n')
    done = ridesim_command("ride", BELT, wall, "--json", "--quick")
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert answer["finished"] is False and answer["stop"] == "stalled"
    assert 0.25 < answer["distance_km"] < 0.5
    assert "stuck" in answer["verdict"]["reasons"][0]


def test_new_writes_a_build_that_rides(ridesim_command, tmp_path: Path):
    assert ridesim_command("new", tmp_path / "mine.toml").returncode == 0
    done = ridesim_command("ride", tmp_path / "mine.toml", CLIMB, "--json", "--quick")
    assert done.returncode == 0, done.stderr
    again = ridesim_command("new", tmp_path / "mine.toml")
    assert again.returncode == 2 and "--force" in again.stderr
    assert "properties" in json.loads(ridesim_command("new", "--schema").stdout)


def _refused(done, *words: str) -> None:
    assert done.returncode == 2, done.stdout + done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    lines = [line for line in done.stderr.splitlines() if not line.startswith("compiling")]
    assert len(lines) == 1, done.stderr
    for word in words:
        assert word in lines[0]


BAD_BUILDS = {
    "negative mass": (("rider.mass_kg=-5",), ("rider.mass_kg", "-5", "20 to 250")),
    "zero teeth": (("drive.stage.0.driver_teeth=0",), ("driver_teeth", "0", "5 to 400")),
    "Kv of 0": (("motor.kv_rpm_per_v=0",), ("motor.kv_rpm_per_v", "0", "1 to 5000")),
    "unknown key": (("motor.kv_rpm_per_volt=100",), ("kv_rpm_per_volt", "kv_rpm_per_v")),
    "pack that cannot start the bike": (
        ("controller.full_current_above_v=90", "controller.no_current_below_v=80"), ("no_current_below_v",)),
    "voltage curve the wrong way": (
        ("pack.cell.open_circuit_v=[4.2, 3.0]", "pack.cell.charge_fraction=[0, 1]"), ("open_circuit_v", "rise")),
    "motor that cannot turn the wheel": (("controller.motor_current_limit_a=1",), ("motor",)),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD_BUILDS)
def test_bad_build_in_one_line(ridesim_command, case: str, tmp_path: Path):
    pairs, words = BAD_BUILDS[case]
    options = [word for pair in pairs for word in ("--set", pair)]
    _refused(ridesim_command("ride", BELT, CLIMB, *options, "--out", tmp_path / "never"), *words)
    assert not (tmp_path / "never").exists()


_HEAD = '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
_POINT = '<trkpt lat="1" lon="1"><ele>1</ele></trkpt>'
_FOOT = "</trkseg></trk></gpx>"

BAD_ROADS = {
    "missing": (None, ("no such file",)),
    "not XML": ("this is not XML", ()),
    "entities": ('<?xml version="1.0"?><!DOCTYPE g [<!ENTITY a "aa">]><gpx version="1.1" creator="x">&a;</gpx>', ()),
    "one point": (
        _HEAD + '<trkpt lat="1" lon="1"><ele>1</ele></trkpt></trkseg></trk></gpx>', ("point",)),
    "NaN": (
        _HEAD + '<trkpt lat="nan" lon="1"><ele>1</ele></trkpt>' + _POINT + _FOOT, ()),
    "absurd": (
        _HEAD + '<trkpt lat="120" lon="1"><ele>1</ele></trkpt>' + _POINT + _FOOT, ("120",)),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD_ROADS)
def test_bad_road_in_one_line(ridesim_command, case: str, tmp_path: Path):
    text, words = BAD_ROADS[case]
    path = tmp_path / "road.gpx"
    if text is not None:
        path.write_text(text)
    _refused(ridesim_command("ride", BELT, path, "--out", tmp_path / "never"), "road.gpx", *words)
    assert not (tmp_path / "never").exists()


def test_toml_syntax_error_names_the_line(ridesim_command, tmp_path: Path):
    (tmp_path / "bad.toml").write_text("[rider]\nmass_kg = = 3\n")
    _refused(ridesim_command("ride", tmp_path / "bad.toml", CLIMB), "bad.toml", "line 2")


def test_wrong_use_exits_with_two(ridesim_command):
    assert ridesim_command("ride", BELT).returncode == 2
    assert ridesim_command("ride", BELT, CLIMB, "--units", "furlongs").returncode == 2
    _refused(ridesim_command("ride", BELT, CLIMB, "--step", "9"), "step_s", "9")


def test_out_that_is_a_file_is_refused(ridesim_command, tmp_path: Path):
    (tmp_path / "taken").write_text("x")
    _refused(ridesim_command("ride", BELT, CLIMB, "--out", tmp_path / "taken"), "taken")


def test_works_where_the_cache_cannot_be_written(ridesim_process, tmp_path: Path):
    cache = tmp_path / "file-not-folder"
    cache.write_text("x")
    folder = tmp_path / "copy"
    shutil.copytree(Path(__file__).parents[2] / "configs", folder)
    done = ridesim_process("new", "--schema", cwd=folder, XDG_CACHE_HOME=str(cache))
    assert done.returncode == 0
