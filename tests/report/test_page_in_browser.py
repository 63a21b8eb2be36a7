"""Pages in a real browser: silent, offline, legible on a telephone."""

from __future__ import annotations

import dataclasses
import os
from pathlib import Path
from typing import Any

import pytest

from ridesim.report.page import write_page, write_ride_page
from ridesim.report.road.view import view as road_view
from ridesim.report.view import Table, View
from ridesim.ride.range import outlook_of
from ridesim.ride.simulate import Ride
from ridesim.road.account import road_account

pytestmark = pytest.mark.browser

TELEPHONE, DESK = {"width": 390, "height": 844}, {"width": 1200, "height": 900}

TEXT_SIZES = """() => {
  const found = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const words = walk.currentNode.textContent.trim(), holder = walk.currentNode.parentElement;
    if (!words || ['STYLE', 'SCRIPT'].includes(holder.tagName.toUpperCase())) continue;
    if (holder.getClientRects().length === 0) continue;
    const drawing = holder.closest('svg');
    const scale = drawing ? drawing.getBoundingClientRect().width / drawing.viewBox.baseVal.width : 1;
    found.push([words, parseFloat(getComputedStyle(holder).fontSize) * scale]);
  }
  return found;
}"""


@pytest.fixture(scope="module")
def pages(hot_ride: Ride, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """One page a kind: a ride, a road, and a study with a wide table of hostile words."""
    folder = tmp_path_factory.mktemp("pages")
    made = {name: folder / f"{name}.html" for name in ("ride", "road", "wide")}
    write_ride_page(
        hot_ride, outlook_of(hot_ride), made["ride"], {"command": "ridesim ride b.toml r.gpx", "inputs": {}}
    )
    write_page(made["road"], road_view(hot_ride.road, road_account(hot_ride.road)), (), "ridesim road r.gpx")
    long = "word-without-end" * 8
    head = tuple(f"column {number}" for number in range(12))
    reasons = Table("Reasons", ("what and why",), (("The winding is hot for long, " * 9,),))
    keys = Table("Keys", ("key", "value", "share"), (("motor.winding_to_body_w_per_k", "0.123 W/K", "1 %"),))
    table = Table("Wide", head, tuple(tuple(f"{row * 1000.5:.1f} km/h" for _ in head) for row in range(4)))
    view = View(
        long, long, (long,), "stop", (table, Table("Long", ("", ""), ((long, long),)), reasons, keys), (), (long,)
    )
    write_page(made["wide"], view, (hot_ride.loaded,), f"ridesim compare {long}")
    return made


@pytest.mark.parametrize("kind", ["ride", "road", "wide"])
@pytest.mark.parametrize("screen", [TELEPHONE, DESK], ids=["telephone", "desk"])
def test_page_is_silent_offline_and_fits(chromium: Any, pages: dict[str, Path], kind: str, screen: Any) -> None:
    page = chromium.new_page(viewport=screen)
    told: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: told.append(message.text))
    page.on("pageerror", lambda error: told.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(pages[kind].as_uri())
    assert told == []
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= screen["width"]
    folder = os.environ.get("RIDESIM_SCREENSHOTS")
    if folder:
        page.screenshot(path=Path(folder) / f"{kind}-{screen['width']}.png", full_page=True)
    page.close()


@pytest.mark.parametrize("kind", ["ride", "road", "wide"])
def test_text_is_legible_on_a_telephone(chromium: Any, pages: dict[str, Path], kind: str) -> None:
    page = chromium.new_page(viewport=TELEPHONE)
    page.goto(pages[kind].as_uri())
    sizes = page.evaluate(TEXT_SIZES)
    assert len(sizes) > 20
    assert [(words, size) for words, size in sizes if size < 12.0] == []
    page.close()


def test_pictures_are_there_and_fill_the_telephone(chromium: Any, pages: dict[str, Path]) -> None:
    page = chromium.new_page(viewport=TELEPHONE)
    page.goto(pages["ride"].as_uri())
    widths = page.evaluate("[...document.querySelectorAll('figure svg')].map(s => s.getBoundingClientRect().width)")
    assert len(widths) == 6 and min(widths) > 340.0
    assert page.locator("figure svg text", has_text="winding, class F 155 °C").count() == 1
    assert page.title() == "longtail, two-stage belt on Sheds to the top terrace"
    page.close()


OVER_THE_EDGE = """() => [...document.querySelectorAll('.pairs th, .pairs td')]
  .filter(cell => cell.getClientRects().length && cell.getBoundingClientRect().right > innerWidth)
  .map(cell => cell.textContent)"""
OVER_THE_NEXT = """() => [...document.querySelectorAll('.scroll tbody th')]
  .filter(cell => cell.scrollWidth > cell.clientWidth + 1).map(cell => cell.textContent)"""


@pytest.mark.parametrize("kind", ["ride", "road", "wide"])
def test_pairs_and_reasons_fit_a_telephone(chromium: Any, pages: dict[str, Path], kind: str) -> None:
    """No figure of a list of pairs, and no reason of a list, has to be looked for past the edge."""
    page = chromium.new_page(viewport=TELEPHONE)
    page.goto(pages[kind].as_uri())
    assert page.locator(".pairs").count() > 0
    assert page.evaluate(OVER_THE_EDGE) == []
    assert page.evaluate(OVER_THE_NEXT) == []
    page.close()


def test_a_wide_table_scrolls_inside_itself(chromium: Any, pages: dict[str, Path]) -> None:
    page = chromium.new_page(viewport=TELEPHONE)
    page.goto(pages["wide"].as_uri())
    inside, shown = page.evaluate(
        "(() => { const s = document.querySelector('.scroll'); return [s.scrollWidth, s.clientWidth]; })()"
    )
    assert inside > shown > 300
    page.close()


@pytest.mark.parametrize(("width", "beside"), [(390, False), (1600, True)])
def test_one_picture_has_its_tables_beside_it_on_a_wide_screen(
    chromium: Any, hot_ride: Ride, tmp_path: Path, width: int, beside: bool
) -> None:
    seen = road_view(hot_ride.road, road_account(hot_ride.road))
    assert seen.figures and seen.tables
    write_page(tmp_path / "one.html", dataclasses.replace(seen, figures=seen.figures[:1]), (), "ridesim road r.gpx")
    page = chromium.new_page(viewport={"width": width, "height": 900})
    page.goto((tmp_path / "one.html").as_uri())
    picture, table = (page.locator(part).first.bounding_box() for part in ("figure", ".tables table"))
    assert (table["x"] > picture["x"] + picture["width"]) == beside
    assert (table["y"] > picture["y"] + picture["height"]) != beside
    page.close()
