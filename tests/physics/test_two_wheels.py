"""What a force at one wheel takes of the grip of a drive at the other: by moments about both contacts, written out."""

from __future__ import annotations

import math

import pytest

from ridesim.physics.resistance import (
    drive_force_bound,
    motor_brake_force_bound,
    other_share_of_braking_grip,
    other_share_of_grip,
)

MASS, WHEELBASE, HEIGHT = 132.0, 1.2, 0.9
WEIGHT = 9.80665 * MASS


def loads(force: float, ahead: float) -> tuple[float, float]:
    """Load on the front and the rear contact [N] under a forward force of both wheels together [N]."""
    front = (WEIGHT * ahead - HEIGHT * force) / WHEELBASE
    return front, WEIGHT - front


def holds(mu: float, own: float, other: float, ahead: float, rear: bool) -> bool:
    """Whether a drive's own force slips nowhere and lifts no wheel beside that of the other wheel; < 0 brakes."""
    front, back = loads(own + other, ahead)
    return abs(own) <= mu * (back if rear else front) and min(front, back) >= 0.0


def most(mu: float, other: float, ahead: float, rear: bool, sign: float) -> float:
    """The largest force that holds, found by halving [N]."""
    low, high = 0.0, 2.0 * WEIGHT
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if holds(mu, sign * middle, sign * other, ahead, rear) else (low, middle)
    return low


@pytest.mark.parametrize("rear", [True, False])
@pytest.mark.parametrize(("mu", "ahead"), [(0.2, 0.5), (0.2, 0.15), (0.5, 0.5), (0.8, 0.7), (0.8, 0.3)])
def test_a_drive_beside_another_that_pushes(mu: float, ahead: float, rear: bool):
    alone, beside = (most(mu, push, ahead, rear, 1.0) for push in (0.0, 10.0))
    share = other_share_of_grip(mu, WHEELBASE, HEIGHT, ahead, rear, False)
    assert alone - beside == pytest.approx(10.0 * share, abs=1e-6)
    assert alone == pytest.approx(drive_force_bound(mu, MASS, 1.0, WHEELBASE, HEIGHT, ahead, rear), rel=1e-9)


@pytest.mark.parametrize(("mu", "ahead"), [(0.2, 0.5), (0.5, 0.5), (0.8, 0.3)])
def test_a_drive_beside_another_that_brakes(mu: float, ahead: float):
    """A brake at the front unloads the rear; what one at the rear adds at the front is left out, on the safe side."""
    alone, beside = (most(mu, brake, ahead, True, -1.0) for brake in (0.0, 10.0))
    share = other_share_of_braking_grip(mu, WHEELBASE, HEIGHT, ahead, True, False)
    assert alone - beside == pytest.approx(10.0 * share, abs=1e-6)
    assert alone == pytest.approx(motor_brake_force_bound(mu, MASS, 1.0, WHEELBASE, HEIGHT, ahead, True), rel=1e-9)
    at_front = other_share_of_braking_grip(mu, WHEELBASE, HEIGHT, ahead, False, False)
    assert most(mu, 10.0, ahead, False, -1.0) >= most(mu, 0.0, ahead, False, -1.0) - 10.0 * at_front - 1e-6


def test_at_one_wheel_both_push_through_one_tyre():
    for rear in (True, False):
        for share in (other_share_of_grip, other_share_of_braking_grip):
            assert share(0.8, WHEELBASE, HEIGHT, 0.4, rear, True) == 1.0
    assert math.isfinite(
        other_share_of_grip(2.0, 1.0, 1.0, 0.5, True, False)
    )  # a lever of the grip beyond the wheelbase
