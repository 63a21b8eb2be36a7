"""The rides that both programs make, each made once a session."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest

from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_hills
from ridesim.road.profile import Road

from ..bikes import bike
from .plant import Plant, Solved, Way, climb, hills


@dataclass(frozen=True)
class Case:
    """A bike, a road twice, and how the ride must end; `must_meet`: limits without which the case checks nothing."""

    changes: dict[str, Any]
    way: Way
    road: Road
    ends: str
    must_meet: tuple[str, ...] = ()
    throttle: float | None = None
    start_km_h: float = 0.0


CASES: dict[str, Case] = {
    "climb to a steady temperature": Case(
        {"pack.parallel": 30, "controller.pack_current_limit_a": 40.0},
        climb(20000.0, 7.0),
        make_climb(20000.0, 7.0),
        "road",
        ("motor_current",),
    ),
    "rolling road with wind": Case(
        {"weather.wind_speed_km_h": 15.0, "weather.wind_from_deg": 60.0},
        hills(6400.0, 36.0, 800.0),
        make_hills(6400.0, 36.0, 800.0, spacing_m=1.0),
        "road",
        ("charge_current", "motor_current", "pack_current"),
    ),
    "freewheel over one hill": Case(
        {"drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0},
        hills(1550.0, 40.0, 1600.0),
        make_hills(1550.0, 40.0, 1600.0, spacing_m=1.0),
        "road",
        ("motor_current",),
    ),
    "full throttle from rest": Case(
        {}, climb(1500.0, 0.0), make_climb(1500.0, 0.0), "road", ("pack_current",), throttle=1.0
    ),
    "full throttle to full duty": Case(
        {"controller.pack_current_limit_a": 90.0, "bicycle.drag_area_m2": 0.3, "pack.start_charge_fraction": 0.6,
         "bicycle.mass_centre_ahead_mm": 300.0,
         "controller.electrical_frequency_limit_hz": 1667.0, "controller.motor_current_limit_a": 180.0},
        climb(1500.0, -1.0), make_climb(1500.0, -1.0), "road", ("grip", "modulation"), throttle=1.0,
    ),
    "full throttle to the electrical speed limit": Case(
        {"controller.electrical_frequency_limit_hz": 367.0},
        climb(1500.0, 0.0),
        make_climb(1500.0, 0.0),
        "road",
        ("electrical_frequency",),
        throttle=1.0,
    ),
    "descent with a charge-current bound": Case(
        {"controller.charge_current_limit_a": 5.0, "pack.parallel": 10},
        climb(6000.0, -8.0, 900.0),
        make_climb(6000.0, -8.0, start_altitude_m=900.0),
        "road",
        ("charge_current",),
        start_km_h=25.0,
    ),
    "pushing off down a slope": Case(
        {}, climb(1500.0, -8.0, 900.0), make_climb(1500.0, -8.0, start_altitude_m=900.0), "road", ("motor_current",)
    ),
    "running away over the pack's voltage": Case(
        {"motor.kv_rpm_per_v": 60.0, "pack.start_charge_fraction": 0.5, "pack.parallel": 10},
        climb(1500.0, -12.0, 900.0),
        make_climb(1500.0, -12.0, start_altitude_m=900.0),
        "road",
        ("over_speed",),
        throttle=0.0,
        start_km_h=10.0,
    ),
    "descent into a full pack": Case(
        {"pack.start_charge_fraction": 0.97},
        climb(6000.0, -8.0, 900.0),
        make_climb(6000.0, -8.0, start_altitude_m=900.0),
        "road",
        ("full_pack",),
        start_km_h=25.0,
    ),
    "descent in the cold": Case(
        {"weather.temperature_c": -5.0},
        climb(3000.0, -6.0, 500.0),
        make_climb(3000.0, -6.0, start_altitude_m=500.0),
        "road",
        ("cold_pack",),
        start_km_h=25.0,
    ),
    "hot climb on the temperature foldback": Case(
        {"controller.motor_full_current_below_c": 70.0, "controller.motor_no_current_above_c": 100.0},
        climb(6000.0, 9.0),
        make_climb(6000.0, 9.0),
        "road",
        ("motor_temperature",),
    ),
    "to an empty pack": Case(
        {"pack.charge_floor_fraction": 0.05, "controller.full_current_above_v": 36.0,
         "controller.no_current_below_v": 33.0},
        climb(90000.0, 0.5), make_climb(90000.0, 0.5), "empty",
    ),
    "to an empty pack on the low-voltage foldback": Case(
        {"controller.no_current_below_v": 38.0}, climb(90000.0, 1.5), make_climb(90000.0, 1.5), "weak", ("low_voltage",)
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Pair:
    """One ride by both programs."""

    case: Case
    solved: Solved
    ride: Ride
    plant: Plant


ONE_OFFS: dict[str, Case] = {
    "pushing off down a slope with a small pack": Case(
        {"pack.parallel": 4, "controller.brake_current_limit_a": 80.0},
        climb(1500.0, -8.0, 900.0),
        make_climb(1500.0, -8.0, start_altitude_m=900.0),
        "road",
        ("motor_current",),
    ),
}
"""Rides that only one test needs."""


@functools.cache
def ridden(name: str) -> Pair:
    """Ride a case with both programs, once."""
    case = CASES.get(name) or ONE_OFFS[name]
    loaded = bike(case.changes)
    plant = Plant(loaded.build, case.way, throttle=case.throttle)
    solved = plant.ride(start_speed=case.start_km_h / 3.6)
    ride = simulate(loaded, case.road, throttle=case.throttle, start_speed_km_h=case.start_km_h)
    return Pair(case, solved, ride, plant)


@pytest.fixture(params=CASES)
def pair(request: pytest.FixtureRequest) -> Pair:
    """Each ride in turn."""
    return ridden(request.param)


@pytest.fixture
def pair_of() -> Callable[[str], Pair]:
    """One ride by name."""
    return ridden
