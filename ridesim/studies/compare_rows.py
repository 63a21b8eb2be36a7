"""The figures of a comparison as rows, with how much the builds differ in each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from ridesim.ride.drives import nearest_its_limit
from ridesim.ride.judge import Word
from ridesim.ride.quantities import QUANTITIES

if TYPE_CHECKING:
    from ridesim.ride.figures import Figures

MOTOR_CURRENTS = ("sustained_motor_current_dc_equivalent_a", "peak_motor_current_dc_equivalent_a")
OF_A_MOTOR = ("peak_winding_temp_c", "peak_controller_temp_c")
"""Figures that each of two different drives has for itself."""
SAME = 0.02
"""A difference below this share reads as the same (guess)."""


@dataclass(frozen=True, eq=False)
class RoadRide:
    """One build on one road: the figures of its ride, their verdict, and what further rides and the ledger add.

    Losses in Wh; motor currents compare as DC-equivalent.
    """

    figures: Figures
    verdict: Word
    reasons: tuple[str, ...]
    range_km: float | None
    range_ended_by: str
    cell_load_fraction: float
    losses_wh: Mapping[str, float]
    lost_wh: float
    lost_fraction: float | None
    """Of what pack, rider and height gave; None where a fall of the road gives most of it."""
    trace_distance_km: np.ndarray
    trace_speed_km_h: np.ndarray
    trace_winding_c: np.ndarray
    drives: tuple[Figures, ...] = ()
    """The figures of each of two different drives; empty for a bike of one."""

    @property
    def motor(self) -> Figures:
        """The figures whose motor is compared: of two different drives the one nearer to its winding's limit."""
        return nearest_its_limit(self.drives or (self.figures,))

    @property
    def winding_margin_k(self) -> float:
        """How far the winding stayed below its limit [K]."""
        return self.motor.winding_limit_c - self.motor.peak_winding_temp_c

    @property
    def magnet_margin_k(self) -> float:
        """How far the magnets stayed below theirs [K]."""
        return min(each.magnet_limit_c - each.peak_body_temp_c for each in self.drives or (self.figures,))

    def value(self, name: str) -> float | None:
        """Return what is compared under a name: this ride's own, else a figure of it.

        None for a current of two different motors: it says nothing beside another motor's.
        """
        if self.drives and name in MOTOR_CURRENTS:
            return None
        holder = self if hasattr(self, name) else self.motor if name in OF_A_MOTOR else self.figures
        found: float | None = getattr(holder, name)
        return found

    def plain(self) -> dict[str, Any]:
        """Return all but the traces as plain values."""
        own = {name: value for name, value in vars(self).items() if name != "figures" and not name.startswith("trace_")}
        margins = {"winding_margin_k": self.winding_margin_k, "magnet_margin_k": self.magnet_margin_k}
        own["drives"] = [each.plain() for each in self.drives]
        return {**own, **self.figures.plain(), **margins}


@dataclass(frozen=True)
class Row:
    """One figure of every build. `spread` is the largest difference to the mean; `better` is "low", "high" or ''.

    `unit` is a suffix of the unit table, `fraction` for a share, `k` for a difference of temperatures. `share_of`:
    what the difference is a share of, in words, where that is not the figure itself.
    """

    name: str
    words: str
    unit: str
    better: str
    values: tuple[float | None, ...]
    spread: float
    share_of: str = ""

    @property
    def same(self) -> bool:
        """Whether the builds are alike in it."""
        return self.spread < SAME


class _Kind(NamedTuple):
    """How one figure is compared; words, unit and which way is good stand in `quantities`, or here where it is own.

    `share_of`: the figure that a difference is set against, and its words: a return of nothing much differs by much.
    """

    name: str
    scale: float | None = None
    whole: bool = False
    own: tuple[str, str, str] | None = None
    share_of: tuple[str, str] | None = None


_KINDS = (
    _Kind("total_time_s", whole=True),
    _Kind("distance_km"),
    _Kind("net_wh_per_km", whole=True),
    _Kind("pack_energy_returned_wh", whole=True, share_of=("pack_energy_out_wh", "of what is drawn")),
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
        values = tuple(ride.value(kind.name) if ride.figures.finished or not kind.whole else None for ride in rides)
        words, unit, better = kind.own or _of_table(kind.name)
        scale, share_of = kind.scale, ""
        if kind.share_of is not None:
            scale, share_of = max(ride.value(kind.share_of[0]) or 0.0 for ride in rides), kind.share_of[1]
        rows.append(Row(kind.name, words, unit, better, values, spread_of(values, scale), share_of))
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
