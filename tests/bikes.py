"""A bike with every number said, so that a second program can read it without the simulator's own estimates."""

from __future__ import annotations

from copy import deepcopy
from pathlib import Path
from typing import Any

from ridesim.bike.load import LoadedBuild, build_from_dict, load_build, replace_keys

CONFIGS = Path(__file__).parents[1] / "configs"

WHOLE: dict[str, Any] = {
    "name": "reference bike",
    "rider": {
        "mass_kg": 75.0,
        "power_w": 80.0,
        "crank_torque_limit_nm": 60.0,
        "lowest_gear": 1.1,
        "chain_efficiency": 0.96,
        "cruise_speed_km_h": 25.0,
        "braking_m_per_s2": 1.5,
        "response_time_s": 1.2,
    },
    "bicycle": {
        "mass_kg": 23.0,
        "cargo_kg": 20.0,
        "drag_area_m2": 0.6,
        "wheel_drag_area_m2": 0.004,
        "wheels_inertia_kg_m2": 0.2,
        "wheelbase_mm": 1400.0,
        "mass_centre_height_mm": 1000.0,
        "mass_centre_ahead_mm": 560.0,
        "grip": 0.8,
    },
    "tyre": {"circumference_mm": 2060.0, "rolling_resistance": 0.008},
    "drive": {
        "coupling": "fixed",
        "stage": [
            {"driver_teeth": 18, "driven_teeth": 40, "efficiency": 0.97, "drag_torque_nm": 0.01},
            {"driver_teeth": 16, "driven_teeth": 72, "efficiency": 0.96, "drag_torque_nm": 0.02},
        ],
    },
    "motor": {
        "kv_rpm_per_v": 100.0,
        "resistance_mohm": 30.0,
        "inductance_uh": 40.0,
        "pole_pairs": 7,
        "no_load": [{"speed_rpm": 2000.0, "current_a": 1.1}, {"speed_rpm": 5000.0, "current_a": 1.9}],
        "mass_kg": 1.8,
        "can_diameter_mm": 80.0,
        "can_length_mm": 80.0,
        "rotor_inertia_kg_m2": 0.0012,
        "winding_heat_capacity_j_per_k": 110.0,
        "body_heat_capacity_j_per_k": 600.0,
        "winding_to_body_w_per_k": 3.5,
        "body_to_air_still_w_per_k": 0.8,
        "body_to_air_at_36_km_h_w_per_k": 2.2,
        "cooling_exponent": 0.6,
        "enclosure": 0.85,
        "magnet_coefficient_percent_per_k": -0.12,
    },
    "controller": {
        "commutation": "sine",
        "mass_kg": 0.5,
        "motor_current_limit_a": 80.0,
        "brake_current_limit_a": 50.0,
        "pack_current_limit_a": 32.0,
        "charge_current_limit_a": 9.0,
        "charge_voltage_limit_v": 54.6,
        "full_current_above_v": 41.0,
        "no_current_below_v": 36.0,
        "modulation_limit": 0.95,
        "electrical_frequency_limit_hz": 1000.0,
        "controller_full_current_below_c": 80.0,
        "controller_no_current_above_c": 100.0,
        "standby_power_w": 2.0,
        "on_resistance_mohm": 6.0,
        "switching_loss_fraction": 0.004,
        "heat_capacity_j_per_k": 350.0,
        "to_air_w_per_k": 1.5,
    },
    "pack": {
        "series": 13,
        "parallel": 5,
        "cell": {
            "capacity_ah": 3.0,
            "resistance_mohm": 25.0,
            "polarisation_resistance_mohm": 12.0,
            "polarisation_time_s": 35.0,
            "activation_kj_per_mol": 20.0,
            "max_discharge_a": 10.0,
            "max_charge_a": 2.0,
            "mass_kg": 0.048,
            "charge_fraction": [0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0],
            "open_circuit_v": [2.8, 3.3, 3.58, 3.75, 3.95, 4.1, 4.19],
            "resistance_curve": [1.8, 1.3, 1.0, 1.0, 1.0, 1.05, 1.1],
        },
        "weakest_group_fraction": 0.97,
        "capacity_fraction": 0.95,
        "resistance_factor": 1.1,
        "interconnect_mohm": 8.0,
        "wiring_mohm": 9.0,
        "extra_mass_kg": 1.0,
        "start_charge_fraction": 0.8,
        "to_air_w_per_k": 1.2,
    },
    "weather": {
        "temperature_c": 20.0,
        "sea_level_pressure_hpa": 1010.0,
        "relative_humidity_percent": 50.0,
        "wind_speed_km_h": 0.0,
        "wind_from_deg": 0.0,
        "wind_exposure": 0.6,
    },
}


def bike(changes: dict[str, Any] | None = None) -> LoadedBuild:
    """Return the reference bike with some dotted keys changed; None takes a key out."""
    data = deepcopy(WHOLE)
    for key, value in (changes or {}).items():
        *path, last = key.split(".")
        section = data
        for name in path:
            section = section[name]
        if value is None:
            section.pop(last, None)
        else:
            section[last] = value
    return build_from_dict(data, where="reference bike")


def twice(name: str, **keys: Any) -> tuple[LoadedBuild, LoadedBuild]:
    """A bike of two alike motors, and the same with the second one written out as a drive of its own."""
    stages = len(load_build(CONFIGS / name).build.drive.stage)
    no_drag = {f"drive.stage.{at}.drag_torque_nm": 0.0 for at in range(stages)}  # two drives have two of them
    one = replace_keys(load_build(CONFIGS / name), {"drive.motors": 2, **no_drag, **keys})
    data = deepcopy(dict(one.data))
    data["drive"].pop("motors")
    data["second"] = {part: deepcopy(data[part]) for part in ("drive", "motor", "controller")}
    return one, build_from_dict(data)
