"""Answers on a terminal of its own width: prose within it, tables as they are, no word lost."""

from __future__ import annotations

import pytest

from ridesim.report.folded import folded
from ridesim.report.text import ride_text
from ridesim.report.view import Table, View, view_text
from ridesim.ride.range import outlook_of
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb

from ..bikes import bike

LONG = "The winding reaches 208 °C at 4.3 km; class F allows 155 °C. " * 4


def answer() -> str:
    table = Table("Along the road", ("what and where it is said", "figure"), (("winding " * 20, "208 °C"),))
    return view_text(View("A title", "A question? " * 12, (LONG, LONG), "stop", (table,), notes=(LONG, "short")))


@pytest.mark.parametrize("width", [60, 80, 200])
def test_prose_keeps_to_the_width_and_loses_no_word(width):
    before, after = answer(), folded(answer(), width)
    assert before.split() == after.split()
    told = [line for line in after.split("\n") if "winding winding" not in line and "----" not in line]
    assert all(len(line) <= width or "what and where" in line for line in told)
    assert "winding " * 20 + "  208 °C" in after


def test_lines_of_a_paragraph_fill_the_width_again():
    notes = folded(answer(), 70).split("note: ")[1]
    lines = notes.rstrip().split("\n")
    assert all(line.startswith("      ") for line in lines[1:]) and all(len(line) > 45 for line in lines[1:-1])


def test_the_lines_of_a_ride_hang_under_their_words():
    ride = simulate(bike(), make_climb(600.0, 30.0), trace=False)
    text = folded(ride_text(ride, outlook_of(ride)), 80)
    assert max(len(line) for line in text.split("\n")) <= 80
    lines = text.split("\n")
    first = next(at for at, line in enumerate(lines) if line.startswith("range  "))
    assert lines[first + 1].startswith(" " * 19) and not lines[first + 1].startswith(" " * 20)
    assert "body" not in next(line for line in lines if line.startswith("hottest winding"))
