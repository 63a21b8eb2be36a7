"""The figures of what recordings say of a bike as plain values, for JSON, tables and Python."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from ridesim.units import from_si

if TYPE_CHECKING:
    from ridesim.learn.build_fit import BuildFit
    from ridesim.learn.coastdown import CoastFit
    from ridesim.learn.pedal_fit import LogFit, Skill
    from ridesim.learn.road_load import RoadLoad


def build_fit_figures(result: BuildFit) -> dict[str, Any]:
    """Return a fit of a build as plain values."""
    return {
        "verdict": result.verdict,
        "doubts": list(result.doubts),
        "keys": [{**asdict(each), "told_by": list(each.told_by)} for each in result.keys],
        "skill": [{**asdict(each), "left": each.left} for each in result.skills],
        "told_apart_poorly": [asdict(each) for each in result.pairs],
        "rides": [asdict(each) for each in result.rides],
    }


def fit_figures(result: LogFit) -> dict[str, Any]:
    """Return a fit as plain values."""
    return {
        "verdict": result.verdict,
        **load_figures(result.load),
        "standard_deviation": asdict(result.deviation),
        "altitude_lag_s": result.lag_s,
        "riding_s": result.riding_s,
        "left_out_s": result.left_out_s,
        "braking_s": result.braking_s,
        "at_bounds": list(result.at_bounds),
        "skill": skill_figures(result.skill),
        "skill_swapped": skill_figures(result.skill_swapped),
        "notes": list(result.notes),
    }


def load_figures(load: RoadLoad) -> dict[str, Any]:
    """Return drags and wind as plain values."""
    return {
        **asdict(load),
        "wind_speed_km_h": from_si(load.wind_speed_m_per_s, "km_h"),
        "wind_from_deg": load.wind_from_deg,
    }


def skill_figures(skill: Skill) -> dict[str, Any]:
    """Return the skill of a half-fit as plain values."""
    return {**asdict(skill), "work_error_percent": skill.work_error_percent}


def mean_rows(result: LogFit) -> list[dict[str, float]]:
    """Return the 60 s means as rows."""
    columns = (result.mean_time_s, result.mean_measured_w, result.mean_predicted_w)
    return [
        {"time_s": float(time), "measured_w": float(measured), "predicted_w": float(predicted)}
        for time, measured, predicted in zip(*columns, strict=True)
    ]


def coast_figures(result: CoastFit) -> dict[str, Any]:
    """Return a coast-down as plain values."""
    return {
        "verdict": result.verdict,
        "reason": result.reason,
        "drag_area_m2": result.drag_area_m2,
        "drag_area_sd_m2": result.drag_area_sd_m2,
        "drag_area_90_m2": list(result.drag_area_90_m2),
        "rolling_resistance": result.rolling_resistance,
        "rolling_resistance_sd": result.rolling_resistance_sd,
        "rolling_resistance_90": list(result.rolling_resistance_90),
        "runs_compared": result.compared,
        "at_bounds": list(result.at_bounds),
        "mass_kg": result.mass_kg,
        "grade_percent": from_si(result.grade, "percent"),
        "headwind_m_per_s": result.headwind_m_per_s,
        "speed_error_m_per_s": result.speed_error_m_per_s,
        "notes": list(result.notes),
    }


def run_rows(result: CoastFit) -> list[dict[str, Any]]:
    """Return the runs' readings as rows, speeds as recorded and as the fit has them."""
    return [
        {"run": run.path, "time_s": float(time), "measured_m_per_s": float(speed), "modelled_m_per_s": float(fitted)}
        for run, modelled in zip(result.runs, result.modelled, strict=True)
        for time, speed, fitted in zip(run.time_s, run.speed_m_per_s, modelled, strict=True)
    ]
