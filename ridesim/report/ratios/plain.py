"""The figures of "which ratio?" as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.report.spread.common import against, plain

if TYPE_CHECKING:
    from ridesim.studies.ratio_choice import RatioCase
    from ridesim.studies.ratios import Ratios


def ratio_figures(result: Ratios) -> dict[str, Any]:
    """Return the figures of the answer as plain values."""
    from ridesim.report.ratios.view import thumb_words

    choice, bounds = result.choice, result.ceilings
    broken = choice.broken if choice is not None else ()
    rows = [case_row(case, faults) for case, faults in zip(result.cases, broken, strict=True)]
    return {
        "can_vary": result.impossible is None,
        "why_not": result.impossible,
        "drive": result.drive,
        "stage": result.stage or None,
        "present_ratio": result.present_ratio,
        "ceilings": None if bounds is None else {**vars(bounds), "given": sorted(bounds.given)},
        "recommended": None if choice is None else rows[choice.index],
        "keeps_all_ceilings": None if choice is None else choice.keeps_all,
        "reasons": [] if choice is None else list(choice.reasons),
        "rule_of_thumb": None if choice is None else thumb_words(result),
        "rule_of_thumb_agrees": None if choice is None else choice.thumb_agrees,
        "accelerate_to_km_h": result.accelerate_to_km_h,
        "ways_out": [vars(way) | {"tried": [vars(one) for one in way.tried]} for way in result.ways],
        "common_draws": plain(result.common, () if result.common is None else against(result.common)),
        "candidates": rows,
        "notes": list(result.notes),
    }


def case_row(case: RatioCase, broken: tuple[str, ...]) -> dict[str, Any]:
    """Return one candidate as plain values; a set of gears is told by its lowest ratio."""
    own = {name: value for name, value in vars(case).items() if name not in ("reduction", "figures")}
    figures = {name: value for name, value in case.figures.plain().items() if name != "limits"}
    reduction = {name: value for name, value in vars(case.reduction).items() if name != "gears"}
    return {**reduction, **own, **figures, "stops": "; ".join(case.stops), "breaks": "; ".join(broken)}
