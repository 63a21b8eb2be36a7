"""search(goals): cheap tests, draft rides, full rides, the front, the last looks. The public answer of this room."""

from __future__ import annotations

from time import perf_counter

from ridesim.search.found import Found, found_of
from ridesim.search.goals import Asked
from ridesim.search.how import How, study_of
from ridesim.search.sift import Sifted, cheap_tests, sift
from ridesim.search.stages import MOST_COMBINATIONS, Stages, refuse_many


def search(asked: Asked, how: How | None = None) -> Found:
    """Return the front of what the goals allow, every member ridden and checked.

    The same seed gives the same answer, wherever it is ridden. Raises GoalsError for goals that make no sense or take
    too long without a yes, BuildError and RoadError for files, and KeyboardInterrupt, finished chunks being kept.
    """
    how, begun = how or How(), perf_counter()
    study = study_of(asked)
    refuse_many(study, how)
    tests = cheap_tests(asked, study.space, study.roads, study.bounds, study.prices)
    if how.way == "evolve" and study.space.count > MOST_COMBINATIONS:
        sifted = Sifted(study.space.count, study.space.rows(0, 0), (), {})
    else:
        with how.tell("cheap tests", None):
            sifted = sift(study.space, tests)
    run = Stages(study, how, sifted, tests)
    draft = run.drafts()
    return found_of(run, draft, run.full_rides(draft), begun)
