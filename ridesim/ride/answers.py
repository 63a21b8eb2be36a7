"""What many rides came to, read as columns: the figures and the judge's stops of each ride, without a ride object.

`ride.figures` and `ride.judge` say what a figure and a passed limit are; here the same is read from all rows at once.
`tests/ride/test_rows.py` holds both against each other, ride by ride.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.schema import Build
from ridesim.bike.second import seen_by_second
from ridesim.engine.batch import Results
from ridesim.engine.gearing import wheel_radius
from ridesim.engine.params import charge_tables, current_scale
from ridesim.engine.state import Limit, State, Stop, Total
from ridesim.errors import RideError
from ridesim.ride.figures import chain_force_n, highest_v
from ridesim.ride.judge import CHARGE_HARD, OF_A_DRIVE, is_passed
from ridesim.ride.limits import LIMITS
from ridesim.ride.quantities import OF_SECOND, SECOND
from ridesim.ride.running import RideOptions
from ridesim.road.profile import Road
from ridesim.units import from_si, to_si

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

CHARGE = State._fields.index("charge")


def _of(which: Total) -> Callable[[Results, Build], Array]:
    return lambda rode, _build: rode.totals[:, which]


def _highest(rode: Results, build: Build) -> Array:
    return np.asarray(highest_v(rode.totals[:, Total.HIGHEST_VOLTAGE], build))


def _current(which: Total) -> Callable[[Results, Build], Array]:
    """A motor current as the build's commutation reads it."""
    return lambda rode, build: rode.totals[:, which] / current_scale(build)


def _lasting(which: Total) -> Callable[[Results, Build], Array]:
    return lambda rode, _build: np.sqrt(rode.totals[:, which])


def _cell(reading: Callable[[Results, Build], Array]) -> Callable[[Results, Build], Array]:
    return lambda rode, build: reading(rode, build) / build.pack.parallel


def _wh(which: Total) -> Callable[[Results, Build], Array]:
    return lambda rode, _build: from_si(rode.totals[:, which], "wh")


def _km(rode: Results, _build: Build) -> Array:
    return from_si(rode.totals[:, Total.DISTANCE], "km")


def _net(rode: Results, build: Build) -> Array:
    return _wh(Total.TERMINAL_OUT)(rode, build) - _wh(Total.TERMINAL_IN)(rode, build)


def _over(top: Array, bottom: Array, without: float) -> Array:
    """The quotient, and what it is where there is nothing to divide by."""
    return np.divide(top, bottom, out=np.full(len(top), without), where=bottom > 0.0)


def _mean_speed(rode: Results, _build: Build) -> Array:
    return from_si(_over(rode.totals[:, Total.DISTANCE], rode.totals[:, Total.MOVING_TIME], 0.0), "km_h")


def _geared(which: Total) -> Callable[[Results, Build], Array]:
    """A reading of bikes with gears; nan of those without."""
    return lambda rode, build: rode.totals[:, which] if build.drive.gears.ratios else np.full(len(rode.stop), np.nan)


def _chain_force(rode: Results, build: Build) -> Array:
    pull = chain_force_n(build.drive, rode.totals[:, Total.PEAK_GEAR_TORQUE])
    return np.full(len(rode.stop), np.nan) if pull is None else np.asarray(pull)


def _second(rode: Results, build: Build) -> tuple[Results, Build] | None:
    """Return what rides left behind as the second drive had it, as `ride.drives` does; None for bikes of one drive."""
    own = rode.second
    if own is None:
        return None
    seen = rode._replace(totals=own.totals, ledger=own.ledger, limit_seconds=own.limit_seconds,
                         limit_first_m=own.limit_first_m, second=None)  # fmt: skip
    return seen, seen_by_second(build)


def _of_second(reading: Callable[[Results, Build], Array]) -> Callable[[Results, Build], Array]:
    """A figure of the second drive; nan of bikes that have one."""

    def read(rode: Results, build: Build) -> Array:
        """Return the figure of every row."""
        seen = _second(rode, build)
        return np.full(len(rode.stop), np.nan) if seen is None else reading(*seen)

    return read


_CELL_LASTING = _cell(_lasting(Total.SUSTAINED_PACK_SQUARE))
_CELL_CHARGE = _cell(_of(Total.PEAK_CHARGE_CURRENT))

ANSWERS: dict[str, Callable[[Results, Build], Array]] = {
    "total_time_s": _of(Total.TIME),
    "moving_time_s": _of(Total.MOVING_TIME),
    "mean_speed_km_h": _mean_speed,
    "pushed_m": _of(Total.PUSHED_DISTANCE),
    "pushed_s": _of(Total.PUSHED_TIME),
    "top_speed_km_h": lambda rode, _build: from_si(rode.totals[:, Total.TOP_SPEED], "km_h"),
    "distance_km": _km,
    "net_energy_wh": _net,
    "net_wh_per_km": lambda rode, build: _over(_net(rode, build), _km(rode, build), np.nan),
    "pack_energy_out_wh": _wh(Total.TERMINAL_OUT),
    "pack_energy_returned_wh": _wh(Total.TERMINAL_IN),
    "motor_braking_wh": _wh(Total.MOTOR_BRAKING),
    "charge_left_fraction": lambda rode, _build: np.maximum(rode.end[:, CHARGE], 0.0),
    "peak_winding_temp_c": _of(Total.PEAK_WINDING),
    "peak_body_temp_c": _of(Total.PEAK_BODY),
    "peak_controller_temp_c": _of(Total.PEAK_CONTROLLER),
    "peak_pack_temp_c": _of(Total.PEAK_PACK_TEMP),
    "peak_motor_current_a": _current(Total.PEAK_DRIVE_CURRENT),
    "sustained_motor_current_a": lambda rode, build: (
        _lasting(Total.SUSTAINED_MOTOR_SQUARE)(rode, build) / current_scale(build)
    ),
    "peak_pack_current_a": _of(Total.PEAK_PACK_CURRENT),
    "peak_charge_current_a": _of(Total.PEAK_CHARGE_CURRENT),
    "sustained_pack_current_a": _lasting(Total.SUSTAINED_PACK_SQUARE),
    "peak_cell_current_a": _cell(_of(Total.PEAK_PACK_CURRENT)),
    "sustained_cell_current_a": _CELL_LASTING,
    "peak_cell_charge_current_a": _CELL_CHARGE,
    "lowest_pack_voltage_v": _of(Total.LOWEST_VOLTAGE),
    "highest_pack_voltage_v": _highest,
    "highest_cell_voltage_v": lambda rode, build: _highest(rode, build) / build.pack.series,
    "gear_shifts": _of(Total.SHIFTS),
    "shifting_time_s": _of(Total.SHIFTING_TIME),
    "peak_gear_torque_nm": _geared(Total.PEAK_GEAR_TORQUE),
    "peak_chain_force_n": _chain_force,
    "peak_shaft_power_w": _of(Total.PEAK_MECHANICAL_POWER),
}
ANSWERS |= {f"{SECOND}{name}": _of_second(ANSWERS[name]) for name in OF_SECOND}
"""The figures of `ride.figures` that are read from many rides at once."""


def answer_of(name: str, rode: Results, build: Build) -> Array:
    """Return a figure of every row, (rows,), nan where there is none or no ride. Raises RideError."""
    if name not in ANSWERS:
        raise RideError("answer", f"there is none that is called {name!r}", f"choose one of {', '.join(ANSWERS)}")
    return np.where(rode.stop == Stop.RUNNING, np.nan, ANSWERS[name](rode, build))


def stop_words(rode: Results) -> NDArray[np.str_]:
    """Return the word of each ride's end, "" where there was no ride."""
    words = np.array(["" if each is Stop.RUNNING else each.name.lower() for each in Stop])
    return np.asarray(words[rode.stop])


def _arrival(rode: Results, build: Build, road: Road, options: RideOptions) -> Flags:
    asked = road.cycle.distance_m if road.cycle is not None else road.length_m
    short = is_passed(LIMITS["arrival"], _km(rode, build), from_si(asked, "km") * options.laps)
    return (rode.stop != Stop.FINISHED) | short


def _limit(
    name: str, figure: Callable[[Results, Build], Array], limit: Callable[[Build], Any]
) -> Callable[[Results, Build, Road, RideOptions], Flags]:
    def passed(rode: Results, build: Build, _road: Road, _options: RideOptions) -> Flags:
        """Return which rides pass the limit."""
        allowed = limit(build)
        return is_passed(LIMITS[name], figure(rode, build), np.inf if allowed is None else allowed)

    return passed


def _full(build: Build) -> Any:
    cell = build.pack.cell
    return np.maximum(cell.max_voltage_v, cell.open_circuit_v[-1])


def _over_speed(rode: Results, build: Build, _road: Road, _options: RideOptions) -> Flags:
    """As `figures.over_speed_km_h` has it: the speed at which the back-EMF passes the pack at its last charge."""
    if build.drive.coupling == "freewheel":
        return np.zeros(len(rode.stop), dtype=bool)
    volts = charge_tables(build.pack)[0]
    place = np.round(np.clip(rode.end[:, CHARGE], 0.0, 1.0) * (volts.shape[-1] - 1)).astype(np.int64)
    volts = volts[place] if volts.ndim == 1 else volts[np.arange(len(place)), place]
    constant = 1.0 / to_si(build.motor.kv_rpm_per_v, "rpm_per_v")
    from_speed = volts / (constant * build.drive.fastest_turns / wheel_radius(build))
    rule = LIMITS["over_speed"]
    top = rode.totals[:, Total.TOP_SPEED]
    met = rode.limit_seconds[:, Limit.OVER_SPEED] > 0.0
    return np.asarray(met | is_passed(rule, top, from_speed))


PASSED: dict[str, Callable[[Results, Build, Road, RideOptions], Flags]] = {
    "arrival": _arrival,
    "winding": _limit("winding", ANSWERS["peak_winding_temp_c"], lambda b: b.motor.winding_limit_c),
    "magnets": _limit("magnets", ANSWERS["peak_body_temp_c"], lambda b: b.motor.magnet_limit_c),
    "controller": _limit(
        "controller", ANSWERS["peak_controller_temp_c"], lambda b: b.controller.controller_no_current_above_c),
    "cells_heat": _limit("cells_heat", ANSWERS["peak_pack_temp_c"], lambda b: b.pack.temperature_limit_c),
    "cell_lasting": _limit("cell_lasting", _CELL_LASTING, lambda b: b.pack.cell.max_discharge_a),
    "charge_hard": _limit("charge_hard", _CELL_CHARGE, lambda b: CHARGE_HARD * b.pack.cell.max_charge_a),
    "overcharge": _limit("overcharge", _of(Total.HIGHEST_CHARGE), lambda _b: 1.0),
    "cell_voltage_high": _limit("cell_voltage_high", ANSWERS["highest_cell_voltage_v"], _full),
    "supply_voltage": _limit(
        "supply_voltage", ANSWERS["highest_pack_voltage_v"], lambda b: b.controller.voltage_limit_v),
    "gear_torque": _limit(
        "gear_torque", _geared(Total.PEAK_GEAR_TORQUE), lambda b: b.drive.gears.input_torque_limit_nm),
    "chain_force": _limit("chain_force", _chain_force, lambda b: b.drive.chain_force_limit_n),
    "over_speed": _over_speed,
}  # fmt: skip
"""The limits that a ride can see and whose passing stops it, by their names in `ride.limits`."""


def passed_of(limit: str, rode: Results, build: Build, road: Road, options: RideOptions) -> Flags:
    """Return whether each row passed a limit, by either of two drives, (rows,); False where there was no ride.

    Raises RideError.
    """
    return np.asarray(np.logical_or.reduce(passed_by_drive(limit, rode, build, road, options)))


def passed_by_drive(
    limit: str, rode: Results, build: Build, road: Road, options: RideOptions
) -> tuple[Flags, ...]:  # fmt: skip
    """Return whether each row passed a limit, as `passed_of`: one entry a drive where each has that limit for itself.

    Raises RideError.
    """
    if limit not in PASSED:
        raise RideError("limit", f"there is none that is called {limit!r}", f"choose one of {', '.join(PASSED)}")
    second = _second(rode, build) if limit in OF_A_DRIVE else None
    ridden = rode.stop != Stop.RUNNING
    drives = ((rode, build),) if second is None else ((rode, build), second)
    return tuple(np.asarray(ridden & PASSED[limit](*each, road, options)) for each in drives)
