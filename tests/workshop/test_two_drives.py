"""A year of a bike of two different drives: its days are the ride's, two alike drives live as two motors do."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ridesim.bike.load import load_build, replace_keys
from ridesim.errors import BuildError
from ridesim.ride.drives import each_drive
from ridesim.ride.limits import STOP
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb
from ridesim.road.turned import turned_round
from ridesim.workshop.asked import belt, mount, rewind
from ridesim.workshop.season.air import constant_year
from ridesim.workshop.season.plan import plan_for
from ridesim.workshop.season.season import Season, season
from ridesim.workshop.season.worth import changes
from ridesim.workshop.winding.motor import Winding
from ridesim.workshop.winding.ridden import with_winding

from ..bikes import CONFIGS, twice

HILL, NEAR = make_climb(800.0, 5.0), 2e-3
DEMO = CONFIGS / "longtail-two-drives.toml"


def year_of(loaded, **options) -> Season:
    """A year of Mondays at 15 degC."""
    plan = replace(plan_for(loaded), weekdays=(0,))
    return season(loaded, HILL, constant_year(15.0), plan=plan, **{"years": 0} | options)


def test_a_day_is_the_ride_out_and_back():
    demo = load_build(DEMO)
    told = year_of(demo)
    leg = told.days[0].legs[0]
    cold = replace_keys(demo, {"weather.temperature_c": 15.0, "pack.start_temperature_c": leg.pack_start_c,
                               "pack.start_charge_fraction": leg.charge_start})  # fmt: skip
    out = simulate(cold, HILL)
    assert leg.net_wh == pytest.approx(out.figures.net_energy_wh, rel=NEAR)
    hotter = max(each.figures.peak_winding_temp_c for each in each_drive(out))
    assert leg.peak_winding_temp_c == pytest.approx(hotter, rel=NEAR)
    home = simulate(replace_keys(cold, {"pack.start_charge_fraction": told.days[0].legs[1].charge_start}),
                    turned_round(HILL))  # fmt: skip
    assert told.days[0].legs[1].net_wh == pytest.approx(home.figures.net_energy_wh, abs=0.05)
    low, high = told.spans[0].net_wh
    assert low < told.days[0].net_wh < high and told.spans[0].draws == 64
    gentler = changes(told.commute)["gentler_limits"][1].build
    assert gentler.second.controller.motor_current_limit_a == pytest.approx(0.75 * 35.0)


def test_the_second_winding_stops_its_days():
    """A second winding of class B (130 degC, IEC 60085) that gets hot; the first one stays far below its own limit."""
    hot = {"second.motor.insulation_class": "B", "second.motor.winding_heat_capacity_j_per_k": 20.0,
           "second.motor.winding_to_body_w_per_k": 0.1, "second.controller.motor_full_current_below_c": 230.0,
           "second.controller.motor_no_current_above_c": 240.0}  # fmt: skip
    told = year_of(replace_keys(load_build(DEMO), hot), quick=True)
    assert told.verdict == STOP and set(told.passed) == {"winding"}
    assert told.passed["winding"] == len(told.days)


def test_two_alike_drives_live_as_two_motors():
    one, written = (year_of(each, quick=True, years=1) for each in twice("longtail-two-stage.toml"))
    assert written.verdict == one.verdict and written.looked == one.looked
    for mine, theirs in zip(written.worst.legs, one.worst.legs, strict=True):
        for name in ("time_s", "net_wh", "charge_end", "pack_end_c", "peak_winding_temp_c", "rms_pack_current_a"):
            assert getattr(mine, name) == pytest.approx(getattr(theirs, name), rel=NEAR, abs=0.02), name
    mine, theirs = written.years.rows[-1], one.years.rows[-1]
    assert mine.capacity_left_fraction == pytest.approx(theirs.capacity_left_fraction, rel=NEAR)


def test_belts_and_mount_are_asked_of_one_drive():
    """Of two alike drives each bears what one motor of two alike ones bears by its own stages; which one is named."""
    one, written = twice("longtail-two-stage.toml")
    with pytest.raises(BuildError, match="--drive 1 or --drive 2"):
        belt(written, HILL)
    found = [belt(written, HILL, drive=number) for number in (1, 2)]
    assert found[0].stages[0].torque_nm == pytest.approx(found[1].stages[0].torque_nm, rel=NEAR)
    ride = simulate(written, HILL)
    own = each_drive(ride)[1].figures
    assert found[1].stages[0].torque_nm == pytest.approx(
        max(own.peak_shaft_torque_nm, own.peak_brake_torque_nm), rel=NEAR
    )
    assert [each.verdict for each in found[0].stages] == [each.verdict for each in found[1].stages]
    with pytest.raises(BuildError, match="there is no drive 3"):
        belt(written, HILL, drive=3)
    with pytest.raises(BuildError, match="there is no drive 2"):
        belt(one, HILL, drive=2)
    for begin, number in (("", 1), ("second.", 2)):  # each has keys of its own
        stated = {f"{begin}mount.joint.kind": "clamp", f"{begin}motor.shaft_diameter_mm": 12.0}
        stated |= {f"{begin}mount.shaft_material": "alloy_steel", f"{begin}mount.belt_overhang_mm": 20.0}
        own, other = (mount(replace_keys(written, stated), HILL, drive=each) for each in (number, 3 - number))
        assert [part.name for part in own.parts][:2] == [
            "motor shaft",
            "pulley on the motor's shaft",
        ] and not other.parts
        assert not any(part.estimated for part in own.parts[:1])
        begun = "" if begin else "second."
        assert f"[{begun}mount] and {begun}motor.shaft_diameter_mm" in other.reasons[0]
        assert f"give {begun}mount.joint.kind and {begun}motor.shaft_diameter_mm" in " ".join(other.unstated)
    bolts = {"second.mount.wheel_pulley.bolts": 6, "second.mount.wheel_pulley.tightening_nm": 150.0}
    with pytest.raises(BuildError, match=r"second\.mount\.tightening_nm"):
        mount(replace_keys(written, bolts), HILL, drive=2)
    with pytest.raises(BuildError, match=r"second\.mount\.bracket\.holes_mm|second\.mount\.bracket"):
        replace_keys(written, {"second.mount.bracket.holes_mm": 100.0})
    with pytest.raises(BuildError, match="no stage of kind belt"):
        belt(DEMO, HILL, drive=2)  # its stage is a gear in the hub


def test_a_winding_of_the_second_motor_is_ridden_beside_the_first():
    """Another Kv for the small motor in front: the ride with it, its own heat, and the first motor as it is."""
    demo = load_build(DEMO)
    with pytest.raises(BuildError, match="--drive 1 or --drive 2"):
        rewind(demo, Winding(10, 3, 0.7, "star"), teeth=12, road=HILL)
    plan = rewind(demo, Winding(10, 3, 0.7, "star"), Winding(12, 3, 0.6, "star"), teeth=12, road=HILL, drive=2)
    assert plan.today.kv_rpm_per_v == 44.0 and plan.new.kv_rpm_per_v == pytest.approx(44.0 * 10.0 / 12.0)
    wound = with_winding(demo, plan.new.kv_rpm_per_v, plan.new.resistance_mohm, 2)
    assert wound.build.motor == demo.build.motor
    assert wound.build.second.motor.kv_rpm_per_v == plan.new.kv_rpm_per_v
    second = each_drive(simulate(wound, HILL))[1].figures
    assert plan.new_ridden.peak_winding_temp_c == pytest.approx(second.peak_winding_temp_c, rel=NEAR)
    assert plan.new_ridden.motor_current_limit_a == 35.0
