"""`ridesim search`: which bike for my road?"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ridesim.cli import options
from ridesim.cli.answer import inputs_of, reply, text_writer
from ridesim.cli.output import command, progress, say, say_if_compiling
from ridesim.cli.writing import over_anything, whole_file
from ridesim.errors import Interrupted, RideError

if TYPE_CHECKING:
    from ridesim.search.executors import Executor
    from ridesim.search.found import Found
    from ridesim.search.judged import Study

EXAMPLE = (
    "Example: ridesim search --new my-goals.toml, read it aloud and change it, then: "
    "ridesim search my-goals.toml --out found --report found.html"
)
_PANEL = "Search"
WAYS = ("auto", "all", "evolve")
YOURS = ("my-bike.toml", "my-road.gpx")
"""What the starter names where the demo is not at hand."""
DEMO = ("configs/longtail-belt.toml", "routes/ridge-climb.gpx")


@command("search", EXAMPLE)
def which_bike(
    goals: Annotated[Path | None, typer.Argument(metavar="GOALS", help="Goals file (TOML).")] = None,
    new: Annotated[
        Path | None, typer.Option("--new", metavar="FILE", help="Write commented goals for the demo scenario.")
    ] = None,
    names: Annotated[bool, typer.Option("--names", help="List the quantities that goals can name.")] = False,
    keys: Annotated[bool, typer.Option("--keys", help="Print the table of all keys of a goals file.")] = False,
    way: Annotated[str, options.choice("--way", "|".join(WAYS), "Ride all, or look through a part.", _PANEL)] = "auto",
    rides: Annotated[int, options.choice("--rides", "N", "Most draft rides of --way evolve.", _PANEL)] = 20_000,
    most: Annotated[int, options.choice("--most", "N", "Builds shown, at most.", _PANEL, min=1, max=100)] = 8,
    samples: Annotated[
        int,
        options.choice("--samples", "N", "Bikes drawn of each build shown.", _PANEL, min=16),
    ] = 64,
    seed: Annotated[int, options.choice("--seed", "N", "Same seed, same answer.", _PANEL, min=0)] = 1,
    yes: Annotated[bool, options.flag("--yes", "Also where it takes more than two minutes.", _PANEL)] = False,
    cluster: Annotated[
        str | None, options.choice("--cluster", "ADDRESS", "Ride on the workers of a scheduler.", _PANEL)
    ] = None,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Ride every combination that GOALS allow over the roads: the front of what matters, its knee, and the reasons."""
    if new is not None or names or keys:
        _written(new, names)
        return
    if goals is None:
        raise RideError("ridesim search", "no goals are named", "name a goals file, or write one: --new my-goals.toml")
    if way not in WAYS:
        raise RideError("--way", f"there is no way {way!r}", f"choose one of {', '.join(WAYS)}")
    from ridesim.search.goals import read_goals
    from ridesim.search.how import How, study_of

    asked = read_goals(goals, options.overrides(set_))
    study = study_of(asked)
    folder = None if wanted.out is None else wanted.out / f"rides-{_digest(study)[:12]}"
    say_if_compiling()
    from ridesim.search.executors import Kept
    from ridesim.search.search import search

    with _executor(cluster) as executor:
        how = How(seed, way, yes, most, samples, rides, executor, Kept(folder), _tell)  # type: ignore[arg-type]
        try:
            found = search(asked, how)
        except KeyboardInterrupt:
            raise Interrupted(_kept_words(folder)) from None
    if how.kept.known:
        say(f"{how.kept.known:,} rides were known from {folder}")
    _answer(found, goals, wanted)


def _written(new: Path | None, names: bool) -> None:
    """Write or print what tells of goals files."""
    from ridesim.search import starter

    if new is None:
        print(starter.names_text() if names else starter.key_reference_markdown())
        return
    if new.exists() and not over_anything.get():
        raise RideError(str(new), "is there already", "choose another name, or add --force")
    there = all(Path(each).is_file() for each in DEMO)
    build, road = (os.path.relpath(each, new.parent) for each in DEMO) if there else YOURS
    with whole_file(new, page=False) as place:
        place.write_text(starter.starter_text(build, road), encoding="utf-8")
    say(f"wrote {new}: read it aloud, change it, then: ridesim search {new}")


@contextmanager
def _executor(address: str | None) -> Iterator[Executor]:
    from ridesim.search.executors import Cluster, Threads

    if address is None:
        yield Threads()
        return
    with Cluster(address) as cluster:
        yield cluster


def _tell(words: str, total: int | None) -> AbstractContextManager[Callable[[int], None]]:
    return progress(words, total, "rides")


def _kept_words(folder: Path | None) -> str:
    if folder is None:
        return "some rides, which are lost: with --out DIR finished rides are kept, and the same command goes on"
    kept = len(list(folder.glob("*"))) if folder.is_dir() else 0
    return f"{kept} chunks of rides, kept in {folder}: the same command goes on from there"


def _digest(study: Study) -> str:
    """Return what must be the same for kept rides to be used: bikes, roads, figures, version."""
    from ridesim.cli.ride import file_hash
    from ridesim.search.executors import ours

    asked = study.asked
    roads = [(file_hash(str(asked.beside(each.file))), each.flat) for each in asked.goals.road]
    every = (study.space.digest, roads, study.problem.columns, ours())
    return hashlib.sha256(repr(every).encode()).hexdigest()


def _answer(found: Found, goals: Path, wanted: options.Wanted) -> None:
    from ridesim.report.search.plain import letters_of
    from ridesim.search.written import member_files

    letters = letters_of(found)
    tables = {}
    if wanted.out is not None:
        files = member_files(found, wanted.out, letters)
        tables = {name: text_writer(text) for name, text in files.items()}
    asked = found.study.asked
    inputs = inputs_of([found.study.space.base], [(str(asked.beside(each.file)), road.name) for each, road in
                                                  zip(asked.goals.road, found.study.roads, strict=True)])  # fmt: skip
    bikes = [member.look.loaded for member in found.members if member.look.loaded is not None]
    leans = [bikes[found.knee]] if bikes else [found.study.space.base]
    table = "front.csv" if found.members else None
    reply(wanted, "search", {"goals": str(goals), **inputs}, found, leans, table=table, tables=tables)
