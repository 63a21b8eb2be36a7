"""The plain-words verdict: fine, look again, or stop, with the reasons."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ridesim.engine.state import Stop
from ridesim.units import shown

if TYPE_CHECKING:
    from ridesim.ride.result import Ridden

FINE, LOOK_AGAIN, STOP = "fine", "look again", "stop"
NEAR_LIMIT_K = 15.0
"""A winding this close to its limit is worth a look (guess)."""
ROUNDING = 1.01
"""A rating counts as passed by more than 1 %: a limit set to the rating is met to rounding only."""
LONG_ON_A_LIMIT = 0.15
"""Share of the time on one limit that a rider will feel (guess)."""
FELT_LIMITS = {
    "motor_current": "the motor current limit",
    "pack_current": "the pack current limit",
    "pack_power": "the most power that the pack can give",
    "modulation": "full modulation: the motor turns as fast as the pack's voltage lets it",
    "electrical_frequency": "the electrical frequency limit",
    "motor_temperature": "the motor temperature foldback",
    "controller_temperature": "the controller temperature foldback",
    "low_voltage": "the low-voltage foldback",
    "grip": "the grip of the tyre, or the front wheel lifting",
}
STOP_WORDS = {
    Stop.FINISHED: "reached the end of the road",
    Stop.PACK_EMPTY: "the pack was empty",
    Stop.LOW_VOLTAGE: "the pack's voltage fell too low under load",
    Stop.STALLED: "the bike got stuck: motor and rider together could not move it",
    Stop.OVER_TEMPERATURE: "the winding burnt",
    Stop.TIME_LIMIT: "the time limit ended it",
    Stop.NOT_FINITE: "the numbers ran away; please report this build and road as a fault of ridesim",
}


@dataclass(frozen=True)
class Verdict:
    """A word and its reasons."""

    word: str
    reasons: tuple[str, ...]


def judge(ride: Ridden, s: dict[str, Any], system: str = "metric") -> Verdict:
    """Return the verdict of a ride from its summary, in the units a person asked for."""
    bad: list[str] = []
    doubtful: list[str] = []
    if not ride.finished:
        place = f"after {shown(s['distance_km'], 'km', system)} of {shown(s['road_km'], 'km', system)}"
        bad.append(f"It did not arrive: {s['stop_reason']}, {place}.")
    _heat(ride, s, bad, doubtful, system)
    _pack(ride, s, bad, doubtful, system)
    for limit in s["limits"]:
        words = FELT_LIMITS.get(limit["name"])
        share = limit["seconds"] / max(s["total_time_s"], 1.0)
        if words and share > LONG_ON_A_LIMIT:
            doubtful.append(
                f"{share:.0%} of the ride is spent on {words}, from {shown(limit['first_at_km'], 'km', system)} on."
            )
    if s["over_speed_s"] > 0.0:
        bad.append(
            f"For {s['over_speed_s']:.0f} s the back-EMF passed the pack voltage (from "
            f"{shown(s['over_speed_from_km_h'], 'km_h', system, 0)}): the diodes charge and brake with no control. "
            "Keep below that speed."
        )
    if bad:
        return Verdict(STOP, tuple(bad + doubtful))
    if doubtful:
        return Verdict(LOOK_AGAIN, tuple(doubtful))
    return Verdict(FINE, (_all_well(s, system),))


def _heat(ride: Ridden, s: dict[str, Any], bad: list[str], doubtful: list[str], system: str) -> None:
    limit, peak, place = s["winding_limit_c"], s["peak_winding_temp_c"], s["peak_winding_temp_at_km"]
    allowed = f"class {ride.build.motor.insulation_class} allows {shown(limit, 'c', system, 0)}"
    words = f"The winding reaches {shown(peak, 'c', system, 0)} at {shown(place, 'km', system)}; {allowed}"
    if peak > limit:
        rest = s["rest_to_cool_min"]
        cure = "" if rest is None else f" A stop of {rest:.0f} min cools it to {shown(s['rest_to_c'], 'c', system, 0)}."
        bad.append(f"{words}. It is too hot for {s['winding_over_limit_s']:.0f} s.{cure}")
    elif peak > limit - NEAR_LIMIT_K:
        doubtful.append(f"{words}: little is left.")
    if s["peak_body_temp_c"] > s["magnet_limit_c"]:
        bad.append(
            f"The magnets reach {shown(s['peak_body_temp_c'], 'c', system, 0)}; grade {ride.build.motor.magnet_grade} "
            f"allows {shown(s['magnet_limit_c'], 'c', system, 0)}: they may weaken for good."
        )


def _pack(ride: Ridden, s: dict[str, Any], bad: list[str], doubtful: list[str], system: str) -> None:
    cell = ride.build.pack.cell
    if s["peak_cell_current_a"] > cell.max_discharge_a * ROUNDING:
        rating = f"each cell gives up to {s['peak_cell_current_a']:.1f} A; its rating is {cell.max_discharge_a:g} A"
        lasting = s["sustained_pack_current_a"] / ride.build.pack.parallel > cell.max_discharge_a
        (bad if lasting else doubtful).append(rating[0].upper() + rating[1:] + ".")
    if s["peak_charge_current_a"] / ride.build.pack.parallel > cell.max_charge_a * ROUNDING:
        doubtful.append(
            f"Regen charges each cell with up to {s['peak_charge_current_a'] / ride.build.pack.parallel:.1f} A; "
            f"its rating is {cell.max_charge_a:g} A."
        )
    if s["peak_pack_temp_c"] > ride.build.pack.temperature_limit_c:
        bad.append(
            f"The cells reach {shown(s['peak_pack_temp_c'], 'c', system, 0)}; "
            f"{shown(ride.build.pack.temperature_limit_c, 'c', system, 0)} is allowed."
        )
    if ride.finished and s["charge_left_fraction"] < ride.build.pack.charge_floor_fraction + 0.1:
        doubtful.append(f"It arrives with {s['charge_left_fraction']:.0%} of charge: no reserve for wind or cold.")


def _all_well(s: dict[str, Any], system: str) -> str:
    return (
        f"It arrives with {s['charge_left_fraction']:.0%} of charge, the winding never above "
        f"{shown(s['peak_winding_temp_c'], 'c', system, 0)} of {shown(s['winding_limit_c'], 'c', system, 0)} allowed."
    )
