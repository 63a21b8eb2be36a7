"""Road files: a small TOML format for made roads, and for stops, limits and surfaces on recorded ones."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from ridesim.errors import RoadError
from ridesim.road.keys import KINDS, LISTS, Key
from ridesim.road.made import make_climb, make_cycle, make_flat, make_hills, make_points, make_ramp
from ridesim.road.profile import SURFACES, Road, Stop
from ridesim.units import to_si

MOST_BYTES = 4 * 1024 * 1024  # guess: a road file written by hand is a few kilobytes


class RoadErrors(RoadError):
    """Several problems of one road file, one a line."""

    def __init__(self, problems: tuple[RoadError, ...]) -> None:
        super().__init__(problems[0].where, problems[0].what, problems[0].to_do)
        self.problems = problems

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)


def parse_road_toml(
    path: Path,
    load_gpx: Callable[[Path, float | None, float | None, bool], Road],
    smoothing_m: float | None = None,
    spacing_m: float | None = None,
    flat: bool = False,
) -> Road:
    """Return the road of a TOML file; arguments that are given win over its keys. Raises RoadErrors."""
    document = read_toml(path)
    problems: list[RoadError] = []
    table = _checked_document(document, str(path), problems)
    _raise_any(problems)
    asked = {"smoothing_m": smoothing_m, "spacing_m": spacing_m}
    table |= {key: value for key, value in asked.items() if value is not None and key in KINDS[table["kind"]]}
    flat = flat or bool(table.get("flat", False))
    road = _ride_on(table, path, load_gpx, flat)
    road = replace(road, name=table.get("name", road.name), source=str(path))
    road = _furnished(road, document, str(path))
    return road.flattened() if flat else road


def read_toml(path: Path) -> dict[str, Any]:
    """Return the tables of a TOML file. Raises RoadError when it cannot be read."""
    import tomllib

    try:
        if path.stat().st_size > MOST_BYTES:
            raise RoadError(str(path), f"too large for a road file (at most {MOST_BYTES / 1e6:.0f} MB)", "shorten it")
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except FileNotFoundError:
        raise RoadError(str(path), "no such file", "check the path") from None
    except OSError as error:
        raise RoadError(str(path), f"cannot be read ({error.strerror or error})", "check the path") from None
    except UnicodeError:
        raise RoadError(str(path), "is not UTF-8 text", "save the file as UTF-8") from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise RoadError(str(path), f"is not TOML ({error})", "mend the line") from None


def _raise_any(problems: list[RoadError]) -> None:
    if len(problems) == 1:
        raise problems[0]
    if problems:
        raise RoadErrors(tuple(problems))


def _checked_document(document: dict[str, Any], where: str, problems: list[RoadError]) -> dict[str, Any]:
    """Return a copy of the `[road]` table; add each problem of the whole file to `problems`."""
    _refuse_unknown(document, ("road", *LISTS), where, problems)
    table = document.get("road")
    if not isinstance(table, dict):
        problems.append(RoadError(where, "has no [road] table", 'begin with [road] and kind = "climb" or another'))
        return {}
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        told = f"unknown kind of road ({kind!r}, allowed {', '.join(KINDS)})"
        problems.append(RoadError(f"{where}, [road] kind", told, _did_you_mean(str(kind), KINDS)))
        return {}
    _check_table(table, KINDS[kind], f"{where}, [road]", problems)
    for name, keys in LISTS.items():
        entries = document.get(name, [])
        if not isinstance(entries, list):
            problems.append(
                RoadError(f"{where}, {name}", "is one table, not a list", f"write [[{name}]] with two brackets")
            )
            continue
        for number, entry in enumerate(entries, start=1):
            _check_table(entry, keys, f"{where}, [[{name}]] {number}", problems)
    return dict(table)


def _check_table(table: Any, keys: dict[str, Key], where: str, problems: list[RoadError]) -> None:
    if not isinstance(table, dict):
        problems.append(RoadError(where, "is not a table of keys", "write one key a line"))
        return
    _refuse_unknown(table, tuple(keys), where, problems)
    for name, key in keys.items():
        if name in table:
            problems.extend(_problem_of(table[name], key, f"{where} {name}"))
        elif key.needed:
            problems.append(RoadError(f"{where} {name}", "is missing", f"add it ({_allowed(key)})"))


def _refuse_unknown(table: dict[str, Any], known: tuple[str, ...], where: str, problems: list[RoadError]) -> None:
    for name in table:
        if name not in known:
            problems.append(RoadError(f"{where} {name}", "unknown key", _did_you_mean(name, known)))


def _did_you_mean(name: str, known: Any) -> str:
    near = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
    return f"did you mean {near[0]}?" if near else f"choose from {', '.join(known)}"


def _allowed(key: Key) -> str:
    if key.holds in ("text", "yes or no"):
        return key.holds
    return f"{key.holds} from {key.low:g} to {key.high:g}"


def _problem_of(value: Any, key: Key, where: str) -> list[RoadError]:
    """Return the problem of one value, or nothing."""
    if key.holds == "text":
        fits = isinstance(value, str) and bool(value.strip())
    elif key.holds == "yes or no":
        fits = isinstance(value, bool)
    elif key.holds == "numbers":
        fits = isinstance(value, list) and len(value) >= 2 and all(_is_number(v, key) for v in value)
    else:
        fits = _is_number(value, key)
    shown = value if not isinstance(value, list) else next((v for v in value if not _is_number(v, key)), value)
    return [] if fits else [RoadError(where, f"is out of range ({shown!r}, allowed {_allowed(key)})", "mend the value")]


def _is_number(value: Any, key: Key) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and key.low <= value <= key.high


def _ride_on(
    table: dict[str, Any],
    path: Path,
    load_gpx: Callable[[Path, float | None, float | None, bool], Road],
    flat: bool,
) -> Road:
    """Return the bare road that a checked `[road]` table describes."""
    kind = table["kind"]
    if kind == "gpx":
        return load_gpx(_beside(path, table["file"]), table.get("smoothing_m"), table.get("spacing_m"), flat)
    given: dict[str, Any] = {key: float(table[key]) for key in ("bearing_deg", "spacing_m") if key in table}
    start: dict[str, Any] = (
        {"start_altitude_m": float(table["start_altitude_m"])} if "start_altitude_m" in table else {}
    )
    length_m = to_si(table.get("length_km", 0.0), "km")
    try:
        if kind == "flat":
            return make_flat(length_m, altitude_m=start.get("start_altitude_m", 0.0), **given)
        if kind == "climb":
            return make_climb(length_m, table["grade_percent"], **start, **given)
        if kind == "ramp":
            return _ramp(table, start | given)
        if kind == "hills":
            return make_hills(length_m, table["hill_height_m"], to_si(table["hill_length_km"], "km"), **start, **given)
        if kind == "points":
            distance = to_si(np.array(table["distance_km"], dtype=np.float64), "km")  # type: ignore[arg-type]
            return make_points(distance, table["altitude_m"], smoothing_m=table.get("smoothing_m", 0.0), **given)
        time_s, speed_km_h = _cycle_columns(table, path)
        return make_cycle(
            time_s, np.array(speed_km_h) / 3.6, grade_percent=table.get("grade_percent", 0.0), **start, **given
        )
    except RoadError as error:
        raise RoadError(f"{path}, [road] {error.where}", error.what, error.to_do) from None


def _ramp(table: dict[str, Any], given: dict[str, Any]) -> Road:
    approach, ramp, run_out = (to_si(table.get(f"{part}_km", 0.0), "km") for part in ("approach", "ramp", "run_out"))
    base = table.get("base_grade_percent", 0.0)
    return make_ramp(approach, ramp, table["grade_percent"], run_out_m=run_out, base_grade_percent=base, **given)


def _beside(path: Path, name: str) -> Path:
    """Return the file of that plain name beside `path`. Raises RoadError for anything that leads elsewhere."""
    if name != Path(name).name or "\\" in name or name in ("", ".", ".."):
        told = f"must be the plain name of a file beside this one ({name!r})"
        raise RoadError(f"{path}, [road] file", told, "put the file in the same folder")
    return path.parent / name


def _cycle_columns(table: dict[str, Any], path: Path) -> tuple[list[float], list[float]]:
    """Return times [s] and speeds [km/h] from the lists of the table or from its CSV."""
    lists = "time_s" in table and "speed_km_h" in table
    if lists == ("file" in table):
        raise RoadError("cycle", "needs either time_s and speed_km_h, or file", "give one of the two")
    if lists:
        return table["time_s"], table["speed_km_h"]
    return _read_cycle_csv(_beside(path, table["file"]))


def _read_cycle_csv(path: Path) -> tuple[list[float], list[float]]:
    """Return the columns time_s and speed_km_h of a CSV. Raises RoadError when they are not there."""
    import csv

    try:
        with path.open(newline="", encoding="utf-8-sig") as lines:
            rows = list(csv.DictReader(lines))
        return [float(row["time_s"]) for row in rows], [float(row["speed_km_h"]) for row in rows]
    except FileNotFoundError:
        raise RoadError(str(path), "no such file", "put it beside the road file") from None
    except (KeyError, TypeError, ValueError, csv.Error, OSError) as error:
        told = f"cannot be read as a cycle ({' '.join(str(error).split()) or type(error).__name__})"
        raise RoadError(str(path), told, "give a CSV with columns time_s and speed_km_h") from None


def _furnished(road: Road, document: dict[str, Any], where: str) -> Road:
    """Return the road with the stops, limits and surfaces of the file."""
    problems: list[RoadError] = []
    for name in LISTS:
        for number, entry in enumerate(document.get(name, []), start=1):
            try:
                road = _with_entry(road, name, entry)
            except RoadError as error:
                problems.append(RoadError(f"{where}, [[{name}]] {number}", error.what, error.to_do))
    _raise_any(problems)
    return road


def _with_entry(road: Road, name: str, entry: dict[str, Any]) -> Road:
    if name == "stop":
        return road.with_stops((Stop(to_si(entry["at_km"], "km"), float(entry["dwell_s"])),))
    span = (to_si(entry["from_km"], "km"), to_si(entry["to_km"], "km"))
    if name == "speed_limit":
        return road.with_speed_limit(*span, to_si(entry["speed_km_h"], "km_h"))
    if entry["kind"] not in SURFACES:
        told = f"unknown surface ({entry['kind']!r}, allowed {', '.join(SURFACES)})"
        raise RoadError("surface", told, _did_you_mean(entry["kind"], SURFACES))
    return road.with_surface(*span, entry["kind"])
