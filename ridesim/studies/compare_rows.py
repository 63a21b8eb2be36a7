"""The figures of a comparison as rows, with how much the builds differ in each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ridesim.ride.judge import Word
from ridesim.ride.quantities import QUANTITIES

SAME = 0.02
"""A difference below this share reads as the same (guess)."""


@dataclass(frozen=True, eq=False)
class RoadRide:
    """One build on one road. Motor currents DC-equivalent, so that commutations compare; losses in Wh."""

    finished: bool
    stop_reason: str
    verdict: Word
    reasons: tuple[str, ...]
    distance_km: float
    total_time_s: float
    net_wh: float
    net_wh_per_km: float
    pack_energy_returned_wh: float
    range_km: float | None
    range_ended_by: str
    charge_left_fraction: float
    peak_motor_current_dc_equivalent_a: float
    sustained_motor_current_dc_equivalent_a: float
    peak_pack_current_a: float
    cell_load_fraction: float
    lowest_pack_voltage_v: float
    peak_winding_temp_c: float
    winding_margin_k: float
    magnet_margin_k: float
    peak_controller_temp_c: float
    peak_pack_temp_c: float
    losses_wh: Mapping[str, float]
    lost_wh: float
    lost_fraction: float
    trace_distance_km: np.ndarray
    trace_speed_km_h: np.ndarray
    trace_winding_c: np.ndarray


@dataclass(frozen=True)
class Row:
    """One figure of every build. `spread` is the largest difference to the mean; `better` is "low", "high" or ''.

    `unit` is a suffix of the unit table, `fraction` for a share, `k` for a difference of temperatures.
    """

    name: str
    words: str
    unit: str
    better: str
    values: tuple[float | None, ...]
    spread: float

    @property
    def same(self) -> bool:
        """Whether the builds are alike in it."""
        return self.spread < SAME


class _Kind(NamedTuple):
    """How one figure is compared; words, unit and which way is good stand in `quantities`, or here where it is own."""

    name: str
    scale: float | None = None
    whole: bool = False
    own: tuple[str, str, str] | None = None


_KINDS = (
    _Kind("total_time_s", whole=True),
    _Kind("distance_km"),
    _Kind("net_wh_per_km", whole=True),
    _Kind("pack_energy_returned_wh", whole=True),
    _Kind("range_km"),
    _Kind("charge_left_fraction", 1.0, whole=True),
    _Kind("lost_wh", whole=True, own=("lost in pack, drive and brakes", "wh", "low")),
    _Kind("lost_fraction", 1.0, whole=True, own=("share lost", "fraction", "low")),
    _Kind("sustained_motor_current_dc_equivalent_a"),
    _Kind("peak_motor_current_dc_equivalent_a"),
    _Kind("peak_pack_current_a"),
    _Kind("cell_load_fraction", own=("peak cell current to its rating", "fraction", "low")),
    _Kind("lowest_pack_voltage_v"),
    _Kind("winding_margin_k", 100.0, own=("winding below its limit", "k", "high")),
    _Kind("magnet_margin_k", 100.0, own=("magnets below their limit", "k", "high")),
    _Kind("peak_winding_temp_c", 100.0),
    _Kind("peak_controller_temp_c", 100.0),
    _Kind("peak_pack_temp_c", 100.0),
)
"""What is compared on a road. `scale`: what a difference is set against, where the mean means nothing [unit].
`whole`: means something only of a ride that arrives."""


def rows_of(rides: Sequence[RoadRide]) -> tuple[Row, ...]:
    """Return every figure of the rides on one road, the largest difference first."""
    rows = []
    for kind in _KINDS:
        values = tuple(getattr(ride, kind.name) if ride.finished or not kind.whole else None for ride in rides)
        words, unit, better = kind.own or _of_table(kind.name)
        rows.append(Row(kind.name, words, unit, better, values, spread_of(values, kind.scale)))
    return tuple(sorted(rows, key=lambda row: -row.spread))


def _of_table(name: str) -> tuple[str, str, str]:
    row = QUANTITIES[name]
    return row.words, row.unit or "fraction", row.better


def spread_of(values: Sequence[float | None], scale: float | None = None) -> float:
    """Return the largest difference as a share of `scale`, else of the mean size; 0 with fewer than two values."""
    known = np.array([value for value in values if value is not None], dtype=np.float64)
    if known.size < 2:
        return 0.0
    against = scale if scale is not None else float(np.abs(known).mean())
    return float(known.max() - known.min()) / against if against > 0.0 else 0.0
