"""Spans beside the answers of climb, range and ride: they hold true bikes, and a quick answer goes without."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats
from typer.testing import CliRunner

from ridesim.bike.load import load_build, replace_keys
from ridesim.cli.app import app
from ridesim.engine.loop import ENDLESS_LAPS
from ridesim.report.spread.beside import sure_line
from ridesim.ride.judge import LOOK_AGAIN, STOP
from ridesim.ride.range import range_of
from ridesim.ride.running import RideOptions
from ridesim.ride.simulate import simulate
from ridesim.ride.stuck import starts_on_percent
from ridesim.road.made import make_climb, make_hills, make_ramp
from ridesim.studies.climb import climb
from ridesim.studies.reach import reach
from ridesim.sure import foretold
from ridesim.sure.batch import ANSWERS
from ridesim.sure.beside import LONGEST_RANGE_KM, beside, range_beside
from ridesim.sure.foretold import START, TO_THE_END, _by_one_ride, ranges_foretold
from ridesim.sure.spread import spread
from ridesim.sure.uncertain import doubts_of

from ..bikes import bike
from .test_spread import true_bike

LOOP, LONGER = make_hills(1000.0, 20.0, 500.0), make_hills(2000.0, 20.0, 1000.0)
CLIMB = make_climb(1500.0, 6.0)
LITTLE, FULL = {"pack.start_charge_fraction": 0.1}, {}
ENDLESS = RideOptions(laps=ENDLESS_LAPS, time_limit_h=20.0, accuracy="draft")


@pytest.mark.parametrize(("charge", "road", "foretold"), [(LITTLE, LOOP, False), (FULL, LONGER, True)])
def test_the_span_of_a_range_holds_true_bikes(charge, road, foretold):
    """80 bikes drawn another way, each ridden on by the public way until its pack ends it."""
    loaded = bike(charge)
    ride = simulate(loaded, road, trace=False)
    nominal, told = range_of(ride).range_km, beside(ride)
    assert (ranges_foretold(told, ENDLESS) is not None) is foretold
    low, high = range_beside(loaded, road, RideOptions(), nominal, told=told)
    random, doubts = np.random.default_rng(6), doubts_of(loaded, road)
    far = [
        range_of(simulate(replace_keys(loaded, true_bike(random, doubts)), road, trace=False)).range_km
        for _ in range(80)
    ]  # fmt: skip
    inside = sum(low <= (np.inf if km is None else km) <= (high or np.inf) for km in far)
    least, most = stats.binom.ppf([0.005, 0.995], 80, 0.8)
    assert least - 4 <= inside <= most + 4, inside  # 64 draws: an end of the span is off by a twentieth of the bikes
    assert low < nominal < (high or np.inf)


def test_a_range_is_foretold_only_where_one_ride_foretells_it():
    """Where some bikes do not arrive, or one lap takes next to nothing, bikes are ridden to their end: no guess."""
    told = beside(simulate(bike(FULL), LONGER, trace=False))
    assert ranges_foretold(told, ENDLESS) is not None
    stuck = replace(told.drawn, stops=np.where(np.arange(told.samples) == 7, "stalled", told.drawn.stops))
    assert ranges_foretold(replace(told, drawn=stuck), ENDLESS) is None
    full = beside(simulate(bike(), make_hills(200.0, 1.0, 100.0), trace=False))
    assert ranges_foretold(full, ENDLESS) is None
    assert ranges_foretold(told, replace(ENDLESS, time_limit_h=0.05)) is None, "they ride on and on"


def test_a_range_by_one_ride_is_its_length_by_how_often_the_charge_holds_it():
    """Half of what there is at the start taken: twice as far as it rode."""
    told = beside(simulate(bike({"pack.start_charge_fraction": 0.6}), LONGER, trace=False))
    start = 0.6
    if START in told.doubts.keys:
        start = told.inputs[:, told.doubts.keys.index(START)]
    share = (start - told.told("charge_left_fraction")) / start
    assert _by_one_ride(told) == pytest.approx(told.drawn.of("distance_km") / share, rel=1e-9)


def test_ranges_that_scatter_about_what_is_foretold_are_not_foretold(monkeypatch):
    """The scatter may be 0.35 of how far ranges differ; here bikes are ridden to ends that follow no trend."""
    told = beside(simulate(bike(FULL), LONGER, trace=False))
    once = _by_one_ride(told)
    some = np.argsort(once)[((np.arange(TO_THE_END) + 0.5) / TO_THE_END * len(once)).astype(int)]
    for scatter, is_foretold in ((0.34, True), (0.36, False)):
        line = np.log(once[some])
        off = np.tile([1.0, -1.0, -1.0, 1.0], TO_THE_END // 4)
        off -= np.polynomial.polynomial.polyval(line, np.polynomial.polynomial.polyfit(line, off, 1))
        # What is left over, freed of the line's two numbers, as a share of all.
        freed = off * (TO_THE_END / (TO_THE_END - 2)) ** 0.5
        wide = scatter * line.std() / (freed.var() - scatter**2 * off.var()) ** 0.5
        ends = SimpleNamespace(stops=[], of=lambda name, far=np.exp(line + wide * off): far)
        monkeypatch.setattr(foretold, "ride_draws", lambda pack, inputs, ends=ends: ends)
        assert (ranges_foretold(told, ENDLESS) is not None) is is_foretold


@pytest.mark.parametrize("changes", [{}, {"controller.motor_current_limit_a": 33.0}])
def test_drafts_tell_the_same_spans(changes):
    """Ends of spans within a twentieth of their width, or of what the figure is right to; chances within two bikes."""
    ride = simulate(bike(changes), CLIMB, trace=False)
    drafts = beside(ride)
    rides = spread(ride.loaded, ride.road, ride.options, samples=256, with_indices=False, band=False)
    assert drafts.options.accuracy == "draft" and rides.options.accuracy == "normal"
    for answer in ANSWERS:
        if (span := rides.span(answer)) is None:
            continue
        near = max(0.05 * (span[1] - span[0]), 1e-3 * abs(span[1]))
        assert drafts.span(answer) == pytest.approx(span, abs=near), answer
    assert np.abs(drafts.drawn.passed.sum(axis=0) - rides.drawn.passed.sum(axis=0)).max() <= 2


def test_where_this_bike_gets_stuck_the_others_still_come_to_an_end():
    """ "0.4 km to no end" was told of a ramp: bikes that got up it were stopped after the hour that 0.4 km ask for."""
    loaded = bike(
        {"controller.motor_current_limit_a": 30.0, "pack.start_charge_fraction": 0.5, "rider.pushes_up_to_m": 0.0}
    )
    ramp = make_ramp(300.0, 300.0, 1.05 * starts_on_percent(simulate(loaded, CLIMB, trace=False)), run_out_m=2000.0)
    stuck = range_of(simulate(loaded, ramp, trace=False)).range_km
    assert stuck is not None and stuck < 0.5
    low, high = range_beside(loaded, ramp, RideOptions(), stuck)
    assert low < 0.5 and high is not None and 3.0 < high < 60.0


@pytest.mark.parametrize(("field_a", "drives", "waits"), [(30.0, 2, False), (0.0, 2, True), (30.0, 1, True)])
def test_two_drives_that_weaken_their_field_do_not_keep_an_answer_waiting(field_a, drives, waits, monkeypatch):
    """A ride of 10 km took 100 s, 90 of them for the span of its range: such a range is told without one."""
    monkeypatch.setattr("ridesim.sure.beside._ranges_ridden", lambda *_: np.linspace(40.0, 60.0, 64))
    root = Path(__file__).parents[2] / "configs"
    loaded = load_build(root / "longtail-two-drives.toml") if drives == 2 else bike()
    loaded = replace_keys(loaded, {"controller.field_weakening_current_a": field_a})
    assert (range_beside(loaded, LOOP, RideOptions(), 50.0) is not None) == waits


def test_a_range_without_end_or_a_very_long_one_has_no_span():
    assert range_beside(bike(), LOOP, RideOptions(), None) is None
    assert range_beside(bike(), LOOP, RideOptions(), LONGEST_RANGE_KM + 1.0) is None


def test_range_tells_its_span():
    told = reach(bike(LITTLE), LOOP, speeds_km_h=(20.0,), how_sure=True)
    low, high = told.span_km
    assert low < told.base.range_km < (high or np.inf)
    assert f"{low:.1f} km to {'no end' if high is None else f'{high:.1f} km'}" in " ".join(
        told.view(pictures=False).answer
    )
    assert told.figures["range_span_km"] == (low, high)
    assert reach(bike(LITTLE), LOOP, speeds_km_h=(20.0,)).span_km is None


def test_climb_tells_its_span_and_heeds_the_chances():
    weak = bike({"controller.motor_current_limit_a": 33.0, "rider.power_w": 40.0})
    quick = climb(weak, grade_percent=7.0, length_km=0.4)
    told = climb(weak, grade_percent=7.0, length_km=0.4, how_sure=True)
    assert quick.spread is None and sure_line(quick.spread, ("peak_winding_temp_c",), "metric") == ""
    arrival = next(each.chance for each in told.spread.chances if each.limit == "arrival")
    assert arrival > 0.05
    assert told.verdict.word in ((STOP,) if arrival > 0.5 or not told.arrived else (LOOK_AGAIN, STOP))
    view = told.view(pictures=False)
    assert view.heeds_chances and not quick.view(pictures=False).heeds_chances
    low, high = told.spread.span("peak_winding_temp_c")
    assert f"hottest winding {low:.0f} °C to {high:.0f} °C" in " ".join(view.answer)
    assert "does not arrive in" in " ".join(view.answer)


@pytest.mark.parametrize(
    ("command", "block"),
    [
        (["climb", "configs/longtail-belt.toml", "--grade", "8", "--length", "0.5"], "spread"),
        (["regen", "configs/longtail-belt.toml", "routes/ridge-climb.gpx"], "common_draws"),
        (["throttle", "configs/longtail-belt.toml", "--length", "0.3"], "common_draws"),
        (["ratios", "configs/longtail-belt.toml", "routes/ridge-climb.gpx", "--ratios", "9,11,13"], "common_draws"),
    ],
)
def test_quick_leaves_it_out(root, monkeypatch, command, block):
    monkeypatch.chdir(root)
    runner = CliRunner()
    told, quick = (runner.invoke(app, [*command, "--json", *more]) for more in ([], ["--quick"]))
    assert told.exit_code == quick.exit_code == 0, told.stderr + quick.stderr
    assert json.loads(told.stdout)[block]["samples"] == 256
    assert json.loads(quick.stdout)[block] is None


def test_a_ride_tells_the_span_of_its_range_behind_the_value(root, monkeypatch):
    monkeypatch.chdir(root)
    done = CliRunner().invoke(app, ["ride", "configs/longtail-belt.toml", "routes/ridge-climb.gpx"])
    line = next(each for each in done.stdout.splitlines() if each.startswith("range "))
    assert re.match(r"range +[0-9.]+ km \[[0-9.]+ km to [0-9.]+ km\] of this road", line), line
