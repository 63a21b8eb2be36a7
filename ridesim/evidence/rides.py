"""Recorded rides with measured power: every other five minutes predicted from those between, and ridden again."""

from __future__ import annotations

from pathlib import Path

from ridesim.errors import LogError
from ridesim.evidence.checks import Check, Subject, absent, data_folder
from ridesim.evidence.store import Kind
from ridesim.learn.pedal_fit import ASSUMED_MASS_KG, LogFit, fit_log
from ridesim.learn.pedal_replay import replay_log
from ridesim.learn.ride_log import load_ride_log
from ridesim.units import from_si

MASSES_KG = {"ride-d": 90.0, "ride-e": 67.0}
"""Rider and bike where the recording's page tells them; others are assumed."""
SOURCES = {
    "ride-a": "recorded ride (scikit-cycling, BSD-3)", "ride-b": "recorded ride (scikit-cycling, BSD-3)",
    "ride-c": "recorded ride (python-fitparse, MIT)", "ride-d": "recorded ride (sweat 0.25, MIT)",
    "ride-e": "recorded ride (fit-parser, MIT)",
}  # fmt: skip
WORK_PERCENT, CORRELATION, TIME_PERCENT = 5.0, 0.85, 5.0


def run() -> tuple[list[Check], list[str]]:
    """Return the checks on every ride that is found."""
    folder = data_folder()
    places = [] if folder is None else sorted((folder / "rides").glob("*.csv"))
    if not places:
        return [], [absent("recorded rides with measured power")]
    checks: list[Check] = []
    words: list[str] = []
    for place in places:
        try:
            checks += ride_checks(place)
        except LogError as error:
            words.append(str(error))
    return checks, words


def ride_checks(place: Path) -> list[Check]:
    """Return the checks on one ride. Raises LogError."""
    name = place.stem
    mass = MASSES_KG.get(name, ASSUMED_MASS_KG)
    source = SOURCES.get(name, "recorded ride")
    log = load_ride_log(place)
    fit = fit_log(log, mass_kg=mass)
    again = replay_log(log, fit=fit)
    note = _note(fit, mass, name in MASSES_KG)
    covered = f"{from_si(again.recorded_s, 'min'):.0f} min without braking in the blocks that were not fitted"
    if again.stuck_s > 0.0:
        covered += f"; on {from_si(again.stuck_s, 'min'):.1f} min more the simulator got stuck"
    return [
        Check(f"{name}: work of the blocks between", fit.skill.work_error_percent, 0.0, "%", WORK_PERCENT, source,
              Kind.MEASURED, note=note),
        Check(f"{name}: correlation of their 60 s means", fit.skill.correlation, CORRELATION, "", 0.0, source,
              Kind.MEASURED, "at least", f"scatter {fit.skill.deviation_w:.0f} W, {fit.skill.means} means"),
        Check(f"{name}: whole simulator, time under the measured power", again.time_error_percent, 0.0, "%",
              TIME_PERCENT, source, Kind.MEASURED, note=covered),
    ]  # fmt: skip


def _note(fit: LogFit, mass: float, told: bool) -> str:
    left = from_si(fit.left_out_s / fit.riding_s, "percent")
    words = f"{mass:g} kg {'as told' if told else 'assumed'}; CdA {fit.load.drag_area_m2:.2f} m², "
    words += f"Crr {fit.load.rolling_resistance:.4f}; parts swapped {fit.skill_swapped.work_error_percent:+.1f} %"
    words += f" and {fit.skill_swapped.correlation:.2f}"
    return words + (f"; {left:.0f} % left out after silences" if left > 5.0 else "")


SUBJECT = Subject("rides", "Recorded rides with measured power", run)
