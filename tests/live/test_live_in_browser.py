"""The live page in a real browser: every hand, by keyboard and by mouse; nothing leaves the machine."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote

import pytest

from .conftest import BUILD, RAMP, ROAD, Server

pytestmark = pytest.mark.browser

WIDE, TELEPHONE = {"width": 1600, "height": 1000}, {"width": 390, "height": 844}
HANDS = (
    "drive.stage.0.driver_teeth", "drive.stage.0.driven_teeth", "controller.motor_current_limit_a",
    "controller.pack_current_limit_a", "controller.brake_current_limit_a", "rider.cruise_speed_km_h",
    "bicycle.cargo_kg", "pack.start_charge_fraction", "pack.parallel", "weather.wind_speed_km_h",
    "weather.wind_from_deg", "weather.temperature_c",
)  # fmt: skip
HANDS_HELD = (HANDS[::4], pytest.param(HANDS, marks=pytest.mark.slow))


PATIENCE_MS = 120_000
"""For a machine that is busy, and compiles the model first."""
DRAWN = """() => {
  dispatchEvent(new Event('pagehide'));  // the address is written at once, not when the hands rest
  if (!location.hash) return false;
  const now = JSON.parse(decodeURIComponent(location.hash.slice(1)));
  return document.documentElement.dataset.drawn === JSON.stringify([now.build, now.road, now.changes]);
}"""


class Look:
    """A page, with what it said and asked for."""

    def __init__(self, page: Any, server: Server) -> None:
        self.page, self.server = page, server
        page.set_default_timeout(PATIENCE_MS)
        self.said: list[str] = []
        self.asked: list[str] = []
        page.on(
            "console", lambda message: self.said.append(message.text) if message.type in ("error", "warning") else None
        )
        page.on("pageerror", lambda error: self.said.append(str(error)))
        page.on("request", lambda request: self.asked.append(request.url))

    def forget(self) -> None:
        """Leave the page, and what was said and asked on it."""
        self.page.goto("about:blank")
        self.said.clear()
        self.asked.clear()

    def open(self, hash_: str = "") -> None:
        self.page.goto(self.server.address + hash_)
        self.drawn()

    def drawn(self) -> None:
        """Wait until what is drawn is what is asked."""
        try:
            self.page.wait_for_function(DRAWN)
        except Exception:
            shown = self.page.evaluate("document.documentElement.dataset.drawn")
            pytest.fail(f"drawn {shown}, asked {self.state()}; {self.page.locator('#fault').inner_text()}")

    def state(self) -> dict[str, Any]:
        """What the address holds; a page that is left writes it at once."""
        hash_ = self.page.evaluate("dispatchEvent(new Event('pagehide')), location.hash")
        found: dict[str, Any] = json.loads(unquote(hash_.removeprefix("#")))
        return found

    def text(self, place: str) -> str:
        found: str = self.page.locator(place).inner_text()
        return found

    def figure(self, name: str, column: int = 1) -> str:
        return self.text(f"#figures tr[data-name={name}] > :nth-child({column + 1})")

    def shot(self, name: str) -> None:
        if folder := os.environ.get("RIDESIM_SCREENSHOTS"):
            self.page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


@pytest.fixture(scope="module")
def one_page(chromium: Any, server: Server) -> Iterator[Look]:
    """One page for all tests: a new one takes as long as to open the ride on it. All it knows stands in its address."""
    page = chromium.new_page(viewport=WIDE)
    yield Look(page, server)
    page.close()


@pytest.fixture(params=[WIDE], ids=["wide"])
def look(one_page: Look, request: pytest.FixtureRequest) -> Iterator[Look]:
    one_page.forget()
    one_page.page.set_viewport_size(request.param)
    yield one_page
    assert one_page.said == []
    known = (one_page.server.address, "data:", "blob:")
    assert [url for url in one_page.asked if not url.startswith(known)] == []


def hand(key: str, kind: str = "range") -> str:
    return f'#hands [data-key="{key}"] input[type={kind}]'


def test_the_page_shows_the_ride_and_how_sure_it_is(look: Look) -> None:
    look.open()
    look.page.locator("#sure", has_text="The verdict is of the bike as it stands").wait_for()  # its chances follow
    assert look.text("#title") == "longtail, single-stage belt on Round of the terraces"
    look.page.locator("#sure", has_text="8 of 10").wait_for()
    figures = look.server.ride()["figures"]
    assert look.figure("peak_winding_temp_c") == f"{figures['peak_winding_temp_c']:.0f} °C"
    assert re.fullmatch(r"\d+ °C to \d+ °C", look.figure("peak_winding_temp_c", 2))
    assert look.figure("range_km").endswith(" km")
    assert look.text("#verdict").upper().startswith("FINE")
    assert look.page.locator("#strips canvas").count() == 6
    look.shot("live-wide")


@pytest.mark.parametrize("hands", HANDS_HELD, ids=["some", "all"])
def test_each_hand_by_keyboard(look: Look, hands: tuple[str, ...]) -> None:
    look.open()
    for key in hands:
        before = float(look.page.locator(hand(key)).input_value())
        look.page.locator(hand(key)).focus()
        look.page.keyboard.press("ArrowLeft" if key == "pack.start_charge_fraction" else "ArrowRight")
        look.drawn()
        after = look.state()["changes"][key]
        assert after != before and float(look.page.locator(hand(key, "number")).input_value()) == after, key
        look.page.locator(hand(key, "number")).focus()
        look.page.keyboard.press("Control+A")
        look.page.keyboard.type(str(before).removesuffix(".0"))
        look.drawn()
        assert look.state()["changes"] == {}, f"{key}: back at the file's value there is no change"


@pytest.mark.parametrize("hands", HANDS_HELD, ids=["some", "all"])
def test_each_hand_by_mouse(look: Look, hands: tuple[str, ...]) -> None:
    look.open()
    for key in hands:
        slider = look.page.locator(hand(key))
        slider.scroll_into_view_if_needed()
        box = slider.bounding_box()
        share = 0.45 if key != "drive.stage.0.driven_teeth" else 0.7
        middle = box["y"] + box["height"] / 2
        look.page.mouse.move(box["x"] + 0.9 * box["width"] * share, middle)
        look.page.mouse.down()
        look.page.mouse.move(box["x"] + box["width"] * share, middle, steps=4)
        look.page.mouse.up()
        look.drawn()
        assert key in look.state()["changes"], key
        look.page.locator(f'#hands [data-key="{key}"] .back').click()
        look.drawn()
        assert look.state()["changes"] == {}, key


def test_parts_at_hand_and_any_other_key_by_search(look: Look) -> None:
    look.open()
    look.page.get_by_label("motor", exact=True).select_option("motor-63mm")
    look.drawn()
    assert look.state()["changes"] == {"motor": "motor-63mm"}
    search = look.page.get_by_role("combobox", name="any other key")
    search.focus()
    look.page.keyboard.type("rolling resistance")
    look.page.keyboard.press("ArrowDown")
    look.page.keyboard.press("Enter")
    assert look.page.evaluate("document.activeElement.id") == "key-tyre.rolling_resistance"
    assert "0.001 to 0.1" in look.text("#others")
    look.page.keyboard.press("Control+A")
    look.page.keyboard.type("0.02")
    look.drawn()
    assert look.state()["changes"] == {"motor": "motor-63mm", "tyre.rolling_resistance": 0.02}
    figures = look.server.ride(look.state()["changes"])["figures"]
    assert look.figure("net_energy_wh") == f"{figures['net_energy_wh']:.0f} Wh"


def test_a_hand_goes_back_to_its_default_and_to_the_file(look: Look) -> None:
    look.open()
    row = '#hands [data-key="bicycle.cargo_kg"]'
    look.page.locator(f"{row} .usual").click()
    look.drawn()
    assert look.state()["changes"] == {"bicycle.cargo_kg": None}
    assert look.page.locator(hand("bicycle.cargo_kg", "number")).input_value() == "0"
    figures = look.server.ride({"bicycle.cargo_kg": None})["figures"]
    assert look.figure("net_energy_wh") == f"{figures['net_energy_wh']:.0f} Wh"
    look.page.locator("#save").click()
    look.page.locator("#preview", has_text='back_to_default = ["bicycle.cargo_kg"]').wait_for()
    look.page.locator("#askno").click()
    look.page.get_by_role("button", name="load: as in the file").click()
    look.drawn()
    assert look.state()["changes"] == {}


def test_a_name_from_a_file_is_a_text_and_no_page(look: Look) -> None:
    nasty = '<img src=x onerror="document.title=1"><b id=bold>bike</b>'
    text = (look.server.folder / BUILD).read_text(encoding="utf-8")
    name = next(line for line in text.splitlines() if line.startswith("name = "))
    (look.server.folder / "named.toml").write_text(text.replace(name, f"name = '{nasty}'"), encoding="utf-8")
    pins = [{"label": nasty, "build": "named.toml", "changes": {}}]
    state = {"build": "named.toml", "road": ROAD, "changes": {"bicycle.cargo_kg": 41}, "pins": pins}
    look.open(f"#{quote(json.dumps(state))}")
    look.page.locator("#figures .pin", has_text="onerror").wait_for()
    assert nasty in look.text("#title")
    assert look.page.evaluate("document.querySelectorAll('img, #bold').length") == 0


def test_a_value_that_cannot_be_says_why_in_words(look: Look) -> None:
    look.open()
    number = look.page.locator(hand("bicycle.cargo_kg", "number"))
    number.fill("9999")
    look.page.locator("#fault:not([hidden])").wait_for()
    assert "cargo_kg" in look.text("#fault") and "0 to 300" in look.text("#fault")
    number.fill("20")
    look.drawn()
    assert look.page.locator("#fault").is_hidden()


def test_undo_redo_and_reload_lose_nothing(look: Look) -> None:
    look.open()
    for key, value in (("bicycle.cargo_kg", "60"), ("rider.cruise_speed_km_h", "22")):
        look.page.locator(hand(key, "number")).fill(value)
        look.drawn()
    wanted = "decodeURIComponent(location.hash).includes('\"rider.cruise_speed_km_h\":22')"
    look.page.wait_for_function(wanted, timeout=5000)  # of itself, when the hands rest
    look.page.locator("#undo").click()
    look.drawn()
    assert look.state()["changes"] == {"bicycle.cargo_kg": 60}
    look.page.locator(hand("bicycle.cargo_kg")).focus()
    look.page.keyboard.press("Control+z")
    look.drawn()
    assert look.state()["changes"] == {} and look.page.locator("#undo").is_disabled()
    look.page.keyboard.press("Control+Shift+z")
    look.page.keyboard.press("Control+y")
    look.drawn()
    assert look.state()["changes"] == {"bicycle.cargo_kg": 60, "rider.cruise_speed_km_h": 22}
    look.page.locator("#pin").click()
    before = look.state()
    look.page.reload()
    look.drawn()
    assert look.state() == before
    assert look.page.locator(hand("bicycle.cargo_kg", "number")).input_value() == "60"


def test_pins_stay_as_lines_and_columns_of_differences(look: Look) -> None:
    look.open()
    look.page.locator("#pin").click()
    look.page.locator(hand("bicycle.cargo_kg", "number")).fill("120")
    look.drawn()
    rides = [look.server.ride(changes)["figures"]["net_energy_wh"] for changes in ({}, {"bicycle.cargo_kg": 120})]
    assert look.figure("net_energy_wh", 3) == f"+{rides[1] - rides[0]:.0f} Wh"
    assert "worse" in (look.page.locator("#figures tr[data-name=net_energy_wh] td").nth(2).get_attribute("class") or "")
    for value in ("130", "140", "150"):
        look.page.locator(hand("bicycle.cargo_kg", "number")).fill(value)
        look.drawn()
        look.page.locator("#pin").click()
    assert len(look.state()["pins"]) == 4 and look.page.locator("#pin").is_disabled()
    look.shot("live-pins")
    look.page.get_by_role("button", name="Take off pin longtail-belt", exact=True).click()
    assert len(look.state()["pins"]) == 3
    look.page.locator("#road").select_option("ridge-climb.gpx")
    look.drawn()
    less = look.page.locator("#figures tr[data-name=net_energy_wh] > :nth-child(4)")
    less.filter(has_text=re.compile(r"[+−±]|same")).wait_for()  # pinned bikes are ridden on the new road


def test_save_and_page_ask_before_they_write_over(look: Look) -> None:
    (look.server.folder / "ramp.toml").write_text(RAMP, encoding="utf-8")
    look.open()
    look.page.locator("#road").select_option("ramp.toml")
    look.page.locator(hand("bicycle.cargo_kg", "number")).fill("33")
    look.drawn()
    look.page.locator("#save").click()
    look.page.locator("#preview", has_text="cargo_kg = 33").wait_for()
    look.page.locator("#name").fill("by-hand.toml")
    look.page.keyboard.press("Enter")
    look.page.locator("#asksays", has_text="is written").wait_for()
    assert "cargo_kg = 33" in (look.server.folder / "by-hand.toml").read_text(encoding="utf-8")
    look.page.locator("#askyes").click()
    look.page.locator("#asksays", has_text="is there already").wait_for()
    assert look.text("#askyes") == "Write over it"
    look.page.locator("#askno").click()
    look.page.locator("#page").click()
    look.page.locator("#name").fill("by-hand.html")
    look.page.locator("#askyes").click()
    look.page.locator("#asksays", has_text="is written").wait_for(timeout=60_000)
    assert "<svg" in (look.server.folder / "by-hand.html").read_text(encoding="utf-8")


DROP = """([name, size, text]) => {
  const data = new DataTransfer();
  data.items.add(new File([text ?? 'x'.repeat(size)], name));
  for (const kind of ['dragover', 'drop']) {
    document.body.dispatchEvent(new DragEvent(kind, { dataTransfer: data, bubbles: true, cancelable: true }));
  }
}"""


def test_a_dropped_gpx_is_ridden_and_its_report_shown(look: Look) -> None:
    look.open()
    text = (look.server.folder / "ridge-climb.gpx").read_text(encoding="utf-8")
    look.page.evaluate(DROP, ["my ridge.gpx", 0, text])
    look.page.locator("#answer .ridesim").wait_for(timeout=30_000)
    look.drawn()
    assert look.state()["road"].startswith("dropped/") and look.text("#title").endswith("Sheds to the top terrace")
    assert "The road in figures" in look.text("#answer")
    look.page.reload()
    look.drawn()
    assert look.text("#title").endswith("Sheds to the top terrace")


@pytest.mark.parametrize(
    ("name", "size", "words"),
    [
        ("notes.txt", 100, "neither .gpx nor .toml"),
        ("notes.gpx", 100, "notes.gpx"),
        ("long.gpx", 5_000_000, "long.gpx"),
    ],
)
def test_what_is_no_road_is_refused_in_words(look: Look, name: str, size: int, words: str) -> None:
    look.open()
    look.page.evaluate(DROP, [name, size, None])
    look.page.locator("#fault:not([hidden])", has_text=words).wait_for(timeout=60_000)
    assert look.text("#title").endswith("Round of the terraces")


def test_one_cursor_reads_all_and_says_which_limit_holds(look: Look) -> None:
    look.open()
    place = look.page.get_by_label("place along the road")
    place.focus()
    look.page.keyboard.press("Home")
    for _ in range(2):
        look.page.keyboard.press("ArrowRight")
    assert "held by\nthe motor current limit" in look.text("#reading")
    assert "motor current limit" in (place.get_attribute("aria-valuetext") or "")
    strip = look.page.locator(".strip .u-over").nth(2).bounding_box()
    look.page.mouse.move(strip["x"] + strip["width"] * 0.666, strip["y"] + 20)
    look.page.locator("#here", has_text=re.compile(r"At 13\.\d\d km")).wait_for()
    ends = [
        box["x"]
        for box in look.page.evaluate(
            "[...document.querySelectorAll('.strip .u-cursor-x')].map((line) => line.getBoundingClientRect().toJSON())"
        )
    ]
    assert max(ends) - min(ends) < 1.5, "the cursor stands at one place in all strips"
    way = look.page.locator("#way").bounding_box()
    look.page.mouse.move(way["x"] + way["width"] / 2, way["y"] + 30)
    look.page.locator("#here", has_not_text=re.compile(r"At 13\.")).wait_for()


def test_other_questions_are_answered_and_given_up_when_the_bike_changes(look: Look) -> None:
    look.open()
    look.page.get_by_role("button", name="check", exact=True).click()
    look.page.locator("#answer .ridesim").wait_for(timeout=60_000)
    assert "Check of" in look.text("#answer .title")
    look.page.get_by_role("button", name="climb map").click()
    look.page.locator("#progress", has_text="rides").wait_for()
    look.page.locator(hand("bicycle.cargo_kg", "number")).fill("77")
    look.drawn()
    look.page.locator("#progress", has_text="of the bike before").wait_for()
    assert "old" in (look.page.locator("#answer").get_attribute("class") or "")


def test_it_can_be_used_by_keyboard_alone(look: Look) -> None:
    look.open()
    seen = []
    for _ in range(60):
        look.page.keyboard.press("Tab")
        seen.append(look.page.evaluate("document.activeElement.id || document.activeElement.textContent.slice(0, 20)"))
        outline = look.page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        at_the_end = look.page.evaluate("document.activeElement === document.body")
        assert outline != "none" or at_the_end, seen[-1]
    for wanted in (
        "build",
        "road",
        "open",
        "pin",
        "save",
        "page",
        "part-motor",
        "hand-bicycle.cargo_kg",
        "search",
        "place",
    ):
        assert wanted in seen, wanted


@pytest.mark.parametrize("look", [WIDE, TELEPHONE], ids=["wide", "telephone"], indirect=True)
def test_accessible_by_axe(look: Look) -> None:
    """axe-core (MPL 2.0) checks names, roles and a contrast of 4.5 (WCAG 2.1 AA); its script is run by the browser."""
    look.open()
    look.page.locator("#pin").click()
    look.page.locator("#sure", has_text="8 of 10").wait_for()
    package = pytest.importorskip("axe_playwright_python", reason="the accessibility checker is not installed")
    script = Path(package.__file__).with_name("axe.min.js").read_text(encoding="utf-8")
    look.page.evaluate(script + "; 0")
    found = look.page.evaluate("axe.run({ runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'best-practice'] })")
    told = [(each["id"], [node["html"][:120] for node in each["nodes"]]) for each in found["violations"]]
    assert told == []
    assert len(found["passes"]) > 15


@pytest.mark.parametrize("look", [TELEPHONE], ids=["telephone"], indirect=True)
def test_it_fits_a_telephone(look: Look) -> None:
    look.open()
    look.page.locator("#sure", has_text="8 of 10").wait_for()
    assert look.page.evaluate("document.documentElement.scrollWidth") <= 390
    widths = look.page.evaluate("[...document.querySelectorAll('.strip')].map((strip) => strip.clientWidth)")
    assert min(widths) > 340
    look.shot("live-telephone")


def test_two_pages_at_once_do_not_mix(look: Look, chromium: Any) -> None:
    look.open()
    page = chromium.new_page(viewport=WIDE)
    other = Look(page, look.server)
    other.open()
    look.page.locator(hand("bicycle.cargo_kg", "number")).fill("10")
    other.page.locator(hand("bicycle.cargo_kg", "number")).fill("140")
    look.drawn()
    other.drawn()
    for each, load in ((look, 10), (other, 140)):
        energy = each.server.ride({"bicycle.cargo_kg": load})["figures"]["net_energy_wh"]
        assert each.figure("net_energy_wh") == f"{energy:.0f} Wh"
    page.close()
    assert other.said == []


FROM_HAND_TO_ROAD = """async ([key, values]) => {
  const slider = document.querySelector(`#hands [data-key="${key}"] input[type=range]`), taken = [];
  for (const value of values) {
    const before = document.documentElement.dataset.drawn, begun = performance.now();
    slider.value = value;
    slider.dispatchEvent(new Event('input', { bubbles: true }));
    while (document.documentElement.dataset.drawn === before) await new Promise(requestAnimationFrame);
    taken.push(performance.now() - begun);
  }
  return taken;
}"""


def assert_redrawn_within(look: Look, limit_ms: float, changes: int) -> None:
    """Hold the 95th percentile of changes to a limit, by a busy machine's share of it; a miss is measured again.

    Of fewer than twenty it is the longest.
    """
    rounds: list[float] = []
    allowed = limit_ms * max(1.0, os.getloadavg()[0] / (os.cpu_count() or 1))
    while len(rounds) < 3 and not (rounds and rounds[-1] < allowed):
        first = 20 + changes * len(rounds)
        taken = sorted(look.page.evaluate(FROM_HAND_TO_ROAD, ["bicycle.cargo_kg", list(range(first, first + changes))]))
        rounds.append(taken[int(0.95 * len(taken))])
        print(f"from hand to road: half within {taken[len(taken) // 2]:.0f} ms, 95 % within {rounds[-1]:.0f} ms")
    assert min(rounds) < allowed, (rounds, allowed)


@pytest.mark.benchmark
def test_from_hand_to_redrawn_road(look: Look) -> None:
    """95 of 100 changes are drawn within 100 ms on a machine with a core to spare; a busy one gets its share."""
    look.open()
    look.page.locator("#sure", has_text="8 of 10").wait_for()
    assert_redrawn_within(look, 100.0, 24)
    assert BUILD in look.state()["build"] and look.state()["road"] == ROAD


@pytest.mark.benchmark
def test_from_hand_to_three_hundred_kilometres(look: Look) -> None:
    """A day's tour of hills, by a pack that lasts for it: drawn within a quarter of a second, thinned to the screen."""
    tour = '[road]\nkind = "hills"\nlength_km = 300\nhill_height_m = 40\nhill_length_km = 3\n'
    (look.server.folder / "tour.toml").write_text(tour, encoding="utf-8")
    state = {"build": BUILD, "road": "tour.toml", "changes": {"pack.parallel": 80}, "pins": []}
    look.open(f"#{quote(json.dumps(state))}")
    assert float(look.page.evaluate("document.querySelector('#place').max")) == 3999
    assert_redrawn_within(look, 250.0, 8)
