"""`ridesim mount`: does what holds the drive hold?"""

from __future__ import annotations

from ridesim.cli import given, options
from ridesim.cli.answer import answer
from ridesim.cli.output import command, envelope

EXAMPLE = (
    "Example: ridesim mount configs/longtail-two-stage.toml routes/ridge-climb.gpx --set mount.joint.kind=clamp "
    "--set mount.wheel_pulley.bolts=6"
)


@command("mount", EXAMPLE)
def mount(
    build: options.BuildFile,
    road: given.OptionalRoad = None,
    grade: given.Grade = None,
    minutes: given.Minutes = None,
    drive: given.OfDrive = None,
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Judge what holds BUILD's drive: shaft, pulley joint, bolts, arms and bracket, at the peak and for good."""
    loaded, ridden, inputs = given.load_pair(build, road, set_, reading, both=True)
    loaded, loads = given.ridden_drive(loaded, ridden, grade, minutes, drive)
    given.name_climb(inputs, ridden, grade, minutes)
    from ridesim.report.mount.plain import mount_figures
    from ridesim.report.mount.view import view
    from ridesim.workshop.mount.sheet import check_mount

    result = check_mount(loaded, loads)
    payload = envelope("mount", inputs, **mount_figures(result))
    pictures = ("safeties",) if result.parts else ()
    answer(wanted, payload, lambda drawn: view(result, wanted.units, pictures=drawn), [loaded], pictures=pictures)
