"""A ride as recorded tells recorded and ridden time, and the pauses that it stood."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from ridesim.bike.load import load_build
from ridesim.report.text import recorded_rows
from ridesim.ride.recorded import against_recording
from ridesim.ride.simulate import simulate
from ridesim.road.load import load_road


def test_the_pauses_of_a_recording_are_stood_and_its_time_is_kept(root: Path) -> None:
    road = load_road(root / "routes" / "terrace-round.gpx")
    ride = simulate(load_build(root / "configs" / "longtail-belt.toml"), road, speed_source="recorded", trace=False)
    beside = against_recording(ride)
    assert beside is not None and ride.finished
    assert beside.pauses_reached == beside.pauses_recorded == 2
    assert beside.stood_time_s == pytest.approx(ride.summary["total_time_s"] - ride.summary["moving_time_s"])
    assert beside.recorded_pause_time_s == pytest.approx(515.0, abs=10.0)  # as drawn: 95 s and 420 s
    # The bike is slower out of its stops and where the recording outran it: never faster than recorded.
    assert beside.recorded_moving_time_s <= beside.ridden_moving_time_s < 1.05 * beside.recorded_moving_time_s
    assert recorded_rows(ride)[1][1].startswith("2 of 2 pauses reached")


def test_every_pause_is_stood_to_its_end(root: Path) -> None:
    road = load_road(root / "routes" / "terrace-round.gpx")
    ride = simulate(load_build(root / "configs" / "longtail-belt.toml"), road, speed_source="recorded", trace=False)
    beside = against_recording(ride)
    assert beside is not None
    assert beside.stood_time_s == pytest.approx(beside.recorded_pause_time_s, abs=2.0)


def test_two_laps_and_a_ride_by_plan(root: Path) -> None:
    road, build = load_road(root / "routes" / "terrace-round.gpx"), load_build(root / "configs" / "longtail-belt.toml")
    once, twice = (
        against_recording(simulate(build, road, speed_source="recorded", laps=laps, trace=False)) for laps in (1, 2)
    )
    assert once is not None and twice is not None
    assert twice.recorded_moving_time_s == pytest.approx(2.0 * once.recorded_moving_time_s)
    assert twice.pauses_recorded == 4
    plan = simulate(build, road, trace=False)
    assert against_recording(plan) is None and recorded_rows(plan) == []


def test_the_command_tells_it(ridesim_command) -> None:
    words = ("ride", "configs/longtail-belt.toml", "routes/terrace-round.gpx", "--as-recorded", "--quick")
    told = json.loads(ridesim_command(*words, "--json").stdout)["against_recording"]
    assert told["pauses_reached"] == 2 and told["stood_time_s"] > 100.0
    assert "as recorded" in ridesim_command(*words).stdout
