"""A build fitted to made logs: the truth is found and lies inside the stated intervals; strangers are told.

The truth is what the logs were made with; the intervals' coverage is held against the binomial distribution.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.engine.estimates import drag_terms
from ridesim.errors import LogError
from ridesim.learn.balance import pedal_power
from ridesim.learn.build_fit import BuildFit, fit_build, fitted_key
from ridesim.learn.fitted_file import fitted_text
from ridesim.learn.log import load_log
from ridesim.learn.menu import suggestions
from ridesim.learn.posterior import Problem, Solution, prepare, solve
from ridesim.learn.priors import DRAG, priors_of
from ridesim.learn.replay import replay
from ridesim.report.fit.build_view import short_names
from ridesim.ride.simulate import simulate
from ridesim.road.load import load_road
from ridesim.road.profile import Road
from ridesim.sure.spread import spread

from .made_logs import Faults, columns_of, pedalled, spoiled, throttled, write_log

ROOT = Path(__file__).parents[2]
CHANNELS = ("pack_voltage_v", "pack_current_a", "duty", "winding_temperature_c", "controller_temperature_c", "road",
            "road_speed_km_h")  # fmt: skip


@pytest.fixture(scope="module")
def bike() -> LoadedBuild:
    return load_build(ROOT / "configs" / "longtail-belt.toml")


@pytest.fixture(scope="module")
def road() -> Road:
    return load_road(ROOT / "routes" / "terrace-round.gpx")


@pytest.fixture(scope="module")
def ridge() -> Road:
    return load_road(ROOT / "routes" / "ridge-climb.gpx")


TRUE = {
    "motor.kv_rpm_per_v": 106.0, "motor.resistance_mohm": 29.0, "pack.resistance_mohm": 87.5,
    "motor.winding_to_body_w_per_k": 2.6, "bicycle.drag_area_m2": 0.7, "tyre.circumference_mm": 2050.0,
}  # fmt: skip


@pytest.fixture(scope="module")
def fitted(bike: LoadedBuild, road: Road, tmp_path_factory: pytest.TempPathFactory) -> BuildFit:
    """The fit of a log of another copy of the bike: six keys off by some tenths of their tolerance or more."""
    columns = spoiled(columns_of(replace_keys(bike, TRUE), road), Faults(), np.random.default_rng(11))
    place = write_log(tmp_path_factory.mktemp("fit") / "log.csv", columns)
    return fit_build(load_log(place), bike)


def test_what_the_log_was_made_with_is_found(fitted: BuildFit):
    """Three deviations: one of six keys in 60 fits would miss it."""
    keys = {each.key: each for each in fitted.keys}
    for key, truth in TRUE.items():
        assert abs(keys[key].after - truth) < 3.0 * keys[key].after_sd + 1e-3 * truth, (key, keys[key])
    for key in ("motor.kv_rpm_per_v", "motor.resistance_mohm", "motor.winding_to_body_w_per_k"):
        assert keys[key].narrowed < 0.3, f"an ordinary ride tells {key}"
    assert fitted.verdict == "fine"


STILL, GROWTH = DRAG
SPEEDS = np.tile([0.25, 0.8, 0.3, 1.0, 0.3, 0.7, 0.3, 0.9], 4)


@pytest.mark.parametrize(("still", "growth"), [(1.5, 0.6), (0.7, 1.6)])
def test_the_two_terms_of_the_motors_drag_are_told_apart(still: float, growth: float, road: Road, tmp_path: Path):
    """A build with no-load points alone, half an hour between 0 and 60 km/h: iron loss warms the body by w and w^2."""
    light = {"rider.power_w": 0.0, "bicycle.cargo_kg": 0.0}
    bike = replace_keys(load_build(ROOT / "configs" / "longtail-belt.toml"), light)
    assert bike.build.motor.no_load
    assert bike.build.motor.drag_torque_nm is None
    values = drag_terms(bike.build.motor)
    true = {STILL: still * values[0], GROWTH: growth * values[1]}
    columns = throttled(replace_keys(bike, true), road, SPEEDS, 60.0)
    place = write_log(tmp_path / "log.csv", spoiled(columns, Faults(), np.random.default_rng(11)))
    problem = prepare(load_log(place), bike)
    solution = solve(problem)
    keys = {each.key: fitted_key(each, at, solution) for at, each in enumerate(problem.priors.unknowns)}
    assert "motor.no_load" not in keys
    for key, truth in true.items():
        assert abs(keys[key].after - truth) < 3.0 * keys[key].after_sd, (key, keys[key])
        assert keys[key].narrowed < 0.5, (key, keys[key])


def test_a_ride_at_one_speed_knows_their_sum_and_says_that_it_cannot_part_them(fitted: BuildFit):
    keys = {each.key: each for each in fitted.keys}
    assert all(keys[key].narrowed > 0.4 for key in DRAG)
    pair = next(each for each in fitted.pairs if {each.one, each.other} == set(DRAG))
    assert pair.correlation < -0.8
    text = fitted_text(fit=fitted, extends="longtail-belt.toml", command="test")
    assert text.count("motor.no_load = []") == 1
    assert all(f"\n{key} = " in text for key in DRAG)


def test_a_rider_begins_to_pedal_gradually(bike: LoadedBuild, fitted: BuildFit):
    """Were it a switch, a second that crosses it would be a slope that drowns what the fit knows."""
    problem = fitted.problem
    assert problem.road is not None
    motor = np.linspace(0.0, 100.0, len(problem.road.way.speed))
    power = pedal_power(bike.build, problem.road.way, bike.build.rider.power_w, motor)
    assert power[0] == 0.0
    assert power[-1] == pytest.approx(bike.build.rider.power_w * bike.build.rider.chain_efficiency)
    assert np.abs(np.diff(power)).max() < 1.0


def test_blocks_that_were_not_fitted_are_predicted_better(fitted: BuildFit):
    skill = {each.name: each for each in fitted.skills}
    for name in ("pack_voltage_v", "pack_current_a", "duty", "winding_temperature_c"):
        assert skill[name].fitted < 0.5 * skill[name].as_built
        assert skill[name].fitted < 3.0 * skill[name].noise


def test_an_ordinary_ride_hardly_tells_drags_apart_and_says_so(fitted: BuildFit):
    keys = {each.key: each for each in fitted.keys}
    assert keys["tyre.rolling_resistance"].narrowed > 0.6
    assert any({"bicycle.drag_area_m2", "tyre.rolling_resistance"} == {each.one, each.other} for each in fitted.pairs)


def test_the_menu_names_a_ride_that_narrows_what_is_left(fitted: BuildFit):
    rides = suggestions(fitted)
    assert len(rides) >= 3
    assert [each.gain for each in rides] == sorted((each.gain for each in rides), reverse=True)
    assert any("bicycle.drag_area_m2" in each.narrows for each in rides)


def test_the_fitted_build_rides_and_spreads_narrower(fitted: BuildFit, bike: LoadedBuild, ridge: Road, tmp_path: Path):
    place = tmp_path / "bike-fitted.toml"
    place.write_text(fitted_text(fitted, str(ROOT / "configs" / "longtail-belt.toml"), "ridesim fit a b"))
    loaded = load_build(place)
    assert loaded.build.motor.kv_rpm_per_v == pytest.approx(106.0, rel=0.003)
    assert len(loaded.stated.together) == 1
    assert fitted.sha256 in place.read_text()
    before, after = (spread(each, ridge, samples=128, with_indices=False, band=False) for each in (bike, loaded))
    key = "peak_winding_temp_c"
    (low, high), (near, far) = (each.span(key) for each in (before, after))
    assert far - near < 0.5 * (high - low)
    truth = simulate(replace_keys(bike, TRUE), ridge, trace=False).summary[key]
    assert abs(simulate(loaded, ridge, trace=False).summary[key] - truth) < 5.0


def test_a_log_of_another_bike_is_recognised(road: Road, bike: LoadedBuild, tmp_path: Path):
    """The hub-driven longtail has another ratio, Kv and heat: no tolerance of the belt bike reaches it."""
    other = load_build(ROOT / "configs" / "longtail-hub.toml")
    columns = spoiled(columns_of(other, road, 1.0), Faults(), np.random.default_rng(2))
    fit = fit_build(load_log(write_log(tmp_path / "log.csv", columns)), bike)
    assert fit.verdict == "stop"
    assert fit.doubts


def test_one_that_is_far_off_in_one_key_is_doubted(road: Road, bike: LoadedBuild, tmp_path: Path):
    other = replace_keys(bike, {"motor.kv_rpm_per_v": 140.0})
    columns = spoiled(columns_of(other, road, 1.0), Faults(), np.random.default_rng(2))
    fit = fit_build(load_log(write_log(tmp_path / "log.csv", columns)), bike)
    assert fit.verdict != "fine"
    assert any("motor.kv_rpm_per_v" in words for words in fit.doubts)


def test_a_pack_of_other_cells_in_series_is_recognised(road: Road, bike: LoadedBuild, tmp_path: Path):
    other = replace_keys(bike, {"pack.series": 14})
    columns = spoiled(columns_of(other, road, 1.0), Faults(), np.random.default_rng(2))
    fit = fit_build(load_log(write_log(tmp_path / "log.csv", columns)), bike)
    assert fit.verdict == "stop"
    assert any("13 cells in series" in words for words in fit.doubts)


def test_the_altitude_of_another_road_is_recognised(bike: LoadedBuild, road: Road, ridge: Road, tmp_path: Path):
    """A bike that climbs the ridge, beside the altitude of the terraces: it would brake against its motor."""
    climbing = columns_of(bike, ridge, 1.0)
    right = load_log(write_log(tmp_path / "right.csv", spoiled(climbing, Faults(), np.random.default_rng(5))))
    flat = {**climbing, "altitude_m": 300.0 + 0.0 * climbing["altitude_m"]}
    wrong = load_log(write_log(tmp_path / "wrong.csv", spoiled(flat, Faults(), np.random.default_rng(5))))
    assert replay(right, bike).verdict == "fine"
    told = replay(wrong, bike)
    assert told.verdict == "stop" and any("another road" in words for words in told.general)
    fit = fit_build(wrong, bike)
    assert fit.verdict == "stop"
    assert any("another road" in words for words in fit.doubts)


@pytest.mark.parametrize(("name", "by"), [("altitude_m", 1e3), ("speed_km_h", 1e-3), ("pack_current_a", 1e300)])
def test_units_off_by_a_thousand_are_refused(name: str, by: float, bike: LoadedBuild, ridge: Road, tmp_path: Path):
    columns = columns_of(bike, ridge, 1.0)
    path = write_log(tmp_path / "log.csv", {**columns, name: by * columns[name]})
    with pytest.raises(LogError, match=r"mend its unit in a mapping"):
        load_log(path)


def test_a_single_key_can_be_asked(road: Road, bike: LoadedBuild, tmp_path: Path):
    path = write_log(tmp_path / "log.csv", columns_of(bike, road, 1.0))
    fit = fit_build(load_log(path), bike, asked=("motor.kv_rpm_per_v",))
    assert [each.key for each in fit.keys if not each.of_log] == ["motor.kv_rpm_per_v"]
    with pytest.raises(LogError, match="did you mean"):
        fit_build(load_log(path), bike, asked=("motor.kv",))


def test_only_pack_current_and_voltage_are_enough_for_the_pack(road: Road, bike: LoadedBuild, tmp_path: Path):
    """What a battery's own display logs: no motor current, no duty, no temperature."""
    other = replace_keys(bike, {"pack.resistance_mohm": 102.7})
    names = ("time_s", "speed_km_h", "pack_current_a", "pack_voltage_v")
    columns = spoiled(columns_of(other, road, 1.0), Faults(), np.random.default_rng(4))
    fit = fit_build(load_log(write_log(tmp_path / "log.csv", columns, names)), bike)
    key = next(each for each in fit.keys if each.key == "pack.resistance_mohm")
    assert key.low_90 < 102.7 < key.high_90 * 1.1
    assert key.narrowed < 0.6


def test_the_command_writes_a_build_that_ride_takes(ridesim_command, bike: LoadedBuild, road: Road, tmp_path: Path):
    columns = spoiled(columns_of(replace_keys(bike, TRUE), road, 1.0), Faults(), np.random.default_rng(3))
    path = write_log(tmp_path / "log.csv", columns)
    done = ridesim_command("fit", "configs/longtail-belt.toml", path, "--out", tmp_path / "out", "--json")
    assert done.returncode == 0, done.stderr
    made = tmp_path / "out" / "longtail-belt-fitted.toml"
    again = ridesim_command("ride", made, "routes/ridge-climb.gpx", "--quick", "--json")
    assert again.returncode == 0, again.stderr
    assert (tmp_path / "out" / "intervals.png").exists()


def test_save_writes_one_file_and_nothing_over_another(ridesim_command, bike: LoadedBuild, road: Road, tmp_path: Path):
    names = ("time_s", "speed_km_h", "pack_current_a", "pack_voltage_v")
    path = write_log(
        tmp_path / "log.csv", spoiled(columns_of(bike, road, 1.0), Faults(), np.random.default_rng(3)), names
    )
    words = ("fit", "configs/longtail-belt.toml", path, "--save", tmp_path / "fitted.toml")
    done = ridesim_command(*words)
    assert done.returncode == 0, done.stderr
    assert load_build(tmp_path / "fitted.toml").build.pack.series == 13
    again = ridesim_command(*words)
    assert again.returncode == 2
    assert "is there already" in again.stderr


@pytest.mark.parametrize(
    ("text", "said"),
    [("", "is empty"), ("time_s,speed_km_h\n" + "".join(f"{i},{20 + i % 3}\n" for i in range(99)), "no motor current")],
)
def test_bad_logs_write_nothing(text: str, said: str, ridesim_command, tmp_path: Path):
    path = tmp_path / "bad.csv"
    path.write_text(text)
    done = ridesim_command("fit", "configs/longtail-belt.toml", path, "--save", tmp_path / "fitted.toml")
    assert done.returncode == 2
    assert said in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "fitted.toml").exists()


@dataclass
class Tally:
    """How often the stated 90 % interval held the truth, key by key."""

    held: dict[str, int]
    asked: dict[str, int]
    climbs: list[tuple[float, float]] = field(default_factory=list)
    """How far an unseen climb's hottest winding is off [K], and one deviation of it."""


def _whole(bike: LoadedBuild, truth: dict[str, float]) -> dict[str, float]:
    """Both cooling conductances go by one factor."""
    still, moving = "motor.body_to_air_still_w_per_k", "motor.body_to_air_at_36_km_h_w_per_k"
    motor = bike.build.motor
    assert motor.body_to_air_still_w_per_k is not None
    assert motor.body_to_air_at_36_km_h_w_per_k is not None
    factor = truth[still] / motor.body_to_air_still_w_per_k
    return {**truth, moving: motor.body_to_air_at_36_km_h_w_per_k * factor}


def _coverage(bike: LoadedBuild, road: Road, folder: Path, logs: int, seed: int, unseen: Road | None = None) -> Tally:
    """Fit `logs` made logs of bikes drawn from the build's own tolerances, spoiled as recorders do."""
    rng = np.random.default_rng(seed)
    priors = priors_of(bike, CHANNELS, air_known=False, charge=1.0, windy=False)
    tally = Tally({}, {})
    for number in range(logs):
        truth = {}
        for each in priors.unknowns:
            if not each.of_log:
                low, high = each.bounds
                truth[each.key] = each.at(float(np.clip(rng.normal(), low, high)))
        true = pedalled(replace_keys(bike, _whole(bike, truth)), road, rng)
        for name, size in (("motor_current_a", 0.01), ("pack_current_a", 0.01), ("duty", 0.005), ("speed_km_h", 0.003)):
            true[name] = true[name] / rng.normal(1.0, size)
        faults = Faults(altitude_lag_s=float(rng.uniform(0.0, 4.0)))
        path = write_log(folder / f"log-{number}.csv", spoiled(true, faults, rng))
        problem = prepare(load_log(path), bike)
        solution = solve(problem)
        for at, unknown in enumerate(problem.priors.unknowns):
            each = fitted_key(unknown, at, solution)
            if each.key in truth:
                tally.asked[each.key] = tally.asked.get(each.key, 0) + 1
                inside = each.low_90 <= truth[each.key] <= each.high_90
                tally.held[each.key] = tally.held.get(each.key, 0) + int(inside)
        if unseen is not None:
            off, error = _climbed(bike, unseen, problem, solution, truth)
            tally.climbs.append((off, error))
    return tally


def _climbed(
    bike: LoadedBuild, road: Road, problem: Problem, solution: Solution, truth: dict[str, float]
) -> tuple[float, float]:
    """Return how far the winding's peak on an unseen climb is off [K], and one deviation of it by the linear bound."""

    def peak(z: np.ndarray) -> float:
        values = {key: value for key, value in problem.priors.values(z).items() if not key.startswith("log.")}
        return hottest(_whole(bike, values))

    def hottest(values: dict[str, float]) -> float:
        return float(simulate(replace_keys(bike, values), road, trace=False).summary["peak_winding_temp_c"])

    here = peak(solution.z)
    slopes = np.zeros(len(solution.z))
    for at, each in enumerate(problem.priors.unknowns):
        if not each.of_log:
            step = 0.5 * float(np.sqrt(solution.covariance[at, at]))
            moved = solution.z.copy()
            moved[at] += step if moved[at] + step < each.bounds[1] else -step
            slopes[at] = (peak(moved) - here) / (moved[at] - solution.z[at])
    return here - hottest(_whole(bike, truth)), float(np.sqrt(slopes @ solution.covariance @ slopes))


def _hold(tally: Tally, sigmas: float) -> None:
    logs = max(tally.asked.values())
    error = math.sqrt(0.9 * 0.1 / logs)
    shares = {key: tally.held[key] / tally.asked[key] for key in tally.asked}
    low = {key: share for key, share in shares.items() if share < 0.9 - sigmas * error - 0.02}
    assert not low, low
    mean = sum(shares.values()) / len(shares)
    assert 0.85 < mean < 0.98, mean


def test_intervals_hold_the_truth_as_often_as_stated_quick(bike: LoadedBuild, ridge: Road, tmp_path: Path):
    """Eight logs: too few for each key alone; all keys together must be held about nine times in ten."""
    tally = _coverage(bike, ridge, tmp_path, 8, 21)
    share = sum(tally.held.values()) / sum(tally.asked.values())
    assert 0.82 < share < 0.99, share


@pytest.mark.slow
def test_intervals_hold_the_truth_as_often_as_stated(bike: LoadedBuild, road: Road, ridge: Road, tmp_path: Path):
    """200 logs: each key's share within three binomial errors of 90 %, and 2 % for what the linear bound leaves out.

    The winding on an unseen climb lies in its stated span as often, and within 5 K or that span in nine of ten.
    """
    tally = _coverage(bike, road, tmp_path, 200, 22, ridge)
    _hold(tally, 3.0)
    off, error = np.abs(np.array(tally.climbs)).T
    least = 0.9 - 3.0 * math.sqrt(0.09 / len(off)) - 0.02
    assert np.mean(off < 1.645 * error) > least
    assert np.mean(off < np.maximum(5.0, 1.645 * error)) > least


def test_keys_that_read_alike_are_drawn_with_their_section():
    """A motor's and a pack's resistance are two rows of one picture."""
    keys = ["motor.resistance_mohm", "pack.resistance_mohm", "pack.cell.capacity_ah", "motor.kv_rpm_per_v"]
    assert short_names(keys) == ["motor resistance", "pack resistance", "cell capacity", "kv"]
