"""What rider and controller do in a step: the wanted force, every bound on it, and the current that is left."""

from __future__ import annotations

from ridesim.engine.state import Here, Law, Limit, PackNow, Parameters, Pull, State
from ridesim.jit import inner_kernel
from ridesim.physics import controller, drive, motor, resistance, rider

FULL_THROTTLE_FORCE = 1e6
"""A wheel force no bike reaches [N]: what a held throttle wants."""

NO_CHARGE_BELOW_C = 0.0
"""No charging below this pack temperature [degC] (cell data sheets)."""

PEAK_POWER_SHARE = 0.495
"""Share of the short-circuit current taken as the pack's power peak: 1e-4 below it, so that rounding cannot pass it."""

_TORQUE, _VOLTAGE, _GOVERNOR, _ASSIST = (int(law) for law in Law)
_NONE = int(Limit.NONE)
_MOTOR_CURRENT = int(Limit.MOTOR_CURRENT)
_BRAKE_CURRENT = int(Limit.BRAKE_CURRENT)
_PACK_CURRENT = int(Limit.PACK_CURRENT)
_PACK_POWER = int(Limit.PACK_POWER)
_CHARGE_CURRENT = int(Limit.CHARGE_CURRENT)
_FULL_PACK = int(Limit.FULL_PACK)
_COLD_PACK = int(Limit.COLD_PACK)
_MODULATION = int(Limit.MODULATION)
_ELECTRICAL_FREQUENCY = int(Limit.ELECTRICAL_FREQUENCY)
_MOTOR_TEMPERATURE = int(Limit.MOTOR_TEMPERATURE)
_CONTROLLER_TEMPERATURE = int(Limit.CONTROLLER_TEMPERATURE)
_LOW_VOLTAGE = int(Limit.LOW_VOLTAGE)
_ASSIST_SPEED = int(Limit.ASSIST_SPEED)
_MOTOR_POWER = int(Limit.MOTOR_POWER)
_OVER_SPEED = int(Limit.OVER_SPEED)
_GRIP = int(Limit.GRIP)


@inner_kernel
def wanted_force(p: Parameters, here: Here, resist: float, v: float) -> float:
    """Return the wheel force the driver wants [N]: resistance + m_eff (planned acceleration + (v_plan - v)/tau)."""
    if p.throttle >= 0.0:
        return FULL_THROTTLE_FORCE
    return resist + p.mass_driving * (here.plan_acceleration + (here.plan_speed - v) * p.response_rate)


@inner_kernel
def motor_circuit(p: Parameters, s: State, omega: float, now: PackNow) -> controller.Circuit:
    """Return motor, switches and pack as one circuit at motor speed omega [rad/s]."""
    k = motor.torque_constant(p.torque_constant, p.magnet_per_k, s.body_temp)
    return controller.Circuit(
        k * omega,
        motor.winding_resistance(p.resistance, s.winding_temp),
        p.pole_pairs * omega * p.inductance,
        p.on_resistance,
        p.switching,
        p.standby,
        now.voltage,
        now.resistance,
    )


@inner_kernel
def temperature_share(p: Parameters, s: State, else_cause: int) -> tuple[float, int]:
    """Return the share of the motor current that both temperature foldbacks leave, and the cause to name."""
    by_winding = controller.foldback(s.winding_temp, p.motor_fold_start, p.motor_fold_end)
    by_controller = controller.foldback(s.controller_temp, p.controller_fold_start, p.controller_fold_end)
    if by_winding >= 1.0 and by_controller >= 1.0:
        return 1.0, else_cause
    return by_winding * by_controller, _MOTOR_TEMPERATURE if by_winding <= by_controller else _CONTROLLER_TEMPERATURE


@inner_kernel
def draw_bound(p: Parameters, c: controller.Circuit) -> tuple[float, int]:
    """Return the largest current from the pack [A] and which bound it is: the limit, or the pack's power peak."""
    if p.limits_on and p.pack_current * c.pack_resistance <= PEAK_POWER_SHARE * c.open_voltage:
        return p.pack_current, _PACK_CURRENT
    return PEAK_POWER_SHARE * c.open_voltage / c.pack_resistance, _PACK_POWER


@inner_kernel
def drive_bound(p: Parameters, s: State, c: controller.Circuit, asked: float) -> tuple[float, int]:
    """Return the driving current that every bound leaves of `asked`, and the bound that holds."""
    current, limit = asked, _NONE
    full, cause = controller.UNBOUNDED, _NONE
    if p.limits_on:
        share, cause = temperature_share(p, s, _MOTOR_CURRENT)
        full = p.drive_current * share
    elif p.law == _TORQUE or p.law == _ASSIST:
        full, cause = p.drive_current, _MOTOR_CURRENT
    if current >= full:
        current, limit = full, cause
    draw, cause = draw_bound(p, c)
    if controller.draws_at_least(c, current, draw):
        current, limit = controller.drive_current_at_pack_current(c, draw), cause
    start, end = p.low_voltage_start, p.low_voltage_end
    if not p.limits_on or full <= 0.0:
        full, start, end = controller.UNBOUNDED, 0.0, 0.0
    # The draw is within `draw`, so V >= U - r draw: where that suffices, the loaded voltage need not be solved for.
    least = c.open_voltage - c.pack_resistance * draw
    spread = motor.voltage_squared(c.emf, current, c.motor_resistance, c.reactance)
    if least >= start and spread <= p.duty * p.duty * least * least:
        return current, limit
    by_duty, by_voltage = controller.voltage_excesses(c, current, p.duty, full, start, end)
    if by_duty <= 0.0 and by_voltage <= 0.0:
        return current, limit
    bound = controller.current_within_voltage(c, current, p.duty, full, start, end)
    by_duty, by_voltage = controller.voltage_excesses(c, bound, p.duty, full, start, end)
    return bound, _MODULATION if by_duty >= by_voltage else _LOW_VOLTAGE


@inner_kernel
def charge_bound(p: Parameters, s: State, c: controller.Circuit) -> tuple[float, int]:
    """Return the largest charging current [A] and which bound it is: limit, full pack or cold pack."""
    if s.pack_temp < NO_CHARGE_BELOW_C:
        return 0.0, _COLD_PACK
    by_full = max(p.charge_voltage - c.open_voltage, 0.0) / c.pack_resistance
    if by_full < p.charge_current:
        return by_full, _FULL_PACK
    return p.charge_current, _CHARGE_CURRENT


@inner_kernel
def brake_bound(p: Parameters, s: State, c: controller.Circuit, asked: float) -> tuple[float, int]:
    """Return the braking current J >= 0 that every bound leaves of `asked`, and the bound that holds."""
    current, limit = asked, _NONE
    if p.limits_on or p.brake_current <= 0.0:
        share, cause = temperature_share(p, s, _BRAKE_CURRENT)
        if current > p.brake_current * share:
            current, limit = p.brake_current * share, cause
    if p.limits_on:
        charge, cause = charge_bound(p, s, c)
        bound = controller.brake_current_at_charge_current(c, charge)
        if current > bound:
            current, limit = bound, cause
    draw, cause = draw_bound(p, c)
    if controller.draws_at_least(c, -current, draw):
        current, limit = controller.brake_current_at_pack_current(c, draw), cause
    if current > 0.0 and c.emf < p.duty * c.open_voltage:
        free = controller.UNBOUNDED
        if controller.voltage_excess(c, -current, p.duty, free, 0.0, 0.0) > 0.0:
            current = -controller.current_within_voltage(c, -current, p.duty, free, 0.0, 0.0)
            limit = _MODULATION
    return current, limit


@inner_kernel
def force_bound(p: Parameters, here: Here, resist: float, v: float, pedal: float) -> tuple[float, int]:
    """Return the motor force that grip, front lift, legal speed and electrical speed allow [N], and which holds."""
    bound, limit = max(p.drive_grip * here.cos_theta - pedal, 0.0), _GRIP
    if p.limits_on:
        fastest, cause = p.top_electrical_speed, _ELECTRICAL_FREQUENCY
        if p.assist_speed < fastest:
            fastest, cause = p.assist_speed, _ASSIST_SPEED
        hold = resist + p.mass_driving * (fastest - v) * p.response_rate - pedal
        if hold < bound:
            bound, limit = max(hold, 0.0), cause
    return bound, limit


@inner_kernel
def asked_current(p: Parameters, here: Here, c: controller.Circuit, k: float, iron: float, wanted: float) -> float:
    """Return the motor current that throttle law and driver ask for when driving [A]; wanted is a wheel force [N]."""
    if p.law == _VOLTAGE:
        duty = p.duty * p.throttle
        if p.throttle < 0.0:
            duty = min(k * here.plan_speed * p.turned / c.open_voltage, p.duty)
        peak = controller.drive_current_at_pack_current(c, PEAK_POWER_SHARE * c.open_voltage / c.pack_resistance)
        if controller.voltage_excess(c, peak, duty, controller.UNBOUNDED, 0.0, 0.0) <= 0.0:
            return peak
        return controller.current_within_voltage(c, peak, duty, controller.UNBOUNDED, 0.0, 0.0)
    if p.throttle >= 0.0 and p.law == _TORQUE:
        return p.throttle * p.drive_current
    return _current_for(p, wanted, k, iron)


@inner_kernel
def _current_for(p: Parameters, force: float, k: float, iron: float) -> float:
    """Return the motor current that gives a wheel force [A]."""
    return (drive.shaft_torque(force, p.stage_drag, p.per_driving_gain, p.per_braking_gain) + iron) * (1.0 / k)


@inner_kernel
def resting(p: Parameters, air: float, roll: float, grade: float, bearing: float) -> Pull:
    """Return the command of a bike that is held still."""
    return Pull(
        0.0,
        0.0,
        0.0,
        0.0,
        0.0,
        0.0,
        air,
        roll,
        grade,
        bearing,
        p.mass_coasting,
        p.per_mass_coasting,
        0.0,
        0.0,
        0.0,
        False,
        _NONE,
        _NONE,
    )


@inner_kernel
def command(p: Parameters, here: Here, s: State, now: PackNow, v: float, dt: float) -> Pull:
    """Return what rider and controller do in this step, at the guessed mean speed v [m/s]."""
    air = resistance.air_drag(here.air_density, p.drag_area, v, here.headwind, here.crosswind)
    roll = resistance.rolling_drag(here.rolling, p.mass, here.cos_theta)
    grade = resistance.grade_force(p.mass, here.sin_theta)
    bearing = resistance.bearing_drag(v)
    if s.dwell_left > 0.0 or (s.speed == 0.0 and here.plan_speed == 0.0 and p.throttle < 0.0):
        return resting(p, air, roll, grade, bearing)
    resist = air + roll + grade + bearing
    wanted = wanted_force(p, here, resist, v)
    pedal = rider.pedal_force(here.pedal_power, p.pedal_efficiency, v, wanted, p.pedal_force_bound)
    omega = v * p.turned
    c = motor_circuit(p, s, omega, now)
    k = motor.torque_constant(p.torque_constant, p.magnet_per_k, s.body_temp)
    iron = motor.iron_torque(p.tau_0, p.tau_1, omega)
    if wanted > 0.0:
        current, asked, limit, tyre_limit = drive_current(p, here, s, c, k, iron, resist, wanted, pedal, v)
    else:
        current, asked, limit, tyre_limit = brake_current(p, here, s, c, k, iron, wanted)
    coupled = not p.freewheel or current > 0.0
    torque, motor_force, spin_up = 0.0, 0.0, 0.0
    if coupled:
        torque = k * current - iron
        motor_force = drive.wheel_force(torque, p.stage_drag, p.driving_gain, p.braking_gain)
    if p.freewheel and coupled:
        motor_force, spin_up = _catch_up(p, s, torque, motor_force, omega, dt)
    brake, brake_limit = _friction_brake(p, here, wanted, motor_force)
    mass = p.mass_driving if coupled else p.mass_coasting
    per_mass = p.per_mass_driving if coupled else p.per_mass_coasting
    return Pull(
        current, torque, iron if coupled else 0.0, motor_force, pedal, brake, air, roll, grade, bearing, mass, per_mass,
        wanted, asked, spin_up, coupled, limit, max(tyre_limit, brake_limit),
    )  # fmt: skip


@inner_kernel
def drive_current(
    p: Parameters, here: Here, s: State, c: controller.Circuit, k: float, iron: float,
    resist: float, wanted: float, pedal: float, v: float,
) -> tuple[float, float, int, int]:  # fmt: skip
    """Return the motor current for a wanted driving force, the asked current, and both limits."""
    motor_wanted = wanted - pedal
    if p.law == _ASSIST:
        motor_wanted = min(motor_wanted, p.assist_factor * pedal * p.efficiency / p.pedal_efficiency)
    if motor_wanted <= 0.0 and (p.freewheel or p.law == _ASSIST):
        return _diodes(p, c, 0.0, 0.0, _NONE, _NONE)
    wish = asked_current(p, here, c, k, iron, motor_wanted)
    asked = wish
    if asked <= 0.0:
        return _diodes(p, c, 0.0, wish, _NONE, _NONE)
    limit = _NONE
    most, cause = force_bound(p, here, resist, v, pedal)
    if p.law == _VOLTAGE or p.throttle >= 0.0 or motor_wanted > most:
        most_current = _current_for(p, most, k, iron)
        if asked > most_current:
            asked, limit = most_current, cause
    omega = v * p.turned
    if p.limits_on and (k * asked - iron) * omega > p.shaft_power:
        asked, limit = (p.shaft_power / omega + iron) / k, _MOTOR_POWER
    current, bound_limit = drive_bound(p, s, c, asked)
    if bound_limit != _NONE:
        limit = bound_limit
    if limit == _GRIP:
        return _diodes(p, c, current, wish, _NONE, _GRIP)
    return _diodes(p, c, current, wish, limit, _NONE)


@inner_kernel
def brake_current(
    p: Parameters, here: Here, s: State, c: controller.Circuit, k: float, iron: float, wanted: float
) -> tuple[float, float, int, int]:
    """Return the motor current for a wanted braking force (<= 0), the asked current, and both limits."""
    if p.freewheel:
        return 0.0, 0.0, _NONE, _NONE
    asked = _current_for(p, wanted, k, iron)
    if asked >= 0.0:
        current, limit = drive_bound(p, s, c, asked)
        return _diodes(p, c, current, asked, limit, _NONE)
    most = p.motor_brake_grip * here.cos_theta
    braking, tyre_limit = -asked, _NONE
    if -wanted > most:
        braking, tyre_limit = max(-_current_for(p, -most, k, iron), 0.0), _GRIP
    braking, limit = brake_bound(p, s, c, braking)
    return _diodes(p, c, -braking, asked, limit, tyre_limit if limit == _NONE else _NONE)


@inner_kernel
def _diodes(
    p: Parameters, c: controller.Circuit, current: float, asked: float, limit: int, tyre_limit: int
) -> tuple[float, float, int, int]:
    """Return current and limits once the inverter's diodes have had their say: above the pack voltage they conduct."""
    if p.freewheel or c.emf <= c.open_voltage:
        return current, asked, limit, tyre_limit
    free = controller.diode_current(c)
    if free < current:
        return free, asked, _OVER_SPEED, _NONE
    return current, asked, limit, tyre_limit


@inner_kernel
def _catch_up(
    p: Parameters, s: State, torque: float, motor_force: float, omega: float, dt: float
) -> tuple[float, float]:
    """Return the wheel force and the share of shaft work that first brings a freewheel drive's rotor to wheel speed."""
    work = torque * omega * dt
    if work <= 0.0:
        return motor_force, 0.0
    wheel = s.speed * p.turned
    owed = 0.5 * p.rotor_inertia * wheel * wheel - s.rotor_energy
    share = min(max(owed / work, -1.0), 1.0)
    return motor_force * (1.0 - share), share


@inner_kernel
def _friction_brake(p: Parameters, here: Here, wanted: float, motor_force: float) -> tuple[float, int]:
    if wanted >= 0.0:
        return 0.0, _NONE
    brake = max(motor_force - wanted, 0.0)
    left = max(p.both_brakes_grip * here.cos_theta + min(motor_force, 0.0), 0.0)
    if brake > left:
        return left, _GRIP
    return brake, _NONE
