"""What a log is judged by: each verdict just inside and just outside."""

from __future__ import annotations

import pytest

from ridesim.learn.build_fit import TOO_FAR_OFF, FittedKey, _moved
from ridesim.learn.replay import parted_word
from ridesim.ride.judge import FINE, LOOK_AGAIN, STOP


@pytest.mark.parametrize(
    "rms, word", [(0.99, FINE), (1.01, LOOK_AGAIN), (4.99, LOOK_AGAIN), (5.01, STOP), (float("nan"), STOP)]
)
def test_a_channel_that_parts(rms: float, word: str):
    assert parted_word(rms, 1.0, 5.0) == word


@pytest.mark.parametrize("moved, word", [(3.49, FINE), (3.51, LOOK_AGAIN), (5.99, LOOK_AGAIN), (6.01, STOP)])
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_a_key_that_moves(moved: float, word: str, side: float):
    key = FittedKey("motor.kv_rpm_per_v", "rpm/V", 100.0, 8.0, 130.0, 1.0, 128.0, 132.0, 0.1, side * moved, False, ())
    (found,) = _moved((key,))
    assert found.verdict == word
    assert found.reason.startswith("motor.kv_rpm_per_v would have to be 130 rpm/V where 100 is stated")
    assert TOO_FAR_OFF == found.limit
