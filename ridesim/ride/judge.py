"""The one judge: figures held against the list of limits, with the reason, and the verdict of a ride."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from ridesim.ride.bounds import BY_NAME
from ridesim.ride.brakes import BrakeHeat, brakes_heat, may_pass
from ridesim.ride.drives import named_drives
from ridesim.ride.gears_held import gear_findings
from ridesim.ride.holding import Finding, as_judged, hold, is_passed, look_again
from ridesim.ride.limits import FINE, LIMITS, LOOK_AGAIN, NEAR_LIMIT_K, ORDER, STOP, Word
from ridesim.ride.stuck import pushed_place, pushed_words
from ridesim.ride.stuck import why_stuck as find_why_stuck
from ridesim.units import shown, to_si

if TYPE_CHECKING:
    from ridesim.bike.schema import Build
    from ridesim.ride.figures import Figures
    from ridesim.ride.result import Ridden

__all__ = ["FINE", "LOOK_AGAIN", "NEAR_LIMIT_K", "STOP", "Finding", "Verdict", "Word", "as_judged", "hold", "is_passed",
           "judge", "look_again", "worst"]  # fmt: skip

FELT_SHARE = 0.15
"""Share of the time on one bound that a rider will feel (guess)."""
START_S = 20.0
"""A start from rest is on the current limits about so long: no stay on a bound, however short the road (guess)."""
RESERVE = 0.1
"""Charge above the rider's floor that counts as a reserve (guess)."""
TOLD_SHARE = 0.005
"""Charge below which nothing is said of it: it would read as 0 %."""
CHARGE_HARD = 1.5
"""Charging above the rating by this factor is no pulse that a cell shrugs off (guess)."""

ARRIVAL_CURES = {
    "stalled": "less load, slower gearing or more motor",
    "over_temperature": "less speed or load, a lower motor current limit, slower gearing or a larger motor",
    "low_voltage": "a larger pack, or less speed or load",
    "pack_empty": "a larger pack, or less speed or load",
    "time_limit": "more time, or more speed",
}
"""What helps a ride that did not arrive, by how it ended; else what the list says."""


@dataclass(frozen=True)
class Verdict:
    """A word, its reasons (the gravest first), and every finding behind it."""

    word: Word
    reasons: tuple[str, ...]
    findings: tuple[Finding, ...] = ()


def worst(words: Iterable[Word]) -> Word:
    """Return the gravest of some verdicts; fine without any."""
    return max(words, key=ORDER.index, default=FINE)


def judge(ride: Ridden, system: str = "metric", *, by_time: bool = False) -> Verdict:
    """Return the verdict of a ride on every limit that a ride can see, in the units a person asked for.

    `by_time`: the ride was asked for its minutes, so that the time limit is its end.
    """
    stuck = find_why_stuck(ride)
    why = "" if stuck is None else stuck.words(system)
    findings = (
        *ride_findings(ride.figures, ride.build, system, by_time=by_time, why_stuck=why, where=pushed_place(ride)),
        *brakes_found(ride, system),
    )
    if stuck is not None and stuck.held_by == "assist":  # neither gearing nor motor: the law gives no more
        findings = tuple(replace(f, cure=stuck.what_helps) if f.name == "arrival" else f for f in findings)
    drives = named_drives(ride)
    if drives:
        findings = (*(f for f in findings if f.name not in OF_A_DRIVE), *drive_findings(drives, system))
    graver = sorted((each for each in findings if each.verdict != FINE), key=lambda f: -ORDER.index(f.verdict))
    if not graver:
        return Verdict(FINE, (_all_well(ride.figures, system, drives),), findings)
    return Verdict(graver[0].verdict, tuple(dict.fromkeys(each.reason for each in graver)), findings)


OF_A_DRIVE = (
    "winding", "magnets", "controller", "supply_voltage", "over_speed", "field_lost", "shifting", "gear_torque",
    "chain_force", "chain_guess", "time_on_a_bound",
)  # fmt: skip
"""Limits that each of two different drives has for itself."""


def drive_findings(drives: tuple[tuple[str, Ridden], ...], system: str = "metric") -> list[Finding]:
    """Return the limits of each of two different drives, told which; drives as `named_drives` has them."""
    found = []
    for name, ride in drives:
        for each in ride_findings(ride.figures, ride.build, system):
            if each.name in OF_A_DRIVE:
                reason = f"{name.capitalize()}: {each.reason}" if each.reason else ""
                found.append(replace(of_drive(name, each), reason=reason))
    return found


def of_drive(name: str, each: Finding) -> Finding:
    """Return a finding told of one of two different drives."""
    return replace(each, subject=f"{name}, {each.subject}" if each.subject else name)


def brakes_found(ride: Ridden, system: str) -> list[Finding]:
    """Return the brakes held against their limits; a ride without a trace does not know them.

    Of brakes that the build does not state only a disc that passes its limit is told: nearness of a guess is none.
    """
    if len(ride.raw.trace) < 2 or not (ride.build.brakes.stated or may_pass(ride)):
        return []
    told = (each for each in brakes_heat(ride).brakes if not each.guessed or each.hottest_c > each.limit_c)
    return [brake_finding(each, system) for each in told]


def brake_finding(brake: BrakeHeat, system: str = "metric") -> Finding:
    """Hold a brake's hottest against what it may reach; a guessed brake never stops a bike."""
    said = (
        f"The {brake.wheel} {brake.kind} reaches {shown(brake.hottest_c, 'c', system, 0)} at "
        f"{shown(brake.hottest_at_km, 'km', system)}; {shown(brake.limit_c, 'c', system, 0)} is where it is not to be "
        f"trusted any more"
    )
    name = "brake_guess" if brake.guessed else "brake_heat"
    guess = " (its size is a guess)" if brake.guessed else ""
    return hold(name, brake.hottest_c, brake.limit_c, f"{said}{guess}.", subject=brake.wheel)


def ride_findings(
    f: Figures, build: Build, system: str, *, by_time: bool = False, why_stuck: str = "", where: str = ""
) -> list[Finding]:
    """Return every limit that a ride can see, held against its figures."""
    return [
        _arrival(f, system, by_time, why_stuck),
        *_pushed(f, system, where),
        *_heat(f, build, system),
        *_cells(f, build),
        *_voltages(f, build),
        _reserve(f, build),
        *gear_findings(f, build, system),
        *_speeds(f, build, system),
        *_time_on_bounds(f, system),
    ]


def _arrival(f: Figures, system: str, by_time: bool, why_stuck: str) -> Finding:
    if f.finished or (by_time and f.stop == "time_limit"):
        kept = hold("arrival", f.distance_km, None if by_time else f.road_km, "it arrives")
        return kept if kept.verdict == FINE else _behind_the_clock(f, kept, system)
    place = f"after {shown(f.distance_km, 'km', system)} of {shown(f.road_km, 'km', system)}"
    reason = f"It did not arrive: {f.stop_reason}, {place}. {why_stuck}".rstrip()
    # An ended ride is no arrival, however short the road that was left.
    return hold("arrival", min(f.distance_km, math.nextafter(f.road_km, 0.0) - LIMITS["arrival"].tolerance * 2.0),
                f.road_km, reason, cure=ARRIVAL_CURES.get(f.stop))  # fmt: skip


def _behind_the_clock(f: Figures, short: Finding, system: str) -> Finding:
    """A ride by the clock of a cycle that covers less than the cycle asks: the bike does not keep its speeds."""
    met = max(f.limits, key=lambda met: met.seconds, default=None)
    held = "" if met is None else f"; what held it longest: {BY_NAME[met.name].words}"
    reason = (
        f"It does not keep up with the clock: {shown(f.distance_km, 'km', system, 2)} of "
        f"{shown(f.road_km, 'km', system, 2)} when its time is up{held}."
    )
    return replace(short, reason=reason, cure="more power or faster gearing, or a clock that asks for less")


def _pushed(f: Figures, system: str, place: str) -> list[Finding]:
    if f.pushed_first_at_km is None:
        return []
    said = f"{pushed_words(f, system)}, where motor and rider cannot move it; that takes {f.pushed_s:.0f} s on foot."
    return [hold("pushed", f.pushed_m, 0.0, said + place)]


def _heat(f: Figures, build: Build, system: str) -> list[Finding]:
    degrees = lambda value: shown(value, "c", system, 0)  # noqa: E731
    motor = build.motor
    rows = (
        ("winding", "winding reaches", f.peak_winding_temp_c, f.peak_winding_temp_at_km, f.winding_limit_c,
         f"class {motor.insulation_class} allows", f"It is too hot for {f.winding_over_limit_s:.0f} s."),
        ("magnets", "magnets reach", f.peak_body_temp_c, f.peak_body_temp_at_km, f.magnet_limit_c,
         f"grade {motor.magnet_grade} allows", "They may weaken for good."),
        ("controller", "controller reaches", f.peak_controller_temp_c, f.peak_controller_temp_at_km,
         build.controller.controller_no_current_above_c, "it gives no current above", "Its switches may burn."),
        ("cells_heat", "cells reach", f.peak_pack_temp_c, f.peak_pack_temp_at_km, build.pack.temperature_limit_c,
         "allowed are", "They age fast, and can vent."),
    )  # fmt: skip
    found = []
    for name, words, peak, place, limit, allowed, harm in rows:
        said = f"The {words} {degrees(peak)} at {shown(place, 'km', system)}; {allowed} {degrees(limit)}"
        judged = hold(name, peak, limit)
        tail = {STOP: f". {harm}", LOOK_AGAIN: ": little is left."}.get(judged.verdict, ".")
        found.append(hold(name, peak, limit, said + tail))
    return found


def _cells(f: Figures, build: Build) -> list[Finding]:
    cell = build.pack.cell
    gives = f"Each cell gives up to {f.peak_cell_current_a:.1f} A; its rating is {cell.max_discharge_a:g} A."
    lasts = (
        f"Each cell gives {f.sustained_cell_current_a:.1f} A for a minute and more; its rating is "
        f"{cell.max_discharge_a:g} A."
    )
    takes = (
        f"Regen charges each cell with up to {f.peak_cell_charge_current_a:.1f} A; its rating is "
        f"{cell.max_charge_a:g} A."
    )
    return [
        hold("cell_lasting", f.sustained_cell_current_a, cell.max_discharge_a, lasts),
        hold("cell_peak", f.peak_cell_current_a, cell.max_discharge_a, gives),
        hold("charge_hard", f.peak_cell_charge_current_a, CHARGE_HARD * cell.max_charge_a, takes),
        hold("charge_peak", f.peak_cell_charge_current_a, cell.max_charge_a, takes),
    ]


def _voltages(f: Figures, build: Build) -> list[Finding]:
    cell, box = build.pack.cell, build.controller
    harm = "charged above full, lithium cells plate metal, swell, vent and can burn"
    full = max(cell.max_voltage_v, cell.open_circuit_v[-1])
    charged = f"The pack is charged to {f.highest_charge_fraction:.1%} of full"
    reach = f"The cells reach {f.highest_cell_voltage_v:.2f} V each, {full:.2f} V is full"
    findings = [
        hold("overcharge", f.highest_charge_fraction, 1.0, f"{charged}: {harm}.", calm=f"{charged}."),
        hold("cell_voltage_high", f.highest_cell_voltage_v, full, f"{reach}: {harm}.", calm=f"{reach}."),
    ]
    if box.voltage_limit_v is not None:
        findings.append(hold(
            "supply_voltage", f.highest_pack_voltage_v, box.voltage_limit_v,
            f"The pack's voltage reaches {f.highest_pack_voltage_v:.1f} V at the controller; it stands "
            f"{box.voltage_limit_v:g} V.",
        ))  # fmt: skip
    return findings


def charge_wanted(f: Figures, build: Build) -> float:
    """Return the charge to arrive with: a reserve above the rider's floor, or above what cold cells do not give."""
    return max(build.pack.charge_floor_fraction, f.charge_out_of_reach_fraction) + RESERVE


def _reserve(f: Figures, build: Build) -> Finding:
    wanted, cold = charge_wanted(f, build) if f.finished else None, f.charge_out_of_reach_fraction
    said = f"{'It arrives' if f.finished else 'It ends'} with {f.charge_left_fraction:.0%} of charge"
    if cold > max(build.pack.charge_floor_fraction, TOLD_SHARE):
        said += f", of which cells as cold as these keep {min(cold, f.charge_left_fraction):.0%}"
    return hold("reserve", f.charge_left_fraction, wanted, f"{said}: no reserve for wind or cold.", calm=f"{said}.")


def _speeds(f: Figures, build: Build, system: str) -> list[Finding]:
    found = []
    if build.controller.field_weakening_current_a > 0.0 and f.over_speed_s <= 0.0:
        return _weakened(f, build, system)
    if f.over_speed_from_km_h is not None:
        from_there = shown(f.over_speed_from_km_h, "km_h", system, 0)
        top = shown(f.top_speed_km_h, "km_h", system, 0)
        said = f"At {top} the back-EMF is close to the pack's voltage, which it passes at {from_there}"
        figure = f.top_speed_km_h
        if f.over_speed_s > 0.0:
            said = f"For {f.over_speed_s:.0f} s the back-EMF passed the pack voltage (from {from_there})"
            figure = max(figure, f.over_speed_from_km_h * (1.0 + 2.0 * LIMITS["over_speed"].tolerance_share))
        said += ": the diodes charge and brake with no control. Keep below that speed."
        calm = f"At {top} the back-EMF stays below the pack's voltage, which it passes at {from_there}."
        found.append(hold("over_speed", figure, f.over_speed_from_km_h, said, calm=calm))
    return found


def _weakened(f: Figures, build: Build, system: str) -> list[Finding]:
    """A bike that its field weakening holds above the pack's voltage: what the back-EMF does when that is lost."""
    if f.over_speed_from_km_h is None or f.top_speed_km_h <= f.over_speed_from_km_h:
        return []
    wheel = to_si(f.top_speed_km_h, "km_h") / to_si(build.tyre.circumference_mm, "mm")
    volts = to_si(wheel * build.drive.fastest_turns, "rev_per_s") / to_si(build.motor.kv_rpm_per_v, "rpm_per_v")
    stands = build.controller.voltage_limit_v
    said = (
        f"Above {shown(f.over_speed_from_km_h, 'km_h', system, 0)} only field weakening (up to "
        f"{f.peak_field_current_a:.0f} A) holds the back-EMF below the pack: if the controller lets go at "
        f"{shown(f.top_speed_km_h, 'km_h', system, 0)}, up to {volts:.0f} V drive current into the pack and brake with "
        f"no control"
    )
    if stands is not None:
        said += f"; it stands {stands:g} V"
    held = hold("field_lost", volts, stands, f"{said}.")
    return [held if held.verdict == STOP else look_again("field_lost", f"{said}.", volts)]


def _time_on_bounds(f: Figures, system: str) -> list[Finding]:
    found = []
    for met in f.limits:
        bound = BY_NAME[met.name]
        if not bound.is_felt:
            continue
        share = met.seconds / max(f.total_time_s, 1.0)
        said = f"{share:.0%} of the ride is spent on {bound.words}, from {shown(met.first_at_km, 'km', system)} on."
        felt = FELT_SHARE if met.seconds > START_S else None
        found.append(hold("time_on_a_bound", share, felt, said, subject=bound.short, cure=bound.cure))
    return found


def _all_well(f: Figures, system: str, drives: tuple[tuple[str, Ridden], ...]) -> str:
    whose = [(f"{name}'s ", ride.figures) for name, ride in drives] or [("", f)]
    words = [
        f"the {name}winding never above {shown(each.peak_winding_temp_c, 'c', system, 0)} of "
        f"{shown(each.winding_limit_c, 'c', system, 0)} allowed"
        for name, each in whose
    ]
    return f"It arrives with {f.charge_left_fraction:.0%} of charge, {', '.join(words)}."
