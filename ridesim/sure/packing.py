"""From draws to columns: the drawn keys laid into the build, estimates anew, and what moves beside the build."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.bike.second import PREFIX, drives_of
from ridesim.engine.estimates import estimate
from ridesim.ride.keyed import laid_in
from ridesim.ride.packed import Ground, Moved, ground_of
from ridesim.ride.running import RideOptions
from ridesim.road.profile import Road
from ridesim.road.smooth import grade_of, running_integral, sine_of, smoother
from ridesim.sure.uncertain import ALTITUDE, MOVING, NO_LOAD, ROLLING, STILL, Doubts, open_value, scatter_m

Array = NDArray[np.float64]
S = TypeVar("S", bound=BaseModel)

STEEPEST_SINE = 0.95
"""As steep as a noisy road may get."""
SEEDS = 2**53


@dataclass(frozen=True, eq=False)
class Packer:
    """What all draws of one ride share. The speed plan is the rider's, who does not know the draws."""

    doubts: Doubts
    ground: Ground

    @property
    def build(self) -> Build:
        """The build as it stands."""
        return self.ground.loaded.build


def packer(loaded: LoadedBuild, road: Road, options: RideOptions, doubts: Doubts) -> Packer:
    """Return what the draws of one ride share. Raises RideError for options out of range."""
    return Packer(doubts, ground_of(loaded, road, options))


def pack(p: Packer, draws: Mapping[str, Any]) -> tuple[Build, Moved]:
    """Return draws, a value or a column by key, as a build and what moves beside it; no keys: as it stands."""
    rolling = {key.removeprefix(ROLLING): value for key, value in draws.items() if key.startswith(ROLLING)}
    course = None
    if ALTITUDE in draws:
        shares, noise = np.atleast_1d(draws[ALTITUDE]), noise_of(p.ground.road)

        def course(row: int) -> tuple[Array, Array, Array]:
            """Return altitude [m], sine and cosine of the road as one draw has it."""
            altitude, sine = noise(float(shares[row]))
            return altitude, sine, np.sqrt(1.0 - sine * sine)

    drag, second = draws.get(NO_LOAD, 1.0), draws.get(f"{PREFIX}{NO_LOAD}", 1.0)
    return changed(p.build, p.doubts, draws), Moved(drag, second, rolling, course)


def in_row(section: S, row: int) -> S:
    """Return a section of a build, its own sections too, as one draw of a build with columns has it."""
    update: dict[str, Any] = {}
    for name in type(section).model_fields:
        value = getattr(section, name)
        if isinstance(value, BaseModel):
            update[name] = in_row(value, row)
        elif isinstance(value, np.ndarray):
            update[name] = float(value[row])
    return section.model_copy(update=update)


def changed(build: Build, doubts: Doubts, draws: Mapping[str, Any]) -> Build:
    """Return the build with drawn keys; a key left open moves the estimate made of the drawn mass and size.

    Unchecked: each value lies in its key's allowed range.
    """
    plain: dict[str, Any] = {}
    opened: dict[str, Any] = {}
    for each in doubts.numbers:
        if each.key not in draws or each.key.removeprefix(PREFIX) == NO_LOAD or each.key.startswith("road."):
            continue
        if each.is_open:
            opened[each.key] = draws[each.key] / each.value
        else:
            plain[each.key] = draws[each.key]
    for prefix, drive in zip(("", PREFIX), drives_of(build), strict=False):
        still, moving = f"{prefix}{STILL}", f"{prefix}{MOVING}"
        if still in plain:
            stated = drive.motor.body_to_air_still_w_per_k or 0.0
            plain[moving] = plain[still] / stated * (drive.motor.body_to_air_at_36_km_h_w_per_k or 0.0)
        if still in opened:
            opened[moving] = opened[still]
    build = laid_in(build, plain) if plain else build
    return laid_in(build, dict(_moved_estimates(build, opened))) if opened else build


def _moved_estimates(build: Build, opened: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """Yield each key left open with its estimate, of the drawn mass and size, times its factor."""
    found = [estimate(drive) for drive in drives_of(build)]
    for key, factor in opened.items():
        own = key.removeprefix(PREFIX)
        yield key, factor * open_value(own, found[own != key])


def noisy(road: Road, share: float) -> Road:
    """Return the road with one course of the noise that smoothing left in it, picked by a share from 0 to 1."""
    altitude, sine = noise_of(road)(share)
    return replace(road, altitude_m=altitude, grade=grade_of(sine))


def noise_of(road: Road) -> Callable[[float], tuple[Array, Array]]:
    """Return what gives a road's altitudes [m] and sines of its slope with one course of noise, by a share 0 to 1.

    White noise of the recording's own scatter at the recorded points goes through the same smoothing as they did.
    """
    assert road.cleaning is not None, "only a recording has noise"
    points = max(2, min(road.cleaning.points_used, len(road.distance_m)))
    scatter, at, sine = scatter_m(road), np.linspace(0.0, road.length_m, points), sine_of(road.grade)
    smooth = smoother(len(road.distance_m), road.spacing_m, road.cleaning.smoothing_m)

    def course(share: float) -> tuple[Array, Array]:
        """Return altitude [m] and sine with the error that goes with a share (0 to 1) of its seeds."""
        white = np.random.default_rng(int(share * SEEDS)).normal(0.0, scatter, points)
        error = smooth(np.interp(road.distance_m, at, white))
        moved = np.clip(sine + np.gradient(error, road.spacing_m), -STEEPEST_SINE, STEEPEST_SINE)
        return road.altitude_m + running_integral(moved - sine, road.spacing_m), moved

    return course
