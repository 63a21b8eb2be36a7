"""Runs of plain track points, lifted out of a GPX file by a pattern: no element but altitude and time.

They are most of most files, and cost a third this way. Only whole points are lifted, from where a point may stand, so
the rest is as well-formed without them as with them.
"""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from ridesim.road.clock import PLAIN, plain_seconds, seconds_of

Array = NDArray[np.float64]
Columns = tuple[Array, Array, Array, Array]

_NUMBER = rb"-?[0-9]{1,6}+(?:\.[0-9]{1,20}+)?+"
_POINT = (
    rb'\s*+<trkpt\s++lat="(' + _NUMBER + rb')"\s++lon="(' + _NUMBER + rb')"\s*+>'
    rb"(?:\s*+<ele>(" + _NUMBER + rb")</ele>)?+(?:\s*+<time>([0-9TZ:-]{%d})</time>)?+\s*+</trkpt>" % len(PLAIN)
)
ONE = re.compile(_POINT)
RUN = re.compile(b"(?>" + re.sub(rb"(?<!\\)\((?!\?)", b"(?:", _POINT) + b")++")


def plain_points(piece: bytes, start: int) -> tuple[Columns, int, int] | None:
    """Return (latitude, longitude, altitude, time) of the points right at `start`, where they end, and bad times."""
    run = RUN.match(piece, start)
    if run is None:
        return None
    rows = ONE.findall(piece, start, run.end())
    latitude, longitude, altitude, time = zip(*rows, strict=True)
    seconds, bad = _times(time)
    columns = (
        np.array([float(text) for text in latitude]),
        np.array([float(text) for text in longitude]),
        np.array([float(text) if text else np.nan for text in altitude]),
        seconds,
    )
    return columns, run.end(), bad


def _times(texts: tuple[bytes, ...]) -> tuple[Array, int]:
    """Return seconds since 1970, nan where there is no time, and how many texts are no time."""
    joined = b"".join(texts)
    plain = plain_seconds(joined) if len(joined) == len(PLAIN) * len(texts) else None
    return (plain, 0) if plain is not None else seconds_of([text.decode("ascii") for text in texts])
