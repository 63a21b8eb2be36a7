"""What holds the drive against handbooks, a standard and closed forms."""

from __future__ import annotations

from typing import Any

import pytest

from ridesim.errors import BuildError
from ridesim.evidence.store import sheet
from ridesim.workshop.mount import screws, strength
from ridesim.workshop.mount.materials import material
from ridesim.workshop.mount.screws import THREADS, Thread

from .rows import near, rows_of


def test_shaft_of_the_book():
    asked = sheet("strength.shaft_moment")
    notch = (asked.notch, asked.notch_torsion)
    swing, steady = (asked.bending_nm, asked.torsion_nm), (asked.steady_bending_nm, asked.steady_torsion_nm)
    assert strength.shaft_moment_nm(swing, notch) == near(asked.alternating_nm)
    assert strength.shaft_moment_nm(steady, notch) == near(asked.mean_nm)
    size = strength.goodman_diameter_mm(swing, steady, notch, asked.endurance_mpa, asked.tensile_mpa, asked.safety)
    assert size == near(asked.goodman_mm)


def test_endurance_of_the_book():
    asked = sheet("belt.endurance")
    assert strength.endurance_mpa(asked.strength_mpa, asked.diameter_mm) == near(asked.endurance_mpa)


@rows_of("strength.round_shaft")
def test_round_shaft(row: Any) -> None:
    bent, twisted = strength.bending_mpa(10.0, row.diameter_mm), strength.torsion_mpa(4.0, row.diameter_mm)
    assert strength.equivalent_mpa(bent, twisted) == near(row.equivalent_mpa)


@rows_of("strength.stress_area")
def test_stress_area(row: Any) -> None:
    assert screws.stress_area_mm2(THREADS[row.screw]) == near(row.area_mm2)


@rows_of("strength.fine_screw")
def test_fine_screw(row: Any) -> None:
    screw = Thread(row.diameter_mm, row.pitch_mm, row.head_mm, row.hole_mm)
    assert screws.allowed_preload_n(screw, row.friction) / 1e3 == near(row.preload_kn)
    assert screws.allowed_tightening_nm(screw, row.friction) == near(row.tightening_nm)


@rows_of("strength.coarse_screw")
def test_coarse_screw(row: Any) -> None:
    screw = THREADS[row.screw]
    assert screws.allowed_preload_n(screw) == near(row.preload_n)
    assert screws.allowed_tightening_nm(screw) == near(row.tightening_nm)


@rows_of("strength.machine_manual")
def test_machine_manuals(row: Any) -> None:
    assert screws.allowed_tightening_nm(THREADS[row.screw]) == pytest.approx(row.tightening_nm, rel=0.05)


def test_flange():
    asked = sheet("strength.flange")
    ours = strength.flange_grip_nm(asked.bolts, asked.preload_n, asked.circle_mm, asked.friction)
    assert ours == near(asked.torque_nm)


def test_key():
    asked = sheet("strength.metric_key")
    size = (asked.shaft_mm, asked.width_mm, asked.height_mm, asked.depth_mm, asked.length_mm)
    shear, crushing = strength.key_stress_mpa(asked.torque_nm, *size)
    assert shear == near(asked.shear_mpa)
    assert crushing == near(asked.crushing_mpa)


@pytest.mark.parametrize("name", ["steel", "aluminium"])
def test_press_fit(name: str) -> None:
    asked, steel = sheet("strength.press_fit"), material("carbon_steel")
    hub = steel if name == "steel" else material("aluminium")
    pressure = strength.press_fit_mpa(asked.shaft_mm, asked.hub_mm, asked.interference_um, steel, hub)
    assert pressure == near(getattr(asked, f"{name}_mpa"))
    grip = strength.press_fit_grip_nm(pressure, asked.shaft_mm, asked.length_mm, asked.friction)
    assert grip == near(getattr(asked, f"{name}_nm"))
    if name == "aluminium":
        assert strength.press_fit_bore_mpa(pressure, asked.shaft_mm, asked.hub_mm) == near(asked.bore_mpa)


def test_clamp_and_grub_screw():
    asked, grub = sheet("strength.clamp"), sheet("strength.grub_screw")
    assert strength.clamp_grip_nm(asked.force_n, asked.shaft_mm, asked.friction) == near(asked.torque_nm)
    force = screws.grub_force_n("M5")
    assert force == near(grub.force_n)
    assert strength.grub_grip_nm(force, grub.shaft_mm, grub.friction) == near(grub.torque_nm)


def test_plate():
    asked = sheet("strength.plate")
    size = (asked.width_mm, asked.thickness_mm)
    assert strength.plate_mpa(asked.force_n, asked.reach_mm, *size) == near(asked.bending_mpa)
    left = (asked.width_mm - asked.holes_mm, asked.thickness_mm)
    assert strength.plate_mpa(asked.force_n, asked.reach_mm, *left) == near(asked.net_mpa)
    gives = strength.plate_gives_mm(asked.force_n, asked.reach_mm, *size, asked.modulus_gpa)
    assert gives == near(asked.gives_mm)


def test_preload_of_a_torque_wrench():
    m5 = THREADS["M5"]
    full = screws.allowed_tightening_nm(m5)
    assert screws.preload_n(m5) == pytest.approx(screws.allowed_preload_n(m5) / screws.SCATTER)
    assert screws.preload_n(m5, full / 2.0) == pytest.approx(screws.preload_n(m5) / 2.0)
    assert screws.preload_n(m5, full * 1.5) == pytest.approx(screws.preload_n(m5))
    with pytest.raises(BuildError, match="strips"):
        screws.preload_n(m5, full * 2.01)
