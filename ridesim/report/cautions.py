"""What every page says beside its answer: where the work can hurt someone, and what the model does not know.

The cautions are common practice, no source.
"""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "This is a model. It can be wrong where your numbers are guesses; measure before you trust it with your body.",
    "Lithium cells burn when shorted, crushed, overcharged or charged in the cold. Fuse the pack, never charge below "
    "0 °C, never leave a charging pack alone.",
    "A pack can deliver hundreds of amperes into a dropped spanner. Take off rings, insulate tools, work on one pole "
    "at a time, and discharge capacitors before you touch leads.",
    "Regen is no brake: it fails with a full or cold pack, a blown fuse or a hot motor. Keep two friction brakes that "
    "stop the loaded bike on their own.",
    "Motors and controllers get hot enough to burn skin. A spinning belt or chain takes fingers: cover it.",
    "Local law decides what power and speed may be ridden on a public road, and by whom; licensed practice decides "
    "where it applies.",
)

LEFT_OUT: tuple[str, ...] = (
    "Torque follows the current in a straight line: no magnetic saturation, and no field weakening.",
    "Winding, motor body, controller and pack each have one temperature; hot spots inside them are hotter.",
    "Cells do not age during a ride, and all groups but the weakest are alike.",
    "Weather is the same along the whole road: one wind, one humidity; only pressure and warmth follow the height.",
    "The tyre rolls without slip and leans without loss; its pressure and its warmth are in one coefficient.",
    "The rider pedals evenly and brakes as planned; traffic, walking and tired legs are not in it.",
    "The road is as smooth as its recording: potholes, kerbs and ramps shorter than the smoothing are gone.",
)
