"""Whose word a rewind has, of wire and ride; which drive's motor is wound; and a winding in words."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from ridesim.bike.load import load_build
from ridesim.workshop.winding.motor import Winding
from ridesim.workshop.winding.plan import Rider, _judged, words_of

from ..bikes import CONFIGS


def said(verdict: str, reason: str) -> Any:
    return SimpleNamespace(verdict=verdict, reason=reason)


@pytest.mark.parametrize(
    ("wire", "ride", "word", "reason"),
    [
        ("fine", "fine", "fine", "wire; ride"),
        ("look again", "fine", "look again", "wire"),
        ("fine", "look again", "look again", "ride"),
        ("look again", "stop", "stop", "ride"),
        ("stop", "look again", "stop", "wire"),
        ("stop", "stop", "stop", "wire; ride"),
    ],
)
def test_the_gravest_of_wire_and_ride_is_told(wire: str, ride: str, word: str, reason: str) -> None:
    assert _judged(said(wire, "wire"), said(ride, "ride")) == (word, reason)
    assert _judged(said(wire, "wire"), None) == (wire, "wire")


def test_of_two_different_drives_the_asked_one_s_motor_is_wound() -> None:
    two = load_build(CONFIGS / "longtail-two-drives.toml")
    second = two.build.second
    assert second is not None and second.motor.kv_rpm_per_v != two.build.motor.kv_rpm_per_v
    kvs = [Rider(two, drive=number).motor.kv_rpm_per_v for number in (None, 1, 2)]
    assert kvs == [two.build.motor.kv_rpm_per_v] * 2 + [second.motor.kv_rpm_per_v]


def test_a_winding_in_words() -> None:
    assert words_of(Winding(7, 5, 0.5, "star")) == "7 turns of 5 x 0.5 mm, star"
    assert words_of(Winding(7, 1, 0.5, "delta", 2)) == "7 turns of 0.5 mm, delta, 2 paths"
