"""A ride at a recording's own speed, held against the recording: time on the move, and the pauses stood."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ridesim.engine.state import Total
from ridesim.road.smooth import running_integral

if TYPE_CHECKING:
    from ridesim.ride.result import Ridden

REACHED_M = 1.0  # a pause this near to where a ride ended counts as reached


@dataclass(frozen=True)
class AgainstRecording:
    """Recorded and ridden times up to where the ride came; pauses are those that it reached."""

    recorded_moving_time_s: float
    ridden_moving_time_s: float
    recorded_pause_time_s: float
    stood_time_s: float
    pauses_reached: int
    pauses_recorded: int


def against_recording(ride: Ridden) -> AgainstRecording | None:
    """Return what was recorded beside what was ridden, or None for a ride at another speed than the recording's."""
    road = ride.road
    if ride.options.speed_source != "recorded" or road.recorded_speed_m_per_s is None:
        return None
    distance = ride.raw.total(Total.DISTANCE)
    clock = running_integral(1.0 / road.recorded_speed_m_per_s, road.spacing_m)
    laps = min(int(distance // road.length_m), ride.options.laps)
    rest_m = distance - laps * road.length_m
    moving = laps * float(clock[-1]) + float(np.interp(rest_m, road.distance_m, clock)) * (laps < ride.options.laps)
    pauses = [(lap * road.length_m, stop) for lap in range(ride.options.laps) for stop in road.recorded_pauses]
    reached = [stop.dwell_s for start, stop in pauses if start + stop.distance_m <= distance + REACHED_M]
    return AgainstRecording(
        recorded_moving_time_s=moving,
        ridden_moving_time_s=ride.raw.total(Total.MOVING_TIME),
        recorded_pause_time_s=sum(reached),
        stood_time_s=ride.raw.total(Total.TIME) - ride.raw.total(Total.MOVING_TIME),
        pauses_reached=len(reached),
        pauses_recorded=len(pauses),
    )
