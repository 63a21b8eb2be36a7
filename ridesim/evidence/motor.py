"""The DC-equivalent motor against published machines and against two libraries of sine-driven machines."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from ridesim.bike.schema import INSULATION_LIMIT_C, MAGNET_LIMIT_C
from ridesim.errors import LogError
from ridesim.evidence.checks import OWN_DATA, Check, Kind, Subject, absent, data_folder, near
from ridesim.physics.motor import AMPLITUDE_TO_DC, iron_torque, torque_constant, voltage_squared, winding_resistance
from ridesim.studies.motor_fit import fit_motor
from ridesim.units import from_si, to_si

BLOCKSET = "Motor Control Blockset documentation, getPMSMParameters, motor BLY171D"
SERVO = "1FT6084-8SH7, maker's data quoted in a research repository"
DQ = "dq theory (Krishnan; Hendershot and Miller)"
CATALOGUE = "EC 45 flat 70 W, maker's catalogue page"
COPPER = "IEC 60028:1925"
BENCH = "propeller bench of 13 outrunners (MIT), measured"
SHARE = 0.01
"""Asked of the operating points: torque, current, voltage and copper loss within 1 %."""
BENCH_PERCENT = 2.0

# 24, 36, 48, 60 V: U V, R ohm, kM N m/A, kn rpm/V, I0 A; printed: best efficiency %, gradient rpm/(mN m)
WINDINGS = (
    (24.0, 0.573, 0.0404, 236.0, 0.270, "84.9", "3.35"), (36.0, 1.56, 0.0570, 167.0, 0.198, "82.7", "4.58"),
    (48.0, 3.07, 0.0808, 118.0, 0.135, "82.6", "4.49"), (60.0, 7.37, 0.1520, 62.8, 0.057, "84.2", "3.04"),
)  # fmt: skip


def constant(kv: float) -> float:
    """Return our torque constant at 20 degC [N m/A] of a Kv [rpm/V]."""
    return torque_constant(1.0 / to_si(kv, "rpm_per_v"), 0.0, 20.0)


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of the motor."""
    bench, words = _outrunners()
    return [*_constants(), *_catalogue(), *_copper(), *_tables(), *_operating_points(), *bench], words


def _constants() -> list[Check]:
    published = constant(1000.0 / 3.8) * AMPLITUDE_TO_DC
    servo = constant(60.0 / (2.0 * math.pi * math.sqrt(3.0) * 0.12258 * 4)) * AMPLITUDE_TO_DC * math.sqrt(2.0)
    checks = [
        near("torque per amplitude ampere of a published motor", published, "0.0314", "N·m", BLOCKSET, Kind.PUBLISHED),
        near("its torque at 1.8 A", 1.8 * published, "0.0566", "N·m", BLOCKSET, Kind.PUBLISHED),
        near("its flux linkage", published / (1.5 * 4), "0.0052", "Wb", BLOCKSET, Kind.PUBLISHED),
        near("torque per A rms of a servo motor", servo, "1.01", "N·m/A", SERVO, Kind.PUBLISHED, share=0.031,
             note="its iron saturates by some 3 %, which the model leaves out"),
        near("copper loss of 40 A amplitude, 40 mΩ", (40.0 * AMPLITUDE_TO_DC) ** 2 * 0.040, "48.000", "W", DQ,
             Kind.CLOSED_FORM),
        near("torque of 40 A amplitude, 192 rpm/V", constant(192) * 40.0 * AMPLITUDE_TO_DC, "1.722903", "N·m", DQ,
             Kind.CLOSED_FORM),
    ]  # fmt: skip
    rows = ((100, "0.0954930", "0.0826993"), (170, "0.0561723", "0.0486467"), (245, "0.0389767", "0.0337548"))
    for kv, direct, amplitude in rows:
        checks += [
            near(f"torque per DC-equivalent ampere, {kv} rpm/V", constant(kv), direct, "N·m/A", DQ, Kind.CLOSED_FORM),
            near(f"torque per amplitude ampere, {kv} rpm/V", constant(kv) * AMPLITUDE_TO_DC, amplitude, "N·m/A", DQ,
                 Kind.CLOSED_FORM),
        ]  # fmt: skip
    return checks


def _catalogue() -> list[Check]:
    """Best efficiency and speed gradient: sweep of the load with friction that is all hysteresis."""
    checks = []
    for volts, ohm, k, kv, idle, best, gradient in WINDINGS:
        drag = iron_torque(k * idle, 0.0, 0.0)
        efficiency = max(
            (k * amps - drag) * (volts - ohm * amps) / k / (volts * amps)
            for amps in (idle * (1.0 + 0.02 * n) for n in range(1, 2000))
            if volts > ohm * amps
        )
        name = f"catalogue motor, {volts:g} V winding"
        slope = from_si(ohm / constant(kv) / k, "rpm") / 1000.0
        checks += [
            near(f"{name}: best efficiency", 100.0 * efficiency, best, "%", CATALOGUE, Kind.PUBLISHED, share=0.006,
                 note="the catalogue's constants are rounded to three digits, its friction is not all hysteresis"),
            near(f"{name}: speed per torque", slope, gradient, "rpm/(mN·m)", CATALOGUE, Kind.PUBLISHED, share=0.005,
                 note="three digits of three constants"),
        ]  # fmt: skip
    return checks


def _copper() -> list[Check]:
    rows = ((25, "1.01965"), (60, "1.15717"), (80, "1.23576"), (100, "1.31434"), (120, "1.39293"), (150, "1.51081"),
            (-10, "0.88212"))  # fmt: skip
    note = "1 + 0.00393 (T - 20) against (234.5 + T)/254.5: the standard's two forms differ by as much"
    checks = [
        near(f"copper resistance at {celsius} °C over 20 °C", winding_resistance(1.0, celsius), printed, "", COPPER,
             Kind.PUBLISHED, within=1e-4, note=note)
        for celsius, printed in rows
    ]  # fmt: skip
    weaker = torque_constant(1.0, -0.0012, 100.0)
    source = "magnet makers' chart, -0.12 %/K"
    return [*checks, near("magnet strength at 100 °C over 20 °C", weaker, "0.904", "", source, Kind.PUBLISHED)]


def _tables() -> list[Check]:
    classes = {"A": "105", "E": "120", "B": "130", "F": "155", "H": "180", "N": "200", "R": "220"}
    grades = {"plain": "80", "M": "100", "H": "120", "SH": "150", "UH": "180", "EH": "200"}
    chart = "magnet makers' charts (common practice, not a standard)"
    return [
        near(f"insulation class {letter}", INSULATION_LIMIT_C[letter], printed, "°C", "IEC 60085:2007, table 1",
             Kind.PUBLISHED)
        for letter, printed in classes.items()
    ] + [
        near(f"magnet grade {grade}", MAGNET_LIMIT_C[grade], printed, "°C", chart, Kind.PUBLISHED)
        for grade, printed in grades.items()
    ]  # fmt: skip


def _operating_points() -> list[Check]:
    """Points with no d-axis current; a machine driven with it (field weakening, reluctance) is outside the model."""
    checks = []
    for tool in ("motulator", "gem"):
        table = pd.read_csv(OWN_DATA / "motor" / f"pmsm_steady_state_{tool}.csv")
        for row in table.to_dict("records"):
            if abs(row["i_d_A"]) < 0.01 * row["i_q_A"]:
                checks += _point(row)
    return checks


def _point(row: dict[Any, Any]) -> list[Check]:
    """Return torque, current, voltage and copper loss of one point from its speed and the library's torque."""
    get = lambda name: float(row[name])  # noqa: E731
    pairs, k = get("n_p"), math.sqrt(3.0) * get("n_p") * get("psi_f_Vs")
    amplitude = get("torque_Nm") / k / AMPLITUDE_TO_DC
    direct, ohm = amplitude * AMPLITUDE_TO_DC, 2.0 * get("R_s_ohm")
    reactance = pairs * get("w_mech_rad_s") * 2.0 * get("L_q_H")
    line = math.sqrt(voltage_squared(k * get("w_mech_rad_s"), direct, ohm, reactance))
    ours = {
        "torque": (k * AMPLITUDE_TO_DC * get("i_q_A"), "torque_Nm", "N·m"),
        "current amplitude": (amplitude, "i_q_A", "A"),
        "phase voltage": (line / math.sqrt(3.0), "u_peak_V", "V"),
        "copper loss": (direct * direct * ohm, "P_cu_W", "W"),
    }
    tool = str(row["tool"]).split(" (")[0]
    where = f"{tool}: {pairs:.0f} pole pairs, {get('torque_Nm'):.0f} N·m at {get('rpm'):.0f} rpm"
    return [
        near(f"{where}: {name}", value, f"{get(column):.5f}", unit, tool, Kind.LIBRARY, share=SHARE)
        for name, (value, column, unit) in ours.items()
    ]


def _outrunners() -> tuple[list[Check], list[str]]:
    folder = data_folder()
    place = None if folder is None else folder / "motor" / "outrunner_propeller_bench.csv"
    if place is None or not place.is_file():
        return [], [absent("13 measured outrunners at full throttle")]
    table = pd.read_csv(place)
    checks = []
    for name, rows in table.groupby("motor"):
        full = rows[(rows["esc_us"] == rows["esc_us"].max()) & (rows["rpm"] > 0)]
        try:
            fit = fit_motor(full["voltage_V"].to_list(), full["current_A"].to_list(), full["rpm"].to_list())
        except LogError:
            continue
        note = (
            f"{fit.readings} readings, each from the fit to the others; worst reading {fit.worst_error_percent:.1f} %"
        )
        checks.append(
            Check(f"{name}: voltage at full throttle, rms error", fit.unseen_rms_error_percent, BENCH_PERCENT, "%", 0.0,
                  BENCH, Kind.MEASURED, "at most", note)
        )  # fmt: skip
    return checks, []


SUBJECT = Subject("motor", "Motor", run)
