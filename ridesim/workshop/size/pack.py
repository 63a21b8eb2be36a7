"""The chosen size on each pack voltage: Kv window, limits, and a pack that the range ride confirms."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ridesim.bike.load import LoadedBuild, replace_keys
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_ramp
from ridesim.units import to_si
from ridesim.workshop.loads import loads_of
from ridesim.workshop.pack.design import PackDesign, PackNeeds, design_pack
from ridesim.workshop.pack.plan import cell_data, load_cell
from ridesim.workshop.size.parts import SizeClass
from ridesim.workshop.size.trial import LOW_CHARGE, TUNING_STEPS, USABLE, hill_ride, tuned, with_limits
from ridesim.workshop.size.wish import Wish

SPEED_TO_SPARE = 1.5
"""Top speed on a full pack over the wish beyond which more Kv only asks for more motor current (guess)."""
CHARGE_LEFT = 0.1
"""Charge with which the range ride must end (guess)."""


@dataclass(frozen=True)
class PackAnswer:
    """The chosen size on one pack voltage. `kv_low`: holds the top speed on a nearly empty pack; `kv_high`: half as
    much again on a full one."""

    nominal_voltage_v: float
    kv_low_rpm_per_v: float
    kv_high_rpm_per_v: float
    motor_current_limit_a: float
    pack_current_limit_a: float
    design: PackDesign
    wh_per_km: float
    charge_left_fraction: float
    peak_winding_temp_c: float
    arrives: bool
    reason: str


def answer_for_voltage(wish: Wish, size: SizeClass, stages: int, ratio: float, volts: float) -> PackAnswer:
    """Return a size wound for a pack voltage, its Kv window, limits, and a pack that the range ride agrees with."""
    args = (wish, size, stages, ratio, volts)
    low = tuned(*args, wish.top_speed_km_h, LOW_CHARGE)
    high = tuned(*args, SPEED_TO_SPARE * wish.top_speed_km_h, 1.0)
    loaded, limit = with_limits(wish, low)
    hill = loads_of(hill_ride(wish, loaded)).peak_pack_current_a
    ride = _range_ride(wish, loaded)
    most = math.ceil(1.1 * max(hill, ride.figures.peak_pack_current_a))
    cell = load_cell(wish.cell)
    needs = PackNeeds(volts, _energy_wh(ride), float(most), usable_fraction=USABLE)
    design, ridden = _settled_pack(wish, loaded, needs)
    f = ridden.figures
    reason = f"{design.series} in series, {design.parallel} in parallel of {cell.name}; {design.reason}"
    return PackAnswer(
        volts, low.build.motor.kv_rpm_per_v, max(high.build.motor.kv_rpm_per_v, low.build.motor.kv_rpm_per_v), limit,
        float(most), design, f.net_wh_per_km or 0.0, f.charge_left_fraction,
        f.peak_winding_temp_c, f.finished, reason if f.finished else f.stop_reason,
    )  # fmt: skip


def _settled_pack(wish: Wish, loaded: LoadedBuild, needs: PackNeeds) -> tuple[PackDesign, Ride]:
    """The smallest pack that the range ride confirms: its own mass is ridden with it."""
    cell = cell_data(load_cell(wish.cell))
    design = design_pack(cell, needs)
    ridden = _range_ride(wish, replace_keys(loaded, {"pack.parallel": design.parallel}))
    for _ in range(TUNING_STEPS):
        if ridden.finished and ridden.figures.charge_left_fraction >= CHARGE_LEFT:
            break
        needs = replace(needs, energy_wh=1.1 * design.energy_wh * USABLE)
        design = design_pack(cell, needs)
        ridden = _range_ride(wish, replace_keys(loaded, {"pack.parallel": design.parallel}))
    return design, ridden


def _range_ride(wish: Wish, loaded: LoadedBuild) -> Ride:
    """The wished distance at cruise speed, level but for the hill in its middle."""
    hill, rest = to_si(wish.hill_km, "km"), to_si(wish.range_km - wish.hill_km, "km")
    road = make_ramp(rest / 2.0, hill, wish.hill_percent, run_out_m=rest / 2.0, spacing_m=10.0, name="the range")
    return simulate(loaded, road, cruise_speed_km_h=wish.cruise, trace=False, time_limit_h=200.0)


def _energy_wh(ride: Ride) -> float:
    """Energy of the whole range ride; scaled up from the part ridden where the first pack was too small."""
    share = ride.figures.distance_km / ride.figures.road_km
    return max(ride.figures.net_energy_wh, 1.0) / max(share, 0.05)
