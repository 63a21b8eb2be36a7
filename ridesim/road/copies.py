"""What is written twice in one file: the same places at the same times again, and parts out of the clock's order."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ridesim.road.gpx import RawTrack
from ridesim.road.mendings import Fault, faults_of

COPIED_LEAST = 3  # guess: fewer points than this are repeats or disorder, which have their own rules

Mask = NDArray[np.bool_]


def without_copies(track: RawTrack, faults: list[Fault]) -> RawTrack:
    """Return the track without points that repeat earlier ones, time and place, and add each run as a fault."""
    copied = copied_points(track)
    if not copied.any():
        return track
    faults += faults_of("copied", track.number[copied], track.number)
    return track.kept(~copied)


def copied_points(track: RawTrack) -> Mask:
    """Return which points belong to a run that repeats earlier points at the same times and places.

    The clock must have gone back before the run: a receiver that stands, or a clock that ticks in minutes, repeats a
    time and a place as well, and an untimed lap repeats its places.
    """
    copied = np.zeros(len(track.time_s), dtype=bool)
    known = np.isfinite(track.time_s)
    if not (np.diff(track.time_s[known]) < 0.0).any():
        return copied
    columns = np.column_stack((track.time_s, track.latitude_deg, track.longitude_deg))
    _, first, group = np.unique(columns, axis=0, return_index=True, return_inverse=True)
    copied = known & (first[group.reshape(-1)] < np.arange(len(known)))
    latest = np.fmax.accumulate(np.where(known, track.time_s, -np.inf))
    edges = np.flatnonzero(np.diff(np.concatenate(([0], copied.astype(np.int8), [0]))))
    for start, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if after - start < COPIED_LEAST or not track.time_s[start] < latest[start - 1]:
            copied[start:after] = False
    return copied


def told_of_earlier_parts(track: RawTrack) -> list[Fault]:
    """Return a fault for each segment whose clock begins before that ahead of it ends; inside, clocks are in order."""
    timed = np.flatnonzero(np.isfinite(track.time_s))
    falls = np.diff(track.time_s[timed]) < 0.0
    pairs = zip(timed[:-1][falls].tolist(), timed[1:][falls].tolist(), strict=True)
    return [Fault("earlier_part", int(track.number[last]), int(track.number[first]), 0) for last, first in pairs]
