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
        "the winding reaches 232 °F of 311 °F at 15.4 mph after 1.2 mi; 41.2 Wh/km, 4.2 lb, 3 km/hour, 9 °F"
    )


@pytest.mark.parametrize(
    ("metric", "suffix", "imperial"),
    [(4.448222, "n", "1.0000 lbf"), (1.355818, "nm", "1.0000 lbf·ft"), (25.4, "mm", "1.0000 in"),
     (0.5067075, "mm2", "1.0000 kcmil"), (0.3048, "m_per_s", "1.0000 ft/s"), (5.0, "k", "9.0000 °F")],
)  # fmt: skip
def test_forces_and_lengths_of_a_workshop_in_nist_sp_811_appendix_b(metric: float, suffix: str, imperial: str) -> None:
    assert shown(metric, suffix, "imperial", 4) == imperial


def test_what_a_workshop_says_in_pounds_and_inches() -> None:
    words = (
        "pull 193 N of 440 N allowed; 116 to 343 N at rest; 0.13 mm needed, 17 K above; round pin 4\u00a0mm, 2.5 mm²"
    )
    assert told(words, "imperial") == (
        "pull 43 lbf of 99 lbf allowed; 26 lbf to 77 lbf at rest; "
        "0.005 in needed, 31 °F above; round pin 4\u00a0mm, 2.5 mm²"
    )
