"""`ridesim climb`: does it cook on the climb, and what can it hold for ever?"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridesim.cli import options
from ridesim.cli.answer import answer, csv_writer, inputs_of
from ridesim.cli.output import answering, envelope, progress, say_if_compiling
from ridesim.errors import RideError
from ridesim.units import to_si

if TYPE_CHECKING:
    from ridesim.bike.load import LoadedBuild
    from ridesim.road.profile import Road
    from ridesim.studies.climb_map import ClimbMap

EXAMPLE = (
    "Examples: ridesim climb configs/longtail-belt.toml routes/ridge-climb.gpx; the same bike on a constant grade: "
    "ridesim climb configs/longtail-belt.toml --grade 8 --length 10; at what speed it does not cook: ridesim climb "
    "configs/longtail-belt.toml --grade 10 --length 5 --find speed; the map: ridesim climb configs/longtail-belt.toml"
)
_CLIMB, _MAP = "Climb", "Map of grade and speed"


class Find(StrEnum):
    """What can be varied until it gets over the climb."""

    speed = "speed"
    current = "current"
    load = "load"
    ratio = "ratio"


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("climb", epilog=EXAMPLE, no_args_is_help=True)(climb)


@answering
def climb(
    build: options.BuildFile,
    road: Annotated[
        str | None, typer.Argument(metavar="[ROAD]", help="Road: a GPX file or a road file (TOML).")
    ] = None,
    grade: Annotated[
        float | None,
        typer.Option("--grade", metavar="PERCENT", help="A constant grade instead of a road.", rich_help_panel=_CLIMB),
    ] = None,
    length: Annotated[
        float | None, typer.Option("--length", metavar="KM", help="Its length.", rich_help_panel=_CLIMB)
    ] = None,
    find: Annotated[
        Find | None,
        typer.Option("--find", help="Vary this and say which values get over the climb.", rich_help_panel=_CLIMB),
    ] = None,
    speed: options.Speed = None,
    reading: options.Reading = options.PLAIN_READING,
    points: Annotated[
        int | None,
        typer.Option("--map", metavar="N", help="Points a side of the map (60).", rich_help_panel=_MAP),
    ] = None,
    steepest: Annotated[
        float | None,
        typer.Option("--steepest", metavar="PERCENT", help="Steepest grade of the map (20).", rich_help_panel=_MAP),
    ] = None,
    fastest: Annotated[
        float | None,
        typer.Option("--fastest", metavar="KM_H", help="Fastest speed of the map.", rich_help_panel=_MAP),
    ] = None,
    charge: Annotated[
        float | None,
        typer.Option(
            "--charge", metavar="PERCENT", help="Charge at which the map holds the pack (50).", rich_help_panel=_MAP
        ),
    ] = None,
    set_: options.Set = None,
    quick: options.Quick = False,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Does BUILD cook on a climb? Heat along a road or a grade; without either, a map of what it holds for ever."""
    from ridesim.bike.load import load_build

    loaded = load_build(build, options.overrides(set_))
    of_a_road = reading.asked
    if road is None and grade is None and length is None:
        _refuse_for("the map", speed=speed, find=find, **of_a_road)
        _answer_map(loaded, wanted, wanted.units, points, steepest, fastest, charge)
        return
    _refuse_for("one climb", map=points, steepest=steepest, fastest=fastest, charge=charge)
    if road is None:
        _refuse_for("a constant grade", **of_a_road)
    named = None if road is None else reading.load(road)
    if find is not None:
        _answer_find(loaded, wanted, wanted.units, find.value, road, named, grade, length, speed)
        return
    _answer_climb(loaded, wanted, wanted.units, road, named, grade, length, speed, quick)


def _refuse_for(question: str, **given: object) -> None:
    """Raise RideError for an option that belongs to the other question."""
    for name, value in given.items():
        if value is not None:
            other = (
                "ask without a road or a grade" if question == "one climb" else "name a road, or --grade and --length"
            )
            flag = f"--{name.replace('_', '-')}"
            raise RideError(flag, f"has no meaning for {question}", f"leave it out, or {other}")


def _answer_climb(
    loaded: LoadedBuild, wanted: options.Wanted, units: str, road: str | None, ridden: Road | None,
    grade: float | None, length: float | None, speed: float | None, quick: bool,
) -> None:  # fmt: skip
    from ridesim.studies.climb import climb as ask

    say_if_compiling()
    result = ask(loaded, ridden, grade_percent=grade, length_km=length, speed_km_h=speed, how_sure=not quick)
    from ridesim.report.climb.plain import climb_figures
    from ridesim.report.climb.view import view

    payload = envelope("climb", inputs_of([loaded], [(road or "made", result.ride.road.name)]), **climb_figures(result))
    answer(
        wanted,
        payload,
        lambda pictures: view(result, units, pictures=pictures),
        [loaded],
        pictures=("heat-along-the-climb",),
        tables={"trace.csv": lambda path: result.ride.trace.to_csv(path, index=False, float_format="%.6g")},
    )


def _answer_find(
    loaded: LoadedBuild, wanted: options.Wanted, units: str, find: str, road: str | None, named: Road | None,
    grade: float | None, length: float | None, speed: float | None,
) -> None:  # fmt: skip
    from ridesim.studies.climb import road_of
    from ridesim.studies.way_out import Question, expected_rides, way_out

    cruise = speed or loaded.build.rider.cruise_speed_km_h
    ridden = road_of(named, grade, length)
    asked = Question(loaded, ridden, cruise, rolling_start=named is None)
    say_if_compiling()
    with progress("riding each value", expected_rides()) as done:
        found = way_out(find, asked, done)
    from ridesim.report.climb.way_out import verdict_of, view

    figures = {name: value for name, value in vars(found).items() if name != "tried"}
    tried = [vars(one) | {"stops": list(one.stops)} for one in found.tried]
    best = None if found.best is None else vars(found.best)
    inputs = inputs_of([loaded], [(road or "made", ridden.name)])
    answer(
        wanted,
        envelope("climb_find", inputs, verdict=verdict_of(found), **(figures | {"best": best, "tried": tried})),
        lambda pictures: view(found, loaded, ridden, units, pictures=pictures),
        [loaded],
        pictures=("winding-by-value",),
        tables={"tried.csv": csv_writer([{**one, "stops": "; ".join(one["stops"])} for one in tried])},
    )


def _answer_map(
    loaded: LoadedBuild, wanted: options.Wanted, units: str, points: int | None, steepest: float | None,
    fastest: float | None, charge: float | None,
) -> None:  # fmt: skip
    from ridesim.studies.climb_map import POINTS, STEEPEST_PERCENT, climb_map
    from ridesim.studies.steady import HALF_CHARGE

    side = POINTS if points is None else points
    say_if_compiling()
    with progress("climbing", side * side) as done:
        result = climb_map(
            loaded,
            points=side,
            steepest_percent=STEEPEST_PERCENT if steepest is None else steepest,
            fastest_km_h=fastest,
            charge_fraction=HALF_CHARGE if charge is None else to_si(charge, "percent"),
            done=done,
        )
    from ridesim.report.climb.plain import map_figures
    from ridesim.report.climb.view import map_view

    payload = envelope("climb_map", inputs_of([loaded], []), **map_figures(result))
    answer(
        wanted,
        payload,
        lambda pictures: map_view(result, units, pictures=pictures),
        [loaded],
        pictures=("grade-and-speed",),
        tables={
            "map.csv": csv_writer(_map_rows(result)),
            "rating.csv": csv_writer([vars(rating) for rating in result.rating]),
        },
    )


def _map_rows(result: ClimbMap) -> list[dict[str, Any]]:
    return [
        {
            "grade_percent": f"{grade:.4f}",
            "speed_km_h": f"{speed:.4f}",
            "minutes": f"{result.minutes[row, column]:.3f}",
            "ended_by": result.ended_by[row][column],
            "winding_temp_c": f"{result.winding_temp_c[row, column]:.2f}",
            "steady_winding_temp_c": f"{result.steady_winding_c[row, column]:.2f}",
        }
        for row, grade in enumerate(result.grade_percent)
        for column, speed in enumerate(result.speed_km_h)
    ]
