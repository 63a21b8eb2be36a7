"""How the commands that answer a question end: text, JSON, files and a page, all made of one result."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ridesim.cli.options import Wanted
from ridesim.cli.output import command_line, envelope, on_terminal, print_json, say, show, to_json
from ridesim.cli.writing import whole_file, write_all
from ridesim.errors import RideError
from ridesim.harmless import harmless

if TYPE_CHECKING:
    from ridesim.answers import Answer
    from ridesim.bike.load import LoadedBuild
    from ridesim.report.view import View

Draft = Callable[[bool], "View"]
"""Makes the view of an answer; True asks for its pictures too."""
Writer = Callable[[Path], object]


def answer(
    wanted: Wanted,
    payload: Mapping[str, Any],
    draft: Draft,
    builds: Iterable[LoadedBuild],
    *,
    pictures: Sequence[str] = (),
    tables: Mapping[str, Writer] | None = None,
) -> None:
    """Write the files and the page that were asked for, then print the answer as text or as JSON.

    `pictures` names the view's pictures in order, as files; `tables` are further files: name -> writer(path). Every
    answer says how much of its builds is default or estimate, and the JSON carries each note that is printed.
    """
    builds = tuple(builds)
    drawn = _drawn(draft, builds) if wanted.out is not None or wanted.report is not None else None
    shown = drawn if drawn is not None else _leaning(draft(False), builds)
    payload = {**payload, "leans_on": _counted(builds), "notes": list(shown.notes)}
    if wanted.out is not None and drawn is not None:
        files = {**answer_files(payload, drawn, pictures), **(tables or {})}
        written = write_all(wanted.out, files)
        say(f"wrote {len(written)} files to {wanted.out}")
    if wanted.report is not None and drawn is not None:
        from ridesim.report.page import write_page

        with whole_file(wanted.report) as place:
            write_page(place, drawn, builds, command_line(), payload["inputs"], wanted.units)
        say(f"wrote {wanted.report}")
    if wanted.as_json:
        print_json(payload)
        return
    from ridesim.report.view import view_text

    show(view_text(shown))


def reply(
    wanted: Wanted,
    kind: str,
    inputs: Mapping[str, Any],
    result: Any,
    builds: Iterable[LoadedBuild],
    *,
    table: str | None = None,
    tables: Mapping[str, Writer] | None = None,
    more: tuple[Any, ...] | None = None,
) -> None:
    """Answer as `report.showing` shows this kind of result: its figures, view and pictures.

    `table`: the file of its main table, beside `tables`. `more`: what figures and view are told beside the result,
    in place of what showing has for them.
    """
    from ridesim.report.showing import shown

    how = shown(result, more)
    payload = envelope(kind, inputs, **how.figures())
    main = {} if table is None or wanted.out is None else {table: csv_writer(how.way.rows(result))}
    answer(
        wanted,
        payload,
        partial(how.view, wanted.units),
        builds,
        pictures=how.pictures,
        tables={**main, **(tables or {})},
    )


def text_writer(text: str) -> Writer:
    """Return a writer of a text."""
    return lambda path: path.write_text(text, encoding="utf-8")


def frame_writer(result: Answer) -> Writer:
    """Return a writer of the main table of an answer, numbers in six digits."""
    return lambda path: result.to_frame().to_csv(path, index=False, float_format="%.6g")


def _drawn(draft: Draft, builds: Sequence[LoadedBuild]) -> View:
    """The view with its pictures; a person at a terminal sees what it is at."""
    if on_terminal(sys.stderr):
        say("drawing the pictures ...")
    return _leaning(draft(True), builds)


def _leaning(view: View, builds: Sequence[LoadedBuild]) -> View:
    from ridesim.report.numbers import leans_words
    from ridesim.report.study_words import AS_IT_STANDS

    wanted = view.verdict and builds and not view.heeds_chances and AS_IT_STANDS not in view.notes
    stands = (AS_IT_STANDS,) if wanted else ()
    return replace(view, notes=(*view.notes, *stands, *(leans_words(loaded) for loaded in builds)))


def _counted(builds: Sequence[LoadedBuild]) -> list[dict[str, Any]]:
    from ridesim.report.numbers import leans_on

    return [{"build": loaded.build.name, **leans_on(loaded)} for loaded in builds]


def answer_files(payload: Mapping[str, Any], drawn: View, pictures: Sequence[str]) -> dict[str, Writer]:
    """Return what `--out` writes for every answer: file name -> writer(path)."""
    from ridesim.report.style import save
    from ridesim.report.view import view_text

    files: dict[str, Writer] = {
        "answer.txt": lambda path: path.write_text(harmless(view_text(drawn)) + "\n", encoding="utf-8"),
        "answer.json": lambda path: path.write_text(to_json(payload) + "\n", encoding="utf-8"),
    }
    for name, (_, figure) in zip(pictures, drawn.figures, strict=False):
        files[f"{name}.png"] = partial(save, figure)
    return files


def csv_writer(rows: Sequence[Mapping[str, Any]]) -> Writer:
    """Return a writer of rows with the same keys as a CSV table; the keys carry the units."""

    def write(path: Path) -> None:
        """Write the rows into a file."""
        import csv

        with path.open("w", newline="", encoding="utf-8") as sink:
            table = csv.DictWriter(sink, fieldnames=list(rows[0]) if rows else [])
            table.writeheader()
            table.writerows({name: _no_formula(value) for name, value in row.items()} for row in rows)

    return write


def _no_formula(value: Any) -> Any:
    """Return a cell that no spreadsheet runs: a word, perhaps a stranger's, that begins like a formula is quoted."""
    if not isinstance(value, str) or len(value) < 2 or not value.startswith(("=", "+", "-", "@", "\t", "\r")):
        return value
    try:
        float(value)
    except ValueError:
        return f"'{value}"
    return value


def inputs_of(builds: Iterable[LoadedBuild], roads: Iterable[tuple[str, str]]) -> dict[str, Any]:
    """Return the inputs as every answer's head states them; `roads` are (path, name)."""
    from ridesim.cli.ride import file_hash

    return {
        "builds": [{"path": each.path, "sha256": each.sha256, "name": each.build.name} for each in builds],
        "roads": [{"path": path, "sha256": file_hash(path), "name": name} for path, name in roads],
    }


def number_list(where: str, text: str, what: str = "numbers") -> tuple[float, ...]:
    """Return numbers separated by commas. Raises RideError."""
    try:
        return tuple(float(piece) for piece in text.split(",") if piece.strip())
    except ValueError:
        raise RideError(where, f"{text!r} is not a list of {what}", "write them with commas, e.g. 15,20,25") from None
