"""The picture of a year: what is said of its worst day lies over no other day."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from ridesim.report.season.figure import _mark
from ridesim.report.style import new_figure


@pytest.mark.parametrize("usual", [87.0, 45.0])
@pytest.mark.parametrize("worst", [60, 300])
def test_the_worst_day_is_named_where_no_day_is(usual: float, worst: int) -> None:
    left = np.full(365, usual)
    left[worst] = usual - 5.0
    days = [SimpleNamespace(day=at, date="2023-03-01") for at in range(365)]
    figure, (axes,) = new_figure()
    axes.plot(left, ".")
    axes.set_ylim(bottom=0.0)
    axes.set_xlim(0.0, 365.0)
    _mark(axes, SimpleNamespace(days=days, worst=days[worst]), left)
    figure.draw_without_rendering()
    box = axes.texts[0].get_window_extent()
    dots = axes.transData.transform(np.column_stack([np.arange(365.0), left]))
    inside = (dots > box.min).all(axis=1) & (dots < box.max).all(axis=1)
    assert axes.texts[0].get_text() == "worst day, 1 Mar" and not inside.any()
    assert axes.get_window_extent().containsx(box.x0) and axes.get_window_extent().containsx(box.x1)
