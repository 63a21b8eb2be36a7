"""The check sheet of a build as words, tables and one picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridesim.report.text import sentence
from ridesim.report.view import Table, View
from ridesim.report.workshop_words import finding_row, list_table
from ridesim.ride.judge import Finding
from ridesim.units import told
from ridesim.workshop.check.first_turn import TAG
from ridesim.workshop.check.sheet import CheckSheet

if TYPE_CHECKING:
    from matplotlib.figure import Figure

NOTES_LEFT_OUT = (
    "Left out: brakes, frame, fork, spokes, torque arms, water, wear. The sheet is no substitute for somebody who "
    "looks at the bike."
)


def view(result: CheckSheet, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the check sheet: what is not fine and why, every verdict with figure and limit, then why the rest is."""
    order = {"stop": 0, "look again": 1, "fine": 2}
    ranked = sorted(result.findings, key=lambda each: order[each.verdict])
    troubled = [each for each in ranked if each.verdict != "fine"]
    sheet = Table(
        "Verdicts", ("what", "verdict", "figure", "limit"), tuple(finding_row(each, units) for each in result.findings)
    )
    return View(
        title=f"Check of {result.build_name}",
        question=f"What does the ride ({result.ridden}) ask of every part, and does the part bear it?",
        answer=(
            sentence(told(result.reason, units)),
            *(f"{each.verdict}: {each.title}: {sentence(told(each.reason, units))}{_cure(each)}" for each in troubled),
        ),
        verdict=result.verdict,
        tables=(
            sheet,
            _why_fine(ranked[len(troubled) :], units, wrapped=not pictures),
            _first_turn(result, wrapped=not pictures),
        ),
        figures=_figures(result) if pictures else (),
        notes=(
            *(told(words, units) for words in result.build_warnings),
            *(told(words, units) for words in result.cautions),
            NOTES_LEFT_OUT,
        ),
    )


def _cure(each: Finding) -> str:
    """What helps, where the reason does not end in it."""
    return f" To do: {sentence(each.cure)}" if each.cure and each.cure not in each.reason else ""


def _why_fine(calm: list[Finding], units: str, *, wrapped: bool) -> Table:
    """Why the rest is fine, one reason a row; broken into lines where nothing else breaks them (a terminal)."""
    texts = [f"{each.title}: {told(each.reason, units)}" for each in calm]
    return list_table("Why the others are fine", "what and why", texts, wrapped=wrapped)


def _first_turn(result: CheckSheet, *, wrapped: bool) -> Table:
    texts = [f"{number}. {step.what}: {step.to_do}" for number, step in enumerate(result.first_turn, start=1)]
    return list_table(f"Before the first turn of the wheel ({TAG})", "in this order", texts, wrapped=wrapped)


def _figures(result: CheckSheet) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.check.figure import draw_margins

    return (("How much of each limit is used; the line is the limit", draw_margins(result)),)
