"""One step of the ride: road, rider, controller, pack, motion, heat. One physics for every use.

The command is held through a step and energies are taken at the step's mean speed, so the ledger closes to rounding.
Road, charge and temperatures are those of the step's middle, expected from the last step: second order throughout. The
mean speed is guessed from the last accelerations and, where the guess was off, taken again (at most `PASSES`).

Legend: v speed [m/s], a acceleration [m/s2], dt step [s], omega motor speed [rad/s], G_ba body to air [W/K]; powers in
W, energies in J, temperatures in degC; letters as in `physics/`.
"""

from __future__ import annotations

from ridesim.engine.circuit import circuit_of, motor_now, polarise, polarised, read_pack
from ridesim.engine.command import ARRIVAL_WINDOW, command, is_obeyed, wanted_acceleration
from ridesim.engine.gears import change_gear, shifted_energy
from ridesim.engine.here import read_road
from ridesim.engine.pace import Trend, middle
from ridesim.engine.pair import Second
from ridesim.engine.second import all_rotors
from ridesim.engine.second_step import (
    advance_second,
    both_draws,
    both_kinetic,
    common_voltage,
    second_circuit,
    second_outcome,
)
from ridesim.engine.state import Fade, Here, Outcome, PackNow, Parameters, Pull, RoadArrays, State
from ridesim.jit import inner_kernel
from ridesim.physics import controller, heat

PASSES = 5
SPEED_TOLERANCE = 3e-4
"""Mean-speed guess is taken again when off by more than this [m/s]: it bounds how far a pack limit can be passed."""

HALT_SPEED = 1e-6
"""A braking bike slower than this stands still [m/s]; far below anything that a ride can show."""

SAME_SPEED = 1e-4
"""Relative change of speed below which the cooling is not taken anew: less than 1e-4 of the conductance."""

PLANNED_HALT_SPEED = 1e-3
"""The same where a stop is planned: the driver's law would creep towards it for ever [m/s]."""


@inner_kernel
def net_force(pull: Pull) -> float:
    """Return what is left of all forces on the bike [N], + forward."""
    resist = pull.brake_force + pull.air_force + pull.rolling_force + pull.grade_force + pull.bearing_force
    return pull.motor_force + pull.pedal_force - resist


@inner_kernel
def move(s: State, pull: Pull, halt_speed: float, dt: float) -> tuple[float, float, float]:
    """Return new speed, distance and the time in motion: forces held, a halt inside the step met exactly."""
    if pull.held:
        return 0.0, 0.0, 0.0
    acceleration = net_force(pull) * pull.per_mass
    speed = s.speed + acceleration * dt
    if speed > halt_speed or (speed >= 0.0 and acceleration >= 0.0):
        return speed, 0.5 * (s.speed + speed) * dt, dt
    moving = min(-s.speed / acceleration, dt)
    return 0.0, 0.5 * s.speed * moving, moving


@inner_kernel
def settle(
    second: Second | None, p: Parameters, s: State, over: Fade, now: PackNow, pull: Pull, speed: float,
    travelled: float, moving: float,
) -> Outcome:  # fmt: skip
    """Return the electrical and energy outcome of a step whose motion is known, at its mean speed."""
    dt = over.step
    mean_speed = travelled * over.rate
    omega = mean_speed * p.turned if pull.coupled or not p.freewheel else 0.0
    c = circuit_of(p, motor_now(p, omega, s.winding_temp, s.body_temp), now.voltage, now.resistance)
    emf = c.emf
    field_copper = pull.field * pull.field * c.motor_resistance
    copper = pull.current * pull.current * c.motor_resistance + field_copper
    if pull.field > 0.0:
        c = controller.with_field(c, pull.field, pull.current)
    shaft = pull.shaft_torque * omega
    iron = pull.iron_torque * omega
    beside = second_circuit(second, p, s, pull.second, now, mean_speed)
    voltage = common_voltage(beside, pull.second, c, pull.current)
    lost = controller.controller_loss(c, pull.current, voltage) - field_copper
    done = second_outcome(beside, second, p, s, pull.second, mean_speed, voltage, dt)
    current = both_draws(done, (c.emf * pull.current + copper + lost) / voltage)
    stored, slow_loss = polarise(p, s, over, now.slow_resistance, current)
    gained = pull.spin_up * shaft * dt if p.freewheel else 0.0
    rotor_lost = s.rotor_energy if p.freewheel and not pull.coupled and s.shift_left <= 0.0 else 0.0
    shifted = shifted_energy(p, s, speed, dt) if s.shift_left > 0.0 else 0.0
    kinetic = 0.5 * pull.mass * (speed * speed - s.speed * s.speed) + gained - rotor_lost - shifted
    kinetic = both_kinetic(done, kinetic)
    halted = 0.0
    if speed == 0.0 and s.speed > 0.0:
        halted = 0.5 * pull.mass * s.speed * s.speed + net_force(pull) * travelled
    fast_loss = now.fast_resistance * current * current * dt
    return Outcome(
        travelled=travelled,
        moving=moving,
        mean_speed=mean_speed,
        motor_speed=omega,
        resistance=c.motor_resistance,
        emf=emf,
        pack_voltage=voltage,
        pack_current=current,
        open_voltage=now.open_circuit,
        copper=copper,
        iron=iron,
        controller=lost,
        shaft=shaft,
        fast_loss=fast_loss,
        slow_loss=slow_loss,
        polarisation_stored=stored,
        chemistry=now.open_circuit * current * dt,
        kinetic=kinetic,
        rotor_lost=rotor_lost,
        shifted=shifted,
        halted=halted,
        fast_resistance=now.fast_resistance,
        slow_resistance=now.slow_resistance,
        second=done,
    )


@inner_kernel
def advance(
    second: Second | None, p: Parameters, road: RoadArrays, s: State, over: Fade, pull: Pull, out: Outcome,
    speed: float, here: Here,
) -> State:  # fmt: skip
    """Return the state after the step: place, charge and the four lumps of heat."""
    dt = over.step
    cooling_speed, g_ba = cooling(p, s, out.mean_speed)
    winding, body = heat.two_lumps(
        s.winding_temp, s.body_temp, out.copper, out.iron + out.rotor_lost * over.rate, p.winding_k_per_j,
        p.body_k_per_j, p.winding_to_body, g_ba, here.air_temp, dt,
    )  # fmt: skip
    box = heat.one_lump(s.controller_temp, out.controller, p.controller_k_per_j, p.controller_to_air, here.air_temp, dt)
    warmth = (out.fast_loss + out.slow_loss) * over.rate
    cells = heat.one_lump(s.pack_temp, warmth, p.pack_k_per_j, p.pack_to_air, here.air_temp, dt)
    distance = s.distance + out.travelled
    dwell, stop_index = _serve_stop(road, s, distance, speed, dt - out.moving, dt)
    rotor = 0.0
    if p.freewheel and pull.coupled:
        rotor = s.rotor_energy + pull.spin_up * out.shaft * dt
        rotor += 0.5 * p.rotor_inertia * p.turned * p.turned * (speed * speed - s.speed * s.speed)
    beside = advance_second(s.second, second, p, s, out.second, pull.second, out.mean_speed, speed, here, dt)
    gear, shift_left = s.gear, 0.0
    if p.gears > 1:
        gear, shift_left, rotor = change_gear(p, s, speed, rotor, dt)
    return State(
        time=s.time + dt,
        lap_time=s.lap_time + dt,
        distance=distance,
        speed=speed,
        acceleration=(speed - s.speed) * over.rate,
        charge=s.charge - out.pack_current * dt * p.charge_per_coulomb,
        polarisation=polarised(s, over, out.slow_resistance, out.pack_current),
        winding_temp=winding,
        body_temp=body,
        controller_temp=box,
        pack_temp=cells,
        rotor_energy=rotor,
        cooling_speed=cooling_speed,
        cooling=g_ba,
        dwell_left=dwell,
        shift_left=shift_left,
        gear=gear,
        stop_index=stop_index,
        second=beside,
    )


@inner_kernel
def cooling(p: Parameters, s: State, v: float) -> tuple[float, float]:
    """Return the speed at which the body's cooling is taken and its conductance [W/K]; held while v barely moves."""
    if abs(v - s.cooling_speed) <= SAME_SPEED * v:
        return s.cooling_speed, s.cooling
    return v, heat.body_to_air(p.cooling_still, p.cooling_moving, p.cooling_exponent, p.enclosure, v)


@inner_kernel
def _serve_stop(road: RoadArrays, s: State, distance: float, speed: float, left: float, dt: float) -> tuple[float, int]:
    """Return the dwell still to wait and the next stop's index: a halt at the stop starts its dwell inside the step."""
    if s.dwell_left > 0.0:
        return max(s.dwell_left - dt, 0.0), s.stop_index
    if speed > 0.0 or s.stop_index >= road.stops.size:
        return 0.0, s.stop_index
    if distance < road.stops[s.stop_index].at - ARRIVAL_WINDOW:
        return 0.0, s.stop_index
    return max(road.stops[s.stop_index].dwell - left, 0.0), s.stop_index + 1


@inner_kernel
def obeyed_speed(
    second: Second | None, p: Parameters, here: Here, s: State, per_mass: float, guess: float, dt: float
) -> float:
    """Return the mean speed of a step that gives the driver what he wants [m/s]: a guess set right by his law alone.

    per_mass: one over the mass that moves [1/kg]; he reckons with that of a bike whose motors drive.
    """
    reach = 0.5 * dt * all_rotors(second, p.mass_driving) * per_mass
    missed = s.speed + reach * wanted_acceleration(p, here, guess) - guess
    return max(guess + missed / (1.0 + reach * p.response_rate), 0.0)


@inner_kernel
def step(
    second: Second | None, p: Parameters, road: RoadArrays, s: State, trend: Trend, over: Fade
) -> tuple[State, Pull, Outcome, Here]:
    """Return state, command, outcome and road of one step; `over` is the fade of its length, from `fade_over`."""
    dt = over.step
    expected = trend.acceleration + 0.5 * (trend.length + dt) * trend.acceleration_slope
    guess = max(s.speed + 0.5 * dt * expected, 0.0)
    # Where the bike is when half of the step's time is over: there the mean speed is met.
    here = read_road(
        road, p, s, s.distance + 0.25 * dt * (s.speed + guess), s.distance + dt * guess, s.lap_time + 0.5 * dt
    )
    if trend.per_obeying > 0.0 and not p.freewheel:  # behind a freewheel another mass moves as soon as he pushes
        guess = obeyed_speed(second, p, here, s, trend.per_obeying, guess, dt)
    mid = middle(p, s, trend, dt)
    after, pull, out = step_here(second, p, road, s, mid, over, here, guess)
    return after, pull, out, here


@inner_kernel
def step_here(
    second: Second | None, p: Parameters, road: RoadArrays, s: State, mid: State, over: Fade, here: Here, guess: float
) -> tuple[State, Pull, Outcome]:
    """Return state, command and outcome of one step on a known bit of road, by a first guess of its mean speed [m/s].

    mid: the state expected at the step's middle. road: for its stops alone.
    """
    dt = over.step
    now = read_pack(p, mid, over)
    halt_speed = PLANNED_HALT_SPEED if here.plan_speed == 0.0 and p.throttle < 0.0 else HALT_SPEED
    guess_before, missed_before = -1.0, 0.0
    for _ in range(PASSES):
        pull = command(second, p, here, mid, now, guess, dt)
        speed, travelled, moving = move(s, pull, halt_speed, dt)
        missed = travelled * over.rate - guess
        if abs(missed) <= SPEED_TOLERANCE:
            break
        # The driver answers a speed within his response time, if he can; after a second look the secant knows better.
        steep = 0.5 * dt * p.response_rate if is_obeyed(pull) else 0.0
        if guess_before >= 0.0 and guess != guess_before:
            steep = max(-1.0 - (missed - missed_before) / (guess - guess_before), -0.5)
        guess_before, missed_before = guess, missed
        guess = max(guess + missed / (1.0 + steep), 0.0)
    out = settle(second, p, mid, over, now, pull, speed, travelled, moving)
    return advance(second, p, road, s, over, pull, out, speed, here), pull, out
