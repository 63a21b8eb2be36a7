"""Operating points with a closed form or a one-line balance: stall, top speed, climb, pack peak power, tyre bounds."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from ridesim.engine.state import Channel, Limit, Stop, Total
from ridesim.physics.resistance import steepest_grade
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_flat

from ..bikes import bike

G = 9.80665
RATIO = 40 / 18 * 72 / 16
ETA = 0.97 * 0.96
K = 60.0 / (2.0 * math.pi * 100.0)
IDEAL = {
    "controller.standby_power_w": 0.0,
    "controller.on_resistance_mohm": 0.0,
    "controller.switching_loss_fraction": 0.0,
    "motor.magnet_coefficient_percent_per_k": 0.0,
    "motor.inductance_uh": 0.0,
    "pack.cell.polarisation_resistance_mohm": 0.0,
    "pack.cell.activation_kj_per_mol": 0.0,
    "pack.cell.resistance_curve": None,
    "rider.power_w": 0.0,
}
"""A bike whose operating points have closed forms."""


def pack_of(ride: Ride) -> tuple[float, float]:
    """Open-circuit voltage at the end of a ride and resistance of the pack [V, ohm]."""
    pack = ride.build.pack
    cell = pack.cell
    volts = pack.series * float(np.interp(ride.raw.end.charge, cell.charge_fraction, cell.open_circuit_v))
    ohms = cell.resistance_mohm * pack.resistance_factor * pack.series / pack.parallel
    return volts, (ohms + pack.interconnect_mohm + pack.wiring_mohm) / 1000.0


def winding(ride: Ride) -> float:
    """Winding resistance at the end of a ride [ohm]."""
    return ride.build.motor.resistance_mohm / 1000.0 * (1.0 + 0.00393 * (ride.raw.end.winding_temp - 20.0))


def drags(ride: Ride) -> tuple[float, float, float]:
    """Constant, linear and square term of the resistance at the road's end [N, N s/m, N s2/m2]."""
    build, node = ride.build, ride.arrays.nodes[-1]
    slope = math.atan(float(ride.road.grade[-1]))
    weight = build.mass_kg * G
    still = weight * (math.sin(slope) + build.tyre.rolling_resistance * math.cos(slope)) + 0.091
    area = build.bicycle.drag_area_m2 + build.bicycle.wheel_drag_area_m2
    return still, 0.0087, 0.5 * float(node["air_density"]) * area


def wheel_radius(ride: Ride) -> float:
    return ride.build.tyre.circumference_mm / 2000.0 / math.pi


def iron(ride: Ride) -> tuple[float, float]:
    """Line through the two no-load points and the stages' drag at the motor shaft: constant and slope."""
    low, high = ride.build.motor.no_load
    slope = K * (high.current_a - low.current_a) / ((high.speed_rpm - low.speed_rpm) * math.pi / 30.0)
    belts = 0.01 + 0.02 * 18 / 40 / 0.97
    return K * low.current_a - slope * low.speed_rpm * math.pi / 30.0 + belts, slope


def test_stall_current_of_a_voltage_throttle() -> None:
    """I = d U / (R + d2 r): winding and pack in series through an ideal chopper."""
    loaded = bike({**IDEAL, "motor.resistance_mohm": 900.0, "pack.start_charge_fraction": 0.7})
    ride = simulate(
        loaded, make_climb(200.0, 25.0), throttle_law="voltage", throttle=1.0, limits=False, record_every_s=0.1
    )
    assert ride.raw.stop is Stop.STALLED
    assert ride.raw.total(Total.DISTANCE) == 0.0
    ohms = pack_of(ride)[1]
    expected = 0.95 * 13 * 3.95 / (0.9 + 0.95**2 * ohms)
    assert ride.raw.total(Total.PEAK_DRIVE_CURRENT) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("commutation", ["sine", "six_step"])
def test_stall_current_of_a_torque_throttle_is_the_limit_as_read(commutation: str) -> None:
    """A sine drive's 80 A of amplitude is 69.3 A DC-equivalent; a six-step drive's 80 A is 80 A."""
    loaded = bike({"controller.commutation": commutation, "rider.power_w": 0.0})
    ride = simulate(loaded, make_climb(200.0, 60.0), throttle=1.0)
    assert ride.raw.stop is Stop.STALLED
    assert ride.summary["peak_motor_current_a"] == pytest.approx(80.0, rel=1e-12)
    amperes = 80.0 * (math.sqrt(0.75) if commutation == "sine" else 1.0)
    assert ride.summary["peak_motor_current_dc_equivalent_a"] == pytest.approx(amperes, rel=1e-12)


@pytest.fixture(scope="module")
def modulation_limited() -> Ride:
    loaded = bike({**IDEAL, "controller.pack_current_limit_a": 200.0, "controller.motor_current_limit_a": 160.0,
                   "controller.electrical_frequency_limit_hz": 3333.0, "pack.parallel": 100})  # fmt: skip
    return simulate(loaded, make_flat(6000.0), throttle=1.0, trace=False, accuracy="fine")


def test_modulation_limited_top_speed(modulation_limited: Ride) -> None:
    """k w + I (R + d2 r) = d U with I from the drag: one quadratic in v."""
    ride = modulation_limited
    assert ride.raw.limit_seconds[Limit.MODULATION] > 0.8 * ride.raw.total(Total.TIME)
    volts, ohms = pack_of(ride)
    radius, (still, linear, square), (tau_0, tau_1) = wheel_radius(ride), drags(ride), iron(ride)
    turned = RATIO / radius
    per_amp = winding(ride) + 0.95**2 * ohms
    gain = turned * ETA
    # gain (K (0.95 U - K turned v)/per_amp - tau_0 - tau_1 turned v) = still + linear v + square v2
    b = linear + gain * turned * (K * K / per_amp + tau_1)
    c = still + gain * tau_0 - gain * K * 0.95 * volts / per_amp
    top = (-b + math.sqrt(b * b - 4.0 * square * c)) / (2.0 * square)
    assert ride.raw.end.speed == pytest.approx(top, rel=1e-4)


def test_top_speed_at_the_electrical_speed_limit() -> None:
    loaded = bike({"controller.electrical_frequency_limit_hz": 350.0})
    ride = simulate(loaded, make_flat(3000.0), throttle=1.0, trace=False, accuracy="fine")
    top = 21000.0 / 7 * math.pi / 30.0 * wheel_radius(ride) / RATIO
    assert ride.raw.end.speed == pytest.approx(top, rel=1e-6)
    assert ride.raw.limit_seconds[Limit.ELECTRICAL_FREQUENCY] > 100.0


@pytest.mark.parametrize("changes", [IDEAL, {}], ids=["ideal", "with all losses"])
def test_pack_limited_climb_speed(changes: dict[str, Any]) -> None:
    """The pack's 18 A times its voltage, less losses, equals force times speed: a balance in one unknown."""
    settled = {"motor.winding_heat_capacity_j_per_k": 20.0, "motor.body_heat_capacity_j_per_k": 60.0,
               "pack.cell.capacity_ah": 300.0}  # fmt: skip
    loaded = bike({**changes, **settled, "controller.pack_current_limit_a": 18.0, "pack.parallel": 20})
    road = make_climb(4000.0, 6.0)
    ride = simulate(loaded, road, throttle=1.0, trace=False, accuracy="fine")
    build, end = loaded.build, ride.raw.end
    box = build.controller
    volts, ohms = pack_of(ride)
    if not changes:
        heat = build.pack.cell.activation_kj_per_mol * 1000.0 / 8.314462618
        factor = np.interp(end.charge, build.pack.cell.charge_fraction, build.pack.cell.resistance_curve)
        factor *= math.exp(heat * (1.0 / (end.pack_temp + 273.15) - 1.0 / 298.15))
        ohms = (ohms - 0.017) * float(factor) + 0.017
    loaded_volts = volts - end.polarisation - ohms * 18.0
    magnets = build.motor.magnet_coefficient_percent_per_k / 100.0
    k = K * (1.0 + magnets * (end.body_temp - 20.0))
    radius, (still, linear, square), (tau_0, tau_1) = wheel_radius(ride), drags(ride), iron(ride)

    def missing(speed: float) -> float:
        turning = speed * RATIO / radius
        pedal = build.rider.power_w * build.rider.chain_efficiency / speed
        force = still + linear * speed + square * speed**2 - pedal
        amps = (force * radius / (RATIO * ETA) + tau_0 + tau_1 * turning) / k
        lost = box.standby_power_w + box.on_resistance_mohm / 1000.0 * amps**2
        lost += box.switching_loss_fraction * amps * loaded_volts
        return k * turning * amps + winding(ride) * amps**2 + lost - 18.0 * loaded_volts

    assert ride.raw.limit_seconds[Limit.PACK_CURRENT] > 0.9 * ride.raw.total(Total.TIME)
    assert end.speed == pytest.approx(brentq(missing, 1.0, 15.0), rel=1e-4)


def test_pack_maximum_power() -> None:
    """Row 7-8: P_max = U2 / 4r.

    By design the draw ends where 4 x 0.495 x 0.505 = 0.9999 of the peak is given, so that rounding cannot pass it;
    within a step the back-EMF moves the power by some 1e-5 more.
    """
    changes = {"pack.parallel": 1, "controller.throttle_law": "voltage", "bicycle.grip": 1.5,
               "bicycle.mass_centre_ahead_mm": 1000.0}  # fmt: skip
    loaded = bike({**IDEAL, **changes})
    ride = simulate(loaded, make_flat(250.0), throttle=1.0, limits=False, record_every_s=0.1)
    ohms = pack_of(ride)[1]
    assert ride.raw.limit_seconds[Limit.PACK_POWER] > 0.0
    power = (ride.trace["pack_voltage_v"] * ride.trace["pack_current_a"]).to_numpy()
    open_volts = ride.trace["open_voltage_v"].to_numpy()
    peak = open_volts**2 / (4.0 * ohms)
    assert (power <= peak * (1.0 + 1e-12)).all()
    assert (power / peak).max() > 0.9998


# --- moments about the wheel contacts: L wheelbase, b centre of mass ahead of the rear contact, h its height ----------
#
# Erratum of the check list the rows come from: row 10-1 (front lift a = g b/h, b from the rear contact) is right, but
# row 10-2 takes b for the static load of the rear wheel, which is m g (L - b)/L. By moments about the front contact,
# N_rear L = m g (L - b) + F h, so rear drive slips at a = mu g (L - b)/(L - mu h), a rear brake at
# mu g (L - b)/(L + mu h), a front brake at mu g b/(L - mu h). For L 1.05, b 0.45, h 1.10, mu 0.8: 27.69 (capped by
# lift at 4.0118), 2.4390 (the list: 1.8292) and 20.77 m/s2 (capped at 5.3491).


def loads_by_moments(accel: float, span: float, height: float, ahead: float) -> tuple[float, float]:
    """Return rear and front wheel load per unit mass under an acceleration, from two moment equations."""
    matrix = np.array([[0.0, span], [1.0, 1.0]])  # about the rear contact; vertical balance
    rear, front = np.linalg.solve(matrix, [G * ahead - accel * height, G])
    return float(rear), float(front)


TYRES = [
    # L, b, h in mm, then front lift and rear lift in m/s2 (rows 10-1 and 10-1b; Cossalter, Motorcycle Dynamics)
    (1050.0, 450.0, 1100.0, 4.0118, 5.3491),
    (1100.0, 500.0, 1100.0, 4.4576, 5.3491),
    (1050.0, 420.0, 1150.0, 3.5816, 5.3723),
]


def bounds(span: float, ahead: float, height: float, grip: float, wheel: str = "rear") -> tuple[float, float, float]:
    """Drive, motor-brake and both-brakes bound of a bike [m/s2]."""
    loaded = bike({"bicycle.wheelbase_mm": span, "bicycle.mass_centre_ahead_mm": ahead, "bicycle.grip": grip,
                   "bicycle.mass_centre_height_mm": height, "drive.driven_wheel": wheel})  # fmt: skip
    ride = simulate(loaded, make_flat(20.0), trace=False, accuracy="fine")
    p, mass = ride.params, loaded.build.mass_kg
    return p.drive_grip / mass, p.motor_brake_grip / mass, p.both_brakes_grip / mass


@pytest.mark.parametrize(("span", "ahead", "height", "front_lift", "rear_lift"), TYRES, ids=["10-1", "10-1b", "10-1c"])
def test_lifting_wheels(span: float, ahead: float, height: float, front_lift: float, rear_lift: float) -> None:
    drive, _, brakes = bounds(span, ahead, height, grip=1.5)
    assert drive == pytest.approx(front_lift, abs=5e-5)
    assert brakes == pytest.approx(rear_lift, abs=5e-5)
    assert loads_by_moments(drive, span, height, ahead)[1] == pytest.approx(0.0, abs=1e-9)
    assert loads_by_moments(-brakes, span, height, ahead)[0] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("grip", "wheel"), [(0.8, "rear"), (0.3, "rear"), (0.1, "rear"), (0.8, "front"), (0.3, "front"), (0.1, "front")]
)
def test_tyre_bounds_by_moments(grip: float, wheel: str) -> None:
    """At each bound the driven or braked wheel passes on just mu times its load, or the other wheel just lifts."""
    span, ahead, height = 1.05, 0.45, 1.10
    drive, motor_brake, brakes = bounds(1050.0, 450.0, 1100.0, grip, wheel)
    driven = 0 if wheel == "rear" else 1
    at_drive = loads_by_moments(drive, span, height, ahead)
    assert drive <= grip * at_drive[driven] + 1e-9
    assert drive == pytest.approx(grip * at_drive[driven], rel=1e-9) or at_drive[1 - driven] == pytest.approx(0.0)
    at_brake = loads_by_moments(-motor_brake, span, height, ahead)
    assert motor_brake == pytest.approx(grip * at_brake[driven], rel=1e-9) or min(at_brake) == pytest.approx(0.0)
    assert brakes == pytest.approx(min(grip * G, 5.3491), abs=5e-5)


def test_rear_motor_brake_has_the_moments_number_not_the_lists() -> None:
    motor_brake = bounds(1050.0, 450.0, 1100.0, 0.8)[1]
    assert motor_brake == pytest.approx(0.8 * G * 0.60 / (1.05 + 0.8 * 1.10), rel=1e-12)
    assert motor_brake == pytest.approx(2.4390, abs=5e-5)


def test_a_strong_launch_lifts_no_wheel() -> None:
    """Whatever the motor could do, motor and pedals together stay at the front-lift bound."""
    loaded = bike({"controller.motor_current_limit_a": 400.0, "bicycle.mass_centre_ahead_mm": 300.0})
    ride = simulate(loaded, make_flat(60.0), throttle=1.0, record_every_s=0.1)
    pushed = ride.trace["motor_force_n"] + ride.trace["pedal_force_n"]
    most = loaded.build.mass_kg * G * 0.3 / 1.0
    assert pushed.iloc[:5].to_numpy() == pytest.approx(most, rel=1e-9)
    assert pushed.max() <= most * (1.0 + 1e-9)
    assert ride.raw.limit_seconds[Limit.GRIP] > 0.5


@pytest.mark.parametrize("power_w", [0.0, 60.0, 200.0])
def test_a_front_motor_keeps_its_grip_when_the_rider_pedals_the_rear(power_w: float) -> None:
    """Moments about the rear contact, front tyre at its grip, both pushes at their wheels: solved by a root search.

    N_f = m g (b cos - h sin) / L and F_m = mu N_f in balance; drag at rest is rolling alone.
    """
    loaded = bike({"drive.driven_wheel": "front", "controller.motor_current_limit_a": 400.0, "rider.power_w": power_w,
                   "controller.pack_current_limit_a": 200.0, "pack.parallel": 100, "bicycle.grip": 0.6})  # fmt: skip
    build = loaded.build
    p = simulate(loaded, make_flat(20.0)).params
    length, height, ahead = (getattr(build.bicycle, name) / 1e3 for name in (
        "wheelbase_mm", "mass_centre_height_mm", "mass_centre_ahead_mm"))  # fmt: skip
    pedal = min(power_w * build.rider.chain_efficiency / 1.5, p.pedal_force_bound)
    weight, mu = build.mass_kg * 9.80665, 0.6

    def balance(theta: float) -> float:
        """Push less resistance: the front wheel's load falls with the whole push, N_f L = m g cos b - F h."""
        motor = mu * (weight * math.cos(theta) * ahead - pedal * height) / (length + mu * height)
        return motor + pedal - weight * (math.sin(theta) + p.crr * math.cos(theta))

    wanted = 100.0 * math.tan(brentq(balance, 0.0, 1.0))
    found = 100.0 * steepest_grade(1e5, pedal, p.mass, p.crr, p.drive_grip, p.pedal_share)
    assert found == pytest.approx(wanted, rel=1e-9)
    alone = 100.0 * steepest_grade(1e5, 0.0, p.mass, p.crr, p.drive_grip, p.pedal_share)
    assert (found > alone + 0.5) is (power_w > 0.0)
    first = simulate(loaded, make_flat(20.0), throttle=1.0, record_every_s=0.1).raw.trace[0]
    most = mu * (weight * ahead - first[Channel.PEDAL_FORCE] * height) / (length + mu * height)
    assert first[Channel.MOTOR_FORCE] == pytest.approx(most, rel=1e-3)
