"""What a log is judged by: each verdict just inside and just outside."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridesim.learn.build_fit import ROAD_STRANGE_W, TOO_FAR_OFF, ChannelSkill, FittedKey, _moved, _unlike
from ridesim.learn.channels import BY_NAME
from ridesim.learn.priors import ROAD
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
    assert found.limit == TOO_FAR_OFF


@pytest.mark.parametrize("share, word", [(0.99, FINE), (1.01, STOP)])
def test_a_channel_that_no_fit_follows(share: float, word: str):
    channel, measured = BY_NAME["pack_voltage_v"], np.full(50, 48.0)
    strange = channel.strange + channel.strange_share * 48.0
    (found,) = _unlike((skill("pack_voltage_v", "v", share * strange),), problem("pack_voltage_v", measured))
    assert found.verdict == word
    assert "not this bike" in found.reason


@pytest.mark.parametrize("share, word", [(0.99, FINE), (1.01, LOOK_AGAIN)])
def test_a_road_that_no_fit_follows(share: float, word: str):
    (found,) = _unlike((skill(ROAD, "w", share * ROAD_STRANGE_W),), problem(ROAD, np.zeros(1)))
    assert found.verdict == word


def skill(name: str, unit: str, fitted: float) -> ChannelSkill:
    return ChannelSkill(name, name, unit, 50, fitted, fitted, 0.1)


def problem(name: str, measured: np.ndarray) -> Any:
    return SimpleNamespace(readings=[SimpleNamespace(name=name, measured=measured)])
