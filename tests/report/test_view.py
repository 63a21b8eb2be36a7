"""A view reads the same on a terminal as on a page."""

from __future__ import annotations

import math

import pytest

from ridesim.live.riding import _limits_of_one
from ridesim.report.page import page_text
from ridesim.report.ride.panels import bounds_of
from ridesim.report.style import new_figure
from ridesim.report.text import ride_rows
from ridesim.report.view import Table, View, view_text
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_flat

from ..bikes import bike

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


@pytest.mark.parametrize("motors", [1, 2])
def test_a_ride_says_whose_current_and_whose_torque_it_tells(motors: int) -> None:
    """40 A of one motor stood beside 34.5 N m of both, as if one made the other."""
    ride = simulate(bike({"drive.motors": motors}), make_flat(200.0), trace=False)
    ((_, words),) = [row for row in ride_rows(ride.summary, None, "metric") if row[0] == "motor current"]
    torque = f"peak {ride.figures.peak_shaft_torque_nm:.1f} N·m"
    each = words.split("(")[1].split(")")[0]
    assert each.endswith("each of two motors") == (motors == 2)
    assert words.endswith(f"both together {torque}" if motors == 2 else f"; {torque}")
    per_motor = ride.figures.peak_motor_current_dc_equivalent_a * 60.0 / (2.0 * math.pi * ride.build.motor.kv_rpm_per_v)
    assert ride.figures.peak_shaft_torque_nm == pytest.approx(motors * per_motor, rel=0.1)
    # The picture drew the pack's current of both against the limit of one controller.
    most = motors * ride.build.controller.pack_current_limit_a
    assert bounds_of(ride)[1][0] == most and _limits_of_one(ride.build)["pack"][0][0] == most
