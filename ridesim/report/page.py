"""One page to keep: a self-contained HTML file that needs no network, fits a telephone and prints."""

from __future__ import annotations

import itertools
import zlib
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ridesim.harmless import harmless
from ridesim.report.cautions import CAUTIONS, LEFT_OUT
from ridesim.report.numbers import counts, numbers_of
from ridesim.report.style import svg_text
from ridesim.report.view import View
from ridesim.units import told

if TYPE_CHECKING:
    from jinja2 import Environment

    from ridesim.bike.load import LoadedBuild
    from ridesim.ride.range import Outlook
    from ridesim.ride.simulate import Ride
    from ridesim.sure.spread import Spread

TEMPLATES = Path(__file__).parent / "templates"
COMPUTED_WITH = ("numpy", "numba", "scipy")
VERDICT_CLASSES = {"fine": "fine", "look again": "look", "stop": "stop"}


def write_page(
    path: Path,
    view: View,
    loaded_builds: Sequence[LoadedBuild],
    command: str,
    inputs: Mapping[str, Any] | None = None,
    units: str = "metric",
) -> None:
    """Write an answer as one HTML page; `inputs` are the paths and hashes of a JSON answer's head."""
    path.write_text(harmless(page_text(view, loaded_builds, command, inputs, units)), encoding="utf-8")


def write_ride_page(
    ride: Ride, outlook: Outlook, path: Path, payload: Mapping[str, Any], units: str = "metric",
    told: Spread | None = None,
) -> None:  # fmt: skip
    """Write the answer to a ride as one HTML page; `payload` is its JSON answer."""
    from ridesim.report.ride.view import view

    shown = view(ride, outlook, units, told=told)
    write_page(path, shown, (ride.loaded,), payload["command"], payload["inputs"], units)


def page_text(
    view: View,
    loaded_builds: Sequence[LoadedBuild],
    command: str,
    inputs: Mapping[str, Any] | None = None,
    units: str = "metric",
) -> str:
    """Return the page of an answer as HTML. Everything that comes from a file is escaped."""
    tail = tail_of(loaded_builds, command, inputs or {}, units)
    return shelf().get_template("page.html.j2").render(**parts_of(view, "picture"), **tail)


def tail_of(
    loaded_builds: Sequence[LoadedBuild], command: str, inputs: Mapping[str, Any], units: str = "metric"
) -> dict[str, Any]:
    """Return what stands at the end of a page: cautions, the builds' numbers, and where it came from."""
    from ridesim import __version__

    return {
        "builds": [_build_part(loaded) for loaded in loaded_builds],
        "cautions": [told(words, units) for words in CAUTIONS],
        "left_out": LEFT_OUT,
        "version": __version__,
        "versions": versions(),
        "command": command,
        "files": provenance(loaded_builds, inputs),
    }


def fragment_text(view: View) -> str:
    """Return an answer alone as HTML, for a notebook or another page; its style reaches no further than itself."""
    name = f"r{zlib.crc32(view.title.encode()):08x}p"
    return harmless(shelf().get_template("fragment.html.j2").render(**parts_of(view, name)))


@cache
def shelf() -> Environment:
    """Return the shelf of page templates; every value is escaped."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip


def parts_of(view: View, name: str) -> dict[str, Any]:
    """Return what `answer.html.j2` reads; ids inside the pictures begin with `name`."""
    from ridesim.report.explain import hints

    return {
        "view": view,
        "verdict_class": VERDICT_CLASSES.get(view.verdict or "", ""),
        "pictures": [
            (caption, svg_text(figure, f"{name}{number}")) for number, (caption, figure) in enumerate(view.figures, 1)
        ],
        "hints": hints(),
    }


def versions() -> str:
    """Return what the figures were computed with, in words."""
    from importlib.metadata import version
    from platform import python_version

    return f"Python {python_version()}, " + ", ".join(f"{name} {version(name)}" for name in COMPUTED_WITH)


def _build_part(loaded: LoadedBuild) -> dict[str, Any]:
    rows = numbers_of(loaded)
    sections = [(name or "bike", list(group)) for name, group in itertools.groupby(rows, key=lambda row: row.section)]
    return {"name": loaded.build.name, "sections": sections, "counts": counts(rows)}


def provenance(loaded_builds: Iterable[LoadedBuild], inputs: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return (path, SHA-256) of every file that went into an answer, each once."""
    found = {loaded.path: loaded.sha256 for loaded in loaded_builds}
    for entry in _entries(inputs):
        if entry.get("path") and entry.get("sha256"):
            found.setdefault(str(entry["path"]), str(entry["sha256"]))
    return list(found.items())


def _entries(inputs: Mapping[str, Any]) -> Iterable[Mapping[str, Any]]:
    for value in inputs.values():
        many = value if isinstance(value, (list, tuple)) else (value,)
        yield from (item for item in many if isinstance(item, Mapping))
