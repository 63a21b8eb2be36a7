"""Road power and coasting against published and closed-form values, by the ride's own resistance kernels."""

from __future__ import annotations

import math
from collections.abc import Callable

from ridesim.evidence.checks import Check, Kind, Subject, near
from ridesim.physics.resistance import GRAVITY, air_drag, bearing_drag, grade_force, rolling_drag

MARTIN = "Martin et al. (1998), J. Appl. Biomech. 14:276-291"
DRAFTING = "van Druenen and Blocken (2021), Sports Eng. 24:10, table 1"
COASTING = "White and Korst (1972), SAE 720099, closed form"
WHEELS_M2 = 0.0044
CHAIN = 0.97698
PAPER_G = 9.81
KMH_25 = 25.0 / 3.6

# row: mass kg, CdA m2, Crr, speed m/s, grade, head wind m/s; parts as printed, W
ROWS: dict[str, tuple[tuple[float, ...], dict[str, str]]] = {
    "100 kg upright at 25 km/h": ((100, 0.559, 0.0077, KMH_25, 0, 0),
        {"air": "115.567", "rolling": "52.438", "bearings": "1.0515", "total": "173.041"}),
    "the same, head wind 3 m/s": ((100, 0.559, 0.0077, KMH_25, 0, 3),
        {"air": "236.985", "total": "297.320"}),
    "the same on 5 %": ((100, 0.559, 0.0077, KMH_25, 0.05, 0),
        {"rolling": "52.373", "grade": "340.084", "total": "521.071"}),
    "the same at 5 m/s": ((100, 0.559, 0.0077, 5.0, 0, 0), {"sum": "81.563"}),
    "100 kg at 45 km/h": ((100, 0.4, 0.006, 12.5, 0, 0),
        {"air": "483.779", "rolling": "73.550", "bearings": "2.4969", "sum": "559.826"}),
    "90 kg at 10 m/s": ((90, 0.2565, 0.0032, 10.0, 0, 0),
        {"air": "159.801", "rolling": "28.243", "bearings": "1.780", "sum": "189.824"}),
}  # fmt: skip

# mass, CdA, Crr, rho, first speed; speed after 20 s, distance after 20 s, distance to rest (no bearings)
COASTS = (
    ((100.0, 0.559, 0.0077, 1.225, KMH_25), "3.60430", "101.61607", "169.2488"),
    ((100.0, 0.4, 0.006, 1.225, 10.0), "5.86810", "153.51534", "335.0369"),
    ((90.0, 0.2565, 0.0032, 1.2234, 10.0), "6.93274", "166.36812", "539.2748"),
    ((100.0, 0.559, 0.0077, 1.225, 12.5), "5.79593", "170.05026", "305.2073"),
)


def powers(
    mass: float, area: float, crr: float, speed: float, grade: float, wind: float, rho: float = 1.225,
    crosswind: float = 0.0,
) -> dict[str, float]:  # fmt: skip
    """Return the parts of the power at the wheel, their sum, and the total at the pedals [W]."""
    theta = math.atan(grade)
    parts = {
        "air": air_drag(rho, area + WHEELS_M2, speed, wind, crosswind) * speed,
        "rolling": rolling_drag(crr, mass, math.cos(theta)) * speed,
        "grade": grade_force(mass, math.sin(theta)) * speed,
        "bearings": bearing_drag(speed) * speed,
    }
    parts["sum"] = sum(parts.values())
    parts["total"] = parts["sum"] / CHAIN
    return parts


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of road power and coasting."""
    return [*_equation(), *_sample(), *_drafting(), *_bearings(), *_coasting(), _terminal()], []


def _equation() -> list[Check]:
    checks = []
    for name, (inputs, printed) in ROWS.items():
        ours = powers(*inputs)
        note = "the sum of parts that were rounded first"
        for part, value in printed.items():
            summed = part in ("sum", "total")
            checks.append(
                near(
                    f"{name}: {part}", ours[part], value, "W", f"{MARTIN}, equation", Kind.CLOSED_FORM,
                    within=2e-3 if summed else None, note=note if summed else "",
                )
            )  # fmt: skip
    return checks


def _sample() -> list[Check]:
    """The paper's worked sample: it takes g = 9.81 and squares the along-road air speed alone."""
    speed, wind, angle = 471.8 / 56.42, 2.94, math.radians(30.0)
    along, across = wind * math.cos(angle), wind * math.sin(angle)
    ours = powers(90.0, 0.2565, 0.0032, speed, 0.003, along, 1.2234, across)
    yaw = math.atan(across / (speed + along))
    moving = 90.0 + 0.14 / 0.311**2
    gained = 0.5 * moving * (8.45**2 - 8.28**2) / 56.42
    heavy = (ours["rolling"] + ours["grade"]) * PAPER_G / GRAVITY
    total = (ours["air"] * math.cos(yaw) + heavy + ours["bearings"] + gained) / CHAIN
    source = f"{MARTIN}, sample; inputs and total from memory"
    return [
        near("worked sample of the paper, total", total, "213.3", "W", source, Kind.FROM_MEMORY, within=0.2,
             note="g of the paper; the cross wind, which the paper leaves out of the square, taken out"),
        near("wheels' inertia as mass, 0.14 kg m² at 0.311 m", moving - 90.0, "1.447", "kg", MARTIN, Kind.CLOSED_FORM),
    ]  # fmt: skip


def _drafting() -> list[Check]:
    def watts(area: float, speed: float) -> float:
        ours = powers(72.0, area, 0.0032, speed, 0.075, 0.0)
        return ((ours["rolling"] + ours["grade"]) * PAPER_G / GRAVITY + ours["air"] + ours["bearings"]) / 0.98

    second = 100.0 * (1.0 - watts(0.261, 6.0) / watts(0.473, 6.0))
    seventh = 100.0 * (1.0 - watts(0.164, 8.0) / watts(0.473, 8.0))
    note = "which riders the abstract means is our inference"
    return [
        near("alone up 7.5 % at 6 m/s", watts(0.473, 6.0), "402.55", "W", DRAFTING, Kind.CLOSED_FORM),
        Check("saved by the second of two at 6 m/s", second, 7.0, "%", 0.0, f"{DRAFTING} and abstract, over 7 %",
              Kind.PUBLISHED, "at least", note),
        Check("saved by the seventh of eight at 8 m/s", seventh, 16.0, "%", 0.0, f"{DRAFTING} and abstract, over 16 %",
              Kind.PUBLISHED, "at least", note),
    ]  # fmt: skip


def _bearings() -> list[Check]:
    rows = ((5.0, "0.6725"), (10.0, "1.780"), (15.0, "3.3225"))
    return [
        near(f"bearings at {speed:g} m/s", bearing_drag(speed) * speed, printed, "W", MARTIN, Kind.PUBLISHED)
        for speed, printed in rows
    ]


def _coasting() -> list[Check]:
    checks = []
    for (mass, area, crr, rho, first), speed, distance, to_rest in COASTS:

        def slowing(v: float, mass: float = mass, area: float = area, crr: float = crr, rho: float = rho) -> float:
            return (air_drag(rho, area, v, 0.0, 0.0) + rolling_drag(crr, mass, 1.0)) / mass

        name = f"coasting from {first:.3g} m/s, {mass:g} kg, CdA {area:g} m²"
        v, x = _roll(slowing, first, 20.0)
        _, end = _roll(slowing, first, math.inf)
        checks += [
            near(f"{name}: speed after 20 s", v, speed, "m/s", COASTING, Kind.CLOSED_FORM),
            near(f"{name}: distance after 20 s", x, distance, "m", COASTING, Kind.CLOSED_FORM),
            near(f"{name}: distance to rest", end, to_rest, "m", COASTING, Kind.CLOSED_FORM),
        ]
    return checks


def _roll(slowing: Callable[[float], float], first: float, seconds: float, step: float = 0.02) -> tuple[float, float]:
    """Return speed and distance after some seconds, or at rest: classical Runge-Kutta."""
    v, x, t = first, 0.0, 0.0
    while t < seconds - 1e-9 and v > 0.0:
        a = slowing(v)
        b = slowing(v - 0.5 * step * a)
        c = slowing(v - 0.5 * step * b)
        d = slowing(v - step * c)
        mean = (a + 2.0 * b + 2.0 * c + d) / 6.0
        if v - step * mean <= 0.0:
            return 0.0, x + v * v / (2.0 * mean)
        x += step * (v - step * (a + b + c) / 6.0)
        v, t = v - step * mean, t + step
    return v, x


def _terminal() -> Check:
    """Terminal speed on -5 %, 100 kg, CdA 0.559, Crr 0.0077, without bearings: bisection on the balance of forces."""
    theta, low, high = math.atan(-0.05), 0.0, 50.0
    for _ in range(60):
        v = 0.5 * (low + high)
        force = air_drag(1.225, 0.559, v, 0.0, 0.0) + rolling_drag(0.0077, 100.0, math.cos(theta))
        low, high = (v, high) if force + grade_force(100.0, math.sin(theta)) < 0.0 else (low, v)
    return near("terminal speed down 5 %", v, "11.00020", "m/s", "balance of forces", Kind.CLOSED_FORM)


SUBJECT = Subject("road-power", "Road power and coasting", run)
