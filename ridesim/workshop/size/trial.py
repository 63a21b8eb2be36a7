"""Trial bikes of a sizing: wound for a top speed, limited for a hill, and ridden up it."""

from __future__ import annotations

import math
from typing import Any

from ridesim.bike.load import LoadedBuild, build_from_dict, replace_keys
from ridesim.bike.rough import resting_v, shift_rpm
from ridesim.bike.schema import Build, Gear
from ridesim.units import from_si, to_si
from ridesim.workshop.level_run import run_level
from ridesim.workshop.pack.design import nominal_cell_v
from ridesim.workshop.pack.plan import load_cell
from ridesim.workshop.size.judged import TUNING_RUN_M
from ridesim.workshop.size.parts import SIZE_CLASSES, Layout, load_motor, scaled_motor
from ridesim.workshop.size.wish import Demand, Wish, demand_at, trial_bike

HIGHEST_MOTOR_RPM = 9000.0
"""Top speed of the motor's shaft that bearings, magnets and small pulleys are asked to bear (guess)."""
RATIO_OF_STAGES = {0: 1.0, 1: 9.0, 2: 18.0}
"""Highest reduction with so many belt stages on a bicycle wheel (common practice, no source)."""
FORCE_RESERVE = 1.3
"""Wheel force at the current limit over the hill's, or over the level's at top speed: enough to start (guess)."""
KV_APART_PERCENT = 3.0
"""By how much Kv of two motors of one make may differ (guess)."""
HUB_TORQUE_NM = 90.0
"""Torque that a generic gear hub's input stands (guess; see what the maker of yours allows)."""
HUB_SHARE = 0.98
"""Of that torque which the motors' current limit may reach: the peak lies a little above the mean (a choice)."""
SHIFT_UP_SHARE, SHIFT_DOWN_SHARE = 0.82, 0.48
"""Shift up at this share of the unloaded speed at half charge, down at this of what the widest step leaves.

Guesses, from rides up 8 to 16 %: with less between them it shifts to and fro at full throttle; from 0.88 on a pack with
10 % of charge does not reach them any more, and the bike stays in a low gear.
"""
SHIFT_ROOM = 0.97
"""Of the up-shift's speed, within which a gear counts as the one that holds the hill (guess)."""
GEAR_DIGITS = 3
"""Of a gear's ratio in a build file."""
TORQUE_LOST_WARM = 0.93
"""Torque per ampere of a motor at 80 degC over the cold one's: -0.12 %/K of its magnets."""
USABLE = 0.85
"""Share of the pack's energy that the wished range may use (guess)."""
USUAL_LIMIT_A, USUAL_RESISTANCE_MOHM = 60.0, 6.0
"""Motor current of a controller with the default resistance and heat sink (guess)."""
FINEST_A, LEAST_FIGURE = 0.1, 100.0
"""Current limits are set to a tenth of an ampere, from a hundred on to a whole one (a choice: in whole amperes a small
motor's torque would differ by a fourth from one pack voltage to the next)."""
TUNING_STEPS = 6
"""Rounds of matching Kv to a top speed; each cuts the miss several times."""
CLOSE_ENOUGH = 0.003
"""Miss of the top speed at which Kv is left alone."""
LARGEST_STEP = 1.3
"""Change of Kv in one round: a motor that is too weak for the speed must not run away to any Kv."""


def ratio_of(wish: Wish, layout: Layout) -> float:
    """Return the slowest gearing of the stages that they and the motor's speed allow at the top speed, in motor turns.

    They turn the wheel, or the input of the gears.
    """
    if not layout.stages:
        return 1.0
    return min(RATIO_OF_STAGES[layout.stages], most_turns(wish, layout))


def most_turns(wish: Wish, layout: Layout) -> float:
    """Return the motor turns a turn of the stages' output with which the motor is at its top speed."""
    return HIGHEST_MOTOR_RPM / (layout.highest * wish.wheel_rpm(wish.top_speed_km_h))


def series_for(wish: Wish, volts: float) -> int:
    """Return the cells in series nearest to a nominal voltage."""
    return max(1, round(volts / nominal_cell_v(load_cell(wish.cell).max_voltage_v)))


def _rough_parallel(wish: Wish, volts: float, total_kg: float) -> int:
    """Cells in parallel for a first ride, by steady forces: the energy of the range, the power of the hill."""
    cell = load_cell(wish.cell)
    level = demand_at(wish, "", wish.cruise, 0.0, total_kg).wheel_force_n * to_si(wish.range_km, "km")
    hill = demand_at(wish, "", wish.hill_speed_km_h, wish.hill_percent, total_kg).wheel_force_n
    joules = (level + hill * to_si(wish.hill_km, "km")) / 0.75  # drive, motor and pack take a quarter (guess)
    each = nominal_cell_v(cell.max_voltage_v) * cell.capacity_ah * series_for(wish, volts)
    climbing = FORCE_RESERVE * hill * to_si(wish.hill_speed_km_h, "km_h")
    watts = max(climbing, demand_at(wish, "", wish.top_speed_km_h, 0.0, total_kg).wheel_power_w) / 0.75
    by_current = watts / volts / cell.max_discharge_a
    return max(1, math.ceil(from_si(joules, "wh") / USABLE / each), math.ceil(by_current))


def trial(wish: Wish, layout: Layout, ratio: float, kv: float, volts: float, more_cells: float = 1.0) -> LoadedBuild:
    """Return a bike with scaled motors wound for `kv`, and a pack that is roughly large enough.

    `ratio`: motor turns a turn of the wheel, or of the gears' input.
    """
    parallel = math.ceil(more_cells * _rough_parallel(wish, volts, wish.mass_kg + layout.motors_kg + 4.0))
    each = ratio ** (1.0 / layout.stages) if layout.stages else 1.0
    drive = drive_keys(layout, [{"ratio": each} for _ in range(layout.stages)])
    motor = scaled_motor(load_motor(layout.size.part), layout.size.mass_kg, kv)
    loaded = build_from_dict(trial_bike(wish, motor, drive, series_for(wish, volts), parallel), where="trial bike")
    return replace_keys(loaded, shift_keys(loaded.build)) if layout.gears else loaded


def refuse_impossible(wish: Wish) -> None:
    """Raise BuildError for a cell or a further key that no bike can have: no less of a wish would help.

    It is told of the plainest bike: its motor as the part is, one stage, one cell in parallel.
    """
    part = load_motor(SIZE_CLASSES[0].part)
    motor, stage = scaled_motor(part, part.mass_kg, part.kv_rpm_per_v), {"ratio": RATIO_OF_STAGES[1]}
    drive = drive_keys(Layout(SIZE_CLASSES[0], 1), [stage])
    build_from_dict(trial_bike(wish, motor, drive, series_for(wish, wish.voltages_v[0]), 1), where="trial bike")


def shift_keys(build: Build) -> dict[str, float]:
    """Return the shift speeds of a geared proposal: late up, and late down again, unless a build says them itself.

    A shift on the wished hill takes speed while nothing pushes: with little between both speeds it shifts to and fro.
    """
    gears = build.drive.gears
    unloaded = build.motor.kv_rpm_per_v * resting_v(build, 0.5) * build.controller.modulation_limit
    up = gears.up_rpm or round(SHIFT_UP_SHARE * unloaded, -1)
    down = gears.down_rpm or round(SHIFT_DOWN_SHARE * gears.widest_step * up, -1)
    return {"drive.gears.up_rpm": max(up, 20.0), "drive.gears.down_rpm": max(down, 1.0)}


def drive_keys(layout: Layout, stages: list[dict[str, Any]]) -> dict[str, Any]:
    """Return a layout's drive as a build has it."""
    keys: dict[str, Any] = {"coupling": "freewheel" if stages else "fixed"}
    if layout.motors > 1:
        keys |= {"motors": layout.motors, "motors_share": "one_shaft", "kv_difference_percent": KV_APART_PERCENT}
    if layout.gears:
        keys["gears"] = {
            "kind": "hub",
            "ratios": [round(each, GEAR_DIGITS) for each in layout.gears],
            "input_torque_limit_nm": HUB_TORQUE_NM,
        }
    return keys | {"stage": stages}


def tuned(wish: Wish, layout: Layout, ratio: float, volts: float, wanted_km_h: float, charge: float) -> LoadedBuild:
    """Return the trial bike wound so that its top speed on the level is the wanted one at a charge."""
    kv = 1.15 * ratio * layout.highest * wish.wheel_rpm(wanted_km_h) / volts
    for _ in range(TUNING_STEPS):
        loaded, _limit = with_limits(wish, trial(wish, layout, ratio, kv, volts), wanted_km_h)
        miss = wanted_km_h / max(run_level(loaded, charge, TUNING_RUN_M).top_speed_km_h, 0.1 * wanted_km_h)
        if abs(miss - 1.0) < CLOSE_ENOUGH:
            break
        kv *= min(max(miss, 1.0 / LARGEST_STEP), LARGEST_STEP)
    return trial(wish, layout, ratio, kv, volts)


def with_limits(wish: Wish, loaded: LoadedBuild, level_km_h: float | None = None) -> tuple[LoadedBuild, float]:
    """Return the bike with a motor current limit for the hill (and the top speed) with a reserve, DC-equivalent A.

    Of each motor. It never puts more into a gear hub than that stands: the hub is what breaks first.
    """
    build = loaded.build
    hill = demand_at(wish, "", wish.hill_speed_km_h, wish.hill_percent, build.mass_kg)
    level = at_top_speed(wish, build.mass_kg, level_km_h)
    torque = FORCE_RESERVE * max(motor_torque_nm(build, hill), motor_torque_nm(build, level))
    per_ampere = build.drive.motors * TORQUE_LOST_WARM / to_si(build.motor.kv_rpm_per_v, "rpm_per_v")
    wanted = torque / per_ampere
    step = current_step_a(wanted)
    limit = min(max(round(math.ceil(wanted / step) * step, 1), 1.0), 1500.0, _hub_bears_a(build))
    return replace_keys(loaded, controller_for(limit)), limit


def current_step_a(amperes: float) -> float:
    """Return how finely a current limit of this size is set [A]."""
    return FINEST_A if amperes < LEAST_FIGURE else 1.0


def _hub_bears_a(build: Build) -> float:
    """Return the motor current of each motor at which the gears' input has the torque that it stands, DC-equivalent."""
    stands, drive = build.drive.gears.input_torque_limit_nm, build.drive
    if stands is None:
        return math.inf
    passed = drive.reduction * math.prod(stage.load_efficiency for stage in drive.stage)
    each_nm = HUB_SHARE * stands / (passed * drive.motors)
    most = each_nm * to_si(build.motor.kv_rpm_per_v, "rpm_per_v")
    step = current_step_a(most)
    return max(round(math.floor(most / step) * step, 1), 1.0)


def at_top_speed(wish: Wish, total_kg: float, level_km_h: float | None = None) -> Demand:
    """Return what the top speed asks on the level (or another speed): the motor is to hold it alone."""
    return demand_at(wish, "top speed, motor alone", level_km_h or wish.top_speed_km_h, 0.0, total_kg, pedalled=False)


def motor_torque_nm(build: Build, demand: Demand) -> float:
    """Return what all motors must give at the shaft, in the gear that a bike has in that comes to the speed from below.

    One that slows down to it has a faster gear in, slows further where that is too much for it, and then shifts.
    """
    gear = _gear_sped_up_to(build, demand.wheel_speed_rpm)
    efficiency = math.prod(stage.load_efficiency for stage in build.drive.stage) * gear.efficiency
    return demand.wheel_torque_nm / (build.drive.reduction * gear.turns * efficiency)


def _gear_sped_up_to(build: Build, wheel_rpm: float) -> Gear:
    """Return the lowest gear that stays below its up-shift at a wheel's speed, else the highest.

    At the edge of an up-shift it is the next gear that has to hold the hill.
    """
    drive, up = build.drive, shift_rpm(build)[0]
    kept = (gear for gear in drive.speeds if drive.reduction * gear.turns * wheel_rpm < SHIFT_ROOM * up)
    return next(kept, drive.speeds[-1])


def controller_for(limit_a: float) -> dict[str, object]:
    """Return the keys of a controller as large as its motor current asks: twice the current, half the resistance.

    A guess: switches side by side on a heat sink that grows with them; the defaults are those of one for 60 A.
    """
    share = max(limit_a / USUAL_LIMIT_A, 1.0)
    return {
        "controller.motor_current_limit_a": limit_a,
        "controller.on_resistance_mohm": USUAL_RESISTANCE_MOHM / share,
        "controller.heat_capacity_j_per_k": 350.0 * share,
        "controller.to_air_w_per_k": 1.5 * share,
    }
