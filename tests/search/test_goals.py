"""Goals that make no sense: one clear line each, with the place, the fault and the cure."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ridesim.errors import GoalsError, RidesimError
from ridesim.search.goals import Asked, read_goals
from ridesim.search.how import How, study_of
from ridesim.search.search import search
from ridesim.search.starter import key_reference_markdown, starter_text
from ridesim.search.wanted import KNOWN

Make = Callable[..., Asked]
ONE = {"matters": ["net_energy_wh"]}


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({"vary": {"motor": []}}, r"vary.motor = \[\] is an empty list; give motor parts"),
        ({"vary": {"motor": ["motor-63"]}}, r"\[vary\] motor: .* there is no such part; nearest: motor-63mm"),
        ({"vary": {"motor": ["tyre-26-inch-wide"]}}, "names a tyre, not a motor"),
        ({"vary": {"motor": ["9974"]}}, "there is no such part"),
        ({"vary": {"motor": ["9974,0"]}}, "Kv of 0 rpm/V"),
        ({"vary": {"motors": ["motor-63mm"]}}, "did you mean motor"),
        ({"vary": {"series": [10.5]}}, "vary.series.0 = 10.5 is not a number"),
        ({"vary": {"series": [0]}}, "out of range"),
        ({"hold": [{"what": "price", "at_most": 10, "at_least": 20}]}, "is below at_least .20.: nothing can keep both"),
        ({"hold": [{"what": "drive_mass_kg", "at_most": 5}, {"what": "drive_mass_kg", "at_least": 6}]},
         "at most 5 and at least 6: nothing can keep both"),
        ({"hold": [{"what": "drive_mass_kg"}]}, "is missing, and so is at_least"),
        ({"hold": [{"what": "winding", "at_most": 5}]}, "winding is no quantity .* did you mean peak_winding_temp_c"),
        ({"hold": [{"what": "mass_kg", "at_most": 5}]}, "mass_kg is no quantity .* write bike_mass_kg"),
        ({"hold": [{"what": "drive_mass_kg", "at_most": 5, "certainty_percent": 90}]}, "has no spread"),
        ({"hold": [{"what": "total_time_s", "at_most": 5, "certainty_percent": 101}]}, "certainty_percent = 101"),
        ({"matters": []}, "matters = .. is an empty list"),
        ({"matters": ["speed"]}, "speed is no quantity"),
        ({"matters": ["belt_pull_fraction"]}, "is only held"),
        ({"matters": ["peak_shaft_power_w"]}, "has no good way to go"),
        ({"matters": ["price"], "vary": {"motor": ["motor-63mm"]}}, "price matters, and motor-63mm has none"),
        ({"between": [{"key": "motor.kv", "low": 1, "high": 2}]}, "is not a key of a build; did you mean motor.kv_rpm"),
        ({"between": [{"key": "motor.kv_rpm_per_v", "low": 9, "high": 2}]}, "high = 2 is not above low"),
        ({"between": [{"key": "motor.kv_rpm_per_v", "low": 0.5, "high": 2}]}, "kv_rpm_per_v = 0.5 is out of range"),
        ({"between": [{"key": "motor.name", "low": 1, "high": 2}]}, "motor.name is no number"),
        ({"between": [{"key": "drive.stage.3.ratio", "low": 1, "high": 2}]}, "names no stage of the build"),
        ({"between": [{"key": "rider.mass_kg", "low": 60, "high": 90, "step": 0.001}]}, "asks for 30001 values"),
        ({"vary": {"series": [10, 13]}, "between": [{"key": "pack.series", "low": 9, "high": 12}]}, "varies twice"),
        ({"stage": [{"driver_teeth": [], "driven_teeth": [90]}]}, "driver_teeth = .. is an empty list"),
        ({"stage": [{"driver_teeth": [9], "driven_teeth": [90], "may_be_left_out": True}]}, "every stage may be left"),
        ({"more": 'bicycle_under = ["Atlantis"]'}, "bicycle_under: no rules of 'Atlantis' are known; choose"),
        ({"more": "colour = 3"}, "colour = 3 is not a known key"),
        ({"base": "longtail-bell"}, "there is no such file"),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_told_in_one_line(make_goals: Make, keys: dict[str, Any], told: str):
    with pytest.raises(RidesimError, match=told) as caught:
        study_of(make_goals(**{**ONE, **keys}))
    assert "Traceback" not in str(caught.value) and str(caught.value).count("\n") <= 2


def test_ten_million_by_accident_say_how_many_and_how_long(make_goals: Make):
    numbers = {"key": "rider.power_w", "low": 0.0, "high": 200.0, "step": 0.25}
    more = {"key": "bicycle.cargo_kg", "low": 0.0, "high": 100.0, "step": 0.5}
    asked = make_goals(
        **ONE, vary={"series": list(range(8, 20)), "parallel": list(range(2, 8))}, between=[numbers, more]
    )
    with pytest.raises(GoalsError, match=r"11,592,072 combinations: .* some \d+ (min|h) of rides; .* say --yes"):
        search(asked)


def test_a_search_longer_than_two_minutes_wants_a_yes(make_goals: Make, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("ridesim.search.stages.PATIENCE_S", 1e-9)
    monkeypatch.setattr("ridesim.search.stages.SHORT_S", 0.0)
    asked = make_goals(**ONE, vary={"parallel": [4, 5, 6]})
    with pytest.raises(GoalsError, match=r"3 different drives to ride take about .* say --yes"):
        search(asked)
    assert search(asked, How(samples=16, yes=True)).members


def test_files_that_are_no_goals(tmp_path: Path):
    for name, text, told in (("a.toml", b"x = [", "not valid TOML"), ("b.toml", b"\xff", "not UTF-8")):
        (tmp_path / name).write_bytes(text)
        with pytest.raises(GoalsError, match=told):
            read_goals(tmp_path / name)
    with pytest.raises(GoalsError, match=r"ridesim search --new"):
        read_goals(tmp_path / "none.toml")


def test_an_empty_file_is_told_what_it_lacks(tmp_path: Path):
    (tmp_path / "empty.toml").write_text("")
    with pytest.raises(GoalsError, match=r"build is missing: .*; add it at the top") as caught:
        read_goals(tmp_path / "empty.toml")
    assert "matters is missing" in str(caught.value) and "road" in str(caught.value)


def test_the_starter_is_read_as_it_is(root: Path, tmp_path: Path):
    (tmp_path / "goals.toml").write_text(
        starter_text(str(root / "configs/longtail-belt.toml"), str(root / "routes/ridge-climb.gpx"))
    )
    study = study_of(read_goals(tmp_path / "goals.toml"))
    assert study.space.count > 1000 and len(study.matters) == 2
    table = key_reference_markdown()
    assert "`certainty_percent`" in table and "`driven_teeth`" in table


def test_every_quantity_has_words_and_those_that_matter_a_way():
    for name, quantity in KNOWN.items():
        assert quantity.words and quantity.key == name
