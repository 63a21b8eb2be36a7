"""Figures: one pure, cheap reading of one raw ride. Looking at it rides nothing."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from ridesim.bike.gears import sprocket_radius_mm
from ridesim.bike.rough import resting_v
from ridesim.engine.cells import out_of_reach
from ridesim.engine.gears import in_gear
from ridesim.engine.params import current_scale
from ridesim.engine.state import Limit, Stop, Total
from ridesim.ride.bounds import BOUNDS, STOP_WORDS
from ridesim.units import from_si, to_si

if TYPE_CHECKING:
    from ridesim.bike.drive import Drive
    from ridesim.bike.schema import Build
    from ridesim.engine.batch import Raw
    from ridesim.ride.result import Ridden

T = TypeVar("T")
READINGS = {"sine": "amplitude of the phase current", "six_step": "DC-equivalent current"}
OF_EACH = ", of one motor of two"
"""Behind how a motor current reads, where two alike motors share a drive: torque is of both."""


@dataclass(frozen=True)
class LimitMet:
    """A bound of the step that held the motor or the tyre: for how long, and where it was first met."""

    name: str
    seconds: float
    first_at_km: float


@dataclass(frozen=True)
class Figures:
    """What one ride came to; every name carries its unit, `ride.quantities` has its words.

    Motor currents are those of one motor, read as its commutation reads them, but for those that say DC-equivalent;
    torque, power and braking energy are of all motors together. Of two different drives motor and controller are the
    first (`ride.drives` reads each). A place is
    the distance ridden when the figure was met. None: nothing to say (no speed, no limit passed).
    """

    finished: bool
    stop: str
    stop_reason: str
    road_km: float
    distance_km: float
    total_time_s: float
    moving_time_s: float
    mean_speed_km_h: float
    top_speed_km_h: float
    end_speed_km_h: float
    pushed_m: float
    pushed_s: float
    pushes: int
    pushed_first_at_km: float | None
    climb_m: float
    pack_energy_out_wh: float
    pack_energy_returned_wh: float
    net_energy_wh: float
    net_wh_per_km: float | None
    returned_fraction: float
    rider_energy_wh: float
    charge_left_fraction: float
    charge_out_of_reach_fraction: float
    highest_charge_fraction: float
    motor_current_reading: str
    peak_motor_current_a: float
    peak_motor_current_at_km: float
    peak_motor_current_dc_equivalent_a: float
    peak_brake_current_a: float
    peak_field_current_a: float
    sustained_motor_current_a: float
    sustained_motor_current_dc_equivalent_a: float
    rms_motor_current_a: float
    rms_motor_current_dc_equivalent_a: float
    peak_pack_current_a: float
    peak_charge_current_a: float
    sustained_pack_current_a: float
    rms_pack_current_a: float
    peak_cell_current_a: float
    sustained_cell_current_a: float
    peak_cell_charge_current_a: float
    lowest_pack_voltage_v: float
    lowest_pack_voltage_at_km: float
    highest_pack_voltage_v: float
    highest_cell_voltage_v: float
    peak_shaft_torque_nm: float
    peak_brake_torque_nm: float
    peak_shaft_power_w: float
    motor_braking_wh: float
    gear_shifts: int
    shifting_time_s: float
    peak_gear_torque_nm: float | None
    peak_chain_force_n: float | None
    peak_winding_temp_c: float
    peak_winding_temp_at_km: float
    winding_limit_c: float
    winding_over_limit_s: float
    winding_over_limit_from_km: float | None
    peak_body_temp_c: float
    peak_body_temp_at_km: float
    magnet_limit_c: float
    magnets_over_limit_s: float
    peak_controller_temp_c: float
    peak_controller_temp_at_km: float
    peak_pack_temp_c: float
    peak_pack_temp_at_km: float
    off_curve_s: float
    limits: tuple[LimitMet, ...]
    over_speed_s: float
    over_speed_from_km_h: float | None

    def plain(self) -> dict[str, Any]:
        """Return the figures as plain values for JSON, limits as tables."""
        found = {each.name: getattr(self, each.name) for each in fields(self)}
        return {**found, "limits": [dict(vars(met)) for met in self.limits]}

    def into(self, kind: type[T], **own: Any) -> T:
        """Return a dataclass of another room, its fields of the same names filled from here, its `own` as given."""
        wanted = {each.name for each in fields(kind)} - own.keys()  # type: ignore[arg-type]
        return kind(**{name: getattr(self, name) for name in wanted if hasattr(self, name)}, **own)

    def on_limit_s(self, limit: Limit) -> float:
        """Return the time that a bound of the step held [s]."""
        return sum(met.seconds for met in self.limits if met.name == BOUNDS[limit].name)


BEHIND_ITS_CLOCK = "the time of its clock was up"
LEAST_BEHIND_M = 1.0
"""As near as the judge takes a ride to have arrived."""


def figures_of(ride: Ridden) -> Figures:
    """Return the figures of a ride."""
    total = ride.raw.total
    return Figures(**_journey(ride), **_energy(ride), **_currents(ride), **_voltages(ride),
                   **_gears(ride), **_heat(ride), **_met(ride),
                   off_curve_s=total(Total.CURVE_LEFT_SECONDS))  # fmt: skip


def _journey(ride: Ridden) -> dict[str, Any]:
    raw = ride.raw
    distance, moving = raw.total(Total.DISTANCE), raw.total(Total.MOVING_TIME)
    return {
        "finished": raw.stop is Stop.FINISHED,
        "stop": raw.stop.name.lower(),
        "stop_reason": BEHIND_ITS_CLOCK if _is_behind(ride) else why_stopped(raw),
        "road_km": from_si(road_length(ride), "km"),
        "distance_km": from_si(distance, "km"),
        "total_time_s": raw.total(Total.TIME),
        "moving_time_s": moving,
        "mean_speed_km_h": from_si(distance / moving, "km_h") if moving > 0.0 else 0.0,
        "top_speed_km_h": from_si(raw.total(Total.TOP_SPEED), "km_h"),
        "end_speed_km_h": from_si(raw.end.speed, "km_h"),
        "climb_m": ride.road.climb_m * ride.options.laps,
        **_on_foot(raw),
    }


def _on_foot(raw: Raw) -> dict[str, Any]:
    pushes = round(raw.total(Total.PUSHES))
    first = from_si(raw.total(Total.PUSHED_FIRST_AT), "km")
    return {
        "pushed_m": raw.total(Total.PUSHED_DISTANCE),
        "pushed_s": raw.total(Total.PUSHED_TIME),
        "pushes": pushes,
        "pushed_first_at_km": first if pushes else None,
    }


def _is_behind(ride: Ridden) -> bool:
    """Whether a ride by the clock of a cycle ended with its time, short of where the cycle's speeds lead."""
    behind = road_length(ride) - ride.raw.total(Total.DISTANCE)
    return ride.raw.stop is Stop.FINISHED and ride.road.cycle is not None and behind > LEAST_BEHIND_M


def why_stopped(raw: Raw) -> str:
    """Return why a ride ended, in words; for a bike that got stuck, with the bound that held its motor."""
    held = last_bound(raw)
    if raw.stop is Stop.STALLED and held is not Limit.NONE:
        return f"{STOP_WORDS[raw.stop]}, held by {BOUNDS[held].words}"
    return STOP_WORDS[raw.stop]


def road_length(ride: Ridden) -> float:
    """Return the distance asked for [m]: a clock-driven cycle has its own."""
    if ride.road.cycle is not None:
        return ride.road.cycle.distance_m * ride.options.laps
    return ride.road.length_m * ride.options.laps


def _energy(ride: Ridden) -> dict[str, Any]:
    raw = ride.raw
    out, back = from_si(raw.total(Total.TERMINAL_OUT), "wh"), from_si(raw.total(Total.TERMINAL_IN), "wh")
    km = from_si(raw.total(Total.DISTANCE), "km")
    return {
        "pack_energy_out_wh": out,
        "pack_energy_returned_wh": back,
        "net_energy_wh": out - back,
        "net_wh_per_km": (out - back) / km if km > 0.0 else None,
        "returned_fraction": back / out if out > 0.0 else 0.0,
        "rider_energy_wh": ride.ledger["rider_in"],
        "charge_left_fraction": max(raw.end.charge, 0.0),
        "charge_out_of_reach_fraction": _kept_by_the_cold(ride),
        "highest_charge_fraction": raw.total(Total.HIGHEST_CHARGE),
        "motor_braking_wh": from_si(raw.total(Total.MOTOR_BRAKING), "wh"),
    }


def _kept_by_the_cold(ride: Ridden) -> float:
    """Return the share of the charge that cells as cold as at the end do not give at the ride's lasting draw.

    Under that draw their voltage is that of empty cells once no more than this is left.
    """
    c_rate = math.sqrt(ride.raw.total(Total.SUSTAINED_PACK_SQUARE)) * ride.params.per_one_c
    return min(out_of_reach(ride.build.pack.cell, ride.raw.end.pack_temp, c_rate), 1.0)


def _currents(ride: Ridden) -> dict[str, Any]:
    raw, scale, parallel = ride.raw, current_scale(ride.build), ride.build.pack.parallel
    per_motor = 1.0 / ride.build.drive.motors
    peak_pack, peak_charge = raw.total(Total.PEAK_PACK_CURRENT), raw.total(Total.PEAK_CHARGE_CURRENT)
    peak, lasting = raw.total(Total.PEAK_DRIVE_CURRENT), math.sqrt(raw.total(Total.SUSTAINED_MOTOR_SQUARE))
    mean, lasting_pack = _rms(raw, Total.MOTOR_SQUARE_TIME), math.sqrt(raw.total(Total.SUSTAINED_PACK_SQUARE))
    return {
        "motor_current_reading": READINGS[ride.build.controller.commutation]
        + (OF_EACH if ride.build.drive.motors > 1 else ""),
        "peak_motor_current_a": peak / scale,
        "peak_motor_current_at_km": from_si(raw.total(Total.PEAK_DRIVE_CURRENT_AT), "km"),
        "peak_motor_current_dc_equivalent_a": peak * per_motor,
        "peak_brake_current_a": raw.total(Total.PEAK_BRAKE_CURRENT) / scale,
        "peak_field_current_a": raw.total(Total.PEAK_FIELD_CURRENT) / scale,
        "sustained_motor_current_a": lasting / scale,
        "sustained_motor_current_dc_equivalent_a": lasting * per_motor,
        "rms_motor_current_a": mean / scale,
        "rms_motor_current_dc_equivalent_a": mean * per_motor,
        "peak_pack_current_a": peak_pack,
        "peak_charge_current_a": peak_charge,
        "sustained_pack_current_a": lasting_pack,
        "rms_pack_current_a": _rms(raw, Total.PACK_SQUARE_TIME),
        "peak_cell_current_a": peak_pack / parallel,
        "sustained_cell_current_a": lasting_pack / parallel,
        "peak_cell_charge_current_a": peak_charge / parallel,
        "peak_shaft_torque_nm": raw.total(Total.PEAK_SHAFT_TORQUE),
        "peak_brake_torque_nm": raw.total(Total.PEAK_BRAKE_TORQUE),
        "peak_shaft_power_w": raw.total(Total.PEAK_MECHANICAL_POWER),
    }


def _gears(ride: Ridden) -> dict[str, Any]:
    raw, drive = ride.raw, ride.build.drive
    torque = raw.total(Total.PEAK_GEAR_TORQUE) if ride.params.input_per_force > 0.0 else None
    return {
        "gear_shifts": int(raw.total(Total.SHIFTS)),
        "shifting_time_s": raw.total(Total.SHIFTING_TIME),
        "peak_gear_torque_nm": torque if drive.gears.ratios else None,
        "peak_chain_force_n": None if torque is None else chain_force_n(drive, torque),
    }


def chain_force_n(drive: Drive, torque: Any) -> Any:
    """Return the pull of the pedal chain [N] at a torque into the gears or hub [N m]; None without such a chain."""
    chain = drive.pedal_chain
    return None if chain is None else torque / to_si(sprocket_radius_mm(chain[1]), "mm")


def gear_times_s(ride: Ridden) -> tuple[float, ...]:
    """Return how long each gear was in, the shift into it counted with it [s]; empty where nothing shifts."""
    gears = len(ride.build.drive.gears.ratios)
    return tuple(ride.raw.totals[Total.GEAR_TIME :][:gears].tolist()) if gears > 1 else ()


def _rms(raw: Raw, which: Total) -> float:
    time = raw.total(Total.TIME)
    return math.sqrt(raw.total(which) / time) if time > 0.0 else 0.0


def highest_v(ridden_v: Any, build: Build) -> Any:
    """Return the highest pack voltage [V] of a ride, of columns row by row; the pack at rest, switched on, included."""
    return np.maximum(ridden_v, resting_v(build, build.pack.start_charge_fraction))


def _voltages(ride: Ridden) -> dict[str, Any]:
    raw = ride.raw
    highest = float(highest_v(raw.total(Total.HIGHEST_VOLTAGE), ride.build))
    return {
        "lowest_pack_voltage_v": raw.total(Total.LOWEST_VOLTAGE),
        "lowest_pack_voltage_at_km": from_si(raw.total(Total.LOWEST_VOLTAGE_AT), "km"),
        "highest_pack_voltage_v": highest,
        "highest_cell_voltage_v": highest / ride.build.pack.series,
    }


def _heat(ride: Ridden) -> dict[str, Any]:
    raw, motor = ride.raw, ride.build.motor
    over = raw.total(Total.WINDING_OVER_SECONDS)
    first = from_si(raw.total(Total.WINDING_OVER_FIRST_AT), "km")
    return {
        "peak_winding_temp_c": raw.total(Total.PEAK_WINDING),
        "peak_winding_temp_at_km": from_si(raw.total(Total.PEAK_WINDING_AT), "km"),
        "winding_limit_c": motor.winding_limit_c,
        "winding_over_limit_s": over,
        "winding_over_limit_from_km": first if over > 0.0 else None,
        "peak_body_temp_c": raw.total(Total.PEAK_BODY),
        "peak_body_temp_at_km": from_si(raw.total(Total.PEAK_BODY_AT), "km"),
        "magnet_limit_c": motor.magnet_limit_c,
        "magnets_over_limit_s": raw.total(Total.BODY_OVER_SECONDS),
        "peak_controller_temp_c": raw.total(Total.PEAK_CONTROLLER),
        "peak_controller_temp_at_km": from_si(raw.total(Total.PEAK_CONTROLLER_AT), "km"),
        "peak_pack_temp_c": raw.total(Total.PEAK_PACK_TEMP),
        "peak_pack_temp_at_km": from_si(raw.total(Total.PEAK_PACK_TEMP_AT), "km"),
    }


def _met(ride: Ridden) -> dict[str, Any]:
    raw = ride.raw
    met = [
        LimitMet(BOUNDS[limit].name, float(seconds), from_si(float(raw.limit_first_m[limit]), "km"))
        for limit, seconds in zip(Limit, raw.limit_seconds, strict=True)
        if seconds > 0.0
    ]
    return {
        "limits": tuple(sorted(met, key=lambda each: -each.seconds)),
        "over_speed_s": float(raw.limit_seconds[Limit.OVER_SPEED]),
        "over_speed_from_km_h": over_speed_km_h(ride),
    }


def over_speed_km_h(ride: Ridden) -> float | None:
    """Return the speed at which a fixed drive's back-EMF passes the pack at its present charge [km/h]; None: never."""
    p = ride.params
    if p.freewheel:
        return None
    volts = float(p.open_voltage[round(min(max(ride.raw.end.charge, 0.0), 1.0) * (len(p.open_voltage) - 1))])
    # In the highest gear: the motor would long have shifted out of a lower one.
    return from_si(volts / (p.torque_constant * in_gear(p, p.gears - 1).turned), "km_h")


def friction_by_bound(ride: Ridden) -> dict[Limit, float]:
    """Return the energy of the friction brakes [Wh] by the bound that kept the motor from braking harder."""
    return {limit: from_si(float(energy), "wh") for limit, energy in zip(Limit, ride.raw.brake_by_limit, strict=True)}


def bounds_met(raw: Raw) -> list[tuple[Limit, float]]:
    """Return the bounds that a ride met, each with the place where it was first met [m]."""
    met = (limit for limit in Limit if limit is not Limit.NONE and raw.limit_seconds[limit] > 0.0)
    return [(limit, float(raw.limit_first_m[limit])) for limit in met]


def seconds_over(raw: Raw) -> dict[str, float]:
    """Return how long magnets and cells were hotter than they may be [s]."""
    return {"magnets": raw.total(Total.BODY_OVER_SECONDS), "cells": raw.total(Total.PACK_OVER_SECONDS)}


def last_bound(raw: Raw) -> Limit:
    """Return the bound that held the last step; of two different drives that of the first, else that of the second."""
    code = int(raw.total(Total.LAST_LIMIT))
    if code == Limit.NONE and raw.second is not None:
        code = int(raw.second.totals[Total.LAST_LIMIT])
    return Limit(code)
