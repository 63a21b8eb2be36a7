"""How large a road and its files may be: bounds against hanging and against mistakes, not of physics."""

from __future__ import annotations

from typing import NamedTuple

from ridesim.units import to_si


class Range(NamedTuple):
    """Lowest and highest allowed value."""

    low: float
    high: float


SMOOTHING_M = Range(0.0, 500.0)
SPACING_M = Range(1.0, 100.0)
DEFAULT_SMOOTHING_M = 60.0
"""Guess: keeps 95 % of the slope in the middle of a 100 m ramp (80 % of its mean) and quiets the barometer."""
DEFAULT_SPACING_M = 5.0
ALTITUDE_M = Range(-500.0, 9000.0)
"""The shore of the Dead Sea is at -430 m, the highest summit at 8849 m."""
LONGEST_ROAD_M = 5.0e6
"""A million points at 1 s and 18 km/h; nobody rides more on end."""
MOST_NODES = 2_000_000
"""Nodes of a road: some 300 MB in all."""
LONGEST_LEAP_M = 100_000.0
"""Between two neighbouring points that are kept: more is a hole in the recording, or a fix on another continent."""
LONGEST_CLOCK_S = to_si(60.0, "days")
"""From first to last time of a recording; a clock that runs longer is wrong, or was set on the way."""
GPX_BYTES = 512 * 1024 * 1024
"""A million points with times are about 130 MB, with the extensions of a chest strap 250 MB."""
GPX_POINTS = 3_000_000
GPX_DEPTH = 64
"""Elements inside elements; GPX needs 5, extensions a few more."""
TOML_BYTES = 1024 * 1024
"""A road file written by hand is a few kilobytes."""
TOML_TABLES = 2000
TOML_KEYS = 200
TOML_NUMBERS = 50_000
CSV_BYTES = 2 * 1024 * 1024
