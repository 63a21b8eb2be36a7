"""What a step leaves behind in a second drive: the common voltage, its losses, its heat, its rotor.

Functions come in two, as in `engine.second`: None in, and nothing is done.
Legend: v speed [m/s], dt step [s], omega motor speed [rad/s]; powers in W, energies in J, temperatures in degC.
"""

from __future__ import annotations

from ridesim.engine.circuit import circuit_of, motor_now
from ridesim.engine.pair import Second, SecondOutcome, SecondPull, SecondState, unchanged
from ridesim.engine.second import second_bike
from ridesim.engine.state import Here, PackNow, Parameters, State
from ridesim.jit import if_none, inner_kernel, rare_kernel
from ridesim.physics import controller, heat
from ridesim.physics.pack import voltage_at_load


@inner_kernel
def _no_circuit(second: None, p: Parameters, s: State, b: None, now: PackNow, v: float) -> None:
    return None


@inner_kernel
def _turned(q: Parameters, b: SecondPull, v: float) -> float:
    return v * q.turned if b.coupled or not q.freewheel else 0.0


@inner_kernel
def _second_circuit(
    second: Second, p: Parameters, s: State, b: SecondPull, now: PackNow, v: float
) -> controller.Circuit:
    """Return the second motor's circuit over a step, its field current's losses in it."""
    q, own = second_bike(second, p), s.second
    m = motor_now(q, _turned(q, b, v), own.winding_temp, own.body_temp)
    c = circuit_of(q, m, now.voltage, now.resistance)
    return controller.with_field(c, b.field, b.current) if b.field > 0.0 else c


@inner_kernel
def _own_voltage(beside: None, b: None, c: controller.Circuit, current: float) -> float:
    return controller.loaded_voltage(c, current)


@inner_kernel
def _common_voltage(beside: controller.Circuit, b: SecondPull, c: controller.Circuit, current: float) -> float:
    """Return the pack voltage under both motor currents [V]."""
    fixed = controller.fixed_power(c, current) + controller.fixed_power(beside, b.current)
    steep = c.switching * abs(current) + beside.switching * abs(b.current)
    return voltage_at_load(c.open_voltage, c.pack_resistance, fixed, steep)


@inner_kernel
def _no_outcome(
    beside: None, second: None, p: Parameters, s: State, b: None, v: float, voltage: float, dt: float
) -> None:
    return None


@inner_kernel
def _second_outcome(
    beside: controller.Circuit, second: Second, p: Parameters, s: State, b: SecondPull, v: float, voltage: float,
    dt: float,
) -> SecondOutcome:  # fmt: skip
    """Return what a step did in the second drive at the common voltage [V]."""
    q = second_bike(second, p)
    omega = _turned(q, b, v)
    field_copper = b.field * b.field * beside.motor_resistance
    copper = b.current * b.current * beside.motor_resistance + field_copper
    lost = controller.controller_loss(beside, b.current, voltage) - field_copper
    shaft = b.shaft_torque * omega
    return SecondOutcome(
        motor_speed=omega,
        resistance=beside.motor_resistance,
        emf=beside.emf - (beside.reactance - beside.reactance / beside.salience) * b.field,  # of the magnets alone
        pack_current=(beside.emf * b.current + copper + lost) / voltage,
        copper=copper,
        iron=b.iron_torque * omega,
        controller=lost,
        shaft=shaft,
        gained=b.spin_up * shaft * dt if q.freewheel else 0.0,
        rotor_lost=s.second.rotor_energy if q.freewheel and not b.coupled else 0.0,
    )


@inner_kernel
def _both_draws(done: SecondOutcome, current: float) -> float:
    """Return the pack current of both drives [A]."""
    return current + done.pack_current


@inner_kernel
def _first_draw(done: SecondOutcome, current: float) -> float:
    """Return the first drive's part of the pack current [A]."""
    return current - done.pack_current


@inner_kernel
def _both_kinetic(done: SecondOutcome, kinetic: float) -> float:
    """Return the energy of motion with that of a second rotor behind a freewheel [J]."""
    return kinetic + done.gained - done.rotor_lost


@inner_kernel
def _no_state(b: None, second: None, p: Parameters, s: State, done: None, pull: None, v: float, speed: float,
              here: Here, dt: float) -> None:  # fmt: skip
    return None


@rare_kernel
def _advance_second(
    b: SecondState, second: Second, p: Parameters, s: State, done: SecondOutcome, pull: SecondPull, v: float,
    speed: float, here: Here, dt: float,
) -> SecondState:  # fmt: skip
    """Return the second drive after a step at the mean speed v that ends at `speed` [m/s]."""
    q = second_bike(second, p)
    to_air = heat.body_to_air(q.cooling_still, q.cooling_moving, q.cooling_exponent, q.enclosure, v)
    winding, body = heat.two_lumps(
        b.winding_temp, b.body_temp, done.copper, done.iron + done.rotor_lost / dt, q.winding_k_per_j, q.body_k_per_j,
        q.winding_to_body, to_air, here.air_temp, dt,
    )  # fmt: skip
    box = heat.one_lump(
        b.controller_temp, done.controller, q.controller_k_per_j, q.controller_to_air, here.air_temp, dt
    )
    rotor = 0.0
    if q.freewheel and pull.coupled:
        rotor = b.rotor_energy + done.gained
        rotor += 0.5 * q.rotor_inertia * q.turned * q.turned * (speed * speed - s.speed * s.speed)
    return SecondState(winding_temp=winding, body_temp=body, controller_temp=box, rotor_energy=rotor)


@inner_kernel
def _hotter(b: SecondState, winding_c: float) -> float:
    """Return the hotter winding of both [degC]."""
    return max(b.winding_temp, winding_c)


second_circuit = if_none(_no_circuit, _second_circuit)
common_voltage = if_none(_own_voltage, _common_voltage)
second_outcome = if_none(_no_outcome, _second_outcome)
both_draws = if_none(unchanged, _both_draws)
first_draw = if_none(unchanged, _first_draw)
both_kinetic = if_none(unchanged, _both_kinetic)
advance_second = if_none(_no_state, _advance_second)
hotter_winding = if_none(unchanged, _hotter)
