"""What goals can say beyond the plain case: roads with weights, prices, law, belts, stages left out, other cells."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridesim.bike.load import load_build
from ridesim.ride.simulate import simulate
from ridesim.road.load import load_road
from ridesim.search.goals import Asked, read_goals
from ridesim.search.how import How, study_of
from ridesim.search.reasons import _with_unit
from ridesim.search.search import search
from ridesim.search.sift import bike_figures, cheap_tests, sift
from ridesim.search.wanted import Bound
from ridesim.search.written import member_files

from .conftest import goals_text

Make = Callable[..., Asked]
FEW = How(samples=16, shown=4)
ONE: dict[str, Any] = {"matters": ["net_energy_wh"]}


def test_two_roads_matter_by_their_weights_and_hold_on_the_worst(make_goals: Make, root: Path, tmp_path: Path):
    make_goals(**ONE)
    (tmp_path / "flat.toml").write_text('[road]\nkind = "flat"\nlength_km = 1.0\n')
    text = goals_text(root, **ONE, vary={"parallel": [5, 6]}, hold=[{"what": "total_time_s", "at_most": 1000}])
    text = text.replace("[vary]", 'weight = 3.0\n[[road]]\nfile = "flat.toml"\n[vary]')
    (tmp_path / "goals.toml").write_text(text)
    found = search(read_goals(tmp_path / "goals.toml"), FEW)
    (member,) = found.members
    hills, flat = (
        simulate(member.look.loaded, load_road(tmp_path / f"{name}.toml"), trace=False).figures
        for name in ("hills", "flat")
    )
    assert member.figures["net_energy_wh"] == pytest.approx(
        0.75 * hills.net_energy_wh + 0.25 * flat.net_energy_wh, rel=1e-9
    )
    assert member.figures["total_time_s"] == pytest.approx(max(hills.total_time_s, flat.total_time_s), rel=1e-9)


def test_the_price_is_the_sum_of_its_parts(make_goals: Make):
    prices = [{"part": "motor-80mm", "price": 140.0}, {"part": "8085,130", "price": 90.0},
              {"part": "cell-18650-nmc-power", "price": 4.0}]  # fmt: skip
    vary = {"motor": ["motor-80mm", "8085,130"], "cell": ["cell-18650-nmc-power"], "parallel": [4]}
    study = study_of(make_goals(matters=["price"], vary=vary, price=prices))
    values = bike_figures(study.space, study.space.rows(0, 2), study.prices)["price"]
    assert values.tolist() == [140.0 + 52 * 4.0, 90.0 + 52 * 4.0]
    found = search(make_goals(matters=["price"], vary=vary, price=prices), FEW)
    assert found.members[0].labels["motor"] == "8085,130"


def test_masses_and_volume_are_those_of_the_loaded_bike(make_goals: Make):
    vary = {"cell": ["cell-21700-nmc", "cell-lfp-32700"], "motor": ["motor-63mm", "80100,110"], "series": [10, 14]}
    study = study_of(make_goals(**ONE, vary=vary))
    rows = study.space.rows(0, study.space.count)
    made = bike_figures(study.space, rows, {})
    for at, row in enumerate(rows):
        build = study.space.build_of(row)
        parts = build.motor.mass_kg + build.controller.mass_kg + build.pack.mass_kg
        assert made["drive_mass_kg"][at] == pytest.approx(parts, rel=1e-12)
        cell = build.pack.cell
        litres = build.pack.cells * cell.diameter_mm**2 * cell.length_mm * 1e-6
        assert made["pack_volume_l"][at] == pytest.approx(litres, rel=1e-12)


def test_a_stage_may_be_left_out(make_goals: Make):
    stages = [
        {
            "driver_teeth": [24],
            "driven_teeth": [48],
            "width_mm": 25,
            "centre_distance_mm": 120,
            "may_be_left_out": True,
        },
        {"driver_teeth": [16], "driven_teeth": [148, 166], "pitch_mm": 8, "width_mm": 25, "centre_distance_mm": 600},
    ]  # fmt: skip
    asked = make_goals(**ONE, vary={"motor": ["motor-63mm", "motor-80mm"]}, stage=stages)
    study = study_of(asked)
    rows = study.space.rows(0, study.space.count)
    assert {len(study.space.build_of(row).drive.stage) for row in rows} == {1, 2}
    turns = [study.space.loaded_of(row).build.drive.turns for row in rows if _starts(study, row)]
    assert turns == pytest.approx(
        [t for t, row in zip(study.space.turns(rows), rows, strict=True) if _starts(study, row)]
    )
    found = search(asked, FEW)
    assert found.members and all(member.labels["stage 1"] in ("none", "24/48") for member in found.members)


def _starts(study: Any, row: np.ndarray) -> bool:
    try:
        study.space.loaded_of(row)
    except Exception:
        return False
    return True


def test_belts_that_exist_sort_out_pulleys_that_none_reaches(make_goals: Make):
    stage = {"driver_teeth": [16], "driven_teeth": [140, 155], "pitch_mm": 8, "width_mm": 25,
             "centre_distance_mm": 600, "slide_mm": 5, "belt_teeth": [233]}  # fmt: skip
    study = study_of(make_goals(**ONE, stage=[stage]))
    tests = cheap_tests(study.asked, study.space, study.roads, study.bounds, {})
    kept = sift(study.space, tests)
    # Belt length by the usual approximation 2 C + (Dp + dp) pi/2 + (Dp - dp)^2 / 4C (any handbook of belts).
    reach = []
    for driven in (140, 155):
        large, small = driven * 8 / np.pi, 16 * 8 / np.pi
        lengths = [2 * c + (large + small) * np.pi / 2 + (large - small) ** 2 / (4 * c) for c in (595.0, 605.0)]
        reach.append(lengths[0] <= 233 * 8 <= lengths[1])
    assert [str(label) for label in ("16/140", "16/155")] == [o.label for o in study.space.axes[0].options]
    assert sorted(kept.rows[:, 0].tolist()) == [float(at) for at, there in enumerate(reach) if there]
    assert any(reach) != all(reach)


def test_a_belt_pull_may_be_held_below_what_is_allowed(make_goals: Make):
    stage = [
        {"driver_teeth": [14, 18], "driven_teeth": [148], "pitch_mm": 8, "width_mm": 25, "centre_distance_mm": 600}
    ]
    free = search(make_goals(**ONE, stage=stage), FEW)
    pull = free.members[0].look.belt_pull_fraction
    assert pull is not None and 0.1 < pull < 1.0
    hold = [{"what": "belt_pull_fraction", "at_most": round(0.9 * pull, 3)}]
    held = search(make_goals(**ONE, stage=stage, hold=hold), FEW)
    assert all(member.look.belt_pull_fraction <= 0.9 * pull + 1e-3 for member in held.members)
    assert any("belt pull is" in why for _, why in held.thrown_out)


def test_the_law_is_held_where_it_is_asked_for(make_goals: Make):
    """A throttle bike of this power is no bicycle in the EU (Regulation (EU) 168/2013, art. 2): it goes out."""
    found = search(make_goals(**ONE, more='bicycle_under = ["European Union"]'), FEW)
    assert not found.members and "no bicycle under the rules of European Union" in found.thrown_out[0][1]


def test_foldbacks_of_other_cells_are_not_kept(make_goals: Make, tmp_path: Path):
    """The hub bike's controller is set for 16 iron-phosphate cells; with others its foldback is taken anew."""
    vary = {"cell": ["cell-18650-nmc-power"], "series": [13], "parallel": [5]}
    found = search(make_goals(**ONE, base="longtail-hub", vary=vary), FEW)
    assert any("full_current_above_v" in note for note in found.study.notes)
    (member,) = found.members
    assert member.look.loaded.build.controller.full_current_above_v is None
    (tmp_path / "out").mkdir()
    for name, text in member_files(found, tmp_path / "out", ["A"]).items():
        (tmp_path / "out" / name).write_text(text)
    written = load_build(tmp_path / "out" / "build-A.toml")
    road = load_road(tmp_path / "hills.toml")
    ours, theirs = (simulate(each, road, trace=False).figures for each in (written, member.look.loaded))
    assert ours.net_energy_wh == pytest.approx(theirs.net_energy_wh, rel=1e-12)
    assert ours.lowest_pack_voltage_v == pytest.approx(theirs.lowest_pack_voltage_v, rel=1e-12)


def test_changes_of_the_base_reach_every_candidate_and_its_file(make_goals: Make, tmp_path: Path):
    asked = make_goals(**ONE, vary={"parallel": [5]})
    heavy = read_goals(asked.path, {"bicycle.cargo_kg": 90})
    light, more = (search(each, FEW).members[0].figures["net_energy_wh"] for each in (asked, heavy))
    assert more > 1.1 * light
    found = search(heavy, FEW)
    (tmp_path / "out").mkdir()
    (text,) = member_files(found, tmp_path / "out", ["A"]).values()
    (tmp_path / "out/a.toml").write_text(text)
    assert load_build(tmp_path / "out/a.toml").build.bicycle.cargo_kg == 90


def test_the_nearest_part_files_beside_the_base_are_written_by_their_path(root: Path, tmp_path: Path):
    """A builder's own part lies beside the base; a build written elsewhere still finds it."""
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts/mine.toml").write_text((root / "configs/parts/motor-80mm.toml").read_text())
    (tmp_path / "base.toml").write_text((root / "configs/longtail-belt.toml").read_text())
    (tmp_path / "hills.toml").write_text('[road]\nkind = "climb"\nlength_km = 1.0\ngrade_percent = 3.0\n')
    text = goals_text(root, **ONE, vary={"motor": ["mine", "8085,130"]}).replace(
        str(root / "configs/longtail-belt.toml"), "base.toml"
    )
    (tmp_path / "goals.toml").write_text(text)
    found = search(read_goals(tmp_path / "goals.toml"), How(samples=16, shown=2))
    out = tmp_path / "deep/out"
    out.mkdir(parents=True)
    names = [chr(65 + at) for at in range(len(found.members))]
    for name, text in member_files(found, out, names).items():
        (out / name).write_text(text)
    for name, member in zip(names, found.members, strict=True):
        assert load_build(out / f"build-{name}.toml").build.motor == member.look.loaded.build.motor


def test_a_bound_is_told_with_its_unit_and_what_it_is_missed_by_in_kelvin():
    heat, mass = Bound("peak_winding_temp_c", "at most", 120.0), Bound("bike_mass_kg", "at most", 35.0)
    assert [_with_unit(heat, 120.0), _with_unit(heat, 3.21, difference=True)] == ["120 °C", "3.21 K"]
    assert [_with_unit(mass, 35.0), _with_unit(mass, 0.5, difference=True)] == ["35 kg", "0.5 kg"]
