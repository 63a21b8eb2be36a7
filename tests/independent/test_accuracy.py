"""What each accuracy promises, against the same ride at a fixed fine step: on the demo bikes, and on random ones."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridesim.bike.load import LoadedBuild, load_build
from ridesim.ride.figures import Figures
from ridesim.ride.simulate import simulate
from ridesim.road.load import load_road
from ridesim.road.made import make_hills
from ridesim.road.profile import Road, Stop

PROJECT = Path(__file__).parents[2]
BUILDS = tuple(sorted(path.stem for path in (PROJECT / "configs").glob("*.toml")))
ROADS = ("valley-commute.toml", "valley-commute.gpx", "ridge-climb.gpx", "terrace-round.gpx")
REFERENCE_STEP_S = 0.01

SHARES = (
    "moving_time_s", "total_time_s", "net_energy_wh", "pack_energy_out_wh", "pack_energy_returned_wh",
    "peak_motor_current_a", "sustained_motor_current_a", "peak_pack_current_a", "peak_charge_current_a",
    "lowest_pack_voltage_v",
)  # fmt: skip
KELVINS = ("peak_winding_temp_c", "peak_body_temp_c", "peak_controller_temp_c", "peak_pack_temp_c")
PROMISED = {"normal": (1e-3, 0.1), "draft": (1e-2, 1.0)}
"""Share and kelvin (README)."""
SMALL_WH = 2.0
"""Energy below which a share of it says little: it is held within that share of this much [Wh]."""
SMALL_A = 1.0
STEEPEST = 0.08
"""Of the random hills, as a grade: most bikes climb it."""


@cache
def loaded(name: str) -> LoadedBuild:
    return load_build(PROJECT / "configs" / f"{name}.toml")


@cache
def road(name: str) -> Road:
    return load_road(PROJECT / "routes" / name)


def misses(ours: Figures, truth: Figures) -> tuple[float, float, str]:
    """Return the largest miss as a share, the largest in kelvin, and the name of the former."""
    worst, name = 0.0, ""
    for key in SHARES:
        small = SMALL_WH if key.endswith("_wh") else SMALL_A if key.endswith("_a") else 0.0
        a, b = getattr(ours, key), getattr(truth, key)
        worst, name = max((worst, name), (abs(a - b) / max(abs(b), small), key))
    return worst, max(abs(getattr(ours, key) - getattr(truth, key)) for key in KELVINS), name


def held(build: LoadedBuild, way: Road, accuracy: str, share: float, kelvin: float) -> None:
    truth = simulate(build, way, trace=False, step_s=REFERENCE_STEP_S)
    ours = simulate(build, way, trace=False, accuracy=accuracy)
    assert ours.raw.stop is truth.raw.stop
    assert ours.figures.distance_km == pytest.approx(truth.figures.distance_km, rel=1e-3)
    assert abs(ours.ledger_residual_fraction) < 1e-9
    if not truth.finished:
        return  # how long a stuck bike trembles before it counts as stuck, and what that takes, is no answer
    missed, warmer, name = misses(ours.figures, truth.figures)
    assert missed <= share, f"{name} is {missed:.2e} off"
    assert warmer <= kelvin


@pytest.mark.parametrize("accuracy", PROMISED)
@pytest.mark.parametrize("way", ROADS)
@pytest.mark.parametrize("build", BUILDS)
def test_demo_bikes(build: str, way: str, accuracy: str):
    share, kelvin = PROMISED[accuracy]
    held(loaded(build), road(way), accuracy, share, kelvin)


def random_bike(rng: np.random.Generator) -> LoadedBuild:
    """A demo bike with other load, gearing, limits, pace and rider."""
    base = loaded(str(rng.choice(BUILDS))).build
    pick = rng.uniform
    keys: dict[str, Any] = {
        "bicycle.cargo_kg": pick(0.0, 80.0),
        "rider.power_w": float(rng.choice([0.0, pick(40.0, 200.0)])),
        "rider.cruise_speed_km_h": pick(15.0, 38.0),
        "controller.motor_current_limit_a": base.controller.motor_current_limit_a * pick(0.6, 1.3),
        "controller.pack_current_limit_a": base.controller.pack_current_limit_a * pick(0.5, 1.3),
        "pack.start_charge_fraction": pick(0.5, 1.0),
        "weather.temperature_c": pick(-5.0, 35.0),
        "weather.wind_speed_km_h": pick(0.0, 25.0),
        "weather.wind_from_deg": pick(0.0, 360.0),
    }
    return load_build(PROJECT / "configs" / f"{_name_of(base.name)}.toml", keys)


def _name_of(title: str) -> str:
    return next(name for name in BUILDS if loaded(name).build.name == title)


def random_road(rng: np.random.Generator) -> Road:
    """Hills of any size, with stops on the way."""
    length = float(rng.uniform(2000.0, 8000.0))
    stops = tuple(Stop(float(at), float(rng.uniform(5.0, 40.0))) for at in np.sort(rng.uniform(300.0, length, 3)))
    wave = float(rng.uniform(600.0, 3000.0))
    made = make_hills(length, STEEPEST / np.pi * wave * float(rng.uniform(0.2, 1.0)), wave)
    return made.with_stops(stops)


def held_at_random(seed: int) -> None:
    """Of 698 such rides four miss a promise at "normal": two a peak and one a sustained current, by 1.1 to 1.5e-3, and
    one cruises at the very speed at which its controller's frequency limit lets go of the motor."""
    rng = np.random.default_rng(seed)
    build, way = random_bike(rng), random_road(rng)
    for accuracy, (share, kelvin) in PROMISED.items():
        held(build, way, accuracy, share, kelvin)


@pytest.mark.parametrize("seed", range(12))
def test_random_bikes_and_roads(seed: int):
    held_at_random(seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 300))
def test_two_hundred_random_bikes_and_roads(seed: int):
    held_at_random(seed)
