"""Legal classes of a build as words and tables. Facts with document and year; no legal advice."""

from __future__ import annotations

from ridesim.report.text import shown
from ridesim.report.view import Table, View
from ridesim.report.workshop_words import list_table
from ridesim.units import told
from ridesim.workshop.law.bike import DESCENTS, BuildLaw
from ridesim.workshop.law.classes import CLASSES, EN_15194_DETAILS, LegalClass, LegalFinding

EU = "European Union"


def view(result: BuildLaw, units: str = "metric", *, pictures: bool = True) -> View:
    """Return which published class a build falls in, and what a friendlier one would take. `pictures` draws none."""
    report = result.report
    asked = tuple(finding.jurisdiction for finding in report.findings)
    return View(
        title=f"Legal classes of {result.build_name}",
        question="Which class of the published rules does it fall in, and what would have to change?",
        answer=(
            _headline(report.findings),
            *(told(_answer(each), units) for each in report.findings),
            f"Power: {result.power_reason}.",
            report.disclaimer,
        ),
        verdict="fine" if result.verdict == "fine" else "look again",
        tables=(
            _figures(result, units),
            *_changes(report.findings, units, wrapped=not pictures),
            _classes(asked, units),
        ),
        notes=(
            *(
                f"{rule.jurisdiction}, {rule.name} ({rule.document}, {rule.year}): {told(rule.note, units)}"
                for rule in CLASSES
                if rule.jurisdiction in asked
            ),
            *(
                f"EN 15194:2009 (read in a secondary page): {told(each, units)}"
                for each in EN_15194_DETAILS
                if EU in asked
            ),
            f"Rated power: {result.rated_power_from}.",
            DESCENTS,
        ),
    )


def _headline(findings: tuple[LegalFinding, ...]) -> str:
    cycles = sum(each.rule is not None and each.rule.as_bicycle for each in findings)
    return f"By {cycles} of {len(findings)} sets of published rules it counts as a cycle. Local law decides."


def _answer(finding: LegalFinding) -> str:
    line = f"{finding.jurisdiction}: {finding.reason}"
    if finding.rule is None and finding.friendlier:
        nearest = min(finding.friendlier, key=lambda each: len(each.changes))
        return f"{line}; nearest: {nearest.rule.name}, if {'; '.join(nearest.changes)}."
    return f"{line}."


def _figures(result: BuildLaw, units: str) -> Table:
    cut = result.assist_cutoff_speed_km_h
    rows = (
        ("power taken as rated", f"{result.rated_power_w:.0f} W"),
        ("most at the shaft, its own run", f"{result.own_run_peak_w:.0f} W"),
        ("assist cut-off", "none" if cut is None else shown(cut, "km_h", units)),
        ("motor alone on the level", shown(result.top_speed_km_h, "km_h", units)),
        ("motor out of voltage at", shown(result.unloaded_speed_km_h, "km_h", units)),
        ("throttle", "yes" if result.throttle else "no: the motor follows the pedals"),
        ("pedals", "yes" if result.pedals else "no"),
        ("pack, nominal", f"{result.pack_voltage_v:.1f} V"),
    )
    return Table("What it is judged by", ("", "this build"), rows)


def _changes(findings: tuple[LegalFinding, ...], units: str, *, wrapped: bool) -> tuple[Table, ...]:
    texts = [
        told(f"{finding.jurisdiction}, {check.rule.name}: {'; '.join(check.changes)}", units)
        for finding in findings
        for check in finding.friendlier
    ]
    return (list_table("What would have to change", "class and changes", texts, wrapped=wrapped),) if texts else ()


def _classes(asked: tuple[str, ...], units: str) -> Table:
    rows = tuple(
        (f"{rule.jurisdiction}: {rule.name}", _limits(rule, units)) for rule in CLASSES if rule.jurisdiction in asked
    )
    return Table("The classes, as published", ("class", "what it allows"), rows)


def _limits(rule: LegalClass, units: str) -> str:
    word = "below " if rule.below else ""
    speed = shown(rule.motor_speed_km_h, "km_h", units)
    level = " on the level" if rule.on_level else ""
    pedals = "pedals" if rule.pedals else "no pedals asked"
    return f"{word}{rule.rated_power_w:.0f} W; to {word}{speed}{level}; without pedalling: {rule.throttle}; {pedals}"
