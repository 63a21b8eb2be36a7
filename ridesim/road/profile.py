"""The road as the engine sees it: slope, bends, surface, limits and stops on a uniform grid."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RoadError
from ridesim.road.limits import LONGEST_ROAD_M, MOST_NODES
from ridesim.road.mendings import Mending, moved, told_of_flattened
from ridesim.road.smooth import climb_and_descent, grade_of, running_integral, sine_of, sine_of_slope
from ridesim.units import from_si

SURFACES: dict[str, float] = {
    "asphalt": 1.0,
    "concrete": 1.0,
    "paving": 1.2,
    "cobbles": 1.7,
    "fine_gravel": 1.6,
    "gravel": 2.5,
    "earth": 2.0,
    "grass": 3.0,
    "mud": 5.0,
    "sand": 6.0,
}
"""How many times the rolling coefficient on asphalt a surface asks. All guesses: the only range at hand is general
knowledge, 0.006 to 0.010 on asphalt against 0.015 to 0.03 on gravel and grass, with no table that could be read."""

SHORTEST_ROAD_M = 10.0
STEEPEST_SINE = 0.7  # 44 degrees: nothing rolls up it
TIGHTEST_RADIUS_M = 2.0  # guess: the tightest turn a longtail rides
ROUNDING_M = 1e-6  # lets a place written as the road's very end be on the road
LEVEL_RETURN_M = 10.0  # guess: a lap that ends this far from its starting height is told
RECORDED_ALTITUDE = "recorded_altitude_m"  # kept for comparison only; a drifting lap has none

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Stop:
    """A place to stand still, at a distance along the road."""

    distance_m: float
    dwell_s: float


@dataclass(frozen=True, eq=False)
class SpeedCycle:
    """Speed driven by the clock, not by distance; shapes (k,), straight lines between."""

    time_s: Array
    speed_m_per_s: Array

    @property
    def distance_m(self) -> float:
        """Distance of the whole cycle."""
        return float(np.trapezoid(self.speed_m_per_s, self.time_s))


@dataclass(frozen=True)
class Cleaning:
    """What was read from a recording, what was mended, and the climb by each method."""

    points_read: int
    points_used: int
    segments: int
    duplicates_dropped: int
    copied_points_dropped: int
    parts_with_earlier_clock: int
    out_of_order_dropped: int
    times_left_out: int
    clock_ticks_spread: int
    clock_set_back: int
    paces_not_believed: int
    wandering_left_out_m: int
    far_points_dropped: int
    position_jumps_dropped: int
    zigzags_straightened: int
    frozen_fixes: int
    altitudes_impossible: int
    altitude_spikes_mended: int
    altitudes_not_trusted: int
    altitude_steps_evened: int
    altitudes_filled: int
    gaps: int
    gap_longest_m: float
    gap_total_m: float
    pauses: int
    pause_total_s: float
    has_time: bool
    distance_horizontal_m: float
    distance_smoothed_line_m: float
    smoothing_m: float
    spacing_m: float
    climb_raw_m: float
    descent_raw_m: float
    climb_hysteresis_m: float
    descent_hysteresis_m: float
    climb_smoothed_m: float
    descent_smoothed_m: float
    climb_method: str
    steepest_100m_recorded: float
    steepest_100m_smoothed: float


@dataclass(frozen=True, eq=False)
class Road:
    """A road on a uniform grid of n nodes along its surface.

    `grade` is rise per run; the trapezoid integral of sin(atan(grade)) is `altitude_m` less its start.
    `rolling_factor` multiplies the rolling coefficient on asphalt; `speed_limit_m_per_s` is inf where none.
    """

    name: str
    source: str
    distance_m: Array
    altitude_m: Array
    grade: Array
    bearing_deg: Array
    curvature_per_m: Array
    rolling_factor: Array
    surface: tuple[str, ...]
    speed_limit_m_per_s: Array
    stops: tuple[Stop, ...] = ()
    cycle: SpeedCycle | None = None
    recorded_speed_m_per_s: Array | None = None
    recorded_pauses: tuple[Stop, ...] = ()
    latitude_deg: Array | None = None
    longitude_deg: Array | None = None
    recorded_altitude_m: Array | None = None
    cleaning: Cleaning | None = None
    mendings: tuple[Mending, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def length_m(self) -> float:
        """Length along the surface."""
        return float(self.distance_m[-1])

    @property
    def spacing_m(self) -> float:
        """Distance between nodes."""
        return float(self.distance_m[1] - self.distance_m[0])

    @property
    def climb_m(self) -> float:
        """Plain sum of all rises of the smoothed altitude."""
        return climb_and_descent(self.altitude_m)[0]

    @property
    def descent_m(self) -> float:
        """Plain sum of all falls of the smoothed altitude, positive."""
        return climb_and_descent(self.altitude_m)[1]

    def with_stops(self, stops: tuple[Stop, ...]) -> Road:
        """Return the road with these stops added, in order."""
        for stop in stops:
            self._refuse_outside("stop", stop.distance_m)
            _refuse_below(f"{self.source}, stop", "dwell", stop.dwell_s, "s")
        return replace(self, stops=tuple(sorted((*self.stops, *stops), key=lambda stop: stop.distance_m)))

    def with_speed_limit(self, from_m: float, to_m: float, speed_m_per_s: float) -> Road:
        """Return the road with a limit on a stretch, rounded outwards to nodes; the lower of two limits holds."""
        if not speed_m_per_s > 0.0:
            what = f"the speed limit must be above zero ({speed_m_per_s:g} m/s)"
            raise RoadError(self.source, what, "give a positive speed")
        inside = self._stretch("speed limit", from_m, to_m)
        limit = np.where(inside, np.minimum(self.speed_limit_m_per_s, speed_m_per_s), self.speed_limit_m_per_s)
        return replace(self, speed_limit_m_per_s=limit)

    def with_surface(self, from_m: float, to_m: float, kind: str) -> Road:
        """Return the road with another surface on a stretch, rounded outwards to nodes."""
        if kind not in SURFACES:
            what = f"unknown surface ({kind!r}, allowed {', '.join(SURFACES)})"
            raise RoadError(self.source, what, "choose one of them")
        inside = self._stretch("surface", from_m, to_m)
        surface = tuple(kind if here else old for here, old in zip(inside.tolist(), self.surface, strict=True))
        return replace(self, surface=surface, rolling_factor=np.where(inside, SURFACES[kind], self.rolling_factor))

    def flattened(self) -> Road:
        """Return the same line without any slope, at its starting altitude."""
        level = np.full_like(self.altitude_m, self.altitude_m[0])
        warnings = self.warnings + told_of_flattened(self.altitude_m)
        grade = np.zeros_like(self.grade)
        return replace(self, altitude_m=level, grade=grade, recorded_altitude_m=None, warnings=warnings)

    def repeated(self, times: int) -> Road:
        """Return the road ridden `times` times on end.

        A lap that ends at another height than it began goes on from there, so that slope and altitude agree;
        a warning says so.
        """
        if times < 1:
            raise RoadError(self.source, f"cannot be repeated {times} times (at least 1)", "ask for one lap or more")
        if times == 1:
            return self
        refuse_too_long(f"{self.source}, {times} laps", times * self.length_m, self.spacing_m)
        sine = _tiled(sine_of(self.grade), times, share_joint=True)
        rise = float(self.altitude_m[-1] - self.altitude_m[0])
        drift = f"each lap ends {rise:+.0f} m from where it began; the next goes on from there"
        return self._rebuilt(
            sine,
            float(self.altitude_m[0]),
            {name: _tiled(values, times) for name, values in self._columns().items() if name != RECORDED_ALTITUDE},
            recorded_altitude_m=None,
            surface=self.surface[:-1] * (times - 1) + self.surface,
            stops=_laps(self.stops, times, self.length_m),
            recorded_pauses=_laps(self.recorded_pauses, times, self.length_m),
            mendings=tuple(
                one for lap in range(times) for one in moved(self.mendings, 0.0, self.length_m, lap * self.length_m)
            ),
            cycle=_cycle_laps(self.cycle, times),
            warnings=self.warnings + ((drift,) if abs(rise) > LEVEL_RETURN_M else ()),
        )

    def slice(self, from_m: float, to_m: float) -> Road:
        """Return the stretch between two distances, moved to the nearest nodes; it starts at 0 again."""
        if self.cycle is not None:
            raise RoadError(self.source, "a speed-time cycle has no stretches", "shorten the cycle itself")
        first, last = (round(at / self.spacing_m) for at in (from_m, to_m))
        if not (0 <= first < last < len(self.distance_m)):
            what = f"no stretch from {from_m:g} to {to_m:g} m (allowed 0 to {self.length_m:.0f} m, rising)"
            raise RoadError(self.source, what, "choose a stretch on the road")
        kept = slice(first, last + 1)
        start, end = float(self.distance_m[first]), float(self.distance_m[last])
        return replace(
            self,
            distance_m=self.distance_m[kept] - start,
            altitude_m=self.altitude_m[kept],
            grade=self.grade[kept],
            surface=self.surface[kept],
            stops=_moved(self.stops, start, end),
            recorded_pauses=_moved(self.recorded_pauses, start, end),
            mendings=moved(self.mendings, start, end, -start),
            **{name: values[kept] for name, values in self._columns().items()},
        )

    def _columns(self) -> dict[str, Any]:
        """Return the per-node columns that are neither distance nor altitude, by name."""
        names: tuple[str, ...] = ("bearing_deg", "curvature_per_m", "rolling_factor", "speed_limit_m_per_s")
        optional = ("recorded_speed_m_per_s", "latitude_deg", "longitude_deg", RECORDED_ALTITUDE)
        present = names + tuple(name for name in optional if getattr(self, name) is not None)
        return {name: getattr(self, name) for name in present}

    def _rebuilt(self, sine: Array, start_m: float, columns: dict[str, Any], **changes: Any) -> Road:
        return replace(
            self,
            distance_m=np.arange(len(sine), dtype=np.float64) * self.spacing_m,
            altitude_m=start_m + running_integral(sine, self.spacing_m),
            grade=grade_of(sine),
            **columns,
            **changes,
        )

    def _stretch(self, what: str, from_m: float, to_m: float) -> NDArray[np.bool_]:
        self._refuse_outside(what, from_m)
        self._refuse_outside(what, to_m)
        if not from_m < to_m:
            raise RoadError(self.source, f"the {what} runs from {from_m:g} to {to_m:g} m", "let it end after it begins")
        return (self.distance_m > from_m - self.spacing_m) & (self.distance_m < to_m + self.spacing_m)

    def _refuse_outside(self, what: str, at_m: float) -> None:
        if not 0.0 <= at_m <= self.length_m + ROUNDING_M:
            told = f"the {what} is off the road ({at_m:g} m, allowed 0 to {self.length_m:.1f} m)"
            raise RoadError(self.source, told, "move it onto the road")


def refuse_too_long(where: str, length_m: float, spacing_m: float) -> None:
    """Raise RoadError for a road longer than anyone rides on end, or with more nodes than fit in memory."""
    if length_m > LONGEST_ROAD_M:
        told = f"the road is {from_si(length_m, 'km'):.0f} km long, at most {from_si(LONGEST_ROAD_M, 'km'):.0f} km"
        raise RoadError(where, told, "cut it into several roads")
    if length_m > MOST_NODES * spacing_m:
        told = f"the road has {length_m / spacing_m:.3g} nodes, at most {MOST_NODES}"
        raise RoadError(where, told, f"set them wider apart than {spacing_m:g} m")


def _refuse_below(where: str, what: str, value: float, unit: str, least: float = 0.0) -> None:
    if not (value >= least and np.isfinite(value)):
        raise RoadError(where, f"{what} is {value:g} {unit}, allowed {least:g} {unit} or more", "mend the number")


def _tiled(values: Array, times: int, share_joint: bool = False) -> Array:
    """Return `times` laps that share their joint node; a shared joint takes the mean of both ends."""
    laps = np.concatenate([values[:-1]] * times + [values[-1:]])
    if share_joint:
        laps[np.arange(1, times) * (len(values) - 1)] = 0.5 * (values[0] + values[-1])
    return laps


def _laps(stops: tuple[Stop, ...], times: int, length_m: float) -> tuple[Stop, ...]:
    return tuple(Stop(stop.distance_m + lap * length_m, stop.dwell_s) for lap in range(times) for stop in stops)


def _moved(stops: tuple[Stop, ...], start_m: float, end_m: float) -> tuple[Stop, ...]:
    return tuple(Stop(s.distance_m - start_m, s.dwell_s) for s in stops if start_m <= s.distance_m <= end_m)


def _cycle_laps(cycle: SpeedCycle | None, times: int) -> SpeedCycle | None:
    if cycle is None:
        return None
    span = float(cycle.time_s[-1] - cycle.time_s[0])
    time = [cycle.time_s[:1], *(cycle.time_s[1:] + lap * span for lap in range(times))]
    speed = [cycle.speed_m_per_s[:1], *([cycle.speed_m_per_s[1:]] * times)]
    return SpeedCycle(np.concatenate(time), np.concatenate(speed))


def road_on_grid(
    name: str,
    source: str,
    sine: Array,
    spacing_m: float,
    start_altitude_m: float,
    bearing_deg: Array | float,
    **extra: Any,
) -> Road:
    """Return an asphalt road without limits from sin(theta) at nodes `spacing_m` apart."""
    count = len(sine)
    columns: dict[str, Any] = {
        "curvature_per_m": np.zeros(count),
        "bearing_deg": np.full(count, 0.0) + bearing_deg,
    } | extra
    return Road(
        name=name,
        source=source,
        distance_m=np.arange(count, dtype=np.float64) * spacing_m,
        altitude_m=start_altitude_m + running_integral(sine, spacing_m),
        grade=grade_of(sine),
        rolling_factor=np.ones(count),
        surface=("asphalt",) * count,
        speed_limit_m_per_s=np.full(count, np.inf),
        **columns,
    )


def sine_from_altitude(altitude_m: Array, spacing_m: float) -> Array:
    """Return sin(theta) at the nodes, bounded so that a grade exists even where the altitude leaps."""
    return np.clip(sine_of_slope(altitude_m, spacing_m), -STEEPEST_SINE, STEEPEST_SINE)
