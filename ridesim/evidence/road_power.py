"""Road power and coasting against published and closed-form values, by the ride's own resistance kernels."""

from __future__ import annotations

import math
from collections.abc import Callable

from ridesim.evidence.checks import Check, Subject, bound, near
from ridesim.evidence.store import sheet, table
from ridesim.physics.resistance import GRAVITY, air_drag, bearing_drag, grade_force, rolling_drag
from ridesim.units import from_si, to_si

PAPER = sheet("road.paper")
SUMMED = ("sum", "total")


def powers(
    mass: float, area: float, crr: float, speed: float, grade: float, wind: float, rho: float | None = None,
    crosswind: float = 0.0,
) -> dict[str, float]:  # fmt: skip
    """Return the parts of the power at the wheel, their sum, and the total at the pedals [W]."""
    theta = math.atan(grade)
    rho = sheet("road.upright").air_density_kg_per_m3 if rho is None else rho
    parts = {
        "air": air_drag(rho, area + PAPER.wheels_area_m2, speed, wind, crosswind) * speed,
        "rolling": rolling_drag(crr, mass, math.cos(theta)) * speed,
        "grade": grade_force(mass, math.sin(theta)) * speed,
        "bearings": bearing_drag(speed) * speed,
    }
    parts["sum"] = sum(parts.values())
    parts["total"] = parts["sum"] / PAPER.chain_efficiency
    return parts


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of road power and coasting."""
    return [*_equation(), *_sample(), *_drafting(), *_bearings(), *_coasting(), _terminal(), *_downhill(), *_wind()], []


def _equation() -> list[Check]:
    checks = []
    for name, mass, area, crr, speed, grade, wind, *printed in table("road.equation").rows:
        ours = powers(mass, area, crr, to_si(speed, "km_h"), grade, wind)
        for (part, watts), value in zip(ours.items(), printed, strict=True):
            note = "the sum of parts that were rounded first" if part in SUMMED else ""
            if value is not None:
                checks.append(near(f"{name}: {part}", watts, value, within=2e-3 if note else None, note=note))
    return checks


def _sample() -> list[Check]:
    """The paper's worked sample: it takes g = 9.81 and squares the along-road air speed alone."""
    s = sheet("road.sample")
    speed, angle = s.distance_m / s.time_s, to_si(s.wind_off_heading_deg, "deg")
    along, across = s.wind_m_per_s * math.cos(angle), s.wind_m_per_s * math.sin(angle)
    drag = s.drag_area_m2, s.rolling_resistance
    ours = powers(s.mass_kg, *drag, speed, s.grade, along, s.air_density_kg_per_m3, across)
    yaw = math.atan(across / (speed + along))
    wheels = PAPER.wheels_inertia_kg_m2 / PAPER.wheel_radius_m**2
    gained = 0.5 * (s.mass_kg + wheels) * (s.last_m_per_s**2 - s.first_m_per_s**2) / s.time_s
    heavy = (ours["rolling"] + ours["grade"]) * PAPER.gravity_m_per_s2 / GRAVITY
    total = (ours["air"] * math.cos(yaw) + heavy + ours["bearings"] + gained) / PAPER.chain_efficiency
    return [
        near("worked sample of the paper, total", total, s.total_w, within=0.2,
             note="g of the paper; the cross wind, which the paper leaves out of the square, taken out"),
        near("wheels' inertia as mass, 0.14 kg m² at 0.311 m", wheels, PAPER.wheels_as_mass_kg),
    ]  # fmt: skip


def _drafting() -> list[Check]:
    note = "which riders the abstract means is our inference"
    riders, checks = sheet("road.drafting_riders"), []
    for name, speed, area, alone, drafting, saves in table("road.drafting").rows:
        by_itself, behind = _drafting_watts(riders.alone_area_m2, speed), _drafting_watts(area, speed)
        saved = from_si(1.0 - behind / by_itself, "percent")
        checks += [
            near(f"alone up 7.5 % at {speed:g} m/s", by_itself, alone),
            near(f"up 7.5 %, {name}", behind, drafting),
            bound(f"saved by {name}", saved, "at least", saves, note=note),
        ]
    return checks


def _drafting_watts(area: float, speed: float) -> float:
    riders = sheet("road.drafting_riders")
    ours = powers(riders.mass_kg, area, riders.rolling_resistance, speed, riders.grade, 0.0)
    heavy = (ours["rolling"] + ours["grade"]) * PAPER.gravity_m_per_s2 / GRAVITY
    return float((heavy + ours["air"] + ours["bearings"]) / riders.chain_efficiency)


def _bearings() -> list[Check]:
    return [
        near(f"bearings at {speed:g} m/s", bearing_drag(speed) * speed, printed)
        for speed, printed in table("road.bearings").rows
    ]


def _coasting() -> list[Check]:
    checks = []
    for mass, area, crr, rho, first, speed, distance, to_rest, rest_s in table("road.coasting").rows:

        def slowing(v: float, mass: float = mass, area: float = area, crr: float = crr, rho: float = rho) -> float:
            """Return how fast a bike at `v` [m/s] loses speed [m/s2], by mass [kg], area [m2] and density [kg/m3]."""
            return (air_drag(rho, area, v, 0.0, 0.0) + rolling_drag(crr, mass, 1.0)) / mass

        start = to_si(first, "km_h")
        name = f"coasting from {start:.3g} m/s, {mass:g} kg, CdA {area:g} m²"
        v, x, _ = _roll(slowing, start, 20.0)
        _, end, seconds = _roll(slowing, start, math.inf)
        checks += [
            near(f"{name}: speed after 20 s", v, speed),
            near(f"{name}: distance after 20 s", x, distance),
            near(f"{name}: distance to rest", end, to_rest),
            near(f"{name}: time to rest", seconds, rest_s),
        ]
    return [*checks, *_pieces()]


def _pieces() -> list[Check]:
    """Times between speeds: the quadrature of dv over the slowing, by Simpson's rule."""
    upright, checks = sheet("road.upright"), []
    for first, last, printed in table("road.coasting_pieces").rows:
        low, high, parts = to_si(last, "km_h"), to_si(first, "km_h"), 200
        step, total = (high - low) / parts, 0.0
        for n in range(parts + 1):
            v = low + n * step
            force = air_drag(upright.air_density_kg_per_m3, upright.drag_area_m2, v, 0.0, 0.0)
            force += rolling_drag(upright.rolling_resistance, upright.mass_kg, 1.0)
            total += (1.0 if n in (0, parts) else 4.0 if n % 2 else 2.0) * upright.mass_kg / force
        checks.append(near(f"coasting from {first:g} to {last:g} km/h", total * step / 3.0, printed))
    return checks


def _roll(
    slowing: Callable[[float], float], first: float, seconds: float, step: float = 0.02
) -> tuple[float, float, float]:
    """Return speed, distance and time after some seconds, or at rest: classical Runge-Kutta."""
    v, x, t = first, 0.0, 0.0
    while t < seconds - 1e-9 and v > 0.0:
        a = slowing(v)
        b = slowing(v - 0.5 * step * a)
        c = slowing(v - 0.5 * step * b)
        d = slowing(v - step * c)
        mean = (a + 2.0 * b + 2.0 * c + d) / 6.0
        if v - step * mean <= 0.0:
            return 0.0, x + v * v / (2.0 * mean), t + v / mean
        x += step * (v - step * (a + b + c) / 6.0)
        v, t = v - step * mean, t + step
    return v, x, t


def _terminal() -> Check:
    """Terminal speed of an upright rider on -5 %, without bearings: bisection on the balance of forces."""
    upright, printed = sheet("road.upright"), sheet("road.terminal")
    theta, low, high = math.atan(printed.grade), 0.0, 50.0
    for _ in range(60):
        v = 0.5 * (low + high)
        force = air_drag(upright.air_density_kg_per_m3, upright.drag_area_m2, v, 0.0, 0.0)
        force += rolling_drag(upright.rolling_resistance, upright.mass_kg, math.cos(theta))
        low, high = (v, high) if force + grade_force(upright.mass_kg, math.sin(theta)) < 0.0 else (low, v)
    return near("terminal speed down 5 %", v, printed.speed_m_per_s)


def braking_power(grade: float, speed: float) -> float:
    """Return what brakes take from an upright rider at a held speed [m/s] down a grade, without bearings [W]."""
    upright, theta = sheet("road.upright"), math.atan(grade)
    pull = -grade_force(upright.mass_kg, math.sin(theta))
    pull -= rolling_drag(upright.rolling_resistance, upright.mass_kg, math.cos(theta))
    return (pull - air_drag(upright.air_density_kg_per_m3, upright.drag_area_m2, speed, 0.0, 0.0)) * speed


def _downhill() -> list[Check]:
    checks = [
        near(f"braking down {-grade:.0%} at {kmh:g} km/h", braking_power(grade, to_si(kmh, "km_h")), printed)
        for grade, kmh, printed in table("road.held_descent").rows
    ]
    for grade, kmh, printed in table("road.worst_descent").rows:
        worst = _hottest_speed(grade)
        name = f"hottest brakes down {-grade:.0%}"
        checks.append(near(f"{name}: speed", from_si(worst, "km_h"), kmh))
        checks.append(near(f"{name}: power", braking_power(grade, worst), printed))
    return checks


def _hottest_speed(grade: float) -> float:
    """Return the speed of the largest braking power [m/s]: bisection on its slope."""
    low, high = 0.0, 50.0
    for _ in range(60):
        v = 0.5 * (low + high)
        low, high = (v, high) if braking_power(grade, v + 1e-4) > braking_power(grade, v - 1e-4) else (low, v)
    return low


def _wind() -> list[Check]:
    checks, turns, speed = [], 20_000, to_si(25.0, "km_h")
    for name, wind, across_counts, printed in table("road.random_wind").rows:
        angles = [2.0 * math.pi * (n + 0.5) / turns for n in range(turns)]
        drags = [
            air_drag(1.0, 1.0, speed, wind * math.cos(a), wind * math.sin(a) if across_counts else 0.0) for a in angles
        ]
        ours = sum(drags) / turns / air_drag(1.0, 1.0, speed, 0.0, 0.0)
        checks.append(near(f"drag in a wind from anywhere, {name}", ours, printed))
    return checks


SUBJECT = Subject("road-power", "Road power and coasting", run)
