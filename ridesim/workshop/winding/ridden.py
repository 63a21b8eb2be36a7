"""A winding ridden: the build with the motor that it makes, over the road that was asked about.

Kv and resistance are the new winding's. Inductance goes with the turns squared, so with 1 / Kv^2; a no-load current at
a speed goes with Kv, for the drag torque stays. Copper mass, and so the winding's heat capacity, are left as they are.
"""

from __future__ import annotations

from dataclasses import dataclass

from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.bike.second import geared_drive
from ridesim.errors import BuildError
from ridesim.ride.drives import each_drive
from ridesim.ride.judge import Finding, hold, judge
from ridesim.ride.limits import STOP
from ridesim.road.profile import Road
from ridesim.units import shown
from ridesim.workshop.check.drive import check_electrical_frequency, top_speed_finding
from ridesim.workshop.level_run import run_level, turned_by
from ridesim.workshop.limits import Verdict, worst_verdict
from ridesim.workshop.loads import ride_of

JUDGED = ("arrival", "winding", "magnets")
"""What a winding answers for."""


@dataclass(frozen=True)
class RiddenWinding:
    """What one ride with a winding comes to; temperatures and times are None where the bike cannot even start."""

    ridden: str
    arrived: bool
    mean_speed_km_h: float | None
    peak_winding_temp_c: float | None
    winding_limit_c: float
    peak_body_temp_c: float | None
    magnet_limit_c: float
    top_speed_km_h: float | None
    verdict: Verdict
    reason: str
    motor_current_limit_a: float | None = None
    """The controller's, as it was ridden: a winding leaves it alone."""


def with_winding(
    loaded: LoadedBuild, kv_rpm_per_v: float, resistance_mohm: float, drive: int | None = None
) -> LoadedBuild:
    """Return the build with the motor wound anew; `drive`: of two different ones, 1 or 2.

    Raises BuildError when it cannot start, or a key leaves its range.
    """
    prefix, seen = geared_drive(loaded.build, drive or 1)
    motor = seen.motor
    ratio = kv_rpm_per_v / motor.kv_rpm_per_v
    changes: dict[str, object] = {
        f"{prefix}motor.kv_rpm_per_v": kv_rpm_per_v,
        f"{prefix}motor.resistance_mohm": resistance_mohm,
        f"{prefix}motor.inductance_uh": motor.inductance_uh / ratio**2,
    }
    if motor.no_load:
        changes[f"{prefix}motor.no_load"] = [
            {"speed_rpm": point.speed_rpm, "current_a": point.current_a * ratio} for point in motor.no_load
        ]
    return replace_keys(loaded, changes)


def ride_winding(
    loaded: LoadedBuild, kv_rpm_per_v: float, resistance_mohm: float, road: Road | None, drive: int | None = None
) -> RiddenWinding:
    """Ride the build with a winding over a road, or up the climb that stands in for one, and judge heat and speed.

    Another Kv is another top speed, and another electrical frequency: both are judged on the level, on a full pack.
    """
    own = geared_drive(loaded.build, drive or 1)[1].motor
    limits = own.winding_limit_c, own.magnet_limit_c
    try:
        wound = with_winding(loaded, kv_rpm_per_v, resistance_mohm, drive)
    except BuildError as error:
        name = "the climb" if road is None else road.name
        no_motor = hold("winding_keys", 1.0, 0.0, error.what)
        return RiddenWinding(
            name, False, None, None, limits[0], None, limits[1], None, no_motor.verdict, no_motor.reason
        )  # fmt: skip
    ride = ride_of(wound, road)
    told = (each_drive(ride) or (ride,))[(drive or 1) - 1]
    f, heard = told.figures, judge(ride, by_time=road is None).findings
    full = run_level(wound, 1.0)
    turned = full if wound.build.second is None else turned_by(full, told.build)
    findings = [
        *(each for each in heard if each.name in JUDGED),
        top_speed_finding(wound.build, full, "full pack"),
        *check_electrical_frequency(told.build, turned),
    ]
    calm = f"ridden ({ride.road.name}), the winding reaches {f.peak_winding_temp_c:.0f} °C of {limits[0]:.0f} °C"
    verdict, reason = worst_verdict([(each.verdict, _told(each)) for each in findings], calm)
    arrived = all(each.verdict != STOP for each in findings if each.name == "arrival")
    return RiddenWinding(
        ride.road.name, arrived, f.mean_speed_km_h, f.peak_winding_temp_c, limits[0], f.peak_body_temp_c, limits[1],
        full.top_speed_km_h, verdict, reason, told.build.controller.motor_current_limit_a,
    )  # fmt: skip


def _told(each: Finding) -> str:
    """Return a finding's reason, with its figures where the reason has none."""
    said = each.reason.rstrip(".")
    if each.name in JUDGED or each.figure is None or each.limit is None:
        return said
    return f"{each.title} {shown(each.figure, each.unit)} for {shown(each.limit, each.unit)}: {said}"
