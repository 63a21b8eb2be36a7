"""A page to keep: whole, safe, the same each time, in the order a reader asks."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from ridesim import __version__
from ridesim.bike.load import build_from_dict, load_build
from ridesim.report.page import page_text, write_ride_page
from ridesim.report.ride.view import view
from ridesim.report.style import new_figure
from ridesim.report.view import Table, View
from ridesim.ride.range import outlook_of
from ridesim.ride.simulate import Ride, simulate

NASTY = "<script>alert(1)</script>"
PAYLOAD = {
    "command": "ridesim ride b.toml road.gpx --report x.html",
    "inputs": {"build": {"path": "b.toml", "sha256": "a" * 64}, "road": {"path": "road.gpx", "sha256": "c" * 64}},
}


class Tags(HTMLParser):
    """Collects the names of tags, and complains about those that never close."""

    VOID = frozenset({"meta", "link", "br", "hr", "img"})

    def __init__(self) -> None:
        super().__init__()
        self.seen: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.seen.append(tag)
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: object) -> None:
        self.seen.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def tags_of(text: str) -> list[str]:
    parser = Tags()
    parser.feed(text)
    parser.close()
    assert not parser.open
    return parser.seen


@pytest.fixture(scope="module")
def ride_page(hot_ride: Ride, tmp_path_factory: pytest.TempPathFactory) -> str:
    place = tmp_path_factory.mktemp("page") / "ride.html"
    write_ride_page(hot_ride, outlook_of(hot_ride), place, PAYLOAD)
    return place.read_text(encoding="utf-8")


def test_the_page_answers_in_the_order_a_rider_asks(ride_page: str, hot_ride: Ride) -> None:
    order = [
        'class="verdict"', hot_ride.summary["verdict"]["reasons"][0].split(".")[0], "Altitude, and speed",
        "The way seen from above", "Motor and pack current", "Temperatures along", "Charge left, and",
        "Where the energy", "The ride in figures", "Before you ride or build", "Your numbers",
        "What this model leaves out", "Where this came from", "ridesim ride b.toml road.gpx --report x.html",
        hot_ride.loaded.sha256, "c" * 64,
    ]  # fmt: skip
    places = [ride_page.index(words) for words in order]
    assert places == sorted(places)


def test_the_page_stands_alone(ride_page: str) -> None:
    tags = tags_of(ride_page)
    assert tags.count("svg") == 6 and tags.count("h1") == 1
    assert not {"script", "img", "iframe", "object", "embed"} & set(tags)
    addresses = set(re.findall(r"""(?:https?:)?//[^\s"'<)]+""", ride_page))
    assert addresses <= {"http://www.w3.org/1999/xlink", "http://www.w3.org/2000/svg"}
    assert "default-src 'none'" in ride_page and "@import" not in ride_page
    assert not re.findall(r'\b(?:src|href)="(?!#|data:,)', ride_page)


def test_ids_are_unique(ride_page: str) -> None:
    ids = re.findall(r'\bid="([^"]+)"', ride_page)
    assert len(ids) == len(set(ids))


def test_the_page_is_the_same_each_time(hot_ride: Ride, ride_page: str, tmp_path: Path) -> None:
    write_ride_page(hot_ride, outlook_of(hot_ride), tmp_path / "again.html", PAYLOAD)
    assert (tmp_path / "again.html").read_text(encoding="utf-8") == ride_page
    assert f"ridesim {__version__} (Python 3." in ride_page and "numba" in ride_page
    assert not re.search(r"\b20\d\d-\d\d-\d\d\b", ride_page)


def test_names_from_files_are_words_and_never_markup(hot_ride: Ride) -> None:
    data = {**hot_ride.loaded.data, "name": NASTY}
    loaded = build_from_dict(data, where=f"{NASTY}.toml")
    ride = simulate(loaded, hot_ride.road)
    text = page_text(
        view(ride, outlook_of(ride), pictures=False),
        (loaded, loaded),
        f"ridesim ride '{NASTY}.toml'",
        {"road": {"path": NASTY, "sha256": NASTY}},
    )
    assert "script" not in tags_of(text)
    assert text.count("&lt;script&gt;") >= 4 and NASTY not in text


def test_a_view_of_another_question_is_escaped_everywhere() -> None:
    figure, (axes,) = new_figure()
    axes.set_title(NASTY)
    axes.plot([0, 1], [0, 1])
    table = Table(NASTY, (NASTY, "b", "c"), ((NASTY, NASTY, "1"),))
    text = page_text(View(NASTY, NASTY, (NASTY,), NASTY, (table,), ((NASTY, figure),), (NASTY,)), (), NASTY)
    assert "script" not in tags_of(text) and NASTY not in text
    assert "What this model leaves out" not in text  # no build, no ride


def test_pages_name_each_build(root: Path) -> None:
    builds = [load_build(root / "configs" / name) for name in ("longtail-belt.toml", "longtail-hub.toml")]
    text = page_text(View("t", "q", ("a",)), builds, "ridesim compare")
    assert "Your numbers: longtail, direct hub motor" in text
    assert all(loaded.sha256 in text for loaded in builds)


def test_units_reach_the_page(hot_ride: Ride) -> None:
    text = page_text(view(hot_ride, outlook_of(hot_ride), "imperial", pictures=False), (hot_ride.loaded,), "ridesim")
    assert "Wh/mi" in text and "Ridden at up to 16 mph" in text and "Wh/km" not in text


@pytest.mark.parametrize(("word", "mark"), [("fine", "fine"), ("look again", "look"), ("stop", "stop"), (None, "")])
def test_each_verdict_has_its_own_colour_and_its_word(word: str | None, mark: str) -> None:
    """The band beside the answer is that of its verdict: a stop must never stand beside the colour of fine."""
    page = page_text(View("title", "question", ("answer",), word), (), "ridesim check b.toml")
    assert f'<section class="answer {mark}" aria-label="Answer">' in page
    assert (f'<p class="verdict">{word}</p>' in page) == (word is not None)
