"""`ridesim explain`: every key, quantity, limit, bound and word is found, and a wrong name is met with the nearest."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from ridesim.cli.app import app
from ridesim.errors import RideError
from ridesim.report.explain import explain, meanings
from ridesim.ride.bounds import BY_NAME
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


def test_a_limit_tells_its_tolerance_source_and_cure() -> None:
    facts = dict(next(each for each in explain("winding") if each.kind == "limit").facts)
    assert facts["its value"].startswith("IEC 60085") and facts["look again within"] == "15 °C"
    assert facts["counts as met within"] == "0.1 °C" and "slower gearing" in facts["what helps"]
    assert facts["verdict above it"] == "stop"


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
