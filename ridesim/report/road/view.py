"""Words, figures and the picture of a road, for a page."""

from __future__ import annotations

from typing import Any

from ridesim.report.road.figure import draw_road
from ridesim.report.road.text import STEEP_TITLE, road_rows, steep_table
from ridesim.report.text import shown
from ridesim.report.view import Table, View
from ridesim.road.profile import Road
from ridesim.units import told


def view(road: Road, figures: dict[str, Any], units: str = "metric") -> View:
    """Return what was read from a road and what was cleaned; `figures` is `road_account(road)`."""
    length, climb = shown(figures["length_km"], "km", units), shown(figures["climb_smoothed_m"], "m", units, 0)
    methods = figures["climb_method"].split("; ") if figures["cleaning"] is not None else []
    return View(
        title=road.name,
        question="What was read from this road, and what was cleaned?",
        answer=(f"{length} with {climb} of climb.", *figures["warnings"]),
        tables=(
            Table("The road in figures", ("", ""), tuple(road_rows(figures, units))),
            *((Table(STEEP_TITLE, *steep_table(figures, units)),) if figures["steepest_climbs"] else ()),
        ),
        figures=(("Altitude and grade along the road, and what it asks of a rider.", draw_road(road, units)),),
        notes=tuple(f"Climb, {told(method, units)}." for method in methods),
    )
