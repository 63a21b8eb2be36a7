"""How often what is drawn by chance is tried: few times while one works, more in `.ci/run`, or as often as asked."""

from __future__ import annotations

import os

FILE_TRIES = int(os.environ.get("RIDESIM_FILE_TRIES") or os.environ.get("RIDESIM_TRIES") or 100)
"""Tries of each kind of damaged file in a short run; the slow tests try 10,000."""
OPTION_TRIES = int(os.environ.get("RIDESIM_TRIES") or 4)
"""Tries of the options of each command; 8 in `.ci/run`."""
BUILD_TRIES = 200 + FILE_TRIES
KILLS = 12 if FILE_TRIES >= 300 else 6
"""Drawn builds that are ridden, and writers that are killed."""
