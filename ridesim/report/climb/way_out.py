"""Words of "what would let it through?": one thing varied, the road ridden with each value."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ridesim.bike.second import geared_drive
from ridesim.report.digits import significant_digits
from ridesim.report.study_words import road_words
from ridesim.report.text import duration, shown
from ridesim.report.view import Table, View
from ridesim.ride.drives import FIRST, SECOND
from ridesim.ride.limits import STOP
from ridesim.studies.ratio_choice import split_words
from ridesim.studies.way_out import FINDS
from ridesim.sure.spread import word_of
from ridesim.units import for_people, told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.bike.load import LoadedBuild
    from ridesim.road.profile import Road
    from ridesim.studies.way_out import Tried, WayOut

WORDS = {
    "speed": ("At what speed", "a cruise speed"),
    "current": ("With what motor current limit", "a motor current limit"),
    "load": ("With what load", "a weight of rider and load"),
    "ratio": ("With what ratio", "a ratio of the last stage"),
    "sensor": ("With a motor sensor", "a motor temperature sensor that leaves no current"),
}
"""How a question begins, and what is varied."""
MOST_ROWS = 16
ROUNDING = 1e-9


def view(found: WayOut, loaded: LoadedBuild, road: Road, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer: which values keep every limit on this road."""
    (lead, thing), place = WORDS[found.find], road_words(road, units)
    if found.impossible:
        return View(f"{lead}?", f"{thing[0].upper()}{thing[1:]} on {place}?", (f"No: {found.impossible}.",))
    return View(
        title=f"{lead} does {loaded.build.name} get over {place}?",
        question=(
            f"{thing[0].upper()}{thing[1:]} is varied, the road ridden with each value: it arrives, "
            f"{_ceiling_words(found, units)}, magnets and cells within their limits, no over-speed."
        ),
        answer=tuple(
            line
            for line in (
                *_with_chances(found, units),
                *_in_the_way(found, units),
                _split(found, loaded),
                _both_currents(found, loaded),
                _present_words(found, units),
            )
            if line
        ),
        verdict=verdict_of(found),
        heeds_chances=found.sure is not None or bool(found.best_chances),
        tables=(_table(found, units),),
        figures=_figures(found, units) if pictures else (),
    )


def _ceiling_words(found: WayOut, units: str) -> str:
    """What the winding may reach; of two different drives what each one's may, and whose is told."""
    if not found.ceilings_c:
        return f"winding at most {shown(found.max_winding_c, 'c', units, 0)}"
    first, second = (shown(each, "c", units, 0) for each in found.ceilings_c)
    return f"winding at most {first} in the {FIRST} and {second} in the {SECOND} (the one nearer to its limit is told)"


def _both_currents(found: WayOut, loaded: LoadedBuild) -> str:
    """What is varied of two controllers."""
    if found.find != "current" or loaded.build.second is None:
        return ""
    return "The limit told is the first drive's; the second drive's is varied in the same proportion."


def _split(found: WayOut, loaded: LoadedBuild) -> str:
    """How a ratio is built that one belt does not give."""
    if found.find != "ratio" or found.best is None:
        return ""
    prefix, build = geared_drive(loaded.build)
    drive = build.drive
    words = split_words(drive.stage[drive.motors_last_stage].kind, found.best.value)
    whose = f" It is the {SECOND}'s ratio that is varied." if prefix else ""
    return f"{words[0].upper()}{words[1:]}.{whose}" if words else whose.strip()


def verdict_of(found: WayOut) -> str:
    """Return "fine" where the present value keeps all with room, "look again" where any keeps all, else "stop".

    A proposal that more than half of the bikes like it do not bear is none.
    """
    if found.best is None or word_of(found.best_chances) == STOP:
        return STOP
    return "fine" if found.best.value == found.present and found.best.roomy and not found.best_chances else "look again"


def value_words(found: WayOut, value: float, units: str) -> str:
    """Return a value with its unit."""
    return f"{value:.2f}" if not found.unit else shown(value, found.unit, units, 1 + _finer(found, units))


def _finer(found: WayOut, units: str) -> int:
    """Return how many digits more a value takes: of two tenths of a km/h, which are tried, one in mph is told."""
    return int(found.unit == "km_h" and units != "metric")


def end_words(found: WayOut, value: float, units: str, *, upper: bool) -> str:
    """Return an end of what keeps every limit, rounded to three figures and to the safe side."""
    number = for_people(value, found.unit, units)[0] if found.unit else value
    finer = _finer(found, units)
    digits = significant_digits(number, "", units, 1 + finer if found.unit else 2, 3 + finer if number >= 1.0 else 2)
    step = 10.0**-digits
    safe = (math.floor(number / step + ROUNDING) if upper else math.ceil(number / step - ROUNDING)) * step
    symbol = f" {for_people(value, found.unit, units)[1]}" if found.unit else ""
    return f"{safe:.{digits}f}{symbol}"


def way_words(found: WayOut, units: str = "metric") -> str:
    """Return in one sentence what keeps every limit, or that nothing tried does."""
    _, thing = WORDS[found.find]
    if found.impossible:
        return f"{found.impossible[0].upper()}{found.impossible[1:]}."
    if found.find == "sensor":
        return _sensor_words(found, units)
    if found.best is None:
        low, high = (value_words(found, found.tried[at].value, units) for at in (0, -1)) if found.tried else ("", "")
        fault = f"; most often it {_as_verb(found.commonest_fault)}" if found.commonest_fault else ""
        return f"No {thing.split(' ', 1)[1]} from {low} to {high} keeps every limit{fault}."
    parts = " and ".join(_stretch(found, low, high, units) for low, high in found.kept)
    best = found.best
    came = f"winding {shown(best.peak_winding_temp_c, 'c', units, 0)}, {duration(best.time_s)}{_folded(best)}"
    if not best.roomy:
        return (
            f"Every limit is kept with {thing} {parts}, but none of these leaves room: nearest to now is "
            f"{_best_words(found, units)}: {came}; little is left for {' and '.join(best.near)}."
        )
    room = " and ".join(_stretch(found, low, high, units) for low, high in found.roomy)
    if found.passed_over is not None:
        nearest = value_words(found, found.passed_over, units)
        return (
            f"Every limit is kept with {thing} {parts} as the bike stands, but most bikes like it would not bear "
            f"{nearest}: take {_best_words(found, units)}: {came}."
        )
    if room == parts:
        return f"Every limit is kept with {thing} {parts}. Nearest to now is {_best_words(found, units)}: {came}."
    return (
        f"Every limit is kept with {thing} {parts}; at those ends little is left. With room it is "
        f"{room}: take {_best_words(found, units)}: {came}."
    )


def _with_chances(found: WayOut, units: str) -> tuple[str, ...]:
    """The proposal and how sure it is; where most bikes do not bear it that is the answer, and comes first."""
    words, chances = way_words(found, units), _chance_words(found, units)
    if word_of(found.best_chances) != STOP:
        return words, chances
    thing = WORDS[found.find][1].split(" ", 1)[1]
    others = " or ".join(each for each in FINDS if each != found.find)
    return (
        f"No {thing} that was drawn keeps every limit in most bikes like it. {chances} Try --find {others}.",
        f"As it stands: {words}",
    )


def _chance_words(found: WayOut, units: str) -> str:
    """How sure the proposal is, and which value is surer."""
    if not found.best_chances:
        return ""
    assert found.best is not None
    told_ = ", ".join(f"{each.words} in {each.chance:.0%}" for each in found.best_chances[:3])
    head = (
        f"Of bikes like it with {_best_words(found, units)}, by the tolerances of its numbers: {told_}; "
        f"`ridesim ride` says {word_of(found.best_chances)} for that."
    )
    if found.sure is None:
        return (
            f"{head} None of the other values ridden so brings all below one in twenty: measure what the bike leaves "
            "open (`ridesim spread`)."
        )
    return f"{head} With {value_words(found, found.sure, units)} no limit is passed in more than one of twenty."


def _in_the_way(found: WayOut, units: str) -> tuple[str, ...]:
    """Where nothing was found: what stops the lowest and the highest value, and what the other keys do."""
    if found.best is not None or not found.tried:
        return ()
    ends = (found.tried[0], found.tried[-1])
    told_ends = [
        f"With {value_words(found, each.value, units)}: {told(each.reason.split('. ')[0], units).rstrip('.')}."
        for each in ends
    ]
    ways = [
        f"Try --find {each.find}. {way_words(each, units)}"
        for each in found.others
        if each.find != "sensor" and each.best
    ]
    ways += [way_words(each, units) for each in found.others if each.find == "sensor" and each.best]
    return (*told_ends, *(ways or [_no_way(found)]))


def _no_way(found: WayOut) -> str:
    tried = [WORDS[each.find][1].split(" ", 1)[1] for each in found.others if each.tried and each.find != "sensor"]
    cures = "; ".join(dict.fromkeys(each.cure for each in (found.tried[0], found.tried[-1]) if each.cure))
    alone = f"No {' or '.join(tried)} does it alone either: change two of them, or the parts. " if tried else ""
    return f"{alone}What helps: {cures}."


def _best_words(found: WayOut, units: str) -> str:
    """The nearest value, told as the end of what is kept where it is one."""
    assert found.best is not None
    for low, high in (*found.roomy, *found.kept):
        if found.best.value in (low, high) and low != high and found.best.value != found.present:
            return end_words(found, found.best.value, units, upper=found.best.value == high)
    return value_words(found, found.best.value, units)


def _as_verb(fault: str) -> str:
    return fault if fault.startswith("does") else f"has its {fault}" if "too hot" in fault else f"ends with {fault}"


def _sensor_words(found: WayOut, units: str) -> str:
    one, end = found.tried[0], shown(found.present, "c", units, 0)
    if one.stops:
        return f"A motor temperature sensor with no current above {end} does not do it alone: {', '.join(one.stops)}."
    return (
        f"A motor temperature sensor with no current above {end} gets it over in {duration(one.time_s)}, winding "
        f"{shown(one.peak_winding_temp_c, 'c', units, 0)}{_folded(one)}."
    )


def _folded(one: Tried) -> str:
    return f", held back by a temperature foldback for {duration(one.foldback_s)}" if one.foldback_s > 0.0 else ""


def _stretch(found: WayOut, low: float, high: float, units: str) -> str:
    """Return a stretch; an end that is the end of what was tried is told as such."""
    first, last = found.tried[0].value, found.tried[-1].value
    if low <= first and high >= last:
        return (
            f"anywhere from {value_words(found, low, units)} to {value_words(found, high, units)}, all that was tried"
        )
    if low <= first:
        return f"up to {end_words(found, high, units, upper=True)}"
    if high >= last:
        return f"from {end_words(found, low, units, upper=False)} on"
    return f"from {end_words(found, low, units, upper=False)} to {end_words(found, high, units, upper=True)}"


def _present_words(found: WayOut, units: str) -> str:
    now = next((each for each in found.tried if each.value == found.present), None)
    if now is None:
        return ""
    words = f"Now it is {value_words(found, now.value, units)}"
    winding = shown(now.peak_winding_temp_c, "c", units, 0)
    near = f"nothing stops it, but little is left for {' and '.join(now.near)}" if now.near else "nothing stops it"
    return f"{words}: {', '.join(now.stops) or near}, winding {winding}."


def _table(found: WayOut, units: str) -> Table:
    step = max(1, -(-len(found.tried) // MOST_ROWS))
    rows = [each for index, each in enumerate(found.tried) if index % step == 0 or each.value == found.present]
    if found.best is not None and found.best not in rows:
        rows = sorted((*rows, found.best), key=lambda each: each.value)
    return Table(
        "Ridden with each value",
        (found.find, "distance", "time", "winding", "magnets", "stopped by"),
        tuple(_row(found, each, units) for each in rows),
    )


def _row(found: WayOut, each: Tried, units: str) -> tuple[str, ...]:
    mark = " <" if each is found.best else (" now" if each.value == found.present else "")
    return (
        f"{value_words(found, each.value, units)}{mark}",
        shown(each.distance_km, "km", units),
        duration(each.time_s),
        shown(each.peak_winding_temp_c, "c", units, 0),
        shown(each.peak_body_temp_c, "c", units, 0),
        ", ".join(each.stops) or (f"- ({', '.join(each.near)}: near)" if each.near else "-"),
    )


def _figures(found: WayOut, units: str) -> tuple[tuple[str, Figure], ...]:
    return (("Hottest winding with each value; hollow: something stops it", draw(found, units)),)


def draw(found: WayOut, units: str = "metric") -> Figure:
    """Return the hottest winding against the value varied."""
    import numpy as np

    from ridesim.report import style

    figure, (axes,) = style.new_figure()
    value = np.array([each.value for each in found.tried])
    x = style.in_units(value, found.unit, units) if found.unit else value
    y = style.in_units([each.peak_winding_temp_c for each in found.tried], "c", units)
    stopped = np.array([bool(each.stops) for each in found.tried])
    axes.margins(x=0.04, y=0.14)
    axes.plot(x, y, color=style.COLOURS[1], linewidth=1.0)
    axes.plot(x[~stopped], y[~stopped], "o", color=style.COLOURS[1], markersize=5)
    axes.plot(x[stopped], y[stopped], "o", color=style.COLOURS[1], markersize=5, markerfacecolor="white")
    allowed = {
        f"winding allowed, {whose}": each for whose, each in zip((FIRST, SECOND), found.ceilings_c, strict=False)
    }
    for words, each in (allowed or {"winding allowed": found.max_winding_c}).items():
        limit = float(style.in_units(each, "c", units))
        style.limit_line(axes, limit, words, at=style.clear_side(y, limit))
    now = float(style.in_units(found.present, found.unit, units)) if found.unit else found.present
    axes.axvline(now, color=style.FAINT, linewidth=1.2, linestyle=":", zorder=0.8)
    left = now < 0.5 * float(x[0] + x[-1])
    style.tag(axes, now, float(axes.get_ylim()[0]), "now", style.FAINT, offset=(4 if left else -4, 3),
        align=("left" if left else "right", "bottom"))  # fmt: skip
    axes.set_xlabel(style.axis_label(found.find, found.unit, units) if found.unit else "ratio of the last stage")
    axes.set_ylabel(style.quantity_label("winding_temp_c", units))
    return figure
