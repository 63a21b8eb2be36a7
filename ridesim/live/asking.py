"""What a page asks beside the ride: how sure it is, the other questions behind the same bike, and pages to keep."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from ridesim.errors import RideError
from ridesim.live.riding import headline_text, headlines_of
from ridesim.live.state import Shelf, State, command_of

if TYPE_CHECKING:
    from ridesim.report.view import View

Done = Callable[[int], None]
Ask = Callable[[Shelf, State, Done], dict[str, Any]]

MAP_POINTS = 40
"""Points a side of a page's climb map: quick enough to be waited for."""


def sure(shelf: Shelf, state: State, done: Done) -> dict[str, Any]:
    """Ride on until empty, and ride bikes like this one: range, spans, chances and the verdict with them."""
    from ridesim.report.ride.plain import ride_figures, sure_figures
    from ridesim.report.spread.beside import sure_words
    from ridesim.report.text import range_words
    from ridesim.ride.range import outlook_of
    from ridesim.ride.simulate import simulate
    from ridesim.sure.beside import beside_with_range
    from ridesim.sure.gear_setting import with_gear_chances

    ride = simulate(shelf.build(state), shelf.road(state))
    outlook = with_gear_chances(ride, outlook_of(ride))
    told = beside_with_range(ride, outlook.range_km, done)
    names = headlines_of(ride)
    spans = {} if told is None else {name: told.span(name) for name in names if name in told.drawn.names}
    return {
        "figures": ride_figures(ride, outlook) | sure_figures(ride, told),
        "range_text": headline_text("range_km", outlook.range_km) or "no end",
        "range_words": range_words(outlook, "metric"),
        "spans": {name: [headline_text(name, end) for end in ends] for name, ends in spans.items() if ends is not None},
        "sure_words": "" if told is None else sure_words(told),
    }


def page(shelf: Shelf, state: State, done: Done) -> dict[str, Any]:
    """Make the same page of the ride as `ridesim ride --report`."""
    from ridesim.report.page import page_text
    from ridesim.report.ride.view import view
    from ridesim.ride.range import outlook_of
    from ridesim.ride.simulate import simulate
    from ridesim.sure.beside import beside_with_range
    from ridesim.sure.gear_setting import with_gear_chances

    ride = simulate(shelf.build(state), shelf.road(state))
    outlook = with_gear_chances(ride, outlook_of(ride))
    shown = view(ride, outlook, told=beside_with_range(ride, outlook.range_km, done))
    return {"page": page_text(shown, (ride.loaded,), shlex.join(command_of(state)), _inputs(shelf, state))}


def dossier(shelf: Shelf, state: State, done: Done) -> dict[str, Any]:
    """Make the same document as `ridesim dossier --report`."""
    from ridesim.report.dossier.chapters import chapters
    from ridesim.report.dossier.page import dossier_text, title_of

    loaded, road = shelf.build(state), shelf.road(state)
    command, found = shlex.join(command_of(state, "dossier")), chapters(loaded, road, done=done)
    return {"page": dossier_text(title_of(loaded, road), found, loaded, command, _inputs(shelf, state))}


def _inputs(shelf: Shelf, state: State) -> dict[str, Any]:
    import hashlib

    place = shelf.folder.road(state.road)
    return {"road": {"path": state.road, "sha256": hashlib.sha256(place.read_bytes()).hexdigest()}}


def _climb_map(shelf: Shelf, state: State, done: Done) -> View:
    from ridesim.report.climb.both import held_view
    from ridesim.report.climb.view import map_view
    from ridesim.studies.climb_map import climb_map

    loaded = shelf.build(state)
    if loaded.build.second is not None:
        return held_view(loaded)
    return map_view(climb_map(loaded, points=MAP_POINTS, done=done))


def _ratios(shelf: Shelf, state: State, done: Done) -> View:
    from ridesim.report.ratios.view import view
    from ridesim.studies.ratios import ratios

    return view(ratios(shelf.build(state), shelf.road(state), done=done))


def _range(shelf: Shelf, state: State, done: Done) -> View:
    from ridesim.report.reach.view import view
    from ridesim.studies.reach import reach

    return view(reach(shelf.build(state), shelf.road(state), done=done))


def _regen(shelf: Shelf, state: State, done: Done) -> View:
    from ridesim.report.regen.view import view
    from ridesim.studies.regen import regen

    return view(regen(shelf.build(state), shelf.road(state), done=done))


def _check(shelf: Shelf, state: State, _: Done) -> View:
    from ridesim.report.check.view import view
    from ridesim.workshop.check.sheet import check_build

    return view(check_build(shelf.build(state), shelf.road(state)))


def _belt(shelf: Shelf, state: State, _: Done) -> View:
    from ridesim.report.belt.view import view
    from ridesim.report.one_drive import of_one_drive
    from ridesim.workshop.belt.design import Judging
    from ridesim.workshop.belt.of_build import drive_of_build, with_build
    from ridesim.workshop.loads import CLIMB_GRADE_PERCENT, CLIMB_MIN, ride_of

    ride = ride_of(shelf.build(state), shelf.road(state), CLIMB_GRADE_PERCENT, CLIMB_MIN)
    return of_one_drive(
        ride, lambda loaded, loads: view(drive_of_build(loaded, loads, with_build(Judging(), loaded))), "belt"
    )


def _road(shelf: Shelf, state: State, _: Done) -> View:
    from ridesim.report.road.view import view
    from ridesim.road.account import road_account

    road = shelf.road(state)
    return view(road, road_account(road))


VIEWS: Mapping[str, Callable[[Shelf, State, Done], View]] = {
    "map": _climb_map, "ratios": _ratios, "range": _range, "regen": _regen, "check": _check, "belt": _belt,
    "road": _road,
}  # fmt: skip
"""Questions that a page shows as their command does."""
PAGES: Mapping[str, Ask] = {"page": page, "dossier": dossier}
"""Pages to keep."""
KINDS = ("sure", *VIEWS, *PAGES)


def ask(kind: str, shelf: Shelf, state: State, done: Done) -> dict[str, Any]:
    """Answer one question. Raises RidesimError."""
    if kind == "sure":
        return sure(shelf, state, done)
    if kind in PAGES:
        return PAGES[kind](shelf, state, done)
    if kind not in VIEWS:
        raise RideError("page", "asks an unknown question", "reload it")
    from ridesim.report.page import fragment_text

    shown = VIEWS[kind](shelf, state, done)
    return {"title": shown.title, "html": fragment_text(shown)}
