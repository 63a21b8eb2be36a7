"""Plugging in without a spark: the resistor that fills a controller's capacitors first.

Source: first-order RC charging and the series RLC step response, textbook closed forms. Resistances follow E12 of IEC
60063. The charge left in a controller after unplugging is dangerous to cells, connectors and fingers alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridesim.errors import BuildError
from ridesim.units import from_si, to_si
from ridesim.workshop.limits import (
    Verdict,
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

PATIENCE_S = 5.0
"""Longer than this nobody holds the button (guess)."""

GAP_WANTED_PERCENT = 5.0
GAP_ALLOWED_PERCENT = 15.0
"""Voltage left between pack and capacitors at closing that leaves no spark, a small one (guesses)."""


@dataclass(frozen=True)
class Precharge:
    """One resistor on one capacitor. `closing` is the main contact closing after the 99 % time."""

    resistor_ohm: float
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
    standby_current_a: float = 0.0,
    loop_resistance_mohm: float = LOOP_RESISTANCE_MOHM,
    loop_inductance_uh: float = LOOP_INDUCTANCE_UH,
) -> Precharge:
    """Judge a pre-charge resistor: times, pulse energy and power, and the spark that is left.

    `tau = R C`; energy in the resistor = energy in the capacitor = `C V^2/2`, whatever R; peak power `V^2/R`. A
    controller that draws `standby_current_a` keeps `I R` across the resistor for good. Source: first-order RC,
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
    verdict, reason = _precharge_verdict(to_99, gap, pack_voltage_v)
    return Precharge(
        resistor_ohm=resistor_ohm,
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
    hold_s: float = 2.0,
    standby_current_a: float = 0.0,
    loop_resistance_mohm: float = LOOP_RESISTANCE_MOHM,
    loop_inductance_uh: float = LOOP_INDUCTANCE_UH,
) -> Precharge:
    """Return the largest E12 resistor that reaches 99 % within `hold_s`, judged by `check_precharge`.

    Source: first-order RC, textbook; E12 of IEC 60063. Raises BuildError when no value is slow and large enough.
    """
    require_positive("precharge", hold_s=hold_s, capacitance_uf=capacitance_uf)
    largest = hold_s / (math.log(100.0) * to_si(capacitance_uf, "uf"))
    fitting = [each for each in RESISTORS_OHM if each <= largest]
    if not fitting:
        least_s = RESISTORS_OHM[0] * math.log(100.0) * to_si(capacitance_uf, "uf")
        raise BuildError("precharge.hold_s", f"{hold_s:g} s is too short (above {least_s:.2g} s)", "hold it longer")
    return check_precharge(
        pack_voltage_v, capacitance_uf, fitting[-1], standby_current_a=standby_current_a,
        loop_resistance_mohm=loop_resistance_mohm, loop_inductance_uh=loop_inductance_uh,
    )  # fmt: skip


def _precharge_verdict(to_99_s: float, gap_v: float, voltage_v: float) -> tuple[Verdict, str]:
    percent = from_si(gap_v / voltage_v, "percent")
    spark: Verdict = "fine" if percent <= GAP_WANTED_PERCENT else "look again"
    if percent > GAP_ALLOWED_PERCENT:
        spark = "stop"
    slow: Verdict = "fine" if to_99_s <= PATIENCE_S else "look again"
    findings = [
        (
            spark,
            f"{gap_v:.1f} V are left at closing ({percent:.0f} % of the pack): the controller draws while it fills",
        ),
        (slow, f"99 % take {to_99_s:.1f} s"),
    ]
    return worst_verdict(findings, f"99 % in {to_99_s:.2f} s, {gap_v:.1f} V left at closing")
