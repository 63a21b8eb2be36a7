"""`ridesim fit` and `ridesim coastdown`: what your own recordings say of your bike."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridesim.cli import options
from ridesim.cli.answer import Wanted, answer, csv_writer
from ridesim.cli.output import answering, envelope, say_if_compiling
from ridesim.units import from_si

if TYPE_CHECKING:
    from ridesim.learn.coastdown import CoastFit
    from ridesim.learn.pedal_fit import LogFit, Skill
    from ridesim.learn.road_load import RoadLoad

FIT_EXAMPLE = "Example: ridesim fit my-ride.csv --mass 92 --out fits/my-ride"
COAST_EXAMPLE = "Example: ridesim coastdown there-1.csv there-2.csv --back back-1.csv --mass 96"
_PANEL = "Recording"
ASSUMED = "--mass is not given: rider and bike are taken as {:g} kg, and every drag goes up and down with it"

Mass = Annotated[
    float | None,
    typer.Option("--mass", metavar="KG", help="Rider and bike together; else 80 kg.", rich_help_panel=_PANEL),
]


def register(app: typer.Typer) -> None:
    """Add the commands to the app."""
    app.command("fit", epilog=FIT_EXAMPLE, no_args_is_help=True)(fit)
    app.command("coastdown", epilog=COAST_EXAMPLE, no_args_is_help=True)(coastdown)


@answering
def fit(
    log: Annotated[
        str,
        typer.Argument(
            metavar="LOG",
            help="Ride (CSV): time_s, altitude_m, power_w at the pedals, speed_m_per_s or distance_m; "
            "lat, lon for the wind, temperature_c for the air.",
        ),
    ],
    mass: Mass = None,
    chain: Annotated[
        float, typer.Option("--chain", metavar="SHARE", help="Efficiency of the chain.", rich_help_panel=_PANEL)
    ] = 0.977,
    out: options.Out = None,
    report: options.Report = None,
    as_json: options.Json = False,
    units: options.UnitSystem = options.Units.metric,
) -> None:
    """Fit air drag, rolling drag and wind to a LOG with measured pedal power, and tell how well they predict it."""
    from ridesim.cli.ride import file_hash
    from ridesim.learn.pedal_fit import fit_log

    say_if_compiling()
    result = fit_log(log, mass_kg=_mass(mass), chain_efficiency=chain)
    result = replace(result, notes=(*_assumed(mass), *result.notes))
    from ridesim.report.fit.view import view

    inputs = {"log": {"path": log, "sha256": file_hash(log)}, "mass_kg": _mass(mass), "chain_efficiency": chain}
    answer(
        Wanted(as_json, out, report, units.value),
        envelope("fit", inputs, **fit_figures(result)),
        lambda pictures: view(result, units.value, pictures=pictures),
        (),
        pictures=("means",),
        tables={"means.csv": csv_writer(mean_rows(result))},
    )


def _mass(given: float | None) -> float:
    from ridesim.learn.pedal_fit import ASSUMED_MASS_KG

    return ASSUMED_MASS_KG if given is None else given


def _assumed(given: float | None) -> tuple[str, ...]:
    return (ASSUMED.format(_mass(None)),) if given is None else ()


def fit_figures(result: LogFit) -> dict[str, Any]:
    """Return a fit as plain values."""
    return {
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
    from ridesim.units import from_si

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


@answering
def coastdown(
    run: Annotated[
        list[str], typer.Argument(metavar="RUN...", help="Coasting one way (CSV): time_s, speed_m_per_s or speed_km_h.")
    ],
    back: Annotated[
        list[str] | None,
        typer.Option("--back", metavar="RUN", help="A run the other way; may be repeated.", rich_help_panel=_PANEL),
    ] = None,
    mass: Mass = None,
    temperature: Annotated[
        float, typer.Option("--temperature", metavar="C", help="Of the air.", rich_help_panel=_PANEL)
    ] = 15.0,
    altitude: Annotated[
        float, typer.Option("--altitude", metavar="M", help="Above the sea.", rich_help_panel=_PANEL)
    ] = 0.0,
    grade: Annotated[
        float,
        typer.Option("--grade", metavar="PERCENT", help="Of the road, where no run goes back.", rich_help_panel=_PANEL),
    ] = 0.0,
    headwind: Annotated[
        float,
        typer.Option("--headwind", metavar="M_PER_S", help="Where no run goes back.", rich_help_panel=_PANEL),
    ] = 0.0,
    out: options.Out = None,
    report: options.Report = None,
    as_json: options.Json = False,
    units: options.UnitSystem = options.Units.metric,
) -> None:
    """Fit air and rolling drag to RUNs of coasting on a quiet, even road."""
    from ridesim.cli.ride import file_hash
    from ridesim.learn.coastdown import fit_coastdown, load_coast_run

    say_if_compiling()
    result = fit_coastdown(
        [load_coast_run(path) for path in run],
        [load_coast_run(path) for path in back or []],
        mass_kg=_mass(mass),
        temperature_c=temperature,
        altitude_m=altitude,
        grade_percent=grade,
        headwind_m_per_s=headwind,
    )
    result = replace(result, notes=(*_assumed(mass), *result.notes))
    from ridesim.report.fit.view import coast_view

    inputs = {
        "runs": [{"path": path, "sha256": file_hash(path)} for path in (*run, *(back or []))],
        "mass_kg": _mass(mass),
    }
    answer(
        Wanted(as_json, out, report, units.value),
        envelope("coastdown", inputs, **coast_figures(result)),
        lambda pictures: coast_view(result, units.value, pictures=pictures),
        (),
        pictures=("speeds",),
    )


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
