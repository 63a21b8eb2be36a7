"""Words, tables and a picture of the outside checks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ridesim.report.view import Table, View

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.evidence.checks import Check, Evidence

HEAD = ("quantity", "ours", "theirs", "difference", "allowed", "holds", "source")
LEAST_SHARE = 1e-4
"""Shares of the allowed difference below this are drawn at it: they are rounding."""
WORDS = {"at least": "at least", "at most": "at most"}


def view(result: Evidence, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the table of outside checks; figures are metric, as their sources print them."""
    del units
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
        tables=tuple(_table(title, checks) for title, checks in result.subjects if checks),
        figures=((_CAPTION, picture(result)),) if pictures and count else (),
        notes=(*_notes(result), *result.absent),
    )


_CAPTION = (
    "Each dot is one check: how much of the difference that its tolerance allows is used. Right of the line it misses."
)


def _notes(result: Evidence) -> tuple[str, ...]:
    kinds = sorted({str(check.kind) for check in result.checks})
    counted = ", ".join(f"{sum(check.kind == kind for check in result.checks)} {kind}" for kind in kinds)
    remarks = [f"{check.name}: {check.note}" for check in result.checks if check.note and not _plain(check)]
    return (f"their side is: {counted}", *remarks)


def _plain(check: Check) -> bool:
    """Return whether a remark only repeats for a whole table; those are left to the page's source column."""
    return check.kind not in ("measured", "common practice, no source", "from memory") and check.passed


def _table(title: str, checks: tuple[Check, ...]) -> Table:
    rows = tuple(
        (
            check.name,
            _value(check.ours, check),
            _theirs(check),
            f"{check.difference:+.2g}",
            f"{check.tolerance:.2g}" if check.rule == "near" else "-",
            "yes" if check.passed else "NO",
            str(check.kind) if check.source == check.kind else f"{check.source} ({check.kind})",
        )
        for check in checks
    )
    return Table(f"{title}: {sum(check.passed for check in checks)} of {len(checks)} hold", HEAD, rows)


def _theirs(check: Check) -> str:
    words = WORDS.get(check.rule)
    value = _value(check.theirs, check)
    return f"{words} {value}" if words else value


def _value(value: float, check: Check) -> str:
    """Return a value to the digits that its check looks at, with its unit."""
    least = check.tolerance if check.rule == "near" and check.tolerance > 0.0 else 0.01 * max(abs(check.theirs), 0.01)
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
    from ridesim.report.style import COLOURS, LIMIT_COLOUR, MAP, new_figure, sample, tag

    subjects = [(title, checks) for title, checks in result.subjects if checks]
    figure, (axes,) = new_figure(height_mm=22.0 + 12.0 * len(subjects))
    for row, (_title, checks) in enumerate(subjects):
        shares = np.array([min(max(share_used(check), LEAST_SHARE), 30.0) for check in checks])
        held = np.array([check.passed for check in checks])
        spread = 0.28 * np.sin(2.4 * np.arange(len(checks)))  # apart, the same each time
        axes.scatter(shares[held], row + spread[held], s=14, color=COLOURS[0], alpha=0.7, linewidths=0.0)
        axes.scatter(shares[~held], row + spread[~held], s=42, color=sample(MAP, 0.9), edgecolors="black", marker="D")
    axes.axvline(1.0, color=LIMIT_COLOUR, linestyle=(0, (5, 3)))
    axes.set_xscale("log")
    axes.set_xlim(LEAST_SHARE * 0.7, 40.0)
    axes.set_ylim(len(subjects) - 0.45, -0.9)
    axes.set_yticks(range(len(subjects)), [f"{title} ({len(checks)})" for title, checks in subjects])
    axes.set_xticks([1e-4, 1e-2, 1.0, 10.0], ["rounding", "1 %", "all", "10 x"])
    axes.set_xlabel("share of the allowed difference")
    tag(axes, 1.0, -0.62, "misses", LIMIT_COLOUR, offset=(5.0, 0.0), align=("left", "center"))
    return figure
