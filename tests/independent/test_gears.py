"""A start through three gears by scipy's integrator, written from the model's description, shift by shift."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ridesim.ride.simulate import simulate
from ridesim.road.made import make_flat

from ..bikes import bike

RATIOS, ETA, STAGE, STAGE_ETA = (2.0, 1.4, 1.0), 0.95, 6.0, 0.96
UP_RPM, SHIFT_S, CURRENT_A, ROAD_M = 1600.0, 0.4, 30.0, 120.0
KEYS = {
    "drive.stage": [{"kind": "gear", "ratio": STAGE, "efficiency": STAGE_ETA}],
    "drive.gears": {
        "kind": "gearbox", "ratios": list(RATIOS), "efficiency": ETA, "up_rpm": UP_RPM, "down_rpm": 900.0,
        "shift_time_s": SHIFT_S,
    },
    "controller.motor_current_limit_a": CURRENT_A, "controller.pack_current_limit_a": 200.0, "pack.parallel": 20,
    "controller.brake_current_limit_a": 0.0, "rider.power_w": 0.0, "motor.magnet_coefficient_percent_per_k": 0.0,
}  # fmt: skip


def test_a_start_through_the_gears() -> None:
    """Constant current on the level: motion, the shifts' places and the rotor's line agree to a thousandth."""
    loaded = bike(KEYS)
    ride = simulate(loaded, make_flat(ROAD_M), throttle=1.0, record_every_s=0.02, accuracy="fine")
    b = loaded.build
    radius, mass = 2.060 / (2.0 * math.pi), b.mass_kg
    k = 60.0 / (2.0 * math.pi * 100.0)
    slope = k * 0.8 / (3000.0 * math.pi / 30.0)  # of the two no-load points: 1.1 A at 2000 rpm, 1.9 A at 5000
    tau_0 = k * 1.1 - slope * 2000.0 * math.pi / 30.0
    rho = float(ride.arrays.nodes[0]["air_density"])
    torque = k * CURRENT_A * math.sqrt(3.0) / 2.0

    def resist(v: float) -> float:
        return 0.5 * rho * (0.6 + 0.004) * v * v + 0.008 * mass * 9.80665 + 0.091 + 0.0087 * v

    x, v, t, lost, shifts = 0.0, 0.0, 0.0, 0.0, []
    bare = mass + 0.2 / radius**2
    for at, ratio in enumerate(RATIOS):
        turned = STAGE * ratio / radius
        moved = bare + 0.0012 * turned**2

        def driven(_t: float, y: np.ndarray, turned: float = turned, moved: float = moved) -> list[float]:
            shaft = torque - tau_0 - slope * turned * y[1]
            return [y[1], (shaft * turned * STAGE_ETA * ETA - resist(y[1])) / moved]

        def end(_t: float, y: np.ndarray, turned: float = turned, last: bool = at == 2) -> float:
            return y[0] - ROAD_M if last else y[1] * turned - UP_RPM * math.pi / 30.0

        end.terminal = True  # type: ignore[attr-defined]
        found = solve_ivp(driven, (t, t + 100.0), [x, v], events=end, rtol=1e-10, atol=1e-10)
        (x, v), t = found.y[:, -1], found.t[-1]
        if at == 2:
            break
        shifts.append(x)
        before = 0.5 * 0.0012 * (v * turned) ** 2
        free = solve_ivp(lambda _t, y: [y[1], -resist(y[1]) / bare], (t, t + SHIFT_S), [x, v], rtol=1e-10, atol=1e-10)
        (x, v), t = free.y[:, -1], free.t[-1]
        lost += before - 0.5 * 0.0012 * (v * STAGE * RATIOS[at + 1] / radius) ** 2
    f, table = ride.figures, ride.trace
    assert f.gear_shifts == 2
    assert f.total_time_s == pytest.approx(t, rel=1e-3)
    assert ride.raw.end.speed == pytest.approx(v, rel=1e-3)
    assert ride.ledger["gear_shifts"] * 3600.0 == pytest.approx(lost, rel=1e-3)
    begun = table["distance_km"].to_numpy()[1:][np.diff((table["gear"] == 0.0).astype(int)) == 1] * 1e3
    assert begun == pytest.approx(shifts, abs=0.02 * 7.0)  # a row every 0.02 s, at most 7 m/s
    normal = simulate(loaded, make_flat(ROAD_M), throttle=1.0)
    assert normal.figures.total_time_s == pytest.approx(t, rel=1e-3)
