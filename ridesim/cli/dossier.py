"""`ridesim dossier`: the whole bike in one document."""

from __future__ import annotations

from ridesim.cli import options
from ridesim.cli.answer import inputs_of
from ridesim.cli.output import command, command_line, envelope, print_json, progress, say, say_if_compiling, show
from ridesim.cli.writing import refuse_page, whole_file, write_all
from ridesim.report.plain import to_json

EXAMPLE = "Example: ridesim dossier configs/longtail-two-stage.toml routes/ridge-climb.gpx --report whole-bike.html"
EXPECTED_RIDES = 3000
"""Some: two spreads, a climb map, ratios."""


@command("dossier", EXAMPLE)
def dossier(
    build: options.BuildFile,
    road: options.RoadFile,
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Put BUILD's ride over ROAD, spans, climb map, ratios, checks, belts, leads, pack and law into one document."""
    from ridesim.bike.load import load_build
    from ridesim.report.dossier.chapters import chapters
    from ridesim.report.dossier.page import contents_view, dossier_text, title_of
    from ridesim.report.view import view_text

    if wanted.report is not None:
        refuse_page(wanted.report)
    loaded = load_build(build, options.overrides(set_))
    ridden = reading.load(road)
    say_if_compiling(loaded)
    with progress("riding for every chapter", EXPECTED_RIDES) as done:
        found = chapters(loaded, ridden, wanted.units, done)
    inputs, title = inputs_of([loaded], [(road, ridden.name)]), title_of(loaded, ridden)
    contents = contents_view(title, found)
    payload = envelope(
        "dossier", inputs, verdict=contents.verdict,
        chapters=[
            {"chapter": each.id, "title": each.view.title, "verdict": each.view.verdict,
             "answer": list(each.view.answer), "notes": list(each.view.notes)}
            for each in found
        ],
    )  # fmt: skip
    text = dossier_text(title, found, loaded, command_line(), inputs, wanted.units)
    if wanted.out is not None:
        files = {
            "dossier.json": lambda path: path.write_text(to_json(payload) + "\n", encoding="utf-8"),
            "dossier.html": lambda path: path.write_text(text, encoding="utf-8"),
        }
        say(f"wrote {len(write_all(wanted.out, files))} files to {wanted.out}")
    if wanted.report is not None:
        with whole_file(wanted.report) as place:
            place.write_text(text, encoding="utf-8")
        say(f"wrote {wanted.report}")
    if wanted.as_json:
        print_json(payload)
        return
    show(view_text(contents))
