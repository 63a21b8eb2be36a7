"""`ridesim fit` and `ridesim coastdown`: what your own recordings say of your bike."""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ridesim.cli import options
from ridesim.cli.answer import Wanted, Writer, answer, csv_writer
from ridesim.cli.given import refuse_unused
from ridesim.cli.log import Map
from ridesim.cli.output import answering, command_line, envelope, progress, say, say_if_compiling
from ridesim.cli.replay import LogRoad
from ridesim.cli.writing import save_text
from ridesim.errors import RideError
from ridesim.units import from_si, to_si

if TYPE_CHECKING:
    from ridesim.learn.build_fit import BuildFit
    from ridesim.learn.coastdown import CoastFit
    from ridesim.learn.menu import Suggestion
    from ridesim.learn.pedal_fit import LogFit, Skill
    from ridesim.learn.road_load import RoadLoad
    from ridesim.report.view import View

FIT_EXAMPLE = "Example: ridesim fit my-bike.toml my-ride.csv --road my-ride.gpx --save my-bike-fitted.toml"
COAST_EXAMPLE = "Example: ridesim coastdown there-1.csv there-2.csv --back back-1.csv --mass 96"
_PANEL, _BUILD = "Recording", "Build"
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
    files: Annotated[
        list[str],
        typer.Argument(
            metavar="[BUILD] LOG",
            help="A build and the log of a ride on it; or a log with pedal power alone: time_s, altitude_m, power_w, "
            "speed_m_per_s or distance_m; lat, lon for the wind, temperature_c for the air.",
        ),
    ],
    map_: Map = None,
    road: LogRoad = None,
    only: Annotated[
        list[str] | None,
        typer.Option("--only", metavar="KEY", help="Fit this key alone; may be repeated.", rich_help_panel=_BUILD),
    ] = None,
    gain_error: Annotated[
        float,
        typer.Option(
            "--gain-error",
            metavar="PERCENT",
            help="How far the current sensors' gain is off; 0: exact.",
            rich_help_panel=_PANEL,
        ),
    ] = 1.0,
    save: Annotated[
        Path | None,
        typer.Option("--save", metavar="FILE.toml", help="Write the fitted build here.", rich_help_panel=_BUILD),
    ] = None,
    set_: options.Set = None,
    mass: Mass = None,
    chain: Annotated[
        float | None,
        typer.Option(
            "--chain", metavar="SHARE", help="Efficiency of the pedal chain; else 0.977.", rich_help_panel=_PANEL
        ),
    ] = None,
    out: options.Out = None,
    report: options.Report = None,
    as_json: options.Json = False,
    units: options.UnitSystem = options.Units.metric,
) -> None:
    """Fit BUILD to the LOG of a ride, or drags and wind to a LOG with pedal power, and tell how well it predicts."""
    wanted = Wanted(as_json, out, report, units.value)
    if len(files) > 2:
        raise RideError("fit", f"{len(files)} files are named", "name a build and a log, or a log with pedal power")
    if len(files) == 1:
        refuse_unused("a log alone", only=only, save=save, set=set_)
        fit_pedals(files[0], map_, road, mass, 0.977 if chain is None else chain, wanted, units)
        return
    refuse_unused("BUILD", mass=mass, chain=chain)
    fit_to_build((files[0], files[1]), (map_, road), tuple(only or ()), gain_error, save, set_, wanted, units)


def fit_to_build(
    files: tuple[str, str], beside: tuple[str | None, str | None], only: tuple[str, ...], gain_percent: float,
    save: Path | None, set_: list[str] | None, wanted: Wanted, units: options.Units,
) -> None:  # fmt: skip
    """Fit a build to a log; write the fitted build where it was asked for, unless the log is not of this bike."""
    from ridesim.bike.load import load_build
    from ridesim.cli.replay import read_ride_log
    from ridesim.learn.build_fit import fit_build
    from ridesim.learn.menu import suggestions

    if not 0.0 <= gain_percent <= MOST_GAIN_PERCENT:
        raise RideError("--gain-error", f"{gain_percent:g} % is out of range (0 to {MOST_GAIN_PERCENT:g} %)", "mend it")
    say_if_compiling()
    loaded = load_build(files[0], options.overrides(set_))
    log, notes = read_ride_log(files[1], *beside)
    with progress("fitting", 2) as step:
        result = fit_build(log, loaded, asked=only, gain_share=to_si(gain_percent, "percent"))
        step(1)
        rides = suggestions(result) if result.verdict != "stop" else ()
        step(1)
    result = replace(result, notes=(*notes, *result.notes))
    from ridesim.report.fit.build_view import picture_names, view

    name = f"{Path(files[0]).stem}-fitted.toml"
    writes = result.verdict != "stop"
    hint = f"--save {name} writes it as a build." if writes else "It is not written as a build."
    tables = {name: _fitted_writer(result, files[0], wanted.out)} if writes and wanted.out is not None else {}
    inputs = {
        "builds": [{"path": files[0], "sha256": loaded.sha256, "name": loaded.build.name}],
        "log": {"path": files[1], "sha256": log.sha256}, "map": beside[0], "road": beside[1],
    }  # fmt: skip

    def draft(pictures: bool) -> View:
        drawn = view(result, rides, units.value, pictures=pictures)
        return drawn if save is not None and writes else replace(drawn, answer=(*drawn.answer, hint))

    if save is not None and writes:
        save_text(save, _fitted_text(result, files[0], save.parent))
        say(f"wrote {save}")
    answer(
        wanted,
        envelope("fit", inputs, **build_fit_figures(result, rides)),
        draft,
        [loaded],
        pictures=picture_names(result),
        tables=tables,
    )


MOST_GAIN_PERCENT = 20.0


def _fitted_text(result: BuildFit, build: str, folder: Path) -> str:
    """Return the fitted build for a folder; it names the build it extends from there."""
    import os

    from ridesim.learn.fitted_file import fitted_text

    extends = Path(os.path.relpath(Path(build).resolve(), folder.resolve())).as_posix()
    return fitted_text(result, extends, command_line())


def _fitted_writer(result: BuildFit, build: str, folder: Path) -> Writer:
    return lambda place: place.write_text(_fitted_text(result, build, folder), encoding="utf-8")


def build_fit_figures(result: BuildFit, rides: tuple[Suggestion, ...]) -> dict[str, Any]:
    """Return a fit of a build as plain values."""
    return {
        "verdict": result.verdict,
        "doubts": list(result.doubts),
        "keys": [{**asdict(each), "told_by": list(each.told_by)} for each in result.keys],
        "skill": [{**asdict(each), "left": each.left} for each in result.skills],
        "told_apart_poorly": [asdict(each) for each in result.pairs],
        "rides": [asdict(each) for each in rides],
    }


def fit_pedals(
    log: str, map_: str | None, road: str | None, mass: float | None, chain: float, wanted: Wanted,
    units: options.Units,
) -> None:  # fmt: skip
    """Fit drags and wind to a log with pedal power."""
    from ridesim.cli.replay import read_ride_log
    from ridesim.cli.ride import file_hash
    from ridesim.learn.pedal_fit import fit_log
    from ridesim.learn.ride_log import pedal_log

    say_if_compiling()
    ride = log if map_ is None and road is None else pedal_log(read_ride_log(log, map_, road)[0])
    result = fit_log(ride, mass_kg=_mass(mass), chain_efficiency=chain)
    result = replace(result, notes=(*_assumed(mass), *result.notes))
    from ridesim.report.fit.view import view

    inputs = {"log": {"path": log, "sha256": file_hash(log)}, "mass_kg": _mass(mass), "chain_efficiency": chain}
    answer(
        wanted,
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
