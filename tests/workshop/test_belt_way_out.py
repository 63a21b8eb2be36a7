"""What would carry a belt's load: each proposal is judged by the belt room itself, just as told."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from ridesim.workshop.belt.layout import check_stage
from ridesim.workshop.belt.strength import BeltStage
from ridesim.workshop.belt.way_out import SAME_RATIO, USUAL_WIDTHS_MM, ways_out, ways_words

SMALL = BeltStage(16, 72, 120.0, 9.0, "3M")
BIG = BeltStage(18, 80, 200.0, 15.0, "5M")


def told(words: str, stage: BeltStage) -> BeltStage:
    """Build the belt that a proposal speaks of, from its words alone."""
    if match := re.match(r"a belt (\d+) mm wide", words):
        return replace(stage, width_mm=float(match[1]))
    match = re.match(r"(\d+) to (\d+) teeth(?: of (\dM) .*?, (\d+) mm wide)?", words)
    assert match is not None, words
    belt, width = (match[3], float(match[4])) if match[3] else (stage.belt, stage.width_mm)
    return BeltStage(int(match[1]), int(match[2]), stage.centre_mm, width, belt)


@pytest.mark.parametrize(("stage", "torque_nm"), [
    (SMALL, 0.6), (SMALL, 0.9), (SMALL, 1.6), (BIG, 2.5), (BIG, 3.0), (BIG, 5.6), (BIG, 9.0),
])  # fmt: skip
def test_what_is_proposed_carries_the_load(stage: BeltStage, torque_nm: float) -> None:
    """Followed as told a stop is gone, and a proposal without a word of warning is fine."""
    assert check_stage(stage, torque_nm, 3000.0).verdict != "fine"
    found = ways_out(stage, torque_nm, 3000.0)
    for words in found:
        made = told(words, stage)
        verdict = check_stage(made, torque_nm, 3000.0).verdict
        assert verdict == ("look again" if "then look again" in words else "fine"), words
        ratio = made.teeth_driven / made.teeth_driver / (stage.teeth_driven / stage.teeth_driver)
        assert abs(ratio - 1.0) <= SAME_RATIO
    assert len(found) <= 3 and ways_words(stage, torque_nm, 3000.0).endswith("or less torque")


def test_the_width_proposed_is_the_least_usual_one_that_carries_it() -> None:
    words = next(each for each in ways_out(SMALL, 0.6, 3000.0) if each.startswith("a belt"))
    width = told(words, SMALL).width_mm
    assert width in USUAL_WIDTHS_MM["3M"] and width > SMALL.width_mm
    for less in (each for each in USUAL_WIDTHS_MM["3M"] if SMALL.width_mm < each < width):
        assert check_stage(replace(SMALL, width_mm=less), 0.6 * (1.0 + SAME_RATIO), 3000.0).verdict != "fine"


def test_a_belt_that_only_wants_a_second_look_is_led_to_nothing_that_does_too() -> None:
    """From `look again` another `look again` is no step on."""
    stage, torque = SMALL, 0.6
    assert check_stage(stage, torque, 3000.0).verdict == "look again"
    assert not any("then look again" in words for words in ways_out(stage, torque, 3000.0))


def test_where_nothing_usual_carries_it_that_is_told() -> None:
    assert ways_out(SMALL, 60.0, 3000.0) == ()
    assert ways_words(SMALL, 60.0, 3000.0) == "a wider belt of another make, or less torque"


@pytest.mark.parametrize(("torque_nm", "says"), [(0.64, "24 to 108 teeth"), (0.66, None)])
def test_pulleys_are_no_larger_than_told_and_bear_what_the_ratio_may_be_off(torque_nm: float, says: str | None) -> None:
    """At 0.66 N m the largest pair is fine as it stands, and no longer with 2 % more pull."""
    assert check_stage(replace(SMALL, teeth_driver=24, teeth_driven=108), torque_nm, 3000.0).verdict == "fine"
    assert next((each for each in ways_out(SMALL, torque_nm, 3000.0) if " teeth" in each), None) == says


def test_the_next_larger_pulleys_come_first() -> None:
    assert "17 to 76 teeth" in ways_out(SMALL, 0.46, 3000.0)


@pytest.mark.parametrize(("torque_nm", "width"), [(0.80, 9), (0.82, 15)])
def test_a_stopped_belt_is_led_to_the_least_that_bears_the_pull_for_years(torque_nm: float, width: int) -> None:
    """Too few teeth in mesh for a fine word: the narrowest with its service factor, on the profile's least teeth."""
    words = ways_out(SMALL, torque_nm, 3000.0)[-1]
    assert words.startswith(f"14 to 63 teeth of 5M (5 mm), {width} mm wide (then look again: 5.5 teeth in mesh")


def test_a_stronger_profile_runs_on_pulleys_of_about_the_same_size() -> None:
    """40 teeth of 5 mm are 25 of 8 mm round the pulley."""
    stage = BeltStage(40, 80, 300.0, 9.0, "5M")
    assert check_stage(stage, 9.0, 1000.0).verdict == "stop"
    assert any(each.startswith("25 to 50 teeth of 8M") for each in ways_out(stage, 9.0, 1000.0))
