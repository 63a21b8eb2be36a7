"""The figures of grouped cells as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import Any

from ridesim.report.plain import as_plain
from ridesim.workshop.asked import Grouped


def group_figures(result: Grouped) -> dict[str, Any]:
    """Return the groups and the cells as plain values; cells are numbered from 1 in the order given."""
    grouping = result.grouping
    named = {
        "groups": [[at + 1 for at in cells] for cells in grouping.groups],
        "spare": [at + 1 for at in grouping.spare],
        "weak": [at + 1 for at in grouping.weak],
    }
    return {**as_plain(grouping), **named, **as_plain(result.cells)}


def group_rows(result: Grouped) -> list[dict[str, Any]]:
    """Return one row a group; cells are numbered from 1 in the order given."""
    return [
        {"group": number, "capacity_ah": capacity, "cells": len(cells), "which": ", ".join(str(at + 1) for at in cells)}
        for number, (cells, capacity) in enumerate(
            zip(result.grouping.groups, result.grouping.group_capacity_ah, strict=True), start=1
        )
    ]
