"""Driving cycles of regulations: their distance, and what a ride by the clock makes of them."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ridesim.evidence.checks import OWN_DATA, Check, Subject, bound, near
from ridesim.evidence.store import sheet, table
from ridesim.evidence.trade import bike
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_cycle, make_flat
from ridesim.units import convert, from_si, to_si

Array = NDArray[np.float64]
OPEN_AT_S = 178.0
"""The operation table leaves open whether 35 km/h is held to here or falls to 32 km/h."""


def urban(at_178_s_km_h: float | None = None) -> tuple[Array, Array]:
    """Return seconds and speeds [m/s] of the urban cycle; what is driven at 178 s is open to two readings."""
    times, speeds = _columns("cycles.urban")
    if at_178_s_km_h is not None:
        speeds = np.where(times == OPEN_AT_S, to_si(at_178_s_km_h, "km_h"), speeds)
    return times, speeds


def extra_urban() -> tuple[Array, Array]:
    """Return seconds and speeds [m/s] of the extra-urban cycle."""
    return _columns("cycles.extra_urban")


def _columns(place: str) -> tuple[Array, Array]:
    rows = np.array(table(place).rows, dtype=np.float64)
    return rows[:, 0], rows[:, 1] * to_si(1.0, "km_h")


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of the cycles."""
    printed = sheet("cycles.distances")
    held, falls = (make_cycle(*urban(reading)).length_m for reading in (35.0, 32.0))
    outside = make_cycle(*extra_urban()).length_m
    checks = [
        near("urban cycle: distance, 35 km/h held", held, printed.urban_held_m),
        near("urban cycle: distance, 35 to 32 km/h", falls, printed.urban_falling_m),
        near("extra-urban cycle: distance", outside, printed.extra_urban_m),
        near("extra-urban cycle: distance as printed", from_si(outside, "km"), printed.extra_urban_printed_km),
    ]
    for name, metres in table("cycles.carried").rows:
        file = pd.read_csv(OWN_DATA / "cycles" / f"{name}.csv")
        road = make_cycle(file["time_s"], file["speed_kmh"] * to_si(1.0, "km_h"))
        checks.append(near(f"{name}: distance", road.length_m, metres))
    return [*checks, *_ridden(), *_energy()], []


def _ridden() -> list[Check]:
    """Ride the urban cycle with a bike that can follow it: 100 kg in all, no pedals."""
    printed, most = sheet("cycles.distances"), sheet("cycles.shares").most_returned
    s = simulate(bike({"rider.power_w": 0.0}), make_cycle(*urban()), trace=False).summary
    metres = convert(s["distance_km"], "km", "m")
    return [
        near("urban cycle ridden: distance", metres, printed.urban_held_m, within=1.018,
             note="0.1 %: the bike follows the clock by its own pull"),
        near("urban cycle ridden: time", s["total_time_s"], printed.urban_time_s),
        bound("urban cycle ridden: share of energy returned", s["returned_fraction"], "at most", most),
    ]  # fmt: skip


def _energy() -> list[Check]:
    """Energy a kilometre on the level at 25 km/h, nobody pedalling, upright."""
    upright = {"bicycle.drag_area_m2": sheet("road.upright").drag_area_m2, "rider.cruise_speed_km_h": 25.0}
    bare = simulate(bike(upright), make_flat(5000.0), trace=False).summary["net_wh_per_km"]
    level = sheet("cycles.level")
    return [
        bound("no pedals, 25 km/h, level", bare, "at least", level.least_wh_per_km),
        bound("no pedals, 25 km/h, level: not more", bare, "at most", level.most_wh_per_km),
    ]


SUBJECT = Subject("cycles", "Driving cycles and energy a kilometre", run)
