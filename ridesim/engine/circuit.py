"""Motor, switches and pack as one circuit: the only place where parameters, temperatures and charge become volts.

Legend: as in `physics/motor`, `physics/controller` and `physics/pack`: E back-EMF [V], I motor current [A], K torque
constant [N m/A], R resistances [ohm], X reactance [ohm], omega motor speed [rad/s], U and r the pack behind its
resistance [V, ohm], I_b pack current, + out [A], v_rc polarisation [V], tau its time constant [s].
"""

from __future__ import annotations

import math

from ridesim.engine.state import Fade, Limit, MotorNow, PackNow, Parameters, State
from ridesim.jit import called_kernel, inner_kernel, kernel
from ridesim.physics import controller, motor, pack

LEAST_RESISTANCE = 1e-9
"""A polarisation resistance below it is none [ohm]: its capacitance would overflow."""

PEAK_POWER_SHARE = 0.495
"""Share of the short-circuit current taken as the pack's power peak: 1e-4 below it, so that rounding cannot pass it."""


@kernel
def motor_now(p: Parameters, omega: float, winding_c: float, body_c: float) -> MotorNow:
    """Return the motor at a speed [rad/s] and its temperatures [degC]: everything that torque and voltage ask of it."""
    k = motor.torque_constant(p.torque_constant, p.magnet_per_k, body_c)
    return MotorNow(
        torque_constant=k,
        emf=k * omega,
        resistance=motor.winding_resistance(p.resistance, winding_c),
        reactance=p.pole_pairs * omega * p.inductance,
        iron_torque=motor.iron_torque(p.tau_0, p.tau_1, omega),
    )


@kernel
def circuit_of(p: Parameters, m: MotorNow, open_voltage: float, pack_resistance: float) -> controller.Circuit:
    """Return motor, switches and a pack of U [V] behind r [ohm] as one circuit."""
    return controller.Circuit(
        emf=m.emf,
        motor_resistance=m.resistance,
        reactance=m.reactance,
        salience=p.salience,
        on_resistance=p.on_resistance,
        switching=p.switching,
        standby=p.standby,
        open_voltage=open_voltage,
        pack_resistance=pack_resistance,
        taken=0.0,
    )


@kernel
def fade_over(p: Parameters, dt: float) -> Fade:
    """Return how the polarisation fades over a step of dt seconds: exp(-dt/tau), and its mean over the step."""
    z = dt / p.polarisation_time
    gone = -math.expm1(-z)
    return Fade(step=dt, rate=1.0 / dt, share=gone / z, fade=1.0 - gone)


@kernel
def read_pack(p: Parameters, s: State, over: Fade) -> PackNow:
    """Return the pack as a voltage behind a resistance over a step."""
    index, part = pack.place_in_table(p.open_voltage.size, s.charge)
    steep = p.open_voltage[index + 1] - p.open_voltage[index]
    open_circuit = p.open_voltage[index] + steep * part
    if s.charge > 1.0:  # overcharged: on along the curve's last slope
        open_circuit += steep * (s.charge - 1.0) * (p.open_voltage.size - 1)
    factor = p.resistance_curve[index] + (p.resistance_curve[index + 1] - p.resistance_curve[index]) * part
    cells = p.cell_resistance * factor
    fast = cells * pack.arrhenius_factor(p.activation, s.pack_temp) + p.wiring_resistance
    if p.cold_share > 0.0 and s.pack_temp < pack.CAPACITY_REFERENCE_C:
        fast += cold_resistance(p, s.charge, factor, s.pack_temp)
    slow = p.polarisation_resistance
    if p.slow_activation > 0.0:
        slow *= pack.arrhenius_factor(p.slow_activation, s.pack_temp)
    return PackNow(
        open_circuit=open_circuit,
        fast_resistance=fast,
        voltage=open_circuit - over.share * s.polarisation,
        resistance=fast + (1.0 - over.share) * slow,
        slow_resistance=slow,
    )


@called_kernel
def cold_resistance(p: Parameters, charge: float, factor: float, pack_c: float) -> float:
    """Return what the cold adds to the pack's resistance [ohm]: at 1C it behaves as at a charge lower by what is kept.

    So the last charge ends under load and rests in the cells, to be had once they are warm; what it costs is their
    heat. Linear in the current, so that the step stays in closed form. What the same shift does to the voltage at half
    charge is left out: it is in the resistances, which are stated there. `factor` is the resistance curve's.
    """
    behind = pack.charge_out_of_reach(p.cold_share, p.cold_activation, pack_c)
    half = 0.5
    shifted = rested_voltage(p, charge) - rested_voltage(p, charge - behind)
    shifted -= rested_voltage(p, half) - rested_voltage(p, half - behind)
    index, part = pack.place_in_table(p.resistance_curve.size, charge - behind)
    lower = p.resistance_curve[index] + (p.resistance_curve[index + 1] - p.resistance_curve[index]) * part
    more = p.cell_resistance * pack.arrhenius_factor(p.activation, pack_c) * max(lower - factor, 0.0)
    return max(shifted, 0.0) * p.per_one_c + more


@kernel
def rested_voltage(p: Parameters, charge: float) -> float:
    """Return the pack's rested voltage at a charge [V], below empty on along the curve's first slope."""
    index, part = pack.place_in_table(p.open_voltage.size, charge)
    if charge < 0.0:
        part = charge * (p.open_voltage.size - 1)
    return p.open_voltage[index] + (p.open_voltage[index + 1] - p.open_voltage[index]) * part


@kernel
def polarise(p: Parameters, s: State, over: Fade, slow: float, current: float) -> tuple[float, float]:
    """Return energy stored in and lost by the polarisation element over a step [J], from its own exact update.

    slow: the polarisation resistance of the step [ohm]; current: pack current, + out [A].
    """
    if slow <= LEAST_RESISTANCE:
        return 0.0, 0.0
    new = polarised(s, over, slow, current)
    mean = over.share * s.polarisation + (1.0 - over.share) * current * slow
    stored = 0.5 * p.polarisation_time / slow * (new - s.polarisation) * (new + s.polarisation)
    return stored, mean * current * over.step - stored


@kernel
def polarised(s: State, over: Fade, slow: float, current: float) -> float:
    """Return v_rc after the step under a constant current [V], exact."""
    return s.polarisation * over.fade + current * slow * (1.0 - over.fade)


@inner_kernel
def power_peak(c: controller.Circuit) -> float:
    """Return the pack current of the pack's power peak, or a hair below it [A]; what another drive takes is off it."""
    return PEAK_POWER_SHARE * c.open_voltage / c.pack_resistance - (1.0 - PEAK_POWER_SHARE) * c.taken


@inner_kernel
def draw_bound(p: Parameters, c: controller.Circuit) -> tuple[float, Limit]:
    """Return the largest current from the pack [A] and which bound it is: the limit, or the pack's power peak."""
    peak = power_peak(c)
    if p.limits_on and p.pack_current <= peak:
        return p.pack_current, Limit.PACK_CURRENT
    return peak, Limit.PACK_POWER
