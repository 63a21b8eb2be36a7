"""`ridesim compare`: which build?"""

from __future__ import annotations

from typing import Annotated

import typer

from ridesim.cli import options
from ridesim.cli.answer import inputs_of, reply
from ridesim.cli.output import command, progress, say_if_compiling
from ridesim.errors import RideError

EXAMPLE = (
    "Example: ridesim compare configs/longtail-belt.toml configs/longtail-hub.toml --road routes/ridge-climb.gpx "
    "--road routes/terrace-round.gpx"
)


@command("compare", EXAMPLE)
def side_by_side(
    builds: Annotated[list[str], typer.Argument(metavar="BUILD BUILD...", help="Two or more build files (TOML).")],
    roads: Annotated[
        list[str] | None, options.choice("--road", "ROAD", "Road to ride; may be given again.", "Ride")
    ] = None,
    speed: options.Speed = None,
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    quick: options.Quick = False,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Ride two or more builds over the same roads and show them side by side, the largest differences first."""
    from ridesim.bike.load import load_build
    from ridesim.studies.compare import compare

    if len(builds) < 2:
        raise RideError("compare", "one build only", "name two or more build files")
    if not roads:
        raise RideError("compare", "no road is named", "write --road before each road; all else is taken for a build")
    changes = options.overrides(set_)
    loaded = [load_build(build, changes) for build in builds]
    ridden = [reading.load(road) for road in roads]
    say_if_compiling()
    with progress("riding each build", len(loaded) * (1 + 2 * len(ridden))) as done:
        result = compare(loaded, ridden, cruise_speed_km_h=speed, how_sure=not quick, done=done)

    named = zip(roads, (road.name for road in ridden), strict=True)
    reply(wanted, "compare", inputs_of(loaded, named), result, loaded, table="rides.csv")
