"""How sure a ride's own answer is, in the lines that it belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ridesim.report.spread.asked import OF_LIMIT, answer_words, hotter_winding
from ridesim.report.spread.view import answer_text
from ridesim.ride.quantities import SECOND
from ridesim.sure.batch import OF_DRIVES
from ridesim.sure.measure import Measurement, next_measurements
from ridesim.sure.spread import LOOK_CHANCE, OF_A_WHOLE_ROAD

if TYPE_CHECKING:
    from ridesim.sure.spread import Spread

ANSWER_OF = {
    "time": "total_time_s", "energy": "net_energy_wh", "charge left": "charge_left_fraction",
    "motor current": "peak_motor_current_a", "pack current": "peak_pack_current_a",
    "lowest voltage": "lowest_pack_voltage_v", "hottest winding": "peak_winding_temp_c", "range": "range_km",
}  # fmt: skip
"""The answer whose span stands in a line of a ride."""
NAMED_CHANCES = 3
LEAST_NAMED = 0.005
WINDINGS = ("winding", "second_winding")


@dataclass(frozen=True)
class Digits:
    """The figures of one ride in words, each told no finer than its span supports; without spans, to three figures."""

    told: Spread | None
    units: str

    def ends(self, answer: str) -> tuple[float, float | None] | None:
        """Return the span beside an answer; None where it tells of other rides than this one, which did not arrive."""
        if self.told is None:
            return None
        if answer == "range_km":
            return self.told.range_km
        arrived = str(self.told.nominal.stops[0]) == "finished"
        return self.told.span(answer) if arrived or answer not in OF_A_WHOLE_ROAD else None

    def text(self, answer: str, value: float | None) -> str:
        """Return a figure with its unit."""
        return answer_text(answer, value, self.units, self.ends(answer))

    def like(self, answer: str, of: str, of_value: float, value: float | None) -> str:
        """Return a figure that is no surer, in parts of itself, than another of the same ride is."""
        ends = self.ends(of)
        if value is None or ends is None or ends[1] is None or not of_value:
            return answer_text(answer, value, self.units)
        if ends[0] <= 0.0 <= ends[1]:  # next to nothing: no part of it tells how sure another figure is
            return self.text(answer, value)
        part = abs(value / of_value)
        return answer_text(answer, value, self.units, (ends[0] * part, ends[1] * part))


def with_spans(rows: list[tuple[str, str]], told: Spread | None, units: str) -> list[tuple[str, str]]:
    """Return the lines of a ride with the span of 8 of 10 bikes in brackets, and how sure it all is behind them."""
    if told is None:
        return rows
    found = [(label, _behind(label, text, _span(told, label, units))) for label, text in rows]
    return [*found, ("how sure", sure_words(told)), *_measure_row(told)]


def _behind(label: str, text: str, span: str) -> str:
    """Return a line with its span at the end; a range's words are many, so that its span stands behind the value."""
    if label != "range" or not span:
        return f"{text}{span}"
    value, unit, *words = text.split(" ")
    return " ".join([value, f"{unit}{span}", *words])


def _span(told: Spread, label: str, units: str) -> str:
    answer = ANSWER_OF.get(label, "")
    return span_text(Digits(told, units).ends(answer), answer, units) if answer else ""


def span_text(ends: tuple[float, float | None] | None, answer: str, units: str) -> str:
    """Return a span in brackets, for behind the value it belongs to; nothing where there is none."""
    if ends is None:
        return ""
    low, high = ("no end" if end is None else answer_text(answer, end, units, ends) for end in ends)
    return f" [{low} to {high}]" if low != high else ""


def sure_words(told: Spread) -> str:
    """Return what the brackets mean, and the chances that matter."""
    likely = [each for each in told.chances if each.chance >= LEAST_NAMED][:NAMED_CHANCES]
    chances = ", ".join(f"{each.words} {each.chance:.0%}" for each in likely) or "no limit is passed in any of them"
    short = told.arrived < told.samples
    whole = f"; time, energy and charge of the {told.arrived / told.samples:.0%} that arrive" if short else ""
    return f"[8 of 10 of {told.samples} bikes like it{whole}]; {chances}"


def sure_line(told: Spread | None, answers: Sequence[str], units: str) -> str:
    """Return in one line how far answers may be off, the chances that matter, and what to measure; or nothing."""
    if told is None:
        return ""
    spans = [
        f"{answer_words(told, name)} {span_text(told.span(name), name, units).strip(' []')}"
        for name in answers
        if span_text(told.span(name), name, units)
    ]
    head = f"In 8 of 10 bikes like it ({told.samples} were ridden): {', '.join(spans)}. " if spans else ""
    likely = [each for each in told.chances if each.chance >= LEAST_NAMED][:NAMED_CHANCES]
    chances = ", ".join(f"{each.words} in {each.chance:.0%}" for each in likely)
    tail = "".join(f" To know better, {text}." for _, text in _measure_row(told))
    return f"{head}{f'Of all of them: {chances}.' if chances else 'None of them passes a limit.'}{tail}"


def _measure_row(told: Spread) -> list[tuple[str, str]]:
    best, of_what = asked_first(told)
    if not best:
        return []
    one = best[0]
    how = f" ({one.command})" if one.command else ""
    return [("to know better", f"measure {one.key}: it carries {one.share:.0%} of {of_what}{how}")]


def asked_first(told: Spread) -> tuple[tuple[Measurement, ...], str]:
    """Return what to measure for the limit that is most in doubt, and of what it carries a share, in words.

    Where a foldback guards the motor the doubt moves from its heat to whether the bike arrives.
    """
    open_ones = [each for each in told.chances if LOOK_CHANCE < each.chance < 1.0 - LOOK_CHANCE]
    if not open_ones or open_ones[0].limit in WINDINGS:
        name = OF_LIMIT[open_ones[0].limit] if open_ones else hotter_winding(told)
        whose = "the spread of the second drive's winding" if name.startswith(SECOND) else "the winding's spread"
        return next_measurements(told.doubts, told.shares(name)), whose
    doubt = open_ones[0]
    return next_measurements(told.doubts, told.shares_of_chance(doubt.limit)), f'whether it "{doubt.words}"'


def plain(told: Spread | None) -> dict[str, Any] | None:
    """Return the spread of a ride as plain values for JSON."""
    if told is None:
        return None
    best, of_what = asked_first(told)
    return {
        "samples": told.samples,
        "seed": told.seed,
        "verdict": told.verdict,
        "spans": {
            name: told.range_km if name == "range_km" else told.span(name)
            for name in (*ANSWER_OF.values(), *(each for each in OF_DRIVES if each in told.drawn.names))
        },
        "chances": {each.limit: each.chance for each in told.chances},
        "ends": told.ends,
        "measure_for": of_what,
        "measure_next": [vars(one) for one in best],
    }
