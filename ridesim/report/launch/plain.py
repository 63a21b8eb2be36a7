"""The figures of the standing start as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ridesim.studies.launch import Launch


def launch_figures(result: Launch) -> dict[str, Any]:
    """Return the figures of the answer as plain values."""
    left_out = ("loaded", "run_up", "times", "speeds_on_grades")
    return {
        "times": [vars(time) for time in result.times],
        "speeds_on_grades": [vars(one) for one in result.speeds_on_grades],
        **{name: value for name, value in vars(result).items() if name not in left_out},
    }
