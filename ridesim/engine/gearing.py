"""Stages, gears and pedals of a build in SI: what a drive passes on, gear by gear.

Numbers of the build may be columns, (rows,), as in `engine.params`.
"""

from __future__ import annotations

import math
from typing import Any

from ridesim.bike.rough import shift_rpm
from ridesim.bike.schema import Build, Gear
from ridesim.bike.second import seen_by_second
from ridesim.engine.columns import by_row
from ridesim.engine.estimates import Estimates, estimate
from ridesim.engine.gears import NEVER_DOWN, NEVER_UP
from ridesim.physics.drive import braking_gain, driving_gain
from ridesim.units import to_si


def wheel_radius(build: Build) -> float:
    """Return the rolling radius of the driven wheel [m]."""
    return to_si(build.tyre.circumference_mm, "mm") / (2.0 * math.pi)


def rolling_mass(build: Build) -> float:
    """Return the mass that is sped up without the drive's rotor [kg]; that of another, fixed drive always turns."""
    mass = build.mass_kg + build.bicycle.wheels_inertia_kg_m2 / wheel_radius(build) ** 2
    if build.second is None or build.second.drive.coupling != "fixed":
        return mass
    other = seen_by_second(build)
    return mass + estimate(other).rotor_inertia_kg_m2 * (other.drive.reduction / wheel_radius(build)) ** 2


def _reducing_or_not(turns: float, before: float, behind: float) -> float:
    return before if turns >= 1.0 else behind


def stages(build: Build) -> tuple[float, float, float]:
    """Return the fixed stages' efficiency and their drag at the motor shaft [N m], driving and braking."""
    efficiency, turned, driving_drag, braking_drag = 1.0, 1.0, 0.0, 0.0
    for stage in build.drive.stage:
        after = turned / stage.turns, efficiency * stage.load_efficiency
        # The faster shaft is the motor's side of a reduction, the wheel's side of a speed-up.
        speed = by_row(_reducing_or_not, stage.turns, turned, after[0])
        passed = by_row(_reducing_or_not, stage.turns, efficiency, after[1])
        driving_drag = driving_drag + stage.drag_torque_nm * speed / passed
        braking_drag = braking_drag + stage.drag_torque_nm * speed * passed
        turned, efficiency = after
    return efficiency, driving_drag, braking_drag


def in_one_gear(build: Build, found: Estimates, at: int) -> dict[str, Any]:
    """Return the parameters that differ from gear to gear, `gears.GEARED`, in one of them; the lowest is 0."""
    drive, radius, gear = build.drive, wheel_radius(build), build.drive.speeds[at]
    turns, efficiency = drive.reduction * gear.turns, stages(build)[0] * gear.efficiency
    coasting = rolling_mass(build)
    rotor = drive.motors * found.rotor_inertia_kg_m2 * (turns / radius) ** 2
    fixed = drive.coupling == "fixed"
    driving, braking = driving_gain(turns, efficiency, radius), braking_gain(turns, efficiency, radius)
    frequency = 2.0 * math.pi * build.controller.electrical_frequency_limit_hz / build.motor.pole_pairs
    up, down = (to_si(rpm, "rpm") * radius / turns for rpm in shift_rpm(build))
    return {
        "mass_coasting": coasting + (rotor if fixed else 0.0),
        "mass_driving": coasting + rotor,
        "per_mass_coasting": 1.0 / (coasting + (rotor if fixed else 0.0)),
        "per_mass_driving": 1.0 / (coasting + rotor),
        **_pedals(build, gear),
        "turned": turns / radius,
        "driving_gain": driving,
        "braking_gain": braking,
        "per_driving_gain": 1.0 / driving,
        "per_braking_gain": 1.0 / braking,
        "efficiency": efficiency,
        "top_electrical_speed": frequency * radius / turns,
        "shift_up_speed": up if at + 1 < len(drive.speeds) else NEVER_UP,
        "shift_down_speed": down if at > 0 else NEVER_DOWN,
        "input_per_force": radius / (gear.turns * gear.efficiency) if _is_geared(build) else 0.0,
    }


def _is_geared(build: Build) -> bool:
    return bool(build.drive.gears.ratios) or build.drive.through_pedal_chain


def _pedals(build: Build, gear: Gear) -> dict[str, Any]:
    """Return the pedals' efficiency and their force bound at the wheel [N]: gears of their own, or the motor's."""
    rider, radius, chain = build.rider, wheel_radius(build), build.drive.pedal_chain
    if chain is None:
        force = rider.crank_torque_limit_nm * rider.chain_efficiency / (rider.lowest_gear * radius)
        return {"pedal_efficiency": rider.chain_efficiency, "pedal_force_bound": force}
    # A derailleur is the chain: its own efficiency is counted once.
    is_chain = build.drive.gears.kind == "derailleur" and build.drive.gears.ratios
    passed = gear.efficiency if is_chain else rider.chain_efficiency * gear.efficiency
    force = rider.crank_torque_limit_nm * passed * chain[0] * gear.turns / radius
    return {"pedal_efficiency": passed, "pedal_force_bound": force}


def start_gear(build: Build, speed: float) -> int:
    """Return the gear in which a ride starts at a speed [m/s]; the lowest is 0. Columns give a gear a row."""
    up, radius = to_si(shift_rpm(build)[0], "rpm"), wheel_radius(build)
    lower = build.drive.speeds[:-1] if speed > 0.0 else ()
    return sum(speed >= up * radius / (build.drive.reduction * gear.turns) for gear in lower)
