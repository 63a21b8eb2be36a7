"""A pack is empty at its floor, however long the steps are there: none is drawn below it."""

from __future__ import annotations

from pathlib import Path

import pytest

from ridesim import load_build, simulate
from ridesim.bike.load import replace_keys
from ridesim.engine.state import Stop
from ridesim.road.made import make_climb


@pytest.mark.parametrize("floor", [0.0, 0.17])
@pytest.mark.parametrize("accuracy", ["draft", "normal"])
def test_a_ride_ends_when_the_pack_is_at_its_floor_and_not_a_step_later(root: Path, floor: float, accuracy: str):
    keys = {
        "pack.charge_floor_fraction": floor,
        "pack.start_charge_fraction": floor + 0.0301,
        "pack.cell.min_voltage_v": 1.0,
        "controller.full_current_above_v": 10.0,
        "controller.no_current_below_v": 9.0,
    }
    bike = replace_keys(load_build(root / "configs" / "longtail-belt.toml"), keys)
    ride = simulate(bike, make_climb(20_000.0, 2.0), accuracy=accuracy)
    assert ride.raw.stop is Stop.PACK_EMPTY
    assert ride.raw.end.charge == pytest.approx(floor, abs=2e-7)
    assert abs(ride.ledger_residual_fraction) < 1e-9
