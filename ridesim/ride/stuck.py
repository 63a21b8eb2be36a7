"""Why a bike got stuck: the place and its grades, what was recorded there, what the bike can start on, what helps."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ridesim.bike.rough import standing_force_n
from ridesim.engine.state import Stop
from ridesim.physics.resistance import BEARING_STILL_N, steepest_grade
from ridesim.physics.rider import SLOWEST_PEDALLING
from ridesim.ride.bounds import BOUNDS, BY_NAME
from ridesim.ride.figures import last_bound
from ridesim.road.places import PlaceReport, place_report
from ridesim.units import from_si, shown, to_si, told

if TYPE_CHECKING:
    from ridesim.ride.result import Ridden


@dataclass(frozen=True)
class Stuck:
    """Where a bike got stuck, and why. `starts_on_percent`: the steepest grade it gets away on with a cold motor."""

    at_km: float
    place: PlaceReport
    starts_on_percent: float
    held_by: str
    what_helps: str

    def words(self, system: str = "metric") -> str:
        """Say it in the units a person asked for."""
        held = "" if self.held_by == "none" else f" What held it: {BY_NAME[self.held_by].words}."
        return (
            f"It got stuck at {shown(self.at_km, 'km', system)}: {told(self.place.words, system)}. "
            f"With a cold motor this bike "
            f"starts on up to {self.starts_on_percent:.0f} %.{held} What helps: {self.what_helps}."
        )

    def plain(self) -> dict[str, object]:
        """Return it as plain values with units in the names."""
        return {
            **self.place.as_dict(),
            "starts_on_percent": self.starts_on_percent,
            "held_by": self.held_by,
            "what_helps": self.what_helps,
        }


def why_stuck(ride: Ridden) -> Stuck | None:
    """Return why a ride got stuck; None for one that did not, or that the clock drove over no road. Rides nothing."""
    if ride.raw.stop is not Stop.STALLED or ride.road.cycle is not None:
        return None
    at_m = _place(ride)
    place, held = place_report(ride.road, at_m), last_bound(ride.raw)
    return Stuck(from_si(at_m, "km"), place, starts_on_percent(ride), BOUNDS[held].name, _helps(ride, place))


def _place(ride: Ridden) -> float:
    """Return where on the road the ride ended [m], laps taken off."""
    along = math.fmod(to_si(ride.figures.distance_km, "km"), ride.road.length_m)
    return min(max(along, 0.0), ride.road.length_m)


def starts_on_percent(ride: Ridden) -> float:
    """Return the steepest grade on which the bike starts from rest, motor cold and rider pedalling [%]."""
    p, rider = ride.params, ride.build.rider
    pedal = min(rider.power_w * p.pedal_efficiency / SLOWEST_PEDALLING, p.pedal_force_bound)
    push = standing_force_n(ride.build) + pedal - BEARING_STILL_N
    return from_si(steepest_grade(push, pedal, p.mass, p.crr, p.drive_grip, p.pedal_share), "percent")


def _helps(ride: Ridden, place: PlaceReport) -> str:
    if place.looks_like == "recorder":
        return "look at the recording there (`ridesim road`), and mend or smooth it"
    held = last_bound(ride.raw)
    return f"{BOUNDS[held].cure}; less load, or walk that stretch"
