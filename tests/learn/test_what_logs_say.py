"""What is said of a log turns with its cause: each sentence for one side of a difference, and not for the other."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridesim.bike.load import LoadedBuild, load_build
from ridesim.errors import LogError
from ridesim.learn import build_fit
from ridesim.learn.build_fit import _skills, _strangers
from ridesim.learn.causes import causes_of, current_limit
from ridesim.learn.channels import BY_NAME, Compared, under_current
from ridesim.learn.faults import AT_AN_END, STUCK_S, TOLD_EMPTY, Finding, believed, stuck
from ridesim.learn.fitted_file import with_whole_drag
from ridesim.learn.guess import temperature_of
from ridesim.learn.mapping import _charges
from ridesim.learn.priors import DRAG, _part_drag
from ridesim.learn.quantities import BY_NAME as QUANTITIES
from ridesim.learn.replay import LIMIT_OFF, Balance, _balance_words, _limits, _of_the_road, _wind_words
from ridesim.learn.start import at_rest
from ridesim.learn.throttle import throttle_of
from ridesim.report.log.view import doubted
from ridesim.report.replay.view import _answer
from ridesim.ride.judge import FINE, STOP
from ridesim.schema.tolerance import Tolerance
from ridesim.sure.uncertain import NO_LOAD, Uncertain

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def bike() -> LoadedBuild:
    return load_build(ROOT / "configs" / "longtail-belt.toml")


def test_readings_that_no_bike_shows_are_left_out_and_told_with_their_share() -> None:
    pack = QUANTITIES["pack_current_a"]
    raw = np.array([1.0, -1000.0, 1000.0, 1000.1, -1000.1, np.nan, 2.0, 3.0])
    kept, found = believed(pack, raw)
    assert np.isnan(kept).tolist() == [False, False, False, True, True, True, False, False]
    assert [(each.kind, each.share) for each in found] == [("empty", 0.125), ("unbelievable", 0.25)]


@pytest.mark.parametrize(("empty", "told"), [(1, False), (2, True)])
def test_empty_readings_are_told_from_a_thousandth_on(empty: int, told: bool) -> None:
    values = np.ones(1000)
    values[:empty] = np.nan
    assert (empty / 1000 > TOLD_EMPTY) is told
    assert bool(believed(QUANTITIES["pack_current_a"], values)[1]) is told


@pytest.mark.parametrize(("share", "is_stuck"), [(0.5 * AT_AN_END, False), (2.0 * AT_AN_END, True)])
@pytest.mark.parametrize("end", [0.0, 100.0])
def test_what_rests_at_its_own_end_is_held_by_a_limit_and_is_not_stuck(
    share: float, is_stuck: bool, end: float
) -> None:
    """Forty seconds exactly alike while the other current moves: a sensor's fault, unless it is the column's end."""
    clock = np.arange(400.0)
    motor = 50.0 + 50.0 * np.sin(clock / 9.0)
    motor[:2] = 0.0, 100.0
    motor[100:145] = abs(end - 100.0 * share) if end else 100.0 * share
    held, found = stuck(
        "motor_current_a", {"motor_current_a": motor, "pack_current_a": 20.0 + 20.0 * np.sin(clock / 7.0)}, 1.0,
        np.ones(400, dtype=bool),
    )  # fmt: skip
    assert STUCK_S == 30.0
    assert (found is not None) is is_stuck
    assert np.isnan(held[101:145]).all() == is_stuck


def driven_at(current_a: float, bike: LoadedBuild) -> Any:
    from ridesim.engine.params import current_scale

    motor = np.concatenate((np.linspace(0.0, 0.5, 900), np.full(100, 1.0))) * current_a
    return SimpleNamespace(current=motor * current_scale(bike.build), pack_current=np.full(1000, 1.0))


@pytest.mark.parametrize(
    ("factor", "said"), [(1.0 - 2.0 * LIMIT_OFF, True), (1.0, False), (1.0 + 2.0 * LIMIT_OFF, True)]
)
def test_a_current_that_stands_elsewhere_than_the_builds_limit_is_told(
    bike: LoadedBuild, factor: float, said: bool
) -> None:
    limit = bike.build.controller.motor_current_limit_a
    found = _limits(bike, driven_at(factor * limit, bike))
    assert [
        f"stands at {factor * limit:.0f} A" in words and f"the build has {limit:g} A" in words for words in found
    ] == ([True] if said else [])


@pytest.mark.parametrize(("factor", "said"), [(0.97, False), (1.03, False), (1.07, True)])
def test_a_brief_peak_past_the_builds_limit_is_told(bike: LoadedBuild, factor: float, said: bool) -> None:
    """Too brief to be a limit that holds; below the build's limit it says nothing."""
    limit = bike.build.controller.pack_current_limit_a
    pack = np.linspace(0.0, 0.5, 2000) * limit
    pack[1000:1004] = factor * limit
    found = _limits(bike, SimpleNamespace(current=np.ones(2000), pack_current=pack))
    assert [f"reaches {factor * limit:.0f} A, past the build's limit" in words for words in found] == [True] * said


def balance(missing_w: np.ndarray, heading: bool = False) -> Balance:
    asked = np.full(len(missing_w), 200.0)
    return Balance(30.0 * np.arange(len(missing_w)) + 15.0, asked - missing_w, asked, 0.0, heading)


def test_a_road_that_asks_for_more_or_less_than_is_given_is_told_the_right_way(bike: LoadedBuild) -> None:
    more, less, alike = (" ".join(_balance_words(balance(np.full(20, by)), bike, None)) for by in (40.0, -40.0, 5.0))
    assert "asks for more than is given: he pedals harder" in more and "More is given" not in more
    assert "More is given than the road asks: a head wind" in less and "asks for more" not in less
    assert "asks for more" not in alike and "More is given" not in alike


@pytest.mark.parametrize(("from_deg", "words"), [(0.0, "0°"), (90.0, "90°"), (225.0, "225°")])
def test_a_wind_is_told_from_where_it_blows(from_deg: float, words: str) -> None:
    """Into the wind more is given than a calm road asks, so less is missing."""
    heading = np.radians(np.arange(0.0, 720.0, 30.0))
    into = np.cos(heading - np.radians(from_deg))
    way: Any = SimpleNamespace(east=np.sin(heading), north=np.cos(heading), step_s=30.0)
    held = balance(-50.0 * into, heading=True)
    (said,) = _wind_words(held, held.asked_w - held.given_w, way)
    assert f"a wind from about {words} (100%" in said.replace("360°", "0°")


def causes(name: str, bike: LoadedBuild, measured: np.ndarray, computed: np.ndarray, current: np.ndarray) -> str:
    driven: Any = SimpleNamespace(
        pack_current=current, current=current, time_s=np.arange(float(len(current))), by="current"
    )
    followed: Any = SimpleNamespace()
    return "; ".join(causes_of(Compared(BY_NAME[name], measured, computed), bike, driven, followed))


@pytest.mark.parametrize(
    ("volts_an_hour", "said"),
    [(-4.0, "faster as the ride goes on: less"), (4.0, "more slowly as the ride goes on: more")],
)
def test_a_pack_that_falls_faster_holds_less(bike: LoadedBuild, volts_an_hour: float, said: str) -> None:
    clock = np.arange(3600.0)
    computed = np.full(3600, 48.0)
    told = causes("pack_voltage_v", bike, computed + volts_an_hour * (clock / 3600.0 - 0.5), computed, np.sin(clock))
    assert f"it falls {said} capacity than the build has" in told


@pytest.mark.parametrize(("ratio", "way"), [(1.08, "lower"), (0.92, "higher"), (1.02, "")])
def test_more_pack_current_for_the_same_motor_current_is_a_lower_kv(bike: LoadedBuild, ratio: float, way: str) -> None:
    computed = np.linspace(5.0, 20.0, 500)
    told = causes("pack_current_a", bike, ratio * computed, computed, np.full(500, 20.0))
    assert (f"Kv is {way} than in the build" in told) if way else "Kv is" not in told


@pytest.mark.parametrize(("ratio", "word"), [(0.91, STOP), (0.93, FINE), (1.0, FINE), (1.07, FINE), (1.09, STOP)])
def test_another_ratio_is_a_strangers_whichever_way(
    bike: LoadedBuild, ratio: float, word: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from ridesim.engine.gearing import wheel_radius

    stated = wheel_radius(bike.build) / bike.build.drive.turns
    monkeypatch.setattr(build_fit, "motion_ratio", lambda driven: ratio * stated)
    problem: Any = SimpleNamespace(driven=SimpleNamespace(pack_voltage=np.full(9, np.nan)))
    (found,) = _strangers(problem, bike)
    assert found.verdict == word
    assert f"goes {ratio:.2f} times as fast" in found.reason


def test_skill_is_told_of_blocks_that_the_fit_did_not_see(monkeypatch: pytest.MonkeyPatch) -> None:
    """A made fit misses nothing where it was fitted and 2 V elsewhere: 2 V is what it is worth."""
    odd = np.arange(40) % 2 == 1
    off = {"even": np.where(odd, 2.0, 0.0), "odd": np.where(odd, 0.0, 2.0), "none": np.full(40, 9.0)}
    monkeypatch.setattr(
        build_fit, "solve", lambda problem, parity, solution: SimpleNamespace(z="odd" if parity else "even")
    )
    problem: Any = SimpleNamespace(
        priors=SimpleNamespace(unknowns=()),
        differences=lambda z: {"pack_voltage_v": off["none" if isinstance(z, np.ndarray) else z]},
        blocks=lambda name: np.arange(40),
    )
    solution: Any = SimpleNamespace(sigma={"pack_voltage_v": 0.1})
    (found,) = _skills(problem, solution)
    assert (found.as_built, found.fitted) == (9.0, 2.0)


@pytest.mark.parametrize(("by", "what"), [("throttle", "the throttle's scale"), ("speed", "drags, mass, wind")])
@pytest.mark.parametrize("ratio", [1.2, 0.8])
def test_what_is_drawn_beside_a_model_that_rides_by_itself(bike: LoadedBuild, by: str, what: str, ratio: float) -> None:
    amps = np.full(100, 10.0)
    each = Compared(BY_NAME["pack_current_a"], ratio * amps, amps)
    (said,) = causes_of(each, bike, SimpleNamespace(by=by), SimpleNamespace())  # type: ignore[arg-type]
    assert said.startswith(f"{ratio:.2f} times what is computed is drawn: {what}")


@pytest.mark.parametrize(
    ("computed", "times", "said"),
    [
        (0.3, 1.09, False),
        (0.3, 1.11, True),
        (0.3, 0.91, False),
        (0.3, 0.89, True),
        (0.06, 1.5, True),
        (0.04, 1.5, False),
    ],
)
def test_a_display_that_falls_by_another_share_is_of_another_capacity(
    bike: LoadedBuild, computed: float, times: float, said: bool
) -> None:
    """A tenth off, of a fall of a twentieth or more (guesses, of a display in whole per cent)."""
    gone = np.linspace(0.0, computed, 50)
    told = causes("charge_fraction", bike, 0.9 - times * gone, 0.9 - gone, np.ones(50))
    assert ("another capacity" in told) is said
    assert not said or f"falls by {computed * times:.0%} where {computed:.0%} are computed" in told


@pytest.mark.parametrize(("kind", "most"), [("stuck", 0.01), ("clipped", 0.01), ("gap", 0.05), ("empty", 0.05)])
def test_a_column_is_doubted_from_its_share_of_faults_on(kind: Any, most: float) -> None:
    """A hundredth of faults, a twentieth of what is not there at all (guesses)."""
    log: Any = SimpleNamespace(
        findings=[Finding("duty", kind, 0.98 * most, "less"), Finding("duty", kind, 1.02 * most, "more")]
    )
    assert doubted(log) == [f"duty: {1.02 * most:.1%} more."]


@pytest.mark.parametrize(
    ("rise_k", "beside", "taken"),
    [
        (14.9, "duty", "air"),
        (15.1, "duty", "winding"),
        (4.9, "air", "air"),
        (5.1, "air", "body"),
        (15.1, "air", "winding"),
    ],
)
def test_an_unnamed_temperature_is_told_by_how_far_it_rises(rise_k: float, beside: str, taken: str) -> None:
    """Air rarely warms by 15 K in a ride; beside a named air, 5 K are the motor's body (guesses)."""
    others = {"motor_current_a", "air_temperature_c" if beside == "air" else beside}
    assert temperature_of(np.array([20.0, 20.0 + rise_k]), others)[0] == f"{taken}_temperature_c"
    assert temperature_of(np.array([20.0, 20.0 + rise_k]), {"speed_km_h"})[0] == "air_temperature_c"


@pytest.mark.parametrize(("times", "turned"), [(2.9, False), (3.1, True)])
def test_a_descent_with_regen_is_not_turned_round(times: float, turned: bool) -> None:
    """It charges more than it takes, but not by three times over its ends (guess)."""
    assert _charges(np.concatenate((np.full(50, 1.0), np.full(50, -times)))) is turned


@pytest.mark.parametrize(("hand", "is_stuck"), [("held", False), ("moves", True), ("none", True)])
def test_a_current_that_a_hand_holds_is_not_stuck(hand: str, is_stuck: bool) -> None:
    """A controller that logs what is asked for repeats its last digit while the throttle is held."""
    clock = np.arange(400.0)
    motor = 50.0 + 50.0 * np.sin(clock / 9.0)
    motor[100:145] = 30.0
    columns = {"motor_current_a": motor, "pack_current_a": 20.0 + 20.0 * np.sin(clock / 7.0)}
    if hand != "none":
        columns["throttle"] = np.where((clock >= 99) & (clock < 146) & (hand == "held"), 0.3, 0.5 + 0.5 * np.sin(clock))
    assert (stuck("motor_current_a", columns, 1.0, np.ones(400, dtype=bool))[1] is not None) is is_stuck


def throttle_log(unit: str) -> Any:
    column = SimpleNamespace(unit=unit, scale=1.0, offset=0.0)
    return SimpleNamespace(path="log.csv", mapping=SimpleNamespace(of=lambda name: column))


def test_a_throttle_that_hardly_opens_is_refused_and_a_share_is_taken_as_it_is() -> None:
    """Below 2 % it is let go; a hall throttle goes by 3 V, one that went by less than 1 V was hardly opened."""
    for top, says in ((0.019, "never opens"), (0.021, "")):
        values = np.linspace(0.0, top, 100)
        if says:
            with pytest.raises(LogError, match=says):
                throttle_of(throttle_log(""), values)
        else:
            assert throttle_of(throttle_log(""), values)[0].tolist() == values.tolist()
    with pytest.raises(LogError, match=r"from 0\.80 to 1\.79 V alone"):
        throttle_of(throttle_log("v"), np.repeat([0.8, 1.79], 50))
    shares, notes = throttle_of(throttle_log("v"), np.repeat([0.8, 1.81], 50))
    assert (shares[0], shares[-1], len(notes)) == (0.0, 1.0, 1)
    assert throttle_of(throttle_log(""), np.array([0.0, 1.05]))[0].tolist() == [0.0, 1.0]  # a gain a little off


def test_a_log_without_a_current_rests_and_works_by_its_throttle() -> None:
    nothing = np.full(4, np.nan)
    driven: Any = SimpleNamespace(
        throttle=np.array([0.0, 0.019, 0.09, 0.11]), by="throttle", current_by="none", current=nothing,
        pack_current=nothing, known=np.ones(4, dtype=bool), count=4,
    )  # fmt: skip
    assert at_rest(driven).tolist() == [True, True, False, False]
    assert under_current(driven).tolist() == [False, False, False, True]
    driven.pack_current = np.array([0.9, 1.1, -1.1, -2.1])
    driven.current_by = "pack current"
    assert at_rest(driven).tolist() == [True, False, False, False]
    assert under_current(driven).tolist() == [False, False, False, True]


@pytest.mark.parametrize(
    ("by", "way", "said"),
    [("current", None, ""), ("throttle", None, "taken as level"), ("speed", False, "no wind is taken"),
     ("speed", True, "")],
)  # fmt: skip
def test_what_a_ridden_road_was_not_told_is_said(by: str, way: bool | None, said: str) -> None:
    road: Any = None if way is None else SimpleNamespace(heading=way)
    driven: Any = SimpleNamespace(by=by)
    notes = _of_the_road(driven, road)
    assert len(notes) == bool(said) and said in " ".join(notes)


def test_the_terms_of_a_drag_are_together_as_unsure_as_the_whole_was(bike: LoadedBuild) -> None:
    """Two alike, each unsure by the root of two times as much: their sum by as much as the factor on both was."""
    numbers = {NO_LOAD: Uncertain(NO_LOAD, 1.0, Tolerance("log-normal", 0.2), 0.0, 10.0, "bike")}
    _part_drag(bike, numbers)
    assert list(numbers) == list(DRAG)
    assert [each.tolerance.standard_deviation(1.0) for each in numbers.values()] == pytest.approx([0.2 * 2.0**0.5] * 2)


def test_channels_that_part_for_one_cause_are_named_together() -> None:
    parted = [
        SimpleNamespace(name="x", verdict="look again", words=words, causes=("it follows from the speed",))
        for words in ("pack voltage", "pack current", "duty")
    ]
    result: Any = SimpleNamespace(partings=parted, road=None, balanced=None, general=())
    assert _answer(result)[1:] == ["Pack voltage, pack current and duty: it follows from the speed."]


@pytest.mark.parametrize(("stated", "written"), [(None, ["constant", "growing"]), (0.1, ["constant"])])
def test_of_a_drag_in_two_terms_both_are_written_where_they_take_the_place_of_readings(
    stated: float | None, written: list[str]
) -> None:
    names = {"constant": DRAG[0], "growing": DRAG[1]}
    keys = [SimpleNamespace(key=key) for key in (*names.values(), "motor.kv_rpm_per_v")]
    motor = SimpleNamespace(drag_torque_nm=stated, drag_growth_nm_s=stated)
    fit: Any = SimpleNamespace(
        told=(keys[0],), keys=keys, loaded=SimpleNamespace(build=SimpleNamespace(motor=motor))
    )  # fmt: skip
    assert [each.key for each in with_whole_drag(fit)] == [names[name] for name in written]


def asked(bike: LoadedBuild, slope: float, zero: float, most: float) -> list[str]:
    """A throttle goes evenly to 90 %, then stands at `most` for 100 s; the motor's current is a line of it."""
    share = np.concatenate((np.linspace(0.0, 0.9, 400), np.full(100, most)))
    measured = (slope * share + zero) * current_limit(bike)
    driven: Any = SimpleNamespace(
        throttle=share, known=np.ones(500, dtype=bool), step_s=1.0, count=500, pack_current=np.ones(500), measured={}
    )
    followed: Any = SimpleNamespace(pack_current_a=np.ones(500), duty=np.full(500, 0.5))
    return list(causes_of(Compared(BY_NAME["motor_current_a"], measured, measured), bike, driven, followed))


def test_a_throttle_once_fully_open_tells_the_limit_that_it_asks_for(bike: LoadedBuild) -> None:
    amps = bike.build.controller.motor_current_limit_a
    (by_limit,) = asked(bike, 0.8, 0.0, 1.0)
    assert f"or a full throttle asks for {0.8 * amps:.0f} A" in by_limit
    assert f"the build has {amps:g} A" in by_limit
    (by_scale,) = asked(bike, 0.8, 0.0, 0.9)  # never fully open: who knows what it would ask for
    assert "0.80 times the logged throttle: mend the throttle's scale" in by_scale
    (by_zero,) = asked(bike, 0.8, 0.1, 1.0)
    assert "0.80 times the logged throttle +0.10: mend the throttle's scale and offset" in by_zero
    assert not asked(bike, 1.0, 0.0, 1.0)


@pytest.mark.parametrize(("ratio", "way"), [(1.1, "faster"), (0.9, "slower")])
@pytest.mark.parametrize(
    ("apart", "current_by", "said"),
    [(1.04, "motor current", "with the same current"), (0.96, "motor current", "with the same current"),
     (1.06, "motor current", "the current is not what this throttle asks for"),
     (0.94, "motor current", "the current is not what this throttle asks for"),
     (1.0, "pack current", "a logged motor current would tell which")],
)  # fmt: skip
def test_a_speed_that_parts_is_laid_on_the_current_or_on_the_road(
    bike: LoadedBuild, apart: float, current_by: str, said: str, ratio: float, way: str
) -> None:
    """Between the error of a current sensor and what a road can hide: 5 % (guess)."""
    speed, amps = np.full(100, 20.0), np.full(100, 30.0)
    driven: Any = SimpleNamespace(
        current=apart * amps, current_by=current_by, known=np.ones(100, dtype=bool), pack_current=np.ones(100),
        measured={}, count=100,
    )  # fmt: skip
    followed: Any = SimpleNamespace(current_a=amps, pack_current_a=np.ones(100), duty=np.full(100, 0.5))
    (cause,) = causes_of(Compared(BY_NAME["speed_km_h"], ratio * speed, speed), bike, driven, followed)
    assert cause.startswith(f"it rides {way} than the same throttle takes the model ({ratio:.2f} times)")
    assert said in cause


@pytest.mark.parametrize(("step_v", "told"), [(0.1, True), (2.0, False)])
def test_a_voltage_that_rests_under_a_moving_current_is_stuck(step_v: float, told: bool) -> None:
    """Unless its steps are so coarse that it rests under any current."""
    clock = np.arange(600.0)
    current = 15.0 + 15.0 * np.sin(clock / 7.0)
    volts = np.round((54.0 - 0.1 * current) / step_v) * step_v
    volts[200:300] = volts[203]
    columns = {"pack_voltage_v": volts, "pack_current_a": current}
    held, found = stuck("pack_voltage_v", columns, 1.0, np.ones(600, dtype=bool))
    assert (found is not None) is told
    assert np.isnan(held[210:290]).all() is np.bool_(told)
