"""A dossier as one linked document to print, and its contents for a terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ridesim.harmless import harmless
from ridesim.report.dossier.chapters import Chapter
from ridesim.report.page import VERDICT_CLASSES, parts_of, shelf, tail_of
from ridesim.report.view import View

if TYPE_CHECKING:
    from ridesim.bike.load import LoadedBuild
    from ridesim.road.profile import Road


ORDER = ("stop", "look again", "fine")


def title_of(loaded: LoadedBuild, road: Road) -> str:
    """Return the dossier's title."""
    return f"{loaded.build.name}: the whole bike on {road.name}"


def dossier_text(
    title: str, found: Sequence[Chapter], loaded: LoadedBuild, command: str, inputs: Mapping[str, Any],
    units: str = "metric",
) -> str:  # fmt: skip
    """Return the dossier as one HTML page: contents with each chapter's verdict, the chapters, cautions, numbers."""
    parts = [{"id": each.id, "name": each.name, **parts_of(each.view, f"{each.id}-picture")} for each in found]
    tail = tail_of((loaded,), command, inputs, units)
    text = shelf().get_template("dossier.html.j2").render(title=title, chapters=parts, classes=VERDICT_CLASSES, **tail)
    return harmless(text)


def contents_view(title: str, found: Sequence[Chapter]) -> View:
    """Return the contents as an answer: the gravest verdict, and each chapter with its verdict and first words."""
    words = next((word for word in ORDER if any(each.view.verdict == word for each in found)), None)
    named = ", ".join(each.name.lower() for each in found if each.view.verdict == words)
    first = "Every chapter is fine." if words in (None, "fine") else f"By these chapters: {named}."
    return View(title, "Everything that the road asks of the bike.", (first, *map(_short, found)), words)


def _short(each: Chapter) -> str:
    verdict = f"{each.view.verdict}; " if each.view.verdict else ""
    return f"{each.name}: {verdict}{each.view.answer[0] if each.view.answer else ''}"
