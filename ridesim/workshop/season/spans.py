"""How sure: the worst day and a typical one ridden by bikes like this one, each uncertain number drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.second import PREFIX
from ridesim.engine.halting import on_all_cores
from ridesim.errors import RidesimError
from ridesim.ride.packed import with_drags
from ridesim.sure.draws import cube, mapped, row_of
from ridesim.sure.packing import changed
from ridesim.sure.uncertain import NO_LOAD, Doubts, doubts_of
from ridesim.workshop.season.legs import Commute, Done, arrives, bike_of, least_left, rested_pack_c, ride_day

Array = NDArray[np.float64]
DRAWS = 64
SPAN = (0.1, 0.9)
NOT_DRAWN = (
    "weather.temperature_c", "weather.sea_level_pressure_hpa", "weather.relative_humidity_percent",
    "weather.wind_speed_km_h", "weather.wind_from_deg", "pack.start_charge_fraction",
)  # fmt: skip
"""The day has its own weather, the plan its own charge."""


@dataclass(frozen=True)
class DaySpan:
    """8 of 10 bikes like this one on one day; shares over the bike as it stands; None where none comes home."""

    day: int
    draws: int
    arrive_fraction: float
    time_s: tuple[float, float] | None
    net_wh: tuple[float, float] | None
    charge_left_fraction: tuple[float, float] | None
    energy_factor: tuple[float, float] | None


def drawn_days(
    c: Commute, days: Sequence[int], charges: Sequence[float], *, seed: int = 1, draws: int = DRAWS,
    threads: int | None = None, done: Done | None = None,
) -> tuple[DaySpan, ...]:  # fmt: skip
    """Ride these days with drawn bikes; the weather is the day's own, the wind's exposure is drawn.

    Returns nothing where nothing about the bike is uncertain. Noise of the road's altitude is left out.
    """
    try:
        doubts = _doubts(c)
    except RidesimError:
        return ()
    if not doubts.numbers:
        return ()
    rows = mapped(cube(draws, len(doubts.numbers), seed), doubts)
    base = bike_of(c, c.build)
    rested = rested_pack_c(c, base)

    def work(at: int) -> list[tuple[bool, float, float, float]]:
        """Return of one draw's days: arrives, time [s], energy [Wh], least charge left (0 to 1)."""
        draw = row_of(doubts, rows[at])
        drags = draw.get(NO_LOAD, 1.0), draw.get(f"{PREFIX}{NO_LOAD}", 1.0)
        bike = bike_of(c, changed(c.build, doubts, draw), lambda p: with_drags(p, *drags))
        found = []
        for day, charge in zip(days, charges, strict=True):
            legs = ride_day(c, bike, day, charge, rested)
            found.append(
                (arrives(legs), sum(leg.time_s for leg in legs), sum(leg.net_wh for leg in legs), least_left(legs))
            )
        return found

    told = on_all_cores(work, range(draws), threads, done)
    own = [
        sum(leg.net_wh for leg in ride_day(c, base, day, charge, rested))
        for day, charge in zip(days, charges, strict=True)
    ]
    return tuple(_span(day, [row[at] for row in told], own[at]) for at, day in enumerate(days))


def _doubts(c: Commute) -> Doubts:
    """What is uncertain about the bike; the day's own weather is not, and the roads count as they are."""
    # A wind of its own lets the exposure be drawn where the build itself is calm.
    windy = c.build.model_copy(update={"weather": c.build.weather.model_copy(update={"wind_speed_km_h": 10.0})})
    found = doubts_of(replace(c.loaded, build=windy), c.out)
    kept = tuple(each for each in found.numbers if each.key not in NOT_DRAWN and not each.key.startswith("road."))
    keys = {each.key for each in kept}
    together = tuple(group for group in found.together if set(group.keys) <= keys)
    return Doubts(kept, together, found.notes)


def _span(day: int, rows: Sequence[tuple[bool, float, float, float]], own_wh: float) -> DaySpan:
    home = [row for row in rows if row[0]]
    ends = lambda at: None if not home else tuple(np.quantile([row[at] for row in home], SPAN).tolist())  # noqa: E731
    energy = ends(2)
    factor = None if energy is None or own_wh <= 0.0 else (energy[0] / own_wh, energy[1] / own_wh)
    return DaySpan(day, len(rows), len(home) / len(rows), ends(1), energy, ends(3), factor)
