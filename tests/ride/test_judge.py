"""The one judge: every limit just inside and just outside, each by its own figure, rating and words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridesim.bike.load import load_build
from ridesim.engine.cells import out_of_reach
from ridesim.engine.state import Limit
from ridesim.ride.bounds import BOUNDS
from ridesim.ride.figures import Figures, LimitMet
from ridesim.ride.judge import Finding, hold, judge, look_again, ride_findings, worst
from ridesim.ride.limits import LIMITS
from ridesim.ride.rows import ride_rows
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_cycle, make_flat

from ..bikes import bike

F, L, S = "fine", "look again", "stop"

TABLE = [
    # name, limit, then figures with the verdict each must get; typed by hand, so that no rule is checked by itself
    ("winding", 155.0, [(139.9, F), (140.1, L), (155.05, L), (155.2, S)]),
    ("magnets", 120.0, [(104.9, F), (105.1, L), (120.05, L), (120.2, S)]),
    ("controller", 100.0, [(99.9, F), (100.05, F), (100.2, S)]),
    ("cells_heat", 60.0, [(54.9, F), (55.1, L), (60.2, S)]),
    ("cell_peak", 10.0, [(10.05, F), (10.15, L), (30.0, L)]),
    ("cell_lasting", 10.0, [(10.05, F), (10.15, S)]),
    ("cell_by_limit", 10.0, [(10.05, F), (10.15, L)]),
    ("charge_peak", 4.0, [(4.03, F), (4.05, L)]),
    ("charge_hard", 6.0, [(6.05, F), (6.07, S)]),
    ("charge_by_limit", 1.6, [(1.600004, F), (1.62, L)]),
    ("overcharge", 1.0, [(1.0005, F), (1.0015, S)]),
    ("cell_voltage_high", 4.2, [(4.205, F), (4.24, S)]),
    ("reserve", 0.1, [(0.11, F), (0.09, L)]),
    ("supply_voltage", 60.0, [(56.9, F), (57.1, L), (60.0, L), (60.1, S)]),
    ("over_speed", 60.0, [(53.9, F), (54.1, L), (60.0, L), (60.1, S)]),
    ("electrical_frequency", 1000.0, [(979.0, F), (981.0, L), (1009.0, L), (1011.0, S)]),
    ("free_frequency", 1000.0, [(999.0, F), (1001.0, L)]),
    ("time_on_a_bound", 0.15, [(0.149, F), (0.151, L)]),
    ("top_speed", 25.0, [(24.8, F), (24.7, L), (5.0, L)]),
    ("standing_force", 500.0, [(499.0, F), (501.0, L), (2000.0, L)]),
    ("wheel_kv", 16.0, [(15.9, F), (16.1, L), (50.0, L)]),
    ("wheel_kv_low", 6.0, [(6.1, F), (5.9, L), (0.1, L)]),
    ("cold_charging", 0.0, [(5.1, F), (4.9, L), (-10.0, L)]),
    ("belt_pull", 400.0, [(403.0, F), (405.0, S)]),
    ("pack_cell_current", 10.0, [(7.99, F), (8.01, L), (10.0, L), (10.01, S)]),
    ("pack_sag", 24.0, [(4.79, F), (4.81, L), (23.9, L), (24.1, S)]),
    ("pack_voltage", 0.05, [(0.049, F), (0.051, L), (0.5, L)]),
    ("charging_current", 2.5, [(2.5, F), (2.51, S)]),
    ("charging_cold", 0.0, [(0.0, F), (-0.1, S)]),
    ("charging_hot", 55.0, [(45.0, F), (45.1, L), (54.9, L), (55.1, S)]),
    ("ageing", 0.2, [(0.199, F), (0.201, L), (0.9, L)]),
    ("group_voltage", 0.10, [(0.019, F), (0.021, L), (0.099, L), (0.101, S)]),
    ("group_capacity", 0.05, [(0.019, F), (0.021, L), (0.049, L), (0.051, S)]),
    ("group_resistance", 0.10, [(0.099, F), (0.101, L), (0.9, L)]),
    ("cell_share", 1.25, [(1.24, F), (1.26, L), (3.0, L)]),
    ("slot_fill", 0.7854, [(0.39, F), (0.41, L), (0.785, L), (0.786, S)]),
    ("slot_copper", 1.0, [(1.0, F), (1.01, L), (2.0, L)]),
    ("copper_density", 6.0, [(5.9, F), (6.1, L), (20.0, L)]),
    ("wire_counted", 0.30, [(0.29, F), (0.31, L), (2.0, L)]),
    ("bench_error", 0.05, [(0.049, F), (0.051, L), (0.9, L)]),
    ("bench_resistance_error", 0.15, [(0.149, F), (0.151, L), (0.9, L)]),
    ("bench_drag_error", 0.20, [(0.199, F), (0.201, L), (0.9, L)]),
    ("log_braked", 0.25, [(0.249, F), (0.251, S)]),
    ("bench_run_error", 0.25, [(0.249, F), (0.251, L), (0.9, L)]),
    ("bench_rows", 0.0, [(0.0, F), (1.0, L)]),
    ("bench_scatter", 0.15, [(0.149, F), (0.151, S)]),
    ("bench_sign", 0.0, [(1e-9, F), (-1e-9, S)]),
    ("bench_speeds", 1.5, [(1.51, F), (1.5, F), (1.49, L)]),
    ("name_plate", 0.11, [(0.109, F), (0.111, L), (0.9, L)]),
    ("lead_pairs", 0.05, [(0.049, F), (0.051, L), (0.9, L)]),
    ("law_class", 0.0, [(0.0, F), (1.0, S)]),
    ("law_approval", 0.0, [(0.0, F), (1.0, L)]),
    ("coast_edge", 1e-3, [(1.1e-3, F), (1e-3, F), (0.9e-3, S), (0.0, S)]),
    ("coast_runs", 2.0, [(2.0, F), (1.0, L)]),
    ("coast_spread", 0.30, [(0.299, F), (0.301, L), (3.0, L)]),
    ("log_work", 5.0, [(4.9, F), (5.1, L), (80.0, L)]),
    ("log_likeness", 0.85, [(0.86, F), (0.84, L), (-1.0, L)]),
    ("log_edges", 0.0, [(0.0, F), (1.0, L)]),
    ("log_faults", 0.01, [(0.0099, F), (0.0101, L), (1.0, L)]),
    ("cell_met", 30.0, [(29.9, F), (30.1, L), (900.0, L)]),
    ("winding_keys", 0.0, [(0.0, F), (1.0, S)]),
    ("belt_stages", 2.0, [(2.0, F), (1.0, S), (0.0, S)]),
    ("stated_power", 750.0, [(749.0, F), (751.0, L), (5000.0, L)]),
    ("brake_heat", 250.0, [(209.9, F), (210.1, L), (250.2, S)]),
    ("brake_heat", 100.0, [(83.9, F), (84.1, L), (100.2, S)]),
    ("gear_torque", 90.0, [(90.8, F), (91.0, S)]),
    ("chain_force", 3000.0, [(3025.0, F), (3035.0, S)]),
    ("shifting", 6.0, [(5.9, F), (6.1, L), (30.0, L)]),
    ("chain_guess", 2600.0, [(2620.0, F), (2630.0, L), (9000.0, L)]),
    ("pushed", 0.0, [(0.0, F), (0.1, L), (500.0, L)]),
    ("arrival", 6.0, [(6.0, F), (5.9995, F), (5.998, S)]),
]


@pytest.mark.parametrize(("name", "limit", "figures"), TABLE, ids=[row[0] for row in TABLE])
def test_each_limit_just_inside_and_just_outside(name: str, limit: float, figures: list[tuple[float, str]]) -> None:
    assert [(figure, hold(name, figure, limit).verdict) for figure, _ in figures] == figures


@pytest.mark.parametrize("name", sorted(LIMITS))
def test_every_limit_turns_at_its_limit_and_on_the_right_side(name: str) -> None:
    """Belts, leads and plugs have their own tables in the workshop's tests; here each turns, and the right way."""
    rule = LIMITS[name]
    beyond, calm = (5.0, 2000.0) if rule.floor else (2000.0, 5.0)
    assert hold(name, 100.0, 100.0).verdict in (F, L)
    assert hold(name, beyond, 100.0).verdict == rule.passed != F
    assert hold(name, calm, 100.0).verdict == F


def test_what_is_no_number_is_no_pass_and_what_is_not_stated_is_not_judged() -> None:
    assert hold("winding", float("nan"), 155.0).verdict == S
    assert hold("winding", 155.0, None).verdict == F
    assert look_again("supply_voltage", "not stated").verdict == L
    assert worst([]) == F and worst([F, L, F]) == L and worst([L, S, F]) == S


def test_a_finding_says_what_helps_only_where_help_is_needed() -> None:
    assert hold("winding", 100.0, 155.0).cure == ""
    assert "slower gearing" in hold("winding", 160.0, 155.0).cure
    assert all(rule.words and rule.protects and rule.cure and rule.source for rule in LIMITS.values())


def test_calm_words_are_told_only_where_all_is_fine() -> None:
    told = [hold("winding", figure, 155.0, "hot", calm="cool").reason for figure in (100.0, 150.0, 160.0)]
    assert told == ["cool", "hot", "hot"]


@pytest.fixture(scope="module")
def calm() -> Ride:
    """A ride on which everything is fine: 6 parallel cells, a fixed drive, no hill."""
    ride = simulate(bike({"controller.voltage_limit_v": 63.0}), make_flat(4000.0))
    assert judge(ride).word == F, judge(ride).reasons
    return ride


def verdicts(ride: Ride, **changes: Any) -> dict[str, str]:
    """What a ride is found to be with some figures changed: limit (and subject) -> verdict, only what is not fine."""
    found = ride_findings(replace(ride.figures, **changes), ride.build, "metric")
    return {
        f"{each.name}{':' + each.subject if each.subject else ''}": each.verdict for each in found if each.verdict != F
    }


def test_each_figure_is_held_against_its_own_limit(calm: Ride) -> None:
    """One figure changed moves one verdict: magnets by magnets, cells by cells, charging by charging."""
    cell = calm.build.pack.cell  # 10 A out, 2 A in, 4.2 V
    assert (cell.max_discharge_a, cell.max_charge_a, cell.max_voltage_v) == (10.0, 2.0, 4.2)
    assert verdicts(calm) == {}
    for changes, expected in (
        ({"peak_winding_temp_c": 121.0}, {}),
        ({"peak_winding_temp_c": 156.0}, {"winding": S}),
        ({"peak_body_temp_c": 121.0}, {"magnets": S}),
        ({"peak_body_temp_c": 110.0}, {"magnets": L}),
        ({"peak_controller_temp_c": 99.0}, {}),
        ({"peak_controller_temp_c": 101.0}, {"controller": S}),
        ({"peak_pack_temp_c": 61.0}, {"cells_heat": S}),
        ({"peak_cell_current_a": 10.2}, {"cell_peak": L}),
        ({"sustained_cell_current_a": 10.2}, {"cell_lasting": S}),
        ({"peak_pack_current_a": 49.0, "sustained_pack_current_a": 49.0}, {}),
        ({"peak_cell_charge_current_a": 2.1}, {"charge_peak": L}),
        ({"peak_cell_charge_current_a": 3.1}, {"charge_peak": L, "charge_hard": S}),
        ({"highest_charge_fraction": 1.02}, {"overcharge": S}),
        ({"highest_cell_voltage_v": 4.24}, {"cell_voltage_high": S}),
        ({"highest_pack_voltage_v": 63.5}, {"supply_voltage": S}),
        ({"charge_left_fraction": 0.09}, {"reserve": L}),
        ({"over_speed_s": 1.0}, {"over_speed": S}),
        ({"finished": False, "stop": "stalled", "distance_km": 3.9}, {"arrival": S}),
        ({"finished": False, "stop": "time_limit"}, {"arrival": S}),
    ):
        assert verdicts(calm, **changes) == expected, changes


def test_a_reserve_that_is_left_is_not_told_as_missing(calm: Ride) -> None:
    told = {}
    for left in (0.12, 0.09):
        found = ride_findings(replace(calm.figures, charge_left_fraction=left), calm.build, "metric")
        (told[left],) = [each.reason for each in found if each.name == "reserve"]
    assert told[0.12] == "It arrives with 12% of charge."
    assert told[0.09] == "It arrives with 9% of charge: no reserve for wind or cold."


def test_shifts_count_by_the_minute_of_movement(calm: Ride) -> None:
    """Six a minute: 60 in the ten minutes that it moves, however long it stands; one ratio shifts nothing.

    Once up through three gears and once down, 4 shifts, is no hunting.
    """
    three = {"kind": "gearbox", "ratios": [2.0, 1.4, 1.0]}
    for keys, shifts, verdict in (({"drive.gears": three}, 63, F), ({"drive.gears": three}, 65, L), ({}, 65, None)):
        figures = replace(calm.figures, gear_shifts=shifts, moving_time_s=600.0, total_time_s=1200.0)
        found = {each.name: each.verdict for each in ride_findings(figures, bike(keys).build, "metric")}
        assert found.get("shifting") == verdict


def test_one_run_up_through_the_gears_is_not_told_as_to_and_fro(calm: Ride) -> None:
    """A bike that left its door and shifted up through eight gears in 22 s was told that it hunts."""
    eight = {
        "drive.gears": {"kind": "hub", "ratios": [2.0, 1.7, 1.4, 1.2, 1.0, 0.8, 0.7, 0.6]},
        "drive.coupling": "freewheel",
    }
    for shifts, verdict in ((7, F), (14, F), (16, F), (17, L)):  # 22 s bear 2.2 shifts beyond 14
        figures = replace(calm.figures, gear_shifts=shifts, moving_time_s=22.0, total_time_s=22.0)
        found = {each.name: each.verdict for each in ride_findings(figures, bike(eight).build, "metric")}
        assert found["shifting"] == verdict, shifts


def test_a_start_from_rest_is_no_stay_on_a_bound(calm: Ride) -> None:
    """120 m of level road in 22 s, 6 of them on the current limit of the start: nothing to look at again."""
    for seconds, verdict in ((6.0, F), (19.9, F), (20.1, L)):
        figures = replace(calm.figures, limits=(LimitMet("motor_current", seconds, 0.0),), total_time_s=40.0)
        found = ride_findings(figures, calm.build, "metric")
        assert worst([each.verdict for each in found if each.name == "time_on_a_bound"]) == verdict, seconds


def test_a_stated_chain_is_not_held_against_a_guessed_one(calm: Ride, root: Path) -> None:
    figures = replace(calm.figures, peak_chain_force_n=2800.0)
    for stands, expected in ((3000.0, ("chain_force", F)), (2700.0, ("chain_force", S)), (None, ("chain_guess", L))):
        build = load_build(root / "configs" / "longtail-mid-drive.toml", {"drive.chain_force_limit_n": stands}).build
        found = ride_findings(figures, build, "metric")
        assert [(each.name, each.verdict) for each in found if each.name.startswith("chain")] == [expected]


def test_what_is_pushed_is_told_with_its_length_place_and_time(calm: Ride) -> None:
    figures = replace(calm.figures, pushed_m=14.0, pushed_s=21.0, pushes=1, pushed_first_at_km=2.4)
    (found,) = (each for each in ride_findings(figures, calm.build, "metric") if each.name == "pushed")
    assert found.verdict == L
    assert all(words in found.reason for words in ("Pushed 14 m at 2.4 km", "21 s on foot"))


@pytest.mark.parametrize("limit", [each for each in Limit if BOUNDS[each].is_felt])
def test_a_long_stay_on_a_bound_is_told_with_its_own_words(calm: Ride, limit: Limit) -> None:
    for share, verdict in ((0.14, F), (0.16, L)):
        met = LimitMet(BOUNDS[limit].name, share * calm.figures.total_time_s, 1.2)
        found = {
            each.subject: each for each in ride_findings(replace(calm.figures, limits=(met,)), calm.build, "metric")
        }
        finding = found[BOUNDS[limit].short]
        assert finding.verdict == verdict
        assert (
            BOUNDS[limit].words in finding.reason
            and "from 1.2 km" in finding.reason
            and f"{share:.0%}" in finding.reason
        )


def test_bounds_that_nobody_feels_are_not_held_against_a_bike(calm: Ride) -> None:
    met = tuple(LimitMet(BOUNDS[each].name, 1e3, 0.0) for each in Limit if not BOUNDS[each].is_felt)
    assert verdicts(calm, limits=met) == {}


def test_a_reserve_counts_from_the_riders_floor(calm: Ride) -> None:
    floor = bike({"pack.charge_floor_fraction": 0.3}).build
    found = {
        each.name: each for each in ride_findings(replace(calm.figures, charge_left_fraction=0.35), floor, "metric")
    }
    assert found["reserve"].verdict == L and found["reserve"].limit == pytest.approx(0.4)


def test_a_reserve_counts_from_what_cold_cells_do_not_give(calm: Ride) -> None:
    """A tenth above what the cold keeps, or above the rider's floor where that is more; and the reason says so."""
    for floor, cold, left, verdict in (
        (0.0, 0.04, 0.141, F), (0.0, 0.04, 0.139, L), (0.05, 0.04, 0.151, F), (0.05, 0.04, 0.149, L),
        (0.0, 0.0, 0.101, F),
    ):  # fmt: skip
        figures = replace(calm.figures, charge_left_fraction=left, charge_out_of_reach_fraction=cold)
        build = bike({"pack.charge_floor_fraction": floor}).build
        (found,) = (each for each in ride_findings(figures, build, "metric") if each.name == "reserve")
        assert found.verdict == verdict, (floor, cold, left)
        assert ("cells as cold as these keep 4%" in found.reason) is (cold > floor)


def test_what_the_cold_keeps_is_told_from_half_a_percent_on_and_never_more_than_is_left(calm: Ride) -> None:
    """A ride that ended underway is held against no reserve: why it ended is told elsewhere."""
    for finished, cold, left, words in (
        (True, 0.006, 0.5, "keep 1%"), (True, 0.004, 0.5, ""), (False, 0.05, 0.03, "keep 3%"), (False, 0.0, 0.03, ""),
    ):  # fmt: skip
        figures = replace(calm.figures, finished=finished, charge_left_fraction=left, charge_out_of_reach_fraction=cold)
        (found,) = (each for each in ride_findings(figures, calm.build, "metric") if each.name == "reserve")
        assert found.verdict == F and (found.limit is None) is not finished
        assert words in found.reason and ("cells as cold" in found.reason) is bool(words)


def test_a_winter_ride_lacks_the_reserve_that_a_warm_one_has() -> None:
    """The same charge left: fine in warm cells, too little in cold ones, whose share is the closed form's."""
    for celsius, verdict in ((20.0, F), (-15.0, L)):
        cold = {"weather.temperature_c": celsius, "pack.start_charge_fraction": 0.145, "pack.parallel": 4}
        ride = simulate(bike(cold), make_climb(600.0, 3.0), trace=False)
        f, pack = ride.figures, ride.build.pack
        (found,) = (each for each in judge(ride).findings if each.name == "reserve")
        assert f.finished and f.charge_left_fraction > 0.105
        assert found.verdict == verdict, found
        one_c = pack.cell.capacity_ah * pack.capacity_fraction * pack.weakest_group_fraction
        kept = out_of_reach(pack.cell, ride.raw.end.pack_temp, f.sustained_cell_current_a / one_c)
        assert f.charge_out_of_reach_fraction == pytest.approx(kept, rel=1e-9)


def test_a_controller_whose_voltage_is_not_stated_is_not_judged_by_it(calm: Ride) -> None:
    names = {each.name for each in ride_findings(calm.figures, bike().build, "metric")}
    assert "supply_voltage" not in names


@pytest.mark.parametrize(("stands_v", "verdict"), [(54.6, L), (54.4, S)])
def test_a_controller_is_switched_on_at_the_resting_voltage(stands_v: float, verdict: str) -> None:
    """13 full cells rest at 54.47 V (13 x 4.19) before any load sags them: a climb sees less."""
    changes = {"controller.voltage_limit_v": stands_v, "pack.start_charge_fraction": 1.0, "pack.series": 13}
    ride = simulate(bike(changes), make_climb(200.0, 6.0))
    assert ride.trace["pack_voltage_v"].max() < 54.3
    (held,) = (each for each in judge(ride).findings if each.name == "supply_voltage")
    assert held.verdict == verdict and held.figure == pytest.approx(54.47)
    half = simulate(bike(changes | {"pack.start_charge_fraction": 0.5}), make_climb(200.0, 6.0))
    assert half.figures.highest_pack_voltage_v < 50.0
    rows = ride_rows(bike(changes), make_climb(200.0, 6.0), {"pack.start_charge_fraction": [1.0, 0.5]})
    alone = [54.47, half.figures.highest_pack_voltage_v]
    assert rows.answer("highest_pack_voltage_v").tolist() == pytest.approx(alone, rel=1e-9)
    assert rows.passed("supply_voltage").tolist() == [verdict == S, False]


def test_the_time_of_a_climb_by_the_clock_is_its_end(calm: Ride) -> None:
    stopped = replace(calm.figures, finished=False, stop="time_limit", distance_km=1.0)
    (by_time, *_), (by_road, *_) = (
        ride_findings(stopped, calm.build, "metric", by_time=clock) for clock in (True, False)
    )
    assert (by_time.verdict, by_road.verdict) == (F, S)


def test_reasons_speak_in_the_units_asked_for(calm: Ride) -> None:
    hot = replace(calm.figures, peak_winding_temp_c=160.0, peak_winding_temp_at_km=1.609344)
    reasons = [each.reason for each in ride_findings(hot, calm.build, "imperial") if each.name == "winding"]
    assert reasons == ["The winding reaches 320 °F at 1.0 mi; class F allows 311 °F. It is too hot for 0 s."]


def test_the_gravest_comes_first(calm: Ride) -> None:
    ride = simulate(bike({"motor.winding_heat_capacity_j_per_k": 15.0, "motor.winding_to_body_w_per_k": 0.6}),
                    make_climb(2500.0, 9.0))  # fmt: skip
    verdict = judge(ride)
    assert verdict.word == S and "winding" in verdict.reasons[0]
    assert isinstance(verdict.findings[0], Finding) and len(verdict.findings) > 10
    assert judge(calm).reasons[0].startswith("It arrives with")


def test_a_stop_is_not_hidden_behind_a_look_again(calm: Ride) -> None:
    """The verdict is the gravest of all, whatever order the limits are asked in."""
    both = replace(calm.figures, peak_winding_temp_c=150.0, highest_cell_voltage_v=4.3, charge_left_fraction=0.05)
    ride = simulate(calm.loaded, calm.road)
    object.__setattr__(ride, "figures", both)  # fills the cache that reading the ride would fill
    verdict = judge(ride)
    assert verdict.word == S
    assert ["cells reach" in verdict.reasons[0], len(verdict.reasons)] == [True, 3]


def test_charge_above_full_is_kept_though_the_end_is_below_it() -> None:
    """Down from a full pack, then up again: the highest charge is not the last one."""
    down_and_up = {"pack.start_charge_fraction": 1.0, "controller.charge_voltage_limit_v": 70.0, "pack.parallel": 2}
    loaded = bike(down_and_up)
    top = simulate(loaded, make_climb(1500.0, -6.0))
    after = simulate(loaded, make_climb(2500.0, 6.0), start=top.raw.end._replace(distance=0.0, speed=0.0))
    assert top.figures.highest_charge_fraction > 1.0 > after.figures.charge_left_fraction
    assert after.figures.highest_charge_fraction == pytest.approx(top.raw.end.charge, abs=1e-6)
    assert any(each.name == "overcharge" and each.verdict == S for each in judge(top).findings)
    assert "can burn" in " ".join(judge(top).reasons)


def test_looking_at_a_result_rides_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Figures, summary, verdict, words, pictures and page come of the one ride; range says that it rides."""
    import ridesim.ride.running as running
    from ridesim.report.ride.figures import PICTURES, draw
    from ridesim.report.ride.view import view
    from ridesim.ride.range import Outlook, outlook_of

    ridden: list[int] = []
    real = running.run_one
    monkeypatch.setattr(running, "run_one", lambda *a, **k: (ridden.append(1), real(*a, **k))[1])
    ride = simulate(bike(), make_climb(1500.0, 3.0))
    assert len(ridden) == 1
    assert ride.figures.plain() and ride.summary and ride.trace is not None and judge(ride)
    for name in PICTURES:
        draw(ride, name)
    view(ride, Outlook(None, "", None, 0.0))
    assert len(ridden) == 1
    outlook_of(ride)
    assert 2 <= len(ridden) <= 4


def test_figures_are_all_in_the_table_of_quantities() -> None:
    from ridesim.ride.quantities import QUANTITIES

    words = {"finished", "stop", "stop_reason", "motor_current_reading", "limits"}
    assert set(Figures.__dataclass_fields__) - words <= set(QUANTITIES)
    seen = [each.words for each in QUANTITIES.values() if not each.key.endswith("_at_km")]
    assert len(set(seen) - {"time", "distance"}) >= len(seen) - 6  # one quantity, one pair of words


def test_a_ride_behind_its_clock_says_so() -> None:
    """A cycle that asks for 40 km/h of a bike whose motor stops at 25: its time is up before its distance."""
    fast = make_cycle(np.array([0.0, 10.0, 120.0]), np.array([0.0, 40.0, 40.0]) / 3.6)
    slow = simulate(
        bike(
            {
                "controller.throttle_law": "assist",
                "controller.assist_factor": 5.0,
                "controller.assist_speed_limit_km_h": 25.0,
            }
        ),
        fast,
    )
    verdict = judge(slow)
    assert slow.figures.finished and verdict.word == S
    assert verdict.reasons[0].startswith("It does not keep up with the clock")
    assert slow.figures.stop_reason == "the time of its clock was up" and "legal speed" in verdict.reasons[0]
    arrival = next(each for each in verdict.findings if each.name == "arrival")
    assert "charge" not in arrival.cure


def test_what_is_fine_is_not_told_as_if_it_were_not(calm: Ride) -> None:
    told = {each.name: each.reason for each in judge(calm).findings if each.verdict == F}
    assert told["reserve"].startswith("It arrives with") and "no reserve" not in told["reserve"]
    assert "burn" not in told["overcharge"] and "burn" not in told["cell_voltage_high"]
    assert "close to" not in told.get("over_speed", "")


def test_what_helps_a_ride_that_ended_early_goes_with_its_end() -> None:
    wall = simulate(bike(), make_climb(500.0, 40.0))
    hot = simulate(bike({"motor.winding_heat_capacity_j_per_k": 15.0, "motor.winding_to_body_w_per_k": 0.6}),
                   make_climb(2500.0, 9.0))  # fmt: skip
    cures = {ride.figures.stop: judge(ride).findings[0].cure for ride in (wall, hot)}
    assert set(cures) == {"stalled", "over_temperature"} and not any("charge" in cure for cure in cures.values())


def test_over_speed_is_not_called_a_matter_of_descents() -> None:
    """An empty pack is passed on the level too: bikes of a flat road with field weakening were told "downhill"."""
    weak = {
        "controller.field_weakening_current_a": 40.0, "controller.motor_current_limit_a": 120.0,
        "motor.inductance_uh": 200.0, "pack.start_charge_fraction": 0.25, "bicycle.drag_area_m2": 0.3,
    }  # fmt: skip
    ride = simulate(bike(weak), make_flat(1500.0), cruise_speed_km_h=60.0, trace=False)
    assert ride.figures.top_speed_km_h > ride.figures.over_speed_from_km_h
    assert "downhill" not in LIMITS["over_speed"].broken
