"""The model driven by a log's current, throttle or speed: where they part, by how much, and why that may be."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.engine.gearing import wheel_radius
from ridesim.engine.params import current_scale, parameters
from ridesim.engine.state import Parameters
from ridesim.errors import LogError
from ridesim.learn.balance import (
    LEAST_WINDOW_S,
    WINDOW_S,
    Air,
    Way,
    asked_power,
    best_lag,
    braked_while_driving,
    free_of_brakes,
    motor_power,
    pedal_power,
    pedalling_known,
    way_of,
    window_means,
    windows,
)
from ridesim.learn.causes import causes_of
from ridesim.learn.channels import BY_NAME, Compared, compared
from ridesim.learn.driven import By, Driven, driven_by, driver_of, has_current
from ridesim.learn.follow import Followed, follow
from ridesim.learn.log import Log
from ridesim.learn.ride_along import refuse_law, ride_along
from ridesim.learn.start import start_of
from ridesim.ride.judge import FINE, LOOK_AGAIN, Finding, Word, hold, worst
from ridesim.units import from_si

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Parting:
    """How far one channel's computed values are from the measured: means over its windows."""

    name: str
    words: str
    unit: str
    measured_mean: float
    computed_mean: float
    bias: float
    rms: float
    largest: float
    largest_at_s: float
    causes: tuple[str, ...]
    verdict: Word


@dataclass(frozen=True, eq=False)
class Balance:
    """The road's balance, one value a window of half a minute (m,) [W at the wheel]: what the motor and the rider of
    the build give, and what road and air ask."""

    time_s: Array
    given_w: Array
    asked_w: Array
    lag_s: float
    heading: bool


@dataclass(frozen=True, eq=False, repr=False)
class Replay(Answer):
    """A log beside its model."""

    path: str
    build: str
    span_s: float
    distance_km: float
    driven: Driven
    followed: Followed
    channels: tuple[Compared, ...]
    partings: tuple[Parting, ...]
    balance: Balance | None
    general: tuple[str, ...]
    road: Finding | None
    notes: tuple[str, ...]

    @property
    def balanced(self) -> Finding | None:
        """What the road asks held against what motor and rider of the build give; None where no altitude tells it."""
        return None if self.balance is None else balanced(self.balance)

    @property
    def verdict(self) -> Word:
        """The gravest of the channels', and of the road's; where nothing is measured nothing is known."""
        if not self.partings:
            return LOOK_AGAIN
        roads = [each.verdict for each in (self.road, self.balanced) if each is not None]
        return worst([*(each.verdict for each in self.partings), *roads])


def replay(log: Log, loaded: LoadedBuild, by: By | None = None) -> Replay:
    """Return a log beside the model that it drives. Raises LogError for a log that cannot.

    by: `current` (with the logged speed), `throttle` or `speed` (both ride the log's road by themselves); None takes
    the current where one is logged, else the throttle.
    """
    build = loaded.build
    if by is None:
        by = driver_of(log)
        if by == "current" and not has_current(log.columns):
            what = f"has no motor current, pack current or throttle (it has {', '.join(log.columns)})"
            raise LogError(
                log.path, what, "map a column to one: ridesim log LOG --mapping-only; or replay it --by speed"
            )
    driven = driven_by(log, build, by)
    if by == "throttle":
        refuse_law(log.path, build)
    params = parameters(build)
    followed = followed_by(loaded, driven, params)
    channels = compared(build, driven, followed)
    balance, way = _balance(loaded, driven, params, followed)
    if driven.by == "speed":  # the model gives what its own road asks: no balance of the log's
        balance = None
    apart = tuple(_parting(each, loaded, driven, followed) for each in channels)
    partings = first_causes(driven.by, apart, level=way is None)
    road = None if way is None else other_road(build, params, driven, followed, way)
    general = tuple(_general(loaded, driven, balance, way))
    if road is not None and road.verdict != FINE:
        general = (*general, f"{road.reason}.")
    distance = float(np.sum(driven.speed) * driven.step_s)
    return Replay(
        log.path, loaded.path, driven.count * driven.step_s, from_si(distance, "km"), driven, followed, channels,
        partings, balance, general, road, (*log.notes, *driven.notes, *_of_the_road(driven, way)),
    )  # fmt: skip


def followed_by(loaded: LoadedBuild, driven: Driven, params: Parameters) -> Followed:
    """Return what the model does under a log's driver; along its road the altitude is taken at its best lag."""
    start = start_of(loaded, driven)
    if driven.by == "current":
        return follow(params, driven, start)
    way = way_of(driven)
    followed = ride_along(loaded.build, params, driven, way, start)
    if way is None:
        return followed
    lag = best_lag(driven, loaded.build, params, followed)
    return ride_along(loaded.build, params, driven, way_of(driven, lag), start) if lag else followed


def first_causes(by: By, partings: tuple[Parting, ...], *, level: bool = False) -> tuple[Parting, ...]:
    """Return the partings of a model that rides by itself, what merely follows marked as such.

    Where motor current or speed part, all that flows and warms behind them parts too, and says nothing of its own. On a
    road that is taken as level (`level`) these two say nothing of the bike either. By speed alone, where
    no motor current is logged, the pack's leads in its place.
    """
    alone = by == "speed" and not any(each.name == "motor_current_a" for each in partings)
    leading = (*LEADS, "pack_current_a") if alone else LEADS
    if by != "current" and level:
        partings = tuple(_unless_level(each) if each.name in leading else each for each in partings)
    leads = {each.name for each in partings if each.name in leading and each.verdict != FINE}
    if by == "current" or not leads:
        return partings
    words = " and ".join(BY_NAME[name].words.partition(" (")[0] for name in leading if name in leads)
    cause = f"it follows from {words}, which part; `--by current` looks at the parts by themselves"
    return tuple(
        each
        if each.verdict == FINE or each.name in (*OWN, *leads)
        else replace(each, verdict=LOOK_AGAIN, causes=(cause,))
        for each in partings
    )


def _unless_level(each: Parting) -> Parting:
    if each.verdict == FINE:
        return each
    cause = "the road is taken as level, and each hill parts it: give the ride's altitude (--road FILE.gpx)"
    return replace(each, verdict=LOOK_AGAIN, causes=(cause, *each.causes))


LEADS = ("motor_current_a", "speed_km_h")
OWN = (*LEADS, "road_speed_km_h")


def _of_the_road(driven: Driven, way: Way | None) -> list[str]:
    """Say what a model that rides by itself was not told of its road."""
    if driven.by == "current":
        return []
    if way is None:
        return ["no altitude is logged: the road is taken as level; a GPX of the ride tells it (--road)"]
    return [] if way.heading else ["no places are logged: no wind is taken, since nothing tells the heading"]


MOST_BRAKED = 0.25


def other_road(build: Build, params: Parameters, driven: Driven, followed: Followed, way: Way) -> Finding:
    """Judge whether a log's altitude is of the road that the bike rode: else it would brake against its motor."""
    motor = motor_power(params, driven, followed, way.per_second)
    given = motor + pedal_power(build, way, build.rider.power_w, motor)
    share = braked_while_driving(params, way, given, motor)
    words = (
        f"For {share:.0%} of the time that the motor drives, the road takes far less than it gives: its altitude is of "
        "another road, or the bike is far heavier than stated"
    )
    return hold("log_braked", None if math.isnan(share) else share, MOST_BRAKED, words)


def parted_word(rms: float, fine: float, strange: float) -> Word:
    """Judge a channel by its windows' rms: worth a look beyond what is fine, not this bike beyond what is strange."""
    return worst((hold("log_parts", rms, fine).verdict, hold("log_strange", rms, strange).verdict))


def _parting(each: Compared, loaded: LoadedBuild, driven: Driven, followed: Followed) -> Parting:
    channel = each.channel
    per = max(1, round(channel.window_s / driven.step_s))
    count = len(each.measured) // per * per
    known = np.isfinite(each.measured[:count]).reshape(-1, per)
    total = np.where(known, each.difference[:count].reshape(-1, per), 0.0).sum(axis=1)
    means = (total / np.maximum(known.sum(axis=1), 1))[known.mean(axis=1) >= 0.5]
    at = np.flatnonzero(known.mean(axis=1) >= 0.5)
    seen = np.isfinite(each.measured)
    measured, computed = float(np.mean(each.measured[seen])), float(np.mean(each.computed[seen]))
    rms = float(np.sqrt(np.mean(means**2))) if means.size else 0.0
    place = int(np.argmax(np.abs(means))) if means.size else 0
    size = float(np.sqrt(np.mean(each.measured[seen] ** 2)))
    share = FINE_SHARE if driven.by == "current" else RIDDEN_SHARE
    fine = max(FINE_TIMES * channel.error, share * size if not channel.name.endswith("_c") else FINE_K)
    strange = channel.strange + channel.strange_share * size
    verdict = parted_word(rms, fine, strange)
    causes = tuple(causes_of(each, loaded, driven, followed)) if verdict != FINE else ()
    return Parting(
        channel.name, channel.words, channel.unit, measured, computed, float(np.mean(means)) if means.size else 0.0,
        rms, float(means[place]) if means.size else 0.0, float(at[place] * per * driven.step_s) if means.size else 0.0,
        causes, verdict,
    )  # fmt: skip


FINE_TIMES, FINE_SHARE, RIDDEN_SHARE, FINE_K = 3.0, 0.02, 0.05, 4.0
"""A channel within so many stated errors, this share of its size (the second where the model rides by itself: an
altitude in steps of 0.2 m hides 0.3 % of slope), or so many kelvin is fine (guesses)."""


def _balance(
    loaded: LoadedBuild, driven: Driven, params: Parameters, followed: Followed
) -> tuple[Balance | None, Way | None]:
    lag = best_lag(driven, loaded.build, params, followed)
    way = way_of(driven, lag)
    if way is None:
        return None, None
    motor, power = motor_power(params, driven, followed, way.per_second), loaded.build.rider.power_w
    given = motor + pedal_power(loaded.build, way, power, motor)
    asked = asked_power(params, way, Air())
    of, seconds = windows(free_of_brakes(way, params, given, asked) & pedalling_known(way, power, motor), way.step_s)
    full = seconds >= LEAST_WINDOW_S
    middle = ((np.flatnonzero(full) + 0.5) * WINDOW_S).astype(np.float64)
    if full.sum() < 4:
        return None, way
    return Balance(
        middle, window_means(given, of, seconds)[full], window_means(asked, of, seconds)[full], lag, way.heading
    ), way


def _general(loaded: LoadedBuild, driven: Driven, balance: Balance | None, way: Way | None) -> list[str]:
    """Return what the whole log says: limits that hold, pole pairs, and the road's balance."""
    found = [*_limits(loaded, driven), *_ratio(loaded, driven)]
    if balance is not None:
        found += _balance_words(balance, loaded, way)
    return found


def _limits(loaded: LoadedBuild, driven: Driven) -> list[str]:
    """A current that stands at its top is a limit; one that the build does not have is told."""
    box, scale = loaded.build.controller, current_scale(loaded.build)
    found = []
    for words, values, limit, key in (
        ("motor current", driven.current / scale, box.motor_current_limit_a, "controller.motor_current_limit_a"),
        ("pack current", driven.pack_current, box.pack_current_limit_a, "controller.pack_current_limit_a"),
    ):
        known = values[np.isfinite(values)]
        if known.size < 100:
            continue
        top = float(np.quantile(known, 0.999))
        near = float((known > NEAR_TOP * top).mean())
        top = float(np.median(known[known > NEAR_TOP * top]))
        if near > LIMIT_SHARE and abs(top / limit - 1.0) > LIMIT_OFF and top > 5.0:
            found.append(
                f"The {words} stands at {top:.0f} A for {near:.0%} of the time; the build has {limit:g} A ({key})."
            )
        elif top > limit * (1.0 + LIMIT_OFF):
            found.append(f"The {words} reaches {top:.0f} A, past the build's limit of {limit:g} A ({key}).")
    return found


LIMIT_SHARE, LIMIT_OFF, NEAR_TOP = 0.03, 0.05, 0.985


def _ratio(loaded: LoadedBuild, driven: Driven) -> list[str]:
    """Say where road speed and motor speed do not go together as the build has it."""
    from ridesim.learn.channels import motion_ratio

    seen = motion_ratio(driven)
    build = loaded.build
    stated = wheel_radius(build) / build.drive.turns
    if not math.isfinite(seen) or abs(seen / stated - 1.0) < RATIO_OFF:
        return []
    pairs = build.motor.pole_pairs * stated / seen
    words = f"The bike goes {seen / stated - 1.0:+.1%} of the speed that motor speed, ratio and wheel of the build give"
    if driven.speed_by == "electrical speed" and abs(pairs - round(pairs)) < 0.12 and round(pairs) >= 1:
        return [f"{words}: {round(pairs)} pole pairs would fit (the build has {build.motor.pole_pairs})."]
    return [f"{words}: another wheel ({build.tyre.circumference_mm * seen / stated:.0f} mm would fit) or other teeth."]


RATIO_OFF = 0.015


UNBALANCED_SHARE, UNBALANCED_W, SURE_ERRORS = 0.25, 40.0, 3.0
"""A road is out of balance where its mean misses by more than this share of what it asks, by more than this power (a
rider's word for his own, or a light wind: 20 to 30 W), and by more than so many errors of that mean (guesses)."""


def balanced(balance: Balance) -> Finding:
    """Hold by how much more or less than it asks the road of a log is given."""
    missing = balance.asked_w - balance.given_w
    mean, asked = float(np.mean(missing)), float(np.mean(np.abs(balance.asked_w)))
    error = float(np.std(missing)) / math.sqrt(len(missing))
    most = max(UNBALANCED_SHARE * asked, UNBALANCED_W, SURE_ERRORS * error)
    than = "less" if mean > 0.0 else "more"
    words = f"the road took {abs(mean):.0f} W {than} than drags, mass and rider of the build say"
    return hold("log_balance", abs(mean), most, words)


def _balance_words(balance: Balance, loaded: LoadedBuild, way: Way | None) -> list[str]:
    missing = balance.asked_w - balance.given_w
    mean, spread = float(np.mean(missing)), float(np.std(missing))
    asked = float(np.mean(np.abs(balance.asked_w)))
    words = [
        f"On the road motor and rider of the build give {np.mean(balance.given_w):.0f} W at the wheel where "
        f"{np.mean(balance.asked_w):.0f} W are asked; half minutes scatter by {spread:.0f} W."
    ]
    if balance.lag_s:
        words.append(f"The altitude is read {balance.lag_s:+.0f} s off: the balance closes best so.")
    error = spread / math.sqrt(len(missing)) * 2.0
    if abs(mean) > max(0.07 * asked, 10.0, 2.0 * error):
        if mean > 0.0:
            words.append("The road asks for more than is given: he pedals harder than stated, the wind helps, or "
                         "the build's drags are too large.")  # fmt: skip
        else:
            words.append("More is given than the road asks: a head wind, a brake that drags, a soft tyre, a load, or "
                         "the rider pedals less than stated.")  # fmt: skip
    third = len(missing) // 3
    if third >= 6:
        early, late = missing[:third], missing[-third:]
        change = float(late.mean() - early.mean())
        noise = math.hypot(early.std(), late.std()) / math.sqrt(third)
        if change < -max(3.0 * noise, 0.1 * asked):
            words.append(f"It takes {-change:.0f} W more in the last third than in the first: a tyre that loses air, "
                         "wind that got up, or a tired rider.")  # fmt: skip
    if balance.heading and way is not None:
        words += _wind_words(balance, missing, way)
    return words


def _wind_words(balance: Balance, missing: Array, way: Way) -> list[str]:
    """Say where what is missing goes with the heading, as a wind's does."""
    at = np.clip((balance.time_s / way.step_s).astype(int), 0, len(way.east) - 1)
    x = np.column_stack([np.ones(len(at)), way.east[at], way.north[at]])
    if len(at) < 12 or np.linalg.matrix_rank(x) < 3:
        return []
    fit, *_ = np.linalg.lstsq(x, missing, rcond=None)
    left = missing - x @ fit
    gained = 1.0 - float(left @ left) / max(float((missing - missing.mean()) @ (missing - missing.mean())), 1e-9)
    if gained < 0.25:
        return []
    from_deg = math.degrees(math.atan2(-fit[1], -fit[2])) % 360.0
    return [f"What is missing turns with the heading: a wind from about {from_deg:.0f}° ({gained:.0%} of the scatter)."]
