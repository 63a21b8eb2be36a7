"""Whole rides against a second program: energy, time and currents within 0.1 %, temperatures within 0.1 K."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from ridesim.engine.state import Ledger, Limit, Stop, Total

from .conftest import Pair

SHARE = 1e-3
KELVIN = 0.1
ROUNDING = 1e-9
NOTHING_J, NOTHING_A = 0.1, 1e-4
"""What figures that are zero in theory may show: in the cold regen just carries the controller's own needs, at a mean
speed that is known to 3e-4 m/s."""
STOPS = {"road": Stop.FINISHED, "empty": Stop.PACK_EMPTY, "weak": Stop.LOW_VOLTAGE}


def close(ours: float, theirs: float, floor: float = 0.0) -> bool:
    """Within 0.1 %; `floor` is the size below which a figure is noise beside the ride's largest."""
    return ours == pytest.approx(theirs, rel=SHARE, abs=max(SHARE * floor, ROUNDING))


def at_the_same_place(pair: Pair, state: str) -> np.ndarray:
    """The second program's state where our rows are: a place that is 1e-4 of the way off would count as a fault of
    speed wherever speed changes fast.
    """
    return np.interp(pair.ride.trace["distance_km"] * 1e3, pair.solved.states["x"], pair.solved.states[state])


def test_the_ride_ends_for_the_same_reason_at_the_same_place(pair: Pair) -> None:
    assert pair.ride.raw.stop is STOPS[pair.solved.ended_by] is STOPS[pair.case.ends]
    assert close(pair.ride.raw.total(Total.DISTANCE), pair.solved.states["x"][-1])
    assert close(pair.ride.raw.total(Total.TIME), pair.solved.time[-1])
    assert close(pair.ride.raw.end.speed, pair.solved.states["v"][-1])


def test_the_ride_meets_the_limits_it_is_meant_to_check(pair: Pair) -> None:
    met = {limit.name.lower() for limit in Limit if pair.ride.raw.limit_seconds[limit] > 0.0}
    assert met >= set(pair.case.must_meet)


def test_energy(pair: Pair) -> None:
    raw, last = pair.ride.raw, {name: values[-1] for name, values in pair.solved.states.items()}
    turned_over = last["out"] + last["back"]
    assert close(raw.total(Total.TERMINAL_OUT), last["out"], max(0.01 * turned_over, NOTHING_J / SHARE))
    assert close(raw.total(Total.TERMINAL_IN), last["back"], max(0.01 * turned_over, NOTHING_J / SHARE))
    assert close(raw.ledger[Ledger.RIDER], last["rider"], 0.01 * turned_over)
    assert close(raw.ledger[Ledger.COPPER], last["copper"])
    assert close(raw.ledger[Ledger.FRICTION_BRAKES], last["friction"])
    used = pair.ride.start.charge - last["charge"]
    assert pair.ride.start.charge - raw.end.charge == pytest.approx(used, rel=SHARE, abs=1e-9)


def test_currents_and_voltage(pair: Pair) -> None:
    raw, at = pair.ride.raw, pair.solved.at
    assert close(raw.total(Total.PEAK_DRIVE_CURRENT), max(at["i"].max(), 0.0))
    assert close(raw.total(Total.PEAK_BRAKE_CURRENT), max(-at["i"].min(), 0.0))
    floor = max(0.01 * np.abs(at["pack_current"]).max(), NOTHING_A / SHARE)
    assert close(raw.total(Total.PEAK_PACK_CURRENT), max(at["pack_current"].max(), 0.0), floor)
    assert close(raw.total(Total.PEAK_CHARGE_CURRENT), max(-at["pack_current"].min(), 0.0), floor)
    assert close(raw.total(Total.LOWEST_VOLTAGE), at["pack_voltage"].min())
    assert close(raw.total(Total.HIGHEST_VOLTAGE), at["pack_voltage"].max())


@pytest.mark.parametrize(
    ("column", "state"),
    [("winding_temp_c", "winding"), ("body_temp_c", "body"), ("controller_temp_c", "box"), ("pack_temp_c", "cells")],
)
def test_temperatures_all_the_way(pair: Pair, column: str, state: str) -> None:
    trace = pair.ride.trace
    expected = at_the_same_place(pair, state)
    ours, theirs = trace[column].to_numpy()[:-1], expected[:-1]
    assert np.abs(ours - theirs).max() < KELVIN


def test_speed_all_the_way(pair: Pair) -> None:
    trace = pair.ride.trace
    expected = 3.6 * at_the_same_place(pair, "v")
    assert np.abs(trace["speed_km_h"] - expected)[:-1].max() < 2.0 * SHARE * expected.max()


def test_the_long_climb_reaches_its_steady_temperature(pair_of: Callable[[str], Pair]) -> None:
    """The case is only worth its name if the winding no longer warms: what is left is the air thinning with height."""
    pair = pair_of("climb to a steady temperature")
    rise = pair.solved.states["winding"] - pair.solved.at["air_c"]
    ends = np.interp(np.array([0.1, 0.9, 1.0]) * pair.solved.time[-1], pair.solved.time, rise)
    assert ends[0] < 0.75 * ends[2]
    assert abs(ends[2] - ends[1]) < 0.01 * ends[2]


def test_peak_pack_current_where_the_motor_limit_lets_go(pair_of: Callable[[str], Pair]) -> None:
    pair = pair_of("pushing off down a slope with a small pack")
    assert close(pair.ride.raw.total(Total.PEAK_PACK_CURRENT), pair.solved.at["pack_current"].max())
