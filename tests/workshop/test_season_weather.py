"""A year of weather: invented from monthly means, read from files of hours and days, and every fault of them."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from ridesim.errors import RidesimError
from ridesim.workshop.season.air import HOURS, WeatherYear
from ridesim.workshop.season.typical import load_typical, typical_year
from ridesim.workshop.season.weather_file import load_weather, parse_mapping

NEW_YEAR = datetime(2025, 1, 1)


@pytest.fixture(scope="module")
def invented() -> WeatherYear:
    return typical_year(load_typical(), 3)


def test_the_same_seed_is_the_same_year_and_another_is_not(invented):
    again, other = typical_year(load_typical(), 3), typical_year(load_typical(), 4)
    assert np.array_equal(invented.temperature_c, again.temperature_c)
    assert np.array_equal(invented.wind_speed_km_h, again.wind_speed_km_h)
    assert not np.array_equal(invented.temperature_c, other.temperature_c)
    assert invented.invented and "invented" in invented.notes[0]


def test_the_invented_year_has_the_means_it_was_made_of():
    source = load_typical()
    years = [typical_year(source, seed) for seed in range(20)]
    month = np.repeat([years[0].date_of(day).month for day in range(365)], HOURS)
    for at in range(12):
        wind = np.mean([year.wind_speed_km_h[month == at + 1].mean() for year in years])
        heat = np.mean([year.temperature_c[month == at + 1].mean() for year in years])
        wet = np.mean([year.wet[month == at + 1].mean() for year in years])
        # 20 years of spells of a few days leave about 0.5 K, 2 % of wind and 1 % of wet hours.
        assert wind == pytest.approx(source.wind_mean_km_h[at], rel=0.06)
        assert heat == pytest.approx(source.mean_temperature_c[at], abs=1.3)
        assert wet == pytest.approx(source.wet_share[at], abs=0.03)
    assert all(year.wind_from_deg.min() >= 0.0 and year.wind_from_deg.max() < 360.0 for year in years)


def test_the_hour_of_a_day(invented):
    first = invented.at(0, 7.5)
    assert first.temperature_c == pytest.approx(float(invented.temperature_c[7:9].mean()))
    assert first.wind_speed_km_h == invented.wind_speed_km_h[7]


def hours_file(place: Path, rows: int = 365 * 24, **change: object) -> Path:
    """A year of hours with other names and units, and perhaps a fault in it."""
    lines = ["when;air;wind;from;rain"]
    for at in range(rows):
        time = NEW_YEAR + timedelta(hours=at)
        air = 10.0 + 8.0 * np.sin(2 * np.pi * at / 8760) + 5.0 * np.sin(2 * np.pi * at / 24)
        row = {"when": time.isoformat(), "air": f"{air:.2f}", "wind": "5.0", "from": "270", "rain": "0"}
        row |= dict(change.get(str(at), {}))  # type: ignore[call-overload]
        if row["when"]:
            lines.append(";".join(row.values()).replace(".", ","))
    place.write_text("\n".join(lines))
    return place


MAPPED = parse_mapping(
    ["time=when", "temperature_c=air", "wind_speed_m_per_s=wind", "wind_from_deg=from", "rain_mm=rain"]
)


def test_a_file_of_hours_by_a_mapping(tmp_path):
    year = load_weather(hours_file(tmp_path / "w.csv", **{"5": {"rain": "0,4"}}), MAPPED)
    assert (year.days, year.by_the_hour, year.first.isoformat()) == (365, True, "2025-01-01")
    assert year.wind_speed_km_h[100] == pytest.approx(18.0)
    assert year.temperature_c[6] == pytest.approx(10.0 + 8.0 * np.sin(2 * np.pi * 6 / 8760) + 5.0, abs=0.006)
    assert year.wet.sum() == 1 and year.wet[5]


def test_a_mapping_may_stand_in_a_file(tmp_path):
    place = tmp_path / "map.toml"
    place.write_text('time = "when"\ntemperature_c = "air"\nwind_speed_m_per_s = "wind"\nwind_from_deg = "from"\n')
    mapping = parse_mapping([str(place), "rain_mm=rain"])
    assert mapping == MAPPED
    for text, told in (("time = 3", "time names no column"), ("tim = 'x'", "did you mean time"), ("=", "is not TOML")):
        place.write_text(text)
        with pytest.raises(RidesimError, match=told):
            parse_mapping([str(place)])


def test_clocks_put_back_in_autumn_are_one_hour_told_twice(tmp_path):
    """Local time on 26 October: 2:00 comes twice, and in spring 2:00 never comes."""
    autumn, spring = 298 * 24 + 3, 88 * 24 + 2
    changed = {str(autumn): {"when": "2025-10-26T02:00:00"}, str(spring): {"when": ""}}
    year = load_weather(hours_file(tmp_path / "w.csv", **changed), MAPPED)
    assert year.days == 365
    twice = {**changed, "5000": {"when": (NEW_YEAR + timedelta(hours=4999)).isoformat()}}
    with pytest.raises(RidesimError, match="does not rise"):
        load_weather(hours_file(tmp_path / "v.csv", **twice), MAPPED)


def test_short_gaps_are_filled_and_told_long_ones_refused(tmp_path):
    gap = {str(at): {"air": ""} for at in (100, 101, 102)}
    year = load_weather(hours_file(tmp_path / "w.csv", **gap), MAPPED)
    assert np.interp(101, (99, 103), year.temperature_c[[99, 103]]) == pytest.approx(year.temperature_c[101])
    assert any("3 missing hours of temperature" in note for note in year.notes)
    longer = {str(at): {"when": ""} for at in range(100, 104)}
    with pytest.raises(RidesimError, match="gap of 4 h from 2025-01-05 04:00"):
        load_weather(hours_file(tmp_path / "v.csv", **longer), MAPPED)


def days_file(place: Path, first: int = 0, count: int = 365, values: object = None) -> Path:
    lines = ["time,lowest_c,highest_c,wind_speed_km_h,wind_from_deg"]
    for day in range(first, first + count):
        row = dict(enumerate(((NEW_YEAR + timedelta(days=day)).date(), 4, 14, 12, 180)))
        row |= values(day) if callable(values) else {}
        lines.append(",".join(str(each) for each in row.values()))
    place.write_text("\n".join(lines))
    return place


def test_a_file_of_days_has_warm_afternoons(tmp_path):
    year = load_weather(days_file(tmp_path / "d.csv"))
    assert not year.by_the_hour
    assert year.at(200, 14.0).temperature_c > year.at(200, 5.0).temperature_c + 6.0
    assert year.temperature_c.min() >= 4.0 - 1e-9 and year.temperature_c.max() <= 14.0 + 1e-9
    assert any("Parton and Logan" in note for note in year.notes)


def fahrenheit(day: int) -> dict[int, float]:
    celsius = 12.0 - 10.0 * np.cos(2 * np.pi * day / 365)
    return {1: round(32 + 1.8 * (celsius - 5), 1), 2: round(32 + 1.8 * (celsius + 5), 1)}


FAULTS = [
    ({"values": fahrenheit}, "looks like Fahrenheit"),
    ({"values": lambda day: {1: 280, 2: 290}}, "looks like kelvin"),
    ({"values": lambda day: {4: 400} if day == 7 else {}}, "row 9: wind_from_deg = 400 (allowed 0 to 360)"),
    ({"values": lambda day: {3: 200} if day == 7 else {}}, "wind_speed_km_h = 200 (allowed 0 to 150)"),
    ({"values": lambda day: {1: 15} if day == 7 else {}}, "lowest_c is above highest_c"),
    ({"values": lambda day: {1: "cold"} if day == 7 else {}}, "row 9: lowest_c 'cold' is no number"),
    ({"values": lambda day: {0: "2025-13-08"} if day == 7 else {}}, "month must be in 1..12"),
    ({"values": lambda day: {1: -45} if day == 7 else {}}, "lowest_c = -45 (allowed -30 to 50)"),
    ({"values": lambda day: {0: "2025-03-02"} if day == 61 else {}}, "time does not rise"),
    ({"count": 396}, "covers 396 days, about 13 months"),
    ({"count": 200}, "covers 200 days"),
]  # fmt: skip


@pytest.mark.parametrize(("fault", "told"), FAULTS, ids=[told[:20] for _, told in FAULTS])
def test_every_fault_of_a_file_is_one_line(tmp_path, fault, told):
    with pytest.raises(RidesimError) as found:
        load_weather(days_file(tmp_path / "d.csv", **fault))
    assert told in str(found.value) and "\n" not in str(found.value)


def test_a_missing_day_is_a_gap(tmp_path):
    place = days_file(tmp_path / "d.csv")
    lines = place.read_text().splitlines()
    del lines[50:53]
    place.write_text("\n".join(lines))
    with pytest.raises(RidesimError, match="3 days are missing, the first 2025-02-19"):
        load_weather(place)


@pytest.mark.parametrize(
    ("pairs", "told"),
    [
        (["temperature=air"], "did you mean temperature_c"), (["time"], "not NAME=COLUMN"),
        (["time=nothing"], "has no column 'nothing' for time"),
    ],
)  # fmt: skip
def test_a_wrong_mapping_says_which(tmp_path, pairs, told):
    with pytest.raises(RidesimError, match=told):
        load_weather(days_file(tmp_path / "d.csv"), parse_mapping(pairs))


def test_a_wind_needs_a_direction(tmp_path):
    place = tmp_path / "d.csv"
    place.write_text("time,temperature_c,wind_speed_km_h\n2025-01-01,3,5\n2025-01-02,3,5\n")
    with pytest.raises(RidesimError, match="without wind_from_deg"):
        load_weather(place)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (("mean_temperature_c = [-0.5,", "mean_temperature_c = [3.0, -0.5,"), "has 13 months (a year has 12)"),
        (("latitude_deg = 47.0", "latitude_deg = 80.0"), "latitude_deg"),
        (("wind_from_deg = 250.0", "wind_from_deg = 400.0"), "wind_from_deg"),
        (("19.2,", "66.0,"), "mean_temperature_c"),
        (("wind_shape", "wind_shpae"), "wind_shpae"),
    ],
)
def test_every_fault_of_a_typical_year_is_one_line(tmp_path, change, told):
    from ridesim.workshop.season.typical import OWN_YEAR

    place = tmp_path / "year.toml"
    place.write_text(OWN_YEAR.read_text().replace(*change))
    with pytest.raises(RidesimError) as found:
        load_typical(place)
    assert told in str(found.value) and "\n" not in str(found.value)
