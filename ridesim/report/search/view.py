"""Words of "which bike for my road?"."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from ridesim.report.search.figure import letter
from ridesim.report.text import duration, shown
from ridesim.report.view import Table, View
from ridesim.search.wanted import KNOWN
from ridesim.studies.ratio_choice import THUMB_KV
from ridesim.units import told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.search.found import Found, Member
    from ridesim.search.reasons import Miss, Relief
    from ridesim.search.wanted import Bound

LAW_WORDS = (
    "Local law decides what power and speed may be ridden on a public road; ridesim law holds the published rules."
)
CARE_WORDS = "Lithium cells, high currents, brakes and hot motors: whoever builds one of these checks it part by part."
DRAFT_WORDS = (
    "Every member was ridden in full, as `ridesim ride` rides it, and checked as `ridesim check` checks; draft rides "
    "only sorted out what is worse by more than they can be off."
)
MOST_ROWS = 12
BINDS = 0.1
"""A bound with less room than this share is called binding (guess)."""


def view(found: Found, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer of a search as words and tables, and a picture where one is wanted."""
    return View(
        title=f"Which bike for my road? {found.study.asked.goals.name}",
        question=_question(found, units),
        answer=_answer(found, units),
        verdict=_verdict(found),
        tables=_tables(found, units),
        figures=_figures(found, units) if pictures and len(found.cloud) else (),
        notes=(DRAFT_WORDS, CARE_WORDS, LAW_WORDS, *(told(each, units) for each in found.study.notes)),
    )


def _verdict(found: Found) -> str:
    if not found.members:
        return "stop"
    return found.members[found.knee].look.word


def _figures(found: Found, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.search.figure import draw_front

    words = "Every build that keeps all, and the front: nothing is better in one thing without being worse in another"
    return ((words, draw_front(found, units)),)


def _question(found: Found, units: str) -> str:
    study = found.study
    roads = " and ".join(road.name for road in study.roads)
    left = found.combinations - sum(count for _, count in found.removed)
    matters = ", ".join(each.words for each in study.matters)
    rides = f"{found.draft_rides:,} draft rides and {found.full_rides:,} full rides in {duration(found.seconds)}"
    how = f"cheap tests left {left:,}, {found.distinct:,} of them different to ride" if found.way == "all" else (
        "too many to ride all, so looked through by differential evolution")  # fmt: skip
    return (
        f"{found.combinations:,} combinations on {roads}: {how}; {rides}. What matters: {matters}. "
        f"{_holds(found, units)}"
    )


def _holds(found: Found, units: str) -> str:
    if not found.study.bounds:
        return "Nothing was asked to hold but what `ridesim check` holds."
    return f"What must hold: {'; '.join(bound_text(bound, units) for bound in found.study.bounds)}."


def bound_text(bound: Bound, units: str) -> str:
    """Return a ceiling or floor as people say it."""
    sure = "" if bound.certainty is None else f" in {bound.certainty:.0%} of bikes like it"
    return f"{bound.quantity.words} {bound.kind} {value_text(bound.what, bound.limit, units)}{sure}"


def value_text(name: str, value: float, units: str) -> str:
    """Return a quantity's value with its unit."""
    quantity = KNOWN[name]
    if name == "total_time_s":
        return duration(value)
    return shown(value, quantity.unit, units, quantity.digits) if quantity.unit else f"{value:.{quantity.digits}f}"


def difference_text(name: str, value: float, units: str) -> str:
    """Return a difference of a quantity with its unit: kelvin where the quantity is a temperature."""
    quantity = KNOWN[name]
    if quantity.unit == "c":
        return shown(value, "k", units)
    if name == "total_time_s":
        return duration(abs(value))
    digits = max(quantity.digits, 2 if abs(value) < 1.0 else 1 if abs(value) < 10.0 else 0)
    return shown(value, quantity.unit, units, digits) if quantity.unit else f"{value:.{digits}f}"


def made_of(labels: Mapping[str, str]) -> str:
    """Return what a build is made of, in one line."""
    return ", ".join(f"{name} {label}" for name, label in labels.items())


def _answer(found: Found, units: str) -> tuple[str, ...]:
    if not found.members:
        return _nothing(found, units)
    knee = found.members[found.knee]
    figures = ", ".join(f"{KNOWN[name].short} {value_text(name, value, units)}" for name, value in knee.figures.items())
    lines = [f"{letter(found.knee)} is the knee, nearest to the best of everything: {made_of(knee.labels)}: {figures}."]
    if found.front_size > 1:
        how_many = "all are shown" if found.front_size == len(found.members) else f"{len(found.members)} are shown"
        lines.append(f"The front has {found.front_size} builds, none better in everything; {how_many}.")
    lines += [_sure_words(knee), _binding_words(found, knee, units)]
    lines += [_relief_words(letter(found.knee), relief, units) for relief in knee.reliefs]
    lines.append(_thumb_words(found, units))
    if knee.look.word == "look again":
        lines.append(f"Look again at {letter(found.knee)}: {told(knee.look.reason, units)}.")
    return tuple(line for line in lines if line)


def _sure_words(member: Member) -> str:
    sure = member.certainty
    if sure is None:
        return ""
    share = f"{sure.not_stopped:.0%}"
    return f"Of {sure.draws} bikes like it within their tolerances {share} ride with nothing that stops them."


def _binding_words(found: Found, member: Member, units: str) -> str:
    if member.binding is None:
        return ""
    at, room = member.binding
    bound = found.study.ridden_bounds[at]
    left = f"{bound_text(bound, units)}, with {difference_text(bound.what, room, units)} of room"
    return f"What binds: {left}." if room <= BINDS * bound.scale else f"No bound is near; the nearest: {left}."


def _relief_words(name: str, relief: Relief, units: str) -> str:
    gains = [
        f"{difference_text(key, abs(change), units)} {'less' if change < 0.0 else 'more'} {KNOWN[key].short}"
        for key, change in relief.changes.items()
        if abs(change) > 0.0
    ]
    by = difference_text(relief.bound.what, relief.by, units)
    way = "more" if relief.bound.kind == "at most" else "less"
    head = f"{by} {way} {relief.bound.quantity.short} than allowed would give {name} {' and '.join(gains)}"
    return f"{head}: {made_of(relief.labels)}."


def _thumb_words(found: Found, units: str) -> str:
    knee, thumb = found.members[found.knee], found.thumb
    name = letter(found.knee)
    kv = f"Kv over ratio of {name} is, as on a usual wheel and pack, {knee.usual_kv:.1f} rpm/V"
    if thumb is None:
        return f"{kv}; the rule of thumb says about {THUMB_KV:g} (common practice, no source)."
    if thumb.is_knee:
        return (
            f"{kv}: of its pulleys the rule of thumb (about {THUMB_KV:g}; common practice, no source) takes the same."
        )
    pulleys = ", ".join(label for axis, label in thumb.labels.items() if axis.startswith("stage"))
    figures = ", ".join(f"{KNOWN[key].short} {value_text(key, value, units)}" for key, value in thumb.figures.items())
    came_to = f"it fails: {told(thumb.fault, units)}" if thumb.fault else figures
    return (
        f"{kv}. The rule of thumb (about {THUMB_KV:g}; common practice, no source) would have taken {pulleys} with its "
        f"parts ({thumb.usual_kv:.1f}): {came_to}."
    )


def _nothing(found: Found, units: str) -> tuple[str, ...]:
    lines = ["Nothing keeps all that was asked."]
    for miss in found.give_up:
        lines.append(f"{_give_words(miss, units)} The nearest build: {made_of(miss.labels)}.")
    if not found.give_up:
        lines += [
            f"{count:,} fall because: {told(name, units)}." for name, count in (*found.removed, *found.stops) if count
        ]
    lines += [f"{made_of(labels)}: {told(why, units)}." for labels, why in found.thrown_out[:3]]
    return tuple(lines)


def _give_words(miss: Miss, units: str) -> str:
    parts = [
        f"{bound.quantity.words} ({bound.kind} {value_text(bound.what, bound.limit, units)}) by "
        f"{difference_text(bound.what, over, units)}"
        for bound, over in miss.broken
    ]
    return (
        f"Give up {' and '.join(parts)}, and one does."
        if parts
        else "One keeps the bounds, but the last looks stop it."
    )


def _tables(found: Found, units: str) -> tuple[Table, ...]:
    made = [_front_table(found, units), _build_table(found), _relief_table(found, units), _never_table(found, units)]
    made += [_loser_table(found, units), _removed_table(found, units)]
    return tuple(table for table in made if table.rows)


def _front_table(found: Found, units: str) -> Table:
    shown_names = found.study.shown
    head = ("build", *(KNOWN[name].short for name in shown_names), "Kv/ratio", "not stopped", "check", "nearest bound")
    rows = []
    for place, member in enumerate(found.members):
        sure = "-" if member.certainty is None else f"{member.certainty.not_stopped:.0%}"
        bound = "-" if member.binding is None else found.study.ridden_bounds[member.binding[0]].quantity.short
        figures = (value_text(name, member.figures[name], units) for name in shown_names)
        mark = f"{letter(place)} (knee)" if place == found.knee else letter(place)
        rows.append((mark, *figures, f"{member.usual_kv:.1f}", sure, member.look.word, bound))
    return Table("The front", head, tuple(rows))


def _build_table(found: Found) -> Table:
    axes = [axis.name for axis in found.study.space.axes]
    rows = tuple((letter(at), *(each.labels[name] for name in axes)) for at, each in enumerate(found.members))
    return Table("What each is made of", ("build", *axes), rows)


def _relief_table(found: Found, units: str) -> Table:
    rows = []
    for place, member in enumerate(found.members):
        for relief in member.reliefs:
            gains = ", ".join(
                f"{KNOWN[key].short} {'-' if change < 0.0 else '+'}{difference_text(key, abs(change), units)}"
                for key, change in relief.changes.items()
                if abs(change) > 0.0
            )
            by = difference_text(relief.bound.what, relief.by, units)
            rows.append((letter(place), relief.bound.quantity.short, by, gains))
    return Table("What giving up a bound a little would gain", ("build", "bound", "by", "gain"), tuple(rows))


def _never_table(found: Found, units: str) -> Table:
    rows = tuple(
        (each.option, each.axis, told(each.reason, units), told(each.nearest, units) or "-") for each in found.never
    )
    return Table(
        "Parts on no build of the front, and why", ("part", "as", "mostly because", "how near"), rows[:MOST_ROWS]
    )


def _loser_table(found: Found, units: str) -> Table:
    rows = []
    for miss in found.losers:
        broken = "; ".join(
            f"{bound.quantity.short} by {difference_text(bound.what, over, units)}" for bound, over in miss.broken
        )
        rows.append((made_of(miss.labels), broken))
    return Table("Would be on the front, but for one bound", ("build", "breaks"), tuple(rows))


def _removed_table(found: Found, units: str) -> Table:
    rows = [(told(name, units), f"{count:,}") for name, count in found.removed if count]
    rows += [(f"on the road: {told(name, units)}", f"{count:,}") for name, count in found.stops if count]
    return Table("What fell, and at what", ("reason", "combinations"), tuple(rows[:MOST_ROWS]))
