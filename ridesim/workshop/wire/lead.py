"""Which wire for which lead: heating for good, heating in the peak, voltage drop and loss.

Sources: `wire_heat` (Churchill and Chu 1975), `wire_ride` (Onderdonk 1928), `wire_tables` (ASTM B258-02, IEC
60228:2004). The 3 % of allowed voltage drop is common practice, no source. Hot leads beside lithium cells, high
currents and worn insulation can start a fire: fuse the pack at its terminal, and let licensed practice decide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from ridesim.errors import RideError
from ridesim.units import from_si
from ridesim.workshop.limits import (
    Verdict,
    held,
    require_known,
    require_not_negative,
    require_positive,
    worst_verdict,
)
from ridesim.workshop.wire.heat import steady_current_limit_a, steady_temp_c, verdict_on_temp
from ridesim.workshop.wire.ride import short_time_temp_c
from ridesim.workshop.wire.tables import (
    JOINT_LIMIT_C,
    Insulation,
    Wire,
    WireSystem,
    bounded_insulation,
    insulation,
    standard_wires,
)

ALLOWED_DROP_PERCENT = 3.0
"""Voltage lost in a lead at the ride's rms current, of the pack's voltage (common practice, no source)."""

AIR_C = 30.0
"""Air around the lead: a summer's day (guess)."""

LENGTHS_IN_SERIES = 2.0
"""A current goes there and back; between two motor phases it passes two leads."""

PHASE_RMS_OF_DC = math.sqrt(2.0 / 3.0)
"""Rms current in each phase lead per DC-equivalent motor current: sine drive and six-step alike (equal copper loss)."""

PHASE_CREST_OF_DC = 2.0 / math.sqrt(3.0)
"""Crest of the phase current per DC-equivalent current: what one lead carries while the motor pushes at standstill."""

LeadKind = Literal["pack", "controller", "charge", "phase"]


@dataclass(frozen=True)
class LeadLoad:
    """What a lead carries. Phase leads take the motor's DC-equivalent current; `length_m` is one way."""

    kind: LeadKind
    rms_current_a: float
    peak_current_a: float
    peak_s: float
    length_m: float
    pack_voltage_v: float


@dataclass(frozen=True)
class LeadCheck:
    """One wire under one load. `steady_c` is None when the wire would melt."""

    wire: str
    area_mm2: float
    loop_resistance_mohm: float
    conductor_rms_a: float
    current_limit_a: float
    steady_c: float | None
    peak_c: float
    drop_rms_v: float
    drop_peak_v: float
    drop_rms_percent: float
    drop_peak_percent: float
    loss_rms_w: float
    current_density_a_per_mm2: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class LeadChoice:
    """The thinnest wire that is fine, and every wire tried, thin to thick."""

    recommended: LeadCheck | None
    tried: tuple[LeadCheck, ...]
    verdict: Verdict
    reason: str


def conductor_rms_a(kind: LeadKind, current_a: float) -> float:
    """Return the rms current in one conductor: all of it, or sqrt(2/3) of the DC-equivalent motor current.

    Source: equal copper loss, 3 x (2/3) I^2 R = I^2 (2 R). Raises BuildError for an unknown kind.
    """
    require_known("wire.kind", kind, ("pack", "controller", "charge", "phase"))
    return abs(current_a) * (PHASE_RMS_OF_DC if kind == "phase" else 1.0)


def voltage_drop_v(wire: Wire, length_m: float, current_a: float, conductor_c: float) -> float:
    """Return the voltage lost there and back (or between two phases) [V], with the sign of the current.

    Source: Ohm's law with IEC 60228 or IEC 60028 resistance at temperature. Raises BuildError.
    """
    require_not_negative("wire", length_m=length_m)
    return LENGTHS_IN_SERIES * length_m * wire.resistance_ohm_per_m(conductor_c) * current_a


RMS_ROUNDING = 1.0 + 1e-6
"""A ride that keeps to one current has a mean of squares that rounding lifts above the square of its peak."""


def _require_load(load: LeadLoad) -> None:
    require_not_negative("wire", rms_current_a=load.rms_current_a, peak_s=load.peak_s, length_m=load.length_m)
    require_positive("wire", pack_voltage_v=load.pack_voltage_v)
    if not load.peak_current_a * RMS_ROUNDING >= load.rms_current_a:
        what = f"{load.peak_current_a:g} A is below the rms current ({load.rms_current_a:g} A)"
        raise RideError("wire.peak_current_a", what, "give the largest current of the same ride")


def check_lead(
    wire: Wire,
    load: LeadLoad,
    jacket: Insulation | str = "silicone",
    *,
    joint_limit_c: float = JOINT_LIMIT_C,
    air_c: float = AIR_C,
    grouping: float = 1.0,
    allowed_drop_percent: float = ALLOWED_DROP_PERCENT,
) -> LeadCheck:
    """Judge one wire: lasting temperature at the rms current, temperature after the peak on top, voltage drop.

    `stop` over what jacket and joints stand for good (for seconds, at the peak), `look again` close to it or over the
    allowed drop. The peak is taken without cooling, from the lasting temperature, in a phase lead at its crest: the
    careful side. A climb longer than the lead's time constant outruns the ride's rms: `lead_along_ride` sees it.
    Sources: module head. Raises BuildError, RideError.
    """
    _require_load(load)
    jacket = bounded_insulation(insulation(jacket) if isinstance(jacket, str) else jacket, joint_limit_c)
    rms = conductor_rms_a(load.kind, load.rms_current_a)
    peak = load.peak_current_a * (PHASE_CREST_OF_DC if load.kind == "phase" else 1.0)
    steady = steady_temp_c(wire, jacket, rms, air_c, grouping=grouping)
    warm = jacket.short_time_limit_c if steady is None else steady
    after_peak = short_time_temp_c(wire.area_mm2, peak, load.peak_s, warm)
    at_limit = min(warm, jacket.limit_c)
    drops = tuple(
        voltage_drop_v(wire, load.length_m, current, at_limit) for current in (load.rms_current_a, load.peak_current_a)
    )
    percent = tuple(from_si(drop / load.pack_voltage_v, "percent") for drop in drops)
    verdict, reason = _lead_verdict(jacket, steady, after_peak, percent[0], allowed_drop_percent)
    return LeadCheck(
        wire=wire.name,
        area_mm2=wire.area_mm2,
        loop_resistance_mohm=from_si(voltage_drop_v(wire, load.length_m, 1.0, at_limit), "mohm"),
        conductor_rms_a=rms,
        current_limit_a=steady_current_limit_a(wire, jacket, air_c, grouping=grouping),
        steady_c=steady,
        peak_c=after_peak,
        drop_rms_v=drops[0],
        drop_peak_v=drops[1],
        drop_rms_percent=percent[0],
        drop_peak_percent=percent[1],
        loss_rms_w=drops[0] * load.rms_current_a,
        current_density_a_per_mm2=rms / wire.area_mm2,
        verdict=verdict,
        reason=reason,
    )


def _lead_verdict(
    jacket: Insulation, steady_c: float | None, peak_c: float, drop_percent: float, allowed_percent: float
) -> tuple[Verdict, str]:
    if steady_c is None:
        return held("lead_heat", math.inf, jacket.limit_c, "the wire melts at the rms current")
    lasting = f"{steady_c:.0f} °C for good, {jacket.limit_words}"
    brief = f"{peak_c:.0f} °C after the peak, {jacket.short_limit_words}"
    drop = f"{drop_percent:.1f} % of the voltage lost, {allowed_percent:g} % allowed"
    findings: list[tuple[Verdict, str]] = [
        (verdict_on_temp(steady_c, jacket.limit_c), lasting),
        (verdict_on_temp(peak_c, jacket.short_time_limit_c), brief),
        held("lead_drop", drop_percent, allowed_percent, drop),
    ]
    return worst_verdict(findings, f"{lasting}; {drop}")


def choose_lead(
    load: LeadLoad,
    jacket: Insulation | str = "silicone",
    *,
    system: WireSystem = "awg",
    stranded: bool = True,
    joint_limit_c: float = JOINT_LIMIT_C,
    air_c: float = AIR_C,
    grouping: float = 1.0,
    allowed_drop_percent: float = ALLOWED_DROP_PERCENT,
) -> LeadChoice:
    """Return the thinnest standard wire whose verdict is `fine`, and all that were tried. Sources: `check_lead`.

    Raises BuildError, RideError.
    """
    tried = tuple(
        check_lead(
            wire, load, jacket, joint_limit_c=joint_limit_c, air_c=air_c, grouping=grouping,
            allowed_drop_percent=allowed_drop_percent,
        )
        for wire in standard_wires(system, stranded=stranded)
    )  # fmt: skip
    best = next((each for each in tried if each.verdict == "fine"), None)
    if best is None:
        thickest = tried[-1]
        return LeadChoice(
            None, tried, thickest.verdict, f"even {thickest.wire}: {thickest.reason}; run two in parallel"
        )
    return LeadChoice(best, tried, "fine", f"{best.wire}: {best.reason}")
