"""`ridesim replay`: the model driven by a log's current, throttle or speed, beside what the log measured."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

from ridesim.cli import options
from ridesim.cli.answer import reply
from ridesim.cli.log import LogFile, Map
from ridesim.cli.output import command, progress, say_if_compiling

if TYPE_CHECKING:
    from ridesim.learn.log import Log

EXAMPLE = "Example: ridesim replay configs/longtail-belt.toml my-ride.csv --road my-ride.gpx --out logs/my-ride"

LogRoad = Annotated[
    str | None,
    options.choice(
        "--road",
        "GPX",
        "A GPX of the same ride: places and altitude; aligned by both speeds, or by distance without times.",
        "Recording",
    ),
]


class Driver(StrEnum):
    """What of a log drives the model."""

    current = "current"
    throttle = "throttle"
    speed = "speed"


By = Annotated[
    Driver | None,
    options.flag(
        "--by",
        "What drives the model: current (with the logged speed: it tells most of the parts), throttle or speed (both "
        "ride the log's road by themselves). Else the current where one is logged, else the throttle.",
        "Recording",
    ),
]


OfDrive = Annotated[
    int | None,
    options.choice(
        "--drive", "1|2", "Of two different drives, whose controller wrote the log; the other was off.", "Recording"
    ),
]


@command("replay", EXAMPLE)
def replay(
    build: options.BuildFile,
    log: LogFile,
    road: LogRoad = None,
    map_: Map = None,
    by: By = None,
    drive: OfDrive = None,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Drive BUILD's model by LOG's current, throttle or speed: measured against computed, where they part, and why."""
    from ridesim.bike.load import load_build
    from ridesim.learn.one_drive import one_drive
    from ridesim.learn.replay import replay as replayed

    say_if_compiling()
    loaded = one_drive(load_build(build, options.overrides(set_)), drive, "`ridesim replay`")
    found = read_ride_log(log, map_, road)
    result = replayed(found, loaded, None if by is None else by.value)

    inputs = {
        "builds": [{"path": build, "sha256": loaded.sha256, "name": loaded.build.name}],
        "log": {"path": log, "sha256": found.sha256}, "map": map_, "road": road,
        "by": None if by is None else by.value, "drive": drive,
    }  # fmt: skip

    reply(wanted, "replay", inputs, result, [loaded], table="replay.csv")


def read_ride_log(path: str, map_: str | None, road: str | None) -> Log:
    """Return a log, with the GPX beside it if one is given; its notes say what is to know of both."""
    from ridesim.learn.beside import read_ride

    with progress("reading the log", 2) as step:
        return read_ride(path, map_, road, step)
