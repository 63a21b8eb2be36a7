"""What holds the drive: shafts, screws, joints and plates against handbooks and standards, by `ridesim mount`."""

from __future__ import annotations

from ridesim.evidence.checks import Check, Subject, near
from ridesim.evidence.store import sheet, table
from ridesim.units import convert
from ridesim.workshop.mount import screws, strength
from ridesim.workshop.mount.materials import material
from ridesim.workshop.mount.screws import THREADS, Thread


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of strength."""
    return [*_shafts(), *_screws(), *_joints(), *_plates()], []


def _shafts() -> list[Check]:
    asked = sheet("strength.shaft_moment")
    notch = (asked.notch, asked.notch_torsion)
    swing, steady = (asked.bending_nm, asked.torsion_nm), (asked.steady_bending_nm, asked.steady_torsion_nm)
    size = strength.goodman_diameter_mm(swing, steady, notch, asked.endurance_mpa, asked.tensile_mpa, asked.safety)
    worked = sheet("belt.endurance")
    lasting = strength.endurance_mpa(worked.strength_mpa, worked.diameter_mm)
    return [
        near("alternating moment of a shaft", strength.shaft_moment_nm(swing, notch), asked.alternating_nm),
        near("mean moment of a shaft", strength.shaft_moment_nm(steady, notch), asked.mean_nm),
        near("shaft of safety 2 by the Goodman line", size, asked.goodman_mm),
        near("what a turning shaft of 22 mm bears for good", lasting, worked.endurance_mpa),
    ]


def _screws() -> list[Check]:
    checks = [
        near(f"stress area of {name}", screws.stress_area_mm2(THREADS[name]), printed)
        for name, printed in table("strength.stress_area").rows
    ]
    for d, pitch, head, hole, friction, preload, torque in table("strength.fine_screw").rows:
        screw, name = Thread(d, pitch, head, hole), f"M{d:g}x{pitch:g}, friction {friction:.2f}"
        force_kn = convert(screws.allowed_preload_n(screw, friction), "n", "kn")
        checks.append(near(f"preload of {name}", force_kn, preload))
        checks.append(near(f"tightening of {name}", screws.allowed_tightening_nm(screw, friction), torque))
    checks += [
        near(f"tightening of {name}", screws.allowed_tightening_nm(THREADS[name]), printed, share=0.05,
             note="the manuals round, and differ among each other by 4 %")
        for name, printed in table("strength.machine_manual").rows
    ]  # fmt: skip
    return checks


def _joints() -> list[Check]:
    flange, fit = sheet("strength.flange"), sheet("strength.press_fit")
    held = strength.flange_grip_nm(flange.bolts, flange.preload_n, flange.circle_mm, flange.friction)
    checks = [near("torque of a friction flange", held, flange.torque_nm)]
    for name, printed, torque in (
        ("alloy_steel", fit.steel_mpa, fit.steel_nm), ("aluminium", fit.aluminium_mpa, fit.aluminium_nm),
    ):  # fmt: skip
        parts = (material("carbon_steel"), material(name))
        pressure = strength.press_fit_mpa(fit.shaft_mm, fit.hub_mm, fit.interference_um, *parts)
        grip = strength.press_fit_grip_nm(pressure, fit.shaft_mm, fit.length_mm, fit.friction)
        checks += [
            near(f"press fit in {name}, pressure", pressure, printed),
            near(f"press fit in {name}", grip, torque),
        ]
    return checks


def _plates() -> list[Check]:
    plate = sheet("strength.plate")
    bent = strength.plate_mpa(plate.force_n, plate.reach_mm, plate.width_mm, plate.thickness_mm)
    net = strength.plate_mpa(plate.force_n, plate.reach_mm, plate.width_mm - plate.holes_mm, plate.thickness_mm)
    gives = strength.plate_gives_mm(
        plate.force_n, plate.reach_mm, plate.width_mm, plate.thickness_mm, plate.modulus_gpa
    )
    return [
        near("bending of a bracket", bent, plate.bending_mpa),
        near("bending of a bracket with holes", net, plate.net_mpa),
        near("how far a bracket gives", gives, plate.gives_mm),
    ]


SUBJECT = Subject("strength", "What holds the drive", run)
