"""A dozen reference rides, each as one flat table of numbers; `python tests/baseline/answers.py` writes them anew.

Prints each figure that moves, and by how much, before it writes.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from ridesim.ride.range import outlook_of
from ridesim.ride.simulate import simulate

PROJECT = Path(__file__).resolve().parents[2]
FOLDER = Path(__file__).with_name("rides")
BUILDS = ("commuter-light", "longtail-belt", "longtail-freewheel", "longtail-hub", "longtail-two-stage")
ROADS = {"ridge": "ridge-climb.gpx", "round": "terrace-round.gpx", "commute": "valley-commute.toml"}

RIDES: dict[str, tuple[str, str, dict[str, Any]]] = {
    **{f"{build}-{name}": (build, road, {}) for build in BUILDS[1:] for name, road in ROADS.items() if name != "ridge"},
    "longtail-belt-ridge": ("longtail-belt", ROADS["ridge"], {}),
    "longtail-two-stage-ridge": ("longtail-two-stage", ROADS["ridge"], {}),
    "commuter-light-ridge": ("commuter-light", ROADS["ridge"], {}),
    "longtail-belt-round-no-regen": ("longtail-belt", ROADS["round"], {"regen": False}),
    "longtail-belt-ridge-voltage": ("longtail-belt", ROADS["ridge"], {"throttle_law": "voltage"}),
    "longtail-belt-round-throttle": ("longtail-belt", ROADS["round"], {"throttle": 0.6}),
}


def answer(name: str) -> dict[str, float]:
    """Return every number of one reference ride, by its key."""
    build, road, options = RIDES[name]
    ride = simulate(PROJECT / "configs" / f"{build}.toml", PROJECT / "routes" / road, accuracy="fine", **options)
    found = {**ride.summary, **vars(outlook_of(ride))}
    return dict(_numbers("", {key: value for key, value in found.items() if key not in WORDS}))


WORDS = ("defaults_used", "warnings", "verdict", "ledger_residual_fraction")


def _numbers(prefix: str, value: Any) -> Iterator[tuple[str, float]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _numbers(f"{prefix}.{key}" if prefix else key, inner)
    elif isinstance(value, list):
        for row in value:
            yield from _numbers(f"{prefix}.{row['name']}", {k: v for k, v in row.items() if k != "name"})
    elif isinstance(value, (int, float)) and math.isfinite(value):
        yield prefix, float(value)


SHARE = 1e-4
"""What a figure may move by before it counts. A step that follows its error is taken again or not by a rounding (1e-13
of a rider's mass moves figures of a fine ride by up to 4e-5), so that closer than this is noise."""
EVENT_SHARE = 1e-2
"""The same for when and where a bound was met or a peak lay, which hang on single steps."""


def is_event(key: str) -> bool:
    """Return whether a figure is a time on a bound or the place of a peak."""
    return key.startswith("limits.") or key.endswith(("_at_km", "_over_limit_s", "off_curve_s", "rest_to_cool_min"))


def moved(name: str, now: dict[str, float], share: float = SHARE) -> list[str]:
    """Return a line for each figure that differs from the kept one by more than `share`, or that came or went."""
    kept: dict[str, float] = json.loads((FOLDER / f"{name}.json").read_text())
    lines = [f"{key}: gone (was {kept[key]:.9g})" for key in kept.keys() - now.keys()]
    lines += [f"{key}: new ({now[key]:.9g})" for key in now.keys() - kept.keys()]
    for key in kept.keys() & now.keys():
        scale = max(abs(kept[key]), FLOORS.get(key.rsplit("_", 1)[-1], 1e-3))
        allowed = share * EVENT_SHARE / SHARE if is_event(key) else share
        if abs(now[key] - kept[key]) > allowed * scale:
            lines.append(f"{key}: {kept[key]:.9g} -> {now[key]:.9g} ({(now[key] - kept[key]) / scale:+.2e})")
    return sorted(lines)


FLOORS = {"wh": 1.0, "km": 1.0, "a": 1.0, "c": 10.0}
"""Below it a figure is held absolutely: a joule that the ledger rounds away has no digits."""


def main() -> None:
    """Write the kept answers anew, telling what moves."""
    FOLDER.mkdir(exist_ok=True)
    for name in RIDES:
        now = answer(name)
        path = FOLDER / f"{name}.json"
        if path.exists():
            print("\n".join([name, *(f"  {line}" for line in moved(name, now, 1e-9))]))
        path.write_text(json.dumps(now, indent=1, sort_keys=True) + "\n")


if __name__ == "__main__":
    sys.exit(main())
