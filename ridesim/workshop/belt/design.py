"""A whole belt drive judged at once: every stage at its peak and along the ride, layout, stock belts, wheel pulley.

Sources stand in the belt modules. Torques in N m at the motor, plus drives.
"""

from __future__ import annotations

from dataclasses import dataclass

from ridesim.answers import Answer
from ridesim.workshop.belt.fit import WheelPulleyFit, wheel_pulley_fit
from ridesim.workshop.belt.geometry import StockBelt, nearest_stock_belts
from ridesim.workshop.belt.layout import (
    JoinedCheck,
    StageCheck,
    TwoStageCheck,
    check_joined_motors,
    check_stage,
    passed_on_nm,
    two_stages_of,
)
from ridesim.workshop.belt.series import (
    SeriesCheck,
    SeriesLayout,
    SeriesRide,
    check_motors_in_series,
    series_along_ride,
)
from ridesim.workshop.belt.shaft import UNKNOWN_SHAFT, Shaft, ShaftCheck, check_shaft
from ridesim.workshop.belt.strength import BeltStage, SkipMargin, skip_margin
from ridesim.workshop.belt.tables import belt_type
from ridesim.workshop.limits import Verdict, require_positive, worst_verdict
from ridesim.workshop.loads import Floats
from ridesim.workshop.pack.design import ROUNDING

RIM_BELOW_TREAD_MM = 60.0
"""From the tread to the rim's edge, where nobody says how much room the wheel pulley has (guess)."""

CAUTIONS: tuple[str, ...] = (
    "Belts take fingers and laces: cover them, and turn the wheel by hand only with the pack unplugged.",
    "Allowed pulls are for glass cord at 25.4 mm, scaled; the maker's table for your belt and speed decides.",
    "A skipped tooth on a climb throws the rider's weight: check the tension cold, warm and after the first rides.",
)
"""Common practice, no source."""


@dataclass(frozen=True, eq=False)
class Load:
    """What a belt's driver carries: the peak, what lasts, and the ride's course where there is one."""

    torque_nm: float
    speed_rpm: float
    sustained_torque_nm: float | None = None
    time_s: Floats | None = None
    torque_along_nm: Floats | None = None
    speed_along_rpm: Floats | None = None


@dataclass(frozen=True)
class Judging:
    """How a belt is judged, and what is known of the bike around it.

    `pretensions_n` by belt, the last one for all that follow; none: what leaves a fifth of the peak pull on the slack
    side. `turn_deg` bends the line of centres at a jackshaft, `between_deg` stands between the pulls of two belts at
    a joined motor's shaft; None: not known, the worst is told.
    """

    pretensions_n: tuple[float, ...] = ()
    service_factor: float = 1.5
    turn_deg: float | None = None
    between_deg: float | None = None
    shaft: Shaft = UNKNOWN_SHAFT

    def pretension_n(self, place: int) -> float | None:
        """Return the tension at rest asked for the belt at `place`, counted from 0; None where none is."""
        return self.pretensions_n[min(place, len(self.pretensions_n) - 1)] if self.pretensions_n else None


@dataclass(frozen=True, eq=False)
class StagePage:
    """One belt at its peak torque, its stock lengths, and its tooth-skip margin along the ride (None: no ride)."""

    name: str
    stage: BeltStage
    centre_guessed: bool
    torque_nm: float
    speed_rpm: float
    check: StageCheck
    sustained: StageCheck | None
    stock: tuple[StockBelt, ...]
    skip: SkipMargin | None
    load: Load
    verdict: Verdict
    reason: str


@dataclass(frozen=True, eq=False, repr=False)
class BeltDrive(Answer):
    """Everything asked about a belt drive; parts that do not apply are None or empty."""

    title: str
    loaded_by: str
    layout: str
    stages: tuple[StagePage, ...]
    verdict: Verdict
    reason: str
    two_stages: TwoStageCheck | None = None
    series_layout: SeriesLayout | None = None
    series: SeriesCheck | None = None
    series_ride: SeriesRide | None = None
    joined: JoinedCheck | None = None
    shafts: tuple[ShaftCheck, ...] = ()
    fit: WheelPulleyFit | None = None
    brakes: bool = False
    remarks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = CAUTIONS


def judge_stage(
    name: str, stage: BeltStage, load: Load, judging: Judging, place: int = 0, centre_guessed: bool = False
) -> StagePage:
    """Judge one belt at its peak, at what lasts, and along the ride. Raises BuildError, RideError."""
    service = judging.service_factor
    check = check_stage(
        stage, load.torque_nm, load.speed_rpm, pretension_n=judging.pretension_n(place), base_service_factor=service
    )
    tension = check.tensions.pretension_n
    lasting = None
    if load.sustained_torque_nm is not None:
        lasting = check_stage(
            stage, load.sustained_torque_nm, load.speed_rpm, pretension_n=tension, base_service_factor=service
        )
    skip = None
    if load.time_s is not None and load.torque_along_nm is not None and load.speed_along_rpm is not None:
        skip = skip_margin(stage, load.time_s, load.torque_along_nm, load.speed_along_rpm, tension)
    pitch = belt_type(stage.belt).pitch_mm
    stock = nearest_stock_belts(stage.teeth_driver, stage.teeth_driven, pitch, stage.centre_mm)
    findings = [(check.verdict, check.reason)]
    if skip is not None:
        findings.append((skip.verdict, f"tooth skip: {skip.reason}"))
    verdict, reason = worst_verdict(findings, check.reason)
    return StagePage(
        name, stage, centre_guessed, load.torque_nm, load.speed_rpm, check, lasting, stock, skip, load, verdict, reason
    )  # fmt: skip


def motor_shaft(page: StagePage, shaft: Shaft) -> ShaftCheck:
    load = page.check.tensions.shaft_load_n
    return check_shaft("motor shaft", load, page.speed_rpm, page.stage.width_mm, shaft)


def drive_of_pages(
    title: str,
    loaded_by: str,
    pages: list[StagePage],
    judging: Judging,
    fit: WheelPulleyFit | None,
    shafts: tuple[ShaftCheck, ...],
) -> BeltDrive:
    """One belt after the other from the motor to the wheel, judged together."""
    pair = None
    if len(pages) == 2:
        one, two = pages
        out = passed_on_nm(two.torque_nm, two.check.geometry.ratio)
        pair = two_stages_of(one.check, two.check, out, two.speed_rpm, judging.turn_deg)
    layout = {1: "one belt stage", 2: "two belt stages"}.get(len(pages), f"{len(pages)} belt stages")
    verdict, reason = overall(pages, fit, [(each.verdict, f"{each.name}: {each.reason}") for each in shafts])
    return BeltDrive(
        title, loaded_by, layout, tuple(pages), verdict, reason, two_stages=pair, shafts=shafts, fit=fit,
        brakes=any(_brakes(page) for page in pages),
    )  # fmt: skip


def _brakes(page: StagePage) -> bool:
    """Whether the ride, or the torque by hand, ever pulls the belt the other way."""
    along = page.load.torque_along_nm
    return page.torque_nm < 0.0 or (along is not None and float(along.min()) < 0.0)


def judge_fit(teeth: int, kind: str, free_radius_mm: float | None, wheel_radius_mm: float) -> WheelPulleyFit:
    """Judge the wheel's pulley against the room to frame or rim (a guess when not given) and to the ground."""
    require_positive("belt", wheel_radius_mm=wheel_radius_mm)
    room = free_radius_mm if free_radius_mm is not None else max(wheel_radius_mm - RIM_BELOW_TREAD_MM, 1.0)
    return wheel_pulley_fit(teeth, kind, free_radius_mm=room, wheel_radius_mm=wheel_radius_mm)


def overall(
    pages: list[StagePage], fit: WheelPulleyFit | None, others: list[tuple[Verdict, str]] | None = None
) -> tuple[Verdict, str]:
    """Return the gravest verdict of stages, layout and wheel pulley, with its reasons."""
    findings = [(page.verdict, f"{page.name}: {page.reason}") for page in pages] + (others or [])
    if fit is not None:
        findings.append((fit.verdict, f"wheel pulley: {fit.reason}"))
    calm = "; ".join(f"{page.name}: {page.reason}" for page in pages) or "; ".join(reason for _, reason in others or [])
    return worst_verdict(findings, calm)


def drive_by_hand(
    stages: tuple[BeltStage, ...],
    load: Load,
    judging: Judging,
    wheel: tuple[float | None, float] | None = None,
) -> BeltDrive:
    """Judge one or two stages by a torque and speed at the motor; `wheel` is (free radius or None, wheel radius) mm."""
    passed = load
    pages: list[StagePage] = []
    for place, stage in enumerate(stages):
        pages.append(judge_stage(f"stage {place + 1}", stage, passed, judging, place))
        ratio = stage.teeth_driven / stage.teeth_driver
        passed = Load(passed_on_nm(passed.torque_nm, ratio), passed.speed_rpm / ratio)
    fit = None if wheel is None else judge_fit(stages[-1].teeth_driven, stages[-1].belt, *wheel)
    return drive_of_pages("Belt drive", "numbers by hand", pages, judging, fit, (motor_shaft(pages[0], judging.shaft),))


def series_drive(
    layout: SeriesLayout, torques_nm: tuple[float, float], load: Load, judging: Judging, loaded_by: str
) -> BeltDrive:
    """Judge two motors on one belt: every span at the peak torques, and along the ride in the same shares.

    Without a pre-tension, the one that leaves the asked slack share everywhere at these torques is taken.
    """
    service, asked = judging.service_factor, judging.pretension_n(0)
    needed = check_motors_in_series(layout, *torques_nm, 0.0, base_service_factor=service).needed_pretension_n
    tension = needed * (1.0 + ROUNDING) if asked is None else asked
    check = check_motors_in_series(layout, *torques_nm, tension, base_service_factor=service, speed_rpm=load.speed_rpm)
    shafts = tuple(
        check_shaft(f"shaft of the {each.name}", each.shaft_load_n, load.speed_rpm, layout.width_mm, judging.shaft)
        for each in check.pulleys[1:]
    )
    findings: list[tuple[Verdict, str]] = [(check.verdict, check.reason)]
    findings += [(each.verdict, f"{each.name}: {each.reason}") for each in shafts]
    ride = None
    total = sum(torques_nm)
    if load.time_s is not None and load.torque_along_nm is not None and total > 0.0:
        first, second = (load.torque_along_nm * (each / total) for each in torques_nm)
        ride = series_along_ride(layout, load.time_s, first, second, tension)
        findings.append((ride.verdict, f"along the ride: {ride.reason}"))
    verdict, reason = worst_verdict(findings, check.reason)
    return BeltDrive(
        "Two motors on one belt", loaded_by, "two motors on one belt in series", (), verdict, reason,
        series_layout=layout, series=check, series_ride=ride, shafts=shafts,
        brakes=total < 0.0 or (load.torque_along_nm is not None and float(load.torque_along_nm.min()) < 0.0),
    )  # fmt: skip


def joined_drive(
    joining: BeltStage,
    main: BeltStage,
    torques_nm: tuple[float, float],
    speed_rpm: float,
    judging: Judging,
    loaded_by: str,
) -> BeltDrive:
    """Judge two motors joined by a second belt, the main belt carrying both. Tensions: joining belt, main belt."""
    check = check_joined_motors(
        joining, main, *torques_nm, speed_rpm, base_service_factor=judging.service_factor,
        between_deg=judging.between_deg, pretensions_n=(judging.pretension_n(0), judging.pretension_n(1)),
    )  # fmt: skip
    ratio = joining.teeth_driven / joining.teeth_driver
    pages = [
        judge_stage("joining belt", joining, Load(torques_nm[1], speed_rpm * ratio), judging, 0),
        judge_stage("main belt", main, Load(check.shaft_torque_nm, speed_rpm), judging, 1),
    ]
    second = check.joining.tensions.shaft_load_n
    shafts = (
        check_shaft("first motor's shaft", check.first_motor_shaft.load_n, speed_rpm, main.width_mm, judging.shaft),
        check_shaft("second motor's shaft", second, speed_rpm * ratio, joining.width_mm, judging.shaft),
    )
    verdict, reason = overall(pages, None, [(each.verdict, f"{each.name}: {each.reason}") for each in shafts])
    return BeltDrive(
        "Two motors joined by a belt", loaded_by, "two motors joined by a second belt", tuple(pages), verdict, reason,
        joined=check, shafts=shafts, brakes=any(_brakes(page) for page in pages),
    )  # fmt: skip
