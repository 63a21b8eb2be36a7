"""What each throttle law holds constant, read from the trace of a settled ride."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from ridesim.engine.state import Limit, Total
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_flat

from ..bikes import bike

BELTS_NM = 0.01 + 0.02 * 18 / 40 / 0.97
"""Drag of both stages at the motor shaft."""


def settled(ride: Ride) -> pd.Series:
    """The last row but one of a long even ride: the last one is cut by the road's end."""
    return ride.trace.iloc[-2]


def shaft_power(row: pd.Series) -> float:
    return float(row["shaft_torque_nm"] * row["motor_speed_rpm"] * math.pi / 30.0)


@pytest.mark.parametrize("factor", [0.5, 1.0, 2.0])
def test_assist_gives_its_factor_of_the_pedal_power(factor: float) -> None:
    """At the motor shaft, behind the belts' drag."""
    loaded = bike({"controller.throttle_law": "assist", "controller.assist_factor": factor})
    row = settled(simulate(loaded, make_climb(1500.0, 5.0), accuracy="fine"))
    assert row["speed_km_h"] < 24.0  # the motor is all that is wanted of it, and more is wanted
    behind_belts = shaft_power(row) - BELTS_NM * row["motor_speed_rpm"] * math.pi / 30.0
    assert behind_belts == pytest.approx(factor * 80.0, rel=1e-6)


def test_assist_without_pedalling_is_nothing() -> None:
    loaded = bike({"controller.throttle_law": "assist", "controller.assist_factor": 3.0, "rider.power_w": 0.0})
    ride = simulate(loaded, make_flat(200.0), trace=False)
    assert ride.raw.total(Total.DISTANCE) == 0.0
    assert ride.raw.total(Total.PEAK_DRIVE_CURRENT) == 0.0


def test_motor_power_limit_is_met_at_the_shaft() -> None:
    loaded = bike({"controller.motor_power_limit_w": 350.0})
    ride = simulate(loaded, make_climb(1500.0, 7.0))
    assert shaft_power(settled(ride)) == pytest.approx(350.0, rel=1e-5)
    assert ride.raw.limit_seconds[Limit.MOTOR_POWER] > 0.9 * ride.raw.total(Total.TIME)


def test_governor_without_limits_holds_the_speed_at_any_current() -> None:
    """The hill cooks the motor: the same climb under the torque throttle's limits is slower."""
    loaded = bike({"controller.motor_current_limit_a": 40.0})
    steep = make_climb(600.0, 12.0)
    free = simulate(loaded, steep, throttle_law="governor", limits=False)
    bound = simulate(loaded, steep)
    row = settled(free)
    assert row["speed_km_h"] == pytest.approx(25.0, rel=1e-3)
    assert row["motor_current_a"] > 40.0
    assert settled(bound)["speed_km_h"] < 25.0
    assert settled(bound)["motor_current_a"] == pytest.approx(40.0, rel=1e-9)


@pytest.mark.parametrize("throttle", [0.3, 0.6, 1.0])
def test_voltage_throttle_holds_the_duty(throttle: float) -> None:
    loaded = bike({"controller.electrical_frequency_limit_hz": 3333.0, "controller.pack_current_limit_a": 150.0})
    row = settled(simulate(loaded, make_flat(2500.0), throttle_law="voltage", throttle=throttle))
    assert row["modulation"] == pytest.approx(0.95 * throttle, rel=1e-4)


def test_voltage_throttle_draws_more_the_steeper_it_gets() -> None:
    """The same duty, a lower speed, more current: what the hill makes of it."""
    currents, speeds = [], []
    for grade in (0.0, 3.0, 6.0):
        row = settled(simulate(bike(), make_climb(1500.0, grade), throttle_law="voltage", throttle=0.5))
        currents.append(row["motor_current_a"])
        speeds.append(row["speed_km_h"])
    assert currents == sorted(currents)
    assert speeds == sorted(speeds, reverse=True)
    assert currents[-1] > 3.0 * currents[0]


@pytest.mark.parametrize("throttle", [0.25, 0.5, 1.0])
def test_torque_throttle_asks_for_its_share_of_the_limit(throttle: float) -> None:
    ride = simulate(bike(), make_climb(100.0, 4.0), throttle=throttle, record_every_s=0.1)
    assert ride.trace.iloc[0]["motor_current_a"] == pytest.approx(80.0 * throttle, rel=1e-12)
