"""Grip, front lift and legal speeds against closed forms and statutes."""

from __future__ import annotations

from ridesim.evidence.checks import Check, Subject, near
from ridesim.evidence.store import sheet, table
from ridesim.physics.resistance import both_brakes_force_bound, drive_force_bound, motor_brake_force_bound
from ridesim.units import convert
from ridesim.workshop.law.classes import start_up_power_w

STICKY = 1e6
"""A grip so high that only the lift of a wheel bounds the force."""
GRIP = 0.8


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of vehicle dynamics and law."""
    checks = []
    for base, ahead, height, wheelie, stoppie in table("vehicle.stances").rows:
        name = f"wheelbase {base:g} m, mass centre {ahead:g} m ahead, {height:g} m high"
        lift = drive_force_bound(GRIP, 1.0, 1.0, base, height, ahead, True)
        header = both_brakes_force_bound(STICKY, 1.0, 1.0, base, height, ahead)
        checks += [near(f"{name}: front lifts", lift, wheelie), near(f"{name}: rear lifts", header, stoppie)]
    brake, start = sheet("vehicle.rear_brake"), sheet("vehicle.start_up")
    # The published row brakes with mu g b/(L + mu h), b behind the front contact.
    ahead = brake.wheelbase_m - brake.behind_front_m
    turned = motor_brake_force_bound(brake.grip, 1.0, 1.0, brake.wheelbase_m, brake.height_m, ahead, True)
    power = start_up_power_w(start.mass_kg, start.distance_m, start.time_s)
    return [
        *checks,
        near("rear wheel brakes alone, mass centre 0.60 m ahead", turned, brake.braking_m_per_s2),
        *(near(f"{mph:g} mph", convert(mph, "mph", "km_h"), kmh) for mph, kmh in table("vehicle.speeds").rows),
        near("start-up power, 150 kg over 20 m in 9 s", power, start.power_w),
    ], []


SUBJECT = Subject("vehicle", "Grip, balance and legal speeds", run)
