"""How tight a belt may and must be, how to measure it on the bike, and where a tensioner goes.

Sources: a span's natural frequency is that of a stretched string, `f = sqrt(T/m)/(2 L)` (Mersenne; any physics text);
deflection force by statics of the same string, pressed in by 1/64 of the span as belt handbooks have it (SDP/SI,
Handbook of Timing Belts, belt tensioning, from memory: they add a few newton for the stretch of the cords, left out).
Belt mass is from memory: weigh your own and the frequency is as good as the scale.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridesim.units import from_si, to_si
from ridesim.workshop.belt.strength import LOWEST_SLACK_SHARE
from ridesim.workshop.belt.tables import belt_type
from ridesim.workshop.limits import Verdict, held, require_not_negative, require_positive, worst_verdict

DEFLECTION_SHARE = 1.0 / 64.0
"""How far the middle of a span is pressed in, as a share of its length (SDP/SI, belt tensioning, from memory)."""


@dataclass(frozen=True)
class TensionWindow:
    """Tension of a span at rest: `least_n` leaves a tenth of the pull on the slack side, `most_n` the belt's bound."""

    least_n: float
    most_n: float


@dataclass(frozen=True)
class TensionSetting:
    """A tension at rest as a builder meets it: the note of the plucked span, or the force that presses it in."""

    pretension_n: float
    span_mm: float
    span_mass_kg_per_m: float
    frequency_hz: float
    deflection_mm: float
    deflection_force_n: float


def tension_window(pull_n: float, allowed_n: float, centrifugal_n: float) -> TensionWindow:
    """Return the tensions at rest between which a pull runs without slack and without overworking the cords.

    `least = (0.1 + 0.5) pull + centrifugal`; `most = allowed - pull/2`, so that the tight side stays within what the
    belt may carry (`allowed` has the centrifugal part taken off already). Source: engineer's handbook, belt drives;
    SDP/SI table 3 read as the most a cord works at.
    """
    return TensionWindow((LOWEST_SLACK_SHARE + 0.5) * pull_n + centrifugal_n, max(0.0, allowed_n - pull_n / 2.0))


def judge_tension(pretension_n: float, pull_n: float, allowed_n: float, centrifugal_n: float) -> tuple[Verdict, str]:
    """Judge a tension at rest: too loose skips, too tight wears cords and bearings.

    `stop` where the slack side goes empty or the belt at rest already passes what it may carry.
    """
    window = tension_window(pull_n, allowed_n, centrifugal_n)
    cure = f"{window.least_n:.0f} to {window.most_n:.0f} N at rest would do"
    if window.most_n < window.least_n:
        cure = "no tension suits this pull: take a wider belt or larger pulleys"
    slack = pretension_n - pull_n / 2.0 - centrifugal_n
    tight, rest = pretension_n + pull_n / 2.0, f"{pretension_n:.0f} N a span at rest"
    findings = [
        held("belt_empty", slack, 0.0, f"slack side empty at {rest}; {cure}"),
        held("belt_tension", pretension_n, allowed_n, f"{rest} is over the {allowed_n:.0f} N allowed; {cure}"),
        held("belt_slack", pretension_n, window.least_n,
             f"slack side {slack:.0f} N, under {LOWEST_SLACK_SHARE:.0%} of the pull; {cure}"),
        held("belt_tight", tight, allowed_n, f"tight side {tight:.0f} N, over the {allowed_n:.0f} N allowed; {cure}"),
    ]  # fmt: skip
    return worst_verdict(findings, rest)


def span_frequency_hz(tension_n: float, span_mm: float, mass_kg_per_m: float) -> float:
    """Return the note of a plucked span `sqrt(T/m)/(2 L)` [Hz]. Source: Mersenne's law. Raises BuildError."""
    require_positive("belt", span_mm=span_mm, mass_kg_per_m=mass_kg_per_m)
    require_not_negative("belt", tension_n=tension_n)
    return math.sqrt(tension_n / mass_kg_per_m) / (2.0 * to_si(span_mm, "mm"))


def deflection_force_n(tension_n: float, deflection_share: float = DEFLECTION_SHARE) -> float:
    """Return the force on the middle of a span that presses it in by a share of its length [N].

    `F = 4 T s` for a small share `s`: at 1/64 it is T/16. Source: statics of a string. Raises BuildError.
    """
    require_not_negative("belt", tension_n=tension_n, deflection_share=deflection_share)
    return 4.0 * tension_n * deflection_share


def tension_setting(belt: str, width_mm: float, span_mm: float, pretension_n: float) -> TensionSetting:
    """Return how a tension at rest shows itself on a span. Raises BuildError."""
    mass = belt_type(belt).mass_kg_per_m2 * to_si(width_mm, "mm")
    return TensionSetting(
        pretension_n=pretension_n,
        span_mm=span_mm,
        span_mass_kg_per_m=mass,
        frequency_hz=span_frequency_hz(pretension_n, span_mm, mass),
        deflection_mm=from_si(to_si(span_mm, "mm") * DEFLECTION_SHARE, "mm"),
        deflection_force_n=deflection_force_n(pretension_n),
    )


def tensioner_words(brakes: bool) -> str:
    """Return where a tensioner goes. Source: SDP/SI handbook, idlers (from memory); common practice."""
    place = (
        "Tension by moving the motor in slots, clamped hard. An idler goes on the slack span only: inside the loop a "
        "toothed one near the large pulley, outside a smooth one near the small pulley, no smaller than the least "
        "teeth of the belt. The slack span is the one that runs from the driving pulley to the driven one (with the "
        "motor ahead of the wheel, the lower one, as on the pedal chain)"
    )
    if brakes:
        return f"{place}. This drive brakes too, and then the spans change places: no sprung idler, lock what you set."
    return f"{place}. A sprung idler takes up slack only while the motor never brakes."
