"""A pack from what is wanted: for each cell its counts, size, charging, ageing and care, side by side.

Sources stand in `design`, `care` and `ageing`. Show SAFETY with every result.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import get_args

from pydantic import ValidationError

from ridesim.answers import Answer
from ridesim.bike.files import part_names, place_parts
from ridesim.bike.schema import Cell
from ridesim.errors import BuildError, RideError, RidesimError
from ridesim.ride.judge import look_again
from ridesim.workshop.limits import (
    Verdict,
    require_between,
    require_known,
    require_not_negative,
    require_positive,
    require_whole,
    worst_verdict,
)
from ridesim.workshop.pack.ageing import NAUMANN_C_RATE, Ageing, WornOutError, age_oxide, age_phosphate
from ridesim.workshop.pack.care import FOUR_VOLT_CELLS, CareVoltages, ChargePlan, care_voltages, plan_charge
from ridesim.workshop.pack.design import (
    SAFETY,
    CellData,
    Envelope,
    PackDesign,
    Packing,
    PackNeeds,
    design_pack,
    measure_block,
    nominal_cell_v,
)

CHARGER_C_RATE = 0.25
"""Charger's current over capacity [1/h] where none is named (guess: a four-hour charge)."""

FULL_OF_OXIDE_V = 4.0
"""Cells full from here on are oxides of nickel, manganese or cobalt, as Schmalstieg's ageing law was made for."""
THINKABLE_C = (-60.0, 120.0)
"""degC, beyond which a cell's temperature is a slip of the pen (guess)."""
PHOSPHATE_V = (3.5, 3.8)
"""Full voltage of iron-phosphate cells, as Naumann's laws were made for."""


@dataclass(frozen=True)
class Care:
    """How the pack will be charged and used. `temperature_c` is the cells' when charged, `rest_*` between the rides."""

    charger_a: float | None = None
    temperature_c: float = 20.0
    years: float = 3.0
    cycles: float = 300.0
    depth_fraction: float = 0.6
    rows: int | None = None
    packing: Packing = "hex"
    gap_mm: float = 0.5
    rest_temperature_c: float = 20.0
    rest_charge_fraction: float = 0.5
    top_charge_fraction: float = 1.0

    def __post_init__(self) -> None:
        for name in ("depth_fraction", "rest_charge_fraction", "top_charge_fraction"):
            require_between("pack", name, getattr(self, name), 0.0, 1.0)
        for name in ("temperature_c", "rest_temperature_c"):
            require_between("pack", name, getattr(self, name), *THINKABLE_C)
        require_not_negative("pack", years=self.years, cycles=self.cycles, gap_mm=self.gap_mm)
        if self.depth_fraction > self.top_charge_fraction:
            what = f"a depth of {self.depth_fraction:g} from a top charge of {self.top_charge_fraction:g}"
            raise RideError("pack", what, "charge higher or use less")
        if self.charger_a is not None:
            require_positive("pack", charger_a=self.charger_a)
        if self.rows is not None:
            require_whole("pack", rows=self.rows)
        require_known("pack.packing", self.packing, get_args(Packing))


@dataclass(frozen=True)
class PackPlan:
    """One cell's pack. `care` and `ageing` are None for cells or uses without a law; `no_ageing` says why."""

    part: str
    cell: CellData
    design: PackDesign
    block: Envelope
    rows: int
    packing: Packing
    gap_mm: float
    charge: ChargePlan
    ageing: Ageing | None
    no_ageing: str
    care: CareVoltages | None
    verdict: Verdict
    reason: str


@dataclass(frozen=True, eq=False, repr=False)
class PackChoice(Answer):
    """Every cell's pack, the lightest that is fine first; `refused` tells why a cell cannot do it."""

    needs: PackNeeds
    plans: tuple[PackPlan, ...]
    refused: tuple[tuple[str, str], ...]
    verdict: Verdict
    reason: str
    safety: tuple[str, ...] = SAFETY


def load_cell(name: str) -> Cell:
    """Return a cell part by name: in parts/ of the working folder, or shipped. Raises BuildError."""
    layer = place_parts({"pack": {"cell": name}}, "--cell", Path())
    try:
        return Cell.model_validate(layer.data["pack"]["cell"])
    except ValidationError as fault:
        first = fault.errors()[0]
        key = ".".join(str(step) for step in first["loc"]) or "cell"
        raise BuildError(f"{name}, {key}", first["msg"], "mend the part") from None


def cell_names() -> tuple[str, ...]:
    """Return the names of all cell parts at hand."""
    return tuple(name for name in part_names(Path()) if name.startswith("cell-"))


def cell_data(cell: Cell, resistance_factor: float = 1.0) -> CellData:
    """Return a cell as the pack calculators take it; its resistance is the fast and the slow part together."""
    return CellData(
        capacity_ah=cell.capacity_ah,
        nominal_voltage_v=nominal_cell_v(cell.max_voltage_v),
        max_voltage_v=cell.max_voltage_v,
        min_voltage_v=cell.min_voltage_v,
        max_discharge_a=cell.max_discharge_a,
        max_charge_a=max(cell.max_charge_a, 1e-6),  # a cell that may not be charged at all is still a cell
        resistance_mohm=(cell.resistance_mohm + cell.slow_mohm) * resistance_factor,
        mass_kg=cell.mass_kg,
        diameter_mm=cell.diameter_mm,
        length_mm=cell.length_mm,
        price=cell.price,
    )


def plan_packs(names: tuple[str, ...], needs: PackNeeds, care: Care) -> PackChoice:
    """Plan a pack of each named cell part; the lightest that is fine comes first. Raises RidesimError if none can."""
    plans, refused, cures = [], [], []
    for name in names:
        cell = load_cell(name)
        try:
            plans.append(plan_pack(name, cell_data(cell), needs, care))
        except RidesimError as error:
            if len(names) == 1:
                raise
            refused.append((name, f"{error.where}: {error.what}"))
            cures.append(getattr(error, "to_do", ""))
    if not plans:
        first = refused[0]
        raise BuildError(first[0], first[1], cures[0] or "choose another cell or change the needs")
    order: tuple[Verdict, ...] = ("fine", "look again", "stop")
    plans.sort(key=lambda plan: (order.index(plan.verdict), plan.design.pack_mass_kg))
    best = plans[0]
    layout = f"{best.design.series} in series, {best.design.parallel} in parallel of {best.part}"
    return PackChoice(needs, tuple(plans), tuple(refused), best.verdict, f"{layout}: {best.reason}")


def plan_pack(part: str, cell: CellData, needs: PackNeeds, care: Care) -> PackPlan:
    """Plan a pack of one cell. Raises RidesimError."""
    design = design_pack(cell, needs)
    rows = care.rows if care.rows is not None else design.parallel
    block = measure_block(cell, design.series * design.parallel, rows, care.packing, care.gap_mm)
    gentle = min(CHARGER_C_RATE * cell.capacity_ah, cell.max_charge_a) * design.parallel
    charger = gentle if care.charger_a is None else care.charger_a
    require_positive("charging", charger_a=charger)
    charge = plan_charge(cell, design.series, design.parallel, charger, temperature_c=care.temperature_c)
    ageing, no_ageing, worn = _age(cell, needs, care)
    low, high = FOUR_VOLT_CELLS
    voltages = care_voltages(cell, design.series) if low <= cell.max_voltage_v <= high else None
    findings = [(design.verdict, design.reason), (charge.verdict, charge.reason)]
    findings += [] if ageing is None else [(ageing.verdict, f"ageing: {ageing.reason}")]
    findings += [(look_again("ageing", no_ageing).verdict, f"ageing: {no_ageing}")] if worn else []
    verdict, reason = worst_verdict(findings, design.reason)
    return PackPlan(
        part, cell, design, block, rows, care.packing, care.gap_mm, charge, ageing, no_ageing, voltages, verdict, reason
    )  # fmt: skip


def _age(cell: CellData, needs: PackNeeds, care: Care) -> tuple[Ageing | None, str, bool]:
    """Return the age after the stated years, or None, why no law tells it, and whether the cells are worn out then."""
    use = (cell.capacity_ah, care.years, care.cycles, care.depth_fraction)
    rest = (care.rest_charge_fraction, care.rest_temperature_c)
    low, high = PHOSPHATE_V
    try:
        if cell.max_voltage_v >= FULL_OF_OXIDE_V:
            return age_oxide(*use, *rest, care.top_charge_fraction), "", False
        if low <= cell.max_voltage_v <= high:
            return age_phosphate(*use, *rest, c_rate=_usual_c_rate(needs)), "", False
    except RideError as error:
        return None, f"{error.where}: {error.what}; {error.to_do}", isinstance(error, WornOutError)
    return None, f"no law for cells that are full at {cell.max_voltage_v:g} V", False


def _usual_c_rate(needs: PackNeeds) -> float:
    """Half the most power over the energy [1/h], within the law's rates: a ride draws its most now and then (guess)."""
    least, most = NAUMANN_C_RATE
    return min(max(0.5 * needs.discharge_a * needs.nominal_voltage_v / needs.energy_wh, least), most)
