"""The recorded ride as a pandas table, one row an interval, units in the column names."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ridesim.engine.state import Channel, Limit
from ridesim.units import UNITS

if TYPE_CHECKING:
    import pandas as pd

COLUMNS: dict[Channel, str] = {
    Channel.TIME: "time_s",
    Channel.DISTANCE: "distance_km",
    Channel.SPEED: "speed_km_h",
    Channel.PLAN_SPEED: "plan_speed_km_h",
    Channel.ALTITUDE: "altitude_m",
    Channel.GRADE: "grade_percent",
    Channel.MOTOR_CURRENT: "motor_current_a",
    Channel.MOTOR_CURRENT_HIGH: "motor_current_high_a",
    Channel.MOTOR_CURRENT_LOW: "motor_current_low_a",
    Channel.PACK_CURRENT: "pack_current_a",
    Channel.PACK_CURRENT_HIGH: "pack_current_high_a",
    Channel.PACK_CURRENT_LOW: "pack_current_low_a",
    Channel.PACK_VOLTAGE: "pack_voltage_v",
    Channel.PACK_VOLTAGE_LOW: "pack_voltage_low_v",
    Channel.MODULATION: "modulation",
    Channel.MOTOR_SPEED: "motor_speed_rpm",
    Channel.SHAFT_TORQUE: "shaft_torque_nm",
    Channel.MOTOR_FORCE: "motor_force_n",
    Channel.PEDAL_FORCE: "pedal_force_n",
    Channel.BRAKE_FORCE: "brake_force_n",
    Channel.AIR_FORCE: "air_force_n",
    Channel.ROLLING_FORCE: "rolling_force_n",
    Channel.GRADE_FORCE: "grade_force_n",
    Channel.BEARING_FORCE: "bearing_force_n",
    Channel.COPPER_POWER: "copper_power_w",
    Channel.IRON_POWER: "iron_power_w",
    Channel.CONTROLLER_POWER: "controller_power_w",
    Channel.WINDING_TEMP: "winding_temp_c",
    Channel.BODY_TEMP: "body_temp_c",
    Channel.CONTROLLER_TEMP: "controller_temp_c",
    Channel.PACK_TEMP: "pack_temp_c",
    Channel.CHARGE_FRACTION: "charge_fraction",
    Channel.LIMIT: "limit",
    Channel.OPEN_VOLTAGE: "open_voltage_v",
    Channel.AIR_TEMP: "air_temp_c",
}

SCALED = {"distance_km": "km", "speed_km_h": "km_h", "plan_speed_km_h": "km_h", "motor_speed_rpm": "rpm",
          "grade_percent": "percent"}  # fmt: skip
MOTOR_CURRENTS = ("motor_current_a", "motor_current_high_a", "motor_current_low_a")
LIMIT_NAMES = tuple(limit.name.lower() for limit in Limit)


def trace_columns(rows: np.ndarray, current_scale: float) -> dict[str, np.ndarray]:
    """Return the trace column by column; `rows` (n, channels) in SI, `current_scale`: DC-equivalent per read A."""
    table = {name: rows[:, channel] for channel, name in COLUMNS.items()}
    for name, unit in SCALED.items():
        table[name] = table[name] / UNITS[unit].factor
    for name in MOTOR_CURRENTS:
        table[name] = table[name] / current_scale
    return table | {"limit": np.asarray(LIMIT_NAMES, dtype=object)[rows[:, Channel.LIMIT].astype(np.int64)]}


def trace_table(rows: np.ndarray, current_scale: float) -> pd.DataFrame:
    """Return the trace as a table; rows and scale as in `trace_columns`."""
    import pandas as pd

    return pd.DataFrame(trace_columns(rows, current_scale))
