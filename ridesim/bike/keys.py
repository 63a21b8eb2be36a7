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

BIKE = Document(Build, BuildError, tuple(PART_SECTIONS), RENAMED)
"""How faults of a build file are told."""


def bike_keys(*, second: bool = False) -> Iterator[Key]:
    """Yield every key of a build, in the order of the schema; those of a `second` drive only where asked."""
    return walk(Build, optional=second)
