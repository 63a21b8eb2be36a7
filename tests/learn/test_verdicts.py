"""What a log is judged by: each verdict just inside and just outside."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridesim.learn import balance
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


def test_what_a_temperature_is_off_by_is_no_temperature():
    """10 K are 18 °F, not 50: a difference has no zero."""
    off = skill("winding_temperature_c", "c", 1.0).off
    assert (off(10.0), off(10.0, "imperial")) == ("10 K", "18 °F")


def problem(name: str, measured: np.ndarray) -> Any:
    return SimpleNamespace(readings=[SimpleNamespace(name=name, measured=measured)])


def seconds_of(count: int) -> Any:
    return SimpleNamespace(step_s=1.0, usable=np.ones(count, dtype=bool), speed=np.full(count, 7.0))


def test_what_holds_back_a_driven_bike_is_a_head_wind_and_no_brake():
    """A kilowatt and a half are missing all the time: a brake where nothing drives, never where 300 W do."""
    given = np.repeat([0.0, 300.0], 300)
    free = balance.free_of_brakes(seconds_of(600), SimpleNamespace(mass=100.0), given, given - 1500.0)
    assert not free[:250].any() and free[350:].all()


def test_braking_against_the_motor_is_a_share_of_the_time_that_it_drives(monkeypatch: pytest.MonkeyPatch):
    """It drives for half of the time, and a brake would have to hold it for half of that."""
    motor = np.repeat([300.0, 0.0], 600)
    missing = np.repeat([-1500.0, 0.0, 0.0, 0.0], 300)
    monkeypatch.setattr(balance, "asked_power", lambda *_: motor + missing)
    params: Any = SimpleNamespace(mass=100.0)
    share = balance.braked_while_driving(params, seconds_of(1200), motor, motor)
    assert share == pytest.approx(0.5, abs=0.03)
    assert math.isnan(balance.braked_while_driving(params, seconds_of(1200), motor, 0.0 * motor))
