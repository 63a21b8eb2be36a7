"""Rows of changed keys: each is the ride that the same build would have had, answer by answer and limit by limit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ridesim.bike.keys import bike_keys
from ridesim.bike.load import replace_keys
from ridesim.engine.params import parameters
from ridesim.engine.state import Stop
from ridesim.errors import BuildError, Interrupted, RideError
from ridesim.ride.answers import ANSWERS, PASSED
from ridesim.ride.judge import STOP, ride_findings
from ridesim.ride.keyed import laid_in, value_at
from ridesim.ride.packed import Moved, asked_of, ground_of
from ridesim.ride.rows import ride_built, ride_rows
from ridesim.ride.running import RideOptions, arrays_for
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb, make_hills
from ridesim.schema.keys import kind_of, model_of

from ..bikes import bike

HILL = make_climb(600.0, 7.0)
ROUND = make_hills(2400.0, 60.0, 800.0)


def numeric_keys() -> list[str]:
    """Every key of the test bike that is a number, arrays of tables by their first table."""
    found = []
    for key in bike_keys():
        if model_of(key.field)[0] is None and kind_of(key.field) in ("number", "whole number"):
            section = key.section.replace("drive.stage", "drive.stage.0")
            if "no_load" not in section:
                found.append(f"{section}.{key.name}")
    return found


@pytest.mark.parametrize("key", numeric_keys())
def test_every_number_of_a_build_packs_as_a_column(key):
    """The formulas take columns: bit by bit what they give row by row, estimates of what is left open included."""
    loaded = bike({"motor.no_load": None, "motor.body_to_air_still_w_per_k": None,
                   "motor.body_to_air_at_36_km_h_w_per_k": None})  # fmt: skip
    now = value_at(loaded.build, key)
    column = np.array([1.0, 2.0, 3.0]) if now is None else now * np.array([1.0, 1.5, 2.0])
    packed = parameters(laid_in(loaded.build, {key: column}))
    for row, value in enumerate(column.tolist()):
        alone = parameters(laid_in(loaded.build, {key: value}))
        for name, number in alone._asdict().items():
            ours = np.asarray(getattr(packed, name))
            ours = ours[row] if ours.ndim > np.ndim(number) else ours
            assert np.array_equal(ours, number), f"{name} of {key}"


ROWS = {
    "rider.mass_kg": [70.0, 60.0, 140.0, 90.0, 85.0, 75.0],
    "drive.stage.0.driven_teeth": [72, 72, 72, 90, 60, 80],
    "motor.kv_rpm_per_v": [100.0, 80.0, 190.0, 70.0, 120.0, 100.0],
    "controller.motor_current_limit_a": [60.0, 90.0, 20.0, 150.0, 60.0, 40.0],
    "pack.parallel": [4, 8, 4, 1, 4, 4],
    "pack.start_charge_fraction": [1.0, 0.9, 0.8, 0.4, 0.05, 0.9],
    "weather.temperature_c": [20.0, -5.0, 38.0, 30.0, 10.0, 20.0],
    "weather.wind_speed_km_h": [0.0, 15.0, 30.0, 5.0, 10.0, 3.0],
    "weather.wind_from_deg": [0.0, 90.0, 200.0, 359.0, 45.0, 10.0],
    "rider.cruise_speed_km_h": [25.0, 30.0, 20.0, 45.0, 25.0, 25.0],
    "rider.power_w": [75.0, 0.0, 0.0, 150.0, 10.0, 60.0],
    "motor.resistance_mohm": [30.0, 30.0, 30.0, 30.0, 30.0, 300.0],
    "pack.temperature_limit_c": [60.0, 60.0, 60.0, 60.0, 60.0, 20.0],
    "controller.heat_capacity_j_per_k": [200.0, 200.0, 200.0, 200.0, 200.0, 5.0],
    "controller.to_air_w_per_k": [0.5, 0.5, 0.5, 0.5, 0.5, 0.1],
    "pack.cell.max_discharge_a": [10.0, 5.0, 20.0, 3.0, 8.0, 10.0],
}


@pytest.mark.parametrize(
    ("road", "options", "stops"),
    [
        (HILL, RideOptions(), {"arrival", "cell_lasting"}),
        (make_climb(4000.0, 6.0), RideOptions(limits=False), {"arrival", "winding", "controller", "cells_heat"}),
        (make_climb(3000.0, -9.0), RideOptions(limits=False, cruise_speed_km_h=60.0),
         {"over_speed", "overcharge", "cell_voltage_high", "charge_hard"}),
        (ROUND, RideOptions(laps=2, start_speed_km_h=10.0), {"arrival"}),
    ],
    ids=["hill", "without limits", "downhill", "laps"],
)  # fmt: skip
def test_each_row_is_the_ride_of_its_build(road, options, stops):
    """Answers and passed limits of all rows at once, against one ride at a time by the public way and by the judge.

    The air of a row is right to 1e-11, and whether a step is taken again or not hangs on less: the same ride within its
    accuracy, so a fine one is compared.
    """
    options = replace(options, accuracy="fine")
    rode, loaded = ride_rows(bike(), road, ROWS, options=options), bike()
    seen = set()
    for row in range(len(rode)):
        keys = {key: values[row] for key, values in ROWS.items()}
        ride = simulate(replace_keys(loaded, keys), road, trace=False, **vars(options))
        for name in ANSWERS:
            truth = None if name.startswith("second_") else getattr(ride.figures, name)  # this bike has one drive
            truth = np.nan if truth is None else truth
            near = 2e-3 if "peak" in name else 1e-3  # a short peak hangs on where its step lies
            rounding = 1e-4 if "fraction" in name else 1e-6  # of a full pack
            assert rode.answer(name)[row] == pytest.approx(truth, rel=near, abs=rounding, nan_ok=True), name
        found = ride_findings(ride.figures, ride.build, "metric")
        stopped = {each.name for each in found if each.verdict == STOP}
        assert {name for name in PASSED if rode.passed(name)[row]} == stopped & set(PASSED)
        assert rode.stops[row] == ride.figures.stop
        seen |= stopped
        again = rode.ride(row).figures
        assert again.stop == ride.figures.stop
        assert again.total_time_s == pytest.approx(ride.figures.total_time_s, rel=1e-3)
    assert seen >= stops


def test_the_judge_and_the_columns_know_the_same_stops():
    """What a ride's findings can stop is what a column of passed limits is told of, the felt bounds left out."""
    ride = simulate(bike({"controller.voltage_limit_v": 80.0}), ROUND, trace=False)
    names = {each.name for each in ride_findings(ride.figures, ride.build, "metric")}
    from ridesim.ride.limits import LIMITS

    assert {name for name in names if LIMITS[name].passed == STOP} == set(PASSED) - (
        {"over_speed", "gear_torque", "chain_force"} - names
    )


def test_days_are_those_of_one_road_at_a_time():
    """Air, wind, rolling and pedalling by a polynomial over 3000 m of climb, against the formulas node by node."""
    road, loaded = make_climb(30_000.0, 10.0), bike()
    keys = {
        "weather.temperature_c": np.array([-20.0, 15.0, 45.0]),
        "weather.sea_level_pressure_hpa": np.array([950.0, 1013.25, 1050.0]),
        "weather.relative_humidity_percent": np.array([0.0, 50.0, 100.0]),
        "weather.wind_speed_km_h": np.array([0.0, 20.0, 40.0]),
        "weather.wind_from_deg": np.array([10.0, 100.0, 300.0]),
        "weather.wind_exposure": np.array([0.2, 0.5, 1.0]),
        "rider.power_w": np.array([0.0, 75.0, 200.0]),
        "tyre.rolling_resistance": np.array([0.004, 0.006, 0.01]),
    }
    asked = asked_of(ground_of(loaded, road, RideOptions()), laid_in(loaded.build, keys), 3, Moved())
    for row in range(3):
        ours = asked.arrays(row)
        build = laid_in(loaded.build, {key: float(column[row]) for key, column in keys.items()})
        theirs = arrays_for(build, road, RideOptions())
        for name in theirs.nodes.dtype.names:
            assert ours.nodes[name] == pytest.approx(theirs.nodes[name], rel=1e-10, abs=1e-12), name


def test_one_thread_or_two_bit_by_bit():
    columns = {"rider.mass_kg": np.linspace(60.0, 110.0, 50), "weather.temperature_c": np.linspace(0.0, 30.0, 50)}
    one, two = (ride_rows(bike(), HILL, columns, threads=threads) for threads in (1, 2))
    assert np.array_equal(one.results.totals, two.results.totals, equal_nan=True)
    assert np.array_equal(one.results.end, two.results.end)


def test_done_is_told_of_every_ride():
    told: list[int] = []
    ride_rows(bike(), HILL, {"rider.mass_kg": np.linspace(60.0, 110.0, 37)}, done=told.append)
    assert sum(told) == 37


def test_an_interrupt_keeps_what_is_ridden():
    def stop(_: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(Interrupted) as end:
        ride_rows(bike(), HILL, {"rider.mass_kg": np.linspace(60.0, 110.0, 200)}, threads=1, done=stop)
    left = end.value.left
    assert 16 <= left.ridden.sum() < 200
    assert np.isfinite(left.answer("total_time_s")[left.ridden]).all()
    assert np.isnan(left.answer("total_time_s")[~left.ridden]).all()
    assert not left.passed("arrival")[~left.ridden].any()
    assert set(left.stops[~left.ridden]) == {""}


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"rider.mass_kg": [80.0, 500.0]}, r"row 1: rider.mass_kg = 500 is out of range \(20 to 250 kg\)"),
        ({"rider.mass_kg": [80.0, np.nan]}, "row 1: rider.mass_kg = nan is not a finite number"),
        ({"pack.parallel": [4, 4.5]}, "row 1: pack.parallel = 4.5 is not a whole number"),
        ({"rider.mas_kg": [80.0]}, "row 0: rider.mas_kg = 80 is not a known key; did you mean mass_kg"),
        ({"rider.mass_kg": [80.0, 81.0], "rider.power_w": [1.0]}, r"columns: have \[1, 2\] rows"),
        ({"motor.insulation_class": ["F", "H"]}, "columns: motor.insulation_class is no number"),
        ({"motor.no_load.0.current_a": [1.0]}, "columns: motor.no_load.0.current_a is a bench reading"),
        ({"rider.mass_kg": [[80.0]]}, "columns: rider.mass_kg has the shape"),
        ({"rider.mass_kg": ["heavy"]}, "columns: rider.mass_kg has values that are no numbers"),
        ({"drive.stage.0.ratio": [5.0]}, "row 0: .*ratio"),
        ({"bicycle.wheelbase_mm": [1100.0, 500.0]}, "row 1: bicycle.mass_centre_ahead_mm"),
        ({"pack.cell.min_voltage_v": [2.5, 4.0], "pack.cell.max_voltage_v": [4.2, 4.0]}, "row 1: .*max_voltage_v"),
        ({"motor.body_to_air_still_w_per_k": [0.8, 5.0]}, "row 1: motor.body_to_air_at_36_km_h_w_per_k"),
        ({"controller.no_current_below_v": [20.0, 45.0], "controller.full_current_above_v": [40.0, 42.0]},
         "row 1: controller.full_current_above_v"),
    ],
)  # fmt: skip
def test_a_row_that_is_no_build(columns, words):
    with pytest.raises(BuildError, match=words):
        ride_rows(bike(), HILL, columns)


def test_questions_that_make_no_sense():
    rode = ride_rows(bike(), HILL, {})
    assert len(rode) == 1 and rode.stops[0] == "finished"
    with pytest.raises(RideError, match="there is none that is called 'colour'"):
        rode.answer("colour")
    with pytest.raises(RideError, match="there is none that is called 'colour'"):
        rode.passed("colour")
    with pytest.raises(RideError, match="laps"):
        ride_rows(bike(), HILL, {}, options=RideOptions(laps=0))


def test_a_surface_and_the_drag_of_a_row():
    """What a row moves beside the build: a factor on the no-load drag takes energy, one on a surface too."""
    loaded = bike()
    road = HILL.with_surface(100.0, 500.0, "gravel")
    ground = ground_of(loaded, road, RideOptions())
    factor = np.array([1.0, 1.5])
    for moved in (Moved(drag=factor), Moved(rolling={"gravel": factor})):
        energy = ride_built(ground, loaded.build, 2, moved=moved).answer("net_energy_wh")
        assert energy[0] == pytest.approx(simulate(loaded, road, trace=False).figures.net_energy_wh, rel=1e-9)
        assert energy[1] > energy[0] * 1.001
    assert Stop.RUNNING == 0
