"""Packs side by side as words, tables and a picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridesim.report.text import duration, shown
from ridesim.report.view import Table, View
from ridesim.units import to_si, told
from ridesim.workshop.pack.plan import PackChoice, PackPlan

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.workshop.pack.design import Envelope

AGEING_WORDS = (
    "Ageing: oxide cells by Schmalstieg et al. (2014), iron phosphate by Naumann et al. (2018, 2020) with Wang et al. "
    "(2011) as a second opinion on cycles; each law belongs to one published cell, the range of half to double is a "
    "guess, and none knows cold charging or the knee at which old cells fail. Nothing here is a promise."
)
CHARGING_WORDS = (
    "Charging time: near full, cells at 1.8 times their 30 s resistance, as a porous-electrode model has it (Chen et "
    "al. 2020); the tails of other published cells last 0.6 to 1.5 times as long."
)
GUESS_WORDS = (
    "Mass and cost of case, strips, board and leads are shares of the cells' (15 % and 30 %, guesses). A cell part "
    "without a price costs nothing here: write price = ... in it. Storage and balancing voltages: common practice."
)


def view(result: PackChoice, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer about packs, in the units asked for."""
    best = result.plans[0]
    needs = result.needs
    return View(
        title=f"Pack for {needs.nominal_voltage_v:g} V, {needs.energy_wh:g} Wh, {needs.discharge_a:g} A",
        question="How many of which cell, how heavy and large, how charged, and how long does it last?",
        answer=(f"{told(result.reason, units)}.", *_advice(best, units)),
        verdict=result.verdict,
        tables=(_sizes(result.plans, units), _currents(result.plans), _charging(result.plans), *_care(result.plans)),
        figures=_figures(best, units) if pictures else (),
        notes=(
            *(f"{name} cannot do it: {why}" for name, why in result.refused),
            GUESS_WORDS,
            CHARGING_WORDS,
            AGEING_WORDS,
            *(
                f"{plan.part}, ageing: {told(plan.no_ageing, units)}: no figure"
                for plan in result.plans
                if plan.no_ageing
            ),
            *(told(words, units) for words in result.safety),
        ),
    )


def _advice(best: PackPlan, units: str) -> list[str]:
    design, charge = best.design, best.charge
    lines = [
        f"The parallel count is set by the {design.decided_by}; the cells weigh {_kg(design.cell_mass_kg, units)}, "
        f"the pack about {_kg(design.pack_mass_kg, units)}.",
        f"A charger of {charge.charger_voltage_v:.1f} V and {charge.charger_current_a:.1f} A "
        f"({charge.charger_power_w:.0f} W out, about {charge.mains_power_w:.0f} W from the wall) fills it in "
        f"{duration(to_si(charge.total_h, 'h'))}, the last {duration(to_si(charge.taper_h, 'h'))} at constant voltage.",
    ]
    if best.care is not None:
        lines.append(
            f"Store it at {best.care.storage_low_v:.1f} to {best.care.storage_high_v:.1f} V; the board balances from "
            f"{best.care.balance_start_v:.1f} V."
        )
    if best.ageing is not None:
        carried = f" ({told(best.ageing.carried_on, units)})" if best.ageing.carried_on else ""
        lines.append(f"Ageing: {best.ageing.reason}{carried}.")
    elif best.no_ageing:
        lines.append(f"Ageing, no figure: {told(best.no_ageing, units)}.")
    return lines


def _kg(value: float, units: str, digits: int = 1) -> str:
    return shown(value, "kg", units, digits)


def _table(title: str, plans: tuple[PackPlan, ...], rows: list[tuple[str, list[str]]]) -> Table:
    head = ("", *(plan.part.removeprefix("cell-") for plan in plans))
    return Table(title, head, tuple((name, *cells) for name, cells in rows))


def _sizes(plans: tuple[PackPlan, ...], units: str) -> Table:
    designs = [plan.design for plan in plans]
    blocks = [plan.block for plan in plans]
    return _table("Size", plans, [
        ("verdict", [plan.verdict for plan in plans]),
        ("series, parallel", [f"{each.series}, {each.parallel}" for each in designs]),
        ("cells", [str(each.series * each.parallel) for each in designs]),
        ("nominal voltage", [f"{each.nominal_voltage_v:.1f} V" for each in designs]),
        ("empty to full", [f"{each.empty_voltage_v:.1f} to {each.full_voltage_v:.1f} V" for each in designs]),
        ("capacity", [f"{each.capacity_ah:.1f} Ah" for each in designs]),
        ("energy", [f"{each.energy_wh:.0f} Wh" for each in designs]),
        ("pack, about", [_kg(each.pack_mass_kg, units, 2) for each in designs]),
        ("block of cells", [_block_size(each, units) for each in blocks]),
        ("volume", [shown(each.volume_l, "l", units, 0 if units == "imperial" else 2) for each in blocks]),
        ("cost", [f"{each.cost:.0f}" if each.cost else "no price" for each in designs]),
    ])  # fmt: skip


def _block_size(block: Envelope, units: str) -> str:
    digits = 1 if units == "imperial" else 0
    *sides, last = (shown(side, "mm", units, digits) for side in (block.length_mm, block.width_mm, block.height_mm))
    return " x ".join((*(side.split()[0] for side in sides), last))


def _currents(plans: tuple[PackPlan, ...]) -> Table:
    designs = [plan.design for plan in plans]
    return _table("Current", plans, [
        ("a cell, driving", [f"{each.cell_discharge_a:.1f} A" for each in designs]),
        ("its rating", [f"{plan.cell.max_discharge_a:.1f} A" for plan in plans]),
        ("a cell, regen", [f"{each.cell_charge_a:.1f} A" for each in designs]),
        ("its charging rating", [f"{plan.cell.max_charge_a:.1f} A" for plan in plans]),
        ("pack resistance", [f"{each.resistance_mohm:.0f} mΩ" for each in designs]),
        ("sag at full current", [f"{each.sag_at_full_current_v:.1f} V" for each in designs]),
    ])  # fmt: skip


def _charging(plans: tuple[PackPlan, ...]) -> Table:
    charges = [plan.charge for plan in plans]
    return _table("Charging", plans, [
        ("verdict", [each.verdict for each in charges]),
        ("charger", [f"{each.charger_voltage_v:.1f} V, {each.charger_current_a:.1f} A" for each in charges]),
        ("a cell", [f"{each.cell_current_a:.2f} A of {each.cell_limit_a:.2f} A" for each in charges]),
        ("time", [duration(to_si(each.total_h, "h")) for each in charges]),
        ("from the wall", [f"{each.mains_power_w:.0f} W" for each in charges]),
    ])  # fmt: skip


def _care(plans: tuple[PackPlan, ...]) -> list[Table]:
    found = []
    kept = tuple(plan for plan in plans if plan.care is not None)
    if kept:
        found.append(_table("Care", kept, [
            ("storage", [f"{p.care.storage_low_v:.1f} to {p.care.storage_high_v:.1f} V" for p in kept if p.care]),
            ("balancing from", [f"{p.care.balance_start_v:.1f} V" for p in kept if p.care]),
        ]))  # fmt: skip
    aged = [(plan, plan.ageing) for plan in plans if plan.ageing is not None]
    if aged:
        found.append(_table("Ageing", tuple(plan for plan, _ in aged), [
            ("law", [age.law for _, age in aged]),
            ("lost by rest", [f"{age.calendar_loss_percent:.0f} %" for _, age in aged]),
            ("lost by cycles", [f"{age.cycle_loss_percent:.0f} %" for _, age in aged]),
            ("thought possible", [f"{age.loss_low_percent:.0f} to {age.loss_high_percent:.0f} %" for _, age in aged]),
            ("by a second law", [_percent(age.second_opinion_percent) for _, age in aged]),
            ("resistance grows by", [_percent(age.resistance_growth_percent) for _, age in aged]),
        ]))  # fmt: skip
    return found


def _percent(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f} %"


def _figures(best: PackPlan, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.pack.figure import draw_block

    return (("The cells from above, to scale; one shade a group", draw_block(best, units)),)
