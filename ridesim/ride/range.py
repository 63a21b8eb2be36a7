"""How far? Functions that say that they ride: the same road again and again until the pack, or a hill, ends it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ridesim.engine.state import Stop
from ridesim.ride.gears_held import GearSetting, gear_setting_of
from ridesim.ride.lap import FALLS_AWAY, falls_away, rise_a_lap_m
from ridesim.ride.result import repeat, until_empty
from ridesim.ride.running import RANGE_LIMIT_H
from ridesim.units import from_si

if TYPE_CHECKING:
    from ridesim.ride.result import Ridden

PATIENCE_WORDS = f"nothing: after {RANGE_LIMIT_H:g} h of riding the pack still gives"
SURELY_ENDLESS = 3.0
"""Where so many times one ride's take would not empty the pack within the patience, nothing is ridden (guess)."""


@dataclass(frozen=True)
class Range:
    """How far the same road, ridden again and again, goes; `range_km` None where the pack never ends it."""

    range_km: float | None
    range_ended_by: str


@dataclass(frozen=True)
class Outlook:
    """Range with the ride's own regen setting, and what regen adds to it; None where a range has no end.

    `rise_a_lap_m`: how far each lap ends above its start. `gear_setting`: the motor current that gears and chain stand,
    where they do not stand this ride.
    """

    range_km: float | None
    range_ended_by: str
    range_added_by_regen_km: float | None
    rise_a_lap_m: float
    gear_setting: GearSetting | None = None

    def plain(self) -> dict[str, Any]:
        """Return it as plain values."""
        setting = self.gear_setting
        return {**vars(self), "gear_setting": None if setting is None else dict(vars(setting))}


def read_range(ride: Ridden) -> Range:
    """Return the range that a ride until empty has shown; rides nothing."""
    if falls_away(ride):
        return Range(None, FALLS_AWAY)
    if ride.raw.stop in (Stop.TIME_LIMIT, Stop.FINISHED):
        return Range(None, PATIENCE_WORDS)
    return Range(ride.figures.distance_km, ride.figures.stop_reason)


def range_of(ride: Ridden, *, regen: bool | None = None) -> Range:
    """Ride on until the pack, or a hill, ends it, with or without regen (None: as the ride did): rides up to twice."""
    if falls_away(ride):
        return Range(None, FALLS_AWAY)
    wanted = ride.options.regen if regen is None else regen
    once = ride if wanted == ride.options.regen else repeat(ride, regen=wanted)
    if once.finished and _takes_too_little(once):
        return Range(None, PATIENCE_WORDS)
    return read_range(until_empty(once) if once.raw.stop in (Stop.TIME_LIMIT, Stop.FINISHED) else once)


def _takes_too_little(once: Ridden) -> bool:
    """Return whether a road takes so little charge, or gives some, that riding it again and again has no end."""
    used, hours = once.start.charge - once.raw.end.charge, from_si(once.raw.end.time - once.start.time, "h")
    return SURELY_ENDLESS * used * RANGE_LIMIT_H < hours * once.start.charge


def outlook_of(ride: Ridden) -> Outlook:
    """Ride on until the pack ends it, and again without regen where any energy came back: rides up to three times.

    Where gears or chain do not stand the ride, also with lower motor currents.
    """
    setting = gear_setting_of(ride)
    own, rise = range_of(ride), rise_a_lap_m(ride.road)
    plain = range_of(ride, regen=False) if ride.figures.pack_energy_returned_wh > 0.0 else own
    if own.range_km is None or plain.range_km is None:
        return Outlook(own.range_km, own.range_ended_by, None, rise, setting)
    return Outlook(own.range_km, own.range_ended_by, own.range_km - plain.range_km, rise, setting)
