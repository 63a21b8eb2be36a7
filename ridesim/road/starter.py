"""Texts written from the schema of road files: a commented road file, the key reference, the JSON schema."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ridesim.road.schema import KINDS, AnyRoad, Furniture, RoadFile
from ridesim.schema.keys import walk
from ridesim.schema.texts import KeyRow, explain_units, json_text, key_rows, key_tables, section_lines

STARTER_KIND = "ramp"
EXAMPLES: dict[str, dict[str, Any]] = {
    "flat": {"length_km": 5.0},
    "climb": {"length_km": 3.0, "grade_percent": 7.0},
    "ramp": {"approach_km": 1.0, "ramp_km": 0.2, "run_out_km": 0.8, "grade_percent": 12.0},
    "hills": {"length_km": 10.0, "hill_height_m": 25.0, "hill_length_km": 1.5},
    "points": {"distance_km": [0.0, 1.0, 2.5], "altitude_m": [40.0, 90.0, 60.0]},
    "cycle": {"time_s": [0.0, 10.0, 60.0, 70.0], "speed_km_h": [0.0, 20.0, 20.0, 0.0]},
    "gpx": {"file": "valley-commute.gpx"},
}
"""Invented values, one set a kind."""
FURNITURE: dict[str, list[dict[str, Any]]] = {
    "stop": [{"at_km": 0.5, "dwell_s": 20.0}],
    "speed_limit": [{"from_km": 0.0, "to_km": 0.4, "speed_km_h": 20.0}],
    "surface": [{"from_km": 1.3, "to_km": 1.6, "kind": "gravel"}],
}

HEAD = """\
# A starter road for ridesim. Every key is here, with its unit and range.
# A key with a # before it is left at its default; take the # away and change it. Those without are invented
# examples: put your own numbers there.
# A recording needs no such file: ridesim ride my-bike.toml my-road.gpx. With one it gets stops, limits and surfaces.
"""
OTHERS = """
# The other kinds of road: one of these can stand in place of [road] above. Take one # off each of its lines.
"""


def starter_text() -> str:
    """Return a commented road file with every key of every kind; it loads as it is."""
    lines = [HEAD, *_kind_lines(STARTER_KIND)]
    lines += section_lines(Furniture, "", FURNITURE)
    lines.append(OTHERS)
    for kind in KINDS:
        if kind != STARTER_KIND:
            lines += [f"# {line}" if line else "#" for line in _kind_lines(kind)] + [""]
    return "\n".join(lines).rstrip() + "\n"


def _kind_lines(kind: str) -> Iterator[str]:
    model = KINDS[kind]
    yield f"[road]   # {(model.__doc__ or '').strip()}"
    yield from section_lines(model, "road", {"kind": kind, **EXAMPLES[kind]})


def key_reference_rows() -> tuple[KeyRow, ...]:
    """Return every key of a road file: those of any road, those of each kind, then the furniture."""
    rows = [row._replace(allowed=", ".join(KINDS)) if row.key == "kind" else row for row in _rows(AnyRoad, "[road]")]
    for kind, model in KINDS.items():
        rows += [row for row in _rows(model, f'[road] kind = "{kind}"') if row.key not in AnyRoad.model_fields]
    for row in key_rows(walk(Furniture)):
        if row.section:
            rows.append(row._replace(section=f"[[{row.section}]]"))
    return tuple(rows)


def _rows(model: type[AnyRoad], section: str) -> tuple[KeyRow, ...]:
    return key_rows(walk(model, section))


def key_reference_markdown() -> str:
    """Return the key reference as Markdown: a table for any road, one a kind, one for each piece of furniture."""
    return key_tables(key_reference_rows(), lambda section: f"`{section}`")


def json_schema_text() -> str:
    """Return the JSON schema of a road file for editors."""
    schema = RoadFile.model_json_schema()
    explain_units(schema)
    schema["properties"] = {"road": schema["properties"].pop("road"), **schema["properties"]}
    return json_text(schema)
