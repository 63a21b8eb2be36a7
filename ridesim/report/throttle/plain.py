"""The figures of the throttle laws as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.report.spread.common import law_differences, plain

if TYPE_CHECKING:
    from ridesim.studies.throttle import Throttle


def throttle_figures(result: Throttle) -> dict[str, Any]:
    """Return the figures of the answer as plain values."""
    left_out = ("loaded", "road", "cases", "rides", "warnings", "common")
    return {
        **{name: value for name, value in vars(result).items() if name not in left_out},
        "common_draws": plain(result.common, () if result.common is None else law_differences(result.common)),
        "cases": [vars(case) for case in result.cases],
        "warnings": list(result.warnings),
    }
