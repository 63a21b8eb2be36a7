"""Packs side by side, rewinding as a question, and the bench sheet."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from ridesim.errors import BuildError, RidesimError
from ridesim.workshop.bench.readings import BenchPoint
from ridesim.workshop.bench.sheet import Readings, fill_sheet
from ridesim.workshop.pack.design import PackNeeds, nominal_cell_v
from ridesim.workshop.pack.plan import Care, cell_data, cell_names, load_cell, plan_packs
from ridesim.workshop.winding.motor import Winding, WoundMotor
from ridesim.workshop.winding.plan import plan_rewind, words_of

MOTOR = WoundMotor(Winding(7, 6, 0.5, "delta"), 100.0, 26.0, teeth=12, slot_area_mm2=60.0)


def test_cells_come_from_parts() -> None:
    assert {"cell-21700-nmc", "cell-lfp-32700"} <= set(cell_names())
    cell = load_cell("cell-21700-nmc")
    data = cell_data(cell)
    assert data.nominal_voltage_v == 3.6
    assert data.resistance_mohm == cell.resistance_mohm + cell.polarisation_resistance_mohm
    with pytest.raises(BuildError, match="no such part"):
        load_cell("cell-of-nobody")


@pytest.mark.parametrize(("full", "label"), [(4.2, 3.6), (4.35, 3.6), (3.65, 3.2), (2.7, 2.4)])
def test_label_voltage(full: float, label: float) -> None:
    assert nominal_cell_v(full) == label


def test_every_pack_meets_the_needs_and_the_lightest_is_first() -> None:
    needs = PackNeeds(48.0, 700.0, 30.0)
    choice = plan_packs(cell_names(), needs, Care())
    for plan in choice.plans:
        assert plan.design.energy_wh >= 700.0
        assert plan.design.cell_discharge_a <= plan.cell.max_discharge_a
        assert plan.charge.cell_current_a <= plan.cell.max_charge_a
        assert plan.block.volume_l > 0.0
    fine = [plan.design.pack_mass_kg for plan in choice.plans if plan.verdict == "fine"]
    assert fine == sorted(fine)


def test_iron_phosphate_has_no_oxide_figures() -> None:
    (plan,) = plan_packs(("cell-lfp-32700",), PackNeeds(48.0, 700.0, 30.0), Care()).plans
    assert plan.care is None
    assert plan.ageing is not None and plan.ageing.law.startswith("Naumann")
    assert plan.design.series == 15


def test_a_cell_that_cannot_is_named_with_its_reason() -> None:
    needs = PackNeeds(48.0, 700.0, 30.0, highest_voltage_v=54.7)  # 15 iron-phosphate cells reach 54.75 V
    choice = plan_packs(("cell-21700-nmc", "cell-lfp-32700"), needs, Care())
    assert [plan.part for plan in choice.plans] == ["cell-21700-nmc"]
    assert choice.refused[0][0] == "cell-lfp-32700" and "54.8 V" in choice.refused[0][1]
    with pytest.raises(RidesimError, match=r"54\.8 V"):
        plan_packs(("cell-lfp-32700",), needs, Care())
    low = PackNeeds(48.0, 700.0, 30.0, highest_voltage_v=30.0)
    with pytest.raises(RidesimError, match="take 7 in series"):  # 7 x 4.2 V = 29.4 V
        plan_packs(("cell-21700-nmc", "cell-lfp-32700"), low, Care())


def test_freezing_cells_are_not_charged() -> None:
    choice = plan_packs(("cell-21700-nmc",), PackNeeds(48.0, 700.0, 30.0), Care(temperature_c=0.0))
    warm = plan_packs(("cell-21700-nmc",), PackNeeds(48.0, 700.0, 30.0), Care())
    assert choice.plans[0].charge.cell_limit_a < warm.plans[0].charge.cell_limit_a
    assert choice.verdict == "stop"


def test_rejoining_delta_as_star() -> None:
    plan = plan_rewind(MOTOR, torque_nm=4.0)
    assert plan.asked == "the other connection"
    assert plan.new.kv_rpm_per_v == pytest.approx(100.0 / 3.0**0.5)
    assert plan.new.resistance_mohm == pytest.approx(78.0)
    assert plan.new.copper_loss_w == pytest.approx(plan.today.copper_loss_w)


def test_a_wanted_kv_lists_the_nearest_first() -> None:
    plan = plan_rewind(MOTOR, wanted_kv_rpm_per_v=70.0, max_slot_fill=0.4)
    errors = [abs(each.kv_error_percent) for each in plan.candidates]
    assert errors == sorted(errors) and plan.new is plan.candidates[0].result
    assert words_of(plan.new.winding) == "10 turns of 6 x 0.5 mm, delta"


def test_bench_sheet_gives_the_build_its_keys() -> None:
    points = (BenchPoint(24.0, 1.0, 2370.0), BenchPoint(48.0, 1.7, 4750.0))
    sheet = fill_sheet(Readings(no_load=points, drop=(0.53, 20.0, 24.0), magnets=14, sag=(53.1, 2.0, 50.6, 27.0)))
    keys = dict(sheet.keys)
    assert float(keys["motor.kv_rpm_per_v"]) == pytest.approx(99.0, abs=0.1)
    assert float(keys["motor.resistance_mohm"]) == pytest.approx(26.5 * 254.5 / 258.5, rel=1e-3)
    assert keys["motor.pole_pairs"] == "7"
    assert sheet.pack is not None and sheet.pack.resistance_mohm == pytest.approx(100.0)
    assert sheet.verdict == "fine"


def test_bench_keys_can_be_ridden(root: Path) -> None:
    """What the sheet prints is TOML that a build takes."""
    import tomllib

    from ridesim.bike.load import load_build, replace_keys

    points = (BenchPoint(24.0, 1.0, 2370.0), BenchPoint(48.0, 1.7, 4750.0))
    sheet = fill_sheet(Readings(no_load=points, resistance_mohm=26.0, magnets=14))
    changes = {key: tomllib.loads(f"x = {value}")["x"] for key, value in sheet.keys}
    build = replace_keys(load_build(root / "configs/longtail-belt.toml"), changes).build
    # The points again, from the two drag terms: K I at the speed of each.
    for point in points:
        torque = point.current_a * 60.0 / (2.0 * math.pi * build.motor.kv_rpm_per_v)
        growth = build.motor.drag_growth_nm_s * point.speed_rpm * 2.0 * math.pi / 60.0
        assert build.motor.drag_torque_nm + growth == pytest.approx(torque, rel=1e-3)


def test_bench_without_readings_is_refused() -> None:
    with pytest.raises(RidesimError, match="no readings"):
        fill_sheet(Readings())
    with pytest.raises(RidesimError, match="resistance is not known"):
        fill_sheet(Readings(no_load=(BenchPoint(24.0, 1.0, 2000.0), BenchPoint(48.0, 2.0, 4000.0))))
