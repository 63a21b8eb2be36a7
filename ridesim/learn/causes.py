"""Why a measured channel may part from the computed one: likely causes in words, each found by a rule."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.engine.params import current_scale, parameters
from ridesim.learn.channels import Compared
from ridesim.learn.driven import Driven
from ridesim.learn.follow import Followed
from ridesim.physics.motor import AMPLITUDE_TO_DC
from ridesim.units import from_si

TELLING = 0.3
"""Share of a difference's scatter that a rule must explain to be told (guess)."""
NEAR_SAME = 0.03
DRIFT_SHARE = 0.01
"""Guesses: of a factor, and of a voltage's fall over the ride."""
SENSOR_LAGS_S = (5.0, 10.0, 20.0, 40.0, 80.0, 160.0)

Array = NDArray[np.float64]


def causes_of(each: Compared, loaded: LoadedBuild, driven: Driven, followed: Followed) -> Iterator[str]:
    """Yield likely causes of a channel's difference, the most telling first."""
    rule = RULES.get(each.channel.name, _temperature if each.channel.name.endswith("_c") else None)
    if rule is not None:
        yield from rule(each, loaded, driven, followed)


def _line(x: Array, y: Array) -> tuple[float, float, float]:
    """Return intercept, slope and the share of y's scatter that a line explains."""
    good = np.isfinite(x) & np.isfinite(y)
    if good.sum() < 20 or np.std(x[good]) == 0.0:
        return 0.0, 0.0, 0.0
    slope, intercept = np.polyfit(x[good], y[good], 1)
    left = y[good] - intercept - slope * x[good]
    return float(intercept), float(slope), 1.0 - float(np.var(left) / max(np.var(y[good]), 1e-30))


def _voltage(each: Compared, loaded: LoadedBuild, driven: Driven, followed: Followed) -> Iterator[str]:
    pack = loaded.build.pack
    off = each.difference
    offset, slope, share = _line(driven.pack_current, off)
    total = from_si(_pack_resistance(loaded), "mohm")
    if share > TELLING and total + from_si(-slope, "mohm") < 0.0:
        yield "it rises with the current that is drawn: the pack current is turned round (sign = -1 in the mapping)"
        return
    if share > TELLING:
        more = from_si(-slope, "mohm")
        yield (f"it sags {'more' if more > 0 else 'less'} under current than the build: the whole pack has about "
               f"{total + more:.0f} mΩ, the build {total:.0f} mΩ")  # fmt: skip
    volts = offset if share > TELLING else float(np.nanmean(off))
    if abs(volts) > 0.005 * float(np.nanmean(each.measured)):
        yield (f"at rest it stands {volts:+.2f} V off ({from_si(volts / pack.series, 'mv'):+.0f} mV a cell): another "
               "charge at the start, another cell, or a meter's gain")  # fmt: skip
    left = off - slope * driven.pack_current - offset
    time = driven.time_s
    _, drift, told = _line(time, left)
    if told > TELLING and abs(drift) * float(time[-1]) > DRIFT_SHARE * float(np.nanmean(each.measured)):
        yield ("it falls " + ("faster" if drift < 0 else "more slowly") + " as the ride goes on: "
               + ("less" if drift < 0 else "more") + " capacity than the build has")  # fmt: skip


def _pack_resistance(loaded: LoadedBuild) -> float:
    p = parameters(loaded.build)
    return p.cell_resistance + p.wiring_resistance + p.polarisation_resistance


def _pack_current(each: Compared, loaded: LoadedBuild, driven: Driven, followed: Followed) -> Iterator[str]:
    if driven.by != "current":
        yield from _drawn(each, driven)
        return
    good = np.isfinite(each.measured) & (each.computed > 3.0)
    if good.sum() < 20:
        return
    ratio = float(np.median(each.measured[good] / each.computed[good]))
    for factor, words in (
        (AMPLITUDE_TO_DC, "the motor current is logged as amplitude, but read as DC-equivalent"),
        (1.0 / AMPLITUDE_TO_DC, "the motor current is logged as DC-equivalent, but read as amplitude"),
        (math.sqrt(2.0), "the motor current is logged as a phase's rms, but read as amplitude"),
    ):
        if abs(ratio / factor - 1.0) < NEAR_SAME:
            yield f"it is {ratio:.2f} times what is computed: {words} (reading = ... in the mapping)"
            return
    if abs(ratio - 1.0) > NEAR_SAME:
        way = "lower" if ratio > 1.0 else "higher"
        yield f"it is {ratio:.2f} times what is computed: Kv is {way} than in the build, or a sensor's gain is off"
    idle = np.isfinite(each.measured) & (np.abs(np.nan_to_num(driven.current)) < 0.5)
    if idle.sum() > 50 and abs(float(np.median(each.difference[idle]))) > 0.15:
        yield f"without motor current {np.median(each.measured[idle]):.2f} A flow: lamps, a charger, or a sensor's zero"


def _drawn(each: Compared, driven: Driven) -> Iterator[str]:
    """Tell by how much more or less is drawn than by a model that rides by itself."""
    good = np.isfinite(each.measured) & (each.measured > 1.0)
    ratio = float(np.mean(each.measured[good]) / max(float(np.mean(each.computed[good])), 1e-3)) if good.any() else 1.0
    if abs(ratio - 1.0) > NEAR_SAME:
        what = "the throttle's scale" if driven.by == "throttle" else "drags, mass, wind or pedalling"
        yield f"{ratio:.2f} times what is computed is drawn: {what} may be off, or the motor's own losses"


def _asked(each: Compared, loaded: LoadedBuild, driven: Driven, followed: Followed) -> Iterator[str]:
    """Tell a motor current that is not what the throttle asks for: another scale, a dead band, or another limit."""
    build = loaded.build
    amps = build.controller.motor_current_limit_a
    seen, share = each.measured / current_limit(loaded), driven.throttle
    partly = driven.known & (share > PARTLY[0]) & (share < PARTLY[1]) & (seen < PARTLY[1]) & (seen > PARTLY[0] / 2.0)
    partly &= ~held_back(loaded, driven, followed)
    if build.controller.throttle_law != "torque" or partly.sum() < 20:
        return
    zero, slope, told = _line(np.where(partly, share, np.nan), np.where(partly, seen, np.nan))
    if told < TELLING or (abs(slope - 1.0) < NEAR_SAME and abs(zero) < NEAR_SAME):
        return
    words = f"partly open, it goes with {slope:.2f} times the logged throttle"
    words = f"{words} {zero:+.2f}" if abs(zero) > NEAR_SAME else words
    if abs(zero) > NEAR_SAME or not opened_fully(driven):
        yield f"{words}: mend the throttle's scale and offset in the mapping, or the build's throttle asks for less"
    else:
        yield (f"{words}: its scale in the mapping is off, or a full throttle asks for {amps * slope:.0f} A "
               f"(controller.motor_current_limit_a; the build has {amps:g} A)")  # fmt: skip


def current_limit(loaded: LoadedBuild) -> float:
    """Return what a full throttle asks for under the torque law, DC-equivalent [A]."""
    return loaded.build.controller.motor_current_limit_a * current_scale(loaded.build)


def held_back(loaded: LoadedBuild, driven: Driven, followed: Followed) -> NDArray[np.bool_]:
    """Return where something other than the throttle holds the motor's current: the pack's limit, or its voltage.

    By what was measured where it was, else by what is computed.
    """
    box, n = loaded.build.controller, loaded.build.drive.motors
    drawn, duty = driven.pack_current, driven.measured.get("duty", np.full(driven.count, np.nan))
    drawn = np.where(np.isfinite(drawn), drawn, followed.pack_current_a)
    duty = np.where(np.isfinite(duty), duty, followed.duty)
    near = (drawn > NEAR_LIMIT * n * box.pack_current_limit_a) | (duty > NEAR_LIMIT * box.modulation_limit)
    return np.convolve(near, np.ones(AROUND_A_LIMIT), mode="same") > 0.5


NEAR_LIMIT, AROUND_A_LIMIT = 0.93, 5
"""Share of a limit, and readings around it, that are not the throttle's (guesses)."""


def opened_fully(driven: Driven) -> bool:
    """Return whether the throttle was held fully open for a while."""
    return bool((driven.throttle > 0.97).sum() * driven.step_s > 5.0)


PARTLY = (0.1, 0.9)
"""Of a throttle's way: neither its dead band nor its stop."""


def _ridden(each: Compared, loaded: LoadedBuild, driven: Driven, followed: Followed) -> Iterator[str]:
    """Say on which side a bike that rides by its throttle goes wrong, as far as its current tells."""
    moving = np.isfinite(each.measured) & (each.measured > 5.0)
    if moving.sum() < 20:
        return
    ratio = float(np.mean(each.measured[moving]) / max(float(np.mean(each.computed[moving])), 1e-3))
    way = f"it rides {'faster' if ratio > 1.0 else 'slower'} than the same throttle takes the model ({ratio:.2f} times)"
    known = np.isfinite(driven.current) & driven.known & ~held_back(loaded, driven, followed)
    size = float(np.mean(np.abs(driven.current[known]))) if known.sum() > 20 else 0.0
    if driven.current_by != "motor current" or size == 0.0:
        yield f"{way}: throttle, drags, mass, wind or pedalling are off; a logged motor current would tell which"
    elif abs(size / max(float(np.mean(np.abs(followed.current_a[known]))), 1e-9) - 1.0) > CURRENT_OFF:
        yield f"{way}: the current is not what this throttle asks for, see there"
    else:
        yield f"{way} with the same current: drags, mass, wind or pedalling are other than the build's"


CURRENT_OFF = 0.05
"""Guess: between the error of a current sensor and what a road can hide."""


def _duty(each: Compared, loaded: LoadedBuild, driven: Driven, followed: Followed) -> Iterator[str]:
    good = np.isfinite(each.measured) & (each.computed > 0.1)
    if good.sum() < 20:
        return
    ratio = float(np.median(each.measured[good] / each.computed[good]))
    if abs(ratio - 1.0) > 0.01:
        kv = loaded.build.motor.kv_rpm_per_v
        yield (f"it is {ratio:.3f} times what is computed: Kv is about {kv / ratio:.4g} rpm/V (the build has "
               f"{kv:.4g}), or the controller counts its duty another way")  # fmt: skip
    _, slope, share = _line(followed.current_a, each.difference * np.nan_to_num(driven.pack_voltage, nan=1.0))
    if share > TELLING:
        yield f"it grows with the current: resistance is {from_si(slope, 'mohm'):+.0f} mΩ off between the motor's leads"


def _used(each: Compared, loaded: LoadedBuild, driven: Driven, followed: Followed) -> Iterator[str]:
    good = np.isfinite(each.measured)
    ratio = float(each.measured[good].sum() / max(float(each.computed[good].sum()), 1e-6))
    if abs(ratio - 1.0) > NEAR_SAME:
        yield (f"it counts {ratio:.2f} times what the current adds up to: the counter's or the current sensor's gain, "
               "or what is drawn while nothing is logged")  # fmt: skip


def _charge(each: Compared, loaded: LoadedBuild, driven: Driven, followed: Followed) -> Iterator[str]:
    known = np.flatnonzero(np.isfinite(each.measured))
    fallen, computed = (float(part[known[0]] - part[known[-1]]) for part in (each.measured, each.computed))
    if computed > LEAST_FALLEN and abs(fallen / computed - 1.0) > FALLEN_OFF:
        yield (f"it falls by {fallen:.0%} where {computed:.0%} are computed: another capacity, or a display that goes "
               "by the voltage")  # fmt: skip


LEAST_FALLEN, FALLEN_OFF = 0.05, 0.1
"""Guesses: of a display in whole per cent."""


def _speed(each: Compared, loaded: LoadedBuild, driven: Driven, followed: Followed) -> Iterator[str]:
    good = np.isfinite(each.measured) & (each.computed > 5.0)
    if good.sum() > 20:
        ratio = float(np.median(each.measured[good] / each.computed[good]))
        wheel = loaded.build.tyre.circumference_mm
        yield f"it is {ratio:.3f} times what is computed: {wheel * ratio:.0f} mm of circumference (build: {wheel:g})"


def _temperature(each: Compared, loaded: LoadedBuild, driven: Driven, followed: Followed) -> Iterator[str]:
    name, measured = each.channel.name, each.measured
    good = np.isfinite(measured)
    rms = float(np.sqrt(np.mean(each.difference[good] ** 2)))
    if name in ("winding_temperature_c", "body_temperature_c"):
        other = "body_temperature_c" if name.startswith("winding") else "winding_temperature_c"
        rms_other = float(np.sqrt(np.mean((measured - followed.of(other))[good] ** 2)))
        if rms_other < 0.5 * rms:
            place = "on the body" if name.startswith("winding") else "in the winding"
            yield f"it reads like a sensor {place} (off by {rms_other:.1f} K instead of {rms:.1f} K): map it to {other}"
            return
    lag, best = _best_lag(each, driven)
    if lag > 0.0 and best < 0.7 * rms:
        yield f"it lags by some {lag:.0f} s: the sensor is not in good contact"
    rise = float(np.ptp(measured[good])), float(np.ptp(each.computed[good]))
    if rise[0] < 0.02 * max(rise[1], 1.0):
        yield "it hardly moves: the sensor is not connected, or it is the air's"
        return
    if abs(float(np.mean(each.difference[good]))) > 0.5 * rms:
        way = "warmer" if float(np.mean(each.difference[good])) > 0.0 else "cooler"
        yield (f"it runs {way} than computed (rises {rise[0]:.0f} K, computed {rise[1]:.0f} K): cooling, the heat "
               "capacities or the losses of the build are off; ridesim fit finds which")  # fmt: skip


def _best_lag(each: Compared, driven: Driven) -> tuple[float, float]:
    """Return the first-order lag [s] of a sensor that fits best, and the rms left [K]."""
    good = np.isfinite(each.measured)
    best = (0.0, math.inf)
    for lag in SENSOR_LAGS_S:
        slow = lagged(each.computed, driven.step_s, lag)
        rms = float(np.sqrt(np.mean((each.measured - slow)[good] ** 2)))
        if rms < best[1]:
            best = (lag, rms)
    return best


def lagged(values: Array, step_s: float, lag_s: float) -> Array:
    """Return what a first-order sensor of a lag shows of a course."""
    from scipy.signal import lfilter

    share = -math.expm1(-step_s / lag_s)
    return np.asarray(lfilter([share], [1.0, share - 1.0], values, zi=[(1.0 - share) * values[0]])[0])


Rule = Callable[[Compared, LoadedBuild, Driven, Followed], Iterator[str]]
RULES: dict[str, Rule] = {
    "pack_voltage_v": _voltage, "pack_current_a": _pack_current, "duty": _duty, "road_speed_km_h": _speed,
    "charge_used_ah": _used, "charge_fraction": _charge, "motor_current_a": _asked, "speed_km_h": _ridden,
}  # fmt: skip
