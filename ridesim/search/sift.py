"""Cheap tests in closed form: what a combination cannot keep is not ridden. Each errs towards riding.

Masses, prices and volumes are exact sums. A full pack above a controller's rating is a stop of `ridesim check`. A top
speed is bounded by the unloaded motor on the full pack, and by its electrical frequency; a grade by the motor's force
from rest, the rider's hardest push and the run-up. Nothing that a ride would let through may fall here (a test).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.rough import GRAVITY_M_PER_S2, SINE_TO_DC
from ridesim.bike.second import PREFIX
from ridesim.errors import RidesimError
from ridesim.ride.limits import LIMITS
from ridesim.road.profile import Road
from ridesim.search.goals import Asked, StageWish
from ridesim.search.space import Option, Rows, Space
from ridesim.search.wanted import OF_BIKE, TOP_SPEED, Bound
from ridesim.units import from_si, to_si
from ridesim.workshop.belt.geometry import centre_distance_mm
from ridesim.workshop.belt.layout import check_stage
from ridesim.workshop.check.drive import BELT_BY_PITCH_MM, belt_stage_of
from ridesim.workshop.pack.design import nominal_cell_v

Mask = NDArray[np.bool_]

ROUNDING = 1e-9
GONE_KEPT = 100_000
"""Fallen combinations that are remembered of each test, to tell how they missed."""
NO_TORQUE_NM, SLOW_RPM = 1e-3, 100.0
"""A belt that carries nothing: what `check_stage` then stops is its shape."""
WINDOW_M = (50.0, 100.0, 200.0, 400.0, 800.0)
"""Stretches of road over which a grade is held against force and run-up."""
HOT_DAY = 1.05
"""Magnets in hot air are weaker, and the motor faster, by less than this."""
AIR_DENSITY = 1.0
"""Thin air [kg/m3], so that what a rider reaches alone is not set too low (guess)."""


@dataclass(frozen=True)
class Sifted:
    """What is left to ride, how many each test took out, and an even choice of what it took."""

    count: int
    rows: Rows
    removed: tuple[tuple[str, int], ...]
    gone: dict[str, Rows]


Test = tuple[str, Callable[[Rows], Mask]]


def bike_figures(space: Space, rows: Rows, prices: dict[str, float]) -> dict[str, Rows]:
    """Return what needs no ride of each row: masses [kg], volume [l], energy [Wh] and price."""
    column = lambda path: space.column(rows, path)  # noqa: E731
    cells = column("pack.series") * column("pack.parallel")
    pack = cells * column("pack.cell.mass_kg") + column("pack.extra_mass_kg")
    drive = sum((column(f"{each}.mass_kg") for each in _drive_parts(space)), start=pack)
    box = to_si(column("pack.cell.diameter_mm"), "mm") ** 2 * to_si(column("pack.cell.length_mm"), "mm")
    nominal = np.array([nominal_cell_v(float(each)) for each in column("pack.cell.max_voltage_v")])
    return {
        "drive_mass_kg": drive,
        "bike_mass_kg": drive + column("bicycle.mass_kg"),
        "pack_volume_l": cells * from_si(box, "l"),
        "pack_energy_wh": cells * column("pack.cell.capacity_ah") * nominal,
        "price": _price(space, rows, cells, prices),
    }


def _drive_parts(space: Space) -> list[str]:
    """Return where the masses of a drive stand; those of a second, different one with them."""
    own = ["motor", "controller"]
    return own if space.base.build.second is None else [*own, *(f"{PREFIX}{each}" for each in own)]


def _drives(space: Space) -> tuple[str, ...]:
    """Return how the keys of each drive begin."""
    return ("",) if space.base.build.second is None else ("", PREFIX)


def _price(space: Space, rows: Rows, cells: Rows, prices: dict[str, float]) -> Rows:
    each_cell, total = space.column(rows, "pack.cell.price"), np.zeros(len(rows))
    for at, axis in enumerate(space.axes):
        if not axis.is_part:
            continue
        place = rows[:, at].astype(np.intp)
        if axis.key == "pack.cell":
            given = np.array([prices.get(option.part, math.nan) for option in axis.options])[place]
            each_cell = np.where(np.isnan(given), each_cell, given)
        else:
            total = total + np.array([prices.get(option.part, 0.0) for option in axis.options])[place]
    return total + cells * each_cell


def cheap_tests(
    asked: Asked, space: Space, roads: tuple[Road, ...], bounds: tuple[Bound, ...], prices: dict[str, float]
) -> list[Test]:
    """Return the cheap tests of a search, each a name and what tells which rows pass."""
    tests: list[Test] = []
    for number, wish in enumerate(asked.goals.vary.stage, start=1):
        tests.append((f"stage {number}: the belt does not reach or does not mesh", _reaching(space, number, wish)))
    for bound in bounds:
        if bound.what in OF_BIKE and bound.certainty is None:
            tests.append((bound_words(bound), _exact(space, bound, prices)))
    tests.append(("the full pack is above the controller's voltage rating", _voltage(space)))
    for bound in bounds:
        if bound.what == TOP_SPEED and bound.kind == "at least":
            tests.append((f"even unloaded it stays below {bound.limit:g} km/h", _fast(space, bound.limit)))
    tests.append(("it cannot push up the steepest stretch", _steep(space, roads)))
    return tests


def bound_words(bound: Bound) -> str:
    """Return a ceiling or floor in words."""
    return f"{bound.quantity.words} {bound.kind} {bound.limit:g}"


def sift(space: Space, tests: list[Test], block: int = 200_000) -> Sifted:
    """Run every combination through the tests, in order; each counts what it alone still found to remove."""
    left: list[Rows] = []
    gone: dict[str, list[Rows]] = {name: [] for name, _ in tests}
    counts, blocks = dict.fromkeys(gone, 0), math.ceil(space.count / block)
    for start in range(0, space.count, block):
        rows = space.rows(start, min(start + block, space.count))
        for name, passes in tests:
            kept = passes(rows)
            fallen = rows[~kept]
            counts[name] += len(fallen)
            gone[name].append(fallen[:: max(1, len(fallen) * blocks // GONE_KEPT)])
            rows = rows[kept]
        left.append(rows)
    taken = {name: np.concatenate(each) for name, each in gone.items()}
    return Sifted(space.count, np.concatenate(left), tuple(counts.items()), taken)


def _exact(space: Space, bound: Bound, prices: dict[str, float]) -> Callable[[Rows], Mask]:
    def passes(rows: Rows) -> Mask:
        """Return which candidates keep the bound, rounding allowed."""
        values = bike_figures(space, rows, prices)[bound.what]
        return np.asarray(bound.excess(values) <= ROUNDING * max(abs(bound.limit), 1.0))

    return passes


def _reaching(space: Space, number: int, wish: StageWish) -> Callable[[Rows], Mask]:
    at = next(place for place, axis in enumerate(space.axes) if axis.stage == number)
    reach = np.array([_reaches(option, wish) for option in space.axes[at].options])
    return lambda rows: reach[rows[:, at].astype(np.intp)]


def _reaches(option: Option, wish: StageWish) -> bool:
    """Return whether pulleys and shafts suit a belt: one that exists, within the slide, with its teeth in mesh."""
    stage = option.stage
    if stage is None or stage.kind != "belt" or stage.pitch_mm not in BELT_BY_PITCH_MM:
        return True
    try:
        made = belt_stage_of(stage)
        if made is not None and check_stage(made[0], NO_TORQUE_NM, SLOW_RPM).verdict == "stop":
            return False
    except RidesimError:
        return False
    if wish.belt_teeth is None or wish.centre_distance_mm is None:
        return True
    return any(abs(each - wish.centre_distance_mm) <= wish.slide_mm for each in _centres(stage, wish.belt_teeth))


def _centres(stage: Any, belts: tuple[int, ...]) -> list[float]:
    found = []
    for teeth in belts:
        try:
            found.append(centre_distance_mm(stage.driver_teeth, stage.driven_teeth, stage.pitch_mm, teeth))
        except RidesimError:  # a belt too short for these pulleys
            continue
    return found


def _voltage(space: Space) -> Callable[[Rows], Mask]:
    rule = LIMITS["supply_voltage"]
    rounding = max(rule.tolerance_share, ROUNDING)

    def passes(rows: Rows) -> Mask:
        """Return whose full pack [V] the controller is rated for."""
        cell = np.maximum(
            space.column(rows, "pack.cell.max_voltage_v"), space.column(rows, "pack.cell.open_circuit_v", _last)
        )
        ratings = (space.column(rows, f"{drive}controller.voltage_limit_v", _or_endless) for drive in _drives(space))
        rated = np.minimum.reduce(list(ratings))
        return np.asarray(space.column(rows, "pack.series") * cell <= rated * (1.0 + rounding) + rule.tolerance)

    return passes


def _last(values: Any) -> float:
    return float(values[-1])


def _or_endless(value: Any) -> float:
    return math.inf if value is None else float(value)


def _top_motor_speed(space: Space, rows: Rows, drive: str) -> Rows:
    """Return a bound on the motor's speed [rad/s]: unloaded on the full pack, and by electrical frequency."""
    volts = space.column(rows, "pack.series") * space.column(rows, "pack.cell.open_circuit_v", _last)
    free = volts * space.column(rows, f"{drive}controller.modulation_limit")
    free = HOT_DAY * free * to_si(space.column(rows, f"{drive}motor.kv_rpm_per_v"), "rpm_per_v")
    hertz = space.column(rows, f"{drive}controller.electrical_frequency_limit_hz")
    return np.minimum(free, math.tau * hertz / space.column(rows, f"{drive}motor.pole_pairs"))


def _fast(space: Space, wanted_km_h: float) -> Callable[[Rows], Mask]:
    wanted = to_si(wanted_km_h, "km_h")

    def passes(rows: Rows) -> Mask:
        """Return who could reach the wanted speed [m/s], by the unloaded motor or the rider against the air."""
        radius = to_si(space.column(rows, "tyre.circumference_mm"), "mm") / math.tau
        motor = _top_motor_speed(space, rows, "") * radius / space.fastest_turns(rows)
        if space.base.build.second is not None:
            motor = np.maximum(motor, _top_motor_speed(space, rows, PREFIX) * radius / space.second_turns(rows))
        drag = 0.5 * AIR_DENSITY * space.column(rows, "bicycle.drag_area_m2")
        alone = np.cbrt(space.column(rows, "rider.power_w") / drag)
        return np.asarray(np.maximum(motor, alone) >= wanted)

    return passes


def _steep(space: Space, roads: tuple[Road, ...]) -> Callable[[Rows], Mask]:
    worst = [stretch for road in roads if road.cycle is None for stretch in _stretches(road)]

    def passes(rows: Rows) -> Mask:
        """Return who could climb the worst stretches, by the work [J] of the most push and of a run-up."""
        kept = np.ones(len(rows), dtype=bool)
        push, mass, rolling = _most_push(space, rows), _rolling_mass(space, rows), _rolling(space, rows)
        cruise = to_si(space.column(rows, "rider.cruise_speed_km_h"), "km_h")
        for length, rise in worst:
            run_up = 0.5 * mass * cruise**2 * RUN_UP_SHARE
            need = mass * GRAVITY_M_PER_S2 * (rise + rolling * length * LEAST_COSINE)
            kept &= push * length + run_up >= need
        return kept

    return passes


RUN_UP_SHARE = 1.3
"""Wheels and rotor run up too, and a bike may be faster than its cruise speed (guess, on the safe side)."""
LEAST_COSINE = 0.8
"""Of any slope that is ridden."""


def _most_push(space: Space, rows: Rows) -> Rows:
    """Return the most force at the wheel [N]: the motor at its current limit, cold, and the rider's hardest push."""
    torque = _most_torque(space, rows, "") * space.turns(rows)
    if space.base.build.second is not None:
        torque = torque + _most_torque(space, rows, PREFIX) * space.second_turns(rows)
    radius = to_si(space.column(rows, "tyre.circumference_mm"), "mm") / math.tau
    crank = space.column(rows, "rider.crank_torque_limit_nm") * (space.column(rows, "rider.power_w") > 0.0)
    pedalled = 1.0 / space.column(rows, "rider.lowest_gear")
    chain, lowest = space.base.build.drive.pedal_chain, space.base.build.drive.speeds[0]
    if chain is not None:
        pedalled = np.maximum(pedalled, chain[0] * lowest.turns)
    return (torque + crank * pedalled) / radius


def _most_torque(space: Space, rows: Rows, drive: str) -> Rows:
    """Return the torque of a cold motor at its current limit [N m]; `drive`: how its keys begin."""
    sine = space.column(rows, f"{drive}controller.commutation", lambda value: SINE_TO_DC if value == "sine" else 1.0)
    current = space.column(rows, f"{drive}controller.motor_current_limit_a") * sine
    return np.asarray(current / to_si(space.column(rows, f"{drive}motor.kv_rpm_per_v"), "rpm_per_v"))


def _rolling_mass(space: Space, rows: Rows) -> Rows:
    cells = space.column(rows, "pack.series") * space.column(rows, "pack.parallel")
    paths = ["rider.mass_kg", "bicycle.mass_kg", "bicycle.cargo_kg"]
    paths += [f"{each}.mass_kg" for each in _drive_parts(space)]
    rest = sum((space.column(rows, path) for path in paths), start=np.zeros(len(rows)))
    return rest + cells * space.column(rows, "pack.cell.mass_kg") + space.column(rows, "pack.extra_mass_kg")


def _rolling(space: Space, rows: Rows) -> Rows:
    return space.column(rows, "tyre.rolling_resistance")


def _stretches(road: Road) -> list[tuple[float, float]]:
    """Return the steepest stretch of each length: length and rise [m]."""
    found = []
    for window in WINDOW_M:
        nodes = round(window / road.spacing_m)
        if 0 < nodes < len(road.altitude_m):
            rises = road.altitude_m[nodes:] - road.altitude_m[:-nodes]
            found.append((nodes * road.spacing_m, float(rises.max())))
    return found
