"""What people of the trade say of fast home-built bikes, each asked of the main job: common practice, no source."""

from __future__ import annotations

import math
from copy import deepcopy
from dataclasses import replace
from typing import Any

import numpy as np

from ridesim.bike.load import LoadedBuild, build_from_dict
from ridesim.bike.schema import Drive
from ridesim.evidence.checks import Check, Subject, bound, near
from ridesim.evidence.store import sheet
from ridesim.ride.range import outlook_of, range_of
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_flat, make_hills
from ridesim.road.profile import Road, Stop
from ridesim.units import convert, from_si, to_si

SPIRITED_KM_H = 45.0

DOUBLE = ({"ratio": 2.0}, {"ratio": 37.0 / 4.0})

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


def _no_load() -> Check:
    """Hold full throttle on the level with a reduction so high that the bike is no load, on a pack of 50 V."""
    said = sheet("trade.unloaded")
    cell_v = said.pack_v / FAST_BIKE["pack"]["series"]
    keys = {
        "motor.kv_rpm_per_v": said.kv_rpm_per_v, "motor.rotor_inertia_kg_m2": 1e-5, "drive.stage": [{"ratio": 100.0}],
        "pack.cell.open_circuit_v": [cell_v - 1e-6, cell_v], "pack.cell.charge_fraction": [0.0, 1.0],
        "pack.cell.max_voltage_v": 4.3,
    }  # fmt: skip
    ride = simulate(bike(keys), make_flat(60.0), throttle=1.0)
    rpm = float(ride.trace["motor_speed_rpm"].iloc[-1])
    name = "149 rpm/V motor on 50 V, unloaded"
    return near(name, rpm, said.speed_rpm, share=0.03, note="3 %: its own drag slows it")


def _ratios() -> list[Check]:
    said, kv = sheet("trade.reductions"), sheet("trade.unloaded").kv_rpm_per_v
    single, double = [{"driver_teeth": said.driver_teeth, "driven_teeth": said.driven_teeth}], list(DOUBLE)
    note = "80 A of phase amplitude, 110 kg, 12 %, from rest: 1 arrives, 0 does not"
    return [
        near("14 and 125 teeth: wheel-equivalent Kv of a 149 rpm/V motor", kv / _turns(single), said.single_rpm_per_v),
        near("two stages of 2:1 and 37:4", _turns(double), said.double),
        near("14 and 125 teeth lack torque: climbs 12 %", _climbs(single), said.single_climbs, within=0.0, note=note),
        near("two stages do not: climbs 12 %", _climbs(double), said.double_climbs, within=0.0, note=note),
    ]


def _turns(stages: Any) -> float:
    return Drive.model_validate({"stage": stages}).turns


def _climbs(stages: Any) -> float:
    said = sheet("trade.reductions")
    keys = {"motor.kv_rpm_per_v": sheet("trade.unloaded").kv_rpm_per_v, "drive.stage": stages,
            "controller.motor_current_limit_a": 80.0, "rider.cruise_speed_km_h": 20.0}  # fmt: skip
    return float(simulate(bike(keys), make_climb(100.0, said.climbs_percent), trace=False).finished)


def _wheel_kv() -> list[Check]:
    """Ride at full throttle on the level and start on 15 %: right is what does both; 40 km/h is our reading."""
    said, checks = sheet("trade.wheel_kv"), []
    for wheel_kv in said.right_rpm_per_v:
        name = f"wheel-equivalent Kv {wheel_kv:g} on 44 V"
        keys = {"drive.stage": _stage_of(wheel_kv), "rider.cruise_speed_km_h": 15.0}
        climbs = simulate(bike(keys), make_climb(100.0, said.climbs_percent), trace=False)
        checks += [
            bound(f"{name}: top speed", _top_speed(wheel_kv), "at least", said.fast_km_h),
            near(f"{name}: climbs 15 %", float(climbs.finished), said.climbs, within=0.0),
        ]
    slow = said.slow_rpm_per_v
    name = f"wheel-equivalent Kv {slow:g} on 44 V is slow: top speed"
    return [*checks, bound(name, _top_speed(slow), "at most", said.fast_km_h)]


def _stage_of(wheel_kv: float) -> list[dict[str, float]]:
    return [{"ratio": FAST_BIKE["motor"]["kv_rpm_per_v"] / wheel_kv}]


def _top_speed(wheel_kv: float) -> float:
    ride = simulate(bike({"drive.stage": _stage_of(wheel_kv)}), make_flat(3000.0), throttle=1.0)
    return float(ride.trace["speed_km_h"].iloc[-1])


def _spirited_road() -> Road:
    """Rolling hills of 10 m every 1.5 km, and a stop each mile."""
    road, mile = make_hills(15_000.0, 10.0, 1500.0), to_si(1.0, "mi")
    places = np.arange(mile, road.length_m - 100.0, mile)
    return replace(road, stops=tuple(Stop(float(place), 10.0) for place in places))


def _spirited() -> Ride:
    return simulate(bike({}), _spirited_road(), trace=False)


def _regen() -> Check:
    outlook = outlook_of(_spirited())
    far, added = outlook.range_km or math.nan, outlook.range_added_by_regen_km or math.nan
    gained = added / (far - added)
    note = "1 to 9 % is a few; hills of 10 m and a stop each mile"
    said = sheet("trade.regen").range_added_percent
    return near("range that regen adds", from_si(gained, "percent"), said, within=4.0, note=note)


def _range() -> Check:
    miles = convert(range_of(_spirited()).range_km or math.nan, "km", "mi")
    note = "30 miles within a quarter; spirited taken as 45 km/h, hills of 10 m, a stop each mile, no pedalling"
    return near("range of 44 V and 24 Ah, spirited", miles, sheet("trade.range").spirited_mi, share=0.25, note=note)


def _sprint() -> Check:
    """From rest to 30 mph with 3.25 kW from the pack."""
    said = sheet("trade.sprint")
    keys = {"controller.pack_current_limit_a": said.power_w / 46.0, "drive.stage": [{"ratio": 8.0}]}
    trace = simulate(bike(keys), make_flat(400.0), throttle=1.0, record_every_s=0.1).trace
    fast = trace["speed_km_h"].to_numpy() >= convert(said.speed_mph, "mph", "km_h")
    seconds = float(trace["time_s"].to_numpy()[fast.argmax()]) if fast.any() else float("inf")
    return near("0 to 30 mph with 3.25 kW", seconds, said.time_s, within=3.0, note="a few seconds taken as 3 to 9")


SUBJECT = Subject("trade", "Facts of the trade", run)
