"""The plan between its nodes, against a general-purpose library's monotone cubic."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from ridesim.engine import here
from ridesim.engine.plan import monotone_slope

SPEEDS = np.array([6.9, 6.9, 6.5, 5.8, 4.4, 4.4, 5.1, 6.9, 6.9, 6.0])


def test_slopes_are_those_of_a_monotone_cubic() -> None:
    """But for both ends, where the plan is level and the library looks ahead."""
    squares = SPEEDS**2
    theirs = PchipInterpolator(np.arange(len(squares)), squares).derivative()(np.arange(len(squares)))
    assert monotone_slope(squares)[1:-1] == pytest.approx(theirs[1:-1], rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.9, 1.0])
def test_the_cubic_between_two_nodes(share: float) -> None:
    squares = SPEEDS**2
    slopes = monotone_slope(squares)
    theirs = PchipInterpolator(np.arange(len(squares)), squares)
    for left in range(1, len(squares) - 2):
        ours = here._cubic.py_func(*squares[left : left + 2], *slopes[left : left + 2], share)
        assert ours == pytest.approx(float(theirs(left + share)), rel=1e-12)
        assert squares[left : left + 2].min() - 1e-12 <= ours <= squares[left : left + 2].max() + 1e-12
