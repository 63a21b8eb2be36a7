"""Names from files reach a table as words, never as formulas."""

from __future__ import annotations

import csv
from pathlib import Path

from ridesim.cli.answer import csv_writer


def test_words_that_begin_like_formulas_are_quoted_and_numbers_are_not(tmp_path: Path):
    rows = [{"name": word, "x": "-1.5e3", "y": -2.0} for word in ("=1+1", "+cmd", "-x", "@sum", "plain", "a=b")]
    csv_writer(rows)(tmp_path / "t.csv")
    with (tmp_path / "t.csv").open(newline="", encoding="utf-8") as lines:
        read = list(csv.DictReader(lines))
    assert [row["name"] for row in read] == ["'=1+1", "'+cmd", "'-x", "'@sum", "plain", "a=b"]
    assert {row["x"] for row in read} == {"-1.5e3"} and {row["y"] for row in read} == {"-2.0"}
