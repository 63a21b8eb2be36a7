"""Motors of any size from the generic parts, by the scaling of similar machines.

Legend: s length over the part's length, so mass goes with s^3. At equal field, slot fill and number of teeth:
torque per root of copper loss squared ~ s^5 (torque ~ current density x s^4, loss ~ current density^2 x s^3), iron
torque ~ s^3, inductance ~ (Kt/Kt_part)^2 / s^3, rotor inertia ~ s^5, heat capacity ~ s^3, winding to body ~ s^2,
body to still air ~ s^2, to moving air ~ s^1.6 (its coefficient falls as diameter^-0.4). Kv is free: it is wound.
Source: textbook similarity of electrical machines (Hendershot and Miller 2010, from memory); the air exponents follow
Churchill and Bernstein (1977). Real motors of one size differ by a quarter either way (guess).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from ridesim.bike.files import place_parts
from ridesim.bike.schema import Motor, Tyre
from ridesim.errors import BuildError
from ridesim.workshop.limits import require_positive

MOVING_AIR_EXPONENT = 1.6


@dataclass(frozen=True)
class SizeClass:
    """One size of motor to try: the part it is scaled from, its mass, and whether it is the wheel's hub."""

    part: str
    mass_kg: float
    hub: bool

    @property
    def words(self) -> str:
        """The class in words."""
        return f"{'direct hub motor' if self.hub else 'outrunner'}, {self.mass_kg:g} kg"


SIZE_CLASSES: tuple[SizeClass, ...] = (
    *(SizeClass("motor-63mm", mass, False) for mass in (0.35, 0.5, 0.7, 0.9)),
    *(SizeClass("motor-80mm", mass, False) for mass in (1.25, 1.75, 2.5, 3.5, 5.0)),
    *(SizeClass("motor-hub-direct", mass, True) for mass in (3.0, 4.0, 5.5, 7.5, 10.0, 14.0)),
)
"""The ladder of sizes, light to heavy; steps of about 1.4 (a choice)."""
LEAST_MOTOR_KG = SIZE_CLASSES[0].mass_kg


@dataclass(frozen=True)
class Layout:
    """What stands between pack and wheel: alike motors on one shaft, belt stages, and gears behind them.

    `gears`: turns in per turn out, lowest gear first; none: one ratio.
    """

    size: SizeClass
    stages: int
    motors: int = 1
    gears: tuple[float, ...] = ()

    @property
    def motor_words(self) -> str:
        """The motors in words."""
        if self.motors == 1:
            return self.size.words
        return f"{MOTOR_COUNTS[self.motors]} outrunners of {self.size.mass_kg:g} kg"

    @property
    def motors_kg(self) -> float:
        """Mass of all motors [kg]."""
        return self.motors * self.size.mass_kg

    @property
    def drive_kg(self) -> float:
        """Mass of all motors, and of what a gear hub weighs more than a plain one [kg]."""
        return self.motors_kg + (HUB_KG if self.gears else 0.0)

    @property
    def kind(self) -> tuple[int, bool, int]:
        """What makes another way of it: motors, whether there are gears, stages."""
        return self.motors, bool(self.gears), self.stages

    @property
    def lowest(self) -> float:
        """Turns in per turn out of the lowest gear; 1 without gears."""
        return self.gears[0] if self.gears else 1.0

    @property
    def highest(self) -> float:
        """Turns in per turn out of the highest gear; 1 without gears."""
        return self.gears[-1] if self.gears else 1.0


MOTOR_COUNTS = {1: "one", 2: "two"}
"""Several are always outrunners on one shaft: a hub motor is alone in its wheel."""
HUB_KG = 1.3
"""What a gear hub weighs more than a plain one (guess: 1.7 kg less 0.4 kg)."""


def load_motor(part: str) -> Motor:
    """Return a generic motor part. Raises BuildError."""
    layer = place_parts({"motor": part}, "size", Path())
    try:
        return Motor.model_validate(layer.data["motor"])
    except ValidationError as fault:
        raise BuildError(part, fault.errors()[0]["msg"], "mend the part") from None


def wheel_of(text: str) -> tuple[float, float]:
    """Return rolled length [mm] and rolling coefficient of a tyre part, or of a length in mm. Raises BuildError."""
    try:
        return float(text), float(Tyre.model_fields["rolling_resistance"].default)
    except ValueError:
        layer = place_parts({"tyre": text}, "--wheel", Path())
    tyre = Tyre.model_validate(layer.data["tyre"])
    return tyre.circumference_mm, tyre.rolling_resistance


def scaled_motor(part: Motor, mass_kg: float, kv_rpm_per_v: float) -> dict[str, Any]:
    """Return the keys of a motor like `part` of another mass [kg], wound for another Kv [rpm/V]. Raises BuildError."""
    require_positive("size", mass_kg=mass_kg, kv_rpm_per_v=kv_rpm_per_v)
    s = (mass_kg / part.mass_kg) ** (1.0 / 3.0)
    wound = part.kv_rpm_per_v / kv_rpm_per_v  # torque per ampere over the part's
    keys: dict[str, Any] = {
        "name": f"like the {part.name}, {mass_kg:g} kg",
        "kv_rpm_per_v": kv_rpm_per_v,
        "resistance_mohm": part.resistance_mohm * wound**2 / s**5,
        "inductance_uh": part.inductance_uh * wound**2 / s**3,
        "pole_pairs": part.pole_pairs,
        "no_load": [
            {"speed_rpm": point.speed_rpm, "current_a": point.current_a * s**3 / wound} for point in part.no_load
        ],
        **{
            name: value * s**3
            for name, value in (("drag_torque_nm", part.drag_torque_nm), ("drag_growth_nm_s", part.drag_growth_nm_s))
            if value is not None
        },
        "mass_kg": mass_kg,
        "can_diameter_mm": part.can_diameter_mm * s,
        "can_length_mm": part.can_length_mm * s,
        "insulation_class": part.insulation_class,
        "magnet_grade": part.magnet_grade,
    }
    return keys | _scaled(part, s)


def _scaled(part: Motor, s: float) -> dict[str, float]:
    """Figures that a part states and that go with a power of length; what it leaves out is estimated from the size."""
    powers = {
        "rotor_inertia_kg_m2": 5.0,
        "winding_heat_capacity_j_per_k": 3.0,
        "body_heat_capacity_j_per_k": 3.0,
        "winding_to_body_w_per_k": 2.0,
        "body_to_air_still_w_per_k": 2.0,
        "body_to_air_at_36_km_h_w_per_k": MOVING_AIR_EXPONENT,
    }
    stated = ((name, getattr(part, name), power) for name, power in powers.items())
    return {name: value * math.pow(s, power) for name, value, power in stated if value is not None}
