"""One page of verdicts on a build: what a ride asks of every part, held against what the part bears."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.ride.drives import FIRST, SECOND, each_drive
from ridesim.ride.judge import FINE, Finding, hold, judge, look_again, of_drive
from ridesim.ride.limits import LIMITS
from ridesim.ride.result import Ridden
from ridesim.ride.simulate import as_loaded
from ridesim.road.load import load_road
from ridesim.road.profile import Road
from ridesim.workshop.check import drive as check_drive
from ridesim.workshop.check import electric as check_electric
from ridesim.workshop.check.first_turn import Step, first_turn_list
from ridesim.workshop.check.two_motors import with_both_motors
from ridesim.workshop.law.bike import BuildLaw, classify_build
from ridesim.workshop.law.classes import DISCLAIMER
from ridesim.workshop.level_run import NEARLY_EMPTY, LevelRun, run_level, turned_by
from ridesim.workshop.limits import Verdict
from ridesim.workshop.loads import CLIMB_GRADE_PERCENT, CLIMB_MIN, RideLoads, loads_of, ride_of, stage_loads
from ridesim.workshop.pack.design import SAFETY
from ridesim.workshop.wire.harness import Harness, habits_of
from ridesim.workshop.wire.two_drives import harness_of_ride

CAUTIONS: tuple[str, ...] = (
    *SAFETY[1:3],
    "A pack without a management board has nothing that stops at an empty or a full group: one weak group then fails "
    "first, and can burn.",
    "A cold pack must not be charged below 0 °C, by charger or by regen, even if it drives well.",
    "Motors burn fingers long before they burn themselves; belts, chains and spokes take fingers: cover them, and work "
    "with the pack unplugged.",
    "Brakes come first: a faster or heavier bike needs brakes, frame and tyres for it, checked by somebody who knows.",
    DISCLAIMER,
)
"""Common practice, no source."""


@dataclass(frozen=True, eq=False, repr=False)
class CheckSheet(Answer):
    """Every verdict on a build, with what stands behind it."""

    build_name: str
    ridden: str
    findings: tuple[Finding, ...]
    verdict: Verdict
    reason: str
    loads: RideLoads
    law: BuildLaw
    harness: Harness
    build_warnings: tuple[str, ...]
    first_turn: tuple[Step, ...]
    cautions: tuple[str, ...] = CAUTIONS


def check_build(
    build: str | Path | Build | LoadedBuild,
    road: str | Path | Road | None = None,
    grade_percent: float = CLIMB_GRADE_PERCENT,
    minutes: float = CLIMB_MIN,
) -> CheckSheet:
    """Check a build on a road, or on a climb of stated grade and length, names or loaded. Raises RidesimError.

    Sources stand in the modules that judge: `check_drive`, `check_electric`, `harness`, `law`.
    """
    loaded = as_loaded(build)
    return _checked(loaded, load_road(road) if isinstance(road, (str, Path)) else road, grade_percent, minutes)


def _checked(loaded: LoadedBuild, road: Road | None, grade_percent: float, minutes: float) -> CheckSheet:
    build = loaded.build
    ride = ride_of(loaded, road, grade_percent, minutes)
    drives = each_drive(ride)
    loads = loads_of(ride, of_a_drive=bool(drives))
    full, empty = run_level(loaded, 1.0), run_level(loaded, NEARLY_EMPTY)
    harness = harness_of_ride(ride, habits_of(build))
    law = classify_build(loaded, run=full)
    findings = (
        *judge(ride, by_time=road is None).findings,
        *check_drive.check_speeds(build, full, empty),
        *check_electric.check_cell_limits(build),
        check_electric.check_cold(build),
        *(_of_one_drive(loaded, loads, full) if not drives else _of_both(drives, full)),
        *check_electric.check_copper(harness),
        *(
            of_drive(name, each)
            for name, part in zip((FIRST, SECOND), harness.drives, strict=False)
            for each in check_electric.check_copper(part)
        ),
        *check_drive.check_shares(build, loads),
        legal_finding(law),
    )
    findings = tuple(ruled_by_ride(each, findings) for each in findings)
    verdict, reason = overall(findings)
    return CheckSheet(
        build.name, loads.ridden, findings, verdict, reason, loads, law, harness, loaded.warnings,
        first_turn_list(build, harness),
    )  # fmt: skip


THUMBS = {
    "wheel_kv": ("arrival", "pushed", "winding", "magnets", "controller"),
    "wheel_kv_low": ("top_speed", "over_speed", "electrical_frequency"),
}
"""Rules of thumb, and the limits by which the ride decides whether they matter."""


def ruled_by_ride(each: Finding, findings: Sequence[Finding]) -> Finding:
    """Return a rule of thumb with what the ride of this very check says of it; another finding as it is."""
    if each.name not in THUMBS or each.verdict == FINE:
        return each
    names = THUMBS[each.name]
    troubled = [one for one in findings if one.name in names and one.verdict != FINE]
    if not troubled:
        return replace(each, cure="nothing for this ride, which has no trouble with it; check your own road too")
    words = " and ".join(dict.fromkeys(LIMITS[one.name].words for one in troubled))
    return replace(each, cure=f"this ride has its trouble with it ({words}); `ridesim ratios` rides other gearings")


def _of_one_drive(loaded: LoadedBuild, loads: RideLoads, full: LevelRun) -> tuple[Finding, ...]:
    """Return what is asked of one motor, its controller and its way to the wheel."""
    build = loaded.build
    return (
        *check_drive.check_electrical_frequency(build, full),
        *check_electric.check_voltage(build, loads),
        check_drive.check_grip(build),
        *with_both_motors(check_drive.check_belts(stage_loads(build, loads)), loaded, loads),
        *check_drive.check_motor_shaft(build, stage_loads(build, loads)),
        check_drive.check_wheel_kv(build),
    )


def _of_both(drives: tuple[Ridden, ...], full: LevelRun) -> list[Finding]:
    """Return the same of each of two different drives, told which."""
    found = []
    for name, ride in zip((FIRST, SECOND), drives, strict=True):
        run = turned_by(full, ride.build)
        for each in _of_one_drive(ride.loaded, loads_of(ride, of_a_drive=True), run):
            found.append(of_drive(name, each))
    return found


def legal_finding(law: BuildLaw) -> Finding:
    """The classes a build falls in; never worse than `look again`, for local law decides."""
    cycle = [each.jurisdiction for each in law.report.findings if each.rule is not None and each.rule.as_bicycle]
    named = "; ".join(
        f"{each.jurisdiction}: {each.rule.name if each.rule else 'no class fits'}" for each in law.report.findings
    )
    fits = len(cycle) == len(law.report.findings) and law.power_verdict == "fine"
    reason = f"{named}; {law.power_reason}. Local law and licensed advice decide"
    if fits:
        return hold("legal_class", law.rated_power_w, None, reason)
    return look_again("legal_class", reason, law.rated_power_w)


def overall(findings: tuple[Finding, ...]) -> tuple[Verdict, str]:
    """Return the gravest verdict, and in one sentence which checks share it."""
    for word in ("stop", "look again"):
        names = [each.title for each in findings if each.verdict == word]
        if names:
            count = "1 check says" if len(names) == 1 else f"{len(names)} checks say"
            return word, f"{count} {word}: {'; '.join(names)}"
    return "fine", f"all {len(findings)} checks are fine"
