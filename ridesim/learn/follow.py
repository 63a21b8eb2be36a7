"""The ride's own motor, controller, pack and lumps of heat, driven by a log's speed and current.

No second physics: the kernels are those of the step (`engine/circuit`, `physics/heat`); only what moves the bike is
taken from the log. Legend as in `engine/step`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ridesim.engine.circuit import circuit_of, fade_over, motor_now, polarise, polarised, read_pack
from ridesim.engine.state import PackNow, Parameters, as_record
from ridesim.jit import inner_kernel, kernel
from ridesim.learn.driven import Driven
from ridesim.physics import controller, heat, motor
from ridesim.units import from_si

LEAST_VOLTAGE = 1.0
"""Voltage below which no pack power is divided by it [V]."""
LEAST_OMEGA, STANDING_W = 5.0, 40.0
"""A motor that hardly turns [rad/s] while little is drawn [W] stands: noise of a sensor is no current (guesses)."""
IDLE_A = 0.05
"""A freewheel drive whose motor current is below it has let go (guess: a sensor's zero)."""

Array = NDArray[np.float64]


class Start(NamedTuple):
    """Where the lumps and the pack stand when the log begins."""

    charge: float
    winding_c: float
    body_c: float
    controller_c: float
    pack_c: float


class Gains(NamedTuple):
    """How the log's own sensors read: true value = reading times gain."""

    motor_current: float = 1.0
    pack_current: float = 1.0
    air_k: float = 0.0
    """Added to the air's temperature."""


class _PackState(NamedTuple):
    """The part of a ride's state that is the pack's."""

    charge: float
    polarisation: float
    pack_temp: float


@dataclass(frozen=True, eq=False)
class Followed:
    """What the model says, each (n,): in the log's names and units but for `torque_nm`, the shaft's."""

    pack_voltage_v: Array
    pack_current_a: Array
    duty: Array
    winding_temperature_c: Array
    body_temperature_c: Array
    controller_temperature_c: Array
    pack_temperature_c: Array
    charge_fraction: Array
    current_a: Array
    torque_nm: Array
    speed_km_h: Array

    def of(self, name: str) -> Array:
        """Return a column by the log's name."""
        found: Array = getattr(self, name)
        return found


ROWS = tuple(name for name in Followed.__dataclass_fields__ if name != "speed_km_h")
"""What is computed; the speed is the log's own."""


def follow(params: Parameters, driven: Driven, start: Start, gains: Gains = Gains()) -> Followed:
    """Return what a bike's model says under a log's speed and current."""
    out = np.empty((len(ROWS), driven.count))
    charge, winding, body, box, cells = (float(value) for value in start)
    _follow(
        as_record(params), driven.step_s, driven.omega, driven.speed, driven.current * gains.motor_current,
        driven.pack_current * gains.pack_current, driven.pack_voltage, driven.air_c + gains.air_k, charge, winding,
        body, box, cells, out,
    )  # fmt: skip
    found = dict(zip(ROWS, out, strict=True))
    return Followed(**found, speed_km_h=np.asarray(from_si(driven.speed, "km_h")))


@inner_kernel
def _motor_current(c: controller.Circuit, power: float, volts: float, omega: float) -> float:
    """Return the motor current that takes (or gives) a power at the pack's leads [A]: the root nearer to zero.

    R I^2 + (E + k V) I + P_s = P driving; with J = -I: R J^2 - (E - k V) J + P_s = P braking.
    """
    spare = power - c.standby
    if omega < LEAST_OMEGA and abs(spare) < STANDING_W:
        return 0.0
    r = c.motor_resistance + c.on_resistance
    if spare >= 0.0:
        b = c.emf + c.switching * volts
        return 2.0 * spare / (b + math.sqrt(b * b + 4.0 * r * spare)) if b + r > 0.0 and spare > 0.0 else 0.0
    b = c.emf - c.switching * volts
    if b <= 0.0 or omega <= 0.0:
        return 0.0
    inside = max(b * b + 4.0 * r * spare, 0.0)
    return 2.0 * spare / (b + math.sqrt(inside))


@inner_kernel
def _at_the_leads(c: controller.Circuit, now: PackNow, slow: float, amps: float, drawn: float) -> float:
    """Return the pack's voltage at its leads [V] under what is drawn, or, where that is not read, under the motor."""
    if math.isnan(drawn):
        volts = controller.loaded_voltage(c, amps)
        return 0.5 * now.voltage if math.isnan(volts) else volts
    # A reading is of its instant: the polarisation is that of the moment, not the mean of a step to come.
    return now.open_circuit - slow - now.fast_resistance * drawn


@inner_kernel
def _known(reading: float, otherwise: float) -> float:
    """Return a reading, or what stands in its place where there is none."""
    return otherwise if math.isnan(reading) else reading


@inner_kernel
def _mean_square(first: float, last: float) -> float:
    """Return the mean square of what runs straight from one value to another."""
    return (first * first + first * last + last * last) / 3.0


@kernel
def _follow(
    p: Parameters, dt: float, omega: Array, speed: Array, current: Array, pack_current: Array, pack_voltage: Array,
    air: Array, charge: float, winding: float, body: float, box: float, cells: float, out: Array,
) -> None:  # fmt: skip
    over = fade_over(p, dt)
    slow = 0.0
    for i in range(omega.size):
        w, v = omega[i], speed[i]
        s = _PackState(charge, slow, cells)
        now = read_pack(p, s, over)  # type: ignore[arg-type]  # these are the fields it reads
        m = motor_now(p, w, winding, body)
        c = circuit_of(p, m, now.voltage, now.resistance)
        drawn = pack_current[i]
        amps = current[i]
        if math.isnan(amps):
            volts = pack_voltage[i] if pack_voltage[i] > LEAST_VOLTAGE else now.voltage - now.resistance * drawn
            amps = _motor_current(c, drawn * volts, volts, w)
        if p.freewheel and abs(amps) < IDLE_A:
            w, amps = 0.0, 0.0
            m = motor_now(p, 0.0, winding, body)
            c = circuit_of(p, m, now.voltage, now.resistance)
        volts = _at_the_leads(c, now, slow, amps, drawn)
        seen = pack_voltage[i] if pack_voltage[i] > LEAST_VOLTAGE else max(volts, LEAST_VOLTAGE)
        lost = controller.controller_loss(c, amps, seen)
        asked = (m.emf * amps + amps * amps * m.resistance + lost) / seen
        if math.isnan(drawn):
            drawn = asked
        out[0, i], out[1, i] = volts, asked
        out[2, i] = math.sqrt(motor.voltage_squared(m.emf, amps, m.resistance, m.reactance)) / seen
        out[3, i], out[4, i], out[5, i], out[6, i] = winding, body, box, cells
        out[7, i], out[8, i] = charge, amps
        out[9, i] = m.torque_constant * amps - (m.iron_torque if w > 0.0 else 0.0)
        # From one reading to the next everything runs straight: squares of currents are those of a straight line.
        later = min(i + 1, omega.size - 1)
        next_amps, next_drawn = _known(current[later], amps), _known(pack_current[later], drawn)
        if p.freewheel and abs(next_amps) < IDLE_A:
            next_amps = 0.0
        square, square_drawn = _mean_square(amps, next_amps), _mean_square(drawn, next_drawn)
        drawn = 0.5 * (drawn + next_drawn)
        v, w = 0.5 * (v + speed[later]), w if w == 0.0 else 0.5 * (w + omega[later])
        lost += p.on_resistance * (square - amps * amps)
        lost += 0.5 * p.switching * (abs(next_amps) - abs(amps)) * seen
        g_ba = heat.body_to_air(p.cooling_still, p.cooling_moving, p.cooling_exponent, p.enclosure, v)
        iron = motor_now(p, w, winding, body).iron_torque * w
        winding, body = heat.two_lumps(
            winding, body, square * m.resistance, iron, p.winding_k_per_j, p.body_k_per_j,
            p.winding_to_body, g_ba, air[i], dt,
        )  # fmt: skip
        box = heat.one_lump(box, lost, p.controller_k_per_j, p.controller_to_air, air[i], dt)
        _, slow_loss = polarise(p, s, over, now.slow_resistance, drawn)  # type: ignore[arg-type]
        warmth = now.fast_resistance * square_drawn + slow_loss / dt
        slow = polarised(s, over, now.slow_resistance, drawn)  # type: ignore[arg-type]
        cells = heat.one_lump(cells, warmth, p.pack_k_per_j, p.pack_to_air, air[i], dt)
        charge -= drawn * dt * p.charge_per_coulomb
