"""Files of measured cells: decimal commas, columns, units, and what can be read in two ways."""

from __future__ import annotations

import pytest

from ridesim.errors import RideError
from ridesim.report.pack.groups import view
from ridesim.workshop.asked import group
from ridesim.workshop.pack.measured import read_cells

READ: dict[str, tuple[str, tuple[float, ...], tuple[float, ...] | None, str]] = {
    "points": ("2.5\n2.6 # the blue one\n\n2.4\n", (2.5, 2.6, 2.4), None, ""),
    "decimal commas": ("2,5\n2,65\n3\n", (2.5, 2.65, 3.0), None, "2,5 is 2.5"),
    "one cell with a comma": ("2,5\n", (2.5,), None, "2,5 is 2.5"),
    "commas that part columns": ("1,2.5\n2,2.6\n", (2.5, 2.6), None, ""),
    "commas with spaces": ("1, 2.5\n2, 2.6\n", (2.5, 2.6), None, ""),
    "a head with commas": ("cell,capacity\n1,2.5\n2,3\n", (2.5, 3.0), None, ""),
    "semicolons and decimal commas": ("1;2,5\n2;2,6\n", (2.5, 2.6), None, ""),
    "tabs": ("cell\tcapacity_ah\n1\t2,5\n2\t2,6\n", (2.5, 2.6), None, ""),
    "spaces": ("1 2,5\n2 2,6\n", (2.5, 2.6), None, ""),
    "mAh by size": ("2500\n2600\n", (2.5, 2.6), None, "2500 mAh is 2.5 Ah"),
    "mAh by the head": ("capacity_mah\n250\n2600\n", (0.25, 2.6), None, ""),
    "resistances": (
        "cell;resistance_mohm;capacity_ah\na1;31,5;2,5\na2;30;2,6\n", (2.5, 2.6), (31.5, 30.0), ""),
    "ohms": ("capacity_ah;resistance_ohm\n2.5;0.03\n2.6;0.031\n", (2.5, 2.6), (30.0, 31.0), ""),
    "just below mAh": ("399\n399\n", (399.0, 399.0), None, ""),
    "just mAh": ("400\n401\n", (0.4, 0.401), None, "400 mAh is 0.4 Ah"),
}  # fmt: skip


@pytest.mark.parametrize("case", READ)
def test_files_are_read_as_meant(case: str) -> None:
    text, capacities, resistances, told = READ[case]
    cells = read_cells(text, "cells.txt")
    assert cells.capacities_ah == pytest.approx(capacities)
    assert cells.resistances_mohm == (None if resistances is None else pytest.approx(resistances))
    assert (told in " ".join(cells.notes)) and bool(cells.notes) == bool(told)


REFUSED: dict[str, tuple[str, str]] = {
    "numbers or cells": ("1,2\n2,4\n3,1\n", r"line 2: '2,4' can be 2.4 Ah, or cell 2 with 4"),
    "from nought": ("0,2\n1,4\n2,1\n", r"'1,4' can be 1.4 Ah, or cell 1 with 4"),
    "three pieces": ("1,2,5\n2,2,6\n", "line 1: '1,2,5' can be read in several ways"),
    "Ah and mAh": ("2.5\n2600\n", "line 2: 2600 among capacities such as 2.5: Ah and mAh are mixed"),
    "empty": ("# nothing\n\n", "holds no capacities"),
    "a head alone": ("capacity\n", "a head and no cells"),
    "three columns without a head": ("1;2.5;30\n", "3 columns without a head"),
    "a ragged table": ("1;2.5\n2\n", "line 2: '2' has not the 2 columns"),
    "a word": ("2.5\nblue\n", "line 2: 'blue' is not a number"),
    "a point and a comma": ("1;1.234,5\n2;2\n", "1.234,5' is not a number"),
    "nothing measured": ("2.5\n0\n", "line 2: 0 is no measurement"),
    "not a number": ("2.5\nnan\n", "line 2: nan is no measurement"),
    "no capacity": ("cell;resistance_mohm\n1;30\n", "name one of them capacity_ah"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_can_be_read_in_two_ways_is_refused_in_one_line(case: str) -> None:
    text, says = REFUSED[case]
    with pytest.raises(RideError, match=says) as caught:
        read_cells(text, "cells.txt")
    assert str(caught.value).count("\n") == 0 and str(caught.value).startswith("cells.txt")


@pytest.mark.parametrize(("low_ah", "weak"), [(2.41, ()), (2.39, (4,))])
def test_a_worn_cell_is_named_with_what_to_do(low_ah: float, weak: tuple[int, ...]) -> None:
    """Below four fifths of the middle cell (common practice, no source); its number counts from one."""
    found = group((3.0, 3.01, 3.0, 2.99, low_ah, 3.0), series=2, parallel=3)
    assert found.grouping.weak == weak
    told = " ".join(view(found).answer)
    assert (f"Put other cells in the place of 5 ({low_ah:.2f} Ah)" in told) == bool(weak)


def test_the_weakest_cells_are_named_first_and_the_rest_counted() -> None:
    """Ten worn cells of thirty: eight by name, from the weakest on."""
    worn = tuple(2.3 - 0.01 * at for at in range(10))
    told = " ".join(view(group((*(3.0,) * 20, *worn), series=10, parallel=3)).answer)
    assert "Put other cells in the place of 30 (2.21 Ah), 29 (2.22 Ah)" in told
    assert "23 (2.28 Ah) and 2 more, and group again" in told
