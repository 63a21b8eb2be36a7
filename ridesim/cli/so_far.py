"""What is kept and told of a question that was cut short."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ridesim.cli.answer import csv_writer
from ridesim.cli.output import envelope, print_json, say, show
from ridesim.cli.writing import write_all
from ridesim.errors import Interrupted, RidesimError
from ridesim.studies.so_far import SoFar

SHOWN = 12
NAME = "rides-so-far.csv"


def keep(end: Interrupted, out: Path | None, as_json: bool) -> str:
    """Show the rows of what is done, write them where files were asked for, and return how far it came, in words."""
    if not isinstance(end.left, SoFar):
        return end.done
    rows = end.left.rows()
    if not rows:
        return end.done
    if as_json:
        print_json(envelope("so_far", {}, asked=end.left.asked, done=len(rows), rows=rows))
    else:
        show(_text(rows))
    if out is None:
        return end.done
    try:
        (kept,) = write_all(out, {NAME: csv_writer(rows)})
    except RidesimError as error:  # the interrupt is the answer; that its rows could not be kept is told beside it
        say(str(error))
        return end.done
    return f"{end.done}, kept in {kept}"


def _text(rows: list[dict[str, Any]]) -> str:
    """Return the first rows as a table; a column that says the same in all of them is left out."""
    from ridesim.report.text import columns

    told = [name for name in rows[0] if len(rows) == 1 or any(row[name] != rows[0][name] for row in rows)]
    shown = [tuple(_cell(row[name]) for name in told) for row in rows[:SHOWN]]
    more = f"\n... and {len(rows) - SHOWN} more" if len(rows) > SHOWN else ""
    return f"What was done by then\n{columns(told, shown)}{more}"


def _cell(value: Any) -> str:
    return f"{value:.4g}" if isinstance(value, float) else "-" if value is None else str(value)
