"""The DC-equivalent motor against published machines and against two libraries of sine-driven machines."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import pandas as pd

from ridesim.bike.schema import INSULATION_LIMIT_C, MAGNET_LIMIT_C
from ridesim.evidence.checks import OWN_DATA, Check, Subject, absent, data_folder, near
from ridesim.evidence.store import About, Kind, Printed, sheet, table
from ridesim.physics.controller import Circuit, field_needed, salient_current
from ridesim.physics.motor import (
    AMPLITUDE_TO_DC,
    iron_torque,
    shaft_pull,
    torque_constant,
    voltage_squared,
    voltage_squared_with_field,
    winding_resistance,
)
from ridesim.units import from_si, to_si
from ridesim.workshop.bench.readings import BenchPoint, LoadedFit, fit_loaded_points

BENCH = "propeller bench of 13 outrunners (MIT), measured"
SHARE = 0.01
"""Asked of the operating points: torque, current, voltage and copper loss within 1 %."""
BENCH_PERCENT = 2.0
SOME_FIELD = 0.01
"""A d-axis current below this share of the other is the library's own settling."""
STIFF_OHM = 1e-9
LEAST_READINGS = 4
"""Two numbers are fitted; fewer readings than twice as many show no scatter."""


def constant(kv: float) -> float:
    """Return our torque constant at 20 degC [N m/A] of a Kv [rpm/V]."""
    return torque_constant(1.0 / to_si(kv, "rpm_per_v"), 0.0, 20.0)


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of the motor."""
    bench, words = _outrunners()
    return [*_constants(), *_catalogue(), *_copper(), *_tables(), *_operating_points(), *bench], words


def kv_of_flux(flux_wb: float, pole_pairs: int) -> float:
    """Return Kv [rpm/V], line to line, peak, of a flux linkage: 1/(sqrt(3) lambda p) in SI."""
    return from_si(1.0 / (math.sqrt(3.0) * flux_wb * pole_pairs), "rpm_per_v")


def _constants() -> list[Check]:
    small, servo, loaded = sheet("motor.bly171d"), sheet("motor.servo"), sheet("motor.forty_amperes")
    published = constant(1000.0 / small.line_peak_v_per_1000_rpm) * AMPLITUDE_TO_DC
    rms = constant(kv_of_flux(servo.flux_linkage_wb, servo.pole_pairs)) * AMPLITUDE_TO_DC * math.sqrt(2.0)
    direct = loaded.amplitude_a * AMPLITUDE_TO_DC
    checks = [
        near("torque per amplitude ampere of a published motor", published, small.torque_nm_per_a),
        near("its torque at 1.8 A", small.rated_current_a * published, small.rated_torque_nm),
        near("its flux linkage", published / (1.5 * small.pole_pairs), small.flux_linkage_wb),
        near("torque per A rms of a servo motor", rms, servo.torque_nm_per_a, share=0.031,
             note="its iron saturates by some 3 %, which the model leaves out"),
        near("torque per A rms of a servo motor, from its flux", rms, servo.closed_form_nm_per_a),
        near("copper loss of 40 A amplitude, 40 mΩ", direct**2 * to_si(loaded.resistance_mohm, "mohm"),
             loaded.copper_loss_w),
        near("torque of 40 A amplitude, 192 rpm/V", constant(loaded.kv_rpm_per_v) * direct, loaded.torque_nm),
    ]  # fmt: skip
    for kv, per_dc, per_amplitude in table("motor.torque_constants").rows:
        ours = constant(kv)
        checks += [
            near(f"torque per DC-equivalent ampere, {kv:g} rpm/V", ours, per_dc),
            near(f"torque per amplitude ampere, {kv:g} rpm/V", ours * AMPLITUDE_TO_DC, per_amplitude),
        ]
    return checks


def _catalogue() -> list[Check]:
    """Best efficiency and speed gradient: sweep of the load with friction that is all hysteresis."""
    checks = []
    for volts, ohm, k, kv, idle, best, gradient in table("motor.windings").rows:
        drag = iron_torque(k * idle, 0.0, 0.0)
        efficiency = max(
            (k * amps - drag) * (volts - ohm * amps) / k / (volts * amps)
            for amps in (idle * (1.0 + 0.02 * n) for n in range(1, 2000))
            if volts > ohm * amps
        )
        name = f"catalogue motor, {volts:g} V winding"
        slope = from_si(ohm / constant(kv) / k, "rpm_per_mnm")
        checks += [
            near(f"{name}: best efficiency", from_si(efficiency, "percent"), best, share=0.006,
                 note="the catalogue's constants are rounded to three digits, its friction is not all hysteresis"),
            near(f"{name}: speed per torque", slope, gradient, share=0.005, note="three digits of three constants"),
        ]  # fmt: skip
    return checks


def _copper() -> list[Check]:
    note = "1 + 0.00393 (T - 20) against (234.5 + T)/254.5: the standard's two forms differ by as much"
    checks = [
        near(f"copper resistance at {celsius:g} °C over 20 °C", winding_resistance(1.0, celsius), printed, within=1e-4,
             note=note)
        for celsius, printed in table("motor.copper").rows
    ]  # fmt: skip
    magnets = sheet("motor.magnets")
    weaker = torque_constant(1.0, to_si(magnets.coefficient_percent_per_k, "percent_per_k"), magnets.temperature_c)
    return [*checks, near("magnet strength at 100 °C over 20 °C", weaker, magnets.strength)]


def _tables() -> list[Check]:
    classes, grades = table("motor.insulation").rows, table("motor.magnet_grades").rows
    return [
        *(near(f"insulation class {letter}", INSULATION_LIMIT_C[letter], printed) for letter, printed in classes),
        *(near(f"magnet grade {grade}", MAGNET_LIMIT_C[grade], printed) for grade, printed in grades),
    ]


def _operating_points() -> list[Check]:
    """Every point of both libraries; salient machines driven with a d-axis current show that too."""
    checks = []
    for tool in ("motulator", "gem"):
        points = pd.read_csv(OWN_DATA / "motor" / f"pmsm_steady_state_{tool}.csv")
        for row in points.to_dict("records"):
            checks += _point(row)
            if abs(row["i_d_A"]) >= SOME_FIELD * row["i_q_A"]:
                checks += _weakened(row)
    return checks


def _point(row: dict[Any, Any]) -> list[Check]:
    """Return torque, current, voltage and copper loss of one point from its speed, torque and d-axis current."""
    machine, field = _machine(row), -float(row["i_d_A"]) * AMPLITUDE_TO_DC
    c, k, more = machine.circuit, machine.torque_constant, machine.reluctance
    direct = float(row["torque_Nm"]) / shaft_pull(k, more, 1.0, field)
    line = math.sqrt(voltage_squared_with_field(c.emf, direct, field, c.motor_resistance, c.reactance, c.salience))
    return _rows(row, {
        "torque": (shaft_pull(k, more, AMPLITUDE_TO_DC * float(row["i_q_A"]), field), "torque_Nm", "nm"),
        "current amplitude": (direct / AMPLITUDE_TO_DC, "i_q_A", "a"),
        "phase voltage": (line / math.sqrt(3.0), "u_peak_V", "v"),
        "copper loss": ((direct * direct + field * field) * c.motor_resistance, "P_cu_W", "w"),
    })  # fmt: skip


def _weakened(row: dict[Any, Any]) -> list[Check]:
    """Return both currents of a point from its speed, torque and voltage alone, as a ride finds them."""
    machine, torque = _machine(row), float(row["torque_Nm"])
    most = abs(float(row["i_q_A"])) + abs(float(row["i_d_A"]))
    current = salient_current(machine.circuit, torque / machine.torque_constant, 1.0, most)
    field = field_needed(machine.circuit, current, 1.0)
    return _rows(row, {
        "d-axis current that its voltage asks for": (-field / AMPLITUDE_TO_DC, "i_d_A", "a"),
        "q-axis current beside it": (current / AMPLITUDE_TO_DC, "i_q_A", "a"),
    })  # fmt: skip


class _Machine(NamedTuple):
    """A library's machine at one speed, on a stiff supply of the line voltage that it takes there."""

    circuit: Circuit
    torque_constant: float
    reluctance: float


def _machine(row: dict[Any, Any]) -> _Machine:
    get = lambda name: float(row[name])  # noqa: E731
    pairs, k = get("n_p"), math.sqrt(3.0) * get("n_p") * get("psi_f_Vs")
    circuit = Circuit(
        emf=k * get("w_mech_rad_s"),
        motor_resistance=2.0 * get("R_s_ohm"),
        reactance=pairs * get("w_mech_rad_s") * 2.0 * get("L_q_H"),
        salience=get("L_q_H") / get("L_d_H"),
        on_resistance=0.0,
        switching=0.0,
        standby=0.0,
        open_voltage=math.sqrt(3.0) * get("u_peak_V"),
        pack_resistance=STIFF_OHM,
    )
    return _Machine(circuit, k, pairs * 2.0 * (get("L_q_H") - get("L_d_H")))


def _rows(row: dict[Any, Any], ours: dict[str, tuple[float, str, str]]) -> list[Check]:
    tool = str(row["tool"]).split(" (")[0]
    where = f"{tool}: {row['n_p']:.0f} pole pairs, {row['torque_Nm']:.0f} N·m at {row['rpm']:.0f} rpm"
    if abs(row["i_d_A"]) >= SOME_FIELD * row["i_q_A"]:
        where += f", {row['i_d_A']:.3g} A on the d-axis"
    return [
        near(f"{where}: {name}", value, Printed(f"{row[column]:.5f}", About(suffix, tool, Kind.LIBRARY)), share=SHARE)
        for name, (value, column, suffix) in ours.items()
    ]


def _outrunners() -> tuple[list[Check], list[str]]:
    folder = data_folder()
    place = None if folder is None else folder / "motor" / "outrunner_propeller_bench.csv"
    if place is None or not place.is_file():
        return [], [absent("13 measured outrunners at full throttle")]
    bench = pd.read_csv(place)
    checks = []
    for name, rows in bench.groupby("motor"):
        full = rows[(rows["esc_us"] == rows["esc_us"].max()) & (rows["rpm"] > 0)]
        points = [BenchPoint(*reading) for reading in full[["voltage_V", "current_A", "rpm"]].itertuples(index=False)]
        if len(points) < LEAST_READINGS:
            continue
        seen = [reading_error(fit_loaded_points(points), point) for point in points]
        unseen = [
            reading_error(fit_loaded_points([other for other in points if other is not point]), point)
            for point in points
        ]
        worst = from_si(max(map(abs, seen)), "percent")
        rms = from_si(math.sqrt(sum(error**2 for error in unseen) / len(unseen)), "percent")
        note = f"{len(points)} readings, each from the fit to the others; worst reading {worst:.1f} %"
        checks.append(
            Check(f"{name}: voltage at full throttle, rms error", rms, BENCH_PERCENT, "%", 0.0,
                  BENCH, Kind.MEASURED, "at most", note)
        )  # fmt: skip
    return checks, []


def reading_error(fit: LoadedFit, point: BenchPoint) -> float:
    """Return the voltage of the ride's motor with a fit's numbers over a reading's, less one."""
    emf = to_si(point.speed_rpm, "rpm") / to_si(fit.kv_rpm_per_v, "rpm_per_v")
    ours = voltage_squared(emf, point.current_a, to_si(fit.resistance_mohm, "mohm"), 0.0)
    return math.sqrt(ours) / point.voltage_v - 1.0


SUBJECT = Subject("motor", "Motor", run)
