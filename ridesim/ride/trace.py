"""The recorded ride as a pandas table, one row an interval, units in the column names."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ridesim.bike.second import seen_by_second
from ridesim.engine.params import current_scale
from ridesim.engine.state import Channel, Limit
from ridesim.ride.bounds import BOUNDS
from ridesim.ride.quantities import COLUMNS
from ridesim.units import UNITS, suffix_of

if TYPE_CHECKING:
    import pandas as pd

    from ridesim.bike.schema import Build

SCALED = {
    name: UNITS[unit].factor
    for name in COLUMNS.values()
    if (unit := suffix_of(name)) and UNITS[unit].factor != 1.0 and not UNITS[unit].offset
}
"""Columns whose unit is not the SI one that is recorded, with its factor."""
MOTOR_CURRENTS = ("motor_current_a", "motor_current_high_a", "motor_current_low_a", "field_current_a")
LIMIT_NAMES = tuple(BOUNDS[limit].name for limit in Limit)


def trace_columns(rows: np.ndarray, current_scale: float) -> dict[str, np.ndarray]:
    """Return the trace column by column; `rows` (n, channels) in SI, `current_scale`: DC-equivalent per read A."""
    table = {name: rows[:, channel] for channel, name in COLUMNS.items()}
    for name, factor in SCALED.items():
        table[name] = table[name] / factor
    for name in MOTOR_CURRENTS:
        table[name] = table[name] / current_scale
    return table | {"limit": np.asarray(LIMIT_NAMES, dtype=object)[rows[:, Channel.LIMIT].astype(np.int64)]}


OF_A_DRIVE = (
    "motor_current_a", "motor_current_high_a", "motor_current_low_a", "field_current_a", "pack_current_a",
    "pack_current_high_a", "pack_current_low_a", "modulation", "motor_speed_rpm", "shaft_torque_nm", "motor_force_n",
    "copper_power_w", "iron_power_w", "controller_power_w", "winding_temp_c", "body_temp_c", "controller_temp_c",
    "limit",
)  # fmt: skip
"""Columns that a second, different drive has for itself, as `second_...`: its own part of the pack's current too."""


def with_second(table: pd.DataFrame, rows: np.ndarray, build: Build) -> pd.DataFrame:
    """Return a trace with the columns of a second drive behind it; `rows` (n, channels) in SI.

    `motor_force_n` and the pack's current of the first columns are those of both drives, the rest of the first one.
    """
    own = trace_columns(rows, current_scale(seen_by_second(build)))
    return table.assign(**{f"second_{name}": own[name] for name in OF_A_DRIVE})


def trace_table(rows: np.ndarray, current_scale: float) -> pd.DataFrame:
    """Return the trace as a table; rows and scale as in `trace_columns`."""
    import pandas as pd

    return pd.DataFrame(trace_columns(rows, current_scale))
