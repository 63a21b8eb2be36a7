"""Wires and insulation: gauges, resistances and temperature limits.

Sources: AWG diameters after ASTM B258-02; stranded AWG resistance about 5 % above solid (UL 1581); IEC 60228:2004
tables 1 to 3 (highest resistance at 20 degC, plain copper) and its annex (temperature); IEC 60028 for copper itself.
Insulation limits, its thickness and thermal numbers are from memory or guesses, and say so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from ridesim.errors import BuildError
from ridesim.units import to_si
from ridesim.workshop.limits import require_known

COPPER_OHM_MM2_PER_KM = 17.241
"""Annealed copper at 20 degC (IEC 60028)."""

COPPER_ZERO_RESISTANCE_C = -234.5
"""Where copper's straight line of resistance meets zero (IEC 60028)."""

IEC_60228_ZERO_RESISTANCE_C = -230.0
"""The same in the rounded factor 250/(230 + t) that belongs to the tables of IEC 60228 (annex)."""

REFERENCE_C = 20.0
"""Temperature of all tabulated resistances."""

STRANDED_ABOVE_SOLID = 1.05
"""Resistance of a flexible AWG lead over a solid one of the same gauge (UL 1581: about 5 %)."""

STRAND_FILL = 0.75
"""Copper share of a stranded bundle's circle (from memory)."""

COPPER_J_PER_MM2_M_K = 3.45
"""Heat capacity of copper per mm2 of section, metre and kelvin (3.45 J/(cm3 K), from memory)."""

AWG_GAUGES = (24, 22, 20, 18, 16, 14, 12, 10, 8, 6, 4, 2)
"""Even gauges on sale, thin to thick."""

IEC_60228_OHM_PER_KM: dict[float, tuple[float, float]] = {
    0.5: (36.0, 39.0), 0.75: (24.5, 26.0), 1.0: (18.1, 19.5), 1.5: (12.1, 13.3), 2.5: (7.41, 7.98),
    4.0: (4.61, 4.95), 6.0: (3.08, 3.30), 10.0: (1.83, 1.91), 16.0: (1.15, 1.21), 25.0: (0.727, 0.780),
    35.0: (0.524, 0.554),
}  # fmt: skip
"""Highest resistance at 20 degC by mm2: classes 1 and 2 (solid, stiff), class 5 (flexible). IEC 60228:2004."""

WireSystem = Literal["awg", "mm2"]


@dataclass(frozen=True)
class Wire:
    """One bare conductor. `zero_resistance_c` sets the temperature rule of its standard."""

    name: str
    area_mm2: float
    diameter_mm: float
    resistance_ohm_per_km: float
    zero_resistance_c: float

    def resistance_ohm_per_m(self, temp_c: float) -> float:
        """Return the resistance of one metre at a conductor temperature. Source: IEC 60228 annex or IEC 60028."""
        above_zero = temp_c - self.zero_resistance_c
        return to_si(self.resistance_ohm_per_km, "ohm_per_km") * above_zero / (REFERENCE_C - self.zero_resistance_c)


@dataclass(frozen=True)
class Insulation:
    """What a wire's jacket stands, for good and for the seconds of a fault."""

    name: str
    limit_c: float
    short_time_limit_c: float
    conductivity_w_per_m_k: float
    heat_j_per_mm2_m_k: float
    bound_by: str = ""
    """What sets `limit_c` where it is not the jacket itself."""
    short_bound_by: str = ""
    """The same for `short_time_limit_c`."""

    @property
    def limit_words(self) -> str:
        """What stands `limit_c`, in words."""
        return f"{self.bound_by or f'{self.name} stands'} {self.limit_c:.0f} °C"

    @property
    def short_limit_words(self) -> str:
        """What stands `short_time_limit_c`, in words."""
        return f"{self.short_bound_by or f'{self.name} stands'} {self.short_time_limit_c:.0f} °C for seconds"


INSULATIONS: dict[str, Insulation] = {
    "pvc": Insulation("pvc", 70.0, 160.0, 0.17, 1.7),
    "xlpe": Insulation("xlpe", 90.0, 250.0, 0.29, 2.0),
    "fluoropolymer": Insulation("fluoropolymer", 150.0, 250.0, 0.2, 2.2),
    "silicone": Insulation("silicone", 180.0, 350.0, 0.2, 1.6),
}
"""Limits as in IEC 60364-5-52 and IEC 60724 from memory (fluoropolymer a guess); thermal numbers from memory, +-20 %.
The jacket's own print decides."""

JOINT_LIMIT_C = 90.0
"""What stands around a lead for good, whatever its jacket bears: solder joints, shrink sleeves, the plastic of plugs, a
neighbour's PVC (common practice, no source; most plug housings and sleeves end at 80 to 105). Skin burns on less."""

SOLDER_SHORT_LIMIT_C = 160.0
"""Soft-soldered joints in the seconds of a fault (IEC 60724, from memory)."""

GROUPING = {
    1: 1.0,
    2: 0.80,
    3: 0.70,
    4: 0.65,
    5: 0.60,
    6: 0.57,
    7: 0.54,
    8: 0.52,
    9: 0.50,
    12: 0.45,
    16: 0.41,
    20: 0.38,
}
"""Share of its current that a lead keeps when so many lie bunched in air or in one sleeve (IEC 60364-5-52:2009, table
B.52.17, first row, from memory; each loaded lead counted as a circuit, the careful reading)."""

INSULATION_THICKNESS_MM = ((6.0, 0.8), (16.0, 1.0), (math.inf, 1.2))
"""Jacket thickness up to a conductor area in mm2 (guess after common single-core leads)."""


def bare_gauge_mm(gauge: int) -> float:
    """Return the bare diameter `0.127 * 92^((36 - n)/39)` [mm] of any American gauge. Source: ASTM B258-02."""
    return float(0.127 * 92.0 ** ((36 - gauge) / 39))


def awg_diameter_mm(gauge: int) -> float:
    """Return a lead's bare diameter [mm], gauges 0 to 40. Source: `bare_gauge_mm`. Raises BuildError outside."""
    if not 0 <= gauge <= 40:
        raise BuildError("wire.awg", f"gauge {gauge} (0 to 40)", "name thicker wires by their mm2")
    return bare_gauge_mm(gauge)


def wire_awg(gauge: int, *, stranded: bool = True) -> Wire:
    """Return a copper wire by American gauge. Source: ASTM B258-02; stranded after UL 1581. Raises BuildError."""
    diameter = awg_diameter_mm(gauge)
    area = math.pi * diameter**2 / 4.0
    resistance = COPPER_OHM_MM2_PER_KM / area
    if stranded:
        diameter, resistance = diameter / math.sqrt(STRAND_FILL), resistance * STRANDED_ABOVE_SOLID
    return Wire(f"AWG {gauge}", area, diameter, resistance, COPPER_ZERO_RESISTANCE_C)


def wire_mm2(area_mm2: float, *, stranded: bool = True) -> Wire:
    """Return a copper wire by metric size. Source: IEC 60228:2004, class 5 or classes 1 and 2. Raises BuildError."""
    if area_mm2 not in IEC_60228_OHM_PER_KM:
        sizes = ", ".join(f"{size:g}" for size in IEC_60228_OHM_PER_KM)
        raise BuildError("wire.area_mm2", f"{area_mm2:g} is no standard size ({sizes})", "take the next one up")
    solid, flexible = IEC_60228_OHM_PER_KM[area_mm2]
    diameter = math.sqrt(4.0 * area_mm2 / math.pi / (STRAND_FILL if stranded else 1.0))
    resistance = flexible if stranded else solid
    return Wire(f"{area_mm2:g} mm2", area_mm2, diameter, resistance, IEC_60228_ZERO_RESISTANCE_C)


def standard_wires(system: WireSystem, *, stranded: bool = True) -> tuple[Wire, ...]:
    """Return the wires on sale, thin to thick; `system` is "awg" or "mm2". Raises BuildError."""
    require_known("wire.system", system, ("awg", "mm2"))
    if system == "awg":
        return tuple(wire_awg(gauge, stranded=stranded) for gauge in AWG_GAUGES)
    return tuple(wire_mm2(area, stranded=stranded) for area in IEC_60228_OHM_PER_KM)


def insulation(name: str) -> Insulation:
    """Return the jacket called `name`. Raises BuildError for an unknown one."""
    require_known("wire.insulation", name, tuple(INSULATIONS))
    return INSULATIONS[name]


def bounded_insulation(jacket: Insulation, joint_limit_c: float = JOINT_LIMIT_C) -> Insulation:
    """Return a jacket with its limits lowered to what the joints, sleeves and hands around it stand.

    Who says that they bear more than `JOINT_LIMIT_C` has no soft solder in them either, so its bound falls too.
    """
    soldered = joint_limit_c <= JOINT_LIMIT_C
    short = SOLDER_SHORT_LIMIT_C if soldered else jacket.short_time_limit_c
    return replace(
        jacket,
        limit_c=min(jacket.limit_c, joint_limit_c),
        short_time_limit_c=min(jacket.short_time_limit_c, short),
        bound_by="joints and sleeves stand" if joint_limit_c < jacket.limit_c else "",
        short_bound_by="soft solder stands" if short < jacket.short_time_limit_c else "",
    )


def grouping_factor(leads: int) -> float:
    """Return the share of its current that each of so many bunched leads keeps. Raises BuildError.

    Source: `GROUPING`; a number between two entries takes the larger bunch.
    """
    if not 1 <= leads <= max(GROUPING):
        raise BuildError("wire.together", f"{leads} leads (1 to {max(GROUPING)})", "split the bunch")
    return next(factor for count, factor in GROUPING.items() if leads <= count)


def insulation_thickness_mm(area_mm2: float) -> float:
    """Return the usual jacket thickness for a conductor area [mm]; a guess."""
    return next(thick for up_to, thick in INSULATION_THICKNESS_MM if area_mm2 <= up_to)


def outer_diameter_mm(wire: Wire) -> float:
    """Return the diameter over the jacket [mm]; a guess through the thickness."""
    return wire.diameter_mm + 2.0 * insulation_thickness_mm(wire.area_mm2)


def heat_capacity_j_per_m_k(wire: Wire, jacket: Insulation) -> float:
    """Return the heat capacity of one metre: copper and jacket. Source: volumes; material numbers from memory."""
    jacket_mm2 = math.pi * (outer_diameter_mm(wire) ** 2 - wire.diameter_mm**2) / 4.0
    return COPPER_J_PER_MM2_M_K * wire.area_mm2 + jacket.heat_j_per_mm2_m_k * jacket_mm2


def preferred_values(base: Sequence[float], decades: range) -> tuple[float, ...]:
    """Return a series of preferred numbers over some decades, rising."""
    return tuple(round(each * 10.0**decade, 6) for decade in decades for each in base)
