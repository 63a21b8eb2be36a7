"""Drags and foldbacks by whole rides against closed forms: eddy drag, stage drag, currents half folded, stops a lap.

Expected values are computed here from the build's own keys and the laws that the keys' help names.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from ridesim.engine.state import Ledger
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_flat
from ridesim.road.profile import Stop as RoadStop

from ..bikes import bike

RPM = 2.0 * math.pi / 60.0


@pytest.mark.parametrize("extra", [0.0, 1.5, 10.0])
def test_extra_eddy_drag_grows_the_part_that_grows_with_speed_alone(extra: float) -> None:
    """No-load current at two speeds: K I = tau_0 + tau_1 omega; the key multiplies tau_1 and leaves tau_0."""
    torque_constant = 1.0 / (100.0 * RPM)  # Kv 100 rpm/V
    growth = torque_constant * (1.9 - 1.1) / ((5000.0 - 2000.0) * RPM)
    still = torque_constant * 1.1 - growth * 2000.0 * RPM
    ride = simulate(bike({"motor.extra_eddy_fraction": extra}), make_flat(400.0), record_every_s=1.0)
    row = ride.trace.iloc[-2]
    omega = row["motor_speed_rpm"] * RPM
    assert omega > 200.0
    assert row["iron_power_w"] == pytest.approx((still + growth * (1.0 + extra) * omega) * omega, rel=1e-6)


@pytest.mark.parametrize("teeth", [(40, 20), (20, 40)], ids=["speed-up", "slow-down"])
def test_a_stage_drags_at_its_faster_shaft(teeth: tuple[int, int]) -> None:
    """Stages without load loss: what they take is drag times the turns of each one's faster shaft, either way round."""
    driver, driven = teeth
    stages = [
        {"driver_teeth": driver, "driven_teeth": driven, "efficiency": 1.0, "drag_torque_nm": 0.05},
        {"driver_teeth": 10, "driven_teeth": 100, "efficiency": 1.0, "drag_torque_nm": 0.02},
    ]
    ride = simulate(bike({"drive.stage": stages}), make_flat(800.0), record_every_s=0.2)
    trace = ride.trace
    omega = np.trapezoid(trace["motor_speed_rpm"], trace["time_s"]) * RPM  # angle turned by the motor [rad]
    middle = driver / driven
    work = omega * (0.05 * max(1.0, middle) + 0.02 * middle)
    assert ride.raw.ledger[Ledger.STAGES] == pytest.approx(work, rel=2e-3)


HEAVY = {"motor.winding_heat_capacity_j_per_k": 2e4, "controller.heat_capacity_j_per_k": 2e4, "rider.power_w": 0.0}
"""Lumps so heavy that they keep the day's warmth."""


def pushing(**keys: object) -> Ride:
    """A bike at full throttle at the foot of a climb: the motor asks for its whole limit of 80 A."""
    changes = {**HEAVY, **{name.replace("__", "."): value for name, value in keys.items()}}
    return simulate(bike(changes), make_climb(60.0, 8.0), throttle=1.0, record_every_s=0.1)


@pytest.mark.parametrize(
    ("motor", "controller", "share"),
    [((30.0, 50.0), (80.0, 100.0), 0.5), ((None, None), (30.0, 50.0), 0.5), ((30.0, 50.0), (30.0, 50.0), 0.25)],
    ids=["motor", "controller", "both"],
)
def test_half_of_the_current_is_left_half_way_through_a_temperature_foldback(
    motor: tuple[float | None, float | None], controller: tuple[float, float], share: float
) -> None:
    """At 40 degC, half way from 30 to 50: (50 - 40)/(50 - 30) of the limit; two foldbacks leave the product."""
    ride = pushing(
        weather__temperature_c=40.0,
        controller__motor_full_current_below_c=motor[0], controller__motor_no_current_above_c=motor[1],
        controller__controller_full_current_below_c=controller[0],
        controller__controller_no_current_above_c=controller[1],
    )  # fmt: skip
    current = ride.trace["motor_current_a"].iloc[1:8]
    assert current.to_numpy() == pytest.approx(80.0 * share, rel=2e-3)


def test_the_low_voltage_foldback_leaves_its_share_of_the_loaded_voltage() -> None:
    """Half folded by the voltage under load: I = 80 A (V - 43)/(55 - 43) at every moment that it holds."""
    ride = pushing(controller__full_current_above_v=55.0, controller__no_current_below_v=43.0)
    rows = ride.trace[ride.trace["limit"] == "low_voltage"]
    assert len(rows) > 5
    share = (rows["pack_voltage_v"] - 43.0) / (55.0 - 43.0)
    assert share.min() > 0.3 and share.max() < 0.8
    assert rows["motor_current_a"].to_numpy() == pytest.approx(80.0 * share.to_numpy(), rel=2e-3)


def test_stops_are_served_on_every_lap_at_their_places() -> None:
    road = replace(make_flat(400.0), stops=(RoadStop(120.0, 7.0), RoadStop(310.0, 11.0)))
    trace = simulate(bike(), road, laps=3, record_every_s=0.25).trace
    still = trace[(trace["speed_km_h"] == 0.0) & (trace["distance_km"] > 0.01)]
    for lap in range(3):
        for stop in road.stops:
            near = still[(still["distance_km"] * 1e3 - lap * 400.0 - stop.distance_m).abs() < 1.5]
            assert near["time_s"].max() - near["time_s"].min() == pytest.approx(stop.dwell_s, abs=1.6)
    assert len(still.groupby(still["distance_km"].round(2))) == 6
