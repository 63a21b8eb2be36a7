"""A pack plan by hand: the charger that nobody named, the ageing law, whose verdict is told; and wiring's picks."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from ridesim.bike.schema import Cell
from ridesim.errors import RideError, RidesimError
from ridesim.workshop.pack import plan as plans
from ridesim.workshop.pack.ageing import WornOutError
from ridesim.workshop.pack.design import PackNeeds
from ridesim.workshop.pack.plan import Care, cell_data, load_cell, plan_pack, plan_packs
from ridesim.workshop.wire.fuse import choose_fuse
from ridesim.workshop.wire.precharge import RESISTOR_W, check_precharge, choose_precharge

NEEDS = PackNeeds(48.0, 700.0, 30.0)
OXIDE = cell_data(load_cell("cell-21700-nmc"))


def with_full_v(volts: float) -> Any:
    """The cell full at another voltage."""
    return dataclasses.replace(OXIDE, max_voltage_v=volts, nominal_voltage_v=3.2, min_voltage_v=2.5)


def test_a_charger_that_nobody_named_takes_four_hours_and_never_more_than_the_cells_bear() -> None:
    """A quarter of the capacity an hour (guess), for all in parallel; the sheet's most where that is less."""
    found = plan_pack("cell", OXIDE, NEEDS, Care())
    assert found.charge.cell_current_a == pytest.approx(0.25 * OXIDE.capacity_ah)
    slow = plan_pack("cell", dataclasses.replace(OXIDE, max_charge_a=0.8), NEEDS, Care())
    assert slow.charge.cell_current_a == pytest.approx(0.8) and 0.25 * OXIDE.capacity_ah > 0.8
    named = plan_pack("cell", OXIDE, NEEDS, Care(charger_a=2.0))
    assert named.charge.cell_current_a == pytest.approx(2.0 / named.design.parallel)


def test_a_block_has_as_many_rows_as_are_in_parallel_or_as_are_said() -> None:
    found = plan_pack("cell", OXIDE, NEEDS, Care())
    assert found.rows == found.design.parallel != found.design.series
    assert plan_pack("cell", OXIDE, NEEDS, Care(rows=2)).rows == 2


@pytest.mark.parametrize(
    ("full_v", "law"),
    [
        (3.99, ""),
        (4.0, "Schmalstieg"),
        (4.2, "Schmalstieg"),
        (3.49, ""),
        (3.5, "Naumann"),
        (3.8, "Naumann"),
        (3.81, ""),
    ],
)
def test_which_ageing_law_is_by_the_voltage_of_a_full_cell(full_v: float, law: str) -> None:
    """Oxides from 4 V on, iron phosphate from 3.5 to 3.8 V; for others no law is claimed."""
    found = plan_pack("cell", with_full_v(full_v), NEEDS, Care())
    if law:
        assert found.ageing is not None and found.ageing.law.startswith(law)
    else:
        assert found.ageing is None and f"full at {full_v:g} V" in found.no_ageing


@pytest.mark.parametrize(("full_v", "told"), [(4.09, False), (4.1, True), (4.25, True), (4.26, False)])
def test_care_voltages_are_those_of_four_volt_cells(full_v: float, told: bool) -> None:
    assert (plan_pack("cell", with_full_v(full_v), NEEDS, Care()).care is not None) is told


@pytest.mark.parametrize("part", ["design_pack", "plan_charge", "age_oxide"])
def test_the_gravest_of_design_charging_and_ageing_is_told(part: str, monkeypatch: pytest.MonkeyPatch) -> None:
    assert plan_pack("cell", OXIDE, NEEDS, Care()).verdict == "fine"
    plain = getattr(plans, part)
    graver = lambda *a, **k: dataclasses.replace(plain(*a, **k), verdict="stop", reason="its own reason")  # noqa: E731
    monkeypatch.setattr(plans, part, graver)
    found = plan_pack("cell", OXIDE, NEEDS, Care())
    assert found.verdict == "stop" and "its own reason" in found.reason


@pytest.mark.parametrize(("fault", "verdict"), [(WornOutError, "look again"), (RideError, "fine")])
def test_cells_that_are_worn_out_are_looked_at_again(fault: Any, verdict: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A law that was not made for such a use tells nothing; one that ends because all is lost tells that."""

    def worn(*_: Any) -> Any:
        raise fault("ageing", "no figure", "less of it")

    monkeypatch.setattr(plans, "age_oxide", worn)
    found = plan_pack("cell", OXIDE, NEEDS, Care())
    assert (found.ageing, found.verdict) == (None, verdict) and "no figure; less of it" in found.no_ageing


@pytest.mark.parametrize(("discharge_a", "rate"), [(14.0, 0.48), (2.0, 0.1), (60.0, 1.0)])
def test_the_law_is_asked_for_half_the_most_power_within_its_rates(
    discharge_a: float, rate: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """14 A of 48 V from 700 Wh are 0.96 an hour at the most, half of it now and then (guess)."""
    asked = []
    monkeypatch.setattr(plans, "age_phosphate", lambda *_, c_rate: asked.append(c_rate))
    plans._age(with_full_v(3.65), PackNeeds(48.0, 700.0, discharge_a), Care())
    assert asked == [pytest.approx(rate)]


def test_the_lightest_that_is_fine_comes_first_and_a_lone_fault_is_raised(monkeypatch: pytest.MonkeyPatch) -> None:
    found = plan_pack("cell", OXIDE, NEEDS, Care())

    def like(name: str) -> Any:
        verdict, mass = {"cell-a": ("look again", 1.0), "cell-b": ("fine", 3.0), "cell-c": ("fine", 2.0)}[name]
        design = dataclasses.replace(found.design, pack_mass_kg=mass)
        return dataclasses.replace(found, part=name, verdict=verdict, design=design)

    monkeypatch.setattr(plans, "load_cell", lambda _: load_cell("cell-21700-nmc"))
    monkeypatch.setattr(plans, "plan_pack", lambda name, *_: like(name))
    choice = plan_packs(("cell-a", "cell-b", "cell-c"), NEEDS, Care())
    assert [each.part for each in choice.plans] == ["cell-c", "cell-b", "cell-a"] and choice.verdict == "fine"

    def fault(name: str, *_: Any) -> Any:
        raise RideError(name, f"no {name}", f"cure of {name}")

    monkeypatch.setattr(plans, "plan_pack", fault)
    with pytest.raises(RidesimError, match=r"cell-a: no cell-a; cure of cell-a"):
        plan_packs(("cell-a", "cell-b"), NEEDS, Care())


def test_a_cell_s_resistance_is_its_fast_and_its_slow_part_as_old_as_it_is() -> None:
    cell = Cell(capacity_ah=3.0, resistance_mohm=20.0, polarisation_resistance_mohm=10.0, max_discharge_a=9.0,
                max_charge_a=3.0, mass_kg=0.05)  # fmt: skip
    assert cell_data(cell).resistance_mohm == 30.0 and cell_data(cell, 1.5).resistance_mohm == 45.0


@pytest.mark.parametrize(("depth", "refused"), [(0.8, False), (0.81, True)])
def test_no_more_is_used_than_was_charged(depth: float, refused: bool) -> None:
    if not refused:
        assert Care(depth_fraction=depth, top_charge_fraction=0.8).depth_fraction == depth
        return
    with pytest.raises(RidesimError, match="charge higher or use less"):
        Care(depth_fraction=depth, top_charge_fraction=0.8)


@pytest.mark.parametrize(
    ("load_a", "rating", "kind"),
    [(23.0, 31.5, "10 x 38"), (37.0, 50.0, "14 x 51"), (75.0, 100.0, "22 x 58"), (75.1, 125.0, "bolt-down")],
)
def test_a_fuse_is_of_the_smallest_kind_that_is_made_so_large(load_a: float, rating: float, kind: str) -> None:
    """A cylinder of 14 x 51 mm is made up to 50 A itself (IEC 60269-6, from memory)."""
    found = choose_fuse(load_a, 900.0, 84.0)
    assert found.rating_a == rating and found.kind is not None and found.kind.name.startswith(kind)


def test_a_fuse_that_the_peak_may_blow_does_not_bear_it() -> None:
    """31.5 A and 40 A lie in the window; 60 A for 20 s blow both, 50 A only the smaller one."""
    for peak_a, rating, bears in ((60.0, 31.5, False), (50.0, 40.0, True), (0.0, 31.5, True)):
        found = choose_fuse(22.0, 45.0, 54.6, peak_current_a=peak_a, peak_s=20.0)
        assert (found.rating_a, found.bears_peak) == (rating, bears)


def test_where_no_resistor_leaves_a_small_gap_the_one_that_leaves_least_is_taken() -> None:
    """A controller that draws three amperes keeps volts across whatever fills it: the smallest that can be bought."""
    found = choose_precharge(54.0, 1000.0, standby_current_a=3.0)
    others = [check_precharge(54.0, 1000.0, each, standby_current_a=3.0) for each in (1.0, 2.2, 4.7, 10.0, 100.0)]
    buyable = [each for each in others if each.buy_w is not None]
    assert found.verdict != "fine" and found.buy_w is not None and found.buy_w <= RESISTOR_W[-1]
    assert buyable and all(found.gap_at_closing_v <= each.gap_at_closing_v for each in buyable)
