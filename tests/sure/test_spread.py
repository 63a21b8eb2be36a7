"""Spreads of rides: the honest test of coverage, closed forms, and that draws are the bikes they claim to be."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from ridesim.bike.load import replace_keys
from ridesim.engine.params import parameters
from ridesim.errors import BuildError, RideError
from ridesim.physics.motor import COPPER_PER_K, REFERENCE_C
from ridesim.ride.limits import FINE, LOOK_AGAIN, STOP
from ridesim.ride.packed import asked_of
from ridesim.ride.running import RideOptions
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb, make_flat
from ridesim.road.profile import Stop
from ridesim.sure.batch import ANSWERS, CHANCES
from ridesim.sure.measure import next_measurements, still_open
from ridesim.sure.packing import changed, noisy, pack, packer
from ridesim.sure.spread import Chance, Spread, expected_rides, spread
from ridesim.sure.uncertain import MOVING, NO_LOAD, STILL, doubts_of, scatter_m

from ..bikes import bike

HILL = make_climb(1000.0, 7.0)
HEADLINES = ("total_time_s", "net_energy_wh", "charge_left_fraction", "peak_winding_temp_c", "peak_pack_current_a")


@pytest.fixture(scope="module")
def hill() -> Spread:
    """The reference bike on a kilometre of hill."""
    return spread(bike(), HILL, samples=512, with_indices=False)


def true_bike(random: np.random.Generator, doubts) -> dict[str, object]:
    """Draw one bike from the stated tolerances by another way: scipy's own distributions, point by point."""
    changes: dict[str, object] = {}
    for each in doubts.numbers:
        size, value = each.tolerance.size, each.value
        while True:
            if each.tolerance.kind == "log-normal":
                drawn = float(stats.lognorm.rvs(size, scale=value, random_state=random))
            else:
                drawn = float(random.normal(value, size))
            if each.low <= drawn <= each.high:
                break
        if each.key == NO_LOAD:
            for at, amps in enumerate((1.1, 1.9)):
                changes[f"motor.no_load.{at}.current_a"] = amps * drawn
        elif each.key == STILL:
            changes |= {STILL: drawn, MOVING: 2.2 / 0.8 * drawn}
        else:
            changes[each.key] = drawn
    return changes


def covered(told: Spread, bikes: int, seed: int) -> None:
    """Ride `bikes` true bikes by the public way and hold the spans against them."""
    loaded, random = bike(), np.random.default_rng(seed)
    rides = [
        simulate(replace_keys(loaded, true_bike(random, told.doubts)), told.road, trace=False) for _ in range(bikes)
    ]
    low, high = stats.binom.ppf([0.005, 0.995], bikes, 0.8)
    for name in HEADLINES:
        truth = np.array([getattr(ride.figures, name) for ride in rides])
        start, end = told.span(name)
        inside = int(((truth >= start) & (truth <= end)).sum())
        assert low <= inside <= high, f"{name}: the span holds {inside} of {bikes}"
        drawn = np.sort(told.values(name))
        transform = np.searchsorted(drawn, truth) / len(drawn)
        assert stats.kstest(transform, "uniform").pvalue > 0.01, name


def test_spans_hold_eight_of_ten_true_bikes(hill):
    covered(hill, 400, seed=11)


@pytest.mark.slow
def test_spans_hold_on_a_longer_road():
    covered(spread(bike(), make_climb(6000.0, 5.0), samples=4096, with_indices=False), 2000, seed=12)


def test_a_draw_is_the_bike_that_its_keys_make():
    loaded, random = bike(), np.random.default_rng(4)
    doubts = doubts_of(loaded, HILL)
    made = packer(loaded, HILL, RideOptions(), doubts)
    for _ in range(5):
        keys = true_bike(random, doubts)
        draw = {each.key: float(keys.get(each.key, 1.0)) for each in doubts.numbers}
        draw[NO_LOAD] = float(keys["motor.no_load.0.current_a"]) / 1.1
        theirs = parameters(replace_keys(loaded, keys).build)
        build, moved = pack(made, draw)
        ours = asked_of(made.ground, build, 1, moved).params
        assert ours.second is None and theirs.second is None  # of bikes with two drives alone
        for name in set(theirs._fields) - {"second"}:
            value = getattr(theirs, name)
            assert np.asarray(getattr(ours, name)) == pytest.approx(np.asarray(value), rel=1e-12), name


def test_an_estimate_follows_the_drawn_mass():
    loaded = bike({"motor.winding_heat_capacity_j_per_k": None})
    doubts = doubts_of(loaded, HILL)
    plain = {each.key: each.value for each in doubts.numbers}
    heavy = changed(loaded.build, doubts, plain | {"motor.mass_kg": 1.1 * plain["motor.mass_kg"]})
    key = "motor.winding_heat_capacity_j_per_k"
    assert heavy.motor.winding_heat_capacity_j_per_k == pytest.approx(1.1 * plain[key], rel=1e-12)
    moved = changed(loaded.build, doubts, plain | {key: 1.2 * plain[key]})
    assert moved.motor.winding_heat_capacity_j_per_k == pytest.approx(1.2 * plain[key], rel=1e-12)


def test_moving_air_cools_more_in_every_draw():
    loaded = bike({STILL: None, MOVING: None})
    doubts = doubts_of(loaded, HILL)
    assert MOVING not in doubts.keys
    plain = {each.key: each.value for each in doubts.numbers}
    for factor in (0.2, 1.0, 5.0):
        motor = changed(loaded.build, doubts, plain | {STILL: factor * plain[STILL]}).motor
        assert motor.body_to_air_at_36_km_h_w_per_k > motor.body_to_air_still_w_per_k


def test_the_nominal_bike_stands_beside_the_draws(hill):
    ride = simulate(bike(), HILL, trace=False)
    for name in ANSWERS:
        assert hill.nominal.of(name)[0] == pytest.approx(getattr(ride.figures, name), rel=1e-12), name
    assert hill.samples == 512
    assert not (hill.drawn.of("net_energy_wh") == hill.nominal.of("net_energy_wh")[0]).any()


def test_one_thread_or_two_and_the_same_seed():
    few = [spread(bike(), HILL, samples=32, seed=3, threads=threads, with_indices=False) for threads in (1, 2, 2)]
    for other in few[1:]:
        assert np.array_equal(few[0].drawn.answers, other.drawn.answers, equal_nan=True)
        assert np.array_equal(few[0].drawn.band["time_s"], other.drawn.band["time_s"], equal_nan=True)
    other = spread(bike(), HILL, samples=32, seed=4, with_indices=False)
    assert not np.array_equal(few[0].drawn.answers, other.drawn.answers, equal_nan=True)


def test_steady_heat_closed_form():
    """A parked controller warms by P/G: of two log-normals, a log-normal whose variances add up."""
    loaded = bike({
        "weather.temperature_c": 25.0, "controller.standby_power_w": 12.0, "controller.heat_capacity_j_per_k": 10.0,
        "controller.to_air_w_per_k": 0.5, "controller.controller_full_current_below_c": 200.0,
        "controller.controller_no_current_above_c": 250.0, "controller.on_resistance_mohm": 0.0,
        "controller.switching_loss_fraction": 0.0,
    })  # fmt: skip
    keys = ("controller.standby_power_w", "controller.to_air_w_per_k")
    loaded = replace_keys(loaded, {f"tolerance.{keys[0]}": "10 %", f"tolerance.{keys[1]}": "x/ 1.2"})
    road = replace(make_flat(50.0), stops=(Stop(0.0, 400.0),))
    told = spread(loaded, road, samples=1024, only=keys, with_indices=False)
    rise = np.log(told.values("peak_controller_temp_c") - 25.0)
    sizes = np.array([np.sqrt(np.log(1.01)), np.log(1.2) / stats.norm.ppf(0.9)])
    count = told.samples
    assert rise.mean() == pytest.approx(np.log(12.0 / 0.5), abs=3.0 * sizes.max() / np.sqrt(count))
    assert rise.std() == pytest.approx(np.hypot(*sizes), rel=3.0 / np.sqrt(2.0 * count))
    assert stats.kstest((rise - np.log(24.0)) / np.hypot(*sizes), "norm").pvalue > 0.01
    expected = sizes**2 / (sizes**2).sum()
    assert told.shares("peak_controller_temp_c") == pytest.approx(expected, abs=0.05)


def test_energy_on_the_level_closed_form():
    """Energy is linear in drag area and rolling: its variance is shared as half rho v^2 and m g say."""
    loaded = replace_keys(
        bike({"rider.power_w": 0.0}),
        {"tolerance.bicycle.drag_area_m2": 0.02, "tolerance.tyre.rolling_resistance": 4e-4},
    )
    keys = ("bicycle.drag_area_m2", "tyre.rolling_resistance")
    road = make_flat(2000.0)
    told = spread(loaded, road, samples=512, only=keys)
    force = np.array([0.5 * 1.19 * (25.0 / 3.6) ** 2 * 0.02, loaded.build.mass_kg * 9.81 * 4e-4])
    expected = force**2 / (force**2).sum()
    assert told.shares("net_energy_wh") == pytest.approx(expected, abs=0.03)
    row = ANSWERS.index("net_energy_wh")
    assert told.indices.total[row] == pytest.approx(expected, abs=0.2)  # 64 points: three errors
    assert told.indices.first_order[row] == pytest.approx(expected, abs=0.3)
    nominal = simulate(loaded, road, trace=False).figures.net_energy_wh
    slopes = [
        (simulate(replace_keys(loaded, {key: getattr_of(loaded, key) + step}), road, trace=False).figures.net_energy_wh
         - nominal) / step
        for key, step in zip(keys, (0.02, 4e-4), strict=True)
    ]  # fmt: skip
    values = told.values("net_energy_wh")
    deviation = np.hypot(slopes[0] * 0.02, slopes[1] * 4e-4)
    assert values.std() == pytest.approx(deviation, rel=3.0 / np.sqrt(1024.0))
    assert values.mean() == pytest.approx(nominal, abs=3.0 * deviation / np.sqrt(512.0))


def getattr_of(loaded, key):
    section, name = key.split(".")
    return getattr(getattr(loaded.build, section), name)


def test_draws_that_cannot_be_ridden_are_outcomes():
    """A bike at the edge of its strength: some draws get stuck, are counted, and do not move the others' time."""
    weak = bike({"controller.motor_current_limit_a": 33.0, "rider.power_w": 40.0})
    told = spread(weak, make_climb(400.0, 7.0), samples=128, with_indices=False)
    stuck = told.ends.get("stalled", 0)
    assert 0 < stuck < 128, told.ends
    assert sum(told.ends.values()) == 128
    (arrival,) = (each for each in told.chances if each.limit == "arrival")
    assert arrival.chance == pytest.approx(1.0 - told.ends.get("finished", 0) / 128)
    assert len(told.values("total_time_s")) == told.ends.get("finished", 0)
    assert len(told.values("peak_winding_temp_c")) == 128


def test_verdict_by_the_chances(hill):
    """Stop above a half, look again above one in twenty: just inside and just outside, at 512 draws."""

    def at(passed: int) -> str:
        hits = np.zeros((512, len(CHANCES)), dtype=bool)
        hits[:passed, CHANCES.index("winding")] = True
        return replace(hill, drawn=replace(hill.drawn, passed=hits)).verdict

    assert [at(25), at(26), at(256), at(257)] == [FINE, LOOK_AGAIN, LOOK_AGAIN, STOP]


def test_what_to_measure_next_narrows_the_span():
    """The promise is kept: with the named key measured, the span narrows by about what was told."""
    loaded = bike()
    told = spread(loaded, HILL, samples=1024, with_indices=False)
    best = next_measurements(told.doubts, told.shares("peak_winding_temp_c"))
    assert [one.left for one in best] == sorted(one.left for one in best)
    one = best[0]
    after = spread(
        replace_keys(loaded, {f"tolerance.{one.key}": "measured"}), HILL, samples=1024, with_indices=False
    )  # fmt: skip
    ratio = after.values("peak_winding_temp_c").std() / told.values("peak_winding_temp_c").std()
    assert ratio == pytest.approx(one.left, abs=0.04)
    (number,) = (each for each in after.doubts.numbers if each.key == one.key)
    assert still_open(number) == pytest.approx(1.0)


def test_bad_questions():
    with pytest.raises(RideError, match="--samples"):
        spread(bike(), HILL, samples=3)
    with pytest.raises(BuildError, match=r"did you mean motor\.kv_rpm_per_v"):
        spread(bike(), HILL, only=("motor.kv_rpm_per_w",))


def test_expected_rides_are_those_that_are_ridden():
    ridden = []
    keys = ("motor.kv_rpm_per_v", "motor.resistance_mohm")
    spread(bike(), HILL, samples=32, only=keys, done=ridden.append)
    assert sum(ridden) == expected_rides(bike(), HILL, 32, keys) == 32 + 4 * 4


def test_noise_of_a_recorded_road(root):
    """The noise is that of the recording's scatter put through the same smoothing: mean 0, the stated size, smooth."""
    from ridesim.road.load import load_road

    road = load_road(root / "routes/ridge-climb.gpx")
    moved = np.array([noisy(road, share).altitude_m - road.altitude_m for share in np.linspace(0.01, 0.99, 60)])
    spacing = road.length_m / road.cleaning.points_used
    sigma = road.cleaning.smoothing_m / (2.0 * np.sqrt(2.0 * np.log(2.0)))
    # White noise of deviation s at points d apart keeps s sqrt(d / (2 sqrt(pi) sigma)) behind a Gaussian mean.
    expected = scatter_m(road) * np.sqrt(spacing / (2.0 * np.sqrt(np.pi) * sigma))
    inside = (moved - moved[:, :1])[:, 100:-100]
    assert inside.std(axis=1).mean() == pytest.approx(expected, rel=0.3)
    assert np.array_equal(noisy(road, 0.3).altitude_m, noisy(road, 0.3).altitude_m)
    assert doubts_of(bike(), road).keys[-1] == "road.altitude"
    assert "road.altitude" not in doubts_of(bike(), HILL).keys


def test_steady_winding_closed_form():
    """A long slow climb: the winding settles at (m g)^2 R / G over the body, log-linear in mass, R and conductance G.

    Copper's own rise with temperature is taken off: with r = r0 (1 + a r) the log of r / (1 + a r) is exactly linear.
    """
    loaded = bike({
        "rider.power_w": 0.0, "rider.cruise_speed_km_h": 9.0, "weather.temperature_c": 20.0,
        "bicycle.drag_area_m2": 0.1,
        "motor.no_load": [{"speed_rpm": 2000.0, "current_a": 0.001}, {"speed_rpm": 5000.0, "current_a": 0.001}],
        "motor.winding_heat_capacity_j_per_k": 20.0, "motor.body_heat_capacity_j_per_k": 100.0,
        "motor.body_to_air_still_w_per_k": 50.0, "motor.body_to_air_at_36_km_h_w_per_k": 50.0,
        "motor.magnet_coefficient_percent_per_k": 0.0,
    })  # fmt: skip
    keys = ("rider.mass_kg", "motor.resistance_mohm", "motor.winding_to_body_w_per_k")
    said = dict(zip((f"tolerance.{key}" for key in keys), ("8 %", "10 %", "x/ 1.2"), strict=True))
    climb, rolling = make_climb(1000.0, 6.0), RideOptions(start_speed_km_h=9.0)
    told = spread(replace_keys(loaded, said), climb, rolling, samples=1024, only=keys, with_indices=False)
    over_body = told.values("peak_winding_temp_c") - told.values("peak_body_temp_c")
    hot = told.values("peak_winding_temp_c") - REFERENCE_C
    found = np.log(over_body / (1.0 + COPPER_PER_K * hot))
    share = loaded.build.rider.mass_kg / loaded.build.mass_kg
    sizes = np.array([2.0 * share * np.sqrt(np.log(1.0064)), np.sqrt(np.log(1.01)), np.log(1.2) / stats.norm.ppf(0.9)])
    nominal = simulate(loaded, climb, trace=False, start_speed_km_h=9.0).figures
    r = nominal.peak_winding_temp_c - REFERENCE_C
    middle = np.log((nominal.peak_winding_temp_c - nominal.peak_body_temp_c) / (1.0 + COPPER_PER_K * r))
    turns, radius, slope = 40.0 / 18.0 * 72.0 / 16.0, 2.06 / (2.0 * np.pi), np.arctan(0.06)
    push = loaded.build.mass_kg * 9.80665 * (np.sin(slope) + 0.008 * np.cos(slope)) + 0.5 * 1.2 * 0.1044 * 2.5**2 + 0.11
    torque = push * radius / (turns * 0.97 * 0.96) + 0.01 + 0.02 / (40.0 / 18.0)
    amps = torque * 100.0 * 2.0 * np.pi / 60.0
    assert np.exp(middle) == pytest.approx(amps**2 * 0.030 / 3.5, rel=0.01)  # by hand
    spread_ = float(np.sqrt((sizes**2).sum()))
    assert found.mean() == pytest.approx(middle, abs=3.0 * spread_ / np.sqrt(1024))
    assert found.std() == pytest.approx(spread_, rel=3.0 / np.sqrt(2.0 * 1024))
    assert told.shares("peak_winding_temp_c") == pytest.approx(sizes**2 / spread_**2, abs=0.05)


def test_the_first_words_name_the_limits_in_doubt(hill):
    """And a limit that the bike as it stands passes stops it, as `ride` does, however few draws pass it."""
    from ridesim.report.spread.view import view

    told = spread(bike({"controller.motor_current_limit_a": 20.0}), make_climb(400.0, 30.0), samples=16)
    assert told.verdict == STOP and told.passed_as_built == ("arrival",)
    first = view(told, "peak_winding_temp_c", pictures=False).answer[0]
    assert first.startswith("Of bikes like it: does not arrive 100% and as built")


def test_no_panel_is_empty_where_no_bike_arrives(hill):
    """Time, energy and charge of bikes that arrive are none there: their panels are left out, not drawn empty."""
    from ridesim.report.spread.figure import SHOWN, draw_answers

    stuck = spread(bike({"controller.motor_current_limit_a": 20.0}), make_climb(400.0, 30.0), samples=16)
    panels = draw_answers(stuck).axes
    assert 1 <= len(panels) < len(SHOWN) and all(panel.patches for panel in panels)
    assert len(draw_answers(hill).axes) > len(panels)


@pytest.mark.parametrize(("told", "there"), [(7, False), (8, True)])
def test_a_span_needs_bikes_that_tell_it(told: int, there: bool) -> None:
    """Where hardly one of the drawn bikes arrives, its time is no span of the others'; just inside and outside."""
    drawn = SimpleNamespace(values=lambda _name: np.arange(float(told)))
    assert (Spread.span(drawn, "total_time_s") is not None) is there  # type: ignore[arg-type]


def test_what_the_bike_as_it_stands_passes_is_a_stop_however_rare(hill: Spread):
    """No draw passes a limit; the bike with its numbers as they stand does."""
    calm, one = np.zeros_like(hill.drawn.passed), np.zeros_like(hill.nominal.passed)
    never = replace(hill, drawn=replace(hill.drawn, passed=calm), nominal=replace(hill.nominal, passed=one))
    assert never.verdict == FINE
    one = one.copy()
    one[0, CHANCES.index("winding")] = True
    told = replace(never, nominal=replace(never.nominal, passed=one))
    assert (told.verdict, told.passed_as_built) == (STOP, ("winding",))


def test_points_that_are_not_read_are_not_drawn():
    """Where both terms of the drag are stated, the no-load points beside them move nothing."""
    both = bike({"motor.drag_torque_nm": 0.08, "motor.drag_growth_nm_s": 1.4e-4})
    keys = doubts_of(both, HILL).keys
    assert NO_LOAD not in keys and {"motor.drag_torque_nm", "motor.drag_growth_nm_s"} <= set(keys)
    assert NO_LOAD in doubts_of(bike(), HILL).keys


def test_what_to_measure_next_follows_the_trouble_of_the_verdict():
    """Hot brakes, and it was the winding's spread that was to be narrowed; a named answer is asked as ever."""
    from ridesim.report.spread.asked import asked
    from ridesim.report.spread.plain import spread_figures
    from ridesim.report.spread.view import view

    small = {"brakes.front.kind": "disc", "brakes.rear.kind": "disc", "controller.brake_current_limit_a": 0.0,
             "brakes.front.mass_g": 110.0, "brakes.rear.mass_g": 110.0, "bicycle.cargo_kg": 80.0}  # fmt: skip
    down = make_climb(1500.0, -9.0)
    told = spread(replace_keys(bike(), small), down, samples=128)
    (chance,) = (each.chance for each in told.chances if each.limit == "brake_heat")
    assert 0.05 < chance < 1.0 and told.chances[0].limit == "brake_heat"
    about = asked(told)
    assert about.limit == "brake_heat" == spread_figures(told)["about_limit"]
    carriers = [told.doubts.keys[at] for at in np.argsort(-about.shares)[:3]]
    assert carriers[0].startswith("brakes.")
    words = view(told, pictures=False).answer[-1]
    assert "how hot the brakes get" in words and "hottest winding" not in words
    best = spread_figures(told)["measure_next"]
    assert best[0]["key"].startswith("brakes.") and best[0]["key"] in words
    assert about.shares.sum() == pytest.approx(1.0, abs=0.25)
    assert asked(told, "peak_winding_temp_c").limit == "" and "about_limit" in spread_figures(told)
    calm = spread(bike(), make_climb(300.0, 1.0), samples=16)
    assert asked(calm).answer == "peak_winding_temp_c" and asked(calm).limit == ""


def test_cells_that_get_hot_are_what_is_asked_about():
    from ridesim.report.spread.asked import asked

    told = spread(bike({"pack.temperature_limit_c": 21.0}), make_climb(1500.0, 5.0), samples=16)
    assert told.chances[0].limit == "cells_heat" and asked(told).answer == "peak_pack_temp_c"


def test_the_likeliest_trouble_is_asked_about_by_the_figure_its_limit_is_of(hill: Spread):
    """One in twenty bikes is no trouble, more is, and so is what the bike as it stands passes, however rare."""
    from ridesim.report.spread.asked import asked

    def about(*chances: tuple[str, int], built: tuple[str, ...] = ()) -> str:
        result = SimpleNamespace(chances=[Chance(name, name, passed, 100) for name, passed in chances],
                                 passed_as_built=built, shares=lambda name: name, loaded=bike(), drawn=hill.drawn,
                                 nominal=hill.nominal)  # fmt: skip
        found = asked(result)  # type: ignore[arg-type]
        assert found.shares == found.answer and found.limit == ""
        return found.answer

    assert about() == about(("magnets", 5)) == "peak_winding_temp_c"
    assert about(("magnets", 6), ("cells_heat", 30)) == "peak_body_temp_c"
    assert about(("controller", 30)) == "peak_controller_temp_c"
    assert about(("cells_heat", 1), built=("cells_heat",)) == "peak_pack_temp_c"
    assert about(("magnets", 4), ("cell_lasting", 1), built=("cell_lasting",)) == "peak_cell_current_a"


def test_keys_that_no_ride_of_the_day_reads_are_not_drawn():
    """Those of the cold on a warm day; a part where the whole is told; a rise where the cold is told."""
    said = "pack.cell."
    cold_keys = {f"{said}cold_capacity_loss_percent", f"{said}cold_capacity_activation_kj_per_mol"}
    cell = {f"{said}cold_capacity_loss_percent": 20.0, f"{said}polarisation_activation_kj_per_mol": 20.0}

    def keys(more: dict[str, object]) -> set[str]:
        return set(doubts_of(bike({**cell, "pack.start_temperature_c": None, **more}), HILL).keys)

    warm, cold = keys({"weather.temperature_c": 30.0}), keys({"weather.temperature_c": 0.0})
    assert not cold_keys & warm and cold_keys <= cold
    assert cold_keys <= keys({"weather.temperature_c": 30.0, "pack.start_temperature_c": 5.0})
    rises = {f"{said}activation_kj_per_mol", f"{said}polarisation_activation_kj_per_mol"}
    assert f"{said}polarisation_resistance_mohm" in cold and rises <= cold
    whole = {f"{said}steady_resistance_mohm": 60.0}
    assert f"{said}polarisation_resistance_mohm" not in keys(whole)
    assert not rises & keys({**whole, f"{said}steady_resistance_0_c_mohm": 120.0})


def test_what_a_whole_road_takes_is_told_of_those_that_arrive(hill: Spread):
    """46 minutes were told "as built" of a ride that ended on the way, beside the hour of those that arrive."""
    from ridesim.report.spread.beside import sure_words
    from ridesim.report.spread.plain import spread_figures
    from ridesim.report.spread.view import view

    stops = hill.drawn.stops.copy()
    assert hill.arrived == hill.samples and "that arrive" not in sure_words(hill)
    stops[:3] = "stalled"
    some = replace(hill, drawn=replace(hill.drawn, stops=stops))
    assert some.arrived == hill.samples - 3
    assert f"; time, energy and charge of the {some.arrived / some.samples:.0%} that arrive]" in sure_words(some)
    short = replace(hill, nominal=replace(hill.nominal, stops=np.array(["stalled"])))
    assert short.as_built("total_time_s") is None and hill.as_built("total_time_s") is not None
    assert short.as_built("peak_winding_temp_c") == hill.as_built("peak_winding_temp_c") is not None
    rows = {row[0]: row[1] for row in view(short, pictures=False).tables[0].rows}
    assert rows["time"] == rows["charge left"] == "does not arrive" != rows["hottest winding"]
    assert spread_figures(short)["answers"]["net_energy_wh"]["as_built"] is None
