"""The demo roads: made by their script to the byte, and ridden as they were drawn."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from types import ModuleType

import numpy as np
import pytest

from ridesim.road.load import load_road
from ridesim.road.plan import plan_speed

from .conftest import PROJECT

ROUTES = PROJECT / "routes"


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_routes", ROUTES / "make_routes.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_routes"] = module
    spec.loader.exec_module(module)
    return module


def test_the_script_writes_the_same_bytes(script: ModuleType) -> None:
    written = script.written_routes()
    assert set(written) == {path.name for path in ROUTES.glob("*.gpx")}
    for name, text in written.items():
        content = (ROUTES / name).read_bytes()
        assert content == text.encode(), name
        assert len(content) < 400_000


def test_commute_has_its_stops_limits_and_surfaces() -> None:
    road = load_road(ROUTES / "valley-commute.toml")
    assert road.length_m == pytest.approx(8000.0, rel=0.02)
    assert road.climb_m == pytest.approx(60.7, abs=5.0)  # as drawn in the script
    assert len(road.stops) == 4 and {"asphalt", "cobbles", "fine_gravel", "gravel"} == set(road.surface)
    plan = plan_speed(road, 25.0 / 3.6)
    assert plan.speed_m_per_s.min() < 20.0 / 3.6
    assert plan.speed_m_per_s.max() == pytest.approx(25.0 / 3.6)


def test_ridge_climb_keeps_its_ramp() -> None:
    road = load_road(ROUTES / "ridge-climb.gpx")
    assert road.length_m == pytest.approx(6020.0, rel=0.02)
    assert road.climb_m == pytest.approx(447.0, rel=0.02)
    ramp = road.grade[np.abs(road.distance_m - 4120.0) < 60.0]
    assert ramp.mean() == pytest.approx(0.135, abs=0.01)
    assert np.percentile(road.grade, 10) > 0.045 and road.recorded_speed_m_per_s is None


def test_terrace_round_comes_home_with_its_rests() -> None:
    road = load_road(ROUTES / "terrace-round.gpx")
    assert road.length_m == pytest.approx(20_000.0, rel=0.01)
    assert road.altitude_m[-1] == pytest.approx(road.altitude_m[0], abs=6.0)
    assert [stop.dwell_s for stop in road.recorded_pauses] == [pytest.approx(95, abs=5), pytest.approx(420, abs=8)]
    assert road.recorded_speed_m_per_s is not None
    plan = plan_speed(road, 25.0 / 3.6, source="recorded")
    assert plan.stop_distance_m.tolist() == pytest.approx([6_300.0, 13_800.0], rel=0.01)


def test_no_land_near_the_demo_roads() -> None:
    for path in ROUTES.glob("*.gpx"):
        road = load_road(path)
        assert road.latitude_deg is not None and road.longitude_deg is not None
        assert np.all(np.abs(road.latitude_deg + 47.3) < 0.2) and np.all(np.abs(road.longitude_deg + 118.0) < 0.2)


def test_importing_the_room_loads_nothing_heavy() -> None:
    code = (
        "import sys, ridesim.road.load, ridesim.road.plan, ridesim.road.made\n"
        "print([m for m in ('gpxpy', 'scipy', 'pandas', 'tomllib', 'numba', 'pydantic') if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
