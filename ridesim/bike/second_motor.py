"""Where the belt of a second motor runs; no ride reads it, `ridesim belt` does."""

from __future__ import annotations

from ridesim.schema.section import Section, key


class SecondMotor(Section):
    """Where two motors' belt runs, for `ridesim belt`: places along and above the first driven pulley's axle."""

    first_x_mm: float | None = key(None, "one_belt: the first motor, ahead of the driven pulley's axle", -2000, 2000)
    first_y_mm: float | None = key(
        None, "one_belt: the first motor, above that axle; first is where the belt comes from the wheel", -2000, 2000
    )
    second_x_mm: float | None = key(None, "one_belt: the second motor, ahead of that axle", -2000, 2000)
    second_y_mm: float | None = key(None, "one_belt: the second motor, above that axle", -2000, 2000)
    teeth: int | None = key(None, "second_belt: of both its pulleys, since alike motors turn alike", 5, 400)
    pitch_mm: float = key(5.0, "second_belt: tooth pitch of that belt", 2, 20)
    width_mm: float = key(15.0, "second_belt: width of that belt", 3, 100)
    centre_distance_mm: float | None = key(None, "second_belt: from motor shaft to motor shaft", 10, 1500)
    between_deg: float | None = key(
        None, "second_belt: between both belts' pulls at the first motor's shaft; empty: the worst is taken", 0, 180
    )
