"""Every column of the trace is given a value that no other column could have: two that were swapped are seen."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pytest

from ridesim.engine import tally
from ridesim.engine.state import Channel, Here, Limit, Outcome, Pull, State
from ridesim.ride.trace import COLUMNS, trace_table
from ridesim.units import UNITS

GIVEN: dict[Channel, float] = {channel: 1000.0 + 7.0 * channel for channel in Channel}
GIVEN |= {
    Channel.GRADE: 0.05,
    Channel.MODULATION: 0.625,
    Channel.LIMIT: float(Limit.FULL_PACK),
    Channel.WALKER_FORCE: 0.0,
}
KEPT_BEFORE = (
    Channel.MOTOR_CURRENT_HIGH, Channel.MOTOR_CURRENT_LOW, Channel.PACK_CURRENT_HIGH, Channel.PACK_CURRENT_LOW,
    Channel.PACK_VOLTAGE_LOW,
)  # fmt: skip
"""Extremes of the interval, which stand in the row before it is written."""


def full_of_nan(kind: type, **values: Any) -> Any:
    """Return a tuple with these fields; any other one would be seen in the row."""
    return kind(**{name: values.get(name, np.nan) for name in kind._fields})  # type: ignore[attr-defined]


class Machine(NamedTuple):
    pole_pairs: float = 1.0
    inductance: float = 0.0
    salience: float = 1.0
    on_foot: bool = False


def written(machine: Machine | None = None) -> np.ndarray:
    """Return a row written from the given values."""
    g = GIVEN
    state = full_of_nan(
        State, time=g[Channel.TIME], speed=g[Channel.SPEED], winding_temp=g[Channel.WINDING_TEMP],
        body_temp=g[Channel.BODY_TEMP], controller_temp=g[Channel.CONTROLLER_TEMP], pack_temp=g[Channel.PACK_TEMP],
        charge=g[Channel.CHARGE_FRACTION], gear=g[Channel.GEAR] - 1, shift_left=0.0,
    )  # fmt: skip
    pull = full_of_nan(
        Pull, current=g[Channel.MOTOR_CURRENT], field=g[Channel.FIELD_CURRENT], shaft_torque=g[Channel.SHAFT_TORQUE],
        motor_force=g[Channel.MOTOR_FORCE], pedal_force=g[Channel.PEDAL_FORCE], brake_force=g[Channel.BRAKE_FORCE],
        air_force=g[Channel.AIR_FORCE], rolling_force=g[Channel.ROLLING_FORCE], grade_force=g[Channel.GRADE_FORCE],
        bearing_force=g[Channel.BEARING_FORCE], limit=Limit.FULL_PACK,
    )  # fmt: skip
    out = full_of_nan(
        Outcome, pack_current=g[Channel.PACK_CURRENT], pack_voltage=g[Channel.PACK_VOLTAGE],
        motor_speed=g[Channel.MOTOR_SPEED], copper=g[Channel.COPPER_POWER], iron=g[Channel.IRON_POWER],
        controller=g[Channel.CONTROLLER_POWER], open_voltage=g[Channel.OPEN_VOLTAGE],
        emf=g[Channel.MODULATION] * g[Channel.PACK_VOLTAGE], resistance=0.0,
    )  # fmt: skip
    here = full_of_nan(
        Here, plan_speed=g[Channel.PLAN_SPEED], sin_theta=g[Channel.GRADE], cos_theta=1.0,
        air_temp=g[Channel.AIR_TEMP],
    )  # fmt: skip
    row = np.full(len(Channel), np.nan)
    row[list(KEPT_BEFORE)] = [g[channel] for channel in KEPT_BEFORE]
    tally.record.py_func(row, machine or Machine(), None, state, pull, out, here, g[Channel.DISTANCE])
    return row


@pytest.fixture
def row(monkeypatch: pytest.MonkeyPatch) -> np.ndarray:
    monkeypatch.setattr(tally, "altitude_at", lambda *_: GIVEN[Channel.ALTITUDE])
    return written()


def test_the_given_values_tell_the_columns_apart() -> None:
    assert len(set(GIVEN.values())) == len(Channel) == len(set(COLUMNS.values()))


@pytest.mark.parametrize("channel", list(Channel), ids=lambda channel: channel.name.lower())
def test_each_channel_holds_its_own_value(row: np.ndarray, channel: Channel) -> None:
    assert row[channel] == pytest.approx(GIVEN[channel], rel=1e-12)


SCALE = 0.75
"""DC-equivalent ampere per ampere read, chosen so that a column that is scaled by mistake is seen."""


@pytest.mark.parametrize("channel", [c for c in Channel if c is not Channel.LIMIT], ids=lambda c: c.name.lower())
def test_each_column_of_the_table_is_its_channel(row: np.ndarray, channel: Channel) -> None:
    """The unit is read off the column's name, by the longest suffix."""
    name = COLUMNS[channel]
    assert name.startswith(channel.name.lower())
    unit = next((u for u in ("km_h", "percent", "rpm", "km") if name.endswith("_" + u)), None)
    expected = GIVEN[channel] / (UNITS[unit].factor if unit else 1.0)
    if "MOTOR_CURRENT" in channel.name or channel is Channel.FIELD_CURRENT:
        expected /= SCALE
    assert trace_table(row[np.newaxis], SCALE)[name].iloc[0] == pytest.approx(expected, rel=1e-12)


def test_the_legs_push_on_foot_and_pedal_on_the_bike(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tally, "altitude_at", lambda *_: GIVEN[Channel.ALTITUDE])
    row = written(Machine(on_foot=True))
    assert row[Channel.PEDAL_FORCE] == 0.0 and row[Channel.WALKER_FORCE] == GIVEN[Channel.PEDAL_FORCE]


def test_the_limit_is_told_by_name(row: np.ndarray) -> None:
    assert trace_table(row[np.newaxis], SCALE)["limit"].iloc[0] == "full_pack"
