"""Spreads of a bike of two different drives: the second one's numbers are drawn too, and its spans hold the truth."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from ridesim.bike.load import LoadedBuild, build_from_dict, load_build, replace_keys
from ridesim.bike.second import PREFIX, drives_of, seen_by_second
from ridesim.cli.door import run
from ridesim.engine.estimates import estimate
from ridesim.engine.params import both_parameters
from ridesim.errors import BuildError
from ridesim.ride.answers import PASSED
from ridesim.ride.drives import each_drive
from ridesim.ride.judge import OF_A_DRIVE, STOP, judge
from ridesim.ride.keyed import laid_in, value_at
from ridesim.ride.quantities import OF_SECOND, SECOND
from ridesim.ride.rows import ride_rows
from ridesim.ride.running import RideOptions
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb
from ridesim.sure.batch import ANSWERS
from ridesim.sure.beside import beside
from ridesim.sure.draws import cube, mapped
from ridesim.sure.measure import next_measurements
from ridesim.sure.packing import changed
from ridesim.sure.spread import Spread, spread
from ridesim.sure.uncertain import MOVING, NO_LOAD, STILL, doubts_of, open_value

DEMO = Path(__file__).parents[2] / "configs" / "longtail-two-drives.toml"
HILL = make_climb(1000.0, 7.0)
WINDING = "second_peak_winding_temp_c"


@pytest.fixture(scope="module")
def demo() -> LoadedBuild:
    return load_build(DEMO)


@pytest.fixture(scope="module")
def hill(demo: LoadedBuild) -> Spread:
    """The demo bike on a kilometre of hill."""
    return spread(demo, HILL, samples=512, with_indices=False)


def true_bike(loaded: LoadedBuild, random: np.random.Generator, doubts) -> LoadedBuild:
    """Draw one bike from the stated tolerances by another way: scipy's own distributions, point by point."""
    plain: dict[str, object] = {}
    factors: dict[str, float] = {}
    for each in doubts.numbers:
        size, value = each.tolerance.size, each.value
        while True:
            if each.tolerance.kind == "log-normal":
                drawn = float(stats.lognorm.rvs(size, scale=value, random_state=random))
            elif each.tolerance.kind == "uniform":
                half = size * (abs(value) if each.tolerance.relative else 1.0)
                drawn = float(random.uniform(value - half, value + half))
            else:
                assert each.tolerance.kind == "normal"
                drawn = float(random.normal(value, size))
            if each.low <= drawn <= each.high:
                break
        if each.key.endswith(NO_LOAD):
            section = each.key.removesuffix(".no_load")
            for at, point in enumerate(value_at(loaded.build, each.key)):
                plain[f"{section}.no_load.{at}.current_a"] = point.current_a * drawn
        elif each.is_open:
            factors[each.key] = drawn / value
        else:
            plain[each.key] = drawn
            if each.key.endswith(STILL):
                moving = each.key.replace(STILL, MOVING)
                plain[moving] = value_at(loaded.build, moving) * drawn / value
    bike = replace_keys(loaded, plain)
    found = [estimate(drive) for drive in drives_of(bike.build)]
    opened: dict[str, object] = {}
    for key, factor in factors.items():
        own = key.removeprefix(PREFIX)
        opened[key] = factor * open_value(own, found[key != own])
        if own == STILL:
            opened[key.replace(STILL, MOVING)] = factor * open_value(MOVING, found[key != own])
    return replace_keys(bike, opened)


def test_spans_hold_eight_of_ten_true_bikes(demo: LoadedBuild, hill: Spread):
    """Bikes whose second drive is off as its tolerances say, ridden by the public way, fall into the spans of both."""
    random, bikes = np.random.default_rng(21), 120
    rides = [simulate(true_bike(demo, random, hill.doubts), HILL, trace=False) for _ in range(bikes)]
    low, high = stats.binom.ppf([0.005, 0.995], bikes, 0.8)
    for name in ("total_time_s", "net_energy_wh", "peak_winding_temp_c", WINDING, f"{SECOND}peak_body_temp_c"):
        drive = each_drive if name.startswith(SECOND) else lambda ride: (None, ride)
        truth = np.array([getattr(drive(ride)[1].figures, name.removeprefix(SECOND)) for ride in rides])
        start, end = hill.span(name)
        inside = int(((truth >= start) & (truth <= end)).sum())
        assert low <= inside <= high, f"{name}: the span holds {inside} of {bikes}"
        transform = np.searchsorted(np.sort(hill.values(name)), truth) / len(hill.values(name))
        assert stats.kstest(transform, "uniform").pvalue > 0.01, name


def test_each_key_is_as_unsure_as_its_twin(demo: LoadedBuild):
    """A second drive that is the first one written again has the first one's doubts, key by key, behind its own name.

    But for the charge that both let into the pack: a share each.
    """
    data = {name: value for name, value in demo.data.items() if name != "second"}
    twin = build_from_dict(data | {"second": {part: data[part] for part in ("drive", "motor", "controller")}})
    doubts = {each.key: each for each in doubts_of(twin, HILL).numbers}
    own = [key for key in doubts if key.startswith(PREFIX)]
    assert {key.removeprefix(PREFIX) for key in own} == {
        key for key in doubts if key.split(".")[0] in ("drive", "motor", "controller")
    }
    assert len(own) > 15
    for key in own:
        assert replace(doubts[key], key="") == replace(doubts[key.removeprefix(PREFIX)], key=""), key


def test_what_the_builder_states_of_it_is_heeded(demo: LoadedBuild):
    sure = build_from_dict({**demo.data, "tolerance": {"second.motor.resistance_mohm": "2 %",
                                                       "second.motor.kv_rpm_per_v": "exact"}})  # fmt: skip
    doubts = {each.key: each for each in doubts_of(sure, HILL).numbers}
    assert doubts["second.motor.resistance_mohm"].whose == "stated"
    assert doubts["second.motor.resistance_mohm"].standard_deviation == pytest.approx(0.02 * 130.0, rel=1e-3)
    assert "second.motor.kv_rpm_per_v" not in doubts and "motor.kv_rpm_per_v" in doubts
    together = {"keys": ["motor.mass_kg", "second.motor.mass_kg"], "covariance": [[0.04, 0.02], [0.02, 0.04]]}
    both = build_from_dict({**demo.data, "tolerance_together": [together]})
    told = spread(both, HILL, samples=256, only=("motor.mass_kg", "second.motor.mass_kg"), with_indices=False)
    values = mapped(cube(256, 2, told.seed), told.doubts)
    assert np.corrcoef(values.T)[0, 1] == pytest.approx(0.5, abs=0.05)
    assert told.doubts.together[0].keys == told.doubts.keys
    with pytest.raises(
        BuildError, match=r"is not uncertain in this ride; did you mean second\.motor\.rotor_inertia_kg_m2\?"
    ):
        doubts_of(sure, HILL, ("second.motor.rotor_inertia_kg_m2x",))


def test_a_draw_moves_the_second_drive_and_its_estimates(demo: LoadedBuild):
    doubts = doubts_of(demo, HILL)
    plain = {each.key: each.value for each in doubts.numbers}
    mass, heat, still = (f"second.motor.{name}" for name in
                         ("mass_kg", "winding_heat_capacity_j_per_k", "body_to_air_still_w_per_k"))  # fmt: skip
    heavy = changed(demo.build, doubts, plain | {mass: 1.1 * plain[mass]})
    assert heavy.second.motor.winding_heat_capacity_j_per_k == pytest.approx(1.1 * plain[heat], rel=1e-12)
    assert heavy.motor == changed(demo.build, doubts, plain).motor
    cool = changed(demo.build, doubts, plain | {still: 2.0 * plain[still]}).second.motor
    was = estimate(seen_by_second(demo.build))
    assert cool.body_to_air_at_36_km_h_w_per_k == pytest.approx(2.0 * was.body_to_air_at_36_km_h_w_per_k, rel=1e-12)


KEYS = {
    "second.motor.resistance_mohm": [130.0, 900.0, 90.0, 130.0],
    "second.motor.kv_rpm_per_v": [44.0, 30.0, 60.0, 44.0],
    "second.motor.winding_to_body_w_per_k": [1.5, 0.05, 3.0, 1.5],
    "second.drive.stage.0.ratio": [4.4, 5.0, 4.0, 4.4],
    "second.controller.voltage_limit_v": [63.0, 63.0, 63.0, 50.0],
    "controller.motor_current_limit_a": [45.0, 45.0, 45.0, 15.0],
    "rider.mass_kg": [80.0, 90.0, 60.0, 80.0],
}


def test_each_row_is_the_ride_of_its_build(demo: LoadedBuild):
    options = RideOptions(accuracy="fine", limits=False)
    rode, seen = ride_rows(demo, HILL, KEYS, options=options), set()
    for row in range(len(rode)):
        keys = {key: values[row] for key, values in KEYS.items()}
        ride = simulate(replace_keys(demo, keys), HILL, trace=False, **vars(options))
        _, second = each_drive(ride)
        for name in ANSWERS:
            assert rode.answer(name)[row] == pytest.approx(getattr(ride.figures, name), rel=2e-3, abs=1e-4), name
        for name in OF_SECOND:
            assert rode.answer(f"{SECOND}{name}")[row] == pytest.approx(getattr(second.figures, name), rel=2e-3), name
        stopped = {(each.subject, each.name) for each in judge(ride).findings if each.verdict == STOP}
        for name in PASSED:
            ours = [bool(each[row]) for each in rode.passed_by_drive(name)]
            subjects = ("first drive", "second drive") if name in OF_A_DRIVE else ("",)
            assert ours == [(subject, name) in stopped for subject in subjects], name
            assert bool(rode.passed(name)[row]) == any(ours)
        seen |= {pair for pair in stopped if pair[1] in PASSED}
        again = rode.ride(row)
        assert abs(again.ledger_residual_fraction) < 1e-9
        assert each_drive(again)[1].figures.peak_winding_temp_c == pytest.approx(
            second.figures.peak_winding_temp_c, rel=2e-3
        )
        assert again.raw.end.second.winding_temp == pytest.approx(ride.raw.end.second.winding_temp, rel=2e-3)
    assert ("second drive", "winding") in seen and ("second drive", "supply_voltage") in seen


def test_columns_of_its_keys_pack_bit_by_bit_and_are_checked(demo: LoadedBuild):
    columns = {key: np.array(values) for key, values in KEYS.items() if key.startswith(PREFIX)}
    packed = both_parameters(laid_in(demo.build, columns)).second
    for row in range(4):
        alone = both_parameters(laid_in(demo.build, {key: float(each[row]) for key, each in columns.items()})).second
        for name, number in alone._asdict().items():
            ours = np.asarray(getattr(packed, name))
            assert np.array_equal(ours[row] if ours.ndim > np.ndim(number) else ours, number), name
    with pytest.raises(BuildError, match="row 1"):
        ride_rows(demo, HILL, {"second.controller.no_current_below_v": [40.0, 50.0]})
    one, two = (ride_rows(demo, HILL, KEYS, threads=threads) for threads in (1, 2))
    assert np.array_equal(one.results.second.totals, two.results.second.totals, equal_nan=True)


def test_the_second_winding_has_a_chance_of_its_own(demo: LoadedBuild):
    """Of a class that stands 130 degC (IEC 60085, class B): its chance, its words, and what to measure are its own."""
    hot = replace_keys(demo, {"second.motor.insulation_class": "B", "second.motor.winding_to_body_w_per_k": 0.1,
                              "second.controller.motor_full_current_below_c": 180.0,
                              "second.controller.motor_no_current_above_c": 190.0})  # fmt: skip
    told = beside(simulate(hot, make_climb(2000.0, 7.0), trace=False))
    assert told is not None
    chances = {each.limit: each for each in told.chances}
    peak = told.values(WINDING)
    assert chances["second_winding"].chance == pytest.approx(float((peak > 130.5).mean()), abs=0.02)
    assert chances["second_winding"].chance > 0.05 and chances["winding"].chance == 0.0
    assert chances["second_winding"].words == "second drive: winding too hot"
    assert chances["winding"].words == "first drive: winding too hot"
    best = [each.key for each in next_measurements(told.doubts, told.shares(WINDING))]
    assert "second.motor.resistance_mohm" in best and "second.motor.kv_rpm_per_v" in best


def test_the_commands_tell_of_both(tmp_path: Path, capfd: pytest.CaptureFixture[str]):
    road = tmp_path / "hill.toml"
    road.write_text('[road]\nkind = "climb"\nname = "a hill"\nlength_km = 0.7\ngrade_percent = 6.0\n')
    assert run(["ride", str(DEMO), str(road), "--json"]) == 0
    sure = json.loads(capfd.readouterr().out)["spread"]
    low, high = sure["spans"][WINDING]
    assert 20.0 < low < high < 155.0 and "second_winding" in sure["chances"]
    assert run(["ride", str(DEMO), str(road)]) == 0
    words = capfd.readouterr().out
    assert words.count("   winding") == 2 and words.split("\nsecond drive")[1].count(" °C to ") == 1
    assert run(["spread", str(DEMO), str(road), "--samples", "16", "--answer", WINDING]) == 0
    words = capfd.readouterr().out
    assert "Second drive, hottest winding: " in words and "second.motor." in words
    assert "first drive, hottest winding" in words
    assert run(["spread", "configs/longtail-hub.toml", str(road), "--answer", WINDING]) == 2
    assert "there is no answer" in capfd.readouterr().err
