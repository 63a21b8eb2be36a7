"""The list before the first turn: whole, in order, with the build's own figures."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from ridesim.bike.load import load_build, replace_keys
from ridesim.report.check.view import view
from ridesim.workshop.check.first_turn import first_turn_list
from ridesim.workshop.check.sheet import CheckSheet, check_build


@pytest.fixture(scope="module")
def sheet(root: Path) -> CheckSheet:
    return check_build(load_build(root / "configs/longtail-belt.toml"))


def test_the_list_is_whole_and_power_comes_after_what_makes_it_safe(sheet: CheckSheet) -> None:
    order = [step.what for step in sheet.first_turn]
    wanted = [
        "wheel in the air", "polarity", "fuse", "pre-charge", "current-limited supply", "low limits",
        "phase and sensor order", "throttle at zero", "brake cut-off", "first metres",
    ]  # fmt: skip
    assert [what for what in order if what in wanted] == wanted
    words = {step.what: step.to_do for step in sheet.first_turn}
    assert all(len(text) > 60 for text in words.values())


def test_the_list_has_the_builds_own_figures(sheet: CheckSheet, root: Path) -> None:
    words = {step.what: step.to_do for step in sheet.first_turn}
    fuse = sheet.harness.fuse
    assert fuse is not None and f"One of {fuse.rating_a:g} A" in words["fuse"]
    # 13 groups of 3.751 V at half charge (Chen et al. 2020) are 48.8 V.
    assert "at 49 V limited to 2 A" in words["current-limited supply"]
    loaded = load_build(root / "configs/longtail-belt.toml")
    for limit, told in ((80.0, "to 16 A (20% of 80 A)"), (3.0, "to 1 A (20% of 3 A)")):
        build = replace_keys(loaded, {"controller.motor_current_limit_a": limit}).build if limit > 50 else None
        if build is None:
            box = loaded.build.controller.model_copy(update={"motor_current_limit_a": limit})
            build = loaded.build.model_copy(update={"controller": box})
        steps = {step.what: step.to_do for step in first_turn_list(build, sheet.harness)}
        assert told in steps["low limits"]


def test_a_fuse_that_is_not_known_is_not_named(sheet: CheckSheet, root: Path) -> None:
    build = load_build(root / "configs/longtail-belt.toml").build
    bare = dataclasses.replace(sheet.harness, fuse=None)
    words = {step.what: step.to_do for step in first_turn_list(build, bare)}
    assert "between the load and what the leads bear" in words["fuse"]


def test_page_and_terminal_show_the_list_marked_as_common_practice(sheet: CheckSheet) -> None:
    for pictures in (True, False):
        table = view(sheet, pictures=pictures).tables[-1]
        assert "common practice, no source" in table.title
        text = " ".join(" ".join(row[0].split()) for row in table.rows)
        assert all(step.to_do in text for step in sheet.first_turn)
        assert text.startswith("1. wheel in the air")


def test_no_step_tells_of_no_ampere_or_no_second(sheet: CheckSheet, root: Path) -> None:
    """A fifth of 2 A was to be told as 1 A, not as 0 A; a pre-charge of 0.3 s as a second."""
    loaded, found = load_build(root / "configs/longtail-belt.toml"), sheet.harness.precharge
    assert found is not None
    box = loaded.build.controller.model_copy(update={"motor_current_limit_a": 2.0})
    small = loaded.build.model_copy(update={"controller": box})
    for seconds, controllers, told in (
        (0.3, 1, "the controller's capacitors"),
        (2.6, 2, "each controller's capacitors"),
    ):
        currents = dataclasses.replace(sheet.harness.currents, controllers=controllers)
        quick = dataclasses.replace(found, time_to_99_percent_s=seconds)
        harness = dataclasses.replace(sheet.harness, currents=currents, precharge=quick)
        words = {step.what: step.to_do for step in first_turn_list(small, harness)}
        assert "to 1 A (20% of 2 A)" in words["low limits"]
        assert told in words["pre-charge"] and f"for {max(1, round(seconds))} s before" in words["pre-charge"]
