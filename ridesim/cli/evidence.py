"""`ridesim evidence`: the model beside what others printed, measured or derived."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from ridesim.cli import options
from ridesim.cli.answer import Wanted, answer, csv_writer
from ridesim.cli.output import command, envelope, progress, say_if_compiling

if TYPE_CHECKING:
    from ridesim.evidence.checks import Check
    from ridesim.evidence.run import Evidence

EXAMPLE = "Example: ridesim evidence --subject motor --subject cell"


@command("evidence", EXAMPLE, bare=True)
def evidence(
    subject: Annotated[
        list[str] | None, options.choice("--subject", "NAME", "Only this subject; may be repeated.", "Checks")
    ] = None,
    misses: Annotated[bool, options.flag("--misses", "List only the checks that miss.", "Checks")] = False,
    out: options.Out = None,
    report: options.Report = None,
    as_json: options.Json = False,
) -> None:
    """Run every outside check and print the table: quantity, ours, theirs, difference, tolerance, source."""
    from ridesim.evidence.run import all_subjects, run_checks

    say_if_compiling()
    with progress("checking", len(all_subjects())) as done:
        result = run_checks(subject or (), done)
    from ridesim.report.evidence.view import view

    figures = figures_of(result)
    answer(
        Wanted(as_json, out, report),
        envelope("evidence", {}, **figures),
        lambda pictures: view(result, pictures=pictures, only_misses=misses),
        (),
        pictures=("checks",),
        tables={"checks.csv": csv_writer(figures["checks"])},
    )


def figures_of(result: Evidence) -> dict[str, Any]:
    """Return the checks as plain values."""
    rows = [row_of(title, check) for title, checks in result.subjects for check in checks]
    return {"count": len(rows), "missed": len(result.missed), "checks": rows, "absent": list(result.absent)}


def row_of(title: str, check: Check) -> dict[str, Any]:
    """Return one check as plain values."""
    return {
        "subject": title,
        "quantity": check.name,
        "ours": check.ours,
        "theirs": check.theirs,
        "unit": check.unit,
        "rule": check.rule,
        "difference": check.difference,
        "tolerance": check.tolerance,
        "holds": check.passed,
        "kind": str(check.kind),
        "source": check.source,
        "note": check.note,
    }
