"""A second, different drive on the same pack and the same road: what it does, and what it leaves to the first.

Every function here comes in two: where the bike has one drive its first argument is None and it does nothing. Which of
the two is compiled is decided by type (`jit.if_none`), so that a bike of one drive is ridden by the code it would have
had, and not one instruction more.

Both motors are commanded by one throttle. Following a plan, the wanted force is split as equal throttle splits it, in
proportion of what each gives at its current limit; what one cannot give, the other takes over up to its own bounds. One
pack feeds both: each sees its voltage less the other's draw, in turn, until they agree.

Legend: v speed [m/s], dt step [s], forces at the wheel [N], draws + out of the pack [A]; letters as in `physics/`.
"""

from __future__ import annotations

from ridesim.engine.asks import motor_pull
from ridesim.engine.circuit import circuit_of, motor_now
from ridesim.engine.pair import Second, SecondOutcome, SecondPull, SecondState, SecondTrend, unchanged
from ridesim.engine.state import Here, Law, Limit, MotorNow, MotorPull, PackNow, Parameters, State
from ridesim.jit import if_none, inner_kernel, rare_kernel
from ridesim.physics import controller

ROUNDS = 40
"""How often both are asked in turn, at most."""

AGREED = 1e-7
"""Change of draws [share and A] and of force [share and N] at which both agree."""

LEAST_WISH = 1e-9
"""A driving force that stays one when the other drive gives all that is wanted [N]."""


@inner_kernel
def _view(s: State, own: SecondState, cooling_speed: float, cooling: float, shift_left: float, gear: int) -> State:
    """Return the state of a bike whose only drive is one of its two."""
    return State(
        time=s.time,
        lap_time=s.lap_time,
        distance=s.distance,
        speed=s.speed,
        acceleration=s.acceleration,
        charge=s.charge,
        polarisation=s.polarisation,
        winding_temp=own.winding_temp,
        body_temp=own.body_temp,
        controller_temp=own.controller_temp,
        pack_temp=s.pack_temp,
        rotor_energy=own.rotor_energy,
        cooling_speed=cooling_speed,
        cooling=cooling,
        dwell_left=s.dwell_left,
        shift_left=shift_left,
        gear=gear,
        stop_index=s.stop_index,
        second=None,
    )


@inner_kernel
def first_view(s: State) -> State:
    """Return the state as the first drive alone sees it."""
    own = SecondState(s.winding_temp, s.body_temp, s.controller_temp, s.rotor_energy)
    return _view(s, own, s.cooling_speed, s.cooling, s.shift_left, s.gear)


@inner_kernel
def second_view(s: State, own: SecondState) -> State:
    """Return the state as the second drive sees it: its own heat and rotor in the first one's place, no gears."""
    return _view(s, own, -1.0, 0.0, 0.0, 0)


@inner_kernel
def second_bike(second: Second, p: Parameters) -> Parameters:
    """Return the second drive's numbers, ridden or pushed as the first one's are."""
    return second.bike[1 if p.on_foot else 0]


@inner_kernel
def beside(c: controller.Circuit, draw: float) -> controller.Circuit:
    """Return a circuit whose pack another drive draws from as well [A]."""
    return controller.Circuit(
        emf=c.emf,
        motor_resistance=c.motor_resistance,
        reactance=c.reactance,
        salience=c.salience,
        on_resistance=c.on_resistance,
        switching=c.switching,
        standby=c.standby,
        open_voltage=c.open_voltage - c.pack_resistance * draw,
        pack_resistance=c.pack_resistance,
        taken=draw,
    )


@inner_kernel
def full_force(p: Parameters, drives: bool) -> float:
    """Return what a drive gives, or brakes with, at its controller's current limit [N], its own drag left out."""
    if drives:
        return p.torque_constant * p.drive_current * p.driving_gain
    return 0.0 if p.freewheel else p.torque_constant * p.brake_current * p.braking_gain


@inner_kernel
def second_share(p: Parameters, q: Parameters, drives: bool) -> float:
    """Return the second drive's share of a wanted force at equal throttle; where none brakes, that of their pull."""
    own, other = full_force(q, drives), full_force(p, drives)
    if own + other <= 0.0:
        own, other = full_force(q, True), full_force(p, True)
    return own / (own + other) if own + other > 0.0 else 0.5


@inner_kernel
def wish_for(p: Parameters, drives: bool, left: float, force: float) -> float:
    """Return what a motor is asked for of a force `left` to both, where the other gives `force` of it [N].

    A voltage throttle asks for no force, and a held one for all.
    """
    if drives and (p.law == Law.VOLTAGE or p.throttle >= 0.0):
        return left
    return left - force


@inner_kernel
def taken_grip(p: Parameters, drives: bool, force: float) -> float:
    """Return what the other drive's force takes of this one's grip [N]; of the one at the other wheel < 0: it adds."""
    return p.beside_share * max(force, 0.0) if drives else p.beside_share_braking * max(-force, 0.0)


@inner_kernel
def wish_with_legs(wish: float, pedal: float, drives: bool) -> float:
    """Return a wish as `motor_pull` takes it, legs included, its sign kept [N]."""
    return max(wish + pedal, LEAST_WISH) if drives else min(wish, 0.0)


@inner_kernel
def drawn(c: controller.Circuit, m: MotorPull) -> float:
    """Return the pack current of one motor [A], from the balance of its circuit."""
    if m.field > 0.0:
        c = controller.with_field(c, m.field, m.current)
    voltage = controller.loaded_voltage(c, m.current)
    return (controller.fixed_power(c, m.current) + c.switching * abs(m.current) * voltage) / voltage


@inner_kernel
def asked_one(
    p: Parameters, here: Here, s: State, now: PackNow, m: MotorNow, resist: float, wish: float, pedal: float, v: float,
    dt: float, draw: float, force: float, drives: bool,
) -> SecondPull:  # fmt: skip
    """Return what one of two motors does for a wish [N], the other drawing and pushing as told."""
    c = beside(circuit_of(p, m, now.voltage, now.resistance), draw)
    wanted = wish_with_legs(wish, pedal, drives)
    pull = motor_pull(p, here, s, c, m, resist - force, wanted, pedal, v, dt, taken_grip(p, drives, force))
    return SecondPull(
        current=pull.current,
        field=pull.field,
        shaft_torque=pull.shaft_torque,
        iron_torque=pull.iron_torque,
        force=pull.force,
        asked=pull.asked,
        spin_up=pull.spin_up,
        coupled=pull.coupled,
        draw=drawn(c, pull),
        limit=pull.limit,
        tyre_limit=pull.tyre_limit,
    )


@inner_kernel
def _nobody(
    second: None, p: Parameters, here: Here, s: State, now: PackNow, resist: float, wanted: float, pedal: float,
    v: float, dt: float,
) -> None:  # fmt: skip
    return None


@rare_kernel
def _ask_second(
    second: Second, p: Parameters, here: Here, s: State, now: PackNow, resist: float, wanted: float, pedal: float,
    v: float, dt: float,
) -> SecondPull:  # fmt: skip
    """Return what the second motor does in a step, the first doing its part: both asked in turn until they agree."""
    q, other, own = second_bike(second, p), second_view(s, s.second), first_view(s)
    m = motor_now(p, v * p.turned, s.winding_temp, s.body_temp)
    n = motor_now(q, v * q.turned, other.winding_temp, other.body_temp)
    drives = wanted > 0.0
    left = wanted - pedal if drives else wanted
    share = second_share(p, q, drives) * left
    draw, force, at = 0.0, left - share, 0
    while True:
        rest = wish_for(q, drives, left, force)
        wish = max(share, rest) if drives else min(share, rest)
        b = asked_one(q, here, other, now, n, resist, wish if at > 0 else share, pedal, v, dt, draw, force, drives)
        rest = wish_for(p, drives, left, b.force)
        a = asked_one(p, here, own, now, m, resist, rest, pedal, v, dt, b.draw, b.force, drives)
        moved = abs(a.draw - draw) / (1.0 + abs(draw)) + abs(a.force - force) / (1.0 + abs(force))
        draw, force, at = a.draw, a.force, at + 1
        if (at > 1 and moved <= AGREED) or at >= ROUNDS:
            break
    return b


ask_second = if_none(_nobody, _ask_second)


# What the first drive sees of the second in `command`.


@inner_kernel
def _left_circuit(b: SecondPull, c: controller.Circuit) -> controller.Circuit:
    """Return the first motor's circuit on a pack that the second draws from."""
    return beside(c, b.draw)


@inner_kernel
def _left_resist(b: SecondPull, resist: float) -> float:
    """Return what the second motor leaves of what holds the bike back [N]."""
    return resist - b.force


@inner_kernel
def _same_wanted(b: None, p: Parameters, wanted: float, pedal: float) -> float:
    return wanted


@inner_kernel
def _left_wanted(b: SecondPull, p: Parameters, wanted: float, pedal: float) -> float:
    """Return the wanted force less the second motor's [N], its sign kept."""
    drives = wanted > 0.0
    left = wanted - pedal if drives else wanted
    return wish_with_legs(wish_for(p, drives, left, b.force), pedal, drives)


@inner_kernel
def _no_grip(b: None, p: Parameters, wanted: float) -> float:
    return 0.0


@inner_kernel
def _grip_taken(b: SecondPull, p: Parameters, wanted: float) -> float:
    """Return what the second motor's force takes of the first one's grip [N]."""
    return taken_grip(p, wanted > 0.0, b.force)


@inner_kernel
def _both_forces(b: SecondPull, force: float) -> float:
    """Return the force of both motors [N]."""
    return force + b.force


@inner_kernel
def _first_force(b: SecondPull, force: float) -> float:
    """Return the first motor's part of the force of both [N]."""
    return force - b.force


@inner_kernel
def _same_mass(second: None, b: None, mass: float, per_mass: float) -> tuple[float, float]:
    return mass, per_mass


@inner_kernel
def _with_rotor(second: Second, b: SecondPull, mass: float, per_mass: float) -> tuple[float, float]:
    """Return the mass that is sped up with a second rotor behind a freewheel [kg], and one over it.

    That of a fixed drive always turns: it is in the first one's numbers.
    """
    q = second.bike[0]
    if not q.freewheel or not b.coupled:
        return mass, per_mass
    mass += q.rotor_inertia * q.turned * q.turned
    return mass, 1.0 / mass


@inner_kernel
def _all_rotors(second: Second, mass: float) -> float:
    """Return the mass that is sped up when both motors drive [kg]."""
    q = second.bike[0]
    return mass + q.rotor_inertia * q.turned * q.turned if q.freewheel else mass


all_rotors = if_none(unchanged, _all_rotors)
left_circuit = if_none(unchanged, _left_circuit)
left_resist = if_none(unchanged, _left_resist)
left_wanted = if_none(_same_wanted, _left_wanted)
grip_taken = if_none(_no_grip, _grip_taken)
both_forces = if_none(unchanged, _both_forces)
first_force = if_none(unchanged, _first_force)
with_second_rotor = if_none(_same_mass, _with_rotor)


@inner_kernel
def _none(b: None) -> None:
    return None


@inner_kernel
def _at_rest(b: SecondState) -> SecondPull:
    """Return what a second motor does on a bike that is held still."""
    return SecondPull(
        current=0.0,
        field=0.0,
        shaft_torque=0.0,
        iron_torque=0.0,
        force=0.0,
        asked=0.0,
        spin_up=0.0,
        coupled=False,
        draw=0.0,
        limit=Limit.NONE,
        tyre_limit=Limit.NONE,
    )


@inner_kernel
def _nothing_done(b: SecondState) -> SecondOutcome:
    return SecondOutcome(
        motor_speed=0.0,
        resistance=0.0,
        emf=0.0,
        pack_current=0.0,
        copper=0.0,
        iron=0.0,
        controller=0.0,
        shaft=0.0,
        gained=0.0,
        rotor_lost=0.0,
    )


@inner_kernel
def _no_trend(b: SecondState) -> SecondTrend:
    return SecondTrend(current=0.0, current_slope=0.0, winding_rate=0.0, body_rate=0.0, controller_rate=0.0)


second_at_rest = if_none(_none, _at_rest)
nothing_done = if_none(_none, _nothing_done)
no_second_trend = if_none(_none, _no_trend)
