"""A view reads the same on a terminal as on a page."""

from __future__ import annotations

from ridesim.report.page import page_text
from ridesim.report.style import new_figure
from ridesim.report.view import Table, View, view_text

VIEW = View(
    title="How far?",
    question="Asked of a bike.",
    answer=("It goes far.", "But not for ever, " + "and so on " * 20),
    verdict="look again",
    tables=(Table("Rides", ("speed", "range"), (("15 km/h", "40 km"), ("25 km/h", "9 km"))),),
    notes=("mind the wind",),
)


def test_everything_said_is_in_the_text_and_lines_fit() -> None:
    text = view_text(VIEW)
    assert text.startswith("How far?\n========\n")
    assert "LOOK AGAIN: It goes far." in text and "note: mind the wind" in text
    assert max(map(len, text.splitlines())) <= 100
    rows = [line for line in text.splitlines() if "km/h" in line]
    assert rows == ["15 km/h  40 km", "25 km/h   9 km"]


def test_an_answer_without_verdict_or_tables_is_just_words() -> None:
    assert view_text(View("Title", "Why?", ("Because.",))) == "Title\n=====\n\nWhy?\n\nBecause."


def test_a_broad_table_gets_the_larger_part_of_a_wide_screen_beside_its_picture() -> None:
    narrow = VIEW.tables[0]
    broad = Table(
        "Why", ("part", "mostly because", "how near"), (("a motor", "of its heat " * 5, "by a few kelvin " * 4),)
    )
    assert not narrow.is_broad and broad.is_broad
    for table, drawn in ((narrow, 'class="beside"'), (broad, 'class="beside broad"')):
        figure, _ = new_figure()
        page = page_text(View("Which?", "", ("That.",), tables=(table,), figures=(("Dots.", figure),)), (), "ridesim")
        assert drawn in page
