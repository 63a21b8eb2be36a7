"""What a bike of two different drives has beside that of one: the second drive's share of state, command and outcome.

Everywhere else its place is taken by None, so that the compiled ride of a bike with one drive holds none of it: see
`jit.if_none`. SI units, signs as in `engine.state`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from ridesim.jit import inner_kernel

if TYPE_CHECKING:
    from ridesim.engine.codes import Limit


class Second(NamedTuple):
    """The second drive of a ride: its numbers, and room for what is written down of it. Arrays are filled in place."""

    bike: np.ndarray  # (2,) records of Parameters: ridden, and pushed; of the second drive on the same bike
    totals: np.ndarray  # by `codes.Total`, the pack's current its own
    first_totals: np.ndarray  # those of the first drive, the pack's current its own
    trace: np.ndarray  # by `codes.Channel`
    ledger: np.ndarray  # by `codes.Ledger` [J]
    limit_seconds: np.ndarray  # [s]
    limit_first: np.ndarray  # [m]


class SecondState(NamedTuple):
    """Where the second drive stands between two steps."""

    winding_temp: float  # [degC]
    body_temp: float  # [degC]
    controller_temp: float  # [degC]
    rotor_energy: float  # behind a freewheel [J]


class SecondTrend(NamedTuple):
    """What its last step leads one to expect."""

    current: float  # [A]
    current_slope: float  # [A/s]
    winding_rate: float  # [K/s]
    body_rate: float  # [K/s]
    controller_rate: float  # [K/s]


class SecondPull(NamedTuple):
    """What the second motor does in a step, and how its force and draw touch the first."""

    current: float  # [A]
    field: float  # [A]
    shaft_torque: float  # [N m]
    iron_torque: float  # [N m]
    force: float  # at its wheel, + drives [N]
    asked: float  # [A]
    spin_up: float
    coupled: bool
    draw: float  # pack current, + out [A]
    counted: float  # of its force, against the first motor's top speed [N]
    grip: float  # that it takes of the first motor's [N]
    wish: float  # the first motor's own part of the wanted force, legs left out [N]
    limit: Limit
    tyre_limit: Limit


class SecondOutcome(NamedTuple):
    """What one step did in the second drive, at its mean speed."""

    motor_speed: float  # [rad/s]
    resistance: float  # [ohm]
    emf: float  # [V]
    pack_current: float  # its own, + out [A]
    copper: float  # [W]
    iron: float  # [W]
    controller: float  # [W]
    shaft: float  # [W]
    gained: float  # by a rotor that a freewheel let stand [J]
    rotor_lost: float  # [J]


@inner_kernel
def unchanged(second: None, value: Any) -> Any:
    """Return what there is of one drive where there is no second, see `jit.if_none`."""
    return value
