"""What people type wrong: files in the wrong order, a unit behind a number, no such option. One line each."""

from __future__ import annotations

from pathlib import Path

import pytest

from .mutation import asked

ROOT = Path(__file__).parents[2]
BELT, CLIMB, COMMUTE = "configs/longtail-belt.toml", "routes/ridge-climb.gpx", "routes/valley-commute.toml"
FIRST = "where several files are asked, the build is first"

BENCH = ("bench", "--no-load", "24,1.0,2370", "--no-load", "48,1.7,4750", "--drop", "0.53,20,24")
WRONG: dict[tuple[str, ...], tuple[str, ...]] = {
    ("ride",): ("ridesim ride: needs BUILD and ROAD; see ridesim ride --help",),
    ("log",): ("needs LOG",),
    ("cell",): ("needs RESTED and --run",),
    ("search",): ("ridesim search",),
    ("ride", BELT): ("Missing argument 'ROAD'",),
    ("ride", CLIMB, BELT): ("is a road, not a build", FIRST),
    ("ride", COMMUTE, BELT): ("is a road, not a build", FIRST),
    ("ride", BELT, BELT): ("is a build, not a road", FIRST),
    ("season", COMMUTE, BELT): ("is a road, not a build", FIRST),
    ("descend", CLIMB): ("is a road, not a build",),
    ("mount", CLIMB, BELT): ("is a road, not a build",),
    ("dossier", CLIMB, BELT): ("is a road, not a build",),
    ("compare", BELT, BELT, "--road", BELT): ("is a build, not a road",),
    ("replay", "readings.csv", BELT): ("is a table, not a build", FIRST),
    ("fit", "readings.csv", BELT): ("is a table, not a build", FIRST),
    ("search", BELT): ("is a build, not goals", "ridesim search --new"),
    ("ride", BELT, CLIMB, "--speed", "25km/h"): ("--speed", "not a number such as 25 or 7.5"),
    ("ride", BELT, CLIMB, "--laps", "2.5"): ("--laps", "not a whole number"),
    ("ride", BELT, CLIMB, "--units", "us"): ("--units", "'us' is not one of 'metric', 'imperial'"),
    (*BENCH, "--size", "15,0.1,44", "--save", "x.toml"): ("--size", "can_diameter_mm = 0.1 is out of range"),
    ("live", "--port", "99999"): ("--port", "it must be less than or equal to 65535"),
    ("ride", BELT, CLIMB, "--set", "rider.mass_kg=90,5"): ("rider.mass_kg", '"90,5"'),
    ("ride", BELT, CLIMB, "--set", "rider.mass=90"): ("did you mean mass_kg",),
    ("ride", BELT, CLIMB, "--lap", "3"): ("--laps",),
    ("ride", BELT, CLIMB, "--as-recorded"): ("no recorded times",),
    ("rid", BELT, CLIMB): ("Did you mean 'ride'",),
    ("descend", BELT, "--grade", "80"): ("80 %", "up to 40 %"),
    ("descend", BELT, CLIMB, "--grade", "8"): ("--grade", "leave it out"),
    ("season", BELT, COMMUTE, "--days", "funday"): ("'funday' is no day",),
    ("climb", BELT, CLIMB, "--grade", "5"): ("a road and a constant grade are both given",),
}


@pytest.mark.parametrize("words", WRONG, ids=" ".join)
def test_what_is_typed_wrong_is_told_in_one_line(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.chdir(ROOT)
    (tmp_path / "readings.csv").write_text("time_s,speed_km_h\n0,1\n")
    code, _, told = asked([word.replace("readings.csv", str(tmp_path / "readings.csv")) for word in words])
    assert code == 2
    assert len(told.strip().splitlines()) == 1, told
    assert all(piece in told for piece in WRONG[words]), told


@pytest.mark.parametrize("tension", ["1e308,10.76", "nan", "inf", "100001"])
def test_a_tension_that_no_belt_bears_is_refused_with_its_bound(tension: str):
    by_hand = "belt --driver-teeth 18 --driven-teeth 72 --centre-mm 220 --width-mm 15 --torque-nm 5 --speed-rpm 900"
    code, out, told = asked((*by_hand.split(), "--pretension-n", tension))
    assert code == 2 and not out
    assert told.startswith("--pretension-n: a span's tension is ") and "at most 100000 N; " in told
