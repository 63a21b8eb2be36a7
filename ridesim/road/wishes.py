"""What a caller asks of a road beside the file itself."""

from __future__ import annotations

from dataclasses import dataclass

from ridesim.errors import RoadError
from ridesim.road.limits import SMOOTHING_M, SPACING_M, Range


@dataclass(frozen=True)
class Wishes:
    """None leaves it to the file, else to the default; `as_it_is` leaves the faults of a recording unmended."""

    smoothing_m: float | None = None
    spacing_m: float | None = None
    flat: bool = False
    as_it_is: bool = False

    def refuse_outside(self) -> None:
        """Raise RoadError for a number out of range."""
        _refuse_outside("smoothing", self.smoothing_m, SMOOTHING_M)
        _refuse_outside("spacing", self.spacing_m, SPACING_M)


def _refuse_outside(name: str, value: float | None, allowed: Range) -> None:
    if value is not None and not allowed.low <= value <= allowed.high:
        what = f"{name} is out of range ({value:g} m, allowed {allowed.low:g} to {allowed.high:g} m)"
        raise RoadError(name, what, "choose a value inside it")
