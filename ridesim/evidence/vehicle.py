"""Grip, front lift and legal speeds against closed forms and statutes."""

from __future__ import annotations

from ridesim.evidence.checks import Check, Kind, Subject, near
from ridesim.physics.resistance import both_brakes_force_bound, drive_force_bound, motor_brake_force_bound
from ridesim.units import convert
from ridesim.workshop.law.classes import start_up_power_w

MOMENTS = "moments about the wheel contacts (Cossalter, Motorcycle Dynamics)"
STICKY = 1e6
"""A grip so high that only the lift of a wheel bounds the force."""

# wheelbase, mass centre ahead of the rear contact, its height m; wheelie and stoppie m/s2
STANCES = (
    (1.05, 0.45, 1.10, "4.0118", "5.3491"),
    (1.10, 0.50, 1.10, "4.4576", "5.3491"),
    (1.05, 0.42, 1.15, "3.5816", "5.3723"),
)


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of vehicle dynamics and law."""
    checks = []
    for base, ahead, height, wheelie, stoppie in STANCES:
        name = f"wheelbase {base:g} m, mass centre {ahead:g} m ahead, {height:g} m high"
        lift = drive_force_bound(0.8, 1.0, 1.0, base, height, ahead, True)
        header = both_brakes_force_bound(STICKY, 1.0, 1.0, base, height, ahead)
        checks += [
            near(f"{name}: front lifts", lift, wheelie, "m/s²", MOMENTS, Kind.CLOSED_FORM),
            near(f"{name}: rear lifts", header, stoppie, "m/s²", MOMENTS, Kind.CLOSED_FORM),
        ]
    # The published row brakes with mu g b/(L + mu h), b = 0.45 m: its mass centre is that far behind the front contact.
    turned = motor_brake_force_bound(0.8, 1.0, 1.0, 1.05, 1.10, 1.05 - 0.45, True)
    checks += [
        near("rear wheel brakes alone, mass centre 0.60 m ahead", turned, "1.8292", "m/s²", MOMENTS, Kind.CLOSED_FORM),
        near("15.5 mph", convert(15.5, "mph", "km_h"), "24.945", "km/h", "1 mile = 1.609344 km", Kind.CLOSED_FORM),
        near("20 mph", convert(20.0, "mph", "km_h"), "32.187", "km/h", "1 mile = 1.609344 km", Kind.CLOSED_FORM),
        near("28 mph", convert(28.0, "mph", "km_h"), "45.062", "km/h", "1 mile = 1.609344 km", Kind.CLOSED_FORM),
        near("start-up power, 150 kg over 20 m in 9 s", start_up_power_w(150.0, 20.0, 9.0), "164.609", "W",
             "EN 15194:2009, annex D (secondary source)", Kind.PUBLISHED),
    ]  # fmt: skip
    return checks, []


SUBJECT = Subject("vehicle", "Grip, balance and legal speeds", run)
