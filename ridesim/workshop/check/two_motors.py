"""The belts of two alike motors, checked as `ridesim belt` judges them: spans in series, or a belt that joins both."""

from __future__ import annotations

from ridesim.bike.load import LoadedBuild
from ridesim.errors import BuildError
from ridesim.ride.judge import FINE, Finding, as_judged, look_again
from ridesim.workshop.belt.design import BeltDrive, Judging
from ridesim.workshop.belt.of_build import drive_of_build, with_build
from ridesim.workshop.check.drive import belt_stage_of
from ridesim.workshop.limits import worst_verdict
from ridesim.workshop.loads import RideLoads

SUBJECT = "both motors"
IN_SERIES_CURE = (
    "a wider belt, larger pulleys, or motors that more of the belt runs round: try places by `ridesim belt --motor`"
)


def with_both_motors(findings: list[Finding], loaded: LoadedBuild, loads: RideLoads) -> list[Finding]:
    """Return the findings on the belts with those of two motors that share one, where the build says how they lie.

    In series the belt is judged by its spans, and not as if one pulley carried both.
    """
    drive = loaded.build.drive
    if drive.motors == 1 or drive.motors_share == "one_shaft" or belt_stage_of(drive.stage[0]) is None:
        return findings
    try:
        belts = drive_of_build(loaded, loads, with_build(Judging(), loaded))
    except BuildError as fault:  # motors where no belt runs round them
        return [*findings, look_again("belt_pull", f"not judged: {fault}", subject=SUBJECT)]
    if belts.series is not None:
        kept = [each for each in findings if not (each.name == "belt_pull" and each.subject == "stage 1")]
        return [*kept, _in_series(belts)]
    return findings if belts.joined is None else [*findings, _joining(belts)]


def _in_series(belts: BeltDrive) -> Finding:
    """The belt of both motors, told with the pulley that has least to spare."""
    assert belts.series is not None
    said = [(belts.series.verdict, belts.series.reason)]
    if belts.series_ride is not None:
        said.append((belts.series_ride.verdict, f"along the ride: {belts.series_ride.reason}"))
    verdict, reason = worst_verdict(said, belts.series.reason)
    least = min(belts.series.pulleys, key=lambda each: each.safety_factor)
    cure = None if verdict == FINE else IN_SERIES_CURE
    return as_judged("belt_pull", verdict, least.pull_n, least.allowed_pull_n, reason, subject=SUBJECT, cure=cure)


def _joining(belts: BeltDrive) -> Finding:
    """The belt from the second motor to the first."""
    assert belts.joined is not None
    check = belts.joined.joining
    pull, allowed = check.tensions.effective_pull_n, check.capacity.allowed_pull_n
    return as_judged("belt_pull", check.verdict, pull, allowed, check.reason, subject="the joining belt")
