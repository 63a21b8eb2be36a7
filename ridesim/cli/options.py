"""The options that commands share, and the reading of `--set key=value`."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from ridesim.road.profile import Road


class Units(StrEnum):
    """How figures are shown to people; files and JSON are metric."""

    metric = "metric"
    imperial = "imperial"


class Law(StrEnum):
    """What the throttle asks for."""

    torque = "torque"
    voltage = "voltage"
    governor = "governor"
    assist = "assist"


def choice(name: str, metavar: str, help_text: str, panel: str = "By hand", **more: Any) -> Any:
    """Return an option of the command line in a panel of its own."""
    return typer.Option(name, metavar=metavar, help=help_text, rich_help_panel=panel, **more)


def flag(name: str, help_text: str, panel: str) -> Any:
    """Return an option whose value needs no name, such as a switch."""
    return typer.Option(name, help=help_text, rich_help_panel=panel)


BuildFile = Annotated[str, typer.Argument(metavar="BUILD", help="Build file (TOML).")]
RoadFile = Annotated[str, typer.Argument(metavar="ROAD", help="Road: a GPX track or route, or a road file (TOML).")]

_ANSWER, _RIDE = "Answer", "Ride"

Json = Annotated[bool, flag("--json", "Print the answer as JSON, and nothing else.", _ANSWER)]
Out = Annotated[Path | None, choice("--out", "DIR", "Write tables and pictures here.", _ANSWER)]
Report = Annotated[Path | None, choice("--report", "FILE.html", "Write one page to keep.", _ANSWER)]
Force = Annotated[bool, flag("--force", "Write over files that ridesim did not write too.", _ANSWER)]
Quick = Annotated[bool, flag("--quick", "Leave out how sure the answer is.", _ANSWER)]
UnitSystem = Annotated[Units, flag("--units", "Units shown to people.", _ANSWER)]
SET_HELP = "Change a key of the build, e.g. rider.mass_kg=90; =default takes it back."
Set = Annotated[list[str] | None, choice("--set", "KEY=VALUE", SET_HELP, "Build")]
Speed = Annotated[float | None, choice("--speed", "KM_H", "Cruise speed in km/h instead of the build's.", _RIDE)]
Flat = Annotated[bool, flag("--flat", "Ride a road without altitude as if it were level.", _RIDE)]
Smooth = Annotated[float | None, choice("--smooth", "M", "Smoothing length of recorded altitude.", _RIDE)]
AsItIs = Annotated[
    bool, flag("--as-it-is", "Leave a recorder's faults as they are: places, altitudes, clock, copies.", _RIDE)
]


class Bundle:
    """Options that always go together: a command that takes one is given each of its fields as an option."""


@dataclass(frozen=True)
class Reading(Bundle):
    """How a road is read."""

    flat: Flat = False
    smooth: Smooth = None
    as_it_is: AsItIs = False

    def load(self, road: str) -> Road:
        """Load a road as asked. Raises RoadError."""
        from ridesim.road.load import load_road

        return load_road(road, smoothing_m=self.smooth, flat=self.flat, as_it_is=self.as_it_is)

    @property
    def asked(self) -> dict[str, Any]:
        """What was asked for, by its option; None: nothing."""
        return {name: value or None for name, value in vars(self).items()}


@dataclass(frozen=True)
class Wanted(Bundle):
    """Where an answer goes, and in which units a person reads it."""

    as_json: Json = False
    out: Out = None
    report: Report = None
    units: UnitSystem = Units.metric


PLAIN_READING, IN_WORDS = Reading(), Wanted()


def overrides(pairs: list[str] | None) -> dict[str, Any]:
    """Return `--set` pairs as dotted keys and TOML values; a bare word is text, `default` None. Raises BuildError."""
    from ridesim.bike.load import parse_override

    return dict(parse_override(pair) for pair in pairs or [])
