"""What the goals hold and what matters, as quantities: which there are, which way is good, and how roads are joined."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import GoalsError
from ridesim.ride.answers import ANSWERS
from ridesim.ride.quantities import QUANTITIES, Quantity
from ridesim.schema.keys import printable
from ridesim.search.goals import Asked, Hold
from ridesim.search.space import Space
from ridesim.units import to_si

Array = NDArray[np.float64]
TOP_SPEED = "top_speed_cold_pedalled_half_charge_km_h"
RANGE = "range_km"

OF_BIKE = {
    each.key: each
    for each in (
        Quantity("drive_mass_kg", "mass of motor, controller and pack", "drive mass", 2, "low"),
        Quantity("bike_mass_kg", "mass of the bike without rider and load", "bike mass", 1, "low"),
        Quantity("pack_volume_l", "volume of the cells, square packed", "cells", 1, "low"),
        Quantity("pack_energy_wh", "energy of the full pack, nominal", "pack", 0, "high"),
        Quantity("price", "price of the parts", "price", 0, "low"),
    )
}
"""What needs no ride. Square packed: a box around the round cells, without case and board."""
OF_RUN = {
    TOP_SPEED: Quantity(TOP_SPEED, "top speed on the level, motor cold, half charge", "top speed", 1, "high"),
    RANGE: QUANTITIES[RANGE],
}
"""What takes a ride of its own."""
OF_BELTS = {
    "belt_pull_fraction": Quantity(
        "belt_pull_fraction", "highest belt pull over what is allowed", "belt pull", 2, "low"
    )
}
"""What is looked at last, on what would be shown."""
OF_RIDE = {name: QUANTITIES[name] for name in ANSWERS if name in QUANTITIES}
"""What many rides tell at once."""

KNOWN: dict[str, Quantity] = {**OF_RIDE, **OF_RUN, **OF_BIKE, **OF_BELTS}
"""Every quantity that goals can name."""
SUMMED = frozenset({
    "total_time_s", "moving_time_s", "net_energy_wh", "pack_energy_out_wh", "pack_energy_returned_wh",
    "mean_speed_km_h", "net_wh_per_km", "rider_energy_wh", "motor_braking_wh", "range_km", "distance_km",
    "returned_fraction",
    "rms_motor_current_a", "rms_motor_current_dc_equivalent_a", "rms_pack_current_a",
})  # fmt: skip
"""What matters as a mean of the roads, by their weights; of everything else the worst road matters."""
RATHER = {"mass_kg": "bike_mass_kg", "energy": "net_energy_wh", "time": "total_time_s", "mass": "drive_mass_kg",
          "warmth": "peak_winding_temp_c", "range": "range_km", "top_speed_km_h": TOP_SPEED}  # fmt: skip
"""What people may write instead; `top_speed_km_h` of a ride is that of its descents."""


@dataclass(frozen=True)
class Bound:
    """One ceiling or floor. `certainty`: the share of bikes like it that must keep it; None: as built."""

    what: str
    kind: Literal["at most", "at least"]
    limit: float
    certainty: float | None = None

    @property
    def quantity(self) -> Quantity:
        """The quantity held."""
        return KNOWN[self.what]

    def excess(self, values: Array) -> Array:
        """Return how far values break the bound, in its unit, below zero where they keep it; nan breaks it."""
        over = values - self.limit if self.kind == "at most" else self.limit - values
        return np.where(np.isnan(over), np.inf, over)

    @property
    def scale(self) -> float:
        """What excesses are measured by, to be set beside those of other bounds."""
        return 100.0 if self.quantity.unit == "c" else max(abs(self.limit), 1e-9)


def bounds_of(asked: Asked) -> tuple[Bound, ...]:
    """Return every ceiling and floor of the goals. Raises GoalsError for unknown names and crossed bounds."""
    found: list[Bound] = []
    for number, hold in enumerate(asked.goals.hold):
        known(hold.what, f"{asked.path}, hold.{number}.what", KNOWN)
        found += _two(hold)
    for what in dict.fromkeys(each.what for each in found):
        _refuse_crossed([each for each in found if each.what == what], str(asked.path))
    return tuple(found)


def _two(hold: Hold) -> list[Bound]:
    certainty = None if hold.certainty_percent is None else to_si(hold.certainty_percent, "percent")
    rows: list[Bound] = []
    if hold.at_most is not None:
        rows.append(Bound(hold.what, "at most", hold.at_most, certainty))
    if hold.at_least is not None:
        rows.append(Bound(hold.what, "at least", hold.at_least, certainty))
    return rows


def _refuse_crossed(bounds: list[Bound], where: str) -> None:
    ceilings = [each.limit for each in bounds if each.kind == "at most"]
    floors = [each.limit for each in bounds if each.kind == "at least"]
    if ceilings and floors and min(ceilings) < max(floors):
        told = f"{bounds[0].what} is to be at most {min(ceilings):g} and at least {max(floors):g}"
        raise GoalsError(where, f"{told}: nothing can keep both", "lower the floor, or raise the ceiling")


def matters_of(asked: Asked) -> tuple[Quantity, ...]:
    """Return what matters, in the order of the goals. Raises GoalsError."""
    where = f"{asked.path}, matters"
    names = {name: each for name, each in KNOWN.items() if each.better and name not in OF_BELTS}
    found = []
    for name in dict.fromkeys(asked.goals.matters):
        if name in KNOWN and name not in names:
            what = f"{name} has no good way to go" if name not in OF_BELTS else f"{name} is only held, under [[hold]]"
            raise GoalsError(where, what, "let another quantity matter, or hold this one")
        found.append(known(name, where, names))
    return tuple(found)


def known(name: str, where: str, names: dict[str, Quantity]) -> Quantity:
    """Return a quantity by its name. Raises GoalsError with the nearest."""
    if name in names:
        return names[name]
    if name in RATHER:
        hint = f"write {RATHER[name]}"
    else:
        near = difflib.get_close_matches(name, names, 2, 0.6) or [each for each in names if name in each][:3]
        hint = f"did you mean {' or '.join(near)}?" if near else "ridesim search --names lists them"
    raise GoalsError(where, f"{printable(name)} is no quantity that a search knows", hint)


def worse_way(quantity: Quantity) -> float:
    """Return +1 where more is worse, -1 where less is."""
    return -1.0 if quantity.better == "high" else 1.0


def joined(values: Array, weights: Array, quantity: Quantity) -> Array:
    """Return one figure of several roads, (n, roads) -> (n,): the mean by weight, or the worst road."""
    if quantity.key in SUMMED:
        return np.asarray(values @ (weights / weights.sum()))
    return np.asarray(values.max(axis=1) if worse_way(quantity) > 0.0 else values.min(axis=1))


def prices_of(asked: Asked, space: Space, names: Iterable[str]) -> dict[str, float]:
    """Return what parts cost, by name. Raises GoalsError where a price is asked for and a part has none."""
    prices = {each.part: each.price for each in asked.goals.price}
    if "price" not in names:
        return prices
    for axis in space.axes:
        for option in axis.options:
            if option.part and option.part not in prices and axis.key != "pack.cell":
                what = f"price matters, and {option.part} has none"
                raise GoalsError(str(asked.path), what, f'add [[price]] with part = "{option.part}" and its price')
    return prices
