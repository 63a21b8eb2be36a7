"""What holds the bike back: air, rolling, grade, bearings; and what the tyres can pass on.

Legend: v speed [m/s], w air speed over the rider [m/s], rho air density [kg/m3], theta slope angle, m mass [kg],
mu friction coefficient, L wheelbase, h height and b distance ahead of the rear contact of the centre of mass [m].
Forces in N, positive against the motion.
"""

from __future__ import annotations

import math

from ridesim.jit import kernel

GRAVITY = 9.80665
"""Standard gravity [m/s2]. Source: BIPM, The International System of Units (9th ed. 2019)."""

BEARING_STILL_N = 0.091
BEARING_PER_SPEED = 0.0087
"""Bearing drag of one bicycle [N] and [N s/m]. Source: Martin et al. (1998), J. Appl. Biomech. 14:276-291."""


@kernel
def air_drag(rho: float, drag_area: float, v: float, headwind: float, crosswind: float) -> float:
    """Return the drag along the road, 1/2 rho CdA |w| w_along [N].

    rho [kg/m3], drag_area [m2], v [m/s], headwind and crosswind at rider height [m/s]. Negative where a tail wind is
    faster than the rider. Leaves out the change of CdA with yaw.
    Source: Martin et al. (1998), J. Appl. Biomech. 14:276-291, with the wind as a vector.
    """
    along = v + headwind
    size = abs(along)
    if crosswind != 0.0:
        size = math.sqrt(along * along + crosswind * crosswind)
    return 0.5 * rho * drag_area * size * along


@kernel
def rolling_drag(crr: float, mass: float, cos_theta: float) -> float:
    """Return Crr m g cos(theta) [N]. Source: Martin et al. (1998)."""
    return crr * mass * GRAVITY * cos_theta


@kernel
def grade_force(mass: float, sin_theta: float) -> float:
    """Return m g sin(theta) [N], negative downhill."""
    return mass * GRAVITY * sin_theta


@kernel
def bearing_drag(v: float) -> float:
    """Return 0.091 + 0.0087 v [N], v in m/s. Source: Martin et al. (1998)."""
    return BEARING_STILL_N + BEARING_PER_SPEED * v


def drive_force_bound(
    mu: float, mass: float, cos_theta: float, wheelbase: float, height: float, ahead: float, rear: bool
) -> float:
    """Return the largest propulsive force before the tyre slips or the front lifts [N].

    Moments about the wheel contacts, all propulsion at one wheel, air force at the height of the centre of mass.
    Rear wheel: mu N_r with N_r L = m g cos (L - b) + F h, and F h <= m g cos b. Front wheel: N_f L = m g cos b - F h.
    Source: Cossalter, Motorcycle Dynamics (2006), chapter 3 (longitudinal equilibrium); closed form by moments.
    """
    weight = mass * GRAVITY * cos_theta
    if not rear:
        return mu * weight * ahead / (wheelbase + mu * height)
    lift = weight * ahead / height
    lever = wheelbase - mu * height
    if lever <= 0.0:
        return lift
    return min(mu * weight * (wheelbase - ahead) / lever, lift)


def pedal_share_of_grip(mu: float, wheelbase: float, height: float, rear: bool) -> float:
    """Return how much of the motor's bound each newton at the pedalled rear wheel takes (dimensionless).

    At the rear both push through one tyre: 1. At the front the rear's push only takes load off the front tyre:
    F_m <= mu (m g cos b - (F_m + F_p) h) / L, so F_p counts mu h / (L + mu h). Closed form by moments, as above.
    """
    return 1.0 if rear else mu * height / (wheelbase + mu * height)


def other_share_of_grip(mu: float, wheelbase: float, height: float, ahead: float, rear: bool, same: bool) -> float:
    """Return how much of a drive's grip each newton of another drive takes; < 0: it adds (dimensionless).

    At the same wheel both push through one tyre: 1. At the front, a push at the rear takes load off it:
    mu h / (L + mu h). At the rear, a push at the front adds load: -mu h / (L - mu h), where it is grip that bounds it;
    where the front lifts first, both pushes lift it: 1. Closed form by moments, as `drive_force_bound`.
    """
    lever = wheelbase - mu * height
    if same:
        return 1.0
    if not rear:
        return mu * height / (wheelbase + mu * height)
    lifts = lever <= 0.0 or mu * (wheelbase - ahead) / lever > ahead / height
    return 1.0 if lifts else -mu * height / lever


def other_share_of_braking_grip(
    mu: float, wheelbase: float, height: float, ahead: float, rear: bool, same: bool
) -> float:
    """Return the same while both brake: a brake at the front takes load off the rear, one at the rear adds none here.

    (It would add mu h / (L - mu h) at the front; left out, on the safe side.)
    """
    if same:
        return 1.0
    return mu * height / (wheelbase + mu * height) if rear else 0.0


def steepest_grade(push: float, pedal: float, mass: float, crr: float, grip: float, pedal_share: float) -> float:
    """Return the steepest grade [rise per run] that motor and pedals hold from rest, bearings taken off their push [N].

    By push: m g (sin(theta) + crr cos(theta)) = push. By grip, which falls with cos(theta):
    m g (sin(theta) + crr cos(theta)) = grip cos(theta) + pedal (1 - pedal_share). The smaller counts.
    """
    weight = mass * GRAVITY
    by_push = math.asin(min(push / (weight * math.hypot(1.0, crr)), 1.0)) - math.atan(crr)
    more = crr * weight - grip
    free = min(pedal * (1.0 - pedal_share) / math.hypot(weight, more), 1.0)
    by_grip = math.asin(free) - math.atan2(more, weight)
    return math.tan(max(min(by_push, by_grip), 0.0))


def motor_brake_force_bound(
    mu: float, mass: float, cos_theta: float, wheelbase: float, height: float, ahead: float, rear: bool
) -> float:
    """Return the largest braking force the motor's wheel alone can pass on [N]. Closed form by moments, as above."""
    weight = mass * GRAVITY * cos_theta
    if rear:
        return mu * weight * (wheelbase - ahead) / (wheelbase + mu * height)
    return min(both_brakes_force_bound(mu, mass, cos_theta, wheelbase, height, ahead), _front_grip(
        mu, weight, wheelbase, height, ahead))  # fmt: skip


def _front_grip(mu: float, weight: float, wheelbase: float, height: float, ahead: float) -> float:
    lever = wheelbase - mu * height
    if lever <= 0.0:
        return math.inf
    return mu * weight * ahead / lever


def both_brakes_force_bound(
    mu: float, mass: float, cos_theta: float, wheelbase: float, height: float, ahead: float
) -> float:
    """Return the largest braking force of both wheels: grip, or the rear lifting [N]. Closed form by moments."""
    weight = mass * GRAVITY * cos_theta
    return min(mu * weight, weight * (wheelbase - ahead) / height)
