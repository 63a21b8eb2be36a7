"""A cell measured warm and in the cold, through the command: its part loads, is ridden, and the cold is told."""

from __future__ import annotations

import json
import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ridesim.bike.load import load_build
from ridesim.bike.schema import Cell
from ridesim.engine.params import parameters
from ridesim.evidence.cell_cold import held_rows
from ridesim.learn import cell_cold
from ridesim.learn.cell_circuit import CellFit, CellRun, cold_factors, follow_cell
from ridesim.learn.cell_files import fit_cell_files
from ridesim.learn.cell_least import Found
from ridesim.physics.pack import arrhenius_factor
from ridesim.report.cold_words import cell_in_the_cold
from ridesim.report.reach.view import view
from ridesim.ride.keyed import laid_in
from ridesim.road.made import make_flat
from ridesim.studies.reach import reach

CHARGE = (0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.5, 0.6, 0.8, 0.9, 1.0)
REST = (2.5, 2.8, 3.1, 3.3, 3.48, 3.66, 3.75, 3.84, 4.03, 4.1, 4.19)
TRUE = CellFit(4.8, CHARGE, REST, 22.0, (1.0,) * 11, 0.0, 12.0, 40.0, 25.0, 25.0, 70.0, 0.1, 9.0, 40.0)


def write_run(path: Path, amps: float, celsius: float, start: float = 1.0) -> None:
    """A discharge after a rest, until 2.5 V, in a chamber that holds the cell's temperature."""
    clock = np.arange(0.0, 1.2 * 4.8 / amps * 3600.0, 5.0)
    current = np.where(clock < 10.0, 0.0, amps)
    run = CellRun(clock, current, np.zeros(len(clock)), start, celsius, celsius, np.full(len(clock), celsius))
    volts = follow_cell(TRUE, run, recorded_warmth=True).voltage_v
    end = int(np.argmax(volts < 2.5)) or len(clock)
    rows = zip(clock[:end], current[:end], volts[:end], strict=True)
    path.write_text("time_s,current_a,voltage_v,temperature_c\n" + "".join(
        f"{t:.0f},{a:.3f},{v:.4f},{celsius:g}\n" for t, a, v in rows))  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("cell")
    (made / "rest.csv").write_text("soc,ocv_v\n" + "".join(f"{q:g},{v:g}\n" for q, v in zip(CHARGE, REST, strict=True)))
    for name, amps, celsius, start in (
        ("warm-slow", 2.4, 25.0, 1.0), ("warm", 4.8, 25.0, 1.0), ("cold", 4.8, 0.0, 0.95), ("colder", 2.4, -10.0, 0.95),
    ):  # fmt: skip
        write_run(made / f"{name}.csv", amps, celsius, start)
    return made


def test_cold_discharges_through_the_command_to_a_range_in_the_cold(ridesim_command, folder: Path) -> None:
    part = folder / "parts" / "cell-mine.toml"
    part.parent.mkdir()
    words = [word for name in ("warm-slow", "warm", "cold", "colder") for word in ("--run", folder / f"{name}.csv")]
    done = ridesim_command("cell", folder / "rest.csv", *words, "--capacity", "4.8", "--ratings", "10,3,0.07",
                           "--save", part, "--json")  # fmt: skip
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    cell, errors = answer["cell"], answer["errors"]
    tolerance, cold = tomllib.loads(part.read_text())["tolerance"], 34.0 * arrhenius_factor(25e3, 0.0)
    for key, true in (("cold_capacity_loss_percent", 9.0), ("cold_capacity_activation_kj_per_mol", 40.0),
                      ("steady_resistance_0_c_mohm", cold)):  # fmt: skip
        assert abs(cell[key] - true) < max(2.0 * errors[key], 0.1) * cell[key], key
        # Eight of ten of a normal number lie within 1.2816 deviations.
        factor = tolerance[key]
        assert float(factor.removeprefix("x/ ")) == pytest.approx(min(math.exp(1.2816 * errors[key]), 5.0), rel=0.01)
    assert cell["steady_resistance_mohm"] == pytest.approx(34.0, rel=2.0 * errors["steady_resistance_mohm"] + 0.02)
    stated = {"polarisation_resistance_mohm", "activation_kj_per_mol", "polarisation_activation_kj_per_mol"}
    assert not stated & {*cell, *tolerance}  # what the whole and its rise say already
    (folder / "bike.toml").write_text(Path("configs/longtail-belt.toml").read_text())
    for own in Path("configs/parts").glob("*.toml"):
        (folder / "parts" / own.name).write_text(own.read_text())
    loaded = load_build(folder / "bike.toml", {"pack.cell": "cell-mine"})
    ridden = loaded.build.pack.cell.cold_capacity_loss_percent
    assert ridden == pytest.approx(cell["cold_capacity_loss_percent"], rel=1e-3)
    found = reach(loaded, make_flat(20000.0), speeds_km_h=(), cold_c=-10.0, aged=None)
    km = {case.condition: case.range_km for case in found.conditions}
    assert km["cold"] < km["cold_day"] < km["as_built"]
    told = " ".join(view(found, pictures=False).notes)
    assert "stays out of reach there until it is warm" in told
    assert "not modelled" not in told


@pytest.mark.parametrize(("run", "told"), [("cold", True), ("warm", False)])
def test_what_a_cold_run_alone_does_not_tell_is_said(folder: Path, run: str, told: bool) -> None:
    found = fit_cell_files(str(folder / "rest.csv"), [str(folder / f"{run}.csv@0.95")], 4.8)
    assert found.fit.cold_capacity_loss_percent is None
    assert any("it takes a cold and a warm discharge" in note for note in found.notes) is told


@pytest.mark.parametrize(("off_v", "emptied"), [(-0.01, True), (0.01, False)])
def test_a_discharge_is_whole_when_its_voltage_fell_below_the_last_of_the_charge(off_v: float, emptied: bool) -> None:
    """Below what the cell shows at rest with 3 % left (guess); a recharge afterwards is not looked at."""
    last = float(np.interp(0.03, CHARGE, REST)) + off_v
    run = CellRun(np.arange(5.0), np.array([0.0, 2.0, 2.0, 0.0, -1.0]), np.array([4.2, 3.7, last, 3.4, 3.9]))
    assert cell_cold.is_emptied(TRUE, run) is emptied


def test_cold_ends_are_told_beside_warm_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a circuit misses of warm ends too is no cold: by 2 and 4 warm, by 8 in the cold, leaves 5."""
    monkeypatch.setattr(cell_cold, "end_miss", lambda fit, run: run.start_charge)
    nothing = np.zeros(2)
    runs = [CellRun(nothing, nothing, nothing, miss, c) for miss, c in ((2.0, 25.0), (8.0, 14.9), (4.0, 15.1))]
    assert cell_cold.sooner_ends(TRUE, runs).tolist() == [5.0]


@pytest.mark.parametrize(("cost", "wider"), [(0.1, 1.0), (2.0, 1.0), (8.0, 2.0)])
def test_what_is_missed_beyond_one_each_widens_all_errors(cost: float, wider: float) -> None:
    """Four measurements: half a sum of squares of 8 is four times one each, so twice the deviation."""
    found = Found(np.array([10.0, 1.0, 4.0]), np.array([True, False, True]), np.diag([1.0, 4.0]), cost)
    assert found.shares(("a", "held", "b"), 4) == pytest.approx({"a": 0.1 * wider, "b": 0.5 * wider})


def test_cold_numbers_are_the_rides_own() -> None:
    warm = np.array([-10.0, 0.0, 25.0])
    assert cold_factors(25.0, warm) == pytest.approx([arrhenius_factor(25e3, c) for c in warm], rel=1e-12)
    run = CellRun(np.arange(9.0), np.ones(9), np.ones(9), 0.5, 25.0)
    none = follow_cell(replace(TRUE, cold_capacity_loss_percent=None), run).voltage_v
    assert none.tolist() == follow_cell(TRUE, run).voltage_v.tolist()


def test_steady_runs_alone_tell_the_whole_and_hardly_its_parts(folder: Path) -> None:
    """34 mohm in all, 22 of them fast: the whole is written, and drawn within a tenth, with no part beyond it."""
    runs = [str(folder / f"{name}.csv") for name in ("warm-slow", "warm", "cold", "colder")]
    found = fit_cell_files(str(folder / "rest.csv"), runs, 4.8)
    assert found.errors["steady_resistance_mohm"] < 0.15
    assert found.errors["polarisation_resistance_mohm"] > 5.0 * found.errors["steady_resistance_mohm"]
    assert found.part["steady_resistance_0_c_mohm"] == found.fit.steady_resistance_0_c_mohm
    build = load_build("configs/longtail-belt.toml", {"pack.cell.steady_resistance_mohm": 34.0}).build
    draws = laid_in(build, {"pack.cell.resistance_mohm": np.array([22.0, 60.0])})
    p, groups = parameters(draws), draws.pack.series / draws.pack.parallel * 1e-3
    assert p.cell_resistance.tolist() == pytest.approx([22.0 * groups, 34.0 * groups])
    assert (p.cell_resistance + p.polarisation_resistance).tolist() == pytest.approx([34.0 * groups] * 2)
    warm = fit_cell_files(str(folder / "rest.csv"), runs[:2], 4.8)  # nothing of the cold: its rise stays the default's
    assert "steady_resistance_0_c_mohm" not in warm.part and "activation_kj_per_mol" in warm.part
    Cell(**warm.part, max_discharge_a=10.0, max_charge_a=2.0, mass_kg=0.07)


@pytest.mark.parametrize(("celsius", "told"), [(-4.9, False), (-5.0, True)])
def test_where_a_held_cell_runs_dry_it_is_told_that_only_its_own_warmth_helps(celsius: float, told: bool) -> None:
    """O'Kane et al. (2022) by PyBaMM: held at 1C salt is left at 0 degC and none at -5 degC (`cell.cold_capacity`)."""
    salt = {row.temperature_c: row.least_salt for row in held_rows() if row.c_rate == 1.0}
    assert salt[0.0] > 0.05 and salt[-5.0] < 0.001
    cell = load_build("configs/longtail-belt.toml").build.pack.cell
    assert ("electrolyte runs dry" in cell_in_the_cold(cell, celsius)) is told
