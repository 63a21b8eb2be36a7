"""The keys of a build as one list, and the sections that can live in files of their own."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import BaseModel

from ridesim.bike.schema import Build, Cell, Controller, Motor, Tyre
from ridesim.errors import BuildError
from ridesim.schema.keys import Key, walk
from ridesim.schema.problems import Document

PART_SECTIONS: dict[str, type[BaseModel]] = {
    "tyre": Tyre,
    "motor": Motor,
    "controller": Controller,
    "pack.cell": Cell,
    "second.motor": Motor,
    "second.controller": Controller,
}
"""The sections that can live in a file of their own."""

RENAMED = {
    "motor_foldback_start_c": "motor_full_current_below_c",
    "motor_foldback_end_c": "motor_no_current_above_c",
    "controller_foldback_start_c": "controller_full_current_below_c",
    "controller_foldback_end_c": "controller_no_current_above_c",
    "low_voltage_start_v": "full_current_above_v",
    "low_voltage_end_v": "no_current_below_v",
    "electrical_speed_limit_rpm": "electrical_frequency_limit_hz (its value divided by 60)",
    "duty_limit": "modulation_limit",
}
"""Keys of earlier versions and what they are called today."""

_CURRENT = ("motor_current_limit_a", "pack_current_limit_a")

ALSO_CALLED: dict[str, tuple[str, ...]] = {
    "bike": ("bicycle",), "cycle": ("bicycle",), "frame": ("bicycle",),
    "battery": ("pack",), "accu": ("pack",), "batt": ("pack",),
    "wheel": ("tyre",), "wheels": ("tyre",), "tire": ("tyre",), "tires": ("tyre",),
    "esc": ("controller",), "inverter": ("controller",),
    "transmission": ("drive",), "drivetrain": ("drive",), "reduction": ("drive",),
    "person": ("rider",), "cyclist": ("rider",), "brake": ("brakes",), "wind": ("weather",),
    "weight": ("mass_kg",), "load": ("cargo_kg",),
    "luggage": ("cargo_kg",), "speed": ("cruise_speed_km_h",),
    "poles": ("pole_pairs (half of the poles)",), "magnets": ("pole_pairs (half of the magnets)",),
    "phase_resistance": ("resistance_mohm (between two leads: of a star, twice a phase's)",),
    "diameter": ("can_diameter_mm", "circumference_mm (pi times the diameter)"),
    "wheel_diameter": ("circumference_mm (pi times the diameter)",), "size": ("circumference_mm (rolled length)",),
    "length": ("can_length_mm",), "idle_current": ("no_load",), "no_load_current": ("no_load",),
    "amps": _CURRENT, "max_amps": _CURRENT, "current": _CURRENT, "max_current": _CURRENT, "current_limit": _CURRENT,
    "phase_current": _CURRENT[:1], "phase_amps": _CURRENT[:1], "battery_current": _CURRENT[1:],
    "battery_amps": _CURRENT[1:], "regen_current": ("brake_current_limit_a",), "regen": ("brake_current_limit_a",),
    "voltage": ("voltage_limit_v",), "max_voltage": ("voltage_limit_v",), "power_limit": ("motor_power_limit_w",),
    "power": ("power_w", "motor_power_limit_w"), "cda": ("drag_area_m2",), "crr": ("rolling_resistance",),
    "s": ("series",), "p": ("parallel",), "cells_in_series": ("series",), "cells_in_parallel": ("parallel",),
    "capacity": ("capacity_ah",), "ratio": ("stage (a [[drive.stage]] with ratio or teeth)",),
    "gear_ratio": ("stage (a [[drive.stage]] with ratio or teeth)",), "temperature": ("temperature_c",),
}  # fmt: skip
"""What people call keys and sections, and how a value of theirs becomes one of ours."""

BIKE = Document(Build, BuildError, tuple(PART_SECTIONS), RENAMED, ALSO_CALLED)
"""How faults of a build file are told."""


def bike_keys(*, second: bool = False) -> Iterator[Key]:
    """Yield every key of a build, in the order of the schema; those of a `second` drive only where asked."""
    return walk(Build, optional=second)
