"""What every answer is made of, before it becomes a page or a terminal's text: words, tables, pictures."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from ridesim.report.text import VERDICT_MARKS, columns

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TEXT_WIDTH = 100
"""Characters of a line of prose on a terminal."""


HALF_PAGE, MOST_OF_COLUMN = 84, 48
"""Characters of a table that half a screen of 1440 px shows, and of a column before its words take a second line."""


@dataclass(frozen=True)
class Table:
    """A table of text: its title, the words of its head, and rows as long as the head."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def is_broad(self) -> bool:
        """Whether it takes more than half of a wide screen."""
        columns_of = zip(self.head, *self.rows, strict=True)
        return sum(min(max(map(len, each)), MOST_OF_COLUMN) + 2 for each in columns_of) > HALF_PAGE


@dataclass(frozen=True, eq=False)
class View:
    """One answer: the question, the answer in plain words, tables, pictures with captions, and notes.

    `verdict` is "fine", "look again" or "stop" where the question has one; `heeds_chances`: the tolerances of the
    build's numbers are in it.
    """

    title: str
    question: str
    answer: tuple[str, ...]
    verdict: str | None = None
    tables: tuple[Table, ...] = ()
    figures: tuple[tuple[str, Figure], ...] = field(default=(), repr=False)
    notes: tuple[str, ...] = ()
    heeds_chances: bool = False


def view_text(view: View) -> str:
    """Return an answer as text for a terminal; pictures are left to files and pages."""
    parts = [f"{view.title}\n{'=' * len(view.title)}", _wrapped(view.question, ""), _answer_text(view)]
    parts += [f"{table.title}\n{columns(table.head, table.rows)}" for table in view.tables]
    if view.notes:
        parts.append("\n".join(_wrapped(f"note: {note}", "      ") for note in view.notes))
    return "\n\n".join(part for part in parts if part)


def _answer_text(view: View) -> str:
    first, *others = view.answer or ("",)
    mark = f"{VERDICT_MARKS.get(view.verdict, view.verdict.upper())}: " if view.verdict else ""
    return "\n".join(_wrapped(line, "  ") for line in (f"{mark}{first}", *others))


def _wrapped(text: str, hanging: str) -> str:
    return textwrap.fill(text, TEXT_WIDTH, subsequent_indent=hanging, break_long_words=False, break_on_hyphens=False)
