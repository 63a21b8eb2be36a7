"""A year on the commute: constant weather is the same ride again and again, and what years do to the pack."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from typer.testing import CliRunner

from ridesim.bike.load import load_build, replace_keys
from ridesim.cli.app import app
from ridesim.engine.params import start_state
from ridesim.errors import RidesimError
from ridesim.report.season.notes import _aged_at_the_start, _cold
from ridesim.report.season.view import _best, _month, _passed, _until, view
from ridesim.ride.judge import LOOK_AGAIN, STOP, judge
from ridesim.ride.running import RideOptions, run
from ridesim.ride.simulate import simulate
from ridesim.road.load import load_road
from ridesim.road.made import make_climb, make_flat
from ridesim.road.turned import turned_round
from ridesim.sure.packing import laid_in
from ridesim.workshop.season import legs
from ridesim.workshop.season.air import WeatherYear, constant_year
from ridesim.workshop.season.history import Knots, charge_knots, cycles_of, ways_down
from ridesim.workshop.season.legs import bike_of, commute, ride_season, riding_days, worse
from ridesim.workshop.season.plan import plan_for
from ridesim.workshop.season.season import (
    CHARGER_C_RATE,
    WORST_DAYS,
    _months,
    _typical,
    _worst_places,
    late_charges,
    season,
)
from ridesim.workshop.season.typical import load_typical, typical_year
from ridesim.workshop.season.weather_file import load_weather
from ridesim.workshop.season.worth import Worth, changes, gentler_speed, rank, worths
from ridesim.workshop.season.years import aged, wears

BELT, COMMUTE = "configs/longtail-belt.toml", "routes/valley-commute.toml"
HILL = make_climb(3000.0, 3.0)


@pytest.fixture(scope="module")
def bike():
    return load_build(BELT)


@pytest.fixture(scope="module")
def small(bike):
    """A pack that an old winter empties: two cells in parallel on ten kilometres."""
    return replace_keys(bike, {"pack.parallel": 1, "controller.pack_current_limit_a": 12.0})


def test_a_heat_wave_stops_its_days_and_the_year(bike):
    """Ten days hotter than the cells may be: their limit is named on just these, and the year is no better."""
    mild = constant_year(15.0)
    hours = mild.temperature_c.copy()
    hours[100 * 24 : 110 * 24] = 45.0
    kept = replace_keys(bike, {"pack.temperature_limit_c": 40.0})
    found = season(kept, HILL, replace(mild, temperature_c=hours), years=0, quick=True)
    stopped = [day.day for day in found.days if day.word == STOP]
    assert stopped == list(range(100, 110))
    assert found.passed == {"cells_heat": 10}
    assert found.verdict == STOP
    assert season(kept, HILL, mild, years=0, quick=True).verdict != STOP


def test_stated_brakes_that_cook_stop_their_days(bike):
    """A freewheel and small discs down a long hill: `ride` stops it, and so does the year."""
    small = {"brakes.front.kind": "disc", "brakes.rear.kind": "disc", "brakes.front.mass_g": 60.0,
             "brakes.rear.mass_g": 60.0, "controller.brake_current_limit_a": 0.0, "bicycle.cargo_kg": 99.0}  # fmt: skip
    braked, down = replace_keys(bike, small), make_climb(2000.0, -9.0)
    assert any(each.name == "brake_heat" and each.verdict == STOP for each in judge(simulate(braked, down)).findings)
    c = commute(braked, down, turned_round(down), constant_year(15.0), plan_for(braked), RideOptions())
    (legs_of_day,) = ride_season(c, bike_of(c, c.build), [0])
    assert "brake_heat" in legs_of_day[0].passed and legs_of_day[0].word == STOP
    guessed = replace_keys(bike, {"controller.brake_current_limit_a": 0.0})
    c = commute(guessed, down, turned_round(down), constant_year(15.0), plan_for(guessed), RideOptions())
    assert "brake_heat" not in ride_season(c, bike_of(c, c.build), [0])[0][0].passed


def test_a_year_to_look_at_again_says_why(bike):
    """13 full cells rest at 54.6 V: a controller for 56 V stands them, and is near enough to be named every day."""
    near = season(replace_keys(bike, {"controller.voltage_limit_v": 56.0}), HILL, constant_year(15.0), years=0,
                  quick=True)  # fmt: skip
    assert near.verdict == LOOK_AGAIN and near.looked["supply_voltage"] == len(near.days)
    assert any("pack voltage at the controller on 365 days" in line for line in view(near, pictures=False).answer)
    stops = replace(near, days=tuple(replace(day, word=STOP) for day in near.days), verdict=STOP)
    assert not any("look at again" in line for line in view(stops, pictures=False).answer)


def test_constant_weather_is_the_same_ride_each_day(bike):
    # 1e-5, well inside the step's promise of 1e-3: the season starts and steps its rides in its own way.
    road = load_road(COMMUTE)
    year = constant_year(3.0, wind_speed_km_h=14.0, wind_from_deg=60.0)
    found = season(bike, road, year, years=0, quick=True)
    told = replace_keys(bike, {
        "weather.temperature_c": 3.0, "weather.wind_speed_km_h": 14.0, "weather.wind_from_deg": 60.0,
    })  # fmt: skip
    out = simulate(told, road, trace=False)
    assert len(found.days) == 365
    for day in (found.days[0], found.days[180], found.days[-1]):
        assert day.legs[0].net_wh == pytest.approx(out.figures.net_energy_wh, rel=1e-5)
        assert day.legs[0].time_s == pytest.approx(out.figures.total_time_s, rel=1e-5)
        home = start_state(told.build)._replace(charge=day.legs[0].charge_end, pack_temp=day.legs[1].pack_start_c)
        back = simulate(told, turned_round(road), start=home, trace=False)
        assert day.legs[1].net_wh == pytest.approx(back.figures.net_energy_wh, rel=1e-5)
        assert day.legs[1].charge_end == pytest.approx(back.figures.charge_left_fraction, rel=1e-5)
    assert found.net_kwh == pytest.approx(365 * found.days[0].net_wh / 1000.0, rel=1e-5)
    assert found.worst.charge_left == pytest.approx(found.typical.charge_left, rel=1e-5)


def test_a_road_turned_round_is_the_same_ground():
    road = load_road(COMMUTE)
    back = turned_round(road)
    assert back.climb_m == pytest.approx(road.descent_m)
    assert back.altitude_m[0] == road.altitude_m[-1]
    assert np.cos(np.radians(back.bearing_deg[::-1] - road.bearing_deg)) == pytest.approx(-1.0)
    assert [round(road.length_m - stop.distance_m, 6) for stop in back.stops] == [
        round(stop.distance_m, 6) for stop in reversed(road.stops)
    ]
    twice = turned_round(back)
    assert np.array_equal(twice.grade, road.grade) and np.array_equal(twice.curvature_per_m, road.curvature_per_m)


def test_a_head_wind_out_is_a_tail_wind_home(bike):
    flat = make_flat(3000.0)
    wind = constant_year(20.0, wind_speed_km_h=30.0, wind_from_deg=0.0)
    found = season(bike, flat, wind, plan=plan_for(bike, days="mon"), years=0, quick=True)
    assert found.days[0].legs[0].net_wh > 2.0 * found.days[0].legs[1].net_wh


def test_the_threads_change_no_byte(bike):
    year = typical_year(load_typical(), 1)
    plan = plan_for(bike, days="mon")
    one, two = (season(bike, HILL, year, plan=plan, years=1, threads=count) for count in (1, 2))
    assert repr(one.days) == repr(two.days)
    assert repr((one.years, one.worths, one.spans)) == repr((two.years, two.worths, two.spans))


def test_the_packs_rest_and_the_bills_energy(bike):
    """A kept pack starts each ride at its place's temperature; what is bought is what was used, lost in the charger."""
    year = constant_year(-5.0)
    cold = season(bike, HILL, year, plan=plan_for(bike, days="mon"), years=0, quick=True)
    warm = season(bike, HILL, year, plan=plan_for(bike, days="mon", home_c=18.0), years=0, quick=True)
    assert cold.days[5].legs[0].pack_start_c == pytest.approx(-5.0)
    assert warm.days[5].legs[0].pack_start_c == pytest.approx(18.0)
    assert warm.worst.charge_left > cold.worst.charge_left  # its terminals hide what it loses inside
    assert (cold.cold_charges, warm.cold_charges) == (len(cold.days), len(warm.days))
    timed = plan_for(bike, days="mon", home_c=18.0, charge_on="leaving")
    assert season(bike, HILL, year, plan=timed, years=0, quick=True).cold_charges == 0
    # 88 % of the charger (its stated guess), and at most a tenth more for what the cells' resistance takes.
    assert cold.net_kwh / 0.88 < cold.bought_kwh < 1.1 * (cold.net_kwh / 0.88 + 0.02 * cold.net_kwh)


def test_a_pack_that_a_ride_warmed_is_charged_in_the_cold_all_the_same(bike):
    """In a breath of frost a ride warms the pack past freezing; it cools again where it is charged."""
    found = season(bike, make_flat(8000.0), constant_year(-0.05), plan=plan_for(bike, days="mon"), years=0, quick=True)
    assert all(day.legs[-1].pack_end_c > 0.0 for day in found.days)
    assert found.cold_charges == len(found.days)
    above = season(bike, HILL, constant_year(0.05), plan=plan_for(bike, days="mon"), years=0, quick=True)
    assert above.cold_charges == 0


def test_a_charge_is_late_where_the_charger_needs_longer_than_there_is(bike):
    hours = 0.5 / CHARGER_C_RATE
    for spare, late in ((0.01, 0), (-0.01, 1)):
        knots = Knots(np.array([0.0, 1.0, 1.0 + hours + spare]), np.array([0.9, 0.4, 0.9]))
        assert late_charges(None, knots, (), ()) == late


def test_a_wet_hour_is_ridden_with_less_grip(bike, monkeypatch):
    dry = constant_year(15.0)
    wet = replace(dry, wet=np.ones_like(dry.wet))
    assert (dry.at(3, 7.5).wet, wet.at(3, 7.5).wet) == (False, True)
    ridden = []
    monkeypatch.setattr(legs, "run", lambda params, *rest, **more: ridden.append(params) or run(params, *rest, **more))
    for year in (dry, wet):
        c = season(bike, HILL, year, plan=plan_for(bike, days="mon"), years=0, quick=True).commute
        rider = bike_of(c, c.build)
        assert rider.wet.both_brakes_grip == pytest.approx(0.7 * rider.dry.both_brakes_grip)
        held = (rider.wet if year is wet else rider.dry).both_brakes_grip
        assert {params.both_brakes_grip for params in ridden} == {held}
        ridden.clear()


def test_gentler_limits_are_ridden_at_their_gentler_speed(bike, monkeypatch):
    """As it says in words; every other change is ridden as planned."""
    c = season(bike, HILL, constant_year(15.0), plan=plan_for(bike, days="mon"), years=0, quick=True).commute
    slower, speeds = gentler_speed(c), []
    assert slower < bike.build.rider.cruise_speed_km_h

    def seen(loaded, out, back, weather, plan, options):
        speeds.append(options.cruise_speed_km_h)
        return made(loaded, out, back, weather, plan, options)

    made = legs.commute
    monkeypatch.setattr(legs, "commute", seen)
    worths(c, [riding_days(c)[0]], 1)
    assert speeds == [slower if name == "gentler_limits" else None for name in changes(c)]


def test_the_coldest_day_is_lived_again_with_each_year_s_pack(bike):
    """An old pack may fail on it though a new one came home on less charge on other days."""
    mild = constant_year(15.0)
    hours = mild.temperature_c.copy()
    hours[105 * 24 : 106 * 24] = -3.0
    year = replace(mild, temperature_c=hours)
    days = season(bike, HILL, year, plan=plan_for(bike, days="mon-sun"), years=0, quick=True).days
    others = [at for at in range(len(days)) if at != 105]
    assert _worst_places(days, others) == [*others[:WORST_DAYS], 105]


def test_a_change_that_does_not_come_home_now_ranks_behind_all_that_do():
    made = lambda now, fails, left: SimpleNamespace(  # noqa: E731
        arrives_now=now, fails_in_year=fails, worst_day_charge_left_last_fraction=left
    )
    best, soon, never = made(True, None, 0.1), made(True, 2, 0.3), made(False, None, 0.9)
    assert sorted([never, soon, best], key=rank) == [best, soon, never]


def test_the_worst_day_is_the_one_that_gets_least_far_then_the_one_that_comes_home_on_least():
    """Not home before home; of two that fail the shorter way; of two that arrive the emptier; then the graver word."""
    air = SimpleNamespace(temperature_c=10.0)

    def day(*ways, word="fine"):
        return tuple(
            SimpleNamespace(finished=finished, distance_km=km, charge_end=left, word=word, air=air)
            for finished, km, left in ways
        )

    stranded, nearly = day((False, 3.0, 0.0)), day((True, 6.0, 0.4), (False, 5.0, 0.0))
    emptied, full = day((True, 6.0, 0.6), (True, 6.0, 0.2)), day((True, 6.0, 0.3), (True, 6.0, 0.9))
    warned = day((True, 6.0, 0.3), (True, 6.0, 0.9), word="look again")
    assert sorted([full, warned, nearly, emptied, stranded], key=worse) == [stranded, nearly, emptied, warned, full]
    assert sorted([warned, full], key=worse) == [warned, full]


def test_the_typical_day_lies_in_the_middle_of_those_that_come_home():
    made = lambda day, home, net_wh: SimpleNamespace(day=day, arrives=home, net_wh=net_wh)  # noqa: E731
    days = [made(0, True, 90.0), made(1, False, 10.0), made(2, True, 70.0), made(3, True, 120.0), made(4, False, 500.0)]
    assert _typical(days).day == 0
    assert _typical([*days, made(5, True, 95.0), made(6, True, 96.0)]).day == 5


def test_a_month_counts_its_days_and_takes_its_spans_of_those_that_come_home():
    from datetime import date, timedelta

    c = SimpleNamespace(weather=SimpleNamespace(date_of=lambda day: date(2023, 1, 1) + timedelta(days=day)))
    made = lambda day, home: SimpleNamespace(  # noqa: E731
        day=day, arrives=home, time_s=600.0 + day, net_wh=100.0 + day, charge_left=0.5 - 0.01 * day
    )
    january, february, *rest = _months(
        c, [made(0, True), made(1, True), made(2, True), made(3, False), made(40, False)]
    )
    assert (january.month, january.days, january.not_home, january.least_charge_left) == (1, 4, 1, 0.47)
    assert january.time_s == pytest.approx((600.2, 601.0, 601.8))
    assert january.net_wh == pytest.approx((100.2, 101.0, 101.8))
    assert (february.days, february.not_home, february.net_wh) == (1, 1, None)
    assert all((each.days, each.not_home, each.time_s) == (0, 0, None) for each in rest)


def test_gentler_limits_are_three_quarters_of_both(bike):
    c = season(bike, HILL, constant_year(15.0), plan=plan_for(bike, days="mon"), years=0, quick=True).commute
    own, gentler = bike.build.controller, changes(c)["gentler_limits"][1].build.controller
    assert gentler.motor_current_limit_a == pytest.approx(0.75 * own.motor_current_limit_a)
    assert gentler.pack_current_limit_a == pytest.approx(0.75 * own.pack_current_limit_a)
    worn = SimpleNamespace(loss=0.2, resistance_growth=0.5)
    old, twice = aged(c, c.build, worn), aged(c, c.build, worn, pace=2.0)
    assert (old.build.pack.capacity_fraction, old.build.pack.resistance_factor) == pytest.approx((0.8, 1.5))
    assert (twice.build.pack.capacity_fraction, twice.build.pack.resistance_factor) == pytest.approx((0.6, 2.0))
    new = bike_of(c, c.build)
    assert old.dry.cell_resistance == pytest.approx(1.5 * new.dry.cell_resistance)
    assert old.dry.charge_per_coulomb == pytest.approx(new.dry.charge_per_coulomb / 0.8)


def test_charging_at_work_and_nowhere_at_home(bike):
    year, both = constant_year(15.0), plan_for(bike, days="mon,tue", charge="home=0.9,work=0.8")
    found = season(bike, HILL, year, plan=both, years=0, quick=True)
    out, back = found.days[3].legs
    assert (out.charge_start, back.charge_start) == (0.9, max(0.8, out.charge_end))
    chained = season(bike, HILL, year, plan=plan_for(bike, days="mon,tue", charge="work=0.8"), years=0, quick=True)
    for before, after in zip(chained.days, chained.days[1:], strict=False):
        assert after.legs[0].charge_start == before.legs[-1].charge_end
        assert after.legs[1].charge_start == 0.8


def test_a_way_home_that_begins_elsewhere_is_told(bike):
    year, plan = constant_year(15.0), plan_for(bike, days="mon")
    for rise, told in ((49.0, False), (51.0, True)):
        home = replace(turned_round(HILL), altitude_m=turned_round(HILL).altitude_m + rise)
        found = season(bike, HILL, year, back=home, plan=plan, years=0, quick=True)
        assert any("way home begins" in note for note in found.notes) is told


def test_every_way_down_is_found():
    from ridesim.workshop.season.history import Knots

    charge = np.array([1.0, 0.9, 0.9, 0.7, 1.0, 1.0, 0.95, 0.97, 0.6])
    assert ways_down(Knots(np.arange(9.0), charge)) == [(1.0, 0.7), (1.0, 0.95), (0.97, 0.6)]


def test_years_later_the_same_charge_reaches_deeper(bike):
    """A year is ridden once; later years scale its charge. Riding the sixth year anew says the same to 2 %."""
    plan = plan_for(bike, days="mon,thu")
    c = season(bike, HILL, typical_year(load_typical(), 1), plan=plan, years=0, quick=True).commute
    new = bike_of(c, c.build)
    dates = [day for day in range(365) if c.weather.date_of(day).weekday() in plan.weekdays]
    days = ride_season(c, new, dates)
    worn, _ = wears(c, new, days, dates, 6)
    old = aged(c, c.build, worn[5])
    again = ride_season(c, old, dates)
    shrink = 1.0 - worn[5].loss
    scaled = cycles_of(c, new, charge_knots(c, days, dates, shrink), days, shrink)
    ridden = cycles_of(c, old, charge_knots(c, again, dates), again)
    assert len(scaled) == len(ridden) == len(dates)
    assert sum(each.depth for each in scaled) == pytest.approx(sum(each.depth for each in ridden), rel=0.02)
    assert sum(each.turned for each in scaled) == pytest.approx(sum(each.turned for each in ridden), rel=0.02)


def test_two_years_in_one_go_are_one_and_one(bike):
    plan = plan_for(bike, days="mon")
    c = season(bike, HILL, constant_year(20.0), plan=plan, years=0, quick=True).commute
    new = bike_of(c, c.build)
    dates = [day for day in range(365) if c.weather.date_of(day).weekday() == 0]
    days = ride_season(c, new, dates)
    both, _ = wears(c, new, days, dates, 2)
    one, _ = wears(c, new, days, dates, 1)
    then, _ = wears(c, new, days, dates, 1, start=one[-1])
    assert then[-1].loss == both[-1].loss and then[-1].resistance_growth == both[-1].resistance_growth
    assert 0.0 < one[-1].loss < both[-1].loss < 2.0 * one[-1].loss


def road_at_the_edge(bike, year, years):
    """A level road that a new pack just rides out and home on the worst day, and one of some age does not."""
    plan = plan_for(bike, days="mon")
    for metres in range(6000, 14_000, 250):
        found = season(bike, make_flat(float(metres)), year, plan=plan, years=years, quick=True)
        if found.years.fails_in_year:
            return found
    raise AssertionError("no such road")


@pytest.fixture(scope="module")
def edge(small):
    """A typical year on a road at the edge."""
    return road_at_the_edge(small, typical_year(load_typical(), 1), 8)


def test_the_year_in_which_the_worst_day_no_longer_comes_home(edge):
    found = edge
    fails, rows = found.years.fails_in_year, found.years.rows
    assert fails is not None and 0 < fails <= 8
    assert [row.arrives for row in rows] == [row.year < fails for row in rows]
    last = rows[fails]
    pack = {"capacity_fraction": last.capacity_left_fraction, "resistance_factor": last.resistance_factor}
    build = laid_in(found.commute.build, {f"pack.{name}": value for name, value in pack.items()})
    c = found.commute
    again = ride_season(c, bike_of(c, build), [found.worst.day])[0]
    assert not (len(again) == 2 and again[-1].finished)
    assert found.years.fails_early <= fails
    assert found.years.fails_late is None or found.years.fails_late >= fails


def test_a_road_longer_than_the_pack_is_one_line(small):
    with pytest.raises(RidesimError) as found:
        season(small, make_flat(90_000.0), constant_year(20.0), plan=plan_for(small, days="mon"), quick=True)
    assert "no day of the year comes home" in str(found.value) and "\n" not in str(found.value)


def test_iron_phosphate_has_its_own_law_and_an_unknown_cell_none(bike):
    year, plan = constant_year(20.0), plan_for(bike, days="mon")
    phosphate = replace_keys(bike, {"pack.series": 15, "pack.parallel": 4, "pack.cell": "cell-lfp-32700"})
    found = season(phosphate, HILL, year, plan=plan, years=3, quick=True)
    assert found.years.wear.kind == "phosphate"
    assert found.years.last.second_opinion_loss_fraction > 0.0
    odd = replace_keys(bike, {"pack.cell.max_voltage_v": 3.9})
    none = season(odd, HILL, year, plan=plan, years=3, quick=True)
    assert none.years.rows == () and "full at 3.9 V" in none.years.no_law


def by_the_day(year: WeatherYear, place) -> WeatherYear:
    """Tell a year of hours by each day's lowest, highest and mean wind, through a file."""
    lines = ["time,lowest_c,highest_c,wind_speed_km_h,wind_from_deg"]
    for day in range(year.days):
        part = slice(24 * day, 24 * day + 24)
        heat, wind = year.temperature_c[part], year.wind_speed_km_h[part].mean()
        lines.append(
            f"{year.date_of(day)},{heat.min():.2f},{heat.max():.2f},{wind:.2f},{year.wind_from_deg[part][0]:.1f}"
        )
    place.write_text("\n".join(lines))
    return load_weather(place)


def test_weather_by_the_day_is_nearly_that_of_the_hour(bike, tmp_path):
    """A note says: within 3 % of the year's energy."""
    hours = typical_year(load_typical(), 1)
    days = by_the_day(hours, tmp_path / "days.csv")
    road = load_road(COMMUTE)
    plan = plan_for(bike, days="tue,fri")
    told = [season(bike, road, each, plan=plan, years=0, quick=True) for each in (hours, days)]
    assert told[1].net_kwh == pytest.approx(told[0].net_kwh, rel=0.03)
    assert not told[1].commute.weather.by_the_hour


@pytest.mark.parametrize(
    ("days", "legs", "seconds"),
    [("tue", 104, 6.0), pytest.param("mon-sun", 730, 20.0, marks=pytest.mark.slow)],
)
def test_a_year_with_ten_years_of_ageing_is_quick(bike, days, legs, seconds):
    """730 rides and all that follows: 20 s on two cores. Measured in processor time, since others may share them."""
    road, year = load_road(COMMUTE), typical_year(load_typical(), 1)
    season(bike, HILL, constant_year(20.0), plan=plan_for(bike, days="mon"), years=0, quick=True)
    begun = time.process_time()
    found = season(bike, road, year, plan=plan_for(bike, days=days), years=10)
    assert sum(len(day.legs) for day in found.days) == legs
    assert found.years.last.year == 10 and len(found.worths) > 4 and len(found.spans) == 2
    assert time.process_time() - begun < seconds


def test_changes_are_ranked_by_what_they_are_worth(small, edge):
    found = season(small, edge.commute.out, edge.commute.weather, plan=edge.commute.plan, years=8)
    names = [one.name for one in found.worths]
    assert names.index("larger_pack") < names.index("as_planned")
    assert names.index("as_planned") < len(names)
    fails = [99 if one.fails_in_year is None else one.fails_in_year for one in found.worths if one.arrives_now]
    assert fails == sorted(fails, reverse=True)


@pytest.mark.parametrize(
    ("wish", "told"),
    [
        ({"days": "mon-foo"}, "'mon-foo' is no day of the week"), ({"charge": "pub"}, "'pub' is no place"),
        ({"charge": "home=80"}, "home=80"), ({"out_at_h": 18.0}, "18 h out and 17 h back"),
        ({"home_c": 70.0}, "70 °C"), ({"price_per_kwh": -1.0}, "-1"), ({"charge_on": "never"}, "choose arrival"),
    ],
)  # fmt: skip
def test_a_plan_nobody_can_live_by_is_one_line(bike, wish, told):
    with pytest.raises(RidesimError) as found:
        plan_for(bike, **wish)
    assert told in str(found.value) and "\n" not in str(found.value)


def test_days_of_the_week_may_go_round(bike):
    assert plan_for(bike, days="fri-mon").weekdays == (0, 4, 5, 6)
    assert replace(plan_for(bike), weekdays=(0,)).top_share == bike.build.pack.start_charge_fraction


def test_the_command_answers_in_words_json_and_files(tmp_path):
    road = tmp_path / "hill.toml"
    road.write_text('[road]\nkind = "climb"\nlength_km = 3.0\ngrade_percent = 3.0\n')
    asked = ["season", BELT, str(road), "--days", "mon", "--years", "2", "--price", "0.3", "--set", "rider.mass_kg=90"]
    plain = CliRunner().invoke(app, [*asked, "--quick", "--units", "imperial"])
    assert plain.exit_code == 0, plain.output
    assert "comes home" in plain.output and "°F" in plain.output and "CAUTION" in plain.output
    assert "as fast as the law" not in " ".join(plain.output.split())  # that was not ridden
    done = CliRunner().invoke(
        app, [*asked, "--json", "--out", str(tmp_path / "y"), "--report", str(tmp_path / "y.html")]
    )
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["days_ridden"] == 53 and told["weather"]["invented"] is True
    assert told["price"] == pytest.approx(0.3 * told["bought_kwh"])
    assert len(told["years"]) == 3 and told["changes"][0]["words"]
    rows = (tmp_path / "y" / "days.csv").read_text().splitlines()
    assert len(rows) == 1 + 2 * 53 and rows[0].startswith("date,way,start_h")
    assert {"year.png", "pack-years.png"} <= {each.name for each in (tmp_path / "y").iterdir()}
    assert "invented" in (tmp_path / "y.html").read_text()


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        (["--map", "time=x"], "belong to a file of weather"), (["--weather", "none.csv"], "no such file"),
        (["--year", "none.toml"], "no such file"), (["--years", "99"], "99 (allowed 0 to 30)"),
        (["--weather", "none.csv", "--year", "none.toml"], "are both given"),
    ],
)  # fmt: skip
def test_wrong_options_are_one_line(wrong, told):
    done = CliRunner().invoke(app, ["season", BELT, COMMUTE, *wrong])
    assert done.exit_code == 2
    assert told in done.stderr and "Traceback" not in done.stderr


def test_in_python_a_season_is_an_answer():
    import ridesim

    found = ridesim.season(BELT, HILL, years=1, quick=True, plan=plan_for(load_build(BELT), days="mon"))
    assert "comes home" in repr(found) and "\n" not in repr(found)
    assert len(found.to_frame()) == 2 * len(found.days)
    assert found.figures["days_ridden"] == len(found.days)
    assert found.pictures == ("year", "pack-years")


def test_a_commute_that_gets_stuck_is_not_told_to_charge_at_work(small):
    with pytest.raises(RidesimError) as found:
        season(small, make_climb(500.0, 40.0), constant_year(20.0), plan=plan_for(small, days="mon"), quick=True)
    assert "got stuck" in str(found.value) and "charge" not in str(found.value) and "stalled" not in str(found.value)


def test_a_year_that_comes_home_every_day_needs_no_change():
    """A change was "worth most" though every day came home as planned."""

    def lived(name: str, fails: int | None, left: float) -> Worth:
        return Worth(name, name, fails, True, 0.5, left, 0.8, 1.3, 10, 9e4)

    def best(planned: int | None) -> str:
        rows = (lived("more cells", None, 0.55), lived("as_planned", planned, 0.35))
        return _best(SimpleNamespace(worths=rows), "metric")[0]

    assert "no change is needed" in best(None) and "Worth most" not in best(None)
    assert "the worst day ends with 55% of charge, as planned with 35%" in best(None)
    assert best(7).startswith("Worth most: more cells") and "needed" not in best(7)


def test_a_pack_that_knows_no_cold_is_told_as_rosier_than_true(bike):
    """Neither resistance nor charge suffers: told; either of both does: its figures are told."""

    def words(rise: float, loss: float) -> str:
        keys = {"activation_kj_per_mol": rise, "polarisation_activation_kj_per_mol": rise,
                "cold_capacity_loss_percent": loss}  # fmt: skip
        loaded = replace_keys(bike, {f"pack.cell.{name}": value for name, value in keys.items()})
        made = SimpleNamespace(commute=SimpleNamespace(build=loaded.build, plan=plan_for(loaded, home_c=18.0)))
        return _cold(made, "metric")

    assert [("knows no cold" in words(*each)) for each in ((0.0, 0.0), (20.0, 0.0), (0.0, 15.0))] == [
        True,
        False,
        False,
    ]


@pytest.mark.parametrize(("fails", "told"), [
    (None, "always"), (0, "never"), (1, "as new"), (2, "up to year 1"), (5, "up to year 4"),
])  # fmt: skip
def test_the_year_in_which_the_worst_day_fails_is_none_in_which_it_comes_home(fails, told):
    """ "For 2 years" was said where the table beside it has "2 years: does not"."""
    assert _until(fails) == told


def test_a_limit_that_is_passed_says_what_helps_and_a_day_s_time_is_told_as_everywhere():
    one = SimpleNamespace(passed={"arrival": 3, "brake_heat": 1}, not_home=3)
    assert _passed(one)[0] == "Limits passed: brakes too hot on 1 day."  # type: ignore[arg-type]
    assert _passed(one)[1].startswith("What helps: stop and let them cool")  # type: ignore[arg-type]
    assert len(_passed(SimpleNamespace(passed={"arrival": 3}, not_home=3))) == 1  # type: ignore[arg-type]
    month = SimpleNamespace(month=1, days=31, not_home=0, least_charge_left=0.2, time_s=(600.0, 4020.0, 12252.0),
                            net_wh=(1.0, 2.0, 3.0))  # fmt: skip
    assert _month(month)[3:5] == ("10 min 00 s to 3 h 24 min", "1 h 07 min")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("left", "factor", "told", "guess"),
    [(1.0, 1.0, False, False), (0.99, 1.0, True, False), (1.0, 1.1, True, False), (0.71, 2.0, True, False),
     (0.69, 2.0, True, True)],
)  # fmt: skip
def test_a_pack_that_is_old_on_the_first_day_is_told(bike, left: float, factor: float, told: bool, guess: bool):
    """At 70 % it was aged as if new, by a law that ends at 30 % lost; `range` called the same pack an aged one."""
    pack = replace_keys(bike, {"pack.capacity_fraction": left, "pack.resistance_factor": factor}).build.pack
    said = " ".join(_aged_at_the_start(pack))
    assert ("shares of today's" in said) == told and ("are a guess" in said) == guess
