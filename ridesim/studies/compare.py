"""Which build? Two or more on one or more roads, side by side, the largest differences first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.bike.rough import wheel_kv_rpm_per_v
from ridesim.bike.schema import Build
from ridesim.bike.second import drives_of, seen_by_second
from ridesim.engine.gearing import wheel_radius
from ridesim.engine.second_share import full_force as compiled_full_force
from ridesim.engine.state import Channel, Parameters
from ridesim.errors import RideError
from ridesim.jit import plain
from ridesim.physics.motor import winding_resistance
from ridesim.ride.drives import each_drive
from ridesim.ride.judge import judge
from ridesim.ride.ledger import LOSS_LINES
from ridesim.ride.range import read_range
from ridesim.ride.simulate import Ride, RideOptions, as_loaded
from ridesim.road.load import load_road
from ridesim.road.profile import Road
from ridesim.studies.compare_rows import RoadRide, Row, rows_of
from ridesim.studies.many import Done, Wish, ride_many, until_empty_options
from ridesim.studies.run_up import level_road, run_up_wish, steepest_start_percent, time_to_s
from ridesim.studies.top_speed import TopSpeed, top_speeds
from ridesim.sure.common import Candidate, Common, in_common
from ridesim.units import UNITS

MOST_BUILDS, MOST_ROADS = 8, 12
PUSH_N = 100.0
"""Wheel force at which the drives' copper losses are compared: a loaded bike on 6 % asks about that (guess)."""
ACCELERATE_TO_KM_H = 25.0
"""Speed to which a start is timed (guess)."""
full_force = plain(compiled_full_force)


@dataclass(frozen=True, eq=False)
class Entry:
    """One build of a comparison: what it weighs, and what its drive is. Masses in kg."""

    label: str
    loaded: LoadedBuild
    masses_kg: Mapping[str, float]
    pack_wh: float
    wheel_kv_rpm_per_v: float
    second_wheel_kv_rpm_per_v: float | None
    copper_at_push_w: float
    top_speed_cold_pedalled_start_charge_km_h: float
    top_speed_cold_pedalled_half_charge_km_h: float
    accelerate_s: float | None
    steepest_start_percent: float


@dataclass(frozen=True, eq=False)
class RoadComparison:
    """All builds on one road; `rows` are sorted by how much the builds differ, the largest first."""

    road: Road
    rides: tuple[RoadRide, ...]
    rows: tuple[Row, ...]
    common: Common | None = None
    """The builds in the same bikes, where it was asked how sure the differences are."""


@dataclass(frozen=True, eq=False, repr=False)
class Comparison(Answer):
    """Builds side by side. `keys_that_differ` holds each build's value of every key in which they differ."""

    entries: tuple[Entry, ...]
    roads: tuple[RoadComparison, ...]
    keys_that_differ: Mapping[str, tuple[Any, ...]]
    accelerate_to_km_h: float
    warnings: tuple[str, ...]


def compare(
    builds: Sequence[str | Path | Build | LoadedBuild],
    roads: Sequence[str | Path | Road],
    *,
    cruise_speed_km_h: float | None = None,
    how_sure: bool = False,
    threads: int | None = None,
    done: Done | None = None,
) -> Comparison:
    """Return two or more builds side by side on one or more roads: masses, drive, ride, range and losses.

    `how_sure`: whether each difference is real, by rides of all builds in the same bikes drawn from the tolerances.
    Raises RideError for fewer than two builds or no road.
    """
    if not 2 <= len(builds) <= MOST_BUILDS:
        raise RideError("compare", f"{len(builds)} builds (allowed 2 to {MOST_BUILDS})", "name two or more")
    if not 1 <= len(roads) <= MOST_ROADS:
        raise RideError("compare", f"{len(roads)} roads (allowed 1 to {MOST_ROADS})", "name at least one with --road")
    loaded = [as_loaded(build) for build in builds]
    ridden = [road if isinstance(road, Road) else load_road(road) for road in roads]
    rides = ride_many(_wishes(loaded, ridden, cruise_speed_km_h), threads=threads, done=done)
    count = len(loaded)
    tops = top_speeds(loaded, float(ridden[0].altitude_m[0]), threads)
    entries = tuple(map(_entry, _labels(loaded), loaded, rides[:count], tops))
    compared = []
    for index, road in enumerate(ridden):
        first = count * (1 + 2 * index)
        pairs = zip(rides[first : first + count], rides[first + count : first + 2 * count], strict=True)
        on_road = tuple(_road_ride(once, empty) for once, empty in pairs)
        common = _common(loaded, road, cruise_speed_km_h, threads) if how_sure else None
        on_road = on_road if common is None else common.heeding(on_road)
        compared.append(RoadComparison(road, on_road, rows_of(on_road), common))
    return Comparison(
        entries=entries,
        roads=tuple(compared),
        keys_that_differ=keys_that_differ([each.build for each in loaded]),
        accelerate_to_km_h=ACCELERATE_TO_KM_H,
        warnings=tuple(_warnings(entries, ridden)),
    )


def _common(loaded: Sequence[LoadedBuild], road: Road, cruise_km_h: float | None, threads: int | None) -> Common | None:
    options = RideOptions(cruise_speed_km_h=cruise_km_h)
    candidates = [Candidate(label, each, options) for label, each in zip(_labels(loaded), loaded, strict=True)]
    return in_common(candidates, road, threads=threads)


def _wishes(loaded: Sequence[LoadedBuild], roads: Sequence[Road], cruise_km_h: float | None) -> list[Wish]:
    """Return every build's run-up, then for each road every build's ride, and every build's ride until empty."""
    level = level_road(float(roads[0].altitude_m[0]))
    wishes = [run_up_wish(each, level) for each in loaded]
    once, empty = RideOptions(cruise_speed_km_h=cruise_km_h), until_empty_options(cruise_speed_km_h=cruise_km_h)
    for road in roads:
        wishes += [Wish(each, road, once, trace=True) for each in loaded]
        wishes += [Wish(each, road, empty) for each in loaded]
    return wishes


def _labels(loaded: Sequence[LoadedBuild]) -> list[str]:
    """Return short names: the files' where they differ, else the builds', else numbers."""
    for names in ([Path(each.path).stem for each in loaded], [each.build.name for each in loaded]):
        if len(set(names)) == len(names):
            return names
    return [f"{number}: {Path(each.path).stem}" for number, each in enumerate(loaded, 1)]


def _entry(label: str, loaded: LoadedBuild, run_up: Ride, tops: tuple[TopSpeed, TopSpeed]) -> Entry:
    build = loaded.build
    return Entry(
        label=label,
        loaded=loaded,
        masses_kg=masses(build),
        pack_wh=pack_energy_wh(build),
        wheel_kv_rpm_per_v=wheel_kv_rpm_per_v(build),
        second_wheel_kv_rpm_per_v=None if build.second is None else wheel_kv_rpm_per_v(seen_by_second(build)),
        copper_at_push_w=copper_at_push_w(build, run_up),
        top_speed_cold_pedalled_start_charge_km_h=tops[0].speed_km_h,
        top_speed_cold_pedalled_half_charge_km_h=tops[1].speed_km_h,
        accelerate_s=time_to_s(run_up, ACCELERATE_TO_KM_H),
        steepest_start_percent=steepest_start_percent(run_up),
    )


def masses(build: Build) -> dict[str, float]:
    """Return what a build is made of [kg]; the parts of the drive first, of both where there are two, then all."""
    drives = drives_of(build)
    parts = {
        "motor": sum(each.drive.motors * each.motor.mass_kg for each in drives),
        "controller": sum(each.drive.motors * each.controller.mass_kg for each in drives),
        "pack": build.pack.mass_kg,
    }
    drive = sum(parts.values())
    return {
        **parts,
        "motor, controller and pack": drive,
        "bicycle": build.bicycle.mass_kg,
        "cargo": build.bicycle.cargo_kg,
        "rider": build.rider.mass_kg,
        "all that rolls": build.mass_kg,
    }


def pack_energy_wh(build: Build) -> float:
    """Return the energy of a full pack at rest [Wh]: the open-circuit voltage over the weakest group's charge."""
    pack, cell = build.pack, build.pack.cell
    volts = float(np.trapezoid(cell.open_circuit_v, cell.charge_fraction)) * pack.series
    return volts * pack.parallel * cell.capacity_ah * pack.weakest_group_fraction * pack.capacity_fraction


def copper_at_push_w(build: Build, ride: Ride) -> float:
    """Return the cold winding's loss [W] when the wheel pushes with `PUSH_N`: `R (F r / (G eta K_t))^2`.

    Two different drives share the push as equal throttle does.
    """
    p, q = ride.params, ride.params.second
    share = 0.0 if q is None else full_force(q, True) / (full_force(p, True) + full_force(q, True))
    found = _copper_w(build, p, (1.0 - share) * PUSH_N)
    return found if q is None else found + _copper_w(seen_by_second(build), q, share * PUSH_N)


def _copper_w(build: Build, p: Parameters, push_n: float) -> float:
    torque = push_n * wheel_radius(build) / (build.drive.turns * p.efficiency)
    return winding_resistance(p.resistance, 20.0) * (torque / p.torque_constant) ** 2


def _road_ride(once: Ride, empty: Ride) -> RoadRide:
    f, far, verdict = once.figures, read_range(empty), judge(once)
    losses = {name: once.ledger[name] + once.ledger.get(f"second_{name}", 0.0) for name in LOSS_LINES}
    drives = each_drive(once)
    hot = min(drives or (once,), key=lambda each: each.figures.winding_limit_c - each.figures.peak_winding_temp_c)
    lost = sum(losses.values())
    given = once.ledger["pack_chemistry_out"] + once.ledger["rider_in"]
    rows = once.raw.trace
    return RoadRide(
        figures=f,
        verdict=verdict.word,
        reasons=verdict.reasons,
        range_km=far.range_km,
        range_ended_by=far.range_ended_by,
        cell_load_fraction=f.peak_cell_current_a / once.build.pack.cell.max_discharge_a,
        losses_wh=losses,
        lost_wh=lost,
        # Down a long hill the height gives most of it: a share of what the pack gave is no share then.
        lost_fraction=lost / given if 0.0 <= lost <= given > 0.0 else None,
        trace_distance_km=rows[:, Channel.DISTANCE] / UNITS["km"].factor,
        trace_speed_km_h=rows[:, Channel.SPEED] / UNITS["km_h"].factor,
        trace_winding_c=hot.raw.trace[:, Channel.WINDING_TEMP],
        drives=tuple(each.figures for each in drives),
    )


def keys_that_differ(builds: Sequence[Build]) -> dict[str, tuple[Any, ...]]:
    """Return every key in which the builds differ, with each build's value (None where it has no such key)."""
    flat = [_flat(build) for build in builds]
    names = dict.fromkeys(name for each in flat for name in each)
    found = {name: tuple(each.get(name) for each in flat) for name in names if name != "name"}
    return {name: values for name, values in found.items() if any(value != values[0] for value in values)}


def _flat(model: BaseModel, prefix: str = "") -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name in type(model).model_fields:
        value, path = getattr(model, name), f"{prefix}{name}"
        if isinstance(value, BaseModel):
            found |= _flat(value, f"{path}.")
        elif isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
            for index, item in enumerate(value):
                found |= _flat(item, f"{path}.{index}.")
        else:
            found[path] = value
    return found


def _warnings(entries: Sequence[Entry], roads: Sequence[Road]) -> list[str]:
    own = [f"{each.label}: {text}" for each in entries for text in each.loaded.warnings]
    return own + [f"{road.name}: {text}" for road in roads for text in road.warnings]
