"""A second, different drive on the same bike: a motor, a controller and a way to a wheel of its own, from one pack."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from pydantic import Field, model_validator

from ridesim.bike.controller import Controller
from ridesim.bike.drive import Drive
from ridesim.bike.motor import Motor
from ridesim.bike.mount import Mount
from ridesim.errors import BuildError
from ridesim.schema.section import Section, fault

if TYPE_CHECKING:
    from ridesim.bike.schema import Build

PREFIX = "second."
"""How the keys of a second drive begin; behind it they are those of [drive], [motor], [controller] and [mount]."""


class Second(Section):
    """A second drive: its sections have the keys of [drive], [motor], [controller] and [mount]."""

    drive: Drive = Field(default_factory=Drive, description="from its shaft to its wheel")
    motor: Annotated[Motor, Field(description="its motor, or the name of a part")]
    controller: Annotated[Controller, Field(description="its controller, or the name of a part")]
    mount: Mount = Field(default_factory=Mount, description="what holds it, for `ridesim mount --drive 2`")

    @model_validator(mode="after")
    def _plain_drive(self) -> Second:
        if self.drive.motors != 1:
            raise fault("drive", "has motors = 2; a second drive has one motor")
        if self.drive.gears.ratios or self.drive.through_pedal_chain:
            raise fault("drive", "has gears or the pedal chain; describe that drive as the first one")
        return self

    @property
    def mass_kg(self) -> float:
        """Motor and controller, kg."""
        return self.motor.mass_kg + self.controller.mass_kg


def seen_by_second(build: Build) -> Build:
    """Return a build of two different drives with the two changed over: the second one's keys in the first one's place.

    What is asked of one drive of a bike is asked of the second through it; mass, pack and rider stay what they are.
    """
    other = build.second
    if other is None:
        raise ValueError("this bike has one drive")
    own = {name: getattr(other, name) for name in Second.model_fields}
    first = Second.model_construct(**{name: getattr(build, name) for name in own})
    return build.model_copy(update=own | {"second": first})


def drives_of(build: Build) -> tuple[Build, ...]:
    """Return the build, and where it has two different drives, as the second one sees it too."""
    return (build,) if build.second is None else (build, seen_by_second(build))


def geared_drive(build: Build, number: int | None = None) -> tuple[str, Build]:
    """Return how the keys of the drive begin whose ratio is asked of, and the build as that drive sees it.

    `number`: 1 or 2; None: the first one, but of two different drives the second one where only that has a reduction.
    Raises BuildError for a drive that the bike has not.
    """
    other = build.second
    if number is None:
        number = 2 if not build.drive.stage and other is not None and other.drive.stage else 1
    if number == 1:
        return "", build
    if other is None or number != 2:
        has = "one drive" if other is None else "two drives"
        raise BuildError("--drive", f"there is no drive {number} (this bike has {has})", "leave it out, or take 1")
    return PREFIX, seen_by_second(build)


MOST_KNOW_BOTH = (
    "ask of each drive in a build of its own; `ridesim ride`, `spread`, `range` and most other commands know both"
)


def refuse_second(build: Build, who: str, to_do: str = MOST_KNOW_BOTH) -> None:
    """Raise BuildError for a bike of two different drives, where `who` asks of one only; `to_do`: what to do then."""
    if build.second is not None:
        raise BuildError("second", f"{who} does not know bikes of two different drives", to_do)


def why_not_together(build: Build, asked_law: str | None = None) -> tuple[str, str] | None:
    """Return key and fault of two drives that one throttle cannot command together; None: it can.

    `asked_law`: the throttle law that both are ridden by in place of the build's.
    """
    other = build.second
    if other is None:
        return None
    if build.drive.motors != 1:
        return "second", "stands beside drive.motors = 2; describe one motor a drive"
    law = asked_law or build.controller.throttle_law
    if asked_law is None and other.controller.throttle_law != law:
        return "second", (
            f"has the throttle law {other.controller.throttle_law}, the first drive {law}; one throttle commands both: "
            "give both the same"
        )
    if law == "voltage" and build.drive.gears.ratios:
        return "second", "shares a voltage throttle with a drive of gears; use the law torque or governor"
    return None
