"""A three-phase motor and what is wound on it: wire, turns, connection, copper.

Sources: AWG after ASTM B258-02; copper after IEC 60028:1925; geometry.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from numbers import Integral
from typing import Literal

from ridesim.errors import RideError
from ridesim.units import from_si, to_si
from ridesim.workshop.limits import require_positive, require_whole
from ridesim.workshop.wire.tables import bare_gauge_mm

Connection = Literal["star", "delta"]
COPPER_RESISTIVITY_OHM_M = 1.7241e-8
"""Ohm m at 20 degC, IEC 60028:1925."""
COPPER_DENSITY_KG_PER_M3 = 8890.0
"""kg/m^3 at 20 degC, IEC 60028:1925, from memory."""
AWG_RANGE = (0, 44)
"""Gauges that anyone winds with; common practice, no source."""
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
        require_whole("winding", turns=self.turns, strands=self.strands, parallel_paths=self.parallel_paths)
        require_positive("winding", wire_diameter_mm=self.wire_diameter_mm)
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
        require_positive("motor", kv_rpm_per_v=self.kv_rpm_per_v, resistance_mohm=self.resistance_mohm)
        for name in ("slot_area_mm2", "mean_turn_length_mm"):
            value = getattr(self, name)
            if value is not None:
                require_positive("motor", **{name: value})
        require_whole("motor", teeth=self.teeth, wound_teeth=self.coils)
        if self.coils > self.teeth or self.coils % (PHASES * self.winding.parallel_paths):
            what = f"{self.coils} wound of {self.teeth} teeth, {self.winding.parallel_paths} parallel paths"
            raise RideError("motor", what, "each of three phases needs equal paths of whole coils")

    @property
    def coils(self) -> int:
        """Teeth that carry a coil."""
        return self.teeth if self.wound_teeth is None else self.wound_teeth


def wire_diameter_of_gauge_mm(gauge: int) -> float:
    """Bare diameter [mm] of an AWG number, 0 to 44. Raises RidesimError outside. Source: ASTM B258-02."""
    if not isinstance(gauge, Integral) or not AWG_RANGE[0] <= gauge <= AWG_RANGE[1]:
        raise RideError("wire gauge", f"AWG {gauge} (whole, {AWG_RANGE[0]} to {AWG_RANGE[1]})", "or give the diameter")
    return bare_gauge_mm(int(gauge))


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
    return to_si(volume_mm3, "mm3") * COPPER_DENSITY_KG_PER_M3


def resistance_from_length_mohm(motor: WoundMotor, winding: Winding) -> float | None:
    """Line-to-line resistance [mOhm] at 20 degC from the wire's length, or None without a mean turn length.

    Ends and leads are left out, so a measured value is a little higher. Source: `rho l / A`, IEC 60028:1925.
    """
    if motor.mean_turn_length_mm is None:
        return None
    coils_in_path = motor.coils / (PHASES * winding.parallel_paths)
    length_m = coils_in_path * winding.turns * to_si(motor.mean_turn_length_mm, "mm")
    path_ohm = COPPER_RESISTIVITY_OHM_M * length_m / to_si(winding.conductor_area_mm2, "mm2")
    phase_ohm = path_ohm / winding.parallel_paths
    return from_si(phase_ohm * (2.0 if winding.connection == "star" else 2.0 / 3.0), "mohm")


def slot_fill(motor: WoundMotor, winding: Winding) -> float | None:
    """Bare copper's share of the slot (0 to 1), or None without a slot's area."""
    if motor.slot_area_mm2 is None:
        return None
    sides_per_slot = 2.0 * motor.coils / motor.teeth
    return sides_per_slot * winding.copper_area_mm2 / motor.slot_area_mm2
