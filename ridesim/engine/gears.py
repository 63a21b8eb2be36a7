"""Gears behind the motor: the numbers of the gear that is in, when it shifts, and what a shift costs the rotor.

A ride's record of parameters holds the numbers of one gear, so that the step reads a geared bike as any other; the loop
lays in those of another (`engage`) when the state's gear changes. The gears are shifted by the speed at which they turn
the motor, or would turn it where it stands still behind a freewheel. A shift takes its time without force from the
motor, and from legs on the same chain; the rotor is then at the new gear's speed, and what it gave up or took is a line
of the ledger: no torque passes and no iron loss is counted meanwhile.

Legend: speeds in m/s, dt step [s], J rotor inertia [kg m2], energies in J.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ridesim.bike.gears import MOST_GEARS
from ridesim.engine.state import Parameters, State
from ridesim.jit import inner_kernel, rare_kernel

GEARED = (
    "mass_coasting", "mass_driving", "per_mass_coasting", "per_mass_driving", "pedal_efficiency", "pedal_force_bound",
    "turned", "driving_gain", "braking_gain", "per_driving_gain", "per_braking_gain", "efficiency",
    "top_electrical_speed", "shift_up_speed", "shift_down_speed", "input_per_force",
)  # fmt: skip
"""The parameters that differ from gear to gear, in the order of a row of `gear_table`."""

WIDTH = len(GEARED)

NEVER_UP, NEVER_DOWN = 1e9, -1.0
"""Shift speeds of the highest and of the lowest gear [m/s]."""

SHIFT_ROUNDING = 1e-6
"""A shift speed is met within this share of it."""

SHIFT_END_S = 1e-9
"""What is left of a shift below it is rounding [s]."""


def gear_table(gears: list[dict[str, Any]]) -> Any:
    """Return the numbers of every gear as one line, (MOST_GEARS * WIDTH,), or (rows, ...) where some are columns.

    One gear needs no table: nothing is laid in, and zeros stand there.
    """
    if len(gears) <= 1:
        return np.zeros(MOST_GEARS * WIDTH)
    line = [np.asarray(gear[name], dtype=np.float64) for gear in gears for name in GEARED]
    line += [np.zeros(())] * (MOST_GEARS * WIDTH - len(line))
    rows = max((each.shape for each in line), key=len)
    if not rows:  # one bike: laid out number by number, this took two fifths of what packs it
        return np.array(line)
    return np.stack([np.broadcast_to(each, rows) for each in line], axis=-1)


def in_gear(p: Parameters, gear: int) -> Parameters:
    """Return parameters as they are in one gear; the lowest is 0. What is no number a gear stays."""
    if p.gears <= 1:
        return p
    row = p.gear_table[gear * WIDTH : (gear + 1) * WIDTH].tolist()
    return p._replace(**dict(zip(GEARED, row, strict=True)))


def gear_for(p: Parameters, speed: float) -> int:
    """Return the gear that the shift rule has in at a steady speed reached from below [m/s]; the lowest is 0.

    The parameters are those of the lowest gear, as `engine.params` makes them.
    """
    if p.gears <= 1:
        return 0
    up = p.gear_table.reshape(MOST_GEARS, WIDTH)[: p.gears - 1, GEARED.index("shift_up_speed")]
    return int(np.sum(up * (1.0 - SHIFT_ROUNDING) <= speed))


def at_speed(p: Parameters, speed: float) -> Parameters:
    """Return parameters as they are in the gear of a steady speed reached from below [m/s]."""
    return p if p.gears <= 1 else in_gear(p, gear_for(p, speed))


def fastest_motor(p: Parameters, top_speed: float) -> float:
    """Return how fast the motor turns at most on the way to a top speed [m/s]: there, or where it shifts up [rad/s]."""
    there = at_speed(p, top_speed).turned * top_speed
    return max(there, p.shift_up_speed * p.turned) if gear_for(p, top_speed) > 0 else there


@rare_kernel
def engage(p: Parameters, gear: int) -> None:
    """Lay the numbers of one gear into a ride's own record."""
    row = p.gear_table[gear * WIDTH : (gear + 1) * WIDTH]
    p.mass_coasting = row[0]  # type: ignore[misc]
    p.mass_driving = row[1]  # type: ignore[misc]
    p.per_mass_coasting = row[2]  # type: ignore[misc]
    p.per_mass_driving = row[3]  # type: ignore[misc]
    p.pedal_efficiency = row[4]  # type: ignore[misc]
    p.pedal_force_bound = row[5]  # type: ignore[misc]
    p.turned = row[6]  # type: ignore[misc]
    p.driving_gain = row[7]  # type: ignore[misc]
    p.braking_gain = row[8]  # type: ignore[misc]
    p.per_driving_gain = row[9]  # type: ignore[misc]
    p.per_braking_gain = row[10]  # type: ignore[misc]
    p.efficiency = row[11]  # type: ignore[misc]
    p.top_electrical_speed = row[12]  # type: ignore[misc]
    p.shift_up_speed = row[13]  # type: ignore[misc]
    p.shift_down_speed = row[14]  # type: ignore[misc]
    p.input_per_force = row[15]  # type: ignore[misc]


@inner_kernel
def engaged(p: Parameters, gear: int, before: int) -> int:
    """Return the gear whose numbers the record holds from now on; nothing to do for a drive of one ratio."""
    if gear != before:
        engage(p, gear)
    return gear


@inner_kernel
def sped_up(p: Parameters, coupled: bool, shifting: bool) -> tuple[float, float]:
    """Return the mass that is sped up [kg], and one over it: with the rotor where it turns with the wheel."""
    if shifting:
        return p.mass_shifting, p.per_mass_shifting
    if coupled:
        return p.mass_driving, p.per_mass_driving
    return p.mass_coasting, p.per_mass_coasting


@inner_kernel
def rotor_at(p: Parameters, speed: float) -> float:
    """Return the energy of the rotor that turns with the wheel in the gear that is in [J]."""
    omega = speed * p.turned
    return 0.5 * p.rotor_inertia * omega * omega


@inner_kernel
def shift_ends(s: State, dt: float) -> bool:
    """Return whether the shift under way is over after dt."""
    return s.shift_left - dt <= SHIFT_END_S


@inner_kernel
def rotor_behind(p: Parameters, s: State, speed: float) -> float:
    """Return the rotor's energy behind a shift [J]: at the new gear's speed, or still where it stood still."""
    if p.freewheel and s.rotor_energy <= 0.0:
        return 0.0
    return rotor_at(p, speed)


@inner_kernel
def shifted_energy(p: Parameters, s: State, speed: float, dt: float) -> float:
    """Return what the rotor gives up in the step that ends a shift [J]; < 0 where it is taken to a higher speed."""
    return s.rotor_energy - rotor_behind(p, s, speed) if shift_ends(s, dt) else 0.0


@rare_kernel
def change_gear(p: Parameters, s: State, speed: float, rotor: float, dt: float) -> tuple[int, float, float]:
    """Return gear, time left of a shift and the rotor's energy after a step that ends at a speed.

    rotor: its energy after the step if nothing is shifted. A shift begins where the step ends.
    """
    if s.shift_left > 0.0:
        if not shift_ends(s, dt):
            return s.gear, s.shift_left - dt, s.rotor_energy
        rotor = rotor_behind(p, s, speed) if p.freewheel else 0.0
    if speed <= 0.0 and not p.shifts_standing:
        return s.gear, 0.0, rotor
    step = 0
    if speed >= p.shift_up_speed * (1.0 - SHIFT_ROUNDING):
        step = 1
    elif speed <= p.shift_down_speed * (1.0 + SHIFT_ROUNDING):
        step = -1
    if step == 0:
        return s.gear, 0.0, rotor
    # A fixed drive's rotor counts with the bike's mass until a shift cuts it off.
    return s.gear + step, p.shift_time, rotor if p.freewheel else rotor_at(p, speed)


@inner_kernel
def time_to_shift(p: Parameters, s: State, after: State, span: float) -> float:
    """Return after how much of a step the shift that it ends with is due [s]; inf where it ends with none."""
    if after.gear == s.gear or s.shift_left > 0.0:
        return math.inf
    due = p.shift_up_speed if after.gear > s.gear else p.shift_down_speed
    missed = after.speed - due
    if abs(missed) <= SHIFT_ROUNDING * due or (s.speed - due) * missed >= 0.0:
        return span
    return (due - s.speed) / after.acceleration
