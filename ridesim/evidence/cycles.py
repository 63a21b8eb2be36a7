"""Driving cycles of regulations: their distance, and what a ride by the clock makes of them."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ridesim.evidence.checks import OWN_DATA, Check, Kind, Subject, near
from ridesim.evidence.trade import bike
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_cycle, make_flat
from ridesim.units import to_si

UN_R83 = "UN R83 (OJ L 42, 15.2.2012), annex 4a"

URBAN = (
    (0, 0), (11, 0), (15, 15), (23, 15), (25, 10), (28, 0), (49, 0), (54, 15), (56, 15), (61, 32), (85, 32), (93, 10),
    (96, 0), (117, 0), (122, 15), (124, 15), (133, 35), (135, 35), (143, 50), (155, 50), (163, 35), (176, 35),
    (178, 35), (185, 10), (188, 0), (195, 0),
)  # fmt: skip
"""Seconds and km/h of table 1, 35 km/h held to 178 s; another reading falls to 32 km/h there."""
EXTRA_URBAN = (
    (0, 0), (20, 0), (25, 15), (27, 15), (36, 35), (38, 35), (46, 50), (48, 50), (61, 70), (111, 70), (119, 50),
    (188, 50), (201, 70), (251, 70), (286, 100), (316, 100), (336, 120), (346, 120), (362, 80), (370, 50), (380, 0),
    (400, 0),
)  # fmt: skip

Array = NDArray[np.float64]


def _columns(table: tuple[tuple[int, int], ...]) -> tuple[Array, Array]:
    rows = np.array(table, dtype=np.float64)
    return rows[:, 0], rows[:, 1] * to_si(1.0, "km_h")


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of the cycles."""
    held, falls = URBAN, tuple((t, 32 if t == 178 else v) for t, v in URBAN)
    distance = [make_cycle(*_columns(table)).length_m for table in (held, falls, EXTRA_URBAN)]
    checks = [
        near("urban cycle: distance, 35 km/h held", distance[0], "1018.3333", "m", UN_R83, Kind.CLOSED_FORM),
        near("urban cycle: distance, 35 to 32 km/h", distance[1], "1014.5833", "m", UN_R83, Kind.CLOSED_FORM),
        near("extra-urban cycle: distance", distance[2], "6954.861", "m", UN_R83, Kind.CLOSED_FORM),
        near("extra-urban cycle: distance as printed", distance[2] / 1000.0, "6.955", "km", UN_R83, Kind.PUBLISHED),
    ]
    files = (("ece15_udc", "1014.58"), ("wmtc_class1_50kmh", "3944"), ("sort1_bus_urban", "519"))
    for name, printed in files:
        table = pd.read_csv(OWN_DATA / "cycles" / f"{name}.csv")
        road = make_cycle(table["time_s"], table["speed_kmh"] * to_si(1.0, "km_h"))
        source = "regulation table carried by a registry package"
        checks.append(near(f"{name}: distance", road.length_m, printed, "m", source, Kind.LIBRARY))
    return [*checks, *_ridden(), *_energy()], []


def _ridden() -> list[Check]:
    """Ride the urban cycle with a bike that can follow it: 100 kg in all, no pedals."""
    road = make_cycle(*_columns(URBAN))
    ride = simulate(bike({"rider.power_w": 0.0}), road, trace=False)
    s = ride.summary
    return [
        near("urban cycle ridden: distance", s["distance_km"] * 1000.0, "1018.33", "m", UN_R83, Kind.CLOSED_FORM,
             share=1e-3, note="the bike follows the clock by its own pull"),
        near("urban cycle ridden: time", s["total_time_s"], "195", "s", UN_R83, Kind.PUBLISHED),
        Check("urban cycle ridden: share of energy returned", s["returned_fraction"], 0.15, "", 0.0,
              "braking energy is 14 to 15 % of traction (100 kg, upright)", Kind.CLOSED_FORM, "at most"),
    ]  # fmt: skip


def _energy() -> list[Check]:
    """Energy a kilometre on the level at 25 km/h, nobody pedalling, upright."""
    upright = {"bicycle.drag_area_m2": 0.559, "rider.cruise_speed_km_h": 25.0}
    bare = simulate(bike(upright), make_flat(5000.0), trace=False).summary["net_wh_per_km"]
    source, kind = "road equation over a drive of 70 to 80 %, an estimate", Kind.CLOSED_FORM
    return [
        Check("no pedals, 25 km/h, level", bare, 8.0, "Wh/km", 0.0, source, kind, "at least"),
        Check("no pedals, 25 km/h, level: not more", bare, 20.0, "Wh/km", 0.0, source, kind, "at most"),
    ]


SUBJECT = Subject("cycles", "Driving cycles and energy a kilometre", run)
