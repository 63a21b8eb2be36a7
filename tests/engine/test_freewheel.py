"""A freewheel drive's rotor: at rest while coasting, brought to speed before it pushes, its energy on the ledger."""

from __future__ import annotations

import math

import pytest

from ridesim.engine.loop import restart
from ridesim.engine.state import Ledger, Limit, State, Stop
from ridesim.ride.judge import judge
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb, make_flat

from ..bikes import bike

KEYS = {"drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0, "rider.power_w": 0.0}
TURNS = 40 / 18 * 72 / 16


def spinning(speed: float) -> float:
    """Energy of the reference bike's rotor at a road speed [J]."""
    radius = 2.060 / (2.0 * math.pi)
    return 0.5 * 0.0012 * (speed * TURNS / radius) ** 2


def rolling(speed: float) -> float:
    """Kinetic energy of the bike without its rotor [J]."""
    radius = 2.060 / (2.0 * math.pi)
    return 0.5 * (bike(KEYS).build.mass_kg + 0.2 / radius**2) * speed**2


@pytest.mark.parametrize("step_s", [0.1, 0.01])
def test_rotor_turns_with_the_wheel_once_it_pushes(step_s: float) -> None:
    """The ride starts rolling with the rotor still; on the level it must push, so the rotor is caught up with first."""
    ride = simulate(bike(KEYS), make_flat(200.0), start_speed_km_h=25.0, step_s=step_s, trace=False)
    assert ride.raw.stop is Stop.FINISHED
    assert ride.raw.end.rotor_energy == pytest.approx(spinning(ride.raw.end.speed), rel=1e-6)
    kinetic = rolling(ride.raw.end.speed) + spinning(ride.raw.end.speed) - rolling(25 / 3.6)
    assert ride.raw.ledger[Ledger.KINETIC] == pytest.approx(kinetic, rel=1e-9, abs=1e-6)


def test_rotor_stands_while_coasting() -> None:
    ride = simulate(
        bike(KEYS), make_climb(400.0, -6.0, start_altitude_m=100.0), start_speed_km_h=25.0, record_every_s=0.5
    )
    assert ride.raw.end.rotor_energy == 0.0
    assert ride.raw.ledger[Ledger.IRON] == 0.0
    assert (ride.trace["motor_speed_rpm"] == 0.0).all()


def test_rotors_energy_warms_the_motor_when_it_is_let_go() -> None:
    """Where the road tips down the rotor runs down: its energy is on the iron line and in body and winding."""
    level, down = make_flat(200.0), make_climb(40.0, -8.0, start_altitude_m=10.0)
    heats, stored = [], []
    for inertia in (0.0012, 0.0):
        loaded = bike({**KEYS, "motor.rotor_inertia_kg_m2": inertia})
        first = simulate(loaded, level, start_speed_km_h=25.0, trace=False)
        start = State(*restart(first.raw.end))
        last = simulate(loaded, down, start=start, trace=False)
        assert last.raw.end.rotor_energy == 0.0
        heats.append(last.raw.ledger[Ledger.IRON])
        body, winding = last.raw.end.body_temp - start.body_temp, last.raw.end.winding_temp - start.winding_temp
        stored.append(600.0 * body + 110.0 * winding)
    assert heats[0] - heats[1] == pytest.approx(spinning(25 / 3.6), rel=1e-3)
    # A hundredth of it has gone on to the air in the six seconds.
    assert stored[0] - stored[1] == pytest.approx(spinning(25 / 3.6), rel=0.03)


@pytest.mark.parametrize("grade", [-10.0, -14.0])
def test_a_motor_that_stands_on_a_descent_is_on_no_bound(grade: float) -> None:
    """Faster than the motor can turn the wheel it stands, whatever speed is wished: no bound holds that bike."""
    ride = simulate(bike(KEYS), make_climb(3000.0, grade), cruise_speed_km_h=90.0, record_every_s=1.0)
    stands = ride.trace["motor_speed_rpm"] == 0.0
    assert stands.mean() > 0.8
    assert set(ride.trace["limit"][stands].iloc[1:-1]) == {"none"}
    assert ride.figures.on_limit_s(Limit.MODULATION) < 0.1 * ride.figures.total_time_s
    assert not any(each.name == "time_on_a_bound" and each.verdict != "fine" for each in judge(ride).findings)
