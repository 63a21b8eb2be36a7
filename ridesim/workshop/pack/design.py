"""Designing a lithium-ion pack of round cells: counts, size, and the current of each cell.

Circuit laws and geometry are closed forms; facts of the trade say "common practice, no source"; values from memory
say so. Show SAFETY wherever a result of this module is shown. Bad input raises BuildError or RideError.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from ridesim.errors import RideError
from ridesim.ride.judge import hold
from ridesim.units import convert, to_si
from ridesim.workshop.limits import (
    Verdict,
    held,
    require_not_negative,
    require_positive,
    require_whole,
    worst_verdict,
)

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
VOLTAGE_MISS = 0.05
"""Nominal voltage off the wish by more than this is worth a second look; a guess."""
NOMINAL_CELL_V: tuple[tuple[float, float], ...] = ((4.0, 3.6), (3.4, 3.2), (2.6, 2.4))
"""(full voltage from, nominal voltage) as the trade labels cells: 3.6 V oxide, 3.2 V iron phosphate, 2.4 V titanate;
common practice, no source."""
HEX_ROW = math.sqrt(3.0) / 2.0
"""Distance of rows over distance of cells in hexagonal packing (geometry)."""


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
        require_positive("cell", **{name: value for name, value in vars(self).items() if name != "price"})
        require_not_negative("cell", price=self.price)
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
        require_positive("pack needs", nominal_voltage_v=self.nominal_voltage_v, energy_wh=self.energy_wh)
        require_positive("pack needs", discharge_a=self.discharge_a, usable_fraction=self.usable_fraction)
        require_not_negative("pack needs", charge_a=self.charge_a)
        if self.highest_voltage_v is not None:
            require_positive("pack needs", highest_voltage_v=self.highest_voltage_v)
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
    require_not_negative("pack", overhead_mass_fraction=overhead_mass_fraction, fixed_cost=fixed_cost)
    require_not_negative("pack", overhead_cost_fraction=overhead_cost_fraction)
    series = max(1, round(needs.nominal_voltage_v / cell.nominal_voltage_v))
    full = series * cell.max_voltage_v
    if needs.highest_voltage_v is not None and full > needs.highest_voltage_v * (1.0 + ROUNDING):
        what = f"{series} cells in series reach {full:.1f} V (at most {needs.highest_voltage_v:g})"
        raise RideError("pack", what, f"{_fits(cell, needs.highest_voltage_v)}, or a controller that stands more")
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
    sag = needs.discharge_a * to_si(resistance, "mohm")
    driving = judge_cell_current(needs.discharge_a, parallel, cell.max_discharge_a, "driving")
    verdict, reason = _judge_design(needs, nominal, sag, driving)
    return PackDesign(
        series, parallel, decided_by, nominal, full, series * cell.min_voltage_v, parallel * cell.capacity_ah,
        nominal * parallel * cell.capacity_ah, resistance, sag, needs.discharge_a / parallel, needs.charge_a / parallel,
        count * cell.mass_kg, count * cell.mass_kg * (1.0 + overhead_mass_fraction),
        count * cell.price * (1.0 + overhead_cost_fraction) + fixed_cost, verdict, reason,
    )  # fmt: skip


def _fits(cell: CellData, highest_v: float) -> str:
    """Return the series count that a limit lets in, in words."""
    series = math.floor(highest_v / cell.max_voltage_v * (1.0 + ROUNDING))
    if series < 1:
        return "take other cells: not one of these fits"
    full, label = series * cell.max_voltage_v, series * cell.nominal_voltage_v
    return f"take {series} in series, which fit: {full:.1f} V full, --voltage {label:.1f}"


def nominal_cell_v(max_voltage_v: float) -> float:
    """Return the label voltage of a cell [V] from its full voltage. Common practice, no source. Raises BuildError."""
    require_positive("cell", max_voltage_v=max_voltage_v)
    return next((nominal for full, nominal in NOMINAL_CELL_V if max_voltage_v >= full), 0.9 * max_voltage_v)


def judge_cell_current(pack_current_a: float, parallel: int, limit_a: float, way: str = "driving") -> CurrentVerdict:
    """Current of each of `parallel` cells, evenly shared, against its continuous rating [A]. Limits: a guess."""
    require_whole("pack", parallel=parallel)
    require_positive("pack", limit_a=limit_a)
    require_not_negative("pack", pack_current_a=pack_current_a)
    each = pack_current_a / parallel
    share = each / limit_a
    text = f"{each:.2f} A a cell {way}, {share:.0%} of its rating"
    verdict = hold("pack_cell_current", each, limit_a).verdict
    tail = {"stop": ": more cells in parallel or less current", "look again": ": warm in a closed case"}
    return CurrentVerdict(each, limit_a, verdict, text + tail.get(verdict, ""))


def measure_block(cell: CellData, cells: int, rows: int, packing: Packing = "hex", gap_mm: float = 0.5) -> Envelope:
    """Outer size [mm] of `cells` standing cells in `rows` rows with `gap_mm` between them (holders, paper).

    Hexagonal rows lie sqrt(3)/2 of the pitch apart, every other one shifted by half a pitch. `cell_share` is the share
    of the block that is cell, tending to pi/4 (square) or pi/(2 sqrt 3) (hex) without gaps. Source: geometry.
    """
    require_whole("block", cells=cells, rows=rows)
    require_not_negative("block", gap_mm=gap_mm)
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
    return Envelope(length, width, cell.length_mm, convert(volume_mm3, "mm3", "l"), of_cells / volume_mm3)


def _judge_design(needs: PackNeeds, nominal_v: float, sag_v: float, driving: CurrentVerdict) -> tuple[Verdict, str]:
    past = sag_v >= nominal_v / 2.0
    sag = math.nextafter(sag_v, math.inf) if past else sag_v
    sagging = f"the cells lose {sag_v:.1f} of {nominal_v:.1f} V " + (
        "at full current: past the most power they can give" if past else "at full current")  # fmt: skip
    miss = abs(nominal_v / needs.nominal_voltage_v - 1.0)
    nearest = f"the nearest pack has {nominal_v:.1f} V for {needs.nominal_voltage_v:g} V wanted"
    return worst_verdict(
        [
            (driving.verdict, driving.reason),
            held("pack_sag", sag, nominal_v / 2.0, sagging),
            held("pack_voltage", miss, VOLTAGE_MISS, nearest),
        ],
        driving.reason,
    )
