"""The continuous rating: the steepest grade, and the power, that can be held for ever at a speed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ridesim.bike.schema import Build
from ridesim.engine.params import current_scale
from ridesim.engine.state import Parameters
from ridesim.studies.demand import cold_demands, hardest, warm_demands
from ridesim.studies.steady import BISECTIONS, Load, Still, electric_at, load_at, settle_with_field
from ridesim.units import from_si, to_si

RATING_SPEEDS_KM_H = (8.0, 12.0, 16.0, 20.0, 25.0, 30.0, 40.0)
"""Speeds of the rating: from a loaded bike on a hill to one in town (guess)."""
STEEPEST_RATED = 0.6
"""Steepest grade that a rating looks at, rise per run: steeper than any road (guess)."""


@dataclass(frozen=True)
class Rating:
    """What can be held for ever at one speed; figures are None where not even the level can be held."""

    speed_km_h: float
    held_back_by: str
    grade_percent: float | None = None
    wheel_power_w: float | None = None
    shaft_power_w: float | None = None
    pack_power_w: float | None = None
    shaft_torque_nm: float | None = None
    motor_current_a: float | None = None
    winding_temp_c: float | None = None
    body_temp_c: float | None = None


def rate_all(build: Build, p: Parameters, still: Still, speeds_km_h: Iterable[float]) -> tuple[Rating, ...]:
    """Return the rating at each speed."""
    return tuple(rate(build, p, still, speed) for speed in speeds_km_h)


def rate(build: Build, p: Parameters, still: Still, speed_km_h: float) -> Rating:
    """Return the steepest grade held for ever at a speed: winding, magnets, foldbacks and every other bound kept."""
    speed = to_si(speed_km_h, "km_h")
    low, high = 0.0, STEEPEST_RATED
    cause = _worst(p, still, load_at(p, still, low, speed))
    if cause is not None:
        return Rating(speed_km_h, cause)
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        found = _worst(p, still, load_at(p, still, middle, speed))
        if found is None:
            low = middle
        else:
            high, cause = middle, found
    return _figures(build, p, still, load_at(p, still, low, speed), speed_km_h, cause or "nothing up to 60 %")


def _worst(p: Parameters, still: Still, load: Load) -> str | None:
    """Return what keeps a load from being held for ever, or None."""
    cold = cold_demands(p, still, load)
    name = hardest(cold)
    if cold[name] > 1.0:
        return name
    settled = settle_with_field(p, still, load)
    if settled is None:
        return "heat_runaway"
    taken = warm_demands(p, still, load, settled)
    name = max(taken, key=lambda key: taken[key])
    return name if taken[name] > 1.0 else None


def _figures(build: Build, p: Parameters, still: Still, load: Load, speed_km_h: float, cause: str) -> Rating:
    settled = settle_with_field(p, still, load)
    if settled is None:
        return Rating(speed_km_h, cause)
    found = electric_at(p, load, still, settled.winding_temp, settled.body_temp)
    return Rating(
        speed_km_h=speed_km_h,
        held_back_by=cause,
        grade_percent=from_si(load.grade, "percent"),
        wheel_power_w=load.motor_force * load.speed,
        shaft_power_w=load.shaft_torque * load.motor_speed,
        pack_power_w=found.pack_voltage * found.pack_current,
        shaft_torque_nm=load.shaft_torque,
        motor_current_a=settled.current / current_scale(build),
        winding_temp_c=settled.winding_temp,
        body_temp_c=settled.body_temp,
    )
