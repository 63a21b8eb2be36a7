"""All the copper together: each part agrees with its own calculator, and more current never asks for less copper."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridesim.bike.load import load_build
from ridesim.engine.params import motor_scale
from ridesim.errors import RidesimError
from ridesim.report.view import view_text
from ridesim.report.wire.view import view
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb
from ridesim.workshop.loads import loads_of, ride_of
from ridesim.workshop.wire.flows import Currents, currents_of
from ridesim.workshop.wire.harness import Habits, Harness, Strip, _better, design_harness, habits_of, strip_of
from ridesim.workshop.wire.heat import steady_current_limit_a
from ridesim.workshop.wire.precharge import check_precharge
from ridesim.workshop.wire.tables import bounded_insulation, insulation, standard_wires
from ridesim.workshop.wire.two_drives import harness_of_ride

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


def test_every_lead_is_held_to_its_joints_and_its_bunch() -> None:
    usual = design_harness(HAND, Habits())
    for lead in usual.leads:
        assert lead.chosen is not None and lead.chosen.steady_c is not None and lead.chosen.steady_c <= 75.0
    hot = design_harness(HAND, Habits(joint_limit_c=180.0))
    alone = design_harness(HAND, Habits(leads_together=1))
    for kind in ("pack", "phase"):
        sizes = [next(each for each in found.leads if each.kind == kind).chosen for found in (usual, hot, alone)]
        assert all(each is not None for each in sizes)
        assert sizes[0].area_mm2 > sizes[1].area_mm2 and sizes[0].area_mm2 > sizes[2].area_mm2  # type: ignore[union-attr]


def test_bunches_that_nobody_counts_are_there_and_back_and_three_phases() -> None:
    habits = Habits()
    assert [habits.grouping(kind) for kind in ("pack", "phase", "charge")] == [0.8, 0.7, 0.8]
    assert {Habits(leads_together=7).grouping(kind) for kind in ("pack", "phase", "charge")} == {0.54}
    checked = design_harness(HAND, habits).leads[1].chosen
    assert checked is not None
    wire = next(each for each in standard_wires("awg") if each.name == checked.wire)
    bound = bounded_insulation(insulation("silicone"), 90.0)
    assert checked.current_limit_a == pytest.approx(0.7 * steady_current_limit_a(wire, bound, habits.air_c))


def test_the_charge_lead_has_a_fuse_of_its_own() -> None:
    """The charge lead hangs on the pack: behind the pack's 40 A alone, thin copper would burn before the fuse."""
    result = design_harness(HAND, Habits())
    charge = next(lead for lead in result.leads if lead.kind == "charge")
    assert result.charge_fuse is not None and result.fuse is not None and charge.chosen is not None
    assert result.charge_fuse.rating_a is not None
    assert 4.0 / 0.75 <= result.charge_fuse.rating_a <= charge.chosen.current_limit_a < (result.fuse.rating_a or 0.0)
    assert result.charge_fuse.short_circuit_a == pytest.approx(54.6 / 0.076)


@settings(deadline=None, max_examples=25)
@given(st.floats(3.0, 90.0), st.floats(1.0, 1.4), st.floats(1.0, 3.0))
def test_no_fuse_passes_wire_plug_or_strips(rms: float, lasting: float, peak: float) -> None:
    currents = dataclasses.replace(
        HAND, pack_rms_a=rms, pack_sustained_a=rms * lasting, pack_peak_a=rms * max(peak, lasting)
    )
    for strip in (Strip(strips=8, given=False), Strip(strips=8)):
        result = design_harness(currents, Habits(strip=strip))
        assert result.fuse is not None and result.connector is not None and result.strip is not None
        if result.fuse.rating_a is None:
            assert result.fuse.verdict == result.verdict == "stop"
            continue
        pack = result.leads[0]
        assert result.fuse.rating_a <= (pack.chosen or pack.tried[-1]).current_limit_a
        if result.connector.smallest_that_fits is not None:
            assert result.fuse.rating_a <= result.connector.current_limit_a
        stands = result.fuse.rating_a <= result.strip.fuse_limit_a
        assert stands or (not strip.given and result.strip.verdict == "look again")


@pytest.mark.parametrize(("allowed_a", "said"), [(None, False), (34.6, False), (34.7, True), (90.0, True)])
def test_what_the_controller_may_draw_is_told_where_it_blows_the_fuse(allowed_a: float | None, said: bool) -> None:
    """A fuse carries 1.1 times its rating for hours (ISO 8820, from memory); what is named then carries all of it."""
    result = design_harness(dataclasses.replace(HAND, controller_limit_a=allowed_a), Habits())
    assert result.fuse is not None and result.fuse.rating_a == 31.5
    assert ("full throttle elsewhere" in " ".join(view_text(view(result, pictures=False)).split())) is said
    if said:
        assert result.allowed is not None and result.allowed.fuse_a is not None
        assert result.allowed.fuse_a >= allowed_a / 0.75 > 31.5


def test_a_named_plug_bounds_the_fuse_and_a_proposed_one_stands_it() -> None:
    small = design_harness(HAND, Habits(connector="flat tab 6.3 mm"))
    assert small.fuse is not None and small.fuse.rating_a is None and "plug" in small.fuse.reason
    assert small.verdict == "stop"
    free = design_harness(HAND, Habits())
    assert free.fuse is not None and free.connector is not None and free.fuse.rating_a is not None
    assert free.connector.current_limit_a >= free.fuse.rating_a


def test_precharge_counts_the_build_s_own_standby_power(root: Path) -> None:
    """1.5 W at 54.6 V are 27 mA: on 390 ohm 10.7 V stand for good, a fifth of the pack."""
    loaded = load_build(root / "configs/longtail-belt.toml")
    currents = currents_of(loaded.build, loads_of(ride_of(loaded, None)))
    result = design_harness(currents, Habits(capacitance_uf=1000.0, standby_power_w=1.5)).precharge
    assert result is not None and result.verdict == "fine"
    assert result.standby_current_a == pytest.approx(1.5 / 54.6)
    assert result.resistor_ohm * 1.5 / 54.6 + 0.01 * 54.6 <= 0.05 * 54.6 + 0.05
    assert check_precharge(54.6, 1000.0, 390.0, standby_current_a=1.5 / 54.6).verdict == "stop"
    lazy = design_harness(currents, Habits(capacitance_uf=1000.0)).precharge
    assert lazy is not None and lazy.resistor_ohm > result.resistor_ohm


def test_joint_limits_that_no_lead_has_are_refused() -> None:
    with pytest.raises(RidesimError, match="joint_limit_c"):
        design_harness(HAND, Habits(joint_limit_c=300.0))


def test_the_course_of_the_ride_is_held_to_the_joints_too() -> None:
    """A burst that the rms over the whole ride hides: by silicone's 180 degC alone the thinner wire would pass."""
    time = np.arange(0.0, 3600.0, 2.0)
    burst = np.where(time < 300.0, 70.0, 0.0)
    rms = float(np.sqrt(np.mean(burst**2)))
    currents = dataclasses.replace(
        HAND, motor_rms_a=rms, motor_peak_a=70.0, time_s=time, pack_along_a=np.full_like(time, 5.0),
        motor_along_a=burst,
    )  # fmt: skip
    phase = next(lead for lead in design_harness(currents, Habits()).leads if lead.kind == "phase")
    assert phase.chosen is not None and phase.along is not None
    assert phase.along.peak_c <= 75.0 and "joints and sleeves stand 90 °C" in phase.along.reason
    thinner = [each for each in phase.tried if each.area_mm2 < phase.chosen.area_mm2 and each.verdict == "fine"]
    assert thinner  # the rms alone would have taken it


def test_a_phase_lead_s_course_takes_its_own_rms() -> None:
    """Each of three leads carries sqrt(2/3) of the DC-equivalent current: the same copper loss as two in series."""
    time = np.arange(0.0, 600.0, 1.0)
    course = np.full_like(time, 45.0)
    currents = dataclasses.replace(
        HAND, motor_peak_a=45.0, time_s=time, pack_along_a=course / 3.0, motor_along_a=course
    )
    leads = {lead.kind: lead for lead in design_harness(currents, Habits()).leads}
    phase, pack = leads["phase"].along, leads["pack"].along
    assert phase is not None and pack is not None
    assert phase.rms_current_a == pytest.approx(45.0 * (2.0 / 3.0) ** 0.5)
    assert pack.rms_current_a == pytest.approx(15.0)


def test_a_strip_that_nobody_stated_is_chosen_and_never_stops():
    """One cell a group and 45 A: nickel does not bear it, copper does; where none does, that is worth a look."""
    flows = Currents(40.0, 60.0, 5.0, 45.0, 0.0, 0.0, 0.0, 0.0, nominal_voltage_v=48.0, full_voltage_v=54.6)
    guess = Strip(length_mm=20.0, strips=6, given=False)
    copper = design_harness(flows, Habits(strip=guess)).strip
    assert copper is not None and copper.verdict == "fine"
    none = design_harness(flows, Habits(strip=dataclasses.replace(guess, strips=1))).strip
    assert none is not None and none.verdict == "look again" and "no usual strip" in none.reason
    named = design_harness(flows, Habits(strip=Strip(strips=1))).strip
    assert named is not None and named.verdict == "stop"


@pytest.mark.parametrize("motors", [1, 2])
def test_every_controller_has_its_capacitors_and_its_standby(root: Path, motors: int):
    keys = {"drive.motors": motors, "controller.capacitance_uf": 800.0, "controller.standby_power_w": 3.0}
    habits = habits_of(load_build(root / "configs/longtail-belt.toml", keys).build)
    assert (habits.capacitance_uf, habits.standby_power_w) == (800.0, 3.0)
    flows = dataclasses.replace(HAND, controllers=motors, controller_share=1.0 / motors)
    made = design_harness(flows, habits)
    assert made.precharge is not None
    assert made.precharge.resistor_energy_j == pytest.approx(0.5 * 800e-6 * 54.6**2)  # C V^2/2
    assert (made.shared_precharge is None) == (motors == 1)
    if made.shared_precharge is not None:
        assert made.shared_precharge.resistor_energy_j == pytest.approx(0.5 * 1600e-6 * 54.6**2)
        assert made.shared_precharge.standby_current_a == pytest.approx(2.0 * 3.0 / 54.6)


def test_two_controllers_have_leads_and_fuses_of_their_own() -> None:
    """Each is the lead of a single controller that draws half; the common lead, fuse and plug carry the sum."""
    two = design_harness(dataclasses.replace(HAND, controllers=2, controller_share=0.5), Habits())
    one = design_harness(HAND, Habits())
    half = dataclasses.replace(HAND, pack_rms_a=10.0, pack_peak_a=16.0, pack_sustained_a=11.0)
    single = design_harness(half, Habits(pack_length_m=0.3))
    lead = {each.kind: each for each in two.leads}
    assert [each.kind for each in one.leads] == ["pack", "phase", "charge"] and one.controller_fuse is None
    assert lead["pack"].chosen == one.leads[0].chosen and two.fuse == one.fuse and two.connector == one.connector
    chosen, alone = lead["controller"].chosen, single.leads[0].chosen
    assert chosen is not None and alone is not None
    assert (chosen.wire, chosen.drop_rms_v) == (alone.wire, pytest.approx(alone.drop_rms_v))
    assert two.controller_fuse == single.fuse and lead["phase"].load == one.leads[1].load


def test_a_controllers_lead_is_judged_by_its_own_half() -> None:
    """Rated for 90 degC joints: the thickest wire is enough for a half inside what it bears, not outside."""
    habits = Habits(controller_length_m=0.3, allowed_drop_percent=50.0)
    thickest = standard_wires("awg")[-1]
    jacket = bounded_insulation(insulation("silicone"), habits.joint_limit_c)
    bears = steady_current_limit_a(thickest, jacket, habits.air_c, grouping=habits.grouping("controller"))

    def branch(share: float) -> tuple[str, bool]:
        """Verdict of the controllers' leads at a share of what the wire bears, and whether one wire is enough."""
        amps = 2.0 * 0.74 * share * bears  # a fuse at 75 % load fits below what the wire bears
        flows = dataclasses.replace(HAND, pack_rms_a=amps, pack_peak_a=amps, pack_sustained_a=amps)
        made = design_harness(dataclasses.replace(flows, controllers=2, controller_share=0.5), habits)
        lead = next(each for each in made.leads if each.kind == "controller")
        return lead.verdict, lead.chosen is not None

    assert branch(0.70) == ("fine", True)
    assert branch(1.40)[1] is False and branch(1.40)[0] != "fine"


@pytest.mark.parametrize(("law", "share"), [("torque", 0.5), ("governor", 1.0), ("voltage", None)])
def test_unlike_motors_leave_the_harder_worked_one_more(root: Path, law: str, share: float | None):
    """Under the voltage law the currents lie omega K d/R apart (closed form); a governor may leave all to one."""
    keys = {"drive.kv_difference_percent": 4.0, "controller.throttle_law": law}
    loaded = load_build(root / "configs/longtail-two-motors.toml", keys)
    loads = loads_of(ride_of(loaded, None, 6.0, 2.0))
    motor = loaded.build.motor
    apart = 2 * np.pi / 60 * loads.top_motor_speed_rpm * 60 / (2 * np.pi * motor.kv_rpm_per_v) * 0.04
    expected = min(1.0, 0.5 + 0.25 * apart / (motor.resistance_mohm / 1e3) / loads.sustained_motor_current_a)
    flows = currents_of(loaded.build, loads)
    assert flows.controller_share == pytest.approx(expected if share is None else share)
    most = max(loaded.build.controller.pack_current_limit_a, flows.pack_peak_a / 2)
    assert flows.of_controller.peak_a == pytest.approx(min(flows.controller_share * flows.pack_peak_a, most))
    assert flows.motor_peak_a >= loads.peak_motor_current_a
    bound = loaded.build.controller.motor_current_limit_a * motor_scale(loaded.build)
    harder = min(2.0 * flows.controller_share * loads.rms_motor_current_a, bound)
    assert flows.motor_rms_a == pytest.approx(max(harder, loads.rms_motor_current_a))
    assert (flows.motor_rms_a > 1.01 * loads.rms_motor_current_a) is (law != "torque")


@pytest.mark.parametrize(("each_a", "said"), [(17.3, False), (17.4, True)])
def test_two_controllers_may_draw_twice_what_one_does(each_a: float, said: bool) -> None:
    """A fuse of 31.5 A carries 34.65 A for hours (1.1 times its rating, ISO 8820, from memory)."""
    flows = dataclasses.replace(HAND, controllers=2, controller_share=0.5, controller_limit_a=each_a)
    result = design_harness(flows, Habits())
    assert (result.allowed is not None) is said
    if result.allowed is not None:
        assert result.allowed.pack_current_a == pytest.approx(2.0 * each_a)


def test_what_is_named_for_any_road_is_what_such_a_current_asks_for() -> None:
    full = dataclasses.replace(HAND, pack_rms_a=60.0, pack_peak_a=60.0, pack_sustained_a=60.0)
    asked = design_harness(full, Habits())
    told = design_harness(dataclasses.replace(HAND, controller_limit_a=60.0), Habits()).allowed
    assert told is not None and asked.leads[0].chosen is not None and asked.fuse is not None
    assert (told.wire, told.fuse_a) == (asked.leads[0].chosen.wire, asked.fuse.rating_a)


def test_the_better_of_two_ways_to_pre_charge_is_judged() -> None:
    """One before each or one before both: the verdict is that of the one that is fine, else of each one's own."""
    fine, look = (SimpleNamespace(verdict=word) for word in ("fine", "look again"))
    assert _better(look, fine) is fine and _better(fine, look) is fine  # type: ignore[arg-type]
    assert _better(fine, None) is fine and _better(look, None) is look  # type: ignore[arg-type]


def test_what_is_there_once_for_each_of_two_controllers_is_called_so() -> None:
    habits = Habits(capacitance_uf=800.0)
    for controllers, share, parts in ((1, 1.0, ""), (2, 0.5, "half of it each"), (2, 0.7, "up to 70% of it")):
        flows = dataclasses.replace(HAND, controllers=controllers, controller_share=share)
        made = design_harness(flows, habits)
        words = " ".join(view_text(view(made, pictures=False)).split())
        own, shared = made.precharge, made.shared_precharge
        named = (
            f"pre-charge{' of each controller' if parts else ''}",
            "before both, where one main contact feeds them",
        )
        for name, one in zip(named, (own, shared), strict=True):
            if one is not None:
                assert f"{name}: {one.resistor_ohm:g} Ω {one.buy_w:g} W, {one.buy_kind}; {one.reason}" in words
        assert own is not None and (shared is None or shared.reason != own.reason)
        assert ("2 controllers:" in words) is bool(parts) and parts in words
        for name in ("Phase lead of each motor", "Lead of each controller", "Pre-charge of each controller"):
            assert (name.lower() in words.lower()) is bool(parts), name
        assert ("or one pre-charge before both" in words.lower()) is bool(parts)


def test_two_different_drives_have_leads_of_their_own_behind_what_both_share(root: Path, monkeypatch) -> None:
    """What both may draw is the sum of both limits; a drive's own lead is the short one; its trouble is the bike's."""
    loaded = load_build(root / "configs/longtail-two-drives.toml")
    ride = simulate(loaded, make_climb(150.0, 2.0))
    habits = dataclasses.replace(habits_of(loaded.build), pack_length_m=2.0, controller_length_m=0.4)
    made = harness_of_ride(ride, habits)
    assert [part.leads[0].load.length_m for part in made.drives] == [0.4, 0.4]
    assert made.leads[0].load.length_m == 2.0
    build, second = loaded.build, loaded.build.second
    assert second is not None and made.allowed is not None
    both = build.controller.pack_current_limit_a + second.controller.pack_current_limit_a
    assert made.allowed.pack_current_a == pytest.approx(both)
    calls: list[str] = []

    def second_stops(currents: Currents, habits: Habits, *rest: str) -> Harness:
        calls.append("part")
        found = design_harness(currents, habits, *rest)
        return dataclasses.replace(found, verdict="stop", reason="bare copper") if len(calls) == 2 else found

    monkeypatch.setattr("ridesim.workshop.wire.two_drives.design_harness", second_stops)
    stopped = harness_of_ride(ride, habits)
    assert (stopped.verdict, stopped.reason) == ("stop", "second drive: bare copper")


def test_strips_are_nickel_where_that_is_enough_and_bear_what_lasts() -> None:
    """Copper only where nickel, which is welded at home, is not enough; what lasts a minute or the rms, the larger."""
    easy = dataclasses.replace(HAND, pack_rms_a=5.0, pack_peak_a=8.0, pack_sustained_a=6.0)
    strip = design_harness(easy, Habits(strip=Strip(length_mm=20.0, strips=6, given=False))).strip
    assert strip is not None and (strip.metal, strip.verdict) == ("nickel", "fine")
    rises = []
    for rms, lasting in ((20.0, 30.0), (30.0, 20.0), (20.0, 20.0)):
        found = dataclasses.replace(HAND, pack_rms_a=rms, pack_peak_a=40.0, pack_sustained_a=lasting)
        made = design_harness(found, Habits(strip=Strip(strips=4))).strip
        assert made is not None
        rises.append(made.rise_k)
    assert rises[0] == rises[1] > 1.5 * rises[2]


def test_copper_for_a_ride_that_ended_early_is_looked_at_again() -> None:
    """What its end would have asked for nobody knows."""
    words = "the ride ended at 3.2 km"
    found = design_harness(dataclasses.replace(HAND, cut_short=words), Habits())
    assert (design_harness(HAND, Habits()).verdict, found.verdict) == ("fine", "look again")
    assert words in found.reason
