"""A year of weather from a CSV of dates or hours: columns by a mapping, every fault in one clear line."""

from __future__ import annotations

import csv
import difflib
import io
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RideError
from ridesim.schema.source import read_whole, refuse_deep_keys
from ridesim.units import convert, from_si
from ridesim.workshop.season.air import HOURS, LONGEST_YEAR, SHORTEST_YEAR, WeatherYear
from ridesim.workshop.season.diurnal import hours_of_year
from ridesim.workshop.season.typical import COLDEST_C, FULL_TURN_DEG, MONTHS, WARMEST_C

Array = NDArray[np.float64]

MOST_BYTES = 32 * 1024 * 1024
MOST_ROWS = 600_000
"""A reading a minute for a year."""
LONGEST_FILLED_H = 3
"""A gap up to so many hours is filled straight from its neighbours; a longer one is refused (guess)."""
CLOCK_CHANGE = timedelta(hours=1)
"""By which clocks are put back in autumn: the hour that comes twice is taken as one."""
DAILY_STEP_H = 20.0
"""Readings further apart are days (guess)."""
WINDIEST_KM_H = 150.0
"""What a build's [weather] allows."""
WET_FROM_MM = 0.1
"""Rain of an hour, or of a day, that wets the road (guess)."""
WARM_MEAN_C = 30.0
"""No place has a year so warm (the warmest reach about 30 degC, from memory): such a mean is Fahrenheit's."""
KELVIN_FROM = 200.0
DEFAULT_LATITUDE_DEG = 47.0
"""Where a file of days does not say for which place its days are long or short (guess: middle Europe)."""

UNITS_OF = {
    "temperature": ("c", {"temperature_c": "c", "temperature_f": "f", "temperature_k": "k"}),
    "lowest": ("c", {"lowest_c": "c", "lowest_f": "f", "lowest_k": "k"}),
    "highest": ("c", {"highest_c": "c", "highest_f": "f", "highest_k": "k"}),
    "wind": ("km_h", {"wind_speed_km_h": "km_h", "wind_speed_m_per_s": "m_per_s", "wind_speed_mph": "mph"}),
}  # fmt: skip
"""What is read, in which unit it is kept, and the names by which a file may give it."""
PLAIN = ("time", "wind_from_deg", "wet", "rain_mm")
NAMES = (*PLAIN, *(name for _, names in UNITS_OF.values() for name in names))
FORMS = ("", "%d.%m.%Y %H:%M", "%d.%m.%Y")
"""Of a time; the first is ISO 8601."""
YES, NO = ("1", "1.0", "true", "yes", "wet"), ("0", "0.0", "false", "no", "dry", "")


@dataclass(frozen=True)
class Sheet:
    """A table of texts by our names, and where it stands."""

    where: str
    columns: Mapping[str, list[str]]
    times: list[datetime]


def load_weather(
    path: str | Path, mapping: Mapping[str, str] | None = None, latitude_deg: float = DEFAULT_LATITUDE_DEG
) -> WeatherYear:
    """Return a year of weather from a CSV. `mapping`: our name -> the file's column; without it the columns bear ours.

    Needed: `time` (a date, or date and hour) and `temperature_c` (_f, _k) or `lowest_c` and `highest_c`; also read:
    `wind_speed_km_h` (_m_per_s, _mph), `wind_from_deg`, `wet` (0 or 1) or `rain_mm`. Raises RideError.
    """
    sheet = _read(Path(path), dict(mapping or {}))
    found = {what: _numbers(sheet, what) for what in UNITS_OF}
    heat = found["temperature"]
    if heat is None and (found["lowest"] is None or found["highest"] is None):
        raise RideError(sheet.where, "has no temperature_c, nor lowest_c and highest_c", "map one: " + EXAMPLE)
    for what in ("temperature", "lowest", "highest"):
        _refuse_temperature(sheet, what, found[what])
    _refuse_outside(sheet, "wind_speed_km_h", found["wind"], 0.0, WINDIEST_KM_H)
    turned = _plain_numbers(sheet, "wind_from_deg")
    _refuse_outside(sheet, "wind_from_deg", turned, 0.0, FULL_TURN_DEG)
    if found["wind"] is not None and turned is None:
        raise RideError(sheet.where, "has a wind speed without wind_from_deg", "map its direction too: " + EXAMPLE)
    return _year(sheet, found, turned, _wet(sheet), latitude_deg)


EXAMPLE = '--map "temperature_c=T (C)"'


def parse_mapping(pairs: list[str] | None) -> dict[str, str]:
    """Return `NAME=COLUMN` pairs, or a TOML file of them, as a mapping. Raises RideError for a name not read."""
    found: dict[str, str] = {}
    for pair in pairs or []:
        if "=" not in pair and pair.endswith(".toml"):
            found |= _mapping_file(Path(pair))
            continue
        name, equals, column = (piece.strip() for piece in pair.partition("="))
        if not equals or not name or not column:
            raise RideError("--map", f"{pair!r} is not NAME=COLUMN", "write for example " + EXAMPLE)
        found[_known("--map", name)] = column
    return found


def _mapping_file(path: Path) -> dict[str, str]:
    where = str(path)
    raw = read_whole(path, MOST_BYTES, RideError, "name a TOML file")
    refuse_deep_keys(raw, where, RideError)
    try:
        table = tomllib.loads(raw.decode("utf-8-sig"))
    except (ValueError, RecursionError) as fault:
        raise RideError(where, f"is not TOML ({' '.join(str(fault).split())[:120]})", "mend the line") from None
    wrong = next((name for name, column in table.items() if not isinstance(column, str)), None)
    if wrong is not None:
        raise RideError(where, f"{wrong[:30]} names no column", 'write temperature_c = "T (C)"')
    return {_known(where, name): column for name, column in table.items()}


def _known(where: str, name: str) -> str:
    if name not in NAMES:
        near = [each for each in NAMES if each.startswith(name)] or difflib.get_close_matches(name, NAMES, 1, 0.5)
        hint = f"did you mean {near[0]}?" if near else f"choose one of {', '.join(NAMES)}"
        raise RideError(where, f"{name[:30]} is not read", hint)
    return name


def _read(path: Path, mapping: Mapping[str, str]) -> Sheet:
    where = str(path)
    raw = read_whole(path, MOST_BYTES, RideError, "name a CSV of dates or hours")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeError:
        raise RideError(where, "is not UTF-8 text", "export it as CSV in UTF-8") from None
    first = text.split("\n", 1)[0]
    mark = max(",;\t", key=first.count)
    try:
        rows = [row for row in csv.reader(io.StringIO(text), delimiter=mark) if row]
    except csv.Error as fault:
        raise RideError(where, f"is no table ({fault})", "export it as CSV") from None
    if len(rows) < 2:
        raise RideError(where, "has no readings", "give a head and a row a day or an hour")
    if len(rows) > MOST_ROWS:
        raise RideError(where, f"has {len(rows)} rows, at most {MOST_ROWS}", "take one reading an hour")
    columns = _columns(where, rows, mapping, decimal_comma=mark == ";")
    times = [_time(where, at, text) for at, text in enumerate(columns["time"], start=2)]
    _refuse_falling(where, times)
    return Sheet(where, columns, times)


def _refuse_falling(where: str, times: list[datetime]) -> None:
    """Raise RideError where the times do not rise; once a year a clock of hours may be put back by one."""
    back = [(at, pair) for at, pair in enumerate(pairwise(times), start=3) if pair[1] <= pair[0]]
    for number, (at, (before, after)) in enumerate(back):
        autumn = number == 0 and before - after <= CLOCK_CHANGE and times[1] - times[0] <= CLOCK_CHANGE
        if not autumn:
            raise RideError(f"{where}, row {at}", f"time does not rise ({before} is followed by {after})", "sort it")


def _columns(
    where: str, rows: list[list[str]], mapping: Mapping[str, str], *, decimal_comma: bool
) -> dict[str, list[str]]:
    head = [name.strip() for name in rows[0]]
    asked = {name: mapping.get(name, name) for name in NAMES}
    for name, column in mapping.items():
        if column not in head:
            raise RideError(where, f"has no column {column!r} for {name} (it has {_few(head)})", "map another")
    if asked["time"] not in head:
        raise RideError(where, f"has no column time (it has {_few(head)})", 'map it: --map "time=COLUMN"')
    found = {}
    for name, column in asked.items():
        if column in head:
            at = head.index(column)
            texts = [row[at].strip() if at < len(row) else "" for row in rows[1:]]
            found[name] = [text.replace(",", ".") for text in texts] if decimal_comma and name != "time" else texts
    return found


def _few(head: list[str]) -> str:
    return ", ".join(name[:20] for name in head[:8])


def _time(where: str, row: int, text: str) -> datetime:
    why = "it is empty"
    for form in FORMS:
        try:
            found = datetime.strptime(text, form) if form else datetime.fromisoformat(text)
            return found.replace(tzinfo=None)
        except ValueError as fault:
            why = why if form else str(fault)
    told = f"time {text[:30]!r} is no date ({why[:60]})"
    raise RideError(f"{where}, row {row}", told, "write 2025-01-31 or 2025-01-31T07:00")


def _numbers(sheet: Sheet, what: str) -> Array | None:
    wanted, names = UNITS_OF[what]
    given = [name for name in names if name in sheet.columns]
    if len(given) > 1:
        raise RideError(sheet.where, f"gives {' and '.join(given)}", "map one of them")
    if not given:
        return None
    values = _plain_numbers(sheet, given[0])
    unit = names[given[0]]
    if values is None or unit == wanted:
        return values
    return from_si(values, wanted) if unit == "k" else convert(values, unit, wanted)


def _plain_numbers(sheet: Sheet, name: str) -> Array | None:
    texts = sheet.columns.get(name)
    if texts is None:
        return None
    found = np.full(len(texts), np.nan)
    for at, text in enumerate(texts):
        if not text or text.lower() in ("nan", "na", "null", "-"):
            continue
        try:
            found[at] = float(text)
        except ValueError:
            raise RideError(f"{sheet.where}, row {at + 2}", f"{name} {text[:20]!r} is no number", "mend it") from None
    if np.isinf(found).any():
        raise RideError(f"{sheet.where}, row {int(np.isinf(found).argmax()) + 2}", f"{name} is endless", "mend it")
    return found


def _refuse_temperature(sheet: Sheet, what: str, values: Array | None) -> None:
    if values is None or np.isnan(values).all():
        return
    low, mean, high = float(np.nanmin(values)), float(np.nanmean(values)), float(np.nanmax(values))
    said = f"{what} reads {low:.0f} to {high:.0f} °C, {mean:.0f} in the mean"
    if mean > KELVIN_FROM:
        raise RideError(sheet.where, f"{said}: that looks like kelvin", f"map the column as {what}_k")
    if mean > WARM_MEAN_C:
        raise RideError(sheet.where, f"{said}: that looks like Fahrenheit", f"map the column as {what}_f")
    _refuse_outside(sheet, f"{what}_c", values, COLDEST_C, WARMEST_C)


def _refuse_outside(sheet: Sheet, name: str, values: Array | None, low: float, high: float) -> None:
    if values is None:
        return
    wrong = np.flatnonzero((values < low) | (values > high))
    if wrong.size:
        at = int(wrong[0])
        more = f", and {wrong.size - 1} more rows" if wrong.size > 1 else ""
        what = f"{name} = {values[at]:g} (allowed {low:g} to {high:g}){more}"
        raise RideError(f"{sheet.where}, row {at + 2}", what, "mend it, or map it in its own unit")


def _wet(sheet: Sheet) -> Array | None:
    if "rain_mm" in sheet.columns:
        rain = _plain_numbers(sheet, "rain_mm")
        return None if rain is None else np.where(np.isnan(rain), np.nan, (rain >= WET_FROM_MM).astype(float))
    texts = sheet.columns.get("wet")
    if texts is None:
        return None
    for at, text in enumerate(texts):
        if text.lower() not in (*YES, *NO):
            raise RideError(f"{sheet.where}, row {at + 2}", f"wet is {text[:20]!r}", "write 1 or 0")
    return np.array([float(text.lower() in YES) for text in texts])


def _year(
    sheet: Sheet, found: Mapping[str, Array | None], turned: Array | None, wet: Array | None, latitude_deg: float
) -> WeatherYear:  # fmt: skip
    first, days = sheet.times[0].date(), (sheet.times[-1].date() - sheet.times[0].date()).days + 1
    if days > LONGEST_YEAR:
        months = round(days * MONTHS / LONGEST_YEAR)
        what = f"covers {days} days, about {months} months (a year has 365 or 366 days)"
        raise RideError(sheet.where, what, "cut it to one year")
    if days < SHORTEST_YEAR:
        raise RideError(sheet.where, f"covers {days} days (one year is 365 or 366)", "give every day of a year")
    midnight = datetime.combine(first, datetime.min.time())
    at = np.array([(moment - midnight).total_seconds() for moment in sheet.times]) / convert(1.0, "h", "s")
    daily = float(np.median(np.diff(at))) >= DAILY_STEP_H
    laid = _Days(sheet, at, days) if daily else _Hours(sheet, at, days)
    wind, angle = found["wind"], turned
    notes = [] if wind is not None else [f"{sheet.where} tells no wind: calm is taken."]
    heat = laid.temperature(found, latitude_deg)
    speed = np.zeros(days * HOURS) if wind is None else laid.spread("wind", wind)
    direction = np.zeros(days * HOURS) if angle is None else laid.direction(angle)
    damp = np.zeros(days * HOURS) if wet is None else laid.spread("wet", wet)
    return WeatherYear(
        Path(sheet.where).name, first, heat, speed, direction, damp >= 0.5, not daily, False, (*laid.notes, *notes)
    )


class _Hours:
    """Readings of an hour or less, gathered hour by hour."""

    def __init__(self, sheet: Sheet, at: Array, days: int) -> None:
        self.where, self.days = sheet.where, days
        self.hour = np.floor(at + 1e-9).astype(int)
        self.first = sheet.times[0].date()
        self.notes: list[str] = []

    def temperature(self, found: Mapping[str, Array | None], latitude_deg: float) -> Array:
        """Return the temperature of every hour [degC]. Raises RideError where none is told."""
        values = found["temperature"]
        if values is None:
            raise RideError(self.where, "has hours, but only lowest_c and highest_c", "map temperature_c")
        return self.spread("temperature", values)

    def spread(self, what: str, values: Array) -> Array:
        """Return the mean of every hour, short gaps filled from both sides. Raises RideError for long ones."""
        known = np.isfinite(values)
        total = np.bincount(self.hour[known], values[known], self.days * HOURS)
        count = np.bincount(self.hour[known], minlength=self.days * HOURS)
        return self._filled(what, np.divide(total, count, out=np.full(self.days * HOURS, np.nan), where=count > 0))

    def direction(self, degrees: Array) -> Array:
        """The mean direction of an hour is that of the mean vector: 350 and 10 degrees make 0."""
        east = self.spread("wind_from_deg", np.sin(np.radians(degrees)))
        north = self.spread("", np.cos(np.radians(degrees)))
        return np.asarray(np.mod(np.degrees(np.arctan2(east, north)), FULL_TURN_DEG))

    def _filled(self, what: str, hours: Array) -> Array:
        missing = np.isnan(hours)
        if not missing.any():
            return hours
        if missing.all():
            raise RideError(self.where, f"has no {what} at all", "map another column")
        edges = np.flatnonzero(np.diff(np.concatenate(([False], missing, [False])).astype(int))).reshape(-1, 2)
        start, end = max(edges.tolist(), key=lambda pair: pair[1] - pair[0])
        if end - start > LONGEST_FILLED_H:
            when = f"{date.fromordinal(self.first.toordinal() + start // HOURS)} {start % HOURS:02d}:00"
            what = f"{what or 'wind'} has a gap of {end - start} h from {when}"
            raise RideError(self.where, what, f"fill it: up to {LONGEST_FILLED_H} h are filled here")
        if what:
            self.notes.append(f"{int(missing.sum())} missing hours of {what} were filled from their neighbours.")
        known = np.flatnonzero(~missing)
        return np.asarray(np.interp(np.arange(len(hours)), known, hours[known]))


class _Days:
    """One reading a day; no day may be missing."""

    def __init__(self, sheet: Sheet, at: Array, days: int) -> None:
        self.where, self.days, self.notes = sheet.where, days, ["The weather is told by the day, not by the hour."]
        self.first = sheet.times[0].date()
        there = {moment.date() for moment in sheet.times}
        for day in range(days):
            when = date.fromordinal(self.first.toordinal() + day)
            if when not in there:
                missing = days - len(there)
                raise RideError(sheet.where, f"has a gap: {missing} days are missing, the first {when}", "fill it")
        if len(sheet.times) != days:
            raise RideError(sheet.where, f"has {len(sheet.times)} rows for {days} days", "give one a day, or each hour")

    def temperature(self, found: Mapping[str, Array | None], latitude_deg: float) -> Array:
        """Return the temperature of every hour [degC], from the day's ends or its mean. Raises RideError."""
        low, high, mean = found["lowest"], found["highest"], found["temperature"]
        if low is not None and high is not None:
            for name, values in (("lowest", low), ("highest", high)):
                self.spread(name, values)
            wrong = np.flatnonzero(low > high)
            if wrong.size:
                what = f"lowest_c is above highest_c ({low[wrong[0]]:g} and {high[wrong[0]]:g})"
                raise RideError(f"{self.where}, row {int(wrong[0]) + 2}", what, "swap the columns")
            self.notes.append(
                f"The hour's temperature follows Parton and Logan (1981) at {latitude_deg:g}° of latitude."
            )
            return hours_of_year(low, high, latitude_deg)
        assert mean is not None
        self.notes.append("Only the day's mean temperature is told: mornings are colder than ridden here.")
        return self.spread("temperature", mean)

    def spread(self, what: str, values: Array) -> Array:
        """Return a day's value for each of its hours. Raises RideError where a day has none."""
        if np.isnan(values).any():
            when = date.fromordinal(self.first.toordinal() + int(np.isnan(values).argmax()))
            raise RideError(self.where, f"has no {what} on {when}", "fill the gap")
        return np.repeat(values, HOURS)

    def direction(self, degrees: Array) -> Array:
        """Return where the wind comes from [deg] at every hour: the day's own."""
        return self.spread("wind_from_deg", degrees)
