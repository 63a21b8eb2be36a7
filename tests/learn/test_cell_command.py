"""A cell from files: the library's published cell is met as the outside check meets it; what is no curve is refused."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import numpy as np
import pytest

from ridesim.bike.schema import Cell
from ridesim.errors import LogError
from ridesim.learn.cell_files import fit_cell_files, read_open_circuit

DATA = Path(os.environ.get("RIDESIM_DATA", Path(__file__).parents[3] / "shared" / "data")) / "cell"


@pytest.mark.skipif(not DATA.exists(), reason="the outside data are not there")
def test_the_library_cell_through_the_command(ridesim_command, tmp_path: Path):
    """Chen et al. (2020) by PyBaMM: two discharges and a pulsed run; voltages within the outside check's 20 mV."""
    runs = [DATA / "discharge-1c.csv", DATA / "discharge-2c.csv", f"{DATA / 'pulsed.csv'}@0.9"]
    part = tmp_path / "parts" / "cell.toml"
    part.parent.mkdir()
    words = [word for run in runs for word in ("--run", run)]
    done = ridesim_command(
        "cell", DATA / "open-circuit.csv", *words, "--capacity", "5", "--ratings", "10,3,0.07", "--save", part, "--json"
    )
    assert done.returncode == 0, done.stderr
    written = tomllib.loads(part.read_text())
    tolerance = written.pop("tolerance")
    cell = Cell.model_validate(written)
    assert cell.capacity_ah == 5.0
    assert set(tolerance) >= {"resistance_mohm", "polarisation_resistance_mohm"}
    answer = fit_cell_files(str(DATA / "open-circuit.csv"), [str(run) for run in runs], 5.0)
    assert max(answer.rms_mv) < 20.0


def test_what_is_no_curve_is_refused(tmp_path: Path):
    half = tmp_path / "half.csv"
    half.write_text("soc,ocv_v\n" + "".join(f"{share:.2f},{3.0 + share:.3f}\n" for share in np.linspace(0.3, 0.7, 20)))
    with pytest.raises(LogError, match="from empty to full"):
        read_open_circuit(half)
    thousand = tmp_path / "mv.csv"
    thousand.write_text("soc,ocv_v\n" + "".join(f"{s:.2f},{3000 + 1000 * s:.0f}\n" for s in np.linspace(0, 1, 20)))
    with pytest.raises(LogError, match="no cell's"):
        read_open_circuit(thousand)
