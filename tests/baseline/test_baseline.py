"""A few reference rides hold still: what a change moves is seen here first, figure by figure."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

_SPEC = importlib.util.spec_from_file_location("answers", Path(__file__).with_name("answers.py"))
assert _SPEC and _SPEC.loader
answers = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(answers)


@pytest.mark.parametrize("name", sorted(answers.RIDES))
def test_reference_ride_holds_still(name: str) -> None:
    lines = answers.moved(name, answers.answer(name))
    assert not lines, (
        f"{name} moved:\n  " + "\n  ".join(lines) + "\nIf each of these was meant to move, say why in the commit, "
        "then: python tests/baseline/answers.py"
    )


def test_a_moved_figure_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    kept = answers.answer("longtail-belt-ridge")
    now = {**kept, "charge_left_fraction": kept["charge_left_fraction"] * (1.0 + 3e-4)}
    assert [line.split(":")[0] for line in answers.moved("longtail-belt-ridge", now)] == ["charge_left_fraction"]
