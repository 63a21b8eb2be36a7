"""Materials of shafts, plates and printed parts, with what they bear at least.

Sources: steels after EN ISO 683 (C45 normalised, 42CrMo4 quenched; low values, from memory); aluminium 6082-T6 after
EN 755-2 (from memory); carbon plate: woven quasi-isotropic laminate (guess); printed polymers: filament makers' data
sheets and published reviews of printed parts, the lower values, half across the layers (from memory), a fifth of it
for good (creep and fatigue, from memory). Buckling, corrosion and knocks are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

from ridesim.errors import BuildError

ACROSS_LAYERS = 0.5
"""What a printed part bears across its layers over along them, at most (from memory)."""
LASTING_SHARE_PRINTED = 0.2
"""What a printed part bears for good over what it bears once (creep and fatigue, from memory)."""


@dataclass(frozen=True)
class Material:
    """What a material bears. `lasting_mpa`: a bending stress to and fro for good; None: by Shigley's rule for steel.

    `spread`: stated strength over the least that a builder may get. `soft_above_c` None: far above what a bike sees.
    """

    words: str
    tensile_mpa: float
    yield_mpa: float
    lasting_mpa: float | None
    modulus_gpa: float
    poisson: float
    spread: float
    printed: bool = False
    soft_above_c: float | None = None
    conducts: bool = True


MATERIALS: dict[str, Material] = {
    "carbon_steel": Material("plain carbon steel", 600.0, 340.0, None, 207.0, 0.292, 1.05),
    "alloy_steel": Material("quenched alloy steel", 1000.0, 750.0, None, 207.0, 0.292, 1.1),
    "aluminium": Material("aluminium 6082-T6", 310.0, 260.0, 95.0, 71.0, 0.33, 1.1),
    "carbon_plate": Material("carbon plate", 400.0, 400.0, 150.0, 50.0, 0.3, 1.5),
    "pla": Material("printed PLA", 50.0, 50.0, None, 3.5, 0.35, 1.5, True, 50.0, False),
    "petg": Material("printed PETG", 50.0, 50.0, None, 2.0, 0.38, 1.5, True, 60.0, False),
    "abs": Material("printed ABS", 40.0, 40.0, None, 2.1, 0.37, 1.5, True, 80.0, False),
}


def material(name: str) -> Material:
    """Return a material by its name in a build. Raises BuildError."""
    if name not in MATERIALS:
        raise BuildError("mount", f"the material {name!r} is not known", f"choose one of: {', '.join(MATERIALS)}")
    return MATERIALS[name]


def bears_once_mpa(stuff: Material, layers: str = "along") -> float:
    """Return the stress that a part bears once, the least of what a builder may get [MPa]."""
    way = ACROSS_LAYERS if stuff.printed and layers == "across" else 1.0
    return stuff.yield_mpa / stuff.spread * way


def bears_for_good_mpa(stuff: Material, layers: str = "along") -> float:
    """Return the bending stress to and fro that a plate bears for good [MPa]; half the tensile strength for steel."""
    if stuff.printed:
        return bears_once_mpa(stuff, layers) * LASTING_SHARE_PRINTED
    lasting = 0.5 * stuff.tensile_mpa * 0.7 if stuff.lasting_mpa is None else stuff.lasting_mpa
    return lasting / stuff.spread
