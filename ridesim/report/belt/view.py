"""A belt drive as words, tables and pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridesim.report.view import Table, View
from ridesim.ride.limits import FINE
from ridesim.units import from_si, shown, told
from ridesim.workshop.belt.design import BeltDrive, StagePage
from ridesim.workshop.belt.tables import belt_type
from ridesim.workshop.belt.tension import tensioner_words
from ridesim.workshop.belt.way_out import ways_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.workshop.belt.fit import PulleyPair
    from ridesim.workshop.belt.layout import SharedShaft

SKIP_WORDS = (
    "The tooth-skip margin is an estimate (common practice, no source): a tooth can climb only once the slack side is "
    "empty."
)
SOURCE_WORDS = (
    "Allowed pull and teeth in mesh: SDP/SI, Handbook of Timing Belts, table 3 and section 13.3, narrow belts weakened "
    "after ISO 5295 (from memory); service factor: section 24. Least teeth and stock lengths are from memory: ask the "
    "supplier."
)
SETTING_WORDS = (
    "Setting: a plucked span sounds as a string does, f = sqrt(T/m)/(2 L) (Mersenne), its mass from memory: weigh "
    "your belt. Pressed in by 1/64 of its length a span pushes back with T/16 (statics; the rule is the SDP/SI "
    "handbook's, from memory). Measure cold, turn the wheel, measure again; check after the first rides."
)
SHAFT_WORDS = (
    "Shafts by estimate: bending of a turning steel shaft (Shigley, chapter 6) and ball bearing life (ISO 281), with "
    "steel, notch and bearing guessed."
)


def view(result: BeltDrive, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer about a belt drive; a belt keeps the name it is sold by (profile and width in mm)."""
    guesses = [
        f"{page.name}: the distance of the shafts is not given, {page.stage.centre_mm:.0f} mm is a guess."
        for page in result.stages
        if page.centre_guessed
    ]
    skip = (SKIP_WORDS,) if _has_ride(result) else ()
    notes = (*guesses, SOURCE_WORDS, SETTING_WORDS, SHAFT_WORDS, *skip, *result.cautions)
    return View(
        title=result.title,
        question=f"{result.layout.capitalize()}, loaded by: {result.loaded_by}. Does the belt carry it?",
        answer=(f"{told(result.reason, units)}.", *(told(line, units) for line in _advice(result))),
        verdict=result.verdict,
        tables=tuple(_tables(result, units)),
        figures=_figures(result, units) if pictures else (),
        notes=tuple(told(note, units) for note in notes),
    )


def pairs_view(pairs: tuple[PulleyPair, ...], ratio: float, centre_mm: float, belt: str, units: str = "metric") -> View:
    """Return the list of pulley pairs near a wanted ratio."""
    found = pairs[:12]
    first = f"{found[0].teeth_driver} to {found[0].teeth_driven} teeth comes nearest" if found else "No pair fits"
    rows = tuple(
        (
            f"{each.teeth_driver} to {each.teeth_driven}",
            f"{each.ratio:.3f}",
            f"{each.ratio_error_percent:+.1f} %",
            f"{each.belt_teeth:.1f}",
            f"{each.teeth_in_mesh:.1f}",
            _length(each.outside_diameter_driven_mm, units, 1),
        )
        for each in found
    )
    head = ("teeth", "ratio", "error", "belt teeth", "in mesh", "large pulley")
    return View(
        title=f"Pulley pairs for {ratio:g} to 1 at {_length(centre_mm, units, 1)}",
        question=f"Which {belt} pulleys give the ratio with six teeth or more in mesh?",
        answer=(f"{first}; {len(pairs)} pairs within 5 % mesh with six teeth or more.",),
        tables=(Table("The nearest", head, rows),) if rows else (),
        notes=(SOURCE_WORDS,),
    )


def _has_ride(result: BeltDrive) -> bool:
    return result.series_ride is not None or any(page.skip is not None for page in result.stages)


def _advice(result: BeltDrive) -> list[str]:
    lines = [*result.remarks, *(line for page in result.stages for line in _stage_advice(page))]
    if result.series is not None:
        lines += list(result.series.warnings)
        which = "First belt: " if result.stages else ""
        lines.append(
            f"{which}{result.series.needed_pretension_n:.0f} N a span at rest keeps every span tight; the belt bears "
            f"{result.series.most_pretension_n:.0f} N."
        )
    if result.joined is not None:
        lines.append(_shared_words("the first motor's shaft", result.joined.first_motor_shaft, "--between-deg"))
    if result.two_stages is not None:
        two = result.two_stages
        lines.append(f"{two.ratio:.2f} to 1 in all; {_shared_words('the jackshaft', two.jackshaft, '--turn-deg')}")
    lines += [f"{each.name}: {each.reason}." for each in result.shafts if each.verdict == "fine"]
    return [*lines, tensioner_words(result.brakes)]


def _stage_advice(page: StagePage) -> list[str]:
    t, window, setting = page.check.tensions, page.check.tension_window, page.check.setting
    fits = window.least_n <= window.most_n
    span = f"{window.least_n:.0f} to {window.most_n:.0f} N would do" if fits else "no tension suits this pull"
    what = f"{page.name}: {page.stage.teeth_driver} to {page.stage.teeth_driven} teeth of {page.stage.belt}, "
    if page.check.tension_suits:
        tension = f"at {t.pretension_n:.0f} N a span at rest ({span}; {t.shaft_load_at_rest_n:.0f} N on the shaft)"
        sign = (
            f"{setting.frequency_hz:.0f} Hz when plucked, or {setting.deflection_force_n:.1f} N on the middle of the "
        )
        how = f"Set {page.name} by its note: {sign}span press it in by {setting.deflection_mm:.1f} mm."
    else:
        tension, how = f"at {t.pretension_n:.0f} N a span at rest, which does not suit ({span})", ""
    bears = f"It bears {page.check.allowed_torque_nm:.1f} N·m at its driving pulley, service factor included."
    to_do = "" if page.check.verdict == FINE else ways_words(page.stage, page.torque_nm, page.speed_rpm)
    return [f"{what}{tension}. {bears}", *([how] if how else []), *([f"To do: {to_do}."] if to_do else [])]


def _shared_words(name: str, shaft: SharedShaft, option: str) -> str:
    if shaft.angle_deg is None:
        return (
            f"{name} bears {shaft.least_n:.0f} to {shaft.most_n:.0f} N by how the belts lie (say {option}); the most "
            f"is taken."
        )
    return (
        f"{name} bears {shaft.load_n:.0f} N with the belts at {shaft.angle_deg:g}° ({option}); "
        f"one belt alone {shaft.least_n:.0f} N."
    )


def _length(value_mm: float, units: str, digits: int = 2) -> str:
    return shown(value_mm, "mm", units, digits + 1 if units == "imperial" else digits)


def _force(value_n: float, units: str, digits: int = 0) -> str:
    return shown(value_n, "n", units, digits)


def _tables(result: BeltDrive, units: str) -> list[Table]:
    tables = []
    if result.stages:
        tables += [
            _geometry(result.stages, units), _forces(result.stages, units), _setting(result.stages, units),
            _stock(result.stages, units),
        ]  # fmt: skip
    if any(page.skip for page in result.stages):
        tables.append(_skips(result.stages))
    if result.series is not None:
        tables += _series(result, units)
    if result.shafts:
        tables.append(_shafts(result, units))
    if result.fit is not None:
        tables.append(_fit(result, units))
    return tables


def _by_stage(title: str, pages: tuple[StagePage, ...], rows: list[tuple[str, list[str]]]) -> Table:
    return Table(title, ("", *(page.name for page in pages)), tuple((name, *cells) for name, cells in rows))


def _geometry(pages: tuple[StagePage, ...], units: str) -> Table:
    shapes = [page.check.geometry for page in pages]
    return _by_stage("Where the belt runs", pages, [
        ("belt", [f"{page.stage.belt}, {page.stage.width_mm:g} mm" for page in pages]),
        ("teeth", [f"{page.stage.teeth_driver} to {page.stage.teeth_driven}" for page in pages]),
        ("least teeth", [str(belt_type(page.stage.belt).least_teeth) for page in pages]),
        ("ratio", [f"{each.ratio:.3f}" for each in shapes]),
        ("pitch diameter, driver", [_length(each.pitch_diameter_driver_mm, units) for each in shapes]),
        ("pitch diameter, driven", [_length(each.pitch_diameter_driven_mm, units) for each in shapes]),
        ("shafts apart", [_length(each.centre_mm, units) for each in shapes]),
        ("belt length", [_length(each.belt_length_mm, units) for each in shapes]),
        ("belt teeth", [f"{each.belt_teeth:.2f}" for each in shapes]),
        ("wrap, small pulley", [f"{each.wrap_small_deg:.1f}°" for each in shapes]),
        ("teeth in mesh", [f"{each.teeth_in_mesh:.1f}" for each in shapes]),
        ("kept by the mesh", [f"{page.check.capacity.mesh_factor:.0%}" for page in pages]),
    ])  # fmt: skip


def _forces(pages: tuple[StagePage, ...], units: str) -> Table:
    tensions = [page.check.tensions for page in pages]
    rows = [
        ("torque, driver", [shown(page.torque_nm, "nm", units, 2) for page in pages]),
        ("at", [f"{page.speed_rpm:.0f} rpm" for page in pages]),
        ("belt speed", [shown(each.belt_speed_m_per_s, "m_per_s", units) for each in tensions]),
        ("pull", [_force(each.effective_pull_n, units) for each in tensions]),
        ("allowed", [_force(page.check.capacity.allowed_pull_n, units) for page in pages]),
        ("service factor", [f"{page.check.service_factor:.2g}" for page in pages]),
        ("safety factor, peak", [f"{page.check.safety_factor:.2f}" for page in pages]),
    ]
    if any(page.sustained for page in pages):
        lasting = [f"{page.sustained.safety_factor:.2f}" if page.sustained else "-" for page in pages]
        rows.append(("safety factor, lasting", lasting))
    rows += [
        ("tight side", [_force(each.tight_side_n, units) for each in tensions]),
        ("slack side", [_force(each.slack_side_n, units) for each in tensions]),
        ("centrifugal", [_force(each.centrifugal_tension_n, units, 1) for each in tensions]),
        ("shaft load", [_force(each.shaft_load_n, units) for each in tensions]),
    ]
    return _by_stage("What it carries at the peak", pages, rows)


def _setting(pages: tuple[StagePage, ...], units: str) -> Table:
    settings = [page.check.setting for page in pages]
    windows = [page.check.tension_window for page in pages]
    return _by_stage("How to tension it, at rest", pages, [
        ("tension of a span", [_force(each.pretension_n, units) for each in settings]),
        ("at least", [_force(each.least_n, units) for each in windows]),
        ("at most", [_force(each.most_n, units) for each in windows]),
        ("free span", [_length(each.span_mm, units, 1) for each in settings]),
        ("mass of a span", [f"{from_si(each.span_mass_kg_per_m, 'g_per_m'):.0f} g/m" for each in settings]
         if units == "metric" else [f"{_oz_per_ft(each.span_mass_kg_per_m):.2f} oz/ft" for each in settings]),
        ("note when plucked", [f"{each.frequency_hz:.0f} Hz" for each in settings]),
        ("press the middle in by", [_length(each.deflection_mm, units, 1) for each in settings]),
        ("with", [_force(each.deflection_force_n, units, 1) for each in settings]),
    ])  # fmt: skip


def _oz_per_ft(mass_kg_per_m: float) -> float:
    return 16.0 * from_si(mass_kg_per_m, "lb") / from_si(1.0, "ft")


def _stock(pages: tuple[StagePage, ...], units: str) -> Table:
    rows = tuple(
        (page.name, f"{each.length_mm:.0f}-{page.stage.belt.split()[0]}", str(each.teeth),
         _length(each.centre_mm, units, 1), _signed(each.centre_change_mm, units))
        for page in pages
        for each in page.stock
    )  # fmt: skip
    return Table("Nearest stock belts", ("", "belt", "teeth", "shafts apart", "change"), rows)


def _signed(value_mm: float, units: str) -> str:
    return ("+" if value_mm >= 0.0 else "") + _length(value_mm, units, 1)


def _skips(pages: tuple[StagePage, ...]) -> Table:
    ridden = [(page.name, page.skip) for page in pages if page.skip is not None]
    rows = (
        ("verdict", *(skip.verdict for _, skip in ridden)),
        ("slack side", *(f"{skip.worst_slack_side_margin:.2f}" for _, skip in ridden)),
        ("tooth load", *(f"{skip.worst_tooth_load_margin:.2f}" for _, skip in ridden)),
        ("worst at", *(f"{skip.worst_at_s:.0f} s" for _, skip in ridden)),
        ("time below 1", *(f"{skip.share_of_time_below_one:.1%}" for _, skip in ridden)),
    )
    return Table("Tooth-skip margin along the ride (1 is the limit)", ("", *(name for name, _ in ridden)), rows)


def _series(result: BeltDrive, units: str) -> list[Table]:
    check, ride = result.series, result.series_ride
    if check is None:
        return []
    lowest = dict(zip(ride.span_names, ride.span_lowest_n, strict=True)) if ride else {}
    spans = tuple(
        (
            span.name,
            _length(span.length_mm, units, 1),
            _force(span.tension_n, units),
            _force(lowest[span.name], units) if ride else "-",
            f"{setting.frequency_hz:.0f} Hz",
        )
        for span, setting in zip(check.spans, check.settings, strict=True)
    )
    loads = (
        ("wrap", *(f"{each.wrap_deg:.0f}°" for each in check.pulleys)),
        ("teeth in mesh", *(f"{each.teeth_in_mesh:.1f}" for each in check.pulleys)),
        ("pull", *(_force(each.pull_n, units) for each in check.pulleys)),
        ("allowed", *(_force(each.allowed_pull_n, units) for each in check.pulleys)),
        ("safety factor", *(f"{each.safety_factor:.2f}" for each in check.pulleys)),
        ("shaft load", *(_force(each.shaft_load_n, units) for each in check.pulleys)),
    )
    belt = (
        f"belt {_length(check.belt_length_mm, units, 1)} ({check.belt_teeth:.2f} teeth), "
        f"{_force(check.pretension_n, units)} a span at rest"
    )
    return [
        Table(f"Spans: {belt}", ("span", "length", "at the peak", "lowest on the ride", "note at rest"), spans),
        Table("Pulleys", ("", *(each.name for each in check.pulleys)), loads),
    ]


def _shafts(result: BeltDrive, units: str) -> Table:
    shafts = result.shafts
    limits = ("not known" if each.limit_n is None else _force(each.limit_n, units) for each in shafts)
    needed = (each.needed_diameter_mm for each in shafts)
    rows = (
        ("verdict", *(each.verdict if each.limit_from else "not judged" for each in shafts)),
        ("side load", *(_force(each.side_load_n, units) for each in shafts)),
        ("limit", *limits),
        ("limit from", *(each.limit_from or "-" for each in shafts)),
        ("outside its bearing", *(_length(each.overhang_mm, units, 1) for each in shafts)),
        ("diameter needed", *("-" if each is None else _length(each, units, 1) for each in needed)),
    )
    return Table("Side load on a motor's shaft", ("", *(each.name for each in shafts)), rows)


def _fit(result: BeltDrive, units: str) -> Table:
    fit = result.fit
    if fit is None:
        return Table("", (), ())
    rows = (
        ("pitch diameter", _length(fit.pitch_diameter_mm, units, 1)),
        ("over the teeth", _length(fit.outside_diameter_mm, units, 1)),
        ("over belt and flanges", _length(fit.outermost_diameter_mm, units, 1)),
        ("room to frame or rim", _length(fit.clearance_mm, units, 1)),
        ("room to the ground", _length(fit.ground_clearance_mm, units, 0)),
        ("most teeth that fit", str(fit.largest_teeth_that_fits)),
        ("verdict", fit.verdict),
    )
    return Table("Does the wheel pulley fit?", ("", "wheel pulley"), rows)


def _figures(result: BeltDrive, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.belt.figure import draw_layout, draw_pull

    found = [("The drive to scale, seen from the belt's side", draw_layout(result, units))]
    if any(page.skip for page in result.stages):
        found.append(("Pull of each belt along the ride, and what it may carry", draw_pull(result, units)))
    return tuple(found)
