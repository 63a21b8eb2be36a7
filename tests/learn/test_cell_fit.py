"""Cells made from known numbers are found again, by the ride's own pack."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ridesim.bike.schema import Cell
from ridesim.errors import LogError
from ridesim.learn.cell_circuit import CellFit, CellRun, Pulse, follow_cell
from ridesim.learn.cell_fit import fit_cell, voltage_rms_v
from ridesim.physics.pack import arrhenius_factor

CHARGE = tuple(round(0.1 * n, 1) for n in range(11))
REST = (2.8, 3.3, 3.45, 3.56, 3.64, 3.70, 3.80, 3.90, 4.0, 4.08, 4.18)
CURVE = (2.0, 1.4, 1.1, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.05, 1.1)
TRUE = CellFit(4.0, CHARGE, REST, 18.0, CURVE, 6.0, 14.0, 45.0, 30.0, 20.0, 70.0, 0.12)
CLOCK = np.arange(0.0, 3000.0)


def discharge(amps: float, temperatures: bool = True) -> CellRun:
    run = CellRun(CLOCK, np.full(len(CLOCK), amps), np.zeros(len(CLOCK)), temperature_c=CLOCK if temperatures else None)
    trace = follow_cell(TRUE, run)
    return replace(run, voltage_v=trace.voltage_v, temperature_c=trace.temperature_c if temperatures else None)


def pulses() -> list[Pulse]:
    made = []
    for warm in (5.0, 25.0, 45.0):
        for charge in (0.2, 0.4, 0.6, 0.8):
            fast = 18.0 * float(np.interp(charge, CHARGE, CURVE)) * arrhenius_factor(30e3, warm) + 6.0
            slow = 14.0 * arrhenius_factor(20e3, warm)
            made += [Pulse(charge, t, fast + slow * (1.0 - np.exp(-t / 45.0)), 4.0, warm) for t in (0.1, 10.0, 60.0)]
    return made


def test_a_known_cell_is_found_again() -> None:
    fit = fit_cell(CHARGE, REST, 4.0, [discharge(2.0), discharge(4.0)], pulses(), [discharge(4.0)])
    assert fit.resistance_mohm == pytest.approx(18.0, rel=0.02)
    assert fit.lead_mohm == pytest.approx(6.0, abs=0.4)
    assert fit.polarisation_resistance_mohm == pytest.approx(14.0, rel=0.02)
    assert fit.polarisation_time_s == pytest.approx(45.0, rel=0.03)
    assert fit.activation_kj_per_mol == pytest.approx(30.0, rel=0.03)
    assert fit.polarisation_activation_kj_per_mol == pytest.approx(20.0, rel=0.03)
    assert fit.heat_capacity_j_per_k == pytest.approx(70.0, rel=0.02)
    assert fit.to_air_w_per_k == pytest.approx(0.12, rel=0.02)
    assert voltage_rms_v(fit, discharge(6.0)) < 1e-3


def test_a_fit_can_be_written_into_a_part_file() -> None:
    part = fit_cell(CHARGE, REST, 4.0, [discharge(2.0, temperatures=False)], []).part()
    cell = Cell(**part, max_discharge_a=10.0, max_charge_a=2.0, mass_kg=0.07)
    assert cell.capacity_ah == 4.0
    assert np.interp(0.5, cell.charge_fraction, cell.resistance_curve) == pytest.approx(1.0)


def test_constant_currents_alone_do_not_tell_fast_from_slow() -> None:
    """Why pulses are asked for: the sum of both resistances is found, the split is not."""
    runs = [discharge(2.0, temperatures=False), discharge(4.0, temperatures=False)]
    fit = fit_cell(CHARGE, REST, 4.0, runs, [])
    total = fit.resistance_mohm + fit.polarisation_resistance_mohm
    assert total == pytest.approx(18.0 + 6.0 + 14.0, rel=0.03)


def test_follow_keeps_the_charge_of_an_uneven_record() -> None:
    clock = np.concatenate(([0.0, 0.3], np.arange(1.7, 1800.0, 7.3)))
    run = CellRun(clock, np.full(len(clock), 3.0), np.zeros(len(clock)))
    trace = follow_cell(TRUE, run)
    assert trace.charge[-2] == pytest.approx(1.0 - 3.0 * clock[-2] / 3600.0 / 4.0, abs=1e-9)


def test_nothing_measured_is_refused() -> None:
    with pytest.raises(LogError, match="neither discharges nor pulses"):
        fit_cell(CHARGE, REST, 4.0, [], [])
