"""What a way of riding comes near, and what stands in its way: by the judge's own words, one limit at a time."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ridesim.engine.state import Limit, Total
from ridesim.ride.kept import in_the_way, nears, stops
from ridesim.ride.limits import LIMITS
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_flat

from ..bikes import bike


@pytest.fixture(scope="module")
def calm() -> Ride:
    return simulate(bike({"controller.voltage_limit_v": 63.0}), make_flat(1000.0))


def changed(ride: Ride, which: Total, value: float, over_speed_s: float = 0.0) -> Ride:
    """The ride with one running figure typed by hand."""
    totals, seconds = ride.raw.totals.copy(), ride.raw.limit_seconds.copy()
    totals[which], seconds[Limit.OVER_SPEED] = value, over_speed_s
    return replace(ride, raw=ride.raw._replace(totals=totals, limit_seconds=seconds))


@pytest.mark.parametrize(
    ("which", "inside", "near", "name"),
    [
        (Total.PEAK_WINDING, 139.0, 141.0, "winding"), (Total.PEAK_BODY, 104.0, 106.0, "magnets"),
        (Total.PEAK_PACK_TEMP, 54.0, 56.0, "cells_heat"),
    ],
)  # fmt: skip
def test_a_part_is_near_from_where_the_judge_looks_again(
    calm: Ride, which: Total, inside: float, near: float, name: str
) -> None:
    """15 K below 155 and 120 degC, 5 K below 60 degC: the room of `ride.limits`, typed by hand."""
    assert nears(changed(calm, which, inside)) == () and stops(changed(calm, which, near)) == ()
    assert nears(changed(calm, which, near)) == (LIMITS[name].words,)


def test_over_speed_is_near_too_and_stands_in_the_way(calm: Ride) -> None:
    fast = changed(calm, Total.PEAK_WINDING, 60.0, over_speed_s=4.0)
    assert nears(fast) == (LIMITS["over_speed"].words,)
    reason, cure = in_the_way(fast)
    assert reason.startswith("For 4 s the back-EMF passed the pack voltage") and cure == LIMITS["over_speed"].cure
    assert in_the_way(calm) == ("", "")


def test_a_winding_may_be_asked_to_stay_cooler_than_its_class_allows(calm: Ride) -> None:
    warm = changed(calm, Total.PEAK_WINDING, 100.0)
    assert nears(warm) == () and nears(warm, 110.0) == (LIMITS["winding"].words,)
    assert stops(warm, 110.0) == () and stops(warm, 99.0) == (LIMITS["winding"].broken,)
