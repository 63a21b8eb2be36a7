"""How a number is shown to people."""

from __future__ import annotations

import math

import pytest

from ridesim.units import shown, told


@pytest.mark.parametrize(
    ("value", "words"),
    [(12.34, "12.3 km"), (-0.04, "0.0 km"), (-0.06, "-0.1 km"), (None, "-"), (math.inf, "-"), (math.nan, "-")],
)
def test_a_number_for_people(value: float | None, words: str) -> None:
    assert shown(value, "km") == words


def test_a_number_in_miles() -> None:
    """One international mile is 1.609344 km exactly (ISO 31-1)."""
    assert shown(1.609344, "km", "imperial", 3) == "1.000 mi"


def test_a_sentence_in_miles() -> None:
    words = "the winding reaches 111 °C of 155 °C at 24.8 km/h after 2 km; 41.2 Wh/km, 1.9 kg, 3 km/hour, 5 K"
    assert told(words) == words
    assert told(words, "imperial") == (
        "the winding reaches 232 °F of 311 °F at 15.4 mph after 1.2 mi; 41.2 Wh/km, 4.2 lb, 3 km/hour, 5 K"
    )
