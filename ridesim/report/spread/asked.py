"""What a spread is asked about: the answer that was named, or what the verdict's trouble is of."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.second import drives_of
from ridesim.ride.drives import FIRST
from ridesim.ride.quantities import QUANTITIES, SECOND
from ridesim.sure.spread import LOOK_CHANCE

if TYPE_CHECKING:
    from ridesim.sure.spread import Chance, Spread

WINDINGS = ("peak_winding_temp_c", "second_peak_winding_temp_c")
OF_LIMIT = {
    "winding": "peak_winding_temp_c", "magnets": "peak_body_temp_c", "controller": "peak_controller_temp_c",
    "cells_heat": "peak_pack_temp_c", "cell_lasting": "peak_cell_current_a",
    "second_winding": "second_peak_winding_temp_c", "second_magnets": "second_peak_body_temp_c",
    "second_controller": "second_peak_controller_temp_c",
}  # fmt: skip
"""The figure that a limit is held against, where it is an answer of its own."""
BRAKES_WORDS = "how hot the brakes get"


class Asked(NamedTuple):
    """`answer`: shown and drawn; `words` and `shares`: what is to be narrowed, and who carries it.

    `limit`: "brake_heat" where it is the heat of the brakes, which is no answer of a ride without a trace; else empty.
    """

    answer: str
    words: str
    shares: NDArray[np.float64]
    limit: str = ""


def asked(result: Spread, answer: str = "") -> Asked:
    """Return what is asked: `answer` where one is named, else the figure of the likeliest trouble."""
    first = None if answer else trouble(result)
    default = hotter_winding(result)
    name = answer or (default if first is None else OF_LIMIT.get(first.limit, default))
    if first is not None and first.limit == "brake_heat":
        return Asked(name, BRAKES_WORDS, result.shares_of_brakes(), first.limit)
    return Asked(name, answer_words(result, name), result.shares(name))


def hotter_winding(result: Spread) -> str:
    """Return the winding that is asked about where nothing is in doubt: of two drives the nearer to its limit."""
    left = {
        answer: drive.motor.winding_limit_c - float(result.nominal.of(answer)[0])
        for drive, answer in zip(drives_of(result.loaded.build), WINDINGS, strict=False)
    }
    return min(left, key=lambda answer: left[answer])


def answer_words(result: Spread, name: str) -> str:
    """Return what an answer is called; of two different drives whose it is."""
    words = QUANTITIES[name].words
    return f"{FIRST}, {words}" if f"{SECOND}{name}" in result.drawn.names else words


def trouble(result: Spread) -> Chance | None:
    """Return the limit that the verdict is of, the likeliest passed; None where none is in doubt."""
    doubted = (each for each in result.chances if each.chance > LOOK_CHANCE or each.limit in result.passed_as_built)
    return next(doubted, None)
