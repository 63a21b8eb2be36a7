"""The road-cycling power equation by whole rides: forces of a steady ride times its speed.

Martin, Milliken, Cobb, McFadden, Coggan (1998), J. Appl. Biomech. 14(3):276-291. Its worked sample was not seen: its
inputs are from memory, and the agreement of recalled inputs with the recalled total (213.3 W) is within 0.1 %.
"""

from __future__ import annotations

import functools
import math
from typing import Any

import pytest

from ridesim.evidence.store import sheet
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb
from ridesim.units import from_si, to_si

from ..bikes import bike
from .rows import near, rows_of

OUR_G = 9.80665
PAPER = sheet("road.paper")
FW = PAPER.wheels_area_m2
UPRIGHT = sheet("road.upright")
BODY = (UPRIGHT.mass_kg, UPRIGHT.drag_area_m2, UPRIGHT.rolling_resistance)
RHO = UPRIGHT.air_density_kg_per_m3
REST_KG = 16.42
"""Motor, pack and the rest of the reference bike beside its 10 kg bicycle."""


@functools.cache
def steady_powers(
    mass: float, area: float, crr: float, rho: float, speed: float, grade: float = 0.0, wind: float = 0.0,
    wind_from: float = 0.0,
) -> dict[str, float]:  # fmt: skip
    """Ride north at a constant speed; return each resisting power at the wheel [W], at standard gravity.

    `area` [m2] is of rider and frame; the wheels' Fw of the paper comes on top.
    """
    keys = {
        "rider.mass_kg": mass - REST_KG, "bicycle.mass_kg": 10.0, "bicycle.cargo_kg": 0.0, "rider.power_w": 0.0,
        "rider.cruise_speed_km_h": from_si(speed, "km_h"), "tyre.rolling_resistance": crr,
        "weather.wind_speed_km_h": from_si(wind, "km_h"), "weather.wind_from_deg": wind_from,
        "weather.wind_exposure": 1.0,
        "controller.pack_current_limit_a": 100.0, "controller.motor_current_limit_a": 200.0, "pack.parallel": 5,
    }  # fmt: skip
    road = make_climb(60.0, from_si(grade, "percent"))
    air = float(simulate(bike(keys), road, trace=False).arrays.nodes["air_density"][0])
    loaded = bike({**keys, "bicycle.drag_area_m2": area * rho / air, "bicycle.wheel_drag_area_m2": FW * rho / air})
    assert loaded.build.mass_kg == pytest.approx(mass, rel=1e-12)
    row = simulate(loaded, road, start_speed_km_h=from_si(speed, "km_h"), record_every_s=0.1).trace.iloc[0]
    assert row["speed_km_h"] == pytest.approx(from_si(speed, "km_h"), rel=1e-9)
    forces = {"AT": "air_force_n", "RR": "rolling_force_n", "WB": "bearing_force_n", "PE": "grade_force_n"}
    return {name: float(row[column]) * speed for name, column in forces.items()}


SUM = 4 * 5e-4
"""Half a unit for each of the four parts: the printed sums were formed from the printed parts."""
PARTS = {"air_w": "AT", "rolling_w": "RR", "grade_w": "PE", "bearings_w": "WB", "sum_w": "net", "total_w": "total"}
HALF_MILLIWATT = 5e-4


@rows_of("road.equation")
def test_power_equation(row: Any) -> None:
    inputs = (row.mass_kg, row.drag_area_m2, row.rolling_resistance, RHO)
    powers = steady_powers(*inputs, to_si(row.speed_km_h, "km_h"), row.grade, row.head_wind_m_per_s)
    powers = {**powers, "net": sum(powers.values())}
    powers["total"] = powers["net"] / PAPER.chain_efficiency
    for column, name in PARTS.items():
        printed = getattr(row, column)
        if printed is not None:
            within = SUM if name in ("net", "total") else HALF_MILLIWATT
            assert powers[name] == pytest.approx(printed, abs=within), name


@rows_of("road.bearings")
def test_bearing_power(row: Any) -> None:
    assert steady_powers(100.0, 0.4, 0.006, RHO, row.speed_m_per_s)["WB"] == pytest.approx(row.power_w, abs=5e-5)


def test_worked_sample_martin_1998_row_1_3_inputs_from_memory() -> None:
    """Wind from 310 deg on a heading of 340 deg: here from 330 deg on a heading north. The paper takes g = 9.81."""
    s, parts = sheet("road.sample"), sheet("road.sample_parts")
    speed, wind_from = s.distance_m / s.time_s, 360.0 - s.wind_off_heading_deg
    body = (s.mass_kg, s.drag_area_m2, s.rolling_resistance, s.air_density_kg_per_m3)
    powers = steady_powers(*body, speed, s.grade, s.wind_m_per_s, wind_from)
    paper_g = PAPER.gravity_m_per_s2 / OUR_G
    assert speed == near(parts.speed_m_per_s)
    # The paper multiplies the square of the along-road air speed alone; as a vector the cross wind adds 1/cos(yaw).
    across = s.wind_m_per_s * math.sin(math.radians(s.wind_off_heading_deg))
    yaw = math.atan(across / parts.air_speed_m_per_s)
    assert math.degrees(yaw) == pytest.approx(parts.yaw_deg, abs=2e-3)
    air = powers["AT"] * math.cos(yaw)
    assert air == near(parts.air_w)
    assert powers["RR"] * paper_g == near(parts.rolling_w)
    assert powers["WB"] == near(parts.bearings_w)
    assert powers["PE"] * paper_g == near(parts.grade_w)
    moving = s.mass_kg + PAPER.wheels_inertia_kg_m2 / PAPER.wheel_radius_m**2
    kinetic = 0.5 * moving * (s.last_m_per_s**2 - s.first_m_per_s**2) / s.time_s
    assert kinetic == near(parts.kinetic_w)
    total = (air + (powers["RR"] + powers["PE"]) * paper_g + powers["WB"] + kinetic) / PAPER.chain_efficiency
    assert total == near(parts.total_w)


def test_wheel_inertia_adds_1_447_kg_martin_1998_row_0_2() -> None:
    """I/r2; several public texts add the 0.14 of I in kg."""
    around = from_si(2.0 * math.pi * PAPER.wheel_radius_m, "mm")
    loaded = bike({"bicycle.wheels_inertia_kg_m2": PAPER.wheels_inertia_kg_m2, "tyre.circumference_mm": around,
                   "drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0})  # fmt: skip
    ride = simulate(loaded, make_climb(20.0, 0.0), trace=False)
    assert ride.params.mass_coasting - ride.params.mass == near(PAPER.wheels_as_mass_kg)


@rows_of("road.rotor")
def test_rotor_inertia_as_mass(row: Any) -> None:
    around = from_si(2.0 * math.pi * row.radius_m, "mm")
    loaded = bike({"motor.rotor_inertia_kg_m2": row.inertia_kg_m2, "tyre.circumference_mm": around,
                   "drive.stage": [{"ratio": row.turns}], "drive.coupling": "freewheel",
                   "controller.brake_current_limit_a": 0.0})  # fmt: skip
    ride = simulate(loaded, make_climb(20.0, 0.0), trace=False)
    assert ride.params.mass_driving - ride.params.mass_coasting == near(row.mass_kg)


@rows_of("road.held_descent")
def test_power_of_the_brakes_at_a_held_speed(row: Any) -> None:
    """The ride's own forces, less the wheels' area and the bearings that the row leaves out."""
    speed = to_si(row.speed_km_h, "km_h")
    powers = steady_powers(*BODY, RHO, speed, row.grade)
    wheels = 0.5 * RHO * FW * speed**3
    braking = -(powers["PE"] + powers["RR"] + powers["AT"] - wheels)
    # A metre further down the air is 1e-4 denser: by the first row 1.2e-5 of the air's 470 W at the most.
    assert braking == pytest.approx(row.braking_w, abs=6e-3)


@rows_of("road.drafting")
def test_drafting_uphill(row: Any) -> None:
    """Sports Eng. 24:10, table 1 and abstract: the saving on 7.5 %; g 9.81."""
    riders, watts = sheet("road.drafting_riders"), []
    for drag_area in (riders.alone_area_m2, row.drag_area_m2):
        body = (riders.mass_kg, drag_area, riders.rolling_resistance, RHO)
        powers = steady_powers(*body, row.speed_m_per_s, riders.grade)
        heavy = (powers["RR"] + powers["PE"]) * PAPER.gravity_m_per_s2 / OUR_G
        watts.append((heavy + powers["AT"] + powers["WB"]) / riders.chain_efficiency)
    assert watts == [near(row.alone_w), near(row.drafting_w)]
    saved = from_si(1.0 - watts[1] / watts[0], "percent")
    assert row.saves_over_percent < saved < row.saves_over_percent + 1.0


def test_tail_wind_faster_than_the_rider_pushes_row_0_3() -> None:
    """Trap 3: the sign of the air speed survives; 1/2 rho CdA |Va| Va Vg, not Va cubed."""
    powers = steady_powers(*BODY, RHO, 4.0, 0.0, 7.0, 180.0)
    assert powers["AT"] == pytest.approx(-0.5 * RHO * (UPRIGHT.drag_area_m2 + FW) * 9.0 * 4.0, rel=1e-9)


def test_power_that_a_descent_gives_back_row_12_upper_bound() -> None:
    """100 kg at 25 km/h: gravity less drag, rolling and bearings, at the wheel."""
    down = sheet("road.terminal")
    powers = steady_powers(*BODY, RHO, to_si(25.0, "km_h"), down.grade)
    assert -sum(powers.values()) == near(down.left_at_25_km_h_w)


def test_resistance_of_a_racing_cyclist_di_prampero_1979_row_1_10_from_memory() -> None:
    """R = a + b v2: a bicycle of 82 kg with Crr 0.004 and CdA 0.31 lies within 3 % of it from 5 to 12 m/s."""
    said = sheet("road.di_prampero")
    body = (said.mass_kg, said.drag_area_m2, said.rolling_resistance, RHO)
    for speed in (5.0, 8.0, 10.0, 12.0):
        force = sum(steady_powers(*body, speed).values()) / speed
        assert force == pytest.approx(said.still_n + said.squared_n * speed**2, rel=0.03)
