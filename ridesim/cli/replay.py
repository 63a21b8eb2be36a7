"""`ridesim replay`: the model driven by a log's own speed and current, beside what the log measured."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridesim.cli import options
from ridesim.cli.answer import Wanted, answer, csv_writer
from ridesim.cli.log import LogFile, Map
from ridesim.cli.output import answering, envelope, progress, say_if_compiling

if TYPE_CHECKING:
    from ridesim.learn.log import Log
    from ridesim.learn.replay import Replay

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
    found, notes = read_ride_log(log, map_, road)
    result = replayed(found, loaded)
    from ridesim.report.replay.view import picture_names, view

    inputs = {
        "builds": [{"path": build, "sha256": loaded.sha256, "name": loaded.build.name}],
        "log": {"path": log, "sha256": found.sha256}, "map": map_, "road": road,
    }  # fmt: skip

    def draft(pictures: bool) -> Any:
        from dataclasses import replace

        drawn = view(result, units.value, pictures=pictures)
        return replace(drawn, notes=(*notes, *drawn.notes))

    answer(
        Wanted(as_json, out, report, units.value),
        envelope("replay", inputs, **replay_figures(result)),
        draft,
        [loaded],
        pictures=picture_names(result),
        tables={"replay.csv": csv_writer(channel_rows(result))},
    )


def read_ride_log(path: str, map_: str | None, road: str | None) -> tuple[Log, tuple[str, ...]]:
    """Return a log, with the GPX beside it if one is given, and what is to know of both."""
    from ridesim.learn.beside import with_gpx
    from ridesim.learn.log import load_log

    with progress("reading the log", 2) as step:
        log = load_log(path, map_)
        step(1)
        notes = [*log.notes, *(f"{each.column or 'rows'}: {each.share:.1%} {each.words}" for each in log.findings)]
        if log.mapping.guessed:
            notes.append("what the columns hold is guessed: ridesim log LOG shows it, --map takes a corrected mapping")
        if road is not None:
            aligned = with_gpx(log, road)
            log = aligned.log
            notes.append(f"{road}: {aligned.note}")
        step(1)
    return log, tuple(notes)


def replay_figures(result: Replay) -> dict[str, Any]:
    """Return a replay as plain values, its courses left out."""
    balance = result.balance
    return {
        "verdict": result.verdict,
        "span_s": result.span_s,
        "distance_km": result.distance_km,
        "driven_by": {"motion": result.driven.speed_by, "current": result.driven.current_by},
        "channels": [asdict(each) for each in result.partings],
        "road": None if balance is None else {
            "given_w": float(balance.given_w.mean()), "asked_w": float(balance.asked_w.mean()),
            "scatter_w": float((balance.given_w - balance.asked_w).std()), "altitude_lag_s": balance.lag_s,
        },
        "findings": list(result.general),
    }  # fmt: skip


MOST_ROWS = 20_000


def channel_rows(result: Replay) -> list[dict[str, float]]:
    """Return measured and computed columns as rows, thinned to what a spreadsheet takes."""
    from ridesim.learn.driven import averaged

    per = max(1, result.driven.count // MOST_ROWS)
    columns = {"time_s": averaged(result.driven.time_s, per)}
    for each in result.channels:
        columns[f"{each.channel.name}"] = averaged(each.measured, per)
        columns[f"computed_{each.channel.name}"] = averaged(each.computed, per)
    names = list(columns)
    return [
        dict(zip(names, (float(value) for value in row), strict=True)) for row in zip(*columns.values(), strict=True)
    ]
