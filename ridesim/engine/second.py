"""A second, different drive on the same pack and the same road: what it does, and what it leaves to the first.

Every function here comes in two: where the bike has one drive its first argument is None and it does nothing. Which of
the two is compiled is decided by type (`jit.if_none`), so that a bike of one drive is ridden by the code it would have
had, and not one instruction more.

Both motors are commanded by one throttle. Following a plan, the wanted force is split as equal throttle splits it, in
proportion of what each gives at its current limit; what one cannot give, the other takes over up to its own bounds. So
is what bounds both together: one tyre, one top speed, the pack's power peak and what a full pack takes back
(`engine.second_share`). One pack feeds both: each sees its voltage less the other's draw, in turn, until they agree.

Legend: v speed [m/s], dt step [s], forces at the wheel [N], draws + out of the pack [A]; letters as in `physics/`.
"""

from __future__ import annotations

from ridesim.engine.asks import motor_pull
from ridesim.engine.circuit import circuit_of, motor_now
from ridesim.engine.pair import Second, SecondOutcome, SecondPull, SecondState, SecondTrend, unchanged
from ridesim.engine.second_share import (
    beside,
    counted_force,
    left_to,
    peak_draw,
    peak_voltage,
    second_draw,
    second_share,
    taken_grip,
    wish_for,
    wish_with_legs,
)
from ridesim.engine.state import Here, Limit, MotorPull, PackNow, Parameters, State
from ridesim.jit import if_none, inner_kernel, rare_kernel
from ridesim.physics import controller

ROUNDS = 40
"""How often both are asked in turn, at most."""

PATIENCE = 12
"""How often they are, before they are asked at the pack's power peak, near which they agree slowly."""

AGREED = 1e-7
"""Change of draws [share and A] and of force [share and N] at which both agree."""

WHOLE = 1.0 - 1e-4
"""Share of the power peak's draw that counts as all of it: as near as the peak itself is taken, see `power_peak`."""


NEAR = 0.98
"""Share of it from which on both are asked at the peak: beside it one motor may have all, the other be turned by it."""


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
def drawn(c: controller.Circuit, m: MotorPull) -> float:
    """Return the pack current of one motor [A], from the balance of its circuit."""
    if m.field > 0.0:
        c = controller.with_field(c, m.field, m.current)
    voltage = controller.loaded_voltage(c, m.current)
    return (controller.fixed_power(c, m.current) + c.switching * abs(m.current) * voltage) / voltage


@inner_kernel
def _as_second(b: MotorPull, draw: float, counted: float, grip: float, wish: float) -> SecondPull:
    """Return what a second motor does, and what it leaves the first."""
    return SecondPull(
        current=b.current,
        field=b.field,
        shaft_torque=b.shaft_torque,
        iron_torque=b.iron_torque,
        force=b.force,
        asked=b.asked,
        spin_up=b.spin_up,
        coupled=b.coupled,
        draw=draw,
        counted=counted,
        grip=grip,
        wish=wish,
        limit=b.limit,
        tyre_limit=b.tyre_limit,
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
    """Return what the second motor does in a step, the first doing its part: both asked in turn until they agree.

    Where they meet at the pack's power peak they are asked again at its voltage, each with its own part of its draw. If
    they leave some of it, it does not hold them: they are asked on, from there.
    """
    q, other, own = second_bike(second, p), second_view(s, s.second), first_view(s)
    m = motor_now(p, v * p.turned, s.winding_temp, s.body_temp)
    n = motor_now(q, v * q.turned, other.winding_temp, other.body_temp)
    c, d = (circuit_of(p, m, now.voltage, now.resistance), circuit_of(q, n, now.voltage, now.resistance))
    drives = wanted > 0.0
    left = wanted - pedal if drives else wanted
    share = second_share(p, q, drives)
    rest = 1.0 - share
    peak, part = peak_draw(now), second_draw(p, q, m, n, now)
    draw, force, at, shared = 0.0, rest * left, 0, False
    seen = not drives or max(m.emf, n.emf) >= peak_voltage(now)  # at the peak one of them would be turned, not turn
    while True:
        counted = counted_force(q, resist, v, pedal, drives, force, rest)
        grip = taken_grip(q, p, here, pedal, drives, force, rest)
        wish = wish_for(q, drives, left, share * left, force)
        on = left_to(d, draw, peak - part, peak, shared)
        asked = wish_with_legs(wish, pedal, drives)
        b = motor_pull(q, here, other, on, n, resist - counted, asked, pedal, v, dt, grip)
        beside_draw = drawn(on, b)
        counted = counted_force(p, resist, v, pedal, drives, b.force, share)
        grip = taken_grip(p, q, here, pedal, drives, b.force, share)
        wish = wish_for(p, drives, left, rest * left, b.force)
        on, asked = left_to(c, beside_draw, part, peak, shared), wish_with_legs(wish, pedal, drives)
        a = motor_pull(p, here, own, on, m, resist - counted, asked, pedal, v, dt, grip)
        own_draw = drawn(on, a)
        moved = abs(own_draw - draw) / (1.0 + abs(draw)) + abs(a.force - force) / (1.0 + abs(force))
        draw, force, at = own_draw, a.force, at + 1
        near = draw + beside_draw >= peak * (WHOLE if shared else NEAR)
        if at >= ROUNDS or (at > 1 and moved <= AGREED and (near == shared or seen)):
            break
        if (at > 1 and moved <= AGREED) or (near and not seen and at >= PATIENCE):
            shared, seen = not seen, True
    return _as_second(b, beside_draw, counted, grip, wish)


ask_second = if_none(_nobody, _ask_second)


# What the first drive sees of the second in `command`.


@inner_kernel
def _left_circuit(b: SecondPull, c: controller.Circuit) -> controller.Circuit:
    """Return the first motor's circuit on a pack that the second draws from."""
    return beside(c, b.draw)


@inner_kernel
def _left_resist(b: SecondPull, resist: float) -> float:
    """Return what the second motor leaves of what holds the bike back [N]."""
    return resist - b.counted


@inner_kernel
def _same_wanted(b: None, wanted: float, pedal: float) -> float:
    return wanted


@inner_kernel
def _left_wanted(b: SecondPull, wanted: float, pedal: float) -> float:
    """Return the first motor's part of the wanted force, legs included [N], its sign kept."""
    return wish_with_legs(b.wish, pedal, wanted > 0.0)


@inner_kernel
def _no_grip(b: None) -> float:
    return 0.0


@inner_kernel
def _grip_taken(b: SecondPull) -> float:
    """Return what the second motor's force takes of the first one's grip [N]."""
    return b.grip


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
        counted=0.0,
        grip=0.0,
        wish=0.0,
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
