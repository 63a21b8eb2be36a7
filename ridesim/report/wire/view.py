"""The copper of a bike as words, tables and a picture."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from ridesim.report.view import Table, View
from ridesim.units import from_si, shown, told
from ridesim.workshop.wire.contacts import StripCheck
from ridesim.workshop.wire.harness import Harness, Lead
from ridesim.workshop.wire.lead import LeadCheck
from ridesim.workshop.wire.precharge import Precharge

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SOURCE_WORDS = (
    "Heating for good: Churchill and Chu (1975) and radiation; leads that share a sleeve: IEC 60364-5-52, table "
    "B.52.17 (from memory); in the peak: Onderdonk, Stauffacher (1928); gauges: ASTM B258-02, IEC 60228:2004. "
    "Insulation limits are from memory: the jacket's own print decides. 3 % of voltage drop, plug ratings and 75 % "
    "load of a fuse are common practice, no source."
)
JOINT_WORDS = (
    "A lead is held to 90 °C whatever its jacket bears: solder, shrink sleeves and plug housings bear no more (common "
    "practice). If yours do, say --lead-limit-c. Skin burns on less: 51 °C within a minute (ISO 13732-1, from memory)."
)


def view(result: Harness, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer about leads, fuses, plug, strips and pre-charge; wires keep the names they are sold by."""
    notes = (*(result.fuse.remarks if result.fuse else ()), JOINT_WORDS, SOURCE_WORDS, *result.cautions)
    return View(
        title="Wires, fuse, plug and pre-charge",
        question=f"Loaded by: {result.loaded_by}. Which copper carries it, and which fuse guards it?",
        answer=(f"{told(result.reason, units)}.", *(told(line, units) for line in _advice(result))),
        verdict=result.verdict,
        tables=tuple(_tables(result, units)),
        figures=_figures(result, units) if pictures else (),
        notes=tuple(told(note, units) for note in notes),
    )


def _advice(result: Harness) -> list[str]:
    lines = [f"{lead.kind} lead: {lead.reason}." for lead in result.leads]
    parts = (("fuse", result.fuse), ("fuse of the charge lead, at the pack", result.charge_fuse),
             ("plug", result.connector), ("strips between the cells", result.strip))  # fmt: skip
    lines += [f"{name}: {part.reason}." for name, part in parts if part is not None]
    if result.precharge is not None:
        lines.append(_precharge_words(result.precharge))
    return lines


def _precharge_words(p: Precharge) -> str:
    buy = f"{p.buy_w:g} W, {p.buy_kind}" if p.buy_w is not None else "no single resistor bears it"
    return (
        f"pre-charge: {p.resistor_ohm:g} Ω {buy}; {p.reason}. Without it {p.inrush_without_a:.0f} A spark at the plug "
        f"(guessed loop). The pulse leaves {p.resistor_energy_j:.1f} J in it, a shorted controller "
        f"{p.worst_energy_j:.0f} J in {p.hold_s:g} s."
    )


def _tables(result: Harness, units: str) -> list[Table]:
    tables = [_loads(result, units), _leads(result, units)]
    tables += [_tried(lead, units) for lead in result.leads]
    if any((result.fuse, result.charge_fuse)):
        tables.append(_fuses(result))
    if result.strip is not None:
        tables.append(_strip(result.strip, units))
    if result.precharge is not None:
        tables.append(_precharge(result.precharge))
    return tables


def _by_lead(title: str, result: Harness, rows: list[tuple[str, Callable[[Lead], str]]]) -> Table:
    cells = tuple((name, *(cell(lead) for lead in result.leads)) for name, cell in rows)
    return Table(title, ("", *(lead.kind for lead in result.leads)), cells)


def _loads(result: Harness, units: str) -> Table:
    return _by_lead("What flows (phase leads: the motor's DC-equivalent current)", result, [
        ("rms", lambda lead: f"{lead.load.rms_current_a:.1f} A"),
        ("peak", lambda lead: f"{lead.load.peak_current_a:.1f} A"),
        ("near the peak", lambda lead: f"{lead.load.peak_s:.0f} s"),
        ("one way", lambda lead: shown(lead.load.length_m, "m", units)),
    ])  # fmt: skip


def _leads(result: Harness, units: str) -> Table:
    def of(write: Callable[[LeadCheck], str]) -> Callable[[Lead], str]:
        """Return how a lead's chosen wire is written, a dash without one."""
        return lambda lead: write(lead.chosen) if lead.chosen else "-"

    return _by_lead("The thinnest that is fine", result, [
        ("wire", lambda lead: lead.chosen.wire if lead.chosen else "none"),
        ("copper", of(lambda each: shown(each.area_mm2, "mm2", units, 2))),
        ("bears for good", of(lambda each: f"{each.current_limit_a:.0f} A")),
        ("for good", of(lambda each: shown(each.steady_c, "c", units, 0))),
        ("in the peak", of(lambda each: shown(each.peak_c, "c", units, 0))),
        ("on the ride", lambda lead: shown(lead.along.peak_c, "c", units, 0) if lead.along else "-"),
        ("drop, rms", of(lambda each: f"{each.drop_rms_v:.2f} V")),
        ("drop, peak", of(lambda each: f"{each.drop_peak_v:.2f} V")),
        ("loss", of(lambda each: f"{each.loss_rms_w:.1f} W")),
    ])  # fmt: skip


def _tried(lead: Lead, units: str) -> Table:
    around = lead.tried[-3:]
    rows = (
        ("verdict", *(each.verdict for each in around)),
        ("bears for good", *(f"{each.current_limit_a:.0f} A" for each in around)),
        ("for good", *("melts" if each.steady_c is None else shown(each.steady_c, "c", units, 0) for each in around)),
        ("drop, rms", *(f"{each.drop_rms_percent:.1f} %" for each in around)),
    )
    heads = ("", *(each.wire.replace(" ", "\N{NO-BREAK SPACE}") for each in around))
    return Table(f"{lead.kind.capitalize()} lead, the wires around it", heads, rows)


def _fuses(result: Harness) -> Table:
    named = [(name, fuse) for name, fuse in (("pack", result.fuse), ("charge", result.charge_fuse)) if fuse is not None]
    rows = (
        ("rating", *("none" if fuse.rating_a is None else f"{fuse.rating_a:g} A" for _, fuse in named)),
        ("at least, by the load", *(f"{fuse.lowest_a:.1f} A" for _, fuse in named)),
        ("at most", *(f"{fuse.highest_a:.1f} A" for _, fuse in named)),
        ("which bears it", *(fuse.highest_by for _, fuse in named)),
        ("rated for", *("-" if fuse.kind is None else f"{fuse.kind.rated_voltage_v:.0f} V DC" for _, fuse in named)),
        ("a full pack", *(f"{fuse.dc_voltage_v:.1f} V" for _, fuse in named)),
        ("a short", *("-" if fuse.short_circuit_a is None else f"{fuse.short_circuit_a:.0f} A" for _, fuse in named)),
    )
    return Table("Fuses, at the pack", ("", *(name for name, _ in named)), rows)


def _strip(strip: StripCheck, units: str) -> Table:
    rise = "no steady value" if strip.rise_k is None else shown(strip.rise_k, "k", units, 0)
    thick = 3 if units == "imperial" else 2
    rows = (
        ("copper or nickel", f"{strip.metal}, {shown(strip.area_mm2, 'mm2', units, 2)} in all"),
        ("thickness", shown(strip.thickness_mm, "mm", units, thick)),
        ("thickness needed", shown(strip.needed_thickness_mm, "mm", units, thick)),
        ("resistance", f"{strip.resistance_low_mohm:.2f} to {strip.resistance_high_mohm:.2f} mΩ"),
        ("rise above the cells", rise),
        ("bears", f"{strip.current_limit_a:.1f} A, {strip.fuse_limit_a:.1f} A behind a fuse"),
    )
    return Table("Strips between two groups", ("", "strips"), rows)


def _precharge(p: Precharge) -> Table:
    rows = (
        ("resistor", f"{p.resistor_ohm:g} Ω"),
        ("to buy", "-" if p.buy_w is None else f"{p.buy_w:g} W, {p.buy_kind}"),
        ("time constant", f"{p.time_constant_s:.2f} s"),
        ("95 % and 99 %", f"{p.time_to_95_percent_s:.2f} and {p.time_to_99_percent_s:.2f} s"),
        ("drawn meanwhile", f"{from_si(p.standby_current_a, 'ma'):.0f} mA"),
        ("left at closing", f"{p.gap_at_closing_v:.1f} V"),
        ("energy in the resistor", f"{p.resistor_energy_j:.2f} J"),
        ("held on a short", f"{p.worst_energy_j:.0f} J in {p.hold_s:g} s"),
        ("power, first and mean", f"{p.resistor_peak_w:.1f} and {p.resistor_mean_w:.2f} W"),
        ("current at first", f"{p.first_current_a:.2f} A"),
        ("inrush without, with", f"{p.inrush_without_a:.0f} and {p.closing_current_a:.1f} A"),
    )
    return Table("Pre-charge", ("", "pre-charge"), rows)


def _figures(result: Harness, units: str) -> tuple[tuple[str, Figure], ...]:
    if result.currents.time_s is None:
        return ()
    from ridesim.report.wire.figure import draw_leads

    return (("Copper of the leads along the ride, and what their jackets stand", draw_leads(result, units)),)
