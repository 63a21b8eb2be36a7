"""Motor constants and losses against published machines; limits of magnets and insulation against their tables."""

from __future__ import annotations

import math
from typing import Any

import pytest

from ridesim.bike.schema import INSULATION_LIMIT_C, MAGNET_LIMIT_C
from ridesim.engine.params import parameters
from ridesim.evidence.motor import kv_of_flux
from ridesim.evidence.store import sheet, table
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb
from ridesim.units import to_si

from ..bikes import bike
from .rows import near, rows_of

BLY171D = sheet("motor.bly171d")
BLY171D_KV = 1000.0 / BLY171D.line_peak_v_per_1000_rpm


def torque_constant(kv: float) -> float:
    """Torque per DC-equivalent ampere at 20 degC as a ride uses it [N m/A]."""
    build = bike().build
    motor = build.motor.model_copy(update={"kv_rpm_per_v": kv})
    return parameters(build.model_copy(update={"motor": motor})).torque_constant


def held(changes: dict[str, Any], road_percent: float = 60.0) -> Ride:
    """Full throttle on a slope too steep to climb: the motor holds its current limit at no speed.

    The step is so short that the first row of the trace is still at the air's temperature.
    """
    keys = {"rider.power_w": 0.0, "controller.commutation": "sine", **changes}
    return simulate(
        bike(keys), make_climb(100.0, road_percent), throttle=1.0, step_s=1e-4, record_every_s=1e-4, time_limit_h=1e-4
    )


@pytest.mark.parametrize("amps", ["base", "rated"])
def test_torque_of_a_published_motor_per_amplitude(amps: str) -> None:
    """Row 5-2: 9.549/Kv would give 0.0363 and 0.0653 N m.

    Source: Motor Control Blockset documentation, getPMSMParameters and getSISystemParameters, motor BLY171D.
    """
    # The machine is too weak to start the bike, so torque per ampere is read at 80 A; it does not depend on current.
    ride = held({"motor.kv_rpm_per_v": BLY171D_KV, "motor.pole_pairs": BLY171D.pole_pairs})
    first = ride.trace.iloc[0]
    per_amp = (first["shaft_torque_nm"] + ride.params.tau_0) / first["motor_current_a"]
    assert first["motor_current_a"] == pytest.approx(80.0, rel=1e-12)
    if amps == "base":
        assert per_amp == near(BLY171D.torque_nm_per_a)
    else:
        assert per_amp * BLY171D.rated_current_a == near(BLY171D.rated_torque_nm)


def test_flux_linkage_of_a_published_motor_row_5_2() -> None:
    """Motor BLY171D, Motor Control Blockset documentation."""
    flux = torque_constant(BLY171D_KV) / (math.sqrt(3.0) * BLY171D.pole_pairs)
    assert flux == near(BLY171D.flux_linkage_wb)


def test_torque_per_rms_ampere_of_a_servo_motor_row_5_3() -> None:
    """1FT6084-8SH7 (maker's data quoted in a research repository); 3 % for its saturation."""
    servo = sheet("motor.servo")
    per_dc_amp = torque_constant(kv_of_flux(servo.flux_linkage_wb, servo.pole_pairs))
    per_rms = per_dc_amp * math.sqrt(0.75) * math.sqrt(2.0)
    assert per_rms == near(servo.closed_form_nm_per_a)
    assert per_rms == pytest.approx(servo.torque_nm_per_a, rel=0.031)


@rows_of("motor.torque_constants")
def test_two_torque_constants_of_one_motor(row: Any) -> None:
    ours = torque_constant(row.kv_rpm_per_v)
    assert ours == near(row.direct_nm_per_a)
    assert ours * math.sqrt(0.75) == near(row.amplitude_nm_per_a)


def test_copper_loss_of_40_a_of_amplitude_dq_theory_row_5_4() -> None:
    """Line to line, at 20 degC."""
    said = sheet("motor.forty_amperes")
    ride = held({"motor.kv_rpm_per_v": said.kv_rpm_per_v, "motor.resistance_mohm": said.resistance_mohm,
                 "controller.motor_current_limit_a": said.amplitude_a})  # fmt: skip
    first = ride.trace.iloc[0]
    assert first["copper_power_w"] == near(said.copper_loss_w)
    assert first["shaft_torque_nm"] + ride.params.tau_0 == near(said.torque_nm)


def test_six_step_reading_heats_a_third_more_and_pulls_15_percent_harder_row_0_1() -> None:
    """Trap 1: 9.5493/Kv with an amplitude would be 15.47 % too much torque, and 4/3 of the copper loss."""
    sine, six = (held({"controller.commutation": kind}).trace.iloc[0] for kind in ("sine", "six_step"))
    tau_0 = held({}).params.tau_0
    assert (six["shaft_torque_nm"] + tau_0) / (sine["shaft_torque_nm"] + tau_0) == near(
        sheet("motor.six_step").more_torque
    )
    assert six["copper_power_w"] / sine["copper_power_w"] == pytest.approx(
        4.0 / 3.0, rel=1e-5
    )  # both warm a little in 0.1 ms


def test_voltage_of_a_sine_driven_machine_row_5_5_machine_data_from_memory() -> None:
    """At id = 0: the dq equations against the DC-equivalent form."""
    m = sheet("motor.salient_machine")
    amps, inductance, electrical = m.amplitude_a, m.quadrature_inductance_h, 2.0 * math.pi * m.electrical_frequency_hz
    along = electrical * m.flux_linkage_wb + m.phase_ohm * amps
    dq = math.sqrt(3.0) * math.hypot(along, electrical * inductance * amps)
    constant = torque_constant(kv_of_flux(m.flux_linkage_wb, m.pole_pairs))
    dc = amps * math.sqrt(0.75)
    assert constant * dc == pytest.approx(m.torque_nm, abs=5e-4)
    along = constant * electrical / m.pole_pairs + dc * 2.0 * m.phase_ohm
    assert math.hypot(along, electrical * 2.0 * inductance * dc) == pytest.approx(dq, rel=1e-9)
    assert dc**2 * 2.0 * m.phase_ohm == pytest.approx(m.copper_loss_w, abs=5e-3)


def test_magnets_weaken_row_5_8b() -> None:
    """At 100 degC 9.6 % less torque per ampere; here from 20 to 50 degC."""
    share = sheet("motor.magnets").coefficient_percent_per_k
    torque = []
    for celsius in (20.0, 50.0):
        ride = held({"weather.temperature_c": celsius, "motor.magnet_coefficient_percent_per_k": share})
        torque.append(ride.trace.iloc[0]["shaft_torque_nm"] + ride.params.tau_0)
    assert torque[1] / torque[0] == pytest.approx(1.0 + to_si(share, "percent_per_k") * 30.0, abs=1e-5)


@rows_of("motor.insulation")
def test_thermal_classes(row: Any) -> None:
    assert INSULATION_LIMIT_C[row.letter] == row.limit_c


@rows_of("motor.magnet_grades")
def test_magnet_grades(row: Any) -> None:
    assert MAGNET_LIMIT_C[row.grade] == row.limit_c


IN_AIR = [(row.temperature_c, row.factor_to_20) for row in table("motor.copper").rows if row.temperature_c <= 40.0]


@pytest.mark.parametrize(
    ("celsius", "factor"),
    [*IN_AIR, (40.0, (234.5 + 40.0) / 254.5)],
    ids=lambda value: f"IEC-60028-1925-{value:g}",
)
def test_copper_loss_with_temperature(celsius: float, factor: float) -> None:
    """A motor that starts at the air's temperature: its first loss over I2 R20. 3e-5 between the two IEC forms."""
    ride = held({"weather.temperature_c": celsius, "motor.magnet_coefficient_percent_per_k": 0.0})
    amps = 80.0 * math.sqrt(0.75)
    assert ride.trace.iloc[0]["copper_power_w"] / (amps**2 * 0.030) == pytest.approx(factor, abs=4e-5)
