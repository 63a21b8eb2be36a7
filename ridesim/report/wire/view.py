"""The copper of a bike as words, tables and a picture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from ridesim.report.view import Table, View
from ridesim.ride.drives import FIRST, SECOND
from ridesim.units import from_si, shown, told
from ridesim.workshop.wire.contacts import StripCheck
from ridesim.workshop.wire.harness import Allowed, Harness, Lead
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
        answer=(f"{told(result.reason, units)}.", *(told(line, units) for line in _advice_of_all(result))),
        verdict=result.verdict,
        tables=tuple(_tables(result, units)),
        figures=_figures(result, units) if pictures else (),
        notes=tuple(told(note, units) for note in notes),
    )


def _advice_of_all(result: Harness) -> list[str]:
    lines = _advice(result)
    for name, part in _of_drives(result):
        lines += [f"{name}, {line}" for line in _advice(part)]
    return lines


def _of_drives(result: Harness) -> list[tuple[str, Harness]]:
    return list(zip((FIRST, SECOND), result.drives, strict=False))


def _advice(result: Harness) -> list[str]:
    several = result.currents.controllers > 1
    lines = [_shares(result)] if several else []
    lines += [f"{_of_each(lead, result)}: {lead.reason}." for lead in result.leads]
    parts = (("fuse", result.fuse), ("fuse of each controller, where its lead parts from the pack's",
             result.controller_fuse), ("fuse of the charge lead, at the pack", result.charge_fuse),
             ("plug", result.connector), ("strips between the cells", result.strip))  # fmt: skip
    lines += [f"{name}: {part.reason}." for name, part in parts if part is not None]
    if result.allowed is not None:
        lines.append(_allowed_words(result.allowed, result))
    own, shared = result.precharge, result.shared_precharge
    if own is not None:
        lines.append(_precharge_words("pre-charge of each controller" if several else "pre-charge", own))
    if shared is not None:
        lines.append(_precharge_words("or one pre-charge before both, where one main contact feeds them", shared))
    return lines


def _allowed_words(allowed: Allowed, result: Harness) -> str:
    """A rider who opens the throttle elsewhere should know what then blows."""
    c = result.currents
    may = "the controller may draw" if c.controllers == 1 else "the controllers together may draw"
    if allowed.wire is None or allowed.fuse_a is None:
        take = "no lead here is thick enough: lower controller.pack_current_limit_a"
    else:
        take = f"for any road take {allowed.wire} and a fuse of {allowed.fuse_a:g} A, or lower that limit"
    return (
        f"beyond this ride: {may} {allowed.pack_current_a:.0f} A for as long as asked to, here it is "
        f"{c.pack_peak_a:.0f} A at most; full throttle elsewhere blows this fuse. {take[0].upper()}{take[1:]}."
    )


def _shares(result: Harness) -> str:
    """How the pack's current parts between the controllers."""
    c = result.currents
    even = c.controller_share * c.controllers <= 1.0
    parts = "half of it each" if even else f"up to {c.controller_share:.0%} of it the harder worked one (unlike Kv)"
    return (
        f"{c.controllers} controllers: the pack's lead, fuse and plug carry the sum, the leads from there to the "
        f"controllers {parts}; phase leads and currents are of one motor."
    )


def _of_each(lead: Lead, result: Harness) -> str:
    """What a lead is called: with several controllers those that are there once for each."""
    each = {"controller": "lead of each controller", "phase": "phase lead of each motor"}
    return each.get(lead.kind, f"{lead.kind} lead") if result.currents.controllers > 1 else f"{lead.kind} lead"


def _precharge_words(name: str, p: Precharge) -> str:
    buy = f"{p.buy_w:g} W, {p.buy_kind}" if p.buy_w is not None else "no single resistor bears it"
    return (
        f"{name}: {p.resistor_ohm:g} Ω {buy}; {p.reason}. Without it {p.inrush_without_a:.0f} A spark at the plug "
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
        tables.append(_precharge(result.precharge, result.shared_precharge))
    for name, part in _of_drives(result):
        tables += [replace(each, title=f"{name.capitalize()}: {each.title}") for each in _tables(part, units)]
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
    fuses = (("pack", result.fuse), ("each controller", result.controller_fuse), ("charge", result.charge_fuse))
    named = [(name, fuse) for name, fuse in fuses if fuse is not None]
    rows = (
        ("rating", *("none" if fuse.rating_a is None else f"{fuse.rating_a:g} A" for _, fuse in named)),
        ("at least, by the load", *(f"{fuse.lowest_a:.1f} A" for _, fuse in named)),
        ("at most", *(f"{fuse.highest_a:.1f} A" for _, fuse in named)),
        ("which bears it", *(fuse.highest_by for _, fuse in named)),
        ("rated for", *("-" if fuse.kind is None else f"{fuse.kind.rated_voltage_v:.0f} V DC" for _, fuse in named)),
        ("a full pack", *(f"{fuse.dc_voltage_v:.1f} V" for _, fuse in named)),
        ("a short", *("-" if fuse.short_circuit_a is None else f"{fuse.short_circuit_a:.0f} A" for _, fuse in named)),
    )
    where = "Fuses, at the pack" if result.controller_fuse is None else "Fuses, where each lead begins"
    return Table(where, ("", *(name for name, _ in named)), rows)


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


def _precharge(own: Precharge, shared: Precharge | None) -> Table:
    tried = [own] if shared is None else [own, shared]

    def row(name: str, write: Callable[[Precharge], str]) -> tuple[str, ...]:
        """Return what is told of each pre-charge."""
        return (name, *(write(each) for each in tried))

    rows = (
        row("resistor", lambda p: f"{p.resistor_ohm:g} Ω"),
        row("to buy", lambda p: "-" if p.buy_w is None else f"{p.buy_w:g} W"),
        row("time constant", lambda p: f"{p.time_constant_s:.2f} s"),
        row("95 % and 99 %", lambda p: f"{p.time_to_95_percent_s:.2f} and {p.time_to_99_percent_s:.2f} s"),
        row("drawn meanwhile", lambda p: f"{from_si(p.standby_current_a, 'ma'):.0f} mA"),
        row("left at closing", lambda p: f"{p.gap_at_closing_v:.1f} V"),
        row("energy in the resistor", lambda p: f"{p.resistor_energy_j:.2f} J"),
        row("held on a short", lambda p: f"{p.worst_energy_j:.0f} J in {p.hold_s:g} s"),
        row("power, first and mean", lambda p: f"{p.resistor_peak_w:.1f} and {p.resistor_mean_w:.2f} W"),
        row("current at first", lambda p: f"{p.first_current_a:.2f} A"),
        row("inrush without, with", lambda p: f"{p.inrush_without_a:.0f} and {p.closing_current_a:.1f} A"),
    )
    heads = ("", "pre-charge") if shared is None else ("", "each controller", "one before both")
    return Table("Pre-charge", heads, rows)


def _figures(result: Harness, units: str) -> tuple[tuple[str, Figure], ...]:
    if result.currents.time_s is None:
        return ()
    from ridesim.report.wire.figure import draw_leads

    caption = "Copper of the leads along the ride, and what their jackets stand"
    return (
        (caption, draw_leads(result, units)),
        *((f"{caption}: {name}", draw_leads(part, units)) for name, part in _of_drives(result)),
    )
