"""The figures of a replay as plain values, for JSON, tables and Python."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ridesim.learn.replay import Replay


def replay_figures(result: Replay) -> dict[str, Any]:
    """Return a replay as plain values, its courses left out."""
    balance = result.balance
    return {
        "verdict": result.verdict,
        "span_s": result.span_s,
        "distance_km": result.distance_km,
        "driven_by": {
            "driver": result.driven.by, "motion": result.driven.speed_by, "current": result.driven.current_by,
        },
        "channels": [asdict(each) for each in result.partings],
        "road": None if balance is None else {
            "given_w": float(balance.given_w.mean()), "asked_w": float(balance.asked_w.mean()),
            "scatter_w": float((balance.given_w - balance.asked_w).std()), "altitude_lag_s": balance.lag_s,
        },
        "findings": list(result.general),
    }  # fmt: skip


MOST_ROWS = 20_000


def channel_rows(result: Replay) -> list[dict[str, float]]:
    """Return measured and computed columns as rows, thinned to what a spreadsheet takes."""
    from ridesim.learn.driven import averaged

    per = max(1, result.driven.count // MOST_ROWS)
    columns = {"time_s": averaged(result.driven.time_s, per)}
    for each in result.channels:
        columns[f"{each.channel.name}"] = averaged(each.measured, per)
        columns[f"computed_{each.channel.name}"] = averaged(each.computed, per)
    names = list(columns)
    return [
        dict(zip(names, (float(value) for value in row), strict=True)) for row in zip(*columns.values(), strict=True)
    ]
