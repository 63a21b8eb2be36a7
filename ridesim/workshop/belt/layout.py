"""Belt drives as a whole: one stage, two stages, two motors joined by a second belt.

Sources: as `belt_strength`. Torques in N m at the motors, plus drives; a layout's verdict is the gravest of its parts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridesim.units import to_si
from ridesim.workshop.belt.geometry import DriveGeometry
from ridesim.workshop.belt.strength import (
    FULL_MESH_TEETH,
    LOWEST_SLACK_SHARE,
    SERVICE_FACTOR,
    SLACK_SHARE,
    BeltCapacity,
    BeltStage,
    BeltTensions,
    belt_capacity,
    belt_tensions,
    safety_ratio,
    service_factor,
)
from ridesim.workshop.limits import Verdict, require_between, worst_verdict

EFFICIENCY = 0.97
"""One well-designed stage: middle of 96 to 98 % (engineer's handbook, belt drives)."""


@dataclass(frozen=True)
class StageCheck:
    """One belt under one load. `safety_factor` = allowed pull by the cautious width rule / (pull x service factor)."""

    geometry: DriveGeometry
    tensions: BeltTensions
    capacity: BeltCapacity
    service_factor: float
    safety_factor: float
    allowed_torque_nm: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class TwoStageCheck:
    """Two belts one after the other, joined by a jackshaft."""

    first: StageCheck
    second: StageCheck
    ratio: float
    output_torque_nm: float
    output_speed_rpm: float
    jackshaft_load_n: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class JoinedCheck:
    """A second motor whose belt drives the first motor's shaft, and the main belt that carries both."""

    joining: StageCheck
    main: StageCheck
    shaft_torque_nm: float
    first_motor_shaft_load_n: float
    verdict: Verdict
    reason: str


def check_stage(
    stage: BeltStage,
    torque_nm: float,
    speed_rpm: float,
    *,
    pretension_n: float | None = None,
    slack_share: float = SLACK_SHARE,
    base_service_factor: float = SERVICE_FACTOR,
) -> StageCheck:
    """Judge one belt stage under a torque and speed at its driver.

    `fine`: the pull times the service factor, plus the centrifugal tension, is within the pull allowed by the cautious
    width rule (safety factor 1 or more); `look again`: only the bare pull is within the plain one, or fewer than six
    teeth mesh, or the slack side is loose. Source: SDP/SI table 3, sections
    13.3 and 24. Raises BuildError, RideError.
    """
    shape = stage.geometry()
    tensions = belt_tensions(stage, torque_nm, speed_rpm, slack_share=slack_share, pretension_n=pretension_n)
    capacity = belt_capacity(stage.belt, stage.width_mm, shape.teeth_in_mesh)
    service = service_factor(stage.teeth_driver, stage.teeth_driven, base_service_factor)
    cautious = max(0.0, capacity.allowed_pull_cautious_n - tensions.centrifugal_tension_n)
    safety = safety_ratio(cautious, tensions.effective_pull_n * service)
    verdict, reason = _stage_verdict(shape, tensions, capacity, service, cautious)
    torque = cautious * to_si(shape.pitch_diameter_driver_mm, "mm") / 2.0 / service
    return StageCheck(shape, tensions, capacity, service, safety, torque, verdict, reason)


def _stage_verdict(
    shape: DriveGeometry, tensions: BeltTensions, capacity: BeltCapacity, service: float, cautious_n: float
) -> tuple[Verdict, str]:
    pull = tensions.effective_pull_n
    allowed = max(0.0, capacity.allowed_pull_n - tensions.centrifugal_tension_n)
    words = f"pull {pull:.0f} N of {allowed:.0f} N allowed, {cautious_n:.0f} N by the cautious width rule"
    strong: Verdict = "fine" if pull * service <= cautious_n else "look again" if pull <= allowed else "stop"
    meshed: Verdict = "fine" if shape.teeth_in_mesh >= FULL_MESH_TEETH else "look again"
    loose = tensions.slack_side_n < LOWEST_SLACK_SHARE * pull
    slack: Verdict = "stop" if pull > 0.0 and tensions.slack_side_n <= 0.0 else "look again" if loose else "fine"
    findings = [
        (strong, f"{words}, service factor {service:.2g}"),
        (meshed, f"{shape.teeth_in_mesh:.1f} teeth in mesh (six carry the full pull)"),
        (slack, f"slack side {tensions.slack_side_n:.0f} N, under {LOWEST_SLACK_SHARE:.0%} of the pull"),
    ]
    return worst_verdict(findings, f"{words}, service factor {service:.2g}")


def check_two_stages(
    first: BeltStage,
    second: BeltStage,
    torque_nm: float,
    speed_rpm: float,
    *,
    turn_deg: float = 0.0,
    efficiency: float = EFFICIENCY,
    base_service_factor: float = SERVICE_FACTOR,
) -> TwoStageCheck:
    """Judge two stages in a row; `turn_deg` is the bend of the line of centres at the jackshaft, 0 for straight on.

    Source: as `check_stage`; the second stage sees the first one's torque times ratio and efficiency. The jackshaft
    load takes each belt's shaft load along its line of centres. Raises BuildError, RideError.
    """
    require_between("belt", "efficiency", efficiency, 0.5, 1.0)
    one = check_stage(first, torque_nm, speed_rpm, base_service_factor=base_service_factor)
    torque, speed = _passed_on_nm(torque_nm, one.geometry.ratio, efficiency), speed_rpm / one.geometry.ratio
    two = check_stage(second, torque, speed, base_service_factor=base_service_factor)
    findings = [(one.verdict, f"first belt: {one.reason}"), (two.verdict, f"second belt: {two.reason}")]
    verdict, reason = worst_verdict(findings, "both belts carry their load")
    return TwoStageCheck(
        first=one,
        second=two,
        ratio=one.geometry.ratio * two.geometry.ratio,
        output_torque_nm=_passed_on_nm(torque, two.geometry.ratio, efficiency),
        output_speed_rpm=speed / two.geometry.ratio,
        jackshaft_load_n=_joint_load_n(one, two, 180.0 - turn_deg),
        verdict=verdict,
        reason=reason,
    )


def _passed_on_nm(torque_nm: float, ratio: float, efficiency: float) -> float:
    """Torque behind a stage: losses eat a driving torque and add to a braking one."""
    return torque_nm * ratio * (efficiency if torque_nm >= 0.0 else 1.0 / efficiency)


def _joint_load_n(one: StageCheck, two: StageCheck, between_deg: float) -> float:
    """Vector sum of two belts' shaft loads whose lines of centres stand `between_deg` apart."""
    first, second = one.tensions.shaft_load_n, two.tensions.shaft_load_n
    along = 2.0 * first * second * math.cos(math.radians(between_deg))
    return math.sqrt(max(0.0, first**2 + second**2 + along))


def check_joined_motors(
    joining: BeltStage,
    main: BeltStage,
    first_torque_nm: float,
    second_torque_nm: float,
    speed_rpm: float,
    *,
    between_deg: float = 180.0,
    efficiency: float = EFFICIENCY,
    base_service_factor: float = SERVICE_FACTOR,
) -> JoinedCheck:
    """Judge a second motor joined to the first by `joining` (second motor to first), `main` carrying both.

    `speed_rpm` is the first motor's; `between_deg` stands between the directions in which the two belts pull at its
    shaft. Source: as `check_stage`; shaft loads along the lines of centres. Raises BuildError, RideError.
    """
    require_between("belt", "efficiency", efficiency, 0.5, 1.0)
    ratio = joining.geometry().ratio
    total = first_torque_nm + _passed_on_nm(second_torque_nm, ratio, efficiency)
    link = check_stage(joining, second_torque_nm, speed_rpm * ratio, base_service_factor=base_service_factor)
    trunk = check_stage(main, total, speed_rpm, base_service_factor=base_service_factor)
    findings = [(link.verdict, f"joining belt: {link.reason}"), (trunk.verdict, f"main belt: {trunk.reason}")]
    verdict, reason = worst_verdict(findings, "both belts carry their load")
    return JoinedCheck(link, trunk, total, _joint_load_n(link, trunk, between_deg), verdict, reason)
