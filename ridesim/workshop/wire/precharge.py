"""Plugging in without a spark: the resistor that fills a controller's capacitors first.

Source: first-order RC charging and the series RLC step response, textbook closed forms. Resistances follow E12 of IEC
60063. A resistor is chosen by time, by the spark that is left while the controller already draws its standby power,
and by heat, a shorted controller included. The charge left in
a controller after unplugging is dangerous to cells, connectors and fingers alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridesim.errors import BuildError
from ridesim.units import from_si, to_si
from ridesim.workshop.limits import (
    Verdict,
    held,
    require_not_negative,
    require_positive,
    worst_verdict,
)
from ridesim.workshop.wire.tables import preferred_values

E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
"""Resistor values of one decade (IEC 60063)."""

RESISTORS_OHM = preferred_values(E12, range(5))

LOOP_RESISTANCE_MOHM = 60.0
"""Cells, leads and capacitors in series while plugging in (guess)."""

LOOP_INDUCTANCE_UH = 1.0
"""A metre of paired lead (guess: 0.5 to 1 microhenry a metre)."""

HOLD_S = 2.0
"""How long the button is held where nobody says (guess)."""

PATIENCE_S = 5.0
"""Longer than this nobody holds the button (guess)."""

GAP_WANTED_PERCENT = 5.0
GAP_ALLOWED_PERCENT = 15.0
"""Voltage left between pack and capacitors at closing that leaves no spark, a small one (guesses)."""


RESISTOR_W = (1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 25.0, 50.0, 100.0)
"""Ratings of wirewound resistors on sale (common practice, no source)."""

PULSE_J_PER_W = 25.0
"""Heat a wirewound resistor takes at once for each watt of its rating: five times its rating for 5 s (makers' overload
test, IEC 60115, from memory)."""

RESISTOR_KIND = "wirewound on ceramic, a film resistor burns open"
"""What bears the pulse (common practice, no source)."""


@dataclass(frozen=True)
class Precharge:
    """One resistor on one capacitor. `closing` is the main contact closing after the 99 % time.

    `worst_energy_j`: held as long as `hold_s` on a controller that is shorted. `buy_w` None: no single resistor.
    """

    resistor_ohm: float
    buy_w: float | None
    buy_kind: str
    hold_s: float
    standby_current_a: float
    worst_energy_j: float
    time_constant_s: float
    time_to_95_percent_s: float
    time_to_99_percent_s: float
    resistor_energy_j: float
    resistor_peak_w: float
    resistor_mean_w: float
    first_current_a: float
    inrush_without_a: float
    gap_at_closing_v: float
    closing_current_a: float
    verdict: Verdict
    reason: str


def inrush_current_a(voltage_v: float, capacitance_uf: float, loop_ohm: float, inductance_uh: float) -> float:
    """Return the peak current of a voltage step on a series R, L, C [A].

    `V / sqrt(L/C) * exp(-a t)`, `a = R/(2 L)`, t the time of the peak (under- and over-damped alike); `V/R` without
    inductance. Source: series RLC step response, textbook closed form. Raises BuildError.
    """
    require_positive("precharge", capacitance_uf=capacitance_uf, loop_ohm=loop_ohm)
    require_not_negative("precharge", voltage_v=voltage_v, inductance_uh=inductance_uh)
    if inductance_uh == 0.0:
        return voltage_v / loop_ohm
    inductance, capacitance = to_si(inductance_uh, "uh"), to_si(capacitance_uf, "uf")
    damping, ringing_squared = loop_ohm / (2.0 * inductance), 1.0 / (inductance * capacitance)
    difference = ringing_squared - damping**2
    root = math.sqrt(abs(difference))
    if root < 1e-6 * damping:  # critical damping: both branches tend to this
        peak_time = 1.0 / damping
    elif difference > 0.0:
        peak_time = math.atan2(root, damping) / root
    else:
        peak_time = math.log((damping + root) ** 2 / ringing_squared) / (2.0 * root)
    return voltage_v * math.sqrt(capacitance / inductance) * math.exp(-damping * peak_time)


def check_precharge(
    pack_voltage_v: float,
    capacitance_uf: float,
    resistor_ohm: float,
    *,
    hold_s: float = HOLD_S,
    standby_current_a: float = 0.0,
    loop_resistance_mohm: float = LOOP_RESISTANCE_MOHM,
    loop_inductance_uh: float = LOOP_INDUCTANCE_UH,
) -> Precharge:
    """Judge a pre-charge resistor: times, pulse energy and power, and the spark that is left.

    `tau = R C`; energy in the resistor = energy in the capacitor = `C V^2/2`, whatever R; peak power `V^2/R`. A
    controller that draws `standby_current_a` keeps `I R` across the resistor for good; one that is shorted puts
    `V^2/R` on it for as long as it is held, and the watts to buy bear that. Source: first-order RC,
    textbook. Raises BuildError.
    """
    require_positive("precharge", pack_voltage_v=pack_voltage_v, capacitance_uf=capacitance_uf)
    require_positive("precharge", resistor_ohm=resistor_ohm, loop_resistance_mohm=loop_resistance_mohm)
    require_not_negative("precharge", standby_current_a=standby_current_a)
    capacitance, loop_ohm = to_si(capacitance_uf, "uf"), to_si(loop_resistance_mohm, "mohm")
    time_constant = resistor_ohm * capacitance
    to_99 = time_constant * math.log(100.0)
    energy = 0.5 * capacitance * pack_voltage_v**2
    standing = min(pack_voltage_v, standby_current_a * resistor_ohm)
    gap = standing + 0.01 * (pack_voltage_v - standing)
    worst = max(energy, pack_voltage_v**2 / resistor_ohm * hold_s)
    buy = next((each for each in RESISTOR_W if worst <= PULSE_J_PER_W * each), None)
    verdict, reason = judge_precharge(to_99, gap, pack_voltage_v, buy)
    return Precharge(
        resistor_ohm=resistor_ohm,
        buy_w=buy,
        buy_kind=RESISTOR_KIND,
        hold_s=hold_s,
        standby_current_a=standby_current_a,
        worst_energy_j=worst,
        time_constant_s=time_constant,
        time_to_95_percent_s=time_constant * math.log(20.0),
        time_to_99_percent_s=to_99,
        resistor_energy_j=energy,
        resistor_peak_w=pack_voltage_v**2 / resistor_ohm,
        resistor_mean_w=energy * (1.0 - 0.01**2) / to_99,
        first_current_a=pack_voltage_v / resistor_ohm,
        inrush_without_a=inrush_current_a(pack_voltage_v, capacitance_uf, loop_ohm, loop_inductance_uh),
        gap_at_closing_v=gap,
        closing_current_a=inrush_current_a(gap, capacitance_uf, loop_ohm, loop_inductance_uh),
        verdict=verdict,
        reason=reason,
    )


def choose_precharge(
    pack_voltage_v: float,
    capacitance_uf: float,
    *,
    hold_s: float = HOLD_S,
    standby_current_a: float = 0.0,
    loop_resistance_mohm: float = LOOP_RESISTANCE_MOHM,
    loop_inductance_uh: float = LOOP_INDUCTANCE_UH,
) -> Precharge:
    """Return the E12 resistor that fills in time with the least watts, and of those the one that leaves the least gap.

    In time: 99 % within `hold_s`. Only where no such value leaves `GAP_WANTED_PERCENT` or less, the one with the least
    gap. Source: first-order RC, textbook; E12 of IEC 60063. Raises BuildError when no value is quick enough.
    """
    require_positive("precharge", hold_s=hold_s, capacitance_uf=capacitance_uf)
    largest = hold_s / (math.log(100.0) * to_si(capacitance_uf, "uf"))
    tried = [
        check_precharge(
            pack_voltage_v, capacitance_uf, each, hold_s=hold_s, standby_current_a=standby_current_a,
            loop_resistance_mohm=loop_resistance_mohm, loop_inductance_uh=loop_inductance_uh,
        )
        for each in RESISTORS_OHM if each <= largest
    ]  # fmt: skip
    if not tried:
        least_s = RESISTORS_OHM[0] * math.log(100.0) * to_si(capacitance_uf, "uf")
        raise BuildError("precharge.hold_s", f"{hold_s:g} s is too short (above {least_s:.2g} s)", "hold it longer")
    buyable = [each for each in tried if each.buy_w is not None]
    good = [each for each in buyable if each.gap_at_closing_v <= to_si(GAP_WANTED_PERCENT, "percent") * pack_voltage_v]
    if good:
        return min(good, key=lambda each: (each.buy_w, each.gap_at_closing_v))
    return min(buyable or tried, key=lambda each: each.gap_at_closing_v)


def judge_precharge(to_99_s: float, gap_v: float, voltage_v: float, buy_w: float | None) -> tuple[Verdict, str]:
    """Judge a pre-charge by the spark that is left, the patience it asks, and whether one resistor bears it."""
    percent = from_si(gap_v / voltage_v, "percent")
    left = f"{gap_v:.1f} V are left at closing ({percent:.0f} % of the pack): the controller draws while it fills"
    findings: list[tuple[Verdict, str]] = [
        held("precharge_gap", percent, GAP_ALLOWED_PERCENT, left),
        held("precharge_time", to_99_s, PATIENCE_S, f"99 % take {to_99_s:.1f} s"),
        ("fine" if buy_w is not None else "look again", f"no resistor up to {RESISTOR_W[-1]:.0f} W bears a short"),
    ]
    return worst_verdict(findings, f"99 % in {to_99_s:.2f} s, {gap_v:.1f} V left at closing")
