"""Each drive of a bike of two different ones, read as a ride of its own: the same figures, limits and rows for both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from ridesim.bike.second import PREFIX, seen_by_second
from ridesim.ride.ledger import SECOND_BOOK

if TYPE_CHECKING:
    from ridesim.engine.batch import Raw
    from ridesim.engine.pair import Second
    from ridesim.ride.figures import Figures
    from ridesim.ride.result import Ridden

R = TypeVar("R", bound="Ridden")

FIRST, SECOND = "first drive", "second drive"


def each_drive(ride: R) -> tuple[R, ...]:
    """Return the ride as the first and as the second drive had it; empty for a bike of one drive.

    Motor, controller and their heat, limits and currents, the pack's among them, are the drive's own; road, motion,
    pack voltage, cells and the forces on the bike are the bike's. The build has the drive's keys in the first one's
    place. Rides nothing.
    """
    second = ride.raw.second
    return () if second is None else (_first(ride, second), _second(ride, second))


def named_drives(ride: R) -> tuple[tuple[str, R], ...]:
    """Return each of two different drives as `each_drive` does, behind how it is called; empty for a bike of one."""
    return tuple(zip((FIRST, SECOND), each_drive(ride), strict=False))


def drive_figures(ride: Ridden) -> tuple[Figures, ...]:
    """Return the figures of each of two different drives, or those of the ride."""
    return tuple(each.figures for each in each_drive(ride) or (ride,))


OF_A_MOTOR = (
    "motor_current_reading", "peak_motor_current_a", "peak_motor_current_at_km", "peak_motor_current_dc_equivalent_a",
    "peak_brake_current_a", "peak_field_current_a", "sustained_motor_current_a",
    "sustained_motor_current_dc_equivalent_a", "rms_motor_current_a", "rms_motor_current_dc_equivalent_a",
    "peak_shaft_torque_nm", "peak_brake_torque_nm", "peak_shaft_power_w", "peak_winding_temp_c",
    "peak_winding_temp_at_km", "winding_limit_c", "winding_over_limit_s", "winding_over_limit_from_km",
    "peak_body_temp_c", "peak_body_temp_at_km", "magnet_limit_c", "magnets_over_limit_s", "peak_controller_temp_c",
    "peak_controller_temp_at_km", "limits", "over_speed_s", "over_speed_from_km_h",
)  # fmt: skip
"""Figures of a ride that are of one motor and its controller."""


def with_motor_of(figures: Figures, drive: Figures) -> Figures:
    """Return the figures of a ride with motor and controller of one of its drives in the first one's place."""
    return replace(figures, **{name: getattr(drive, name) for name in OF_A_MOTOR})


def nearest_its_limit(drives: Sequence[Figures]) -> Figures:
    """Return the figures of the drive whose winding comes nearest to what it may reach."""
    return min(drives, key=lambda each: each.winding_limit_c - each.peak_winding_temp_c)


def _first(ride: R, second: Second) -> R:
    raw = ride.raw._replace(totals=second.first_totals, second=None)
    return replace(ride, params=ride.params._replace(second=None), raw=raw)


def _second(ride: R, second: Second) -> R:
    own, params = ride.raw.end.second, ride.params.second
    if own is None or params is None:
        raise ValueError("a ride of two drives ends with two of them")
    end = ride.raw.end._replace(
        winding_temp=own.winding_temp, body_temp=own.body_temp, controller_temp=own.controller_temp,
        rotor_energy=own.rotor_energy, gear=0, shift_left=0.0, second=None,
    )  # fmt: skip
    raw = ride.raw._replace(
        end=end, trace=second.trace, totals=second.totals, ledger=_ledger_of(ride.raw, second),
        limit_seconds=second.limit_seconds, limit_first_m=second.limit_first,
        brake_by_limit=np.zeros_like(ride.raw.brake_by_limit), second=None,
    )  # fmt: skip
    loaded = replace(ride.loaded, build=seen_by_second(ride.build), keys_begin=PREFIX)
    return replace(ride, loaded=loaded, params=params, raw=raw)


def _ledger_of(raw: Raw, second: Second) -> np.ndarray:
    """Return the ledger with the second drive's lines in the first one's place [J]."""
    lines = raw.ledger.copy()
    own = list(SECOND_BOOK)
    lines[own] = second.ledger[own]
    return lines
