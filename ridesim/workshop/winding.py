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
from numbers import Integral
from typing import Literal

from ridesim.errors import RideError
from ridesim.units import RPM

Verdict = Literal["fine", "look again", "stop"]
Connection = Literal["star", "delta"]

COPPER_RESISTIVITY_OHM_M = 1.7241e-8
"""Ohm m at 20 degC, IEC 60028:1925."""
COPPER_DENSITY_KG_PER_M3 = 8890.0
"""kg/m^3 at 20 degC, IEC 60028:1925, from memory."""
AWG_BASE_MM, AWG_RATIO, AWG_STEPS, AWG_ORIGIN = 0.127, 92.0, 39.0, 36
"""Bare diameter `0.127 mm * 92^((36 - n)/39)`, ASTM B258-02."""
AWG_RANGE = (0, 44)
"""Gauges that anyone winds with; common practice, no source."""
USUAL_SLOT_FILL = 0.40
"""Copper over slot area of careful winding by hand with round wire; common practice, no source."""
HIGHEST_SLOT_FILL = 0.50
"""Copper over slot area beyond the reach of hands and round wire; common practice, no source."""
USUAL_DENSITY = 6.0
"""A/mm^2, upper end of the continuous rule 3 to 6; rule of thumb, from memory."""
HIGHEST_DENSITY = 10.0
"""A/mm^2, the same rule's short-time value; rule of thumb, from memory."""
MIXED_RESISTANCE_SPREAD = 0.30
"""Measured to computed resistance of today's winding beyond which turns or lengths are doubted; a guess."""
PHASES = 3
RMS_PER_DC_EQUIVALENT = math.sqrt(2.0 / 3.0)
"""Rms line current over DC-equivalent current: the same for a sine drive and for six-step blocks (closed form)."""


@dataclass(frozen=True)
class Winding:
    """What is on the teeth. `turns` per tooth; `strands` in hand; bare wire diameter; parallel paths a phase."""

    turns: int
    strands: int
    wire_diameter_mm: float
    connection: Connection
    parallel_paths: int = 1

    def __post_init__(self) -> None:
        _whole("winding", turns=self.turns, strands=self.strands, parallel_paths=self.parallel_paths)
        _positive("winding", wire_diameter_mm=self.wire_diameter_mm)
        if self.connection not in ("star", "delta"):
            raise RideError("winding", f"connection = {self.connection!r} (star, delta)", "choose one of the two")

    @property
    def conductor_area_mm2(self) -> float:
        """Copper of all strands of one turn, mm^2."""
        return self.strands * math.pi / 4.0 * self.wire_diameter_mm**2

    @property
    def copper_area_mm2(self) -> float:
        """Copper of one side of one tooth's coil, mm^2."""
        return self.turns * self.conductor_area_mm2


@dataclass(frozen=True)
class WoundMotor:
    """A motor with its present winding, measured Kv and line-to-line resistance at 20 degC.

    `wound_teeth` is below `teeth` when only every other tooth carries a coil. There are as many slots as teeth;
    `slot_area_mm2` is the window of one slot inside its liner. `mean_turn_length_mm` is once round a tooth.
    """

    winding: Winding
    kv_rpm_per_v: float
    resistance_mohm: float
    teeth: int
    wound_teeth: int | None = None
    slot_area_mm2: float | None = None
    mean_turn_length_mm: float | None = None

    def __post_init__(self) -> None:
        _positive("motor", kv_rpm_per_v=self.kv_rpm_per_v, resistance_mohm=self.resistance_mohm)
        for name in ("slot_area_mm2", "mean_turn_length_mm"):
            value = getattr(self, name)
            if value is not None:
                _positive("motor", **{name: value})
        _whole("motor", teeth=self.teeth, wound_teeth=self.coils)
        if self.coils > self.teeth or self.coils % (PHASES * self.winding.parallel_paths):
            what = f"{self.coils} wound of {self.teeth} teeth, {self.winding.parallel_paths} parallel paths"
            raise RideError("motor", what, "each of three phases needs equal paths of whole coils")

    @property
    def coils(self) -> int:
        """Teeth that carry a coil."""
        return self.teeth if self.wound_teeth is None else self.wound_teeth


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
    """One whole-turn winding for a wanted Kv, and how far it misses."""

    kv_error_percent: float
    result: Rewind


def wire_diameter_of_gauge_mm(gauge: int) -> float:
    """Bare diameter [mm] of an AWG number, 0 to 44. Raises RideError outside. Source: ASTM B258-02."""
    if not isinstance(gauge, Integral) or not AWG_RANGE[0] <= gauge <= AWG_RANGE[1]:
        raise RideError("wire gauge", f"AWG {gauge} (whole, {AWG_RANGE[0]} to {AWG_RANGE[1]})", "or give the diameter")
    return AWG_BASE_MM * AWG_RATIO ** ((AWG_ORIGIN - gauge) / AWG_STEPS)


def rewind(motor: WoundMotor, new: Winding, sustained_torque_nm: float | None = None) -> Rewind:
    """What `motor` becomes with the winding `new`: Kv, resistance, fill, copper mass, heat at the same torque.

    `sustained_torque_nm` [N m, shaft and drag together] adds current, density and copper loss at 20 degC.
    Raises RideError for a torque that is not above zero, or paths that the teeth do not divide into.
    Source: scaling laws at the head of this module.
    """
    old = motor.winding
    if motor.coils % (PHASES * new.parallel_paths):
        raise RideError(
            "new winding", f"parallel_paths = {new.parallel_paths}", f"{motor.coils} coils cannot be so divided"
        )
    kv = motor.kv_rpm_per_v * _kv_factor(new) / _kv_factor(old)
    resistance = motor.resistance_mohm * _resistance_factor(new) / _resistance_factor(old)
    constant = 1.0 / (RPM * kv)
    heat_ratio = resistance / motor.resistance_mohm * (kv / motor.kv_rpm_per_v) ** 2
    current = density = loss = None
    if sustained_torque_nm is not None:
        _positive("rewind", sustained_torque_nm=sustained_torque_nm)
        current = sustained_torque_nm / constant
        density = wire_current_a(current, new) / new.conductor_area_mm2
        loss = current**2 * resistance * 1e-3
    area_ratio = new.copper_area_mm2 / old.copper_area_mm2
    fill = _slot_fill(motor, new)
    verdict, reason = _judge(motor, fill, area_ratio, density)
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
) -> tuple[Candidate, ...]:
    """Whole-turn windings of this wire near the wanted Kv [rpm/V], star and delta, the nearest Kv first.

    Each has as many strands as fit (fewer fit too, and run hotter): copper up to `max_slot_fill` of the slot, or up to
    today's copper where the slot area is not known. Parallel paths stay as they are.
    Raises RideError when no winding of this wire fits within the error. Source: as `rewind`, inverted.
    """
    _positive("rewind", wanted_kv_rpm_per_v=wanted_kv_rpm_per_v, max_kv_error_percent=max_kv_error_percent)
    _positive("rewind", max_slot_fill=max_slot_fill, wire_diameter_mm=wire_diameter_mm)
    if max_slot_fill > HIGHEST_SLOT_FILL:
        raise RideError(
            "rewind", f"max_slot_fill = {max_slot_fill:g} (to {HIGHEST_SLOT_FILL:g})", "no hand winds denser"
        )
    found = []
    for one_turn in _one_turn_windings(motor, wire_diameter_mm):
        exact_turns = rewind(motor, one_turn).kv_rpm_per_v / wanted_kv_rpm_per_v
        for turns in {max(1, math.floor(exact_turns)), math.ceil(exact_turns)}:
            strands = _strands_that_fit(motor, one_turn, turns, max_slot_fill)
            error = 100.0 * (exact_turns / turns - 1.0)
            if strands and abs(error) <= max_kv_error_percent:
                new = Winding(turns, strands, wire_diameter_mm, one_turn.connection, one_turn.parallel_paths)
                found.append(Candidate(error, rewind(motor, new, sustained_torque_nm)))
    if not found:
        what = f"no whole turns of {wire_diameter_mm:g} mm wire reach {wanted_kv_rpm_per_v:g} rpm/V"
        raise RideError("rewind", what, "try thinner wire or allow a larger error of Kv")
    return tuple(sorted(found, key=lambda one: (abs(one.kv_error_percent), one.result.heat_ratio)))


def wire_current_a(current_a: float, winding: Winding) -> float:
    """Rms current [A] in one path of a winding at a DC-equivalent current [A]: sqrt(2/3) in the line,
    a sqrt(3)-th of that in a delta's phases. Closed form, for sine and for six-step drives alike."""
    line = RMS_PER_DC_EQUIVALENT * current_a
    phase = line if winding.connection == "star" else line / math.sqrt(3.0)
    return phase / winding.parallel_paths


def copper_mass_kg(motor: WoundMotor, winding: Winding) -> float | None:
    """Bare copper on the teeth [kg], or None without a mean turn length. Source: geometry, IEC 60028 density."""
    if motor.mean_turn_length_mm is None:
        return None
    volume_mm3 = motor.coils * winding.copper_area_mm2 * motor.mean_turn_length_mm
    return volume_mm3 * 1e-9 * COPPER_DENSITY_KG_PER_M3


def resistance_from_length_mohm(motor: WoundMotor, winding: Winding) -> float | None:
    """Line-to-line resistance [mOhm] at 20 degC from the wire's length, or None without a mean turn length.

    Ends and leads are left out, so a measured value is a little higher. Source: `rho l / A`, IEC 60028:1925.
    """
    if motor.mean_turn_length_mm is None:
        return None
    coils_in_path = motor.coils / (PHASES * winding.parallel_paths)
    length_m = coils_in_path * winding.turns * motor.mean_turn_length_mm * 1e-3
    path_ohm = COPPER_RESISTIVITY_OHM_M * length_m / (winding.conductor_area_mm2 * 1e-6)
    phase_ohm = path_ohm / winding.parallel_paths
    return 1e3 * phase_ohm * (2.0 if winding.connection == "star" else 2.0 / 3.0)


def _kv_factor(winding: Winding) -> float:
    star = winding.parallel_paths / winding.turns
    return star if winding.connection == "star" else star * math.sqrt(3.0)


def _resistance_factor(winding: Winding) -> float:
    star = winding.turns / (winding.conductor_area_mm2 * winding.parallel_paths**2)
    return star if winding.connection == "star" else star / 3.0


def _slot_fill(motor: WoundMotor, winding: Winding) -> float | None:
    if motor.slot_area_mm2 is None:
        return None
    sides_per_slot = 2.0 * motor.coils / motor.teeth
    return sides_per_slot * winding.copper_area_mm2 / motor.slot_area_mm2


def _one_turn_windings(motor: WoundMotor, wire_diameter_mm: float) -> tuple[Winding, Winding]:
    paths = motor.winding.parallel_paths
    return Winding(1, 1, wire_diameter_mm, "star", paths), Winding(1, 1, wire_diameter_mm, "delta", paths)


def _strands_that_fit(motor: WoundMotor, one_turn: Winding, turns: int, max_slot_fill: float) -> int:
    fill = _slot_fill(motor, one_turn)
    if fill is None:
        strands = motor.winding.copper_area_mm2 / (one_turn.copper_area_mm2 * turns)
    else:
        strands = max_slot_fill / (fill * turns)
    # Today's own winding must count as fitting, in spite of rounding.
    return math.floor(strands * (1.0 + 1e-12))


def _judge(motor: WoundMotor, fill: float | None, area_ratio: float, density: float | None) -> tuple[Verdict, str]:
    """The worst of slot fill, current density and the plausibility of today's data, in this order."""
    measured, computed = motor.resistance_mohm, resistance_from_length_mohm(motor, motor.winding)
    if fill is not None and fill > HIGHEST_SLOT_FILL:
        return "stop", f"slot fill {fill:.2f}: round wire by hand does not reach {HIGHEST_SLOT_FILL:g}"
    if density is not None and density > HIGHEST_DENSITY:
        return "stop", f"{density:.1f} A/mm² sustained: {HIGHEST_DENSITY:g} is for short bursts"
    if fill is not None and fill > USUAL_SLOT_FILL:
        return "look again", f"slot fill {fill:.2f}: hands reach {USUAL_SLOT_FILL:g} with care"
    if fill is None and area_ratio > 1.0:
        return "look again", f"{area_ratio:.2f} times today's copper: measure the slot, it may not fit"
    if density is not None and density > USUAL_DENSITY:
        return "look again", f"{density:.1f} A/mm² sustained: 3 to {USUAL_DENSITY:g} is usual"
    if computed is not None and abs(measured / computed - 1.0) > MIXED_RESISTANCE_SPREAD:
        return "look again", f"today's wire computes to {computed:.3g} mΩ, measured {measured:.3g}: count it again"
    return "fine", "the copper fits the slot" if fill is not None else "no more copper than today"


def _positive(where: str, **values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            raise RideError(where, f"{name} = {value:g} (above 0)", "check the number and its unit")


def _whole(where: str, **values: int) -> None:
    for name, value in values.items():
        if not isinstance(value, Integral) or value < 1:
            raise RideError(where, f"{name} = {value} (whole, 1 or more)", "count again")
