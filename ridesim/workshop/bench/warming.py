"""A heating run as a problem of least squares: two lumps of heat, still or moving air, each with its thermometers.

The lumps are the step's own (`physics/heat`), and so is the law of moving air: `G_ba = g_0 + g_1 v^n`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridesim.engine.estimates import COOLING_REFERENCE_SPEED
from ridesim.jit import kernel
from ridesim.physics.heat import body_to_air, two_lumps
from ridesim.units import from_si
from ridesim.workshop.bench.errors import Floats
from ridesim.workshop.bench.resistance import COPPER_ZERO_C, REFERENCE_C

WINDING, BODY, LINE = "winding", "body", "winding, by its resistance"
RANGES = ((1.0, 20000.0), (1.0, 50000.0), (0.01, 200.0), (0.001, 100.0))
"""Of winding and body capacity, winding to body and body to air: as the build file's own."""
ADDED_RANGE, EXPONENT_RANGE = (0.001, 300.0), (0.1, 1.5)
"""What air at 36 km/h adds, and the power of its speed: as the build file's own."""
EXPONENT, EXPONENT_OFF = 0.6, 0.15
"""The power of the speed before a run tells it, and a deviation of its logarithm: the schema's own 0.6 and 0.08."""
LEAST_KNOWN = 0.01
"""Nothing is known better from another run (guess)."""
AIR_MOVES = 0.3
"""Slower air is still: the motor's own warmth moves it as fast [m/s] (guess)."""
LEAST_RISE_K = 5.0
"""A run that warms less tells nothing beside sensors that round to a degree (guess)."""
LONGEST_STEP_S = 2.0
START_K = 0.7
"""How far a lump may stand off its first reading: a sensor that rounds to a degree (guess)."""
HARDLY_KNOWN = 3.0
"""Of a logarithm: what is known beforehand of capacities and conductances, a factor of twenty either way (guess)."""


@dataclass(frozen=True, eq=False)
class HeatingRun:
    """Readings over time, each (n,): `heat_w` that goes into the winding by itself, and `current_a` whose square times
    the winding's resistance does (one of the two is zero); iron loss of a turning motor; temperatures [degC], nan where
    not read; `line_mohm`: voltage over current as a thermometer [mOhm], nan where none."""

    where: str
    time_s: Floats
    heat_w: Floats
    current_a: Floats
    iron_w: Floats
    air_c: Floats
    winding_c: Floats
    body_c: Floats
    line_mohm: Floats
    omega: Floats
    """Shaft speed [rad/s]; its iron loss is known once the drag is."""
    resistance_mohm: float | None = None
    """Line to line at 20 degC, for the heat of `current_a`."""
    temperature_error_c: float = 0.0
    gain_error: float = 0.0
    """Relative error of the heat that all readings share."""
    air_m_per_s: Floats | None = None
    """Speed of the air past the motor, (n,); None: still air."""

    @property
    def in_moving_air(self) -> bool:
        """Whether the air moves at all in it."""
        return self.air_m_per_s is not None and bool(np.any(self.air_m_per_s > AIR_MOVES))


def read_by(run: HeatingRun, name: str) -> Floats:
    """Return what a thermometer of a run read: degC, of `LINE` mOhm."""
    return {WINDING: run.winding_c, BODY: run.body_c, LINE: run.line_mohm}[name]


def rise_of(measured: dict[str, Floats]) -> float:
    """Return by how much the thermometer that warmed most stood above its first reading [K]; 0 without any."""
    return max((float(np.nanmax(each) - each[np.isfinite(each)][0]) for each in measured.values()), default=0.0)


@kernel
def _warm(
    steps: np.ndarray, heat: np.ndarray, squared: np.ndarray, iron: np.ndarray, air: np.ndarray, moving: np.ndarray,
    resistance: float, per_c_w: float, per_c_b: float, g_wb: float, g_0: float, g_1: float, exponent: float, t_w: float,
    t_b: float, out: np.ndarray,
) -> None:  # fmt: skip
    """Follow both lumps: heat, current squared, the air's warmth and speed are the means from each reading to the
    next."""
    for i in range(out.shape[1]):
        out[0, i], out[1, i] = t_w, t_b
        if i == steps.size:
            break
        parts = max(1, int(np.ceil(steps[i] / LONGEST_STEP_S)))
        g_ba = body_to_air(g_0, g_1, exponent, 1.0, moving[i])
        for _ in range(parts):
            warm = (COPPER_ZERO_C + t_w) / (COPPER_ZERO_C + REFERENCE_C)
            p_w = heat[i] + squared[i] * resistance * warm
            t_w, t_b = two_lumps(t_w, t_b, p_w, iron[i], per_c_w, per_c_b, g_wb, g_ba, air[i], steps[i] / parts)


class Problem:
    """A run ready to be fitted: logarithms of the four numbers, starts of both lumps, when the heat is switched, in
    moving air what it adds at 36 km/h and its power of the speed, and the logarithm of the cold resistance.

    known: the four numbers with their relative errors by another run of the motor.
    """

    def __init__(
        self, run: HeatingRun, thermometers: tuple[str, ...], known: Sequence[tuple[float, float]] = ()
    ) -> None:
        self.run, self.thermometers = run, thermometers
        self.by_resistance = LINE in thermometers
        self.measured = {name: read_by(run, name) for name in thermometers}
        self.steps = np.diff(run.time_s)
        squares = run.current_a**2
        self.ends = [(each[:-1], each[1:]) for each in (run.heat_w, squares, run.iron_w, run.air_c)]
        self.switched = _switched(run.heat_w + squares)
        self.ohm = (run.resistance_mohm or 0.0) * float(1.0 / from_si(1.0, "mohm"))
        self.first_c = self._first()
        speed = run.air_m_per_s if run.in_moving_air and run.air_m_per_s is not None else np.zeros(len(run.time_s))
        self.air_speed = 0.5 * (speed[:-1] + speed[1:])
        self.air = slice(6 + len(self.switched), 6 + len(self.switched) + 2 * run.in_moving_air)
        self.known = known

    def _first(self) -> tuple[float, float]:
        """Return the first readings of winding and body; what has no thermometer stands as the other, else as air."""

        def first(values: Floats) -> float | None:
            """Return the first known value, or None."""
            known = values[np.isfinite(values)]
            return float(known[0]) if known.size else None

        body = first(self.run.body_c)
        winding = first(self.run.winding_c)
        air = float(self.run.air_c[0])
        cold = winding if winding is not None else body if body is not None else air
        return cold, body if body is not None else cold

    def start(self) -> Floats:
        """Return a first guess: energy over the body's rise, and power over its last warmth."""
        warm, squared, iron, _ = self.means(np.empty(0))
        heat = warm + iron + squared * self.ohm
        energy = float(heat @ self.steps)
        power = energy / float(self.steps[heat > 0.0].sum() or self.steps.sum())
        rise = max(rise_of({n: v for n, v in self.measured.items() if n != LINE}) or 30.0, LEAST_RISE_K)
        guess = np.array([0.2 * energy / rise, energy / rise, 5.0 * power / rise, power / rise])
        low, high = np.array(RANGES).T
        theta = [*np.log(np.clip(guess, 2.0 * low, 0.5 * high)), 0.0, 0.0, *([0.5] * len(self.switched))]
        if self.run.in_moving_air:
            theta += [np.log(guess[3]), np.log(EXPONENT)]
        if self.by_resistance:
            line = self.run.line_mohm[np.isfinite(self.run.line_mohm)]
            theta.append(np.log(np.median(line[:5]) / _copper(self.first_c[0])))
        theta[:4] = [np.log(value) for value, _ in self.known] or theta[:4]
        self.centre = np.array(theta)
        return self.centre

    @property
    def loose(self) -> Floats:
        """Deviations of what is known beforehand of the four logarithms, and of moving air's two."""
        four = [max(share, LEAST_KNOWN) for _, share in self.known] or [HARDLY_KNOWN] * 4
        return np.array([*four, *([HARDLY_KNOWN, EXPONENT_OFF] if self.run.in_moving_air else [])])

    def means(self, shares: Floats) -> list[Floats]:
        """Return heat, squared current, iron loss and air from each reading to the next, (n - 1,) each.

        Where the heat is switched between two readings, `shares` of that time still have the first.
        """
        weight = np.full(len(self.steps), 0.5)
        weight[self.switched[: len(shares)]] = shares
        return [weight * before + (1.0 - weight) * after for before, after in self.ends]

    def lumps(self, theta: Floats) -> Floats:
        """Return winding and body temperature, (2, n)."""
        c_w, c_b, g_wb, g_ba = np.exp(theta[:4])
        added, exponent = np.exp(theta[self.air]) if self.run.in_moving_air else (0.0, 1.0)
        g_1 = added / COOLING_REFERENCE_SPEED**exponent
        out = np.empty((2, len(self.run.time_s)))
        winding, body = self.first_c[0] + theta[4], self.first_c[1] + theta[5]
        heat, squared, iron, air = self.means(theta[6 : 6 + len(self.switched)])
        _warm(self.steps, heat, squared, iron, air, self.air_speed, self.ohm, 1.0 / c_w, 1.0 / c_b, g_wb, g_ba, g_1,
              exponent, winding, body, out)  # fmt: skip
        return out

    def computed(self, theta: Floats) -> dict[str, Floats]:
        """Return what each thermometer should read [degC]."""
        winding, body = self.lumps(theta)
        return {name: body if name == BODY else winding for name in self.thermometers}

    def celsius(self, theta: Floats) -> dict[str, Floats]:
        """Return what each thermometer read [degC], a resistance by the cold one of the fit."""
        return {name: self._celsius(name, theta) for name in self.thermometers}

    def _celsius(self, name: str, theta: Floats) -> Floats:
        if name != LINE:
            return self.measured[name]
        factor = self.measured[name] / np.exp(theta[-1])
        return np.asarray(factor * (COPPER_ZERO_C + REFERENCE_C) - COPPER_ZERO_C)

    def left(self, theta: Floats) -> dict[str, Floats]:
        """Return measured less computed [K], where it was read."""
        computed = self.computed(theta)
        found = {name: self._celsius(name, theta) - computed[name] for name in self.thermometers}
        return {name: values[np.isfinite(values)] for name, values in found.items()}

    def solve(self, theta: Floats, sigma: dict[str, float]) -> tuple[Floats, Floats]:
        """Return the least squares under these errors, and its slopes."""
        from scipy.optimize import least_squares

        def residuals(at: Floats) -> Floats:
            """Return what is left unexplained, in deviations, readings before what is hardly known."""
            left = self.left(at)
            numbers, middle = np.r_[at[:4], at[self.air]], np.r_[self.centre[:4], self.centre[self.air]]
            loose = (numbers - middle) / self.loose
            when = (at[6 : 6 + len(self.switched)] - 0.5) / ANY_TIME
            return np.concatenate([*(left[name] / sigma[name] for name in left), loose, at[4:6] / START_K, when])

        low, high = np.log(np.array(RANGES).T)
        ends = np.full((2, len(theta) - 4), np.inf) * np.array([[-1.0], [1.0]])
        ends[:, 2 : 2 + len(self.switched)] = [[-OVER], [1.0 + OVER]]
        if self.run.in_moving_air:
            ends[:, self.air.start - 4 : self.air.stop - 4] = np.log(np.array([ADDED_RANGE, EXPONENT_RANGE])).T
        bounds = (np.concatenate((low, ends[0])), np.concatenate((high, ends[1])))
        found = least_squares(residuals, theta, bounds=bounds, x_scale="jac", xtol=1e-6, ftol=1e-6)
        return np.asarray(found.x), np.asarray(found.jac)


def _copper(temperature_c: float) -> float:
    return (COPPER_ZERO_C + temperature_c) / (COPPER_ZERO_C + REFERENCE_C)


def _switched(heating: Floats) -> np.ndarray:
    """Return between which readings the heat is switched on or off; none where it is switched all the time."""
    jumps = np.abs(np.diff(heating)) > SWITCH_SHARE * float(heating.max())
    found = np.flatnonzero(jumps)
    return found if len(found) <= MOST_SWITCHES else found[:0]


SWITCH_SHARE, MOST_SWITCHES = 0.3, 6
ANY_TIME, OVER = 12.0**-0.5, 0.01
"""Deviation of a share that may be anything from 0 to 1; the bounds of a fit stand a little outside."""
