"""`ridesim road`: what was read from a road and what was cleaned."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from ridesim.cli import options
from ridesim.cli.output import answering, envelope, print_json, say, show, to_json
from ridesim.cli.writing import whole_file, write_all

if TYPE_CHECKING:
    from ridesim.road.profile import Road

EXAMPLE = "Example: ridesim road routes/valley-commute.gpx --out rides/commute-road"


def register(app: typer.Typer) -> None:
    """Add the command to the app."""
    app.command("road", epilog=EXAMPLE, no_args_is_help=True)(road)


@answering
def road(
    file: options.RoadFile,
    flat: options.Flat = False,
    smooth: options.Smooth = None,
    as_it_is: options.AsItIs = False,
    out: options.Out = None,
    report: options.Report = None,
    as_json: options.Json = False,
    units: options.UnitSystem = options.Units.metric,
) -> None:
    """Show what was read from ROAD and what was cleaned: length, climb before and after smoothing, steepest stretch."""
    from ridesim.cli.ride import file_hash
    from ridesim.road.account import road_account
    from ridesim.road.load import load_road

    read = load_road(file, smoothing_m=smooth, flat=flat, as_it_is=as_it_is)
    figures = road_account(read)
    payload = envelope("road", {"road": {"path": file, "sha256": file_hash(file)}}, **figures)
    if out is not None:
        written = write_all(out, road_files(read, payload, units.value))
        say(f"wrote {len(written)} files to {out}")
    if report is not None:
        from ridesim.report.page import write_page
        from ridesim.report.road.view import view

        with whole_file(report) as place:
            write_page(place, view(read, figures, units.value), (), payload["command"], payload["inputs"], units.value)
        say(f"wrote {report}")
    if as_json:
        print_json(payload)
        return
    from ridesim.report.road.text import road_text

    show(road_text(read, figures, units.value))


def road_files(read: Road, payload: dict[str, Any], units: str) -> dict[str, Any]:
    """Return what `--out` writes: file name -> writer(path)."""
    from ridesim.report.ride.figures import save
    from ridesim.report.road.figure import draw_road

    return {
        "road.json": lambda path: path.write_text(to_json(payload) + "\n", encoding="utf-8"),
        "road.png": lambda path: save(draw_road(read, units=units), path),
    }
