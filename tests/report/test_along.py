"""Thinned lines keep their extremes; limits are told where they held."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridesim.report.along import along, bucketed, held_by, thinned
from ridesim.ride.simulate import Ride


@given(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=400), st.integers(1, 40))
@settings(max_examples=60, deadline=None)
def test_thinning_keeps_ends_and_extremes(values: list[float], buckets: int) -> None:
    y = np.array(values)
    x = np.arange(len(y), dtype=float)
    at, kept = thinned(x, y, buckets)
    assert len(at) <= max(2 * buckets + 2, 2) and np.all(np.diff(at) > 0.0)
    assert (kept.min(), kept.max()) == (y.min(), y.max())
    assert (at[0], at[-1]) == (x[0], x[-1])


@given(st.lists(st.floats(-1e3, 1e3), min_size=50, max_size=400), st.integers(2, 40))
@settings(max_examples=60, deadline=None)
def test_bands_keep_the_lowest_and_the_highest(values: list[float], buckets: int) -> None:
    y = np.array(values)
    x = np.arange(len(y), dtype=float)
    at, low, high = bucketed(x, y - 1.0, y + 1.0, buckets)
    assert (low.min(), high.max()) == ((y - 1.0).min(), (y + 1.0).max())
    assert (at[0], at[-1]) == (x[0], x[-1]) and len(at) == len(low) == len(high) == min(buckets, len(y))


def test_limits_are_told_where_they_held(hot_ride: Ride) -> None:
    held = held_by(hot_ride, along(hot_ride, "metric"))
    rows = hot_ride.summary["limits"]
    assert len(held) == len(rows) > 0
    for limit, row in zip(held, rows, strict=True):
        assert limit.words.startswith(row["name"].replace("_", " "))
        assert limit.stretches[0][0] == pytest.approx(row["first_at_km"], abs=0.02)
        starts = [start for start, _ in limit.stretches]
        assert starts == sorted(starts)


def test_a_ride_by_the_clock_is_drawn_over_time(clock_ride: Ride, hot_ride: Ride) -> None:
    assert along(clock_ride, "metric").x[-1] == pytest.approx(1.0, abs=0.05)
    assert along(hot_ride, "imperial").x[-1] == pytest.approx(hot_ride.summary["distance_km"] / 1.609344, abs=0.02)
