"""A made ride whose drags and wind are known: the fit finds them, and refuses logs that are none."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from ridesim.errors import LogError
from ridesim.learn.pedal_fit import HIGHEST, LAGS_S, LOWEST, at_bounds, fit_log
from ridesim.learn.pedal_replay import replay_log
from ridesim.learn.ride_log import load_ride_log
from ridesim.learn.road_load import Machine, RoadLoad, braking_seconds, motion_of
from ridesim.report.fit.view import view

MASS, CDA, CRR = 85.0, 0.36, 0.0065
WIND_EAST, WIND_NORTH = 2.0, -1.0
CHAIN, WHEELS, FW, G = 0.977, 0.14 / 0.311**2, 0.0044, 9.80665
SECONDS = 3000


def made_ride(lag_s: int = 0, hard_brakes: bool = True) -> pd.DataFrame:
    """A loop over hills, written apart from the program: density by the gas law, forces after Martin (1998)."""
    time = np.arange(SECONDS, dtype=float)
    speed = 7.0 + 1.5 * np.sin(time / 90.0) + 0.8 * np.sin(time / 17.0)
    if hard_brakes:
        for start in range(330, SECONDS - 100, 500):
            speed[start : start + 6] = np.linspace(speed[start], 2.0, 6)
            speed[start + 6 : start + 30] = np.linspace(2.0, speed[start + 30], 24)
    distance = np.cumsum(speed)
    altitude = 100.0 + 10.0 * np.sin(distance / 900.0) + 1.5 * np.sin(distance / 250.0)
    heading = 2.0 * math.pi * distance / 6000.0
    rise = np.gradient(altitude)
    kelvin = 288.15 - 0.0065 * altitude
    density = 101325.0 * (kelvin / 288.15) ** 5.2559 / (287.05 * (18.0 + 273.15)) * 0.9961  # half humid at 18 degC
    along = speed - WIND_EAST * np.sin(heading) - WIND_NORTH * np.cos(heading)
    across = WIND_EAST * np.cos(heading) - WIND_NORTH * np.sin(heading)
    air = 0.5 * density * (CDA + FW) * np.hypot(along, across) * along
    rolling = CRR * MASS * G * np.sqrt(1.0 - (rise / speed) ** 2)
    push = (air + rolling + 0.091 + 0.0087 * speed + (MASS + WHEELS) * np.gradient(speed)) * speed + MASS * G * rise
    degrees = 1.0 / 111_195.0
    return pd.DataFrame({
        "time_s": time, "speed_m_per_s": speed, "power_w": np.maximum(push, 0.0) / CHAIN,
        "altitude_m": np.concatenate((np.full(lag_s, altitude[0]), altitude))[: SECONDS],
        "lat": 45.0 + np.cumsum(speed * np.cos(heading)) * degrees,
        "lon": 7.0 + np.cumsum(speed * np.sin(heading)) * degrees / math.cos(math.radians(45.0)),
        "temperature_c": 18.0,
    })  # fmt: skip


def written(tmp_path: Path, table: pd.DataFrame) -> Path:
    place = tmp_path / "ride.csv"
    table.to_csv(place, index=False)
    return place


@pytest.mark.parametrize("lag_s", [0, 6])
def test_known_drags_wind_and_lag_are_found(tmp_path: Path, lag_s: int) -> None:
    fit = fit_log(written(tmp_path, made_ride(lag_s)), mass_kg=MASS)
    # Smoothed altitude and speed, and the prior, move the answer: 3 % and 5 % of what was put in.
    assert fit.load.drag_area_m2 == pytest.approx(CDA, rel=0.03)
    assert fit.load.rolling_resistance == pytest.approx(CRR, rel=0.05)
    assert fit.load.wind_east_m_per_s == pytest.approx(WIND_EAST, abs=0.15)
    assert fit.load.wind_north_m_per_s == pytest.approx(WIND_NORTH, abs=0.15)
    assert fit.load.wind_from_deg == pytest.approx(math.degrees(math.atan2(-WIND_EAST, -WIND_NORTH)) % 360.0, abs=5.0)
    assert fit.lag_s == pytest.approx(lag_s, abs=1.0)
    assert abs(fit.skill.work_error_percent) < 1.0
    assert fit.skill.correlation > 0.99
    assert abs(fit.load.drag_area_m2 - CDA) < 3.0 * fit.deviation.drag_area_m2


def test_braking_is_told_without_the_power_meter(tmp_path: Path) -> None:
    machine, load = Machine(MASS, WHEELS, FW, CHAIN), RoadLoad(CDA, CRR, WIND_EAST, WIND_NORTH)
    seconds = []
    for brakes in (True, False):
        log = load_ride_log(written(tmp_path, made_ride(0, brakes)))
        seconds.append(int(braking_seconds(motion_of(log, 0.0), load, machine).sum()))
    # Six stops of five seconds; smoothing may take or give a second or two at each.
    assert 6 * 4 <= seconds[0] - seconds[1] <= 6 * 9


def test_more_mass_is_less_of_everything_else(tmp_path: Path) -> None:
    place = written(tmp_path, made_ride())
    light, heavy = (fit_log(place, mass_kg=mass).load for mass in (75.0, 100.0))
    assert heavy.rolling_resistance < light.rolling_resistance


def test_simulator_rides_the_made_ride_in_its_time(tmp_path: Path) -> None:
    replay = replay_log(written(tmp_path, made_ride()), mass_kg=MASS)
    assert replay.time_error_percent == pytest.approx(0.0, abs=1.0)
    assert len(replay.stretches) >= 4
    assert not any(stretch.stalled for stretch in replay.stretches)


def test_a_stuck_stretch_is_told_and_counts_in_no_mean(tmp_path: Path) -> None:
    place = written(tmp_path, made_ride())
    fit = fit_log(place, mass_kg=MASS)
    # Rolling as in mud and a sail: some stretches take three times as long and are given up.
    load = replace(
        fit.skill.load, rolling_resistance=0.06, drag_area_m2=2.0, wind_east_m_per_s=0.0, wind_north_m_per_s=0.0
    )
    stuck = replay_log(place, fit=replace(fit, skill=replace(fit.skill, load=load)))
    given_up = [stretch for stretch in stuck.stretches if stretch.stalled]
    assert given_up
    assert stuck.stuck_s == sum(stretch.recorded_s for stretch in given_up)
    assert stuck.recorded_s + stuck.stuck_s == sum(stretch.recorded_s for stretch in stuck.stretches)
    nothing = replace(stuck, stretches=tuple(given_up))
    assert (nothing.recorded_s, nothing.arrived) == (0.0, ())
    assert math.isnan(nothing.time_error_percent) and math.isnan(nothing.speed_error_percent)
    # One of several stuck: the others keep their mean.
    good = replay_log(place, fit=fit)
    assert good.stuck_s == 0.0
    first = replace(good.stretches[0], stalled=True, simulated_s=1.0)
    mixed = replace(good, stretches=(first, *good.stretches[1:]))
    assert mixed.stuck_s == first.recorded_s
    assert mixed.recorded_s == pytest.approx(good.recorded_s - first.recorded_s)
    assert mixed.time_error_percent == pytest.approx(0.0, abs=1.0)


def test_a_fit_at_the_edge_of_its_search_says_so(tmp_path: Path) -> None:
    table = made_ride()
    table["power_w"] *= 0.2
    fit = fit_log(written(tmp_path, table), mass_kg=MASS)
    assert fit.at_bounds
    assert all(words in fit.notes and "the edge of the search" in words for words in fit.at_bounds)
    assert view(fit, pictures=False).verdict == "look again"
    assert fit.at_bounds[0] in " ".join(view(fit, pictures=False).answer)
    calm = fit_log(written(tmp_path, made_ride()), mass_kg=MASS)
    assert calm.at_bounds == ()
    assert view(calm, pictures=False).verdict == "fine"
    # However well it predicts: a number at its edge is not told by the log.
    assert view(replace(calm, at_bounds=fit.at_bounds), pictures=False).verdict == "look again"


@pytest.mark.parametrize(
    ("work_percent", "correlation", "verdict"),
    [(4.9, 0.86, "fine"), (-4.9, 0.86, "fine"), (5.1, 0.86, "look again"), (-5.1, 0.86, "look again"),
     (0.0, 0.84, "look again"), (0.0, math.nan, "look again")],
)  # fmt: skip
def test_a_fit_is_good_just_inside_its_goals(
    tmp_path: Path, work_percent: float, correlation: float, verdict: str
) -> None:
    fit = fit_log(written(tmp_path, made_ride()), mass_kg=MASS)
    predicted = fit.skill.work_measured_wh * (1.0 + work_percent / 100.0)
    skill = replace(fit.skill, work_predicted_wh=predicted, correlation=correlation)
    shown = view(replace(fit, skill=skill), pictures=False)
    assert shown.verdict == verdict
    assert "nan" not in " ".join(shown.answer)


@pytest.mark.parametrize("share", [0.0005, 0.002])
def test_the_edge_begins_a_thousandth_of_the_span_away(share: float) -> None:
    low, high = LOWEST[0], HIGHEST[0]
    for drag_area in (low + share * (high - low), high - share * (high - low)):
        told = at_bounds(RoadLoad(drag_area, 0.006), 2.0, windy=True)
        assert len(told) == (1 if share < 0.001 else 0)
    assert len(at_bounds(RoadLoad(0.4, 0.006), LAGS_S[1], windy=True)) == 1
    assert len(at_bounds(RoadLoad(0.4, 0.006, 15.0), 2.0, windy=True)) == 1
    assert at_bounds(RoadLoad(0.4, 0.006), 2.0, windy=False) == ()


@pytest.mark.parametrize("watts", [0.0, 4.9, 5.1])
def test_power_that_shows_no_pedalling_is_refused_in_words(tmp_path: Path, watts: float) -> None:
    place = written(tmp_path, made_ride().assign(power_w=watts))
    if watts < 5.0:
        for ask in (fit_log, replay_log):
            with pytest.raises(LogError, match=rf"power_w is {watts:.1f} W .*coastdown"):
                ask(place, mass_kg=MASS)
    else:
        assert math.isnan(fit_log(place, mass_kg=MASS).skill.correlation)


def test_a_ride_without_positions_is_fitted_calm(tmp_path: Path) -> None:
    table = made_ride().drop(columns=["lat", "lon", "temperature_c"])
    fit = fit_log(written(tmp_path, table), mass_kg=MASS)
    assert fit.load.wind_speed_m_per_s == 0.0
    assert any("positions" in note for note in fit.notes)
    assert any("temperature" in note for note in fit.notes)


def test_pauses_are_left_out_and_distance_stands_in_for_speed(tmp_path: Path) -> None:
    table = made_ride()
    table["distance_m"] = np.cumsum(table["speed_m_per_s"])
    table = table.drop(columns="speed_m_per_s")
    table.loc[1500:, "time_s"] += 900.0
    log = load_ride_log(written(tmp_path, table))
    assert len(log.stretches) == 2
    assert log.riding_s == pytest.approx(SECONDS, abs=2)
    assert not log.stretches[1].trusted[:59].any()


def test_a_recorder_that_writes_every_four_seconds_will_do(tmp_path: Path) -> None:
    fit = fit_log(written(tmp_path, made_ride().iloc[::4]), mass_kg=MASS)
    assert fit.load.drag_area_m2 == pytest.approx(CDA, rel=0.06)
    assert fit.left_out_s < 120.0


BAD = {
    "no power": (lambda t: t.drop(columns="power_w"), "lacks the column power_w"),
    "no speed": (lambda t: t.drop(columns="speed_m_per_s"), "speed_m_per_s or distance_m"),
    "too short": (lambda t: t.head(100), "100 readings"),
    "time falls": (lambda t: t.iloc[::-1], "does not rise"),
    "speed is blank": (lambda t: t.assign(speed_m_per_s=np.nan), "speed_m_per_s or distance_m"),
    "speed has gaps": (
        lambda t: t.assign(speed_m_per_s=t["speed_m_per_s"].where(t.index % 3 > 0)),
        "speed_m_per_s is empty",
    ),
    "stands still": (lambda t: t.assign(speed_m_per_s=0.0), "no riding"),
    "power is text": (lambda t: t.assign(power_w="strong"), "power_w is empty"),
    "too few blocks": (lambda t: t.head(700), "too little riding"),
}


@pytest.mark.parametrize("fault", BAD)
def test_a_bad_log_is_refused_in_one_line(tmp_path: Path, fault: str) -> None:
    spoil, words = BAD[fault]
    with pytest.raises(LogError, match=words) as caught:
        fit_log(written(tmp_path, spoil(made_ride())), mass_kg=MASS)
    assert "\n" not in str(caught.value)


def test_a_missing_file_and_a_wild_mass_are_refused(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="no such file"):
        fit_log(tmp_path / "none.csv")
    with pytest.raises(LogError, match="out of range"):
        fit_log(written(tmp_path, made_ride()), mass_kg=3.0)
