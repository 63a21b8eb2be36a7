"""Rewinding a three-phase motor: from today's turns, strands, wire and connection to the next winding's numbers.

Scaling at one tooth layout, textbook (Hendershot and Miller 2010, Design of Brushless Permanent-Magnet Machines,
from memory). With N turns a tooth, `a` parallel paths a phase and a conductor of area A_c (all strands):
`Kv ~ a / N`, `R ~ N / (A_c a^2)`. In terms of the copper in the slot, A = N A_c, that is `R ~ N^2 / A`.
Star from delta: Kv / sqrt(3), R 3 times (line to line).
Copper loss at a torque T: `P = R (T / Kt)^2`, `Kt = 60 / (2 pi Kv)`; it depends on A alone, not on N.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridesim.errors import RideError
from ridesim.units import from_si, to_si
from ridesim.workshop.limits import Verdict, held, require_positive, worst_verdict
from ridesim.workshop.winding.motor import (
    PHASES,
    Winding,
    WoundMotor,
    copper_mass_kg,
    resistance_from_length_mohm,
    slot_fill,
    wire_current_a,
)
from ridesim.workshop.winding.ridden import RiddenWinding

USUAL_SLOT_FILL = 0.40
"""Copper over slot area of careful winding by hand with round wire; common practice, no source."""
HIGHEST_SLOT_FILL = 0.50
"""Copper over slot area beyond the reach of most hands and round wire; common practice, no source."""
SQUARE_FILL = math.pi / 4.0
"""Round wires side by side in rows and columns, bare: no hand lays them denser (geometry)."""
USUAL_DENSITY = 6.0
"""A/mm^2, upper end of the continuous rule 3 to 6; rule of thumb, from memory."""
HIGHEST_DENSITY = 10.0
"""A/mm^2, the same rule's short-time value; rule of thumb, from memory."""
MIXED_RESISTANCE_SPREAD = 0.30
"""Measured to computed resistance of today's winding beyond which turns or lengths are doubted; a guess."""


@dataclass(frozen=True)
class Rewind:
    """A winding and what the motor becomes with it, at 20 degC; None where the motor's data do not tell.

    `heat_ratio` is copper loss to today's at the same torque; `slot_fill` is bare copper over slot area;
    `current_a` is DC-equivalent; `current_density_a_per_mm2` is rms in the wire;
    `resistance_from_length_mohm` is computed from the wire, to hold against the scaled measurement.
    """

    winding: Winding
    kv_rpm_per_v: float
    resistance_mohm: float
    torque_per_current_nm_per_a: float
    heat_ratio: float
    copper_area_ratio: float
    slot_fill: float | None
    copper_mass_kg: float | None
    resistance_from_length_mohm: float | None
    current_a: float | None
    current_density_a_per_mm2: float | None
    copper_loss_w: float | None
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class Candidate:
    """One whole-turn winding for a wanted Kv, how far it misses, and its ride where a build was named."""

    kv_error_percent: float
    result: Rewind
    ridden: RiddenWinding | None = None


def rewind(
    motor: WoundMotor, new: Winding, sustained_torque_nm: float | None = None, *, ridden: bool = False
) -> Rewind:
    """What `motor` becomes with the winding `new`: Kv, resistance, fill, copper mass, heat at the same torque.

    `sustained_torque_nm` [N m, shaft and drag together] adds current, density and copper loss at 20 degC. `ridden`: a
    ride judges the heat, so that the rule of thumb on current density is silent; it never stops a winding.
    Raises RidesimError for a torque that is not above zero, or paths that the teeth do not divide into.
    Source: scaling laws at the head of this module.
    """
    old = motor.winding
    if motor.coils % (PHASES * new.parallel_paths):
        raise RideError(
            "new winding", f"parallel_paths = {new.parallel_paths}", f"{motor.coils} coils cannot be so divided"
        )
    kv = motor.kv_rpm_per_v * _kv_factor(new) / _kv_factor(old)
    resistance = motor.resistance_mohm * _resistance_factor(new) / _resistance_factor(old)
    constant = 1.0 / to_si(kv, "rpm_per_v")
    heat_ratio = resistance / motor.resistance_mohm * (kv / motor.kv_rpm_per_v) ** 2
    current = density = loss = None
    if sustained_torque_nm is not None:
        require_positive("rewind", sustained_torque_nm=sustained_torque_nm)
        current = sustained_torque_nm / constant
        density = wire_current_a(current, new) / new.conductor_area_mm2
        loss = current**2 * to_si(resistance, "mohm")
    area_ratio = new.copper_area_mm2 / old.copper_area_mm2
    fill = slot_fill(motor, new)
    verdict, reason = _judge(motor, fill, area_ratio, None if ridden else density)
    return Rewind(
        new, kv, resistance, constant, heat_ratio, area_ratio, fill, copper_mass_kg(motor, new),
        resistance_from_length_mohm(motor, new), current, density, loss, verdict, reason,
    )  # fmt: skip


def windings_for_kv(
    motor: WoundMotor,
    wanted_kv_rpm_per_v: float,
    wire_diameter_mm: float,
    max_slot_fill: float = USUAL_SLOT_FILL,
    max_kv_error_percent: float = 10.0,
    sustained_torque_nm: float | None = None,
    *,
    ridden: bool = False,
) -> tuple[Candidate, ...]:
    """Whole-turn windings of this wire near the wanted Kv [rpm/V], star and delta, the nearest Kv first.

    Each has as many strands as fit (fewer fit too, and run hotter): copper up to `max_slot_fill` of the slot, or up to
    today's copper where the slot area is not known. Parallel paths stay as they are.
    Raises RidesimError when no winding of this wire fits within the error. Source: as `rewind`, inverted.
    """
    require_positive("rewind", wanted_kv_rpm_per_v=wanted_kv_rpm_per_v, max_kv_error_percent=max_kv_error_percent)
    require_positive("rewind", max_slot_fill=max_slot_fill, wire_diameter_mm=wire_diameter_mm)
    if max_slot_fill > HIGHEST_SLOT_FILL:
        raise RideError(
            "rewind", f"max_slot_fill = {max_slot_fill:g} (to {HIGHEST_SLOT_FILL:g})", "no hand winds denser"
        )
    found = []
    for one_turn in _one_turn_windings(motor, wire_diameter_mm):
        exact_turns = rewind(motor, one_turn).kv_rpm_per_v / wanted_kv_rpm_per_v
        for turns in {max(1, math.floor(exact_turns)), math.ceil(exact_turns)}:
            strands = _strands_that_fit(motor, one_turn, turns, max_slot_fill)
            error = from_si(exact_turns / turns - 1.0, "percent")
            if strands and abs(error) <= max_kv_error_percent:
                new = Winding(turns, strands, wire_diameter_mm, one_turn.connection, one_turn.parallel_paths)
                found.append(Candidate(error, rewind(motor, new, sustained_torque_nm, ridden=ridden)))
    if not found:
        what = f"no whole turns of {wire_diameter_mm:g} mm wire reach {wanted_kv_rpm_per_v:g} rpm/V"
        raise RideError("rewind", what, "try thinner wire or allow a larger error of Kv")
    return tuple(sorted(found, key=lambda one: (abs(one.kv_error_percent), one.result.heat_ratio)))


def _kv_factor(winding: Winding) -> float:
    star = winding.parallel_paths / winding.turns
    return star if winding.connection == "star" else star * math.sqrt(3.0)


def _resistance_factor(winding: Winding) -> float:
    star = winding.turns / (winding.conductor_area_mm2 * winding.parallel_paths**2)
    return star if winding.connection == "star" else star / 3.0


def _one_turn_windings(motor: WoundMotor, wire_diameter_mm: float) -> tuple[Winding, Winding]:
    paths = motor.winding.parallel_paths
    return Winding(1, 1, wire_diameter_mm, "star", paths), Winding(1, 1, wire_diameter_mm, "delta", paths)


def _strands_that_fit(motor: WoundMotor, one_turn: Winding, turns: int, max_slot_fill: float) -> int:
    fill = slot_fill(motor, one_turn)
    if fill is None:
        strands = motor.winding.copper_area_mm2 / (one_turn.copper_area_mm2 * turns)
    else:
        strands = max_slot_fill / (fill * turns)
    # Today's own winding must count as fitting, in spite of rounding.
    return math.floor(strands * (1.0 + 1e-12))


def _judge(motor: WoundMotor, fill: float | None, area_ratio: float, density: float | None) -> tuple[Verdict, str]:
    """The worst of slot fill, current density and the plausibility of today's data, in this order."""
    measured, computed = motor.resistance_mohm, resistance_from_length_mohm(motor, motor.winding)
    findings = []
    if fill is not None:
        findings.append(held("slot_fill", fill, SQUARE_FILL, f"slot fill {fill:.2f}: {_fill_words(fill)}"))
    else:
        words = f"{area_ratio:.2f} times today's copper: measure the slot, it may not fit"
        findings.append(held("slot_copper", area_ratio, 1.0, words))
    if density is not None:
        bursts = f"{HIGHEST_DENSITY:g} is for short bursts; name a BUILD, and its ride judges the heat"
        words = bursts if density > HIGHEST_DENSITY else f"3 to {USUAL_DENSITY:g} is usual"
        findings.append(held("copper_density", density, USUAL_DENSITY, f"{density:.1f} A/mm² sustained: {words}"))
    if computed is not None:
        words = f"today's wire computes to {computed:.3g} mΩ, measured {measured:.3g}: count it again"
        findings.append(held("wire_counted", abs(measured / computed - 1.0), MIXED_RESISTANCE_SPREAD, words))
    calm = "the copper fits the slot" if fill is not None else "no more copper than today"
    worst = worst_verdict(findings, calm)[0]
    return next((each for each in findings if each[0] == worst != "fine"), ("fine", calm))


def _fill_words(fill: float) -> str:
    if fill > SQUARE_FILL:
        return f"round wires laid in rows fill {SQUARE_FILL:.2f} without any enamel"
    if fill > HIGHEST_SLOT_FILL:
        return f"round wire by hand hardly reaches {HIGHEST_SLOT_FILL:g}"
    return f"hands reach {USUAL_SLOT_FILL:g} with care"
