"""A belt drive as words, tables and pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridesim.report.text import shown
from ridesim.report.view import Table, View
from ridesim.workshop.belt.design import BeltDrive, StagePage

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.workshop.belt import PulleyPair

SKIP_WORDS = (
    "The tooth-skip margin is an estimate (common practice, no source): a tooth can climb only once the slack side is "
    "empty."
)
SOURCE_WORDS = (
    "Allowed pull and teeth in mesh: SDP/SI, Handbook of Timing Belts, table 3 and section 13.3; service factor: "
    "section 24. The cautious width rule is ISO 5295 from memory. Stock lengths are from memory: ask the supplier."
)


def view(result: BeltDrive, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer about a belt drive; lengths and forces are metric in every system of units."""
    guesses = [
        f"{page.name}: the distance of the shafts is not given, {page.stage.centre_mm:.0f} mm is a guess."
        for page in result.stages
        if page.centre_guessed
    ]
    return View(
        title=result.title,
        question=f"{result.layout.capitalize()}, loaded by: {result.loaded_by}. Does the belt carry it?",
        answer=(f"{result.reason}.", *_advice(result)),
        verdict=result.verdict,
        tables=tuple(_tables(result)),
        figures=_figures(result) if pictures else (),
        notes=(*guesses, SOURCE_WORDS, *((SKIP_WORDS,) if _has_ride(result) else ()), *result.cautions),
    )


def pairs_view(pairs: tuple[PulleyPair, ...], ratio: float, centre_mm: float, belt: str) -> View:
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
            f"{each.outside_diameter_driven_mm:.1f} mm",
        )
        for each in found
    )
    head = ("teeth", "ratio", "error", "belt teeth", "in mesh", "large pulley")
    return View(
        title=f"Pulley pairs for {ratio:g} to 1 at {centre_mm:g} mm",
        question=f"Which {belt} pulleys give the ratio with six teeth or more in mesh?",
        answer=(f"{first}; {len(pairs)} pairs within 5 % mesh with six teeth or more.",),
        tables=(Table("The nearest", head, rows),) if rows else (),
        notes=(SOURCE_WORDS,),
    )


def _has_ride(result: BeltDrive) -> bool:
    return result.series_ride is not None or any(page.skip is not None for page in result.stages)


def _advice(result: BeltDrive) -> list[str]:
    lines = []
    for page in result.stages:
        t = page.check.tensions
        lines.append(
            f"{page.name}: {page.stage.teeth_driver} to {page.stage.teeth_driven} teeth of {page.stage.belt}. Tension "
            f"it to {t.pretension_n:.0f} N a span ({t.shaft_load_at_rest_n:.0f} N on the shaft at rest). It bears "
            f"{page.check.allowed_torque_nm:.1f} N·m at its driving pulley, service factor included."
        )
    if result.series is not None:
        lines += list(result.series.warnings)
        lines.append(f"A pre-tension of {result.series.needed_pretension_n:.0f} N keeps every span tight.")
    if result.joined is not None:
        lines.append(f"The first motor's shaft bears {result.joined.first_motor_shaft_load_n:.0f} N from both belts.")
    if result.two_stages is not None:
        two = result.two_stages
        lines.append(f"{two.ratio:.2f} to 1 in all; the jackshaft bears {two.jackshaft_load_n:.0f} N.")
    return lines


def _tables(result: BeltDrive) -> list[Table]:
    tables = []
    if result.stages:
        tables += [_geometry(result.stages), _forces(result.stages), _stock(result.stages)]
    if any(page.skip for page in result.stages):
        tables.append(_skips(result.stages))
    if result.series is not None:
        tables += _series(result)
    if result.fit is not None:
        tables.append(_fit(result))
    return tables


def _by_stage(title: str, pages: tuple[StagePage, ...], rows: list[tuple[str, list[str]]]) -> Table:
    return Table(title, ("", *(page.name for page in pages)), tuple((name, *cells) for name, cells in rows))


def _geometry(pages: tuple[StagePage, ...]) -> Table:
    shapes = [page.check.geometry for page in pages]
    return _by_stage("Where the belt runs", pages, [
        ("belt", [f"{page.stage.belt}, {page.stage.width_mm:g} mm" for page in pages]),
        ("teeth", [f"{page.stage.teeth_driver} to {page.stage.teeth_driven}" for page in pages]),
        ("ratio", [f"{each.ratio:.3f}" for each in shapes]),
        ("pitch diameters", [
            f"{each.pitch_diameter_driver_mm:.2f} and {each.pitch_diameter_driven_mm:.2f} mm" for each in shapes]),
        ("shafts apart", [f"{each.centre_mm:.2f} mm" for each in shapes]),
        ("belt length", [f"{each.belt_length_mm:.2f} mm ({each.belt_teeth:.2f} teeth)" for each in shapes]),
        ("wrap, small pulley", [f"{each.wrap_small_deg:.1f}°" for each in shapes]),
        ("teeth in mesh", [f"{each.teeth_in_mesh:.1f}" for each in shapes]),
        ("kept by the mesh", [f"{page.check.capacity.mesh_factor:.0%}" for page in pages]),
    ])  # fmt: skip


def _forces(pages: tuple[StagePage, ...]) -> Table:
    tensions = [page.check.tensions for page in pages]
    rows = [
        ("torque, driver", [f"{page.torque_nm:.2f} N·m at {page.speed_rpm:.0f} rpm" for page in pages]),
        ("belt speed", [f"{each.belt_speed_m_per_s:.1f} m/s" for each in tensions]),
        ("effective pull", [f"{each.effective_pull_n:.0f} N" for each in tensions]),
        ("tight, slack side", [f"{each.tight_side_n:.0f} and {each.slack_side_n:.0f} N" for each in tensions]),
        ("pre-tension", [f"{each.pretension_n:.0f} N" for each in tensions]),
        ("centrifugal", [f"{each.centrifugal_tension_n:.1f} N" for each in tensions]),
        ("shaft load", [f"{each.shaft_load_n:.0f} N" for each in tensions]),
        ("allowed pull", [f"{page.check.capacity.allowed_pull_n:.0f} N" for page in pages]),
        ("allowed, cautious", [f"{page.check.capacity.allowed_pull_cautious_n:.0f} N" for page in pages]),
        ("service factor", [f"{page.check.service_factor:.2g}" for page in pages]),
        ("safety factor, peak", [f"{page.check.safety_factor:.2f}" for page in pages]),
    ]
    if any(page.sustained for page in pages):
        lasting = [f"{page.sustained.safety_factor:.2f}" if page.sustained else "-" for page in pages]
        rows.append(("safety factor, lasting", lasting))
    return _by_stage("What it carries at the peak", pages, rows)


def _stock(pages: tuple[StagePage, ...]) -> Table:
    rows = tuple(
        (page.name, str(each.teeth), f"{each.length_mm:.0f} mm", f"{each.centre_mm:.2f} mm",
         f"{each.centre_change_mm:+.2f} mm")
        for page in pages
        for each in page.stock
    )  # fmt: skip
    return Table("Nearest stock belts", ("", "teeth", "length", "shafts apart", "change"), rows)


def _skips(pages: tuple[StagePage, ...]) -> Table:
    rows = tuple(
        (
            page.name,
            page.skip.verdict,
            f"{page.skip.worst_slack_side_margin:.2f}",
            f"{page.skip.worst_tooth_load_margin:.2f}",
            f"{page.skip.worst_at_s:.0f} s",
            f"{page.skip.share_of_time_below_one:.1%}",
        )
        for page in pages
        if page.skip is not None
    )
    head = ("", "verdict", "slack side", "tooth load", "worst at", "time below 1")
    return Table("Tooth-skip margin along the ride (1 is the limit)", head, rows)


def _series(result: BeltDrive) -> list[Table]:
    check, ride = result.series, result.series_ride
    if check is None:
        return []
    lowest = dict(zip(ride.span_names, ride.span_lowest_n, strict=True)) if ride else {}
    spans = tuple(
        (
            span.name,
            f"{span.length_mm:.1f} mm",
            f"{span.tension_n:.0f} N",
            f"{lowest[span.name]:.0f} N" if ride else "-",
        )
        for span in check.spans
    )
    loads = tuple(
        (each.name, f"{each.wrap_deg:.0f}°", f"{each.teeth_in_mesh:.1f}", f"{each.pull_n:.0f} N",
         f"{each.allowed_pull_n:.0f} N", f"{each.safety_factor:.2f}")
        for each in check.pulleys
    )  # fmt: skip
    belt = f"belt {check.belt_length_mm:.1f} mm ({check.belt_teeth:.2f} teeth), pre-tension {check.pretension_n:.0f} N"
    return [
        Table(f"Spans: {belt}", ("span", "length", "at the peak", "lowest on the ride"), spans),
        Table("Pulleys", ("pulley", "wrap", "in mesh", "pull", "allowed", "safety factor"), loads),
    ]


def _fit(result: BeltDrive) -> Table:
    fit = result.fit
    if fit is None:
        return Table("", (), ())
    rows = (
        ("pitch diameter", f"{fit.pitch_diameter_mm:.1f} mm"),
        ("over the teeth", f"{fit.outside_diameter_mm:.1f} mm"),
        ("over belt and flanges", f"{fit.outermost_diameter_mm:.1f} mm"),
        ("room to frame or rim", shown(fit.clearance_mm, "mm")),
        ("room to the ground", shown(fit.ground_clearance_mm, "mm", digits=0)),
        ("most teeth that fit", str(fit.largest_teeth_that_fits)),
        ("verdict", fit.verdict),
    )
    return Table("Does the wheel pulley fit?", ("", "wheel pulley"), rows)


def _figures(result: BeltDrive) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.belt.figure import draw_layout, draw_pull

    found = [("The drive to scale, seen from the belt's side", draw_layout(result))]
    if any(page.skip for page in result.stages):
        found.append(("Pull of each belt along the ride, and what it may carry", draw_pull(result)))
    return tuple(found)
