"""Why a bike got stuck: the place and its grades, what was recorded there, what the bike can start on, what helps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ridesim.bike.rough import both_standing_force_n
from ridesim.engine.foot import TOO_LONG, TOO_STEEP
from ridesim.engine.gears import in_gear
from ridesim.engine.state import Law, Limit, Parameters, Stop, Total
from ridesim.physics.resistance import BEARING_STILL_N, steepest_grade
from ridesim.physics.rider import SLOWEST_PEDALLING
from ridesim.ride.bounds import BOUNDS, BY_NAME
from ridesim.ride.figures import last_bound
from ridesim.ride.lap import along_lap
from ridesim.road.places import PlaceReport, place_report
from ridesim.units import from_si, shown, to_si, told

if TYPE_CHECKING:
    from ridesim.ride.figures import Figures
    from ridesim.ride.result import Ridden


LOOK_AT_THE_RECORDING = "look at the recording there (`ridesim road`), and mend or smooth it"


@dataclass(frozen=True)
class Stuck:
    """Where a bike got stuck, and why. `starts_on_percent`: the steepest grade it gets away on with a cold motor."""

    at_km: float
    place: PlaceReport
    starts_on_percent: float
    held_by: str
    what_helps: str
    not_pushed: str = ""

    def words(self, system: str = "metric") -> str:
        """Say it in the units a person asked for."""
        held = "" if self.held_by == "none" else f" What held it: {BY_NAME[self.held_by].words}."
        pushed = f" It is not pushed: {told(self.not_pushed, system)}." if self.not_pushed else ""
        return (
            f"It got stuck at {shown(self.at_km, 'km', system)}: {told(self.place.words, system)}. "
            f"With a cold motor this bike "
            f"starts on up to {self.starts_on_percent:.0f} %.{held}{pushed} What helps: {self.what_helps}."
        )

    def plain(self) -> dict[str, object]:
        """Return it as plain values with units in the names."""
        return {
            **self.place.as_dict(),
            "starts_on_percent": self.starts_on_percent,
            "held_by": self.held_by,
            "what_helps": self.what_helps,
            "not_pushed": self.not_pushed,
        }


def why_stuck(ride: Ridden) -> Stuck | None:
    """Return why a ride got stuck; None for one that did not, or that the clock drove over no road. Rides nothing."""
    if ride.raw.stop is not Stop.STALLED or ride.road.cycle is not None:
        return None
    at_m = _place(ride)
    place, held = place_report(ride.road, at_m), held_by(ride)
    return Stuck(from_si(at_m, "km"), place, starts_on_percent(ride), held, _helps(held, place), not_pushed(ride))


def held_by(ride: Ridden) -> str:
    """Return the name of what held the motor of a stuck bike: the last bound, or the share by the assist law."""
    held, law = last_bound(ride.raw), ride.params.law == Law.ASSIST
    return "assist" if law and held is Limit.NONE else BOUNDS[held].name


def not_pushed(ride: Ridden) -> str:
    """Return why the rider of a stuck bike does not push it on, in words; "" where nobody asked."""
    rider, code = ride.build.rider, -ride.raw.total(Total.NOT_PUSHED)
    if code == TOO_STEEP:
        return f"that takes more than the {rider.pushing_force_n:g} N that its rider pushes with"
    if code == TOO_LONG:
        return f"the stretch is longer than the {rider.pushes_up_to_m:g} m that its rider pushes"
    return ""


def pushed_words(f: Figures, system: str = "metric") -> str:
    """Return how far a bike was pushed, and where, of a ride on which it was."""
    far = shown(f.pushed_m, "m", system, 0)
    at = shown(f.pushed_first_at_km or 0.0, "km", system)
    if f.pushes == 1:
        return f"Pushed {far} at {at}"
    return f"Pushed {far} on {f.pushes} stretches, the first at {at}"


def pushed_place(ride: Ridden) -> str:
    """Return what to do about the first place where a bike was pushed, if the recorder made it so steep; else ""."""
    first = ride.figures.pushed_first_at_km
    if first is None or place_report(ride.road, _along(ride, first)).looks_like != "recorder":
        return ""
    return f" The slope there looks like the recorder's: {LOOK_AT_THE_RECORDING}."


def _place(ride: Ridden) -> float:
    """Return where on the road the ride ended [m], laps taken off."""
    return _along(ride, ride.figures.distance_km)


def _along(ride: Ridden, km: float) -> float:
    return along_lap(max(to_si(km, "km"), 0.0), ride.road.length_m)


def starts_on_percent(ride: Ridden) -> float:
    """Return the steepest grade on which the bike starts from rest, motor cold and rider pedalling [%]."""
    p, rider = ride.params, ride.build.rider
    pedal = min(rider.power_w * p.pedal_efficiency / SLOWEST_PEDALLING, p.pedal_force_bound)
    motor = both_standing_force_n(ride.build)
    if p.law == Law.ASSIST:  # as the step has it: no more than its share of what the legs give
        lowest = in_gear(p, 0) if p.gears > 1 else p
        motor = min(motor, p.assist_factor * pedal * lowest.efficiency / p.pedal_efficiency)
    push = motor + pedal - BEARING_STILL_N
    grip = p.drive_grip if p.second is None else grip_of_both(p, p.second)
    return from_si(steepest_grade(push, pedal, p.mass, p.crr, grip, p.pedal_share), "percent")


def grip_of_both(p: Parameters, q: Parameters) -> float:
    """Return the largest force of two drives on the level by grip [N], as the step bounds them (`beside_share`)."""
    if p.beside_share == 1.0 and q.beside_share == 1.0:
        return p.drive_grip
    rest = 1.0 - p.beside_share * q.beside_share
    first = max((p.drive_grip - p.beside_share * q.drive_grip) / rest, 0.0)
    return first + max(q.drive_grip - q.beside_share * first, 0.0)


def _helps(held: str, place: PlaceReport) -> str:
    helps = f"{BY_NAME[held].cure}; less load, or walk that stretch"
    return f"{LOOK_AT_THE_RECORDING}; if it is the road, {helps}" if place.looks_like == "recorder" else helps
