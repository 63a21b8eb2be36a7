"""A ride's parts tell one story: trace, totals, ledger, limits and summary."""

from __future__ import annotations

import numpy as np
import pytest

from ridesim.engine.loop import restart
from ridesim.engine.params import current_scale
from ridesim.engine.state import Ledger, Limit, State, Total
from ridesim.ride.range import range_of
from ridesim.ride.simulate import Ride, repeat, simulate
from ridesim.road.made import make_climb, make_flat

from ..bikes import bike
from .conftest import PAIRS, build, demo, road


@pytest.fixture(params=PAIRS, ids=lambda pair: f"{pair[0]} on {pair[1].split('.')[0]}")
def ride(request: pytest.FixtureRequest) -> Ride:
    return demo(*request.param)


SHARE = 1e-3


def test_no_peak_is_lost_between_rows(ride: Ride) -> None:
    trace, raw, scale = ride.trace, ride.raw, current_scale(ride.build)
    # Totals are taken at the middles of steps, rows at instants between them: a row may stand a little higher.
    assert trace["motor_current_high_a"].max() * scale == pytest.approx(raw.total(Total.PEAK_DRIVE_CURRENT), rel=SHARE)
    lowest = max(-trace["motor_current_low_a"].min() * scale, 0.0)
    assert lowest == pytest.approx(raw.total(Total.PEAK_BRAKE_CURRENT), rel=SHARE, abs=1e-12)
    assert trace["pack_voltage_low_v"].min() == pytest.approx(raw.total(Total.LOWEST_VOLTAGE), rel=SHARE)
    # The pack's peak current is that of the faster end of its step, which no row need show.
    assert trace["pack_current_high_a"].max() <= raw.total(Total.PEAK_PACK_CURRENT) * (1.0 + SHARE)


def test_end_and_clock(ride: Ride) -> None:
    raw, last = ride.raw, ride.trace.iloc[-1]
    assert last["distance_km"] * 1e3 == pytest.approx(ride.road.length_m, rel=1e-9)
    assert raw.total(Total.DISTANCE) == pytest.approx(ride.road.length_m, rel=1e-9)
    assert raw.end.time == pytest.approx(raw.total(Total.TIME), rel=1e-9)
    waits = sum(stop.dwell_s for stop in ride.road.stops)
    standing = raw.total(Total.TIME) - raw.total(Total.MOVING_TIME)
    assert standing == pytest.approx(waits, abs=1.0 + 0.01 * waits)


def test_charge_counts_the_coulombs(ride: Ride) -> None:
    raw, pack = ride.raw, ride.build.pack
    amp_hours = pack.cell.capacity_ah * pack.parallel * pack.weakest_group_fraction * pack.capacity_fraction
    moved = (raw.total(Total.CHARGE_OUT) - raw.total(Total.CHARGE_IN)) / 3600.0
    assert (ride.start.charge - raw.end.charge) * amp_hours == pytest.approx(moved, rel=1e-9)


def test_height_and_kinetic_lines(ride: Ride) -> None:
    """The altitude's trapezoid is the integral of the slope's sine: the line is m g (h_end - h_start)."""
    rise = ride.road.altitude_m[-1] - ride.road.altitude_m[0]
    weight = ride.build.mass_kg * 9.80665
    # Each step takes the slope at its middle: a step across a node leaves a little, nothing on average.
    turned = float(np.abs(np.diff(ride.road.altitude_m)).sum())
    assert ride.raw.ledger[Ledger.HEIGHT] == pytest.approx(weight * rise, abs=1e-4 * weight * turned)


def test_limits_are_counted_once_per_cause(ride: Ride) -> None:
    """Each step has one motor cause at the most; grip is a tyre's and counts beside them."""
    seconds = ride.raw.limit_seconds.copy()
    seconds[Limit.GRIP] = 0.0
    assert seconds.sum() <= ride.raw.total(Total.TIME) * (1.0 + 1e-12)
    assert seconds[Limit.NONE] == 0.0


def test_trace_forces_make_the_acceleration(ride: Ride) -> None:
    """Newton's second law on calm rows: the forces of a row against the change of speed from row to row."""
    trace = ride.trace
    push = trace["motor_force_n"] + trace["pedal_force_n"] - trace["brake_force_n"]
    resist = trace[["air_force_n", "rolling_force_n", "grade_force_n", "bearing_force_n"]].sum(axis=1)
    calm = (trace["speed_km_h"] > 10.0) & (trace["limit"] == "none") & (trace["brake_force_n"] == 0.0)
    net = (push - resist)[calm].abs()
    assert calm.sum() > 50
    assert net.median() / ride.params.mass_driving < 0.1


def test_two_laps_are_one_lap_twice() -> None:
    loaded, flat = bike(), make_climb(700.0, 1.0)
    once = simulate(loaded, flat, trace=False)
    again = simulate(loaded, flat, start=State(*restart(once.raw.end)), trace=False)
    both = simulate(loaded, flat, laps=2, trace=False)
    assert both.raw.total(Total.DISTANCE) == pytest.approx(1400.0, rel=1e-12)
    time = once.raw.total(Total.TIME) + again.raw.total(Total.TIME)
    assert both.raw.total(Total.TIME) == pytest.approx(time, rel=3e-6)  # each ride has first steps of its own
    assert both.raw.end.charge == pytest.approx(again.raw.end.charge, rel=1e-7)
    assert both.raw.end.winding_temp == pytest.approx(again.raw.end.winding_temp, abs=1e-3)


def test_range_rides_to_the_end_of_the_pack() -> None:
    """The charge that is left at the range's end is nothing, or the voltage gave out before."""
    loaded = bike({"pack.cell.capacity_ah": 0.5})
    ride = simulate(loaded, make_flat(2000.0), trace=False)
    by_hand = simulate(loaded, make_flat(200_000.0), trace=False)
    assert not by_hand.finished
    assert range_of(ride).range_km == pytest.approx(by_hand.raw.total(Total.DISTANCE) / 1e3, rel=2e-3)


def test_without_regen_nothing_returns() -> None:
    ride = demo("longtail-belt", "valley-commute.toml")
    plain = repeat(ride, regen=False)
    assert plain.raw.total(Total.TERMINAL_IN) == 0.0
    assert ride.raw.total(Total.TERMINAL_IN) > 0.0
    assert plain.raw.ledger[Ledger.FRICTION_BRAKES] > ride.raw.ledger[Ledger.FRICTION_BRAKES]


def test_dwell_at_stops_is_served() -> None:
    """Standing as long as the road says, at the places it says."""
    ride = simulate(build("longtail-belt"), road("valley-commute.toml"), record_every_s=0.5)
    trace = ride.trace
    still = trace[trace["speed_km_h"] == 0.0]
    for stop in ride.road.stops:
        near = still[(still["distance_km"] * 1e3 - stop.distance_m).abs() < 1.5]
        assert near["time_s"].max() - near["time_s"].min() == pytest.approx(stop.dwell_s, abs=1.6)
