"""A heating run and its cooling: heat capacities and conductances of winding and body, as the ride has them.

`C_w T_w' = P - G_wb (T_w - T_b)`, `C_b T_b' = P_i + G_wb (T_w - T_b) - G_ba (T_b - T_air)`: the step's own two lumps.
A winding without a sensor is its own: a copper winding shows its warmth by its resistance (IEC 60034-1:2022, 8.6.2,
the resistance method, from memory; copper after IEC 60028:1925). Errors: covariance of the least squares under the
scatter that is left, widened where it runs on from reading to reading, and the meters' gain beside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ridesim.errors import RideError
from ridesim.jit import kernel
from ridesim.physics.heat import two_lumps
from ridesim.units import from_si
from ridesim.workshop.bench.errors import Floats
from ridesim.workshop.bench.resistance import COPPER_ZERO_C, LEAST_MOHM, REFERENCE_C
from ridesim.workshop.bench.runs import RunKey, correlated_error
from ridesim.workshop.limits import Verdict, held

MOST_ROWS = 1500
LEAST_ROWS = 20
LEAST_RISE_K = 5.0
"""A run that warms less tells nothing beside sensors that round to a degree (guess)."""
LONGEST_STEP_S = 2.0
START_K = 0.7
"""How far a lump may stand off its first reading: a sensor that rounds to a degree (guess)."""
AIR_OFF_K = 3.0
UNTOLD = 0.5
"""Relative error from which a run has not told a number: it is shown, and written nowhere (guess)."""
HARDLY_KNOWN = 3.0
"""Of a logarithm: what is known beforehand of capacities and conductances, a factor of twenty either way (guess)."""
ROUNDS = 3
OFF_A_FIT = 0.15
"""Share of the rise by which two lumps may miss a run before it counts as another motor's (guess)."""

KEYS = ("winding_heat_capacity_j_per_k", "body_heat_capacity_j_per_k", "winding_to_body_w_per_k",
        "body_to_air_still_w_per_k")  # fmt: skip
RANGES = ((1.0, 20000.0), (1.0, 50000.0), (0.01, 200.0), (0.001, 100.0))
"""As the build file's own ranges."""
WORDS = ("winding, heat capacity", "body, heat capacity", "winding to body", "body to air, as on the bench")
COLD = "resistance_mohm"


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


@dataclass(frozen=True, eq=False)
class HeatingFit:
    """Capacities and conductances with errors; `rms_k`: how far the readings stand off the two lumps."""

    keys: tuple[RunKey, ...]
    rms_k: float
    rise_k: float
    thermometers: tuple[str, ...]
    time_s: Floats
    measured_c: dict[str, Floats]
    computed_c: dict[str, Floats]
    verdict: Verdict
    reason: str


def fit_heating(run: HeatingRun) -> HeatingFit:
    """Return what a heating run and its cooling tell of the motor. Raises RideError for one that tells nothing."""
    thermometers = _thermometers(run)
    _refuse(run, thermometers)
    problem = _Problem(run, thermometers)
    theta, sigma = problem.start(), dict.fromkeys(thermometers, 1.0)
    for _ in range(ROUNDS):
        theta, slopes = problem.solve(theta, sigma)
        left = problem.left(theta)
        sigma = {name: correlated_error(values, run.temperature_error_c) for name, values in left.items()}
    _, slopes = problem.solve(theta, sigma)
    spread = np.sqrt(np.diag(np.linalg.inv(slopes.T @ slopes)))
    # Heat that all readings share a fault of moves all four alike; the resistance shows none of it.
    shares = np.hypot(spread[:4], run.gain_error)
    keys = [
        RunKey(key, words, float(np.exp(value)), float(np.exp(value) * share), bool(share < UNTOLD))
        for key, words, value, share in zip(KEYS, WORDS, theta[:4], shares, strict=True)
    ]
    if problem.by_resistance:
        cold = float(np.exp(theta[-1]))
        keys.append(RunKey(COLD, COLD_WORDS, cold, cold * float(spread[-1]), True))
    keys += by_sensor(run)
    rms = float(np.sqrt(np.mean(np.concatenate(list(left.values())) ** 2)))
    rise = _rise(problem.celsius(theta))
    sure = spread if rms < OFF_A_FIT * rise else 0.0 * spread
    _refuse_ranges(run.where, theta, sure, problem.by_resistance)
    verdict, reason = _judge(rms, rise, tuple(keys), thermometers)
    return HeatingFit(
        tuple(keys), rms, rise, thermometers, run.time_s, problem.celsius(theta), problem.computed(theta), verdict,
        reason,
    )  # fmt: skip


def by_sensor(run: HeatingRun) -> list[RunKey]:
    """Return the winding's resistance at 20 degC by voltage, current and the sensor in it, where a run has them."""
    warm = (COPPER_ZERO_C + run.winding_c) / (COPPER_ZERO_C + REFERENCE_C)
    cold = (run.line_mohm / warm)[np.isfinite(run.line_mohm) & np.isfinite(run.winding_c)]
    if len(cold) < LEAST_ROWS:
        return []
    value = float(np.median(cold))
    scatter, off = correlated_error(cold - value) / len(cold) ** 0.5, max(run.temperature_error_c, START_K)
    return [RunKey(COLD, COLD_WORDS, value, float(np.hypot(scatter, value * COPPER_PER_K * off)), True)]


COLD_WORDS, COPPER_PER_K = "resistance at 20 °C, with leads", 1.0 / (COPPER_ZERO_C + REFERENCE_C)
WINDING, BODY, LINE = "winding", "body", "winding, by its resistance"


def _thermometers(run: HeatingRun) -> tuple[str, ...]:
    found = []
    if np.isfinite(run.winding_c).sum() >= LEAST_ROWS:
        found.append(WINDING)
    elif np.isfinite(run.line_mohm).sum() >= LEAST_ROWS:
        found.append(LINE)
    return (*found, BODY) if np.isfinite(run.body_c).sum() >= LEAST_ROWS else tuple(found)


def _refuse(run: HeatingRun, thermometers: tuple[str, ...]) -> None:
    if not thermometers:
        what = f"has fewer than {LEAST_ROWS} readings of a temperature of winding or body"
        raise RideError(run.where, what, "log a sensor on the body, or in the winding")
    if not np.any(run.heat_w > 0.0) and not np.any(run.current_a != 0.0):
        raise RideError(run.where, "no current heats the motor: all currents are zero", "check the column of current")
    if np.any(run.current_a != 0.0) and run.resistance_mohm is None:
        what = "the motor's current heats it by its resistance, which is not known"
        raise RideError(run.where, what, "give --resistance-mohm, --drop or --pairs, or log voltage and current")
    rise = _rise({name: _read(run, name) for name in thermometers if name != LINE})
    if rise < LEAST_RISE_K and thermometers != (LINE,):
        what = f"no temperature rises by more than {rise:.1f} K (at least {LEAST_RISE_K:g} K)"
        raise RideError(run.where, what, "heat it for longer, or check the unit of the temperatures")


def _read(run: HeatingRun, name: str) -> Floats:
    return {WINDING: run.winding_c, BODY: run.body_c, LINE: run.line_mohm}[name]


def _rise(measured: dict[str, Floats]) -> float:
    return max((float(np.nanmax(each) - each[np.isfinite(each)][0]) for each in measured.values()), default=0.0)


@kernel
def _warm(
    steps: np.ndarray, heat: np.ndarray, squared: np.ndarray, iron: np.ndarray, air: np.ndarray, resistance: float,
    per_c_w: float, per_c_b: float, g_wb: float, g_ba: float, t_w: float, t_b: float, out: np.ndarray,
) -> None:  # fmt: skip
    """Follow both lumps: heat, current squared and air are the means from each reading to the next."""
    for i in range(out.shape[1]):
        out[0, i], out[1, i] = t_w, t_b
        if i == steps.size:
            break
        parts = max(1, int(np.ceil(steps[i] / LONGEST_STEP_S)))
        for _ in range(parts):
            warm = (COPPER_ZERO_C + t_w) / (COPPER_ZERO_C + REFERENCE_C)
            p_w = heat[i] + squared[i] * resistance * warm
            t_w, t_b = two_lumps(t_w, t_b, p_w, iron[i], per_c_w, per_c_b, g_wb, g_ba, air[i], steps[i] / parts)


class _Problem:
    """A run ready to be fitted: logarithms of the four numbers, starts of both lumps, and of the cold resistance."""

    def __init__(self, run: HeatingRun, thermometers: tuple[str, ...]) -> None:
        self.run, self.thermometers = run, thermometers
        self.by_resistance = LINE in thermometers
        self.measured = {name: _read(run, name) for name in thermometers}
        self.steps = np.diff(run.time_s)
        squares = run.current_a**2
        self.ends = [(each[:-1], each[1:]) for each in (run.heat_w, squares, run.iron_w, run.air_c)]
        self.switched = _switched(run.heat_w + squares)
        self.ohm = (run.resistance_mohm or 0.0) * float(1.0 / from_si(1.0, "mohm"))
        self.first_c = self._first()

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
        rise = max(_rise({n: v for n, v in self.measured.items() if n != LINE}) or 30.0, LEAST_RISE_K)
        guess = np.array([0.2 * energy / rise, energy / rise, 5.0 * power / rise, power / rise])
        low, high = np.array(RANGES).T
        theta = [*np.log(np.clip(guess, 2.0 * low, 0.5 * high)), 0.0, 0.0, *([0.5] * len(self.switched))]
        if self.by_resistance:
            line = self.run.line_mohm[np.isfinite(self.run.line_mohm)]
            theta.append(np.log(np.median(line[:5]) / _copper(self.first_c[0])))
        self.centre = np.array(theta)
        return self.centre

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
        out = np.empty((2, len(self.run.time_s)))
        winding, body = self.first_c[0] + theta[4], self.first_c[1] + theta[5]
        heat, squared, iron, air = self.means(theta[6 : 6 + len(self.switched)])
        _warm(self.steps, heat, squared, iron, air, self.ohm, 1.0 / c_w, 1.0 / c_b, g_wb, g_ba, winding, body,
              out)  # fmt: skip
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
            loose = (at[:4] - self.centre[:4]) / HARDLY_KNOWN
            when = (at[6 : 6 + len(self.switched)] - 0.5) / ANY_TIME
            return np.concatenate([*(left[name] / sigma[name] for name in left), loose, at[4:6] / START_K, when])

        low, high = np.log(np.array(RANGES).T)
        ends = np.full((2, len(theta) - 4), np.inf) * np.array([[-1.0], [1.0]])
        ends[:, 2 : 2 + len(self.switched)] = [[-OVER], [1.0 + OVER]]
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


def _refuse_ranges(where: str, theta: Floats, spread: Floats, by_resistance: bool) -> None:
    """Raise RideError for a number that is told, and that no motor has."""
    for key, words, (low, high), value, share in zip(KEYS, WORDS, RANGES, theta, spread, strict=False):
        if share < UNTOLD and not np.log(low) + 0.01 < value < np.log(high) - 0.01:
            unit = "J/K" if key.endswith("j_per_k") else "W/K"
            what = f"{words} comes out at {np.exp(value):.3g} {unit}, outside {low:g} to {high:g} {unit}"
            raise RideError(where, what, "check the units of time, current and voltage")
    if by_resistance and np.exp(theta[-1]) < LEAST_MOHM:
        what = f"voltage over current is {np.exp(theta[-1]):.3g} mΩ, no motor's (at least {LEAST_MOHM:g} mΩ)"
        raise RideError(where, what, "check the units of voltage and current")


def _judge(rms: float, rise: float, keys: tuple[RunKey, ...], thermometers: tuple[str, ...]) -> tuple[Verdict, str]:
    off = f"two lumps miss the temperatures by {rms:.1f} K rms of {rise:.0f} K: a loose sensor, a draught, a lost row"
    grave = held("bench_scatter", rms / rise, OFF_A_FIT, off)
    if grave[0] != "fine":
        return grave
    findings = [*_untold(keys, thermometers)]
    looked = held("bench_error", rms / rise, 0.05, off)
    if looked[0] != "fine":
        findings.append(looked)
    if findings:
        return "look again", "; ".join(words for _, words in findings)
    told = "; ".join(f"{each.words} to {each.error / each.value:.0%}" for each in keys)
    return "fine", f"met within {rms:.1f} K rms; {told}"


def _untold(keys: tuple[RunKey, ...], thermometers: tuple[str, ...]) -> Iterator[tuple[Verdict, str]]:
    wide = [each for each in keys if each.error > 0.0 and each.error / each.value > WIDE_HEAT]
    if not wide:
        return
    names = ", ".join(f"{each.words} (± {min(each.error / each.value, 9.99):.0%})" for each in wide)
    help_ = "log the winding's warmth too" if WINDING not in thermometers else "heat longer, then let it cool longer"
    worst = max(each.error / each.value for each in wide)
    yield held("bench_run_error", worst, WIDE_HEAT, f"hardly told by this run: {names}; {help_}")


WIDE_HEAT = 0.25
"""Relative error of a capacity or conductance that is worth another run (guess: estimates from the size are off by a
quarter to six tenths)."""
