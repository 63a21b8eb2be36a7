"""The table of outside checks: how a check judges, that every subject holds, and which misses are known."""

from __future__ import annotations

import math
from functools import cache

import pytest

from ridesim.errors import RideError
from ridesim.evidence.checks import Check, Subject, bound, near
from ridesim.evidence.run import Evidence, all_subjects, run_checks
from ridesim.evidence.store import About, Kind, Printed
from ridesim.report.evidence.view import share_used, view
from ridesim.report.view import view_text

QUICK = [subject for subject in all_subjects() if subject.name not in ("cell", "rides")]
KNOWN_MISSES: set[str] = set()
"""Names of the checks that do not hold, each with its cause beside it: none."""


@cache
def ran(name: str) -> tuple[list[Check], list[str]]:
    """Run a subject, once for all tests that look at it."""
    return next(subject for subject in all_subjects() if subject.name == name).run()


def one(ours: float, theirs: float = 10.0, tolerance: float = 0.5, rule: str = "near") -> Check:
    return Check("made", ours, theirs, "V", tolerance, "a test", Kind.PUBLISHED, rule)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("check", "passed"),
    [
        (one(10.5), True), (one(10.51), False), (one(9.49), False), (one(math.nan), False), (one(math.inf), False),
        (one(10.0, rule="at least"), True), (one(9.99, rule="at least"), False), (one(11.0, rule="at least"), True),
        (one(10.0, rule="at most"), True), (one(10.01, rule="at most"), False), (one(math.nan, rule="at most"), False),
    ],
)  # fmt: skip
def test_a_check_judges(check: Check, passed: bool) -> None:
    assert check.passed is passed
    assert (share_used(check) <= 1.0) is passed or math.isnan(check.ours)


@pytest.mark.parametrize(
    ("printed", "digit"), [("1.225", 1e-3), ("101325", 1.0), ("1.789e-5", 1e-8), ("12.0", 0.1), ("-4.50", 0.01)]
)
def test_the_last_printed_digit(printed: str, digit: float) -> None:
    number = Printed(printed, About("kg_per_m3", "s", Kind.LIBRARY))
    assert number.last_digit == pytest.approx(digit)
    assert number.half_unit == pytest.approx(digit / 2.0)
    check = near("x", float(printed), number)
    assert check.tolerance == pytest.approx(digit / 2.0)
    assert (check.unit, check.source, check.kind, check.printed) == ("kg/m³", "s", Kind.LIBRARY, printed)


def test_a_tolerance_is_a_share_of_theirs_or_stated_in_their_unit() -> None:
    number = Printed("20.0", About("wh_per_km", "s", Kind.LIBRARY))
    assert [near("x", ours, number, share=0.1, note="n").passed for ours in (22.0, 22.01, 18.0, 17.99)] == [
        True, False, True, False,
    ]  # fmt: skip
    assert [near("x", ours, number, within=0.5, note="n").passed for ours in (20.5, 20.51)] == [True, False]


def test_a_bound_takes_unit_and_source_of_its_number() -> None:
    most = Printed("8.0", About("wh_per_km", "s", Kind.TRADE))
    assert [bound("x", ours, "at most", most).passed for ours in (8.0, 8.01)] == [True, False]
    assert bound("x", 8.0, "at least", most).unit == "Wh/km"


@pytest.mark.parametrize("subject", QUICK, ids=lambda subject: subject.name)
def test_every_check_holds(subject: Subject) -> None:
    checks, _ = ran(subject.name)
    assert len(checks) >= 10
    assert [f"{check.name}: {check.ours} against {check.theirs}" for check in checks if not check.passed] == []


def test_cells_hold_but_for_the_known_misses() -> None:
    checks, absent = next(subject for subject in all_subjects() if subject.name == "cell").run()
    missed = {check.name for check in checks if not check.passed}
    assert missed == (set() if absent else KNOWN_MISSES)


def test_names_and_sources_are_told() -> None:
    checks = [check for subject in QUICK for check in ran(subject.name)[0]]
    names = [check.name for check in checks]
    assert len(set(names)) == len(names)
    assert all(check.source for check in checks)
    assert all("from memory" in check.source for check in checks if check.kind is Kind.FROM_MEMORY)
    trade = [check for check in checks if check.kind is Kind.TRADE]
    assert len(trade) >= 7
    assert all(check.source == "common practice, no source" for check in trade)


def test_a_wrong_model_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """A check that cannot fail is none: one per cent more air drag must show."""
    from ridesim.evidence import road_power

    true = road_power.air_drag
    monkeypatch.setattr(road_power, "air_drag", lambda *given: 1.01 * true(*given))
    missed = [check for check in road_power.run()[0] if not check.passed]
    assert len(missed) >= 10


def test_absent_recordings_are_said_to_be_absent(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: object) -> None:
    monkeypatch.setenv("RIDESIM_DATA", "/nowhere")
    result = run_checks(["rides"])
    assert result.checks == ()
    assert any("RIDESIM_DATA" in words for words in result.absent)
    assert "not run" in view_text(view(result, pictures=False))


def test_an_unknown_subject_is_refused() -> None:
    with pytest.raises(RideError, match="none called 'wings'"):
        run_checks(["wings"])


def test_the_table_says_plainly_what_misses() -> None:
    result = Evidence((("Made", (one(10.2), one(12.0))),), ())
    shown = view(result)
    text = view_text(shown)
    assert shown.verdict == "look again"
    assert "1 of 2 checks hold" in text
    assert "NO" in text
    assert "yes" in text
    assert len(shown.figures) == 1
    assert view(Evidence((("Made", (one(10.2),)),), ()), pictures=False).verdict == "fine"
