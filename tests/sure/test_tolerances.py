"""The language of tolerances: what a build and its parts may say, who wins, and one clear line for what is wrong."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from ridesim.bike.keys import bike_keys
from ridesim.bike.load import load_build, replace_keys
from ridesim.errors import BuildError
from ridesim.road.made import make_flat
from ridesim.schema.tolerance import parse_tolerance
from ridesim.sure.draws import cube, leaving, quantile
from ridesim.sure.uncertain import Uncertain, doubts_of

from ..bikes import bike

ROAD = make_flat(500.0)


def test_percent_is_the_relative_deviation_of_a_log_normal():
    spread = stats.lognorm(parse_tolerance("5 %").size)
    assert spread.std() / spread.median() == pytest.approx(0.05, rel=0.01)


def test_factor_holds_ten_to_ninety_percent():
    spread = stats.lognorm(parse_tolerance("x/ 1.3").size)
    assert spread.ppf([0.1, 0.5, 0.9]) == pytest.approx([1.0 / 1.3, 1.0, 1.3], rel=1e-9)


@pytest.mark.parametrize(
    ("said", "sure"),
    [
        ("5 %", lambda v: stats.lognorm(math.sqrt(math.log(1.0025)), scale=v)),
        ("x/ 1.3", lambda v: stats.lognorm(math.log(1.3) / stats.norm.ppf(0.9), scale=v)),
        (0.4, lambda v: stats.norm(v, 0.4)),
        ("within 0.4", lambda v: stats.uniform(v - 0.4, 0.8)),
        ("within 5 %", lambda v: stats.uniform(0.95 * v, 0.1 * v)),
    ],
)
def test_quantiles_are_those_of_the_named_distribution(said, sure):
    shares = np.array([0.01, 0.1, 0.5, 0.9, 0.99])
    number = Uncertain("a", 3.0, parse_tolerance(said), -math.inf, math.inf, "stated")
    assert quantile(shares, number) == pytest.approx(sure(3.0).ppf(shares), rel=1e-9)


def test_a_cut_tolerance_keeps_its_shape_inside():
    number = Uncertain("a", 0.97, parse_tolerance(0.015), 0.5, 1.0, "stated")
    shares = cube(256, 1, 3)[:, 0]
    cut = stats.truncnorm((0.5 - 0.97) / 0.015, (1.0 - 0.97) / 0.015, loc=0.97, scale=0.015)
    assert quantile(shares, number) == pytest.approx(cut.ppf(shares), rel=1e-7)


def test_every_key_of_the_table_has_its_reason():
    found = [key for key in bike_keys() if key.tolerance is not None]
    assert len(found) > 45
    assert all(len(key.tolerance.why) >= 5 for key in found)
    # Magnets lie on the surface, and what no one measured of a pack is the curve's: exact until it is said.
    assert [key.name for key in found if key.tolerance.guess.kind == "exact"] == [
        "salience",
        "open_circuit_offset_v",
    ]
    assert all(key.tolerance.measured.kind != "exact" for key in found)


def test_settings_of_the_ride_are_exact():
    exact = {f"{key.section}.{key.name}" for key in bike_keys() if key.tolerance is None}
    assert {
        "rider.cruise_speed_km_h", "controller.motor_current_limit_a", "controller.pack_current_limit_a", "pack.series",
        "drive.stage.driven_teeth", "drive.stage.ratio", "motor.pole_pairs",
    } <= exact  # fmt: skip


def test_who_says_a_value_decides_how_sure_it_is():
    said = replace_keys(bike({"bicycle.drag_area_m2": None}), {"tolerance.motor.resistance_mohm": "measured"})
    found = {each.key: each for each in doubts_of(said, ROAD).numbers}
    assert (found["bicycle.drag_area_m2"].whose, found["bicycle.drag_area_m2"].tolerance.said) == ("default", "x/ 1.3")
    assert (found["motor.kv_rpm_per_v"].whose, found["motor.kv_rpm_per_v"].tolerance.said) == ("given", "8 %")
    assert (found["motor.resistance_mohm"].whose, found["motor.resistance_mohm"].tolerance.said) == ("stated", "3 %")
    opened = bike({"motor.winding_to_body_w_per_k": None})
    (number,) = (each for each in doubts_of(opened, ROAD).numbers if each.key == "motor.winding_to_body_w_per_k")
    assert (number.whose, number.tolerance.said, number.is_open) == ("estimate", "x/ 1.6", True)


def test_exact_takes_a_key_out():
    keys = doubts_of(replace_keys(bike(), {"tolerance.motor.kv_rpm_per_v": "exact"}), ROAD).keys
    assert "motor.kv_rpm_per_v" not in keys
    assert "motor.resistance_mohm" in keys


def test_wind_is_drawn_only_where_there_is_wind():
    still = doubts_of(bike(), ROAD)
    windy = doubts_of(bike({"weather.wind_speed_km_h": 20.0}), ROAD)
    assert not [key for key in still.keys if "wind_" in key and key.startswith("weather")]
    assert any("No wind" in note for note in still.notes)
    assert {"weather.wind_speed_km_h", "weather.wind_from_deg", "weather.wind_exposure"} <= set(windy.keys)


def test_parts_carry_their_own_and_the_build_is_laid_over(tmp_path: Path, root: Path):
    (tmp_path / "parts").mkdir()
    motor = (root / "configs/parts/motor-80mm.toml").read_text()
    (tmp_path / "parts/mine.toml").write_text(motor + '\n[tolerance]\nresistance_mohm = "4 %"\nkv_rpm_per_v = "2 %"\n')
    belt = (root / "configs/longtail-belt.toml").read_text().replace('"motor-80mm"', '"mine"')
    (tmp_path / "bike.toml").write_text(belt + '\n[tolerance]\n"motor.kv_rpm_per_v" = 1.5\n')
    stated = load_build(tmp_path / "bike.toml").stated.by_key
    assert stated["motor.resistance_mohm"].said == "4 %"
    assert (stated["motor.kv_rpm_per_v"].kind, stated["motor.kv_rpm_per_v"].size) == ("normal", 1.5)
    (tmp_path / "parts/mine.toml").write_text(motor + '\n[tolerance]\nresistance_mohm = "300 %"\n')
    with pytest.raises(BuildError, match=r"mine\.toml: tolerance: motor\.resistance_mohm = \"300 %\" is out of range"):
        load_build(tmp_path / "bike.toml")


@pytest.mark.parametrize(
    ("key", "said", "words"),
    [
        ("motor.resistance_mohn", "5 %", "did you mean motor.resistance_mohm"),
        ("motor.resistance_mohm", "0 %", 'write "exact"'),
        ("motor.resistance_mohm", "300 %", "out of range"),
        ("motor.resistance_mohm", 0.0, "no spread"),
        ("motor.resistance_mohm", -1.0, "no spread"),
        ("motor.resistance_mohm", "x/ 0.5", "no factor"),
        ("motor.resistance_mohm", "five", "is not a tolerance"),
        ("motor.resistance_mohm", True, "is not a tolerance"),
        ("motor.pole_pairs", "3 %", "no number that can be off"),
        ("motor.name", "3 %", "no number that can be off"),
        ("pack.series", "measured", "no number that can be off"),
    ],
)
def test_bad_tolerance_in_one_line(key, said, words):
    with pytest.raises(BuildError, match=words) as caught:
        replace_keys(bike(), {f"tolerance.{key}": said})
    assert "\n" not in str(caught.value)


PAIR = ["bicycle.drag_area_m2", "tyre.rolling_resistance"]


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ({"keys": PAIR, "covariance": [[1e-3, -2e-3], [-2e-3, 1e-6]]}, "positive semi-definite"),
        ({"keys": PAIR, "covariance": [[1e-3, 1e-5], [-1e-5, 1e-6]]}, "not symmetric"),
        ({"keys": PAIR, "covariance": [[1e-3, 1e-5]]}, "2 rows of 2 numbers"),
        ({"keys": PAIR, "covariance": [[0.0, 0.0], [0.0, 1e-6]]}, "diagonal"),
        ({"keys": PAIR[:1], "covariance": [[1.0]]}, "two keys or more"),
        ({"keys": ["bicycle.drag", PAIR[1]], "covariance": [[1.0, 0.0], [0.0, 1.0]]}, "not a known key"),
        ({"keys": [PAIR[0], PAIR[0]], "covariance": [[1.0, 0.0], [0.0, 1.0]]}, "twice"),
        ({"keys": PAIR}, "needs keys and covariance"),
    ],
)
def test_bad_covariance_in_one_line(table, words):
    with pytest.raises(BuildError, match=words) as caught:
        replace_keys(bike(), {"tolerance_together": [table]})
    assert "\n" not in str(caught.value)


def test_one_key_has_one_tolerance():
    table = {"keys": PAIR, "covariance": [[1e-3, 0.0], [0.0, 1e-6]]}
    with pytest.raises(BuildError, match="two tolerances"):
        replace_keys(bike(), {"tolerance_together": [table], "tolerance.bicycle.drag_area_m2": "5 %"})


def test_a_tolerance_beyond_the_allowed_range_is_told():
    told = list(leaving(doubts_of(replace_keys(bike(), {"tolerance.bicycle.drag_area_m2": 0.5}), ROAD)))
    assert any(line.startswith("bicycle.drag_area_m2: 1") and "0.1 to 2" in line for line in told)
    quiet = list(leaving(doubts_of(replace_keys(bike(), {"tolerance.bicycle.drag_area_m2": 0.05}), ROAD)))
    assert not [line for line in quiet if line.startswith("bicycle.drag_area_m2")]


def test_a_tolerance_of_what_the_bike_has_not_is_refused():
    with pytest.raises(BuildError, match=r"drive\.stage\.7\.efficiency cannot be off here"):
        doubts_of(replace_keys(bike(), {"tolerance.drive.stage.7.efficiency": "2 %"}), ROAD)
