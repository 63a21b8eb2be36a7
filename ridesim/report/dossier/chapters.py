"""The chapters of a dossier: each rides what it needs, and shows the view of its command."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from ridesim.bike.load import LoadedBuild
from ridesim.errors import RidesimError
from ridesim.report.view import Table, View
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.profile import Road
from ridesim.workshop.check.sheet import CheckSheet, check_build

Done = Callable[[int], None]
MAP_POINTS = 40
"""Points a side of the climb map: enough for a page."""
DRAWS = 256


class Chapter(NamedTuple):
    """One chapter: its place in the address, its name in the contents, and what it shows."""

    id: str
    name: str
    view: View


@dataclass(frozen=True, eq=False)
class Asked:
    """A bike on a road: ridden once and checked once for all chapters."""

    loaded: LoadedBuild
    road: Road
    ride: Ride
    sheet: CheckSheet
    units: str
    done: Done


def chapters(loaded: LoadedBuild, road: Road, units: str = "metric", done: Done | None = None) -> tuple[Chapter, ...]:
    """Return every chapter in order; one that has nothing to say of this bike says why. `done(1)` after each ride.

    Raises RidesimError only where the bike cannot be ridden at all.
    """
    tell = done or (lambda _: None)
    asked = Asked(loaded, road, simulate(loaded, road), check_build(loaded, road), units, tell)
    return tuple(Chapter(name, words, _shown(words, make, asked)) for name, words, make in CHAPTERS)


def _shown(words: str, make: Callable[[Asked], View], asked: Asked) -> View:
    try:
        return make(asked)
    except RidesimError as error:
        return View(words, "", (f"Nothing to say here: {error}.",))


def _ride(asked: Asked) -> View:
    from ridesim.report.ride.view import view
    from ridesim.ride.range import outlook_of
    from ridesim.sure.beside import beside
    from ridesim.sure.gear_setting import with_gear_chances

    outlook = with_gear_chances(asked.ride, outlook_of(asked.ride))
    return view(asked.ride, outlook, asked.units, told=beside(asked.ride, done=asked.done))


def _spread(asked: Asked) -> View:
    from ridesim.report.showing import ABOUT
    from ridesim.report.spread.view import view
    from ridesim.sure.spread import spread

    found = spread(asked.loaded, asked.road, samples=DRAWS, with_indices=False, done=asked.done)
    return view(found, ABOUT, asked.units)


def _map(asked: Asked) -> View:
    from ridesim.report.climb.both import held_view
    from ridesim.report.climb.view import map_view
    from ridesim.studies.climb_map import climb_map

    if asked.loaded.build.second is not None:
        return held_view(asked.loaded, asked.units)
    return map_view(climb_map(asked.loaded, points=MAP_POINTS, done=asked.done), asked.units)


def _ratios(asked: Asked) -> View:
    from ridesim.report.ratios.view import view
    from ridesim.studies.ratios import ratios

    return view(ratios(asked.loaded, asked.road, done=asked.done), asked.units)


def _check(asked: Asked) -> View:
    from ridesim.report.check.view import view

    return view(asked.sheet, asked.units)


def _belts(asked: Asked) -> View:
    from ridesim.report.belt.view import view
    from ridesim.report.one_drive import of_one_drive
    from ridesim.workshop.belt.design import Judging
    from ridesim.workshop.belt.of_build import drive_of_build, with_build

    return of_one_drive(
        asked.ride,
        lambda loaded, loads: view(drive_of_build(loaded, loads, with_build(Judging(), loaded)), asked.units),
        "belt",
    )


def _mount(asked: Asked) -> View:
    from ridesim.report.mount.view import view
    from ridesim.report.one_drive import of_one_drive
    from ridesim.workshop.mount.sheet import check_mount

    return of_one_drive(asked.ride, lambda loaded, loads: view(check_mount(loaded, loads), asked.units), "mount")


def _wire(asked: Asked) -> View:
    from ridesim.report.wire.view import view

    return view(asked.sheet.harness, asked.units)


def _pack(asked: Asked) -> View:
    """What the pack is, and every verdict on its cells."""
    from ridesim.report.workshop_words import finding_row
    from ridesim.studies.compare import pack_energy_wh
    from ridesim.workshop.limits import worst_verdict
    from ridesim.workshop.pack.design import SAFETY, nominal_cell_v

    pack, cell, words = asked.loaded.build.pack, asked.loaded.build.pack.cell, ("cell", "charge", "cold", "reserve")
    found = [each for each in asked.sheet.findings if each.name.startswith(words) or each.name == "overcharge"]
    said = [(each.verdict, each.reason.rstrip(".")) for each in found]
    verdict, reason = worst_verdict(said, "every cell is within its limits")
    volts = (nominal_cell_v(cell.max_voltage_v), cell.max_voltage_v, cell.min_voltage_v)
    nominal, full, empty = (each * pack.series for each in volts)
    rows = (
        ("cells", f"{pack.series} in series x {pack.parallel} in parallel, {pack.cells} of {cell.name}"),
        ("voltage", f"{nominal:.1f} V nominal, {full:.1f} V full, {empty:.1f} V empty under load"),
        ("capacity", f"{pack.parallel * cell.capacity_ah:.1f} Ah, {pack_energy_wh(asked.loaded.build):.0f} Wh"),
        ("rating", f"{pack.parallel * cell.max_discharge_a:.0f} A lasting, {pack.parallel * cell.max_charge_a:.1f} A "
         "while charging"),
        ("mass", f"{pack.mass_kg:.1f} kg"),
    )  # fmt: skip
    held = Table(
        "Verdicts on the cells",
        ("what", "verdict", "figure", "limit"),
        tuple(finding_row(f, asked.units) for f in found),
    )
    return View("The pack", "What is it, and do its cells bear the ride?", (f"{reason}.",), verdict,
                (Table("The pack in figures", ("", ""), rows), held), notes=SAFETY)  # fmt: skip


def _law(asked: Asked) -> View:
    from ridesim.report.law.view import view

    return view(asked.sheet.law, asked.units)


CHAPTERS: tuple[tuple[str, str, Callable[[Asked], View]], ...] = (
    ("ride", "The ride", _ride),
    ("sure", "How sure it is", _spread),
    ("hold", "What it holds for ever", _map),
    ("ratios", "The ratio", _ratios),
    ("check", "The check sheet", _check),
    ("belts", "Belts", _belts),
    ("mount", "What holds the drive", _mount),
    ("leads", "Leads, fuse and pre-charge", _wire),
    ("pack", "The pack", _pack),
    ("law", "Legal classes", _law),
)
