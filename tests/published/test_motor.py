"""Motor constants and losses against published machines; limits of magnets and insulation against their tables."""

from __future__ import annotations

import math
from typing import Any

import pytest

from ridesim.bike.schema import INSULATION_LIMIT_C, MAGNET_LIMIT_C
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_flat

from ..bikes import bike


def kv_of_flux(flux_wb: float, pole_pairs: int) -> float:
    """Kv [rpm/V], line to line, peak, of a flux linkage: lambda = 60/(2 pi sqrt(3) Kv p)."""
    return 60.0 / (2.0 * math.pi * math.sqrt(3.0) * flux_wb * pole_pairs)


def torque_constant(kv: float) -> float:
    """Torque per DC-equivalent ampere at 20 degC as a ride uses it [N m/A]."""
    return simulate(bike({"motor.kv_rpm_per_v": kv}), make_flat(20.0), trace=False).params.torque_constant


def held(changes: dict[str, Any], road_percent: float = 60.0) -> Ride:
    """Full throttle on a slope too steep to climb: the motor holds its current limit at no speed.

    The step is so short that the first row of the trace is still at the air's temperature.
    """
    keys = {"rider.power_w": 0.0, "controller.commutation": "sine", **changes}
    return simulate(
        bike(keys), make_climb(100.0, road_percent), throttle=1.0, step_s=1e-4, record_every_s=1e-4, time_limit_h=1e-4
    )


@pytest.mark.parametrize(
    ("current", "torque"), [(1.0, 0.0314), (1.8, 0.0566)], ids=["BLY171D-T_base", "BLY171D-T_rated"]
)
def test_torque_of_a_published_motor_per_amplitude(current: float, torque: float) -> None:
    """Row 5-2: 3.8 V peak line to line per 1000 rpm, 4 pole pairs. 9.549/Kv would give 0.0363 and 0.0653 N m.

    Source: Motor Control Blockset documentation, getPMSMParameters and getSISystemParameters, motor BLY171D.
    """
    # The machine is too weak to start the bike, so torque per ampere is read at 80 A; it does not depend on current.
    ride = held({"motor.kv_rpm_per_v": 1000.0 / 3.8, "motor.pole_pairs": 4})
    first = ride.trace.iloc[0]
    per_amp = (first["shaft_torque_nm"] + ride.params.tau_0) / first["motor_current_a"]
    assert first["motor_current_a"] == pytest.approx(80.0, rel=1e-12)
    assert per_amp * current == pytest.approx(torque, abs=5e-5)


def test_flux_linkage_of_a_published_motor_row_5_2() -> None:
    """Motor BLY171D, Motor Control Blockset documentation: lambda 0.0052 Wb."""
    assert torque_constant(1000.0 / 3.8) / (math.sqrt(3.0) * 4) == pytest.approx(0.0052, abs=5e-5)


def test_torque_per_rms_ampere_of_a_servo_motor_row_5_3() -> None:
    """1FT6084-8SH7 (maker's data quoted in a research repository): 1.01 N m per A rms; 3 % for its saturation."""
    per_dc_amp = torque_constant(kv_of_flux(0.12258, 4))
    assert per_dc_amp * math.sqrt(0.75) * math.sqrt(2.0) == pytest.approx(1.0401, abs=5e-5)
    assert per_dc_amp * math.sqrt(0.75) * math.sqrt(2.0) == pytest.approx(1.01, rel=0.031)


@pytest.mark.parametrize(
    ("kv", "per_dc", "per_amplitude"),
    [(100.0, 0.0954930, 0.0826993), (170.0, 0.0561723, 0.0486467), (192.0, 0.0497359, 0.0430726),
     (245.0, 0.0389767, 0.0337548)],
    ids=lambda value: f"dq-theory-row-5-4b-{value}",
)  # fmt: skip
def test_two_torque_constants_of_one_motor(kv: float, per_dc: float, per_amplitude: float) -> None:
    constant = torque_constant(kv)
    assert constant == pytest.approx(per_dc, abs=5e-8)
    assert constant * math.sqrt(0.75) == pytest.approx(per_amplitude, abs=5e-8)


def test_copper_loss_of_40_a_of_amplitude_dq_theory_row_5_4() -> None:
    """Kv 192, 40 mohm line to line: 40 A of amplitude make 1.722903 N m and 48.000 W in the copper at 20 degC."""
    ride = held({"motor.kv_rpm_per_v": 192.0, "motor.resistance_mohm": 40.0, "controller.motor_current_limit_a": 40.0})
    first = ride.trace.iloc[0]
    assert first["copper_power_w"] == pytest.approx(48.000, abs=5e-4)
    assert first["shaft_torque_nm"] + ride.params.tau_0 == pytest.approx(1.722903, abs=5e-7)


def test_six_step_reading_heats_a_third_more_and_pulls_15_percent_harder_row_0_1() -> None:
    """Trap 1: 9.5493/Kv with an amplitude would be 15.47 % too much torque, and 4/3 of the copper loss."""
    sine, six = (held({"controller.commutation": kind}).trace.iloc[0] for kind in ("sine", "six_step"))
    tau_0 = held({}).params.tau_0
    assert (six["shaft_torque_nm"] + tau_0) / (sine["shaft_torque_nm"] + tau_0) == pytest.approx(1.1547, abs=5e-5)
    assert six["copper_power_w"] / sine["copper_power_w"] == pytest.approx(
        4.0 / 3.0, rel=1e-5
    )  # both warm a little in 0.1 ms


def test_voltage_of_a_sine_driven_machine_row_5_5_machine_data_from_memory() -> None:
    """p 3, Rs 3.6 ohm, Lq 51 mH, 0.545 Wb, 6.0811 A at id = 0: the dq equations against the DC-equivalent form."""
    flux, pairs, phase_ohms, inductance, amps = 0.545, 3, 3.6, 0.051, 6.0811
    electrical = 2.0 * math.pi * 75.0
    dq = math.sqrt(3.0) * math.hypot(electrical * flux + phase_ohms * amps, electrical * inductance * amps)
    constant = torque_constant(kv_of_flux(flux, pairs))
    dc = amps * math.sqrt(0.75)
    assert constant * dc == pytest.approx(14.91394, abs=5e-4)
    along = constant * electrical / pairs + dc * 2.0 * phase_ohms
    assert math.hypot(along, electrical * 2.0 * inductance * dc) == pytest.approx(dq, rel=1e-9)
    assert dc**2 * 2.0 * phase_ohms == pytest.approx(199.692, abs=5e-3)


def test_magnets_weaken_row_5_8b() -> None:
    """-0.12 %/K (makers' chart): at 100 degC 0.904 of the flux, so 9.6 % less torque per ampere."""
    torque = []
    for celsius in (20.0, 50.0):
        ride = held({"weather.temperature_c": celsius, "motor.magnet_coefficient_percent_per_k": -0.12})
        torque.append(ride.trace.iloc[0]["shaft_torque_nm"] + ride.params.tau_0)
    assert torque[1] / torque[0] == pytest.approx(1.0 - 0.0012 * 30.0, abs=1e-5)


@pytest.mark.parametrize(
    ("letter", "celsius"),
    [("A", 105), ("E", 120), ("B", 130), ("F", 155), ("H", 180), ("N", 200), ("R", 220)],
    ids=lambda value: f"IEC-60085-2007-table-1-{value}",
)
def test_thermal_classes(letter: str, celsius: int) -> None:
    assert INSULATION_LIMIT_C[letter] == celsius


@pytest.mark.parametrize(
    ("grade", "celsius"),
    [("plain", 80), ("M", 100), ("H", 120), ("SH", 150), ("UH", 180), ("EH", 200)],
    ids=lambda value: f"makers-charts-no-standard-{value}",
)
def test_magnet_grades(grade: str, celsius: int) -> None:
    assert MAGNET_LIMIT_C[grade] == celsius


@pytest.mark.parametrize(
    ("celsius", "factor"),
    [(25.0, 1.01965), (-10.0, 0.88212), (40.0, (234.5 + 40.0) / 254.5)],
    ids=lambda value: f"IEC-60028-1925-{value:g}",
)
def test_copper_loss_with_temperature(celsius: float, factor: float) -> None:
    """A motor that starts at the air's temperature: its first loss over I2 R20. 3e-5 between the two IEC forms."""
    ride = held({"weather.temperature_c": celsius, "motor.magnet_coefficient_percent_per_k": 0.0})
    amps = 80.0 * math.sqrt(0.75)
    assert ride.trace.iloc[0]["copper_power_w"] / (amps**2 * 0.030) == pytest.approx(factor, abs=4e-5)
