"""The browser that looks at pages: where it is, and how it is started."""

from __future__ import annotations

import os
import shutil

FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync"]  # fmt: skip


def chromium_path() -> str | None:
    """Where a Chromium is: RIDESIM_CHROMIUM, or one of the usual names."""
    named = os.environ.get("RIDESIM_CHROMIUM")
    return named or next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
