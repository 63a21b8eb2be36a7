"""The copper of a bike as words, tables and a picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridesim.report.text import shown
from ridesim.report.view import Table, View
from ridesim.units import told
from ridesim.workshop.wire.harness import Harness, Lead
from ridesim.workshop.wire.lead import LeadCheck

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SOURCE_WORDS = (
    "Heating for good: Churchill and Chu (1975) and radiation; in the peak: Onderdonk, Stauffacher (1928); gauges: "
    "ASTM B258-02, IEC 60228:2004. Insulation limits are from memory: the jacket's own print decides. 3 % of voltage "
    "drop, plug ratings and 75 % load of a fuse are common practice, no source."
)


def view(result: Harness, loaded_by: str, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer about leads, fuse, plug, strips and pre-charge."""
    return View(
        title="Wires, fuse, plug and pre-charge",
        question=f"Loaded by: {loaded_by}. Which copper carries it, and which fuse guards it?",
        answer=(f"{told(result.reason, units)}.", *(told(line, units) for line in _advice(result))),
        verdict=result.verdict,
        tables=tuple(_tables(result, units)),
        figures=_figures(result, units) if pictures else (),
        notes=(*(result.fuse.remarks if result.fuse else ()), SOURCE_WORDS, *result.cautions),
    )


def _advice(result: Harness) -> list[str]:
    lines = [f"{lead.kind} lead: {lead.reason}." for lead in result.leads]
    if result.fuse is not None:
        lines.append(f"fuse: {result.fuse.reason}.")
    if result.connector is not None:
        lines.append(f"plug: {result.connector.reason}.")
    if result.strip is not None:
        lines.append(f"strips between the cells: {result.strip.reason}.")
    if result.precharge is not None:
        p = result.precharge
        lines.append(
            f"pre-charge: {p.resistor_ohm:g} Ω, {p.reason}; without it {p.inrush_without_a:.0f} A spark at the plug "
            f"(guessed loop). It takes {p.resistor_energy_j:.1f} J in one pulse, {p.resistor_peak_w:.0f} W at first."
        )
    return lines


def _tables(result: Harness, units: str) -> list[Table]:
    tables = [_loads(result, units), _leads(result, units)]
    tables += [_tried(lead, units) for lead in result.leads]
    if result.strip is not None:
        tables.append(_strip(result))
    if result.precharge is not None:
        tables.append(_precharge(result))
    return tables


def _loads(result: Harness, units: str) -> Table:
    rows = tuple(
        (lead.kind, f"{lead.load.rms_current_a:.1f} A", f"{lead.load.peak_current_a:.1f} A",
         f"{lead.load.peak_s:.0f} s", shown(lead.load.length_m, "m", units))
        for lead in result.leads
    )  # fmt: skip
    head = ("lead", "rms", "peak", "near the peak", "one way")
    return Table("What flows (phase leads: the motor's DC-equivalent current)", head, rows)


def _leads(result: Harness, units: str) -> Table:
    rows = tuple(
        (
            lead.kind,
            lead.chosen.wire if lead.chosen else "none",
            f"{lead.chosen.area_mm2:.2f} mm²" if lead.chosen else "-",
            shown(lead.chosen.steady_c, "c", units, 0) if lead.chosen else "-",
            shown(lead.chosen.peak_c, "c", units, 0) if lead.chosen else "-",
            shown(lead.along.peak_c, "c", units, 0) if lead.along else "-",
            f"{lead.chosen.drop_rms_v:.2f} V" if lead.chosen else "-",
            f"{lead.chosen.drop_peak_v:.2f} V" if lead.chosen else "-",
            f"{lead.chosen.loss_rms_w:.1f} W" if lead.chosen else "-",
        )
        for lead in result.leads
    )
    head = ("lead", "wire", "copper", "for good", "in the peak", "on the ride", "drop, rms", "drop, peak", "loss")
    return Table("The thinnest that is fine", head, rows)


def _tried(lead: Lead, units: str) -> Table:
    rows = tuple(_tried_row(each, units) for each in lead.tried[-4:])
    head = ("wire", "verdict", "bears for good", "for good", "drop, rms", "density")
    return Table(f"{lead.kind.capitalize()} lead, the wires around it", head, rows)


def _tried_row(each: LeadCheck, units: str) -> tuple[str, ...]:
    return (
        each.wire,
        each.verdict,
        f"{each.current_limit_a:.0f} A",
        "melts" if each.steady_c is None else shown(each.steady_c, "c", units, 0),
        f"{each.drop_rms_percent:.1f} %",
        f"{each.current_density_a_per_mm2:.1f} A/mm²",
    )


def _strip(result: Harness) -> Table:
    strip = result.strip
    if strip is None:
        return Table("", (), ())
    rise = "no steady value" if strip.rise_k is None else f"{strip.rise_k:.0f} K"
    rows = (
        ("copper or nickel", f"{strip.metal}, {strip.area_mm2:.2f} mm²"),
        ("section needed", f"{strip.needed_area_mm2:.2f} mm² ({strip.needed_thickness_mm:.2f} mm thick)"),
        ("resistance", f"{strip.resistance_low_mohm:.2f} to {strip.resistance_high_mohm:.2f} mΩ"),
        ("rise above the cells", rise),
        ("bears", f"{strip.current_limit_a:.1f} A"),
    )
    return Table("Strips between two groups", ("", "strips"), rows)


def _precharge(result: Harness) -> Table:
    p = result.precharge
    if p is None:
        return Table("", (), ())
    rows = (
        ("resistor", f"{p.resistor_ohm:g} Ω"),
        ("time constant", f"{p.time_constant_s:.2f} s"),
        ("95 % and 99 %", f"{p.time_to_95_percent_s:.2f} and {p.time_to_99_percent_s:.2f} s"),
        ("energy in the resistor", f"{p.resistor_energy_j:.2f} J"),
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
