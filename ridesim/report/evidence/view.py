"""Words, tables and a picture of the outside checks."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from ridesim.report.view import Table, View

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.evidence.checks import Check
    from ridesim.evidence.run import Evidence

HEAD = ("quantity", "ours", "theirs", "difference", "allowed", "holds", "source")
MOST_DRAWN = 1.5
"""A miss by more times the tolerance than this is drawn here, with its factor in words."""


def view(result: Evidence, units: str = "metric", *, pictures: bool = True, only_misses: bool = False) -> View:
    """Return the table of outside checks, or of the misses alone; figures are metric, as their sources print them."""
    del units
    listed = _misses(result) if only_misses else result
    sources = _sources(listed)
    count, missed = len(result.checks), result.missed
    held = f"{count - len(missed)} of {count} checks hold" if missed else f"All {count} checks hold"
    answer = [f"{held}. Each was computed just now by the program you run; their side is what the source prints."]
    if missed:
        answer.append(f"{len(missed)} miss:")
        answer += [f"{check.name}: {_value(check.ours, check)} against {_theirs(check)}." for check in missed]
    return View(
        title="Does ridesim agree with the world outside?",
        question="Every figure below stands beside one that somebody else printed, measured or derived.",
        answer=tuple(answer),
        verdict="look again" if missed else "fine",
        tables=(
            *(_table(title, checks, sources) for title, checks in listed.subjects if checks),
            Table("Sources", ("number", "source"), tuple((f"[{n}]", text) for n, text in enumerate(sources, 1))),
        ),
        figures=((_CAPTION, picture(result)),) if pictures and count else (),
        notes=(*_notes(listed), *result.absent),
    )


def _misses(result: Evidence) -> Evidence:
    """Return the checks that do not hold, by subject."""
    return replace(
        result, subjects=tuple((title, tuple(c for c in checks if not c.passed)) for title, checks in result.subjects)
    )


_CAPTION = (
    "Each dot is one check: how much of the difference that its tolerance allows is used. Right of the line it misses."
)


def _notes(result: Evidence) -> tuple[str, ...]:
    kinds = sorted({str(check.kind) for check in result.checks})
    counted = ", ".join(f"{sum(check.kind == kind for check in result.checks)} {kind}" for kind in kinds)
    remarks = [f"{check.name}: {check.note}" for check in result.checks if check.note and _tells(check)]
    return (f"where their side comes from: {counted}", *remarks)


def _tells(check: Check) -> bool:
    """Return whether a remark is worth a line of its own: of misses, recordings and what has no printed source."""
    return not check.passed or check.kind in ("measured", "common practice, no source", "from memory")


def _table(title: str, checks: tuple[Check, ...], sources: list[str]) -> Table:
    rows = tuple(
        (
            check.name,
            _value(check.ours, check),
            _theirs(check),
            f"{check.difference:+.2g}",
            f"{check.tolerance:.2g}" if check.rule == "near" else "-",
            "yes" if check.passed else "NO",
            f"[{sources.index(_source(check)) + 1}]",
        )
        for check in checks
    )
    return Table(f"{title}: {sum(check.passed for check in checks)} of {len(checks)} hold", HEAD, rows)


def _sources(result: Evidence) -> list[str]:
    """Return every source once, in the order of the table."""
    return list(dict.fromkeys(_source(check) for check in result.checks))


def _source(check: Check) -> str:
    return str(check.kind) if check.source == check.kind else f"{check.source} ({check.kind})"


def _theirs(check: Check) -> str:
    value = f"{check.printed} {check.unit}".rstrip() if check.printed else _value(check.theirs, check)
    return value if check.rule == "near" else f"{check.rule} {value}"


def _value(value: float, check: Check) -> str:
    """Return a value to one digit more than its check looks at, with its unit."""
    least = check.tolerance if check.rule == "near" and check.tolerance > 0.0 else 0.02 * max(abs(check.theirs), 0.01)
    decimals = min(max(int(np.ceil(-np.log10(least))) + 1, 0), 9)
    return f"{value:.{decimals}f} {check.unit}".rstrip()


def share_used(check: Check) -> float:
    """Return the share of what is allowed that a check uses; above one it misses."""
    if check.rule == "near":
        if check.tolerance == 0.0:
            return 0.0 if check.passed else 10.0
        return abs(check.difference) / check.tolerance
    if check.ours <= 0.0 or check.theirs <= 0.0:
        return 0.0 if check.passed else 10.0
    return check.theirs / check.ours if check.rule == "at least" else check.ours / check.theirs


def picture(result: Evidence) -> Figure:
    """Return every check as a dot by subject: the share of the allowed difference that it uses."""
    from ridesim.report.style import COLOURS, LIMIT_COLOUR, new_figure, tag

    subjects = [(title, checks) for title, checks in result.subjects if checks]
    figure, (axes,) = new_figure(height_mm=26.0 + 14.0 * len(subjects))
    for row, (title, checks) in enumerate(subjects):
        shares = np.array([share_used(check) for check in checks])
        held = np.array([check.passed for check in checks])
        place = row + 0.2 + 0.2 * np.sin(2.4 * np.arange(len(checks)))  # apart, the same each time
        axes.scatter(shares[held], place[held], s=16, color=COLOURS[1], alpha=0.75, linewidths=0.0)
        far = np.minimum(shares[~held], MOST_DRAWN)
        axes.scatter(far, place[~held], s=46, color=LIMIT_COLOUR, edgecolors="black", marker="D")
        words = f"{title}: {int(held.sum())} of {len(checks)}"
        tag(axes, 0.0, row - 0.12, words, offset=(0.0, 0.0), align=("left", "bottom"))
        for share, at in zip(shares[~held], place[~held], strict=True):
            if share > MOST_DRAWN:
                tag(axes, MOST_DRAWN, at, f"{share:.0f} x", offset=(7.0, 0.0), align=("left", "center"))
    axes.axvline(1.0, color=LIMIT_COLOUR, linestyle=(0, (5, 3)))
    axes.set_xlim(-0.03, MOST_DRAWN + 0.2)
    axes.set_ylim(len(subjects) - 0.4, -1.0)
    axes.set_yticks([])
    axes.grid(False, axis="y")
    axes.spines["left"].set_visible(False)
    axes.set_xticks([0.0, 0.5, 1.0], ["none", "half", "all"])
    axes.set_xlabel("difference used, of what is allowed")
    tag(axes, 1.0, -0.85, "misses", LIMIT_COLOUR, offset=(6.0, 0.0), align=("left", "center"))
    return figure
