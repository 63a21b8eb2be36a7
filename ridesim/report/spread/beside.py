"""How sure a ride's own answer is, in the lines that it belongs to."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.report.spread.view import answer_text
from ridesim.sure.measure import Measurement, next_measurements
from ridesim.sure.spread import LOOK_CHANCE

if TYPE_CHECKING:
    from ridesim.sure.spread import Spread

ANSWER_OF = {
    "time": "total_time_s", "energy": "net_energy_wh", "charge left": "charge_left_fraction",
    "motor current": "peak_motor_current_a", "pack current": "peak_pack_current_a",
    "lowest voltage": "lowest_pack_voltage_v", "hottest winding": "peak_winding_temp_c",
}  # fmt: skip
"""The answer whose span stands in a line of a ride."""
NAMED_CHANCES = 3
LEAST_NAMED = 0.005
ASKED = "peak_winding_temp_c"


def with_spans(rows: list[tuple[str, str]], told: Spread | None, units: str) -> list[tuple[str, str]]:
    """Return the lines of a ride with the span of 8 of 10 bikes in brackets, and how sure it all is behind them."""
    if told is None:
        return rows
    found = [(label, f"{text}{_span(told, label, units)}") for label, text in rows]
    return [*found, ("how sure", sure_words(told)), *_measure_row(told)]


def _span(told: Spread, label: str, units: str) -> str:
    ends = told.span(ANSWER_OF[label]) if label in ANSWER_OF else None
    if ends is None:
        return ""
    low, high = (answer_text(ANSWER_OF[label], end, units) for end in ends)
    return f" [{low} to {high}]" if low != high else ""


def sure_words(told: Spread) -> str:
    """Return what the brackets mean, and the chances that matter."""
    likely = [each for each in told.chances if each.chance >= LEAST_NAMED][:NAMED_CHANCES]
    chances = ", ".join(f"{each.words} {each.chance:.0%}" for each in likely) or "no limit is passed in any of them"
    return f"[8 of 10 of {told.samples} bikes like it]; {chances}"


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
    if not open_ones or open_ones[0].limit == "winding":
        return next_measurements(told.doubts, told.shares(ASKED)), "the winding's spread"
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
        "spans": {name: told.span(name) for name in ANSWER_OF.values()},
        "chances": {each.limit: each.chance for each in told.chances},
        "ends": told.ends,
        "measure_for": of_what,
        "measure_next": [vars(one) for one in best],
    }
