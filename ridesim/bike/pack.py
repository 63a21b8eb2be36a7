"""The keys of cells and pack."""

from __future__ import annotations

from itertools import pairwise

from pydantic import Field, model_validator

from ridesim.schema.section import Number, Section, fault, key
from ridesim.schema.tolerance import by_source


class Cell(Section):
    """One lithium-ion cell. Can live in a part file of its own."""

    name: str = key("cell", "what you call it")
    capacity_ah: float = key(
        ...,
        "measured at a low rate",
        0.1,
        500,
        tolerance=by_source("3 %", "3 %", "1 %", "sheets against cyclers, guess"),
    )
    resistance_mohm: float = key(
        ...,
        "fast part, at 25 °C and half charge",
        0.05,
        1000,
        tolerance=by_source("x/ 1.5", "x/ 1.3", "10 %", "a measured cell against its own parameter set: 60 mV apart"),
    )
    polarisation_resistance_mohm: float = key(
        12.0,
        "slow part of the resistance (default: guess)",
        0,
        1000,
        tolerance=by_source("x/ 1.5", "x/ 1.3", "10 %", "as the fast part"),
    )
    polarisation_time_s: float = key(
        30.0,
        "time constant of the slow part (default: guess)",
        1,
        3600,
        tolerance=by_source("x/ 1.5", "x/ 1.3", "10 %", "as the fast part"),
    )
    activation_kj_per_mol: float = key(
        20.0,
        "how the fast part rises in the cold, Arrhenius (guess)",
        0,
        100,
        tolerance=by_source("x/ 1.5", "x/ 1.3", "10 %", "parameter sets differ by 3 at -20 degC"),
    )
    polarisation_activation_kj_per_mol: float = key(
        0.0,
        "how the slow part rises in the cold; 0 = not at all",
        0,
        100,
        tolerance=by_source("x/ 1.5", "x/ 1.3", "10 %", "as the fast part"),
    )
    steady_resistance_mohm: float | None = key(
        None,
        "under a lasting load, fast and slow part together, at 25 °C and half charge; empty: added up. Given, the slow "
        "part is what it has more than resistance_mohm",
        0.05,
        2000,
        tolerance=by_source("x/ 1.5", "x/ 1.3", "10 %", "as the fast part"),
    )
    steady_resistance_0_c_mohm: float | None = key(
        None,
        "the same at 0 °C; given, it says how both parts rise in the cold",
        0.05,
        10000,
        tolerance=by_source("x/ 1.5", "x/ 1.3", "10 %", "as the fast part"),
    )
    cold_capacity_loss_percent: float = key(
        6.0,
        "charge out of reach at 0 °C and 1C, beyond what resistance takes; none from 20 °C on",
        0,
        40,
        tolerance=by_source("x/ 2.5", "x/ 1.5", "20 %", "a measured 5 Ah cell kept 15 %, a computed one 3 %"),
    )
    cold_capacity_activation_kj_per_mol: float = key(
        35.0,
        "how that loss grows in the cold, Arrhenius (guess)",
        5,
        100,
        tolerance=by_source("x/ 1.3", "x/ 1.3", "20 %", "guess"),
    )
    max_voltage_v: float = key(4.2, "full", 2, 5)
    min_voltage_v: float = key(2.5, "empty, under load", 1, 4)
    charge_fraction: tuple[Number, ...] = Field(
        (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0),
        description="points of the voltage curve, rising from 0 to 1",
        min_length=2,
    )
    open_circuit_v: tuple[Number, ...] = Field(
        (2.5, 3.109, 3.296, 3.485, 3.581, 3.667, 3.751, 3.841, 3.948, 4.042, 4.097, 4.2),
        description="resting voltage at these points, rising (default: Chen et al. 2020, an NMC cell)",
        min_length=2,
    )
    resistance_curve: tuple[Number, ...] = Field(
        (), description="fast resistance at these points, 1 = resistance_mohm; empty: flat"
    )
    max_discharge_a: float = key(..., "continuous rating", 0.1, 500)
    max_charge_a: float = key(..., "charging rating", 0, 500)
    mass_kg: float = key(
        ..., "one cell", 0.005, 10, tolerance=by_source("10 %", "3 %", "0.5 %", "guess; 0.5 %: a scale")
    )
    diameter_mm: float = key(18.3, "of a round cell", 5, 200)
    length_mm: float = key(65.0, "of a round cell", 10, 500)
    price: float = key(0.0, "in your own money", 0, 1000)

    @model_validator(mode="after")
    def _curve(self) -> Cell:
        _rising("charge_fraction", self.charge_fraction)
        if self.charge_fraction[0] != 0.0 or self.charge_fraction[-1] != 1.0:
            raise fault("charge_fraction", "does not run from 0 to 1; give the curve from empty to full")
        if len(self.open_circuit_v) != len(self.charge_fraction):
            raise fault("open_circuit_v", "has not as many values as charge_fraction; give one for each point")
        _rising("open_circuit_v", self.open_circuit_v)
        if self.open_circuit_v[0] <= 0.0 or self.open_circuit_v[-1] > 6.0:
            raise fault("open_circuit_v", "does not lie between 0 and 6 V; give volts of one cell")
        if self.resistance_curve and len(self.resistance_curve) != len(self.charge_fraction):
            raise fault(
                "resistance_curve", "has not as many values as charge_fraction; give one for each point, or none"
            )
        if any(not 0.05 <= factor <= 20.0 for factor in self.resistance_curve):
            raise fault("resistance_curve", "has a factor outside 0.05 to 20; 1 stands for resistance_mohm")
        self._steady()
        if self.max_voltage_v <= self.min_voltage_v:
            raise fault("max_voltage_v", "is not more than min_voltage_v; check both in the data sheet")
        return self

    def _steady(self) -> None:
        whole, cold = self.steady_resistance_mohm, self.steady_resistance_0_c_mohm
        if whole is not None and whole < self.resistance_mohm:
            raise fault(
                "steady_resistance_mohm",
                f"is {whole:g}, less than the fast part alone ({self.resistance_mohm:g}); a lasting load sees both",
            )
        if cold is not None and whole is None:
            raise fault("steady_resistance_0_c_mohm", "needs steady_resistance_mohm beside it, at 25 °C; give both")
        if cold is not None and whole is not None and cold < whole:
            raise fault("steady_resistance_0_c_mohm", f"is {cold:g}, less than at 25 °C ({whole:g}); the cold adds")

    @property
    def slow_mohm(self) -> float:
        """The slow part of the resistance at 25 °C, mohm: by its own key, or what the stated whole has more."""
        whole = self.steady_resistance_mohm
        return self.polarisation_resistance_mohm if whole is None else whole - self.resistance_mohm


def _rising(name: str, values: tuple[float, ...]) -> None:
    for before, after in pairwise(values):
        if not after > before:
            raise fault(
                name, f"does not rise ({before:g} is followed by {after:g}); list the points from empty to full"
            )


class Pack(Section):
    """Cells in series and parallel, welded and wired."""

    series: int = key(..., "groups in series", 1, 200)
    parallel: int = key(..., "cells in a group", 1, 200)
    cell: Cell = Field(..., description="the cell, or the name of a part")
    weakest_group_fraction: float = key(
        0.98,
        "capacity of the weakest group to the mean (default: guess)",
        0.2,
        1,
        tolerance=by_source(0.01, None, 0.005, "guess"),
    )
    capacity_fraction: float = key(1.0, "capacity left by age", 0.1, 1)
    resistance_factor: float = key(1.0, "cell resistance by age", 0.5, 10)
    interconnect_mohm: float = key(
        8.0,
        "strips and welds of the whole pack (default: guess)",
        0,
        1000,
        tolerance=by_source("x/ 1.5", "x/ 1.3", "10 %", "guess"),
    )
    wiring_mohm: float = key(
        8.0,
        "leads, connectors and fuse (default: guess)",
        0,
        1000,
        tolerance=by_source("x/ 1.5", "x/ 1.3", "10 %", "guess"),
    )
    resistance_mohm: float | None = key(
        None,
        "whole pack with its leads, without the slow part and ageing, at 25 °C and half charge; empty: added up",
        0.1,
        5000,
        tolerance=by_source("x/ 1.5", "10 %", "5 %", "two loads and a good meter, guess"),
    )
    open_circuit_offset_v: float = key(
        0.0,
        "added to the whole pack's resting voltage: what its cells' curve does not tell",
        -30,
        30,
        tolerance=by_source("exact", None, 0.1, "0.1 V: a good meter; what no one measured is the curve's"),
    )
    extra_mass_kg: float = key(
        0.8,
        "case, strips, board, leads (default: guess)",
        0,
        50,
        tolerance=by_source("25 %", "5 %", "0.5 %", "guess; 0.5 %: a scale"),
    )
    start_charge_fraction: float = key(
        1.0,
        "charge at the start of the ride",
        0.01,
        1,
        tolerance=by_source(0.01, 0.02, 0.01, "guess: chargers stop a little early"),
    )
    charge_floor_fraction: float = key(0.0, "charge at which the rider stops using it", 0, 0.9)
    start_temperature_c: float | None = key(None, "empty: as the air", -30, 60)
    to_air_w_per_k: float | None = key(
        None,
        "cooling of the case; empty: estimated from the cells",
        0.01,
        100,
        tolerance=by_source("x/ 1.6", "x/ 1.4", "12 %", "correlations for bluff bodies differ by 1.3 to 2"),
    )
    temperature_limit_c: float = key(60.0, "hottest allowed (default: common in cell data sheets)", 20, 100)

    @property
    def resistance_share(self) -> float:
        """By how much cells, strips and leads together are off the stated whole; 1 where none is stated."""
        if self.resistance_mohm is None:
            return 1.0
        return self.resistance_mohm / self.added_resistance_mohm

    @property
    def added_resistance_mohm(self) -> float:
        """Fast resistance of cells, strips and leads, added up, before ageing, mohm."""
        cells = self.series / self.parallel * self.cell.resistance_mohm
        return cells + self.interconnect_mohm + self.wiring_mohm

    @property
    def cells(self) -> int:
        """Number of cells."""
        return self.series * self.parallel

    @property
    def mass_kg(self) -> float:
        """Mass of cells and case, kg."""
        return self.cells * self.cell.mass_kg + self.extra_mass_kg
