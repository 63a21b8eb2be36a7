"""The figures of a comparison as rows, with how much the builds differ in each."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ridesim.ride.judge import Word

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
    time_s: float
    net_wh: float
    net_wh_per_km: float
    returned_wh: float
    range_km: float | None
    range_ended_by: str
    charge_left_fraction: float
    peak_motor_current_dc_a: float
    sustained_motor_current_dc_a: float
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


@dataclass(frozen=True)
class _Kind:
    words: str
    unit: str
    better: str
    value: Callable[[RoadRide], float | None]
    scale: float | None = None
    whole: bool = False


_KINDS: dict[str, _Kind] = {
    "time_s": _Kind("time", "s", "low", lambda ride: ride.time_s, whole=True),
    "distance_km": _Kind("distance ridden", "km", "high", lambda ride: ride.distance_km),
    "net_wh_per_km": _Kind("energy", "wh_per_km", "low", lambda ride: ride.net_wh_per_km, whole=True),
    "returned_wh": _Kind("returned by regen", "wh", "high", lambda ride: ride.returned_wh, whole=True),
    "range_km": _Kind("range on this road", "km", "high", lambda ride: ride.range_km),
    "charge_left_fraction": _Kind(
        "charge left", "fraction", "high", lambda ride: ride.charge_left_fraction, 1.0, whole=True
    ),
    "lost_wh": _Kind("lost in pack, drive and brakes", "wh", "low", lambda ride: ride.lost_wh, whole=True),
    "lost_fraction": _Kind("share lost", "fraction", "low", lambda ride: ride.lost_fraction, 1.0, whole=True),
    "sustained_motor_current_dc_a": _Kind(
        "sustained motor current (DC)", "a", "", lambda ride: ride.sustained_motor_current_dc_a
    ),
    "peak_motor_current_dc_a": _Kind("peak motor current (DC)", "a", "", lambda ride: ride.peak_motor_current_dc_a),
    "peak_pack_current_a": _Kind("peak pack current", "a", "", lambda ride: ride.peak_pack_current_a),
    "cell_load_fraction": _Kind(
        "peak cell current to its rating", "fraction", "low", lambda ride: ride.cell_load_fraction
    ),
    "lowest_pack_voltage_v": _Kind("lowest pack voltage", "v", "", lambda ride: ride.lowest_pack_voltage_v),
    "winding_margin_k": _Kind("winding below its limit", "k", "high", lambda ride: ride.winding_margin_k, 100.0),
    "magnet_margin_k": _Kind("magnets below their limit", "k", "high", lambda ride: ride.magnet_margin_k, 100.0),
    "peak_winding_temp_c": _Kind("hottest winding", "c", "low", lambda ride: ride.peak_winding_temp_c, 100.0),
    "peak_controller_temp_c": _Kind("hottest controller", "c", "low", lambda ride: ride.peak_controller_temp_c, 100.0),
    "peak_pack_temp_c": _Kind("hottest cells", "c", "low", lambda ride: ride.peak_pack_temp_c, 100.0),
}
"""What is compared on a road. `scale`: what a difference is set against, where the mean means nothing [unit].
`whole`: means something only of a ride that arrives."""


def rows_of(rides: Sequence[RoadRide]) -> tuple[Row, ...]:
    """Return every figure of the rides on one road, the largest difference first."""
    rows = []
    for name, kind in _KINDS.items():
        values = tuple(kind.value(ride) if ride.finished or not kind.whole else None for ride in rides)
        rows.append(Row(name, kind.words, kind.unit, kind.better, values, spread_of(values, kind.scale)))
    return tuple(sorted(rows, key=lambda row: -row.spread))


def spread_of(values: Sequence[float | None], scale: float | None = None) -> float:
    """Return the largest difference as a share of `scale`, else of the mean size; 0 with fewer than two values."""
    known = np.array([value for value in values if value is not None], dtype=np.float64)
    if known.size < 2:
        return 0.0
    against = scale if scale is not None else float(np.abs(known).mean())
    return float(known.max() - known.min()) / against if against > 0.0 else 0.0
