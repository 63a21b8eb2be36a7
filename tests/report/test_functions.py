"""Every question is a function: one table, each held against its command's JSON and shown by its command's views."""

from __future__ import annotations

import dataclasses
import importlib.util
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from typer.testing import CliRunner

import ridesim
from ridesim.report.plain import to_json
from ridesim.report.showing import WAYS

BUILD, ROAD = "configs/longtail-belt.toml", "hills.toml"
HILLS = """
[road]
kind = "points"
name = "short hills"
distance_km = [0.0, 0.4, 0.9, 1.4, 2.0]
altitude_m = [100.0, 104.0, 139.0, 120.0, 102.0]
smoothing_m = 60.0
"""
GOALS = """
build = "configs/commuter-light.toml"
matters = ["peak_winding_temp_c", "total_time_s"]
[[road]]
file = "hills.toml"
[vary]
motor_current_limit_a = [25, 35]
"""
SIZE = "--mass-kg 145 --top-speed-km-h 28 --hill 6,1 --range-km 12 --voltages 48"

QUESTIONS: dict[str, tuple[Callable[[], Any], str]] = {
    "climb": (lambda: ridesim.climb(BUILD, ROAD), f"climb {BUILD} {ROAD} --quick"),
    "descend": (lambda: ridesim.descend(BUILD, ROAD), f"descend {BUILD} {ROAD}"),
    "descend a grade": (
        lambda: ridesim.descend(BUILD, grade_percent=8.0, minutes=2.0), f"descend {BUILD} --grade 8 --minutes 2"
    ),
    "check": (lambda: ridesim.check(BUILD, ROAD), f"check {BUILD} {ROAD}"),
    "belt": (lambda: ridesim.belt(BUILD, ROAD), f"belt {BUILD} {ROAD}"),
    "wire": (
        lambda: ridesim.wire(BUILD, ROAD, pack_length_m=1.4, jacket="pvc"),
        f"wire {BUILD} {ROAD} --pack-length-m 1.4 --jacket pvc",
    ),
    "mount": (lambda: ridesim.mount(BUILD, minutes=2.0), f"mount {BUILD} --minutes 2"),
    "law": (
        lambda: ridesim.law(BUILD, rated_power_w=250.0, where=["eu"]), f"law {BUILD} --rated-power-w 250 --where eu"
    ),
    "rewind": (
        lambda: ridesim.rewind(BUILD, ridesim.Winding(7, 6, 0.5, "delta"), teeth=12, road=ROAD, slot_area_mm2=60.0,
                               want_kv_rpm_per_v=70.0),
        f"rewind {BUILD} {ROAD} --turns 7 --strands 6 --wire-mm 0.5 --connection delta --teeth 12 --slot-area-mm2 60 "
        "--want-kv 70",
    ),
    "size": (lambda: ridesim.size(145.0, 28.0, 6.0, 1.0, 12.0, voltages_v=(48.0,)), f"size {SIZE}"),
    "pack": (
        lambda: ridesim.pack(48.0, 700.0, 30.0, cells=["cell-21700-nmc"], gap_mm=1.0),
        "pack --voltage 48 --energy-wh 700 --current 30 --cell cell-21700-nmc --gap-mm 1",
    ),
    "group": (lambda: ridesim.group("cells.txt", 2, 3), "group cells.txt --series 2 --parallel 3"),
    "bench": (
        lambda: ridesim.bench(drop=(0.53, 20.0, 24.0), magnets=14), "bench --drop 0.53,20,24 --magnets 14"
    ),
    "search": (lambda: ridesim.which_bike("goals.toml", samples=16), "search goals.toml --samples 16"),
    "log": (lambda: ridesim.load_log("log.csv"), "log log.csv"),
    "replay": (lambda: ridesim.replay(BUILD, "log.csv"), f"replay {BUILD} log.csv"),
    "fit": (
        lambda: ridesim.fit(BUILD, "log.csv", only=["motor.resistance_mohm"]),
        f"fit {BUILD} log.csv --only motor.resistance_mohm",
    ),
    "coastdown": (
        lambda: ridesim.coastdown(["there.csv"], ["back.csv"], mass_kg=96.0),
        "coastdown there.csv --back back.csv --mass 96",
    ),
}  # fmt: skip
"""The call, and the command that asks the same. The others: `test_showing`, and their own tests (season, spread)."""
TAKES_ITS_TIME = ("seconds",)
ELSEWHERE = {
    "Ride", "ClimbMap", "Ratios", "Comparison", "Reach", "Regen", "Spread", "Throttle", "Launch",  # test_showing
    "Season", "LogFit", "CellAnswer", "GearSets",  # their own tests
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a bike, a short road, goals, cells, a log and runs of coasting."""
    place = tmp_path_factory.mktemp("asked")
    (place / "configs").symlink_to(root / "configs")
    (place / ROAD).write_text(HILLS, encoding="utf-8")
    (place / "goals.toml").write_text(GOALS, encoding="utf-8")
    (place / "cells.txt").write_text("3.1\n3.05\n2.98\n3.12\n3.0\n2.95\n", encoding="utf-8")
    made = _made_logs(root)
    bike, road = ridesim.load_build(root / BUILD), ridesim.load_road(place / ROAD)
    columns = made.columns_of(bike, road)
    made.write_log(place / "log.csv", made.spoiled(columns, made.Faults(), np.random.default_rng(3)))
    time = np.arange(0.0, 40.0, 0.5)
    for name, slope in (("there", 0.02), ("back", -0.02)):
        speed = 8.0 - (0.09 + slope) * time + 0.0004 * time**2
        np.savetxt(
            place / f"{name}.csv", np.stack([time, speed], 1), "%.4f", ",", header="time_s,speed_m_per_s", comments=""
        )
    return place


def _made_logs(root: Path) -> Any:
    """The logs' maker of `tests/learn`; tests are no package."""
    spec = importlib.util.spec_from_file_location("made_logs", root / "tests" / "learn" / "made_logs.py")
    assert spec is not None and spec.loader is not None
    sys.modules["made_logs"] = module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module", params=QUESTIONS)
def asked(request: pytest.FixtureRequest, folder: Path) -> tuple[Any, str]:
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        call, words = QUESTIONS[request.param]
        return call(), words


def test_figures_are_those_of_the_command(
    asked: tuple[Any, str], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from ridesim.cli.app import app

    answer, words = asked
    monkeypatch.chdir(folder)
    done = CliRunner().invoke(app, [*words.split(), "--json"])
    assert done.exit_code == 0, done.output
    said, figures = json.loads(done.stdout), json.loads(to_json(answer.figures))
    assert len(figures) >= 3
    for name, value in figures.items():
        if name not in (*TAKES_ITS_TIME, "notes"):
            assert said[name] == value, name
    assert set(said) - set(figures) <= {
        "schema", "version", "command", "inputs", "leans_on", "notes", "chances", "sure", "loaded_by"
    }, "the command says no figure that the function does not"  # fmt: skip


def test_it_shows_itself_and_rides_nothing(asked: tuple[Any, str], monkeypatch: pytest.MonkeyPatch) -> None:
    from ridesim.ride import running

    for name in ("run_one", "run"):
        monkeypatch.setattr(running, name, lambda *_a, **_k: pytest.fail("rides on look"))
    answer, _ = asked
    line = repr(answer)
    assert line.startswith(f"<{type(answer).__name__}: ") and "\n" not in line and len(line) < 140
    shown, pictures = answer._repr_html_(), answer.view().figures
    assert shown.count("<svg") == len(pictures) and "@scope (.ridesim)" in shown
    table = answer.to_frame()
    assert isinstance(table, pd.DataFrame) and len(table) >= 1 and all(isinstance(each, str) for each in table.columns)
    assert len(answer.pictures) >= len(pictures)
    if len(pictures) == 1:  # several are drawn by their names in `test_showing`
        assert isinstance(answer.draw(), Figure)


def test_it_is_frozen(asked: tuple[Any, str]) -> None:
    answer, _ = asked
    first = dataclasses.fields(answer)[0].name
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(answer, first, None)


def test_every_answer_is_in_a_table() -> None:
    """A question that is added to `showing` is added to one of the tables too."""
    here = {
        "Climb", "Descend", "CheckSheet", "BeltDrive", "Harness", "MountSheet", "BuildLaw", "RewindPlan", "Sizing",
        "PackChoice", "Grouped", "Benched", "Found", "Log", "Replay", "BuildFit", "CoastFit",
    }  # fmt: skip
    assert here | ELSEWHERE == set(WAYS)
