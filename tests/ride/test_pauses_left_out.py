"""A recording that stands still again and again, ridden without its pauses, says so."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ridesim.ride.running import RideOptions
from ridesim.ride.simulate import simulate
from ridesim.ride.summary import OFTEN_A_KM
from ridesim.road.made import make_flat
from ridesim.road.profile import Stop

from ..bikes import bike

KM = 2.0


@pytest.mark.parametrize(("pauses", "stops", "said"), [(0, 0, False), (1, 0, True), (1, 1, False), (3, 0, True)])
def test_pauses_that_are_not_ridden_are_told(pauses: int, stops: int, said: bool) -> None:
    """A city of 60 stops took 51 Wh through and 98 Wh with its lights, and nothing told of them."""
    assert KM * OFTEN_A_KM == 1.0
    places = tuple(Stop(300.0 * (at + 1), 20.0) for at in range(3))
    road = replace(make_flat(1000.0 * KM), recorded_pauses=places[:pauses], stops=places[:stops])
    told = [text for text in simulate(bike(), road, trace=False).summary["warnings"] if "stood still" in text]
    assert bool(told) == said
    if said:
        assert f"stood still {pauses} times" in told[0] and "--as-recorded" in told[0]


def test_a_pause_now_and_then_is_no_matter() -> None:
    road = replace(make_flat(1020.0 * KM), recorded_pauses=(Stop(300.0, 20.0),))
    assert not any("stood still" in text for text in simulate(bike(), road, trace=False).summary["warnings"])
    assert RideOptions().speed_source == "plan"
