"""Star or delta: what to do when the three phases are joined another way.

Common practice, no source, but for what the circuit says: the lines of a delta and of a star see voltages 30 electrical
degrees apart, and only a delta has a ring in which the third harmonic of the back-EMF can drive a current.
"""

from __future__ import annotations

from ridesim.workshop.winding.motor import Winding

PHASE_SHIFT_DEG = 30.0
"""Electrical degrees between the line voltages of one set of phases joined as a star and as a delta (closed form)."""
TAG = "(common practice)"


def joining_lines(today: Winding, new: Winding, pole_pairs: int | None = None) -> tuple[str, ...]:
    """What to mind before and after the leads of `new` are joined: sensor angle, open corner, circulating current."""
    lines = []
    if new.connection != today.connection:
        turned = (
            ""
            if pole_pairs is None
            else f", {PHASE_SHIFT_DEG / pole_pairs:.1f}° of the shaft at {pole_pairs} pole pairs"
        )
        lines.append(
            f"From {today.connection} to {new.connection} the line voltages shift by {PHASE_SHIFT_DEG:g} electrical "
            f"degrees{turned}: rotor sensors that sat right now sit wrong. Let the controller learn the angle anew, "
            f"move the sensors, or run without them; a wrong angle costs torque and makes heat {TAG}."
        )
    if new.connection == "delta":
        lines += [
            "Before the last corner of the delta is closed, turn the motor and measure across the open corner: near no "
            f"voltage is right; twice a phase's voltage means that one phase is the wrong way round {TAG}.",
            "A delta is a closed ring: a back-EMF that is no sine, or turns that are not alike, drive a current round "
            "it even without load. If the no-load current at a speed is well above the star's, scaled with Kv, that is "
            f"it: it brakes and heats, and star is the cooler choice {TAG}.",
        ]
    elif new.connection != today.connection:
        lines.append(f"Insulate the star point like a lead, and let no winding touch the iron {TAG}.")
    if lines:
        lines.append(
            "Start with the wheel in the air, a current-limited supply and a low motor current limit; if it stutters "
            f"or draws much, swap two phases or the sensors, never with the power on {TAG}."
        )
    return tuple(lines)
