"""What holds the drive: motor shaft, pulley joint, wheel pulley, bracket. No ride reads it."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from ridesim.schema.section import Section, fault, key

Screw = Literal["M3", "M4", "M5", "M6", "M8", "M10"]
Metal = Literal["carbon_steel", "alloy_steel", "aluminium"]
Plate = Literal["not_stated", "carbon_steel", "alloy_steel", "aluminium", "carbon_plate", "pla", "petg", "abs"]
Layers = Literal["across", "along"]

FRICTION = 0.12
"""Dry metal on metal in a clamp or press fit (VDI 2230, class B: 0.08 to 0.16)."""


class Joint(Section):
    """How the first pulley sits on the motor's shaft. What its kind does not read is left alone."""

    kind: Literal["not_stated", "grub_screws", "key", "clamp", "press_fit"] = key(
        "not_stated", "what turns the pulley with the shaft"
    )
    screw: Screw = key("M4", "grub or clamp screw")
    screws: int = key(2, "how many of them", 1, 12)
    flat: bool = key(False, "the screws press on a flat that is filed on the shaft")
    key_width_mm: float = key(3.0, "of a parallel key", 1, 20)
    key_height_mm: float = key(3.0, "of a parallel key", 1, 20)
    key_length_mm: float = key(10.0, "that bears, without its round ends", 2, 100)
    key_depth_mm: float = key(1.8, "of the keyway in the shaft", 0.3, 15)
    hub_diameter_mm: float = key(18.0, "outside of the pulley's hub (default: guess)", 4, 300)
    hub_material: Metal = key("aluminium", "of the pulley's hub")
    fit_length_mm: float = key(12.0, "of a press fit (default: guess)", 1, 200)
    interference_um: float = key(10.0, "of a press fit, on the diameter (default: guess)", 0, 500)
    friction: float = key(FRICTION, "of shaft and hub (default: VDI 2230, middle of class B)", 0.02, 0.6)

    @model_validator(mode="after")
    def _key_in_its_way(self) -> Joint:
        if self.key_depth_mm >= self.key_height_mm:
            raise fault("key_depth_mm", "is not less than key_height_mm; some of the key stands in the hub")
        return self


class WheelPulley(Section):
    """The last driven pulley and its bolts to the wheel."""

    material: Plate = key("not_stated", "what the pulley is made of; printed parts: pla, petg, abs")
    bolts: int | None = key(None, "that clamp it to the hub; empty: not judged", 2, 36)
    bolt: Screw = key("M5", "size of a bolt")
    bolt_circle_mm: float = key(44.0, "diameter on which they stand (default: common practice, disc brakes)", 10, 500)
    tightening_nm: float | None = key(None, "of each bolt; empty: what VDI 2230 allows for grade 8.8", 0.1, 200)
    friction: float = key(0.15, "of the clamped faces (default: VDI 2230, dry steel and aluminium)", 0.02, 0.6)
    arms: int = key(0, "spokes between the bolts and the rim; 0 = a solid plate", 0, 36)
    arm_width_mm: float = key(15.0, "along the turning (default: guess)", 1, 200)
    arm_thickness_mm: float = key(6.0, "along the axle (default: guess)", 0.5, 60)
    layers: Layers = key("across", "a printed part is pulled across its layers, or along them")
    temperature_c: float = key(40.0, "how warm a printed part gets, in the sun (default: guess)", -20, 120)


class Bracket(Section):
    """The plate that carries the motor, and its clamp on a tube of the frame."""

    material: Plate = key("not_stated", "what the plate is made of; printed parts: pla, petg, abs")
    reach_mm: float = key(50.0, "from where the plate is held to the belt's pull (default: guess)", 1, 500)
    width_mm: float = key(60.0, "of the plate, across its bending (default: guess)", 5, 300)
    thickness_mm: float = key(6.0, "of the plate, the way it bends (default: guess)", 1, 60)
    holes_mm: float = key(0.0, "width lost to holes where it bends most", 0, 200)
    tube_diameter_mm: float | None = key(None, "of the tube it is clamped to; empty: not judged", 10, 100)
    clamp_screw: Screw = key("M6", "of the clamp on the tube")
    clamp_screws: int = key(4, "of the clamp on the tube", 1, 16)
    tightening_nm: float | None = key(None, "of each; empty: what VDI 2230 allows for grade 8.8", 0.1, 200)
    friction: float = key(FRICTION, "of clamp and tube (default: VDI 2230, middle of class B)", 0.02, 0.6)
    layers: Layers = key("across", "a printed part is pulled across its layers, or along them")
    temperature_c: float = key(50.0, "how warm a printed part gets beside the motor (default: guess)", -20, 200)
    metal_gap_mm: float | None = key(None, "from the turning can to the nearest metal; empty: not known", 0, 200)

    @model_validator(mode="after")
    def _plate_left(self) -> Bracket:
        if self.holes_mm >= self.width_mm:
            raise fault("holes_mm", "is not less than width_mm; some of the plate is left")
        return self


class Mount(Section):
    """What carries the drive's forces, for `ridesim mount`."""

    bump_factor: float = key(3.0, "weight of the motor in a bump over its weight at rest (default: guess)", 1, 15)
    shaft_material: Metal = key("carbon_steel", "of the motor's shaft")
    shaft_notch: float = key(1.7, "stress raised by a shoulder, flat or screw's mark (default: guess)", 1, 5)
    belt_overhang_mm: float | None = key(
        None, "from the motor's bearing to the belt's middle; empty: guessed", 0.5, 200
    )
    joint: Joint = Field(default_factory=Joint, description="how the first pulley sits on the motor's shaft")
    wheel_pulley: WheelPulley = Field(default_factory=WheelPulley, description="the last driven pulley and its bolts")
    bracket: Bracket = Field(default_factory=Bracket, description="the plate that carries the motor, and its clamp")
