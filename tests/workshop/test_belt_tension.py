"""How tight a belt may and must be, the motor's shaft under it, and the least teeth: each verdict at both its sides."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridesim.errors import BuildError
from ridesim.workshop.belt.layout import check_stage, judge_least_teeth, judge_mesh, judge_pull
from ridesim.workshop.belt.shaft import (
    Shaft,
    bearing_limit_n,
    bending_limit_n,
    check_shaft,
    endurance_mpa,
    judge_side_load,
)
from ridesim.workshop.belt.strength import BeltStage
from ridesim.workshop.belt.tables import belt_type
from ridesim.workshop.belt.tension import judge_tension, span_frequency_hz, tension_setting, tensioner_words

STAGE = BeltStage(20, 72, 260.0, 15.0)
ALLOWED, PULL, FLUNG = 250.0, 100.0, 6.0


@pytest.mark.parametrize(
    ("tension", "verdict", "words"),
    [
        (55.9, "stop", "slack side empty"),  # half the pull and the centrifugal part: 56 N
        (56.1, "look again", "slack side"),
        (65.9, "look again", "slack side"),  # a tenth of the pull more: 66 N
        (66.1, "fine", ""),
        (199.9, "fine", ""),  # allowed less half the pull: 200 N
        (200.1, "look again", "tight side"),
        (249.9, "look again", "tight side"),
        (250.1, "stop", "over the 250 N allowed"),
        (5000.0, "stop", "over the 250 N allowed"),
    ],
)
def test_tension_is_judged_from_both_sides(tension: float, verdict: str, words: str) -> None:
    found, reason = judge_tension(tension, PULL, ALLOWED, FLUNG)
    assert found == verdict and words in reason
    if verdict != "fine":
        assert "66 to 200 N at rest would do" in reason


def test_a_belt_that_no_tension_suits_says_so() -> None:
    verdict, reason = judge_tension(130.0, 240.0, ALLOWED, FLUNG)
    assert verdict == "look again" and "wider belt" in reason


def test_a_belt_without_load_may_hang_loose_but_not_be_torn() -> None:
    assert judge_tension(0.0, 0.0, ALLOWED, 0.0)[0] == "fine"
    assert judge_tension(251.0, 0.0, ALLOWED, 0.0)[0] == "stop"


@pytest.mark.parametrize(
    ("tension", "verdict"), [(5000.0, "stop"), (100.0, "fine"), (60.0, "look again"), (55.0, "stop")]
)
def test_a_stage_hears_of_a_tension_that_does_not_suit(tension: float, verdict: str) -> None:
    """5000 N on a belt allowed 249 N tears it; pull 110 N wants 66 N and a little for speed."""
    found = check_stage(STAGE, 1.75, 500.0, pretension_n=tension)
    assert (found.verdict, found.tension_suits) == (verdict, verdict == "fine"), found.reason


@given(torque=st.floats(0.05, 2.0), speed=st.floats(0.0, 4000.0))
def test_the_tension_that_is_told_suits(torque: float, speed: float) -> None:
    found = check_stage(STAGE, torque, speed)
    window = found.tension_window
    assert window.least_n <= found.setting.pretension_n <= window.most_n
    assert found.tension_suits and found.setting.pretension_n == found.tensions.pretension_n


@pytest.mark.parametrize(
    ("pull", "verdict"), [(100.9, "fine"), (101.1, "look again"), (151.4, "look again"), (151.6, "stop")]
)
def test_pull_at_both_sides_of_service_factor_and_limit(pull: float, verdict: str) -> None:
    """150 N allowed, a service factor of 1.5; the judge's 1 % for a rating that is met."""
    assert judge_pull(pull, 150.0, 1.5)[0] == verdict


def test_six_teeth_in_mesh_and_a_little_less() -> None:
    assert (judge_mesh(6.0)[0], judge_mesh(5.99)[0]) == ("fine", "look again")


@pytest.mark.parametrize(
    ("profile", "least"),
    [("3M", 10), ("5M", 14), ("8M", 22), ("3M modified", 16), ("5M modified", 18), ("8M modified", 22)],
)
def test_least_teeth_of_each_profile_from_memory(profile: str, least: int) -> None:
    assert belt_type(profile).least_teeth == least
    assert judge_least_teeth(profile, least)[0] == "fine"
    verdict, reason = judge_least_teeth(profile, least - 1)
    assert verdict == "look again" and f"{least} or more" in reason


def test_sixteen_teeth_of_8m_do_not_pass_without_a_word() -> None:
    found = check_stage(BeltStage(16, 148, 600.0, 25.0, "8M"), 3.0, 1000.0)
    assert found.verdict == "look again" and "16 teeth of 8M: 22 or more" in found.reason
    assert check_stage(BeltStage(22, 148, 600.0, 25.0, "8M"), 3.0, 1000.0).verdict == "fine"
    assert check_stage(BeltStage(148, 16, 600.0, 25.0, "8M"), 3.0, 100.0).verdict == "look again"  # driven counts


def test_note_of_a_span_is_mersenne_s() -> None:
    """A steel string of 0.65 m, 0.4 g/m under 71.8 N sounds 325.9 Hz (close to a guitar's e' of 329.6 Hz)."""
    assert span_frequency_hz(71.8, 650.0, 0.4e-3) == pytest.approx(math.sqrt(71.8 / 0.4e-3) / 1.3)
    assert span_frequency_hz(71.8, 650.0, 0.4e-3) == pytest.approx(325.9, abs=0.05)
    one, four = (span_frequency_hz(tension, 300.0, 0.06) for tension in (100.0, 400.0))
    assert four == pytest.approx(2.0 * one)


def test_note_agrees_with_the_belt_trade_s_sonic_formula_from_memory() -> None:
    """T = 4 M W S^2 f^2 1e-9, M in g per metre and mm of width, W and S in mm (sonic meters, from memory)."""
    found = tension_setting("5M", 15.0, 240.0, 120.0)
    assert 4.0 * 4.1 * 15.0 * 240.0**2 * found.frequency_hz**2 * 1e-9 == pytest.approx(120.0)


def test_deflection_force_is_statics_of_a_string() -> None:
    """Two straight halves, each carrying the tension, at the angle of 1/64 over half the span."""
    found = tension_setting("5M", 15.0, 320.0, 160.0)
    assert found.deflection_mm == pytest.approx(5.0)
    assert found.deflection_force_n == pytest.approx(10.0)
    exact = 2.0 * 160.0 * math.sin(math.atan(5.0 / 160.0))
    assert found.deflection_force_n == pytest.approx(exact, rel=6e-4)  # small angle: 1/2 (1/32)^2


def test_a_tensioner_is_never_sprung_where_the_motor_brakes() -> None:
    assert "no sprung idler" in tensioner_words(brakes=True)
    assert "slack span only" in tensioner_words(brakes=False) and "brakes too" not in tensioner_words(brakes=False)


def test_endurance_by_shigley_s_worked_form() -> None:
    """ka and kb of Shigley, chapter 7 (10th ed.), solution 7-1's tables: 4.51 Sut^-0.265 and (d/7.62)^-0.107."""
    surface, size = 4.51 * 600.0**-0.265, (10.0 / 7.62) ** -0.107
    assert endurance_mpa(10.0) == pytest.approx(surface * size * 300.0 / 1.7)
    assert pytest.approx((0.685, 0.893), abs=5e-4) == (4.51 * 1226.0**-0.265, (22.0 / 7.62) ** -0.107)


def test_bending_limit_brings_the_allowed_stress() -> None:
    """500 N at 20 mm on an 8 mm shaft: 198.944 MPa (32 M/(pi d^3))."""
    share = bending_limit_n(8.0, 20.0) / 500.0
    assert share * 198.944 == pytest.approx(endurance_mpa(8.0) / 1.5, rel=1e-5)


def test_bearing_limit_is_iso_281() -> None:
    """A 6000 (4620 N, from memory) for 1000 h at 3000 rpm: 180 million turns, C/180^(1/3), lever 1.5."""
    assert bearing_limit_n(10.0, 3000.0) == pytest.approx(4620.0 / 180.0 ** (1.0 / 3.0) / 1.5)
    assert bearing_limit_n(10.0, 0.0) == pytest.approx(4620.0 / 1.5)


@pytest.mark.parametrize(
    ("origin", "load", "verdict"),
    [("stated", 199.9, "fine"), ("stated", 200.1, "stop"), ("estimate", 199.9, "fine"),
     ("estimate", 200.1, "look again"), ("estimate", 2000.0, "look again")],
)  # fmt: skip
def test_side_load_at_both_sides_of_its_limit(origin: str, load: float, verdict: str) -> None:
    found, reason = judge_side_load(load, 200.0, origin, 10.0, 20.0)
    assert found == verdict
    assert ("stated" if origin == "stated" else "by estimate") in reason


def test_an_unknown_shaft_is_told_what_it_needs() -> None:
    found = check_shaft("motor shaft", 350.0, 3000.0, 15.0, Shaft())
    assert (found.verdict, found.limit_n, found.limit_from) == ("fine", None, "")
    assert "not judged" in found.reason and found.needed_diameter_mm is not None
    enough = check_shaft("motor shaft", 350.0, 3000.0, 15.0, Shaft(found.needed_diameter_mm))
    thin = check_shaft("motor shaft", 350.0, 3000.0, 15.0, Shaft(8.0))
    assert (enough.verdict, thin.verdict) == ("fine", "look again")
    assert (enough.limit_from, enough.overhang_mm) == ("estimate", 15.5)
    assert check_shaft("motor shaft", 350.0, 3000.0, 15.0, Shaft(8.0, overhang_mm=3.0)).verdict == "fine"
    assert check_shaft("motor shaft", 350.0, 3000.0, 15.0, Shaft(20.0, 250.0)).verdict == "stop"  # stated goes first


def test_a_side_load_that_no_shaft_bears_wants_a_second_bearing() -> None:
    found = check_shaft("motor shaft", 9000.0, 3000.0, 15.0, Shaft(20.0))
    assert found.needed_diameter_mm is None and "both sides" in found.reason


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: span_frequency_hz(100.0, 0.0, 0.06), "above 0"),
        (lambda: span_frequency_hz(-1.0, 300.0, 0.06), "0 or above"),
        (lambda: bending_limit_n(0.0, 10.0), "above 0"),
        (lambda: check_shaft("motor shaft", -1.0, 0.0, 15.0, Shaft()), "0 or above"),
    ],
)
def test_what_cannot_be_is_refused(call, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(BuildError, match=words):
        call()
