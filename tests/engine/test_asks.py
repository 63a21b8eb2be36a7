"""The bounds of a motor's current, one by one and by hand: just inside and just outside."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from ridesim.engine.asks import charge_bound, surely_within
from ridesim.engine.state import Limit
from ridesim.jit import plain


@pytest.mark.parametrize(("taken_a", "bound_a"), [(0.0, 20.0), (4.0, 16.0), (9.0, 11.0), (14.0, 10.0), (20.0, 10.0)])
def test_a_full_pack_takes_from_a_drive_its_share_or_what_the_other_leaves(taken_a: float, bound_a: float) -> None:
    """2 V to full over 0.1 ohm are 20 A for both; half of it is each one's own."""
    one = SimpleNamespace(charge_voltage=52.0, room_share=0.5, charge_current=100.0)
    seen = SimpleNamespace(open_voltage=50.0 + 0.1 * taken_a, pack_resistance=0.1, taken=-taken_a)
    bound, limit = plain(charge_bound)(one, SimpleNamespace(pack_temp=20.0), seen)
    assert bound == pytest.approx(bound_a) and limit == Limit.FULL_PACK


@pytest.mark.parametrize(
    ("emf_v", "start_v", "within"),
    [(46.9, 0.0, True), (47.1, 0.0, False), (46.9, 47.9, True), (46.9, 48.1, False), (-49.1, 0.0, False)],
)
def test_a_current_is_surely_within_by_the_least_that_the_pack_can_hold(
    emf_v: float, start_v: float, within: bool
) -> None:
    """20 A of draw leave 48 V of 50 behind 0.1 ohm; 10 A through 0.1 ohm ask for 1 V beside the back-EMF."""
    seen = SimpleNamespace(open_voltage=50.0, pack_resistance=0.1, emf=emf_v, motor_resistance=0.1, reactance=0.0)
    assert plain(surely_within)(SimpleNamespace(duty=1.0), seen, 10.0, 20.0, start_v) is within
