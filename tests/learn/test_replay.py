"""A made log replayed: its own bike agrees; another's is told, with the right cause; a GPX beside it is aligned."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.errors import LogError
from ridesim.learn.beside import with_gpx
from ridesim.learn.driven import By
from ridesim.learn.log import load_log
from ridesim.learn.replay import Balance, Replay, balanced, replay
from ridesim.report.replay.view import view
from ridesim.road.load import load_road
from ridesim.road.made import make_flat
from ridesim.road.profile import Road

from .made_logs import Faults, columns_of, spoiled, write_log

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def bike() -> LoadedBuild:
    return load_build(ROOT / "configs" / "longtail-belt.toml")


@pytest.fixture(scope="module")
def road() -> Road:
    return load_road(ROOT / "routes" / "ridge-climb.gpx")


def replayed(bike: LoadedBuild, road: Road, folder: Path, faults: Faults | None = None, **true: float) -> Replay:
    """Replay by `bike` a log of the same bike with other `true` values."""
    ridden = replace_keys(bike, {key.replace("__", "."): value for key, value in true.items()}) if true else bike
    columns = spoiled(columns_of(ridden, road), faults or Faults(), np.random.default_rng(5))
    return replay(load_log(write_log(folder / "log.csv", columns)), bike)


def test_its_own_bike_agrees_in_every_channel(bike: LoadedBuild, road: Road, tmp_path: Path):
    """The model driven by a ride's own speed and current gives that ride again, within noise and rounding."""
    result = replayed(bike, road, tmp_path)
    assert result.verdict == "fine"
    assert {each.name for each in result.partings} >= {"pack_voltage_v", "pack_current_a", "duty", "road_speed_km_h"}
    off = {each.name: abs(each.bias) for each in result.partings}
    assert off["pack_voltage_v"] < 0.05
    assert off["pack_current_a"] < 0.15
    assert off["winding_temperature_c"] < 0.7
    assert result.balance is not None
    missing = result.balance.asked_w - result.balance.given_w
    assert abs(missing.mean()) < 0.05 * np.abs(result.balance.asked_w).mean()


def test_half_a_clock_is_no_better_than_a_whole_one(bike: LoadedBuild, road: Road, tmp_path: Path):
    """A perfect log at once a second: what is left is the step's, far below any sensor."""
    result = replayed(bike, road, tmp_path, Faults(noise=0.0, round_a=0.0, round_c=0.0, round_km_h=0.0, dropped=0.0))
    rms = {each.name: each.rms for each in result.partings}
    assert rms["pack_voltage_v"] < 0.04
    assert rms["winding_temperature_c"] < 0.3


@pytest.mark.parametrize(
    ("change", "channel", "said"),
    [
        ({"motor__kv_rpm_per_v": 112.0}, "duty", "Kv is about 11"),
        ({"pack__wiring_mohm": 90.0}, "pack_voltage_v", "sags more"),
        ({"tyre__circumference_mm": 1900.0}, "road_speed_km_h", "circumference"),
    ],
)
def test_another_bike_is_told_with_its_cause(
    change: dict[str, float], channel: str, said: str, bike: LoadedBuild, road: Road, tmp_path: Path
):
    result = replayed(bike, road, tmp_path, **change)
    assert result.verdict != "fine"
    parting = next(each for each in result.partings if each.name == channel)
    assert parting.verdict != "fine"
    assert any(said in cause for cause in parting.causes), parting.causes


def test_a_limit_that_the_build_lacks_is_told(bike: LoadedBuild, road: Road, tmp_path: Path):
    result = replayed(bike, road, tmp_path, controller__motor_current_limit_a=60.0)
    assert any("stands at 60 A" in words and "80 A" in words for words in result.general), result.general


def test_pole_pairs_that_fit_are_named(bike: LoadedBuild, road: Road, tmp_path: Path):
    result = replayed(bike, road, tmp_path, motor__pole_pairs=10)
    assert any("10 pole pairs would fit" in words for words in result.general), result.general


def test_a_gpx_is_aligned_by_speed_and_a_strange_one_refused(bike: LoadedBuild, tmp_path: Path):
    """The same ride on two clocks 73 s apart; the altitude must come out where the log's own was."""
    road = load_road(ROOT / "routes" / "valley-commute.toml")
    columns = columns_of(bike, road, 1.0)
    path = write_log(tmp_path / "log.csv", {key: values for key, values in columns.items() if key != "altitude_m"})
    gpx, late = tmp_path / "ride.gpx", 73.0
    _write_gpx(gpx, columns, late)
    aligned = with_gpx(load_log(path), gpx)
    assert aligned.agreement > 0.9
    assert aligned.offset_s == pytest.approx(late, abs=1.0)
    altitude = aligned.log.columns["altitude_m"]
    truth = np.interp(aligned.log.time_s, columns["time_s"], columns["altitude_m"])
    assert np.nanmax(np.abs(altitude - truth)) < 1.0
    _write_gpx(gpx, {**columns, "speed_km_h": columns["speed_km_h"][::-1] ** 2 / 25.0}, late)
    with pytest.raises(LogError, match="not that of"):
        with_gpx(load_log(path), gpx)


def _write_gpx(place: Path, columns: dict[str, np.ndarray], late: float) -> None:
    """A GPX whose recorder was switched on `late` seconds before the log began; it stood still until then."""
    step = np.diff(columns["time_s"], prepend=columns["time_s"][0])
    north = 46.0 + np.cumsum(columns["speed_km_h"] / 3.6 * step) / 111_150.0
    points = [f'<trkpt lat="46.0" lon="7.0"><ele>{columns["altitude_m"][0]:.1f}</ele>'
              f"<time>2026-05-01T09:00:{second:02d}Z</time></trkpt>" for second in range(0, 60, 10)]  # fmt: skip
    for latitude, altitude, time in zip(north, columns["altitude_m"], columns["time_s"] + late, strict=True):
        stamp = f"2026-05-01T{9 + int(time // 3600):02d}:{int(time % 3600 // 60):02d}:{time % 60:06.3f}Z"
        points.append(f'<trkpt lat="{latitude:.7f}" lon="7.0"><ele>{altitude:.1f}</ele><time>{stamp}</time></trkpt>')
    head = '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    place.write_text(f"{head}{''.join(points)}</trkseg></trk></gpx>", encoding="utf-8")


@pytest.mark.parametrize(
    ("keep", "said"),
    [(("time_s", "pack_voltage_v", "pack_current_a"), "has no speed"),
     (("time_s", "speed_km_h", "pack_voltage_v"), "has no motor current")],
)  # fmt: skip
def test_missing_columns_are_named_in_one_line(
    keep: tuple[str, ...], said: str, bike: LoadedBuild, road: Road, tmp_path: Path
):
    path = write_log(tmp_path / "log.csv", columns_of(bike, road, 1.0), keep)
    with pytest.raises(LogError, match=said):
        replay(load_log(path), bike)


def test_the_command_writes_pictures_and_a_page(ridesim_command, bike: LoadedBuild, road: Road, tmp_path: Path):
    path = write_log(tmp_path / "log.csv", spoiled(columns_of(bike, road, 1.0), Faults(), np.random.default_rng(3)))
    words = (
        "replay",
        "configs/longtail-belt.toml",
        path,
        "--out",
        tmp_path / "out",
        "--report",
        tmp_path / "page.html",
    )
    done = ridesim_command(*words)
    assert done.returncode == 0, done.stderr
    assert "every channel agrees" in done.stdout
    assert {"pack_voltage.png", "balance.png", "replay.csv"} <= {each.name for each in (tmp_path / "out").iterdir()}


def test_charge_is_held_against_what_is_computed(bike: LoadedBuild, road: Road, tmp_path: Path):
    """A counter that was not reset and counts 15 % too much, and a display of a pack of half the capacity."""
    columns = columns_of(bike, road, 1.0)
    used = np.cumsum(columns["pack_current_a"]) / 3600.0
    pack = bike.build.pack
    full = pack.parallel * pack.cell.capacity_ah
    fine = columns | {"charge_used_ah": 3.0 + used, "charge_fraction": np.round(1.0 - used / full, 2)}
    result = replay(load_log(write_log(tmp_path / "log.csv", fine)), bike)
    found = {each.name: each for each in result.partings}
    assert found["charge_used_ah"].verdict == found["charge_fraction"].verdict == "fine"
    odd = columns | {"charge_used_ah": 3.0 + 1.15 * used, "charge_fraction": np.round(1.0 - 1.8 * used / full, 2)}
    result = replay(load_log(write_log(tmp_path / "log.csv", odd)), bike)
    found = {each.name: each for each in result.partings}
    assert any("1.15 times" in cause for cause in found["charge_used_ah"].causes)
    assert found["charge_used_ah"].verdict == found["charge_fraction"].verdict == "look again"
    assert any("another capacity" in cause for cause in found["charge_fraction"].causes)


def test_a_pack_current_with_the_wrong_sign_is_told(bike: LoadedBuild, road: Road, tmp_path: Path):
    columns = columns_of(bike, road, 1.0)
    columns["pack_current_a"] *= -1.0
    path = write_log(tmp_path / "log.csv", columns)
    mapping = tmp_path / "map.toml"
    units = {"time_s": ("time", "s"), "speed_km_h": ("speed_km_h", "km_h"), "pack_voltage_v": ("pack_voltage_v", "v"),
             "pack_current_a": ("pack_current_a", "a"), "motor_current_a": ("motor_current_a", "a")}  # fmt: skip
    mapping.write_text("".join(
        f'[[column]]\nhead = "{head}"\nquantity = "{what}"\nunit = "{unit}"\n' for head, (what, unit) in units.items()
    ))  # fmt: skip
    result = replay(load_log(path, mapping), bike)
    voltage = next(each for each in result.partings if each.name == "pack_voltage_v")
    assert any("sign = -1" in cause for cause in voltage.causes), voltage.causes


@pytest.mark.parametrize(
    ("given_w", "word"), [(249.0, "fine"), (251.0, "look again"), (151.0, "fine"), (149.0, "look again")]
)
def test_a_road_out_of_balance_is_told(given_w: float, word: str):
    """A quarter of the 200 W that are asked is the limit, either way."""
    ripple = np.tile([-5.0, 5.0], 10)
    found = balanced(Balance(30.0 * np.arange(20.0), given_w + ripple, np.full(20, 200.0), 0.0, False))
    assert found.verdict == word
    assert ("more" if given_w > 200.0 else "less") in found.reason


@pytest.mark.parametrize(("off_w", "word"), [(39.0, "fine"), (41.0, "look again")])
@pytest.mark.parametrize("way", [-1.0, 1.0])
def test_where_little_is_asked_forty_watts_are_the_limit(off_w: float, word: str, way: float):
    """A rider's word for his own power, or a light wind: 20 to 30 W (guess)."""
    asked = np.full(20, 100.0)
    assert balanced(Balance(30.0 * np.arange(20.0), asked + way * off_w, asked, 0.0, False)).verdict == word


@pytest.mark.parametrize(("off_w", "word"), [(149.0, "fine"), (151.0, "look again")])
def test_a_mean_is_out_of_balance_by_more_than_three_of_its_errors(off_w: float, word: str):
    """Four half minutes that scatter by 100 W leave the mean unsure by 50 W."""
    ripple, asked = np.array([-100.0, 100.0, -100.0, 100.0]), np.full(4, 200.0)
    assert balanced(Balance(30.0 * np.arange(4.0), asked + off_w + ripple, asked, 0.0, False)).verdict == word


def test_noise_alone_is_no_balance_lost():
    """Four half minutes that scatter by 100 W leave the mean unsure by 50 W: 60 W are none."""
    ripple = np.array([-100.0, 100.0, -100.0, 100.0])
    assert balanced(Balance(30.0 * np.arange(4.0), 260.0 + ripple, np.full(4, 200.0), 0.0, False)).verdict == "fine"


def test_a_drag_that_the_build_does_not_know_is_in_the_first_line(bike: LoadedBuild, tmp_path: Path):
    """Twice the drag area on the level: every channel of the parts agrees, the bike is not the one of the file."""
    result = replayed(bike, make_flat(3000.0), tmp_path, bicycle__drag_area_m2=1.24)
    assert {each.verdict for each in result.partings} == {"fine"}
    shown = view(result, pictures=False)
    assert shown.verdict == result.verdict == "look again"
    assert "W more than drags, mass and rider of the build say" in shown.answer[0]


def test_a_bike_far_heavier_is_not_told_that_its_road_is_another(bike: LoadedBuild, road: Road, tmp_path: Path):
    """100 kg more up the ridge look like another road's altitude: the first line names both."""
    shown = view(replayed(bike, road, tmp_path, bicycle__cargo_kg=140.0), pictures=False)
    assert shown.verdict == "stop"
    assert "another road, or the bike is far heavier" in shown.answer[0]


def _replayed_columns(bike: LoadedBuild, folder: Path, names: tuple[str, ...], by: By | None = None) -> Replay:
    columns = columns_of(bike, make_flat(3000.0))
    kept = {name: values for name, values in columns.items() if name in ("time_s", *names)}
    return replay(load_log(write_log(folder / "log.csv", kept)), bike, by)


def test_a_log_of_the_pack_alone_says_nothing_of_the_motor(bike: LoadedBuild, tmp_path: Path):
    result = _replayed_columns(bike, tmp_path, ("speed_km_h", "pack_voltage_v", "pack_current_a"))
    shown = view(result, pictures=False)
    assert [each.name for each in result.partings] == ["pack_voltage_v"]
    assert "of the motor it says nothing" in shown.answer[0]
    assert "every channel" not in shown.answer[0]


def test_a_log_of_the_speed_alone_is_not_found_to_be_this_bikes(bike: LoadedBuild, tmp_path: Path):
    """The model rides its own road with its own drags: that this balances is no news of the log's bike."""
    result = _replayed_columns(bike, tmp_path, ("speed_km_h", "altitude_m"), "speed")
    shown = view(result, pictures=False)
    assert (shown.verdict, result.balance) == ("look again", None)
    assert "Nobody can tell" in shown.answer[0]
    assert not any("are asked" in line for line in shown.answer)
