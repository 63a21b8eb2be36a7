"""`ridesim ride` says how sure it is: spans in their lines, chances, one measurement; --quick leaves them out."""

from __future__ import annotations

import json

import numpy as np
import pytest

from ridesim.errors import BuildError
from ridesim.report.spread.beside import asked_first, with_spans
from ridesim.ride.judge import FINE, LOOK_AGAIN, STOP, judge
from ridesim.ride.limits import LIMITS
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb
from ridesim.sure.batch import CHANCES
from ridesim.sure.beside import FEWER, FEWER_BEYOND_KM, NONE_BEYOND_KM, beside, heeding, judged
from ridesim.sure.spread import chance_of

from ..bikes import bike

BUILD, ROAD = "configs/longtail-two-stage.toml", "routes/ridge-climb.gpx"


@pytest.fixture(scope="module")
def easy():
    """A ride without any trouble, and its spread: (ride, told)."""
    ride = simulate(bike(), make_climb(500.0, 3.0), trace=False)
    return ride, beside(ride)


def test_spans_and_chances_stand_in_their_lines(ridesim_command):
    done = ridesim_command("ride", BUILD, ROAD)
    assert done.returncode == 0, done.stderr
    lines = {line.split("  ")[0]: line for line in done.stdout.splitlines()}
    for label in ("time", "energy", "charge left", "hottest winding", "pack current"):
        assert lines[label].endswith("]") and " to " in lines[label], label
    assert "winding too hot" in lines["how sure"] and "of 256 bikes like it" in lines["how sure"]
    assert "measure " in lines["to know better"] and "ridesim bench" in lines["to know better"]


def test_json_carries_the_block_and_the_bike_as_it_stands(ridesim_command):
    sure = json.loads(ridesim_command("ride", BUILD, ROAD, "--json").stdout)
    quick = json.loads(ridesim_command("ride", BUILD, ROAD, "--json", "--quick").stdout)
    assert quick["spread"] is None
    low, high = sure["spread"]["spans"]["peak_winding_temp_c"]
    assert low < sure["peak_winding_temp_c"] == quick["peak_winding_temp_c"] < high
    assert sure["spread"]["samples"] == 256
    assert sure["spread"]["chances"]["winding"] > 0.5
    assert sure["verdict"]["word"] == quick["verdict"]["word"] == "stop"
    assert sure["verdict"]["findings"] == quick["verdict"]["findings"]


def test_quick_text_has_no_spans(ridesim_command):
    done = ridesim_command("ride", BUILD, ROAD, "--quick")
    assert "how sure" not in done.stdout and "[" not in done.stdout


def test_chances_can_only_make_a_verdict_graver(easy):
    """Fine as it stands: 12 of 256 bikes too hot is fine, 13 look again, 128 look again, 129 stop."""
    from dataclasses import replace

    ride, told = easy
    plain = judge(ride)
    assert plain.word == FINE

    def at(passed: int):
        hits = np.zeros((told.samples, len(CHANCES)), dtype=bool)
        hits[:passed, CHANCES.index("winding")] = True
        return judged(plain, replace(told, drawn=replace(told.drawn, passed=hits)))

    assert [at(n).word for n in (12, 13, 128, 129)] == [FINE, LOOK_AGAIN, LOOK_AGAIN, STOP]
    assert at(13).reasons[0] == "In 5% of bikes like it: winding too hot."
    assert at(12) == plain
    near = replace(plain, word=LOOK_AGAIN, reasons=("near a limit",))
    at_limit = [heeding(near, [chance_of("winding", n, 256)]).reasons for n in (12, 13)]
    assert at_limit == [("near a limit",), ("In 5% of bikes like it: winding too hot.", "near a limit")]
    hot = simulate(
        bike({"motor.insulation_class": "A", "weather.temperature_c": 45.0}), make_climb(4000.0, 9.0), trace=False
    )
    assert judge(hot).word == STOP
    assert judged(judge(hot), told).word == STOP
    assert judged(plain, None) == plain


def test_a_climb_heeds_chances_too(easy, monkeypatch):
    """Fine as it stands; with more than half of such bikes too hot it is a stop, unless nobody asked."""
    from dataclasses import replace

    from ridesim.studies import climb as study

    _, told = easy
    hits = np.zeros((told.samples, len(CHANCES)), dtype=bool)
    hits[:, CHANCES.index("winding")] = True
    monkeypatch.setattr(study, "beside", lambda _: replace(told, drawn=replace(told.drawn, passed=hits)))
    words = [study.climb(bike(), grade_percent=3.0, length_km=0.5, how_sure=sure).verdict.word for sure in (0, 1)]
    assert words == [FINE, STOP]


def test_the_doubt_decides_what_to_measure(easy):
    """Nothing open: the winding's spread; arrival in doubt: what decides it, here by construction one number."""
    from dataclasses import replace

    _, told = easy
    assert asked_first(told)[1] == "the winding's spread"
    at = told.doubts.keys.index("rider.mass_kg")
    hits = np.zeros((told.samples, len(CHANCES)), dtype=bool)
    hits[:, CHANCES.index("arrival")] = told.scores[:, at] > 0.5
    best, of_what = asked_first(replace(told, drawn=replace(told.drawn, passed=hits)))
    assert of_what == 'whether it "does not arrive"'
    assert best[0].key == "rider.mass_kg" and best[0].share > 0.5


def test_a_long_ride_is_drawn_less_and_a_very_long_one_not_at_all(easy, monkeypatch):
    ride, told = easy
    assert told.samples == 256
    for km, samples in ((FEWER_BEYOND_KM - 1.0, 256), (FEWER_BEYOND_KM + 1.0, FEWER), (NONE_BEYOND_KM + 1.0, None)):
        monkeypatch.setitem(ride.__dict__, "figures", type("F", (), {"distance_km": km})())
        found = beside(ride)
        assert (None if found is None else found.samples) == samples


def test_a_line_without_a_spread_stays_as_it_is(easy):
    rows = [("time", "9 s"), ("other", "x")]
    assert with_spans(rows, None, "metric") == rows
    _, told = easy
    found = dict(with_spans(rows, told, "metric"))
    assert found["time"].startswith("9 s [") and found["other"] == "x"


def test_a_bad_tolerance_stops_a_ride_too():
    with pytest.raises(BuildError, match="cannot be off here"):
        beside(simulate(_with_tolerance({"tolerance.drive.stage.5.efficiency": "1 %"}), make_climb(500.0, 3.0)))


def _with_tolerance(changes):
    from ridesim.bike.load import replace_keys

    return replace_keys(bike(), changes)


def test_a_stop_says_what_helps_and_what_rides_it():
    """A ride that is stopped ended with its reasons; what helps was in the JSON alone."""
    from types import SimpleNamespace

    from ridesim.report.ride.helps import RIDDEN, helps_words
    from ridesim.ride.judge import Finding, Verdict

    road = SimpleNamespace(road=SimpleNamespace(cycle=None))
    hot = Finding("winding", "stop", 200.0, 155.0, "c", "too hot", cure="ride slower")
    near = Finding("magnets", "look again", 110.0, 120.0, "c", "warm", cure="cool it")
    stuck = Finding("arrival", "stop", 1.0, 2.0, "km", "It got stuck. What helps: walk.", cure="less load")
    said = lambda verdict, told=None, ride=road: helps_words(ride, verdict, told)  # noqa: E731
    assert said(Verdict("stop", (), (hot, near))) == (f"ride slower. {RIDDEN}.",)
    assert said(Verdict("stop", (), (hot, hot, stuck))) == (f"ride slower. {RIDDEN}.",)
    assert said(Verdict("stop", (), (stuck,))) == said(Verdict("look again", (), (near,))) == ()
    chances = SimpleNamespace(chances=(chance_of("winding", 51, 100), chance_of("magnets", 50, 100)))
    assert said(Verdict("stop", (), (near,)), chances) == (f"{LIMITS['winding'].cure}. {RIDDEN}.",)
    by_clock = SimpleNamespace(road=SimpleNamespace(cycle=object()))
    assert said(Verdict("stop", (), (hot,)), ride=by_clock) == ("ride slower.",)
