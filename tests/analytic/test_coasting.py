"""Coast-down, terminal speed and stopping distance in closed form."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from ridesim.engine.state import Ledger, Stop, Total
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_flat
from ridesim.road.profile import Stop as RoadStop

from ..bikes import bike
from .coasting import Coasting

G = 9.80665
FREEWHEEL = {"drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0, "rider.power_w": 0.0}
BEARING_STILL, BEARING_PER_SPEED = 0.091, 0.0087  # N and N s/m, Martin et al. (1998)

# Closed forms of White and Korst (1972), SAE 720099, for rho 1.225 (the third: 1.2234) kg/m3 and g 9.80665:
# mass kg, CdA m2, Crr, rho, start m/s; then time s and distance m to rest, speed m/s and distance m after 20 s.
ROWS = {
    "2-1": ((100.0, 0.559, 0.0077, 1.225, 25 / 3.6), (60.7111, 169.2488, 3.60430, 101.61607)),
    "2-2": ((100.0, 0.4, 0.006, 1.225, 10.0), (92.8766, 335.0369, 5.86810, 153.51534)),
    "2-3": ((90.0, 0.2565, 0.0032, 1.2234, 10.0), (158.1209, 539.2748, 6.93274, 166.36812)),
    "2-4": ((100.0, 0.559, 0.0077, 1.225, 12.5), (75.3405, 305.2073, 5.79593, 170.05026)),
}


@pytest.fixture(params=ROWS, ids=lambda row: f"SAE-720099-row-{row}")
def row(request: pytest.FixtureRequest) -> tuple[tuple[float, ...], tuple[float, ...]]:
    return ROWS[request.param]


def plain(inputs: tuple[float, ...]) -> Coasting:
    """Air and rolling drag alone, as the rows are printed."""
    mass, area, crr, rho, start = inputs
    return Coasting(crr * mass * G, 0.0, 0.5 * rho * area, mass, start)


def coast(inputs: tuple[float, ...], **options: float) -> tuple[Ride, Coasting]:
    """Ride a row's coast-down, and its closed form with the bearings that every ride has."""
    mass, area, crr, rho, start = inputs
    flat = make_flat(1000.0)
    loaded = bike({**FREEWHEEL, "tyre.rolling_resistance": crr, "bicycle.wheels_inertia_kg_m2": 0.0,
                   "bicycle.wheel_drag_area_m2": 0.0})  # fmt: skip
    rider = mass - (loaded.build.mass_kg - loaded.build.rider.mass_kg)
    probe = simulate(loaded, flat, throttle=0.0, start_speed_km_h=10.0, trace=False, accuracy="fine")
    own_rho = float(probe.arrays.nodes["air_density"][0])
    loaded = bike({**FREEWHEEL, "tyre.rolling_resistance": crr, "bicycle.wheels_inertia_kg_m2": 0.0,
                   "bicycle.wheel_drag_area_m2": 0.0, "rider.mass_kg": rider,
                   "bicycle.drag_area_m2": area * rho / own_rho})  # fmt: skip
    ride = simulate(
        loaded, flat, throttle=0.0, start_speed_km_h=start * 3.6, record_every_s=1.0, accuracy="fine", **options
    )
    form = plain(inputs)
    return ride, replace(form, constant=form.constant + BEARING_STILL, linear=BEARING_PER_SPEED)


def test_closed_form_gives_the_published_numbers(row: tuple[tuple[float, ...], tuple[float, ...]]) -> None:
    form, (time, distance, speed_20, distance_20) = plain(row[0]), row[1]
    assert form.time_to() == pytest.approx(time, abs=5e-5)
    assert form.distance_at(form.time_to()) == pytest.approx(distance, abs=5e-5)
    assert form.speed_at(20.0) == pytest.approx(speed_20, abs=5e-6)
    assert form.distance_at(20.0) == pytest.approx(distance_20, abs=5e-6)


def test_coast_down_of_a_ride(row: tuple[tuple[float, ...], tuple[float, ...]]) -> None:
    ride, form = coast(row[0])
    to_rest = form.time_to()
    assert ride.raw.stop is Stop.STALLED
    assert ride.raw.total(Total.MOVING_TIME) == pytest.approx(to_rest, rel=1e-4)
    assert ride.raw.total(Total.DISTANCE) == pytest.approx(form.distance_at(to_rest), rel=1e-4)
    trace = ride.trace.set_index(ride.trace["time_s"].round(6))
    for seconds in (10.0, 20.0, 40.0):
        assert trace.loc[seconds, "speed_km_h"] / 3.6 == pytest.approx(form.speed_at(seconds), rel=1e-4)
        assert trace.loc[seconds, "distance_km"] * 1e3 == pytest.approx(form.distance_at(seconds), rel=1e-4)


def test_coast_down_converges_with_the_square_of_the_step() -> None:
    """Read where the ride ended, up to a step past the time limit; long steps repeat the guess and do better."""
    errors = []
    for step in (1 / 16, 1 / 32, 1 / 64):
        ride, form = coast(ROWS["2-2"][0], step_s=step, time_limit_h=64.0 / 3600.0)
        ended = ride.raw.total(Total.TIME)
        assert 64.0 <= ended <= 64.0 + 2.0 * step + 1e-9
        errors.append(ride.raw.total(Total.DISTANCE) - form.distance_at(ended))
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.05)
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.05)


def test_wheels_inertia_lengthens_the_coast_down_row_2_5() -> None:
    """Row 2-5: with lambda = 1 + I/(r2 m) the mass in the closed form is lambda m, the forces stay."""
    loaded = bike({**FREEWHEEL, "bicycle.wheels_inertia_kg_m2": 2.0})
    ride = simulate(loaded, make_flat(1000.0), throttle=0.0, start_speed_km_h=30.0, trace=False, accuracy="fine")
    build = loaded.build
    radius = build.tyre.circumference_mm / 2000.0 / math.pi
    rho = float(ride.arrays.nodes["air_density"][0])
    area = build.bicycle.drag_area_m2 + build.bicycle.wheel_drag_area_m2
    form = Coasting(
        build.tyre.rolling_resistance * build.mass_kg * G + BEARING_STILL, BEARING_PER_SPEED, 0.5 * rho * area,
        build.mass_kg + 2.0 / radius**2, 30 / 3.6,
    )  # fmt: skip
    assert ride.raw.total(Total.MOVING_TIME) == pytest.approx(form.time_to(), rel=1e-4)
    assert ride.raw.total(Total.DISTANCE) == pytest.approx(form.distance_at(form.time_to()), rel=1e-4)


def terminal_speed(mass: float, crr: float, half_rho_area: float, grade: float, still: float, linear: float) -> float:
    """Speed at which a freewheeling bike neither gains nor loses: half_rho_area v2 + linear v = pull."""
    angle = math.atan(grade)
    pull = mass * G * (math.sin(angle) - crr * math.cos(angle)) - still
    return (-linear + math.sqrt(linear**2 + 4.0 * half_rho_area * pull)) / (2.0 * half_rho_area)


def test_terminal_speed_row_2_6_force_balance() -> None:
    half = 0.5 * 1.225 * 0.559
    assert terminal_speed(100.0, 0.0077, half, 0.05, 0.0, 0.0) == pytest.approx(11.00020, abs=5e-6)


@pytest.mark.parametrize("grade_percent", [2.0, 5.0, 9.0])
def test_terminal_speed_of_a_ride(grade_percent: float) -> None:
    """The road's altitudes are flattened for the air alone: thickening air would keep the speed off its balance."""
    loaded = bike(FREEWHEEL)
    road = make_climb(6000.0, -grade_percent)
    ride = simulate(
        loaded, replace(road, altitude_m=np.zeros_like(road.altitude_m)), throttle=0.0, start_speed_km_h=20.0,
        trace=False, accuracy="fine",
    )  # fmt: skip
    build = loaded.build
    area = build.bicycle.drag_area_m2 + build.bicycle.wheel_drag_area_m2
    rho = float(ride.arrays.nodes["air_density"][0])
    expected = terminal_speed(
        build.mass_kg, build.tyre.rolling_resistance, 0.5 * rho * area, grade_percent / 100.0, BEARING_STILL,
        BEARING_PER_SPEED,
    )  # fmt: skip
    assert ride.raw.end.speed == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("grip", [0.05, 0.1, 0.15])
def test_stopping_distance_on_a_slippery_road(grip: float) -> None:
    """Both brakes at the grip limit all the way: m v' = -(mu m g + rolling + bearings + air)."""
    loaded = bike({**FREEWHEEL, "bicycle.grip": grip, "rider.braking_m_per_s2": 2.0})
    road = replace(make_flat(200.0), stops=(RoadStop(0.5, 0.0),))
    ride = simulate(loaded, road, start_speed_km_h=27.0, accuracy="fine")
    build = loaded.build
    radius = build.tyre.circumference_mm / 2000.0 / math.pi
    weight = build.mass_kg * G
    area = build.bicycle.drag_area_m2 + build.bicycle.wheel_drag_area_m2
    form = Coasting(
        weight * (grip + build.tyre.rolling_resistance) + BEARING_STILL, BEARING_PER_SPEED,
        0.5 * float(ride.arrays.nodes["air_density"][0]) * area,
        build.mass_kg + build.bicycle.wheels_inertia_kg_m2 / radius**2, 27 / 3.6,
    )  # fmt: skip
    expected = form.distance_at(form.time_to())
    braked = ride.raw.brake_by_limit.sum()
    assert braked / (grip * weight) == pytest.approx(expected, rel=1e-3)  # force times distance is the brakes' heat


def test_stopping_distance_of_the_plan_is_half_v_squared_over_a() -> None:
    """A careful rider starts to brake v2/2a before the stop and stands still at it."""
    loaded = bike({"rider.braking_m_per_s2": 1.5, "rider.response_time_s": 0.2})
    road = replace(make_flat(400.0), stops=(RoadStop(300.0, 5.0),))
    ride = simulate(loaded, road, start_speed_km_h=25.0, record_every_s=0.1, accuracy="fine")
    trace = ride.trace
    speed, at = trace["speed_km_h"].to_numpy() / 3.6, trace["distance_km"].to_numpy() * 1e3
    still = np.flatnonzero(speed == 0.0)
    assert at[still[0]] == pytest.approx(300.0, abs=0.05)
    begins = np.flatnonzero(speed < 25 / 3.6 - 1e-3)[0]
    assert 300.0 - at[begins - 1] == pytest.approx((25 / 3.6) ** 2 / (2 * 1.5), abs=0.7)  # one step is 0.69 m
    slowing = speed[begins : still[0]] ** 2 / 2.0
    slope = np.polyfit(at[begins : still[0]], slowing, 1)[0]
    assert slope == pytest.approx(-1.5, rel=0.01)


@pytest.mark.parametrize("grade_percent", [-6.0, 3.0, 8.0])
def test_energy_of_a_height_gain(grade_percent: float) -> None:
    """Row of the ledger: m g h, whatever happens on the way."""
    start = 200.0
    road = make_climb(1500.0, grade_percent, start_altitude_m=start)
    loaded = bike()
    ride = simulate(loaded, road, trace=False, accuracy="fine")
    height = 1500.0 * math.sin(math.atan(grade_percent / 100.0))
    assert ride.raw.ledger[Ledger.HEIGHT] == pytest.approx(loaded.build.mass_kg * G * height, rel=1e-12)


def test_kinetic_energy_counts_wheels_and_rotor() -> None:
    """1/2 (m + I/r2 + J (G/r)2) v2 at the end of a launch."""
    loaded = bike()
    build = loaded.build
    ride = simulate(loaded, make_flat(300.0), throttle=1.0, trace=False, accuracy="fine")
    radius = build.tyre.circumference_mm / 2000.0 / math.pi
    turns = 40 / 18 * 72 / 16
    moving = build.mass_kg + 0.2 / radius**2 + 0.0012 * (turns / radius) ** 2
    assert ride.raw.ledger[Ledger.KINETIC] == pytest.approx(0.5 * moving * ride.raw.end.speed**2, rel=1e-12)
