"""Heat of brakes: closed forms, published correlations, and a ride down a constant grade."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridesim.bike.load import load_build
from ridesim.evidence.brakes import heated_c
from ridesim.evidence.store import sheet, table
from ridesim.physics.brakes import disc_coefficient, lump_after, plate_coefficient
from ridesim.ride.brakes import brakes_heat
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb
from ridesim.units import to_si

from .rows import near, rows_of

CONFIGS = Path(__file__).parents[2] / "configs"
AIR_K = to_si(20.0, "c")
RING_M2, RIM_M2 = 0.0297572, 0.136785


@rows_of("brakes.constant_power")
def test_constant_power(row: Any) -> None:
    assert heated_c(row.time_s, 200.0, 1.2, 0.0, 120.0) == near(row.temp_c)


@rows_of("brakes.with_radiation")
def test_with_radiation(row: Any) -> None:
    assert heated_c(row.time_s, 200.0, 1.2, 0.6 * 0.030, 120.0) == pytest.approx(row.temp_c, abs=2e-3)


def test_radiation_alone() -> None:
    printed = sheet("brakes.radiation_alone").time_s
    now, air, steps = 600.0, to_si(20.0, "c"), 2000
    for _ in range(steps):
        now, _ = lump_after(now, 0.0, 0.0, 0.6 * 0.030, air, 120.0, printed / steps)
    assert now == pytest.approx(400.0, abs=1e-3)


def test_a_step_is_second_order_and_closes() -> None:
    ends = []
    for steps in (8, 16, 32, 4096):
        now, given = AIR_K, 0.0
        for _ in range(steps):
            now, left = lump_after(now, 200.0, 1.2, 0.018, AIR_K, 120.0, 300.0 / steps)
            given += left
        assert given + 120.0 * (now - AIR_K) == pytest.approx(200.0 * 300.0, rel=1e-12)
        ends.append(now)
    errors = [abs(each - ends[-1]) for each in ends[:-1]]
    assert 3.0 < errors[0] / errors[1] < 6.0
    assert 3.0 < errors[1] / errors[2] < 6.0


@rows_of("brakes.disc_cooling")
def test_disc_cooling(row: Any) -> None:
    ours = disc_coefficient(0.180, to_si(row.speed_km_h, "km_h"))
    assert ours == pytest.approx(row.coefficient_w_per_m2_k, rel=1e-4)


def test_rim_cooling() -> None:
    asked = sheet("brakes.rim_cooling")
    ours = plate_coefficient(asked.chord_mm / 1000.0, to_si(asked.speed_km_h, "km_h"))
    assert ours == pytest.approx(asked.coefficient_w_per_m2_k, rel=1e-4)


def held_power_w() -> float:
    """The braking of the closed form at 25 km/h, from the store of published numbers."""
    held = table("road.held_descent")
    return float(next(row.braking_w for row in held.rows if row.speed_km_h == 25.0))


SIZES = {
    "disc": (130.0, 460.0, RING_M2 * 1e4, 0.5),
    "rim": (500.0, 896.0, RIM_M2 * 1e4, 0.2),
}


@rows_of("brakes.descent")
def test_lump_on_a_descent(row: Any) -> None:
    mass_g, heat, area_cm2, emissivity = SIZES[row.brake]
    speed, area = to_si(25.0, "km_h"), area_cm2 * 1e-4
    h = disc_coefficient(0.180, speed) if row.brake == "disc" else plate_coefficient(0.025, speed)
    ours = heated_c(432.0, row.share * held_power_w(), h * area, emissivity * area, mass_g / 1e3 * heat)
    assert ours == pytest.approx(row.temp_c, abs=0.01)


@pytest.mark.parametrize("brake, printed", [("disc", "135.4"), ("rim", "40.8")])
def test_a_ride_down_a_constant_grade(brake: str, printed: str) -> None:
    """The bike of the closed form ridden: 100 kg, no regen, level share a half, 3 km at 25 km/h."""
    mass_g, heat, area_cm2, emissivity = SIZES[brake]
    loaded = load_build(CONFIGS / "longtail-hub.toml", {
        "bicycle.cargo_kg": 0.0, "bicycle.drag_area_m2": None, "tyre.rolling_resistance": None,
        "bicycle.wheel_drag_area_m2": 0.0,
        "brakes.front_share": 0.5, "rider.cruise_speed_km_h": 25.0,
        "motor.no_load": [{"speed_rpm": 100.0, "current_a": 1e-6}, {"speed_rpm": 200.0, "current_a": 1e-6}],
        **{f"brakes.{wheel}.{name}": value for wheel in ("front", "rear") for name, value in (
            ("kind", brake), ("mass_g", mass_g), ("specific_heat_j_per_kg_k", heat), ("area_cm2", area_cm2),
            ("emissivity", emissivity), ("heat_share", 1.0))},
    })  # fmt: skip
    extra = 100.0 - loaded.build.mass_kg + loaded.build.rider.mass_kg
    loaded = load_build(CONFIGS / "longtail-hub.toml", {**dict(loaded.overrides), "rider.mass_kg": extra})
    assert loaded.build.mass_kg == pytest.approx(100.0)
    ride = simulate(loaded, make_climb(3000.0, -8.0), regen=False, start_speed_km_h=25.0, record_every_s=1.0)
    heat_of = brakes_heat(ride)
    front, rear = heat_of.brakes
    # The air below is warmer (1.5 K in 240 m) and denser by some per cent.
    rise = front.temp_c[-2] - ride.trace["air_temp_c"].iloc[-2]
    assert rise == pytest.approx(float(printed) - 20.0, rel=0.02)
    assert rear.hottest_c == pytest.approx(front.hottest_c, abs=1e-9)
    assert heat_of.residual_fraction < 1e-9
    assert np.all(np.diff(front.temp_c[5:]) > -1e-3)
