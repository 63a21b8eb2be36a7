"""The figures of how sure a ride is as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ridesim.report.spread.asked import Asked
    from ridesim.sure.spread import Spread


def spread_figures(result: Spread, answer: str = "") -> dict[str, Any]:
    """Return the figures of a spread as plain values; `answer`: asked about, else what the verdict's trouble is of."""
    from ridesim.report.spread.asked import asked

    about = asked(result, answer)
    return {
        "verdict": result.verdict,
        "samples": result.samples,
        "seed": result.seed,
        "answers": {name: _answer_figures(result, name) for name in result.drawn.names},
        "chances": [each.plain() for each in result.chances],
        "ends": result.ends,
        "uncertain": [_number(result, at) for at in range(len(result.doubts.numbers))],
        "about": about.answer,
        "about_limit": about.limit or None,
        "carriers": _carriers(result, about),
        "measure_next": _measurements(result, about),
    }


def _answer_figures(result: Spread, name: str) -> dict[str, Any]:
    values = result.values(name)
    return {
        "as_built": result.as_built(name),
        "mean": float(values.mean()) if len(values) else None,
        "standard_deviation": float(values.std(ddof=1)) if len(values) > 1 else None,
        "percentiles": [vars(each) for each in result.percentiles(name)],
    }


def _number(result: Spread, at: int) -> dict[str, Any]:
    each = result.doubts.numbers[at]
    return {
        "key": each.key, "value": each.value, "tolerance": each.tolerance.said, "kind": each.tolerance.kind,
        "standard_deviation": each.standard_deviation, "whose": each.whose,
    }  # fmt: skip


def _carriers(result: Spread, about: Asked) -> list[dict[str, Any]]:
    """Shares and indices of what is asked about, the largest share first; keys drawn together share their indices."""
    shares, row = about.shares, result.drawn.names.index(about.answer)
    column = {at: place for place, columns in enumerate(result.factors) for at in columns}
    rows = []
    for at in sorted(range(len(shares)), key=lambda index: -shares[index]):
        one: dict[str, Any] = {"key": result.doubts.numbers[at].key, "share": float(shares[at])}
        if result.indices is not None and not about.limit:
            one |= {name: float(table[row, column[at]]) for name, table in vars(result.indices).items()}
        rows.append(one)
    return rows


def _measurements(result: Spread, about: Asked) -> list[dict[str, Any]]:
    from ridesim.sure.measure import next_measurements

    found = next_measurements(result.doubts, about.shares)
    return [{**vars(one), "span_narrows_by": 1.0 - one.left} for one in found]
