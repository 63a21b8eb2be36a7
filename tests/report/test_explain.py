"""`ridesim explain`: every key, quantity, limit, bound and word is found, and a wrong name is met with the nearest."""

from __future__ import annotations

import json
import re

import pytest
from typer.testing import CliRunner

from ridesim.cli.app import app
from ridesim.errors import RideError
from ridesim.report.explain import explain, meanings
from ridesim.ride.bounds import BY_NAME, Bound
from ridesim.ride.limits import LIMITS
from ridesim.ride.quantities import QUANTITIES
from ridesim.ride.words import WORDS


@pytest.mark.parametrize("name", [*QUANTITIES, *LIMITS, *BY_NAME, *WORDS])
def test_every_name_explains_itself(name: str) -> None:
    assert any(each.name == name and each.words for each in explain(name))


@pytest.mark.parametrize(
    ("asked", "kind", "said"),
    [
        ("motor.kv_rpm_per_v", "key of a build", "unloaded speed per volt"),
        ("kv_rpm_per_v", "key of a build", "unloaded speed per volt"),
        ("BACK-EMF", "word", "diodes"),
        ("back_emf", "word", "diodes"),
        ("dwell_s", "key of a road", "how long"),
        ("peak_winding_temp_c", "quantity", "hottest winding"),
        ("cells_heat", "limit", "cells, temperature"),
        ("modulation", "bound", "full modulation"),
    ],
)
def test_names_are_found_as_a_person_types_them(asked: str, kind: str, said: str) -> None:
    found = {each.kind: each.words for each in explain(asked.replace("_emf", "-emf"))}
    assert said in found[kind]


@pytest.mark.parametrize("bound", list(BY_NAME.values()), ids=lambda each: each.name)
def test_a_bound_is_found_by_the_words_that_a_ride_prints(bound: Bound) -> None:
    """`explain "full modulation"`, as a ride's list of limits has it, was no name that ridesim uses."""
    assert any(each.kind in ("bound", "limit", "word") for each in explain(bound.short))


def test_a_limit_tells_its_tolerance_source_and_cure() -> None:
    facts = dict(next(each for each in explain("winding") if each.kind == "limit").facts)
    assert facts["its value"].startswith("IEC 60085") and facts["look again within"] == "15 °C"
    assert facts["counts as met within"] == "0.1 °C" and "slower gearing" in facts["what helps"]
    assert facts["verdict above it"] == "stop"


@pytest.mark.parametrize("name", sorted(LIMITS))
def test_each_limit_says_on_which_side_and_how_near_it_speaks(name: str) -> None:
    """Its words against the judge itself: just beyond, and just within what "look again within" names."""
    from ridesim.ride.judge import hold

    rule, facts = LIMITS[name], dict(next(each for each in explain(name) if each.kind == "limit").facts)
    side, other = ("below", "above") if rule.floor else ("above", "below")
    assert facts[f"verdict {side} it"] == rule.passed and f"verdict {other} it" not in facts
    limit, step = 200.0, -1.0 if rule.floor else 1.0
    assert hold(name, limit + 50.0 * step, limit).verdict == rule.passed
    near = facts.get("look again within", "")
    assert bool(near) == (rule.near > 0.0 or rule.near_share > 0.0)
    if near:
        number = float(re.match(r"[\d.]+", near).group())
        room = limit * number / 100.0 if rule.near == 0.0 else number
        assert hold(name, limit - 0.96 * room * step, limit).verdict == "look again"
        assert hold(name, limit - 1.05 * room * step, limit).verdict == "fine"


@pytest.mark.parametrize(
    ("name", "better"), [("range_km", "the higher"), ("peak_winding_temp_c", "the lower"), ("speed_km_h", None)]
)
def test_a_quantity_says_which_way_is_better(name: str, better: str | None) -> None:
    facts = dict(next(each for each in explain(name) if each.kind == "quantity").facts)
    assert facts.get("better") == better


def test_a_name_that_nobody_uses_is_met_with_the_nearest() -> None:
    with pytest.raises(RideError, match=r"did you mean .*back-emf"):
        explain("bak-emf")
    assert len(meanings()) > 200


def test_the_command_prints_words_or_json_and_refuses_in_one_line() -> None:
    done = CliRunner().invoke(app, ["explain", "motor.kv_rpm_per_v", "--json"])
    (one,) = json.loads(done.stdout)["meanings"]
    assert one["facts"]["unit"] == "rpm/V" and "5000" in one["facts"]["range"]
    assert "protects" in CliRunner().invoke(app, ["explain", "overcharge"]).stdout
    refused = CliRunner().invoke(app, ["explain", "zzz"])
    assert refused.exit_code == 2 and len(refused.stderr.strip().splitlines()) == 1


def test_pages_tell_the_same_on_hover_and_on_tap() -> None:
    from ridesim.report.page import page_text
    from ridesim.report.view import Table, View

    rows = (("winding", "fine"), ("belt pull, stage 1", "stop"), ("something of its own", ""))
    text = page_text(View("t", "q", ("a",), tables=(Table("Verdicts", ("what", ""), rows),)), (), "ridesim")
    assert '<abbr title="protects the winding' in text and ">belt pull, stage 1</abbr>" in text
    assert '<th scope="row">something of its own</th>' in text
