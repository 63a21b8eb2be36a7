"""All subjects of outside checks, and the run over them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from ridesim.errors import RideError
from ridesim.evidence import (
    ageing,
    air,
    belt_wire,
    brakes,
    cell,
    cycles,
    geodesy,
    heat,
    motor,
    rides,
    road_power,
    strength,
    trade,
    vehicle,
    weather,
)
from ridesim.evidence.checks import Check, Subject


@dataclass(frozen=True)
class Evidence:
    """All checks by subject, and what was absent."""

    subjects: tuple[tuple[str, tuple[Check, ...]], ...]
    absent: tuple[str, ...]

    @property
    def checks(self) -> tuple[Check, ...]:
        """Every check in order."""
        return tuple(check for _, checks in self.subjects for check in checks)

    @property
    def missed(self) -> tuple[Check, ...]:
        """The checks that do not hold."""
        return tuple(check for check in self.checks if not check.passed)


def all_subjects() -> tuple[Subject, ...]:
    """Return every subject, quick ones first."""
    rooms = (
        road_power,
        vehicle,
        air,
        geodesy,
        motor,
        heat,
        brakes,
        belt_wire,
        strength,
        ageing,
        weather,
        cycles,
        trade,
        cell,
        rides,
    )
    return tuple(room.SUBJECT for room in rooms)


def run_checks(names: Iterable[str] = (), done: Callable[[int], None] | None = None) -> Evidence:
    """Run the subjects named (all, if none is) and return their checks. Raises RideError for an unknown name."""
    subjects = all_subjects()
    wanted = tuple(names)
    known = {subject.name for subject in subjects}
    for name in wanted:
        if name not in known:
            raise RideError("subject", f"there is none called {name!r}", f"choose of {', '.join(sorted(known))}")
    found, missing = [], []
    for subject in subjects:
        if not wanted or subject.name in wanted:
            checks, words = subject.run()
            found.append((subject.title, tuple(checks)))
            missing += words
        if done is not None:
            done(1)
    return Evidence(tuple(found), tuple(missing))
