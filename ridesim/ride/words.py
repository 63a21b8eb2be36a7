"""The trade's words in plain ones: for `ridesim explain`, and for pages that show them on hover."""

from __future__ import annotations

WORDS: dict[str, str] = {
    "back-EMF": "The voltage that a turning motor makes by itself: its speed divided by Kv. Only what the pack has "
    "above it can push current in. Where it passes the pack, on a fast descent, the controller's diodes charge the "
    "pack and brake the bike with no control at all.",
    "Kv": "Unloaded motor speed per volt, line to line, peak. Torque per ampere is its inverse: 60 / (2 pi Kv) newton "
    "metres per ampere. Measured by driving the shaft with a drill at a known speed and reading the peak voltage "
    "between two leads: `ridesim bench`.",
    "gearing": "Slower gearing is more motor turns a wheel turn: more push, less top speed. Faster gearing is fewer.",
    "foldback": "The controller takes current away as something gets hot, or as the pack's voltage falls: all of it "
    "below the one stated figure, none of it beyond the other, in a straight line between them.",
    "modulation": "Motor voltage over pack voltage. At its limit the motor turns as fast as the pack's voltage lets "
    "it: full throttle gives no more.",
    "DC-equivalent current": "The current of a brushed motor that makes the same torque with the same loss. A sine "
    "drive reports the amplitude of its phase current instead; the DC-equivalent is sqrt(3)/2 of that.",
    "regen": "Braking with the motor, which charges the pack. It needs a drive that turns the motor when the wheel "
    "turns, a braking current above 0, and a pack that is neither full nor below freezing. It is no brake.",
    "second drive": "Another, different motor on the same bike, with a controller and a way to a wheel of its own: "
    "[second.drive], [second.motor] and [second.controller] of a build, with the keys of the first. One throttle "
    "commands both, one pack feeds them.",
    "winding": "The motor's copper: it heats in seconds, and its insulation bounds it.",
    "body": "Iron, can and magnets of the motor: they warm in minutes, and carry the winding's heat to the air.",
    "grip": "The largest force between tyre and road before it slips: friction coefficient times the load on that "
    "wheel. A short bike lifts its front wheel before the rear one slips.",
    "drag area": "How large a plate the air feels: drag coefficient times frontal area, CdA. A coast-down measures it: "
    "`ridesim coastdown`.",
    "pole pairs": "Magnets of the motor divided by 2. Motor turns a second times pole pairs is the electrical "
    "frequency that the controller must follow.",
    "six-step": "Commutation by six switch positions a turn of the field; its motor current is the DC-equivalent one.",
    "sine drive": "Commutation by sine-shaped currents (field-oriented); it reports their amplitude.",
    "ledger": "Every joule of a ride in lines that sum to zero: what pack and rider gave, and where it went.",
    "range": "The same road ridden again and again until the pack's voltage under load, the rider's charge floor or a "
    "hill ends it; never a straight line drawn from one ride.",
    "sag": "How far the pack's voltage falls under load: current times resistance, a slow part on top of the fast one.",
    "pre-charge": "Filling the controller's capacitors through a resistor before the plug closes, so that it does not "
    "spark: `ridesim wire`.",
}
"""Words by name; keys of a build, quantities and limits explain themselves."""
