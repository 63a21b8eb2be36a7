"""The compiled ride is made once: whatever rides, single or in rows, with a trace or without, asks for the same one."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ridesim import load_build
from ridesim.engine import loop
from ridesim.ride.rows import ride_rows
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_hills

CONFIGS = Path(__file__).parents[2] / "configs"

ROAD = make_hills(300.0, 3.0, 300.0, start_altitude_m=50.0)


def test_single_rides_and_rows_ask_for_one_compiled_ride() -> None:
    """A whole number in place of a broken one is another signature, and compiles the ride once more: 3 to 10 s."""
    ride: Any = loop.ride
    loaded = load_build(CONFIGS / "longtail-belt.toml")
    simulate(loaded, ROAD)
    simulate(loaded, ROAD, trace=False, accuracy="draft")
    simulate(CONFIGS / "longtail-mid-drive.toml", ROAD, step_s=0.1)
    ride_rows(loaded, ROAD, {"rider.mass_kg": [70.0, 80.0]})
    one = [each for each in ride.signatures if "SecondState(" not in str(each)]  # two different drives have their own
    assert len(one) == 1, [str(each) for each in zip(*one, strict=True)]


def test_what_an_operator_makes_of_numbers_is_asked_once_and_asked_anew_afterwards():
    from numba.core.types import float64, int64
    from numba.core.types.functions import BaseFunction

    from ridesim.compiling import numbers_typed_once

    before, asked = BaseFunction.get_call_type, []

    class Operator(BaseFunction):
        def __init__(self) -> None:
            """No templates: what is asked is counted."""

        def __hash__(self) -> int:
            return 1

        def __eq__(self, other: object) -> bool:
            return self is other

    def counted(self: object, context: object, args: object, keywords: object) -> object:
        asked.append(args)
        return args

    BaseFunction.get_call_type = counted
    try:
        with numbers_typed_once():
            one, other = Operator(), Operator()
            for each in (one, one, other):
                assert each.get_call_type(None, (float64, int64), {}) == (float64, int64)
                assert each.get_call_type(None, (float64, float64), {}) == (float64, float64)
        assert len(asked) == 4
        one.get_call_type(None, (float64, int64), {})
        assert len(asked) == 5
    finally:
        BaseFunction.get_call_type = before
