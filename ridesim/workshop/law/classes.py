"""Power, speed and assist classes of published rules, as data; and which of them a build falls in.

Facts with document and year; where only a secondary page was read or a number comes from memory, the note says so.
None of this is legal advice: local law and licensed advice decide, and rules change.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from ridesim.errors import RideError
from ridesim.units import to_si
from ridesim.workshop.limits import Verdict, held, require_positive, worst_verdict

Throttle = Literal["none", "start-up aid", "allowed"]
DISCLAIMER = (
    "This is no legal advice: local law and licensed advice decide, rules change, and a class here says nothing "
    "about insurance, equipment, paths or age where you ride."
)
KM_H_PER_MPH = to_si(1.0, "mph") / to_si(1.0, "km_h")
START_UP_AID_KM_H = 6.0
"""km/h, motor without pedalling, EN 15194:2009 (read in a secondary page)."""
SPEED_ROUNDING_KM_H = 0.05 * KM_H_PER_MPH
"""Slack of an upper speed limit, half the last digit of "15.5 mph": 25.0 km/h is what that rule is set to in practice
(15.5 mph are 24.945 km/h)."""
EN_15194_VOLTAGE_V = 48.0
"""V DC nominal, highest pack voltage of EN 15194:2009 (secondary)."""
EN_15194_DETAILS: tuple[str, ...] = (
    "A maker's bike is tested with ±10 % on the 25 km/h cut-off: a tolerance of the test, no margin to design with.",
    f"Start-up aid without pedalling to {START_UP_AID_KM_H:g} km/h.",
    "The assist stops within 2 m of the last pedal stroke, 5 m with a brake switch.",
    f"Up to {EN_15194_VOLTAGE_V:g} V DC.",
)
"""EN 15194:2009, read in a secondary page."""


@dataclass(frozen=True)
class LegalClass:
    """One class of one rule. Limits include their end unless `below` says that they must be undercut.

    `motor_speed_km_h` is the speed up to which the motor may drive; with `on_level` the speed that the motor alone
    reaches on the level counts, not the faster one at which it would still help down a hill. `throttle`: motor without
    pedalling.
    `as_bicycle`: the rule treats the vehicle as a cycle (no type approval).
    """

    jurisdiction: str
    name: str
    document: str
    year: int
    rated_power_w: float
    motor_speed_km_h: float
    throttle: Throttle
    pedals: bool
    as_bicycle: bool
    below: bool = False
    on_level: bool = False
    voltage_v: float | None = None
    note: str = ""


EU_PEDELEC = LegalClass(
    "European Union", "pedelec, exempt from type approval", "Regulation (EU) 168/2013, Art. 2(2)(h); EN 15194:2009",
    2013, 250.0, 25.0, "start-up aid", pedals=True, as_bicycle=True, voltage_v=EN_15194_VOLTAGE_V,
    note="Maximum continuous rated power. The assist falls progressively, is cut before 25 km/h and stops when "
    "pedalling stops; start-up aid to 6 km/h and 48 V DC are EN 15194's (secondary).",
)  # fmt: skip
EU_L1E_A = LegalClass(
    "European Union", "L1e-A, powered cycle", "Regulation (EU) 168/2013, Annex I", 2013, 1000.0, 25.0, "allowed",
    pedals=True, as_bicycle=False, note="Needs type approval. Pedals: from memory.",
)  # fmt: skip
EU_L1E_B = LegalClass(
    "European Union", "L1e-B, moped", "Regulation (EU) 168/2013, Annex I", 2013, 4000.0, 45.0, "allowed",
    pedals=False, as_bicycle=False, on_level=True,
    note="Needs type approval, registration and a licence. The design speed counts, on the level. Assist factor up to "
    "4 with pedals: from memory.",
)  # fmt: skip
GB_EAPC = LegalClass(
    "Great Britain", "electrically assisted pedal cycle", "Department for Transport, EAPC information sheet", 2015,
    250.0, 15.5 * KM_H_PER_MPH, "start-up aid", pedals=True, as_bicycle=True,
    note="Continuous rated power; rider 14 or older; no weight limit since 6 April 2015. Motor without pedalling "
    "beyond 6 km/h needs an approval: from memory. A proposal for 500 W was not adopted.",
)  # fmt: skip
US_CLASS_1 = LegalClass(
    "United States, national parks", "class 1", "36 CFR 1.4", 2020, 750.0, 20.0 * KM_H_PER_MPH, "none",
    pedals=True, as_bicycle=True, note="Assist only while pedalling. States have rules of their own. Year from memory.",
)  # fmt: skip
US_CLASS_2 = LegalClass(
    "United States, national parks", "class 2", "36 CFR 1.4", 2020, 750.0, 20.0 * KM_H_PER_MPH, "allowed",
    pedals=True, as_bicycle=True, note="The motor may drive alone. States have rules of their own. Year from memory.",
)  # fmt: skip
US_CLASS_3 = LegalClass(
    "United States, national parks", "class 3", "36 CFR 1.4", 2020, 750.0, 28.0 * KM_H_PER_MPH, "none",
    pedals=True, as_bicycle=True, note="Assist only while pedalling. States have rules of their own. Year from memory.",
)  # fmt: skip
US_PRODUCT = LegalClass(
    "United States, consumer product", "low-speed electric bicycle", "15 U.S.C. 2085", 2002, 750.0,
    20.0 * KM_H_PER_MPH, "allowed", pedals=True, as_bicycle=True, below=True, on_level=True,
    note="Less than 750 W (1 hp) and less than 20 mph on the level on the motor alone, rider of 170 lb. Year, weight: "
    "from memory. The speed counts the motor alone; with assist only while pedalling it is not limited by this text.",
)  # fmt: skip
CLASSES: tuple[LegalClass, ...] = (
    EU_PEDELEC, EU_L1E_A, EU_L1E_B, GB_EAPC, US_CLASS_1, US_CLASS_2, US_CLASS_3, US_PRODUCT,
)  # fmt: skip
"""Every class, the friendlier first within its jurisdiction."""
JURISDICTIONS: tuple[str, ...] = tuple(dict.fromkeys(rule.jurisdiction for rule in CLASSES))


@dataclass(frozen=True)
class ClassCheck:
    """One class held against a build; `changes` lists what keeps the build out of it, empty when it fits."""

    rule: LegalClass
    changes: tuple[str, ...]


@dataclass(frozen=True)
class LegalFinding:
    """One jurisdiction: the friendliest class that fits (None: none here), and what a friendlier one would take."""

    jurisdiction: str
    rule: LegalClass | None
    friendlier: tuple[ClassCheck, ...]
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class LawReport:
    """All jurisdictions asked for. `verdict` is the worst of theirs; `disclaimer` belongs to every print of it."""

    findings: tuple[LegalFinding, ...]
    verdict: Verdict
    reason: str
    disclaimer: str = DISCLAIMER


@dataclass(frozen=True)
class _Facts:
    rated_power_w: float
    motor_speed_km_h: float
    throttle_speed_km_h: float
    alone_on_level_km_h: float
    on_level_km_h: float
    pedals: bool
    pack_voltage_v: float | None


def classify(
    rated_power_w: float,
    assist_cutoff_speed_km_h: float | None,
    throttle: bool,
    pedals: bool,
    top_speed_km_h: float,
    throttle_cutoff_speed_km_h: float | None = None,
    unloaded_speed_km_h: float | None = None,
    pack_voltage_v: float | None = None,
    jurisdictions: tuple[str, ...] = JURISDICTIONS,
) -> LawReport:
    """Which class of each published rule a build falls in, and what would have to change for a friendlier one.

    `rated_power_w`: continuous rated, not peak. `assist_cutoff_speed_km_h`: where the motor stops helping; None for
    no cut-off. `throttle`: the motor can drive without pedalling, to `throttle_cutoff_speed_km_h` (None: as the
    assist). `top_speed_km_h`: the motor alone on the level. `unloaded_speed_km_h`: where the motor runs out of voltage
    on a full pack and can help no more (None: the top speed, a little low). `pack_voltage_v`: nominal, or None.
    Raises RidesimError for numbers not above zero, an unknown jurisdiction, or neither throttle nor pedals.
    Sources: the documents named in CLASSES. No legal advice.
    """
    fastest = top_speed_km_h if unloaded_speed_km_h is None else unloaded_speed_km_h
    throttle_cut = assist_cutoff_speed_km_h if throttle_cutoff_speed_km_h is None else throttle_cutoff_speed_km_h
    given = {
        "rated_power_w": rated_power_w, "top_speed_km_h": top_speed_km_h, "unloaded_speed_km_h": fastest,
        "assist_cutoff_speed_km_h": assist_cutoff_speed_km_h, "throttle_cutoff_speed_km_h": throttle_cut,
        "pack_voltage_v": pack_voltage_v,
    }  # fmt: skip
    require_positive("legal class", **{name: value for name, value in given.items() if value is not None})
    _check_sense(throttle, pedals, top_speed_km_h, fastest, jurisdictions)
    assisted = min(fastest, assist_cutoff_speed_km_h or math.inf) if pedals else 0.0
    throttled = min(fastest, throttle_cut or math.inf) if throttle else 0.0
    alone = min(throttled, top_speed_km_h)
    # Without a throttle the motor never drives alone: then the speed to which it helps is what a design speed can mean.
    level = alone if throttle else assisted
    facts = _Facts(rated_power_w, max(assisted, throttled), throttled, alone, level, pedals, pack_voltage_v)
    findings = tuple(_find(name, facts) for name in dict.fromkeys(jurisdictions))
    worded = [(finding.verdict, f"{finding.jurisdiction}: {finding.reason}") for finding in findings]
    worst, reason = worst_verdict(worded, "; ".join(words for _, words in worded))
    return LawReport(findings, worst, reason)


def _check_sense(
    throttle: bool, pedals: bool, top_speed_km_h: float, fastest_km_h: float, jurisdictions: tuple[str, ...]
) -> None:
    if not (throttle or pedals):
        raise RideError("legal class", "neither throttle nor pedals", "say how the motor is told to drive")
    if fastest_km_h < top_speed_km_h:
        what = f"unloaded_speed_km_h = {fastest_km_h:g} (at least top_speed_km_h = {top_speed_km_h:g})"
        raise RideError("legal class", what, "no motor drives faster than it spins unloaded")
    unknown = [name for name in jurisdictions if name not in JURISDICTIONS]
    if unknown or not jurisdictions:
        what = f"unknown jurisdiction {unknown[0]!r}" if unknown else "no jurisdiction"
        raise RideError("legal class", what, "choose from: " + ", ".join(JURISDICTIONS))


def start_up_power_w(mass_kg: float, distance_m: float, time_s: float) -> float:
    """Power [W] that brings a mass [kg] over a distance [m] from rest in a time [s], `2 m D^2 / T^3`.

    Raises RidesimError for values not above zero. Source: EN 15194:2009 Annex D, alternative method (secondary page).
    """
    require_positive("start-up power", mass_kg=mass_kg, distance_m=distance_m, time_s=time_s)
    return 2.0 * mass_kg * distance_m**2 / time_s**3


def _find(jurisdiction: str, facts: _Facts) -> LegalFinding:
    passed_over: list[ClassCheck] = []
    for rule in CLASSES:
        if rule.jurisdiction != jurisdiction:
            continue
        changes = tuple(_changes(rule, facts))
        if not changes:
            more = "" if rule.as_bicycle else ": needs type approval, which a home build rarely has"
            found = held("law_approval", float(not rule.as_bicycle), 0.0, f"{rule.name}{more}")
            return LegalFinding(jurisdiction, rule, tuple(passed_over), *found)
        passed_over.append(ClassCheck(rule, changes))
    fewest = min(len(each.changes) for each in passed_over)
    found = held("law_class", float(fewest), 0.0, "no class of these rules fits this build")
    return LegalFinding(jurisdiction, None, tuple(passed_over), *found)


def _changes(rule: LegalClass, facts: _Facts) -> list[str]:
    """What would have to change for the build to fall in `rule`."""
    changes = []
    word = "below" if rule.below else "at most"
    limited_speed = _counted_speed(rule, facts)
    slack = 0.0 if rule.below else SPEED_ROUNDING_KM_H
    if _over(facts.rated_power_w, rule.rated_power_w, rule.below):
        now = _now(facts.rated_power_w, rule.rated_power_w or 0.0)
        changes.append(f"rated power {word} {rule.rated_power_w:g} W (now {now} W)")
    if _over(limited_speed, rule.motor_speed_km_h + slack, rule.below):
        # Rounded down, so that a build set to the printed number fits.
        shown = math.floor(10.0 * rule.motor_speed_km_h) / 10.0
        where = " on the level" if rule.on_level else ""
        changes.append(f"motor drives to {word} {shown:g} km/h{where} (now {_now(limited_speed, shown)} km/h)")
    aid = START_UP_AID_KM_H if rule.throttle == "start-up aid" else 0.0
    if rule.throttle != "allowed" and facts.throttle_speed_km_h > aid:
        changes.append(f"throttle only to {aid:g} km/h" if aid else "no throttle: motor only while pedalling")
    if rule.pedals and not facts.pedals:
        changes.append("working pedals")
    if rule.voltage_v is not None and facts.pack_voltage_v is not None and facts.pack_voltage_v > rule.voltage_v:
        changes.append(f"pack of at most {rule.voltage_v:g} V nominal (now {facts.pack_voltage_v:g})")
    return changes


def _now(value: float, limit: float) -> str:
    """Return a figure to three digits, or to four where three would read as the limit itself."""
    three = float(f"{value:.3g}")
    return f"{three:g}" if three > limit else f"{value:.4g}"


def _counted_speed(rule: LegalClass, facts: _Facts) -> float:
    if not rule.on_level:
        return facts.motor_speed_km_h
    # The American text counts the motor alone and nothing else.
    return facts.alone_on_level_km_h if rule.below else facts.on_level_km_h


def _over(value: float, limit: float, below: bool) -> bool:
    return value >= limit if below else value > limit


PLACES = {
    "eu": ("European Union",),
    "gb": ("Great Britain",),
    "us": ("United States, national parks", "United States, consumer product"),
}
"""Short names of where rules hold, as people ask for them."""


def places_named(where: Iterable[str] | None) -> tuple[str, ...]:
    """Return the jurisdictions of short names (`eu`, `gb`, `us`), all of them for none. Raises RideError."""
    found: list[str] = []
    for place in where or ():
        if place.lower() not in PLACES:
            raise RideError("--where", f"{place!r} is not known ({', '.join(PLACES)})", "choose one of them")
        found += PLACES[place.lower()]
    return tuple(dict.fromkeys(found)) or JURISDICTIONS
