"""Words of "how sure is it?": spans, chances, what carries the spread, what to measure next."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ridesim.bike.second import PREFIX
from ridesim.report.digits import significant_digits, span_digits, time_step_s
from ridesim.report.spread.asked import Asked, answer_words, asked
from ridesim.report.text import duration
from ridesim.report.view import Table, View
from ridesim.ride.bounds import STOP_WORDS
from ridesim.ride.quantities import QUANTITIES
from ridesim.sure.batch import OF_DRIVES
from ridesim.sure.measure import Measurement, next_measurements
from ridesim.sure.spread import LOOK_CHANCE
from ridesim.sure.uncertain import ALTITUDE, NO_LOAD, ROLLING
from ridesim.units import from_si, shown, symbol_of, told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.sure.spread import Chance, Spread

LISTED_KEYS = 12
LISTED_MEASUREMENTS = 6
LEAST_SHARE = 0.005
"""Keys that carry less are summed up in the last line of their table."""
STOPS = {code.name.lower(): words for code, words in STOP_WORDS.items()}
TABLE_ANSWERS = (
    "total_time_s", "net_energy_wh", "charge_left_fraction", "peak_winding_temp_c", "peak_body_temp_c",
    "peak_controller_temp_c", "peak_pack_temp_c", "peak_motor_current_a", "peak_pack_current_a",
    "lowest_pack_voltage_v",
)  # fmt: skip


def view(result: Spread, answer: str = "", units: str = "metric", *, pictures: bool = True) -> View:
    """Return how sure a ride's answers are as words, tables and pictures; `answer`: asked about, else the trouble's."""
    about = asked(result, answer)
    best = next_measurements(result.doubts, about.shares)
    answer = about.answer
    return View(
        title=f"How sure is {result.loaded.build.name} on {result.road.name}?",
        question=(
            f"{result.samples} bikes like this one, each uncertain number drawn from its tolerance, ridden over the "
            f"road. A span holds 8 of 10 of them. The bike as it stands is told beside them."
        ),
        answer=(
            *_lead(result),
            _headline(result, answer, units),
            _ending(result),
            *_passed(result),
            _measure_words(result, best, about),
        ),
        verdict=result.verdict,
        heeds_chances=True,
        tables=(_answers(result, units), *_chances(result), _keys(result, about), *_next(best)),
        figures=_figures(result, about, units) if pictures else (),
        notes=tuple(told(each, units) for each in result.notes),
    )


def _lead(result: Spread) -> tuple[str, ...]:
    """What the verdict is of: the limits that are in doubt, the most likely passed first."""
    told = [each for each in result.chances if each.chance > LOOK_CHANCE or each.limit in result.passed_as_built]
    words = [
        f"{each.words} {each.chance:.0%}{' and as built' if each.limit in result.passed_as_built else ''}"
        for each in told
    ]
    return (f"Of bikes like it: {', '.join(words)}.",) if words else ()


def answer_text(answer: str, value: float | None, units: str, ends: tuple[float, float | None] | None = None) -> str:
    """Return the value of an answer with its unit, as people read it: no finer than the span `ends` supports."""
    found = QUANTITIES[answer]
    if value is None or not np.isfinite(value):
        return "-"
    if answer.endswith("_s"):
        return duration(value, 1.0 if ends is None or ends[1] is None else time_step_s(ends[0], ends[1]))
    if not found.unit:
        return f"{value:.0%}" if answer.endswith("fraction") else f"{value:.{found.digits}f}"
    return shown(value, found.unit, units, answer_digits(answer, value, units, ends))


def answer_digits(answer: str, value: float, units: str, ends: tuple[float, float | None] | None = None) -> int:
    """Return the digits after the point of an answer: those its span supports, else those of three figures."""
    found = QUANTITIES[answer]
    if ends is not None and ends[1] is not None:
        return span_digits(ends[0], ends[1], found.unit, units, found.digits)
    return significant_digits(value, found.unit, units, found.digits)


def _headline(result: Spread, answer: str, units: str) -> str:
    words = answer_words(result, answer)
    ends = result.span(answer)
    nominal = as_built_text(result, answer, units, ends)
    if ends is None:
        return f"{words[0].upper()}{words[1:]}: {nominal} as built; no draw has one."
    low, high = (answer_text(answer, end, units, ends) for end in ends)
    said = f"{words[0].upper()}{words[1:]}: {nominal} as built, {low} to {high} in 8 of 10 bikes like it"
    return said + ("." if low != high else ": nothing uncertain moves it.")


def as_built_text(result: Spread, answer: str, units: str, ends: tuple[float, float] | None) -> str:
    """Return an answer of the build as it stands; none of a whole road where it ends before that, as of the draws."""
    value = result.as_built(answer)
    return "does not arrive" if value is None else answer_text(answer, value, units, ends)


def _ending(result: Spread) -> str:
    arrived = result.ends.get("finished", 0) / result.samples
    others = [
        f"{STOPS[word]} {count / result.samples:.0%}" for word, count in result.ends.items() if word != "finished"
    ]
    tail = f" The others: {', '.join(others)}." if others else ""
    return f"{arrived:.0%} of them arrive.{tail}"


def chance_text(chance: Chance) -> str:
    """Return a chance with its sampling error: `80 % (+- 2)`, or its bound where no draw passed."""
    if chance.chance == 0.0:
        return f"under {from_si(1.0, 'percent') * chance.interval[1]:.1f} %"
    return f"{chance.chance:.0%} (± {from_si(chance.standard_error, 'percent'):.1f})"


def _passed(result: Spread) -> tuple[str, ...]:
    likely = [each for each in result.chances if each.chance > 0.0 and each.limit != "arrival"]
    if not likely:
        return ("No limit is passed in any of them.",)
    return ("Limits passed: " + "; ".join(f"{each.words} {chance_text(each)}" for each in likely[:4]) + ".",)


def _measure_words(result: Spread, best: tuple[Measurement, ...], about: Asked) -> str:
    words, shares = about.words, about.shares
    top = int(np.argmax(shares))
    most = key_words(result.doubts.keys[top])
    if not best:
        return f"No single measurement would narrow {words} by much; {most} carries most of it ({shares[top]:.0%})."
    one = best[0]
    heavier = ""
    if result.doubts.keys[top] != one.key and shares[top] > one.share:
        heavier = f" {most} carries more ({shares[top]:.0%}), but is not easily measured."
    with_what = f" ({one.command})" if one.command else ""
    return (
        f"To know better, measure {one.key}: it carries {one.share:.0%} of the spread of {words}. {one.how[0].upper()}"
        f"{one.how[1:]}{with_what}; the span then narrows by {1.0 - one.left:.0%}.{heavier}"
    )


def _answers(result: Spread, units: str) -> Table:
    rows = []
    for name in (*TABLE_ANSWERS, *(each for each in OF_DRIVES if each in result.drawn.names)):
        found, ends = result.percentiles(name, (0.1, 0.5, 0.9)), result.span(name)
        values = [answer_text(name, each.value, units, ends) for each in found] or ["-"] * 3
        error = "-"
        if found:
            error = " to ".join(answer_text(name, end, units, ends) for end in (found[2].low, found[2].high))
        nominal = as_built_text(result, name, units, ends)
        rows.append((answer_words(result, name), nominal, *values, error))
    head = ("answer", "as built", "10 %", "50 %", "90 %", "the 90 % lies between")
    return Table(
        "Spans, and the sampling error of their upper end (95 %); time, energy and charge of those that arrive",
        head,
        tuple(rows),
    )


def _chances(result: Spread) -> tuple[Table, ...]:
    rows = tuple(
        (
            each.words,
            f"{each.chance:.1%}",
            f"{each.standard_error:.1%}",
            " to ".join(f"{end:.1%}" for end in each.interval),
        )
        for each in result.chances
        if each.chance > 0.0
    )
    if not rows:
        return ()
    return (Table("Chances; limits not named were passed in no draw", ("limit", "chance", "error", "95 %"), rows),)


def key_words(key: str) -> str:
    """Return what a factor that is no key of the build means."""
    if key.removeprefix(PREFIX) == NO_LOAD:
        return f"{key} (drag, as a factor)"
    if key.startswith(ROLLING):
        return f"rolling on {key.removeprefix(ROLLING).replace('_', ' ')}, as a factor"
    return "noise of the road's altitude" if key == ALTITUDE else key


def _keys(result: Spread, about: Asked) -> Table:
    shares = about.shares
    order = [at for at in np.argsort(-shares, kind="stable").tolist() if shares[at] >= LEAST_SHARE][:LISTED_KEYS]
    rows = []
    for at in order:
        each = result.doubts.numbers[at]
        value = "-" if each.key == ALTITUDE else f"{each.value:.4g} {symbol_of(each.key)}".rstrip()
        rows.append(
            (
                key_words(each.key),
                value,
                each.tolerance.said,
                each.whose,
                f"{shares[at]:.0%}",
                *(("-", "-") if about.limit else _orders(result, about.answer, at)),
            )
        )
    rest = float(shares.sum() - shares[order].sum())
    rows.append((f"the other {len(shares) - len(order)}", "", "", "", f"{rest:.0%}", "", ""))
    head = ("what", "value", "tolerance", "whose", "carries", "first order", "total")
    return Table(f"Who carries the spread of {about.words}", head, tuple(rows))


def _orders(result: Spread, answer: str, at: int) -> tuple[str, str]:
    """First-order and total index of one number, with the ends of their 80 % intervals."""
    found = result.indices
    if found is None:
        return "-", "-"
    row = result.drawn.names.index(answer)
    column = next(place for place, columns in enumerate(result.factors) if at in columns)
    first = (found.first_order, found.first_order_low, found.first_order_high)
    total = (found.total, found.total_low, found.total_high)
    return tuple(_interval(*(float(part[row, column]) for part in parts)) for parts in (first, total))  # type: ignore[return-value]


def _interval(value: float, low: float, high: float) -> str:
    return f"{max(value, 0.0):.2f} ({max(low, 0.0):.2f} to {max(high, 0.0):.2f})"


def _next(best: tuple[Measurement, ...]) -> tuple[Table, ...]:
    if not best:
        return ()
    rows = tuple(
        (one.key, f"{one.share:.0%}", f"{1.0 - one.left:.0%}", one.command or one.how)
        for one in best[:LISTED_MEASUREMENTS]
    )
    return (Table("What to measure next", ("measure", "carries", "span narrows by", "how"), rows),)


def _figures(result: Spread, about: Asked, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.spread.figure import draw_along, draw_answers, draw_carriers

    along: tuple[tuple[str, Figure], ...] = ()
    if result.drawn.band:
        words = "Along the road: the bike as it stands, and the band of 8 of 10 of the bikes that came so far"
        along = ((words, draw_along(result, units)),)
    return (
        *along,
        ("How the answers are spread; shaded: 8 of 10 bikes; line: the bike as it stands", draw_answers(result, units)),
        (f"What carries the spread of {about.words}", draw_carriers(result, about.shares)),
    )
