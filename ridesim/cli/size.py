"""`ridesim size`: which motor?"""

from __future__ import annotations

from typing import Annotated

from ridesim.cli import given, options
from ridesim.cli.answer import number_list, reply, text_writer
from ridesim.cli.output import command, progress, say_if_compiling
from ridesim.report.plain import as_plain

EXAMPLE = "Example: ridesim size --mass-kg 145 --top-speed-km-h 32 --hill 9,4 --range-km 45 --wheel tyre-26-inch-wide"
HILL = ("PERCENT", "KM")
_WISH, _BIKE = "Wish", "Bike"


@command("size", EXAMPLE)
def size(
    mass_kg: Annotated[float, options.choice("--mass-kg", "KG", "Rider, bicycle and load, without the drive.", _WISH)],
    top_speed_km_h: Annotated[
        float, options.choice("--top-speed-km-h", "KM_H", "On the level, with 30 % of charge left.", _WISH)
    ],
    hill: Annotated[str, options.choice("--hill", ",".join(HILL), "Steepest hill and its length.", _WISH)],
    range_km: Annotated[float, options.choice("--range-km", "KM", "Distance on one charge, the hill once.", _WISH)],
    hill_speed: Annotated[float, options.choice("--hill-speed", "KM_H", "Speed wanted on the hill.", _WISH)] = 15.0,
    cruise: Annotated[
        float | None,
        options.choice("--cruise", "KM_H", "Speed of the range ride (else four fifths of the top).", _WISH),
    ] = None,
    wheel: Annotated[
        str, options.choice("--wheel", "PART_OR_MM", "Tyre part, or rolled length in mm.", _BIKE)
    ] = "tyre-26-inch-wide",
    rider_power: Annotated[float, options.choice("--rider-power", "W", "Pedal power.", _BIKE)] = 75.0,
    drag_area: Annotated[float, options.choice("--drag-area", "M2", "CdA of rider and bicycle.", _BIKE)] = 0.559,
    voltages: Annotated[
        str, options.choice("--voltages", "V,...", "Pack voltages to answer for.", _BIKE)
    ] = "36,48,60,72",
    cell: Annotated[str, options.choice("--cell", "PART", "Cell part for the pack.", _BIKE)] = "cell-18650-nmc-energy",
    motors: Annotated[
        int | None,
        options.choice("--motors", "1|2", "Alike, on one shaft.  [default: two only where one does not do]", _BIKE),
    ] = None,
    gears: Annotated[
        int | None,
        options.choice("--gears", "COUNT", "Of a gear hub; 1: none.  [default: only where one ratio fails]", _BIKE),
    ] = None,
    heaviest_motor: Annotated[
        float | None, options.choice("--heaviest-motor-kg", "KG", "No heavier motor is tried.", _BIKE)
    ] = None,
    temperature_c: Annotated[float, options.choice("--temperature-c", "C", "Air of the day.", _BIKE)] = 25.0,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Find the lightest motor, its reduction, Kv, current limits and pack for a wish, by riding candidates."""
    from ridesim.bike.load import build_from_dict
    from ridesim.workshop.size.pack import build_text
    from ridesim.workshop.size.parts import wheel_of
    from ridesim.workshop.size.sizing import expected_steps, size_drive
    from ridesim.workshop.size.wish import Wish

    percent, length = given.numbers("--hill", hill, HILL)
    rolled, rolling = wheel_of(wheel)
    wish = Wish(
        mass_kg, top_speed_km_h, percent, length, range_km, rolled, hill_speed, cruise, rider_power, drag_area,
        rolling, temperature_c, tuple(dict.fromkeys(number_list("--voltages", voltages, "voltages"))), cell,
        tuple(options.overrides(set_).items()), motors, gears, heaviest_motor,
    )  # fmt: skip
    say_if_compiling()
    with progress("riding candidates", expected_steps(wish)) as done:
        result = size_drive(wish, done)
    leans = [build_from_dict(pack.build, where=pack.build["name"]) for pack in [result.usual_pack] if pack]
    builds = {f"proposal-{pack.nominal_voltage_v:g}v.toml": text_writer(build_text(pack)) for pack in result.packs}
    for number, (_, pack) in enumerate(result.others, 1):
        builds[f"another-way-{number}-{pack.nominal_voltage_v:g}v.toml"] = text_writer(build_text(pack))
    reply(wanted, "size", {"wish": as_plain(wish)}, result, leans, tables=builds)
