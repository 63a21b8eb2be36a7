"""The fuse of a lead: between the current that lasts and the current that wire, plug and strips stand.

Sources: sustained current <= fuse <= wire, IEC 60364-4-43, clause 433.1 (from memory); ratings from the R10 series of
preferred numbers, ISO 3 (from memory), as IEC 60127 and IEC 60269 use it, or the vehicle blade series of ISO 8820
(from memory). A fuse must be rated for the pack's full DC voltage: DC arcs do not go out by themselves.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from ridesim.errors import RideError
from ridesim.units import to_si
from ridesim.workshop.limits import (
    Verdict,
    held,
    require_known,
    require_not_negative,
    require_positive,
    worst_verdict,
)
from ridesim.workshop.wire.tables import preferred_values

R10 = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
"""Preferred numbers of one decade (ISO 3, from memory); sellers print 12.5 as 12 and 31.5 as 32."""

BLADE_RATINGS_A = (1.0, 2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 50.0, 60.0, 70.0, 80.0, 100.0)
"""Vehicle blade fuses (ISO 8820, from memory)."""

FUSE_SERIES: dict[str, tuple[float, ...]] = {
    "r10": (*preferred_values(R10, range(3)), 1000.0),
    "blade": BLADE_RATINGS_A,
}

BLADE_USUAL_V = 32.0
"""What most blade fuses are made for; above it only the kinds that say 58 V (ISO 8820, from memory)."""

LASTING_SHARE = 0.75
"""Share of its rating that a fuse is asked to carry for good (common practice, no source)."""

PEAK_SHARE = 1.35
"""From here on a blade fuse may blow within seconds to minutes (ISO 8820, from memory)."""

PEAK_S = 0.5
"""A shorter peak passes (guess; the fuse's own time-current curve decides)."""

FuseSeries = Literal["r10", "blade"]


@dataclass(frozen=True)
class FuseKind:
    """A kind of fuse on sale: up to which rating it is made, its DC voltage, and the short it breaks."""

    name: str
    up_to_a: float
    rated_voltage_v: float
    breaking_capacity_a: float


FUSE_KINDS: dict[str, tuple[FuseKind, ...]] = {
    "blade": (FuseKind("blade fuse that says 58 V DC", 100.0, 58.0, 1000.0),),
    "r10": (
        FuseKind("10 x 38\N{NO-BREAK SPACE}mm cylinder, gPV, in a holder for 1000 V DC", 32.0, 1000.0, 10000.0),
        FuseKind("14 x 51\N{NO-BREAK SPACE}mm cylinder, gPV, in a holder for 1000 V DC", 50.0, 1000.0, 10000.0),
        FuseKind("22 x 58\N{NO-BREAK SPACE}mm cylinder, gPV, in a holder for 1000 V DC", 100.0, 1000.0, 10000.0),
        FuseKind("bolt-down fuse for DC, gPV or class T", 1000.0, 125.0, 10000.0),
    ),
}
"""Sizes, voltages and breaking capacities from memory (gPV: IEC 60269-6; class T: UL 248-15; blade: ISO 8820)."""


@dataclass(frozen=True)
class FuseChoice:
    """A fuse rating and its kind, or None when no standard one lies in the window that `highest_by` closes."""

    rating_a: float | None
    series: str
    kind: FuseKind | None
    lowest_a: float
    highest_a: float
    highest_by: str
    bears_peak: bool
    dc_voltage_v: float
    short_circuit_a: float | None
    remarks: tuple[str, ...]
    verdict: Verdict
    reason: str


def choose_fuse(
    sustained_current_a: float,
    wire_limit_a: float,
    full_pack_voltage_v: float,
    *,
    peak_current_a: float = 0.0,
    peak_s: float = 0.0,
    pack_resistance_mohm: float | None = None,
    series: FuseSeries = "r10",
    guarded: Mapping[str, float] | None = None,
) -> FuseChoice:
    """Return the smallest standard rating from `sustained/0.75` to the weakest part, of those that bear the peak.

    `guarded` names what else the fuse protects with what each bears [A]: plug, strips. `pack_resistance_mohm` (cells
    and leads) gives the current a short would draw, which the fuse must break. Source: IEC 60364-4-43 clause 433.1,
    ISO 3 or ISO 8820 (all from memory); 75 % is common practice, no source. Raises BuildError, RideError.
    """
    require_known("fuse.series", series, tuple(FUSE_SERIES))
    require_positive("fuse", sustained_current_a=sustained_current_a, wire_limit_a=wire_limit_a)
    require_positive("fuse", full_pack_voltage_v=full_pack_voltage_v)
    require_not_negative("fuse", peak_current_a=peak_current_a, peak_s=peak_s)
    if peak_current_a and peak_current_a < sustained_current_a:
        what = f"{peak_current_a:g} A is below the sustained {sustained_current_a:g} A"
        raise RideError("fuse.peak_current_a", what, "give the largest current of the same ride")
    lowest = sustained_current_a / LASTING_SHARE
    weakest, highest = min({"wire": wire_limit_a, **(guarded or {})}.items(), key=lambda part: part[1])
    fitting = [each for each in FUSE_SERIES[series] if lowest <= each <= highest]
    patient = [each for each in fitting if not _may_blow(each, peak_current_a, peak_s)]
    rating = next(iter(patient or fitting), None)
    kind = None if rating is None else next((each for each in FUSE_KINDS[series] if rating <= each.up_to_a), None)
    short = _short_circuit_a(full_pack_voltage_v, pack_resistance_mohm)
    findings = [
        judge_window(rating, lowest, highest, weakest),
        *([judge_peak(rating, peak_current_a, peak_s)] if rating is not None else []),
        *judge_kind(kind, series, full_pack_voltage_v, short),
    ]
    named = f", {kind.name}" if kind is not None else ""
    verdict, reason = worst_verdict(findings, f"{findings[0][1]}{named}")
    remarks = _remarks(full_pack_voltage_v, short)
    return FuseChoice(
        rating, series, kind, lowest, highest, weakest, bool(patient), full_pack_voltage_v, short, remarks, verdict,
        reason,
    )  # fmt: skip


def _short_circuit_a(voltage_v: float, resistance_mohm: float | None) -> float | None:
    if resistance_mohm is None:
        return None
    require_positive("fuse", pack_resistance_mohm=resistance_mohm)
    return voltage_v / to_si(resistance_mohm, "mohm")


def _remarks(voltage_v: float, short_a: float | None) -> tuple[str, ...]:
    remarks = [
        f"the fuse must say DC and at least {voltage_v:.0f} V: an AC or 32 V fuse can go on burning as an arc",
        "set it at the pack's positive terminal, before any lead that could chafe",
    ]
    if short_a is not None:
        remarks.append(f"its breaking capacity must exceed {short_a:.0f} A, what a short would draw")
    return tuple(remarks)


def _may_blow(rating_a: float, peak_a: float, peak_s: float) -> bool:
    return peak_a > PEAK_SHARE * rating_a and peak_s > PEAK_S


def judge_window(rating_a: float | None, lowest_a: float, highest_a: float, weakest: str) -> tuple[Verdict, str]:
    """Judge whether a standard rating lies between the load and the weakest part it guards."""
    if rating_a is None:
        cure = {"wire": "take a thicker wire", "plug": "take a larger plug", "strips": "take thicker or more strips"}
        ends = f"no standard rating between {lowest_a:.1f} A (load) and {highest_a:.1f} A ({weakest})"
        return held("fuse", math.inf, highest_a, f"{ends}: {cure.get(weakest, 'take a stronger one')}")
    words = f"{rating_a:g} A lies between {lowest_a:.1f} A (load) and {highest_a:.1f} A ({weakest})"
    return held("fuse", rating_a, highest_a, words)


def judge_peak(rating_a: float, peak_a: float, peak_s: float) -> tuple[Verdict, str]:
    """Judge whether the ride's peak may blow the fuse."""
    lasting = peak_a if peak_s > PEAK_S else 0.0
    words = f"{rating_a:g} A, but {peak_a:.0f} A for {peak_s:g} s may blow it"
    return held("fuse_peak", lasting, PEAK_SHARE * rating_a, words)


def judge_kind(
    kind: FuseKind | None, series: str, voltage_v: float, short_a: float | None
) -> list[tuple[Verdict, str]]:
    """Judge a kind of fuse by the pack's voltage and by the short that it must break."""
    if kind is None:
        return []
    arc = f"{kind.name.partition(' that')[0]}: made for {kind.rated_voltage_v:.0f} V DC at most"
    if series == "blade":
        arc = f"blade fuses: most are made for {BLADE_USUAL_V:.0f} V, none above {kind.rated_voltage_v:.0f} V DC"
    over = f"{arc}; a pack of {voltage_v:.0f} V keeps an arc burning in it, take --fuse r10"
    bursts = f"{kind.name} breaks {kind.breaking_capacity_a:.0f} A (from memory), a short draws {short_a or 0.0:.0f} A"
    return [
        held("fuse_voltage", voltage_v, kind.rated_voltage_v, over),
        held("fuse_breaking", short_a, kind.breaking_capacity_a, bursts),
    ]
