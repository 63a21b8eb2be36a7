"""`ridesim fit` and `ridesim coastdown`: what your own recordings say of your bike."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ridesim.cli import options
from ridesim.cli.answer import Wanted, Writer, answer, reply
from ridesim.cli.given import refuse_unused
from ridesim.cli.log import Map
from ridesim.cli.output import command, command_line, envelope, progress, say, say_if_compiling
from ridesim.cli.replay import LogRoad, OfDrive
from ridesim.cli.writing import save_text
from ridesim.errors import RideError
from ridesim.units import to_si

if TYPE_CHECKING:
    from ridesim.learn.build_fit import BuildFit
    from ridesim.report.view import View

FIT_EXAMPLE = "Example: ridesim fit my-bike.toml my-ride.csv --road my-ride.gpx --save my-bike-fitted.toml"
COAST_EXAMPLE = "Example: ridesim coastdown there-1.csv there-2.csv --back back-1.csv --mass 96"
_PANEL, _BUILD = "Recording", "Build"

Mass = Annotated[float | None, options.choice("--mass", "KG", "Rider and bike together; else 80 kg.", _PANEL)]


@command("fit", FIT_EXAMPLE)
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
        list[str] | None, options.choice("--only", "KEY", "Fit this key alone; may be repeated.", _BUILD)
    ] = None,
    gain_error: Annotated[
        float, options.choice("--gain-error", "PERCENT", "How far the current sensors' gain is off; 0: exact.", _PANEL)
    ] = 1.0,
    drive: OfDrive = None,
    save: Annotated[Path | None, options.choice("--save", "FILE.toml", "Write the fitted build here.", _BUILD)] = None,
    set_: options.Set = None,
    mass: Mass = None,
    chain: Annotated[
        float | None, options.choice("--chain", "SHARE", "Efficiency of the pedal chain; else 0.977.", _PANEL)
    ] = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Fit BUILD to the LOG of a ride, or drags and wind to a LOG with pedal power, and tell how well it predicts.

    Nothing is written unasked: --save FILE.toml writes the fitted build, which `ride` and `spread` take; --out DIR
    writes it there as BUILD-fitted.toml, beside tables and pictures.
    """
    if len(files) > 2:
        raise RideError("fit", f"{len(files)} files are named", "name a build and a log, or a log with pedal power")
    if len(files) == 1:
        refuse_unused("a log alone", only=only, save=save, set=set_, drive=drive)
        fit_pedals(files[0], map_, road, mass, chain, wanted)
        return
    refuse_unused("BUILD", mass=mass, chain=chain)
    fit_to_build((files[0], files[1]), (map_, road), tuple(only or ()), gain_error, save, set_, wanted, drive)


def fit_to_build(
    files: tuple[str, str], beside: tuple[str | None, str | None], only: tuple[str, ...], gain_percent: float,
    save: Path | None, set_: list[str] | None, wanted: Wanted, drive: int | None = None,
) -> None:  # fmt: skip
    """Fit a build to a log; write the fitted build where it was asked for, unless the log is not of this bike."""
    from ridesim.bike.load import load_build
    from ridesim.bike.second import PREFIX
    from ridesim.cli.replay import read_ride_log
    from ridesim.learn.build_fit import fit_build
    from ridesim.learn.menu import with_menu
    from ridesim.learn.one_drive import one_drive

    if not 0.0 <= gain_percent <= MOST_GAIN_PERCENT:
        raise RideError("--gain-error", f"{gain_percent:g} % is out of range (0 to {MOST_GAIN_PERCENT:g} %)", "mend it")
    say_if_compiling()
    loaded = one_drive(load_build(files[0], options.overrides(set_)), drive, "`ridesim fit`")
    log = read_ride_log(files[1], *beside)
    with progress("fitting", 2) as step:
        asked = tuple(key.removeprefix(PREFIX) for key in only) if drive == 2 else only
        result = fit_build(log, loaded, asked=asked, gain_share=to_si(gain_percent, "percent"))
        step(1)
        result = with_menu(result)
        step(1)
    from ridesim.report.fit.build_view import picture_names, view
    from ridesim.report.fit.plain import build_fit_figures

    name = f"{Path(files[0]).stem}-fitted.toml"
    writes = result.verdict != "stop"
    hint = f"--save {name} writes it as a build." if writes else "It is not written as a build."
    tables = {name: _fitted_writer(result, files[0], wanted.out, drive)} if writes and wanted.out is not None else {}
    inputs = {
        "builds": [{"path": files[0], "sha256": loaded.sha256, "name": loaded.build.name}],
        "log": {"path": files[1], "sha256": log.sha256}, "map": beside[0], "road": beside[1],
        "drive": drive,
    }  # fmt: skip

    def draft(pictures: bool) -> View:
        """Return the answer, with how to keep the fitted build where it is not kept yet."""
        drawn = view(result, wanted.units, pictures=pictures)
        return drawn if save is not None and writes else replace(drawn, answer=(*drawn.answer, hint))

    if save is not None and writes:
        save_text(save, _fitted_text(result, files[0], save.parent, drive))
        say(f"wrote {save}")
    answer(
        wanted,
        envelope("fit", inputs, **build_fit_figures(result)),
        draft,
        [loaded],
        pictures=picture_names(result),
        tables=tables,
    )


MOST_GAIN_PERCENT = 20.0


def _fitted_text(result: BuildFit, build: str, folder: Path, drive: int | None) -> str:
    """Return the fitted build for a folder; it names the build it extends from there."""
    import os

    from ridesim.learn.fitted_file import fitted_text

    extends = Path(os.path.relpath(Path(build).resolve(), folder.resolve())).as_posix()
    return fitted_text(result, extends, command_line(), drive=drive or 1)


def _fitted_writer(result: BuildFit, build: str, folder: Path, drive: int | None) -> Writer:
    return lambda place: place.write_text(_fitted_text(result, build, folder, drive), encoding="utf-8")


def fit_pedals(
    log: str, map_: str | None, road: str | None, mass: float | None, chain: float | None, wanted: Wanted
) -> None:
    """Fit drags and wind to a log with pedal power."""
    from ridesim.cli.ride import file_hash
    from ridesim.learn.asked import assumed_mass
    from ridesim.learn.asked import fit_pedals as asked_fit
    from ridesim.learn.pedal_fit import CHAIN_EFFICIENCY

    say_if_compiling()
    share = CHAIN_EFFICIENCY if chain is None else chain
    result = asked_fit(log, road=road, mapping=map_, mass_kg=mass, chain_efficiency=share)

    inputs = {
        "log": {"path": log, "sha256": file_hash(log)},
        "mass_kg": assumed_mass(mass)[0],
        "chain_efficiency": share,
    }
    reply(wanted, "fit", inputs, result, (), table="means.csv")


@command("coastdown", COAST_EXAMPLE)
def coastdown(
    run: Annotated[
        list[str], typer.Argument(metavar="RUN...", help="Coasting one way (CSV): time_s, speed_m_per_s or speed_km_h.")
    ],
    back: Annotated[
        list[str] | None, options.choice("--back", "RUN", "A run the other way; may be repeated.", _PANEL)
    ] = None,
    mass: Mass = None,
    temperature: Annotated[float, options.choice("--temperature", "C", "Of the air.", _PANEL)] = 15.0,
    altitude: Annotated[float, options.choice("--altitude", "M", "Above the sea.", _PANEL)] = 0.0,
    grade: Annotated[float, options.choice("--grade", "PERCENT", "Of the road, where no run goes back.", _PANEL)] = 0.0,
    headwind: Annotated[float, options.choice("--headwind", "M_PER_S", "Where no run goes back.", _PANEL)] = 0.0,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Fit air and rolling drag to RUNs of coasting on a quiet, even road."""
    from ridesim.cli.ride import file_hash
    from ridesim.learn.asked import assumed_mass
    from ridesim.learn.asked import coastdown as fit_runs

    say_if_compiling()
    result = fit_runs(
        run, back or (), mass_kg=mass, temperature_c=temperature, altitude_m=altitude, grade_percent=grade,
        headwind_m_per_s=headwind,
    )  # fmt: skip

    inputs = {
        "runs": [{"path": path, "sha256": file_hash(path)} for path in (*run, *(back or []))],
        "mass_kg": assumed_mass(mass)[0],
    }
    reply(wanted, "coastdown", inputs, result, ())
