"""Rewinding: scaling laws, fill, currents, the inverse, senseless input."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from ridesim.errors import RidesimError
from ridesim.workshop.winding import motor as wound_motor
from ridesim.workshop.winding import rewind as winding
from ridesim.workshop.winding.joining import PHASE_SHIFT_DEG, joining_lines
from ridesim.workshop.winding.motor import Connection, Winding, WoundMotor

TODAY = Winding(turns=6, strands=10, wire_diameter_mm=0.5, connection="delta")
MOTOR = WoundMotor(TODAY, 160.0, 14.0, teeth=12, slot_area_mm2=60.0, mean_turn_length_mm=110.0)

connections = st.sampled_from(["star", "delta"])


def test_the_same_winding_changes_nothing() -> None:
    same = winding.rewind(MOTOR, TODAY)
    assert same.kv_rpm_per_v == pytest.approx(160.0)
    assert same.resistance_mohm == pytest.approx(14.0)
    assert (same.heat_ratio, same.copper_area_ratio) == pytest.approx((1.0, 1.0))


def test_delta_to_star_divides_kv_by_root_three_and_triples_resistance() -> None:
    star = winding.rewind(MOTOR, dataclasses.replace(TODAY, connection="star"))
    assert star.kv_rpm_per_v == pytest.approx(160.0 / math.sqrt(3.0))
    assert star.resistance_mohm == pytest.approx(3.0 * 14.0)
    assert star.heat_ratio == pytest.approx(1.0)


@given(st.integers(1, 40), st.integers(1, 60), st.floats(0.2, 1.5), connections, st.sampled_from([1, 2, 4]))
def test_heat_at_a_torque_depends_on_the_copper_alone(
    turns: int, strands: int, diameter: float, connection: Connection, paths: int
) -> None:
    new = Winding(turns, strands, diameter, connection, paths)
    result = winding.rewind(MOTOR, new, sustained_torque_nm=3.0)
    old = winding.rewind(MOTOR, TODAY, sustained_torque_nm=3.0)
    assert result.copper_loss_w is not None and old.copper_loss_w is not None
    assert result.copper_loss_w * result.copper_area_ratio == pytest.approx(old.copper_loss_w, rel=1e-9)
    assert result.heat_ratio * result.copper_area_ratio == pytest.approx(1.0, rel=1e-9)


@given(st.integers(1, 20), st.integers(2, 5), connections)
def test_equal_copper_fill_means_equal_heat_and_density(strands: int, factor: int, connection: Connection) -> None:
    few = winding.rewind(MOTOR, Winding(4, strands * factor, 0.4, connection), 2.0)
    many = winding.rewind(MOTOR, Winding(4 * factor, strands, 0.4, connection), 2.0)
    assert many.kv_rpm_per_v == pytest.approx(few.kv_rpm_per_v / factor)
    assert many.resistance_mohm == pytest.approx(few.resistance_mohm * factor**2)
    assert many.copper_loss_w == pytest.approx(few.copper_loss_w)
    assert many.current_density_a_per_mm2 == pytest.approx(few.current_density_a_per_mm2)
    assert many.slot_fill == pytest.approx(few.slot_fill)
    assert many.copper_mass_kg == pytest.approx(few.copper_mass_kg)


@given(st.integers(1, 30), st.integers(1, 30), connections, st.sampled_from([1, 2, 4]))
def test_density_and_copper_volume_give_the_same_loss_as_resistance(
    turns: int, strands: int, connection: Connection, paths: int
) -> None:
    """rho J^2 V over all copper equals I^2 R when R is the wire's own resistance."""
    new = Winding(turns, strands, 0.5, connection, paths)
    resistance = wound_motor.resistance_from_length_mohm(MOTOR, new)
    assert resistance is not None and MOTOR.mean_turn_length_mm is not None
    density = wound_motor.wire_current_a(25.0, new) / new.conductor_area_mm2
    volume_m3 = MOTOR.coils * new.copper_area_mm2 * MOTOR.mean_turn_length_mm * 1e-9
    loss = wound_motor.COPPER_RESISTIVITY_OHM_M * (density * 1e6) ** 2 * volume_m3
    assert 25.0**2 * resistance * 1e-3 == pytest.approx(loss, rel=1e-9)


def test_rms_factor_holds_for_six_step_blocks_and_for_a_sine() -> None:
    angle = (np.arange(360_000) + 0.5) * 2.0 * np.pi / 360_000
    line_a = np.select([angle % (2 * np.pi) < 2 * np.pi / 3, (angle > np.pi) & (angle < 5 * np.pi / 3)], [1.0, -1.0])
    assert np.sqrt(np.mean(line_a**2)) == pytest.approx(wound_motor.RMS_PER_DC_EQUIVALENT, rel=1e-4)
    sine_amplitude = 2.0 / math.sqrt(3.0)
    assert sine_amplitude / math.sqrt(2.0) == pytest.approx(wound_motor.RMS_PER_DC_EQUIVALENT, rel=1e-12)


def test_fill_and_mass_by_hand() -> None:
    result = winding.rewind(MOTOR, TODAY)
    wire_mm2 = math.pi / 4.0 * 0.25
    assert result.slot_fill == pytest.approx(2.0 * 6 * 10 * wire_mm2 / 60.0)
    assert result.copper_mass_kg == pytest.approx(12 * 6 * 10 * wire_mm2 * 110.0 * 8.89e-6)


def test_every_other_tooth_wound_puts_one_coil_side_in_a_slot() -> None:
    alternate = dataclasses.replace(MOTOR, wound_teeth=6)
    full, half = winding.rewind(MOTOR, TODAY), winding.rewind(alternate, TODAY)
    assert full.slot_fill is not None and half.slot_fill is not None
    assert half.slot_fill == pytest.approx(full.slot_fill / 2.0)


@pytest.mark.parametrize(
    ("strands", "torque_nm", "verdict", "says"),
    [
        (8, 1.0, "fine", "fits"),
        (11, 1.0, "look again", "slot fill 0.43"),
        (10, 0.5, "fine", "fits"),
        (12, 1.0, "look again", "slot fill 0.47: hands reach"),
        (13, 1.0, "look again", "slot fill 0.51: round wire by hand hardly reaches"),
        (19, 1.0, "look again", "slot fill 0.75"),
        (21, 1.0, "stop", "slot fill 0.82"),
        (8, 1.2, "look again", "3 to 6 is usual"),
        (8, 20.0, "look again", "name a BUILD, and its ride judges the heat"),
    ],
)
def test_verdicts(strands: int, torque_nm: float, verdict: str, says: str) -> None:
    # A measured resistance near the wire's own, so that only fill and density speak.
    own = wound_motor.resistance_from_length_mohm(MOTOR, TODAY)
    assert own is not None
    motor = dataclasses.replace(MOTOR, resistance_mohm=own)
    result = winding.rewind(motor, dataclasses.replace(TODAY, strands=strands), torque_nm)
    assert (result.verdict, says in result.reason) == (verdict, True), result.reason


@pytest.mark.parametrize(
    ("density", "verdict", "says"),
    [(5.95, "fine", "fits"), (6.05, "look again", "is usual"), (9.95, "look again", "is usual"),
     (10.05, "look again", "short bursts")],
)  # fmt: skip
def test_density_just_inside_and_just_outside(density: float, verdict: str, says: str) -> None:
    motor, thin = dataclasses.replace(MOTOR, mean_turn_length_mm=None), dataclasses.replace(TODAY, strands=8)
    one = winding.rewind(motor, thin, 1.0).current_density_a_per_mm2
    assert one is not None
    found = winding.rewind(motor, thin, density / one)
    assert found.current_density_a_per_mm2 == pytest.approx(density)
    assert (found.verdict, says in found.reason) == (verdict, True), found.reason


@pytest.mark.parametrize(
    ("factor", "verdict"), [(1.29, "fine"), (1.31, "look again"), (0.71, "fine"), (0.69, "look again")]
)
def test_todays_resistance_against_its_wire(factor: float, verdict: str) -> None:
    own = wound_motor.resistance_from_length_mohm(MOTOR, TODAY)
    assert own is not None
    thin = dataclasses.replace(TODAY, strands=8)
    assert winding.rewind(dataclasses.replace(MOTOR, resistance_mohm=factor * own), thin).verdict == verdict


def test_a_ride_silences_the_rule_of_thumb_on_density() -> None:
    thin = dataclasses.replace(TODAY, strands=8)
    motor = dataclasses.replace(MOTOR, mean_turn_length_mm=None)
    assert winding.rewind(motor, thin, 20.0).verdict == "look again"
    assert winding.rewind(motor, thin, 20.0, ridden=True).verdict == "fine"


def test_joining_the_leads_another_way() -> None:
    star, delta = dataclasses.replace(TODAY, connection="star"), TODAY
    to_delta, to_star = joining_lines(star, delta, pole_pairs=7), joining_lines(delta, star)
    # 30 electrical degrees over 7 pole pairs are 4.3 of the shaft.
    assert "30 electrical degrees, 4.3° of the shaft at 7 pole pairs" in to_delta[0]
    assert "30 electrical degrees:" in to_star[0]
    assert any("open corner" in line for line in to_delta) and any("closed ring" in line for line in to_delta)
    assert not any("ring" in line for line in to_star) and any("star point" in line for line in to_star)
    # A new delta has its ring to mind, and no shift; a new star has neither.
    assert not any("shift" in line for line in joining_lines(delta, delta))
    assert any("open corner" in line for line in joining_lines(delta, delta))
    assert joining_lines(star, star) == ()
    assert all("(common practice)" in line for line in (*to_delta, *to_star))


def test_line_voltages_of_star_and_delta_are_30_degrees_apart() -> None:
    """Closed form: phase voltages 1, a, a^2; a delta's line is a phase, a star's the difference of two."""
    phases = np.exp(-2j * np.pi * np.arange(3) / 3.0)
    shift = np.degrees(np.angle((phases[0] - phases[1]) / phases[0]))
    assert shift == pytest.approx(PHASE_SHIFT_DEG)
    # One phase the wrong way round leaves twice a phase's voltage across the open corner; right, none.
    assert abs(phases.sum()) == pytest.approx(0.0, abs=1e-12)
    assert abs(phases[0] + phases[1] - phases[2]) == pytest.approx(2.0)


def test_a_measured_resistance_far_from_the_wire_is_looked_at_again() -> None:
    own = wound_motor.resistance_from_length_mohm(MOTOR, TODAY)
    assert own is not None
    thin = dataclasses.replace(TODAY, strands=8)
    result = winding.rewind(dataclasses.replace(MOTOR, resistance_mohm=2.0 * own), thin)
    assert (result.verdict, "count it again" in result.reason) == ("look again", True)


def test_more_copper_than_today_is_doubted_where_the_slot_is_unknown() -> None:
    unknown = WoundMotor(TODAY, 160.0, 14.0, teeth=12)
    assert winding.rewind(unknown, dataclasses.replace(TODAY, strands=12)).verdict == "look again"
    less = winding.rewind(unknown, dataclasses.replace(TODAY, strands=9))
    assert (less.verdict, less.slot_fill, less.copper_mass_kg) == ("fine", None, None)
    assert winding.rewind(unknown, TODAY).verdict == "fine"


def test_ends_of_the_allowed_ranges_are_allowed() -> None:
    assert wound_motor.wire_diameter_of_gauge_mm(0) > wound_motor.wire_diameter_of_gauge_mm(44) > 0.0
    assert winding.windings_for_kv(MOTOR, 160.0, 0.5, max_slot_fill=winding.HIGHEST_SLOT_FILL)


@given(st.floats(40.0, 300.0))
def test_candidates_are_whole_fit_and_are_sorted(wanted: float) -> None:
    found = winding.windings_for_kv(MOTOR, wanted, 0.4, max_kv_error_percent=30.0)
    misses = [abs(one.kv_error_percent) for one in found]
    assert misses == sorted(misses)
    for one in found:
        fill, wound = one.result.slot_fill, one.result.winding
        assert fill is not None and fill <= winding.USUAL_SLOT_FILL * (1.0 + 1e-9)
        one_more = winding.rewind(MOTOR, dataclasses.replace(wound, strands=wound.strands + 1)).slot_fill
        assert one_more is not None and one_more > winding.USUAL_SLOT_FILL
        assert 100.0 * (one.result.kv_rpm_per_v / wanted - 1.0) == pytest.approx(one.kv_error_percent, abs=1e-9)


@given(st.integers(2, 30), connections)
def test_no_whole_turn_winding_is_nearer_than_the_first_candidate(turns: int, connection: Connection) -> None:
    exact = winding.rewind(MOTOR, Winding(turns, 1, 0.2, connection)).kv_rpm_per_v
    assume(winding.rewind(MOTOR, Winding(turns, 1, 0.2, connection)).slot_fill <= 0.4)  # type: ignore[operator]
    first = winding.windings_for_kv(MOTOR, exact, 0.2)[0]
    assert first.kv_error_percent == pytest.approx(0.0, abs=1e-9)
    assert (first.result.winding.turns, first.result.winding.connection) == (turns, connection)


def test_todays_winding_is_found_where_the_slot_is_unknown() -> None:
    unknown = WoundMotor(TODAY, 160.0, 14.0, teeth=12)
    assert TODAY in [one.result.winding for one in winding.windings_for_kv(unknown, 160.0, 0.5)]


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: Winding(0, 1, 0.5, "star"), r"turns: must be .*got 0"),
        (lambda: Winding(5, 1.5, 0.5, "star"), r"strands: must be .*got 1.5"),  # type: ignore[arg-type]
        (lambda: Winding(5, 1, math.nan, "star"), r"wire_diameter_mm: must be .*got nan"),
        (lambda: Winding(5, 1, 0.5, "wye"), "'wye'"),  # type: ignore[arg-type]
        (lambda: WoundMotor(TODAY, -1.0, 14.0, 12), r"kv_rpm_per_v: must be .*got -1"),
        (lambda: WoundMotor(TODAY, 160.0, 14.0, 13), "13 wound of 13"),
        (lambda: WoundMotor(TODAY, 160.0, 14.0, 12, wound_teeth=15), "15 wound of 12"),
        (lambda: WoundMotor(TODAY, 160.0, 14.0, 12, slot_area_mm2=0.0), r"slot_area_mm2: must be .*got 0"),
        (lambda: winding.rewind(MOTOR, Winding(5, 1, 0.5, "star", 3)), "parallel_paths = 3"),
        (lambda: winding.rewind(MOTOR, TODAY, 0.0), r"sustained_torque_nm: must be .*got 0"),
        (lambda: winding.windings_for_kv(MOTOR, 160.0, 0.5, max_slot_fill=0.9), "max_slot_fill = 0.9"),
        (lambda: winding.windings_for_kv(MOTOR, 1.0, 3.0), "no whole turns"),
        (lambda: wound_motor.wire_diameter_of_gauge_mm(50), "AWG 50"),
        (lambda: wound_motor.wire_diameter_of_gauge_mm(math.nan), "AWG nan"),  # type: ignore[arg-type]
    ],
)
def test_senseless_windings_are_refused_in_one_line(call: object, says: str) -> None:
    assert callable(call)
    with pytest.raises(RidesimError, match=says) as caught:
        call()
    assert str(caught.value).count("\n") == 0
