"""Energy over the urban driving cycle (UN R83, OJ L 42, 15.2.2012, annex 4a, table 1) and what regen can return."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from ridesim.engine.state import Ledger, Total
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_cycle, make_flat

from ..bikes import bike

URBAN = [
    (0, 0), (11, 0), (15, 15), (23, 15), (25, 10), (28, 0), (49, 0), (54, 15), (56, 15), (61, 32), (85, 32), (93, 10),
    (96, 0), (117, 0), (122, 15), (124, 15), (133, 35), (135, 35), (143, 50), (155, 50), (163, 35), (176, 35),
    (178, None), (185, 10), (188, 0), (195, 0),
]  # fmt: skip
# What the operation table leaves open at 178 s, then traction and braking energy [J] of 100 kg, CdA 0.559, Crr 0.0077,
# rho 1.225, no rotating mass, no bearings (row 10-6, numerical integration).
READINGS = [(35, 50154.1, 7417.9), (32, 49378.0, 6905.9)]


def cycle(at_178_s: int) -> tuple[np.ndarray, np.ndarray]:
    times = np.array([t for t, _ in URBAN], dtype=float)
    speeds = np.array([at_178_s if v is None else v for _, v in URBAN], dtype=float) / 3.6
    return times, speeds


@functools.cache
def ridden(at_178_s: int, coupling: str = "freewheel") -> Ride:
    """Ride the cycle on a bike of the row: a strong light motor, no pedals, wheels and rotor without inertia."""
    brake = 0.0 if coupling == "freewheel" else 80.0
    keys = {
        "bicycle.mass_kg": 10.0, "bicycle.cargo_kg": 0.0, "rider.mass_kg": 100.0 - 16.42, "rider.power_w": 0.0,
        "tyre.rolling_resistance": 0.0077, "bicycle.wheels_inertia_kg_m2": 0.0, "bicycle.wheel_drag_area_m2": 0.0,
        "motor.rotor_inertia_kg_m2": 0.0, "drive.coupling": coupling, "controller.brake_current_limit_a": brake,
        "controller.motor_current_limit_a": 200.0, "controller.pack_current_limit_a": 150.0,
        "controller.charge_current_limit_a": 60.0, "pack.start_charge_fraction": 0.7,
        "motor.kv_rpm_per_v": 100.0,
    }  # fmt: skip
    road = make_cycle(*cycle(at_178_s))
    rho = float(simulate(bike(keys), road, trace=False).arrays.nodes["air_density"][0])
    return simulate(bike({**keys, "bicycle.drag_area_m2": 0.559 * 1.225 / rho}), road, trace=False)


def wheel_energies(at_178_s: int, bearings: float) -> tuple[float, float]:
    """Traction and braking energy of the row's bike [J] by the trapezoidal rule; bearings 0 leaves them out."""
    times, speeds = cycle(at_178_s)
    traction, braking = 0.0, 0.0
    for n in range(len(times) - 1):
        leg = times[n + 1] - times[n]
        v = np.linspace(speeds[n], speeds[n + 1], 4001)
        force = 100.0 * (speeds[n + 1] - speeds[n]) / leg + 0.5 * 1.225 * 0.559 * v**2 + 0.0077 * 100.0 * 9.80665
        power = (force + bearings * (0.091 + 0.0087 * v)) * v
        traction += float(np.trapezoid(np.maximum(power, 0.0), dx=leg / 4000))
        braking += float(np.trapezoid(np.maximum(-power, 0.0), dx=leg / 4000))
    return traction, braking


ROWS = pytest.mark.parametrize(
    ("at_178_s", "traction", "braking"), READINGS, ids=["UN-R83-table-1-35-held", "UN-R83-table-1-35-to-32"]
)


@ROWS
def test_energy_at_the_wheel(at_178_s: int, traction: float, braking: float) -> None:
    """The row itself, integrated again."""
    assert wheel_energies(at_178_s, 0.0) == pytest.approx((traction, braking), abs=0.05)


@ROWS
def test_drag_over_the_urban_cycle(at_178_s: int, traction: float, braking: float) -> None:
    """Air and rolling drag are traction less braking."""
    ride = ridden(at_178_s)
    drags = ride.raw.ledger[Ledger.AIR] + ride.raw.ledger[Ledger.ROLLING]
    assert drags == pytest.approx(traction - braking, rel=1e-3)


@pytest.mark.parametrize("at_178_s", [35, 32], ids=["UN-R83-35-held", "UN-R83-35-to-32"])
def test_braking_energy_of_the_urban_cycle(at_178_s: int) -> None:
    """A freewheel bike brakes with friction alone; the bearings take their part of the row's braking energy."""
    expected = wheel_energies(at_178_s, 1.0)[1]
    assert ridden(at_178_s).raw.ledger[Ledger.FRICTION_BRAKES] == pytest.approx(expected, rel=1e-3)


def test_moving_time_of_the_urban_cycle_is_135_s_un_r83() -> None:
    """195 s with 60 s of idling."""
    assert ridden(35).raw.total(Total.MOVING_TIME) == pytest.approx(135.0, rel=1e-3)


def test_share_of_braking_energy_in_the_urban_cycle_row_10_6() -> None:
    assert READINGS[0][2] / READINGS[0][1] == pytest.approx(0.1479, abs=5e-5)
    assert READINGS[1][2] / READINGS[1][1] == pytest.approx(0.1399, abs=5e-5)


@pytest.mark.parametrize("at_178_s", [35, 32], ids=["UN-R83-35-held", "UN-R83-35-to-32"])
def test_regen_returns_less_than_the_braking_energy_row_12(at_178_s: int) -> None:
    """At most 15 % of the traction energy is there to brake, and the drive keeps some of it."""
    ride = ridden(at_178_s, "fixed")
    back, braking = ride.raw.total(Total.TERMINAL_IN), {a: b for a, _, b in READINGS}[at_178_s]
    assert 0.0 < back < braking
    traction = ride.raw.ledger[Ledger.AIR] + ride.raw.ledger[Ledger.ROLLING] + braking
    assert back / traction < 0.15


def test_cycle_is_followed_to_the_metre_un_r83() -> None:
    ride = ridden(35)
    assert ride.raw.total(Total.TIME) == pytest.approx(195.0, abs=1e-6)
    assert ride.raw.total(Total.DISTANCE) == pytest.approx(1018.3333, rel=1e-4)


def test_pedelec_energy_umweltbundesamt_2014_row_12() -> None:
    """Ten kilometres cost what boils 0.7 l of water: 6.5 Wh/km.

    A rider who gives as much as the motor at 22 km/h on the level. The source does not tell its conditions, so the band
    is wide: half to one and a half.
    """
    loaded = bike({"bicycle.cargo_kg": 0.0, "bicycle.drag_area_m2": 0.5, "rider.power_w": 80.0,
                   "rider.cruise_speed_km_h": 22.0, "controller.throttle_law": "assist"})  # fmt: skip
    ride = simulate(loaded, make_flat(10_000.0), trace=False)
    boiled = 0.7 * 4.186 * 80.0 / 3.6
    assert boiled == pytest.approx(65.1, abs=0.05)
    used = ride.raw.total(Total.TERMINAL_OUT) / 3600.0
    assert 0.5 * boiled < used < 1.5 * boiled


def test_unpedalled_bracket_closed_form_row_12() -> None:
    """25 km/h, 100 kg, upright, level, no pedals: 6.76 Wh/km at the wheel, 8 to 20 from the pack (estimate)."""
    loaded = bike({"bicycle.mass_kg": 10.0, "bicycle.cargo_kg": 0.0, "rider.mass_kg": 100.0 - 16.42,
                   "rider.power_w": 0.0, "bicycle.drag_area_m2": 0.559, "bicycle.wheel_drag_area_m2": 0.0044,
                   "tyre.rolling_resistance": 0.0077})  # fmt: skip
    ride = simulate(loaded, make_flat(5000.0), start_speed_km_h=25.0, trace=False)
    per_km = ride.raw.total(Total.TERMINAL_OUT) / 3600.0 / 5.0
    assert 8.0 < per_km < 20.0
