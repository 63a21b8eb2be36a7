"""The road-cycling power equation by whole rides: forces of a steady ride times its speed.

Martin, Milliken, Cobb, McFadden, Coggan (1998), J. Appl. Biomech. 14(3):276-291. Its worked sample was not seen: its
inputs are from memory, and the agreement of recalled inputs with the recalled total (213.3 W) is within 0.1 %.
"""

from __future__ import annotations

import functools
import math

import pytest

from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb

from ..bikes import bike

OUR_G = 9.80665
CHAIN = 0.97698
FW = 0.0044


@functools.cache
def steady_powers(
    mass: float, area: float, crr: float, rho: float, speed: float, grade: float = 0.0, wind: float = 0.0,
    wind_from: float = 0.0,
) -> dict[str, float]:  # fmt: skip
    """Ride north at a constant speed; return each resisting power at the wheel [W], at standard gravity.

    `area` [m2] is of rider and frame; the wheels' Fw = 0.0044 m2 of the paper comes on top.
    """
    keys = {
        "rider.mass_kg": mass - 16.42, "bicycle.mass_kg": 10.0, "bicycle.cargo_kg": 0.0, "rider.power_w": 0.0,
        "rider.cruise_speed_km_h": speed * 3.6, "tyre.rolling_resistance": crr,
        "weather.wind_speed_km_h": wind * 3.6, "weather.wind_from_deg": wind_from, "weather.wind_exposure": 1.0,
        "controller.pack_current_limit_a": 100.0, "controller.motor_current_limit_a": 200.0, "pack.parallel": 5,
    }  # fmt: skip
    road = make_climb(60.0, grade * 100.0)
    air = float(simulate(bike(keys), road, trace=False).arrays.nodes["air_density"][0])
    loaded = bike({**keys, "bicycle.drag_area_m2": area * rho / air, "bicycle.wheel_drag_area_m2": FW * rho / air})
    assert loaded.build.mass_kg == pytest.approx(mass, rel=1e-12)
    row = simulate(loaded, road, start_speed_km_h=speed * 3.6, record_every_s=0.1).trace.iloc[0]
    assert row["speed_km_h"] == pytest.approx(speed * 3.6, rel=1e-9)
    forces = {"AT": "air_force_n", "RR": "rolling_force_n", "WB": "bearing_force_n", "PE": "grade_force_n"}
    return {name: float(row[column]) * speed for name, column in forces.items()}


KMH_25 = 25 / 3.6
SUM = 4 * 5e-4
"""Half a unit for each of the four parts: the printed sums were formed from the printed parts."""
# row, inputs (mass, CdA, Crr, rho, speed, grade, head wind), powers as printed, with half a unit of the last digit
ROWS = {
    "1-4a": ((100.0, 0.559, 0.0077, 1.225, KMH_25, 0.0, 0.0),
             {"AT": (115.567, 5e-4), "RR": (52.438, 5e-4), "WB": (1.0515, 5e-4), "net": (169.057, SUM),
              "total": (173.041, SUM)}),
    "1-4b": ((100.0, 0.559, 0.0077, 1.225, KMH_25, 0.0, 3.0),
             {"AT": (236.985, 5e-4), "net": (290.475, SUM), "total": (297.320, SUM)}),
    "1-5": ((100.0, 0.559, 0.0077, 1.225, KMH_25, 0.05, 0.0),
            {"RR": (52.373, 5e-4), "PE": (340.084, 5e-4), "net": (509.076, SUM), "total": (521.071, SUM)}),
    "1-6a": ((100.0, 0.559, 0.0077, 1.225, 5.0, 0.0, 0.0), {"net": (81.563, SUM)}),
    "1-6b": ((100.0, 0.4, 0.006, 1.225, 12.5, 0.0, 0.0),
             {"AT": (483.779, 5e-4), "RR": (73.550, 5e-4), "WB": (2.4969, 5e-4), "net": (559.826, SUM)}),
    "1-6c": ((90.0, 0.2565, 0.0032, 1.225, 10.0, 0.0, 0.0),
             {"AT": (159.801, 5e-4), "RR": (28.243, 5e-4), "WB": (1.780, 5e-4), "net": (189.824, SUM)}),
}  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"Martin-1998-row-{row}")
def test_power_equation(row: str) -> None:
    inputs, printed = ROWS[row]
    mass, area, crr, rho, speed, grade, wind = inputs
    powers = steady_powers(mass, area, crr, rho, speed, grade, wind)
    powers = {**powers, "net": sum(powers.values())}
    powers["total"] = powers["net"] / CHAIN
    for name, (watts, half_unit) in printed.items():
        assert powers[name] == pytest.approx(watts, abs=half_unit), name


@pytest.mark.parametrize(
    ("speed", "watts"), [(5.0, 0.6725), (10.0, 1.78), (15.0, 3.3225)], ids=lambda v: f"Martin-1998-row-1-7-{v:g}"
)
def test_bearing_power(speed: float, watts: float) -> None:
    assert steady_powers(100.0, 0.4, 0.006, 1.225, speed)["WB"] == pytest.approx(watts, abs=5e-5)


def test_worked_sample_martin_1998_row_1_3_inputs_from_memory() -> None:
    """Wind from 310 deg on a heading of 340 deg: here from 330 deg on a heading north. The paper takes g = 9.81."""
    speed = 471.8 / 56.42
    powers = steady_powers(90.0, 0.2565, 0.0032, 1.2234, speed, 0.003, 2.94, 330.0)
    paper_g = 9.81 / OUR_G
    assert speed == pytest.approx(8.3623, abs=5e-5)
    # The paper multiplies the square of the along-road air speed alone; as a vector the cross wind adds 1/cos(yaw).
    yaw = math.atan(2.94 * math.sin(math.radians(30.0)) / 10.9084)
    assert math.degrees(yaw) == pytest.approx(7.675, abs=2e-3)
    air = powers["AT"] * math.cos(yaw)
    assert air == pytest.approx(158.80, abs=5e-3)
    assert powers["RR"] * paper_g == pytest.approx(23.63, abs=5e-3)
    assert powers["WB"] == pytest.approx(1.369, abs=5e-4)
    assert powers["PE"] * paper_g == pytest.approx(22.15, abs=5e-3)
    moving = 90.0 + 0.14 / 0.311**2
    kinetic = 0.5 * moving * (8.45**2 - 8.28**2) / 56.42
    assert kinetic == pytest.approx(2.305, abs=5e-4)
    total = (air + (powers["RR"] + powers["PE"]) * paper_g + powers["WB"] + kinetic) / CHAIN
    assert total == pytest.approx(213.2, abs=0.05)


def test_wheel_inertia_adds_1_447_kg_martin_1998_row_0_2() -> None:
    """I = 0.14 kg m2 at r = 0.311 m adds I/r2 = 1.447 kg; several public texts add 0.14 kg."""
    loaded = bike({"bicycle.wheels_inertia_kg_m2": 0.14, "tyre.circumference_mm": 2e3 * math.pi * 0.311,
                   "drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0})  # fmt: skip
    ride = simulate(loaded, make_climb(20.0, 0.0), trace=False)
    assert ride.params.mass_coasting - ride.params.mass == pytest.approx(1.447, abs=5e-4)


@pytest.mark.parametrize(
    ("speed", "area", "alone", "drafting", "saves"),
    [(6.0, 0.261, 402.55, 373.93, 7.0), (8.0, 0.164, 603.71, 504.83, 16.0)],
    ids=["van-Druenen-Blocken-2021-abstract-over-7-percent", "van-Druenen-Blocken-2021-abstract-over-16-percent"],
)
def test_drafting_uphill(speed: float, area: float, alone: float, drafting: float, saves: float) -> None:
    """Sports Eng. 24:10, table 1 and abstract: the saving on 7.5 %; g 9.81, chain 0.98, wheels 0.0044 m2."""
    watts = []
    for drag_area in (0.473, area):
        powers = steady_powers(72.0, drag_area, 0.0032, 1.225, speed, 0.075)
        heavy = (powers["RR"] + powers["PE"]) * 9.81 / OUR_G
        watts.append((heavy + powers["AT"] + powers["WB"]) / 0.98)
    assert watts == pytest.approx([alone, drafting], abs=5e-3)
    assert saves < 100.0 * (1.0 - watts[1] / watts[0]) < saves + 1.0


def test_tail_wind_faster_than_the_rider_pushes_row_0_3() -> None:
    """Trap 3: the sign of the air speed survives; 1/2 rho CdA |Va| Va Vg, not Va cubed."""
    powers = steady_powers(100.0, 0.559, 0.0077, 1.225, 4.0, 0.0, 7.0, 180.0)
    assert powers["AT"] == pytest.approx(-0.5 * 1.225 * (0.559 + FW) * 9.0 * 4.0, rel=1e-9)


def test_power_that_a_descent_gives_back_row_12_upper_bound() -> None:
    """-5 %, 100 kg, 25 km/h: gravity 340.1 less drag 115.6, rolling 52.4, bearings 1.05 leaves 171.1 W at the wheel."""
    powers = steady_powers(100.0, 0.559, 0.0077, 1.225, KMH_25, -0.05)
    assert -sum(powers.values()) == pytest.approx(171.1, abs=0.05)


def test_resistance_of_a_racing_cyclist_di_prampero_1979_row_1_10_from_memory() -> None:
    """R = 3.2 + 0.19 v2: a bicycle of 82 kg with Crr 0.004 and CdA 0.31 lies within 3 % of it from 5 to 12 m/s."""
    for speed in (5.0, 8.0, 10.0, 12.0):
        powers = steady_powers(82.0, 0.31, 0.0039, 1.225, speed)
        assert sum(powers.values()) / speed == pytest.approx(3.2 + 0.19 * speed**2, rel=0.03)
