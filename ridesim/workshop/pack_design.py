"""Designing a lithium-ion pack of round cells: counts, size, charging, ageing, grouping of measured cells.

Circuit laws and geometry are closed forms; facts of the trade say "common practice, no source"; values from memory
say so. Show SAFETY wherever a result of this module is shown. Bad input raises RideError.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from numbers import Integral
from typing import Literal

import numpy as np

from ridesim.errors import RideError

Verdict = Literal["fine", "look again", "stop"]
Packing = Literal["square", "hex"]

SAFETY: tuple[str, ...] = (
    "Lithium cells burn and give off poisonous gas when shorted, crushed, overcharged or overheated.",
    "No home-made pack without a battery management board that watches every group, and a fuse at the pack.",
    "Never charge unattended, in an escape route, near anything that burns, or below 0 °C.",
    "Never use damaged, swollen, rusty, soaked or over-discharged cells; take them to a collection point.",
    "Weld or have welded; insulate every group; work without metal on hands and with eye protection.",
    "Local law and licensed practice decide; where you are not sure, have a licensed workshop build it.",
)
"""Common practice, no source."""

ROUNDING = 1e-9
"""Relative slack before a need counts as missed, so that 2.0000000000000004 cells are 2."""
EASY_CURRENT_SHARE = 0.8
"""Share of the rated continuous current up to which a cell in a closed pack is judged fine; a guess."""
LARGE_SAG = 0.10
"""Voltage lost in the cells at full current, share of nominal, worth a second look; common practice, no source."""
VOLTAGE_MISS = 0.05
"""Nominal voltage off the wish by more than this is worth a second look; a guess."""
HEX_ROW = math.sqrt(3.0) / 2.0
"""Distance of rows over distance of cells in hexagonal packing (geometry)."""
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
GROUP_DIFFERENCE_V = (0.02, 0.10)
"""V between groups at rest: above the first look again, above the second stop; common practice, no source."""
GROUP_SPREAD = (0.02, 0.05)
"""Strongest to weakest group over the mean: above the first look again, above the second stop; a guess."""
AGEING_SPREAD = (0.5, 2.0)
"""Real loss over estimated loss that is thought possible across cells and uses; a guess."""
END_OF_LIFE_LOSS = 0.20
"""Loss at which a pack is called worn out; common practice, no source."""
AGEING_CELL_AH = 2.05
"""Ah of the cell behind the ageing formula, from memory; throughput is scaled by it, which is a guess."""
GAS_ZERO_C = 273.15
FOUR_VOLT_CELLS = (4.1, 4.25)
"""V, full voltage of the cells for which the storage window holds."""


@dataclass(frozen=True)
class CellData:
    """One round cell as its sheet or your test has it. `price` in your own money."""

    capacity_ah: float
    nominal_voltage_v: float
    max_voltage_v: float
    min_voltage_v: float
    max_discharge_a: float
    max_charge_a: float
    resistance_mohm: float
    mass_kg: float
    diameter_mm: float
    length_mm: float
    price: float = 0.0

    def __post_init__(self) -> None:
        _positive("cell", **{name: value for name, value in vars(self).items() if name != "price"})
        _not_negative("cell", price=self.price)
        if not self.min_voltage_v < self.nominal_voltage_v < self.max_voltage_v:
            raise RideError("cell", "voltages are not min < nominal < max", "check the three voltages of the sheet")


@dataclass(frozen=True)
class PackNeeds:
    """What the ride asks of the pack, at its terminals. `usable_fraction`: share of the charge you plan to use.

    `highest_voltage_v`: what controller and charger stand; None: not checked.
    """

    nominal_voltage_v: float
    energy_wh: float
    discharge_a: float
    charge_a: float = 0.0
    usable_fraction: float = 1.0
    highest_voltage_v: float | None = None

    def __post_init__(self) -> None:
        _positive("pack needs", nominal_voltage_v=self.nominal_voltage_v, energy_wh=self.energy_wh)
        _positive("pack needs", discharge_a=self.discharge_a, usable_fraction=self.usable_fraction)
        _not_negative("pack needs", charge_a=self.charge_a)
        if self.highest_voltage_v is not None:
            _positive("pack needs", highest_voltage_v=self.highest_voltage_v)
        if self.usable_fraction > 1.0:
            raise RideError("pack needs", f"usable_fraction = {self.usable_fraction:g} (above 0, to 1)", "lower it")


@dataclass(frozen=True)
class PackDesign:
    """The smallest pack that meets the needs. `decided_by`: the need that set the parallel count.

    Energy and capacity are the sheet's at a low rate; resistance is the cells' alone.
    """

    series: int
    parallel: int
    decided_by: Literal["energy", "discharge current", "charge current"]
    nominal_voltage_v: float
    full_voltage_v: float
    empty_voltage_v: float
    capacity_ah: float
    energy_wh: float
    resistance_mohm: float
    sag_at_full_current_v: float
    cell_discharge_a: float
    cell_charge_a: float
    cell_mass_kg: float
    pack_mass_kg: float
    cost: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class Envelope:
    """Outer size of a block of standing round cells, without case; `volume_l` in litres."""

    length_mm: float
    width_mm: float
    height_mm: float
    volume_l: float
    cell_share: float


@dataclass(frozen=True)
class CurrentVerdict:
    """Current of one cell against its rating."""

    cell_current_a: float
    limit_a: float
    verdict: Verdict
    reason: str


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
class Ageing:
    """Capacity lost by rest and by cycling, an estimate for one published cell; low and high are a guessed range."""

    calendar_loss_percent: float
    cycle_loss_percent: float
    loss_percent: float
    loss_low_percent: float
    loss_high_percent: float
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


@dataclass(frozen=True)
class Grouping:
    """Which cell (index into the list given) sits in which group, and how even the groups are.

    `weakest_group_fraction` is the weakest group over the mean, the number a build file asks for.
    """

    groups: tuple[tuple[int, ...], ...]
    spare: tuple[int, ...]
    group_capacity_ah: tuple[float, ...]
    weakest_ah: float
    weakest_group_fraction: float
    spread_percent: float
    verdict: Verdict
    reason: str


def design_pack(
    cell: CellData,
    needs: PackNeeds,
    overhead_mass_fraction: float = 0.15,
    overhead_cost_fraction: float = 0.3,
    fixed_cost: float = 0.0,
) -> PackDesign:
    """Smallest pack of `cell` that meets `needs`: nearest series count, then the parallel count of the hungriest need.

    Voltages are met to the nearest cell, as the trade does (48 V is 13 cells of 3.6 V): common practice, no source.
    Overheads (case, strips, board, leads) are shares of the cells' mass and price: guesses; `fixed_cost` is added.
    Raises RideError for a full pack above `highest_voltage_v`. Source: circuit laws.
    """
    _not_negative("pack", overhead_mass_fraction=overhead_mass_fraction, fixed_cost=fixed_cost)
    _not_negative("pack", overhead_cost_fraction=overhead_cost_fraction)
    series = max(1, round(needs.nominal_voltage_v / cell.nominal_voltage_v))
    full = series * cell.max_voltage_v
    if needs.highest_voltage_v is not None and full > needs.highest_voltage_v * (1.0 + ROUNDING):
        what = f"{series} cells in series reach {full:.1f} V (at most {needs.highest_voltage_v:g})"
        raise RideError("pack", what, "choose a lower nominal voltage or a controller that stands more")
    nominal = series * cell.nominal_voltage_v
    group_wh = nominal * cell.capacity_ah * needs.usable_fraction
    wanted: dict[Literal["energy", "discharge current", "charge current"], float] = {
        "energy": needs.energy_wh / group_wh,
        "discharge current": needs.discharge_a / cell.max_discharge_a,
        "charge current": needs.charge_a / cell.max_charge_a,
    }
    decided_by = max(wanted, key=lambda need: wanted[need])
    parallel = max(1, math.ceil(wanted[decided_by] * (1.0 - ROUNDING)))
    count = series * parallel
    resistance = cell.resistance_mohm * series / parallel
    sag = needs.discharge_a * resistance * 1e-3
    driving = judge_cell_current(needs.discharge_a, parallel, cell.max_discharge_a, "driving")
    verdict, reason = _judge_design(needs, nominal, sag, driving)
    return PackDesign(
        series, parallel, decided_by, nominal, full, series * cell.min_voltage_v, parallel * cell.capacity_ah,
        nominal * parallel * cell.capacity_ah, resistance, sag, needs.discharge_a / parallel, needs.charge_a / parallel,
        count * cell.mass_kg, count * cell.mass_kg * (1.0 + overhead_mass_fraction),
        count * cell.price * (1.0 + overhead_cost_fraction) + fixed_cost, verdict, reason,
    )  # fmt: skip


def judge_cell_current(pack_current_a: float, parallel: int, limit_a: float, way: str = "driving") -> CurrentVerdict:
    """Current of each of `parallel` cells, evenly shared, against its continuous rating [A]. Limits: a guess."""
    _whole("pack", parallel=parallel)
    _positive("pack", limit_a=limit_a)
    _not_negative("pack", pack_current_a=pack_current_a)
    each = pack_current_a / parallel
    share = each / limit_a
    text = f"{each:.2f} A a cell {way}, {share:.0%} of its rating"
    if share > 1.0 + ROUNDING:
        return CurrentVerdict(each, limit_a, "stop", text + ": more cells in parallel or less current")
    if share > EASY_CURRENT_SHARE:
        return CurrentVerdict(each, limit_a, "look again", text + ": warm in a closed case")
    return CurrentVerdict(each, limit_a, "fine", text)


def measure_block(cell: CellData, cells: int, rows: int, packing: Packing = "hex", gap_mm: float = 0.5) -> Envelope:
    """Outer size [mm] of `cells` standing cells in `rows` rows with `gap_mm` between them (holders, paper).

    Hexagonal rows lie sqrt(3)/2 of the pitch apart, every other one shifted by half a pitch. `cell_share` is the share
    of the block that is cell, tending to pi/4 (square) or pi/(2 sqrt 3) (hex) without gaps. Source: geometry.
    """
    _whole("block", cells=cells, rows=rows)
    _not_negative("block", gap_mm=gap_mm)
    if packing not in ("square", "hex"):
        raise RideError("block", f"packing = {packing!r} (square, hex)", "choose one of the two")
    if rows > cells:
        raise RideError("block", f"{rows} rows for {cells} cells", "fewer rows")
    pitch = cell.diameter_mm + gap_mm
    in_row = math.ceil(cells / rows)
    shift = pitch / 2.0 if packing == "hex" and rows > 1 else 0.0
    length = (in_row - 1) * pitch + cell.diameter_mm + shift
    width = (rows - 1) * pitch * (HEX_ROW if packing == "hex" else 1.0) + cell.diameter_mm
    volume_mm3 = length * width * cell.length_mm
    of_cells = cells * math.pi / 4.0 * cell.diameter_mm**2 * cell.length_mm
    return Envelope(length, width, cell.length_mm, volume_mm3 * 1e-6, of_cells / volume_mm3)


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
    `resistance_mohm` of the cell should be its DC resistance over 30 s or more; slow diffusion is left out, so real
    tails are longer. `cutoff_fraction`: end current over capacity [1/h]. Raises RideError for input out of range.
    Source: Thevenin circuit (closed form); slope k from Chen et al. 2020.
    """
    _whole("charging", series=series, parallel=parallel)
    _positive("charging", charge_a=charge_a, cutoff_fraction=cutoff_fraction)
    if not 0.0 <= start_fraction < 1.0:
        raise RideError("charging", f"start_fraction = {start_fraction:g} (0 to below 1)", "give the charge left")
    each, end = charge_a / parallel, cutoff_fraction * cell.capacity_ah
    if each <= end:
        what = f"{each:.2f} A a cell is below the cut-off of {end:.2f} A"
        raise RideError("charging", what, "more current or a lower cutoff_fraction")
    tau_h = cell.resistance_mohm * 1e-3 * cell.capacity_ah / OCV_SLOPE_AT_FULL_V
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


def estimate_ageing(
    capacity_ah: float,
    years: float,
    cycles: float,
    depth_fraction: float,
    mean_voltage_v: float = 3.7,
    temperature_c: float = 20.0,
) -> Ageing:
    """Capacity lost [%] after `years` with `cycles` of depth `depth_fraction`: a guess with a range, no promise.

    Calendar `(7.543 V - 23.75) 1e6 exp(-6976 / T) t^0.75`, t in days, T in K; cycling
    `(7.348e-3 (V - 3.667)^2 + 7.6e-4 + 4.081e-3 depth) sqrt(Q)`, Q in Ah put through a 2.05 Ah cell.
    `capacity_ah`: one cell. Valid 3.3 to 4.1 V and 0 to 50 degC, to some 30 % of loss; no knee, no cold charging.
    Raises RideError outside. Source: Schmalstieg et al. 2014, J. Power Sources 257:325-334, formulas from memory.
    """
    _positive("ageing", capacity_ah=capacity_ah)
    _not_negative("ageing", years=years, cycles=cycles)
    for name, value, low, high in (
        ("depth_fraction", depth_fraction, 0.0, 1.0),
        ("mean_voltage_v", mean_voltage_v, 3.3, 4.1),
        ("temperature_c", temperature_c, 0.0, 50.0),
    ):
        if not low <= value <= high:
            raise RideError("ageing", f"{name} = {value:g} ({low:g} to {high:g})", "the formula holds no further")
    stress = (7.543 * mean_voltage_v - 23.75) * 1e6 * math.exp(-6976.0 / (temperature_c + GAS_ZERO_C))
    calendar = stress * (365.25 * years) ** 0.75
    # A cycle is a discharge and a charge; a larger cell is worn by as much less per Ah.
    throughput_ah = 2.0 * cycles * depth_fraction * AGEING_CELL_AH
    cycling = (7.348e-3 * (mean_voltage_v - 3.667) ** 2 + 7.6e-4 + 4.081e-3 * depth_fraction) * math.sqrt(throughput_ah)
    loss = calendar + cycling
    low, high = (min(1.0, factor * loss) for factor in AGEING_SPREAD)
    verdict: Verdict = "fine" if high <= END_OF_LIFE_LOSS else "look again"
    reason = f"{loss:.0%} lost, {low:.0%} to {high:.0%} thought possible; {END_OF_LIFE_LOSS:.0%} is called worn out"
    return Ageing(100.0 * calendar, 100.0 * cycling, 100.0 * loss, 100.0 * low, 100.0 * high, verdict, reason)


def care_voltages(cell: CellData, series: int) -> CareVoltages:
    """Full, balancing, storage and empty voltages [V] of a pack. Common practice, no source.

    Raises RideError for cells that are not full at 4.1 to 4.25 V, whose storage voltage is another.
    """
    _whole("pack", series=series)
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


def judge_group_voltages(voltages_v: Sequence[float]) -> tuple[Verdict, str]:
    """Verdict and reason on the resting voltages [V] of the groups of one pack. Limits: common practice, no source."""
    if len(voltages_v) < 2:
        raise RideError("group voltages", f"{len(voltages_v)} groups (2 or more)", "measure every group")
    for value in voltages_v:
        _positive("group voltages", voltages_v=value)
    difference = max(voltages_v) - min(voltages_v)
    words = f"the groups differ by {1e3 * difference:.0f} mV at rest"
    return _judge_limits(difference, GROUP_DIFFERENCE_V, words)


def group_cells(capacities_ah: Sequence[float], series: int, parallel: int) -> Grouping:
    """Sort measured cells into `series` groups of `parallel` of nearly equal capacity [Ah]; the weakest are spared.

    Serpentine over the sorted cells, then the swap of two cells that evens the groups most, again and again until none
    helps (sum of squared group capacities falls each time, so it ends). Not proven best, but no swap betters it.
    Raises RideError for too few cells or capacities not above zero. Source: textbook local search.
    """
    _whole("pack", series=series, parallel=parallel)
    count = series * parallel
    if len(capacities_ah) < count:
        raise RideError("cell grouping", f"{len(capacities_ah)} cells for {count} places", "measure more cells")
    for value in capacities_ah:
        _positive("cell grouping", capacities_ah=value)
    order = sorted(range(len(capacities_ah)), key=lambda index: -capacities_ah[index])
    used = np.array(order[:count])
    lap = np.arange(series)
    place = np.concatenate([lap if row % 2 == 0 else lap[::-1] for row in range(parallel)])
    values = np.array([capacities_ah[index] for index in used], dtype=float)
    _even_out(values, place, series)
    sums = np.bincount(place, weights=values, minlength=series)
    groups = tuple(tuple(sorted(used[place == group].tolist())) for group in range(series))
    weakest, mean = float(sums.min()), float(sums.mean())
    spread = float(sums.max() - sums.min()) / mean
    words = f"strongest and weakest group are {spread:.2%} of the mean apart"
    verdict, reason = _judge_limits(spread, GROUP_SPREAD, words)
    spare = tuple(sorted(order[count:]))
    return Grouping(
        groups, spare, tuple(sums.tolist()), weakest, weakest / mean, 100.0 * spread, verdict, reason
    )  # fmt: skip


def _even_out(values: np.ndarray, place: np.ndarray, series: int) -> None:
    """Swap cells between groups, in `place`, until no swap lowers the sum of squared group capacities."""
    difference = values[:, None] - values[None, :]
    # Gains below this are rounding of the squared sums; without it two swaps could undo each other for ever.
    least_gain = 1e-12 * float(values.sum()) ** 2
    while True:
        sums = np.bincount(place, weights=values, minlength=series)[place]
        change = 2.0 * difference * (difference - (sums[:, None] - sums[None, :]))
        change[place[:, None] == place[None, :]] = 0.0
        best = int(change.argmin())
        first, second = divmod(best, len(values))
        if change[first, second] >= -least_gain:
            return
        place[first], place[second] = place[second], place[first]


def _judge_limits(value: float, limits: tuple[float, float], words: str) -> tuple[Verdict, str]:
    if value > limits[1]:
        return "stop", words + ": do not use it like this"
    return ("look again" if value > limits[0] else "fine"), words


def _judge_charge(each_a: float, limit_a: float, temperature_c: float) -> tuple[Verdict, str]:
    if limit_a <= 0.0:
        return "stop", f"no charging at {temperature_c:g} °C: below 0 °C lithium plates out, above 55 °C cells are hurt"
    if each_a > limit_a * (1.0 + ROUNDING):
        return "stop", f"{each_a:.2f} A a cell: at most {limit_a:.2f} A at {temperature_c:g} °C"
    if temperature_c > HOT_CHARGE_C:
        return "look again", f"{temperature_c:g} °C: most sheets end charging at {HOT_CHARGE_C:g} °C"
    return "fine", f"{each_a:.2f} A a cell, at most {limit_a:.2f} A at {temperature_c:g} °C"


def _judge_design(needs: PackNeeds, nominal_v: float, sag_v: float, driving: CurrentVerdict) -> tuple[Verdict, str]:
    if sag_v >= nominal_v / 2.0:
        return "stop", f"the cells lose {sag_v:.1f} of {nominal_v:.1f} V: past the most power they can give"
    if sag_v > LARGE_SAG * nominal_v:
        return "look again", f"the cells lose {sag_v:.1f} of {nominal_v:.1f} V at full current"
    if abs(nominal_v / needs.nominal_voltage_v - 1.0) > VOLTAGE_MISS:
        return "look again", f"the nearest pack has {nominal_v:.1f} V for {needs.nominal_voltage_v:g} V wanted"
    return driving.verdict, driving.reason


def _positive(where: str, **values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            raise RideError(where, f"{name} = {value:g} (above 0)", "check the number and its unit")


def _not_negative(where: str, **values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value >= 0.0):
            raise RideError(where, f"{name} = {value:g} (0 or more)", "check the number and its unit")


def _whole(where: str, **values: int) -> None:
    for name, value in values.items():
        if not isinstance(value, Integral) or value < 1:
            raise RideError(where, f"{name} = {value} (whole, 1 or more)", "count again")
