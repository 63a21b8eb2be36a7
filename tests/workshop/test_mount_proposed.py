"""What would hold, by hand: choices from the smallest up, on the shaft that the build states."""

from __future__ import annotations

from typing import Any

import pytest

from ridesim.workshop.mount import proposal
from ridesim.workshop.mount.proposal import CHOICES, SHAFT_FOR_JOINT_MM

from ..bikes import bike


@pytest.mark.parametrize(("stated_mm", "told_mm"), [(None, 8), (12.0, 12)])
def test_a_joint_is_proposed_on_the_shaft_that_the_build_states(stated_mm: float | None, told_mm: int) -> None:
    """Nobody stated one: 8 mm stand in for it (a guess)."""
    seen: list[float] = []

    def first_joint(loaded: Any, _loads: Any) -> str:
        seen.append(loaded.build.motor.shaft_diameter_mm)
        return "not judged"

    loaded = bike({"motor.shaft_diameter_mm": stated_mm})
    words = proposal.proposed(loaded, None, first_joint, lambda _: True)  # type: ignore[arg-type]
    assert SHAFT_FOR_JOINT_MM == 8.0 and set(seen) == {float(told_mm)}
    assert words.startswith("no usual choice is enough")


@pytest.mark.parametrize("name", sorted(CHOICES))
def test_choices_rise_from_the_smallest_and_say_what_they_are(name: str) -> None:
    """What is first found to hold is then the smallest; its keys and its words are of one size."""
    choices = list(CHOICES[name](9.0))
    assert len({each.words for each in choices}) == len(choices) > 3
    for each in choices:
        for key, value in each.keys.items():
            if not key.endswith((".kind", ".material")):
                assert (f"{value:g}" if isinstance(value, float) else str(value)) in each.words, (name, key)
