"""`ridesim replay`: the model driven by a log's own speed and current, beside what the log measured."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ridesim.cli import options
from ridesim.cli.answer import Wanted, answer, csv_writer
from ridesim.cli.log import LogFile, Map
from ridesim.cli.output import answering, envelope, progress, say_if_compiling

if TYPE_CHECKING:
    from ridesim.learn.log import Log

EXAMPLE = "Example: ridesim replay configs/longtail-belt.toml my-ride.csv --road my-ride.gpx --out logs/my-ride"

LogRoad = Annotated[
    str | None,
    typer.Option(
        "--road",
        metavar="GPX",
        help="A GPX of the same ride: places and altitude; aligned by both speeds, or by distance without times.",
        rich_help_panel="Recording",
    ),
]


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("replay", epilog=EXAMPLE, no_args_is_help=True)(replay)


@answering
def replay(
    build: options.BuildFile,
    log: LogFile,
    road: LogRoad = None,
    map_: Map = None,
    set_: options.Set = None,
    out: options.Out = None,
    report: options.Report = None,
    as_json: options.Json = False,
    units: options.UnitSystem = options.Units.metric,
) -> None:
    """Drive BUILD's model by LOG's speed and current: measured against computed, where they part, and likely why."""
    from ridesim.bike.load import load_build
    from ridesim.learn.replay import replay as replayed

    say_if_compiling()
    loaded = load_build(build, options.overrides(set_))
    found = read_ride_log(log, map_, road)
    result = replayed(found, loaded)
    from ridesim.report.replay.plain import channel_rows, replay_figures
    from ridesim.report.replay.view import picture_names, view

    inputs = {
        "builds": [{"path": build, "sha256": loaded.sha256, "name": loaded.build.name}],
        "log": {"path": log, "sha256": found.sha256}, "map": map_, "road": road,
    }  # fmt: skip

    answer(
        Wanted(as_json, out, report, units),
        envelope("replay", inputs, **replay_figures(result)),
        lambda pictures: view(result, units.value, pictures=pictures),
        [loaded],
        pictures=picture_names(result),
        tables={"replay.csv": csv_writer(channel_rows(result))},
    )


def read_ride_log(path: str, map_: str | None, road: str | None) -> Log:
    """Return a log, with the GPX beside it if one is given; its notes say what is to know of both."""
    from ridesim.learn.beside import read_ride

    with progress("reading the log", 2) as step:
        return read_ride(path, map_, road, step)
