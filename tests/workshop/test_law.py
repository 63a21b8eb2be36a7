"""Legal classes: borders of every class, traps of units and of `less than`, senseless input."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridesim.bike.load import load_build, replace_keys
from ridesim.bike.rough import unloaded_speed_km_h
from ridesim.engine.state import Limit
from ridesim.errors import RidesimError
from ridesim.ride.bounds import BOUNDS
from ridesim.workshop.law import classes as law
from ridesim.workshop.law.bike import classify_build, judge_stated_power
from ridesim.workshop.level_run import LevelRun

EU, GB, PARKS, PRODUCT = law.JURISDICTIONS
PEDELEC: dict[str, Any] = {
    "rated_power_w": 250.0,
    "assist_cutoff_speed_km_h": 24.9,
    "throttle": False,
    "pedals": True,
    "top_speed_km_h": 24.0,
    "unloaded_speed_km_h": 33.0,
}


def name_in(jurisdiction: str, **changed: Any) -> str | None:
    report = law.classify(**{**PEDELEC, **changed, "jurisdictions": (jurisdiction,)})
    rule = report.findings[0].rule
    return rule.name if rule else None


def test_a_gentle_pedelec_is_a_bicycle_everywhere() -> None:
    report = law.classify(**PEDELEC, pack_voltage_v=36.0)
    assert [finding.jurisdiction for finding in report.findings] == [EU, GB, PARKS, PRODUCT]
    assert report.verdict == "fine"
    assert all(not finding.friendlier for finding in report.findings)
    assert "local law and licensed advice decide" in report.disclaimer
    assert "no legal advice" in report.disclaimer


@pytest.mark.parametrize(
    ("changed", "name"),
    [
        ({}, "pedelec, exempt from type approval"),
        ({"assist_cutoff_speed_km_h": 25.0}, "pedelec, exempt from type approval"),
        ({"assist_cutoff_speed_km_h": 25.1}, "L1e-B, moped"),
        ({"assist_cutoff_speed_km_h": None}, "L1e-B, moped"),
        ({"rated_power_w": 250.1}, "L1e-A, powered cycle"),
        ({"rated_power_w": 1000.0}, "L1e-A, powered cycle"),
        ({"rated_power_w": 1001.0}, "L1e-B, moped"),
        ({"rated_power_w": 4001.0}, None),
        ({"pedals": False, "throttle": True}, "L1e-B, moped"),
        ({"throttle": True}, "L1e-A, powered cycle"),
        ({"throttle": True, "throttle_cutoff_speed_km_h": 6.0}, "pedelec, exempt from type approval"),
        ({"pack_voltage_v": 48.0}, "pedelec, exempt from type approval"),
        ({"pack_voltage_v": 52.0}, "L1e-A, powered cycle"),
        ({"assist_cutoff_speed_km_h": 46.0, "unloaded_speed_km_h": 60.0}, None),
    ],
)
def test_borders_of_the_european_classes(changed: dict[str, Any], name: str | None) -> None:
    assert name_in(EU, **changed) == name


@pytest.mark.parametrize(
    ("power_w", "verdict"), [(250.0, "fine"), (251.0, "look again"), (4000.0, "look again"), (4001.0, "stop")]
)
def test_each_class_has_its_verdict_just_inside_and_just_outside(power_w: float, verdict: str) -> None:
    """A bicycle is fine, what needs type approval is worth a look, what is in no class is stopped."""
    report = law.classify(**{**PEDELEC, "rated_power_w": power_w, "jurisdictions": (EU,)})
    assert (report.verdict, report.findings[0].verdict) == (verdict, verdict)


def test_a_bike_set_to_25_km_h_fits_15_5_mph() -> None:
    """15.5 mph are 24.945 km/h; half its last digit is 0.08 km/h of slack."""
    assert name_in(GB, assist_cutoff_speed_km_h=25.0) == "electrically assisted pedal cycle"
    assert name_in(GB, assist_cutoff_speed_km_h=25.02) == "electrically assisted pedal cycle"
    assert name_in(GB, assist_cutoff_speed_km_h=25.03) is None
    report = law.classify(**{**PEDELEC, "assist_cutoff_speed_km_h": 25.1, "jurisdictions": (GB,)})
    assert report.verdict == "stop"
    assert "at most 24.9 km/h (now 25.1 km/h)" in report.findings[0].friendlier[0].changes[0]


def test_a_rule_asked_for_twice_counts_once() -> None:
    once = law.classify(**PEDELEC, jurisdictions=(EU, GB))
    assert law.classify(**PEDELEC, jurisdictions=(EU, GB, EU)) == once


def test_a_design_speed_counts_on_the_level_not_down_a_hill() -> None:
    """A moped of 44 km/h on the level whose motor could still push at 55 down a hill is one of at most 45."""
    moped: dict[str, Any] = {
        "rated_power_w": 2000.0, "assist_cutoff_speed_km_h": None, "throttle": True, "pedals": False,
        "unloaded_speed_km_h": 55.0,
    }  # fmt: skip
    assert name_in(EU, **moped, top_speed_km_h=45.0) == "L1e-B, moped"
    assert name_in(EU, **moped, top_speed_km_h=45.1) is None
    # A pedelec's cut-off is no design speed: where the motor still helps, it counts.
    assert name_in(EU, assist_cutoff_speed_km_h=None, top_speed_km_h=24.0, unloaded_speed_km_h=33.0) == "L1e-B, moped"
    # With assist alone the speed to which it helps is the design speed.
    assert name_in(EU, assist_cutoff_speed_km_h=46.0, top_speed_km_h=30.0, unloaded_speed_km_h=50.0) is None


@pytest.mark.parametrize(
    ("peak_w", "verdict", "says"),
    [
        (240.0, "fine", "240 W at most"),
        (250.0, "fine", "250 W at most"),
        (600.0, "fine", "a peak may pass"),
        (750.0, "fine", "a peak may pass"),
        (751.0, "look again", "3.0 times as much"),
        (1136.0, "look again", "gives 1136 W at the shaft, 4.5 times as much"),
    ],
)
def test_a_stated_power_is_held_against_the_builds_own_run(peak_w: float, verdict: str, says: str) -> None:
    told = judge_stated_power(250.0, peak_w)
    assert (told[0], says in told[1]) == (verdict, True), told[1]


@pytest.mark.parametrize(
    ("changed", "name"),
    [
        ({"rated_power_w": 750.0}, "class 1"),
        ({"rated_power_w": 750.5}, None),
        ({"throttle": True}, "class 2"),
        ({"assist_cutoff_speed_km_h": 40.0}, "class 3"),
        ({"assist_cutoff_speed_km_h": 46.0, "unloaded_speed_km_h": 50.0}, None),
        ({"assist_cutoff_speed_km_h": 40.0, "throttle": True}, None),
        ({"throttle": True, "pedals": False}, None),
    ],
)
def test_borders_of_the_three_american_classes(changed: dict[str, Any], name: str | None) -> None:
    assert name_in(PARKS, **changed) == name


def test_the_consumer_product_text_says_less_than() -> None:
    name = "low-speed electric bicycle"
    assert name_in(PRODUCT, rated_power_w=749.0) == name
    assert name_in(PRODUCT, rated_power_w=750.0) is None
    fast: dict[str, Any] = {"assist_cutoff_speed_km_h": None, "throttle": True, "unloaded_speed_km_h": 45.0}
    twenty_mph = 20.0 * 1.609344
    assert name_in(PRODUCT, top_speed_km_h=twenty_mph - 0.01, **fast) == name
    assert name_in(PRODUCT, top_speed_km_h=twenty_mph + 1e-9, **fast) is None
    # Assist only while pedalling is not the motor alone.
    assert name_in(PRODUCT, assist_cutoff_speed_km_h=40.0, top_speed_km_h=33.0) == name


def test_the_report_takes_the_worst_verdict_and_names_its_place() -> None:
    report = law.classify(**{**PEDELEC, "assist_cutoff_speed_km_h": 25.04})
    assert [finding.verdict for finding in report.findings] == ["fine", "stop", "fine", "fine"]
    assert (report.verdict, GB in report.reason, EU in report.reason) == ("stop", True, False)


def test_every_change_that_is_asked_for_is_told() -> None:
    wild = law.classify(1500.0, None, True, False, 55.0, pack_voltage_v=60.0, jurisdictions=(EU,))
    pedelec = wild.findings[0].friendlier[0]
    assert pedelec.rule.name.startswith("pedelec")
    assert pedelec.changes == (
        "rated power at most 250 W (now 1500 W)",
        "motor drives to at most 25 km/h (now 55 km/h)",
        "throttle only to 6 km/h",
        "working pedals",
        "pack of at most 48 V nominal (now 60)",
    )
    assert wild.verdict == "stop"


@given(st.floats(50.0, 5000.0), st.floats(50.0, 5000.0), st.floats(5.0, 70.0), st.floats(5.0, 70.0), st.booleans())
def test_less_power_and_speed_never_falls_in_a_worse_class(
    power: float, other_power: float, speed: float, other_speed: float, throttle: bool
) -> None:
    rank = {"fine": 0, "look again": 1, "stop": 2}
    low = law.classify(min(power, other_power), None, throttle, True, min(speed, other_speed))
    high = law.classify(max(power, other_power), None, throttle, True, max(speed, other_speed))
    for gentle, wild in zip(low.findings, high.findings, strict=True):
        assert rank[gentle.verdict] <= rank[wild.verdict]
        assert len(gentle.friendlier) <= len(wild.friendlier)


def test_classes_are_dated_and_friendliest_first() -> None:
    for rule in law.CLASSES:
        assert rule.document and 1980 < rule.year <= 2026
    for jurisdiction in law.JURISDICTIONS:
        flags = [rule.as_bicycle for rule in law.CLASSES if rule.jurisdiction == jurisdiction]
        assert flags == sorted(flags, reverse=True)


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"rated_power_w": 0.0}, r"rated_power_w: must be .*got 0"),
        ({"rated_power_w": math.inf}, r"rated_power_w: must be .*got inf"),
        ({"assist_cutoff_speed_km_h": -5.0}, r"assist_cutoff_speed_km_h: must be .*got -5"),
        ({"top_speed_km_h": math.nan}, r"top_speed_km_h: must be .*got nan"),
        ({"pack_voltage_v": 0.0}, r"pack_voltage_v: must be .*got 0"),
        ({"pedals": False}, "neither throttle nor pedals"),
        ({"unloaded_speed_km_h": 20.0}, "unloaded_speed_km_h = 20"),
        ({"jurisdictions": ("Atlantis",)}, "Atlantis"),
        ({"jurisdictions": ()}, "no jurisdiction"),
    ],
)
def test_senseless_builds_are_refused_in_one_line(changed: dict[str, Any], says: str) -> None:
    with pytest.raises(RidesimError, match=says) as caught:
        law.classify(**{**PEDELEC, **changed})
    assert str(caught.value).count("\n") == 0


@pytest.mark.parametrize(("ratio", "name"), [(1.01, "L1e-B, moped"), (0.99, "pedelec, exempt from type approval")])
def test_what_counts_is_where_the_motor_runs_out_of_voltage_not_where_the_air_holds_it(ratio: float, name: str) -> None:
    """A motor that helps on a descent to 25.2 km/h is none of 25, however slow it is on the level by itself."""
    bike = load_build("configs/commuter-light.toml", {"controller.throttle_law": "assist"})
    kv = bike.build.motor.kv_rpm_per_v * ratio * 25.0 / unloaded_speed_km_h(bike.build)
    slow = replace_keys(
        bike, {"motor.kv_rpm_per_v": kv, "motor.no_load": None, "controller.assist_speed_limit_km_h": None}
    )
    alone = LevelRun(1.0, 20.0, 1000.0, 100.0, 200.0, BOUNDS[Limit.NONE], False, 10.0)
    found = classify_build(slow, rated_power_w=250.0, pedals=True, jurisdictions=(EU,), run=alone)
    assert found.unloaded_speed_km_h == pytest.approx(25.0 * ratio)
    assert found.report.findings[0].rule.name == name


def test_a_figure_above_its_limit_never_reads_as_the_limit():
    assert [law._now(value, 250.0) for value in (250.3, 251.2, 1234.5)] == ["250.3", "251", "1230"]
