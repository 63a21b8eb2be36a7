"""A wind vector from a log that goes round: found as surely as stated; one way alone does not tell it, and says so."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.learn.build_fit import BuildFit, fit_build
from ridesim.learn.log import load_log
from ridesim.report.fit.build_view import view
from ridesim.road.load import load_road
from ridesim.road.profile import Road

from .made_logs import Faults, columns_of, spoiled

ROOT = Path(__file__).parents[2]
WIND_M_PER_S, FROM_DEG = 5.0, 30.0


@pytest.fixture(scope="module")
def bike() -> LoadedBuild:
    """Nobody pedals: the motor's own torque tells the road load."""
    return replace_keys(load_build(ROOT / "configs" / "longtail-belt.toml"), {"rider.power_w": 0.0})


def windy_fit(bike: LoadedBuild, road: Road, place: Path, seed: int, *, straight: bool = False) -> BuildFit:
    weather = {"weather.wind_speed_km_h": 3.6 * WIND_M_PER_S, "weather.wind_from_deg": FROM_DEG}
    columns = spoiled(columns_of(replace_keys(bike, weather), road, 1.0), Faults(), np.random.default_rng(seed))
    gone = np.concatenate(([0.0], np.cumsum(np.diff(columns["time_s"]) * columns["speed_km_h"][1:] / 3.6)))
    for name in ("latitude_deg", "longitude_deg"):
        columns[name] = np.interp(gone, road.distance_m, getattr(road, name))
    if straight:
        columns["latitude_deg"], columns["longitude_deg"] = 46.0 + gone / 111_000.0, np.full(len(gone), 7.0)
    place.mkdir(exist_ok=True)
    path = place / "log.csv"
    body = np.column_stack(list(columns.values()))
    np.savetxt(path, body, fmt="%.10g", delimiter=",", header=",".join(columns), comments="")
    return fit_build(load_log(path), bike)


def wind(fit: BuildFit) -> tuple[tuple[float, float], tuple[float, float]]:
    keys = {each.key: each for each in fit.keys}
    east, north = keys["log.wind_east_m_per_s"], keys["log.wind_north_m_per_s"]
    return (east.after, east.after_sd), (north.after, north.after_sd)


def true_wind(bike: LoadedBuild) -> tuple[float, float]:
    """At the rider's height, as motion of the air."""
    speed = WIND_M_PER_S * bike.build.weather.wind_exposure
    return -speed * math.sin(math.radians(FROM_DEG)), -speed * math.cos(math.radians(FROM_DEG))


def test_a_round_tells_the_wind(bike: LoadedBuild, tmp_path: Path):
    road = load_road(ROOT / "routes" / "terrace-round.gpx")
    fit = windy_fit(bike, road, tmp_path, 1)
    for (found, error), true in zip(wind(fit), true_wind(bike), strict=True):
        assert error < 0.6
        assert found == pytest.approx(true, abs=3.0 * error)
    assert not any("does not tell the wind" in line for line in view(fit, (), pictures=False).answer)


def test_one_way_alone_does_not_tell_it_and_says_so(bike: LoadedBuild, tmp_path: Path):
    fit = windy_fit(bike, load_road(ROOT / "routes" / "ridge-climb.gpx"), tmp_path, 2, straight=True)
    (_, across), _ = wind(fit)
    assert across > 1.2
    assert any("does not tell the wind" in line for line in view(fit, (), pictures=False).answer)
