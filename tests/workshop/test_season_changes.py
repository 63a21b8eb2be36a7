"""What can be changed about a commute: which changes are there to be told of, and what each of them is."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace
from typing import Any

import pytest

from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.ride.running import RideOptions
from ridesim.workshop.season import legs
from ridesim.workshop.season import worth as worth_module
from ridesim.workshop.season.plan import Plan
from ridesim.workshop.season.worth import changes, gentler_speed, rank

from ..bikes import CONFIGS, bike

ALWAYS = ["as_planned", "larger_pack", "gentler_limits"]


def asked(loaded: LoadedBuild | None = None, cruise_km_h: float | None = None, **plan: Any) -> Any:
    """A commute as far as its changes look at it."""
    loaded = loaded or bike()
    options = RideOptions(cruise_speed_km_h=cruise_km_h)
    return SimpleNamespace(loaded=loaded, build=loaded.build, plan=Plan(**plan), options=options)


def names(**plan: Any) -> set[str]:
    found = changes(asked(**plan))
    assert [name for name in found if name in ALWAYS] == ALWAYS
    return set(found) - set(ALWAYS)


def test_only_what_is_not_so_already_is_told_of() -> None:
    rests = {"home_c": 20.0}
    assert names() == {"lower_top_charge", "charge_before_leaving", "cellar", "charge_at_work"}
    assert names(**rests) == {"lower_top_charge", "charge_before_leaving", "charge_at_work"}
    assert names(charge_on="leaving", **rests) == {"lower_top_charge", "charge_at_work"}
    assert names(work_share=1.0, **rests) == {"lower_top_charge", "charge_before_leaving"}
    assert names(home_share=None, work_share=0.8, **rests) == set()


@pytest.mark.parametrize(("share", "told"), [(0.85, False), (0.86, True)])
def test_less_is_charged_where_more_than_that_was(share: float, told: bool) -> None:
    found = changes(asked(home_share=share, work_share=0.9, home_c=20.0))
    assert ("lower_top_charge" in found) is told
    if told:
        words, _, plan = found["lower_top_charge"]
        assert (words, plan.home_share, plan.work_share) == ("charge to 85% only", 0.85, 0.85)
        low = changes(asked(home_share=share, work_share=0.5))["lower_top_charge"][2]
        assert low.work_share == 0.5
        assert changes(asked(home_share=share))["lower_top_charge"][2].work_share is None


def test_each_change_of_the_plan_is_that_alone() -> None:
    found, plan = changes(asked(home_share=0.9)), Plan(home_share=0.9)
    assert found["charge_before_leaving"][2] == dataclasses.replace(plan, charge_on="leaving")
    assert found["cellar"][2] == dataclasses.replace(plan, home_c=12.0) and "12 °C" in found["cellar"][0]
    assert found["charge_at_work"][2] == dataclasses.replace(plan, work_share=0.9)
    assert found["as_planned"][2] == plan


@pytest.mark.parametrize(("now", "larger"), [(1, 2), (2, 3), (4, 5), (8, 10), (10, 12), (14, 18)])
def test_a_larger_pack_has_a_quarter_more_cells_and_one_at_least(now: int, larger: int) -> None:
    words, loaded, _ = changes(asked(replace_keys(bike(), {"pack.parallel": now})))["larger_pack"]
    assert loaded.build.pack.parallel == larger and words == f"{larger} cells in parallel, not {now}"


def test_gentler_limits_are_those_of_both_controllers_and_what_cannot_be_is_not_told() -> None:
    two = load_build(CONFIGS / "longtail-two-drives.toml")
    before = two.build.second
    after = changes(asked(two))["gentler_limits"][1].build.second
    assert before is not None and after is not None
    for name in ("motor_current_limit_a", "pack_current_limit_a"):
        assert getattr(after.controller, name) == 0.75 * getattr(before.controller, name)
    full = replace_keys(bike(), {"pack.parallel": 200})
    assert "larger_pack" not in changes(asked(full)) and "gentler_limits" in changes(asked(full))


@pytest.mark.parametrize(("own", "slower"), [(25.0, 22.5), (45.0, 37.5), (15.0, 15.0), (12.0, 12.0), (16.0, 15.75)])
def test_gentler_is_three_quarters_of_what_is_above_15_and_never_faster(own: float, slower: float) -> None:
    """Nobody is slowed below 15 km/h (a guess), nor sped up to it."""
    assert gentler_speed(asked(cruise_km_h=own)) == pytest.approx(slower)
    assert gentler_speed(asked(replace_keys(bike(), {"rider.cruise_speed_km_h": own}))) == pytest.approx(slower)


def test_changes_are_ranked_by_the_year_that_fails_then_by_what_is_left() -> None:
    def worth(name: str, now: bool, fails: int | None, left: float) -> Any:
        return SimpleNamespace(
            name=name, arrives_now=now, fails_in_year=fails, worst_day_charge_left_last_fraction=left
        )

    ranked = [
        worth("a", True, None, 0.3), worth("b", True, None, 0.2), worth("c", True, 7, 0.9),
        worth("d", True, 3, 0.0), worth("e", False, None, 0.9),
    ]  # fmt: skip
    for some in (ranked, ranked[::-1]):
        assert "".join(each.name for each in sorted(some, key=rank)) == "abcde"


@pytest.mark.parametrize(
    ("name", "ends", "arrive", "left"),
    [("as_planned", (0.4, 0.3), True, 0.3), ("as_planned", (0.4, -0.1), False, 0.0),
     ("gentler_limits", (0.4, 0.3), True, 0.3)],
)  # fmt: skip
def test_a_change_is_as_good_as_its_worst_day_and_ridden_at_its_own_speed(
    name: str, ends: tuple[float, float], arrive: bool, left: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two worst days, one of which may not come home; what is left is that of the emptier, and never below nothing."""
    days = [(SimpleNamespace(charge_start=1.0, charge_end=end, net_wh=100.0, arrives=end > 0.0),) for end in ends]
    speeds: list[float | None] = []
    monkeypatch.setattr(legs, "commute", lambda *args: speeds.append(args[-1].cruise_speed_km_h))
    stubs: dict[str, Any] = {
        "bike_of": lambda *_: None,
        "ride_season": lambda *_, **__: days,
        "wears": lambda *_: (None, ""),
        "arrives": lambda day: day[0].arrives,
        "ride_years": lambda *_, **__: SimpleNamespace(last=None, fails_in_year=None),
    }
    for key, stub in stubs.items():
        monkeypatch.setattr(worth_module, key, stub)
    c = asked(cruise_km_h=25.0)
    c.out = c.back = c.weather = None
    told = worth_module._lived(c, name, ("words", c.loaded, c.plan), [0, 1], [0, 1], [0, 1], 3, None, None)
    assert (told.arrives_now, told.worst_day_charge_left_new_fraction) == (arrive, left)
    assert (told.worst_day_charge_left_last_fraction, told.year_energy_wh) == (left, 200.0)
    assert speeds == [22.5 if name == "gentler_limits" else 25.0]
