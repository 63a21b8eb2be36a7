"""What is regen worth? The same ride with and without, and where the braking energy went."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.bike.schema import Build
from ridesim.bike.second import PREFIX, drives_of
from ridesim.engine.state import Channel, Limit, Parameters
from ridesim.ride.bounds import BOUNDS
from ridesim.ride.drives import FIRST, SECOND
from ridesim.ride.figures import friction_by_bound
from ridesim.ride.judge import Verdict, judge
from ridesim.ride.range import read_range
from ridesim.ride.simulate import Ride, RideOptions, as_loaded
from ridesim.road.load import load_road
from ridesim.road.profile import Road
from ridesim.studies.many import Done, Wish, ride_many, until_empty_options
from ridesim.sure.common import Candidate, Common, in_common
from ridesim.units import UNITS

ROOM_CHARGE = 0.8
"""Charge that leaves room for regen, to compare with a full pack (guess)."""
FULL_CHARGE = 1.0
LEAST_WH = 1e-6
"""Friction energy below this is rounding, not a cause [Wh]."""
NEAR = 0.005
"""Charges closer than this count as one [fraction]."""
RECORD_EVERY_S = 0.2
"""Finest trace: the share of braking that returns nothing is read from it."""


@dataclass(frozen=True)
class RegenSide:
    """One ride over the road, and one until empty. Energies at the pack's terminals; friction at the wheels."""

    finished: bool
    stop_reason: str
    distance_km: float
    drawn_wh: float
    returned_wh: float
    net_wh_per_km: float
    friction_wh: float
    range_km: float | None
    range_ended_by: str


@dataclass(frozen=True)
class BrakingCause:
    """Friction braking that one cause kept the motor from taking."""

    cause: str
    words: str
    friction_wh: float


@dataclass(frozen=True)
class RegenCase:
    """With and without regen from one charge at the start. `gained_km` is None where either range has no end."""

    start_charge_fraction: float
    with_regen: RegenSide
    without: RegenSide
    returned_fraction: float
    gained_km: float | None
    gained_fraction: float | None
    braking_wh: float
    motor_braking_wh: float
    heat_on_the_way_wh: float
    nothing_returned_wh: float
    pads_saved_wh: float
    pads_saved_fraction: float
    causes: tuple[BrakingCause, ...]


@dataclass(frozen=True, eq=False)
class RegenTrace:
    """Altitude, energy returned and energy lost in the friction brakes so far, along the road; arrays (n,)."""

    distance_km: np.ndarray
    altitude_m: np.ndarray
    returned_wh: np.ndarray
    friction_wh: np.ndarray


@dataclass(frozen=True, eq=False, repr=False)
class Regen(Answer):
    """What regen is worth on a road. `impossible` says in words why a drive cannot, and then `cases` is empty."""

    loaded: LoadedBuild
    road: Road
    impossible: str | None
    cases: tuple[RegenCase, ...]
    traces: tuple[RegenTrace, ...]
    without: RegenSide
    freewheel_range_km: float | None
    charge_limit_a: float
    warnings: tuple[str, ...]
    verdict: Verdict
    """Of the ride over the road as the bike is built."""
    common: Common | None = None
    """With and without regen in the same bikes, where it was asked how sure the answer is."""


def regen(
    build: str | Path | Build | LoadedBuild,
    road: str | Path | Road,
    *,
    cruise_speed_km_h: float | None = None,
    how_sure: bool = False,
    threads: int | None = None,
    done: Done | None = None,
) -> Regen:
    """Return what regen returns on a road, what it adds to the range, and what became of the braking energy.

    Rides from the build's own charge, and from a full pack (or, where that is its own, from one with room). A drive
    that cannot regenerate is answered in words. `how_sure`: how far the saving may be off, by rides with and without in
    the same bikes drawn from the tolerances. Raises RideError for options out of range.
    """
    loaded = as_loaded(build)
    ridden = road if isinstance(road, Road) else load_road(road)
    once = RideOptions(cruise_speed_km_h=cruise_speed_km_h, record_every_s=RECORD_EVERY_S)
    empty = until_empty_options(cruise_speed_km_h=cruise_speed_km_h)
    impossible = why_not(loaded.build)
    own = loaded.build.pack.start_charge_fraction
    charges = [own] if impossible else [own, FULL_CHARGE if own < FULL_CHARGE - NEAR else ROOM_CHARGE]
    wishes = [wish for charge in charges for wish in _four(_from(loaded, charge), ridden, once, empty)]
    freewheel = _with_freewheel(loaded) if not impossible else None
    if freewheel is not None:
        wishes.append(Wish(freewheel, ridden, empty))
    rides = ride_many(wishes, threads=threads, done=done)
    fours = [rides[4 * index : 4 * index + 4] for index in range(len(charges))]
    common = _common(loaded, ridden, cruise_speed_km_h, threads) if how_sure and not impossible else None
    verdict = judge(fours[0][0])
    return Regen(
        loaded=loaded,
        road=ridden,
        impossible=impossible,
        cases=() if impossible else tuple(_case(four) for four in fours),
        traces=() if impossible else tuple(_trace(four[0]) for four in fours),
        without=_side(fours[0][1], fours[0][3]),
        freewheel_range_km=None if freewheel is None else read_range(rides[-1]).range_km,
        charge_limit_a=_charge_limit_a(fours[0][0].params),
        warnings=(*loaded.warnings, *ridden.warnings),
        verdict=verdict if common is None else common.heeded(verdict, 0),
        common=common,
    )


def _common(loaded: LoadedBuild, road: Road, cruise_km_h: float | None, threads: int | None) -> Common | None:
    once = RideOptions(cruise_speed_km_h=cruise_km_h)
    sides = [Candidate("with regen", loaded, once), Candidate("without regen", loaded, replace(once, regen=False))]
    return in_common(sides, road, threads=threads)


def expected_rides() -> int:
    """Return how many rides a study takes at most, for a progress bar."""
    return 9


def _charge_limit_a(p: Parameters) -> float:
    """Return what all controllers that can brake may send into the pack together [A]."""
    drives = [p] if p.second is None else [p, p.second]
    braking = [each.charge_current for each in drives if not each.freewheel and each.brake_current > 0.0]
    return sum(braking) if braking else p.charge_current


def why_not(build: Build) -> str | None:
    """Return in words why a build cannot regenerate, or None where it can: of two different drives, where one can."""
    reasons = [_why_not(drive) for drive in drives_of(build)]
    if None in reasons:
        return None
    if len(reasons) == 1:
        return reasons[0]
    return " ".join(f"{name.capitalize()}: {why}" for name, why in zip((FIRST, SECOND), reasons, strict=True))


def _why_not(build: Build) -> str | None:
    if build.drive.coupling == "freewheel":
        return (
            "The freewheel lets the motor stand still whenever the bike rolls faster than it drives: nothing turns the "
            "motor, so it can neither brake nor charge."
        )
    if build.controller.brake_current_limit_a <= 0.0:
        return (
            "The drive is fixed and the wheel turns the motor, but the controller's braking current is 0: it is told "
            "never to brake."
        )
    if build.controller.charge_current_limit_a == 0.0 or build.pack.cell.max_charge_a == 0.0:
        return "No charging current is allowed into the pack, so the motor can send nothing back."
    return None


def _from(loaded: LoadedBuild, charge: float) -> LoadedBuild:
    if charge == loaded.build.pack.start_charge_fraction:
        return loaded
    return replace_keys(loaded, {"pack.start_charge_fraction": charge})


def _with_freewheel(loaded: LoadedBuild) -> LoadedBuild | None:
    """Return the same bike with a freewheel in each reduction; None for a hub motor, which has no place for one."""
    drives = drives_of(loaded.build)
    if any(drive.drive.coupling == "fixed" and not drive.drive.stage for drive in drives):
        return None
    keys: dict[str, object] = {}
    for prefix, _ in zip(("", PREFIX), drives, strict=False):
        keys |= {f"{prefix}drive.coupling": "freewheel", f"{prefix}controller.brake_current_limit_a": 0.0}
    return replace_keys(loaded, keys)


def _four(loaded: LoadedBuild, road: Road, once: RideOptions, empty: RideOptions) -> list[Wish]:
    """Return the road once with and without, then until empty with and without."""
    return [
        Wish(loaded, road, once, trace=True),
        Wish(loaded, road, replace(once, regen=False)),
        Wish(loaded, road, empty),
        Wish(loaded, road, replace(empty, regen=False)),
    ]


def _side(once: Ride, empty: Ride) -> RegenSide:
    f, far = once.figures, read_range(empty)
    return f.into(
        RegenSide,
        drawn_wh=f.pack_energy_out_wh,
        returned_wh=f.pack_energy_returned_wh,
        net_wh_per_km=f.net_wh_per_km or 0.0,
        friction_wh=once.ledger["friction_brakes"],
        range_km=far.range_km,
        range_ended_by=far.range_ended_by,
    )


def _case(four: Sequence[Ride]) -> RegenCase:
    ride = four[0]
    with_regen, without = _side(four[0], four[2]), _side(four[1], four[3])
    motor = ride.figures.motor_braking_wh
    gained = share = None
    if with_regen.range_km is not None and without.range_km is not None:
        gained = with_regen.range_km - without.range_km
        share = gained / without.range_km if without.range_km > 0.0 else None
    saved = without.friction_wh - with_regen.friction_wh
    return RegenCase(
        start_charge_fraction=ride.build.pack.start_charge_fraction,
        with_regen=with_regen,
        without=without,
        returned_fraction=with_regen.returned_wh / with_regen.drawn_wh if with_regen.drawn_wh > 0.0 else 0.0,
        gained_km=gained,
        gained_fraction=share,
        braking_wh=motor + with_regen.friction_wh,
        motor_braking_wh=motor,
        heat_on_the_way_wh=max(motor - with_regen.returned_wh, 0.0),
        nothing_returned_wh=motor * _share_without_return(ride.raw.trace),
        pads_saved_wh=saved,
        pads_saved_fraction=saved / without.friction_wh if without.friction_wh > 0.0 else 0.0,
        causes=_causes(_friction_by_bound(ride)),
    )


def _friction_by_bound(ride: Ride) -> Mapping[Limit, float]:
    """Return the friction energy [Wh] by the bound that kept the motor from braking harder.

    The ride writes down the first drive's; where only the second one can brake, its own are read from its trace.
    """
    if ride.raw.second is None or _why_not(ride.build) is None:
        return friction_by_bound(ride)
    rows, held = ride.raw.trace, ride.raw.second.trace[:, Channel.LIMIT].astype(np.int64)
    energy = rows[:, Channel.BRAKE_FORCE] * rows[:, Channel.SPEED] * np.diff(rows[:, Channel.TIME], prepend=0.0)
    total, taken = ride.ledger["friction_brakes"], float(energy.sum())
    scale = total / taken if taken > 0.0 else 0.0
    return {Limit(int(code)): scale * float(energy[held == code].sum()) for code in np.unique(held)}


def _causes(friction_wh: Mapping[Limit, float]) -> tuple[BrakingCause, ...]:
    """Return what kept the motor from braking, the dearest first; causes with the same words become one."""
    found: dict[str, BrakingCause] = {}
    for limit, energy in friction_wh.items():
        if energy < LEAST_WH:
            continue
        bound = BOUNDS[Limit.GRIP if limit is Limit.NONE else limit]
        name, words = bound.name, bound.braking_words
        before = found[name].friction_wh if name in found else 0.0
        found[name] = BrakingCause(name, words, before + energy)
    return tuple(sorted(found.values(), key=lambda cause: -cause.friction_wh))


def _share_without_return(rows: np.ndarray) -> float:
    """Return the share of the motor's braking energy during which the pack got nothing: low speed, or mere drag."""
    power = -np.minimum(rows[:, Channel.MOTOR_FORCE], 0.0) * rows[:, Channel.SPEED]
    energy = power * np.diff(rows[:, Channel.TIME], prepend=0.0)
    total = float(energy.sum())
    return float(energy[rows[:, Channel.PACK_CURRENT] >= 0.0].sum()) / total if total > 0.0 else 0.0


def _trace(ride: Ride) -> RegenTrace:
    rows = ride.raw.trace
    span = np.diff(rows[:, Channel.TIME], prepend=0.0)
    back = -np.minimum(rows[:, Channel.PACK_CURRENT], 0.0) * rows[:, Channel.PACK_VOLTAGE] * span
    rubbed = rows[:, Channel.BRAKE_FORCE] * rows[:, Channel.SPEED] * span
    return RegenTrace(
        distance_km=rows[:, Channel.DISTANCE] / UNITS["km"].factor,
        altitude_m=rows[:, Channel.ALTITUDE],
        returned_wh=_grown(back, ride.figures.pack_energy_returned_wh),
        friction_wh=_grown(rubbed, ride.ledger["friction_brakes"]),
    )


def _grown(energy: np.ndarray, total: float) -> np.ndarray:
    """Return the running sum of sampled energies, brought to the total that was taken at every step [Wh]."""
    grown = np.cumsum(energy)
    return grown * (total / grown[-1]) if grown.size and grown[-1] > 0.0 else np.zeros_like(energy)
