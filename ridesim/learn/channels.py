"""What a log measures that the model computes: each channel with its window and its stated error."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.schema import Build
from ridesim.engine.gearing import wheel_radius
from ridesim.engine.params import parameters
from ridesim.learn.driven import Driven
from ridesim.learn.follow import Followed
from ridesim.units import from_si, to_si

BLOCK_S = 300.0
"""Every other block is fitted, those between are predicted; a short log has shorter blocks."""
LEAST_BLOCKS = 8
FULL_WINDOW = 0.5
"""Share of a window that must be known for it to count (guess)."""

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


class Channel(NamedTuple):
    """One measured quantity: `error` of a window's mean that no sensor of a bike undercuts, in its unit (guesses:
    gain, zero, rounding), and `share` of the reading that comes to it; `strange`: a difference no like bike shows."""

    name: str
    words: str
    unit: str
    window_s: float
    error: float
    share: float
    strange: float
    strange_share: float


CHANNELS = (
    Channel("motor_current_a", "motor current (DC-equivalent)", "a", 10.0, 0.3, 0.01, 4.0, 0.3),
    Channel("speed_km_h", "speed", "km_h", 30.0, 0.5, 0.01, 2.0, 0.2),
    Channel("pack_voltage_v", "pack voltage", "v", 10.0, 0.06, 0.001, 0.0, 0.05),
    Channel("pack_current_a", "pack current", "a", 10.0, 0.1, 0.005, 2.0, 0.25),
    Channel("duty", "duty", "", 10.0, 0.003, 0.0, 0.02, 0.12),
    Channel("winding_temperature_c", "winding temperature", "c", 30.0, 0.5, 0.0, 25.0, 0.0),
    Channel("body_temperature_c", "motor body temperature", "c", 30.0, 0.5, 0.0, 20.0, 0.0),
    Channel("controller_temperature_c", "controller temperature", "c", 30.0, 0.5, 0.0, 25.0, 0.0),
    Channel("pack_temperature_c", "pack temperature", "c", 30.0, 0.5, 0.0, 12.0, 0.0),
    Channel("charge_used_ah", "charge used", "ah", 30.0, 0.05, 0.01, 0.3, 0.3),
    Channel("charge_fraction", "charge of the pack", "", 30.0, 0.01, 0.0, 0.2, 0.0),
    Channel("road_speed_km_h", "road speed by the motor's", "km_h", 10.0, 0.1, 0.002, 1.0, 0.06),
)
BY_NAME = {each.name: each for each in CHANNELS}


@dataclass(frozen=True, eq=False)
class Compared:
    """One channel, (n,) at the driven steps: measured and computed, nan where it was not measured."""

    channel: Channel
    measured: Array
    computed: Array

    @property
    def difference(self) -> Array:
        """Measured less computed."""
        return self.measured - self.computed


def measured_channels(driven: Driven) -> dict[str, Array]:
    """Return what a log measures of the channels, by name; gaps are nan."""
    found = {}
    for channel in CHANNELS:
        values = _measured(channel.name, driven)
        if values is not None and np.isfinite(values).sum() * driven.step_s > 2.0 * channel.window_s:
            found[channel.name] = np.where(driven.known, values, np.nan)
    return found


def _measured(name: str, driven: Driven) -> Array | None:
    if name == "road_speed_km_h":
        if driven.speed_by not in ("motor speed", "electrical speed"):
            return None
        column = next((each for each in ("gps_speed_km_h", "speed_km_h") if each in driven.measured), None)
        if column is None:
            return None
        values = driven.measured[column]
        return np.where((values > SLOW_KM_H) & (driven.omega > TURNING), values, np.nan)
    if name == "speed_km_h":
        return np.asarray(from_si(driven.speed, "km_h")) if driven.by == "throttle" else None
    if name == "motor_current_a":
        return driven.current if driven.by != "current" and driven.current_by == "motor current" else None
    if name == "pack_current_a":
        return None if driven.by == "current" and driven.current_by == "pack current" else driven.pack_current
    if name == "duty" and "duty" in driven.measured:
        # At a closed throttle a controller logs the duty it would have: only under current it is the motor's voltage.
        return np.where(under_current(driven), np.abs(driven.measured["duty"]), np.nan)
    if name == "charge_used_ah" and name in driven.measured:
        counted = driven.measured[name]
        known = counted[np.isfinite(counted)]
        return counted - known[0] if known.size else None  # a counter may not have been reset
    return driven.measured.get(name)


def under_current(driven: Driven) -> Mask:
    """Return the readings under current, or with the throttle open where no current is logged."""
    if driven.current_by == "none":
        return np.asarray(driven.throttle > OPENED)
    amps = driven.current if driven.current_by == "motor current" else driven.pack_current
    return np.asarray(np.abs(np.nan_to_num(amps)) > LOADED_A)


SLOW_KM_H, TURNING = 5.0, 5.0
OPENED = 0.1
LOADED_A = 2.0
"""Guesses."""


def computed_channel(name: str, build: Build, driven: Driven, followed: Followed) -> Array:
    """Return what the model says of a channel."""
    if name == "road_speed_km_h":
        return np.asarray(from_si(driven.omega * wheel_radius(build) / build.drive.turns, "km_h"))
    if name == "charge_used_ah":
        used = (followed.charge_fraction[0] - followed.charge_fraction) / parameters(build).charge_per_coulomb
        return np.asarray(from_si(used, "ah"))
    return followed.current_a if name == "motor_current_a" else followed.of(name)


def compared(build: Build, driven: Driven, followed: Followed) -> tuple[Compared, ...]:
    """Return every channel that the log measures, beside what the model says."""
    return tuple(
        Compared(BY_NAME[name], values, computed_channel(name, build, driven, followed))
        for name, values in measured_channels(driven).items()
    )


@dataclass(frozen=True, eq=False)
class Windows:
    """Windows of one channel, (m,): which steps each holds, and its block."""

    per: int
    used: Mask
    block: NDArray[np.int64]

    def means(self, values: Array, known: Mask) -> Array:
        """Return the means over the used windows, of the steps that are known."""
        count = len(values) // self.per * self.per
        shape = (-1, self.per)
        ok = known[:count].reshape(shape)
        total = np.where(ok, values[:count].reshape(shape), 0.0).sum(axis=1)
        return (total / np.maximum(ok.sum(axis=1), 1))[self.used]


def windows_of(channel: Channel, known: Mask, step_s: float) -> Windows:
    """Return the windows of a channel that are known for half of their time or more."""
    per = max(1, round(channel.window_s / step_s))
    count = len(known) // per
    share = known[: count * per].reshape(count, per).mean(axis=1)
    used = share >= FULL_WINDOW
    block_s = min(BLOCK_S, max(len(known) * step_s / LEAST_BLOCKS, 2.0 * channel.window_s))
    block = (np.arange(count) * per * step_s / block_s).astype(np.int64)
    return Windows(per, used, block[used])


def motion_ratio(driven: Driven) -> float:
    """Return the road's speed over that of the motor [m per rad] where both are logged, by their medians; else nan."""
    values = _measured("road_speed_km_h", driven)
    if values is None:
        return float("nan")
    good = np.isfinite(values) & (driven.omega > 1.0)
    return float(np.median(to_si(values[good], "km_h") / driven.omega[good])) if good.sum() > 20 else float("nan")
