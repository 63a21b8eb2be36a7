"""Logs of a bike of two different drives: one of them at a time, the other one switched off."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.cli.door import run
from ridesim.errors import BuildError
from ridesim.learn.asked import replay
from ridesim.learn.one_drive import one_drive
from ridesim.ride.drives import each_drive
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_hills

from ..bikes import CONFIGS

DEMO = CONFIGS / "longtail-two-drives.toml"
LOGGED = {
    "time_s": "time_s", "speed_km_h": "speed_km_h", "motor_current_a": "motor_current_a",
    "pack_current_a": "pack_current_a", "pack_voltage_v": "pack_voltage_v",
    "winding_temp_c": "winding_temperature_c", "altitude_m": "altitude_m",
}  # fmt: skip
"""What a controller logs, by the trace's names."""


@pytest.fixture(scope="module")
def demo() -> LoadedBuild:
    return load_build(DEMO)


def log_of(demo: LoadedBuild, place: Path, **keys: float) -> Path:
    """Log the second drive on a ride with the first one switched off; `keys`: what the bike really is."""
    really = {"second.motor.resistance_mohm": 130.0} | {name.replace("__", "."): value for name, value in keys.items()}
    # The first one can neither pull nor brake, and next to nothing turns with its wheel.
    off = {"controller.motor_current_limit_a": 1.0, "controller.brake_current_limit_a": 0.0}
    ride = simulate(replace_keys(demo, really | off), make_hills(3000.0, 20.0, 1000.0), cruise_speed_km_h=18.0)
    table = each_drive(ride)[1].trace[list(LOGGED)].rename(columns=LOGGED)
    table.to_csv(place / "log.csv", index=False, float_format="%.5g")
    return place / "log.csv"


def test_a_bike_on_one_of_its_drives(demo: LoadedBuild):
    """The other drive's mass stays on the bike, its keys do not; the tolerances stated of the one go with it."""
    stated = {"second.motor.kv_rpm_per_v": "2 %", "motor.kv_rpm_per_v": "3 %", "bicycle.drag_area_m2": 0.02}
    sure = replace_keys(demo, {"tolerance": stated})
    for number, drive, kv in ((1, sure.build, "3 %"), (2, sure.build.second, "2 %")):
        alone = one_drive(sure, number, "")
        assert alone.build.second is None
        assert alone.build.mass_kg == pytest.approx(sure.build.mass_kg, rel=1e-12)
        assert alone.build.motor == drive.motor and alone.build.controller == drive.controller
        assert alone.build.drive == drive.drive
        assert alone.stated.by_key["motor.kv_rpm_per_v"].said == kv and len(alone.stated.by_key) == 2
        assert (alone.path, alone.sha256) == (sure.path, sure.sha256)
    assert one_drive(load_build(CONFIGS / "longtail-hub.toml"), None, "").build.second is None
    with pytest.raises(BuildError, match="there is no drive 2"):
        one_drive(load_build(CONFIGS / "longtail-hub.toml"), 2, "")
    with pytest.raises(BuildError, match="ride with one of them switched off"):
        one_drive(demo, None, "`ridesim replay`")


def test_a_log_of_the_second_drive_is_followed_by_it(demo: LoadedBuild, tmp_path: Path):
    """Its winding and its pack current come out as ridden; the first drive's model is not that of this log."""
    log = log_of(demo, tmp_path)
    own, other = (replay(DEMO, log, drive=number) for number in (2, 1))
    partings = {each.name: each for each in own.partings}
    assert partings["winding_temperature_c"].verdict == "fine" and partings["winding_temperature_c"].rms < 1.0
    assert partings["pack_current_a"].rms < 0.3 and own.verdict != "stop"
    wrong = {each.name: each for each in other.partings}
    assert wrong["pack_current_a"].rms > 3.0 * partings["pack_current_a"].rms


def test_a_fit_is_written_as_the_second_drives(demo: LoadedBuild, tmp_path: Path, capfd: pytest.CaptureFixture[str]):
    """A resistance that is a fifth higher is found, and the written build has it under [second.motor]."""
    log = log_of(demo, tmp_path, second__motor__resistance_mohm=156.0)
    saved = tmp_path / "fitted.toml"
    words = [
        "fit",
        str(DEMO),
        str(log),
        "--drive",
        "2",
        "--only",
        "motor.resistance_mohm",
        "--save",
        str(saved),
        "--json",
    ]
    assert run(words) == 0, capfd.readouterr().err
    assert json.loads(capfd.readouterr().out)["inputs"]["drive"] == 2
    fitted = load_build(saved)
    assert fitted.build.second.motor.resistance_mohm == pytest.approx(156.0, rel=0.1)
    assert fitted.build.motor == demo.build.motor and fitted.build.name == f"{demo.build.name}, fitted"
    assert "second.motor.resistance_mohm" in fitted.stated.by_key
