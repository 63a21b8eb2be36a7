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
from ridesim.workshop.belt.tables import belt_type
from ridesim.workshop.belt.tension import (
    TensionSetting,
    TensionWindow,
    judge_tension,
    tension_setting,
    tension_window,
)
from ridesim.workshop.limits import Verdict, held, require_between, worst_verdict

EFFICIENCY = 0.97
"""One well-designed stage: middle of 96 to 98 % (engineer's handbook, belt drives)."""


@dataclass(frozen=True)
class StageCheck:
    """One belt under one load. `safety_factor` = allowed pull / (pull x service factor)."""

    geometry: DriveGeometry
    tensions: BeltTensions
    capacity: BeltCapacity
    service_factor: float
    safety_factor: float
    allowed_torque_nm: float
    tension_window: TensionWindow
    tension_suits: bool
    setting: TensionSetting
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class SharedShaft:
    """A shaft that two belts pull at. `angle_deg` None: nobody said how the belts lie, and the worst is taken.

    The least is the larger belt's own load: the belts stand side by side, and the bearing beside each feels it alone.
    """

    load_n: float
    least_n: float
    most_n: float
    angle_deg: float | None


@dataclass(frozen=True)
class TwoStageCheck:
    """Two belts one after the other, joined by a jackshaft."""

    first: StageCheck
    second: StageCheck
    ratio: float
    output_torque_nm: float
    output_speed_rpm: float
    jackshaft: SharedShaft
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class JoinedCheck:
    """A second motor whose belt drives the first motor's shaft, and the main belt that carries both."""

    joining: StageCheck
    main: StageCheck
    shaft_torque_nm: float
    first_motor_shaft: SharedShaft
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

    `fine`: the pull times the service factor is within the one allowed pull (safety factor 1 or more), six teeth mesh,
    no pulley is smaller than the profile's least, and the tension at rest lies in its window; `stop`: the bare pull is
    past the allowed one, or the tension empties the slack side or overworks the belt. Source: SDP/SI table 3, sections
    13.3 and 24. Raises BuildError, RideError.
    """
    shape = stage.geometry()
    tensions = belt_tensions(stage, torque_nm, speed_rpm, slack_share=slack_share, pretension_n=pretension_n)
    capacity = belt_capacity(stage.belt, stage.width_mm, shape.teeth_in_mesh, tensions.belt_speed_m_per_s)
    service = service_factor(stage.teeth_driver, stage.teeth_driven, base_service_factor)
    allowed, pull = capacity.allowed_pull_n, tensions.effective_pull_n
    flung = tensions.centrifugal_tension_n
    tension = judge_tension(tensions.pretension_n, pull, allowed, flung)
    verdict, reason = _stage_verdict(stage, shape, judge_pull(pull, allowed, service), tension)
    return StageCheck(
        geometry=shape,
        tensions=tensions,
        capacity=capacity,
        service_factor=service,
        safety_factor=safety_ratio(allowed, pull * service),
        allowed_torque_nm=allowed * to_si(shape.pitch_diameter_driver_mm, "mm") / 2.0 / service,
        tension_window=tension_window(pull, allowed, flung),
        tension_suits=tension[0] == "fine",
        setting=tension_setting(stage.belt, stage.width_mm, shape.span_mm, tensions.pretension_n),
        verdict=verdict,
        reason=reason,
    )


def judge_pull(pull_n: float, allowed_n: float, service: float) -> tuple[Verdict, str]:
    """Judge a pull: `fine` with the service factor on it within what is allowed, `stop` past it without."""
    words = f"pull {pull_n:.0f} N of {allowed_n:.0f} N allowed, service factor {service:.2g}"
    if pull_n <= allowed_n < pull_n * service:
        words += f": with it {pull_n * service:.0f} N, more than the belt bears for years"
    findings = (held("belt_pull", pull_n, allowed_n, words), held("belt_service", pull_n * service, allowed_n, words))
    return worst_verdict(dict.fromkeys(findings), words)


def judge_mesh(teeth_in_mesh: float) -> tuple[Verdict, str]:
    """Judge the teeth in mesh: six carry the full pull."""
    words = f"{teeth_in_mesh:.1f} teeth in mesh (six carry the full pull)"
    return held("belt_mesh", teeth_in_mesh, FULL_MESH_TEETH, words)


def judge_least_teeth(belt: str, teeth: int) -> tuple[Verdict, str]:
    """Judge a pulley's size by the profile's least teeth; a rule of thumb, so never worse than `look again`."""
    least = belt_type(belt).least_teeth
    words = f"{teeth} teeth of {belt}: {least} or more are usual (from memory), fewer bend the cords hard"
    return held("belt_teeth", teeth, least, words)


def _stage_verdict(
    stage: BeltStage, shape: DriveGeometry, strong: tuple[Verdict, str], tension: tuple[Verdict, str]
) -> tuple[Verdict, str]:
    fewest = min(stage.teeth_driver, stage.teeth_driven)
    findings = [strong, judge_mesh(shape.teeth_in_mesh), judge_least_teeth(stage.belt, fewest), tension]
    return worst_verdict(findings, strong[1])


def check_two_stages(
    first: BeltStage,
    second: BeltStage,
    torque_nm: float,
    speed_rpm: float,
    *,
    turn_deg: float | None = None,
    efficiency: float = EFFICIENCY,
    base_service_factor: float = SERVICE_FACTOR,
    pretensions_n: tuple[float | None, float | None] = (None, None),
) -> TwoStageCheck:
    """Judge two stages in a row; `turn_deg` is the bend of the line of centres at the jackshaft, 0 for straight on.

    Source: as `check_stage`; the second stage sees the first one's torque times ratio and efficiency. Raises
    BuildError, RideError.
    """
    require_between("belt", "efficiency", efficiency, 0.5, 1.0)
    service = base_service_factor
    one = check_stage(first, torque_nm, speed_rpm, base_service_factor=service, pretension_n=pretensions_n[0])
    torque, speed = passed_on_nm(torque_nm, one.geometry.ratio, efficiency), speed_rpm / one.geometry.ratio
    two = check_stage(second, torque, speed, base_service_factor=service, pretension_n=pretensions_n[1])
    return two_stages_of(one, two, passed_on_nm(torque, two.geometry.ratio, efficiency), speed, turn_deg)


def two_stages_of(
    one: StageCheck, two: StageCheck, output_torque_nm: float, jackshaft_speed_rpm: float, turn_deg: float | None
) -> TwoStageCheck:
    """Join two judged belts at a jackshaft; straight on they pull against each other, folded back together."""
    findings = [(one.verdict, f"first belt: {one.reason}"), (two.verdict, f"second belt: {two.reason}")]
    verdict, reason = worst_verdict(findings, "both belts carry their load")
    return TwoStageCheck(
        first=one,
        second=two,
        ratio=one.geometry.ratio * two.geometry.ratio,
        output_torque_nm=output_torque_nm,
        output_speed_rpm=jackshaft_speed_rpm / two.geometry.ratio,
        jackshaft=shared_shaft(one, two, None if turn_deg is None else 180.0 - turn_deg, turn_deg),
        verdict=verdict,
        reason=reason,
    )


def passed_on_nm(torque_nm: float, ratio: float, efficiency: float = EFFICIENCY) -> float:
    """Return the torque behind a stage: losses eat a driving torque and add to a braking one."""
    return torque_nm * ratio * (efficiency if torque_nm >= 0.0 else 1.0 / efficiency)


def shared_shaft(
    one: StageCheck, two: StageCheck, between_deg: float | None, asked_deg: float | None = None
) -> SharedShaft:
    """Return what a shaft bears from two belts that pull `between_deg` apart (None: not known, the sum is taken).

    Source: vector sum of the shaft loads along the lines of centres. `asked_deg` is the angle as it was asked.
    """
    first, second = one.tensions.shaft_load_n, two.tensions.shaft_load_n
    load, least, most = pulls_together_n(first, second, between_deg), max(first, second), first + second
    if between_deg is None:
        return SharedShaft(load, least, most, None)
    return SharedShaft(load, least, most, between_deg if asked_deg is None else asked_deg)


def pulls_together_n(first_n: float, second_n: float, between_deg: float | None) -> float:
    """Return what two pulls on one shaft come to, at least the larger one; at no known angle their sum [N]."""
    if between_deg is None:
        return first_n + second_n
    along = 2.0 * first_n * second_n * math.cos(math.radians(between_deg))
    return max(first_n, second_n, math.sqrt(max(0.0, first_n**2 + second_n**2 + along)))


def check_joined_motors(
    joining: BeltStage,
    main: BeltStage,
    first_torque_nm: float,
    second_torque_nm: float,
    speed_rpm: float,
    *,
    between_deg: float | None = None,
    efficiency: float = EFFICIENCY,
    base_service_factor: float = SERVICE_FACTOR,
    pretensions_n: tuple[float | None, float | None] = (None, None),
) -> JoinedCheck:
    """Judge a second motor joined to the first by `joining` (second motor to first), `main` carrying both.

    `speed_rpm` is the first motor's; `between_deg` stands between the directions in which the two belts pull at its
    shaft, `pretensions_n` are the joining and the main belt's. Source: as `check_stage`. Raises BuildError, RideError.
    """
    require_between("belt", "efficiency", efficiency, 0.5, 1.0)
    ratio, service = joining.geometry().ratio, base_service_factor
    total = first_torque_nm + passed_on_nm(second_torque_nm, ratio, efficiency)
    link = check_stage(
        joining, second_torque_nm, speed_rpm * ratio, base_service_factor=service, pretension_n=pretensions_n[0]
    )
    trunk = check_stage(main, total, speed_rpm, base_service_factor=service, pretension_n=pretensions_n[1])
    findings = [(link.verdict, f"joining belt: {link.reason}"), (trunk.verdict, f"main belt: {trunk.reason}")]
    verdict, reason = worst_verdict(findings, "both belts carry their load")
    return JoinedCheck(link, trunk, total, shared_shaft(link, trunk, between_deg), verdict, reason)
