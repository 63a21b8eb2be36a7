"""How steep a road is at a place, as the ride feels it, and whether that looks like the road or like the recorder."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.errors import RoadError
from ridesim.road.air import STANDARD_GRAVITY_M_PER_S2
from ridesim.road.mendings import ONE, Mending
from ridesim.road.profile import Road
from ridesim.road.smooth import grade_of, sine_of
from ridesim.units import from_si

OVER_M = (10.0, 30.0, 100.0)
MIDDLE_M = OVER_M[1]
APART_M = 100.0
LEAST_GRADE = 0.03  # a gentler place is not worth a line
# Guesses.
STEEPEST_STREET = 0.35  # common knowledge, no source: the steepest paved streets rise by about this
LEGS_CLIMB_M_PER_S = 1.2  # 12 W for each kilogram of rider and bike: more than legs have
MOTORS_CLIMB_M_PER_S = 5.0  # 49 W for each kilogram: more than motor bicycles have
HUMP_GRADE = 0.08
HUMP_REACH_M = 75.0
HUMP_RETURNED_SHARE = 0.7
HUMP_MOST_M = 12.0

Array = NDArray[np.float64]
Grades = tuple[float, float, float]
"""Mean grades, rise per run, over each of OVER_M, with the place in the middle."""


@dataclass(frozen=True)
class PlaceReport:
    """A place on a road: grades [rise per run] as ridden and as recorded over 10, 30 and 100 m, and what to make of it.

    `looks_like` is "road", "recorder" or "made"; `because` says why, and what was recorded there.
    """

    at_m: float
    grade: Grades
    recorded_grade: Grades | None
    recorded_speed_m_per_s: float | None
    looks_like: str
    because: str

    @property
    def words(self) -> str:
        """Grades and judgement in one sentence, without units of length that a person may want otherwise."""
        percents = zip((from_si(value, "percent") for value in self.grade), OVER_M, strict=True)
        grades = ", ".join(f"{percent:.0f} % over {over:.0f} m" for percent, over in percents)
        if self.looks_like == "made":
            return grades
        return f"{grades}; it looks like the {self.looks_like}: {self.because}"

    def as_dict(self) -> dict[str, object]:
        """Return the report as plain values with their units in the names."""
        speed = self.recorded_speed_m_per_s
        return {
            "at_km": from_si(self.at_m, "km"),
            **_percents("grade", self.grade),
            **_percents("recorded_grade", self.recorded_grade),
            "recorded_speed_km_h": None if speed is None else from_si(speed, "km_h"),
            "looks_like": self.looks_like,
            "because": self.because,
        }


def _percents(name: str, grades: Grades | None) -> dict[str, float | None]:
    given = grades or (None,) * len(OVER_M)
    return {
        f"{name}_{over:.0f}m_percent": None if value is None else from_si(value, "percent")
        for over, value in zip(OVER_M, given, strict=True)
    }


def place_report(road: Road, at_m: float) -> PlaceReport:
    """Return how steep the road is at a distance [m], what was recorded there, and whether that is the road.

    Raises RoadError for a place off the road.
    """
    if not 0.0 <= at_m <= road.length_m + 1e-6:
        what = f"there is no place at {at_m:g} m (allowed 0 to {road.length_m:.0f} m)"
        raise RoadError(road.source, what, "name a place on the road")
    grade = _grades(road, road.altitude_m, at_m)
    recorded = None if road.recorded_altitude_m is None else _grades(road, road.recorded_altitude_m, at_m)
    speed = None
    if road.recorded_speed_m_per_s is not None:
        speed = float(np.interp(at_m, road.distance_m, road.recorded_speed_m_per_s))
    looks_like, because = _judged(road, at_m, grade, recorded, speed)
    return PlaceReport(at_m, grade, recorded, speed, looks_like, because)


def steepest_places(road: Road, count: int = 5, *, up: bool = True) -> tuple[PlaceReport, ...]:
    """Return the places with the steepest climb (or fall) over 30 m, the steepest first, at least 100 m apart."""
    side = 1.0 if up else -1.0
    steep = side * np.array([mean_grade(road, road.altitude_m, road.distance_m, over) for over in OVER_M[:2]]).mean(0)
    found: list[int] = []
    while len(found) < count and len(steep):
        at = int(steep.argmax())
        if not steep[at] > LEAST_GRADE:
            break
        found.append(at)
        steep[np.abs(road.distance_m - road.distance_m[at]) < APART_M] = -np.inf
    return tuple(place_report(road, float(road.distance_m[at])) for at in found)


def mean_grade(road: Road, altitude_m: Array, at_m: Array | float, over_m: float) -> Array:
    """Return the mean grade, rise per run, over a stretch with the places in its middle, kept on the road."""
    over = min(over_m, road.length_m)
    start = np.clip(np.asarray(at_m, dtype=np.float64) - 0.5 * over, 0.0, road.length_m - over)
    rise = np.interp(start + over, road.distance_m, altitude_m) - np.interp(start, road.distance_m, altitude_m)
    return grade_of(np.clip(rise / over, -0.99, 0.99))


def _grades(road: Road, altitude_m: Array, at_m: float) -> Grades:
    first, second, third = (float(mean_grade(road, altitude_m, at_m, over)) for over in OVER_M)
    return first, second, third


def _judged(road: Road, at_m: float, grade: Grades, recorded: Grades | None, speed: float | None) -> tuple[str, str]:
    """Return whether a place looks like the road or the recorder, and why."""
    if road.cleaning is None or recorded is None:
        return "made", "no recording"
    steep = max(abs(grade[1]), abs(recorded[1]))
    mending = next((one for one in road.mendings if one.not_recorded and _near(one, at_m)), None)
    if mending is not None:
        return "recorder", f"the recording has {ONE[mending.kind]} there, so the slope is a guess"
    if steep > STEEPEST_STREET:
        return "recorder", f"{from_si(steep, 'percent'):.0f} % is steeper than any street"
    upwards = 0.0 if speed is None else speed * float(sine_of(np.array(recorded[1])))
    if speed is not None and upwards > LEGS_CLIMB_M_PER_S:
        pace = f"it was ridden at {from_si(speed, 'km_h'):.0f} km/h, {upwards:.1f} m/s upwards"
        power = f"{STANDARD_GRAVITY_M_PER_S2 * upwards:.0f} W a kilogram"
        motor = f"no legs climb so fast; a motor needs {power} for it, and if one had that it is the road"
        return "recorder", f"{pace}: {'nobody climbs so fast' if upwards > MOTORS_CLIMB_M_PER_S else motor}"
    if abs(recorded[1]) > HUMP_GRADE and _is_hump(road, at_m):
        return "recorder", "the altitude goes up and down again within 150 m, as noise does"
    ridden = "" if speed is None else f", ridden at {from_si(speed, 'km_h'):.0f} km/h"
    return "road", f"recorded {from_si(recorded[1], 'percent'):.0f} % over {MIDDLE_M:.0f} m{ridden}"


def _is_hump(road: Road, at_m: float) -> bool:
    """Return whether the recorded altitude soon takes back what it gains (or loses) around a place."""
    assert road.recorded_altitude_m is not None
    around = np.abs(road.distance_m - at_m) <= HUMP_REACH_M
    altitude = road.recorded_altitude_m[around]
    for side in (1.0, -1.0):
        top = int((side * altitude).argmax())
        rise, fall = (side * (altitude[top] - altitude[at]) for at in (0, -1))
        if 0.0 < rise < HUMP_MOST_M and fall > HUMP_RETURNED_SHARE * rise and rise > HUMP_RETURNED_SHARE * fall:
            return True
    return False


def _near(mending: Mending, at_m: float) -> bool:
    return mending.from_m - 0.5 * MIDDLE_M <= at_m <= mending.to_m + 0.5 * MIDDLE_M
