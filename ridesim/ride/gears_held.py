"""What goes through gears and pedal chain, held against what they stand; and the motor current that keeps them whole.

A motor's controller knows neither chain nor hub: it gives what its own limits allow, and the weakest part breaks. So a
ride is not clipped at what a hub stands: it is judged, and the current limit that would have kept it is ridden and
told.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ridesim.bike.gears import USUAL_CHAIN_FORCE_N
from ridesim.engine.gears import in_gear
from ridesim.engine.state import Channel
from ridesim.ride.figures import Figures
from ridesim.ride.holding import Finding, hold
from ridesim.ride.keyed import laid_in
from ridesim.ride.limits import FINE
from ridesim.ride.running import ride_parameters, run
from ridesim.units import from_si, shown

if TYPE_CHECKING:
    from ridesim.bike.schema import Build
    from ridesim.ride.result import Ridden

SHIFTS_A_MINUTE = 6.0
"""More shifts are hunting: a rider with a lever makes fewer in town (guess)."""
STROKE_PEAK = 1.8
"""A stroke's highest torque at the crank over the mean of a turn, which a ride has: 1.70 to 1.82 at 100 to 575 W.
Source: a gear-hub maker's page (`belt.crank_stroke` of the published numbers)."""
LOADS = ("gear_torque", "chain_force", "chain_guess")
"""Limits of what goes through them, of which a lower motor current takes something off."""
STROKES = f"legs by their mean: the peak of a stroke is {STROKE_PEAK:g} times that"
CURRENT = "controller.motor_current_limit_a"
OF_THE_LEGS = "a larger ring, or gears and a chain that stand more"
OF_THE_LOAD = "less load, or gears and a chain that stand more"


def gear_findings(f: Figures, build: Build, system: str = "metric") -> list[Finding]:
    """Return how often a ride shifts and what goes through gears and chain, held against the list of limits."""
    drive, found = build.drive, []
    nm, newton = (lambda value, unit=unit: shown(value, unit, system, 0) for unit in ("nm", "n"))
    if f.moving_time_s > 0.0 and len(drive.gears.ratios) > 1:
        through = 2 * (len(drive.gears.ratios) - 1)  # once up and down through the gears is no hunting, however short
        often = max(f.gear_shifts - through, 0) / from_si(f.moving_time_s, "min")
        said = f"It shifts {f.gear_shifts} times"
        beyond = f"{often:.1f} a minute beyond once up and down through its gears"
        found.append(hold("shifting", often, SHIFTS_A_MINUTE, f"{said}, {beyond}: to and fro, by the motor's speed.",
                          calm=f"{said}."))  # fmt: skip
    if f.peak_gear_torque_nm is not None and drive.gears.input_torque_limit_nm is not None:
        stands = drive.gears.input_torque_limit_nm
        said = f"Up to {nm(f.peak_gear_torque_nm)} go into the gears; they stand {nm(stands)}"
        strokes = f" ({STROKES})" if drive.through_pedal_chain else ""
        found.append(hold("gear_torque", f.peak_gear_torque_nm, stands, f"{said}{strokes}.", calm=f"{said}."))
    if f.peak_chain_force_n is not None:
        limit = drive.chain_force_limit_n
        said = f"Legs and motor together pull the chain with up to {newton(f.peak_chain_force_n)}"
        if limit is None:
            said += f", more than the {newton(USUAL_CHAIN_FORCE_N)} that a strong rider does"
            found.append(hold("chain_guess", f.peak_chain_force_n, USUAL_CHAIN_FORCE_N, f"{said}."))
        else:
            said += f"; it stands {newton(limit)}"
            found.append(hold("chain_force", f.peak_chain_force_n, limit, f"{said} ({STROKES}).", calm=f"{said}."))
    return found


@dataclass(frozen=True)
class GearSetting:
    """The highest whole motor current limit that keeps gears and chain inside what they stand, as it was ridden.

    `motor_current_limit_a`: None where no current does, since the legs alone are too much. `gear`: the one (from 1) in
    which most went through as the bike stands (0: it has one ratio), `at_km` where. The rest is of the ride with that
    limit. `chance_too_much`: the share of bikes like it in which it is still too much, where they were ridden (`sure`);
    `sure_limit_a`: a limit at which that is one in twenty at most, and whether the bike as it stands arrives with it.
    """

    motor_current_limit_a: float | None
    present_limit_a: float
    gear: int
    at_km: float
    peak_gear_torque_nm: float
    peak_chain_force_n: float | None
    arrives: bool
    stop_reason: str
    total_time_s: float
    later_s: float
    chance_too_much: float | None = None
    sure_limit_a: float | None = None
    sure_arrives: bool | None = None

    def words(self, system: str = "metric") -> str:
        """Say it in the units a person asked for."""
        gear = f" in gear {self.gear}" if self.gear else ""
        most = f"Most goes through gears and chain{gear} at {shown(self.at_km, 'km', system)}"
        if self.motor_current_limit_a is None:
            return f"{most}. No motor current is low enough: the legs alone are too much. What helps: {OF_THE_LEGS}."
        through = shown(self.peak_gear_torque_nm, "nm", system, 0)
        if self.peak_chain_force_n is not None:
            through += f" and {shown(self.peak_chain_force_n, 'n', system, 0)} on the chain"
        kept = f"{CURRENT} = {self.motor_current_limit_a:g} ({self.present_limit_a:g} now) keeps it to {through}"
        if not self.arrives:
            return f"{most}. {kept}, but so it does not arrive ({self.stop_reason}). What helps: {OF_THE_LOAD}."
        return f"{most}. {kept}: ridden so it arrives, {self.later_s:.0f} s later.{self._sure()}"

    def _sure(self) -> str:
        if not self.chance_too_much:
            return ""
        said = f" In {self.chance_too_much:.0%} of bikes like it that is still too much"
        if self.sure_limit_a is None:
            return f"{said}, and no lower limit is sure."
        short = "" if self.sure_arrives else ", but with it this one does not arrive"
        return f"{said}; with {self.sure_limit_a:g} A it is in one of twenty at most{short}."


def gear_setting_of(ride: Ridden) -> GearSetting | None:
    """Ride on with lower motor currents until gears and chain are whole; None where they are: rides up to nine times.

    A bike of two different drives has a current for each: it is told nothing here.
    """
    if ride.build.second is not None or not overloads(ride.figures, ride.build):
        return None
    over, now = overloads(ride.figures, ride.build), ride.build.controller.motor_current_limit_a
    share = min(each.limit / each.figure for each in over if each.limit and each.figure)
    low, high, kept = 0, math.ceil(now), None
    tried = max(math.floor(now * share), 1)
    while low < tried < high:
        trial = with_current(ride, float(tried))
        if any(each.limit and each.figure and each.figure > each.limit for each in _loads(trial.figures, trial.build)):
            high = tried
        else:
            low, kept = tried, trial
        tried = (low + high) // 2
    gear, at_km = _where(ride)
    told = kept or ride
    f = told.figures
    return GearSetting(
        float(low) if kept else None, now, gear, at_km, f.peak_gear_torque_nm or 0.0, f.peak_chain_force_n, f.finished,
        f.stop_reason, f.total_time_s, f.total_time_s - ride.figures.total_time_s,
    )  # fmt: skip


def _loads(f: Figures, build: Build, system: str = "metric") -> list[Finding]:
    return [each for each in gear_findings(f, build, system) if each.name in LOADS]


def overloads(f: Figures, build: Build, system: str = "metric") -> list[Finding]:
    """Return what goes through gears and chain of which the judge finds it too much for them."""
    return [each for each in _loads(f, build, system) if each.verdict != FINE]


def with_current(ride: Ridden, limit_a: float) -> Ridden:
    """Ride with another limit, unchecked: one that hardly turns the wheel is ridden too, and does not arrive."""
    loaded = replace(ride.loaded, build=laid_in(ride.build, {CURRENT: limit_a}))
    params = ride_parameters(loaded.build, ride.options)
    raw = run(params, ride.arrays, ride.start, ride.options, trace=False)
    return replace(ride, loaded=loaded, params=params, raw=raw)


def _where(ride: Ridden) -> tuple[int, float]:
    """Return the gear (from 1) and the place [km] at which most goes through the gears, from a trace."""
    rows = ride.raw.trace if len(ride.raw.trace) else run(
        ride.params, ride.arrays, ride.start, ride.options, trace=True).trace  # fmt: skip
    gears = np.maximum(rows[:, Channel.GEAR].astype(int), 1)
    per_force = np.array([in_gear(ride.params, at).input_per_force for at in range(ride.params.gears)])
    force = rows[:, Channel.MOTOR_FORCE] + (rows[:, Channel.PEDAL_FORCE] if ride.params.through_chain else 0.0)
    most = int(np.argmax(force * per_force[gears - 1]))
    return int(gears[most]) if ride.params.gears > 1 else 0, from_si(float(rows[most, Channel.DISTANCE]), "km")
