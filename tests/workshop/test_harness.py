"""All the copper together: each part agrees with its own calculator, and more current never asks for less copper."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridesim.bike.load import load_build
from ridesim.errors import RidesimError
from ridesim.workshop.loads import loads_of, ride_of
from ridesim.workshop.wire.harness import Currents, Habits, Strip, currents_of, design_harness, strip_of

HAND = Currents(20.0, 32.0, 8.0, 22.0, 45.0, 70.0, 8.0, 4.0, 48.0, 54.6, 76.0)


def area(currents: Currents, kind: str = "pack") -> float:
    lead = next(lead for lead in design_harness(currents, Habits()).leads if lead.kind == kind)
    return lead.chosen.area_mm2 if lead.chosen else float("inf")


def test_the_fuse_lies_between_load_and_wire() -> None:
    result = design_harness(HAND, Habits())
    pack = next(lead for lead in result.leads if lead.kind == "pack")
    assert result.fuse is not None and result.fuse.rating_a is not None and pack.chosen is not None
    assert 22.0 / 0.75 <= result.fuse.rating_a <= pack.chosen.current_limit_a
    assert result.fuse.short_circuit_a == pytest.approx(54.6 / 0.076)
    assert result.verdict == "fine"


def test_a_thinner_wire_was_tried_and_is_not_fine_or_not_guarded() -> None:
    """At 27.5 A sustained a fuse of 40 A is asked for: the wire that bears 30 A warm enough is passed over."""
    hungry = dataclasses.replace(HAND, pack_rms_a=20.0, pack_sustained_a=27.5)
    pack = design_harness(hungry, Habits()).leads[0]
    fine = [each for each in pack.tried if each.verdict == "fine"]
    assert pack.chosen is fine[-1] and len(fine) > 1
    assert fine[0].current_limit_a < 40.0 <= pack.chosen.current_limit_a


@settings(deadline=None, max_examples=15)
@given(st.floats(2.0, 60.0), st.floats(1.05, 2.0))
def test_more_current_never_takes_less_copper(rms: float, more: float) -> None:
    weak = dataclasses.replace(HAND, pack_rms_a=rms, pack_peak_a=rms, pack_sustained_a=rms)
    strong = dataclasses.replace(HAND, pack_rms_a=more * rms, pack_peak_a=more * rms, pack_sustained_a=more * rms)
    assert area(strong) >= area(weak)


def test_a_long_climb_outruns_the_rms() -> None:
    """The same rms over the ride, but all of it in one long stretch: the course asks for more copper."""
    time = np.arange(0.0, 3600.0, 2.0)
    burst = np.where(time < 360.0, 80.0, 0.0)
    rms = float(np.sqrt(np.mean(burst**2)))
    even = dataclasses.replace(
        HAND, motor_rms_a=rms, motor_peak_a=80.0, time_s=time, pack_along_a=np.full_like(time, 5.0),
        motor_along_a=np.full_like(time, rms),
    )  # fmt: skip
    uneven = dataclasses.replace(even, motor_along_a=burst)
    assert area(uneven, "phase") > area(even, "phase")


def test_a_build_s_harness(root: Path) -> None:
    loaded = load_build(root / "configs/longtail-belt.toml")
    currents = currents_of(loaded.build, loads_of(ride_of(loaded, None)))
    assert currents.nominal_voltage_v == pytest.approx(13 * 3.6)
    assert currents.full_voltage_v == pytest.approx(54.6)
    strip = strip_of(loaded.build)
    result = design_harness(currents, Habits(strip=strip, capacitance_uf=1000.0))
    assert [lead.kind for lead in result.leads] == ["pack", "phase", "charge"]
    assert result.strip is not None and strip.strips == 6
    assert result.precharge is not None
    assert result.precharge.resistor_energy_j == pytest.approx(0.5 * 1e-3 * 54.6**2)  # C V^2 / 2, whatever R


def test_parts_that_are_not_asked_for_stay_out() -> None:
    only_charge = dataclasses.replace(HAND, pack_rms_a=0.0, motor_rms_a=0.0)
    result = design_harness(only_charge, Habits())
    assert [lead.kind for lead in result.leads] == ["charge"]
    assert result.fuse is None and result.connector is None and result.strip is None and result.precharge is None


def test_no_current_at_all_is_refused() -> None:
    with pytest.raises(RidesimError, match="no current"):
        design_harness(dataclasses.replace(HAND, pack_rms_a=0.0, motor_rms_a=0.0, charge_a=0.0), Habits())
    with pytest.raises(RidesimError, match="metal"):
        design_harness(HAND, Habits(strip=Strip(metal="tin")))  # type: ignore[arg-type]


def test_beyond_every_wire_two_in_parallel() -> None:
    result = design_harness(dataclasses.replace(HAND, pack_rms_a=900.0, pack_peak_a=900.0), Habits())
    assert result.leads[0].chosen is None and "two in parallel" in result.leads[0].reason
    assert result.verdict == "stop"
