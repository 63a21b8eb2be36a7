"""How to search: everything that belongs to the run rather than to the wish; and the wish, read and checked."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field
from typing import Literal

from ridesim.errors import GoalsError
from ridesim.ride.quantities import SECOND
from ridesim.road.load import load_road
from ridesim.schema.keys import printable
from ridesim.search.axes import space_of
from ridesim.search.executors import Executor, Kept, Threads
from ridesim.search.goals import Asked
from ridesim.search.judged import Study, names_of
from ridesim.search.ridden import Problem, wanted_figures
from ridesim.search.wanted import OF_RUN, bounds_of, matters_of, prices_of
from ridesim.sure.batch import answers_of
from ridesim.workshop.law.classes import JURISDICTIONS

Way = Literal["auto", "all", "evolve"]
Teller = Callable[[str, int | None], AbstractContextManager[Callable[[int], None]]]
"""Shows a person how far a stage is: words and a total in, a context that yields a function to call with rides done."""

SHOWN, SAMPLES = 8, 64
"""Members shown at most, and bikes drawn of each."""
BUDGET = 20_000
"""Draft rides of a search that does not ride all."""


@dataclass(frozen=True)
class How:
    """How to search: everything that belongs to the run rather than to the wish."""

    seed: int = 1
    way: Way = "auto"
    yes: bool = False
    shown: int = SHOWN
    samples: int = SAMPLES
    budget: int = BUDGET
    executor: Executor = field(default_factory=Threads)
    kept: Kept = field(default_factory=lambda: Kept(None))
    tell: Teller = lambda _words, _total: nullcontext(lambda _done: None)


def study_of(asked: Asked) -> Study:
    """Return a search ready to run: everything read and checked. Raises GoalsError, BuildError or RoadError."""
    bounds, matters = bounds_of(asked), matters_of(asked)
    _refuse_unknown_law(asked)
    space, notes = space_of(asked)
    roads = tuple(load_road(asked.beside(each.file), flat=each.flat) for each in asked.goals.road)
    names = (*(each.key for each in matters), *names_of(bounds))
    for number, bound in enumerate(bounds):
        if bound.certainty is not None and bound.what not in (told_of := answers_of(space.base.build)):
            told = f"{bound.what} has no spread to be certain of"
            to_do = f"leave certainty_percent out; these have one: {', '.join(told_of)}"
            raise GoalsError(f"{asked.path}, hold.{number}", told, to_do)
    own = next((name for name in names if name.startswith(SECOND)), None)
    if own is not None and space.base.build.second is None:
        raise GoalsError(str(asked.path), f"{own} is asked of a base build of one drive", "leave it out")
    prices = prices_of(asked, space, names)
    runs = tuple(name for name in OF_RUN if name in names)
    return Study(
        asked, space, roads, bounds, matters, prices, Problem(space, roads, wanted_figures(names), runs), notes
    )


def _refuse_unknown_law(asked: Asked) -> None:
    for name in asked.goals.bicycle_under or ():
        if name not in JURISDICTIONS:
            told = f"no rules of {printable(name)!r} are known"
            raise GoalsError(f"{asked.path}, bicycle_under", told, f"choose from {'; '.join(JURISDICTIONS)}")
