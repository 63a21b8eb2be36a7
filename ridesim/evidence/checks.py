"""One outside check: what we compute beside what somebody else printed, measured or derived; and the running of all."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NamedTuple

from ridesim.evidence.store import Kind, Printed
from ridesim.units import UNITS

OWN_DATA = Path(__file__).parent / "data"
"""Data of general-purpose libraries that come with the program."""
DATA_VARIABLE = "RIDESIM_DATA"
"""Names the folder of recordings that do not come with the program."""
Rule = Literal["near", "at least", "at most"]


@dataclass(frozen=True)
class Check:
    """One line of the table: ours against theirs.

    "near": they differ by at most `tolerance` (in `unit`); "at least" and "at most": ours lies on that side of theirs.
    """

    name: str
    ours: float
    theirs: float
    unit: str
    tolerance: float
    source: str
    kind: Kind
    rule: Rule = "near"
    note: str = ""
    printed: str = ""
    """Their value as the source prints it, where it does."""

    @property
    def difference(self) -> float:
        """Ours less theirs."""
        return self.ours - self.theirs

    @property
    def passed(self) -> bool:
        """Whether the check holds; a value that is not finite does not."""
        if not math.isfinite(self.ours):
            return False
        if self.rule == "at least":
            return self.ours >= self.theirs
        if self.rule == "at most":
            return self.ours <= self.theirs
        return abs(self.difference) <= self.tolerance * (1.0 + 1e-9) + 1e-12 * abs(self.theirs)


class Subject(NamedTuple):
    """A field of checks: its name on the command line, its title, and the function that runs it.

    The function returns the checks made, and words for each that could not be made.
    """

    name: str
    title: str
    run: Callable[[], tuple[list[Check], list[str]]]


def near(
    name: str,
    ours: float,
    printed: Printed,
    *,
    within: float | None = None,
    share: float | None = None,
    note: str = "",
) -> Check:
    """Return a check against a printed number: half a unit of its last digit unless a tolerance is given and noted."""
    suffix, source, kind = printed.about
    tolerance = printed.last_digit / 2.0
    if share is not None:
        tolerance = share * abs(printed)
    if within is not None:
        tolerance = within
    unit = UNITS[suffix].symbol if suffix else ""
    return Check(name, float(ours), float(printed), unit, tolerance, source, kind, note=note, printed=printed.text)


def bound(name: str, ours: float, rule: Rule, printed: Printed, *, note: str = "") -> Check:
    """Return a check that ours lies on one side ("at least", "at most") of a printed number."""
    suffix, source, kind = printed.about
    unit = UNITS[suffix].symbol if suffix else ""
    return Check(name, float(ours), float(printed), unit, 0.0, source, kind, rule, note)


def data_folder() -> Path | None:
    """Return the folder of recordings: that of RIDESIM_DATA, else `shared/data` beside the project; None: absent."""
    named = os.environ.get(DATA_VARIABLE)
    place = Path(named) if named else Path(__file__).parents[2].parent / "shared" / "data"
    return place if place.is_dir() else None


def absent(what: str) -> str:
    """Return the words for checks that need recordings which are not there."""
    return f"{what}: not run, the recordings are not here (name their folder in {DATA_VARIABLE})"
