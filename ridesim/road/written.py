"""Road files: a small TOML format for made roads, and for stops, limits and surfaces on recorded ones."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError

from ridesim.errors import RoadError
from ridesim.road import schema
from ridesim.road.limits import CSV_BYTES, TOML_BYTES, TOML_KEYS, TOML_NUMBERS, TOML_TABLES
from ridesim.road.made import make_climb, make_cycle, make_flat, make_hills, make_points, make_ramp
from ridesim.road.profile import Road, Stop
from ridesim.road.wishes import Wishes
from ridesim.schema.keys import printable
from ridesim.schema.problems import problems_of, shown_value
from ridesim.schema.source import read_whole, refuse_deep_keys
from ridesim.units import to_si

LoadGpx = Callable[[Path, Wishes], Road]


def parse_road_toml(path: Path, load_gpx: LoadGpx, wishes: Wishes) -> Road:
    """Return the road of a TOML file; what the caller asks wins over its keys.

    Raises RoadError, which carries every problem of the file.
    """
    file = checked(read_toml(path), str(path))
    table = file.road.model_copy(update=_asked(file.road, wishes))
    road = _ride_on(table, path, load_gpx)
    road = _furnished(replace(road, name=table.name or road.name, source=str(path)), file, str(path))
    return road.flattened() if table.flat else road


def _asked(table: schema.AnyRoad, wishes: Wishes) -> dict[str, Any]:
    """Return the keys of a road that the caller gives, where its kind has them."""
    asked = {name: value for name, value in vars(wishes).items() if value is not None and value is not False}
    return {name: value for name, value in asked.items() if name in type(table).model_fields}


def read_toml(path: Path) -> dict[str, Any]:
    """Return the tables of a TOML file. Raises RoadError when it cannot be read."""
    raw = read_whole(path, TOML_BYTES, RoadError)
    refuse_deep_keys(raw, str(path), RoadError)
    try:
        return tomllib.loads(raw.decode("utf-8-sig"))
    except UnicodeError:
        raise RoadError(str(path), "is not UTF-8 text", "save the file as UTF-8") from None
    except RecursionError:
        raise RoadError(str(path), "has brackets nested too deep", "write plain tables") from None
    except ValueError as error:  # TOMLDecodeError, and Python's own refusal of endless integers
        told = "a number with too many digits" if "digits" in str(error) else str(error)
        raise RoadError(str(path), f"is not TOML ({' '.join(told.split())[:160]})", "mend the line") from None


def checked(document: dict[str, Any], where: str) -> Any:
    """Return the checked file. Raises RoadError with every problem."""
    _refuse_crowd(document, where)
    table = document.get("road")
    if table is None and {"extends", "rider", "motor", "pack"} & set(document):
        raise RoadError(
            where, "is a build, not a road", "name a road there; where several files are asked, the build is first"
        )
    if not isinstance(table, dict):
        raise RoadError(where, "has no [road] table", 'begin with [road] and kind = "climb" or another')
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in schema.KINDS:
        told = f"unknown kind of road ({shown_value(kind)}, allowed {', '.join(schema.KINDS)})"
        raise RoadError(f"{where}, [road] kind", told, _did_you_mean(shown_value(kind).strip('"'), schema.KINDS))
    try:
        return schema.FILES[kind].model_validate(document)
    except ValidationError as fault:
        raise problems_of(fault, {}, where, schema.document_of(kind)) from None


def _refuse_crowd(document: dict[str, Any], where: str) -> None:
    """Raise RoadError for more keys, tables or numbers than a road can use, before each is looked at."""
    for name, value in {"the file": document, **document, **_inside(document.get("road"))}.items():
        tables = TOML_TABLES if name in schema.Furniture.model_fields else TOML_NUMBERS
        most = TOML_KEYS if isinstance(value, dict) else tables
        if isinstance(value, dict | list) and len(value) > most:
            raise RoadError(where, f"{printable(name)} has {len(value)} entries, at most {most}", "shorten it")


def _inside(table: Any) -> dict[str, Any]:
    return {f"road.{name}": value for name, value in table.items()} if isinstance(table, dict) else {}


def _did_you_mean(name: str, known: Iterable[str]) -> str:
    near = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
    return f"did you mean {near[0]}?" if near else f"choose from {', '.join(known)}"


def _ride_on(table: Any, path: Path, load_gpx: LoadGpx) -> Road:
    """Return the bare road that a checked `[road]` table describes."""
    if isinstance(table, schema.GpxRoad):
        wishes = Wishes(table.smoothing_m, table.spacing_m, table.flat, table.as_it_is)
        return load_gpx(_beside(path, table.file), wishes)
    try:
        return _made(table, path)
    except RoadError as error:
        raise RoadError(f"{path}, [road] {error.where}", error.what, error.to_do) from None


def _made(table: Any, path: Path) -> Road:
    given = {"bearing_deg": table.bearing_deg, "spacing_m": table.spacing_m}
    if isinstance(table, schema.PointsRoad):
        distance = np.array([to_si(at, "km") for at in table.distance_km])
        return make_points(distance, table.altitude_m, smoothing_m=table.smoothing_m, **given)
    start = table.start_altitude_m
    match table:
        case schema.FlatRoad():
            return make_flat(to_si(table.length_km, "km"), altitude_m=start, **given)
        case schema.ClimbRoad():
            return make_climb(to_si(table.length_km, "km"), table.grade_percent, start_altitude_m=start, **given)
        case schema.RampRoad():
            approach, ramp, run_out = (to_si(x, "km") for x in (table.approach_km, table.ramp_km, table.run_out_km))
            base, steep = table.base_grade_percent, table.grade_percent
            return make_ramp(
                approach, ramp, steep, run_out_m=run_out, base_grade_percent=base, start_altitude_m=start, **given
            )
        case schema.HillsRoad():
            length, hill = (to_si(value, "km") for value in (table.length_km, table.hill_length_km))
            return make_hills(length, table.hill_height_m, hill, start_altitude_m=start, **given)
        case _:
            time_s, speed_km_h = _cycle_columns(table, path)
            speed = np.array([to_si(value, "km_h") for value in speed_km_h])
            return make_cycle(time_s, speed, grade_percent=table.grade_percent, start_altitude_m=start, **given)


def _beside(path: Path, name: str) -> Path:
    """Return the file of that plain name beside `path`. Raises RoadError for anything that leads elsewhere."""
    if name != Path(name).name or "\\" in name or "\0" in name or name in ("", ".", ".."):
        told = f"must be the plain name of a file beside this one ({name[:40]!r})"
        raise RoadError(f"{path}, [road] file", told, "put the file in the same folder")
    return path.parent / name


def _cycle_columns(table: schema.CycleRoad, path: Path) -> tuple[Sequence[float], Sequence[float]]:
    """Return times [s] and speeds [km/h] from the lists of the table or from its CSV."""
    if table.file is None:
        return table.time_s, table.speed_km_h
    return _read_cycle_csv(_beside(path, table.file))


def _read_cycle_csv(path: Path) -> tuple[list[float], list[float]]:
    """Return the columns time_s and speed_km_h of a CSV. Raises RoadError when they are not there."""
    import csv
    import io

    cure = "give a CSV with columns time_s and speed_km_h"
    raw = read_whole(path, CSV_BYTES, RoadError, "put it beside the road file")
    try:
        table = csv.DictReader(io.StringIO(raw.decode("utf-8-sig"), newline=""))
        rows, heads = list(table), [str(head)[:40] for head in table.fieldnames or ()]
    except (ValueError, csv.Error) as error:
        told = f"cannot be read as a cycle ({' '.join(str(error).split())[:160]})"
        raise RoadError(str(path), told, cure) from None
    for name in ("time_s", "speed_km_h"):
        if name not in heads:
            raise RoadError(str(path), f"lacks the column {name} (it has {', '.join(heads)[:160] or 'none'})", cure)
    if not rows:
        raise RoadError(str(path), "has a head and no rows", cure)
    times, speeds = (_numbers(path, rows, name) for name in ("time_s", "speed_km_h"))
    checked({"road": {"kind": "cycle", "time_s": times, "speed_km_h": speeds}}, str(path))
    return times, speeds


def _numbers(path: Path, rows: Sequence[dict[str, str]], name: str) -> list[float]:
    """Return a column of a CSV as numbers. Raises RoadError at the first cell that is none."""
    found: list[float] = []
    for row, cells in enumerate(rows, start=2):
        try:
            found.append(float(cells[name]))
        except (TypeError, ValueError):
            told = f"{name} is no number ({(cells[name] or '')[:40]!r})"
            raise RoadError(f"{path}, row {row}", told, "mend the row, or take it out") from None
    return found


def _furnished(road: Road, file: schema.Furniture, where: str) -> Road:
    """Return the road with the stops, limits and surfaces of the file."""
    problems: list[RoadError] = []
    for name in schema.Furniture.model_fields:
        for number, entry in enumerate(getattr(file, name)):
            try:
                road = _with_entry(road, entry)
            except RoadError as error:
                problems.append(RoadError(where, f"{name}.{number}: {error.what}", error.to_do))
    if problems:
        raise RoadError.many(tuple(problems))
    return road


def _with_entry(road: Road, entry: Any) -> Road:
    if isinstance(entry, schema.Stop):
        return road.with_stops((Stop(to_si(entry.at_km, "km"), entry.dwell_s),))
    span = (to_si(entry.from_km, "km"), to_si(entry.to_km, "km"))
    if isinstance(entry, schema.SpeedLimit):
        return road.with_speed_limit(*span, to_si(entry.speed_km_h, "km_h"))
    return road.with_surface(*span, entry.kind)
