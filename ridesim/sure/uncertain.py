"""What is uncertain about a bike, its road and its day: each number with its value, its tolerance and whose it is."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from ridesim.bike.keys import bike_keys
from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.bike.second import PREFIX, seen_by_second
from ridesim.bike.tolerance import Stated, Together, key_of
from ridesim.engine.estimates import Estimates, estimate
from ridesim.errors import BuildError
from ridesim.physics.pack import CAPACITY_REFERENCE_C
from ridesim.road.profile import Road
from ridesim.schema.keys import Key
from ridesim.schema.tolerance import EXACT, Tolerance, parse_tolerance

Whose = Literal["default", "estimate", "given", "stated", "road"]

ALTITUDE = "road.altitude"
"""The noise that smoothing leaves in a recording's altitude; its draw picks one course of it."""
ROLLING = "road.rolling."
"""With the name of a surface: its rolling, as a factor."""
NO_LOAD = "motor.no_load"
"""Hysteresis and eddy drag together, as a factor."""
BRAKES = "brakes."
OF_A_DRIVE = ("drive", "motor", "controller")
"""Sections that a second, different drive has too."""
STILL, MOVING = "motor.body_to_air_still_w_per_k", "motor.body_to_air_at_36_km_h_w_per_k"
"""Both are drawn with one factor: moving air cools more in every draw."""

SURFACE_TOLERANCE = parse_tolerance("x/ 1.3")
"""Rolling of a surface other than asphalt, over asphalt's (guess: published factors differ by 1.2 to 1.6)."""
FACTOR_BOUNDS = (0.05, 20.0)
LEAST_SCATTER_M = 1e-3
"""A recording that scatters less than a millimetre was made, not recorded."""
WIND = ("weather.wind_from_deg", "weather.wind_exposure")
"""Without wind there is nothing to turn or to shelter."""
COLD_KEYS = ("pack.cell.cold_capacity_loss_percent", "pack.cell.cold_capacity_activation_kj_per_mol")
SLOW_PART = "pack.cell.polarisation_resistance_mohm"
RISES = ("pack.cell.activation_kj_per_mol", "pack.cell.polarisation_activation_kj_per_mol")
"""Read only where they tell something: in the cold, of a whole that is not stated, of a rise that is not stated."""


@dataclass(frozen=True)
class Uncertain:
    """One number that is not known exactly, in its key's unit; factors have the value 1."""

    key: str
    value: float
    tolerance: Tolerance
    low: float
    high: float
    whose: Whose
    is_open: bool = False
    """Left open in the build and estimated: the draw moves the estimate, which is taken anew in each draw."""

    @property
    def standard_deviation(self) -> float:
        """One standard deviation, in the key's unit."""
        return self.tolerance.standard_deviation(self.value)


@dataclass(frozen=True)
class Doubts:
    """Everything uncertain about one ride, in a fixed order; groups of keys that are drawn together; and notes."""

    numbers: tuple[Uncertain, ...]
    together: tuple[Together, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys in their order."""
        return tuple(each.key for each in self.numbers)


def doubts_of(loaded: LoadedBuild, road: Road, only: tuple[str, ...] = ()) -> Doubts:
    """Return what is uncertain; `only`: these keys alone. Raises BuildError for a key that this bike has not."""
    found = [*_of_bike(loaded), *_of_road(road)]
    known = {each.key for each in found}
    _refuse_strangers(loaded, known)
    together = tuple(group for group in loaded.stated.together if set(group.keys) <= known)
    if only:
        _refuse_unknown(only, known)
        found = [each for each in found if each.key in only]
        together = tuple(group for group in together if set(group.keys) <= set(only))
    if not found:
        raise BuildError(loaded.path, "nothing about this ride is uncertain", "state a tolerance under [tolerance]")
    return Doubts(tuple(found), together, _notes(loaded, road))


def doubts_of_bike(loaded: LoadedBuild) -> Doubts:
    """Return what is uncertain about a bike alone, whatever it rides on. Raises BuildError as `doubts_of`."""
    found = tuple(_of_bike(loaded))
    known = {each.key for each in found}
    _refuse_strangers(loaded, known)
    return Doubts(found, tuple(group for group in loaded.stated.together if set(group.keys) <= known))


def is_certain(loaded: LoadedBuild, road: Road) -> bool:
    """Return whether nothing at all is uncertain."""
    return next(iter((*_of_bike(loaded), *_of_road(road))), None) is None


def _refuse_strangers(loaded: LoadedBuild, known: set[str]) -> None:
    """Raise BuildError for a stated tolerance of something that this build does not have."""
    stated = [key for key, each in loaded.stated.by_key.items() if each.kind != "exact"]
    for key in [*stated, *(key for group in loaded.stated.together for key in group.keys)]:
        if key not in known and key.removeprefix(PREFIX) not in (MOVING, NO_LOAD):
            why = "its value is 0, or this bike has none"
            raise BuildError(
                loaded.path, f"tolerance: {key} cannot be off here ({why})", "leave it out, or give a value"
            )


def _refuse_unknown(only: tuple[str, ...], known: set[str]) -> None:
    for key in only:
        if key not in known:
            near = sorted(name for name in known if name.startswith(key)) or difflib.get_close_matches(
                key, known, 1, 0.5
            )
            hint = f"did you mean {near[0]}?" if near else f"uncertain here: {', '.join(sorted(known))}"
            raise BuildError("--only", f"{key} is not uncertain in this ride", hint)


def _of_bike(loaded: LoadedBuild) -> Iterator[Uncertain]:
    yield from _of_keys(loaded, bike_keys())
    if loaded.build.second is not None:
        own = (key for key in bike_keys() if key.section.partition(".")[0] in OF_A_DRIVE)
        for each in _of_keys(as_second_sees(loaded), own):
            yield replace(each, key=f"{PREFIX}{each.key}")


def as_second_sees(loaded: LoadedBuild) -> LoadedBuild:
    """Return a build of two different drives with what is said of the second one in the first one's place."""
    mine = [(key.removeprefix(PREFIX), each) for key, each in loaded.stated.by_key.items() if key.startswith(PREFIX)]
    groups = tuple(
        Together(tuple(key.removeprefix(PREFIX) if key.startswith(PREFIX) else f"first.{key}" for key in group.keys),
                 group.covariance)
        for group in loaded.stated.together
    )  # fmt: skip
    given = frozenset(key.removeprefix(PREFIX) for key in loaded.given if key.startswith(PREFIX))
    return replace(loaded, build=seen_by_second(loaded.build), given=given, stated=Stated(dict(mine), groups))


def _of_keys(loaded: LoadedBuild, keys: Iterator[Key]) -> Iterator[Uncertain]:
    build, found = loaded.build, estimate(loaded.build)
    drawn_together = {key for group in loaded.stated.together for key in group.keys}
    for key in keys:
        for path, value in _places(build, key):
            stated = _stated(loaded, path)
            if key.tolerance is None and stated is None and path not in drawn_together:
                continue
            made = _one(loaded, key, path, value, stated, found)
            if made is not None and (made.tolerance.kind != "exact" or path in drawn_together):
                yield made


def _stated(loaded: LoadedBuild, path: str) -> Tolerance | None:
    """The stated tolerance of a number; either of the two cooling conductances states that of both."""
    by_key = loaded.stated.by_key
    return by_key.get(path, by_key.get(MOVING) if path == STILL else None)


def _one(
    loaded: LoadedBuild, key: Key, path: str, value: Any, stated: Tolerance | None, found: Estimates
) -> Uncertain | None:
    if path == MOVING or _unread(path, loaded):
        return None
    is_given = any(name == path or name.startswith(f"{path}.") for name in loaded.given)
    low, high = key.bounds
    is_open = False
    if path == NO_LOAD and None not in (loaded.build.motor.drag_torque_nm, loaded.build.motor.drag_growth_nm_s):
        return None  # the two terms are stated, and no_load is not read
    if path == NO_LOAD:
        value, (low, high) = 1.0, FACTOR_BOUNDS
    elif value is None:
        value = _made(path, loaded, found)
        is_open = not key.name.startswith("efficiency") and not path.startswith(BRAKES)
    if not isinstance(value, int | float) or isinstance(value, bool):
        return None
    tolerance = stated or EXACT
    if stated is None and key.tolerance is not None:
        tolerance = key.tolerance.given if is_given else key.tolerance.guess
    relative = tolerance.kind == "log-normal" or tolerance.relative
    if (relative and value == 0.0) or (path in WIND and loaded.build.weather.wind_speed_km_h == 0.0):
        return None
    whose: Whose = "stated" if stated else "given" if is_given else "estimate" if is_open else "default"
    return Uncertain(path, float(value), tolerance, low, high, whose, is_open)


def _unread(path: str, loaded: LoadedBuild) -> bool:
    """Return whether no ride of this day reads a key.

    Those of the cold on a warm day, a part where the whole is told, a brake that nobody stated.
    """
    build = loaded.build
    if path.startswith(BRAKES):
        return not _has_brake(build, path)
    if path in COLD_KEYS:
        air, pack_c = build.weather.temperature_c, build.pack.start_temperature_c
        return min(air, air if pack_c is None else pack_c) >= CAPACITY_REFERENCE_C
    whole, cold = build.pack.cell.steady_resistance_mohm, build.pack.cell.steady_resistance_0_c_mohm
    return (path == SLOW_PART and whole is not None) or (path in RISES and cold is not None)


def _has_brake(build: Build, path: str) -> bool:
    """Return whether a brake's heat is judged: it is there, and the builder said what both are."""
    wheel = path.split(".")[1]
    return build.brakes.stated and getattr(getattr(build.brakes, wheel, None), "kind", "") != "none"


def _made(path: str, loaded: LoadedBuild, found: Estimates) -> float | None:
    """Return the value that stands in for a key left open."""
    if path.startswith(BRAKES) and path.count(".") == 2:
        _, wheel, name = path.split(".")
        return getattr(getattr(loaded.build.brakes, wheel).lump, name, None)
    if path.startswith("drive.stage.") and path.endswith(".efficiency"):
        return loaded.build.drive.stage[int(path.split(".")[2])].load_efficiency
    return open_value(path, found)


def open_value(path: str, found: Estimates) -> float | None:
    """Return the estimate of a key left open, or None where there is none."""
    name = "pack_to_air_w_per_k" if path == "pack.to_air_w_per_k" else path.rpartition(".")[2]
    return getattr(found, name, None)


def _places(build: Any, key: Key) -> Iterator[tuple[str, Any]]:
    """Yield (dotted key, value) of a key of the schema in a build; once for each table of an array."""
    holders = [("", build)]
    for step in key.section.split(".") if key.section else ():
        inner = []
        for path, holder in holders:
            value = getattr(holder, step)
            many = enumerate(value) if isinstance(value, tuple) else None
            inner += [(f"{path}{step}.{at}.", item) for at, item in many] if many else [(f"{path}{step}.", value)]
        holders = inner
    for path, holder in holders:
        yield f"{path}{key.name}", getattr(holder, key.name, None)


def _of_road(road: Road) -> Iterator[Uncertain]:
    for surface in sorted(set(road.surface) - {"asphalt"}):
        yield Uncertain(f"{ROLLING}{surface}", 1.0, SURFACE_TOLERANCE, *FACTOR_BOUNDS, "road")
    if scatter_m(road) > LEAST_SCATTER_M:
        picks = Tolerance("uniform", 0.5, said=f"scatter {scatter_m(road):.2f} m")
        yield Uncertain(ALTITUDE, 0.5, picks, 0.0, 1.0, "road")


def scatter_m(road: Road) -> float:
    """Return how far a recording's altitudes scatter about the smoothed road, one deviation [m]; 0: none recorded."""
    if road.recorded_altitude_m is None or road.cleaning is None:
        return 0.0
    return float(np.std(road.recorded_altitude_m - road.altitude_m))


def _notes(loaded: LoadedBuild, road: Road) -> tuple[str, ...]:
    notes = []
    if loaded.build.weather.wind_speed_km_h == 0.0:
        notes.append("No wind is given, so none is drawn: give weather.wind_speed_km_h to see what the wind adds.")
    if road.recorded_altitude_m is None and road.cycle is None:
        notes.append("The road was made, not recorded: its altitudes count as exact.")
    return tuple(notes)


def measured_tolerance(key: str) -> Tolerance | None:
    """Return how sure a key is after the builder has measured it; None: the schema knows no measurement."""
    for each in bike_keys(second=True):
        if f"{each.section}.{each.name}".lstrip(".") == key_of(key) and each.tolerance is not None:
            return each.tolerance.measured
    return None
