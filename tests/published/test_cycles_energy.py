"""Energy over the urban driving cycle (UN R83, OJ L 42, 15.2.2012, annex 4a, table 1) and what regen can return."""

from __future__ import annotations

import functools
from typing import Any

import numpy as np
import pytest

from ridesim.engine.state import Ledger, Total
from ridesim.evidence.cycles import urban
from ridesim.evidence.store import sheet
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_cycle, make_flat
from ridesim.units import from_si

from ..bikes import bike
from .rows import near, rows_of

REST_KG = 16.42
"""Motor, pack and the rest of the reference bike beside its 10 kg bicycle."""
WATER_J_PER_KG_K = 4186.0
UPRIGHT = sheet("road.upright")
RHO = UPRIGHT.air_density_kg_per_m3
PRINTED = sheet("cycles.distances")
LEVEL = sheet("cycles.level")


@functools.cache
def ridden(at_178_s: float, coupling: str = "freewheel") -> Ride:
    """Ride the cycle on a bike of the row: a strong light motor, no pedals, wheels and rotor without inertia."""
    brake = 0.0 if coupling == "freewheel" else 80.0
    keys = {
        "bicycle.mass_kg": 10.0, "bicycle.cargo_kg": 0.0, "rider.mass_kg": UPRIGHT.mass_kg - REST_KG,
        "rider.power_w": 0.0, "tyre.rolling_resistance": UPRIGHT.rolling_resistance,
        "bicycle.wheels_inertia_kg_m2": 0.0, "bicycle.wheel_drag_area_m2": 0.0,
        "motor.rotor_inertia_kg_m2": 0.0, "drive.coupling": coupling, "controller.brake_current_limit_a": brake,
        "controller.motor_current_limit_a": 200.0, "controller.pack_current_limit_a": 150.0,
        "controller.charge_current_limit_a": 60.0, "pack.start_charge_fraction": 0.7,
        "motor.kv_rpm_per_v": 100.0,
    }  # fmt: skip
    road = make_cycle(*urban(at_178_s))
    rho = float(simulate(bike(keys), road, trace=False).arrays.nodes["air_density"][0])
    return simulate(bike({**keys, "bicycle.drag_area_m2": UPRIGHT.drag_area_m2 * RHO / rho}), road, trace=False)


def wheel_energies(at_178_s: float, bearings: float) -> tuple[float, float]:
    """Traction and braking energy of the row's bike [J] by the trapezoidal rule; bearings 0 leaves them out."""
    times, speeds = urban(at_178_s)
    traction, braking = 0.0, 0.0
    for n in range(len(times) - 1):
        leg = times[n + 1] - times[n]
        v = np.linspace(speeds[n], speeds[n + 1], 4001)
        rolling = UPRIGHT.rolling_resistance * UPRIGHT.mass_kg * 9.80665
        force = UPRIGHT.mass_kg * (speeds[n + 1] - speeds[n]) / leg + 0.5 * RHO * UPRIGHT.drag_area_m2 * v**2 + rolling
        power = (force + bearings * (0.091 + 0.0087 * v)) * v
        traction += float(np.trapezoid(np.maximum(power, 0.0), dx=leg / 4000))
        braking += float(np.trapezoid(np.maximum(-power, 0.0), dx=leg / 4000))
    return traction, braking


ROWS = rows_of("cycles.urban_energy")
"""No rotating mass, no bearings."""


@ROWS
def test_energy_at_the_wheel(row: Any) -> None:
    """The row itself, integrated again."""
    traction, braking = wheel_energies(row.at_178_s_km_h, 0.0)
    assert (traction, braking) == (near(row.traction_j), near(row.braking_j))
    assert braking / traction == near(row.braking_share)


@ROWS
def test_drag_over_the_urban_cycle(row: Any) -> None:
    """Air and rolling drag are traction less braking."""
    ride = ridden(row.at_178_s_km_h)
    drags = ride.raw.ledger[Ledger.AIR] + ride.raw.ledger[Ledger.ROLLING]
    assert drags == pytest.approx(row.traction_j - row.braking_j, rel=1e-3)


@ROWS
def test_braking_energy_of_the_urban_cycle(row: Any) -> None:
    """A freewheel bike brakes with friction alone; the bearings take their part of the row's braking energy."""
    expected = wheel_energies(row.at_178_s_km_h, 1.0)[1]
    assert ridden(row.at_178_s_km_h).raw.ledger[Ledger.FRICTION_BRAKES] == pytest.approx(expected, rel=1e-3)


def test_moving_time_of_the_urban_cycle_is_135_s_un_r83() -> None:
    """195 s with 60 s of idling."""
    assert ridden(35.0).raw.total(Total.MOVING_TIME) == pytest.approx(PRINTED.urban_moving_time_s, rel=1e-3)


@ROWS
def test_regen_returns_less_than_the_braking_energy_row_12(row: Any) -> None:
    """At most 15 % of the traction energy is there to brake, and the drive keeps some of it."""
    ride = ridden(row.at_178_s_km_h, "fixed")
    back = ride.raw.total(Total.TERMINAL_IN)
    assert 0.0 < back < row.braking_j
    traction = ride.raw.ledger[Ledger.AIR] + ride.raw.ledger[Ledger.ROLLING] + row.braking_j
    assert back / traction < sheet("cycles.shares").most_returned


def test_cycle_is_followed_to_the_metre_un_r83() -> None:
    ride = ridden(35.0)
    assert ride.raw.total(Total.TIME) == pytest.approx(PRINTED.urban_time_s, abs=1e-6)
    assert ride.raw.total(Total.DISTANCE) == pytest.approx(PRINTED.urban_held_m, rel=1e-4)


def test_pedelec_energy_umweltbundesamt_2014_row_12() -> None:
    """Ten kilometres cost what boils 0.7 l of water: 6.5 Wh/km.

    A rider who gives as much as the motor at 22 km/h on the level. The source does not tell its conditions, so the band
    is wide: half to one and a half.
    """
    loaded = bike({"bicycle.cargo_kg": 0.0, "bicycle.drag_area_m2": 0.5, "rider.power_w": 80.0,
                   "rider.cruise_speed_km_h": 22.0, "controller.throttle_law": "assist"})  # fmt: skip
    ride = simulate(loaded, make_flat(10_000.0), trace=False)
    said = sheet("cycles.pedelec")
    boiled = from_si(said.water_l * WATER_J_PER_KG_K * 80.0, "wh")
    assert boiled == near(said.energy_wh)
    used = from_si(ride.raw.total(Total.TERMINAL_OUT), "wh")
    assert 0.5 * boiled < used < 1.5 * boiled


def test_unpedalled_bracket_closed_form_row_12() -> None:
    """25 km/h, 100 kg, upright, level, no pedals: 6.76 Wh/km at the wheel, 8 to 20 from the pack (estimate)."""
    loaded = bike({"bicycle.mass_kg": 10.0, "bicycle.cargo_kg": 0.0, "rider.mass_kg": UPRIGHT.mass_kg - REST_KG,
                   "rider.power_w": 0.0, "bicycle.drag_area_m2": UPRIGHT.drag_area_m2,
                   "bicycle.wheel_drag_area_m2": sheet("road.paper").wheels_area_m2,
                   "tyre.rolling_resistance": UPRIGHT.rolling_resistance})  # fmt: skip
    ride = simulate(loaded, make_flat(5000.0), start_speed_km_h=25.0, trace=False)
    per_km = from_si(ride.raw.total(Total.TERMINAL_OUT), "wh") / 5.0
    assert LEVEL.least_wh_per_km < per_km < LEVEL.most_wh_per_km
