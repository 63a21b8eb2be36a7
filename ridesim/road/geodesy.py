"""Distances and headings on the WGS84 ellipsoid."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ridesim.errors import RoadError

# WGS84: NIMA TR8350.2 (3rd ed. 2000), table 3.1.
EQUATOR_RADIUS_M = 6_378_137.0
FLATTENING = 1.0 / 298.257223563
POLE_RADIUS_M = EQUATOR_RADIUS_M * (1.0 - FLATTENING)
SECOND_ECCENTRICITY_SQUARED = (EQUATOR_RADIUS_M**2 - POLE_RADIUS_M**2) / POLE_RADIUS_M**2

FIRST_ECCENTRICITY_SQUARED = FLATTENING * (2.0 - FLATTENING)
MEAN_RADIUS_M = (2.0 * EQUATOR_RADIUS_M + POLE_RADIUS_M) / 3.0

MOST_TURNS = 30
CONVERGED_RAD = 1e-13  # 0.6 micrometres on the ground: far below 1 mm, far above rounding
SHORT_LEG_M = 1000.0
NEAR_POLE_RAD = math.radians(80.0)  # beyond it the meridians draw together too fast for a mid-latitude
OVER_SEAS_M = 1.0e6  # well inside where Vincenty's method converges; no leg of a road is longer

Array = NDArray[np.float64]


def geodesic_inverse(
    latitude_1_deg: ArrayLike, longitude_1_deg: ArrayLike, latitude_2_deg: ArrayLike, longitude_2_deg: ArrayLike
) -> tuple[Array, Array, Array]:
    """Return distance [m], heading at the start and heading at the end [° clockwise from north].

    Arrays broadcast. Raises RoadError for two points on opposite sides of the globe, where the method does not
    converge: no road leads there. Source: Vincenty (1975), Survey Review 23(176):88-93, inverse method.
    """
    given = (latitude_1_deg, longitude_1_deg, latitude_2_deg, longitude_2_deg)
    arrays = np.broadcast_arrays(*(np.asarray(a, dtype=np.float64) for a in given))
    distance, start, end, converged = _vincenty(*(array.ravel() for array in arrays))
    if not converged.all():
        first = [float(array.ravel()[int(converged.argmin())]) for array in arrays]
        places = "from {:.4g}°, {:.4g}° to {:.4g}°, {:.4g}°".format(*first)
        raise RoadError("points", f"two lie on opposite sides of the globe ({places})", "delete the wrong one")
    shape = arrays[0].shape
    return distance.reshape(shape), start.reshape(shape), end.reshape(shape)


def leg_lengths(latitude_deg: Array, longitude_deg: Array) -> tuple[Array, Array]:
    """Return the length [m] and the mean heading [°] of each leg of a line of points, shape (n - 1,).

    Short legs by the radii of curvature at their middle (Gauss's mid-latitude formulae, first order: 1e-8 off at
    1 km), longer ones by `geodesic_inverse`, hops over seas by the great circle: those are only found to be dropped.
    """
    middle = np.radians(0.5 * (latitude_deg[1:] + latitude_deg[:-1]))
    squeeze = 1.0 - FIRST_ECCENTRICITY_SQUARED * np.sin(middle) ** 2
    across = EQUATOR_RADIUS_M / np.sqrt(squeeze)
    along = across * (1.0 - FIRST_ECCENTRICITY_SQUARED) / squeeze
    north = along * np.radians(np.diff(latitude_deg))
    east = across * np.cos(middle) * np.radians(wrap_deg(np.diff(longitude_deg)))
    length, heading = np.hypot(north, east), np.mod(np.degrees(np.arctan2(east, north)), 360.0)
    far = np.flatnonzero((length > SHORT_LEG_M) | (np.abs(middle) > NEAR_POLE_RAD))
    if far.size:
        length[far], heading[far] = _far_legs(latitude_deg, longitude_deg, far)
    return length, heading


def _far_legs(latitude_deg: Array, longitude_deg: Array, at: NDArray[np.intp]) -> tuple[Array, Array]:
    """Return length [m] and mean heading [°] of the legs that begin at the points `at`."""
    lat_1, lon_1, lat_2, lon_2 = latitude_deg[at], longitude_deg[at], latitude_deg[at + 1], longitude_deg[at + 1]
    phi_1, phi_2 = np.radians(lat_1), np.radians(lat_2)
    turn = np.radians(wrap_deg(lon_2 - lon_1))
    half = np.sin(0.5 * (phi_2 - phi_1)) ** 2 + np.cos(phi_1) * np.cos(phi_2) * np.sin(0.5 * turn) ** 2
    length = 2.0 * MEAN_RADIUS_M * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0)))
    away = np.cos(phi_1) * np.sin(phi_2) - np.sin(phi_1) * np.cos(phi_2) * np.cos(turn)
    heading = np.mod(np.degrees(np.arctan2(np.sin(turn) * np.cos(phi_2), away)), 360.0)
    near = length < OVER_SEAS_M
    exact, start, end = geodesic_inverse(lat_1[near], lon_1[near], lat_2[near], lon_2[near])
    length[near], heading[near] = exact, np.mod(start + 0.5 * wrap_deg(end - start), 360.0)
    return length, heading


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
