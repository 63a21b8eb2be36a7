"""What to know beside a year on the commute: what the laws know not, and where it can hurt."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridesim.engine.cells import steady_ohm
from ridesim.report.cold_words import cell_in_the_cold
from ridesim.units import shown, told
from ridesim.workshop.pack.ageing import LARGEST_FITTED_LOSS, NAUMANN_RANGE, SCHMALSTIEG_FITTED_C, SCHMALSTIEG_RANGE
from ridesim.workshop.season.plan import CHARGER_C_RATE
from ridesim.workshop.season.spans import DRAWS

if TYPE_CHECKING:
    from ridesim.bike.schema import Pack
    from ridesim.workshop.season.season import Season

COLD_C = -10.0
"""What a winter day may come to, where the cells' cold is told (guess)."""
HOT_GROWTH = 1.3
"""Resistance of an old pack from which its heat is told (guess)."""


def notes_of(result: Season, units: str) -> tuple[str, ...]:
    """Return the notes of a season, cautions first."""
    return (
        *_cold_charging(result, units), *_aged_at_the_start(result.commute.build.pack), *_old_pack(result),
        _cold(result, units), *_law(result, units),
        *_charging(result), *_sure(result), _left_out(result), *(told(each, units) for each in result.notes),
    )  # fmt: skip


def _cold_charging(result: Season, units: str) -> tuple[str, ...]:
    freezing = shown(0.0, "c", units, 0)
    if not result.cold_charges:
        return ()
    return (
        f"CAUTION: on {result.cold_charges} days the charge would begin with the pack at or below {freezing}: lithium "
        "plates out, capacity is lost for good and the cells can short inside. Let the pack warm indoors first, away "
        "from where you sleep and from the way out; no law here counts that harm.",
    )


def _aged_at_the_start(pack: Pack) -> tuple[str, ...]:
    """Say that the laws know no pack that is old on the first day, and from where on the law would have ended."""
    left, factor = pack.capacity_fraction, pack.resistance_factor
    if left >= 1.0 and factor <= 1.0:
        return ()
    beyond = (
        "; it has lost more than the law was fitted to, and the years told are a guess"
        if 1.0 - left >= LARGEST_FITTED_LOSS else ""
    )  # fmt: skip
    return (
        f"CAUTION: the pack is aged on the first day ({left:.0%} of its capacity, {factor:g} times its resistance when "
        f"new). The laws age it as if its cells were new: capacity and resistance by year are shares of today's"
        f"{beyond}. An old pack fails unevenly: measure each group.",
    )


def _old_pack(result: Season) -> tuple[str, ...]:
    last = result.years.last
    notes = []
    if last is not None and last.resistance_factor >= HOT_GROWTH:
        notes.append(
            f"CAUTION: after {last.year} years the same current heats the pack {last.resistance_factor:.1f} times as "
            "much, and old cells swell, leak and fail unevenly: measure each group, and retire a pack that gets hot."
        )
    if result.years.no_law and last is not None:
        notes.append(
            f"CAUTION: beyond year {last.year} the pack is older than its law was fitted to; cells then fail faster "
            "than any line drawn on (the knee)."
        )
    return tuple(notes)


def _cold(result: Season, units: str) -> str:
    cell = result.commute.build.pack.cell
    if steady_ohm(cell, COLD_C) <= steady_ohm(cell, 25.0) and cell.cold_capacity_loss_percent <= 0.0:
        return (
            "This pack knows no cold: its cells' resistance does not rise (pack.cell.activation_kj_per_mol) and no "
            "charge stays out of reach (pack.cell.cold_capacity_loss_percent), so cold days are rosier than true."
        )
    resting = "" if result.commute.plan.home_c is not None else ", and it rests in the air outside"
    return f"{cell_in_the_cold(cell, COLD_C, units)} The pack's own temperature counts{resting}."


def _law(result: Season, units: str) -> tuple[str, ...]:
    wear = result.years.wear
    if wear is None or wear.years <= 0.0:
        return ()
    degrees = lambda value: shown(value, "c", units, 0)  # noqa: E731
    share = lambda hours: f"{hours / (wear.years * HOURS_A_YEAR):.0%}"  # noqa: E731
    edge = "count as if they were as warm as that, which tells no less ageing than is true"
    if wear.kind == "oxide":
        coolest = SCHMALSTIEG_RANGE["temperature_c"][0]
        said = (
            f"Ageing by Schmalstieg et al. (2014), a 2.15 Ah NMC cell measured from {degrees(SCHMALSTIEG_FITTED_C)} "
            f"up; {share(wear.below_measured_h)} of the time lies below and is carried on by its Arrhenius term, "
            f"as others have done; hours below {degrees(coolest)} ({share(wear.below_range_h)}) {edge}. Its cycle law "
            f"was measured at {degrees(SCHMALSTIEG_FITTED_C)} and knows no temperature."
        )
    else:
        coolest = NAUMANN_RANGE["temperature_c"][0]
        slow = f" Cycles slower than C/10 ({wear.slow_cycles:.0f}) count as C/10." if wear.slow_cycles else ""
        said = (
            f"Ageing by Naumann et al. (2018, 2020), a 3 Ah LFP cell, second opinion on cycles by Wang et al. (2011); "
            f"hours below {degrees(coolest)} ({share(wear.below_range_h)}) {edge}.{slow} Its resistance grows by rest "
            "alone here: two public texts of the cycle term disagree by a factor of five."
        )
    return (said, "Real packs age half to twice as fast (guess); no law here knows cold charging or the knee.")


HOURS_A_YEAR = 365.25 * 24.0


def _charging(result: Season) -> tuple[str, ...]:
    if not result.late_charges:
        return ()
    return (
        f"{result.late_charges} charges would not be done in time with a charger of {CHARGER_C_RATE:g} times the "
        "capacity an hour; they are counted as full.",
    )


def _sure(result: Season) -> tuple[str, ...]:
    if not result.spans:
        return ()
    return (f"Bikes like it: {DRAWS} draws of what is uncertain about the bike; the weather is the day's own.",)


def _left_out(result: Season) -> str:
    by_day = "" if result.commute.weather.by_the_hour else (
        " Weather told by the day moves the year's energy by up to 3 % against weather of the hour (measured on the "
        "invented year).")  # fmt: skip
    return (
        "Motor and controller start each ride as warm as the air, the pack as where it rested; the evening's warmth is "
        f"gone by morning; a wet road leaves seven tenths of the grip (guess).{by_day}"
    )
