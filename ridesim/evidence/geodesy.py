"""Distances and headings on the ellipsoid against published test lines."""

from __future__ import annotations

from ridesim.evidence.checks import Check, Kind, Subject, near
from ridesim.road.geodesy import geodesic_inverse

KARNEY = "Karney (2013), J. Geodesy 87:43-55 (table number from memory); geographiclib 2.1"
LIBRARY = "geographiclib 2.1, WGS84"

# name, two points, distance m, tolerance m or None, heading at the start or "", source
LINES = (
    ("five metres", (-30.12345, 0.0, -30.12344, 0.00005), "4.944208284", 5e-7, "77.0435335", KARNEY),
    ("New York to London", (40.6, -73.8, 51.6, -0.5), "5551759.400319", 1e-3, "51.19888285", LIBRARY),
    ("0.001° north at 50°", (50.0, 0.0, 50.001, 0.0), "111.229074", 3e-5, "", LIBRARY),
    ("0.001° east at 50°", (50.0, 0.0, 50.0, 0.001), "71.695754", 1e-6, "", LIBRARY),
    ("1° on the equator", (0.0, 0.0, 0.0, 1.0), "111319.490793", 1e-5, "", LIBRARY),
    ("1° from the equator", (0.0, 0.0, 1.0, 0.0), "110574.388558", 1e-5, "", LIBRARY),
    ("45° to 46° north", (45.0, 0.0, 46.0, 0.0), "111141.548474", 1e-5, "", LIBRARY),
    ("1° east at 45°", (45.0, 0.0, 45.0, 1.0), "78846.334710", 1e-5, "", LIBRARY),
    ("1° east at 60°", (60.0, 0.0, 60.0, 1.0), "55799.470393", 1e-5, "", LIBRARY),
    ("equator to pole", (0.0, 0.0, 90.0, 0.0), "10001965.729313", 1e-4, "", LIBRARY),
    ("Paris to London", (48.8566, 2.3522, 51.5074, -0.1278), "343923.120", None, "", LIBRARY),
    ("Flinders Peak to Buninyong",
     (-(37 + 57 / 60 + 3.72030 / 3600), 144 + 25 / 60 + 29.52440 / 3600,
      -(37 + 39 / 60 + 10.15610 / 3600), 143 + 55 / 60 + 35.38390 / 3600), "54972.271", None, "306.868159",
     "GDA Technical Manual, Vincenty (1975), from memory; geographiclib 2.1"),
)  # fmt: skip


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of geodesy."""
    checks = []
    for name, points, distance, within, heading, source in LINES:
        metres, start, _ = (float(value) for value in geodesic_inverse(*points))
        note = "" if within is None else "the series is good to 0.1 mm over thousands of kilometres"
        checks.append(near(f"{name}: distance", metres, distance, "m", source, Kind.LIBRARY, within=within, note=note))
        if heading:
            checks.append(near(f"{name}: heading", start, heading, "°", source, Kind.LIBRARY))
    return checks, []


SUBJECT = Subject("geodesy", "Distances on the ellipsoid", run)
