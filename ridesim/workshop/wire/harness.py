"""All the copper of a bike at once: leads, fuse, plug, strips and pre-charge for the currents of a ride.

Each lead is the thinnest standard wire that is fine for good, in the peak, by voltage drop, and along the ride's course
where there is one; the pack's lead also leaves room for a standard fuse between the load and the wire's limit.
Sources stand in `wire_lead`, `wire_ride`, `fuse`, `contacts` and `precharge`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from ridesim.answers import Answer
from ridesim.bike.schema import Build
from ridesim.errors import RideError
from ridesim.ride.judge import look_again
from ridesim.workshop.limits import Verdict, require_between, require_positive, worst_verdict
from ridesim.workshop.wire.contacts import (
    CONNECTORS,
    ConductorMetal,
    ConnectorCheck,
    StripCheck,
    check_connector,
    check_strip,
    choose_strip,
)
from ridesim.workshop.wire.flows import Currents
from ridesim.workshop.wire.fuse import FuseChoice, FuseSeries, choose_fuse
from ridesim.workshop.wire.lead import (
    AIR_C,
    ALLOWED_DROP_PERCENT,
    PHASE_RMS_OF_DC,
    LeadCheck,
    LeadKind,
    LeadLoad,
    check_lead,
)
from ridesim.workshop.wire.precharge import HOLD_S, Precharge, choose_precharge
from ridesim.workshop.wire.ride import LeadRide, lead_along_ride
from ridesim.workshop.wire.tables import (
    JOINT_LIMIT_C,
    Insulation,
    Wire,
    WireSystem,
    bounded_insulation,
    grouping_factor,
    insulation,
    standard_wires,
)

STRIP_WIDTH_MM, STRIP_THICKNESS_MM = 8.0, 0.15
"""The nickel strip most often sold for 18650 cells (common practice, no source)."""

LEADS_TOGETHER: dict[LeadKind, int] = {"pack": 2, "controller": 2, "phase": 3, "charge": 2}
"""Loaded leads that usually lie in one sleeve: there and back, or the three of a motor (common practice, no source)."""

UNCOOLED_S = 10.0
"""How long heating without cooling holds (Onderdonk, as `wire_ride`)."""

FUSED: tuple[LeadKind, ...] = ("pack", "controller", "charge")
"""Leads that the pack feeds into a short; a thinner lead behind a branch needs a fuse of its own where it leaves the
thicker one (IEC 60364-4-43, clause 433.2, from memory)."""

CONDUCTOR_METALS: tuple[ConductorMetal, ...] = ("nickel", "copper")
STRIP_GAP_MM = 2.0
"""Between neighbouring cells, holders included (guess)."""

CAUTIONS: tuple[str, ...] = (
    "A pack gives hundreds of ampere into a short: insulate tools, take off rings and watch, fuse at the pack first.",
    "Hot leads beside lithium cells start fires: keep them apart, guard them against chafing, mind every crimp.",
    "Weld strips; do not solder on cells. Where you are not sure, let a licensed workshop do it.",
)
"""Common practice, no source."""


@dataclass(frozen=True)
class Strip:
    """The strips side by side between two groups of cells."""

    width_mm: float = STRIP_WIDTH_MM
    thickness_mm: float = STRIP_THICKNESS_MM
    length_mm: float = 20.0
    strips: int = 1
    metal: ConductorMetal = "nickel"
    given: bool = True
    """False: a guess, whose thickness may be chosen."""


@dataclass(frozen=True)
class Habits:
    """How the bike is wired. Lengths are one way; `controller_length_m` is from the pack's lead to each of several.

    `joint_limit_c` is what solder, sleeves and hands stand around the leads; `leads_together` in one sleeve, None: each
    kind in a sleeve of its own (`LEADS_TOGETHER`). `standby_power_w` is what a controller draws while it fills; it and
    `capacitance_uf` are of one controller.
    """

    pack_length_m: float = 1.0
    controller_length_m: float = 0.3
    phase_length_m: float = 0.5
    charge_length_m: float = 1.5
    jacket: str = "silicone"
    joint_limit_c: float = JOINT_LIMIT_C
    leads_together: int | None = None
    system: WireSystem = "awg"
    air_c: float = AIR_C
    allowed_drop_percent: float = ALLOWED_DROP_PERCENT
    fuse_series: FuseSeries = "r10"
    connector: str | None = None
    strip: Strip | None = None
    capacitance_uf: float | None = None
    hold_s: float = HOLD_S
    standby_power_w: float = 0.0

    def grouping(self, kind: LeadKind) -> float:
        """Return the share of its current that a lead keeps in its bunch. Raises BuildError."""
        return grouping_factor(LEADS_TOGETHER[kind] if self.leads_together is None else self.leads_together)


@dataclass(frozen=True, eq=False)
class Lead:
    """One lead: the wire to take (None: none on the list is fine), every wire tried, and its course along the ride."""

    kind: LeadKind
    load: LeadLoad
    chosen: LeadCheck | None
    tried: tuple[LeadCheck, ...]
    along: LeadRide | None
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class Allowed:
    """Copper for all that the controllers may draw, for good, where the ride's own fuse is smaller than that."""

    pack_current_a: float
    wire: str | None
    fuse_a: float | None


BY_HAND = "numbers by hand"
FUSE_HOLDS = 1.1
"""Times its rating a fuse carries for hours (ISO 8820, from memory)."""


@dataclass(frozen=True, eq=False, repr=False)
class Harness(Answer):
    """All the copper of a bike. Parts that nobody asked about are None.

    With several controllers `precharge` and `controller_fuse` are of each one, `shared_precharge` is one
    resistor before all of them: the builder takes either, so that the verdict is of the better one.
    """

    currents: Currents
    jacket: str
    joint_limit_c: float
    leads: tuple[Lead, ...]
    fuse: FuseChoice | None
    controller_fuse: FuseChoice | None
    charge_fuse: FuseChoice | None
    connector: ConnectorCheck | None
    strip: StripCheck | None
    precharge: Precharge | None
    shared_precharge: Precharge | None
    verdict: Verdict
    reason: str
    cautions: tuple[str, ...] = CAUTIONS
    loaded_by: str = BY_HAND
    allowed: Allowed | None = None
    drives: tuple[Harness, ...] = ()
    """Of two different drives: leads, fuse and pre-charge of each controller, behind what both share."""


def strip_of(build: Build) -> Strip:
    """Return the usual nickel strip between two groups of a build's pack, one strip a cell (a guess)."""
    cell = build.pack.cell
    return Strip(length_mm=cell.diameter_mm + STRIP_GAP_MM, strips=build.pack.parallel, given=False)


def habits_of(build: Build) -> Habits:
    """Return the usual habits with a build's own strips, and what each controller holds and draws while it charges."""
    box = build.controller
    return Habits(strip=strip_of(build), capacitance_uf=box.capacitance_uf, standby_power_w=box.standby_power_w)


def design_harness(currents: Currents, habits: Habits, loaded_by: str = BY_HAND) -> Harness:
    """Choose and judge every lead, the fuses, the plug, the strips and the pre-charge; `loaded_by` says by what ride.

    The fuse never passes what wire, named plug and given strips bear; a plug or a strip that is proposed stands it.
    Raises RidesimError.
    """
    require_positive("wire", full_voltage_v=currents.full_voltage_v, nominal_voltage_v=currents.nominal_voltage_v)
    require_between("wire", "joint_limit_c", habits.joint_limit_c, 40.0, 250.0)
    leads = {load.kind: _choose(load, currents, habits) for load in _loads(currents, habits)}
    if not leads:
        raise RideError("wire", "no current is given", "give --pack-rms-a, --motor-rms-a or --charge-a, or a BUILD")
    pack, charge, branch = leads.get("pack"), leads.get("charge"), leads.get("controller")
    fuse = _fuse(pack, currents, habits, _guarded(currents, habits)) if pack else None
    rating = fuse.rating_a if fuse else None
    connector = _connector(currents, habits, rating) if pack else None
    strip = _strip(currents, habits.strip, rating) if pack and habits.strip else None
    controller_fuse = _fuse(branch, currents, habits) if branch else None
    charge_fuse = _fuse(charge, currents, habits) if charge else None
    own, shared = _precharges(currents, habits)
    parts = (("fuse", fuse), ("controller fuse", controller_fuse), ("charge fuse", charge_fuse), ("plug", connector),
             ("strips", strip), ("pre-charge", _better(own, shared)))  # fmt: skip
    findings = [(lead.verdict, f"{kind} lead: {lead.reason}") for kind, lead in leads.items()]
    findings += [(part.verdict, f"{name}: {part.reason}") for name, part in parts if part is not None]
    if currents.cut_short:
        findings.append((look_again("arrival", currents.cut_short).verdict, currents.cut_short))
    verdict, reason = worst_verdict(findings, "; ".join(f"{kind} lead {_name(lead)}" for kind, lead in leads.items()))
    return Harness(
        currents, habits.jacket, habits.joint_limit_c, tuple(leads.values()), fuse, controller_fuse, charge_fuse,
        connector, strip, own, shared, verdict, reason, loaded_by=loaded_by,
        allowed=_allowed(rating, currents, habits),
    )  # fmt: skip


def _allowed(rating_a: float | None, currents: Currents, habits: Habits) -> Allowed | None:
    """What full throttle for good would take, where it blows the fuse that this ride asks for."""
    each = currents.controller_limit_a
    if rating_a is None or each is None or currents.controllers * each <= FUSE_HOLDS * rating_a:
        return None
    most = currents.controllers * each
    full = replace(
        currents, pack_rms_a=most, pack_peak_a=most, pack_sustained_a=most, time_s=None, pack_along_a=None,
        motor_along_a=None,
    )  # fmt: skip
    lead = _choose(next(load for load in _loads(full, habits) if load.kind == "pack"), full, habits)
    return Allowed(most, lead.chosen.wire if lead.chosen else None, _fuse(lead, full, habits).rating_a)


def _guarded(currents: Currents, habits: Habits) -> dict[str, float]:
    """What the main fuse must not pass because it is named and stays as it is [A]."""
    found = {}
    if habits.connector is not None:
        found["plug"] = check_connector(habits.connector, currents.pack_rms_a).current_limit_a
    if habits.strip is not None and habits.strip.given:
        found["strips"] = _strip(currents, habits.strip, None).fuse_limit_a
    return found


def _precharges(currents: Currents, habits: Habits) -> tuple[Precharge | None, Precharge | None]:
    """The resistor before each controller, and the one before several of them (None for a single one)."""
    if habits.capacitance_uf is None:
        return None, None
    standby, volts = habits.standby_power_w / currents.full_voltage_v, currents.full_voltage_v
    several = (1,) if currents.controllers == 1 else (1, currents.controllers)
    found = [
        choose_precharge(volts, each * habits.capacitance_uf, hold_s=habits.hold_s, standby_current_a=each * standby)
        for each in several
    ]
    return found[0], found[1] if len(found) > 1 else None


def _better(own: Precharge | None, shared: Precharge | None) -> Precharge | None:
    return shared if own and shared and own.verdict != "fine" == shared.verdict else own


def _name(lead: Lead) -> str:
    return lead.chosen.wire if lead.chosen else "none"


def _loads(currents: Currents, habits: Habits) -> list[LeadLoad]:
    c, h, volts = currents, habits, currents.nominal_voltage_v
    longest = UNCOOLED_S if c.time_s is not None else math.inf  # a longer peak is seen along the ride
    pack_s, motor_s, branch = min(c.pack_peak_s, longest), min(c.motor_peak_s, longest), c.of_controller
    wished = [
        LeadLoad("pack", c.pack_rms_a, c.pack_peak_a, pack_s, h.pack_length_m, volts),
        LeadLoad("controller", branch.rms_a, branch.peak_a, pack_s, h.controller_length_m, volts),
        LeadLoad("phase", c.motor_rms_a, c.motor_peak_a, motor_s, h.phase_length_m, volts),
        LeadLoad("charge", c.charge_a, c.charge_a, 0.0, h.charge_length_m, volts),
    ]
    return [load for load in wished if load.rms_current_a > 0.0]


def _choose(load: LeadLoad, currents: Currents, habits: Habits) -> Lead:
    """The thinnest wire that is fine by every measure, the ride's course included."""
    jacket = insulation(habits.jacket)
    tried: list[LeadCheck] = []
    along: LeadRide | None = None
    fused = load.kind in FUSED
    for wire in standard_wires(habits.system):
        check = check_lead(
            wire, load, jacket, joint_limit_c=habits.joint_limit_c, air_c=habits.air_c,
            grouping=habits.grouping(load.kind), allowed_drop_percent=habits.allowed_drop_percent,
        )  # fmt: skip
        tried.append(check)
        if check.verdict != "fine":
            continue
        if fused and not _guardable(check, load.kind, currents, habits):
            continue  # nothing could guard this wire: the next one carries more
        along = _along(wire, jacket, load.kind, currents, habits)
        if along is None or along.verdict == "fine":
            guarded = "; a standard fuse guards it" if fused else ""
            words = f"{check.wire}: {check.reason}{guarded}"
            return Lead(load.kind, load, check, tuple(tried), along, "fine", words)
    reason = along.reason if along is not None and tried[-1].verdict == "fine" else tried[-1].reason
    worst: Verdict = "look again" if tried[-1].verdict == "fine" else tried[-1].verdict
    words = f"even {tried[-1].wire}: {reason}; run two in parallel"
    return Lead(load.kind, load, None, tuple(tried), along, worst, words)


def _guardable(check: LeadCheck, kind: LeadKind, currents: Currents, habits: Habits) -> bool:
    """Whether a standard rating that bears the peak lies within what a wire carries for good."""
    load = _fused_load(kind, currents)
    return choose_fuse(**load, wire_limit_a=check.current_limit_a, series=habits.fuse_series).bears_peak


def _along(wire: Wire, jacket: Insulation, kind: LeadKind, currents: Currents, habits: Habits) -> LeadRide | None:
    course = currents.along(kind)
    if course is None or currents.time_s is None:
        return None
    share = PHASE_RMS_OF_DC if kind == "phase" else 1.0
    bounded = bounded_insulation(jacket, habits.joint_limit_c)
    return lead_along_ride(
        wire, bounded, currents.time_s, abs(course) * share, air_c=habits.air_c, grouping=habits.grouping(kind)
    )


def _fused_load(kind: LeadKind, currents: Currents) -> dict[str, Any]:
    """What a fused lead asks of its fuse: a charger gives its current for hours, and the pack feeds its shorts."""
    c = currents
    shared = {"full_pack_voltage_v": c.full_voltage_v, "pack_resistance_mohm": c.pack_resistance_mohm}
    if kind == "charge":
        return {**shared, "sustained_current_a": c.charge_a}
    flow = c.of_controller if kind == "controller" else c.of_pack
    sustained = max(flow.sustained_a, flow.rms_a)
    return {**shared, "sustained_current_a": sustained, "peak_current_a": max(flow.peak_a, sustained),
            "peak_s": c.pack_peak_s}  # fmt: skip


def _fuse(lead: Lead, currents: Currents, habits: Habits, guarded: dict[str, float] | None = None) -> FuseChoice:
    wire = lead.chosen or lead.tried[-1]
    return choose_fuse(
        **_fused_load(lead.kind, currents), wire_limit_a=wire.current_limit_a, series=habits.fuse_series,
        guarded=guarded,
    )  # fmt: skip


def _connector(currents: Currents, habits: Habits, fuse_a: float | None) -> ConnectorCheck:
    """The plug that was named, or the smallest that is left in peace and stands its fuse."""
    largest = check_connector(CONNECTORS[-1].name, currents.pack_rms_a, currents.pack_peak_a, fuse_a)
    name = habits.connector or largest.smallest_that_fits or CONNECTORS[-1].name
    return check_connector(name, currents.pack_rms_a, currents.pack_peak_a, fuse_a)


def _proposed_strip(current_a: float, strip: Strip, fuse_a: float | None) -> StripCheck:
    """Nickel where it is enough, else copper; where neither is, that is worth a look: nobody said what the pack has."""
    for metal in CONDUCTOR_METALS:
        found = choose_strip(current_a, fuse_a, strip.width_mm, strip.length_mm, metal=metal, strips=strip.strips)
        if found.verdict == "fine":
            return found
    return replace(found, verdict="look again", reason=f"no usual strip is enough: {found.reason}")


def _strip(currents: Currents, strip: Strip, fuse_a: float | None) -> StripCheck:
    current = max(currents.pack_sustained_a, currents.pack_rms_a)
    if not strip.given:
        return _proposed_strip(current, strip, fuse_a)
    return check_strip(
        current, strip.width_mm, strip.thickness_mm, strip.length_mm, metal=strip.metal, strips=strip.strips,
        fuse_a=fuse_a,
    )  # fmt: skip
