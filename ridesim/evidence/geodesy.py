"""Distances and headings on the ellipsoid against published test lines."""

from __future__ import annotations

from collections.abc import Sequence

from ridesim.evidence.checks import Check, Subject, near
from ridesim.evidence.store import sheet, table
from ridesim.road.geodesy import geodesic_inverse
from ridesim.units import convert

SERIES = "the series is good to 0.1 mm over thousands of kilometres"


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of geodesy."""
    checks = []
    for row in table("geodesy.lines").rows:
        metres, start, _ = (float(value) for value in geodesic_inverse(*row.points_deg))
        checks.append(near(f"{row.name}: distance", metres, row.distance_m, within=row.within_m, note=SERIES))
        if row.heading_deg is not None:
            checks.append(near(f"{row.name}: heading", start, row.heading_deg))
    line = sheet("geodesy.flinders_peak_to_buninyong")
    metres, start, _ = (float(value) for value in geodesic_inverse(*map(degrees, line.points_dms)))
    name = "Flinders Peak to Buninyong"
    return [
        *checks,
        near(f"{name}: distance", metres, line.distance_m),
        near(f"{name}: heading", start, line.heading_deg),
    ], []


def degrees(parts: Sequence[float]) -> float:
    """Return an angle of degrees, minutes and seconds in degrees; the sign of the degrees is that of the angle."""
    whole, minutes, seconds = parts
    size = abs(whole) + convert(minutes, "arcmin", "deg") + convert(seconds, "arcsec", "deg")
    return -size if whole < 0 else size


SUBJECT = Subject("geodesy", "Distances on the ellipsoid", run)
