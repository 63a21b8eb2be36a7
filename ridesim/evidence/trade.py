"""What people of the trade say of fast home-built bikes, each asked of the main job: common practice, no source."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace
from typing import Any

import numpy as np

from ridesim.bike.load import LoadedBuild, build_from_dict
from ridesim.bike.schema import Drive
from ridesim.evidence.checks import Check, Kind, Subject
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_flat, make_hills
from ridesim.road.profile import Road, Stop
from ridesim.units import convert

SAID = "common practice, no source"
MOTOR_KV = 149.0
PACK_V = 50.0
SINGLE = {"driver_teeth": 14, "driven_teeth": 125}
DOUBLE = ({"ratio": 2.0}, {"ratio": 37.0 / 4.0})
MILE_KM = 1.609344
SPIRITED_KM_H = 45.0
SPRINT_KM_H = 48.28

FAST_BIKE: dict[str, Any] = {
    "name": "fast home-built bike",
    "rider": {"mass_kg": 78.0, "power_w": 0.0, "cruise_speed_km_h": SPIRITED_KM_H},
    "bicycle": {"mass_kg": 20.0, "drag_area_m2": 0.55},
    "tyre": {"circumference_mm": 2070.0, "rolling_resistance": 0.0077},
    "drive": {"coupling": "fixed", "stage": [{"ratio": 10.0}]},
    "motor": {
        "kv_rpm_per_v": 100.0, "resistance_mohm": 26.0, "inductance_uh": 28.0, "pole_pairs": 7, "mass_kg": 1.75,
        "can_diameter_mm": 80.0, "can_length_mm": 85.0,
        "no_load": [{"speed_rpm": 2000.0, "current_a": 1.1}, {"speed_rpm": 5000.0, "current_a": 1.8}],
    },
    "controller": {
        "commutation": "sine", "motor_current_limit_a": 120.0, "brake_current_limit_a": 60.0,
        "pack_current_limit_a": 80.0, "modulation_limit": 1.0,
    },
    "pack": {
        "series": 12, "parallel": 8,
        "cell": {"capacity_ah": 3.0, "resistance_mohm": 20.0, "max_discharge_a": 15.0, "max_charge_a": 3.0,
                 "mass_kg": 0.047},
    },
}  # fmt: skip
"""Invented, plausible for the kind: 44 V and 24 Ah, an 80 mm motor, about 110 kg in all."""


def bike(changes: dict[str, Any]) -> LoadedBuild:
    """Return the fast home-built bike with some dotted keys changed."""
    data = deepcopy(FAST_BIKE)
    for key, value in changes.items():
        *path, last = key.split(".")
        section = data
        for name in path:
            section = section[name]
        section[last] = value
    return build_from_dict(data, where="fast home-built bike")


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of the trade's facts."""
    return [_no_load(), *_ratios(), *_wheel_kv(), _regen(), _range(), _sprint()], []


def _said(name: str, ours: float, theirs: float, unit: str, tolerance: float, note: str = "") -> Check:
    return Check(name, ours, theirs, unit, tolerance, SAID, Kind.TRADE, note=note)


def _no_load() -> Check:
    """Hold full throttle on the level with a reduction so high that the bike is no load, on a pack of 50 V."""
    keys = {
        "motor.kv_rpm_per_v": MOTOR_KV, "motor.rotor_inertia_kg_m2": 1e-5, "drive.stage": [{"ratio": 100.0}],
        "pack.cell.open_circuit_v": [PACK_V / 12 - 1e-6, PACK_V / 12], "pack.cell.charge_fraction": [0.0, 1.0],
        "pack.cell.max_voltage_v": 4.3,
    }  # fmt: skip
    ride = simulate(bike(keys), make_flat(60.0), throttle=1.0)
    rpm = float(ride.trace["motor_speed_rpm"].iloc[-1])
    return _said("149 rpm/V motor on 50 V, unloaded", rpm, 7450.0, "rpm", 0.03 * 7450.0, "3 %: its own drag slows it")


def _ratios() -> list[Check]:
    single, double = _turns([SINGLE]), _turns(DOUBLE)
    climbs = [
        _climbs([SINGLE], grade_percent=12.0),
        _climbs(DOUBLE, grade_percent=12.0),
    ]
    note = "80 A of phase amplitude, 110 kg, 12 %, from rest: 1 arrives, 0 does not"
    return [
        _said("14 and 125 teeth: wheel-equivalent Kv of a 149 rpm/V motor", MOTOR_KV / single, 16.7, "rpm/V", 0.05),
        _said("two stages of 2:1 and 37:4", double, 18.5, ":1", 0.05),
        _said("14 and 125 teeth lack torque: climbs 12 %", climbs[0], 0.0, "", 0.0, note),
        _said("two stages do not: climbs 12 %", climbs[1], 1.0, "", 0.0, note),
    ]


def _turns(stages: Any) -> float:
    return Drive.model_validate({"stage": list(stages)}).turns


def _climbs(stages: Any, grade_percent: float) -> float:
    keys = {"motor.kv_rpm_per_v": MOTOR_KV, "drive.stage": list(stages), "controller.motor_current_limit_a": 80.0,
            "rider.cruise_speed_km_h": 20.0}  # fmt: skip
    return float(simulate(bike(keys), make_climb(100.0, grade_percent), trace=False).finished)


def _wheel_kv() -> list[Check]:
    """Ride at full throttle on the level and start on 15 %: right is what does both; 40 km/h is our reading."""
    source, kind = SAID, Kind.TRADE
    checks = []
    for wheel_kv in (9.0, 11.0):
        name = f"wheel-equivalent Kv {wheel_kv:g} on 44 V"
        keys = {"drive.stage": [{"ratio": 100.0 / wheel_kv}], "rider.cruise_speed_km_h": 15.0}
        climbs = simulate(bike(keys), make_climb(100.0, 15.0), trace=False)
        checks += [
            Check(f"{name}: top speed", _top_speed(wheel_kv), 40.0, "km/h", 0.0, source, kind, "at least"),
            _said(f"{name}: climbs 15 %", float(climbs.finished), 1.0, "", 0.0),
        ]
    name = "wheel-equivalent Kv 5 on 44 V is slow: top speed"
    return [*checks, Check(name, _top_speed(5.0), 40.0, "km/h", 0.0, source, kind, "at most")]


def _top_speed(wheel_kv: float) -> float:
    keys = {"drive.stage": [{"ratio": 100.0 / wheel_kv}]}
    return float(simulate(bike(keys), make_flat(3000.0), throttle=1.0).trace["speed_km_h"].iloc[-1])


def _spirited_road() -> Road:
    """Rolling hills of 10 m every 1.5 km, and a stop each mile."""
    road = make_hills(15_000.0, 10.0, 1500.0)
    places = np.arange(MILE_KM * 1000.0, road.length_m - 100.0, MILE_KM * 1000.0)
    return replace(road, stops=tuple(Stop(float(place), 10.0) for place in places))


def _spirited() -> Ride:
    return simulate(bike({}), _spirited_road(), trace=False)


def _regen() -> Check:
    s = _spirited().summary
    gained = 100.0 * s["range_added_by_regen_km"] / (s["range_km"] - s["range_added_by_regen_km"])
    return _said(
        "range that regen adds", gained, 5.0, "%", 4.0, "1 to 9 % is a few; hills of 10 m and a stop each mile"
    )


def _range() -> Check:
    miles = convert(_spirited().summary["range_km"], "km", "mi")
    note = "30 miles within a quarter; spirited taken as 45 km/h, hills of 10 m, a stop each mile, no pedalling"
    return _said("range of 44 V and 24 Ah, spirited", miles, 30.0, "mi", 7.5, note)


def _sprint() -> Check:
    """From rest to 30 mph with 3.25 kW from the pack."""
    keys = {"controller.pack_current_limit_a": 3250.0 / 46.0, "drive.stage": [{"ratio": 8.0}]}
    trace = simulate(bike(keys), make_flat(400.0), throttle=1.0, record_every_s=0.1).trace
    fast = trace["speed_km_h"].to_numpy() >= SPRINT_KM_H
    seconds = float(trace["time_s"].to_numpy()[fast.argmax()]) if fast.any() else float("inf")
    return _said("0 to 30 mph with 3.25 kW", seconds, 6.0, "s", 3.0, "a few seconds taken as 3 to 9")


SUBJECT = Subject("trade", "Facts of the trade", run)
