"""How many gears, and which: every set is ridden, what is taken rides as told, and gears are not taken for nothing."""

from __future__ import annotations

import itertools
import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from typer.testing import CliRunner

from ridesim.bike.load import load_build
from ridesim.cli.app import app
from ridesim.errors import RideError
from ridesim.report.ratios.gears import gear_figures, gear_view
from ridesim.ride.judge import judge
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb
from ridesim.studies.gear_choice import GearSets, best_of_each, evenly, fewest_that_pay, first_sets, gear_sets, nearer
from ridesim.studies.ratio_choice import TOO_SLOW, RatioCase, Reduction
from ridesim.studies.ratios import ratios, with_reduction

CONFIGS = Path(__file__).parents[2] / "configs"
STEEP = make_climb(250.0, 15.0)


@pytest.fixture(scope="module")
def found() -> GearSets:
    """A motor that is too weak for the ramp in the gear that its speed asks for."""
    two = {"drive.gears.ratios": [1.86, 1.1], "drive.gears.efficiencies": None, "drive.gears.down_rpm": None}
    weak = {"controller.motor_current_limit_a": 30.0, "rider.cruise_speed_km_h": 30.0, **two}
    asked = {"max_winding_c": 130.0, "min_top_speed_km_h": 30.0, "max_time_s": 200.0}
    return gear_sets(load_build(CONFIGS / "longtail-mid-drive.toml", weak), STEEP, 2, **asked)


def test_what_is_taken_was_ridden_and_rides_as_told(found: GearSets):
    again = simulate(with_reduction(found.loaded, 0, found.case.reduction), STEEP, trace=False).figures
    assert again.net_wh_per_km == pytest.approx(found.case.net_wh_per_km, rel=2e-3)
    assert again.gear_shifts == found.case.figures.gear_shifts
    assert found.keeps_all and not found.broken[found.taken]
    assert [len(found.cases[at].reduction.gears) for at in found.best] == [1, 2]


def test_every_ceiling_asked_for_is_held(found: GearSets):
    held = found.ceilings
    assert held.given == {"winding", "top speed", "time"}
    assert (held.max_winding_c, held.min_top_speed_km_h, held.max_time_s) == (130.0, 30.0, 200.0)


def test_one_gear_cannot_both_climb_and_run_and_two_can(found: GearSets):
    assert found.broken[found.best[0]] and not found.broken[found.best[1]]
    assert len(found.case.reduction.gears) == 2
    fails = {word for at, case in enumerate(found.cases) if len(case.reduction.gears) == 1 for word in found.broken[at]}
    assert {"top speed too low", "does not arrive"} <= fails
    reasons = gear_figures(found)["reasons"]
    assert reasons[0].startswith("Fewer: the best of them, 1 gear")


def test_one_gear_is_other_teeth_without_a_gears_loss(found: GearSets):
    loaded = load_build(CONFIGS / "longtail-two-stage.toml")
    geared = simulate(with_reduction(loaded, 0, Reduction(1.2, gears=(1.2,))), STEEP, trace=False).figures
    stage = simulate(with_reduction(loaded, 1, Reduction(148 / 16 * 1.2)), STEEP, trace=False).figures
    assert geared.net_wh_per_km == pytest.approx(stage.net_wh_per_km, rel=1e-9)
    assert geared.gear_shifts == 0


def test_sets_step_evenly():
    gears = evenly(2.0, 4.0, 5).gears
    assert gears[0] == 2.0 and gears[-1] == 0.5
    steps = [before / after for before, after in itertools.pairwise(gears)]
    assert steps == pytest.approx([4.0**0.25] * 4, rel=1e-3)
    counts = {len(each.gears) for each in first_sets(1.0, 6)}
    assert counts == {1, 2, 3, 4, 5, 6}
    assert {len(each.gears) for each in first_sets(1.0, 1)} == {1}


def case(count: int, energy: float, **changed: Any) -> RatioCase:
    told = {"distance_km": 1.0, "finished": True, "peak_winding_temp_c": 80.0, **changed}
    figures: Any = SimpleNamespace(net_wh_per_km=energy, **told)
    ends: dict[str, Any] = dict.fromkeys(RatioCase.__dataclass_fields__)
    return RatioCase(**{**ends, "reduction": Reduction(1.0, gears=(1.0,) * count), "figures": figures})


@pytest.mark.parametrize(("energies", "broken", "gears"), [
    ((20.0, 19.7), ((), ()), 1),  # 1.5 % is not worth a gear
    ((20.0, 19.5), ((), ()), 2),  # 2.5 % is
    ((20.0, 20.5), (("hot",), ()), 2),
    ((20.0, 20.5), (("hot",), ("hot", "slow")), 1),
    ((20.0, 20.5), (("hot", "slow"), ("hot",)), 2),  # the least bad, not the fewest
    ((-20.0, -20.3), ((), ()), 1),  # so where it runs down and gives back
    ((-20.0, -20.5), ((), ()), 2),
])  # fmt: skip
def test_more_gears_have_to_pay(energies: tuple[float, ...], broken: tuple[tuple[str, ...], ...], gears: int):
    cases = [case(count, energy) for count, energy in enumerate(energies, 1)]
    taken = fewest_that_pay(cases, broken, best_of_each(cases, broken))
    assert len(cases[taken].reduction.gears) == gears


def test_the_best_of_a_number_breaks_least():
    cases = [case(2, 18.0), case(2, 19.0), case(2, 18.5)]
    assert best_of_each(cases, [("hot",), (), ()]) == (2,)


def test_of_those_that_do_not_arrive_the_farthest_then_the_coolest_is_best():
    """What a ride took that did not arrive tells nothing."""
    short, far = case(2, 18.0, finished=False, distance_km=0.4), case(2, 25.0, finished=False, distance_km=0.9)
    assert best_of_each([short, far], [("slow",)] * 2) == (1,)
    hot, cool = (case(2, wh, finished=False, peak_winding_temp_c=c) for wh, c in ((18.0, 140.0), (25.0, 90.0)))
    assert best_of_each([hot, cool], [("slow",)] * 2) == (1,)


def test_sets_are_such_as_can_be():
    """Steps of 6 % to twofold, ratios of a tenth to ten."""
    for lowest in (0.15, 1.0, 8.0):
        for each in first_sets(lowest, 14):
            assert each.gears[-1] >= 0.1 and each.gears[0] <= 10.0
            assert all(1.06 <= before / after <= 2.0 for before, after in itertools.pairwise(each.gears))


def test_nearer_sets_vary_both_ends_and_are_new():
    best = evenly(2.0, 1.6, 2)
    near = nearer([best], [case(1, 20.0), replace(case(2, 20.0), reduction=best)])
    assert len({each.gears for each in near} - {best.gears}) == len(near) == 8
    assert [len({each.gears[at] for each in near}) for at in (0, -1)] == [3, 3]


def test_nearer_sets_are_ridden_and_those_that_the_build_has(found: GearSets):
    ridden, drive = {each.reduction.gears for each in found.cases}, found.loaded.build.drive
    assert ridden - {each.gears for each in first_sets(drive.speeds[0].turns, 2)} - {drive.gears.ratios}
    assert drive.gears.ratios in ridden


def test_words_and_picture(found: GearSets):
    view = gear_view(found)
    assert view.answer[0].startswith("Take 2 gears: ")
    assert len(view.figures) == 1 and len(view.tables[0].rows) == 2
    none = gear_view(replace(found, keeps_all=False), pictures=False)
    assert none.verdict == "stop" and none.answer[0].startswith("None is good")


def test_the_word_is_the_judge_s_of_the_ride_with_what_is_taken(found: GearSets):
    """FINE was said of a set that `ride` looks at again: most of the ramp is ridden on the motor current limit."""
    judged = judge(simulate(with_reduction(found.loaded, 0, found.case.reduction), STEEP, trace=False))
    view = gear_view(found, pictures=False)
    assert view.verdict == judged.word == "look again"
    assert [f"Of its ride: {reason}" for reason in judged.reasons] == [
        line for line in view.answer if line.startswith("Of its ride:")
    ]
    at = found.taken

    def with_taken(**changed: Any) -> str:
        cases = tuple(replace(each, **changed) if i == at else each for i, each in enumerate(found.cases))
        return gear_view(replace(found, cases=cases), pictures=False).verdict

    assert with_taken(verdict="fine") == "fine"
    assert with_taken(verdict="fine", belts="look again") == "look again"


def test_of_sets_that_are_all_too_slow_the_quickest_is_told():
    """The slowest takes the least energy, and said "save 14.9%" of sets that took twice the time."""
    crawling, quick = case(2, 15.0, total_time_s=4000.0), case(2, 18.0, total_time_s=2600.0)
    assert best_of_each([crawling, quick], [(TOO_SLOW,)] * 2) == (1,)
    assert best_of_each([quick, crawling], [(TOO_SLOW,)] * 2) == (0,)
    assert best_of_each([quick, crawling], [("hot",)] * 2) == (1,)


@pytest.mark.parametrize(("faults", "told"), [((TOO_SLOW,), "breaks: too slow."), ((), "energy; below 2%")])
def test_more_gears_that_break_a_ceiling_are_told_with_it(found: GearSets, faults, told):
    one, two = (next(at for at in found.best if len(found.cases[at].reduction.gears) == count) for count in (1, 2))
    broken = tuple(() if at == one else faults if at == two else each for at, each in enumerate(found.broken))
    (line,) = [
        line for line in gear_figures(replace(found, taken=one, broken=broken))["reasons"] if line.startswith("More: ")
    ]
    assert line.startswith(f"More: {found.cases[two].reduction.words} ") and told in line


def test_the_pedal_chains_stage_is_not_what_ratios_varies():
    """The chain's teeth are its chain's: what `ratios` varies by itself is the last stage before it."""
    found = ratios(load_build(CONFIGS / "longtail-mid-drive.toml"), make_climb(100.0, 2.0), [8.0, 8.8])
    assert found.stage == 2 and [each.reduction.ratio for each in found.cases] == [8.0, 8.8]


def test_what_cannot_be_asked():
    hub, mid = (load_build(CONFIGS / f"longtail-{name}.toml") for name in ("hub", "mid-drive"))
    with pytest.raises(RideError, match="sits in the wheel"):
        gear_sets(hub, STEEP, 3)
    with pytest.raises(RideError, match="15 gears"):
        gear_sets(mid, STEEP, 15)


def test_the_command(tmp_path: Path):
    road = tmp_path / "ramp.toml"
    road.write_text('[road]\nkind = "climb"\nlength_km = 0.2\ngrade_percent = 8\n')
    build = str(CONFIGS / "longtail-mid-drive.toml")
    asked = ["ratios", build, str(road), "--gears", "1", "--json"]
    answer = CliRunner().invoke(app, asked)
    assert answer.exit_code == 0, answer.output
    told = json.loads(answer.stdout)
    assert told["recommended"]["gears"] == 1 and len(told["candidates"]) >= 5
    wrong = CliRunner().invoke(app, [*asked, "--teeth", "14:140"])
    assert wrong.exit_code == 2
