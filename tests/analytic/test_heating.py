"""First-order heating, two lumps, copper's feedback and the runaway current, by whole rides.

Expected values: closed forms and the matrix exponential of the two-lump equations.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.linalg import expm

from ridesim.bike.load import LoadedBuild
from ridesim.engine.state import Stop
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_flat
from ridesim.road.profile import Stop as RoadStop

from ..bikes import bike

ALPHA = 0.00393  # IEC 60028:1925, 1/K at 20 degC
NO_FOLDBACK = {"controller.controller_full_current_below_c": 200.0, "controller.controller_no_current_above_c": 250.0}

# Row 6-1: R 1.5 K/W, C 300 J/K, P 100 W, 25 degC. Here 3 K/W, 150 J/K and 50 W: the same rise and time constant.
FIRST_ORDER = [(225.0, 84.0204), (450.0, 119.8181), (900.0, 154.6997), (1800.0, 172.2527)]


@pytest.fixture(scope="module")
def parked() -> Ride:
    """A bike that stands half an hour with 50 W in its controller."""
    loaded = bike(
        {**NO_FOLDBACK, "weather.temperature_c": 25.0, "controller.standby_power_w": 50.0,
         "controller.heat_capacity_j_per_k": 150.0, "controller.to_air_w_per_k": 1.0 / 3.0}
    )  # fmt: skip
    road = replace(make_flat(50.0), stops=(RoadStop(0.0, 1900.0),))
    return simulate(loaded, road, record_every_s=1.0, step_s=0.1)


@pytest.mark.parametrize(("seconds", "celsius"), FIRST_ORDER, ids=lambda v: f"closed-form-6-1-{v:g}")
def test_first_order_heating(parked: Ride, seconds: float, celsius: float) -> None:
    trace = parked.trace
    row = trace.iloc[(trace["time_s"] - seconds).abs().argmin()]
    drift = row["time_s"] - seconds  # a standing bike is stepped by the second: rows fall beside the wanted time
    exact = 25.0 + 150.0 * -math.expm1(-(seconds + drift) / 450.0)
    assert abs(drift) < 1.0
    assert row["controller_temp_c"] == pytest.approx(exact, abs=5e-5)
    assert 25.0 + 150.0 * -math.expm1(-seconds / 450.0) == pytest.approx(celsius, abs=5e-5)


def steady_bike(**changes: Any) -> LoadedBuild:
    """A bike that rolls on the level at a constant speed under a heavy load: its motor current never changes.

    Magnets that do not weaken, no pedals, and drag that does not depend on anything that changes.
    """
    keys = {
        **NO_FOLDBACK,
        "rider.power_w": 0.0,
        "tyre.rolling_resistance": 0.04,
        "motor.magnet_coefficient_percent_per_k": 0.0,
        "motor.winding_heat_capacity_j_per_k": 60.0,
        "motor.body_heat_capacity_j_per_k": 300.0,
        "pack.parallel": 60,
        "controller.pack_current_limit_a": 100.0,
    }
    keys.update({key.replace("__", "."): value for key, value in changes.items()})
    return bike(keys)


def cruise(loaded: LoadedBuild, minutes: float) -> Ride:
    """Ride at the cruise speed from the first metre."""
    speed = loaded.build.rider.cruise_speed_km_h
    return simulate(
        loaded, make_flat(speed / 3.6 * 60.0 * minutes), start_speed_km_h=speed, record_every_s=1.0, step_s=0.1
    )


def two_lumps(ride: Ride) -> tuple[np.ndarray, np.ndarray]:
    """Matrix and source of (T_w - T_air, T_b - T_air)' = M T + q, copper's feedback included."""
    motor, row = ride.build.motor, ride.trace.iloc[3]
    current = float(row["motor_current_a"]) * math.sqrt(0.75)
    copper = current**2 * motor.resistance_mohm / 1000.0
    still, fast = motor.body_to_air_still_w_per_k, motor.body_to_air_at_36_km_h_w_per_k
    assert still is not None and fast is not None
    speed = ride.build.rider.cruise_speed_km_h / 3.6
    to_air = motor.enclosure * (still + (fast - still) * (speed / 10.0) ** motor.cooling_exponent)
    across = motor.winding_to_body_w_per_k
    c_w, c_b = motor.winding_heat_capacity_j_per_k, motor.body_heat_capacity_j_per_k
    air = ride.build.weather.temperature_c
    matrix = np.array([[(copper * ALPHA - across) / c_w, across / c_w], [across / c_b, -(across + to_air) / c_b]])
    source = np.array([copper * (1.0 + ALPHA * (air - 20.0)) / c_w, float(row["iron_power_w"]) / c_b])
    return matrix, source


def test_two_lumps_follow_the_matrix_exponential() -> None:
    ride = cruise(steady_bike(weather__temperature_c=30.0), 20.0)
    matrix, source = two_lumps(ride)
    steady = -np.linalg.solve(matrix, source)
    trace = ride.trace
    for seconds in (60.0, 300.0, 600.0, 1150.0):
        n = int((trace["time_s"] - seconds).abs().argmin())
        expected = 30.0 + steady - expm(matrix * float(trace["time_s"][n])) @ steady
        got = trace.loc[n, ["winding_temp_c", "body_temp_c"]].to_numpy(dtype=float)
        assert got == pytest.approx(expected, abs=0.01)
    assert trace["winding_temp_c"].iloc[-1] > 65.0


def test_steady_temperature_with_copper_feedback() -> None:
    """T_w = T_air + (R_wb + R_ba) P + R_ba P_iron with P = P_20 (1 + alpha (T_w - 20)): row 6-2 with two lumps."""
    ride = cruise(steady_bike(motor__winding_heat_capacity_j_per_k=20.0, motor__body_heat_capacity_j_per_k=60.0), 20.0)
    matrix, source = two_lumps(ride)
    winding, body = 20.0 - np.linalg.solve(matrix, source)
    assert ride.trace["winding_temp_c"].iloc[-1] == pytest.approx(winding, abs=0.01)
    assert ride.trace["body_temp_c"].iloc[-1] == pytest.approx(body, abs=0.01)


def runaway_resistance() -> float:
    """Winding resistance [mohm] at which alpha (R_wb + R_ba) P_20 is 1 for this bike's steady current."""
    ride = cruise(steady_bike(), 0.5)
    matrix, _ = two_lumps(ride)
    motor, row = ride.build.motor, ride.trace.iloc[3]
    current = float(row["motor_current_a"]) * math.sqrt(0.75)
    across = motor.winding_to_body_w_per_k
    to_air = -matrix[1, 1] * motor.body_heat_capacity_j_per_k - across
    return 1000.0 / (ALPHA * current**2 * (1.0 / across + 1.0 / to_air))


@pytest.mark.parametrize(("share", "bends"), [(0.97, -1), (1.03, 1)])
def test_runaway_current(share: float, bends: int) -> None:
    """Below it warming slows down, above it speeds up, and no steady temperature exists: it ends in a burnt winding."""
    ohms = share * runaway_resistance()
    loaded = steady_bike(
        motor__resistance_mohm=ohms, motor__winding_heat_capacity_j_per_k=2.0, motor__body_heat_capacity_j_per_k=400.0
    )  # fmt: skip
    ride = cruise(loaded, 10.0)
    assert ride.raw.stop is Stop.OVER_TEMPERATURE
    winding = ride.trace["winding_temp_c"].to_numpy()[:-1]
    late = winding[20:]  # the fast difference of the two lumps is gone after a few of its 0.6 s
    assert len(late) > 20
    assert (np.sign(np.diff(late, 2)) == bends).all()


def test_winding_cools_to_the_body_and_the_body_to_the_air() -> None:
    """A stop after hot work: all four lumps fall towards the air, and none passes it."""
    loaded = bike({"weather.temperature_c": 15.0})
    road = replace(make_flat(900.0), stops=(RoadStop(800.0, 7200.0),))
    ride = simulate(loaded, road, record_every_s=10.0)
    trace = ride.trace
    standing = trace[(trace["speed_km_h"] == 0.0) & (trace["distance_km"] > 0.7)]
    first, last = standing.iloc[2], standing.iloc[-1]
    assert last["time_s"] - first["time_s"] > 7000.0
    for name in ("winding_temp_c", "body_temp_c", "pack_temp_c"):
        assert 15.0 <= last[name] < first[name]
    # Slowest mode of the two lumps, 800 J/K through about 0.8 W/K: nine time constants have gone by.
    assert last["winding_temp_c"] == pytest.approx(15.0, abs=0.02)
