"""What the cold keeps of a cell's charge: in closed form, nothing when warm, and the books close."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ridesim.bike.load import replace_keys
from ridesim.bike.schema import Cell
from ridesim.engine.cells import out_of_reach, steady_ohm
from ridesim.engine.circuit import cold_resistance
from ridesim.engine.params import parameters
from ridesim.errors import BuildError
from ridesim.jit import plain
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb
from ridesim.studies.steady import still_of
from ridesim.sure.uncertain import doubts_of_bike

from ..bikes import bike

BENT = {
    "pack.cell.charge_fraction": [0.0, 0.2, 1.0], "pack.cell.open_circuit_v": [2.5, 3.5, 4.2],
    "pack.cell.resistance_curve": [3.0, 1.0, 1.0],
}  # fmt: skip
LOSS = "pack.cell.cold_capacity_loss_percent"
GROWTH = "pack.cell.cold_capacity_activation_kj_per_mol"


def test_the_growth_of_what_is_kept_is_arrhenius_by_hand() -> None:
    cell = bike({LOSS: 5.0, GROWTH: 30.0}).build.pack.cell
    grown = {c: math.exp(30000.0 / 8.314462618 * (1.0 / (c + 273.15) - 1.0 / 293.15)) - 1.0 for c in (0.0, -10.0)}
    assert out_of_reach(cell, 0.0) == pytest.approx(0.05, rel=1e-12)
    assert out_of_reach(cell, -10.0) == pytest.approx(0.05 * grown[-10.0] / grown[0.0], rel=1e-12)
    assert out_of_reach(cell, -10.0, 0.5) == pytest.approx(0.5 * out_of_reach(cell, -10.0), rel=1e-12)
    assert out_of_reach(cell, 20.0) == 0.0
    assert 0.0 < out_of_reach(cell, 19.9) < 1e-3


def test_what_the_cold_adds_at_one_charge_in_closed_form() -> None:
    """At 10 % charge and 0 degC: 5 V a unit of charge over the 8 % kept, less 0.875 V at half; and the curve."""
    build = bike({**BENT, LOSS: 8.0}).build
    p, pack = parameters(build), build.pack
    one_c = pack.parallel * pack.cell.capacity_ah * pack.weakest_group_fraction * pack.capacity_fraction
    volts = pack.series * (5.0 - 0.875) * 0.08
    more = p.cell_resistance * math.exp(p.activation / 8.314462618 * (1 / 273.15 - 1 / 298.15)) * 10.0 * 0.08
    assert plain(cold_resistance)(p, 0.1, 2.0, 0.0) == pytest.approx(volts / one_c + more, rel=1e-6)
    assert plain(cold_resistance)(p, 0.5, 1.0, 0.0) == 0.0


def test_a_warm_ride_knows_nothing_of_it_bit_for_bit() -> None:
    road = make_climb(600.0, 4.0)
    for celsius in (20.0, 25.0):
        none, most = (
            simulate(bike({"weather.temperature_c": 25.0, "pack.start_temperature_c": celsius, LOSS: loss}), road,
                     trace=False) for loss in (0.0, 40.0)
        )  # fmt: skip
        assert none.figures == most.figures


def test_a_cold_ride_gets_less_and_its_books_close() -> None:
    cold = {"weather.temperature_c": -15.0, "pack.start_charge_fraction": 0.25}
    none, some = (simulate(bike({**cold, LOSS: loss}), make_climb(1500.0, 5.0), trace=False) for loss in (0.0, 10.0))
    assert some.figures.lowest_pack_voltage_v < none.figures.lowest_pack_voltage_v - 0.5
    assert abs(some.ledger_residual_fraction) < 1e-9
    assert some.figures.peak_pack_temp_c > none.figures.peak_pack_temp_c


def test_a_stated_steady_resistance_is_the_cells_at_both_temperatures() -> None:
    loaded = bike({"pack.cell.steady_resistance_mohm": 45.0, "pack.cell.steady_resistance_0_c_mohm": 81.0})
    cell, p, pack = loaded.build.pack.cell, parameters(loaded.build), loaded.build.pack
    assert steady_ohm(cell, 25.0) == pytest.approx(0.045)
    assert steady_ohm(cell, 0.0) == pytest.approx(0.081)
    groups = pack.series / pack.parallel * pack.resistance_factor
    assert (p.cell_resistance + p.polarisation_resistance) == pytest.approx(0.045 * groups)
    cold = replace_keys(loaded, {"weather.temperature_c": 0.0, LOSS: 0.0})
    still = still_of(cold.build, 0.5)
    assert still.pack_resistance - p.wiring_resistance == pytest.approx(0.081 * groups, rel=1e-9)


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ({"steady_resistance_mohm": 20.0}, "less than the fast part"),
        ({"steady_resistance_0_c_mohm": 50.0}, "needs steady_resistance_mohm"),
        ({"steady_resistance_mohm": 40.0, "steady_resistance_0_c_mohm": 39.0}, "the cold adds"),
    ],
)
def test_steady_resistances_that_cannot_be_are_refused(keys: dict[str, float], told: str) -> None:
    with pytest.raises(BuildError, match=told):
        bike({f"pack.cell.{name}": value for name, value in keys.items()})


def test_draws_take_the_cold_only_where_the_pack_is_cold() -> None:
    warm, cold = (set(doubts_of_bike(bike({"weather.temperature_c": c})).keys) for c in (20.0, 5.0))
    assert {LOSS, GROWTH} & warm == set()
    assert {LOSS, GROWTH} <= cold
    stated = set(doubts_of_bike(bike({"pack.cell.steady_resistance_mohm": 45.0})).keys)
    assert "pack.cell.polarisation_resistance_mohm" not in stated
    assert "pack.cell.steady_resistance_mohm" in stated


def test_a_cells_defaults_are_in_their_ranges() -> None:
    cell = Cell(capacity_ah=5.0, resistance_mohm=20.0, max_discharge_a=10.0, max_charge_a=3.0, mass_kg=0.07)
    kept = [out_of_reach(cell, c) for c in np.arange(-30.0, 21.0, 5.0)]
    assert all(np.diff(kept) <= 0.0)
