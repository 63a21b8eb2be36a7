"""The numbers a result stands on: each key of a build, its value, and who said so."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ridesim.bike.files import flatten
from ridesim.bike.load import NOT_RIDDEN, OVERRIDE
from ridesim.ride.summary import estimated_values
from ridesim.units import symbol_of

if TYPE_CHECKING:
    from ridesim.bike.load import LoadedBuild

YOURS, PART, DEFAULT, ESTIMATE = "yours", "part", "default", "estimate"
MOST_LISTED = 6
"""Entries of a list that are written out."""


@dataclass(frozen=True)
class Number:
    """One key: its place in the build file, value with unit as text, whose it is, and where that was said."""

    section: str
    name: str
    value: str
    whose: str
    source: str


def numbers_of(loaded: LoadedBuild) -> list[Number]:
    """Return every key of a build, section by section: the given ones, then defaults and estimates."""
    rows = [*_given(loaded), *_left_open(loaded)]
    order = {section: at for at, section in enumerate(dict.fromkeys(name for name, _ in _sections(loaded)))}
    return sorted(rows, key=lambda row: order.get(row.section, len(order)))


def counts(rows: list[Number]) -> dict[str, int]:
    """Return how many keys are whose."""
    return {whose: sum(row.whose == whose for row in rows) for whose in (YOURS, PART, DEFAULT, ESTIMATE)}


def leans_on(loaded: LoadedBuild) -> dict[str, int]:
    """Return how many keys of a build nobody gave: defaults, and estimates made from other keys."""
    guessed = estimated_values(loaded.build)
    estimates = sum(used.key in guessed for used in loaded.defaults_used)
    return {"defaults": len(loaded.defaults_used) - estimates, "estimates": estimates}


def leans_words(loaded: LoadedBuild) -> str:
    """Return the line by which an answer says how much of a build is default or estimate."""
    found = leans_on(loaded)
    return (
        f"{loaded.build.name} leans on {found['defaults']} defaults and {found['estimates']} estimates; "
        f"`ridesim ride ... --defaults` lists them."
    )


def _sections(loaded: LoadedBuild) -> Iterator[tuple[str, Any]]:
    for key, value in flatten(loaded.build.model_dump()):
        yield key.rpartition(".")[0], value


def _given(loaded: LoadedBuild) -> Iterator[Number]:
    for key, value in flatten(loaded.build.model_dump()):
        said = loaded.sources.get(key)
        if said is None or key.rpartition(".")[2] in NOT_RIDDEN:
            continue
        section, _, name = key.rpartition(".")
        whose = PART if Path(said).parent.name == "parts" else YOURS
        yield Number(section, name, value_text(key, value), whose, "command line" if said == OVERRIDE else said)


def _left_open(loaded: LoadedBuild) -> Iterator[Number]:
    estimated = estimated_values(loaded.build)
    for used in loaded.defaults_used:
        section, _, name = used.key.rpartition(".")
        if used.key in estimated:
            yield Number(section, name, value_text(used.key, estimated[used.key]), ESTIMATE, used.help)
        else:
            yield Number(section, name, value_text(used.key, used.value), DEFAULT, used.help)


def value_text(key: str, value: Any) -> str:
    """Return a value with its unit as text; what is off or empty reads so."""
    if value is None or value == ():
        return "not set"
    if isinstance(value, (list, tuple)):
        shown = ", ".join(f"{item:.4g}" if isinstance(item, float) else str(item) for item in value[:MOST_LISTED])
        more = f", … ({len(value)} values)" if len(value) > MOST_LISTED else ""
        return f"{shown}{more} {symbol_of(key)}".strip()
    if isinstance(value, float):
        return f"{value:.6g} {symbol_of(key)}".strip()
    return f"{value} {symbol_of(key)}".strip()
