"""`ridesim ratios`: which ratio?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

from ridesim.cli import options
from ridesim.cli.answer import inputs_of, reply
from ridesim.cli.options import choice, flag
from ridesim.cli.output import command, progress, say_if_compiling
from ridesim.units import to_si

if TYPE_CHECKING:
    from ridesim.bike.load import LoadedBuild
    from ridesim.road.profile import Road

EXAMPLE = "Example: ridesim ratios configs/longtail-belt.toml routes/terrace-round.gpx --teeth 14-18:130-170/10"
_RATIOS, _CEILINGS = "Candidates", "Ceilings"


@dataclass(frozen=True)
class Tried(options.Bundle):
    """What is ridden: ratios, pairs of pulleys that fit, or sets of gears."""

    ratios: Annotated[
        str | None, choice("--ratios", "FROM:TO:COUNT", "Evenly spread, or a list: 8,9.5,11.", _RATIOS)
    ] = None
    teeth: Annotated[
        str | None,
        choice("--teeth", "DRIVER:DRIVEN", "Every pair of pulleys: 14-18:130-170/10 or 16,18:140,160.", _RATIOS),
    ] = None
    pairs: Annotated[str | None, choice("--pairs", "A/B,...", "These pairs of pulleys: 16/155,18/160.", _RATIOS)] = None
    gears: Annotated[
        int | None, choice("--gears", "MOST", "How many gears, and which: sets of up to so many.", _RATIOS)
    ] = None
    stage: Annotated[
        int | None, flag("--stage", "Vary this stage, from 1 at the motor.  [default: the last]", _RATIOS)
    ] = None
    drive: Annotated[
        int | None, flag("--drive", "Of two different drives, 1 or 2.  [default: the first with a reduction]", _RATIOS)
    ] = None
    centre: Annotated[float | None, choice("--centre", "MM", "Distance of the pulleys' shafts.", _RATIOS)] = None
    largest: Annotated[float | None, choice("--largest", "MM", "Outside diameter that still fits.", _RATIOS)] = None
    mesh: Annotated[float, choice("--mesh", "TEETH", "Least teeth in mesh.", _RATIOS)] = 6.0


@dataclass(frozen=True)
class Ceilings(options.Bundle):
    """What the choice has to keep, and how it is ridden."""

    max_winding: Annotated[float | None, choice("--max-winding-c", "C", "Hottest winding accepted.", _CEILINGS)] = None
    min_top_speed: Annotated[float | None, choice("--min-top-speed", "KM_H", "Top speed wanted.", _CEILINGS)] = None
    max_time: Annotated[float | None, choice("--max-time", "MIN", "Longest ride accepted.", _CEILINGS)] = None
    accelerate_to: Annotated[float, choice("--accelerate-to", "KM_H", "Time from rest to this.", "Ride")] = 25.0
    speed: options.Speed = None

    @property
    def asked(self) -> dict[str, Any]:
        """The same as the studies take it."""
        return {
            "max_winding_c": self.max_winding,
            "min_top_speed_km_h": self.min_top_speed,
            "max_time_s": None if self.max_time is None else to_si(self.max_time, "min"),
            "accelerate_to_km_h": self.accelerate_to,
            "cruise_speed_km_h": self.speed,
        }


@command("ratios", EXAMPLE)
def which(
    build: options.BuildFile,
    road: options.RoadFile,
    tried: Tried = Tried(),
    ceilings: Ceilings = Ceilings(),
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    quick: options.Quick = False,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Ride BUILD over ROAD with each ratio, pulley pair or set of gears, and say which to take and why."""
    from ridesim.bike.load import load_build

    loaded = load_build(build, options.overrides(set_))
    ridden = reading.load(road)
    if tried.gears is None:
        _which_ratio(loaded, road, ridden, tried, ceilings, quick, wanted)
        return
    from ridesim.cli.how_many_gears import how_many, refuse_others

    named = {"--ratios": tried.ratios, "--teeth": tried.teeth, "--pairs": tried.pairs, "--stage": tried.stage}
    refuse_others({**named, "--drive": tried.drive})
    how_many(loaded, road, ridden, tried.gears, ceilings.asked, wanted)


def _which_ratio(
    loaded: LoadedBuild, road: str, ridden: Road, tried: Tried, ceilings: Ceilings, quick: bool, wanted: options.Wanted
) -> None:
    from ridesim.bike.second import geared_drive
    from ridesim.cli.reductions import Room, belts_of, candidates
    from ridesim.studies.ratios import ratios as ride_ratios

    room = Room(tried.centre, tried.largest, tried.mesh)
    _, seen = geared_drive(loaded.build, tried.drive)
    found, notes = candidates(seen, tried.stage, tried.ratios, tried.teeth, tried.pairs, room)
    say_if_compiling(loaded)
    with progress("riding each ratio", 2 * (len(found) if found is not None else 23)) as done:
        result = ride_ratios(
            loaded,
            ridden,
            found,
            stage=tried.stage,
            drive=tried.drive,
            **ceilings.asked,
            notes=notes,
            belts=belts_of,
            how_sure=not quick,
            done=done,
        )

    inputs = inputs_of([loaded], [(road, ridden.name)])
    reply(wanted, "ratios", inputs, result, [loaded], table="candidates.csv" if result.cases else None)
