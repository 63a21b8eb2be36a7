"""GPX as a stream: the parser of the standard library (expat) reads a piece at a time and keeps columns, no objects.

Refused on the way: document type declarations (they can hide an attack, GPX never needs one), nesting, tokens and
numbers of elements without end. Names are read without their namespace prefix, as recorders disagree on it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RoadError
from ridesim.road.clock import seconds_of
from ridesim.road.limits import GPX_BYTES, GPX_DEPTH, GPX_POINTS
from ridesim.road.plain import Columns, plain_points
from ridesim.schema.source import reason_of, refuse_unless_file

PIECE_BYTES = 1 << 20
LONGEST_TOKEN_BYTES = 4 << 20
BATCH_POINTS = 50_000
MOST_NAMES = 10_000
MOST_ELEMENTS, MOST_ELEMENTS_A_POINT = 2_000_000, 60  # guess: a point with every extension of a sports watch has 25
MOST_LISTS = 200_000
LONGEST_NAME = 200

POINT_BEGINS = b"<trkpt"
POINTS = {"trkpt": "track", "rtept": "route"}
HOLDERS = ("trk", "rte", "metadata", "gpx")
AGAIN = "export the track again as GPX 1.1"

Array = NDArray[np.float64]


@dataclass
class Lines:
    """The points of all tracks (or all routes) of a file, in batches, and how many each segment has."""

    counts: list[int] = field(default_factory=list)
    owners: int = 0
    """Tracks or routes that have points."""
    is_fresh: bool = True
    """Whether a track or route has begun that has no point yet."""
    columns: list[tuple[Array, Array, Array, Array]] = field(default_factory=list)
    bad_times: int = 0

    def stacked(self) -> tuple[Array, Array, Array, Array]:
        """Return latitude, longitude, altitude and time of every point."""
        if not self.columns:
            return np.empty(0), np.empty(0), np.empty(0), np.empty(0)
        latitude, longitude, altitude, time = (np.concatenate(parts) for parts in zip(*self.columns, strict=True))
        return latitude, longitude, altitude, time


@dataclass
class Found:
    """What a GPX file holds."""

    names: dict[str, str] = field(default_factory=dict)
    track: Lines = field(default_factory=Lines)
    route: Lines = field(default_factory=Lines)
    waypoints: int = 0


class _Reader:
    """Handlers of one file. Rows wait as text until a batch is full."""

    def __init__(self, path: Path, parser: expat.XMLParserType) -> None:
        self.path, self.parser, self.found = path, parser, Found()
        self.open: list[str] = []
        self.local: dict[str, str] = {}
        self.texts: list[str] = []
        self.latitude: list[str | None] = []
        self.longitude: list[str | None] = []
        self.altitude: list[str | None] = []
        self.time: list[str | None] = []
        self.lines: Lines | None = None
        self.elements = self.points = self.done = self.fed = self.lines_lifted = 0
        self.in_cdata = False
        parser.StartElementHandler = self.start
        parser.EndElementHandler = self.end
        parser.StartDoctypeDeclHandler = self.refuse_doctype
        parser.StartCdataSectionHandler = lambda: setattr(self, "in_cdata", True)
        parser.EndCdataSectionHandler = lambda: setattr(self, "in_cdata", False)

    def refuse(self, what: str, to_do: str = AGAIN) -> RoadError:
        """Return the fault of this file: what is wrong and what to do."""
        return RoadError(str(self.path), what, to_do)

    def refuse_doctype(self, *_: object) -> None:
        """Raise RoadError for a declaration of the document's type."""
        what = "holds a DOCTYPE declaration, which a GPX file never needs and which can hide an attack"
        raise self.refuse(what, "export the track again, or delete that declaration")

    def start(self, name: str, attributes: list[Any]) -> None:
        """Take the beginning of an element. Raises RoadError for what is no GPX, or is nested too deeply."""
        self.elements += 1
        local = self.local.get(name) or self.new_name(name)
        depth = len(self.open)
        if local in ("ele", "time"):
            if depth and self.open[-1] in POINTS:
                self.parser.CharacterDataHandler = self.texts.append
        elif local in POINTS:
            self.begin_point(local, attributes)
        elif depth == 0 and local != "gpx":
            raise self.refuse("is XML but not GPX (no <gpx> element)", "export the track as GPX 1.1")
        elif depth >= GPX_DEPTH:
            raise self.refuse(f"is nested too deeply for GPX (more than {GPX_DEPTH} elements)")
        else:
            self.begin_other(local)
        self.open.append(local)

    def begin_point(self, local: str, attributes: list[Any]) -> None:
        """Begin a row: latitude and longitude [deg] as text, altitude and time still unknown."""
        lines = self.found.track if local == "trkpt" else self.found.route
        if self.lines is not lines:
            self.flush()
            self.lines = lines
        self.count_points(lines, 1)
        if attributes[::2] != ["lat", "lon"]:
            given = dict(zip(attributes[::2], attributes[1::2], strict=True))
            attributes = ["lat", given.get("lat"), "lon", given.get("lon")]
        self.latitude.append(attributes[1])
        self.longitude.append(attributes[3])
        self.altitude.append(None)
        self.time.append(None)

    def count_points(self, lines: Lines, count: int) -> None:
        """Count points into the open segment; its first point makes a track or route one that has any."""
        if lines.is_fresh:
            lines.owners, lines.is_fresh = lines.owners + 1, False
            self.begin_list(lines)
        lines.counts[-1] += count
        self.points += count

    def begin_other(self, local: str) -> None:
        """Take the beginning of a track, a route, a segment, a waypoint or a name."""
        found = self.found
        if local == "trk" or local == "rte":
            lines = found.track if local == "trk" else found.route
            lines.is_fresh = True
            self.begin_list(lines)
        elif local == "trkseg":
            self.begin_list(found.track)
        elif local == "wpt":
            found.waypoints += 1
        elif local == "name" and self.open[-1] in HOLDERS:
            self.parser.CharacterDataHandler = self.texts.append

    def begin_list(self, lines: Lines) -> None:
        """Begin a segment, unless the last is still empty. Raises RoadError for too many."""
        if not lines.counts or lines.counts[-1]:
            lines.counts.append(0)
        if len(lines.counts) > MOST_LISTS:
            raise self.refuse(f"has more than {MOST_LISTS} segments")

    def end(self, name: str) -> None:
        """Take the end of an element, with the text of an altitude, a time or a name."""
        local = self.open.pop()
        if local in POINTS:
            if len(self.latitude) >= BATCH_POINTS:
                self.flush()
        elif self.parser.CharacterDataHandler is not None and local in ("ele", "time", "name"):
            self.parser.CharacterDataHandler = None
            text = "".join(self.texts)
            self.texts.clear()
            if local == "ele":
                self.altitude[-1] = text
            elif local == "time":
                self.time[-1] = text
            else:
                self.found.names.setdefault(self.open[-1], " ".join(text.split())[:LONGEST_NAME])

    def new_name(self, name: str) -> str:
        """Return a name without its prefix, and keep it; there are never many."""
        if len(self.local) >= MOST_NAMES:
            raise self.refuse("has too many kinds of elements for GPX")
        local = name.rpartition(":")[2]
        self.local[name] = local
        return local

    def flush(self) -> None:
        """Turn the waiting rows into columns."""
        if self.lines is None or not self.latitude:
            return
        place = [self.numbers(name, texts) for name, texts in (("lat", self.latitude), ("lon", self.longitude))]
        altitude = self.numbers("ele", self.altitude)
        time, bad = seconds_of(self.time)
        self.lines.columns.append((place[0], place[1], altitude, time))
        self.lines.bad_times += bad
        self.done += len(self.latitude)
        for texts in (self.latitude, self.longitude, self.altitude, self.time):
            texts.clear()

    def numbers(self, name: str, texts: list[Any]) -> Array:
        """Return texts as numbers; an altitude that is missing or empty is nan."""
        try:
            return np.array([float(text) for text in texts])
        except (TypeError, ValueError):
            pass
        return np.array([self.number(name, text, row) for row, text in enumerate(texts, start=self.done + 1)])

    def number(self, name: str, text: str | None, row: int) -> float:
        """Return one text as a number, nan for an altitude [m] left open. Raises RoadError that names the point."""
        if name == "ele" and (text is None or not text.strip()):
            return np.nan
        try:
            return float(text or "")
        except ValueError:
            shown = "missing" if text is None else f'"{" ".join(text.split())[:40]}"'
            what = f"breaks the rules of GPX ({name} is {shown})"
            raise RoadError(f"{self.path}, point {row}", what, AGAIN) from None

    def feed(self, piece: bytes) -> None:
        """Hand a piece to the parser."""
        self.parser.Parse(piece, False)
        self.fed += len(piece)

    def may_lift(self) -> bool:
        """Return whether the next byte stands where a point may begin: in a segment, and in no comment or CDATA."""
        return (
            bool(self.open)
            and self.open[-1] == "trkseg"
            and not self.in_cdata
            and self.parser.CurrentByteIndex == self.fed
        )

    def add_plain(self, columns: Columns, line_count: int, bad_times: int) -> None:
        """Add lifted points behind those that wait."""
        self.flush()
        self.lines = self.found.track
        self.count_points(self.lines, len(columns[0]))
        self.lines.columns.append(columns)
        self.lines.bad_times += bad_times
        self.lines_lifted += line_count
        self.done += len(columns[0])

    def look(self) -> None:
        """Raise RoadError where a file has no end in sight."""
        if self.fed - self.parser.CurrentByteIndex > LONGEST_TOKEN_BYTES or len(self.texts) > MOST_NAMES:
            raise self.refuse("has an element or a comment without end")
        if self.points > GPX_POINTS:
            raise self.refuse(f"has more than {GPX_POINTS} points", "cut the recording into several")
        if self.elements > MOST_ELEMENTS + MOST_ELEMENTS_A_POINT * self.points or len(self.parser.intern) > MOST_NAMES:
            raise self.refuse("has far more other elements than points")


OTHER_KINDS = (
    (b"\x1f\x8b", 0, "is compressed (gzip)", "unpack it, then give the GPX file"),
    (b"PK\x03\x04", 0, "is a zip archive", "unpack it, then give the GPX file in it"),
    (b".FIT", 8, "is a binary recording of a bicycle computer", "export it as GPX"),
)
"""First bytes and their place, what they mean, what to do: gzip by RFC 1952, the others as published."""


def read_gpx(path: Path) -> Found:
    """Return the points and names of a GPX file. Raises RoadError for what is no GPX, or has no end."""
    refuse_unless_file(path, GPX_BYTES, RoadError)
    parser = expat.ParserCreate()
    parser.ordered_attributes = True
    parser.buffer_text, parser.buffer_size = True, 1 << 16
    reader = _Reader(path, parser)
    try:
        with path.open("rb") as file:
            _feed(reader, file)
    except OSError as error:
        raise RoadError(str(path), f"cannot be read ({reason_of(error)})", "check the path") from None
    reader.flush()
    return reader.found


def _feed(reader: _Reader, file: Any) -> None:
    try:
        while piece := file.read(PIECE_BYTES):
            if not reader.fed:
                _refuse_other_kinds(reader, piece)
            _feed_piece(reader, piece + file.readline(PIECE_BYTES))
            reader.look()
        reader.parser.Parse(b"", True)
    except expat.ExpatError as error:
        raise _told(reader, error) from None
    except (ValueError, LookupError):  # an encoding that Python does not know, or a name that is no text
        raise reader.refuse("cannot be read as text (its encoding is not known)", "save the file as UTF-8") from None


def _refuse_other_kinds(reader: _Reader, piece: bytes) -> None:
    """Refuse by name what people take for a GPX file, told by its first bytes. Raises RoadError."""
    for mark, at, what, to_do in OTHER_KINDS:
        if piece[at : at + len(mark)] == mark:
            raise reader.refuse(what, to_do)


def _feed_piece(reader: _Reader, piece: bytes) -> None:
    """Feed a piece to the parser, less the runs of plain points in it, which are lifted out."""
    at = 0
    while at < len(piece):
        lifted = plain_points(piece, at) if reader.may_lift() else None
        if lifted is not None:
            columns, end, bad_times = lifted
            reader.add_plain(columns, piece.count(b"\n", at, end), bad_times)
            at = end
        point = piece.find(POINT_BEGINS, at + 1)
        end = point if point > 0 else len(piece)
        reader.feed(piece[at:end])
        at = end


def _told(reader: _Reader, error: expat.ExpatError) -> RoadError:
    what = expat.ErrorString(error.code)
    if error.code == expat.errors.codes[expat.errors.XML_ERROR_UNKNOWN_ENCODING]:
        return reader.refuse("cannot be read as text (unknown encoding)", "save the file as UTF-8")
    if not reader.elements:
        return reader.refuse(f"is not XML ({what})", "give a GPX file, exported as GPX 1.1")
    where = f"line {error.lineno + reader.lines_lifted}, column {error.offset + 1}"
    return reader.refuse(f"is broken XML ({what}, {where})", "export the track again; the file may be cut short")
