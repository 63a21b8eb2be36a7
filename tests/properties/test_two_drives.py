"""Random bikes of two different drives: every ride ends with an answer, its ledger closed, its limits kept."""

from __future__ import annotations

import copy
import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridesim.bike.load import build_from_dict, load_build
from ridesim.engine.state import Stop
from ridesim.errors import BuildError
from ridesim.ride.drives import each_drive
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_hills

CONFIGS = Path(__file__).parents[2] / "configs"
NAMES = ("longtail-belt", "longtail-hub", "longtail-mid-drive", "longtail-freewheel", "longtail-two-stage")
CHANGED = {
    "motor_current_limit_a": (10.0, 120.0), "pack_current_limit_a": (5.0, 80.0), "brake_current_limit_a": (0.0, 60.0),
    "charge_current_limit_a": (2.0, 30.0),
}  # fmt: skip
NOT_OF_A_SECOND = ("gears", "through_pedal_chain", "chain_force_limit_n", "motors", "motors_share")


def drawn(seed: int) -> dict[str, Any]:
    """Two drives of demo builds on the first one's bike, some of their numbers drawn anew."""
    draw = random.Random(seed)
    bike, other = (copy.deepcopy(dict(load_build(CONFIGS / f"{draw.choice(NAMES)}.toml").data)) for _ in range(2))
    second = {part: other.get(part, {}) for part in ("drive", "motor", "controller")}
    for key in NOT_OF_A_SECOND:
        second["drive"].pop(key, None)
    second["drive"] |= {"driven_wheel": draw.choice(("front", "rear")), "coupling": draw.choice(("fixed", "freewheel"))}
    law = draw.choice(("torque", "torque", "voltage", "governor", "assist"))
    for drive in (bike, second):
        box = drive["controller"]
        box["throttle_law"] = law
        box |= {key: round(draw.uniform(*span), 1) for key, span in CHANGED.items() if draw.random() < 0.4}
        for key in ("full_current_above_v", "no_current_below_v"):
            box.pop(key, None)
        drive["motor"]["resistance_mohm"] *= 3.0 ** draw.uniform(-1.0, 1.0)
    bike["second"] = second
    bike["pack"] |= {"start_charge_fraction": draw.choice((1.0, 0.7, 0.2)), "parallel": draw.choice((2, 4, 8))}
    bike["bicycle"]["grip"] = draw.choice((0.8, 0.2))
    return bike


def ridden(seed: int) -> Ride | None:
    draw = random.Random(1000 + seed)
    try:
        loaded = build_from_dict(drawn(seed))
    except BuildError:
        return None
    road = draw.choice((make_hills(1500.0, draw.uniform(5.0, 30.0), 750.0), make_climb(800.0, draw.uniform(-8.0, 9.0))))
    return simulate(
        loaded, road, cruise_speed_km_h=draw.choice((15.0, 25.0, 40.0)), trace=False,
        throttle=draw.choice((None, None, 1.0)) if draw.random() < 0.5 else None,
    )  # fmt: skip


@pytest.mark.parametrize("first", range(0, 48, 12))
def test_every_ride_has_an_answer_and_keeps_its_limits(first: int):
    rode = [ride for seed in range(first, first + 12) if (ride := ridden(seed)) is not None]
    assert len(rode) >= 8
    for ride in rode:
        assert ride.raw.stop not in (Stop.NOT_FINITE, Stop.RUNNING)
        assert abs(ride.ledger_residual_fraction) < 1e-7
        assert ride.raw.second is not None and np.isfinite(list(ride.ledger.values())).all()
        for drive in each_drive(ride):
            f, box, over = drive.figures, drive.build.controller, drive.figures.over_speed_s
            assert f.peak_motor_current_a <= box.motor_current_limit_a * (1.0 + 1e-6)
            assert over > 0.0 or f.peak_brake_current_a <= box.brake_current_limit_a * (1.0 + 1e-6)
            assert over > 0.0 or f.peak_pack_current_a <= box.pack_current_limit_a * (1.0 + 5e-3)
