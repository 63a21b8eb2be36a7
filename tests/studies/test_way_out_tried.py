"""Ways out by hand: what is tried between which ends, by which drive's limit, and which value is taken."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

import ridesim.studies.way_out as way_out_module
from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.report.climb.way_out import view
from ridesim.report.view import view_text
from ridesim.road.made import make_climb
from ridesim.studies.way_out import Question, Tried, WayOut, _changed, _options, _values, _wish, way_out, with_sensor

from ..bikes import CONFIGS, bike

PLAIN = bike()
ROAD = make_climb(300.0, 4.0)
CLASSES = {"F": 155.0, "H": 180.0, "B": 130.0}
"""What the winding may reach [degC] (IEC 60085)."""


@pytest.fixture(scope="module")
def two() -> LoadedBuild:
    return load_build(CONFIGS / "longtail-two-drives.toml")


def _of_classes(two: LoadedBuild, first: str, second: str) -> LoadedBuild:
    return replace_keys(two, {"motor.insulation_class": first, "second.motor.insulation_class": second})


@pytest.mark.parametrize(("first", "second", "lower"), [("H", "F", 155.0), ("F", "H", 155.0), ("B", "F", 130.0)])
def test_of_two_drives_the_winding_that_bears_less_is_the_ceiling(
    two: LoadedBuild, first: str, second: str, lower: float
) -> None:
    """Whichever of both it is; a lower wish of the builder's goes before both, a higher one before neither."""
    loaded = _of_classes(two, first, second)
    for asked_c, ceiling in ((None, lower), (lower - 1.0, lower - 1.0), (lower + 1.0, lower)):
        assert Question(loaded, ROAD, 18.0, max_winding_c=asked_c).winding_ceiling_c == ceiling
    assert Question(loaded, ROAD, 18.0).ceilings_c == (CLASSES[first], CLASSES[second])
    assert Question(loaded, ROAD, 18.0, max_winding_c=120.0).ceilings_c == ()  # one wish for both


def test_each_drive_s_own_ceiling_is_told_where_they_differ(two: LoadedBuild, monkeypatch: pytest.MonkeyPatch) -> None:
    """A motor of class H at 169 degC was kept beside the words "winding at most 155 degC"."""
    _laid(monkeypatch, {})
    for (first, second), words in (
        (("H", "F"), "winding at most 180 °C in the first drive and 155 °C in the second drive"),
        (("F", "F"), "winding at most 155 °C, magnets"),
    ):
        asked = Question(_of_classes(two, first, second), ROAD, 18.0)
        found = way_out("speed", asked)
        assert words in " ".join(view_text(view(found, asked.loaded, ROAD, pictures=False)).split())
        assert len(view(found, asked.loaded, ROAD).figures) == 1


def _tried(value: float, *stops: str, near: tuple[str, ...] = ()) -> Tried:
    return Tried(value, stops, 1.0, 100.0, 90.0, 60.0, 0.0, near)


def _laid(monkeypatch: pytest.MonkeyPatch, stops: dict[float, str]) -> list[float]:
    """Lay in what each value comes to in place of rides; the values asked for are returned, in their order."""
    asked_for: list[float] = []

    def asker(*_: Any) -> Any:
        def ask(values: Sequence[float]) -> tuple[Tried, ...]:
            asked_for.extend(values)
            return tuple(_tried(each, *([stops[each]] if each in stops else [])) for each in values)

        return ask

    monkeypatch.setattr(way_out_module, "_asker", asker)
    return asked_for


def _ends(find: str, loaded: LoadedBuild, cruise_km_h: float = 20.0) -> tuple[str, float, float, float]:
    unit, present, values = _values(find, Question(loaded, ROAD, cruise_km_h))
    assert present in values and values == sorted(values) and 25 <= len(values) <= 26
    return unit, present, values[0], values[-1]


def test_between_which_ends_values_are_tried() -> None:
    """6 to 60 km/h, or a fifth above the cruise; 0.15 to 1.6 times the current; 40 kg to 60 kg more (guesses)."""
    assert _ends("speed", PLAIN) == ("km_h", 20.0, 6.0, 60.0)
    assert _ends("speed", PLAIN, 49.0)[3] == 60.0 and _ends("speed", PLAIN, 60.0)[3] == 72.0
    limited = replace_keys(PLAIN, {"controller.motor_current_limit_a": 100.0})
    assert _ends("current", limited) == ("a", 100.0, 15.0, 160.0)
    assert _ends("load", PLAIN) == ("kg", 95.0, 40.0, 155.0)
    light = replace_keys(PLAIN, {"rider.mass_kg": 35.0, "bicycle.cargo_kg": 0.0})
    assert _ends("load", light) == ("kg", 35.0, 35.0, 95.0)
    assert _values("load", Question(light, ROAD, 20.0))[2][1] == 37.5  # evenly from there, not from 40 kg


def test_ratios_are_tried_to_0_4_and_2_5_times_and_beyond_the_rule_of_thumb(monkeypatch: pytest.MonkeyPatch) -> None:
    """The rule: 10 rpm/V at a usual wheel; where the build is far from it, to half as much again beyond it."""
    for usual, low, high in ((10.0, 1.6, 10.0), (40.0, 1.6, 24.0), (2.0, 0.53, 10.0), (400.0, 1.6, 100.0)):
        monkeypatch.setattr(way_out_module, "usual_wheel_kv_rpm_per_v", lambda _, usual=usual: usual)
        stages = [{"ratio": 2.0}, {"ratio": 4.0}]
        plain = replace_keys(PLAIN, {"drive.stage": stages})
        assert _ends("ratio", plain) == ("", 4.0, pytest.approx(low, rel=0.01), pytest.approx(high))


def test_of_two_values_as_near_to_now_the_lower_one_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Less speed, load and current is what is easier had: 19 before 21 km/h where 20 itself stops the bike."""
    monkeypatch.setattr(way_out_module, "_values", lambda *_: ("km_h", 20.0, [18.0, 19.0, 20.0, 21.0]))
    stops = {20.0: "winding too hot"} | {round(19.0 + step / 10.0, 1): "winding too hot" for step in range(1, 20)}
    _laid(monkeypatch, stops)
    found = way_out("speed", Question(PLAIN, ROAD, 20.0))
    assert found.best is not None and (found.best.value, found.kept) == (19.0, ((18.0, 19.0), (21.0, 21.0)))


def test_what_stops_most_values_is_what_is_told() -> None:
    tried = (_tried(1.0, "winding too hot"), _tried(2.0, "does not arrive", "winding too hot"), _tried(3.0, "pack"))
    assert WayOut("speed", "km_h", 2.0, (), None, tried, 155.0).commonest_fault == "winding too hot"
    assert WayOut("speed", "km_h", 2.0, (), None, (_tried(1.0),), 155.0).commonest_fault == ""


def test_a_value_changes_what_it_says_and_nothing_else(two: LoadedBuild) -> None:
    """Both controllers in proportion; a load above the rider's own weight is luggage, one below it a lighter rider."""
    asked = Question(two, ROAD, 18.0)
    both, _ = _changed("current", asked, two.build, 0.5 * two.build.controller.motor_current_limit_a)
    was, now = (each.build.second for each in (two, both))
    assert was is not None and now is not None
    assert both.build.controller.motor_current_limit_a == 0.5 * two.build.controller.motor_current_limit_a
    assert now.controller.motor_current_limit_a == 0.5 * was.controller.motor_current_limit_a
    for load, rider, cargo in ((60.0, 60.0, 0.0), (75.0, 75.0, 0.0), (90.0, 75.0, 15.0)):
        loaded, cruise = _changed("load", Question(PLAIN, ROAD, 18.0), PLAIN.build, load)
        assert (loaded.build.rider.mass_kg, loaded.build.bicycle.cargo_kg, cruise) == (rider, cargo, 18.0)
    same, cruise = _changed("speed", asked, two.build, 12.0)
    assert same is two and cruise == 12.0


def test_a_rolling_start_begins_at_the_speed_that_is_tried() -> None:
    """And only where it was asked for; a trace is kept where the bike states brakes, whose heat is told by it."""
    asked = Question(PLAIN, ROAD, 18.0)
    assert _options(asked, 12.0).start_speed_km_h == 0.0
    assert _options(replace(asked, rolling_start=True), 12.0).start_speed_km_h == 12.0
    braked = replace_keys(PLAIN, {"brakes.rear.kind": "disc", "brakes.front.kind": "rim"})
    for loaded, traced in ((PLAIN, False), (braked, True)):
        assert loaded.build.brakes.stated is traced is _wish(loaded, asked, 18.0).trace


def test_a_sensor_is_tried_on_each_controller_that_has_none(two: LoadedBuild, monkeypatch: pytest.MonkeyPatch) -> None:
    """No current above 10 K below the winding's limit, the first of it taken 25 K lower (guesses)."""
    ridden: list[Any] = []
    monkeypatch.setattr(way_out_module, "ride_many", lambda wishes, **_: ridden.extend(wishes) or [None])
    outcome = iter((_tried(145.0), _tried(145.0, "does not arrive"), _tried(145.0)))
    monkeypatch.setattr(way_out_module, "_tried", lambda *_: next(outcome))
    off = [f"{prefix}controller.motor_{key}" for prefix in ("", "second.") for key in
           ("full_current_below_c", "no_current_above_c")]  # fmt: skip
    bare = replace_keys(two, dict.fromkeys(off))
    found = with_sensor(Question(bare, ROAD, 18.0))
    assert found is not None and found.best is not None and found.kept == ((145.0, 145.0),)
    stopped = with_sensor(Question(bare, ROAD, 18.0))
    assert stopped is not None and (stopped.best, stopped.kept) == (None, ())
    with_sensor(Question(replace_keys(two, dict.fromkeys(off[2:])), ROAD, 18.0))
    boxes = [each.loaded.build for each in ridden]
    for build, firsts in ((boxes[0], (120.0, 145.0)), (boxes[2], (115.0, 140.0))):
        first, second = build.controller, build.second.controller
        assert (first.motor_full_current_below_c, first.motor_no_current_above_c) == firsts
        assert (second.motor_full_current_below_c, second.motor_no_current_above_c) == (120.0, 145.0)
    assert with_sensor(Question(two, ROAD, 18.0)) is None


@pytest.fixture
def rides(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[Any]]:
    asked: list[Any] = []
    for name in ("stops", "nears"):
        monkeypatch.setattr(way_out_module, name, lambda _, most_c=None, name=name: asked.append(most_c) or (name,))
    monkeypatch.setattr(way_out_module, "in_the_way", lambda _: ("why", "what helps"))
    monkeypatch.setattr(way_out_module, "foldback_s", lambda _: 7.0)
    yield asked


def test_a_ride_is_told_by_the_drive_nearest_its_limit_and_held_to_the_wish(
    rides: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A second drive at 150 of 155 degC is nearer than a first at 160 of 180."""
    cool = SimpleNamespace(winding_limit_c=180.0, peak_winding_temp_c=160.0, peak_body_temp_c=70.0)
    near = SimpleNamespace(winding_limit_c=155.0, peak_winding_temp_c=150.0, peak_body_temp_c=80.0)
    ride = SimpleNamespace(figures=SimpleNamespace(distance_km=3.0, total_time_s=600.0))
    for both in ((cool, near), (near, cool)):
        monkeypatch.setattr(way_out_module, "drive_figures", lambda _, both=both: both)
        told = way_out_module._tried(18.0, ride, Question(PLAIN, ROAD, 18.0, max_winding_c=140.0))  # type: ignore[arg-type]
        assert (told.peak_winding_temp_c, told.peak_body_temp_c, told.foldback_s) == (150.0, 80.0, 7.0)
        assert (told.stops, told.near, told.reason, told.cure) == (("stops",), ("nears",), "why", "what helps")
    assert rides == [140.0] * 4
