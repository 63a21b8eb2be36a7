"""Text for a terminal of its own width: prose is folded at words, tables keep their columns."""

from __future__ import annotations

import re
from collections.abc import Sequence
from textwrap import fill

from ridesim.report.text import LABEL_WIDTH

NARROWEST = 40
_RULE = re.compile(r"-{2,}( +-{2,})*")
_LABELLED = re.compile(rf"(?=.{{{LABEL_WIDTH}}}\S)(?:\S.{{{LABEL_WIDTH - 3}}}  | {{{LABEL_WIDTH}}})")


def folded(text: str, width: int) -> str:
    """Return an answer's text with every line of prose within `width`; lines that were folded wider join again first.

    What a table holds stays as it is: a head with a rule of dashes below it, down to the next empty line.
    """
    blocks = [block.split("\n") for block in text.split("\n\n")]
    return "\n\n".join("\n".join(_block(lines, max(width, NARROWEST))) for lines in blocks)


def _block(lines: Sequence[str], width: int) -> list[str]:
    if any(_RULE.fullmatch(line.strip()) for line in lines):
        return list(lines)
    return [fill(line, width, subsequent_indent=_hanging(line), break_long_words=False, break_on_hyphens=False)
            if len(line) > width else line for line in _joined(lines)]  # fmt: skip


def _joined(lines: Sequence[str]) -> list[str]:
    """Put lines together again that were folded: those that begin with the indent their first line hangs by."""
    found: list[str] = []
    for line in lines:
        hanging = _hanging(found[-1]) if found else ""
        goes_on = bool(found) and hanging and line.startswith(hanging) and not line[len(hanging)].isspace()
        if goes_on and len(hanging) < LABEL_WIDTH and not line.startswith("  also:"):
            found[-1] += f" {line.strip()}"
        else:
            found.append(line)
    return found


def _hanging(line: str) -> str:
    if _LABELLED.match(line):
        return " " * LABEL_WIDTH
    return "      " if line.startswith("note: ") else "  "
