"""A search over bikes of two different drives: against riding every one of them, and what it writes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridesim.bike.load import load_build
from ridesim.errors import GoalsError, RidesimError
from ridesim.ride.drives import each_drive
from ridesim.ride.judge import judge
from ridesim.ride.simulate import simulate
from ridesim.search.goals import Asked
from ridesim.search.how import How, study_of
from ridesim.search.search import search
from ridesim.search.sift import bike_figures, cheap_tests
from ridesim.search.written import member_files
from ridesim.workshop.check.sheet import check_build

Make = Callable[..., Asked]
FEW = How(samples=16, shown=3)
GOALS: dict[str, Any] = {
    "base": "longtail-two-drives",
    "matters": ["net_energy_wh"],
    "vary": {"second_motor": ["motor-80mm", "6374,149"], "parallel": [3]},
    "between": [
        {"key": "second.drive.stage.0.ratio", "low": 4.0, "high": 14.0, "step": 5.0},
        {"key": "second.controller.motor_current_limit_a", "low": 20.0, "high": 40.0, "step": 20.0},
        {"key": "controller.motor_current_limit_a", "low": 15.0, "high": 45.0, "step": 30.0},
    ],
    "hold": [{"what": "second_peak_winding_temp_c", "at_most": 60.0}, {"what": "drive_mass_kg", "at_most": 22.0}],
}


def test_it_finds_the_best_of_all_that_it_could_ride(make_goals: Make, tmp_path: Path):
    """24 bikes: the cheap tests let nothing fall that rides through, and no kept bike takes less energy."""
    asked = make_goals(**GOALS)
    study = study_of(asked)
    road, rows = study.roads[0], study.space.rows(0, study.space.count)
    mass = bike_figures(study.space, rows, {})["drive_mass_kg"]
    passes = np.logical_and.reduce([test(rows) for _, test in cheap_tests(
        asked, study.space, study.roads, (), {})])  # fmt: skip
    best, seen, gone = np.inf, 0, 0
    for at, row in enumerate(rows):
        try:
            loaded = study.space.loaded_of(row)
        except RidesimError:
            continue
        build = loaded.build
        own = [each.mass_kg for each in (build.motor, build.controller, build.second, build.pack)]
        assert mass[at] == pytest.approx(sum(own), rel=1e-9)
        ride = simulate(loaded, road, trace=False)
        gone += not passes[at]
        assert passes[at] or not ride.finished
        hot = each_drive(ride)[1].figures.peak_winding_temp_c
        if judge(ride).word == "stop" or hot > 60.0 or check_build(loaded, road).verdict == "stop":
            continue
        seen += 1
        best = min(best, ride.figures.net_energy_wh)
    assert 3 < seen < len(rows)
    found = search(asked, FEW)
    member = found.members[0]
    assert member.figures["net_energy_wh"] == pytest.approx(best, rel=5e-3)
    files = member_files(found, tmp_path, ["a", "b", "c"][: len(found.members)])
    for name, text in files.items():
        (tmp_path / name).write_text(text)
    again = simulate(load_build(tmp_path / "build-a.toml"), road, trace=False)
    assert again.figures.net_energy_wh == pytest.approx(member.figures["net_energy_wh"], rel=2e-3)
    assert "[[second.drive.stage]]" in files["build-a.toml"] and "second.motor = " in files["build-a.toml"]


def test_second_names_need_a_second_drive(make_goals: Make):
    one = {"matters": ["net_energy_wh"], "vary": {"parallel": [3]}}
    with pytest.raises(GoalsError, match="asked of a base build of one drive"):
        study_of(make_goals(**one, hold=[{"what": "second_peak_winding_temp_c", "at_most": 90.0}]))
    with pytest.raises(GoalsError, match="the base build has one drive"):
        study_of(make_goals(matters=["net_energy_wh"], vary={"second_motor": ["motor-80mm"]}))
    with pytest.raises(GoalsError, match=r"count from 0 to 0"):
        study_of(make_goals(**{**GOALS, "between": [{"key": "second.drive.stage.1.ratio", "low": 2.0, "high": 3.0,
                                                     "step": 1.0}]}))  # fmt: skip
