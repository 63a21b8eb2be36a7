"""The figures of builds side by side as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.report.spread.common import best_differences, plain

if TYPE_CHECKING:
    from ridesim.studies.compare import Comparison, RoadComparison

NO_COLUMN = ("losses_wh", "limits", "drives")


def compare_figures(result: Comparison) -> dict[str, Any]:
    """Return the figures of the answer as plain values."""
    return {
        "builds": [
            {name: value for name, value in vars(entry).items() if name != "loaded"} for entry in result.entries
        ],
        "accelerate_to_km_h": result.accelerate_to_km_h,
        "roads": [_road(road, result) for road in result.roads],
        "keys_that_differ": dict(result.keys_that_differ),
        "warnings": list(result.warnings),
    }


def _road(road: RoadComparison, result: Comparison) -> dict[str, Any]:
    labels = [entry.label for entry in result.entries]
    return {
        "road": road.road.name,
        "common_draws": plain(road.common, () if road.common is None else best_differences(road.common)),
        "differences": [
            {"figure": row.name, "spread": row.spread, "values": dict(zip(labels, row.values, strict=True))}
            for row in road.rows
        ],
        "rides": {label: ride.plain() for label, ride in zip(labels, road.rides, strict=True)},
    }


def ride_rows(result: Comparison) -> list[dict[str, Any]]:
    """Return one row a build and road: its figures and losses, each key with its unit."""
    rows = []
    for road in result.roads:
        for entry, ride in zip(result.entries, road.rides, strict=True):
            figures = {
                name: value for name, value in ride.plain().items() if name not in ("losses_wh", "limits", "drives")
            }
            losses = {f"{name}_wh": value for name, value in ride.losses_wh.items()}
            rows.append({"build": entry.label, "road": road.road.name, **figures, **losses})
    return rows
