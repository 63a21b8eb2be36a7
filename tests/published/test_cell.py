"""Cell and pack against published numbers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ridesim.bike.schema import Cell
from ridesim.engine.state import Limit, Total
from ridesim.physics.pack import voltage_at_load
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb, make_flat
from ridesim.road.profile import Stop

from ..bikes import bike

# Row 7-1: open-circuit voltage of the Chen 2020 cell (J. Electrochem. Soc. 167:080534), printed to 0.1 mV.
CHEN = {
    0.0: 2.5000, 0.05: 3.1094, 0.10: 3.2959, 0.20: 3.4852, 0.30: 3.5814, 0.40: 3.6670, 0.50: 3.7509, 0.60: 3.8406,
    0.70: 3.9479, 0.80: 4.0421, 0.90: 4.0967, 1.0: 4.2000,
}  # fmt: skip

# Row 7-8: 13s4p of 3.7509 V and 30 mohm: power W, current A, voltage V, loss W.
CONSTANT_POWER = [
    (250.0, 5.18064, 48.25659, 2.6168), (500.0, 10.47328, 47.74056, 10.6947), (750.0, 15.88550, 47.21286, None),
    (1500.0, 32.93011, 45.55101, 105.728), (-300.0, -6.07849, 49.35435, None),
]  # fmt: skip
OPEN, OHMS = 48.7617, 0.0975


@pytest.mark.parametrize(("share", "volts"), CHEN.items(), ids=lambda value: f"Chen-2020-JES-167-080534-{value:g}")
def test_default_voltage_curve(share: float, volts: float) -> None:
    cell = Cell(capacity_ah=5.0, resistance_mohm=25.0, max_discharge_a=10.0, max_charge_a=3.0, mass_kg=0.07)
    ours = np.interp(share, cell.charge_fraction, cell.open_circuit_v)
    assert ours == pytest.approx(volts, abs=5e-4)  # the default keeps three decimals


@pytest.mark.parametrize(
    ("power", "amps", "volts", "loss"), CONSTANT_POWER, ids=lambda value: f"circuit-closed-form-row-7-8-{value}"
)
def test_pack_at_constant_power(power: float, amps: float, volts: float, loss: float | None) -> None:
    loaded = voltage_at_load(OPEN, OHMS, power, 0.0)
    assert loaded == pytest.approx(volts, abs=5e-6)
    assert (OPEN - loaded) / OHMS == pytest.approx(amps, abs=5e-5)
    assert loaded * (OPEN - loaded) / OHMS == pytest.approx(power, rel=1e-12)
    if loss is not None:
        assert (OPEN - loaded) ** 2 / OHMS == pytest.approx(loss, abs=5e-4)


def test_power_peak_of_a_pack_row_7_8() -> None:
    """P_max = U2/4r = 6096.68 W: just below it there is a voltage, half the open one; just above it there is none."""
    peak = OPEN**2 / (4.0 * OHMS)
    assert peak == pytest.approx(6096.68, abs=5e-3)
    assert voltage_at_load(OPEN, OHMS, peak * (1.0 - 1e-9), 0.0) == pytest.approx(OPEN / 2.0, rel=1e-4)
    assert np.isnan(voltage_at_load(OPEN, OHMS, peak * 1.001, 0.0))


def test_polarisation_step_of_a_thevenin_cell_row_7_7_values_from_memory() -> None:
    """Plett (2015), Battery Management Systems vol. 1: 8.2 and 15.8 mohm, 38 kF, 50 A.

    A standing bike's controller draws 20 W from a large pack, so that the current barely changes; its voltage drop is
    scaled to 50 A a cell.
    """
    loaded = bike({
        "controller.standby_power_w": 20.0, "pack.cell.resistance_mohm": 8.2, "pack.resistance_factor": 1.0,
        "pack.cell.polarisation_resistance_mohm": 15.8, "pack.cell.polarisation_time_s": 600.4, "pack.parallel": 100,
        "pack.cell.activation_kj_per_mol": 0.0, "pack.cell.resistance_curve": None, "pack.interconnect_mohm": 0.0,
        "pack.wiring_mohm": 0.0,
    })  # fmt: skip
    ride = simulate(loaded, replace(make_flat(30.0), stops=(Stop(0.0, 1300.0),)), record_every_s=1.0)
    trace = ride.trace
    drop = (trace["open_voltage_v"] - trace["pack_voltage_v"]).to_numpy() / 13.0
    per_50_a = drop / (trace["pack_current_a"].to_numpy() / 100.0) * 50.0
    for seconds, volts in ((60.0, 0.48513), (300.0, 0.72068), (600.0, 0.90918), (1200.0, 1.09294)):
        ours = np.interp(seconds, trace["time_s"], per_50_a)
        # A row's voltage is the mean of the second it closes, half a second late: 1e-3 V at the most.
        assert ours == pytest.approx(volts, abs=1e-3)


@pytest.mark.parametrize(
    ("celsius", "charges"), [(-1.0, False), (5.0, True)], ids=["26C-data-sheet-below-0", "26C-data-sheet-above-0"]
)
def test_no_charging_below_freezing_row_7_9b(celsius: float, charges: bool) -> None:
    """ICR18650-26C v1.0: charge 0 to 45 degC. Regen may feed the controller, never the cells."""
    loaded = bike({"weather.temperature_c": celsius})
    road = make_climb(800.0, -7.0, start_altitude_m=200.0)
    ride = simulate(loaded, road, start_speed_km_h=25.0, trace=False)
    assert (ride.raw.total(Total.CHARGE_IN) > 1e-9) == charges
    assert (ride.raw.limit_seconds[Limit.COLD_PACK] > 0.0) != charges


def test_regen_is_cut_before_a_nearly_full_cell_passes_its_voltage_row_7_5b() -> None:
    """Chen 2020: 5 A into a cell at 95 % lifts it over 4.2 V within a second, so regen must be cut."""
    cell = {"pack.cell.charge_fraction": list(CHEN), "pack.cell.open_circuit_v": list(CHEN.values()),
            "pack.cell.resistance_curve": None, "pack.cell.resistance_mohm": 29.6,
            "pack.cell.capacity_ah": 5.0}  # fmt: skip
    free = {"controller.charge_current_limit_a": 100.0, "controller.charge_voltage_limit_v": 13 * 4.2}
    loaded = bike({**cell, **free, "pack.start_charge_fraction": 0.95, "pack.parallel": 2})
    ride = simulate(loaded, make_climb(1500.0, -8.0, start_altitude_m=200.0), start_speed_km_h=30.0, trace=False)
    assert ride.raw.limit_seconds[Limit.FULL_PACK] > 10.0
    # The bound is solved at a mean speed guessed to 1e-4 m/s: 1.4e-5 of the braking power, 1e-6 of the voltage.
    assert ride.raw.total(Total.HIGHEST_VOLTAGE) <= 13 * 4.2 * (1.0 + 1e-6)
