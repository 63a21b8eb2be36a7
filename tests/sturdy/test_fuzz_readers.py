"""Files that only readers see: goals, mappings, weather, typical years, curves and runs of cells. Read, or refused."""

from __future__ import annotations

import contextlib
import io
import os
import time
import zlib
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from ridesim.cli.output import say
from ridesim.errors import RidesimError
from ridesim.learn.cell_files import fit_cell_files, read_cell_run, read_open_circuit
from ridesim.learn.log import load_log
from ridesim.search.goals import read_goals
from ridesim.search.starter import STARTER
from ridesim.workshop.season.typical import load_typical
from ridesim.workshop.season.weather_file import load_weather, parse_mapping

from .mutation import HANG_S, LONGEST_LINE, mutated_table, mutated_toml
from .test_fuzz import _log_text, kind

GOALS = STARTER.format(build="belt.toml", road="road.toml")
CHARGE = np.linspace(0.0, 1.0, 21)
CURVE = "soc,ocv_v\n" + "\n".join(f"{x:.2f},{3.0 + 1.2 * x:.4f}" for x in CHARGE)
RUN = "time_s,current_a,voltage_v,temperature_c\n" + "\n".join(
    f"{t},{5.0 if t >= 20 else 0.0},{4.2 - (0.1 if t >= 20 else 0.0) - t / 5e3:.4f},{25 + t / 400:.2f}"
    for t in range(0, 600, 10)
)
DAYS = "time,lowest_c,highest_c,wind_speed_km_h,wind_from_deg,rain_mm\n" + "\n".join(
    f"{day},{day.astype(int) % 9},{day.astype(int) % 9 + 8},12,{day.astype(int) % 360},{day.astype(int) % 3}"
    for day in np.arange("2023-01-01", "2024-01-01", dtype="datetime64[D]")
)
TYPICAL = (files("ridesim.workshop.season") / "typical-year.toml").read_text(encoding="utf-8")
COLUMNS = 'time = "Date"\nlowest_c = "Tmin"\nhighest_c = "Tmax"\nwind_speed_km_h = "Wind"\nrain_mm = "Rain"\n'
MAPPED = (("time_s", "time", "s"), ("speed_m_per_s", "speed_km_h", "m_per_s"), ("altitude_m", "altitude_m", "m"))
MAPPING = "\n".join(
    f'[[column]]\nnumber = {at}\nhead = "{head}"\nquantity = "{what}"\nunit = "{unit}"\nscale = 1.0\noffset = 0.0\n'
    for at, (head, what, unit) in enumerate(
        [("time_s", "time", "s"), ("speed_m_per_s", "speed_km_h", "m_per_s"), ("altitude_m", "altitude_m", "m")],
        start=1,
    )
)


@pytest.fixture(scope="module", autouse=True)
def place(tmp_path_factory: pytest.TempPathFactory):
    """A folder in which files are written."""
    folder, before = tmp_path_factory.mktemp("readers"), Path.cwd()
    os.chdir(folder)
    Path("log.csv").write_text(_log_text())
    Path("whole-curve.csv").write_text(CURVE)
    yield folder
    os.chdir(before)


def _read(reader: Callable[[str], object], name: str) -> Callable[[bytes], int]:
    """Return a check of a reader: 0 where it reads, 2 where it refuses in words, and nothing else."""

    def check(text: bytes) -> int:
        Path(name).write_bytes(text)
        begun = time.process_time()
        try:
            reader(name)
        except RidesimError as error:
            told = io.StringIO()
            with contextlib.redirect_stderr(told):
                say(str(error))  # as every command says it
            assert max(map(len, told.getvalue().splitlines())) <= LONGEST_LINE, told.getvalue()
            assert told.getvalue().replace("\n", "").isprintable(), ascii(told.getvalue())
            return 2
        finally:
            assert time.process_time() - begun < HANG_S
        return 0

    return check


def _cell_run(name: str) -> object:
    """Read a run; one in eight is fitted too, which takes longer than all the rest."""
    if zlib.crc32(Path(name).read_bytes()) % 8:
        return read_cell_run(name, (CHARGE, 3.0 + 1.2 * CHARGE), None)
    return fit_cell_files("whole-curve.csv", [name], 3.0)


test_goals, test_goals_long = kind(mutated_toml(GOALS), 0.1)(_read(read_goals, "goals.toml"))
test_mappings, test_mappings_long = kind(mutated_toml(MAPPING), 0.1)(
    _read(lambda name: load_log("log.csv", name), "map.toml")
)
test_weather, test_weather_long = kind(mutated_table(DAYS, most=2), 0.05)(_read(load_weather, "weather.csv"))
test_typical_years, test_typical_years_long = kind(mutated_toml(TYPICAL), 0.1)(_read(load_typical, "year.toml"))
test_weather_columns, test_weather_columns_long = kind(mutated_toml(COLUMNS), 0.1)(
    _read(lambda name: parse_mapping([name]), "columns.toml")
)
test_cell_curves, test_cell_curves_long = kind(mutated_table(CURVE), 0.1)(_read(read_open_circuit, "curve.csv"))
test_cell_runs, test_cell_runs_long = kind(mutated_table(RUN), 0.05)(_read(_cell_run, "run.csv"))
