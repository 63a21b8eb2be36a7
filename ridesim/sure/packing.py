"""From one draw to plain numbers: the changed keys laid into the build unchecked, estimates and road taken anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from pydantic import BaseModel

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.engine.estimates import estimate
from ridesim.engine.params import road_arrays, start_state
from ridesim.engine.state import Parameters, RoadArrays, State
from ridesim.ride.running import RideOptions, ride_parameters
from ridesim.road.plan import SpeedPlan, plan_speed
from ridesim.road.profile import Road
from ridesim.road.smooth import grade_of, running_integral, sine_of, smoothed
from ridesim.sure.uncertain import ALTITUDE, MOVING, NO_LOAD, ROLLING, STILL, Doubts, open_value, scatter_m
from ridesim.units import to_si

STEEPEST_SINE = 0.95
"""As steep as a noisy road may get."""
SEEDS = 2**53


@dataclass(frozen=True, eq=False)
class Packer:
    """What all draws of one ride share."""

    loaded: LoadedBuild
    road: Road
    options: RideOptions
    doubts: Doubts
    plan: SpeedPlan


@dataclass(frozen=True, eq=False)
class Packed:
    """One draw, ready to ride."""

    loaded: LoadedBuild
    road: Road
    params: Parameters
    arrays: RoadArrays
    start: State


def packer(loaded: LoadedBuild, road: Road, options: RideOptions, doubts: Doubts) -> Packer:
    """Return a packer; the speed plan is the rider's, who does not know the draws."""
    rider = loaded.build.rider
    plan = plan_speed(
        road,
        to_si(options.cruise_speed_km_h or rider.cruise_speed_km_h, "km_h"),
        lateral_m_per_s2=rider.cornering_m_per_s2,
        braking_m_per_s2=rider.braking_m_per_s2,
        source=options.speed_source,
    )
    return Packer(loaded, road, options, doubts, plan)


def pack(p: Packer, draw: Mapping[str, float]) -> Packed:
    """Return one draw, values by key, ready to ride; no keys: the build as it stands."""
    build = changed(p.loaded.build, p.doubts, draw)
    road = _road(p.road, draw)
    params = ride_parameters(build, p.options)
    drag = draw.get(NO_LOAD, 1.0)
    if drag != 1.0:
        params = params._replace(tau_0=params.tau_0 * drag, tau_1=params.tau_1 * drag)
    start = start_state(build, speed_m_per_s=to_si(p.options.start_speed_km_h, "km_h"))
    return Packed(replace(p.loaded, build=build), road, params, road_arrays(build, road, p.plan), start)


def changed(build: Build, doubts: Doubts, draw: Mapping[str, float]) -> Build:
    """Return the build with a draw's keys; a key left open moves the estimate made of the drawn mass and size."""
    plain: dict[str, float] = {}
    opened: dict[str, float] = {}
    for each in doubts.numbers:
        if each.key not in draw or each.key == NO_LOAD or each.key.startswith("road."):
            continue
        if each.is_open:
            opened[each.key] = draw[each.key] / each.value
        else:
            plain[each.key] = draw[each.key]
            if each.key == STILL:
                plain[MOVING] = draw[STILL] / each.value * float(build.motor.body_to_air_at_36_km_h_w_per_k or 0.0)
    build = laid_in(build, plain) if plain else build
    if not opened:
        return build
    if STILL in opened:
        opened[MOVING] = opened[STILL]
    found = estimate(build)
    return laid_in(build, {key: factor * float(open_value(key, found) or 0.0) for key, factor in opened.items()})


def laid_in(build: Build, values: Mapping[str, float]) -> Build:
    """Return the build with values laid in by dotted key, unchecked: each lies in its key's allowed range."""
    tree: dict[str, Any] = {}
    for key, value in values.items():
        *outer, last = key.split(".")
        holder = tree
        for step in outer:
            holder = holder.setdefault(step, {})
        holder[last] = value
    laid = _laid(build, tree)
    assert isinstance(laid, Build)
    return laid


def _laid(model: BaseModel, tree: Mapping[str, Any]) -> BaseModel:
    update: dict[str, Any] = {}
    for name, change in tree.items():
        old = getattr(model, name)
        if isinstance(old, tuple):
            update[name] = tuple(
                _laid(item, change[str(at)]) if str(at) in change else item for at, item in enumerate(old)
            )
        else:
            update[name] = _laid(old, change) if isinstance(change, dict) else change
    return model.model_copy(update=update)


def _road(road: Road, draw: Mapping[str, float]) -> Road:
    factors = {key.removeprefix(ROLLING): value for key, value in draw.items() if key.startswith(ROLLING)}
    if factors:
        drawn = np.array([factors.get(kind, 1.0) for kind in road.surface])
        road = replace(road, rolling_factor=road.rolling_factor * drawn)
    return noisy(road, draw[ALTITUDE]) if ALTITUDE in draw else road


def noisy(road: Road, share: float) -> Road:
    """Return the road with one course of the noise that smoothing left in it, picked by a share from 0 to 1.

    White noise of the recording's own scatter at the recorded points goes through the same smoothing as they did.
    """
    assert road.cleaning is not None, "only a recording has noise"
    points = max(2, min(road.cleaning.points_used, len(road.distance_m)))
    white = np.random.default_rng(int(share * SEEDS)).normal(0.0, scatter_m(road), points)
    at = np.linspace(0.0, road.length_m, points)
    error = smoothed(np.interp(road.distance_m, at, white), road.spacing_m, road.cleaning.smoothing_m)
    sine = sine_of(road.grade)
    moved = np.clip(sine + np.gradient(error, road.spacing_m), -STEEPEST_SINE, STEEPEST_SINE)
    altitude = road.altitude_m + running_integral(moved - sine, road.spacing_m)
    return replace(road, altitude_m=altitude, grade=grade_of(moved))
