"""Scrambled Sobol points: a lattice in which every half, quarter and so on of each number's range is met alike often.

They are the points of scipy.stats.qmc.Sobol to the last bit (a test); importing scipy.stats takes longer than to ride
two hundred bikes, so they are made here.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Whole = NDArray[Any]
"""Of unsigned 32-bit integers."""
BITS = 30
"""Of a coordinate; so many points differ."""
_TABLE = Path(__file__).with_name("directions.txt")


def scrambled(count: int, dimensions: int, seed: int) -> NDArray[np.float64]:
    """Return `count` points in [0, 1), (count, dimensions): a linear scramble and a shift, drawn by `seed`.

    Sources: Joe and Kuo (2008) for the directions; Matousek (1998), J. Complexity 14:527-556, for the scramble; the
    order of the points by Antonov and Saleev (1979).
    """
    if dimensions > len(_table()):
        from scipy.stats import qmc

        return np.asarray(qmc.Sobol(dimensions, scramble=True, seed=np.random.default_rng(seed)).random(count))
    (random,) = np.random.default_rng(seed).spawn(1)
    shift = _number(random.integers(2, size=(dimensions, BITS), dtype=np.uint32)[:, ::-1])
    lower = np.tril(random.integers(2, size=(dimensions, BITS, BITS), dtype=np.uint32))
    lower[:, np.arange(BITS), np.arange(BITS)] = 1
    directions = np.array([_directions(row) for row in _table()[:dimensions]], dtype=np.uint32).reshape(-1, BITS)
    mixed = _number(_bits(directions) @ lower.transpose(0, 2, 1) & 1)
    return _walked(count, shift, mixed) / 2.0**BITS


def _walked(count: int, start: Whole, directions: Whole) -> Whole:
    """Return the points in the order in which each differs from the one before by one direction."""
    before = np.arange(1, count, dtype=np.int64)
    lowest = np.bitwise_count(before ^ (before - 1)) - 1
    return np.bitwise_xor.accumulate(np.vstack([start[None, :], directions.T[lowest]]), axis=0)


def _bits(numbers: Whole) -> Whole:
    return numbers[..., None] >> np.arange(BITS - 1, -1, -1, dtype=np.uint32) & 1


def _number(bits: Whole) -> Whole:
    return np.asarray(bits @ (np.uint32(1) << np.arange(BITS - 1, -1, -1, dtype=np.uint32)), dtype=np.uint32)


@cache
def _table() -> list[list[int]]:
    """Return polynomial and initial numbers of each dimension."""
    lines = _TABLE.read_text(encoding="ascii").splitlines()
    return [[int(word) for word in line.split()] for line in lines if not line.startswith("#")]


def _directions(row: list[int]) -> list[int]:
    """Return the direction numbers of one dimension, by the recurrence of its polynomial."""
    polynomial, *numbers = row
    degree = polynomial.bit_length() - 1
    if degree == 0:
        numbers = [1] * BITS
    while len(numbers) < BITS:
        new = numbers[-degree] ^ numbers[-degree] << degree
        for back in range(1, degree):
            if polynomial >> (degree - back) & 1:
                new ^= numbers[-back] << back
        numbers.append(new)
    return [number << (BITS - 1 - place) for place, number in enumerate(numbers)]
