"""`ridesim launch`: how quick?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from ridesim.cli import options
from ridesim.cli.answer import frame_writer, inputs_of, number_list, reply
from ridesim.cli.output import command, say_if_compiling

if TYPE_CHECKING:
    pass

EXAMPLE = "Example: ridesim launch configs/longtail-belt.toml --to 25 --to 45 --grades 0,5,10,15"
_PANEL = "Launch"


@command("launch", EXAMPLE)
def launch(
    build: options.BuildFile,
    to: Annotated[
        list[float] | None, options.choice("--to", "KM_H", "Time from rest to this speed (25 and 45).", _PANEL)
    ] = None,
    grades: Annotated[
        str, options.choice("--grades", "PERCENT,...", "Grades of the road-load curves.", _PANEL)
    ] = "0,3,6,10,15,20",
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Start BUILD from rest: times to speed, top speed, steepest start, and its pull against the road's resistance."""
    from ridesim.bike.load import load_build
    from ridesim.studies.launch import TO_KM_H
    from ridesim.studies.launch import launch as ask

    steep = number_list("--grades", grades, "grades")
    loaded = load_build(build, options.overrides(set_))
    say_if_compiling(loaded)
    result = ask(loaded, to_km_h=to or TO_KM_H, grades_percent=steep)

    tables = {"pull.csv": frame_writer(result), "trace.csv": frame_writer(result.run_up)}
    reply(wanted, "launch", inputs_of([loaded], []), result, [loaded], tables=tables)
