"""`ridesim road`: what was read from a road and what was cleaned."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.cli import options
from ridesim.cli.output import command, envelope, print_json, say, show, to_json
from ridesim.cli.writing import whole_file, write_all

if TYPE_CHECKING:
    from ridesim.road.profile import Road

EXAMPLE = "Example: ridesim road routes/valley-commute.gpx --out rides/commute-road"


@command("road", EXAMPLE)
def road(
    file: options.RoadFile,
    reading: options.Reading = options.PLAIN_READING,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Show what was read from ROAD and what was cleaned: length, climb before and after smoothing, steepest stretch."""
    from ridesim.cli.ride import file_hash
    from ridesim.road.account import road_account

    read = reading.load(file)
    figures = road_account(read)
    payload = envelope("road", {"road": {"path": file, "sha256": file_hash(file)}}, **figures)
    if wanted.out is not None:
        written = write_all(wanted.out, road_files(read, payload, wanted.units))
        say(f"wrote {len(written)} files to {wanted.out}")
    if wanted.report is not None:
        from ridesim.report.page import write_page
        from ridesim.report.road.view import view

        with whole_file(wanted.report) as place:
            page = view(read, figures, wanted.units)
            write_page(place, page, (), payload["command"], payload["inputs"], wanted.units)
        say(f"wrote {wanted.report}")
    if wanted.as_json:
        print_json(payload)
        return
    from ridesim.report.road.text import road_text

    show(road_text(read, figures, wanted.units))


def road_files(read: Road, payload: dict[str, Any], units: str) -> dict[str, Any]:
    """Return what `--out` writes: file name -> writer(path)."""
    from ridesim.report.road.figure import draw_road
    from ridesim.report.style import save

    return {
        "road.json": lambda path: path.write_text(to_json(payload) + "\n", encoding="utf-8"),
        "road.png": lambda path: save(draw_road(read, units=units), path),
    }
