"""What a search shows: its knee, and no bike that another command stops or that no rule calls a bicycle."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from ridesim.bike.load import load_build, replace_keys
from ridesim.search import finish
from ridesim.search.finish import _certainty, _law, look_at
from ridesim.search.front import knee_of
from ridesim.search.judged import Margins
from ridesim.search.stages import Stages
from ridesim.sure.batch import ANSWERS, CHANCES


def study(road: str, loaded: object, **more: object) -> SimpleNamespace:
    goals = SimpleNamespace(bicycle_under=("European Union",))
    space = SimpleNamespace(loaded_of=lambda _: loaded)
    return SimpleNamespace(asked=SimpleNamespace(goals=goals), space=space, roads=(road,), bounds=(), **more)


def test_the_knee_is_nearest_to_the_best_of_everything() -> None:
    assert knee_of(np.array([[0.0, 10.0], [2.0, 2.0], [9.0, 0.0], [8.0, 8.0]])) == 1


def test_a_draw_that_ends_early_keeps_no_bound() -> None:
    """Two draws stay below the ceiling, one of them because it stops half way; the third is above it."""
    bound = SimpleNamespace(what=ANSWERS[0], excess=lambda values: values - 10.0)
    asked = SimpleNamespace(bounds=(bound,), weights=np.ones(1), matters=())
    rode = SimpleNamespace(
        of=lambda _: np.array([9.0, 5.0, 11.0]), stops=np.array(["finished", "stalled", "finished"]),
        passed=np.zeros((3, len(CHANCES)), dtype=bool), names=ANSWERS, limits=CHANCES,
    )  # fmt: skip
    assert _certainty(asked, [rode], 3).holds[0] == pytest.approx(1.0 / 3.0)


def test_a_moped_is_no_bicycle(root: Path) -> None:
    """350 W to 25 km/h is a powered cycle, a class; 250 W is a bicycle."""
    slow = {"controller.throttle_law": "assist", "controller.assist_speed_limit_km_h": 24.5}
    own = replace_keys(load_build(root / "configs" / "longtail-belt.toml"), slow)
    for watts, said in ((350.0, "no bicycle under the rules of European Union"), (250.0, "")):
        assert _law(study("", own), replace_keys(own, {"controller.motor_power_limit_w": watts})) == said


def test_what_check_stops_or_a_belt_that_tears_is_not_shown(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sound = load_build(root / "configs" / "longtail-belt.toml")
    sheet = SimpleNamespace(verdict="stop", findings=[SimpleNamespace(verdict="stop", title="winding")])
    monkeypatch.setattr(finish, "check_build", lambda *_: sheet)
    monkeypatch.setattr(finish, "_belts", lambda *_: ())
    assert look_at(study("", sound), np.zeros(1)).fault == "check says stop: winding"
    forces = {"tensions": SimpleNamespace(effective_pull_n=9.0), "capacity": SimpleNamespace(allowed_pull_n=3.0)}
    check = SimpleNamespace(verdict="stop", reason="it tears", **forces)
    torn = SimpleNamespace(check=check, load=SimpleNamespace(number=2))
    monkeypatch.setattr(finish, "_belts", lambda *_: (torn,))
    look = look_at(study("", sound), np.zeros(1))
    assert (look.fault, look.is_torn, look.belt_pull_fraction) == ("belt of stage 2: it tears", True, 3.0)


def stages_of(excess: list[float], costs: list[float], off: float, cost_off: float) -> Stages:
    """Return stages with drafts of one bound and one cost, and what drafts may be off."""
    made = Stages.__new__(Stages)
    made.maybe = np.arange(len(excess))
    made.draft = SimpleNamespace(
        excess=np.array(excess)[:, None], costs=np.array(costs)[:, None], stopped=np.zeros(len(excess))
    )  # type: ignore[assignment]
    made.margins = Margins(np.array([off]), np.array([cost_off]))
    return made


@pytest.mark.parametrize(("excess", "ridden"), [(0.9, True), (1.0, True), (1.1, False)])
def test_a_draft_over_its_bound_by_less_than_drafts_are_off_is_ridden_in_full(excess: float, ridden: bool) -> None:
    near = stages_of([-5.0, excess], [10.0, 2.0], off=1.0, cost_off=0.1)._near(np.zeros(2, dtype=bool))
    assert (1 in near.tolist()) is ridden
    assert 0 in near.tolist()


@pytest.mark.parametrize(("excess", "beats"), [(-1.1, True), (-0.9, False), (0.5, False)])
def test_only_a_draft_that_surely_keeps_its_bound_beats_another(excess: float, beats: bool) -> None:
    """The first is far cheaper; where it may break the bound in full, the dearer one must be ridden too."""
    near = stages_of([excess, -5.0], [2.0, 10.0], off=1.0, cost_off=0.1)._near(np.zeros(2, dtype=bool))
    assert near.tolist() == ([0] if beats else [0, 1])


@pytest.mark.parametrize(("cheaper", "beats"), [(9.95, False), (9.8, True)])
def test_a_draft_cheaper_by_less_than_drafts_are_off_beats_nothing(cheaper: float, beats: bool) -> None:
    near = stages_of([-5.0, -5.0], [cheaper, 10.0], off=1.0, cost_off=0.1)._near(np.zeros(2, dtype=bool))
    assert near.tolist() == ([0] if beats else [0, 1])
