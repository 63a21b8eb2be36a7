"""Which published class a build falls in: the facts of `law` held against a simulated run at full throttle."""

from __future__ import annotations

from dataclasses import dataclass

from ridesim.answers import Answer
from ridesim.bike.load import LoadedBuild
from ridesim.bike.rough import unloaded_speed_km_h
from ridesim.bike.schema import Build
from ridesim.bike.second import drives_of
from ridesim.errors import RideError
from ridesim.workshop.law.classes import JURISDICTIONS, LawReport, classify
from ridesim.workshop.level_run import LevelRun, run_level
from ridesim.workshop.limits import Verdict, held, worst_verdict
from ridesim.workshop.pack.design import ROUNDING, nominal_cell_v

POWER_GIVEN = "as you state it"
POWER_LIMITED = "controller.motor_power_limit_w"
POWER_SIMULATED = "no rated power is stated: the most at the shaft in a simulated run at full throttle"
PEAK_OVER_RATED = 3.0
"""Peak at the shaft over the stated continuous power beyond which nobody will believe the statement: pedelecs of 250 W
give some 500 to 750 W for a while (common practice, no source)."""
DESCENTS = (
    "Speeds are those to which the motor drives, on the level or while it still can help; how fast the bike rolls down "
    "a hill is no speed of these rules."
)


@dataclass(frozen=True, eq=False, repr=False)
class BuildLaw(Answer):
    """The figures a build is judged by, where its power comes from, and the classes.

    `own_run_peak_w`: the most at the shaft of a run at full throttle on the level; `power_reason` holds it against the
    rated power. `verdict` is never better than the classes' nor than the power's.
    """

    rated_power_w: float
    rated_power_from: str
    own_run_peak_w: float
    power_verdict: Verdict
    power_reason: str
    assist_cutoff_speed_km_h: float | None
    throttle: bool
    pedals: bool
    top_speed_km_h: float
    unloaded_speed_km_h: float
    pack_voltage_v: float
    report: LawReport
    verdict: Verdict
    reason: str
    build_name: str = ""


def classify_build(
    loaded: LoadedBuild,
    *,
    rated_power_w: float | None = None,
    pedals: bool | None = None,
    jurisdictions: tuple[str, ...] = JURISDICTIONS,
    run: LevelRun | None = None,
) -> BuildLaw:
    """Hold a build against the published classes. Raises RidesimError. Sources: `law`.

    `rated_power_w`: the continuous rated power that somebody answers for; None takes the controller's power limit, or
    the most that the simulated run gives. `pedals` None: as the build's rider pedals. No legal advice.
    """
    build = loaded.build
    level = run or run_level(loaded)
    box, cut_off = build.controller, _cut_off_km_h(build)
    with_pedals = build.rider.power_w > 0.0 if pedals is None else pedals
    throttle = box.throttle_law != "assist"
    if not (throttle or with_pedals):
        raise RideError("law", "the build assists pedalling, but its rider never pedals", "raise rider.power_w")
    power, source = _power(rated_power_w, _power_limit_w(build), level)
    volts = build.pack.series * nominal_cell_v(build.pack.cell.max_voltage_v)
    fastest = max(*(unloaded_speed_km_h(each) for each in drives_of(build)), level.top_speed_km_h)
    report = classify(
        power,
        cut_off,
        throttle,
        with_pedals,
        level.top_speed_km_h,
        unloaded_speed_km_h=fastest,
        pack_voltage_v=volts,
        jurisdictions=jurisdictions,
    )
    power_verdict, power_reason = judge_stated_power(power, level.peak_shaft_power_w)
    if source == POWER_SIMULATED:
        power_reason = f"no rated power is stated, so the most of its own run counts, {power:.0f} W"
    words = [(report.verdict, report.reason), (power_verdict, power_reason)]
    verdict, reason = worst_verdict(words, report.reason)
    return BuildLaw(
        power, source, level.peak_shaft_power_w, power_verdict, power_reason, cut_off, throttle,
        with_pedals, level.top_speed_km_h, fastest, volts, report, verdict, reason, build.name,
    )  # fmt: skip


def _power_limit_w(build: Build) -> float | None:
    """Return the most that all controllers together let onto the shafts [W]; None where one lets any."""
    limits = [each.controller.motor_power_limit_w for each in drives_of(build)]
    stated = [limit for limit in limits if limit is not None]
    return sum(stated) if len(stated) == len(limits) else None


def _cut_off_km_h(build: Build) -> float | None:
    """Return the speed above which no motor helps [km/h]; None where one goes on."""
    limits = [each.controller.assist_speed_limit_km_h for each in drives_of(build)]
    stated = [limit for limit in limits if limit is not None]
    return max(stated) if len(stated) == len(limits) else None


def judge_stated_power(rated_w: float, peak_w: float) -> tuple[Verdict, str]:
    """Hold a stated continuous power [W] against the most that the build's own run gives. Limit: PEAK_OVER_RATED."""
    if peak_w <= rated_w * (1.0 + ROUNDING):
        return "fine", f"its own run at full throttle gives {peak_w:.0f} W at most, {rated_w:.0f} W are taken as rated"
    words = f"{rated_w:.0f} W are taken as rated, its own run at full throttle gives {peak_w:.0f} W at the shaft"
    cure = "limit it (controller.motor_power_limit_w), or be ready to prove the continuous rating"
    passed = held(
        "stated_power", peak_w, PEAK_OVER_RATED * rated_w, f"{words}, {peak_w / rated_w:.1f} times as much: {cure}"
    )
    return passed if passed[0] != "fine" else ("fine", f"{words}: a peak may pass a continuous rating")


def _power(given_w: float | None, limit_w: float | None, level: LevelRun) -> tuple[float, str]:
    if given_w is not None:
        return given_w, POWER_GIVEN
    if limit_w is not None:
        return limit_w, POWER_LIMITED
    return level.peak_shaft_power_w, POWER_SIMULATED
