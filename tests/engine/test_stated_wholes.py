"""Drag stated as its two terms, and a pack's whole resistance: the same bike as by bench points and by its parts."""

from __future__ import annotations

from pathlib import Path

import pytest

from ridesim.bike.checks import LOOKS_WRONG
from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.bike.rough import pack_resistance_ohm
from ridesim.engine.estimates import drag_terms, estimate
from ridesim.engine.params import parameters
from ridesim.engine.state import RECORDED
from ridesim.sure.uncertain import doubts_of_bike


@pytest.fixture(scope="module")
def bike() -> LoadedBuild:
    return load_build(Path(__file__).parents[2] / "configs" / "longtail-belt.toml")


def test_two_drag_terms_are_the_bike_of_their_bench_points(bike: LoadedBuild):
    eddy = replace_keys(bike, {"motor.extra_eddy_fraction": 0.5})
    still, growth = drag_terms(bike.build.motor)
    stated = replace_keys(eddy, {"motor.drag_torque_nm": still, "motor.drag_growth_nm_s": growth, "motor.no_load": []})
    for name, value in zip(RECORDED, parameters(eddy.build), strict=False):
        assert getattr(parameters(stated.build), name) == pytest.approx(value, rel=1e-12), name
    assert "motor.no_load" not in estimate(stated.build).guessed
    one = replace_keys(bike, {"motor.drag_torque_nm": 0.3})
    assert drag_terms(one.build.motor) == pytest.approx((0.3, growth), rel=1e-12)


def test_stated_terms_are_what_is_uncertain_in_place_of_the_points(bike: LoadedBuild):
    terms = {"motor.drag_torque_nm": 0.1, "motor.drag_growth_nm_s": 1e-4}
    keys = set(doubts_of_bike(replace_keys(bike, terms)).keys)
    assert set(terms) <= keys
    assert "motor.no_load" not in keys
    assert not set(terms) & set(doubts_of_bike(bike).keys)


def test_points_beside_stated_terms_are_told_to_be_unread(bike: LoadedBuild):
    both = replace_keys(bike, {"motor.drag_torque_nm": 0.1, "motor.drag_growth_nm_s": 1e-4})
    words = [text for check in LOOKS_WRONG for text in check(both.build)]
    assert any("motor.no_load is not read" in text for text in words)
    assert not any("motor.no_load is not read" in text for check in LOOKS_WRONG for text in check(bike.build))


def test_a_stated_whole_moves_cells_strips_and_leads_alike(bike: LoadedBuild):
    """By hand: 13 in series of 6 of 28 mohm, 16 mohm of strips and leads: 76.67; stated 92 is 1.2 times that."""
    assert bike.build.pack.added_resistance_mohm == pytest.approx(13.0 / 6.0 * 28.0 + 16.0)
    whole = replace_keys(bike, {"pack.resistance_mohm": 92.0})
    before, after = parameters(bike.build), parameters(whole.build)
    assert after.cell_resistance == pytest.approx(1.2 * before.cell_resistance)
    assert after.wiring_resistance == pytest.approx(1.2 * before.wiring_resistance)
    assert after.polarisation_resistance == before.polarisation_resistance
    assert pack_resistance_ohm(whole.build) == pytest.approx(0.092)
    aged = replace_keys(whole, {"pack.resistance_factor": 1.5})
    assert pack_resistance_ohm(aged.build) == pytest.approx(0.092 + 0.5 * 1.2 * 13.0 / 6.0 * 0.028)
