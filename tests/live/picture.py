"""Takes the README's picture of the live page: `python -m tests.live.picture`, in a clone with a Chromium at hand."""

from __future__ import annotations

import io
import json
import tempfile
from pathlib import Path
from urllib.parse import quote

from PIL import Image
from playwright.sync_api import sync_playwright

from ..browser import FLAGS, chromium_path
from .conftest import BUILD, ROAD, demo_folder, start, stop

ROOT = Path(__file__).parents[2]
PLACE = ROOT / ".github" / "pictures" / "live-page.png"
SHOWN = {"width": 1440, "height": 1010}
STATE = {
    "build": BUILD, "road": ROAD, "changes": {"bicycle.cargo_kg": 90, "drive.stage.0.driver_teeth": 18},
    "pins": [{"label": "as built", "build": BUILD, "changes": {}}],
}  # fmt: skip
AT_KM = 13.2
COLOURS = 256
"""Enough for lines, letters and the way, and half of the bytes."""


def main() -> None:
    """Open the page with a heavier load and another pulley beside the bike as built, and keep what it shows."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        server = start(demo_folder(Path(folder), ROOT), ROOT, BUILD, ROAD)
        browser = play.chromium.launch(executable_path=chromium_path(), args=FLAGS)
        page = browser.new_page(viewport=SHOWN)
        page.goto(f"{server.address}#{quote(json.dumps(STATE))}")
        page.locator("#sure", has_text="8 of 10").wait_for(timeout=120_000)
        strip = page.locator(".strip .u-over").nth(2).bounding_box()
        page.mouse.move(strip["x"] + strip["width"] * AT_KM / 20.1, strip["y"] + 20)
        page.wait_for_function("document.getElementById('here').textContent.startsWith('At 13')")
        seen = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
        seen.quantize(COLOURS, dither=Image.Dither.NONE).save(PLACE, optimize=True)
        browser.close()
        stop(server)


if __name__ == "__main__":
    main()
