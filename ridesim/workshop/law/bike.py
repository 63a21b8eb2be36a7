"""Which published class a build falls in: the facts of `law` held against a simulated run at full throttle."""

from __future__ import annotations

from dataclasses import dataclass

from ridesim.bike.load import LoadedBuild
from ridesim.bike.rough import unloaded_speed_km_h
from ridesim.errors import RideError
from ridesim.workshop.law.classes import JURISDICTIONS, LawReport, classify
from ridesim.workshop.level_run import LevelRun, run_level
from ridesim.workshop.pack.design import nominal_cell_v

POWER_GIVEN = "as you state it"
POWER_LIMITED = "controller.motor_power_limit_w"
POWER_SIMULATED = "no rated power is stated: the most at the shaft in a simulated run at full throttle"


@dataclass(frozen=True)
class BuildLaw:
    """The figures a build is judged by, where its power comes from, and the classes."""

    rated_power_w: float
    rated_power_from: str
    assist_cutoff_speed_km_h: float | None
    throttle: bool
    pedals: bool
    top_speed_km_h: float
    unloaded_speed_km_h: float
    pack_voltage_v: float
    report: LawReport


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
    box = build.controller
    with_pedals = build.rider.power_w > 0.0 if pedals is None else pedals
    throttle = box.throttle_law != "assist"
    if not (throttle or with_pedals):
        raise RideError("law", "the build assists pedalling, but its rider never pedals", "raise rider.power_w")
    power, source = _power(rated_power_w, box.motor_power_limit_w, level)
    volts = build.pack.series * nominal_cell_v(build.pack.cell.max_voltage_v)
    fastest = max(unloaded_speed_km_h(build), level.top_speed_km_h)
    report = classify(
        power,
        box.assist_speed_limit_km_h,
        throttle,
        with_pedals,
        level.top_speed_km_h,
        unloaded_speed_km_h=fastest,
        pack_voltage_v=volts,
        jurisdictions=jurisdictions,
    )
    return BuildLaw(
        power, source, box.assist_speed_limit_km_h, throttle, with_pedals, level.top_speed_km_h, fastest, volts, report
    )


def _power(given_w: float | None, limit_w: float | None, level: LevelRun) -> tuple[float, str]:
    if given_w is not None:
        return given_w, POWER_GIVEN
    if limit_w is not None:
        return limit_w, POWER_LIMITED
    return level.peak_shaft_power_w, POWER_SIMULATED
