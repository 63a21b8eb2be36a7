"""Distances and headings on the WGS84 ellipsoid."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

# WGS84: NIMA TR8350.2 (3rd ed. 2000), table 3.1.
EQUATOR_RADIUS_M = 6_378_137.0
FLATTENING = 1.0 / 298.257223563
POLE_RADIUS_M = EQUATOR_RADIUS_M * (1.0 - FLATTENING)
SECOND_ECCENTRICITY_SQUARED = (EQUATOR_RADIUS_M**2 - POLE_RADIUS_M**2) / POLE_RADIUS_M**2

MOST_TURNS = 30
CONVERGED_RAD = 1e-13  # 0.6 micrometres on the ground: far below 1 mm, far above rounding
BISECTIONS = 60  # halves 180 degrees down to rounding
QUADRATURE_POINTS = 24  # the integrands are smooth: 24 Gauss points reach rounding over half a turn
TINY = 1e-150  # keeps a start on the equator on its southern side without moving it

Array = NDArray[np.float64]


def geodesic_inverse(
    latitude_1_deg: ArrayLike, longitude_1_deg: ArrayLike, latitude_2_deg: ArrayLike, longitude_2_deg: ArrayLike
) -> tuple[Array, Array, Array]:
    """Return distance [m], heading at the start and heading at the end [° clockwise from north].

    Arrays broadcast. Source: Vincenty (1975), Survey Review 23(176):88-93, inverse method; the nearly antipodal
    pairs where it does not converge are solved after Karney (2013), J. Geodesy 87:43-55, section 4.
    """
    given = (latitude_1_deg, longitude_1_deg, latitude_2_deg, longitude_2_deg)
    arrays = np.broadcast_arrays(*(np.asarray(a, dtype=np.float64) for a in given))
    flat = [array.ravel() for array in arrays]
    distance, start, end, converged = _vincenty(*flat)
    for at in np.flatnonzero(~converged):
        distance[at], start[at], end[at] = _antipodal(*(float(array[at]) for array in flat))
    shape = arrays[0].shape
    return distance.reshape(shape), start.reshape(shape), end.reshape(shape)


def leg_lengths(latitude_deg: Array, longitude_deg: Array) -> tuple[Array, Array]:
    """Return the length [m] and the heading [°] of each leg of a line of points, shape (n - 1,)."""
    length, start, end = geodesic_inverse(latitude_deg[:-1], longitude_deg[:-1], latitude_deg[1:], longitude_deg[1:])
    return length, np.mod(start + 0.5 * wrap_deg(end - start), 360.0)


def wrap_deg(angle_deg: Array) -> Array:
    """Return angles brought into -180 to 180 degrees."""
    return np.mod(angle_deg + 180.0, 360.0) - 180.0


def _reduced(latitude_deg: Array) -> tuple[Array, Array]:
    """Return sine and cosine of the reduced latitude."""
    reduced = np.arctan((1.0 - FLATTENING) * np.tan(np.radians(latitude_deg)))
    return np.sin(reduced), np.cos(reduced)


def _vincenty(lat_1: Array, lon_1: Array, lat_2: Array, lon_2: Array) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Return distance, headings and where the iteration converged."""
    sin_1, cos_1 = _reduced(lat_1)
    sin_2, cos_2 = _reduced(lat_2)
    wanted = np.radians(wrap_deg(lon_2 - lon_1))
    turned = wanted.copy()
    converged = np.zeros(turned.shape, dtype=bool)
    for _ in range(MOST_TURNS):
        arc = _arc(sin_1, cos_1, sin_2, cos_2, turned)
        updated = wanted + _longitude_excess(*arc)
        converged = (np.abs(updated - turned) < CONVERGED_RAD) & (np.abs(updated) <= math.pi)
        turned = updated
        if bool(converged.all()):
            break
    east, north_1, north_2 = _directions(sin_1, cos_1, sin_2, cos_2, turned)
    start = np.degrees(np.arctan2(cos_2 * east, north_1))
    end = np.degrees(np.arctan2(cos_1 * east, north_2))
    return _distance(*arc), np.mod(start, 360.0), np.mod(end, 360.0), converged


def _directions(sin_1: Array, cos_1: Array, sin_2: Array, cos_2: Array, turned: Array) -> tuple[Array, Array, Array]:
    """Return the east part and the north parts at both ends of the great circle on the auxiliary sphere."""
    cos_turned = np.cos(turned)
    north_1 = cos_1 * sin_2 - sin_1 * cos_2 * cos_turned
    north_2 = cos_1 * sin_2 * cos_turned - sin_1 * cos_2
    return np.sin(turned), north_1, north_2


def _arc(
    sin_1: Array, cos_1: Array, sin_2: Array, cos_2: Array, turned: Array
) -> tuple[Array, Array, Array, Array, Array, Array]:
    """Return arc length, its sine and cosine, sine and squared cosine of the equator heading, and cos(2 sigma_m)."""
    east, north_1, _ = _directions(sin_1, cos_1, sin_2, cos_2, turned)
    sin_arc = np.hypot(cos_2 * east, north_1)
    cos_arc = sin_1 * sin_2 + cos_1 * cos_2 * np.cos(turned)
    sin_alpha = cos_1 * cos_2 * east / np.where(sin_arc == 0.0, 1.0, sin_arc)
    cos2_alpha = 1.0 - sin_alpha**2
    along_equator = cos2_alpha <= 0.0
    middle = cos_arc - 2.0 * sin_1 * sin_2 / np.where(along_equator, 1.0, cos2_alpha)
    middle = np.clip(np.where(along_equator, 0.0, middle), -1.0, 1.0)
    return np.arctan2(sin_arc, cos_arc), sin_arc, cos_arc, sin_alpha, cos2_alpha, middle


def _longitude_excess(
    arc: Array, sin_arc: Array, cos_arc: Array, sin_alpha: Array, cos2_alpha: Array, middle: Array
) -> Array:
    """Return the longitude on the auxiliary sphere less that on the ellipsoid [rad]. Vincenty eqs. (10), (11)."""
    c = FLATTENING / 16.0 * cos2_alpha * (4.0 + FLATTENING * (4.0 - 3.0 * cos2_alpha))
    bent = arc + c * sin_arc * (middle + c * cos_arc * (2.0 * middle**2 - 1.0))
    return (1.0 - c) * FLATTENING * sin_alpha * bent


def _distance(arc: Array, sin_arc: Array, cos_arc: Array, sin_alpha: Array, cos2_alpha: Array, middle: Array) -> Array:
    """Return the distance [m] of an arc on the auxiliary sphere. Vincenty eqs. (3), (4), (6), (19)."""
    u2 = cos2_alpha * SECOND_ECCENTRICITY_SQUARED
    a = 1.0 + u2 / 16384.0 * (4096.0 + u2 * (-768.0 + u2 * (320.0 - 175.0 * u2)))
    b = u2 / 1024.0 * (256.0 + u2 * (-128.0 + u2 * (74.0 - 47.0 * u2)))
    third = b / 6.0 * middle * (4.0 * sin_arc**2 - 3.0) * (4.0 * middle**2 - 3.0)
    correction = b * sin_arc * (middle + b / 4.0 * (cos_arc * (2.0 * middle**2 - 1.0) - third))
    return POLE_RADIUS_M * a * (arc - correction)


def _antipodal(lat_1: float, lon_1: float, lat_2: float, lon_2: float) -> tuple[float, float, float]:
    """Return distance [m] and headings [°] of one pair, by bisection on the starting heading.

    The pair is mirrored so that it starts south, no nearer to the equator than it ends, and goes east; the
    longitude reached then grows with the starting heading. Source: Karney (2013), section 4, eqs. (7), (8), (45).
    """
    turn = (lon_2 - lon_1 + 180.0) % 360.0 - 180.0
    east = 1.0 if turn >= 0.0 else -1.0
    swap = -1.0 if abs(lat_1) < abs(lat_2) else 1.0
    if swap < 0.0:
        lat_1, lat_2, east = lat_2, lat_1, -east
    south = 1.0 if lat_1 < 0.0 else -1.0
    start, end = (math.atan((1.0 - FLATTENING) * math.tan(math.radians(south * lat))) for lat in (lat_1, lat_2))
    low, high = 0.0, math.pi
    for _ in range(BISECTIONS):
        heading = 0.5 * (low + high)
        if _reached(start, end, heading)[0] < math.radians(abs(turn)):
            low = heading
        else:
            high = heading
    _, distance, arrival = _reached(start, end, heading)
    first, last = (heading, arrival) if swap > 0.0 else (arrival, heading)
    across, along = swap * east, swap * south
    return distance, _mirrored_deg(first, across, along), _mirrored_deg(last, across, along)


def _mirrored_deg(heading: float, across: float, along: float) -> float:
    return math.degrees(math.atan2(across * math.sin(heading), along * math.cos(heading))) % 360.0


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(QUADRATURE_POINTS)


def _reached(start: float, end: float, heading: float) -> tuple[float, float, float]:
    """Return longitude [rad], distance [m] and heading [rad] where a geodesic first meets the latitude `end` northward.

    `start` and `end` are reduced latitudes [rad].
    """
    sin_1, cos_1 = min(math.sin(start), -TINY), math.cos(start)
    sin_0 = math.sin(heading) * cos_1
    cos_0 = math.hypot(math.cos(heading), math.sin(heading) * sin_1)
    cos_end = math.sqrt(max((math.cos(heading) * cos_1) ** 2 + math.cos(end) ** 2 - cos_1**2, 0.0))
    sigma_1 = math.atan2(sin_1, math.cos(heading) * cos_1)
    sigma_2 = math.atan2(math.sin(end), cos_end)
    omega_1 = math.atan2(sin_0 * math.sin(sigma_1), math.cos(sigma_1))
    omega_2 = math.atan2(sin_0 * math.sin(sigma_2), math.cos(sigma_2))
    half = 0.5 * (sigma_2 - sigma_1)
    stretch = np.sqrt(1.0 + SECOND_ECCENTRICITY_SQUARED * (cos_0 * np.sin(sigma_1 + half * (1.0 + _NODES))) ** 2)
    lag = half * float(np.dot(_WEIGHTS, (2.0 - FLATTENING) / (1.0 + (1.0 - FLATTENING) * stretch)))
    distance = POLE_RADIUS_M * half * float(np.dot(_WEIGHTS, stretch))
    return omega_2 - omega_1 - FLATTENING * sin_0 * lag, distance, math.atan2(sin_0, cos_end)
