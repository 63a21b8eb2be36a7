"""What a combination costs a search, beside one ride by a general-purpose ODE solver in the same run."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ridesim.road.made import make_climb
from ridesim.schema.texts import toml_value
from ridesim.search.goals import read_goals
from ridesim.search.how import study_of
from ridesim.search.ridden import evaluate
from ridesim.search.sift import cheap_tests, sift

from ..bikes import bike
from ..independent.plant import Plant, climb

pytestmark = pytest.mark.benchmark

LENGTH_M, GRADE_PERCENT = 1600.0, 2.0
RIDES_TO_A_SOLVED_ONE = 50
"""Candidates packed, ridden in full, read and judged in the time of one ride by LSODA, at least."""
SIFTED_TO_A_DRAFT = 50
"""Combinations that the cheap tests look at in the time of one draft, at least."""
GOALS = """
build = "{root}/configs/longtail-belt.toml"
matters = ["net_energy_wh"]
[[road]]
file = "climb.toml"
[vary]
motor = ["motor-63mm", "motor-80mm", "8085,130", "6374,149", "80100,130"]
cell = ["cell-18650-nmc-energy", "cell-18650-nmc-power", "cell-21700-nmc", "cell-lfp-32700"]
series = {series}
parallel = {parallel}
motor_current_limit_a = {amperes}
[[hold]]
what = "drive_mass_kg"
at_most = 6
"""


def _took(action: Callable[[], object], times: int = 3) -> float:
    best = np.inf
    for _ in range(times):
        start = time.process_time()
        action()
        best = min(best, time.process_time() - start)
    return float(best)


def _in_turn(*actions: Callable[[], object], times: int = 5) -> list[float]:
    """Return the best time of each, taken in turn, so that a busy neighbour touches all of them."""
    rounds = [[_took(action, times=1) for action in actions] for _ in range(times)]
    return [min(each) for each in zip(*rounds, strict=True)]


def _solved() -> None:
    plant = Plant(bike({}).build, climb(LENGTH_M, GRADE_PERCENT))
    y = np.array([0.0, 0.0, 1.0, 0.0, 20.0, 20.0, 20.0, 20.0, 0, 0, 0, 0, 0])

    def arrived(_t: float, state: np.ndarray) -> float:
        return LENGTH_M - float(state[0])

    arrived.terminal = True  # type: ignore[attr-defined]
    got = solve_ivp(plant.slope, (0.0, 900.0), y, method="LSODA", rtol=1e-6, atol=1e-8, events=arrived)
    assert got.y[0, -1] == pytest.approx(LENGTH_M, abs=1.0)


def test_a_combination_against_a_general_solver(root: Path, tmp_path: Path):
    (tmp_path / "climb.toml").write_text(
        f'[road]\nkind = "climb"\nlength_km = {LENGTH_M / 1e3}\ngrade_percent = {GRADE_PERCENT}\n'
    )
    assert make_climb(LENGTH_M, GRADE_PERCENT).length_m == LENGTH_M
    many = {"series": list(range(10, 17)), "parallel": list(range(3, 9)), "amperes": [20.0 + k for k in range(60)]}
    text = GOALS.format(root=root, **{name: toml_value(value) for name, value in many.items()})
    (tmp_path / "goals.toml").write_text(text)
    study = study_of(read_goals(tmp_path / "goals.toml"))
    tests = cheap_tests(study.asked, study.space, study.roads, study.bounds, {})
    kept = sift(study.space, tests)
    rows = kept.rows[:: len(kept.rows) // 400]
    evaluate(study.problem, rows[:2], False, threads=1)
    solver = _took(_solved, times=1)
    full, draft = _in_turn(
        *(lambda fast=fast: evaluate(study.problem, rows, fast, threads=1) for fast in (False, True))
    )
    full, draft = full / len(rows), draft / len(rows)
    cheap = _took(lambda: sift(study.space, tests), times=2) / study.space.count
    print(f"{solver / full:,.0f} full rides, {solver / draft:,.0f} drafts, {solver / cheap:,.0f} sifted: one by LSODA")
    assert study.space.count == 50_400
    assert solver / full > RIDES_TO_A_SOLVED_ONE
    assert draft <= full * 1.25  # on a smooth climb most of both is packing and reading
    assert draft / cheap > SIFTED_TO_A_DRAFT
