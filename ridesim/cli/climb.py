"""`ridesim climb`: does it cook on the climb, and what can it hold for ever?"""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

from ridesim.cli import given, options
from ridesim.cli.answer import answer, csv_writer, frame_writer, inputs_of, reply
from ridesim.cli.output import command, envelope, progress, say_if_compiling
from ridesim.errors import RideError
from ridesim.units import to_si

if TYPE_CHECKING:
    from ridesim.bike.load import LoadedBuild
    from ridesim.road.profile import Road

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


@command("climb", EXAMPLE)
def climb(
    build: options.BuildFile,
    road: given.RoadOrGrade = None,
    grade: Annotated[
        float | None, options.choice("--grade", "PERCENT", "A constant grade instead of a road.", _CLIMB)
    ] = None,
    length: Annotated[float | None, options.choice("--length", "KM", "Its length.", _CLIMB)] = None,
    find: Annotated[
        Find | None, options.flag("--find", "Vary this and say which values get over the climb.", _CLIMB)
    ] = None,
    speed: options.Speed = None,
    reading: options.Reading = options.PLAIN_READING,
    points: Annotated[int | None, options.choice("--map", "N", "Points a side of the map (60).", _MAP)] = None,
    steepest: Annotated[
        float | None, options.choice("--steepest", "PERCENT", "Steepest grade of the map (20).", _MAP)
    ] = None,
    fastest: Annotated[float | None, options.choice("--fastest", "KM_H", "Fastest speed of the map.", _MAP)] = None,
    charge: Annotated[
        float | None, options.choice("--charge", "PERCENT", "Charge at which the map holds the pack (50).", _MAP)
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
        _answer_map(loaded, wanted, points, steepest, fastest, charge)
        return
    _refuse_for("one climb", map=points, steepest=steepest, fastest=fastest, charge=charge)
    if road is None:
        _refuse_for("a constant grade", **of_a_road)
    named = None if road is None else reading.load(road)
    if find is not None:
        _answer_find(loaded, wanted, find.value, road, named, grade, length, speed, quick)
        return
    _answer_climb(loaded, wanted, road, named, grade, length, speed, quick)


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
    loaded: LoadedBuild, wanted: options.Wanted, road: str | None, ridden: Road | None,
    grade: float | None, length: float | None, speed: float | None, quick: bool,
) -> None:  # fmt: skip
    from ridesim.studies.climb import climb as ask

    say_if_compiling(loaded)
    result = ask(loaded, ridden, grade_percent=grade, length_km=length, speed_km_h=speed, how_sure=not quick)

    inputs = inputs_of([loaded], [(road or "made", result.ride.road.name)])
    reply(wanted, "climb", inputs, result, [loaded], tables={"trace.csv": frame_writer(result.ride)})


def _answer_find(
    loaded: LoadedBuild, wanted: options.Wanted, find: str, road: str | None, named: Road | None,
    grade: float | None, length: float | None, speed: float | None, quick: bool,
) -> None:  # fmt: skip
    from ridesim.studies.climb import road_of
    from ridesim.studies.way_out import Question, expected_rides, way_out, with_chances, with_others

    cruise = speed or loaded.build.rider.cruise_speed_km_h
    ridden = road_of(named, grade, length)
    asked = Question(loaded, ridden, cruise, rolling_start=named is None)
    say_if_compiling(loaded)
    with progress("riding each value", expected_rides()) as done:
        found = with_others(way_out(find, asked, done), asked)
        found = found if quick else with_chances(found, asked)
    from ridesim.report.climb.way_out import verdict_of, view
    from ridesim.report.plain import as_plain

    figures = {name: value for name, value in vars(found).items() if name not in ("tried", "others", "best_chances")}
    figures["best_chances"] = [each.plain() for each in found.best_chances]
    figures["others"] = [as_plain(replace(each, tried=())) for each in found.others]
    lists = ("stops", "near")
    tried = [vars(one) | {"stops": list(one.stops), "near": list(one.near)} for one in found.tried]
    best = None if found.best is None else vars(found.best)
    inputs = inputs_of([loaded], [(road or "made", ridden.name)])
    answer(
        wanted,
        envelope("climb_find", inputs, verdict=verdict_of(found), **(figures | {"best": best, "tried": tried})),
        lambda pictures: view(found, loaded, ridden, wanted.units, pictures=pictures),
        [loaded],
        pictures=("winding-by-value",),
        tables={"tried.csv": csv_writer([{**one, **{key: "; ".join(one[key]) for key in lists}} for one in tried])},
    )


def _answer_map(
    loaded: LoadedBuild, wanted: options.Wanted, points: int | None, steepest: float | None,
    fastest: float | None, charge: float | None,
) -> None:  # fmt: skip
    from ridesim.studies.climb_map import POINTS, STEEPEST_PERCENT, climb_map
    from ridesim.studies.steady import HALF_CHARGE

    if loaded.build.second is not None:
        _refuse_for("two different drives", map=points, steepest=steepest, fastest=fastest)
        _answer_both(loaded, wanted, HALF_CHARGE if charge is None else to_si(charge, "percent"))
        return
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

    rating = csv_writer([vars(each) for each in result.rating])
    tables = {"map.csv": frame_writer(result), "rating.csv": rating}
    reply(wanted, "climb_map", inputs_of([loaded], []), result, [loaded], tables=tables)


def _answer_both(loaded: LoadedBuild, wanted: options.Wanted, charge: float) -> None:
    """Ride round grades and speeds with two different drives, in place of the map."""
    from ridesim.report.climb.both import view
    from ridesim.studies.held_by_both import held_by_both

    say_if_compiling(loaded)
    with progress("climbing") as done:
        spots = held_by_both(loaded, charge, done=done)
    rows = [vars(one) for one in spots]
    answer(
        wanted,
        envelope("climb_both", inputs_of([loaded], []), charge_fraction=charge, spots=rows),
        lambda pictures: view(spots, loaded, charge, wanted.units, pictures=pictures),
        [loaded],
        tables={"spots.csv": csv_writer(rows)},
    )
