"""The wish behind a sizing, the forces it asks for in steady state, and the bike that rides it on trial."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from ridesim.bike.gears import MOST_GEARS
from ridesim.errors import RideError
from ridesim.physics.resistance import air_drag, bearing_drag, grade_force, rolling_drag
from ridesim.units import convert, to_si
from ridesim.workshop.limits import require_between
from ridesim.workshop.size.parts import HUB_KG, LEAST_MOTOR_KG

MOST_MOTORS = 2
LEAST_HILL_PERCENT = 0.5
BICYCLE_KG, RIDER_KG = 20.0, 120.0
"""Shares of the given mass that are called the bicycle, and the rider at the most; only the sum matters to the ride."""
HEAVIEST_KG = BICYCLE_KG + RIDER_KG + 300.0
"""With the most load that a build may carry."""

AIR_DENSITY, AIR_DENSITY_AT_C = 1.1839, 25.0
"""kg/m^3 at 25 degC and 1 atm, dry air (ISO 2533, by the ideal gas law)."""


@dataclass(frozen=True)
class Wish:
    """What the builder wants. `mass_kg`: rider, bicycle and load without the drive. `hill_km` along the road."""

    mass_kg: float
    top_speed_km_h: float
    hill_percent: float
    hill_km: float
    range_km: float
    circumference_mm: float = 2070.0
    hill_speed_km_h: float = 15.0
    cruise_speed_km_h: float | None = None
    rider_power_w: float = 75.0
    drag_area_m2: float = 0.559
    rolling_resistance: float = 0.0085
    temperature_c: float = 25.0
    voltages_v: tuple[float, ...] = (36.0, 48.0, 60.0, 72.0)
    cell: str = "cell-18650-nmc-energy"
    changes: tuple[tuple[str, Any], ...] = ()
    """Further keys of every bike tried, as (dotted key, value); not those that a sizing decides."""
    motors: int | None = None
    """1 or 2 alike motors; None: two only where one does not do it."""
    gears: int | None = None
    """Gears of a hub behind the motor, 1: none; None: a hub only where one ratio does not do it."""
    heaviest_motor_kg: float | None = None
    """No heavier motor is tried; None: every size."""

    def __post_init__(self) -> None:
        if 0.0 <= self.hill_percent < LEAST_HILL_PERCENT:
            what = f"{self.hill_percent:g} is below the {LEAST_HILL_PERCENT:g} % that are ridden at the least"
            raise RideError("wish.hill_percent", what, "on a flat way: give --hill 0.5,0.05")
        for name, low, high in (
            ("mass_kg", 40.0, HEAVIEST_KG), ("top_speed_km_h", 10.0, 100.0), ("hill_percent", LEAST_HILL_PERCENT, 30.0),
            ("hill_km", 0.05, 50.0), ("range_km", 1.0, 500.0), ("circumference_mm", 500.0, 3000.0),
            ("hill_speed_km_h", 4.0, 80.0), ("rider_power_w", 0.0, 600.0), ("drag_area_m2", 0.1, 2.0),
            ("rolling_resistance", 0.001, 0.1), ("temperature_c", -10.0, 50.0),
        ):  # fmt: skip
            require_between("wish", name, getattr(self, name), low, high)
        require_between("wish", "cruise_speed_km_h", self.cruise, 4.0, self.top_speed_km_h)
        if self.motors is not None:
            require_between("wish", "motors", self.motors, 1, MOST_MOTORS)
        if self.gears is not None:
            require_between("wish", "gears", self.gears, 1, MOST_GEARS)
        if self.heaviest_motor_kg is not None:
            require_between("wish", "heaviest_motor_kg", self.heaviest_motor_kg, LEAST_MOTOR_KG, 20.0)
        if self.hill_km >= self.range_km:
            what = f"{self.hill_km:g} km is not below the range of {self.range_km:g} km"
            raise RideError("wish.hill_km", what, "lengthen the range or shorten the hill")
        if self.hill_speed_km_h > self.top_speed_km_h:
            what = f"{self.hill_speed_km_h:g} km/h is above the top speed of {self.top_speed_km_h:g} km/h"
            raise RideError("wish.hill_speed_km_h", what, "give --hill-speed, or raise the top speed")
        for key, _ in self.changes:
            refuse_decided(key)
        if not self.voltages_v:
            raise RideError("wish.voltages_v", "names no pack voltage", "give one or more, e.g. 36,48")
        for volts in self.voltages_v:
            require_between("wish", "pack_voltage_v", volts, 12.0, 120.0)

    @property
    def cruise(self) -> float:
        """Cruise speed of the range ride, km/h: four fifths of the top speed unless given (guess)."""
        return 0.8 * self.top_speed_km_h if self.cruise_speed_km_h is None else self.cruise_speed_km_h

    @property
    def radius_m(self) -> float:
        """Rolling radius of the driven wheel."""
        return to_si(self.circumference_mm, "mm") / math.tau

    @property
    def air_density(self) -> float:
        """Density of the day's air at sea level [kg/m^3], by the ideal gas law."""
        return AIR_DENSITY * to_si(AIR_DENSITY_AT_C, "c") / to_si(self.temperature_c, "c")

    def wheel_rpm(self, speed_km_h: float) -> float:
        """Return the wheel's speed at a riding speed."""
        return convert(to_si(speed_km_h, "km_h") / to_si(self.circumference_mm, "mm"), "rev_per_s", "rpm")


DECIDED = {
    "rider.mass_kg": "--mass-kg", "bicycle.mass_kg": "--mass-kg", "bicycle.cargo_kg": "--mass-kg",
    "rider.power_w": "--rider-power", "rider.cruise_speed_km_h": "--cruise", "bicycle.drag_area_m2": "--drag-area",
    "tyre.circumference_mm": "--wheel", "weather.temperature_c": "--temperature-c", "pack.cell": "--cell",
    "pack.series": "--voltages", "pack.parallel": "", "drive.stage": "", "drive.motors": "--motors",
    "drive.motors_share": "", "drive.gears.ratios": "--gears", "drive.gears.kind": "",
    "motor": "", "controller": "", "name": "",
}  # fmt: skip
"""Keys that the wish has an option for, or that a sizing finds itself (empty)."""


def refuse_decided(key: str) -> None:
    """Raise RideError for a key that is no free choice in a sizing."""
    for taken, option in DECIDED.items():
        if key == taken or key.startswith(f"{taken}."):
            hint = f"give {option}" if option else "leave it out: a sizing finds it"
            raise RideError("--set", f"{key} is not set but wished for or found", hint)


def _laid_over(keys: dict[str, Any], changes: tuple[tuple[str, Any], ...]) -> dict[str, Any]:
    for key, value in changes:
        *path, last = key.split(".")
        section = keys
        for name in path:
            section = section.setdefault(name, {})
        if value is None:  # back to its default
            section.pop(last, None)
        else:
            section[last] = value
    return keys


@dataclass(frozen=True)
class Demand:
    """What a steady ride asks of the driven wheel: force, power and torque, the rider's share taken off."""

    words: str
    speed_km_h: float
    grade_percent: float
    wheel_force_n: float
    wheel_torque_nm: float
    wheel_power_w: float
    wheel_speed_rpm: float


def demand_at(
    wish: Wish, words: str, speed_km_h: float, grade_percent: float, total_kg: float, *, pedalled: bool = True
) -> Demand:
    """Return what the motor must give at the wheel in steady state, by the ride model's own forces.

    Source: model equations of the simulator (Martin et al. 1998 for the sum of resistances).
    """
    v, slope = to_si(speed_km_h, "km_h"), math.atan(to_si(grade_percent, "percent"))
    force = (
        air_drag(wish.air_density, wish.drag_area_m2, v, 0.0, 0.0)
        + rolling_drag(wish.rolling_resistance, total_kg, math.cos(slope))
        + grade_force(total_kg, math.sin(slope))
        + bearing_drag(v)
    )
    force = max(0.0, force - (wish.rider_power_w / v if pedalled else 0.0))
    return Demand(words, speed_km_h, grade_percent, force, force * wish.radius_m, force * v, wish.wheel_rpm(speed_km_h))


def trial_bike(wish: Wish, motor: dict[str, Any], drive: dict[str, Any], series: int, parallel: int) -> dict[str, Any]:
    """Return a build as nested dicts: the wish's bike with a motor, its drive and a pack; limits still wide open."""
    rider = min(wish.mass_kg - BICYCLE_KG, RIDER_KG)
    keys: dict[str, Any] = {
        "name": "trial bike",
        "rider": {"mass_kg": rider, "power_w": wish.rider_power_w, "cruise_speed_km_h": wish.cruise},
        "bicycle": {
            "mass_kg": BICYCLE_KG + (HUB_KG if "ratios" in drive.get("gears", {}) else 0.0),
            "cargo_kg": wish.mass_kg - BICYCLE_KG - rider,
            "drag_area_m2": wish.drag_area_m2,
        },
        "tyre": {"circumference_mm": wish.circumference_mm, "rolling_resistance": wish.rolling_resistance},
        "drive": drive,
        "motor": motor,
        "controller": {
            "commutation": "six_step",
            "motor_current_limit_a": 1500.0,
            "pack_current_limit_a": 1000.0,
            "electrical_frequency_limit_hz": 33000.0,
        },
        "pack": {"series": series, "parallel": parallel, "cell": wish.cell},
        "weather": {"temperature_c": wish.temperature_c},
    }
    return _laid_over(keys, wish.changes)
