"""`ridesim mount`: does what holds the drive hold, at the ride's peak and for good?

Every part is judged by its safety: what it bears at the least over what the ride asks. Parts that a build does not
state are named, never judged by a guess of ours. Sources: as `strength`, `screws`, `materials`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.errors import BuildError
from ridesim.ride.judge import FINE, Finding, Word, hold, look_again, worst
from ridesim.workshop.loads import RideLoads
from ridesim.workshop.mount.loads import MountLoads, mount_loads
from ridesim.workshop.mount.parts import Part, bracket, first_joint, motor_shaft, tube_clamp, wheel_arms, wheel_bolts
from ridesim.workshop.mount.proposal import SHAFT_FOR_JOINT_MM, proposed, shaft_that_holds

CAUTIONS: tuple[str, ...] = (
    "A pulley, bracket or spoke that turns loose or breaks beside a wheel can lock it and throw the rider: let "
    "somebody qualified look at it before it is ridden, and again after the first rides.",
    "Printed parts creep, age in the sun and soften when warm: never where a break can lock a wheel or drop a brake.",
    "Secure screws against turning loose (thread locking, wired heads), and mark them so that a turn is seen.",
    "A hub motor's axle takes its whole torque on two flats: a torque arm of steel holds it, the drop-out does not.",
)
"""Common practice, no source."""

EDDY_GAP_MM = 10.0
"""Metal nearer than this to a turning can is told (guess)."""


@dataclass(frozen=True, eq=False, repr=False)
class MountSheet(Answer):
    """Every part that holds the drive; `unstated`: what the build does not say, and the section that says it."""

    title: str
    ridden: str
    loads: MountLoads
    parts: tuple[Part, ...]
    unstated: tuple[str, ...]
    findings: tuple[Finding, ...]
    verdict: Word
    reasons: tuple[str, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...] = CAUTIONS


def check_mount(loaded: LoadedBuild, loads: RideLoads) -> MountSheet:
    """Judge what holds a build's drive by the loads of a ride. Raises BuildError."""
    try:
        return _checked(loaded, loads)
    except BuildError as fault:
        if not loaded.keys_begin or not fault.where.startswith("mount."):
            raise
        raise BuildError(_own_keys(loaded, fault.where), fault.what, fault.to_do) from None


def _checked(loaded: LoadedBuild, loads: RideLoads) -> MountSheet:
    asked = mount_loads(loaded, loads)
    makers: tuple[Callable[[LoadedBuild, MountLoads], Part | str], ...] = (
        motor_shaft, first_joint, wheel_bolts, wheel_arms, bracket, tube_clamp,
    )  # fmt: skip
    # One shaft for all that is proposed: the joint's is the one that is proposed for the motor.
    shaft_mm = shaft_that_holds(loaded, asked, motor_shaft, _is_fine) or SHAFT_FOR_JOINT_MM
    made = [(maker, maker(loaded, asked)) for maker in makers]
    parts = tuple(each for _, each in made if isinstance(each, Part))
    findings = tuple(finding for part in parts for finding in _held(part)) or _nothing_stated(loaded, asked)
    if loads.cut_short:
        findings += (look_again("arrival", loads.cut_short),)
    word = worst(finding.verdict for finding in findings)
    reasons = tuple(dict.fromkeys(each.reason for each in findings if each.verdict == word and word != FINE))
    return MountSheet(
        title=f"What holds the drive of {loaded.build.name}",
        ridden=loads.ridden,
        loads=asked,
        parts=parts,
        unstated=tuple(
            f"{_own_keys(loaded, each)}; {proposed(loaded, asked, maker, _is_fine, shaft_mm)}"
            for maker, each in made
            if isinstance(each, str) and each
        ),
        findings=findings,
        verdict=word,
        reasons=reasons or (_all_well(parts),),
        notes=tuple(_notes(loaded)),
    )


def _own_keys(loaded: LoadedBuild, words: str) -> str:
    """Return words with their keys named as the drive has them that is asked of."""
    return re.sub(r"\b(?=(?:motor|mount)\.[a-z])", loaded.keys_begin, words) if loaded.keys_begin else words


def _held(part: Part) -> list[Finding]:
    """Hold a part's safeties against the limits of the one list."""
    peak = "mount_estimate" if part.estimated else "mount_peak"
    found = [hold(peak, part.safety_peak, 1.0, f"{part.name}: {part.peak_words}", subject=part.name, cure=part.cure)]
    if part.safety_lasting is not None:
        words = f"{part.name}: {part.lasting_words}"
        found.append(hold("mount_lasting", part.safety_lasting, 1.0, words, subject=part.name, cure=part.cure))
    if part.warm_c is not None and part.soft_c is not None:
        words = f"{part.name}: it gets {part.warm_c:.0f} °C warm and softens from {part.soft_c:.0f} °C"
        found.append(hold("mount_warm", part.warm_c, part.soft_c, words, subject=part.name))
    if part.friction_only:
        words = f"{part.name}: {part.peak_words}; screws that hold by friction alone want four times and more"
        found.append(hold("mount_grub", part.safety_peak, 4.0, words, subject=part.name, cure=part.cure))
    return found


def _is_fine(part: Part) -> bool:
    return worst(each.verdict for each in _held(part)) == FINE


def _nothing_stated(loaded: LoadedBuild, asked: MountLoads) -> tuple[Finding, ...]:
    """A bike of which nothing is known is not fine by silence."""
    if asked.pull is None:
        words = (
            f"a hub motor: its axle takes {asked.wheel_torque_nm:.0f} N·m on its flats, driving and braking; a "
            f"steel torque arm holds it, the drop-out does not"
        )
        return (replace(look_again("mount_peak", words, subject="axle"), cure=""),)
    begin = loaded.keys_begin
    words = f"nothing is stated of what holds the drive: fill in [{begin}mount] and {begin}motor.shaft_diameter_mm"
    return (replace(look_again("mount_peak", words, subject="the drive"), cure=""),)


def _all_well(parts: tuple[Part, ...]) -> str:
    least = min(parts, key=lambda part: part.safety_peak)
    return f"all that is stated holds; nearest: {least.name}, {least.peak_words}"


def _notes(loaded: LoadedBuild) -> list[str]:
    build, gap = loaded.build, loaded.build.mount.bracket.metal_gap_mm
    found = []
    if gap is not None and gap < EDDY_GAP_MM:
        found.append(
            f"Metal {gap:g} mm from the turning can: its field drags there by eddy currents. Measure the no-load "
            f"current with and without it (`ridesim bench`), and put the difference into "
            f"{loaded.keys_begin}motor.extra_eddy_fraction "
            f"(now {build.motor.extra_eddy_fraction:g})."
        )
    return found
