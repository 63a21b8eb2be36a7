"""The pack against published cells, a battery-modelling library and a measured cell."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from ridesim.bike.schema import Cell
from ridesim.evidence import cell_cold
from ridesim.evidence.checks import OWN_DATA, Check, Subject, absent, data_folder, near
from ridesim.evidence.store import Kind, sheet, table
from ridesim.learn.cell_circuit import CellFit, CellRun, Pulse, follow_cell
from ridesim.learn.cell_fit import fit_cell, voltage_rms_v
from ridesim.physics.pack import voltage_at_load
from ridesim.units import from_si, to_si

WARWICK = "measured 5 Ah cells, University of Warwick (MIT)"
LIBRARY_RMS_MV, MEASURED_RMS_MV, MEASURED_K = 20.0, 30.0, 2.0
SENSORS = ["temp_pos_C", "temp_mid_C", "temp_neg_C"]
PULSE_TIMES_S = (0.3, 1.0, 3.0, 9.5)
PULSE_CHAMBERS_C = (10, 25, 45)
"""Chambers whose pulses are at one current; those at 0 degC are at a third of it."""


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of cell and pack."""
    measured, words = _measured()
    return [*_curve(), *_circuit(), *_library(), *cell_cold.checks(), *measured], words


def _curve() -> list[Check]:
    cell = Cell(capacity_ah=5.0, resistance_mohm=25.0, max_discharge_a=10.0, max_charge_a=3.0, mass_kg=0.07)
    checks = []
    for charge, printed in table("cell.open_circuit").rows:
        volts = float(np.interp(charge, cell.charge_fraction, cell.open_circuit_v))
        name = f"default voltage curve at {charge:.0%}"
        checks.append(near(name, volts, printed, within=5e-4, note="the default keeps three decimals"))
    return checks


def _circuit() -> list[Check]:
    pack = sheet("cell.pack_13s4p")
    ohm, checks = to_si(pack.resistance_mohm, "mohm"), []
    for watts, current, volts, loss in table("cell.constant_power").rows:
        name = f"13s4p pack at {watts:g} W"
        loaded = float(voltage_at_load(float(pack.open_circuit_v), ohm, watts, 0.0))
        amps = (pack.open_circuit_v - loaded) / ohm
        checks += [near(name, loaded, volts), near(f"{name}: current", amps, current)]
        checks += [near(f"{name}: loss", amps**2 * ohm, loss)] if loss is not None else []
    cell = sheet("cell.slow_cell")
    fit = CellFit(
        100.0, (0.0, 1.0), (4.0, 4.0), cell.fast_mohm, (1.0, 1.0), 0.0, cell.slow_mohm, cell.time_s, 0.0, 0.0, 1e9, 1.0
    )
    clock = np.arange(0.0, 1201.0)
    drop = 4.0 - follow_cell(fit, CellRun(clock, np.full(len(clock), cell.current_a), np.zeros(len(clock)))).voltage_v
    for seconds, volts in table("cell.slow_cell_drop").rows:
        name = f"drop of 8.2 and 15.8 mΩ at 50 A after {seconds:g} s"
        checks.append(near(name, float(drop[round(seconds)]), volts))
    return checks


def library_run(name: str, start_charge: float = 1.0) -> CellRun:
    """Return a run of the published cell, isothermal at 25 degC."""
    columns = pd.read_csv(OWN_DATA / "cell" / f"{name}.csv")
    time, current, volts = (columns[name].to_numpy(np.float64) for name in ("time_s", "current_a", "voltage_v"))
    return CellRun(time, current, volts, start_charge=start_charge)


def library_fit() -> CellFit:
    """Return the published cell as its discharges and pulse resistances show it; the pulsed run is not seen."""
    rest, cell = pd.read_csv(OWN_DATA / "cell" / "open-circuit.csv"), sheet("cell.chen_cell")
    runs = [library_run(f"discharge-{rate}") for rate, _ in table("cell.energies").rows]
    pulses = [
        Pulse(charge, after, mohm, cell.pulse_a)
        for after, *row in table("cell.pulses").rows
        for charge, mohm in zip((0.8, 0.5, 0.2), row, strict=True)
    ]
    return fit_cell(rest["soc"].to_numpy(), rest["ocv_v"].to_numpy(), cell.capacity_ah, runs, pulses)


def _library() -> list[Check]:
    fit = library_fit()
    energies = table("cell.energies")
    checks = []
    for rate, printed in energies.rows:
        run_ = library_run(f"discharge-{rate}")
        trace = follow_cell(fit, run_)
        energy = from_si(float(np.trapezoid(trace.voltage_v * run_.current_a, run_.time_s)), "wh")
        checks += [
            _at_most(f"published cell at {rate.upper()}: voltage, rms error from 10 to 90 %", fit, run_,
                     energies.source, LIBRARY_RMS_MV, Kind.LIBRARY, "fitted to it"),
            near(f"published cell at {rate.upper()}: energy to 2.5 V", energy, printed, share=0.01,
                 note="1 %: one slow element stands for a whole spectrum"),
        ]  # fmt: skip
    pulsed = library_run("pulsed", 0.9)
    note = "not fitted to it: predicted from constant-current discharges and pulse resistances"
    return [
        *checks,
        _at_most("published cell, pulsed run: voltage, rms error from 10 to 90 %", fit, pulsed, energies.source,
                 LIBRARY_RMS_MV, Kind.LIBRARY, note),
    ]  # fmt: skip


def _at_most(name: str, fit: CellFit, run_: CellRun, source: str, most: float, kind: Kind, note: str) -> Check:
    return Check(name, from_si(voltage_rms_v(fit, run_), "mv"), most, "mV", 0.0, source, kind, "at most", note)


def _measured() -> tuple[list[Check], list[str]]:
    folder = data_folder()
    place = None if folder is None else folder / "cell" / "measured"
    if place is None or not (place / "cell-5ah-pulses.csv").is_file():
        return [], [absent("a measured cell's discharges from its pulses")]
    runs = {rate: measured_run(place, rate) for rate in ("0p5c", "1c", "2c")}
    pulses = measured_pulses(place)
    blind = _measured_fit(place, [runs["0p5c"], measured_run(place, "1c", 0)], pulses, [runs["0p5c"]])
    seen = _measured_fit(place, list(runs.values()), pulses, [runs["1c"], runs["2c"]])
    fits = ((blind, "from its pulses, its C/2 run and one at 0 °C", "not fitted to it"),
            (seen, "from its pulses and all its runs", "fitted to it"))  # fmt: skip
    checks = []
    for fit, given, note in fits:
        for rate in ("1c", "2c"):
            name = f"measured cell at {rate.upper()}, {given}"
            off = follow_cell(fit, runs[rate]).temperature_c - _warmth(runs[rate])
            rms = float(np.sqrt(np.mean(off**2)))
            remark = f"{note}; mean of 3 sensors, the middle is up to {hot_middle_k(place, rate):.0f} K warmer"
            checks += [
                _at_most(f"{name}: voltage, rms error", fit, runs[rate], WARWICK, MEASURED_RMS_MV, Kind.MEASURED, note),
                Check(
                    f"{name}: warmth, rms error", rms, MEASURED_K, "K", 0.0, WARWICK, Kind.MEASURED, "at most", remark
                ),
            ]
    return checks, []


def _measured_fit(place: Path, runs: list[CellRun], pulses: list[Pulse], warmed: list[CellRun]) -> CellFit:
    charge, volts = measured_rest(place)
    return fit_cell(charge, volts, measured_capacity_ah(place), runs, pulses, warmed)


def measured_rest(place: Path) -> tuple[np.ndarray, np.ndarray]:
    """Return charge and rested voltage of a discharge: the mean curve less half its hysteresis."""
    rest = pd.read_csv(place / "cell-5ah-25c-ocv.csv")
    charge = to_si(1.0, "percent") * rest["soc_pct"].to_numpy()
    return charge, (rest["ocv_mean_V"] - 0.5 * rest["hysteresis_V"]).to_numpy()


def measured_capacity_ah(place: Path) -> float:
    """Return the capacity between two rests: what the slow run took over the charge that its rest afterwards shows."""
    run_ = _discharge(place, "0p5c")
    charge, volts = measured_rest(place)
    left = float(np.interp(run_["voltage_V"].iloc[-1], volts, charge))
    return float(run_["discharged_Ah"].max()) / (1.0 - left)


def _discharge(place: Path, rate: str, chamber_c: int = 25) -> pd.DataFrame:
    """Return a run up to its recharge, if it has one: discharge and rest."""
    run_ = pd.read_csv(place / f"cell-5ah-{chamber_c}c-{rate}.csv")
    recharging = np.flatnonzero(run_["current_A"].to_numpy() < -0.5)
    run_ = run_.iloc[: recharging[0] if len(recharging) else None]
    return run_[np.concatenate(([True], np.diff(run_["time_s"]) > 0.0))]


def measured_run(place: Path, rate: str, chamber_c: int = 25) -> CellRun:
    """Return a measured discharge with its rest, at the mean of the three surface sensors: a lump has no ends.

    Its charge at the start is what its rested voltage then says: in the cold a charger stops short of full.
    """
    run_ = _discharge(place, rate, chamber_c)
    time, current, volts = (run_[name].to_numpy(np.float64) for name in ("time_s", "current_A", "voltage_V"))
    warmth = run_[SENSORS].to_numpy(np.float64).mean(axis=1)
    charge, rested = measured_rest(place)
    start, cool = float(np.interp(volts[0], rested, charge)), float(warmth[0])
    return CellRun(time, current, volts, start_charge=start, start_c=cool, air_c=cool, temperature_c=warmth)


def hot_middle_k(place: Path, rate: str) -> float:
    """Return by how much the cell's middle passes the mean of its sensors at most [K]."""
    run_ = _discharge(place, rate)
    return float((run_["temp_mid_C"] - run_[SENSORS].mean(axis=1)).max())


def _warmth(run_: CellRun) -> np.ndarray:
    assert run_.temperature_c is not None  # measured_run gives it
    return run_.temperature_c


def measured_pulses(place: Path) -> list[Pulse]:
    """Return the resistances of the measured pulses, at some times after their start."""
    run_ = pd.read_csv(place / "cell-5ah-pulses.csv")
    found = []
    for _, rows in run_.groupby(["chamber_C", "soc", "cell"]):
        chamber, charge = float(rows["chamber_C"].iloc[0]), float(rows["soc"].iloc[0])
        time, current, volts = (rows[name].to_numpy() for name in ("time_s", "current_A", "voltage_V"))
        on = np.flatnonzero(current > 1.0)
        if chamber not in PULSE_CHAMBERS_C or time[on[-1]] - time[on[0]] < PULSE_TIMES_S[-1]:
            continue
        amps = float(current[on].mean())
        for after in PULSE_TIMES_S:
            drop = volts[0] - np.interp(time[on[0]] + after, time, volts)
            found.append(Pulse(charge, after, from_si(float(drop) / amps, "mohm"), amps, chamber))
    return found


SUBJECT = Subject("cell", "Cell and pack", run)
