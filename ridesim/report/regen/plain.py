"""The figures of "what is regen worth?" as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.report.spread.common import against, plain

if TYPE_CHECKING:
    from ridesim.studies.regen import Regen, RegenCase


def regen_figures(result: Regen) -> dict[str, Any]:
    """Return the figures of the answer as plain values."""
    return {
        "verdict": result.verdict.word,
        "verdict_reasons": list(result.verdict.reasons),
        "can_regenerate": result.impossible is None,
        "why_not": result.impossible,
        "without": vars(result.without),
        "cases": [_case(case) for case in result.cases],
        "freewheel_range_km": result.freewheel_range_km,
        "common_draws": plain(result.common, () if result.common is None else against(result.common)),
        "charge_limit_a": result.charge_limit_a,
        "warnings": list(result.warnings),
    }


def _case(case: RegenCase) -> dict[str, Any]:
    return {
        **vars(case),
        "with_regen": vars(case.with_regen),
        "without": vars(case.without),
        "causes": [vars(cause) for cause in case.causes],
    }
