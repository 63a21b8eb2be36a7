"""Road files in TOML: every kind rides, every fault is named with its cure."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import numpy as np
import pytest

from ridesim.errors import RoadError
from ridesim.road.load import load_road
from ridesim.road.profile import SURFACES
from ridesim.road.schema import KINDS, SurfaceKind
from ridesim.road.starter import key_reference_rows

from .conftest import WriteGpx, point_xml

GOOD = {
    "flat": 'kind = "flat"\nlength_km = 2.0',
    "climb": 'kind = "climb"\nlength_km = 2.0\ngrade_percent = 7\nstart_altitude_m = 100\nbearing_deg = 30',
    "ramp": 'kind = "ramp"\napproach_km = 0.5\nramp_km = 0.2\nrun_out_km = 1.3\ngrade_percent = 14',
    "hills": 'kind = "hills"\nlength_km = 2\nhill_height_m = 20\nhill_length_km = 0.5',
    "points": 'kind = "points"\ndistance_km = [0, 1, 2]\naltitude_m = [10, 60, 40]\nsmoothing_m = 50',
    "cycle": 'kind = "cycle"\ntime_s = [0, 100, 300, 400]\nspeed_km_h = [0, 24, 24, 0]',
}


def write(folder: Path, text: str) -> Path:
    path = folder / "road.toml"
    path.write_text(text, encoding="utf-8")
    return path


def problems_of(folder: Path, text: str) -> list[str]:
    with pytest.raises(RoadError) as caught:
        load_road(write(folder, text))
    return str(caught.value).splitlines()


@pytest.mark.parametrize("kind", list(GOOD))
def test_every_kind_rides(kind: str, tmp_path: Path) -> None:
    road = load_road(write(tmp_path, f'[road]\nname = "ours"\n{GOOD[kind]}'))
    assert road.length_m == pytest.approx(2000.0)
    assert road.name == "ours" and road.source == str(tmp_path / "road.toml")
    assert (road.cycle is not None) == (kind == "cycle")


def test_good_covers_every_kind() -> None:
    assert set(GOOD) | {"gpx"} == set(KINDS)


def test_every_key_is_explained() -> None:
    rows = key_reference_rows()
    assert all(row.help for row in rows)
    places = [(row.section, row.key) for row in rows]
    assert len(places) == len(set(places))
    assert {row.section for row in rows if row.section.startswith("[[")} == {
        "[[stop]]", "[[speed_limit]]", "[[surface]]",
    }  # fmt: skip


def test_surfaces_of_the_schema_are_those_of_the_road() -> None:
    assert get_args(SurfaceKind) == tuple(SURFACES)


def test_furniture_of_the_road(tmp_path: Path) -> None:
    more = (
        "[[stop]]\nat_km = 0.5\ndwell_s = 20\n[[stop]]\nat_km = 2.0\ndwell_s = 0\n"
        "[[speed_limit]]\nfrom_km = 1.0\nto_km = 1.2\nspeed_km_h = 18\n"
        '[[surface]]\nfrom_km = 0.0\nto_km = 0.3\nkind = "cobbles"\n'
    )
    road = load_road(write(tmp_path, f"[road]\n{GOOD['climb']}\n{more}"))
    assert [(stop.distance_m, stop.dwell_s) for stop in road.stops] == [(500.0, 20.0), (2000.0, 0.0)]
    assert road.speed_limit_m_per_s[220] == pytest.approx(5.0)
    assert road.surface[0] == "cobbles" and road.surface[-1] == "asphalt"
    assert road.bearing_deg[0] == 30.0 and road.altitude_m[0] == 100.0


def test_flat_takes_the_slope_out(tmp_path: Path) -> None:
    assert load_road(write(tmp_path, f"[road]\nflat = true\n{GOOD['climb']}")).climb_m == 0.0
    assert load_road(write(tmp_path, f"[road]\n{GOOD['climb']}"), flat=True).climb_m == 0.0


def test_arguments_win_over_the_file(tmp_path: Path) -> None:
    path = write(tmp_path, f"[road]\nspacing_m = 20\n{GOOD['climb']}")
    assert load_road(path).spacing_m == pytest.approx(20.0)
    assert load_road(path, spacing_m=10.0).spacing_m == pytest.approx(10.0)


def test_gpx_beside_the_file(tmp_path: Path, write_gpx: WriteGpx) -> None:
    write_gpx("".join(point_xml(45.0 + 1e-4 * i, 7.0, 100.0 + i) for i in range(50)), name="lane.gpx")
    text = '[road]\nkind = "gpx"\nfile = "lane.gpx"\nsmoothing_m = 90\n[[stop]]\nat_km = 0.2\ndwell_s = 5'
    road = load_road(write(tmp_path, text))
    assert road.cleaning is not None and road.cleaning.smoothing_m == 90.0
    assert load_road(tmp_path / "road.toml", smoothing_m=40.0).cleaning.smoothing_m == 40.0  # type: ignore[union-attr]
    assert len(road.stops) == 1


def test_recording_without_altitude_needs_flat(tmp_path: Path, write_gpx: WriteGpx) -> None:
    write_gpx("".join(point_xml(45.0 + 1e-4 * i, 7.0) for i in range(50)), name="lane.gpx")
    (line,) = problems_of(tmp_path, '[road]\nkind = "gpx"\nfile = "lane.gpx"')
    assert "lane.gpx" in line and "flat = true" in line
    road = load_road(write(tmp_path, '[road]\nkind = "gpx"\nfile = "lane.gpx"\nflat = true'))
    assert road.climb_m == 0.0 and np.all(road.grade == 0.0)


def test_cycle_from_csv(tmp_path: Path) -> None:
    (tmp_path / "cycle.csv").write_text("time_s,speed_km_h\n0,0\n10,18\n30,18\n40,0\n")
    road = load_road(write(tmp_path, '[road]\nkind = "cycle"\nfile = "cycle.csv"'))
    assert road.length_m == pytest.approx(150.0)


def test_all_problems_are_named_at_once(tmp_path: Path) -> None:
    text = (
        '[road]\nkind = "climb"\nlenght_km = 3\ngrade_percent = 99\n'
        "[[stop]]\nat_km = -1\n[[surfaces]]\n[[speed_limit]]\nfrom_km = 0\nto_km = true\nspeed_km_h = 20\n"
    )
    lines = problems_of(tmp_path, text)
    assert len(lines) == 7
    assert all(line.startswith(str(tmp_path / "road.toml")) and "; " in line for line in lines)
    assert any("road.lenght_km = 3 is not a known key; did you mean length_km?" in line for line in lines)
    assert any("surfaces = [{...}] is not a known key; did you mean surface?" in line for line in lines)
    assert any("road.grade_percent = 99 is out of range (-60 to 60 %); " in line for line in lines)
    assert any("stop.0.dwell_s is missing: for how long (0 to 86400 s); add it under [[" in line for line in lines)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "has no [road] table"),
        ("[road", "is not TOML"),
        ("road = 3", "has no [road] table"),
        ('[road]\nkind = "climbs"', "did you mean climb?"),
        ("[road]\nkind = 3", "unknown kind of road"),
        ('[road]\nkind = "flat"\nlength_km = true', "road.length_km = true is not a number (0.01 to 5000 km); "),
        ('[road]\nkind = "flat"\nlength_km = nan', "road.length_km = nan is not a finite number"),
        ('[road]\nkind = "flat"\nlength_km = "2"', "write a number without quotes"),
        ('[road]\nkind = "flat"\nlength_km = 2\nflat = 1', "road.flat = 1 is neither true nor false"),
        (
            '[road]\nkind = "flat"\nlength_km = 2\n[stop]\nat_km = 1',
            "write it as [[stop]], once for each",
        ),
        ('[road]\nkind = "flat"\nlength_km = 2\n[[stop]]\nat_km = 3\ndwell_s = 1', "off the road"),
        (
            '[road]\nkind = "flat"\nlength_km = 2\n[[surface]]\nfrom_km = 0\nto_km = 1\nkind = "gravl"',
            "did you mean gravel?",
        ),
        (
            '[road]\nkind = "flat"\nlength_km = 2\n[[speed_limit]]\nfrom_km = 1\nto_km = 0.5\nspeed_km_h = 9',
            "end after it begins",
        ),
        ('[road]\nkind = "points"\ndistance_km = [0, 1]\naltitude_m = [0, 1, 2]', "one for one"),
        ('[road]\nkind = "points"\ndistance_km = [0, 1, 1]\naltitude_m = [0, 1, 2]', "does not rise"),
        (
            '[road]\nkind = "points"\ndistance_km = [0, "x"]\naltitude_m = [0, 1]',
            'distance_km.1 = "x" is not a number (0',
        ),
        ('[road]\nkind = "hills"\nlength_km = 2\nhill_height_m = 500\nhill_length_km = 0.1', "too steep"),
        ('[road]\nkind = "cycle"', "either time_s and speed_km_h, or file"),
        ('[road]\nkind = "cycle"\nfile = "gone.csv"', "no such file"),
        ('[road]\nkind = "gpx"\nfile = "gone.gpx"', "no such file"),
        ('[road]\nkind = "gpx"\nfile = "../gone.gpx"', "plain name"),
        ('[road]\nkind = "gpx"', "road.file is missing: a GPX file beside this file (text); add it under [road]"),
    ],
)
def test_faults_are_told_in_one_line(text: str, told: str, tmp_path: Path) -> None:
    (line,) = problems_of(tmp_path, text)
    assert told in line
    assert str(tmp_path) in line


def test_not_utf8(tmp_path: Path) -> None:
    path = tmp_path / "road.toml"
    path.write_bytes(b'[road]\nname = "\xff\xfe"')
    with pytest.raises(RoadError, match="UTF-8"):
        load_road(path)


@pytest.mark.parametrize(
    "content", ["time,speed\n0,0\n", "time_s,speed_km_h\n0,fast\n9,1\n", "", "time_s,speed_km_h\n0\n"]
)
def test_broken_cycle_csv(content: str, tmp_path: Path) -> None:
    (tmp_path / "cycle.csv").write_text(content)
    (line,) = problems_of(tmp_path, '[road]\nkind = "cycle"\nfile = "cycle.csv"')
    assert "cycle" in line


@pytest.mark.parametrize(
    "content, told",
    [
        ("time_s,speed\n0,1\n", "lacks the column speed_km_h (it has time_s, speed)"),
        ("time_s,speed_km_h\n", "has a head and no rows"),
        ("time_s,speed_km_h\n0,1\n5,fast\n", "row 3: speed_km_h is no number ('fast')"),
    ],
)
def test_a_broken_cycle_csv_is_told_where_it_is_broken(content: str, told: str, tmp_path: Path) -> None:
    (tmp_path / "cycle.csv").write_text(content)
    (line,) = problems_of(tmp_path, '[road]\nkind = "cycle"\nfile = "cycle.csv"')
    assert told in line
