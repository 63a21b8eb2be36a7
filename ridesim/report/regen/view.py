"""Words of "what is regen worth?"."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridesim.engine.state import Stop
from ridesim.report.digits import significant_digits
from ridesim.report.spread.common import against, difference_words
from ridesim.report.study_words import AS_IT_STANDS, all_destinations, destinations
from ridesim.report.text import shown
from ridesim.report.view import Table, View
from ridesim.ride.bounds import STOP_WORDS
from ridesim.ride.limits import FINE
from ridesim.units import told as in_units

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.studies.regen import Regen, RegenCase, RegenSide

BRAKES_WORDS = (
    "Regen replaces no brake: with a full or a cold pack, a hot motor or a fault the motor brakes less or not at all. "
    "Keep two sound friction brakes."
)
JUMP_WORDS = (
    "A range ends where the last hill is too much for the pack, so it jumps by whole hills; the energy used is the "
    "steadier measure of what regen saves."
)
SAME_KM = 0.05
TENTHS_BELOW_WH = 20.0
"""Ranges closer than this read alike [km]."""
BRAKES_A = 40.0
"""A braking current to try, where the motor drives with as much: a winding is not asked for more (guess)."""
LITTLE_BRAKING_SHARE = 0.01
"""Braking energy to energy drawn, below which a road has nothing for regen to work with (guess)."""


PACK_ENDS = tuple(STOP_WORDS[stop] for stop in (Stop.PACK_EMPTY, Stop.LOW_VOLTAGE))


def view(result: Regen, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer to "what is regen worth?" as words and tables, and pictures where they are wanted."""
    title = f"What is regen worth to {result.loaded.build.name} on {result.road.name}?"
    if result.impossible:
        return View(
            title=title,
            question="Can it regenerate at all?",
            answer=(*_judged(result, units), f"No. {result.impossible}", *_what_is_braked(result)),
            verdict=result.verdict.word,
            tables=(_impossible_table(result, units),),
            notes=(AS_IT_STANDS, *(in_units(each, units) for each in result.warnings)),
        )
    own = result.cases[0]
    return View(
        title=title,
        question="The same road with and without regen, once and then until the pack is empty.",
        answer=(
            *_judged(result, units),
            _worth(own, units),
            *_sure_words(result, units),
            _went(own),
            *_pads(own),
            *_other_start(result),
            *_freewheel(result, units),
        ),
        verdict=result.verdict.word,
        heeds_chances=result.common is not None,
        tables=(_with_without(result, units), _where_table(result)),
        figures=_figures(result, units) if pictures else (),
        notes=(
            *(() if result.common is not None else (AS_IT_STANDS,)),
            BRAKES_WORDS,
            JUMP_WORDS,
            *_rating(result, units),
            *(in_units(each, units) for each in result.warnings),
        ),
    )


def _figures(result: Regen, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.regen.figure import draw_along, draw_where

    return (
        ("Where the braking energy of one ride over the road went", draw_where(result)),
        ("Energy returned, and energy lost in the friction brakes, along the road", draw_along(result, units)),
    )


def _what_is_braked(result: Regen) -> tuple[str, ...]:
    side = result.without
    if side.friction_wh <= LITTLE_BRAKING_SHARE * side.drawn_wh:
        return ("It would not matter here: this road asks for next to no braking.",)
    lines = [
        f"On this road the brakes turn {_wh(side.friction_wh)} Wh into heat, {side.friction_wh / side.drawn_wh:.0%} of "
        f"what the pack gives ({side.drawn_wh:.0f} Wh): no regen can return more than that."
    ]
    build = result.loaded.build
    key = f"controller.brake_current_limit_a={min(BRAKES_A, build.controller.motor_current_limit_a):g}"
    if build.second is not None:
        lines.append(
            "To see what a fixed drive would return, name the one that is to brake: --set drive.coupling=fixed --set "
            f"{key}, or the same keys behind `second.` (a fixed drive also drags)."
        )
    elif build.drive.coupling == "freewheel":
        lines.append(
            f"To see what a fixed drive would return: --set drive.coupling=fixed --set {key} (a fixed drive also drags "
            "when it coasts)."
        )
    else:
        lines.append(f"To see what it would return: --set {key}.")
    return tuple(lines)


def _impossible_table(result: Regen, units: str) -> Table:
    side = result.without
    rows = (
        ("drawn from the pack", f"{side.drawn_wh:.1f} Wh"),
        ("into the friction brakes", f"{side.friction_wh:.1f} Wh"),
        ("energy", shown(side.net_wh_per_km, "wh_per_km", units)),
        ("range", _far(side, units)),
    )
    return Table("The ride as it is", ("", "without regen"), rows)


def _far(side: RegenSide, units: str) -> str:
    return "no end" if side.range_km is None else shown(side.range_km, "km", units)


def _wh(energy_wh: float) -> str:
    """An energy in a sentence: two figures at least, three at most; the tables have its tenths."""
    return f"{energy_wh:z.{0 if abs(energy_wh) >= TENTHS_BELOW_WH else 1}f}"


def _judged(result: Regen, units: str) -> tuple[str, ...]:
    """Return the reason of the ride's verdict where it is not fine: what regen is worth comes after it."""
    if result.verdict.word == FINE:
        return ("The ride itself is fine.",) if result.impossible else ()
    first = in_units(result.verdict.reasons[0], units)
    return (first if result.without.finished else f"{first} So far:",)


def _apart(km: float, units: str) -> str:
    """A difference of two ranges, to two figures as `ride` tells it: it is no surer than that."""
    return shown(abs(km), "km", units, significant_digits(abs(km), "km", units, 1, 2))


def _worth(case: RegenCase, units: str) -> str:
    side = case.with_regen
    line = f"Regen returns {_wh(side.returned_wh)} of {side.drawn_wh:.0f} Wh drawn ({case.returned_fraction:.0%})"
    if case.gained_km is None:
        return f"{line}; the pack outlasts the patience, so no range is gained."
    if abs(case.gained_km) < SAME_KM:
        return f"{line} and leaves the range as it is: {side.range_ended_by}."
    share = "" if case.gained_fraction is None else f" ({case.gained_fraction:+.0%})"
    far = _apart(case.gained_km, units)
    line += f" and adds {far} of range{share}" if case.gained_km > 0.0 else f"; the range is {far} shorter{share}"
    if side.range_ended_by not in PACK_ENDS:
        line += f" (no empty pack ends it: {side.range_ended_by})"
    if case.without.net_wh_per_km > 0.0:
        saved = 1.0 - side.net_wh_per_km / case.without.net_wh_per_km
        line += f"; the same distance takes {saved:.0%} less from the pack"
    return line + "."


def _sure_words(result: Regen, units: str) -> tuple[str, ...]:
    """Return how far the saving may be off."""
    if result.common is None:
        return ()
    told = [difference_words(one, units) for one in against(result.common, ("net_energy_wh",))]
    return tuple(told)


def _went(case: RegenCase) -> str:
    if case.braking_wh <= LITTLE_BRAKING_SHARE * max(case.with_regen.drawn_wh, 1.0):
        return f"There is little to win: the road asks for {max(case.braking_wh, 0.0):.1f} Wh of braking in all."
    share = case.motor_braking_wh / case.braking_wh
    line = f"Of {_wh(case.braking_wh)} Wh of braking at the wheels the motor takes {share:.0%}"
    if case.causes:
        first = case.causes[0]
        line += f"; what stops it most is {first.words} ({_wh(first.friction_wh)} Wh to the friction brakes)"
    return line + "."


def _pads(case: RegenCase) -> tuple[str, ...]:
    if case.without.friction_wh < 0.1:
        return ()
    return (f"The brake pads take {_wh(case.pads_saved_wh)} Wh less a ride, {case.pads_saved_fraction:.0%} less.",)


def _other_start(result: Regen) -> tuple[str, ...]:
    full, room = sorted(result.cases, key=lambda case: -case.start_charge_fraction)
    lost = room.with_regen.returned_wh - full.with_regen.returned_wh
    head = f"Starting at {full.start_charge_fraction:.0%} of charge"
    no_room = next((cause.friction_wh for cause in full.causes if cause.cause == "full_pack"), 0.0)
    if no_room <= 0.0:
        return (f"{head} costs nothing here: by the first long braking there is room in the pack.",)
    return (
        f"{head}, {_wh(no_room)} Wh go to the friction brakes for want of room: "
        f"{_wh(full.with_regen.returned_wh)} Wh return, against {_wh(room.with_regen.returned_wh)} Wh from "
        f"{room.start_charge_fraction:.0%} ({lost:+.1f} Wh).",
    )


def _freewheel(result: Regen, units: str) -> tuple[str, ...]:
    own = result.cases[0].with_regen.range_km
    if result.freewheel_range_km is None or own is None:
        return ()
    better = own - result.freewheel_range_km
    same = "The same bike with a freewheel (no regen, no drag when coasting)"
    far = f"{same} goes {shown(result.freewheel_range_km, 'km', units)}"
    if abs(better) < SAME_KM:
        return (f"{far}, no more and no less.",)
    return (f"{far}: {_apart(better, units)} {'less' if better > 0.0 else 'more'}.",)


def _rating(result: Regen, units: str) -> tuple[str, ...]:
    pack = result.loaded.build.pack
    rating = pack.parallel * pack.cell.max_charge_a
    return (
        f"Charging is held to {result.charge_limit_a:.0f} A for the whole pack; the cells' rating is {rating:.0f} A. "
        f"More ages them; below {shown(0.0, 'c', units, 0)} lithium plates out.",
    )


def _with_without(result: Regen, units: str) -> Table:
    head = [""]
    sides: list[RegenSide] = []
    for case in result.cases:
        head += [f"with, from {case.start_charge_fraction:.0%}", "without"]
        sides += [case.with_regen, case.without]
    rows = (
        ("drawn from the pack", *(f"{side.drawn_wh:.1f} Wh" for side in sides)),
        ("returned to the pack", *(f"{side.returned_wh:.1f} Wh" for side in sides)),
        ("energy", *(shown(side.net_wh_per_km, "wh_per_km", units) for side in sides)),
        ("into the friction brakes", *(f"{side.friction_wh:.1f} Wh" for side in sides)),
        ("range on this road", *(_far(side, units) for side in sides)),
    )
    return Table("With and without regen", tuple(head), rows)


def _where_table(result: Regen) -> Table:
    head = ("Wh", *(f"from {case.start_charge_fraction:.0%}" for case in result.cases))
    found = [destinations(case) for case in result.cases]
    rows = [
        (name, *(_share(each.get(name, 0.0), case.braking_wh) for each, case in zip(found, result.cases, strict=True)))
        for name in all_destinations(result)
    ]
    nothing = ("(motor braked, nothing returned: low speed or mere drag)",)
    rows.insert(2, (*nothing, *(_share(case.nothing_returned_wh, case.braking_wh) for case in result.cases)))
    rows.append(("all braking at the wheels", *(_share(case.braking_wh, case.braking_wh) for case in result.cases)))
    return Table("Where the braking energy went", head, tuple(rows))


def _share(value: float, total: float) -> str:
    return f"{value:.1f} ({value / total:.0%})" if total > 0.0 else f"{value:.1f}"
