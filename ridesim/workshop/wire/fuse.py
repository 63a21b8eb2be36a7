"""The fuse of a lead: between the current that lasts and the current the wire stands.

Sources: sustained current <= fuse <= wire, IEC 60364-4-43, clause 433.1 (from memory); ratings from the R10 series of
preferred numbers, ISO 3 (from memory), as IEC 60127 and IEC 60269 use it, or the vehicle blade series of ISO 8820
(from memory). A fuse must be rated for the pack's full DC voltage: DC arcs do not go out by themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ridesim.errors import RideError
from ridesim.workshop.limits import Verdict, require_known, require_not_negative, require_positive, worst_verdict
from ridesim.workshop.wire.tables import preferred_values

R10 = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
"""Preferred numbers of one decade (ISO 3, from memory); sellers print 12.5 as 12 and 31.5 as 32."""

BLADE_RATINGS_A = (1.0, 2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 50.0, 60.0, 70.0, 80.0, 100.0)
"""Vehicle blade fuses (ISO 8820, from memory). Many are for 32 V DC only: too little for most bike packs."""

FUSE_SERIES: dict[str, tuple[float, ...]] = {
    "r10": (*preferred_values(R10, range(3)), 1000.0),
    "blade": BLADE_RATINGS_A,
}

LASTING_SHARE = 0.75
"""Share of its rating that a fuse is asked to carry for good (common practice, no source)."""

PEAK_SHARE = 1.35
"""From here on a blade fuse may blow within seconds to minutes (ISO 8820, from memory)."""

PEAK_S = 0.5
"""A shorter peak passes (guess; the fuse's own time-current curve decides)."""

FuseSeries = Literal["r10", "blade"]


@dataclass(frozen=True)
class FuseChoice:
    """A fuse rating, or None when no standard one lies in the window."""

    rating_a: float | None
    series: str
    lowest_a: float
    highest_a: float
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
) -> FuseChoice:
    """Return the smallest standard rating with `sustained/0.75 <= rating <= wire limit`, of those that bear the peak.

    `pack_resistance_mohm` (cells and leads) gives the current a short would draw, which the fuse's breaking capacity
    must exceed. Source: IEC 60364-4-43 clause 433.1, ISO 3 or ISO 8820 (all from memory); 75 % is common practice, no
    source. Raises BuildError, RideError.
    """
    require_known("fuse.series", series, tuple(FUSE_SERIES))
    require_positive("fuse", sustained_current_a=sustained_current_a, wire_limit_a=wire_limit_a)
    require_positive("fuse", full_pack_voltage_v=full_pack_voltage_v)
    require_not_negative("fuse", peak_current_a=peak_current_a, peak_s=peak_s)
    if peak_current_a and peak_current_a < sustained_current_a:
        what = f"{peak_current_a:g} A is below the sustained {sustained_current_a:g} A"
        raise RideError("fuse.peak_current_a", what, "give the largest current of the same ride")
    lowest = sustained_current_a / LASTING_SHARE
    fitting = [each for each in FUSE_SERIES[series] if lowest <= each <= wire_limit_a]
    patient = [each for each in fitting if not _may_blow(each, peak_current_a, peak_s)]
    rating = next(iter(patient or fitting), None)
    short = _short_circuit_a(full_pack_voltage_v, pack_resistance_mohm)
    remarks = _remarks(full_pack_voltage_v, short)
    verdict, reason = _fuse_verdict(rating, lowest, wire_limit_a, peak_current_a, peak_s)
    return FuseChoice(rating, series, lowest, wire_limit_a, full_pack_voltage_v, short, remarks, verdict, reason)


def _short_circuit_a(voltage_v: float, resistance_mohm: float | None) -> float | None:
    if resistance_mohm is None:
        return None
    require_positive("fuse", pack_resistance_mohm=resistance_mohm)
    return voltage_v / resistance_mohm * 1e3


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


def _fuse_verdict(
    rating_a: float | None, lowest_a: float, highest_a: float, peak_a: float, peak_s: float
) -> tuple[Verdict, str]:
    if rating_a is None:
        return "stop", f"no standard rating between {lowest_a:.1f} and {highest_a:.1f} A: take a thicker wire"
    words = f"{rating_a:g} A lies between {lowest_a:.1f} A (load) and {highest_a:.1f} A (wire)"
    peak: Verdict = "look again" if _may_blow(rating_a, peak_a, peak_s) else "fine"
    return worst_verdict([(peak, f"{words}, but {peak_a:.0f} A for {peak_s:g} s may blow it")], words)
