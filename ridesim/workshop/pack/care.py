"""Looking after a lithium-ion pack: charging, and the voltages that matter at the bench. Ageing stands in `ageing`.

Show SAFETY of `pack_design` wherever a result of this module is shown. Sources at each function; facts of the trade
say "common practice, no source"; values from memory say so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridesim.errors import RideError
from ridesim.units import to_si
from ridesim.workshop.limits import Verdict, held, require_positive, require_whole, worst_verdict
from ridesim.workshop.pack.design import CellData

OCV_SLOPE_AT_FULL_V = 1.033
"""V per unit of charge between 90 and 100 %: (4.2000 - 4.0967)/0.1, Chen et al. 2020, JES 167:080534."""
CHARGER_EFFICIENCY = 0.88
"""Mains to DC; a guess."""
COLD_CHARGE_C_RATE: tuple[tuple[float, float, float], ...] = ((0.0, 5.0, 0.1), (5.0, 15.0, 0.2), (15.0, 55.0, 0.5))
"""(from degC, below degC, C-rate) of a 2.6 Ah 18650 cell, a supplier's general data sheet: other cells differ."""
HOT_CHARGE_C = 45.0
"""degC, top of the charging window of most sheets (0 to 45: ICR18650-26C sheet, v1.0)."""
STORAGE_CELL_V = (3.70, 3.85)
"""V, about half charge of 4.2 V cells; common practice, no source (Chen et al. 2020: 3.71 V at 45, 3.84 V at 60 %)."""
BALANCE_CELL_BELOW_FULL_V = 0.05
"""V below full where boards begin to bleed; common practice, no source."""
DIFFUSION_FACTOR = 1.8
"""Resistance that the tail of a charge meets over the cell's DC resistance over 30 s: lithium is slow in the grains.
From the tails of a porous-electrode model (Doyle-Fuller-Newman, Chen et al. 2020, C/4 to 1C: 1.5 to 2.1); the tails of
other published parameter sets last 0.6 to 1.5 times as long."""
FOUR_VOLT_CELLS = (4.1, 4.25)
"""V, full voltage of the cells for which the storage window holds."""


@dataclass(frozen=True)
class ChargePlan:
    """Charge to full: constant current, then constant voltage with a tail that dies away to the cut-off."""

    constant_current_h: float
    taper_h: float
    total_h: float
    charger_voltage_v: float
    charger_current_a: float
    charger_power_w: float
    mains_power_w: float
    cell_current_a: float
    cell_limit_a: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class CareVoltages:
    """Pack voltages that matter at the bench; `balance_start_v` is where the board begins to bleed."""

    full_v: float
    balance_start_v: float
    storage_low_v: float
    storage_high_v: float
    empty_v: float
    storage_cell_low_v: float
    storage_cell_high_v: float


def charge_limit_a(cell: CellData, temperature_c: float) -> float:
    """Highest charging current [A] of one cell at a cell temperature [degC]: its rating or the table, the lower.

    Nothing below 0 and from 55 degC up. Source: COLD_CHARGE_C_RATE (a supplier's sheet): your cell's sheet comes first.
    """
    if not math.isfinite(temperature_c):
        raise RideError("charging", f"temperature_c = {temperature_c:g}", "give a temperature in degC")
    for low, high, c_rate in COLD_CHARGE_C_RATE:
        if low <= temperature_c < high:
            return min(cell.max_charge_a, c_rate * cell.capacity_ah)
    return 0.0


def plan_charge(
    cell: CellData,
    series: int,
    parallel: int,
    charge_a: float,
    start_fraction: float = 0.0,
    cutoff_fraction: float = 0.05,
    temperature_c: float = 20.0,
) -> ChargePlan:
    """Time [h] to charge a pack with `charge_a` [A] from `start_fraction`, and what the charger must give.

    Near full the voltage curve is straight, `k` V per unit of charge, so at constant voltage the current dies away as
    `exp(-t/tau)`, `tau = R Q / k`; the tail from I to the cut-off holds `tau (I - I_cut)` and lasts `tau ln(I/I_cut)`.
    `resistance_mohm` of the cell should be its DC resistance over 30 s; R is DIFFUSION_FACTOR times it.
    `cutoff_fraction`: end current over capacity [1/h]. Raises RidesimError for input out of range.
    Source: Thevenin circuit (closed form); slope k from Chen et al. 2020.
    """
    require_whole("charging", series=series, parallel=parallel)
    require_positive("charging", charge_a=charge_a, cutoff_fraction=cutoff_fraction)
    if not 0.0 <= start_fraction < 1.0:
        raise RideError("charging", f"start_fraction = {start_fraction:g} (0 to below 1)", "give the charge left")
    each, end = charge_a / parallel, cutoff_fraction * cell.capacity_ah
    if each <= end:
        what = f"{each:.2f} A a cell is below the cut-off of {end:.2f} A"
        raise RideError("charging", what, "more current or a lower cutoff_fraction")
    tau_h = DIFFUSION_FACTOR * to_si(cell.resistance_mohm, "mohm") * cell.capacity_ah / OCV_SLOPE_AT_FULL_V
    wanted_ah = (1.0 - start_fraction) * cell.capacity_ah
    # What goes in once the tail reaches the cut-off; the last `tau * end` would take for ever.
    wanted_ah -= min(tau_h * end, wanted_ah)
    tail_ah = min(tau_h * (each - end), wanted_ah)
    steady_h = (wanted_ah - tail_ah) / each
    taper_h = tau_h * math.log1p(tail_ah / (tau_h * end))
    voltage = series * cell.max_voltage_v
    limit = charge_limit_a(cell, temperature_c)
    verdict, reason = _judge_charge(each, limit, temperature_c)
    return ChargePlan(
        steady_h, taper_h, steady_h + taper_h, voltage, charge_a, voltage * charge_a,
        voltage * charge_a / CHARGER_EFFICIENCY, each, limit, verdict, reason,
    )  # fmt: skip


def care_voltages(cell: CellData, series: int) -> CareVoltages:
    """Full, balancing, storage and empty voltages [V] of a pack. Common practice, no source.

    Raises RidesimError for cells that are not full at 4.1 to 4.25 V, whose storage voltage is another.
    """
    require_whole("pack", series=series)
    low, high = FOUR_VOLT_CELLS
    if not low <= cell.max_voltage_v <= high:
        what = f"max_voltage_v = {cell.max_voltage_v:g} ({low:g} to {high:g})"
        raise RideError("storage voltage", what, "take the storage voltage from the cell's sheet")
    store_low, store_high = STORAGE_CELL_V
    balance = cell.max_voltage_v - BALANCE_CELL_BELOW_FULL_V
    full, empty = series * cell.max_voltage_v, series * cell.min_voltage_v
    return CareVoltages(
        full, series * balance, series * store_low, series * store_high, empty, store_low, store_high
    )  # fmt: skip


def _judge_charge(each_a: float, limit_a: float, temperature_c: float) -> tuple[Verdict, str]:
    low, top = COLD_CHARGE_C_RATE[0][0], COLD_CHARGE_C_RATE[-1][1]
    hot = f"{temperature_c:g} °C: most sheets end charging at {HOT_CHARGE_C:g} °C"
    at = temperature_c
    if temperature_c >= top:
        at = max(temperature_c, math.nextafter(top, math.inf))
        hot = f"no charging from {top:g} °C up: at {temperature_c:g} °C cells are hurt; let the pack cool"
    cold = f"no charging below {low:g} °C: at {temperature_c:g} °C lithium plates out; warm the pack first"
    words = f"{each_a:.2f} A a cell, at most {limit_a:.2f} A at {temperature_c:g} °C"
    out_of_hours = [
        held("charging_cold", temperature_c, low, cold),
        held("charging_hot", at, top, hot),
    ]
    # Where nothing may be charged at all, the temperature is the reason and not a current of nothing.
    current = [held("charging_current", each_a, limit_a, words)] if limit_a > 0.0 else []
    return worst_verdict([*out_of_hours, *current], words)
