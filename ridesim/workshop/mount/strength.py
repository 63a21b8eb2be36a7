"""Stress and grip of shafts, joints, flanges, arms and plates: closed forms.

Sources beside each. Forces N, torques N m, lengths mm, stresses MPa (N/mm2). Shear strength by distortion energy.
"""

from __future__ import annotations

import math

from ridesim.units import convert, from_si, to_si
from ridesim.workshop.limits import require_not_negative, require_positive
from ridesim.workshop.mount.materials import Material

SHEAR_SHARE = 1.0 / math.sqrt(3.0)
"""Shear yield over yield (distortion energy)."""
MACHINED = (4.51, -0.265)
SIZE_MM = (7.62, -0.107)
"""Surface factor of a machined shaft by its tensile strength in MPa; size factor by its diameter (Shigley, ch. 6)."""


def bending_mpa(moment_nm: float, diameter_mm: float) -> float:
    """Return the bending stress of a round shaft, `32 M/(pi d^3)` [MPa]. Raises BuildError."""
    require_positive("mount", diameter_mm=diameter_mm)
    return from_si(32.0 * moment_nm / (math.pi * to_si(diameter_mm, "mm") ** 3), "mpa")


def torsion_mpa(torque_nm: float, diameter_mm: float) -> float:
    """Return the torsional stress of a round shaft, `16 T/(pi d^3)` [MPa]. Raises BuildError."""
    return bending_mpa(torque_nm, diameter_mm) / 2.0


def equivalent_mpa(bending: float, torsion: float) -> float:
    """Return the stress of both together, `sqrt(s^2 + 3 t^2)` [MPa]. Source: distortion energy (von Mises)."""
    return math.sqrt(bending**2 + 3.0 * torsion**2)


def endurance_mpa(tensile_mpa: float, diameter_mm: float) -> float:
    """Return what a turning machined steel shaft bears for good, `ka kb Sut/2` [MPa].

    Source: Shigley, Mechanical Engineering Design, equations 6-8, 6-19, 6-20. Raises BuildError.
    """
    require_positive("mount", tensile_mpa=tensile_mpa, diameter_mm=diameter_mm)
    surface = MACHINED[0] * tensile_mpa ** MACHINED[1]
    size = (diameter_mm / SIZE_MM[0]) ** SIZE_MM[1]
    return surface * size * tensile_mpa / 2.0


def goodman_diameter_mm(
    alternating_nm: tuple[float, float],
    mean_nm: tuple[float, float],
    notch: tuple[float, float],
    endurance: float,
    tensile: float,
    safety: float,
) -> float:
    """Return the shaft diameter of a safety against the Goodman line [mm]; pairs are (bending, torsion).

    `d = (16 n/pi (A/Se + B/Sut))^(1/3)`, `A = sqrt(4 (Kf Ma)^2 + 3 (Kfs Ta)^2)`, B alike of the means. Source: Shigley,
    10th ed., eq. 7-8.
    """
    swing, steady = shaft_moment_nm(alternating_nm, notch), shaft_moment_nm(mean_nm, notch)
    share = swing / to_si(endurance, "mpa") + steady / to_si(tensile, "mpa")
    return from_si((16.0 * safety / math.pi * share) ** (1.0 / 3.0), "mm")


def goodman_safety(
    alternating_nm: tuple[float, float],
    mean_nm: tuple[float, float],
    notch: tuple[float, float],
    stuff: Material,
    diameter_mm: float,
) -> float:
    """Return a shaft's safety against the Goodman line. Source: as `goodman_diameter_mm`. Raises BuildError."""
    tensile = stuff.tensile_mpa / stuff.spread
    lasting = endurance_mpa(tensile, diameter_mm) if stuff.lasting_mpa is None else stuff.lasting_mpa / stuff.spread
    needed = goodman_diameter_mm(alternating_nm, mean_nm, notch, lasting, tensile, 1.0)
    return math.inf if needed == 0.0 else (diameter_mm / needed) ** 3


def shaft_moment_nm(moments_nm: tuple[float, float], notch: tuple[float, float]) -> float:
    """Return `sqrt(4 (Kf M)^2 + 3 (Kfs T)^2)` [N m]. Source: Shigley, eq. 7-6."""
    return math.sqrt(4.0 * (notch[0] * moments_nm[0]) ** 2 + 3.0 * (notch[1] * moments_nm[1]) ** 2)


def key_stress_mpa(
    torque_nm: float, shaft_mm: float, width_mm: float, height_mm: float, depth_mm: float, length_mm: float
) -> tuple[float, float]:
    """Return a parallel key's (shear, crushing) [MPa]: `2T/(d b l)`, `2T/(d (h - t1) l)`. Source: Shigley, section 7-7.

    Raises BuildError.
    """
    require_positive("mount", shaft_mm=shaft_mm, width_mm=width_mm, length_mm=length_mm, stands=height_mm - depth_mm)
    pull = 2.0 * torque_nm / to_si(shaft_mm, "mm")
    length = to_si(length_mm, "mm")
    shear = pull / (to_si(width_mm, "mm") * length)
    return from_si(shear, "mpa"), from_si(pull / (to_si(height_mm - depth_mm, "mm") * length), "mpa")


def press_fit_mpa(shaft_mm: float, hub_mm: float, interference_um: float, shaft: Material, hub: Material) -> float:
    """Return the pressure of a press fit, solid shaft in a hub [MPa].

    `p = delta / (d ((k + nu_h)/E_h + (1 - nu_s)/E_s))`, `k = (D^2 + d^2)/(D^2 - d^2)`. Source: Lame; Shigley, eq. 3-56.
    Raises BuildError.
    """
    require_positive("mount", shaft_mm=shaft_mm, wall_mm=hub_mm - shaft_mm)
    require_not_negative("mount", interference_um=interference_um)
    shape = (hub_mm**2 + shaft_mm**2) / (hub_mm**2 - shaft_mm**2)
    gives = (shape + hub.poisson) / hub.modulus_gpa + (1.0 - shaft.poisson) / shaft.modulus_gpa
    return convert(convert(interference_um, "um", "mm") / (shaft_mm * gives), "gpa", "mpa")


def press_fit_grip_nm(pressure_mpa: float, shaft_mm: float, length_mm: float, friction: float) -> float:
    """Return the torque that a press fit holds, `pi/2 mu p d^2 L` [N m]. Source: Shigley, section 7-8."""
    area = to_si(shaft_mm, "mm") ** 2 * to_si(length_mm, "mm")
    return math.pi / 2.0 * friction * to_si(pressure_mpa, "mpa") * area


def press_fit_bore_mpa(pressure_mpa: float, shaft_mm: float, hub_mm: float) -> float:
    """Return the stress at a hub's bore, hoop and pressure together [MPa]. Source: Lame; distortion energy."""
    hoop = pressure_mpa * (hub_mm**2 + shaft_mm**2) / (hub_mm**2 - shaft_mm**2)
    return math.sqrt(hoop**2 + hoop * pressure_mpa + pressure_mpa**2)


def clamp_grip_nm(force_n: float, diameter_mm: float, friction: float) -> float:
    """Return the torque that a split clamp holds, `mu F d` [N m]: two lines of contact, the lesser of the two models.

    Source: friction at two lines; an even pressure would hold pi/2 of it.
    """
    return friction * force_n * to_si(diameter_mm, "mm")


def grub_grip_nm(force_n: float, shaft_mm: float, friction: float) -> float:
    """Return the torque that a grub screw holds by friction, `mu F r` [N m]. Source: Coulomb friction at its point."""
    return friction * force_n * to_si(shaft_mm, "mm") / 2.0


def flange_grip_nm(bolts: int, preload_n: float, bolt_circle_mm: float, friction: float) -> float:
    """Return the torque that a bolted friction flange holds, `mu n F R` [N m]. Source: VDI 2230, slip of a joint."""
    return friction * bolts * preload_n * to_si(bolt_circle_mm, "mm") / 2.0


def plate_mpa(force_n: float, reach_mm: float, width_mm: float, thickness_mm: float) -> float:
    """Return the bending stress of a plate held at one end, `6 F L/(b t^2)` [MPa]. Raises BuildError."""
    require_positive("mount", width_mm=width_mm, thickness_mm=thickness_mm)
    section = to_si(width_mm, "mm") * to_si(thickness_mm, "mm") ** 2
    return from_si(6.0 * force_n * to_si(reach_mm, "mm") / section, "mpa")


def plate_gives_mm(force_n: float, reach_mm: float, width_mm: float, thickness_mm: float, modulus_gpa: float) -> float:
    """Return how far a plate held at one end gives, `F L^3/(3 E I)` [mm]. Raises BuildError."""
    require_positive("mount", width_mm=width_mm, thickness_mm=thickness_mm, modulus_gpa=modulus_gpa)
    inertia_mm4 = width_mm * thickness_mm**3 / 12.0
    return force_n * reach_mm**3 / (3.0 * convert(modulus_gpa, "gpa", "mpa") * inertia_mm4)
