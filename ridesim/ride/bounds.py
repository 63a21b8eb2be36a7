"""The bounds of the step, of a steady ride, and the ends of a ride: one name for JSON, one pair of words, each."""

from __future__ import annotations

from typing import NamedTuple

from ridesim.engine.state import Limit, Stop


class Bound(NamedTuple):
    """A bound that holds motor or tyre.

    `name` in JSON and traces, `words` inside a sentence, `short` in tables and pictures, `cure`: what moves it.
    `is_felt`: a rider notices a long stay on it. `braking`: why the motor brakes no harder, where that reads otherwise.
    """

    name: str
    words: str
    short: str
    cure: str
    is_felt: bool = True
    braking: str = ""

    @property
    def braking_words(self) -> str:
        """Why the motor brakes no harder."""
        return self.braking or self.words


_GRIP_BRAKING = "tyre grip: the rest had to come from the other wheel"

BOUNDS: dict[Limit, Bound] = {
    limit: Bound(limit.name.lower(), *rest)
    for limit, *rest in (
        (Limit.NONE, "air and rolling drag", "nothing", "less drag, or more power asked for", False, _GRIP_BRAKING),
        (Limit.MOTOR_CURRENT, "the motor current limit", "motor current",
         "raise controller.motor_current_limit_a if the winding bears it, or take slower gearing"),
        (Limit.BRAKE_CURRENT, "the motor's braking current limit", "braking current",
         "raise controller.brake_current_limit_a; the rest goes into the friction brakes", False),
        (Limit.PACK_CURRENT, "the pack current limit", "pack current",
         "raise controller.pack_current_limit_a if the cells bear it, or ride slower"),
        (Limit.PACK_POWER, "the most power that the pack can give", "most pack power",
         "more cells in parallel, warmer cells, or less power asked for"),
        (Limit.CHARGE_CURRENT, "the charging current that the cells take", "charging current",
         "more cells in parallel take more; the rest goes into the friction brakes", False),
        (Limit.FULL_PACK, "a full pack, which takes no charge", "full pack",
         "start a descent with less than a full pack", False),
        (Limit.COLD_PACK, "cells below freezing, which must not be charged", "cold pack",
         "start with a warm pack", False),
        (Limit.MODULATION, "full modulation: the motor turns as fast as the pack's voltage lets it", "full modulation",
         "more cells in series, a higher Kv, or faster gearing", True,
         "the voltage: the motor turned too fast to brake harder"),
        (Limit.ELECTRICAL_FREQUENCY, "the controller's electrical frequency limit", "electrical frequency",
         "fewer motor turns (faster gearing), fewer pole pairs, or a controller rated for more"),
        (Limit.MOTOR_TEMPERATURE, "the foldback by motor temperature", "motor temperature",
         "less power or more cooling on the climb; a larger motor"),
        (Limit.CONTROLLER_TEMPERATURE, "the foldback by controller temperature", "controller temperature",
         "a heat sink in the wind, or less current"),
        (Limit.LOW_VOLTAGE, "the low-voltage foldback", "low voltage",
         "more charge, more cells in parallel, or less current"),
        (Limit.ASSIST_SPEED, "the legal speed limit", "legal speed", "it is the law's or the build's own", False),
        (Limit.MOTOR_POWER, "the motor power limit", "motor power", "it is the law's or the build's own", False),
        (Limit.OVER_SPEED, "back-EMF above the pack's voltage", "over-speed",
         "keep below that speed, or take more cells in series, a lower Kv, or a freewheel", False,
         "over-speed: the diodes braked without control"),
        (Limit.GRIP, "the grip of the tyre, or the front wheel lifting", "tyre grip",
         "less current from rest, or more weight on the driven wheel", True, _GRIP_BRAKING),
    )
}  # fmt: skip
"""Every bound of the step, by its code."""

STEADY_BOUNDS: tuple[Bound, ...] = (
    Bound("winding", "the winding's limit", "winding", "less current, slower gearing, or a larger motor"),
    Bound("magnets", "the magnets' limit", "magnets", "less current, more cooling, or magnets of a better grade"),
    Bound("cell_rating", "the cells' current rating", "cell rating", "more cells in parallel"),
    Bound("cells", "the cells' temperature limit", "warm cells", "more cells in parallel, or less power"),
    Bound("heat_runaway", "heat that feeds on itself", "runaway", "less current: resistance rises with the heat"),
    Bound("assist", "the share of the pedal power that the assist law gives", "assist law",
          "pedal harder, or a higher controller.assist_factor where the law allows it"),
    Bound("front_lift", "the lift of the front wheel", "front lift", "weight further forward, or less current"),
)  # fmt: skip
"""Bounds of a steady ride beside those of the step."""

BY_NAME: dict[str, Bound] = {bound.name: bound for bound in (*BOUNDS.values(), *STEADY_BOUNDS)}
"""Bounds by their name in JSON and traces."""

STOP_WORDS: dict[Stop, str] = {
    Stop.RUNNING: "is still under way",
    Stop.FINISHED: "reached the end of the road",
    Stop.PACK_EMPTY: "the pack was empty",
    Stop.LOW_VOLTAGE: "the pack's voltage fell too low under load",
    Stop.STALLED: "the bike got stuck: motor and rider together could not move it",
    Stop.OVER_TEMPERATURE: "the winding burnt",
    Stop.TIME_LIMIT: "the time limit ended it",
    Stop.OVERCHARGED: "the cells were charged far past full: they would vent or burn",
    Stop.NOT_FINITE: "the numbers ran away; please report this build and road as a fault of ridesim",
}
"""Why a ride ended, in words."""
