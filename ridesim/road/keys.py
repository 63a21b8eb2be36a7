"""The keys of a road file: what each may hold, and what it means."""

from __future__ import annotations

import math
from typing import NamedTuple


class Key(NamedTuple):
    """What a key may hold: number, text, yes-or-no or numbers, between bounds, needed or not."""

    holds: str = "number"
    low: float = -math.inf
    high: float = math.inf
    needed: bool = False
    help: str = ""


SMOOTHING = Key(low=0.0, high=500.0, help="width at half height of the Gaussian that smooths the altitude")
SPACING = Key(low=1.0, high=100.0, help="distance between the nodes of the road")
_LENGTH = Key(low=0.01, high=1000.0, needed=True, help="length along the road surface")
_GRADE = Key(low=-60.0, high=60.0, help="rise per run")
_ANY: dict[str, Key] = {
    "kind": Key("text", needed=True, help="what makes the road"),
    "name": Key("text", help="a name for the road"),
    "flat": Key("yes or no", help="true takes all slope out"),
    "spacing_m": SPACING,
}
_MADE: dict[str, Key] = _ANY | {
    "bearing_deg": Key(low=-360.0, high=360.0, help="heading, clockwise from north"),
    "start_altitude_m": Key(low=-500.0, high=9000.0, help="altitude where the road begins"),
}
_POINTS = {key: value for key, value in _MADE.items() if key != "start_altitude_m"}

KINDS: dict[str, dict[str, Key]] = {
    "flat": _MADE | {"length_km": _LENGTH},
    "climb": _MADE | {"length_km": _LENGTH, "grade_percent": _GRADE._replace(needed=True)},
    "ramp": _MADE
    | {
        "approach_km": Key(low=0.0, high=1000.0, needed=True, help="road before the ramp"),
        "ramp_km": _LENGTH._replace(help="length of the ramp"),
        "run_out_km": Key(low=0.0, high=1000.0, help="road after the ramp"),
        "grade_percent": _GRADE._replace(needed=True, help="rise per run on the ramp"),
        "base_grade_percent": _GRADE._replace(help="rise per run before and after it"),
    },
    "hills": _MADE
    | {
        "length_km": _LENGTH,
        "hill_height_m": Key(low=-1000.0, high=1000.0, needed=True, help="from valley to top"),
        "hill_length_km": Key(low=0.05, high=100.0, needed=True, help="from valley to valley"),
    },
    "points": _POINTS
    | {
        "distance_km": Key("numbers", 0.0, 1000.0, True, "distances along the road surface, from 0"),
        "altitude_m": Key("numbers", -500.0, 9000.0, True, "altitudes, one a distance"),
        "smoothing_m": SMOOTHING,
    },
    "cycle": _MADE
    | {
        "time_s": Key("numbers", 0.0, 1e6, False, "times of the cycle"),
        "speed_km_h": Key("numbers", 0.0, 150.0, False, "speeds, one a time"),
        "file": Key("text", help="instead of the lists: a CSV beside this file with columns time_s and speed_km_h"),
        "grade_percent": _GRADE,
    },
    "gpx": _ANY | {"file": Key("text", needed=True, help="a GPX file beside this file"), "smoothing_m": SMOOTHING},
}
"""The keys of `[road]` for each kind."""

_SPAN = {"from_km": Key(low=0.0, high=1000.0, needed=True), "to_km": Key(low=0.0, high=1000.0, needed=True)}
LISTS: dict[str, dict[str, Key]] = {
    "stop": {
        "at_km": Key(low=0.0, high=1000.0, needed=True, help="where"),
        "dwell_s": Key(low=0.0, high=86400.0, needed=True, help="for how long"),
    },
    "speed_limit": _SPAN | {"speed_km_h": Key(low=1.0, high=150.0, needed=True, help="the limit")},
    "surface": _SPAN | {"kind": Key("text", needed=True, help="what the road is made of")},
}
"""The keys of `[[stop]]`, `[[speed_limit]]` and `[[surface]]`."""
