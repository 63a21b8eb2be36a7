"""What recordings say of a bike, as functions: files by name, each answer as its command shows it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.learn.beside import read_ride
from ridesim.learn.build_fit import BuildFit, fit_build
from ridesim.learn.cell_files import CellAnswer, fit_cell_files
from ridesim.learn.coastdown import CoastFit, fit_coastdown, load_coast_run
from ridesim.learn.driven import By
from ridesim.learn.menu import with_menu
from ridesim.learn.one_drive import one_drive
from ridesim.learn.pedal_fit import ASSUMED_MASS_KG, CHAIN_EFFICIENCY, LogFit, fit_log
from ridesim.learn.priors import GAIN_SHARE
from ridesim.learn.replay import Replay
from ridesim.learn.replay import replay as replayed
from ridesim.learn.ride_log import pedal_log
from ridesim.ride.judge import FINE, LOOK_AGAIN
from ridesim.ride.simulate import as_loaded

Bike = str | Path | Build | LoadedBuild
File = str | Path

ASSUMED = "--mass is not given: rider and bike are taken as {:g} kg, and every drag goes up and down with it"

COASTED = "--mass is not given: rider and bike are taken as {:g} kg, and the drag area goes up and down with it"
"""Coasting tells decelerations: the rolling coefficient stays as it is under any mass, the drag area goes with it."""


def replay(
    build: Bike, log: File, *, road: File | None = None, mapping: File | None = None, by: By | None = None,
    drive: int | None = None,
) -> Replay:  # fmt: skip
    """Drive a bike's model by a log, beside what the log measured; `road`: a GPX of the same ride.

    by: current, throttle or speed; None: the current where one is logged, else the throttle. `drive`: of two different
    ones, 1 or 2, whose controller wrote the log, the other one switched off. Raises RidesimError.
    """
    return replayed(read_ride(log, mapping, road), one_drive(as_loaded(build), drive, "`ridesim replay`"), by)


def fit(
    build: Bike, log: File, *, road: File | None = None, mapping: File | None = None, only: Iterable[str] = (),
    gain_share: float = GAIN_SHARE, drive: int | None = None,
) -> BuildFit:  # fmt: skip
    """Fit a bike to the log of a ride on it, with the rides that would tell more. Raises RidesimError.

    `only`: keys to fit alone; `gain_share`: how far the current sensors' gain is off; `drive`: as for `replay`.
    """
    read, loaded = read_ride(log, mapping, road), one_drive(as_loaded(build), drive, "`ridesim fit`")
    return with_menu(fit_build(read, loaded, asked=tuple(only), gain_share=gain_share))


def fit_pedals(
    log: File, *, road: File | None = None, mapping: File | None = None, mass_kg: float | None = None,
    chain_efficiency: float = CHAIN_EFFICIENCY,
) -> LogFit:  # fmt: skip
    """Fit drags and wind to a log with pedal power; mass is rider and bike. Raises LogError."""
    ride = log if mapping is None and road is None else pedal_log(read_ride(log, mapping, road))
    mass, assumed = assumed_mass(mass_kg)
    found = fit_log(ride, mass_kg=mass, chain_efficiency=chain_efficiency)
    return replace(found, notes=(*assumed, *found.notes))


def coastdown(
    there: Sequence[File], back: Sequence[File] = (), *, mass_kg: float | None = None, temperature_c: float = 15.0,
    altitude_m: float = 0.0, grade_percent: float = 0.0, headwind_m_per_s: float = 0.0,
) -> CoastFit:  # fmt: skip
    """Fit air and rolling drag to runs of coasting one way, and back where there are any. Raises LogError."""
    mass, _ = assumed_mass(mass_kg)
    found = fit_coastdown(
        [load_coast_run(path) for path in there], [load_coast_run(path) for path in back], mass_kg=mass,
        temperature_c=temperature_c, altitude_m=altitude_m, grade_percent=grade_percent,
        headwind_m_per_s=headwind_m_per_s,
    )  # fmt: skip
    if mass_kg is not None:
        return found
    found = replace(found, notes=(COASTED.format(mass), *found.notes))
    if found.verdict != FINE:
        return found
    reason = f"{found.reason}, if rider and bike are the {mass:g} kg that nobody gave: give --mass"
    return replace(found, verdict=LOOK_AGAIN, reason=reason)


def cell(rested: File, runs: Sequence[str], capacity_ah: float | None = None) -> CellAnswer:
    """Fit a cell's circuit to its rested voltages and runs; a run is FILE or FILE@CHARGE. Raises LogError."""
    return fit_cell_files(str(rested), runs, capacity_ah)


def assumed_mass(mass_kg: float | None) -> tuple[float, tuple[str, ...]]:
    """Return the mass of rider and bike [kg], and the note that belongs to an assumed one."""
    return (ASSUMED_MASS_KG, (ASSUMED.format(ASSUMED_MASS_KG),)) if mass_kg is None else (mass_kg, ())
