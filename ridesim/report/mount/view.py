"""What holds the drive, as words, a table and a picture."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ridesim.report.view import Table, View
from ridesim.report.workshop_words import list_table
from ridesim.ride.judge import FINE
from ridesim.units import shown, told
from ridesim.workshop.mount.parts import Part
from ridesim.workshop.mount.sheet import MountSheet

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SOURCE_WORDS = (
    "Shaft: bending and torsion by distortion energy, for good by the Goodman line (Shigley, chapters 6 and 7). "
    "Screws: VDI 2230, grade 8.8, the least preload of a torque wrench (a share of 1/1.6). Press fit: Lame. Clamps: "
    "two lines of contact. Strengths are the least usual ones; for good a joint that grips is asked for twice, bolts "
    "for one and a half times what lasts (guesses)."
)
LEFT_OUT = (
    "Left out: bearings (`ridesim belt`), welds, frame tubes, rim spokes, corrosion, knocks, crashes and vibration. "
    "Numbers do not replace somebody qualified who looks at the parts."
)
MANY = 100.0
"""Safeties above this are told as more than this."""


def view(result: MountSheet, units: str = "metric", *, pictures: bool = True) -> View:
    """Return what holds the drive: the verdict, every part with its safeties, what is not stated."""
    troubled = [each for each in result.findings if each.verdict != FINE]
    first, *others = result.reasons
    answer = [f"{told(first, units)}.", *(f"{told(each, units)}." for each in others)]
    lesser = [each for each in troubled if each.verdict != result.verdict]
    answer += [f"{each.verdict}: {told(each.reason, units)}." for each in lesser]
    cures = dict.fromkeys((each.subject, each.cure) for each in troubled if each.cure)
    answer += [f"to do for the {part.removeprefix('the ')}: {told(cure, units)}." for part, cure in cures]
    answer += [f"Not judged: {told(each, units)}." for each in result.unstated]
    tables = (_loads(result, units), _parts(result), _made(result, units, wrapped=not pictures))
    return View(
        title=result.title,
        question=f"Do shaft, joint, bolts, arms and bracket hold what the ride ({result.ridden}) asks of them?",
        answer=tuple(answer),
        verdict=result.verdict,
        tables=tuple(each for each in tables if each.rows),
        figures=_figures(result) if pictures else (),
        notes=tuple(told(note, units) for note in (*result.notes, SOURCE_WORDS, LEFT_OUT, *result.cautions)),
    )


def safety_words(value: float | None) -> str:
    """Return a safety in words: two digits, more would be a lie."""
    if value is None:
        return "-"
    return f"more than {MANY:.0f}" if value > MANY or not math.isfinite(value) else f"{value:.2g}"


def _loads(result: MountSheet, units: str) -> Table:
    asked = result.loads
    rows = [
        ("torque at the motor's shaft", asked.motor_torque_nm, asked.lasting_motor_torque_nm, "nm", 1),
        ("torque behind the last stage", asked.wheel_torque_nm, asked.lasting_wheel_torque_nm, "nm", 0),
    ]
    if asked.pull is not None:
        rows.append(("pull on the motor's shaft", asked.pull.side_load_n, asked.pull.lasting_side_load_n, "n", 0))
    made = tuple(
        (words, shown(peak, unit, units, n), shown(last, unit, units, n)) for words, peak, last, unit, n in rows
    )
    return Table("What the ride asks", ("", "at the peak", "a minute long"), made)


def _parts(result: MountSheet) -> Table:
    rows = tuple(
        (each.name, safety_words(each.safety_peak), safety_words(each.safety_lasting)) for each in result.parts
    )
    return Table("Safety of each part (1 is just enough)", ("part", "at the peak", "for good"), rows)


def _made(result: MountSheet, units: str, *, wrapped: bool) -> Table:
    texts = [told(f"{part.name}: {part.what}{_gives(part)}", units) for part in result.parts]
    return list_table("How each part is made", "part and size", texts, wrapped=wrapped)


def _gives(part: Part) -> str:
    return "" if part.gives_mm is None else f"; the pull bends it by {part.gives_mm:.1f} mm"


def _figures(result: MountSheet) -> tuple[tuple[str, Figure], ...]:
    if not result.parts:
        return ()
    from ridesim.report.mount.figure import draw_safeties

    return (("How many times over each part holds; the line is just enough", draw_safeties(result)),)
