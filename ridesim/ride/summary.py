"""The figures of a ride as plain values: the keys of the JSON answer."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from ridesim.engine.estimates import estimate
from ridesim.engine.params import current_scale
from ridesim.engine.state import Limit, Stop, Total
from ridesim.ride.cooling import REST_TO_C, rest_from_hottest_s
from ridesim.ride.lap import FALLS_AWAY, falls_away, rise_a_lap_m
from ridesim.ride.result import Ridden, repeat, until_empty
from ridesim.ride.verdict import STOP_WORDS, judge
from ridesim.units import from_si

if TYPE_CHECKING:
    from ridesim.engine.batch import Raw

READINGS = {"sine": "amplitude of the phase current", "six_step": "DC-equivalent current"}


def summarise(ride: Ridden) -> dict[str, Any]:
    """Return the summary of a ride; every key carries its unit."""
    summary = {
        **_journey(ride),
        **_energy(ride),
        **_currents(ride),
        **_temperatures(ride),
        **_limits(ride),
        "ledger_wh": ride.ledger,
        "ledger_residual_fraction": ride.ledger_residual_fraction,
        "defaults_used": defaults_used(ride),
        "warnings": [*ride.loaded.warnings, *ride.road.warnings, *ride.notes, *_departures(ride)],
    }
    verdict = judge(ride, summary)
    return {**summary, "verdict": {"word": verdict.word, "reasons": list(verdict.reasons)}}


def _journey(ride: Ridden) -> dict[str, Any]:
    raw = ride.raw
    distance, moving = raw.total(Total.DISTANCE), raw.total(Total.MOVING_TIME)
    return {
        "finished": ride.finished,
        "stop": raw.stop.name.lower(),
        "stop_reason": why_stopped(raw),
        "road_km": from_si(road_length(ride), "km"),
        "distance_km": from_si(distance, "km"),
        "total_time_s": raw.total(Total.TIME),
        "moving_time_s": moving,
        "mean_speed_km_h": from_si(distance / moving, "km_h") if moving > 0.0 else 0.0,
        "top_speed_km_h": from_si(raw.total(Total.TOP_SPEED), "km_h"),
        "climb_m": ride.road.climb_m * ride.options.laps,
    }


def why_stopped(raw: Raw) -> str:
    """Return why a ride ended, in words; for a bike that got stuck, with the limit that held its motor."""
    held = Limit(int(raw.total(Total.LAST_LIMIT)))
    if raw.stop is Stop.STALLED and held is not Limit.NONE:
        return f"{STOP_WORDS[raw.stop]}, held by the {held.name.lower().replace('_', ' ')} limit"
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
    ranged = range_of(ride, regen=ride.options.regen)
    plain = range_of(ride, regen=False) if back > 0.0 else ranged
    gained = None if ranged["range_km"] is None or plain["range_km"] is None else ranged["range_km"] - plain["range_km"]
    return {
        "pack_energy_out_wh": out,
        "pack_energy_returned_wh": back,
        "net_energy_wh": out - back,
        "net_wh_per_km": (out - back) / km if km > 0.0 else None,
        "returned_fraction": back / out if out > 0.0 else 0.0,
        "rider_energy_wh": ride.ledger["rider_in"],
        "charge_left_fraction": max(raw.end.charge, 0.0),
        **ranged,
        "rise_a_lap_m": rise_a_lap_m(ride.road),
        "range_added_by_regen_km": gained,
    }


def range_of(ride: Ridden, *, regen: bool) -> dict[str, Any]:
    """Return how far the same road, ridden again and again, goes; None where the pack never ends it."""
    if falls_away(ride):
        return {"range_km": None, "range_ended_by": FALLS_AWAY}
    once = ride if regen == ride.options.regen else repeat(ride, regen=regen)
    gains = once.finished and once.raw.end.charge >= ride.start.charge
    raw = once.raw
    if once.raw.stop in (Stop.TIME_LIMIT, Stop.FINISHED) and not gains:
        raw = until_empty(once).raw
    endless = gains or raw.stop in (Stop.TIME_LIMIT, Stop.FINISHED)
    return {
        "range_km": None if endless else from_si(raw.total(Total.DISTANCE), "km"),
        "range_ended_by": "nothing: the pack outlasted the patience" if endless else why_stopped(raw),
    }


def _currents(ride: Ridden) -> dict[str, Any]:
    raw, build = ride.raw, ride.build
    scale, parallel = current_scale(build), build.pack.parallel
    peak_pack = raw.total(Total.PEAK_PACK_CURRENT)
    return {
        "motor_current_reading": READINGS[build.controller.commutation],
        "peak_motor_current_a": raw.total(Total.PEAK_DRIVE_CURRENT) / scale,
        "peak_motor_current_at_km": from_si(raw.total(Total.PEAK_DRIVE_CURRENT_AT), "km"),
        "peak_motor_current_dc_equivalent_a": raw.total(Total.PEAK_DRIVE_CURRENT),
        "peak_brake_current_a": raw.total(Total.PEAK_BRAKE_CURRENT) / scale,
        "sustained_motor_current_a": math.sqrt(raw.total(Total.SUSTAINED_MOTOR_SQUARE)) / scale,
        "rms_motor_current_a": _rms(raw, Total.MOTOR_SQUARE_TIME) / scale,
        "peak_pack_current_a": peak_pack,
        "peak_charge_current_a": raw.total(Total.PEAK_CHARGE_CURRENT),
        "sustained_pack_current_a": math.sqrt(raw.total(Total.SUSTAINED_PACK_SQUARE)),
        "rms_pack_current_a": _rms(raw, Total.PACK_SQUARE_TIME),
        "peak_cell_current_a": peak_pack / parallel,
        "lowest_pack_voltage_v": raw.total(Total.LOWEST_VOLTAGE),
        "lowest_pack_voltage_at_km": from_si(raw.total(Total.LOWEST_VOLTAGE_AT), "km"),
        "highest_pack_voltage_v": raw.total(Total.HIGHEST_VOLTAGE),
        "peak_shaft_torque_nm": raw.total(Total.PEAK_SHAFT_TORQUE),
        "peak_brake_torque_nm": raw.total(Total.PEAK_BRAKE_TORQUE),
        "peak_shaft_power_w": raw.total(Total.PEAK_MECHANICAL_POWER),
    }


def _rms(raw: Raw, which: Total) -> float:
    time = raw.total(Total.TIME)
    return math.sqrt(raw.total(which) / time) if time > 0.0 else 0.0


def _temperatures(ride: Ridden) -> dict[str, Any]:
    raw, build = ride.raw, ride.build
    over = raw.total(Total.WINDING_OVER_SECONDS)
    first = from_si(raw.total(Total.WINDING_OVER_FIRST_AT), "km")
    rest = rest_from_hottest_s(ride)
    return {
        "peak_winding_temp_c": raw.total(Total.PEAK_WINDING),
        "peak_winding_temp_at_km": from_si(raw.total(Total.PEAK_WINDING_AT), "km"),
        "winding_limit_c": build.motor.winding_limit_c,
        "winding_over_limit_s": over,
        "winding_over_limit_from_km": first if over > 0.0 else None,
        "peak_body_temp_c": raw.total(Total.PEAK_BODY),
        "magnet_limit_c": build.motor.magnet_limit_c,
        "magnets_over_limit_s": raw.total(Total.BODY_OVER_SECONDS),
        "peak_controller_temp_c": raw.total(Total.PEAK_CONTROLLER),
        "peak_pack_temp_c": raw.total(Total.PEAK_PACK_TEMP),
        "rest_to_c": REST_TO_C,
        "rest_to_cool_min": from_si(rest, "min") if math.isfinite(rest) else None,
    }


def _limits(ride: Ridden) -> dict[str, Any]:
    raw = ride.raw
    rows = [
        {
            "name": limit.name.lower(),
            "seconds": float(raw.limit_seconds[limit]),
            "first_at_km": from_si(float(raw.limit_first_m[limit]), "km"),
        }
        for limit in Limit
        if raw.limit_seconds[limit] > 0.0
    ]
    rows.sort(key=lambda row: -float(row["seconds"]))  # type: ignore[arg-type]
    return {
        "limits": rows,
        "over_speed_s": float(raw.limit_seconds[Limit.OVER_SPEED]),
        "over_speed_from_km_h": over_speed_km_h(ride),
    }


def over_speed_km_h(ride: Ridden) -> float | None:
    """Return the speed at which a fixed drive's back-EMF passes the pack at its present charge [km/h]; None: never."""
    p = ride.params
    if p.freewheel:
        return None
    volts = float(p.open_voltage[round(min(max(ride.raw.end.charge, 0.0), 1.0) * (len(p.open_voltage) - 1))])
    return from_si(volts / (p.torque_constant * p.turned), "km_h")


def defaults_used(ride: Ridden) -> list[dict[str, Any]]:
    """Return the keys a ride leaned on without the user's word: defaults, and estimates with the value used."""
    found = estimate(ride.build)
    values = {key: getattr(found, key.split(".")[1], None) for key in found.guessed}
    values["pack.to_air_w_per_k"] = found.pack_to_air_w_per_k
    rows: list[dict[str, Any]] = []
    for used in ride.loaded.defaults_used:
        estimated = used.key in found.guessed
        value = values.get(used.key) if estimated else used.value
        rows.append(
            {"key": used.key, "value": value, "kind": "estimate" if estimated else "default", "note": used.help}
        )
    return rows


def _departures(ride: Ridden) -> list[str]:
    left = ride.raw.total(Total.CURVE_LEFT_SECONDS)
    if left <= 0.0:
        return []
    return [f"the cells' voltage curve was left for {left:.0f} s: below empty or above full it is held at its end"]
