"""A cell from files: the library's published cell is met as the outside check meets it; what is no curve is refused."""

from __future__ import annotations

import os
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ridesim.bike.schema import Cell
from ridesim.errors import LogError
from ridesim.learn.cell_circuit import follow_cell
from ridesim.learn.cell_files import (
    CellAnswer,
    _capped,
    _longest_discharge_ah,
    fit_cell_files,
    read_cell_run,
    read_open_circuit,
)
from ridesim.learn.cell_fit import CellFit, CellRun
from ridesim.report.cell.plain import run_rows
from ridesim.report.cell.view import picture, view

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
    rows = run_rows(answer)
    assert [(row["run"], row["rms_mv"]) for row in rows] == list(zip(answer.paths, answer.rms_mv, strict=True))
    names = [text.get_text() for text in picture(answer).axes[0].get_legend().get_texts()]
    assert names == ["discharge-1c", "discharge-2c", "pulsed"]


def test_what_is_no_curve_is_refused(tmp_path: Path):
    half = tmp_path / "half.csv"
    half.write_text("soc,ocv_v\n" + "".join(f"{share:.2f},{3.0 + share:.3f}\n" for share in np.linspace(0.3, 0.7, 20)))
    with pytest.raises(LogError, match="from empty to full"):
        read_open_circuit(half)
    thousand = tmp_path / "mv.csv"
    thousand.write_text("soc,ocv_v\n" + "".join(f"{s:.2f},{3000 + 1000 * s:.0f}\n" for s in np.linspace(0, 1, 20)))
    with pytest.raises(LogError, match="no cell's"):
        read_open_circuit(thousand)


def _run_of(times, amps, volts) -> str:
    rows = zip(times, amps, volts, strict=True)
    return "time_s,current_a,voltage_v\n" + "".join(f"{t},{a},{v}\n" for t, a, v in rows)


LEVEL = (np.full(12, 5.0), np.linspace(4.15, 4.1, 12))


@pytest.mark.parametrize(
    "times, amps, volts, told",
    [
        (np.arange(12) * 1e8, *LEVEL, "spans 3.06e.05 h"),
        (np.arange(12), LEVEL[0] * 1e9, LEVEL[1], "current of 5e.09 A"),
        ([*range(6), *"xxxxxx"], LEVEL[0], [*"xxxxxx", *LEVEL[1][6:]], "no row with time, current and voltage"),
        (np.arange(12), *LEVEL, "never lies between 10 and 90 %"),
    ],
)
def test_what_is_no_run_of_a_cell_is_refused(tmp_path: Path, times, amps, volts, told: str):
    curve, run = tmp_path / "curve.csv", tmp_path / "run.csv"
    curve.write_text("soc,ocv_v\n" + "".join(f"{share:.2f},{3.0 + share:.3f}\n" for share in np.linspace(0, 1, 20)))
    run.write_text(_run_of(times, amps, volts))
    with pytest.raises(LogError, match=told):
        fit_cell_files(str(curve), [str(run)], 3.0)


THREE = (0.0, 0.5, 1.0), (3.0, 3.7, 4.2)
PULSED = CellRun(np.arange(4.0), np.array([1.0, 0.0, 1.0, 1.0]), np.full(4, 3.6))
PLAIN = CellFit(5.0, *THREE, 20.0, (1.0, 1.0, 1.0), 0.0, 10.0, 40.0, 20.0, 20.0, 70.0, 0.1)


@pytest.mark.parametrize(("rms_mv", "verdict"), [((12.0, 29.9), "fine"), ((30.1, 12.0), "look again")])
def test_the_worst_run_judges_a_cell(rms_mv: tuple[float, ...], verdict: str):
    """One circuit meets measured cells of a kind within 30 mV (the outside checks)."""
    answer = CellAnswer(PLAIN, (PULSED, PULSED), ("one", "two"), {}, rms_mv, ())
    assert (answer.verdict, answer.figures["verdict"], view(answer, pictures=False).verdict) == (verdict,) * 3
    assert f"within {max(rms_mv):.0f} mV" in view(answer, pictures=False).answer[0]


@pytest.mark.parametrize(("share", "verdict"), [(0.5e-4, "look again"), (2e-4, "fine")])
@pytest.mark.parametrize("high", [False, True])
@pytest.mark.parametrize(
    ("key", "low", "most"),
    [
        ("resistance_mohm", 0.5, 200.0),
        ("polarisation_resistance_mohm", 0.0, 200.0),
        ("polarisation_time_s", 1.0, 900.0),
    ],
)
def test_either_edge_of_the_search_judges_a_cell(key: str, low: float, most: float, high: bool, share: float, verdict):
    """A ten-thousandth of what is searched (guess), from below and from above."""
    at = share if not high else 1.0 - share
    answer = CellAnswer(replace(PLAIN, **{key: low + at * (most - low)}), (PULSED,), ("one",), {}, (5.0,), ())
    assert answer.verdict == verdict
    assert answer.edges == ((key,) if verdict != "fine" else ())


@pytest.mark.parametrize(
    ("start", "share", "told"), [(0.98, 0.91, True), (0.96, 0.91, False), (0.98, 0.89, False), (0.96, 0.89, False)]
)
def test_a_capacity_is_told_by_a_run_from_full_to_empty_that_gives_nearly_the_most(start, share, told):
    """From 97 % on a run begins full, and 90 % of the longest is a whole discharge (guesses)."""
    clock = np.arange(0.0, 3600.0, 10.0)
    longest = CellRun(clock, np.ones(360), np.full(360, 3.8))
    emptied = CellRun(clock, np.full(360, share), np.linspace(4.1, 2.5, 360), start)
    curve = (np.array(THREE[0]), np.array(THREE[1]))
    if told:
        assert _longest_discharge_ah(curve, (longest, emptied)) == pytest.approx(1.0, rel=0.01)
    else:
        with pytest.raises(LogError, match="from full to empty"):
            _longest_discharge_ah(curve, (longest, emptied))


@pytest.mark.parametrize(("error", "hint"), [(0.99, False), (1.01, True)])
def test_what_the_cold_hardly_tells_is_called_a_hint(error: float, hint: bool):
    cold = "cold_capacity_loss_percent"
    answer = CellAnswer(replace(PLAIN, cold_capacity_loss_percent=9.0), (PULSED,), ("one",), {cold: error}, (5.0,), ())
    (said,) = view(answer, pictures=False).answer[1:]
    assert f"the cold keeps 9 % of the charge (± {error:.0%} of that)" in said
    assert ("no more than a hint" in said) is hint


def test_an_error_is_told_up_to_where_it_says_that_nothing_is_known():
    """Never below 2 %; up to 95 %, of what the cold tells up to five times the value (guesses)."""
    keys = ("resistance_mohm", "cold_capacity_loss_percent")
    assert list(_capped(dict.fromkeys(keys, 9.0)).values()) == [0.95, 5.0]
    assert list(_capped(dict.fromkeys(keys, 3.0)).values()) == [0.95, 3.0]
    assert list(_capped(dict.fromkeys(keys, 0.001)).values()) == [0.02, 0.02]


CHARGE = tuple(np.linspace(0.0, 1.0, 21).tolist())
REST = tuple(3.0 + 1.15 * s - 0.35 * float(np.exp(-18.0 * s)) for s in CHARGE)
ODD = CellFit(2.73, CHARGE, REST, 45.0, (1.0,) * 21, 0.0, 20.0, 25.0, 20.0, 20.0, 70.0, 0.1)
"""An invented cell of an odd capacity."""


def _write_run(path: Path, amps: np.ndarray, start: float = 1.0) -> str:
    """Write what the odd cell shows in a chamber that holds it at 25 degC."""
    clock = np.arange(0.0, float(len(amps)))
    run = CellRun(clock, amps, np.zeros(len(amps)), start, temperature_c=np.full(len(amps), 25.0))
    volts = follow_cell(ODD, run, recorded_warmth=True).voltage_v
    kept = volts > 2.5
    rows = zip(clock[kept], amps[kept], volts[kept], strict=True)
    path.write_text("time_s,current_a,voltage_v,temperature_c\n" + "".join(
        f"{t:.0f},{a:.2f},{v:.3f},25.0\n" for t, a, v in rows))  # fmt: skip
    return str(path) if start == 1.0 else f"{path}@{start}"


@pytest.fixture(scope="module")
def odd_files(tmp_path_factory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("odd")
    (folder / "rested.csv").write_text("soc,voltage_v\n" + "".join(
        f"{s:.2f},{v:.4f}\n" for s, v in zip(CHARGE, REST, strict=True)))  # fmt: skip
    pulses = np.tile(np.concatenate((np.zeros(60), np.full(30, 5.0), np.zeros(110))), 5)
    return {
        "rested": str(folder / "rested.csv"),
        "slow": _write_run(folder / "slow.csv", np.full(7260, 1.35)),
        "fast": _write_run(folder / "fast.csv", np.full(2420, 4.0)),
        "pulses": _write_run(folder / "pulses.csv", pulses, 0.9),
    }


def test_a_run_is_met_at_the_warmth_that_was_recorded(odd_files: dict[str, str]):
    """A chamber holds the cell at 25 degC: what a lump of its own would warm is no fault of the circuit."""
    answer = fit_cell_files(odd_files["rested"], [odd_files[name] for name in ("slow", "fast", "pulses")], None)
    assert answer.verdict == "fine"
    assert max(answer.rms_mv) < 3.0
    assert answer.fit.capacity_ah == pytest.approx(2.73, rel=0.01)


def test_steady_discharges_alone_do_not_part_fast_from_slow(odd_files: dict[str, str]):
    """The sum is told (45 and 20 mOhm), the split is not: two such runs agree on it to 3 %, far from the truth."""
    answer = fit_cell_files(odd_files["rested"], [odd_files[name] for name in ("slow", "fast")], None)
    fit = answer.fit
    assert fit.resistance_mohm + fit.polarisation_resistance_mohm == pytest.approx(65.0, rel=0.02)
    assert answer.errors["resistance_mohm"] == answer.errors["polarisation_resistance_mohm"] == 0.95
    shown = view(answer, pictures=False)
    assert shown.verdict == "look again"
    assert "add a run with pulses" in shown.answer[0]


def test_part_of_a_discharge_tells_no_capacity(odd_files: dict[str, str]):
    with pytest.raises(LogError, match=r"no run goes from full to empty.*--capacity"):
        fit_cell_files(odd_files["rested"], [odd_files["pulses"]], None)


def test_numbers_at_the_edge_of_the_search_are_no_answer(odd_files: dict[str, str]):
    """Nearly twice the capacity: the voltages fall away where the cell would be half full."""
    answer = fit_cell_files(odd_files["rested"], [odd_files["slow"]], 5.0)
    shown = view(answer, pictures=False)
    assert shown.verdict == "look again"
    assert "edge of the search" in shown.answer[0]
    assert "--capacity" in shown.answer[0]
    assert "resistance_mohm" in answer.figures["at_the_edge_of_the_search"]
    whole = fit_cell_files(odd_files["rested"], [odd_files[name] for name in ("slow", "pulses")], 2.73)
    assert not whole.edges


CURVE = [(at / 10.0, 3.0 + 0.1 * at + 0.002 * at**2) for at in range(11)]


@pytest.mark.parametrize(("head", "charge_per", "volts_per"), [
    ("SOC [%];Voltage (V)", 100.0, 1.0), ("Ladung %;Ruhespannung mV", 100.0, 1000.0),
    ("State of charge,OCV (mV)", 1.0, 1000.0), ("soc,voltage_v,Voltage spread (mV)", 1.0, 1.0),
])  # fmt: skip
def test_a_curve_is_read_by_what_its_heads_speak_of(head: str, charge_per: float, volts_per: float, tmp_path: Path):
    """`Voltage (V)`, which most exports have, was no column of voltage."""
    comma = ";" if ";" in head else ","
    rows = [[charge_per * soc, volts_per * volts] + [3.0] * (len(head.split(comma)) - 2) for soc, volts in CURVE]
    file = tmp_path / "rested.csv"
    file.write_text("\n".join([head, *(comma.join(f"{each:g}" for each in row) for row in rows)]) + "\n")
    charge, volts = read_open_circuit(file)
    assert charge == pytest.approx([soc for soc, _ in CURVE]) and volts == pytest.approx([each for _, each in CURVE])


@pytest.mark.parametrize(
    "head", ["SOC (%);Charge (%);U [V]", "Charge (Ah);U [V];x", "SOC (%);Voltage high;Voltage low"]
)
def test_two_columns_of_a_kind_or_one_of_another_unit_are_none(head: str, tmp_path: Path):
    file = tmp_path / "rested.csv"
    rows = "\n".join(f"{100 * soc:g};{100 * soc:g};{volts:g}" for soc, volts in CURVE)
    file.write_text(f"{head}\n{rows}\n")
    with pytest.raises(LogError, match="has no column of"):
        read_open_circuit(file)


def test_a_run_may_be_written_in_thousandths(tmp_path: Path):
    curve = (np.array([soc for soc, _ in CURVE]), np.array([volts for _, volts in CURVE]))
    at = np.arange(0.0, 600.0, 10.0)
    plain, small = tmp_path / "plain.csv", tmp_path / "small.csv"
    plain.write_text("time_s,voltage_v,current_a\n" + "".join(f"{t:g},{4.1 - 1e-4 * t:.4f},2.5\n" for t in at))
    small.write_text("Test Time (min);U (mV);I [mA]\n"
                     + "".join(f"{t / 60:.6f};{4100 - 0.1 * t:.1f};2500\n" for t in at))  # fmt: skip
    one, two = (read_cell_run(str(file), curve, 1.0) for file in (plain, small))
    for name in ("time_s", "current_a", "voltage_v"):
        assert getattr(two, name) == pytest.approx(getattr(one, name), abs=1e-3)
