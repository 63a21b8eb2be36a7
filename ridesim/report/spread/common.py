"""How sure a difference is, in words, rows and plain values: candidates under common draws."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from ridesim.report.study_words import road_words_of
from ridesim.report.text import duration, shown
from ridesim.report.view import Table
from ridesim.ride.quantities import QUANTITIES
from ridesim.units import from_si

if TYPE_CHECKING:
    from ridesim.sure.common import Common, Difference

COMPARED = ("net_energy_wh", "total_time_s", "peak_winding_temp_c", "charge_left_fraction")
VERBS = {
    "net_energy_wh": "takes less energy than",
    "total_time_s": "is faster than",
    "peak_winding_temp_c": "has a cooler winding than",
    "charge_left_fraction": "keeps more charge than",
    "pack_energy_returned_wh": "returns more energy than",
}
SMALL = 10.0
"""A difference below this needs a digit after the point."""
OF_A_HUNDRED = 100


def difference_words(one: Difference, units: str) -> str:
    """Return one difference as a sentence: in how many bikes it holds, and by how much."""
    what = QUANTITIES[one.answer].words
    if one.alike:
        return f"{_capital(one.better)} and {one.other} are alike in {what}."
    arriving = _counted(one)
    share = f"{one.chance * OF_A_HUNDRED:.0f} of {OF_A_HUNDRED} bikes like yours{arriving}"
    if not one.told_apart:
        head = f"{_capital(one.better)} and {one.other} cannot be told apart in {what}"
        return f"{head}: {one.better} is better in {share}."
    return f"{_capital(one.better)} {VERBS[one.answer]} {one.other} in {share}, by {by_words(one, units)}."


def _counted(one: Difference) -> str:
    """Which bikes a share is of, where not all of them tell the answer."""
    if one.bikes == one.drawn:
        return ""
    return " that arrive or burn" if one.answer == "peak_winding_temp_c" else " that arrive"


def _capital(label: str) -> str:
    """A label at the start of a sentence; the name of a file keeps its letters."""
    return f"{label[0].upper()}{label[1:]}" if " " in label else label


def by_words(one: Difference, units: str) -> str:
    """Return by how much the better one is better, with the span of 8 of 10 bikes."""
    sign = 1.0 if QUANTITIES[one.answer].better == "high" else -1.0
    low, middle, high = sorted((sign * one.low, sign * one.middle, sign * one.high))
    said = [amount(one.answer, value, units, small=abs(middle) < SMALL) for value in (middle, low, high)]
    return f"{said[0]} [{said[1]} to {said[2]}]"


def amount(answer: str, value: float, units: str, *, small: bool = False) -> str:
    """Return a difference of an answer with its unit, as people read it; a small one with a digit more."""
    quantity = QUANTITIES[answer]
    if quantity.unit == "c":
        return shown(value, "k", units, int(small))
    if quantity.unit == "s":
        return f"-{duration(-value)}" if value < 0.0 else duration(value)
    if not quantity.unit:
        return f"{from_si(value, 'percent'):.1f} points"
    return shown(value, quantity.unit, units, quantity.digits + small)


def differences_table(common: Common, found: Iterable[Difference], units: str) -> Table:
    """Return differences as a table: who is better, in how many bikes, by how much."""
    rows = tuple(
        (
            QUANTITIES[one.answer].words,
            one.better,
            one.other,
            f"{one.chance * OF_A_HUNDRED:.0f} of {OF_A_HUNDRED}{_counted(one)}",
            "alike" if one.alike else by_words(one, units),
            "yes" if one.told_apart else "no",
        )
        for one in found
    )
    road = road_words_of(common.road, units)
    title = f"How sure the differences are on {road}: {common.samples} bikes like yours, the same for each"
    return Table(title, ("", "better", "than", "in bikes", "by [8 of 10]", "told apart"), rows)


def stopped_words(common: Common) -> str:
    """Return in how many bikes each candidate passes a limit that stops it; nothing where none ever does.

    The likeliest is named, with its own share where others are passed too: by that the verdict goes.
    """
    shares = [common.stopped(at) for at in range(len(common.labels))]
    if not any(shares):
        return ""
    parts = []
    for at, (label, share) in enumerate(zip(common.labels, shares, strict=True)):
        likeliest = common.chances(at)[0]
        of_it = f" in {likeliest.chance * OF_A_HUNDRED:.0f}" if likeliest.chance < share else ""
        why = f" ({likeliest.words}{of_it})" if share else ""
        parts.append(f"{label} in {share * OF_A_HUNDRED:.0f}{why}")
    return f"A limit is passed, of {OF_A_HUNDRED} bikes like yours: {', '.join(parts)}."


def best_differences(common: Common, answers: Sequence[str] = COMPARED) -> tuple[Difference, ...]:
    """Return, answer by answer, how sure it is that the best candidate is better than the next."""
    found = (common.best_two(answer) for answer in answers)
    return tuple(each for each in found if each is not None)


def against(common: Common, answers: Sequence[str] = COMPARED[:3]) -> tuple[Difference, ...]:
    """Return how sure the differences of the first candidate from each other one are."""
    return tuple(one for answer in answers for one in common.against_all(answer, 0))


def law_differences(common: Common) -> tuple[Difference, ...]:
    """Return which of two throttle laws keeps the winding cooler: every two of the first half, limits on, and of the
    second, limits off."""
    half = len(common.labels) // 2
    groups = (set(common.labels[:half]), set(common.labels[half:]))
    pairs = common.pairs("peak_winding_temp_c")
    return tuple(one for group in groups for one in pairs if {one.better, one.other} <= group)


def plain(common: Common | None, found: Iterable[Difference] = ()) -> dict[str, Any] | None:
    """Return candidates under common draws as plain values for JSON."""
    if common is None:
        return None
    return {
        "samples": common.samples,
        "seed": common.seed,
        "told_apart_from_chance": _apart(),
        "differences": [vars(one) | {"told_apart": one.told_apart} for one in found],
        "chances": {
            label: {"any_limit": common.stopped(at), **{each.limit: each.chance for each in common.chances(at)}}
            for at, label in enumerate(common.labels)
        },
    }


def _apart() -> float:
    from ridesim.sure.common import APART_CHANCE

    return APART_CHANCE
