"""Stops are stood, on any slope and in any wind; a slow bike rolls up to its stop; a freewheel never pulls back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from ridesim.bike.load import load_build
from ridesim.engine.state import Stop, Total
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb
from ridesim.road.profile import Road
from ridesim.road.profile import Stop as RoadStop

from ..bikes import bike

CONFIGS = Path(__file__).parents[2] / "configs"
BUILDS = tuple(sorted(path.stem for path in CONFIGS.glob("*.toml")))
GRADES = (-15.0, -6.0, -1.0, 0.0, 3.0, 15.0)
DWELL_S, AT_M = 60.0, 120.0


def with_stops(grade_percent: float, *stops: RoadStop, length: float = 250.0) -> Road:
    return replace(make_climb(length, grade_percent, start_altitude_m=300.0), stops=stops)


def stood(ride: Ride) -> tuple[float, float]:
    """Return for how long the bike stood in the end part of its road [s], and where [m]."""
    still = ride.trace[ride.trace["speed_km_h"] == 0.0]
    still = still[still["distance_km"] > 0.5 * AT_M / 1e3]
    return float(still["time_s"].max() - still["time_s"].min()), float(still["distance_km"].mean()) * 1e3


@pytest.mark.parametrize("name", BUILDS)
@pytest.mark.parametrize("grade", GRADES)
@pytest.mark.parametrize("wind_km_h", [0.0, 50.0])
def test_a_stop_is_stood_at_its_place(name: str, grade: float, wind_km_h: float) -> None:
    """Started rolling, so that a bike too weak for the hill reaches its stop too; wind from behind."""
    loaded = load_build(
        CONFIGS / f"{name}.toml",
        overrides={"weather.wind_speed_km_h": wind_km_h, "weather.wind_from_deg": 180.0, "bicycle.grip": 1.2},
    )
    ride = simulate(loaded, with_stops(grade, RoadStop(AT_M, DWELL_S)), start_speed_km_h=22.0, record_every_s=0.5)
    if ride.raw.end.stop_index == 0 and ride.raw.stop is Stop.STALLED:
        pytest.skip("this bike cannot climb to the stop")
    seconds, place = stood(ride)
    if ride.raw.stop is Stop.STALLED:  # it stood its stop, and cannot start on this hill
        assert seconds >= DWELL_S - 1.1
    else:
        assert seconds == pytest.approx(DWELL_S, abs=1.1)
    assert place == pytest.approx(AT_M, abs=1.1)
    held = ride.trace[(ride.trace["speed_km_h"] == 0.0) & (ride.trace["distance_km"] > 0.5 * AT_M / 1e3)].iloc[5]
    asked = -held["grade_force_n"] - held["air_force_n"]
    assert held["brake_force_n"] + held["rolling_force_n"] + held["bearing_force_n"] == pytest.approx(asked, abs=1e-9)
    assert (held["rolling_force_n"] >= 0.0) and (held["bearing_force_n"] >= 0.0)
    if grade < -3.0:
        assert held["brake_force_n"] > 50.0  # the brake holds
    if grade > 3.0:
        assert held["brake_force_n"] < -50.0  # the foot does


@pytest.mark.parametrize("keys", [{"rider.response_time_s": 2.0}, {"rider.braking_m_per_s2": 4.0},
                                  {"rider.response_time_s": 3.0, "rider.braking_m_per_s2": 4.0}])  # fmt: skip
@pytest.mark.parametrize("grade", [0.0, 4.0])
def test_a_bike_slower_than_its_plan_rolls_up_to_its_stop(keys: dict[str, Any], grade: float) -> None:
    """Started again just before the next stop it is far below the plan when the plan begins to brake."""
    road = with_stops(grade, RoadStop(100.0, 5.0), RoadStop(112.0, 5.0), RoadStop(150.0, 5.0))
    ride = simulate(bike(keys), road, record_every_s=0.2)
    assert ride.raw.stop is Stop.FINISHED
    still = ride.trace[ride.trace["speed_km_h"] == 0.0]
    for at in (100.0, 112.0, 150.0):
        near = still[(still["distance_km"] * 1e3 - at).abs() < 1.5]
        assert near["time_s"].max() - near["time_s"].min() == pytest.approx(5.0, abs=0.5)


def test_stops_are_served_on_every_lap_at_their_places() -> None:
    road = with_stops(0.0, RoadStop(60.0, 7.0), RoadStop(180.0, 3.0))
    ride = simulate(bike(), road, laps=3, record_every_s=0.2)
    still = ride.trace[ride.trace["speed_km_h"] == 0.0]
    for lap in range(3):
        for at, dwell in ((60.0, 7.0), (180.0, 3.0)):
            near = still[(still["distance_km"] * 1e3 - lap * 250.0 - at).abs() < 1.5]
            assert near["time_s"].max() - near["time_s"].min() == pytest.approx(dwell, abs=0.5), (lap, at)


@pytest.mark.parametrize("throttle", [0.005, 0.01, 0.02, 0.05, 0.2])
@pytest.mark.parametrize("grade", [-8.0, -4.0, 0.0])
def test_a_freewheel_never_pulls_back(throttle: float, grade: float) -> None:
    """It engages where the current's torque passes iron and stages together, and runs free below."""
    loaded = bike({"drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0, "rider.power_w": 0.0})
    road = make_climb(400.0, grade, start_altitude_m=100.0)
    ride = simulate(loaded, road, throttle=throttle, start_speed_km_h=20.0, record_every_s=0.2)
    assert ride.trace["motor_force_n"].min() >= 0.0
    assert (ride.trace["motor_speed_rpm"][ride.trace["motor_current_a"] == 0.0] == 0.0).all()
    pulled = ride.raw.total(Total.PEAK_DRIVE_CURRENT) > 0.0
    assert pulled == (throttle >= 0.02)


def test_a_freewheel_motor_with_less_than_its_drags_draws_nothing() -> None:
    """K I = 0.092 x 0.6 N m against tau_0 + belts of some 0.1 N m at 20 km/h."""
    loaded = bike({"drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0, "rider.power_w": 0.0})
    ride = simulate(loaded, make_climb(300.0, -4.0, start_altitude_m=50.0), throttle=0.008, start_speed_km_h=20.0)
    assert ride.raw.total(Total.PEAK_DRIVE_CURRENT) == 0.0


@pytest.mark.parametrize("dwell_s", [5e-324, 2e-311, 1e-15])
def test_a_stop_of_no_time_at_all_is_ridden_on_from(dwell_s: float) -> None:
    ride = simulate(CONFIGS / "longtail-belt.toml", with_stops(0.0, RoadStop(AT_M, dwell_s)), trace=False)
    assert ride.raw.stop is Stop.FINISHED
    assert ride.raw.end.time < 120.0 and abs(ride.ledger_residual_fraction) < 1e-9
