"""One motor's part of a command: the current for a wanted wheel force, every bound on it, and what comes of it.

Legend: v speed [m/s], F force at the wheel [N], I motor current, + drives [A], K torque constant [N m/A], omega motor
speed [rad/s]; `resist` is what air, tyres, grade and bearings hold back with [N]; `other` is what a second drive's
force takes of this one's grip [N], 0 for a bike of one drive; letters as in `physics/`.
"""

from __future__ import annotations

from ridesim.engine.circuit import draw_bound, power_peak
from ridesim.engine.field import field_beside, field_holds, most_field
from ridesim.engine.state import Asked, Here, Law, Limit, MotorNow, MotorPull, Parameters, State
from ridesim.jit import inner_kernel
from ridesim.physics import controller, drive, motor

NEAR_ABOVE = 1.0 + 1e-6
"""A hair above a current that a search found: which bound it meets there."""

NO_CHARGE_BELOW_C = 0.0
"""No charging below this pack temperature [degC] (cell data sheets)."""


@inner_kernel
def holds_motor_current(limit: Limit) -> bool:
    """Return whether a bound is a limit of the motor's own current: it stays where it is, and no more ever passes."""
    return limit == Limit.MOTOR_CURRENT or limit == Limit.BRAKE_CURRENT


@inner_kernel
def holds_pack_current(limit: Limit) -> bool:
    """Return whether a bound is such a limit of the pack's current, either way."""
    return limit == Limit.PACK_CURRENT or limit == Limit.CHARGE_CURRENT


@inner_kernel
def temperature_share(p: Parameters, s: State, else_cause: Limit) -> tuple[float, Limit]:
    """Return the share of the motor current that both temperature foldbacks leave, and the cause to name."""
    by_winding = controller.foldback(s.winding_temp, p.motor_fold_start, p.motor_fold_end)
    by_controller = controller.foldback(s.controller_temp, p.controller_fold_start, p.controller_fold_end)
    if by_winding >= 1.0 and by_controller >= 1.0:
        return 1.0, else_cause
    return by_winding * by_controller, (
        Limit.MOTOR_TEMPERATURE if by_winding <= by_controller else Limit.CONTROLLER_TEMPERATURE
    )


@inner_kernel
def surely_within(p: Parameters, c: controller.Circuit, current: float, draw: float, start: float) -> bool:
    """Return whether a motor current is within modulation and low-voltage foldback by the least that the pack can hold.

    The draw is within `draw`, so V >= U - r draw: where that suffices, the loaded voltage need not be solved for.
    start: where the foldback starts [V].
    """
    least = c.open_voltage - c.pack_resistance * draw
    spread = motor.voltage_squared(c.emf, current, c.motor_resistance, c.reactance)
    return least >= start and spread <= p.duty * p.duty * least * least


@inner_kernel
def drive_bound(p: Parameters, s: State, c: controller.Circuit, asked: float) -> tuple[float, Limit]:
    """Return the driving current that every bound leaves of `asked` [A], and the bound that holds."""
    if p.field_current > 0.0 and p.reluctance > 0.0:  # what is asked is a torque, and the field current pulls too
        asked = controller.salient_current(c, asked, p.duty, most_field(p, c))
    current, limit = asked, Limit.NONE
    full, cause = controller.UNBOUNDED, Limit.NONE
    if p.limits_on:
        share, cause = temperature_share(p, s, Limit.MOTOR_CURRENT)
        full = p.drive_current * share
    elif p.law == Law.TORQUE or p.law == Law.ASSIST:
        full, cause = p.drive_current, Limit.MOTOR_CURRENT
    if current >= full:
        current, limit = full, cause
    draw, drawn = draw_bound(p, c)
    if controller.draws_at_least(c, current, draw):
        current, limit = controller.drive_current_at_pack_current(c, draw), drawn
    start, end = p.low_voltage_start, p.low_voltage_end
    if not p.limits_on or full <= 0.0:
        full, start, end = controller.UNBOUNDED, 0.0, 0.0
    if surely_within(p, c, current, draw, start):
        return current, limit
    by_duty, by_voltage = controller.voltage_excesses(c, current, p.duty, full, start, end)
    if by_duty <= 0.0 and by_voltage <= 0.0:
        return current, limit
    if p.field_current > 0.0 and by_voltage <= 0.0:
        weak = controller.weakened_current(c, current, p.duty, most_field(p, c), full, draw)
        if weak >= controller.NEARLY * current:
            return current, limit
        if weak > 0.0:
            beside = controller.with_field(c, controller.field_needed(c, weak, p.duty), weak)
            by_draw = controller.draws_at_least(beside, weak * NEAR_ABOVE, draw)
            return weak, drawn if by_draw else Limit.MODULATION
    bound = controller.current_within_voltage(c, current, p.duty, full, start, end)
    by_duty, by_voltage = controller.voltage_excesses(c, bound, p.duty, full, start, end)
    return bound, Limit.MODULATION if by_duty >= by_voltage else Limit.LOW_VOLTAGE


@inner_kernel
def charge_bound(p: Parameters, s: State, c: controller.Circuit) -> tuple[float, Limit]:
    """Return the largest charging current [A] and which bound it is: limit, full pack or cold pack."""
    if s.pack_temp < NO_CHARGE_BELOW_C:
        return 0.0, Limit.COLD_PACK
    by_full = max(p.charge_voltage - c.open_voltage, 0.0) / c.pack_resistance
    if p.room_share < 1.0:  # its share of a full pack's room is its own; beyond that it has what the other leaves
        open_voltage = c.open_voltage + c.pack_resistance * c.taken
        by_full = max(p.room_share * max(p.charge_voltage - open_voltage, 0.0) / c.pack_resistance, by_full)
    if by_full < p.charge_current:
        return by_full, Limit.FULL_PACK
    return p.charge_current, Limit.CHARGE_CURRENT


@inner_kernel
def brake_bound(p: Parameters, s: State, c: controller.Circuit, asked: float) -> tuple[float, Limit]:
    """Return the braking current J >= 0 that every bound leaves of `asked` [A], and the bound that holds."""
    salient = p.field_current > 0.0 and p.reluctance > 0.0
    if salient:
        asked = -controller.salient_current(c, -asked, p.duty, most_field(p, c))
    current, limit = asked, Limit.NONE
    if p.limits_on or p.brake_current <= 0.0:
        share, cause = temperature_share(p, s, Limit.BRAKE_CURRENT)
        if current > p.brake_current * share:
            current, limit = p.brake_current * share, cause
    if p.limits_on:
        charge, cause = charge_bound(p, s, c)
        bound = controller.brake_current_at_charge_current(c, charge)
        if salient:
            bound = controller.brake_current_with_field(c, min(current, bound), charge, p.duty, most_field(p, c))
        if current > bound:
            current, limit = bound, cause
    draw, cause = draw_bound(p, c)
    if controller.draws_at_least(c, -current, draw):
        current, limit = controller.brake_current_at_pack_current(c, draw), cause
    if current > 0.0 and c.emf < p.duty * c.open_voltage and not surely_within(p, c, -current, draw, 0.0):
        free = controller.UNBOUNDED
        if controller.voltage_excess(c, -current, p.duty, free, 0.0, 0.0) > 0.0:
            current = -controller.current_within_voltage(c, -current, p.duty, free, 0.0, 0.0)
            limit = Limit.MODULATION
    return current, limit


@inner_kernel
def driving_grip(p: Parameters, here: Here, pedal: float) -> float:
    """Return the force that the tyre, or the front wheel's lift, leaves to motors beside the legs [N]."""
    return p.drive_grip * here.cos_theta - p.pedal_share * pedal


@inner_kernel
def speed_hold(p: Parameters, resist: float, v: float, pedal: float) -> tuple[float, Limit]:
    """Return the motor force that holds the bike at its legal or electrical top speed [N], and which of both it is."""
    fastest, cause = p.top_electrical_speed, Limit.ELECTRICAL_FREQUENCY
    if p.assist_speed < fastest:
        fastest, cause = p.assist_speed, Limit.ASSIST_SPEED
    return resist + p.mass_driving * (fastest - v) * p.response_rate - pedal, cause


@inner_kernel
def force_bound(p: Parameters, here: Here, resist: float, v: float, pedal: float, other: float) -> tuple[float, Limit]:
    """Return the motor force that grip, front lift, legal speed and electrical speed allow [N], and which holds."""
    bound, limit = max(driving_grip(p, here, pedal) - other, 0.0), Limit.GRIP
    if p.limits_on:
        hold, cause = speed_hold(p, resist, v, pedal)
        if hold < bound:
            bound, limit = max(hold, 0.0), cause
    return bound, limit


@inner_kernel
def asked_current(p: Parameters, here: Here, c: controller.Circuit, m: MotorNow, wanted: float) -> float:
    """Return the motor current that throttle law and driver ask for when driving [A]; wanted is a wheel force [N]."""
    if p.law == Law.VOLTAGE:
        duty = p.duty * p.throttle
        if p.throttle < 0.0:
            planned = m.torque_constant * here.plan_speed * p.turned * p.common_duty
            duty = min(planned / (c.open_voltage + c.pack_resistance * c.taken), p.duty)
        peak = controller.drive_current_at_pack_current(c, power_peak(c))
        if controller.voltage_excess(c, peak, duty, controller.UNBOUNDED, 0.0, 0.0) <= 0.0:
            return peak
        return controller.current_within_voltage(c, peak, duty, controller.UNBOUNDED, 0.0, 0.0)
    if p.throttle >= 0.0 and p.law == Law.TORQUE:
        return p.throttle * p.drive_current
    return current_for(p, m, wanted)


@inner_kernel
def current_for(p: Parameters, m: MotorNow, force: float) -> float:
    """Return the motor current that gives a wheel force [A]."""
    torque = drive.shaft_torque(
        force, p.stage_drag_driving, p.stage_drag_braking, p.per_driving_gain, p.per_braking_gain
    )
    return (torque + m.iron_torque) * (1.0 / m.torque_constant)


@inner_kernel
def force_of(p: Parameters, torque: float) -> float:
    """Return the wheel force of a shaft torque [N]."""
    return drive.wheel_force(torque, p.stage_drag_driving, p.stage_drag_braking, p.driving_gain, p.braking_gain)


@inner_kernel
def motor_pull(
    p: Parameters, here: Here, s: State, c: controller.Circuit, m: MotorNow, resist: float, wanted: float, pedal: float,
    v: float, dt: float, other: float,
) -> MotorPull:  # fmt: skip
    """Return what one motor does for a wanted wheel force of either sign, legs' share included, at speed v [m/s]."""
    shifting = s.shift_left > 0.0
    ask = _no_current() if shifting else _ask_motor(p, here, s, c, m, resist, wanted, pedal, v, other)
    current, limit = ask.current, ask.limit
    field = field_beside(p, c, current, limit)
    torque = motor.shaft_pull(m.torque_constant, p.reluctance, current, field) - m.iron_torque
    # A freewheel passes on only what drives: with less than iron and stages take, the wheel runs free.
    coupled = not shifting and (not p.freewheel or torque > p.stage_drag_driving)
    force, spin_up, turning_iron = 0.0, 0.0, m.iron_torque
    if coupled:
        force = force_of(p, torque)
        if p.freewheel:
            force, spin_up = _catch_up(p, s, torque, force, v * p.turned, dt)
    else:
        current, limit, torque, turning_iron, field = 0.0, Limit.NONE, 0.0, 0.0, 0.0
    return MotorPull(
        current=current,
        field=field,
        shaft_torque=torque,
        iron_torque=turning_iron,
        force=force,
        asked=ask.asked,
        spin_up=spin_up,
        coupled=coupled,
        limit=limit,
        tyre_limit=ask.tyre_limit,
    )


@inner_kernel
def _no_current() -> Asked:
    return Asked(current=0.0, asked=0.0, limit=Limit.NONE, tyre_limit=Limit.NONE)


@inner_kernel
def _ask_motor(
    p: Parameters, here: Here, s: State, c: controller.Circuit, m: MotorNow,
    resist: float, wanted: float, pedal: float, v: float, other: float,
) -> Asked:  # fmt: skip
    """Return the motor current for a wanted wheel force of either sign."""
    if wanted > 0.0:
        asked = drive_current(p, here, s, c, m, resist, wanted, pedal, v, other)
    else:
        asked = brake_current(p, here, s, c, m, wanted, other)
    return _diodes(p, c, asked)


@inner_kernel
def drive_current(
    p: Parameters, here: Here, s: State, c: controller.Circuit, m: MotorNow,
    resist: float, wanted: float, pedal: float, v: float, other: float,
) -> Asked:  # fmt: skip
    """Return the motor current for a wanted driving force, the asked current, and both limits."""
    motor_wanted = wanted - pedal
    if p.law == Law.ASSIST:
        motor_wanted = min(motor_wanted, p.assist_factor * pedal * p.efficiency / p.pedal_efficiency)
    if motor_wanted <= 0.0 and (p.freewheel or p.law == Law.ASSIST):
        return Asked(0.0, 0.0, Limit.NONE, Limit.NONE)
    wish = asked_current(p, here, c, m, motor_wanted)
    asked = wish
    if asked <= 0.0:
        return Asked(0.0, wish, Limit.NONE, Limit.NONE)
    limit = Limit.NONE
    most, cause = force_bound(p, here, resist, v, pedal, other)
    if p.law == Law.VOLTAGE or p.throttle >= 0.0 or motor_wanted > most:
        most_current = current_for(p, m, most)
        if asked > most_current:
            asked, limit = most_current, cause
    omega = v * p.turned
    if p.limits_on and (m.torque_constant * asked - m.iron_torque) * omega > p.shaft_power:
        asked, limit = (p.shaft_power / omega + m.iron_torque) / m.torque_constant, Limit.MOTOR_POWER
    current, bound_limit = drive_bound(p, s, c, asked)
    if bound_limit != Limit.NONE:
        limit = bound_limit
    if limit == Limit.GRIP:
        return Asked(current, wish, Limit.NONE, Limit.GRIP)
    return Asked(current, wish, limit, Limit.NONE)


@inner_kernel
def brake_current(
    p: Parameters, here: Here, s: State, c: controller.Circuit, m: MotorNow, wanted: float, other: float
) -> Asked:
    """Return the motor current for a wanted braking force (<= 0), the asked current, and both limits."""
    if p.freewheel:
        return _no_current()
    asked = current_for(p, m, wanted)
    if asked >= 0.0:
        current, limit = drive_bound(p, s, c, asked)
        return Asked(current, asked, limit, Limit.NONE)
    most = max(p.motor_brake_grip * here.cos_theta - other, 0.0)
    braking, tyre_limit = -asked, Limit.NONE
    if -wanted > most:
        braking, tyre_limit = max(-current_for(p, m, -most), 0.0), Limit.GRIP
    braking, limit = brake_bound(p, s, c, braking)
    return Asked(-braking, asked, limit, tyre_limit if limit == Limit.NONE else Limit.NONE)


@inner_kernel
def _diodes(p: Parameters, c: controller.Circuit, found: Asked) -> Asked:
    """Return current and limits once the inverter's diodes have had their say: above the pack voltage they conduct."""
    if p.freewheel or c.emf <= c.open_voltage or field_holds(p, c, found.current):
        return found
    free = controller.diode_current(c)
    if free >= found.current:
        return found
    return Asked(current=free, asked=found.asked, limit=Limit.OVER_SPEED, tyre_limit=Limit.NONE)


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
