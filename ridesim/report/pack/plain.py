"""The figures of grouped cells as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import Any

from ridesim.report.plain import as_plain
from ridesim.workshop.asked import Grouped


def group_figures(result: Grouped) -> dict[str, Any]:
    """Return the groups and the cells as plain values."""
    return {**as_plain(result.grouping), **as_plain(result.cells)}


def group_rows(result: Grouped) -> list[dict[str, Any]]:
    """Return one row a group; cells are numbered from 1 in the order given."""
    return [
        {"group": number, "capacity_ah": capacity, "cells": len(cells), "which": ", ".join(str(at + 1) for at in cells)}
        for number, (cells, capacity) in enumerate(
            zip(result.grouping.groups, result.grouping.group_capacity_ah, strict=True), start=1
        )
    ]
