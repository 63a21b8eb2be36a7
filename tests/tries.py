"""How often a fuzz tries a kind of file: a hundred times, three hundred in `.ci/run`, or as often as asked."""

from __future__ import annotations

import os

FILE_TRIES = int(os.environ.get("RIDESIM_FILE_TRIES") or os.environ.get("RIDESIM_TRIES") or 100)
"""Tries of each kind of damaged file in a short run; the slow tests try 10,000."""
