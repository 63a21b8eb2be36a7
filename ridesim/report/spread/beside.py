"""How sure a ride's own answer is, in the lines that it belongs to."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.report.spread.view import answer_text
from ridesim.sure.measure import next_measurements

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
    best = next_measurements(told.doubts, told.shares(ASKED))
    if not best:
        return []
    one = best[0]
    how = f" ({one.command})" if one.command else ""
    return [("to know better", f"measure {one.key}: it carries {one.share:.0%} of the winding's spread{how}")]


def plain(told: Spread | None) -> dict[str, Any] | None:
    """Return the spread of a ride as plain values for JSON."""
    if told is None:
        return None
    best = next_measurements(told.doubts, told.shares(ASKED))
    return {
        "samples": told.samples,
        "seed": told.seed,
        "verdict": told.verdict,
        "spans": {name: told.span(name) for name in ANSWER_OF.values()},
        "chances": {each.limit: each.chance for each in told.chances},
        "ends": told.ends,
        "measure_next": [vars(one) for one in best],
    }
