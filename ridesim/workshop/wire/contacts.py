"""Strips between cells and plugs between leads: resistance, heat and the section that is needed.

Sources: resistivity of nickel 6.99e-8 ohm m, 0.006 /K (materials table; other tables give 6.1 to 8.6e-8, so +-20 % is
carried along); copper IEC 60028. Cooling of a strip is a guess. Heat at a tab goes into a lithium cell: weld, do not
solder, and leave doubtful packs to a specialist.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple

from ridesim.errors import BuildError
from ridesim.units import to_si
from ridesim.workshop.limits import (
    Verdict,
    held,
    require_finite_load,
    require_known,
    require_positive,
    worst_verdict,
)
from ridesim.workshop.wire.tables import REFERENCE_C

MOHM_MM2_PER_M = {"nickel": 69.9, "copper": 17.241}
"""Resistivity at 20 degC: 6.99e-8 ohm m (materials table) and IEC 60028."""

RESISTANCE_RISE_PER_K = {"nickel": 0.006, "copper": 0.00393}
"""Same tables, at 20 degC."""

RESISTIVITY_SPREAD = {"nickel": 0.20, "copper": 0.02}
"""Nickel by alloy and supplier (tables differ by 20 %; plated steel is several times worse); copper a guess."""

STRIP_COOLING_W_PER_M2_K = 10.0
"""Still air and radiation together on a small surface (guess; 5 to 15)."""

STRIP_FREE_SHARE = 0.5
"""One face lies on the cells (guess)."""

STRIP_RISE_K = 20.0
"""Warmer than this above the cells a strip heats them (guess)."""

STRIP_RISE_STOP_K = 40.0
"""Here the strip is a heater (guess). A fuse that carries an overload for good may bring it so far, no further."""

STRIP_THICKNESSES_MM = (0.1, 0.15, 0.2, 0.25, 0.3)
"""Strips that a spot welder still welds (common practice, no source)."""

ConductorMetal = Literal["nickel", "copper"]


@dataclass(frozen=True)
class StripCheck:
    """One strip between cells; low and high span the spread of the metal's resistivity."""

    metal: str
    area_mm2: float
    resistance_mohm: float
    resistance_low_mohm: float
    resistance_high_mohm: float
    drop_v: float
    loss_w: float
    rise_k: float | None
    current_limit_a: float
    fuse_limit_a: float
    thickness_mm: float
    needed_area_mm2: float
    needed_thickness_mm: float
    current_density_a_per_mm2: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class Connector:
    """A generic plug size. Both numbers are common practice, no source: the maker's own figures decide."""

    name: str
    current_limit_a: float
    contact_mohm: float


@dataclass(frozen=True)
class ConnectorCheck:
    """One pair of contacts under load."""

    connector: str
    current_limit_a: float
    load_share: float
    loss_w: float
    smallest_that_fits: str | None
    verdict: Verdict
    reason: str


CONNECTORS: tuple[Connector, ...] = (
    Connector("round pin 2 mm", 15.0, 1.0),
    Connector("flat tab 6.3 mm", 20.0, 1.0),
    Connector("round pin 3.5 mm", 35.0, 0.6),
    Connector("round pin 4 mm", 50.0, 0.5),
    Connector("round pin 5.5 mm", 80.0, 0.3),
    Connector("round pin 6.5 mm", 110.0, 0.25),
    Connector("round pin 8 mm", 150.0, 0.2),
)
"""Small to large; ratings and contact resistances from memory, common practice, no source."""

PEAK_OVER_RATING = 2.0
"""Short peaks up to this many times the rating are commonly allowed (common practice, no source)."""

CONNECTOR_LOAD_WANTED = 0.8
"""Share of its rating at which a plug is left in peace (common practice, no source)."""


def strip_resistance_mohm(
    metal: ConductorMetal, width_mm: float, thickness_mm: float, length_mm: float, temp_c: float = REFERENCE_C
) -> float:
    """Return a strip's resistance [mohm] at a temperature. Source: `rho l / A`, tables above. Raises BuildError."""
    require_known("strip.metal", metal, tuple(MOHM_MM2_PER_M))
    require_positive("strip", width_mm=width_mm, thickness_mm=thickness_mm, length_mm=length_mm)
    warm = 1.0 + RESISTANCE_RISE_PER_K[metal] * (temp_c - REFERENCE_C)
    return MOHM_MM2_PER_M[metal] * warm * to_si(length_mm, "mm") / (width_mm * thickness_mm)


class _Heat(NamedTuple):
    """The steady heat of a strip, a metre of it: `I^2 R (1 + slope rise) = off rise`, the ends taken as no help."""

    worst_ohm_per_m: float
    slope_per_k: float
    off_w_per_m_k: float

    def rise_k(self, current_a: float) -> float | None:
        """Return how much warmer than the cells a current [A] makes it; None where it warms without end."""
        net = self.off_w_per_m_k - self.slope_per_k * current_a**2 * self.worst_ohm_per_m
        return current_a**2 * self.worst_ohm_per_m / net if net > 0.0 else None

    def current_a(self, rise_k: float) -> float:
        """Return the current that makes it so much warmer than the cells."""
        return math.sqrt(self.off_w_per_m_k * rise_k / (self.worst_ohm_per_m * (1.0 + self.slope_per_k * rise_k)))


def check_strip(
    current_a: float,
    width_mm: float,
    thickness_mm: float,
    length_mm: float,
    *,
    metal: ConductorMetal = "nickel",
    strips: int = 1,
    temp_c: float = 25.0,
    fuse_a: float | None = None,
) -> StripCheck:
    """Judge the strips that carry `current_a` (rms) side by side between cells, by how warm they get.

    `I^2 rho/(w t) (1 + a rise) = h 2 (w + t) share rise` per metre, the ends taken as no help; the needed thickness
    solves the same balance at the allowed rise, at the poor end of the resistivity. Source: steady heat balance;
    resistivity tables in the module head; cooling is a guess. Raises BuildError, RideError.
    """
    require_known("strip.metal", metal, tuple(MOHM_MM2_PER_M))
    require_finite_load("strip", current_a=current_a)
    if strips < 1:
        raise BuildError("strip.strips", f"{strips} strips (1 or more)", "count the strips side by side")
    single = strip_resistance_mohm(metal, width_mm, thickness_mm, length_mm, temp_c)
    current, spread = abs(current_a) / strips, RESISTIVITY_SPREAD[metal]
    heat = _Heat(
        single * (1.0 + spread) / length_mm,
        RESISTANCE_RISE_PER_K[metal] / (1.0 + RESISTANCE_RISE_PER_K[metal] * (temp_c - REFERENCE_C)),
        STRIP_COOLING_W_PER_M2_K * 2.0 * to_si(width_mm + thickness_mm, "mm") * STRIP_FREE_SHARE,
    )
    limit, fused = heat.current_a(STRIP_RISE_K), heat.current_a(STRIP_RISE_STOP_K)
    rise, needed = heat.rise_k(current), _needed_thickness_mm(width_mm, thickness_mm, current / limit)
    findings = [judge_strip(rise, limit * strips, needed), judge_strip_fuse(fuse_a, fused * strips)]
    verdict, reason = worst_verdict(findings, findings[0][1])
    return StripCheck(
        metal=metal,
        area_mm2=strips * width_mm * thickness_mm,
        resistance_mohm=single / strips,
        resistance_low_mohm=single / strips * (1.0 - spread),
        resistance_high_mohm=single / strips * (1.0 + spread),
        drop_v=abs(current_a) * to_si(single, "mohm") / strips,
        loss_w=current_a**2 * to_si(single, "mohm") / strips,
        rise_k=rise,
        current_limit_a=limit * strips,
        fuse_limit_a=fused * strips,
        thickness_mm=thickness_mm,
        needed_area_mm2=strips * width_mm * needed,
        needed_thickness_mm=needed,
        current_density_a_per_mm2=current / (width_mm * thickness_mm),
        verdict=verdict,
        reason=reason,
    )


def _needed_thickness_mm(width_mm: float, thickness_mm: float, overload: float) -> float:
    """Thickness at which `t (w + t)` has grown by the square of the overload: the positive root."""
    wanted = thickness_mm * (width_mm + thickness_mm) * overload**2
    return (math.sqrt(width_mm**2 + 4.0 * wanted) - width_mm) / 2.0


def judge_strip_fuse(fuse_a: float | None, bears_a: float) -> tuple[Verdict, str]:
    """Judge strips by the fuse before them: an overload that it lets pass for good must not make heaters of them."""
    words = f"a fuse of {fuse_a or 0.0:g} A before strips that bear {bears_a:.1f} A: take more or thicker ones"
    return held("strip_fuse", fuse_a, bears_a, words)


def judge_strip(rise_k: float | None, limit_a: float, needed_mm: float) -> tuple[Verdict, str]:
    """Judge strips by how warm they get above the cells they lie on."""
    if rise_k is None:
        words = f"the strip has no steady temperature; {limit_a:.1f} A is its limit"
        return held("strip_heat", math.inf, STRIP_RISE_STOP_K, words)
    words = f"{rise_k:.0f} K above the cells, {STRIP_RISE_K:.0f} K allowed ({limit_a:.1f} A); {needed_mm:.2f} mm needed"
    return held("strip_heat", rise_k, STRIP_RISE_STOP_K, words)


def choose_strip(
    current_a: float,
    fuse_a: float | None,
    width_mm: float,
    length_mm: float,
    *,
    metal: ConductorMetal = "nickel",
    strips: int = 1,
) -> StripCheck:
    """Return the thinnest strip on sale that is fine and stands its fuse, else the thickest. Sources: `check_strip`."""
    tried = [
        check_strip(current_a, width_mm, each, length_mm, metal=metal, strips=strips, fuse_a=fuse_a)
        for each in STRIP_THICKNESSES_MM
    ]
    return next((each for each in tried if each.verdict == "fine"), tried[-1])


def check_connector(
    connector: str, rms_current_a: float, peak_current_a: float = 0.0, fuse_a: float | None = None
) -> ConnectorCheck:
    """Judge a generic plug by the ride's rms and peak current, and by the fuse before it, which must not pass it.

    Ratings, 80 % of load and twice the rating in peaks are common practice, no source; a warm plug is a bad plug.
    Raises BuildError for an unknown name, RideError for a broken load.
    """
    require_known("connector", connector, tuple(each.name for each in CONNECTORS))
    require_finite_load("connector", rms_current_a=rms_current_a, peak_current_a=peak_current_a)
    kind = next(each for each in CONNECTORS if each.name == connector)
    rms, peak = abs(rms_current_a), max(abs(peak_current_a), abs(rms_current_a))
    rated = kind.current_limit_a
    name = kind.name.replace(" mm", "\N{NO-BREAK SPACE}mm")
    words = f"{rms:.0f} A on a {name} for about {rated:.0f} A"
    findings = [
        held("plug", rms, rated, words),
        held("plug_peak", peak, PEAK_OVER_RATING * rated, f"a peak of {peak:.0f} A on a {name}"),
        held("plug_fuse", fuse_a, rated, f"a fuse of {fuse_a or 0.0:g} A before a {name} for about {rated:.0f} A"),
    ]
    verdict, reason = worst_verdict(findings, words)
    wanted = max(rms / CONNECTOR_LOAD_WANTED, peak / PEAK_OVER_RATING, fuse_a or 0.0)
    fitting = next((each.name for each in CONNECTORS if each.current_limit_a >= wanted), None)
    loss = rms**2 * to_si(kind.contact_mohm, "mohm")
    return ConnectorCheck(kind.name, rated, rms / rated, loss, fitting, verdict, reason)
