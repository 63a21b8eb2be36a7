"""How a number is shown to people."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import constants

from ridesim.units import UNITS, convert, from_si, shown, suffix_of, to_si, told


@pytest.mark.parametrize(
    ("value", "words"),
    [(12.34, "12.3 km"), (-0.04, "0.0 km"), (-0.06, "-0.1 km"), (None, "-"), (math.inf, "-"), (math.nan, "-")],
)
def test_a_number_for_people(value: float | None, words: str) -> None:
    assert shown(value, "km") == words


def test_a_number_in_miles() -> None:
    """One international mile is 1.609344 km exactly (ISO 31-1)."""
    assert shown(1.609344, "km", "imperial", 3) == "1.000 mi"
    for temp_c in (295.6, 296.4, -3.5):  # a table and the words beside it say one number
        assert shown(temp_c, "c", "imperial", 0) == told(f"{temp_c:.0f} °C", "imperial")


def test_a_tiny_number_keeps_its_power_of_ten() -> None:
    assert told("off by 8.05e-06 km/h", "imperial") == "off by 5e-06 mph"
    assert told("off by -1.61e-03 km", "imperial") == "off by -0.001 mi"


def test_a_sentence_in_miles() -> None:
    words = "the winding reaches 111 °C of 155 °C at 24.8 km/h after 2 km; 41.2 Wh/km, 1.9 kg, 5.0 m, 3 km/hour, 5 K"
    assert told(words) == words
    assert told(words, "imperial") == (
        "the winding reaches 232 °F of 311 °F at 15.4 mph after 1.2 mi; 66.3 Wh/mi, 4.2 lb, 16.4 ft, 3 km/hour, 9 °F"
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


KCMIL_M2 = constants.kilo * constants.pi / 4.0 * constants.mil**2
"""A circular mil is the area of a wire of one mil, a thousandth of an inch."""
SECOND_SOURCE = {
    "kg": 1.0, "lb": constants.lb, "g_per_m": constants.gram, "m": 1.0, "mm": constants.milli, "km": constants.kilo,
    "mi": constants.mile, "ft": constants.foot, "mm2": constants.milli**2, "m2": 1.0, "mm3": constants.milli**3,
    "l": constants.liter, "a_per_mm2": 1.0 / constants.milli**2, "s": 1.0, "ms": constants.milli,
    "us": constants.micro, "min": constants.minute,
    "h": constants.hour, "days": constants.day, "v": 1.0, "mv": constants.milli, "a": 1.0, "ma": constants.milli,
    "w": 1.0, "kw": constants.kilo, "wh": constants.hour, "ah": constants.hour,
    "mah": constants.milli * constants.hour, "ohm": 1.0, "mohm": constants.milli,
    "ohm_per_km": 1.0 / constants.kilo, "mohm_per_m": constants.milli, "uh": constants.micro, "uf": constants.micro,
    "g": constants.gram, "cm2": constants.centi**2, "j_per_kg_k": 1.0, "um": constants.micro,
    "kn": constants.kilo, "gpa": constants.giga,
    "nm": 1.0, "nm_s": 1.0, "nm_per_a": 1.0, "n": 1.0, "j": 1.0, "wb": 1.0, "hz": 1.0, "kg_m2": 1.0,
    "rev_per_s": 2.0 * constants.pi, "rpm": 2.0 * constants.pi / constants.minute,
    "rpm_per_v": 2.0 * constants.pi / constants.minute,
    "rpm_per_mnm": 2.0 * constants.pi / constants.minute / constants.milli,
    "c": 1.0, "f": constants.degree_Fahrenheit, "k": 1.0, "percent": constants.centi,
    "percent_per_k": constants.centi, "deg": constants.degree, "arcmin": constants.arcminute,
    "arcsec": constants.arcsecond, "m_per_s": 1.0, "km_h": constants.kmh, "mph": constants.mph, "m_per_s2": 1.0,
    "w_per_k": 1.0, "k_per_w": 1.0, "w_per_m": 1.0, "w_per_m_k": 1.0, "w_per_m2": 1.0, "w_per_m2_k": 1.0,
    "j_per_k": 1.0, "per_k": 1.0, "k_per_j": 1.0, "kj_per_mol": constants.kilo, "pa": 1.0, "mpa": constants.mega,
    "hpa": constants.hecto, "m2_per_s": 1.0, "kg_per_m3": 1.0, "wh_per_km": constants.hour / constants.kilo,
    "wh_per_mi": constants.hour / constants.mile, "mb": constants.mega,
    "in": constants.inch, "in3": constants.inch**3, "kcmil": KCMIL_M2, "a_per_kcmil": 1.0 / KCMIL_M2,
    "lbf": constants.lbf,
    "lbf_ft": constants.lbf * constants.foot, "f_step": constants.degree_Fahrenheit, "ft_per_s": constants.foot,
}  # fmt: skip
"""Factors to SI as scipy.constants has them, composed from its own prefixes, lengths and times."""
ZEROS = {"c": constants.zero_Celsius, "f": float(constants.convert_temperature(0.0, "Fahrenheit", "Kelvin"))}
EXACT = 1e-12


@pytest.mark.parametrize("suffix", UNITS)
def test_every_unit_there_and_back_by_a_second_source(suffix: str) -> None:
    for value in (-40.0, 0.0, 1.0, 1234.5):
        theirs = SECOND_SOURCE[suffix] * value + ZEROS.get(suffix, 0.0)
        assert to_si(value, suffix) == pytest.approx(theirs, rel=EXACT, abs=1e-300)
        assert from_si(theirs, suffix) == pytest.approx(value, rel=EXACT, abs=1e-300 if suffix not in ZEROS else 1e-12)
        assert convert(value, suffix, suffix) == pytest.approx(value, rel=EXACT, abs=1e-12)


def test_the_second_source_knows_no_unit_that_is_gone() -> None:
    assert SECOND_SOURCE.keys() == UNITS.keys()


def test_arrays_are_converted_like_numbers() -> None:
    given = np.array([-40.0, 0.0, 100.0])
    assert convert(given, "c", "f") == pytest.approx([-40.0, 32.0, 212.0], rel=EXACT)
    assert from_si(to_si(given, "km_h"), "km_h") == pytest.approx(given, rel=EXACT)


def test_every_suffix_is_found_at_the_end_of_a_name() -> None:
    """A longer suffix is not taken for a shorter one that ends it."""
    assert {suffix_of(f"quantity_{suffix}") for suffix in UNITS} == set(UNITS)
