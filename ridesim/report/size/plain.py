"""The figures of a sizing as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import Any

from ridesim.report.plain import as_plain
from ridesim.workshop.size.sizing import Sizing, thumb_rules


def size_figures(result: Sizing) -> dict[str, Any]:
    """Return the sizing as plain values, with the rules of thumb beside it; the wish is its input."""
    figures: dict[str, Any] = as_plain(result)
    del figures["wish"]
    plain_packs = (*figures["packs"], *(pack for _, pack in figures["others"]))
    for told, pack in zip((*result.packs, *(pack for _, pack in result.others)), plain_packs, strict=True):
        pack["chances"] = [each.plain() for each in told.chances]
    rules = [dict(zip(("rule", "rule_says", "model_says"), row, strict=True)) for row in thumb_rules(result)]
    return {**figures, "rules_of_thumb": rules}
