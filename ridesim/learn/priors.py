"""What a fit may move: the build's uncertain keys with their tolerances as priors, and what the log itself leaves open.

Each unknown is moved in units of its own prior: z = 0 is the build's value, z = 1 one deviation up.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.bike.tolerance import Together
from ridesim.engine.estimates import drag_terms
from ridesim.errors import LogError
from ridesim.physics.pack import CAPACITY_REFERENCE_C
from ridesim.ride.keyed import laid_in
from ridesim.schema.tolerance import Kind, Tolerance
from ridesim.sure.uncertain import COLD_KEYS, NO_LOAD, RISES, SLOW_PART, STILL, Doubts, Uncertain, doubts_of_bike

OFFSET = "pack.open_circuit_offset_v"
OFFSET_PER_CELL_V = 0.015
"""What a cell's resting voltage may stand off its part's curve (guess; measured cells of one kind differ by 60 mV)."""

WHOLE = "pack.resistance_mohm"
"""No log tells cells from strips and leads: they are moved as one, by the share that the build gives each."""
PARTS = ("pack.cell.resistance_mohm", "pack.interconnect_mohm", "pack.wiring_mohm")
DRAG = ("motor.drag_torque_nm", "motor.drag_growth_nm_s")
"""A log parts what is there at any speed from what grows with it: each is moved by itself, whatever the build gives."""
STEADY, STEADY_COLD = "pack.cell.steady_resistance_mohm", "pack.cell.steady_resistance_0_c_mohm"
_SLOW = (SLOW_PART, STEADY)
"""A build states the one or the other."""
OF_THE_COLD = (*RISES, STEADY_COLD, *COLD_KEYS)
"""Told by a log of cold cells alone."""
_PACK = (WHOLE, *PARTS, *_SLOW, "pack.cell.polarisation_time_s", "pack.cell.capacity_ah", OFFSET, *OF_THE_COLD)
_COPPER = ("motor.kv_rpm_per_v", "motor.resistance_mohm")
_BOX = ("controller.on_resistance_mohm", "controller.switching_loss_fraction", "controller.standby_power_w")
_HEAT = ("motor.winding_heat_capacity_j_per_k", "motor.body_heat_capacity_j_per_k", "motor.winding_to_body_w_per_k",
         STILL, "motor.cooling_exponent", "motor.resistance_mohm", NO_LOAD, *DRAG)  # fmt: skip
ROAD = "road"
TOLD_BY: dict[str, tuple[str, ...]] = {
    "pack_voltage_v": _PACK,
    "pack_current_a": (*_COPPER, *_BOX),
    "duty": (*_COPPER, "motor.inductance_uh"),
    "winding_temperature_c": _HEAT,
    "body_temperature_c": _HEAT,
    "controller_temperature_c": ("controller.heat_capacity_j_per_k", "controller.to_air_w_per_k", *_BOX[:2]),
    "pack_temperature_c": ("pack.to_air_w_per_k", WHOLE, *_SLOW),
    "road_speed_km_h": ("tyre.circumference_mm",),
    ROAD: ("bicycle.drag_area_m2", "tyre.rolling_resistance", "rider.power_w", NO_LOAD, *DRAG, "motor.kv_rpm_per_v"),
}
"""Which keys a channel can tell something of."""

MOTOR_GAIN, PACK_GAIN, AIR, CHARGE = "log.motor_current_gain", "log.pack_current_gain", "log.air_k", "log.charge"
STARTS = {f"{part}_temperature_c": f"log.start_{part}_k" for part in ("winding", "body", "controller", "pack")}
"""How far a lump may have stood off its first reading when the log began."""
START_READ_K, START_UNREAD_K = 0.7, 3.0
"""The first: a sensor that rounds to a degree, in a motor that warms (guesses)."""
WIND_EAST, WIND_NORTH = "log.wind_east_m_per_s", "log.wind_north_m_per_s"
ROAD_BIAS, ROAD_BIAS_W = "log.unknown_power_w", 4.0
"""Power at the wheel that nobody knows of: a brake that rubs, a push of the pedals, an altitude that drifts (guess)."""
DUTY_GAIN, SPEED_GAIN = "log.duty_gain", "log.speed_gain"
DUTY_PART, SPEED_PART = 0.5, 0.3
"""Of the current sensors' gain error: a duty is off by dead times, a receiver's speed by its smoothing (guesses)."""
GAIN_SHARE = 0.01
"""How far a current sensor's gain is off, one deviation (guess: hall sensors and shunts of controllers)."""
AIR_UNKNOWN_K, AIR_LOGGED_K, CHARGE_SHARE, WIND_M_PER_S = 3.0, 1.0, 0.02, 2.0
"""Guesses; the first is that of the build's own weather."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Unknown:
    """One number that a fit moves: `of_log` for what belongs to the log alone and is never written to a build."""

    number: Uncertain
    of_log: bool

    @property
    def key(self) -> str:
        """The dotted key."""
        return self.number.key

    def at(self, z: float) -> float:
        """Return the value z prior deviations up."""
        value, tolerance = self.number.value, self.number.tolerance
        if tolerance.kind == "log-normal":
            return value * math.exp(tolerance.size * z)
        return value + tolerance.standard_deviation(value) * z

    def slope(self, z: float) -> float:
        """Return the change of the value per prior deviation, at z."""
        tolerance = self.number.tolerance
        if tolerance.kind == "log-normal":
            return self.at(z) * tolerance.size
        return tolerance.standard_deviation(self.number.value)

    def z_of(self, value: float) -> float:
        """Return how many prior deviations up a value is."""
        tolerance = self.number.tolerance
        if tolerance.kind == "log-normal":
            return math.log(value / self.number.value) / tolerance.size
        return (value - self.number.value) / tolerance.standard_deviation(self.number.value)

    @property
    def bounds(self) -> tuple[float, float]:
        """The least and the largest z: the key's own range, and no more than MOST_OFF."""
        low, high = -MOST_OFF, MOST_OFF
        if self.number.tolerance.kind != "log-normal" or self.number.low > 0.0:
            low = max(low, self.z_of(self.number.low)) if math.isfinite(self.number.low) else low
        high = min(high, self.z_of(self.number.high)) if math.isfinite(self.number.high) else high
        return min(low, -TINY), max(high, TINY)


MOST_OFF = 8.0
TINY = 1e-6


@dataclass(frozen=True, eq=False)
class Priors:
    """Everything a fit moves, in a fixed order, and the factor of its prior: |root @ z|^2 is its penalty."""

    unknowns: tuple[Unknown, ...]
    root: Array
    doubts: Doubts

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys in their order."""
        return tuple(each.key for each in self.unknowns)

    def values(self, z: Array) -> dict[str, float]:
        """Return the values at z by key."""
        return {each.key: each.at(float(at)) for each, at in zip(self.unknowns, z, strict=True)}


def priors_of(
    loaded: LoadedBuild, channels: Iterable[str], *, asked: tuple[str, ...] = (), air_known: bool, charge: float,
    windy: bool, gain_share: float = GAIN_SHARE, coldest_c: float = CAPACITY_REFERENCE_C,
) -> Priors:  # fmt: skip
    """Return what a log with these channels may tell; `asked`: these keys alone. Raises LogError for strangers.

    coldest_c: what the cells were at their coldest [degC].
    """
    found = doubts_of_bike(_as_cold(loaded, coldest_c))
    numbers = {each.key: each for each in found.numbers}
    _part_steady(loaded, numbers)
    numbers.setdefault(OFFSET, _offset(loaded))
    if NO_LOAD not in asked:
        _part_drag(loaded, numbers)
    bound = {key for group in found.together for key in group.keys}
    if not bound & set(PARTS) and not set(asked) & set(PARTS):
        numbers.setdefault(WHOLE, _whole(loaded, numbers))
        for part in PARTS:
            numbers.pop(part, None)
    channels = tuple(channels)
    wanted = list(dict.fromkeys(key for channel in channels for key in TOLD_BY.get(channel, ())))
    if coldest_c >= CAPACITY_REFERENCE_C:
        wanted = [key for key in wanted if key not in OF_THE_COLD]
    if ROAD in channels:
        wanted += [key for key in numbers if key.startswith("drive.stage.") and key.endswith(".efficiency")]
    if asked:
        _refuse_unknown(asked, numbers)
        wanted = [key for key in numbers if key in asked]
    wanted = [key for key in wanted if key in numbers]
    groups = [group for group in found.together if set(group.keys) & set(wanted)]
    for group in groups:
        deviation = np.sqrt(np.diag(np.asarray(group.covariance)))
        for key, size in zip(group.keys, deviation.tolist(), strict=True):
            old = numbers[key]
            tolerance = Tolerance("normal", size, said="together")
            numbers[key] = Uncertain(key, old.value, tolerance, old.low, old.high, old.whose, old.is_open)
    chosen = [Unknown(numbers[key], False) for key in wanted if numbers[key].tolerance.kind not in ("exact", "around")]
    chosen += [Unknown(each, True) for each in _of_log(channels, air_known, charge, windy, gain_share)]
    unknowns = tuple(chosen)
    doubts = Doubts(tuple(each.number for each in unknowns if not each.of_log))
    return Priors(unknowns, _root(unknowns, groups), doubts)


def _as_cold(loaded: LoadedBuild, cells_c: float) -> LoadedBuild:
    """Return the build with cells as cold as a log's: what of the cold is uncertain is read from it."""
    if cells_c >= CAPACITY_REFERENCE_C:
        return loaded
    return replace(loaded, build=laid_in(loaded.build, {"pack.start_temperature_c": cells_c}))


def _part_steady(loaded: LoadedBuild, numbers: dict[str, Uncertain]) -> None:
    """Hold stated steady resistances above the fast part, and the cold one above the warm: a fit has to load again."""
    warm, cold = numbers.get(STEADY), numbers.get(STEADY_COLD)
    if warm is None:
        return
    middle = warm.high if cold is None else math.sqrt(warm.value * cold.value)
    numbers[STEADY] = replace(warm, low=loaded.build.pack.cell.resistance_mohm, high=middle)
    if cold is not None:
        numbers[STEADY_COLD] = replace(cold, low=middle)


def _part_drag(loaded: LoadedBuild, numbers: dict[str, Uncertain]) -> None:
    """Put the two terms of the motor's drag in the place of the factor on both, unless one of them is zero.

    Each is as unsure as keeps their sum, of two alike, as unsure as the factor was.
    """
    whole = numbers.get(NO_LOAD)
    motor = loaded.build.motor
    still, growth = drag_terms(motor)
    values = (still, growth / (1.0 + motor.extra_eddy_fraction))
    if whole is None or min(values) <= 0.0:
        return
    del numbers[NO_LOAD]
    size = math.sqrt(2.0) * whole.tolerance.standard_deviation(1.0)
    tolerance = Tolerance("log-normal", size, said=whole.tolerance.said)
    for key, value, high in zip(DRAG, values, MOST_DRAG, strict=True):
        numbers.setdefault(key, Uncertain(key, value, tolerance, 0.0, high, whole.whose))


MOST_DRAG = (100.0, 1.0)
"""As the build file's own ranges."""


def _offset(loaded: LoadedBuild) -> Uncertain:
    size = OFFSET_PER_CELL_V * loaded.build.pack.series
    value = loaded.build.pack.open_circuit_offset_v
    return Uncertain(OFFSET, value, Tolerance("normal", size, said=f"{size:g}"), -30.0, 30.0, "default")


def _whole(loaded: LoadedBuild, numbers: Mapping[str, Uncertain]) -> Uncertain:
    """Return the pack's whole resistance: the sum of its parts, and of their deviations as independent ones."""
    pack = loaded.build.pack
    parts = (pack.series / pack.parallel * pack.cell.resistance_mohm, pack.interconnect_mohm, pack.wiring_mohm)
    wide = [part * numbers[key].tolerance.standard_deviation(numbers[key].value) / numbers[key].value
            for key, part in zip(PARTS, parts, strict=True) if key in numbers]  # fmt: skip
    value = pack.added_resistance_mohm
    size = max(math.hypot(*wide) / value, LEAST_WHOLE)
    return Uncertain(WHOLE, value, Tolerance("log-normal", size, said=f"{size:.0%}"), 0.1, 5000.0, "default")


LEAST_WHOLE = 0.02
"""No sum of cells, strips and leads is known better (guess)."""


def _of_log(
    channels: tuple[str, ...], air_known: bool, charge: float, windy: bool, gain_share: float
) -> Iterable[Uncertain]:
    def one(key: str, value: float, size: float, low: float, high: float) -> Uncertain:
        """Return a number of the log alone, with its tolerance and its bounds."""
        # A gain goes with Kv as a product: in logarithms the valley between them is straight.
        kind: Kind = "log-normal" if key.endswith("_gain") else "normal"
        return Uncertain(key, value, Tolerance(kind, size), low, high, "road")

    if gain_share > 0.0:
        yield one(MOTOR_GAIN, 1.0, gain_share, 0.5, 2.0)
        yield one(PACK_GAIN, 1.0, gain_share, 0.5, 2.0)
        if "duty" in channels:
            yield one(DUTY_GAIN, 1.0, DUTY_PART * gain_share, 0.5, 2.0)
        if "road_speed_km_h" in channels:
            yield one(SPEED_GAIN, 1.0, SPEED_PART * gain_share, 0.5, 2.0)
    if any(name.endswith("temperature_c") for name in channels):
        yield one(AIR, 0.0, AIR_LOGGED_K if air_known else AIR_UNKNOWN_K, -20.0, 20.0)
    motor = {"winding_temperature_c", "body_temperature_c"}
    for name, key in STARTS.items():
        if name in channels or (name in motor and motor & set(channels)):
            yield one(key, 0.0, START_READ_K if name in channels else START_UNREAD_K, -30.0, 30.0)
    if "pack_voltage_v" in channels:
        yield one(CHARGE, charge, CHARGE_SHARE, 0.0, 1.05)
    if ROAD in channels:
        yield one(ROAD_BIAS, 0.0, ROAD_BIAS_W, -200.0, 200.0)
    if windy and ROAD in channels:
        yield one(WIND_EAST, 0.0, WIND_M_PER_S, -15.0, 15.0)
        yield one(WIND_NORTH, 0.0, WIND_M_PER_S, -15.0, 15.0)


def _root(unknowns: tuple[Unknown, ...], groups: list[Together]) -> Array:
    """Return the matrix whose product with z has unit covariance under the prior."""
    correlation = np.eye(len(unknowns))
    place = {each.key: at for at, each in enumerate(unknowns)}
    for group in groups:
        at = [(number, place[key]) for number, key in enumerate(group.keys) if key in place]
        covariance = np.asarray(group.covariance)
        deviation = np.sqrt(np.diag(covariance))
        scaled = covariance / np.outer(deviation, deviation)
        for row, here in at:
            for column, there in at:
                correlation[here, there] = scaled[row, column]
    jitter = correlation + ROUNDING * np.eye(len(unknowns))
    return np.asarray(np.linalg.inv(np.linalg.cholesky(jitter)))


ROUNDING = 1e-9


def _refuse_unknown(asked: tuple[str, ...], numbers: Mapping[str, Uncertain]) -> None:
    import difflib

    for key in asked:
        if key not in numbers:
            near = difflib.get_close_matches(key, numbers, 1, 0.5)
            hint = f"did you mean {near[0]}?" if near else f"uncertain here: {', '.join(sorted(numbers))}"
            raise LogError("--only", f"{key} is not uncertain in this build", hint)
