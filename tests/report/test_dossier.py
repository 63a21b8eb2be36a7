"""The dossier: one linked document, each chapter the answer of its command."""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace

import pytest

from ridesim.bike.load import LoadedBuild, load_build
from ridesim.report.dossier.chapters import CHAPTERS, Chapter, chapters
from ridesim.report.dossier.page import contents_view, dossier_text
from ridesim.report.view import View, view_text
from ridesim.ride.judge import Finding
from ridesim.road.made import make_climb
from ridesim.studies.climb import climb


@pytest.fixture(scope="module")
def loaded(root: Path) -> LoadedBuild:
    return load_build(root / "configs/longtail-two-stage.toml")


@pytest.fixture(scope="module")
def found(loaded: LoadedBuild) -> tuple[Chapter, ...]:
    return chapters(loaded, make_climb(1500.0, 8.0))


def test_every_chapter_stands_in_the_linked_contents(found: tuple[Chapter, ...], loaded: LoadedBuild) -> None:
    text = dossier_text("All of it", found, loaded, "ridesim dossier b r", {})
    ids = re.findall(r'\bid="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    links = re.findall(r'href="#([^"]+)"', text)
    assert {name for name, _, _ in CHAPTERS} | {"tail", "contents"} <= set(links) and set(links) <= set(ids)
    places = [text.index(f'<section class="chapter" id="{name}"') for name, _, _ in CHAPTERS]
    assert places == sorted(places)
    for words in ("Before you ride or build", "Your numbers", "What this model leaves out", "ridesim dossier b r"):
        assert words in text
    assert not re.findall(r'\b(?:src|href)="(?!#|data:)', text) and "<script" not in text


def test_chapters_say_what_their_commands_say(found: tuple[Chapter, ...], loaded: LoadedBuild) -> None:
    by_name = {each.id: each.view for each in found}
    hottest = climb(loaded, make_climb(1500.0, 8.0)).peak_winding_temp_c
    figures = dict(row[:2] for row in by_name["ride"].tables[0].rows)
    assert figures["hottest winding"].startswith(f"{hottest:.0f} °C")
    assert by_name["leads"].title == "Wires, fuse, plug and pre-charge"
    pack = dict(by_name["pack"].tables[0].rows)
    cells = loaded.build.pack
    assert pack["cells"].startswith(f"{cells.series} in series x {cells.parallel} in parallel")
    assert {"fine", "look again", "stop"} >= {view.verdict for view in by_name.values() if view.verdict}


@pytest.mark.parametrize("name", ["overcharge", "cell_lasting", "charge_hard", "cold_charging", "reserve"])
@pytest.mark.parametrize("word", ["look again", "stop"])
def test_the_pack_s_chapter_is_no_better_than_its_gravest_cell(loaded: LoadedBuild, name: str, word: str) -> None:
    """What the check sheet says of cells and charge, and of nothing else."""
    held = [Finding("winding", "stop", 200.0, 155.0, "c", "the motor burns"), Finding(name, word, 2.0, 1.0, "a", "why")]
    shown = {each[0]: each[2] for each in CHAPTERS}["pack"](
        SimpleNamespace(loaded=loaded, units="metric", sheet=SimpleNamespace(findings=held))
    )
    assert (shown.verdict, shown.answer[0]) == (word, "why.")
    assert [row[1] for row in shown.tables[1].rows] == [word] and "the motor burns" not in view_text(shown)


def test_a_bike_without_belts_has_a_chapter_that_says_so(root: Path) -> None:
    found = chapters(load_build(root / "configs/longtail-hub.toml"), make_climb(400.0, 3.0))
    belts = next(each.view for each in found if each.id == "belts")
    assert belts.answer[0].startswith("Nothing to say here: ") and belts.verdict is None


def test_contents_tell_the_gravest_first() -> None:
    made = [
        Chapter(word, word.upper(), View("t", "q", (f"it is {word}",), word)) for word in ("fine", "stop", "look again")
    ]
    text = view_text(contents_view("All", made))
    assert "STOP: By these chapters: stop." in text and "LOOK AGAIN: look again; it is look again" in text
    assert "Every chapter is fine." in view_text(contents_view("All", made[:1]))
