"""The workshop's questions as functions: a bike by name or loaded, a road or a climb, and what is to be chosen.

Each takes what its command takes, and returns what its command shows. A word that no question knows raises TypeError.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.bike.second import geared_drive, refuse_second
from ridesim.errors import RideError
from ridesim.ride.simulate import as_loaded
from ridesim.road.load import load_road
from ridesim.road.profile import Road
from ridesim.schema.source import read_whole
from ridesim.units import to_si
from ridesim.workshop.belt.design import BeltDrive, Judging
from ridesim.workshop.belt.of_build import drive_of_build, with_build
from ridesim.workshop.bench.errors import NO_ERRORS, ReadingErrors
from ridesim.workshop.bench.sheet import BenchSheet, Readings, fill_sheet
from ridesim.workshop.law.bike import BuildLaw, classify_build
from ridesim.workshop.law.classes import places_named
from ridesim.workshop.loads import CLIMB_GRADE_PERCENT, CLIMB_MIN, NAME_A_DRIVE, RideLoads, loads_of_drive, ride_of
from ridesim.workshop.mount.sheet import MountSheet, check_mount
from ridesim.workshop.pack.design import PackNeeds
from ridesim.workshop.pack.grouping import Grouping, group_cells
from ridesim.workshop.pack.measured import MeasuredCells, read_cells
from ridesim.workshop.pack.plan import Care, PackChoice, cell_names, plan_packs
from ridesim.workshop.size.parts import wheel_of
from ridesim.workshop.size.sizing import Sizing, size_drive
from ridesim.workshop.size.wish import Wish
from ridesim.workshop.winding.motor import Winding, WoundMotor
from ridesim.workshop.winding.plan import RewindPlan, Rider, plan_rewind
from ridesim.workshop.wire.harness import Harness, habits_of
from ridesim.workshop.wire.two_drives import harness_of_ride

Bike = str | Path | Build | LoadedBuild
Way = str | Path | Road | None
"""A road, or None for the climb that stands in for it."""

MOST_BYTES = 1024 * 1024
GAIN_ERROR = 0.01
"""Of a hand-held meter, as the command has it (common practice, no source)."""
WHEEL = "tyre-26-inch-wide"


def wire(
    build: Bike, road: Way = None, *, grade_percent: float = CLIMB_GRADE_PERCENT, minutes: float = CLIMB_MIN,
    charge_a: float | None = None, **habits: Any,
) -> Harness:  # fmt: skip
    """Choose leads, fuses, plug, strips and pre-charge for a bike's ride; `habits` as `Habits` has them.

    Raises RidesimError.
    """
    ride = ride_of(as_loaded(build), _road(road), grade_percent, minutes)
    wanted = replace(habits_of(ride.build), **habits)
    return harness_of_ride(
        ride, wanted, charge_a, capacitance_uf=habits.get("capacitance_uf"),
        standby_power_w=habits.get("standby_power_w"), precharged=wanted.capacitance_uf is not None,
    )  # fmt: skip


def belt(
    build: Bike, road: Way = None, *, grade_percent: float = CLIMB_GRADE_PERCENT, minutes: float = CLIMB_MIN,
    belt: str | None = None, free_radius_mm: float | None = None, judging: Judging | None = None,
    drive: int | None = None,
) -> BeltDrive:  # fmt: skip
    """Judge every toothed belt of a bike by a ride: tension, capacity, tooth skip, clearance. Raises RidesimError.

    `drive`: of two different ones, 1 or 2.
    """
    loaded, loads = _ridden(build, road, grade_percent, minutes, drive)
    return drive_of_build(loaded, loads, with_build(judging or Judging(), loaded), belt, free_radius_mm)


def mount(
    build: Bike, road: Way = None, *, grade_percent: float = CLIMB_GRADE_PERCENT, minutes: float = CLIMB_MIN,
    drive: int | None = None,
) -> MountSheet:  # fmt: skip
    """Judge what holds a bike's drive, by a ride: shaft, joint, bolts, arms, bracket. Raises RidesimError.

    `drive`: of two different ones, 1 or 2: [mount] says what holds the first, [second.mount] what holds the second.
    """
    return check_mount(*_ridden(build, road, grade_percent, minutes, drive))


def law(
    build: Bike, *, rated_power_w: float | None = None, pedals: bool | None = None, where: Iterable[str] = ()
) -> BuildLaw:
    """Hold a bike against the classes of published rules (`where`: eu, gb, us; else all). Raises RidesimError.

    No legal advice: local law and licensed practice decide.
    """
    return classify_build(
        as_loaded(build), rated_power_w=rated_power_w, pedals=pedals, jurisdictions=places_named(where)
    )  # fmt: skip


def rewind(
    build: Bike, winding: Winding, new: Winding | None = None, *, teeth: int, road: Way = None,
    want_kv_rpm_per_v: float | None = None, wire_diameter_mm: float | None = None, torque_nm: float | None = None,
    drive: int | None = None, **motor: Any,
) -> RewindPlan:  # fmt: skip
    """Scale a bike's motor from its present `winding` to a `new` one, to a wanted Kv, or to the other connection.

    The windings are ridden over the road or the climb. `motor`: further keys of `WoundMotor`, such as `slot_area_mm2`,
    and those that differ from the build's; `drive`: of two different ones, 1 or 2. Raises RidesimError.
    """
    loaded = as_loaded(build)
    if drive is None:
        refuse_second(loaded.build, "`ridesim rewind`", NAME_A_DRIVE)
    ridden, own = _road(road), geared_drive(loaded.build, drive or 1)[1].motor
    if torque_nm is None:
        _, loads = loads_of_drive(ride_of(loaded, ridden), drive)
        torque_nm = loads.sustained_motor_current_a / to_si(own.kv_rpm_per_v, "rpm_per_v")
    given = {"kv_rpm_per_v": own.kv_rpm_per_v, "resistance_mohm": own.resistance_mohm, **motor}
    if given["resistance_mohm"] is None:
        raise RideError("rewind", "the build leaves motor.resistance_mohm open", "measure it: resistance_mohm=...")
    return plan_rewind(
        WoundMotor(winding, teeth=teeth, **given), new, wanted_kv_rpm_per_v=want_kv_rpm_per_v,
        wire_diameter_mm=wire_diameter_mm, torque_nm=torque_nm, rider=Rider(loaded, ridden, drive),
    )  # fmt: skip


def size(
    mass_kg: float, top_speed_km_h: float, hill_percent: float, hill_km: float, range_km: float, *,
    wheel: str = WHEEL, done: Callable[[int], None] | None = None, **wish: Any,
) -> Sizing:  # fmt: skip
    """Find the lightest motor, its reduction, limits and pack for a wish, by riding candidates; two motors or gears
    where one motor behind one ratio does not do it, or where the wish's `motors` or `gears` ask for them.

    `mass_kg`: rider, bicycle and load without the drive; `wheel`: a tyre part or a rolled length in mm; `wish`: further
    keys of `Wish`. Raises RidesimError.
    """
    rolled, rolling = wheel_of(wheel)
    wanted = {"circumference_mm": rolled, "rolling_resistance": rolling, **wish}
    return size_drive(Wish(mass_kg, top_speed_km_h, hill_percent, hill_km, range_km, **wanted), done)


def pack(
    voltage_v: float, energy_wh: float, current_a: float, *, cells: Iterable[str] = (), charge_a: float = 0.0,
    usable_fraction: float = 1.0, highest_voltage_v: float | None = None, **care: Any,
) -> PackChoice:  # fmt: skip
    """Plan a pack of each named cell part (else of all); `care`: charging, ageing and block, as `Care` has them.

    Raises RidesimError where none can.
    """
    needs = PackNeeds(voltage_v, energy_wh, current_a, charge_a, usable_fraction, highest_voltage_v)
    return plan_packs(tuple(cells) or cell_names(), needs, Care(**care))


@dataclass(frozen=True, eq=False, repr=False)
class Grouped(Answer):
    """Measured cells, and the groups that they make."""

    grouping: Grouping
    cells: MeasuredCells


def group(cells: str | Path | Sequence[float], series: int, parallel: int) -> Grouped:
    """Sort cells into even groups: a file of them as the command reads it, or capacities [Ah]. Raises RideError."""
    if isinstance(cells, (str, Path)):
        measured = read_cell_file(str(cells))
    else:
        measured = MeasuredCells(tuple(map(float, cells)), None, ())
    grouping = group_cells(measured.capacities_ah, series, parallel, measured.resistances_mohm)
    return Grouped(grouping, measured)


def read_cell_file(file: str, raw: bytes | None = None) -> MeasuredCells:
    """Return the cells of a file, or of what was read from it already. Raises RideError."""
    cure = "name a text file of capacities in Ah"
    read = read_whole(Path(file), MOST_BYTES, RideError, cure) if raw is None else raw
    try:
        return read_cells(read.decode("utf-8-sig"), file)
    except UnicodeError:
        raise RideError(file, "is not text", cure) from None


@dataclass(frozen=True, eq=False, repr=False)
class Benched(Answer):
    """Readings at the bench, and what they say of a motor and a pack."""

    sheet: BenchSheet
    readings: Readings


def bench(errors: ReadingErrors = NO_ERRORS, *, gain_error: float = GAIN_ERROR, **readings: Any) -> Benched:
    """Work out Kv, resistance, drag, pole pairs and pack resistance from readings, as `Readings` has them.

    `gain_error`: how far all readings of a meter may be off [share]. Raises RidesimError.
    """
    given = Readings(gain_error=gain_error, **readings)
    return Benched(fill_sheet(given, errors), given)


def _ridden(
    build: Bike, road: Way, grade_percent: float, minutes: float, drive: int | None
) -> tuple[LoadedBuild, RideLoads]:
    return loads_of_drive(ride_of(as_loaded(build), _road(road), grade_percent, minutes), drive)


def _road(road: Way) -> Road | None:
    return load_road(road) if isinstance(road, (str, Path)) else road
