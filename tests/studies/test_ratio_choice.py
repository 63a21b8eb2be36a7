"""Which reduction is taken, and what is said of it: by candidates laid in by hand, just inside and just outside."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from ridesim.ride.judge import NEAR_LIMIT_K
from ridesim.studies.ratio_choice import (
    TOO_SLOW,
    Ceilings,
    RatioCase,
    Reduction,
    at_edge,
    beside_thumb,
    broken_by,
    ceilings_for,
    choose,
    rivals,
    split_words,
)

from ..bikes import bike

BOUNDS = Ceilings(140.0, 25.0, 1000.0, frozenset())


def case(ratio: float, energy: float = 10.0, **changed: Any) -> RatioCase:
    """A candidate that keeps every ceiling, but for what is changed."""
    told = {"distance_km": 5.0, "finished": True, "peak_winding_temp_c": 80.0, "total_time_s": 900.0}
    told |= {name: changed.pop(name) for name in list(changed) if name in told}
    known: dict[str, Any] = dict.fromkeys(RatioCase.__dataclass_fields__)
    known |= {
        "reduction": Reduction(ratio, teeth_in_mesh=changed.pop("mesh", None)), "total_ratio": 2.0 * ratio,
        "usual_wheel_kv_rpm_per_v": changed.pop("kv", 10.0), "stops": (), "belts": "fine", "foldback_s": 0.0,
        "top_speed_cold_pedalled_half_charge_km_h": 30.0,
        "figures": SimpleNamespace(net_wh_per_km=energy, **told), **changed,
    }  # fmt: skip
    return RatioCase(**known)


@pytest.mark.parametrize(
    ("changes", "broken"),
    [
        ({"peak_winding_temp_c": 140.0}, ()),
        ({"peak_winding_temp_c": 140.1}, ("winding too hot",)),
        ({"stops": ("winding too hot", "cells too hot")}, ("winding too hot", "cells too hot")),
        ({"belts": "look again"}, ()),
        ({"belts": "stop"}, ("belt cannot carry it",)),
        ({"total_time_s": 1000.0}, ()),
        ({"total_time_s": 1000.1}, (TOO_SLOW,)),
        ({"total_time_s": 2000.0, "finished": False}, ()),  # what does not arrive is not slow besides
        ({"top_speed_cold_pedalled_half_charge_km_h": 24.8}, ()),  # one in a hundred, as the judge has it
        ({"top_speed_cold_pedalled_half_charge_km_h": 24.7}, ("top speed too low",)),
    ],
)
def test_each_ceiling_just_inside_and_just_outside(changes: dict[str, Any], broken: tuple[str, ...]) -> None:
    assert broken_by(case(4.0, **changes), BOUNDS) == broken


def test_ceilings_that_nobody_set() -> None:
    """15 K below the class, the cruise speed, and a twentieth more than the fastest that arrives takes (guesses)."""
    plain = bike({"motor.insulation_class": "F"}).build
    cases = [
        case(3.0, total_time_s=800.0),
        case(4.0, total_time_s=500.0, finished=False),
        case(5.0, total_time_s=900.0),
    ]
    found = ceilings_for(plain, cases, 25.0, None, None, None)
    assert (found.max_winding_c, found.max_time_s, found.given) == (155.0 - NEAR_LIMIT_K, 1.05 * 800.0, frozenset())
    assert found.min_top_speed_km_h == 25.0
    asked = ceilings_for(plain, cases, 25.0, 100.0, 20.0, 850.0)
    assert (asked.max_winding_c, asked.min_top_speed_km_h, asked.max_time_s) == (100.0, 20.0, 850.0)
    assert asked.given == {"winding", "top speed", "time"}


def taken(*cases: RatioCase) -> int:
    """The place of what is taken, whichever way round the candidates stand."""
    at, back = choose(cases, BOUNDS).index, choose(cases[::-1], BOUNDS).index
    assert at == len(cases) - 1 - back
    return at


def test_the_least_energy_is_taken_and_a_tenth_of_a_percent_decides_nothing() -> None:
    """Then the teeth in mesh decide, then the cooler winding."""
    few, many = {"mesh": 5.0}, {"mesh": 9.0}
    assert taken(case(3.0, 10.0, **few), case(4.0, 10.02, **many)) == 0
    assert taken(case(3.0, 10.0, **few), case(4.0, 10.004, **many)) == 1
    assert taken(case(3.0, mesh=5.0, peak_winding_temp_c=70.0), case(4.0, mesh=9.0)) == 1
    assert taken(case(3.0, peak_winding_temp_c=70.0), case(4.0)) == 0
    assert taken(case(3.0, -10.0), case(4.0, -10.2)) == 1  # down a hill more is given back


def test_what_heat_holds_back_comes_last_and_what_breaks_a_ceiling_never() -> None:
    assert taken(case(3.0, 9.0, foldback_s=0.16 * 900.0), case(4.0, 10.0)) == 1
    assert taken(case(3.0, 9.0, foldback_s=0.14 * 900.0), case(4.0, 10.0)) == 0
    assert taken(case(3.0, 5.0, belts="stop"), case(4.0, 10.0)) == 1


def test_the_least_bad_comes_furthest_then_breaks_least_then_is_coolest() -> None:
    hot = {"stops": ("winding too hot",)}
    assert (
        taken(case(3.0, finished=False, distance_km=4.9, **hot), case(4.0, distance_km=5.0, belts="stop", **hot)) == 1
    )
    assert taken(case(3.0, finished=False, distance_km=1.0, **hot),
                 case(4.0, finished=False, distance_km=2.0, belts="stop", **hot)) == 1  # fmt: skip
    assert taken(case(3.0, **hot), case(4.0, belts="stop", **hot)) == 0
    assert taken(case(3.0, peak_winding_temp_c=170.0, **hot), case(4.0, peak_winding_temp_c=160.0, **hot)) == 1
    none = choose([case(3.0, **hot), case(4.0, belts="stop", **hot)], BOUNDS)
    assert not none.keeps_all
    assert none.reasons[:2] == (
        "no candidate keeps every ceiling: winding too hot (2), belt cannot carry it (1)",
        "the least bad one breaks 1: winding too hot",
    )


def test_what_is_said_of_the_one_that_is_taken() -> None:
    """How many keep all, which are as good within 1 %, and what is out on either side: more turns are slower."""
    burnt, slow = case(2.0, 8.0, peak_winding_temp_c=150.0), case(7.0, 9.0, total_time_s=1100.0)
    some = (burnt, case(3.0, 10.0), case(4.0, 10.09), case(5.0, 10.11), slow)
    found = choose(some, BOUNDS)
    assert found.index == 1 and found.reasons == (
        "of the 3 candidates that keep every ceiling it takes the least energy",
        "from 3.00 to 4.00 the energy is within 1 %: take of these what fits",
        "faster gearings that are out (1): winding too hot (1)",
        "slower gearings that are out (1): too slow (1)",
    )
    alone = choose((burnt, case(3.0), slow), BOUNDS)
    assert alone.reasons[0] == "it alone keeps every ceiling"
    held = case(3.0, 9.0, foldback_s=300.0)
    calm = choose((held, case(4.0, 10.0), burnt), BOUNDS)
    assert calm.reasons[0] == "it alone keeps every ceiling without being held back by heat"
    assert not any("within 1 %" in reason for reason in calm.reasons)


def test_what_gives_back_nearly_as_much_down_a_hill_is_named_too() -> None:
    found = choose((case(3.0, -10.0), case(4.0, -9.91), case(5.0, -9.89)), BOUNDS)
    assert "from 3.00 to 4.00 the energy is within 1 %: take of these what fits" in found.reasons


@pytest.mark.parametrize(("count", "index", "side"), [(3, 0, "faster"), (3, 1, ""), (3, 2, "slower"), (1, 0, "")])
def test_the_last_one_tried_on_a_side_is_told(count: int, index: int, side: str) -> None:
    """Fewest turns first: fewer are faster gearing."""
    cases = [case(3.0 + at, 10.0 + abs(at - index)) for at in range(count)]
    assert at_edge(cases, index) == side
    told = [reason for reason in choose(cases, BOUNDS).reasons if "the last one tried" in reason]
    assert [side in reason for reason in told] == ([True] if side else [])


def test_rivals_are_the_next_best_two_and_what_the_bike_has() -> None:
    cases = [case(3.0, 10.4), case(4.0, 10.2), case(5.0, 10.0), case(6.0, 10.1), case(9.0, 10.9, belts="stop")]
    found = choose(cases, BOUNDS)
    assert rivals(cases, found, 8.6) == (2, 3, 1, 4)
    assert rivals(cases, found, 5.1) == (2, 3, 1)


@pytest.mark.parametrize(
    ("kv", "others", "agrees", "nearest"),
    [
        (8.0, 10.0, True, 1),
        (7.9, 10.0, False, 1),
        (12.0, 13.0, True, 0),
        (12.1, 13.0, False, None),
        (9.0, 11.5, True, 0),
        (7.0, 12.0, False, 1),
    ],
)
def test_the_rule_of_thumb_agrees_from_8_to_12(kv: float, others: float, agrees: bool, nearest: int | None) -> None:
    """About 10 rpm/V at the wheel (common practice, no source); how near counts is a guess."""
    assert beside_thumb([case(3.0, kv=kv), case(4.0, kv=others)], 0) == (agrees, nearest)


@pytest.mark.parametrize(("kind", "ratio", "said"), [("belt", 12.0, False), ("belt", 12.1, True), ("chain", 12.1, True),
                                                     ("gear", 30.0, False)])  # fmt: skip
def test_two_stages_are_advised_where_one_seldom_does_it(kind: str, ratio: float, said: bool) -> None:
    words = split_words(kind, ratio)
    assert bool(words) is said and (not said or "3.5 to 1 each" in words)
