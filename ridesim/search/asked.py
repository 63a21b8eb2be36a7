"""Which bike for my road? A search as a function: the goals by file, the rest as `How` has it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ridesim.search.found import Found
from ridesim.search.goals import read_goals
from ridesim.search.how import How
from ridesim.search.search import search


def which_bike(goals: str | Path, changes: Mapping[str, Any] | None = None, **how: Any) -> Found:
    """Ride every combination that a goals file allows: the front of what matters, its knee, the reasons.

    `changes` are laid over the base build; `how`: keys of `How`, such as `seed`, `samples`, `shown`, `yes`.
    Raises RidesimError.
    """
    return search(read_goals(goals, changes), How(**how))
