"""How far bikes like it get, foretold from what one ride takes of each one's charge: few are ridden to their end."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ridesim.ride.running import RideOptions
from ridesim.sure.batch import ride_draws
from ridesim.sure.packing import packer
from ridesim.sure.spread import Spread

Array = NDArray[np.float64]

START = "pack.start_charge_fraction"
TO_THE_END = 16
"""Bikes that are ridden to their end, of all that were ridden once."""
LEAST_TAKEN = 0.005
"""A ride that takes less of the charge tells nothing of how often it can be ridden (guess)."""
LARGEST_SCATTER = 0.35
"""How far what was ridden may scatter about what is foretold, as a share of how far ranges differ (guess)."""


def ranges_foretold(told: Spread, endless: RideOptions) -> Array | None:
    """Return ranges of bikes like it [km], in no order; None where one ride foretells no range.

    A bike's charge over what one ride takes of it foretells its range but for a factor, since what a pack still gives
    near its end differs. The factor's trend comes from bikes that are ridden to their end, evenly from the nearest to
    the farthest; what they scatter about it goes into the span. Source of the latter: Duan (1983), J. Am. Stat. Assoc.
    78:605-610.
    """
    once = _by_one_ride(told)
    if once is None:
        return None
    in_order = np.argsort(once)
    some = in_order[((np.arange(TO_THE_END) + 0.5) / TO_THE_END * len(once)).astype(int)]
    pack = packer(told.loaded, told.road, endless, told.doubts)
    ridden = ride_draws(pack, told.inputs[some])
    if "time_limit" in ridden.stops:
        return None
    about = math.log(float(np.median(once)))
    far = np.log(ridden.of("distance_km"))
    trend = np.polynomial.polynomial.polyfit(np.log(once[some]) - about, far, 1)
    expected = np.polynomial.polynomial.polyval(np.log(once) - about, trend)
    off = (far - expected[some]) * math.sqrt(TO_THE_END / (TO_THE_END - len(trend)))
    if off.std() > LARGEST_SCATTER * far.std():
        return None
    return np.asarray(np.exp(np.add.outer(expected, off)).ravel())


def _by_one_ride(told: Spread) -> Array | None:
    """Return how far each bike's charge goes at what one ride takes of it [km]; None where some do not arrive."""
    if len(told.drawn.ridden) < 2 * TO_THE_END or not told.drawn.ridden.all():
        return None
    start: float | Array = told.loaded.build.pack.start_charge_fraction
    if START in told.doubts.keys:
        start = told.inputs[:, told.doubts.keys.index(START)]
    taken = start - told.told("charge_left_fraction")
    if not bool((taken > LEAST_TAKEN).all()):
        return None
    return np.asarray(told.drawn.of("distance_km") * start / taken)
