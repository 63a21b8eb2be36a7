"""Bench recordings by file: known motors come back as surely as stated, real ones as before, bad ones are refused."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from ridesim.bike.load import load_build
from ridesim.cli.app import app
from ridesim.cli.bench_files import BenchFiles
from ridesim.errors import RideError
from ridesim.evidence.checks import data_folder
from ridesim.workshop.bench.heating import HeatingFit, fit_heating
from ridesim.workshop.bench.rundown import Drag, falls_of, fit_rundown

from . import made_benches as made

TRUE_HEAT = (made.C_W, made.C_B, made.G_WB, made.G_BA)
RNG = np.random.default_rng


def bench(*words: object) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, ["bench", *map(str, words)], standalone_mode=True)
    return done.exit_code, done.stdout, done.stderr


def answer(*words: object) -> dict:
    code, text, fault = bench(*words, "--json")
    assert code == 0, fault
    return json.loads(text)


def heated(place: Path, columns: dict[str, np.ndarray], *without: str) -> HeatingFit:
    kept = {name: values for name, values in columns.items() if name not in without}
    return fit_heating(BenchFiles(None).heating(str(made.write(place / "h.csv", kept)), None, 0.0, 0.0))


@pytest.mark.parametrize("without", [(), ("body_temperature_c",), ("winding_temperature_c",)])
def test_a_heating_run_gives_back_its_lumps_as_surely_as_it_says(without: tuple[str, ...], tmp_path: Path):
    """Six runs of four numbers: 21.6 of 24 within 1.645 errors are expected; fewer than 17 happen in 1 of 600."""
    rng, held, off = RNG(3), 0, []
    for _ in range(6):
        columns = made.heating(rng, every_s=float(rng.choice([5.0, 10.0, 20.0])), on_s=float(rng.uniform(1500, 2500)))
        fit = heated(tmp_path, columns, *without)
        z = [np.log(key.value / true) / (key.error / key.value) for key, true in zip(fit.keys, TRUE_HEAT, strict=False)]
        held += int(np.sum(np.abs(z) < 1.645))
        off.append(fit.keys[3].value / made.G_BA - 1.0)
    assert held >= 17
    assert np.abs(off).max() < 0.05


def test_a_supply_alone_is_the_windings_thermometer(tmp_path: Path):
    """Voltage over current: copper's own warmth; the cold resistance comes back as well."""
    fit = heated(tmp_path, made.heating(RNG(4)), "winding_temperature_c")
    assert "winding, by its resistance" in fit.thermometers
    keys = {key.key: key for key in fit.keys}
    assert keys["resistance_mohm"].value == pytest.approx(1e3 * made.OHM, rel=0.01)
    assert keys["winding_heat_capacity_j_per_k"].value == pytest.approx(made.C_W, rel=0.25)


def test_a_body_sensor_alone_does_not_tell_the_winding_and_says_so(tmp_path: Path):
    columns = made.heating(RNG(5), every_s=30.0)
    columns["motor_current_a"] = columns.pop("current_a")
    path = made.write(tmp_path / "h.csv", {n: v for n, v in columns.items() if n[:3] not in ("win", "vol")})
    told = answer("--heating", path, "--resistance-mohm", 26)
    keys = {each["key"]: each for each in told["heating"]["keys"]}
    assert told["verdict"] == "look again"
    assert "winding" in told["reason"]
    assert keys["body_to_air_still_w_per_k"]["value"] == pytest.approx(made.G_BA, rel=0.05)


def test_a_rundown_gives_inertia_with_the_drag_and_drag_with_the_inertia():
    rng, z = RNG(6), []
    for falls in (1, 2, 3, 2, 1, 3, 2, 2):
        columns = made.rundown(rng, falls=falls, noise_rpm=float(rng.uniform(3.0, 20.0)))
        parts = falls_of("x", columns["time_s"], columns["rpm"])
        assert len(parts) == falls
        key = fit_rundown("x", parts, Drag(made.STILL_NM, made.GROWTH_NM_S)).keys[0]
        z.append((key.value - made.INERTIA) / key.error)
        assert key.value == pytest.approx(made.INERTIA, rel=0.01)
        still, growth = fit_rundown("x", parts, inertia_kg_m2=made.INERTIA).keys
        assert still.value == pytest.approx(made.STILL_NM, abs=4.0 * still.error)
        assert growth.value == pytest.approx(made.GROWTH_NM_S, abs=4.0 * growth.error)
    assert np.sum(np.abs(z) < 1.645) >= 6


@pytest.mark.parametrize("speed", [np.linspace(100.0, 400.0, 40), np.full(40, 300.0)])
def test_speeds_that_do_not_fall_are_refused_in_one_line(speed: np.ndarray):
    with pytest.raises(RideError, match="does not slow down"):
        fit_rundown("x", [(np.arange(40) * 0.1, speed)], Drag(made.STILL_NM, made.GROWTH_NM_S))


def test_falls_that_contradict_each_other_are_told():
    slow, quick = made.rundown(RNG(7), falls=1), made.rundown(RNG(8), falls=1)
    parts = falls_of("x", slow["time_s"], slow["rpm"]) + falls_of("x", 1.6 * quick["time_s"], quick["rpm"])
    fit = fit_rundown("x", parts, Drag(made.STILL_NM, made.GROWTH_NM_S))
    assert fit.verdict == "stop"
    assert "contradict" in fit.reason


def test_a_sheet_by_files_becomes_a_part_that_a_build_names(tmp_path: Path):
    rng = RNG(9)
    paths = {name: made.write(tmp_path / f"{name}.csv", getattr(made, name)(rng))
             for name in ("sweep", "loaded", "heating", "rundown")}  # fmt: skip
    part = tmp_path / "parts" / "mine.toml"
    part.parent.mkdir()
    told = answer(
        "--no-load",
        paths["sweep"],
        "--loaded",
        paths["loaded"],
        "--heating",
        paths["heating"],
        "--rundown",
        paths["rundown"],
        "--magnets",
        14,
        "--size",
        "1.75,80,85",
        "--save",
        part,
        "--out",
        tmp_path / "out",
    )
    assert told["verdict"] == "fine"
    assert {each["option"] for each in told["inputs"]["files"]} == {"--no-load", "--loaded", "--heating", "--rundown"}
    assert {path.name for path in (tmp_path / "out").glob("*.png")} == {"no-load.png", "heating.png", "rundown.png"}
    assert (tmp_path / "out" / "motor-part.toml").exists()
    root = Path(__file__).parents[2]
    build = tmp_path / "bike.toml"
    build.write_text(f'extends = "{root / "configs" / "longtail-belt.toml"}"\nmotor = "mine"\n')
    loaded = load_build(build)
    motor = loaded.build.motor
    for key, true in (("kv_rpm_per_v", made.KV), ("rotor_inertia_kg_m2", made.INERTIA), ("pole_pairs", 7),
                      ("body_to_air_still_w_per_k", made.G_BA), ("resistance_mohm", 1e3 * made.OHM)):  # fmt: skip
        assert getattr(motor, key) == pytest.approx(true, rel=0.06), key
    assert loaded.stated.by_key["motor.kv_rpm_per_v"].size == pytest.approx(0.01, rel=0.05)
    code, _, fault = bench("--no-load", paths["sweep"], "--resistance-mohm", 26, "--save", part)
    assert (code, fault.count("\n")) == (2, 1)


AIRS = ("body_to_air_at_36_km_h_w_per_k", "cooling_exponent")


def in_air(place: Path, name: str, air_km_h: Callable[[float], float], seed: int = 3, **how: float) -> Path:
    """Write a run in air that moves, without its column of the air's speed unless it changes."""
    columns = made.heating(RNG(seed), air_km_h=air_km_h, **how)
    if np.ptp(columns["air_speed_km_h"]) == 0.0:
        del columns["air_speed_km_h"]
    return made.write(place / name, columns)


def test_cooling_in_moving_air_is_told_by_a_fan_at_several_speeds(tmp_path: Path):
    """One file: heated in still air, then a fan at 15 and at 60 km/h, then still again; made by solve_ivp."""
    speeds = ((1500.0, 0.0), (3000.0, 15.0), (4500.0, 60.0), (1e9, 0.0))
    fan = in_air(tmp_path, "fan.csv", lambda at: next(v for end, v in speeds if at < end), on_s=5000.0, off_s=1500.0)
    part = tmp_path / "mine.toml"
    told = answer("--heating", fan, "--motor", "motor-80mm", "--save", part)
    assert told["verdict"] == "fine", told["reason"]
    found = {each["key"]: each for each in told["measured"]}
    for key, true in zip(AIRS, (made.G_AT_36, made.POWER), strict=True):
        assert abs(found[key]["value"] - true) < 3.0 * found[key]["error"], found[key]
        assert found[key]["error"] < 0.08 * true
    assert told["heating"]["lacking"] == []
    text = part.read_text()
    assert "by the motor's size" not in text
    assert all(f"\n{key} = " in text for key in (*AIRS, "body_to_air_still_w_per_k"))


def test_one_air_speed_tells_its_conductance_and_asks_for_another_for_the_exponent(tmp_path: Path):
    """Two files: in still air, and before a fan at 30 km/h that the second does not log."""
    still = in_air(tmp_path, "still.csv", lambda at: 0.0)
    fan = in_air(tmp_path, "fan.csv", lambda at: 30.0, 4)
    told = answer("--heating", still, "--moving-air", fan, "--air-speed", 30, "--drop", "0.52,20,20")
    found = {each["key"]: each for each in told["measured"]}
    assert found[AIRS[0]]["value"] == pytest.approx(made.G_AT_36, rel=0.06)
    assert AIRS[1] not in found
    assert any("another speed, 12 or 75 km/h" in words for words in told["moving"]["lacking"])
    alone = answer("--moving-air", fan, "--air-speed", 30, "--drop", "0.52,20,20")
    assert {each["key"] for each in alone["measured"]} & {*AIRS, "body_to_air_still_w_per_k"} == {AIRS[0]}
    assert any("in still air too" in words for words in alone["moving"]["lacking"])
    assert any("--moving-air" in words for words in answer("--heating", still)["heating"]["lacking"])
    shown = bench("--heating", still, "--moving-air", fan, "--air-speed", 30, "--drop", "0.52,20,20")[1]
    shown = " ".join(shown.split())
    assert "another speed" in shown and "How moving air cools it is not told" not in shown


def test_a_run_in_moving_air_needs_to_know_how_fast(tmp_path: Path):
    fan = in_air(tmp_path, "fan.csv", lambda at: 30.0)
    for words, said in (
        (("--moving-air", fan), "does not tell how fast the air moves"),
        (("--moving-air", fan, "--air-speed", 3000), "air_speed_km_h"),
        (("--heating", fan, "--air-speed", 30), "belongs to a run in moving air"),
        (("--moving-air", made.write(tmp_path / "z.csv", made.heating(RNG(3)))), "the air does not move"),
    ):
        code, _, fault = bench(*words)
        assert (code, fault.count("\n")) == (2, 1), fault
        assert said in fault


def test_what_is_measured_under_load_is_not_written_as_the_windings(tmp_path: Path):
    """At full duty 38 mΩ of winding, inverter and leads; the motor alone has 26: 12 are the controller's."""
    columns = made.loaded(RNG(5))
    columns["rpm"] -= columns["current_a"] * 0.012 * made.KV
    path = made.write(tmp_path / "l.csv", columns)
    alone = answer("--loaded", path)
    assert alone["loaded"]["resistance_mohm"] == pytest.approx(38.0, abs=0.5)
    assert not any("resistance" in key for key, _ in alone["keys"])
    code, _, fault = bench("--loaded", path, "--magnets", 14, "--size", "1.75,80,85", "--save", tmp_path / "p.toml")
    assert code == 2
    assert "resistance_mohm (--drop or --pairs)" in fault
    assert not (tmp_path / "p.toml").exists()
    assert "winding, inverter and leads together" in CliRunner().invoke(app, ["bench", "--loaded", str(path)]).stdout
    parted = answer("--loaded", path, "--drop", "0.52,20,20")
    keys = dict(parted["keys"])
    assert float(keys["motor.resistance_mohm"]) == pytest.approx(26.0, abs=0.1)
    assert float(keys["controller.on_resistance_mohm"]) == pytest.approx(12.0, abs=0.6)
    assert parted["inverter"]["error"] == pytest.approx(2.7, abs=0.4)  # a tenth of 26 mΩ: nobody knows its warmth
    rough = answer("--loaded", path, "--drop", "0.52,20,20", "--gain-error", 5)["inverter"]["error"]
    assert rough == pytest.approx(np.hypot(2.6, 0.05 * 2.0**0.5 * np.hypot(26.0, 38.0)), rel=0.1)  # both by two meters
    warm = answer("--loaded", path, "--drop", "0.52,20,45")  # 26 mΩ as it was read, 24 at 20 °C
    assert warm["inverter"]["value"] == pytest.approx(12.0, abs=0.6)
    close = answer("--loaded", path, "--drop", "0.70,20,20")
    assert "controller.on_resistance_mohm" not in dict(close["keys"])  # 3 mΩ, give or take 3.6


def test_a_part_is_laid_over_another(tmp_path: Path):
    path = made.write(tmp_path / "s.csv", made.sweep(RNG(1)))
    part = tmp_path / "mine.toml"
    answer("--no-load", path, "--resistance-mohm", 26, "--motor", "motor-80mm", "--save", part)
    assert 'extends = "motor-80mm"' in part.read_text()
    root = Path(__file__).parents[2]
    build = tmp_path / "bike.toml"
    build.write_text(f'extends = "{root / "configs" / "longtail-belt.toml"}"\nmotor = "mine"\n')
    assert load_build(build).build.motor.mass_kg == 1.75


def test_a_row_that_contradicts_the_rest_is_told_by_its_number(tmp_path: Path):
    columns = made.sweep(RNG(2))
    columns["voltage_v"][16] += 1.2
    told = answer("--no-load", made.write(tmp_path / "s.csv", columns), "--resistance-mohm", 26)
    assert told["verdict"] == "look again"
    assert "row 17" in told["reason"]
    calm = answer("--no-load", made.write(tmp_path / "t.csv", made.sweep(RNG(2))), "--resistance-mohm", 26)
    assert calm["verdict"] == "fine"


def test_readings_below_full_duty_are_those_of_a_lower_voltage(tmp_path: Path):
    columns = made.sweep(RNG(3), noise=0.2)
    volts = columns.pop("voltage_v")
    duty = volts / 52.0
    throttled = {"battery voltage": np.full(24, 52.0), "duty": duty, "amps": columns["current_a"] * duty,
                 "motor rpm": columns["rpm"]}  # fmt: skip
    told = answer("--no-load", made.write(tmp_path / "s.csv", throttled), "--resistance-mohm", 26)
    assert told["no_load"]["kv_rpm_per_v"] == pytest.approx(made.KV, rel=0.003)
    assert told["no_load"]["drag_torque_nm"] == pytest.approx(made.STILL_NM, rel=0.05)


def test_a_mapping_corrects_a_guess(tmp_path: Path):
    """The logger counts tenths of a volt under a head that says nothing; the mapping that `log` writes is mended."""
    mixed = RNG(4).permutation(24)  # else it rises, and is taken for a clock
    columns = {name: values[mixed] for name, values in made.sweep(RNG(4)).items()}
    path = made.write(tmp_path / "s.csv", {"x1": 10.0 * columns["voltage_v"], "current_a": columns["current_a"],
                                           "rpm": columns["rpm"]})  # fmt: skip
    code, _, fault = bench("--no-load", path, "--resistance-mohm", 26)
    assert (code, "pack_voltage_v" in fault) == (2, True)
    text = CliRunner().invoke(app, ["log", str(path), "--mapping-only"]).stdout
    mine = 'head = "x1"\nquantity = "pack_voltage_v"\nunit = "v"\nscale = 0.1\n#'
    mended = text.replace('head = "x1"\nquantity = "ignore"', mine)
    (tmp_path / "map.toml").write_text(mended)
    told = answer("--no-load", f"{path}@{tmp_path / 'map.toml'}", "--resistance-mohm", 26)
    assert told["no_load"]["kv_rpm_per_v"] == pytest.approx(made.KV, rel=0.003)


def test_real_motors_by_file_are_as_surely_known_as_before(tmp_path: Path):
    """13 measured outrunners at full throttle, Kv and resistance as fitted beside the data (R2 0.993 to 0.998).

    Source: outrunner propeller bench (motor_propeller_testing, MIT), names removed.
    """
    folder = data_folder()
    rows = list(csv.DictReader((folder / "motor" / "outrunner_propeller_bench.csv").open())) if folder else []
    if not rows:
        pytest.skip("the recordings are not on this machine")
    fits = list(csv.DictReader((folder / "motor" / "outrunner_full_throttle_fit.csv").open()))
    for fit in fits:
        mine = [row for row in rows if row["motor"] == fit["motor"]]
        full = max(float(row["esc_us"]) for row in mine)
        chosen = [row for row in mine if float(row["esc_us"]) == full]
        path = tmp_path / "m.csv"
        path.write_text("voltage_V,current_A,rpm\n" + "".join(
            f"{row['voltage_V']},{row['current_A']},{row['rpm']}\n" for row in chosen))  # fmt: skip
        found = answer("--loaded", path)["loaded"]
        assert found["kv_rpm_per_v"] == pytest.approx(float(fit["Kv_fit_rpm_per_V"]), rel=2e-3), fit["motor"]
        assert found["resistance_mohm"] == pytest.approx(float(fit["R_total_mohm"]), rel=0.02), fit["motor"]
        assert found["verdict"] != "stop"


def _sweep(**changed: np.ndarray) -> dict[str, np.ndarray]:
    return {**made.sweep(RNG(1)), **changed}


def _run(**changed: np.ndarray) -> dict[str, np.ndarray]:
    return {**made.heating(RNG(1)), **changed}


TEXT = "Dear diary,\nthe motor ran well today.\nIt was warm.\n" * 9
COLD, RUN = np.full(481, 21.0), made.heating(RNG(1))
TIME = RUN["time_s"]
BAD: dict[str, tuple[str, str | dict[str, np.ndarray], str]] = {
    "empty": ("--no-load", "", "is empty"),
    "text": ("--no-load", TEXT, "no table of readings"),
    "nan": ("--no-load", _sweep(voltage_v=np.full(24, np.nan)), "no number"),
    "zeros": ("--no-load", {name: np.zeros(24) for name in _sweep()}, "0 steady readings"),
    "a thousand times": ("--no-load", _sweep(voltage_v=1e3 * _sweep()["voltage_v"]), "outside 0 to 500 V"),
    "one row": ("--no-load", {name: values[:1] for name, values in _sweep().items()}, "1 rows"),
    "never warm": ("--heating", _run(winding_temperature_c=COLD, body_temperature_c=COLD), "rises by"),
    "back in time": ("--heating", _run(time_s=np.concatenate((TIME[:200], TIME[:281]))), "goes back"),
    "short": ("--heating", {name: values[:12] for name, values in RUN.items()}, "12 rows"),
    "no current": ("--heating", _run(current_a=0.0 * TIME, voltage_v=0.0 * TIME), "zero"),
    "a slow clock": ("--heating", _run(time_s=1e-3 * TIME), "check the units of time"),
    "at rest": ("--rundown", {"time_s": TIME, "rpm": 0.0 * TIME}, "never turns"),
    "no fall": ("--rundown", {"time_s": TIME, "rpm": 0.0 * TIME + 3000.0}, "falls freely"),
}


@pytest.mark.parametrize("kind", BAD)
def test_bad_files_are_refused_in_one_line_and_nothing_is_written(kind: str, tmp_path: Path):
    option, made_bad, said = BAD[kind]
    path = tmp_path / "bad.csv"
    if isinstance(made_bad, str):
        path.write_text(made_bad)
    else:
        made.write(path, made_bad)
    code, text, fault = bench(option, path, "--resistance-mohm", 26, "--motor", "motor-80mm", "--save",
                              tmp_path / "p.toml", "--out", tmp_path / "out")  # fmt: skip
    lines = [line for line in fault.strip().splitlines() if "compil" not in line]
    assert (code, len(lines), said in fault) == (2, 1, True), (kind, code, fault, text)
    assert not (tmp_path / "p.toml").exists()
    assert not (tmp_path / "out").exists()
