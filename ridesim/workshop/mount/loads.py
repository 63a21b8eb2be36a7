"""What a ride asks of the parts that hold the drive: the pull at the motor's shaft, torques at motor and wheel.

Belts: tight and slack side by the belt calculator. Chains have no slack side to speak of; gears push apart at 20
degrees. A hub motor, geared or not, has no shaft outside: its axle takes the wheel's torque itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build, Stage
from ridesim.errors import BuildError
from ridesim.physics.resistance import GRAVITY
from ridesim.units import from_si, to_si
from ridesim.workshop.belt.layout import check_stage, pulls_together_n
from ridesim.workshop.belt.of_build import joining_belt
from ridesim.workshop.check.drive import belt_stage_of
from ridesim.workshop.loads import RideLoads, StageLoad, stage_loads

PRESSURE_ANGLE = math.radians(20.0)
"""Of spur gears (ISO 53)."""
GEAR_MODULE_MM = 1.0
"""Of a gear stage, whose build does not say it (guess)."""


@dataclass(frozen=True)
class Pull:
    """What the first stage pulls with at the motor's shaft [N], at which speed, and how wide the belt is [mm]."""

    kind: str
    side_load_n: float
    lasting_side_load_n: float
    width_mm: float
    speed_rpm: float


@dataclass(frozen=True)
class MountLoads:
    """Peak and lasting (a minute's mean) loads. Torques at the motor's shaft and behind the last stage."""

    motor_torque_nm: float
    lasting_motor_torque_nm: float
    wheel_torque_nm: float
    lasting_wheel_torque_nm: float
    pulley_radius_mm: float | None
    pull: Pull | None
    motor_weight_n: float


def mount_loads(loaded: LoadedBuild, loads: RideLoads) -> MountLoads:
    """Return the loads of a ride on what holds the drive. Raises BuildError."""
    build = loaded.build
    stages = stage_loads(build, loads)
    peak = max(loads.peak_shaft_torque_nm, loads.peak_brake_torque_nm)
    wheel, lasting = peak, loads.sustained_shaft_torque_nm
    # Motors in series on one belt have a pulley each; on one shaft, or joined to it, the first pulley passes all.
    pulleys = build.drive.motors if build.drive.motors_share == "one_belt" else 1
    radius = None
    if stages:
        last = stages[-1]
        passed = last.stage.turns * last.stage.load_efficiency
        wheel, lasting = last.peak_torque_nm * passed, last.sustained_torque_nm * passed
        radius = _driven_radius_mm(last.stage)
    return MountLoads(
        motor_torque_nm=peak / pulleys,
        lasting_motor_torque_nm=loads.sustained_shaft_torque_nm / pulleys,
        wheel_torque_nm=wheel,
        lasting_wheel_torque_nm=lasting,
        pulley_radius_mm=radius,
        pull=None if _in_the_hub(stages) else _with_joining_belt(build, _first_pull(loaded, stages[0]), stages[0]),
        motor_weight_n=build.motor.mass_kg * GRAVITY,
    )


def _in_the_hub(stages: tuple[StageLoad, ...]) -> bool:
    """Return whether the motor sits in the wheel: nothing between them, or gears whose teeth nobody counts."""
    return all(each.stage.kind == "gear" and each.stage.driver_teeth is None for each in stages)


def _with_joining_belt(build: Build, pull: Pull, load: StageLoad) -> Pull:
    """Return the pull at the first motor's shaft, that of a belt from a second motor with it, as `belt` adds them."""
    joining = joining_belt(build)
    if joining is None:
        return pull
    peak = check_stage(joining, load.peak_torque_nm / 2.0, load.speed_rpm)
    kept = peak.tensions.pretension_n
    lasting = check_stage(joining, load.sustained_torque_nm / 2.0, load.speed_rpm, pretension_n=kept)
    between = build.drive.second_motor.between_deg
    return replace(
        pull,
        side_load_n=pulls_together_n(pull.side_load_n, peak.tensions.shaft_load_n, between),
        lasting_side_load_n=pulls_together_n(pull.lasting_side_load_n, lasting.tensions.shaft_load_n, between),
    )


def _driven_radius_mm(stage: Stage) -> float | None:
    if stage.driven_teeth is None:
        return None
    return stage.pitch_mm * stage.driven_teeth / math.tau


def _first_pull(loaded: LoadedBuild, load: StageLoad) -> Pull:
    """The side load that the first stage puts on the motor's shaft."""
    stage, torques = load.stage, (load.peak_torque_nm, load.sustained_torque_nm)
    made = belt_stage_of(stage) if stage.kind == "belt" else None
    if made is not None:
        peak = check_stage(made[0], torques[0], load.speed_rpm)
        lasting = check_stage(made[0], torques[1], load.speed_rpm, pretension_n=peak.tensions.pretension_n)
        return Pull("belt", peak.tensions.shaft_load_n, lasting.tensions.shaft_load_n, stage.width_mm, load.speed_rpm)
    if stage.driver_teeth is None:
        what = "the first stage has a ratio but no teeth: its pull is not known"
        raise BuildError(f"{loaded.path}, drive.stage", what, "give driver_teeth, driven_teeth and pitch_mm")
    module = GEAR_MODULE_MM if stage.kind == "gear" else stage.pitch_mm / math.pi
    radius_m = to_si(module * stage.driver_teeth / 2.0, "mm")
    lean = 1.0 / math.cos(PRESSURE_ANGLE) if stage.kind == "gear" else 1.0
    peak_n, lasting_n = (from_si(torque / radius_m * lean, "n") for torque in torques)
    return Pull(stage.kind, peak_n, lasting_n, stage.width_mm, load.speed_rpm)
