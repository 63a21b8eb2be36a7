"""Every question is a function of the package, and every answer shows itself: in a line, a table, a picture, a page."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

import ridesim
from ridesim.errors import RideError

BUILD, ROAD = "configs/longtail-belt.toml", "routes/ridge-climb.gpx"

QUESTIONS = {
    "simulate": lambda: ridesim.simulate(BUILD, ROAD),
    "climb": lambda: ridesim.climb(BUILD, grade_percent=8.0, length_km=2.0),
    "climb_map": lambda: ridesim.climb_map(BUILD, points=6),
    "ratios": lambda: ridesim.ratios(BUILD, ROAD, [8.0, 9.7]),
    "compare": lambda: ridesim.compare([BUILD, "configs/longtail-hub.toml"], [ROAD]),
    "reach": lambda: ridesim.reach(BUILD, ROAD, speeds_km_h=[20.0]),
    "regen": lambda: ridesim.regen(BUILD, ROAD),
    "spread": lambda: ridesim.spread(BUILD, ROAD, samples=16, with_indices=False),
    "check": lambda: ridesim.check(BUILD, ROAD),
    "throttle": lambda: ridesim.throttle(BUILD),
    "launch": lambda: ridesim.launch(BUILD),
}


@pytest.fixture(scope="module", params=QUESTIONS)
def answer(request: pytest.FixtureRequest, root: Path) -> Any:
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(root)
        return QUESTIONS[request.param]()


def test_an_answer_is_one_short_line(answer: Any) -> None:
    line = repr(answer)
    assert line.startswith(f"<{type(answer).__name__}: ") and "longtail" in line
    assert "\n" not in line and len(line) < 140


def test_an_answer_is_a_table(answer: Any) -> None:
    table = answer.to_frame()
    assert isinstance(table, pd.DataFrame) and len(table) >= 1
    assert all(isinstance(name, str) for name in table.columns)
    assert len(table.select_dtypes("number").columns) >= 2, "numbers stay numbers"


def test_an_answer_draws_each_of_its_pictures_by_name(answer: Any) -> None:
    assert answer.pictures
    assert isinstance(answer.draw(), Figure) and isinstance(answer.draw(answer.pictures[-1]), Figure)
    with pytest.raises(RideError, match=r"there is no picture 'x'.*choose"):
        answer.draw("x")


def test_a_notebook_shows_the_page(answer: Any) -> None:
    shown = answer._repr_html_()
    assert answer.view(pictures=False).answer[0].split("'")[0][:40] in shown
    assert shown.count("<svg") == len(answer.view().figures) and "@scope (.ridesim)" in shown
    ids = re.findall(r'\bid="([^"]+)"', shown)
    assert len(ids) == len(set(ids))


def test_figures_are_those_of_the_command(ridesim_command: Any, root: Path) -> None:
    said = json.loads(ridesim_command("climb", BUILD, ROAD, "--quick", "--json").stdout)
    figures = ridesim.climb(root / BUILD, root / ROAD).figures
    assert {name: said[name] for name in ("peak_winding_temp_c", "time_min", "verdict")} == {
        name: figures[name] for name in ("peak_winding_temp_c", "time_min", "verdict")
    }


def test_looking_at_a_ride_rides_nothing(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ride = ridesim.simulate(root / BUILD, root / ROAD)
    from ridesim.ride import running

    monkeypatch.setattr(running, "run_one", lambda *_a, **_k: pytest.fail("rides"))
    assert ride._repr_html_() and repr(ride)


def test_the_notebook_runs(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cells are run as a notebook runs them, without a kernel beside the test: a cell's last expression is shown."""
    monkeypatch.chdir(root)
    cells = json.loads((root / "tests/report/longtail.ipynb").read_text(encoding="utf-8"))["cells"]
    shown, names = [], {}
    for cell in cells:
        if cell["cell_type"] != "code":
            continue
        tree = ast.parse("".join(cell["source"]))
        last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
        exec(compile(tree, "cell", "exec"), names)
        if last is not None:
            shown.append(eval(compile(ast.Expression(last.value), "cell", "eval"), names))
    ride, climb, table, picture = shown
    assert "<svg" in ride._repr_html_() and "<svg" in climb._repr_html_()
    assert list(table["ratio"]) == [8.0, 9.7, 12.0] and isinstance(picture, Figure)
    assert table["peak_winding_temp_c"].is_monotonic_decreasing, "slower gearing draws less current on the same hills"


def test_the_way_from_above_closes_a_round_and_a_made_road_is_drawn_by_its_bearings(root: Path) -> None:
    from dataclasses import replace

    from ridesim.road.above import is_a_line, seen_from_above
    from ridesim.road.made import make_climb

    road = ridesim.load_road(root / "routes/terrace-round.gpx")
    east, north = seen_from_above(road)
    assert np.hypot(east[-1], north[-1]) < 60.0  # a round ends where it began
    steps = np.hypot(np.diff(east), np.diff(north))
    assert steps.sum() == pytest.approx(road.length_m, rel=0.01)
    drawn = seen_from_above(replace(road, latitude_deg=None, longitude_deg=None))
    assert np.abs(np.array(drawn) - np.array([east, north])).max() < 0.03 * road.length_m
    assert is_a_line(make_climb(1000.0, 8.0)) and not is_a_line(road)
