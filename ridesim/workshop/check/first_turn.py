"""Before the first turn of the wheel: what to do, in this order, with this build's own figures.

Common practice, no source. Show the cautions of the check sheet with it.
"""

from __future__ import annotations

from typing import NamedTuple

from ridesim.bike.rough import resting_v
from ridesim.bike.schema import Build
from ridesim.workshop.wire.harness import Harness

SUPPLY_CURRENT_A = 2.0
"""A bench supply limited to this turns a motor unloaded, and burns little that is wired wrong (guess)."""
FIRST_CURRENT_SHARE = 0.2
"""Share of the motor current limit for the first turns (guess)."""
SUPPLY_CHARGE = 0.5
"""Charge whose resting voltage the supply is set to."""
TAG = "common practice, no source"

IN_THE_AIR = (
    "Clamp the bike so that the driven wheel turns freely; hands, hair and tools away; know how you cut the power "
    "before you switch it on."
)
POLARITY = (
    "Measure plus and minus at every plug with a meter before it is joined, and again at the controller: a pack the "
    "wrong way round destroys it at once."
)
ORDER = (
    "Turn the wheel by hand: it turns evenly. Then the slightest throttle: if it stutters, howls or draws much "
    "unloaded, stop, power off, swap two phases or two sensors (of six orders one runs smoothly forwards with the "
    "least current); let the controller learn them if it can."
)
DIRECTION = (
    "The wheel drives forwards. If it runs well but backwards, swap two phases and the two sensors that belong to "
    "them, or reverse it in the controller."
)
THROTTLE = (
    "Closed, it gives none: measure its signal and calibrate both ends. See that the motor stays still with the "
    "throttle unplugged, with the throttle held at power-on, and with the bars turned to both ends."
)
BRAKES = (
    "Each brake lever ends the drive at once at full throttle, wheel in the air; both friction brakes hold the bike on "
    "their own."
)
FIRST_METRES = (
    "Only now the pack, in a quiet place, helmet on, limits low. Feel motor, controller and plugs after one minute and "
    "after ten; then raise the limits in steps."
)


class Step(NamedTuple):
    """One line of the list: what it is about, and what to do."""

    what: str
    to_do: str


def first_turn_list(build: Build, harness: Harness) -> tuple[Step, ...]:
    """Return the list for a build and the harness that its ride asks for, in the order in which it is worked off."""
    limit = build.controller.motor_current_limit_a
    supply = (
        f"First power from a bench supply at {resting_v(build, SUPPLY_CHARGE):.0f} V limited to {SUPPLY_CURRENT_A:g} "
        "A, not from the pack: what is wired wrong then trips instead of burning."
    )
    low = (
        f"Set the motor current limit to {max(1.0, FIRST_CURRENT_SHARE * limit):.0f} A ({FIRST_CURRENT_SHARE:.0%} of "
        f"{limit:g} A) and regen to none until all of this is done: a bench supply takes nothing back."
    )
    return (
        Step("wheel in the air", IN_THE_AIR),
        Step("polarity", POLARITY),
        Step("fuse", _fuse(harness)),
        Step("pre-charge", _precharge(harness)),
        Step("current-limited supply", supply),
        Step("low limits", low),
        Step("phase and sensor order", ORDER),
        Step("direction", DIRECTION),
        Step("throttle at zero", THROTTLE),
        Step("brake cut-off", BRAKES),
        Step("first metres", FIRST_METRES),
    )


def _fuse(harness: Harness) -> str:
    fuse = harness.fuse
    known = fuse is not None and fuse.rating_a is not None
    which = (
        f"{fuse.rating_a:g} A" if known and fuse is not None else "a rating between the load and what the leads bear"
    )
    return (
        f"One of {which}, DC rated for the full pack, at the pack's plus and in place before anything is joined; the "
        "charge lead has its own."
    )


def _precharge(harness: Harness) -> str:
    found = harness.precharge
    how = (
        "a resistor" if found is None else f"{found.resistor_ohm:g} Ω for {max(1.0, found.time_to_99_percent_s):.0f} s"
    )
    whose = "the controller's" if harness.currents.controllers == 1 else "each controller's"
    return (
        f"Charge {whose} capacitors through {how} before the main contact closes; without it the plug sparks and pits."
    )
