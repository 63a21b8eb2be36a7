"""The belts of a build by the loads of a ride: every stage, and how two motors share them.

Two motors on one shaft load the first belt with both. In series on one belt each pulls at a pulley of its own, and the
belt's three spans are judged; joined by a second belt, that belt carries one motor, and the first motor's shaft the
pulls of two belts. Where their belt runs is `drive.second_motor` in the build. Torques are of all motors, plus drives.
"""

from __future__ import annotations

from dataclasses import replace

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.engine.gearing import wheel_radius
from ridesim.errors import BuildError
from ridesim.ride.judge import LOOK_AGAIN, look_again, worst
from ridesim.units import from_si
from ridesim.workshop.belt.design import (
    BeltDrive,
    Judging,
    Load,
    drive_of_pages,
    judge_fit,
    judge_stage,
    motor_shaft,
    overall,
    series_drive,
)
from ridesim.workshop.belt.geometry import PulleySpot
from ridesim.workshop.belt.layout import BeltStage, JoinedCheck, shared_shaft
from ridesim.workshop.belt.series import SeriesLayout
from ridesim.workshop.belt.shaft import Shaft, check_shaft
from ridesim.workshop.check.drive import BELT_BY_PITCH_MM, belt_stage_of
from ridesim.workshop.limits import Verdict, worst_verdict
from ridesim.workshop.loads import RideLoads, StageLoad, stage_loads

SHARED = {
    "one_motor": "",
    "one_shaft": ", both motors on one shaft, whose pulley carries both",
    "one_belt": ", two motors in series on the first belt",
    "second_belt": ", the second motor joined to the first by a belt of its own",
}
OPEN = {
    "one_belt": "The spans between wheel and motors are not judged: say where both motors sit (drive.second_motor, "
    "first_x_mm and the three after it). Stage 1 is judged as if one pulley carried both, which errs high.",
    "second_belt": "The belt between the motors is not judged, nor what it adds on the first one's shaft: say "
    "drive.second_motor.teeth and centre_distance_mm.",
}


def drive_of_build(
    loaded: LoadedBuild,
    loads: RideLoads,
    judging: Judging,
    kind: str | None = None,
    free_radius_mm: float | None = None,
) -> BeltDrive:
    """Judge every belt of a build by the loads of a ride, the motors' shafts, and the room of the wheel's pulley.

    Belts that are fine by a ride that ended early are not known to be fine on the rest of the road. Raises BuildError
    for a build without a belt that can be judged.
    """
    drive = _judged(loaded, loads, judging, kind, free_radius_mm)
    if not loads.cut_short:
        return drive
    word = look_again("arrival", loads.cut_short).verdict
    reason = loads.cut_short if drive.verdict == "fine" else f"{drive.reason}; {loads.cut_short}"
    return replace(drive, verdict=worst((drive.verdict, word)), reason=reason)


def _judged(
    loaded: LoadedBuild, loads: RideLoads, judging: Judging, kind: str | None, free_radius_mm: float | None
) -> BeltDrive:
    build = loaded.build
    loaded_stages = [(each, belt_stage_of(each.stage, kind)) for each in stage_loads(build, loads)]
    belts = [(each, made) for each, made in loaded_stages if made is not None]
    if not belts:
        what = "no stage of kind belt with teeth and a pitch of 3, 5 or 8 mm"
        raise BuildError(f"{loaded.path}, drive.stage", what, "give driver_teeth, driven_teeth and pitch_mm")
    at_motor = belts[0][0].number == 1
    joining = joining_belt(build, kind) if at_motor else None
    ahead = 0 if joining is None else 1
    pages = [
        judge_stage(f"stage {each.number}", made[0], _load(each), judging, place + ahead, made[1])
        for place, (each, made) in enumerate(belts)
    ]
    fit = None
    if belts[-1][0].number == len(build.drive.stage):  # only the last stage's driven pulley is on the wheel
        last = pages[-1].stage
        fit = judge_fit(last.teeth_driven, last.belt, free_radius_mm, from_si(wheel_radius(build), "mm"))
    shafts = (motor_shaft(pages[0], judging.shaft),) if at_motor else ()
    drive = drive_of_pages(f"Belt drive of {build.name}", loads.ridden, pages, judging, fit, shafts)
    regen = build.controller.brake_current_limit_a > 0.0 and build.drive.coupling == "fixed"
    drive = replace(drive, brakes=drive.brakes or regen, layout=drive.layout + SHARED[_shares(build)])
    spots = _spots(build, pages[0].stage) if at_motor else None
    if spots is not None:
        return _in_series(drive, spots, judging)
    if joining is not None:
        return _joined(drive, joining, build, judging)
    left = OPEN.get(_shares(build))
    return replace(drive, remarks=() if left is None else (left,))


def with_build(judging: Judging, loaded: LoadedBuild) -> Judging:
    """Return the judging with what the build states of its motor's shaft, where nothing was asked."""
    asked, motor = judging.shaft, loaded.build.motor
    if asked.diameter_mm is not None or asked.side_load_limit_n is not None:
        return judging
    return replace(judging, shaft=Shaft(motor.shaft_diameter_mm, motor.shaft_side_load_limit_n, asked.overhang_mm))


def _shares(build: Build) -> str:
    return build.drive.motors_share if build.drive.motors > 1 else "one_motor"


def _load(each: StageLoad) -> Load:
    return Load(
        each.peak_torque_nm, each.speed_rpm, each.sustained_torque_nm,
        each.time_s, each.torque_nm, each.speed_along_rpm,
    )  # fmt: skip


def _half(load: Load) -> Load:
    """What one of two alike motors carries of it."""
    along = None if load.torque_along_nm is None else load.torque_along_nm / 2.0
    lasting = None if load.sustained_torque_nm is None else load.sustained_torque_nm / 2.0
    return replace(load, torque_nm=load.torque_nm / 2.0, sustained_torque_nm=lasting, torque_along_nm=along)


def joining_belt(build: Build, kind: str | None = None) -> BeltStage | None:
    """The belt from the second motor to the first, None where the build does not describe one."""
    second = build.drive.second_motor
    name = kind or BELT_BY_PITCH_MM.get(second.pitch_mm)
    if _shares(build) != "second_belt" or None in (second.teeth, second.centre_distance_mm, name):
        return None
    return BeltStage(second.teeth, second.teeth, second.centre_distance_mm, second.width_mm, name)  # type: ignore[arg-type]


def series_at_peak(build: Build, peak_torque_nm: float, motor_speed_rpm: float) -> tuple[Verdict, str] | None:
    """Return verdict and words on a belt round both motors at the peak torque of both, where no ride is at hand.

    None where no belt runs round two motors, or the build does not say where they sit.
    """
    first = belt_stage_of(build.drive.stage[0]) if build.drive.stage else None
    layout = None if first is None else _spots(build, first[0])
    if layout is None:
        return None
    halves = (peak_torque_nm / 2.0, peak_torque_nm / 2.0)
    try:
        spans = series_drive(layout, halves, Load(peak_torque_nm, motor_speed_rpm), Judging(), "").series
    except BuildError as fault:  # motors where no belt runs round them
        return LOOK_AGAIN, f"first belt: not judged: {fault}"
    return None if spans is None else (spans.verdict, f"first belt: {spans.reason}")


def _spots(build: Build, first: BeltStage) -> SeriesLayout | None:
    """Where the first belt runs through both motors, None where the build does not say."""
    second = build.drive.second_motor
    places = (second.first_x_mm, second.first_y_mm, second.second_x_mm, second.second_y_mm)
    if _shares(build) != "one_belt" or None in places:
        return None
    name = "wheel" if len(build.drive.stage) == 1 else "jackshaft"
    return SeriesLayout(
        PulleySpot(name, first.teeth_driven, 0.0, 0.0),
        PulleySpot("first motor", first.teeth_driver, places[0], places[1]),  # type: ignore[arg-type]
        PulleySpot("second motor", first.teeth_driver, places[2], places[3]),  # type: ignore[arg-type]
        first.width_mm, first.belt,
    )  # fmt: skip


def _in_series(drive: BeltDrive, layout: SeriesLayout, judging: Judging) -> BeltDrive:
    """The first belt's spans in place of its stage, which one pulley would carry; the stages behind it as they are."""
    first, *behind = drive.stages
    halves = (first.torque_nm / 2.0, first.torque_nm / 2.0)
    spans = series_drive(layout, halves, first.load, judging, drive.loaded_by)
    after, words = overall(behind, drive.fit)
    findings: list[tuple[Verdict, str]] = [(spans.verdict, f"first belt: {spans.reason}"), (after, words)]
    verdict, reason = worst_verdict(findings, f"first belt: {spans.reason}")
    return replace(
        spans, title=drive.title, layout=drive.layout, stages=tuple(behind), verdict=verdict, reason=reason,
        fit=drive.fit, brakes=drive.brakes,
    )  # fmt: skip


def _joined(drive: BeltDrive, joining: BeltStage, build: Build, judging: Judging) -> BeltDrive:
    """The belt between the motors with one motor's load, before the stages that carry both."""
    first, second = drive.stages[0], build.drive.second_motor
    page = judge_stage("joining belt", joining, _half(first.load), judging, 0)
    between = second.between_deg if judging.between_deg is None else judging.between_deg
    both = shared_shaft(page.check, first.check, between)
    loads = (
        ("first motor's shaft", both.load_n, first),
        ("second motor's shaft", page.check.tensions.shaft_load_n, page),
    )
    shafts = tuple(
        check_shaft(name, load, each.speed_rpm, each.stage.width_mm, judging.shaft) for name, load, each in loads
    )
    pages = (page, *drive.stages)
    verdict, reason = overall(
        list(pages), drive.fit, [(each.verdict, f"{each.name}: {each.reason}") for each in shafts]
    )
    joined = JoinedCheck(page.check, first.check, first.torque_nm, both, verdict, reason)
    return replace(drive, stages=pages, joined=joined, shafts=shafts, verdict=verdict, reason=reason)
