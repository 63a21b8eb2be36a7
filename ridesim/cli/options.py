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


BuildFile = Annotated[str, typer.Argument(metavar="BUILD", help="Build file (TOML).")]
RoadFile = Annotated[str, typer.Argument(metavar="ROAD", help="Road: a GPX track or route, or a road file (TOML).")]

_ANSWER = "Answer"
_RIDE = "Ride"
_BUILD = "Build"

Json = Annotated[
    bool, typer.Option("--json", help="Print the answer as JSON, and nothing else.", rich_help_panel=_ANSWER)
]
Out = Annotated[
    Path | None, typer.Option("--out", metavar="DIR", help="Write tables and pictures here.", rich_help_panel=_ANSWER)
]
Report = Annotated[
    Path | None,
    typer.Option("--report", metavar="FILE.html", help="Write one page to keep.", rich_help_panel=_ANSWER),
]
Force = Annotated[
    bool,
    typer.Option("--force", help="Write over files that ridesim did not write too.", rich_help_panel=_ANSWER),
]
Quick = Annotated[bool, typer.Option("--quick", help="Leave out how sure the answer is.", rich_help_panel=_ANSWER)]
UnitSystem = Annotated[Units, typer.Option("--units", help="Units shown to people.", rich_help_panel=_ANSWER)]
Set = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Change a key of the build, e.g. rider.mass_kg=90; =default takes it back.",
        rich_help_panel=_BUILD,
    ),
]
Speed = Annotated[
    float | None,
    typer.Option("--speed", metavar="KM_H", help="Cruise speed in km/h instead of the build's.", rich_help_panel=_RIDE),
]
Flat = Annotated[
    bool, typer.Option("--flat", help="Ride a road without altitude as if it were level.", rich_help_panel=_RIDE)
]
Smooth = Annotated[
    float | None,
    typer.Option("--smooth", metavar="M", help="Smoothing length of recorded altitude.", rich_help_panel=_RIDE),
]
AsItIs = Annotated[
    bool,
    typer.Option(
        "--as-it-is", help="Leave the faults of a recording unmended: frozen, far and missing.", rich_help_panel=_RIDE
    ),
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
