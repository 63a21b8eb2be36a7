"""A made log replayed by its throttle, and by its speed alone: the model's own motion, currents and warmth agree."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.errors import LogError
from ridesim.learn.driven import By, driven_by
from ridesim.learn.log import load_log
from ridesim.learn.replay import Replay, replay
from ridesim.learn.start import first_of, start_of
from ridesim.road.load import load_road
from ridesim.road.profile import Road

from .made_logs import Array, Faults, columns_of, spoiled, throttled, write_log

ROOT = Path(__file__).parents[2]
LEVELS = np.array([0.5, 0.8, 0.6, 0.3, 1.0, 0.5, 0.7, 0.45, 0.9, 0.4, 0.65, 0.55, 0.8, 0.6])


@pytest.fixture(scope="module")
def bike() -> LoadedBuild:
    """A longtail whose rider does not pedal."""
    light = {"rider.power_w": 0.0, "bicycle.cargo_kg": 0.0}
    return replace_keys(load_build(ROOT / "configs" / "longtail-belt.toml"), light)


@pytest.fixture(scope="module")
def road() -> Road:
    return load_road(ROOT / "routes" / "terrace-round.gpx")


@pytest.fixture(scope="module")
def ridden(bike: LoadedBuild, road: Road) -> dict[str, Array]:
    """Nine minutes over the terraces, the throttle moved every 40 s."""
    return throttled(bike, road, LEVELS, 40.0)


def replayed(
    bike: LoadedBuild, columns: dict[str, Array], folder: Path, by: By | None, leave: tuple[str, ...] = ()
) -> Replay:
    kept = {name: values for name, values in columns.items() if name not in leave}
    path = write_log(folder / "log.csv", spoiled(kept, Faults(), np.random.default_rng(5)))
    return replay(load_log(path), bike, by)


def test_a_ride_by_its_throttle_comes_out_again(bike: LoadedBuild, ridden: dict[str, Array], tmp_path: Path):
    """Against the ride itself, made by steps of another length on a road by distance: within sensors' noise.

    What is left of the speed is the altitude's rounding to 0.2 m, 0.3 % of slope over 50 m.
    """
    result = replayed(bike, ridden, tmp_path, "throttle")
    assert result.driven.by == "throttle"
    assert result.verdict == "fine", [(each.name, each.rms) for each in result.partings]
    rms = {each.name: each.rms for each in result.partings}
    assert rms["speed_km_h"] < 0.7
    assert rms["motor_current_a"] < 0.5
    assert rms["pack_current_a"] < 0.5
    assert rms["pack_voltage_v"] < 0.2
    assert rms["duty"] < 0.015
    assert rms["winding_temperature_c"] < 1.0


@pytest.mark.parametrize(
    ("build", "law"),
    [("longtail-freewheel", "torque"), ("longtail-two-motors", "torque"), ("longtail-belt", "voltage")],
)
def test_every_drive_and_law_of_a_throttle_comes_out_again(build: str, law: str, road: Road, tmp_path: Path):
    keys = {"rider.power_w": 0.0, "bicycle.cargo_kg": 0.0, "controller.throttle_law": law}
    other = replace_keys(load_build(ROOT / "configs" / f"{build}.toml"), keys)
    result = replayed(other, throttled(other, road, np.minimum(LEVELS[:6] + 0.1, 1.0), 40.0), tmp_path, "throttle")
    assert result.verdict == "fine", [(each.name, each.rms) for each in result.partings]


def test_the_controllers_limits_hold_under_a_logged_throttle(
    bike: LoadedBuild, ridden: dict[str, Array], tmp_path: Path
):
    """The same log on a build with a lower limit of the pack: the model's own bound holds it back, and it is told."""
    weak = replace_keys(bike, {"controller.pack_current_limit_a": 20.0})
    result = replayed(weak, ridden, tmp_path, "throttle")
    assert result.followed.pack_current_a.max() < 20.5
    found = {each.name: each for each in result.partings}
    assert found["pack_current_a"].bias > 1.0
    assert any("pack_current_limit_a" in words for words in result.general)


@pytest.mark.parametrize(
    ("scale", "zero", "said"),
    [(0.75, 0.0, r"1\.3[2-5] times the logged throttle:"), (0.8, 0.15, r"1\.2\d times .* -0\.(18|19|20)")],
)
def test_a_throttle_of_another_scale_is_told(
    scale: float, zero: float, said: str, bike: LoadedBuild, ridden: dict[str, Array], tmp_path: Path
):
    """The recorder's throttle is `scale` times the true one, from `zero` on: the current tells."""
    wrong = ridden | {"throttle": scale * ridden["throttle"] + zero}
    result = replayed(bike, wrong, tmp_path, "throttle")
    current = next(each for each in result.partings if each.name == "motor_current_a")
    assert current.verdict != "fine"
    assert any(re.search(said, cause) for cause in current.causes), current.causes


def test_a_heavier_bike_is_told_by_its_speed_and_not_by_its_current(bike: LoadedBuild, road: Road, tmp_path: Path):
    heavy = replace_keys(bike, {"bicycle.cargo_kg": 40.0})
    result = replayed(bike, throttled(heavy, road, LEVELS, 40.0), tmp_path, "throttle")
    found = {each.name: each for each in result.partings}
    assert found["speed_km_h"].verdict != "fine"
    assert any("slower" in cause and "same current" in cause for cause in found["speed_km_h"].causes)


def test_a_throttle_in_volts_is_read_by_its_travel(bike: LoadedBuild, ridden: dict[str, Array], tmp_path: Path):
    """0.8 to 4.2 V; two minutes in which it is let go show where it is closed."""
    still = {name: np.concatenate([np.repeat(values[:1], 60), values]) for name, values in ridden.items()}
    still["time_s"] = np.arange(len(still["time_s"])) * 0.5
    still["throttle"][:60] = 0.0
    for name in ("speed_km_h", "electrical_speed_rpm", "motor_current_a", "duty", "pack_current_a"):
        still[name][:60] = 0.0
    columns = {name: values for name, values in still.items() if name != "throttle"}
    columns["throttle_v"] = 0.8 + 3.4 * still["throttle"]
    result = replayed(bike, columns, tmp_path, "throttle")
    assert any("0.80 V is taken as closed" in note and "4.20 V as open" in note for note in result.notes), result.notes
    assert next(each for each in result.partings if each.name == "motor_current_a").verdict == "fine"


def test_what_drives_is_chosen_by_what_is_logged(bike: LoadedBuild, ridden: dict[str, Array], tmp_path: Path):
    assert replayed(bike, ridden, tmp_path, None).driven.by == "current"
    without = replayed(bike, ridden, tmp_path, None, ("motor_current_a", "pack_current_a"))
    assert without.driven.by == "throttle"
    assert {"speed_km_h", "pack_voltage_v"} <= {each.name for each in without.partings}


def test_a_ride_by_its_speed_alone_comes_out_again(bike: LoadedBuild, road: Road, tmp_path: Path):
    """A ride by a plan, brakes and all: the motor gives what the road asks, so currents and warmth agree."""
    result = replayed(bike, columns_of(bike, road), tmp_path, "speed")
    found = {each.name: each for each in result.partings}
    assert "speed_km_h" not in found
    assert found["pack_current_a"].computed_mean == pytest.approx(found["pack_current_a"].measured_mean, rel=0.03)
    assert found["winding_temperature_c"].rms < 2.0


def test_a_hilly_ride_without_altitude_is_not_called_another_bike(
    bike: LoadedBuild, ridden: dict[str, Array], tmp_path: Path
):
    """Its road is taken as level, which says nothing of the bike; with the altitude all agrees."""
    result = replayed(bike, ridden, tmp_path, "throttle", ("altitude_m",))
    assert result.verdict == "look again"
    speed = next(each for each in result.partings if each.name == "speed_km_h")
    assert "taken as level" in speed.causes[0]
    assert any("level" in note for note in result.notes)


def test_a_level_road_speaks_for_the_packs_current_where_no_motor_current_is_logged(
    bike: LoadedBuild, road: Road, tmp_path: Path
):
    """A hilly ride of a display (speed, volts, watts) was told "not of this bike" for want of its altitude."""
    columns = columns_of(bike, road)
    left_out = ("altitude_m", "motor_current_a", *(name for name in columns if "temperature" in name))
    result = replayed(bike, columns, tmp_path, "speed", left_out)
    pack = next(each for each in result.partings if each.name == "pack_current_a")
    assert result.verdict == pack.verdict == "look again" and "taken as level" in pack.causes[0]


def test_a_log_without_throttle_and_a_law_that_has_none_are_refused(
    bike: LoadedBuild, ridden: dict[str, Array], tmp_path: Path
):
    path = write_log(tmp_path / "log.csv", {name: ridden[name] for name in ridden if name != "throttle"})
    from ridesim.cli.app import app

    done = CliRunner().invoke(app, ["replay", bike.path, str(path), "--by", "throttle"])
    assert done.exit_code == 2
    assert "has no throttle" in done.stderr
    assert done.stderr.count("\n") <= 2
    for law in ("governor", "assist"):
        other = replace_keys(bike, {"controller.throttle_law": law, "rider.power_w": 100.0})
        with pytest.raises(LogError, match=law):
            replayed(other, ridden, tmp_path, "throttle")


def test_a_start_is_not_read_late(bike: LoadedBuild, ridden: dict[str, Array], tmp_path: Path):
    """A winding that warms by 2 K from reading to reading began at the first of them, not at the third."""
    assert first_of(np.array([np.nan, 20.0, 22.0, 24.0, 26.0, 28.0, 30.0])) == pytest.approx(20.0)
    assert first_of(np.array([20.0, 20.0, 95.0, 20.0, 21.0])) == pytest.approx(20.0, abs=0.5)  # one odd reading
    columns = ridden | {"winding_temperature_c": 25.0 + 0.4 * ridden["time_s"]}
    path = write_log(tmp_path / "log.csv", {name: values[::10] for name, values in columns.items()})
    driven = driven_by(load_log(path), bike.build)
    assert start_of(bike, driven).winding_c == pytest.approx(columns["winding_temperature_c"][0], abs=0.2)
