"""The drive of a build, checked: speeds, wheel Kv, grip and lift, belts.

Sources: simulated runs (`level_run`), moments about the wheel contacts (`physics.resistance`), belts as
`belt_strength`. Where a limit is common practice or a guess, it says so.
"""

from __future__ import annotations

from typing import NamedTuple

from ridesim.bike.rough import (
    FASTER_GEARING,
    SLOWER_GEARING,
    USUAL_WHEEL_KV,
    full_v,
    motor_speed_wanted_km_h,
    standing_force_n,
    unloaded_speed_km_h,
    usual_wheel_kv_rpm_per_v,
    wheel_kv_rpm_per_v,
)
from ridesim.bike.schema import Build, Stage
from ridesim.engine.estimates import estimate
from ridesim.physics.resistance import drive_force_bound
from ridesim.ride.judge import FINE, Finding, as_judged, hold, look_again
from ridesim.units import from_si, to_si
from ridesim.workshop.belt.geometry import pitch_diameter_mm
from ridesim.workshop.belt.layout import StageCheck, check_stage
from ridesim.workshop.belt.shaft import UNKNOWN_SHAFT, Shaft, check_shaft
from ridesim.workshop.belt.strength import BeltStage
from ridesim.workshop.belt.way_out import ways_words
from ridesim.workshop.level_run import LevelRun
from ridesim.workshop.loads import RideLoads, StageLoad, voltage_law_difference_a
from ridesim.workshop.pack.design import ROUNDING

WHEEL_KV_THINKABLE = (6.0, 16.0)
"""Beyond this the gearing is worth a second look (guess)."""

NO_SLIP = 100.0
"""A friction coefficient that never slips, so that only the lifting front wheel bounds the force."""

BELT_BY_PITCH_MM = {3.0: "3M", 5.0: "5M", 8.0: "8M"}
"""Plain round-tooth belts; a build names the pitch alone, and the plain tooth is the weaker one."""

CENTRES_PER_DRIVEN_DIAMETER = 1.5
"""Distance of the shafts over the large pulley's diameter where a build does not say (guess)."""


SHARE_APART = 0.2
"""Half the difference of two motors' currents over their own, above which one does the other's work (guess)."""


class StageVerdict(NamedTuple):
    """One belt stage at its peak torque; `centre_guessed` where the build leaves the distance out."""

    load: StageLoad
    belt: BeltStage
    check: StageCheck
    centre_guessed: bool


def check_speeds(build: Build, full: LevelRun, empty: LevelRun) -> list[Finding]:
    """Top speed at full and nearly empty pack against the cruise speed that the rider wants."""
    nearly = f"pack at {empty.charge_fraction:.0%}"
    return [top_speed_finding(build, full, "full pack"), top_speed_finding(build, empty, nearly)]


def top_speed_finding(build: Build, run: LevelRun, subject: str) -> Finding:
    """One top speed on the level against the cruise speed that the rider wants, and what moves the bound that holds it.

    A motor that its legal speed limit ends does what was asked of it: above that the rider's legs are to do the rest.
    """
    cruise = build.rider.cruise_speed_km_h
    wanted = motor_speed_wanted_km_h(build, cruise)
    told = "the cruise speed wanted" if wanted == cruise else "its legal speed, above which the legs do the rest"
    words = f"on the level, motor alone, held by {run.bounded_by}; the limit is {told}"
    cure = f"{TOP_SPEED_CURES.get(run.bound.name, run.bound.cure)}; or a humbler wish"
    return hold("top_speed", run.top_speed_km_h, wanted, words, subject=subject, cure=cure)


TOP_SPEED_CURES = {
    "motor_current": "raise controller.motor_current_limit_a if the winding bears it, or less drag",
    "assist_speed": "controller.assist_speed_limit_km_h ends the motor there: raise it where the law lets you",
    "motor_power": "controller.motor_power_limit_w ends it: raise it where the law lets you, or less drag",
}
"""What lets a bike go faster on the level, where the bound's own words are those for a climb."""


def check_electrical_frequency(build: Build, full: LevelRun) -> list[Finding]:
    """Pole pairs times turns a second, at top speed on the level and unloaded, against the controller's ceiling."""
    box, pairs = build.controller, build.motor.pole_pairs
    free = pairs * from_si(build.motor.kv_rpm_per_v * full_v(build) * box.modulation_limit, "min")
    limit = box.electrical_frequency_limit_hz
    lifted = f"unloaded on the full pack, {pairs} pole pairs"
    if free > limit:
        cut = unloaded_speed_km_h(build) * limit / free
        lifted += f": it cuts out at {cut:.0f} km/h, downhill or with the wheel lifted"
    return [
        hold("electrical_frequency", full.electrical_frequency_hz, limit,
             f"at top speed on the level, full pack, {pairs} pole pairs"),
        hold("free_frequency", free, limit, lifted),
    ]  # fmt: skip


def check_shares(build: Build, loads: RideLoads) -> list[Finding]:
    """How two motors of a different Kv share the work, in closed form by throttle law; one motor shares nothing.

    The torque laws give both the same current. A voltage law leaves them `omega K d/R` apart; two governors leave their
    shares open.
    """
    apart = to_si(build.drive.kv_difference_percent, "percent")
    if build.drive.motors == 1 or apart == 0.0:
        return []
    law = build.controller.throttle_law
    if law == "governor":
        words = "two governors hold one shaft's speed: which of the motors works is left to chance"
        return [look_again("motor_shares", words)]
    if law != "voltage":
        words = f"the law {law} gives both motors the same current"
        return [hold("motor_shares", 0.0, SHARE_APART, words)]
    difference = voltage_law_difference_a(build, loads.top_motor_speed_rpm)
    share = 0.5 * difference / max(loads.sustained_motor_current_a, 1e-9)
    words = (
        f"under the voltage law their currents lie up to {difference:.0f} A (DC-equivalent) apart at "
        f"{loads.top_motor_speed_rpm:.0f} rpm; each carries {loads.sustained_motor_current_a:.0f} A a minute long"
    )
    return [hold("motor_shares", share, SHARE_APART, words)]


def check_wheel_kv(build: Build) -> Finding:
    """The unloaded rpm per volt, as on a usual wheel and pack, against the trade's window (common practice, no source).

    A rule of thumb: it asks for a second look, and leaves the judgement to the ride.
    """
    like, (low, high), (least, most) = usual_wheel_kv_rpm_per_v(build), USUAL_WHEEL_KV, WHEEL_KV_THINKABLE
    usual = f"{wheel_kv_rpm_per_v(build):.1f} rpm/V at this wheel, told as on a 26 to 28 inch wheel and 44 to 48 V"
    words = f"{usual}, where {low:g} to {high:g} is usual (common practice, no source)"
    if like < least:
        return hold("wheel_kv_low", like, least, f"{words}; if it tops out early, {FASTER_GEARING} or more Kv")
    slow = f"; if slow climbs heat it, {SLOWER_GEARING} or less Kv" if like > most else ""
    return hold("wheel_kv", like, most, f"{words}{slow}")


def check_grip(build: Build) -> Finding:
    """Motor force from rest at its current limit against the tyre's grip and the lifting front wheel, on the level.

    Source: moments about the wheel contacts, `physics.resistance.drive_force_bound`.
    """
    force = standing_force_n(build, estimate(build).hysteresis_torque_nm)  # as the step has it, and `ridesim launch`
    rear = build.drive.driven_wheel == "rear"
    bound = drive_force_bound(build.bicycle.grip, *_stance(build), rear)
    lifts_first = rear and bound >= drive_force_bound(NO_SLIP, *_stance(build), True) * (1.0 - ROUNDING)
    first = "the front wheel lifts" if lifts_first else "the tyre slips"
    words = (
        f"full throttle from rest on the level; past the limit {first} (friction coefficient {build.bicycle.grip:g})"
    )
    return hold("standing_force", force, bound, words)


def _stance(build: Build) -> tuple[float, float, float, float, float]:
    """Mass, cos of a level road, wheelbase, height and distance ahead of the centre of mass."""
    bicycle = build.bicycle
    lengths = (bicycle.wheelbase_mm, bicycle.mass_centre_height_mm, bicycle.mass_centre_ahead_mm)
    base, height, ahead = (to_si(each, "mm") for each in lengths)
    return build.mass_kg, 1.0, base, height, ahead


def belt_stage_of(stage: Stage, belt: str | None = None) -> tuple[BeltStage, bool] | None:
    """Return a build's stage as a belt, and whether its shaft distance is a guess; None when it is no known belt."""
    name = belt or BELT_BY_PITCH_MM.get(stage.pitch_mm)
    if stage.kind != "belt" or stage.driver_teeth is None or stage.driven_teeth is None or name is None:
        return None
    largest = pitch_diameter_mm(max(stage.driver_teeth, stage.driven_teeth), stage.pitch_mm)
    centre = stage.centre_distance_mm or CENTRES_PER_DRIVEN_DIAMETER * largest
    belt_stage = BeltStage(stage.driver_teeth, stage.driven_teeth, centre, stage.width_mm, name)
    return belt_stage, stage.centre_distance_mm is None


def judge_belts(loads: tuple[StageLoad, ...], belt: str | None = None) -> tuple[StageVerdict, ...]:
    """Judge every belt stage of a build at its peak torque. Raises RidesimError. Source: `belt_layout`."""
    found = []
    for load in loads:
        made = belt_stage_of(load.stage, belt)
        if made is not None:
            check = check_stage(made[0], load.peak_torque_nm, load.speed_rpm)
            found.append(StageVerdict(load, made[0], check, made[1]))
    return tuple(found)


def check_motor_shaft(build: Build, loads: tuple[StageLoad, ...]) -> list[Finding]:
    """The belt's side load on the motor's shaft, where the build says anything of that shaft. Source: `belt.shaft`."""
    motor, judged = build.motor, judge_belts(loads[:1])
    shaft = Shaft(motor.shaft_diameter_mm, motor.shaft_side_load_limit_n)
    if shaft == UNKNOWN_SHAFT or not judged:
        return []
    load, each = judged[0].check.tensions.shaft_load_n, judged[0]
    found = check_shaft("motor shaft", load, each.load.speed_rpm, each.belt.width_mm, shaft)
    name = "shaft_load" if found.limit_from == "stated" else "shaft_estimate"
    return [hold(name, found.side_load_n, found.limit_n, found.reason)]


def check_belts(loads: tuple[StageLoad, ...]) -> list[Finding]:
    """Every belt stage's pull at its peak torque against what the belt may carry."""
    judged = {each.load.number: each for each in judge_belts(loads)}
    found = []
    for load in loads:
        if load.stage.kind != "belt":
            continue
        stage, each = f"stage {load.number}", judged.get(load.number)
        if each is None:
            words = f"no table for a pitch of {load.stage.pitch_mm:g} mm, or no teeth given: ask the maker"
            found.append(look_again("belt_pull", words, subject=stage))
            continue
        check = each.check
        guessed = f"; shafts {each.belt.centre_mm:.0f} mm apart (guess)" if each.centre_guessed else ""
        teeth = f"{each.belt.teeth_driver} to {each.belt.teeth_driven} teeth, {each.belt.width_mm:g} mm wide"
        allowed = check.capacity.allowed_pull_n
        pull = check.tensions.effective_pull_n
        reason = f"{each.belt.belt} {teeth}{guessed}: {check.reason}"
        cure = None if check.verdict == FINE else ways_words(each.belt, load.peak_torque_nm, load.speed_rpm)
        found.append(as_judged("belt_pull", check.verdict, pull, allowed, reason, subject=stage, cure=cure))
    return found
