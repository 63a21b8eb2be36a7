"""The parts that hold a drive, one function each: what the ride asks of it, what it bears, its safety.

A function returns a `Part`, or words that say what the build does not state ("" where the bike has no such part).
Sources: as `strength`, `screws`, `materials`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridesim.bike.load import LoadedBuild
from ridesim.bike.mount import Joint
from ridesim.units import convert, to_si
from ridesim.workshop.belt.shaft import Shaft, overhang_mm
from ridesim.workshop.mount import screws, strength
from ridesim.workshop.mount.loads import MountLoads
from ridesim.workshop.mount.materials import Material, bears_for_good_mpa, bears_once_mpa, material

FLAT_FACTOR = 2.0
"""A screw on a flat holds by its shape too (guess)."""
GRUB_FRICTION = 0.15
"""A hardened point on a shaft (from memory)."""

JOINT_LASTING, BOLT_LASTING = 2.0, 1.5
"""What a shaft's joint and a bolted face hold in the peak over what they hold for months (guesses)."""


@dataclass(frozen=True)
class Part:
    """One part: safeties are what it bears over what the ride asks, 1 is just enough.

    `estimated`: its material or place is a guess of ours, so that it never stops a bike.
    """

    name: str
    what: str
    peak_words: str
    lasting_words: str
    safety_peak: float
    safety_lasting: float | None
    cure: str
    estimated: bool = False
    friction_only: bool = False
    warm_c: float | None = None
    soft_c: float | None = None
    gives_mm: float | None = None


def _safety(bears: float, asked: float) -> float:
    return math.inf if asked <= 0.0 else bears / asked


def motor_shaft(loaded: LoadedBuild, loads: MountLoads) -> Part | str:
    """The motor's shaft: bent by the belt beside its bearing while it turns, twisted by the torque."""
    build, pull = loaded.build, loads.pull
    if pull is None:
        return ""
    diameter = build.motor.shaft_diameter_mm
    if diameter is None:
        return "the motor's shaft: give motor.shaft_diameter_mm (and mount.belt_overhang_mm)"
    mount, steel = build.mount, material(build.mount.shaft_material)
    out = overhang_mm(Shaft(diameter, None, mount.belt_overhang_mm), pull.width_mm)
    lever = to_si(out, "mm")
    bending = strength.bending_mpa(pull.side_load_n * lever, diameter)
    peak = strength.equivalent_mpa(bending, strength.torsion_mpa(loads.motor_torque_nm, diameter))
    bears = bears_once_mpa(steel)
    # The pull keeps its direction while the shaft turns: bending swings to and fro each turn, torsion stays.
    lasting = strength.goodman_safety(
        (pull.lasting_side_load_n * lever, 0.0), (0.0, loads.lasting_motor_torque_nm),
        (mount.shaft_notch, mount.shaft_notch), steel, diameter,
    )  # fmt: skip
    stated = {f"{loaded.keys_begin}mount.{name}" for name in ("shaft_material", "belt_overhang_mm")} <= loaded.given
    return Part(
        "motor shaft",
        f"{diameter:g} mm of {steel.words}, pulled by {pull.side_load_n:.0f} N {out:.0f} mm outside its bearing",
        f"{peak:.0f} MPa of {bears:.0f} MPa to yield",
        f"for good it bears {lasting:.2g} times what it carries a minute long",
        _safety(bears, peak), lasting,
        "a bearing on both sides of the pulley, a thicker shaft, or the belt nearer to it",
        estimated=not stated,
    )  # fmt: skip


def first_joint(loaded: LoadedBuild, loads: MountLoads) -> Part | str:
    """The joint of the first pulley on the motor's shaft."""
    joint, diameter = loaded.build.mount.joint, loaded.build.motor.shaft_diameter_mm
    if loads.pull is None:
        return ""
    if joint.kind == "not_stated" or diameter is None:
        return "the first pulley's joint: give mount.joint.kind and motor.shaft_diameter_mm"
    hub, steel = material(joint.hub_material), material(loaded.build.mount.shaft_material)
    makers = {"grub_screws": _grubs, "key": _key, "clamp": _clamp, "press_fit": _press}
    words, bears = makers[joint.kind](joint, diameter, steel, hub)
    asked = loads.motor_torque_nm
    lasting = loads.lasting_motor_torque_nm
    return Part(
        "pulley on the motor's shaft", words,
        f"{asked:.1f} N·m of {bears:.1f} N·m that it holds",
        f"{lasting:.1f} N·m a minute long of {bears / JOINT_LASTING:.1f} N·m",
        _safety(bears, asked), _safety(bears / JOINT_LASTING, lasting),
        "a key, a larger shaft, or a longer clamp; or a flat under the screws",
        friction_only=joint.kind == "grub_screws" and not joint.flat,
    )  # fmt: skip


def _grubs(joint: Joint, shaft_mm: float, steel: Material, hub: Material) -> tuple[str, float]:
    one = strength.grub_grip_nm(screws.grub_force_n(joint.screw), shaft_mm, GRUB_FRICTION)
    held = joint.screws * one * (FLAT_FACTOR if joint.flat else 1.0)
    return f"{joint.screws} grub screws {joint.screw}{' on a flat' if joint.flat else ''}", held


def _key(joint: Joint, shaft_mm: float, steel: Material, hub: Material) -> tuple[str, float]:
    size = (joint.key_width_mm, joint.key_height_mm, joint.key_depth_mm, joint.key_length_mm)
    shear, crushing = strength.key_stress_mpa(1.0, shaft_mm, *size)
    key_steel = material("carbon_steel")
    weaker = min(bears_once_mpa(hub), bears_once_mpa(steel), bears_once_mpa(key_steel))
    held = min(bears_once_mpa(key_steel) * strength.SHEAR_SHARE / shear, weaker / crushing)
    return f"a key {size[0]:g} mm by {size[1]:g} mm, {joint.key_length_mm:g} mm long", held


def _clamp(joint: Joint, shaft_mm: float, steel: Material, hub: Material) -> tuple[str, float]:
    force = joint.screws * screws.preload_n(screws.thread(joint.screw))
    return f"a split clamp, {joint.screws} screws {joint.screw}", strength.clamp_grip_nm(
        force, shaft_mm, joint.friction
    )


def _press(joint: Joint, shaft_mm: float, steel: Material, hub: Material) -> tuple[str, float]:
    pressure = strength.press_fit_mpa(shaft_mm, joint.hub_diameter_mm, joint.interference_um, steel, hub)
    bore = strength.press_fit_bore_mpa(pressure, shaft_mm, joint.hub_diameter_mm)
    # A bore that yields grips no harder than at yield.
    pressure *= min(1.0, bears_once_mpa(hub) / bore) if bore > 0.0 else 1.0
    grip = strength.press_fit_grip_nm(pressure, shaft_mm, joint.fit_length_mm, joint.friction)
    return f"a press fit, {joint.interference_um:g} µm over {joint.fit_length_mm:g} mm, cold", grip


def wheel_bolts(loaded: LoadedBuild, loads: MountLoads) -> Part | str:
    """The bolts that clamp the last driven pulley to the wheel: they hold by friction, a slipping one shears."""
    pulley = loaded.build.mount.wheel_pulley
    if loads.pull is None:
        return ""
    if pulley.bolts is None:
        return "the wheel pulley's bolts: give mount.wheel_pulley.bolts"
    preload = screws.preload_n(screws.thread(pulley.bolt), pulley.tightening_nm)
    bears = strength.flange_grip_nm(pulley.bolts, preload, pulley.bolt_circle_mm, pulley.friction)
    asked, lasting = loads.wheel_torque_nm, loads.lasting_wheel_torque_nm
    tight = pulley.tightening_nm or screws.allowed_tightening_nm(screws.thread(pulley.bolt))
    return Part(
        "wheel pulley's bolts",
        f"{pulley.bolts} {pulley.bolt} on {pulley.bolt_circle_mm:g} mm, tightened to {tight:.1f} N·m",
        f"{asked:.0f} N·m of {bears:.0f} N·m before it slips",
        f"{lasting:.0f} N·m a minute long of {bears / BOLT_LASTING:.0f} N·m",
        _safety(bears, asked), _safety(bears / BOLT_LASTING, lasting),
        "more or larger bolts, a wider circle, or dowel pins that take the torque",
    )  # fmt: skip


def wheel_arms(loaded: LoadedBuild, loads: MountLoads) -> Part | str:
    """The arms of the wheel's pulley, each bent at its root by its share of the pull."""
    pulley = loaded.build.mount.wheel_pulley
    if loads.pull is None or loads.pulley_radius_mm is None:
        return ""
    if pulley.material == "not_stated":
        return "the wheel pulley's body: give mount.wheel_pulley.material (and its arms)"
    stuff = material(pulley.material)
    if pulley.arms == 0:
        soft = f"; {stuff.words} softens from {stuff.soft_above_c:.0f} °C" if stuff.soft_above_c else ""
        return f"the wheel pulley's body: a solid plate is not judged, its bolts are{soft}"
    reach = max(loads.pulley_radius_mm - pulley.bolt_circle_mm / 2.0, 1.0)
    share = 1.0 / (to_si(loads.pulley_radius_mm, "mm") * pulley.arms)
    peak, lasting = (
        strength.plate_mpa(torque * share, reach, pulley.arm_thickness_mm, pulley.arm_width_mm)
        for torque in (loads.wheel_torque_nm, loads.lasting_wheel_torque_nm)
    )
    once, good = bears_once_mpa(stuff, pulley.layers), bears_for_good_mpa(stuff, pulley.layers)
    return Part(
        "wheel pulley's arms",
        f"{pulley.arms} arms of {stuff.words}, {pulley.arm_width_mm:g} mm by {pulley.arm_thickness_mm:g} mm",
        f"{peak:.0f} MPa of {once:.0f} MPa at the root", f"{lasting:.1f} MPa a minute long of {good:.0f} MPa for good",
        _safety(once, peak), _safety(good, lasting), "wider arms, more of them, or a stronger material",
        warm_c=pulley.temperature_c if stuff.printed else None, soft_c=stuff.soft_above_c,
    )  # fmt: skip


def bracket(loaded: LoadedBuild, loads: MountLoads) -> Part | str:
    """The plate that carries the motor: bent by the pull and by the motor's weight in a bump; its clamp on a tube."""
    plate = loaded.build.mount.bracket
    if loads.pull is None:
        return ""
    if plate.material == "not_stated":
        return "the motor's bracket: give mount.bracket.material and its size"
    stuff, bump = material(plate.material), loaded.build.mount.bump_factor * loads.motor_weight_n
    left = plate.width_mm - plate.holes_mm
    peak = strength.plate_mpa(loads.pull.side_load_n + bump, plate.reach_mm, left, plate.thickness_mm)
    lasting = strength.plate_mpa(loads.pull.lasting_side_load_n, plate.reach_mm, left, plate.thickness_mm)
    once, good = bears_once_mpa(stuff, plate.layers), bears_for_good_mpa(stuff, plate.layers)
    gives = strength.plate_gives_mm(
        loads.pull.side_load_n, plate.reach_mm, plate.width_mm, plate.thickness_mm, stuff.modulus_gpa
    )
    return Part(
        "motor's bracket",
        f"{plate.width_mm:g} mm by {plate.thickness_mm:g} mm of {stuff.words}, {plate.reach_mm:g} mm out",
        f"{peak:.0f} MPa of {once:.0f} MPa, pull and a bump of {loaded.build.mount.bump_factor:g} g together",
        f"{lasting:.0f} MPa a minute long of {good:.0f} MPa for good",
        _safety(once, peak), _safety(good, lasting), "a thicker plate, a shorter reach, or a second support",
        warm_c=plate.temperature_c if stuff.printed else None, soft_c=stuff.soft_above_c, gives_mm=gives,
    )  # fmt: skip


def tube_clamp(loaded: LoadedBuild, loads: MountLoads) -> Part | str:
    """The bracket's clamp on a tube: the pull turns it about the tube, friction holds."""
    plate = loaded.build.mount.bracket
    if loads.pull is None:
        return ""
    if plate.tube_diameter_mm is None:
        return "the bracket's clamp: give mount.bracket.tube_diameter_mm and its screws"
    bump = loaded.build.mount.bump_factor * loads.motor_weight_n
    asked = (loads.pull.side_load_n + bump) * convert(plate.reach_mm, "mm", "m")
    lasting = loads.pull.lasting_side_load_n * convert(plate.reach_mm, "mm", "m")
    force = plate.clamp_screws * screws.preload_n(screws.thread(plate.clamp_screw), plate.tightening_nm)
    bears = strength.clamp_grip_nm(force, plate.tube_diameter_mm, plate.friction)
    return Part(
        "bracket's clamp on the tube", f"{plate.clamp_screws} {plate.clamp_screw} about {plate.tube_diameter_mm:g} mm",
        f"{asked:.0f} N·m of {bears:.0f} N·m before it turns",
        f"{lasting:.0f} N·m a minute long of {bears / BOLT_LASTING:.0f} N·m",
        _safety(bears, asked), _safety(bears / BOLT_LASTING, lasting), "more screws, or a strut that takes the pull",
    )  # fmt: skip
