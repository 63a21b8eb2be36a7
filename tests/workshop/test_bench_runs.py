"""Runs of a bench: each verdict just inside and just outside, each error that is told, each line of a part."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridesim.cli.bench_files import BenchFiles
from ridesim.errors import RideError
from ridesim.workshop.bench import heating, rundown, sheet, warming
from ridesim.workshop.bench.part import cooling_ratio, motor_part_text
from ridesim.workshop.bench.readings import BenchPoint
from ridesim.workshop.bench.runs import RunKey
from ridesim.workshop.bench.sweep import sweep_of

from . import made_benches as made

RNG = np.random.default_rng
INERTIA = "rotor_inertia_kg_m2"


def share(key: RunKey) -> float:
    return key.error / key.value


@pytest.mark.parametrize(("rms_k", "error", "word"), [
    (0.49, 0.24, "fine"), (0.51, 0.24, "look again"), (1.49, 0.24, "look again"), (1.51, 0.24, "stop"),
    (0.49, 0.26, "look again"),
])  # fmt: skip
def test_a_heating_run_is_judged_by_what_is_left_and_by_its_widest_number(rms_k: float, error: float, word: str):
    keys = (RunKey("a", "winding to body", 2.0, 0.02), RunKey("b", "body, heat capacity", 500.0, 500.0 * error))
    said, reason = heating._judge(rms_k, 10.0, keys, ("body",))
    assert said == word
    assert ("body, heat capacity (± 26%)" in reason) is (error > 0.25)


def test_what_helps_is_what_was_not_logged():
    keys = (RunKey("a", "winding to body", 2.0, 0.8),)
    assert "log the winding's warmth too" in heating._judge(0.1, 10.0, keys, ("body",))[1]
    assert "heat longer" in heating._judge(0.1, 10.0, keys, ("winding", "body"))[1]


@pytest.mark.parametrize(("off", "apart", "shape", "inertia_error", "word"), [
    (0.149, 0.0, 0.0, 0.1, "fine"), (0.151, 0.0, 0.0, 0.1, "stop"),
    (0.0, 0.299, 0.0, 0.1, "fine"), (0.0, 0.301, 0.0, 0.1, "stop"),
    (0.0, 0.0, 0.249, 0.1, "fine"), (0.0, 0.0, 0.251, 0.1, "look again"),
    (0.0, 0.0, 0.0, 0.199, "fine"), (0.0, 0.0, 0.0, 0.201, "look again"),
])  # fmt: skip
def test_a_rundown_is_judged_by_its_noise_its_falls_its_shape_and_its_error(off, apart, shape, inertia_error, word):
    keys = (RunKey(INERTIA, "rotor, moment of inertia", 2.0, 2.0 * inertia_error),)
    assert rundown._judge(off, apart, 0.01, shape, keys)[0] == word


def test_what_is_known_before_a_rundown_lends_it_its_errors():
    columns = made.rundown(RNG(6), falls=2)
    falls = rundown.falls_of("x", columns["time_s"], columns["rpm"])
    drag = rundown.Drag(made.STILL_NM, made.GROWTH_NM_S)
    plain = share(rundown.fit_rundown("x", falls, drag).keys[0])
    assert plain < 0.02
    at = float(np.mean(np.concatenate([omega for _, omega in falls])))
    torque = made.STILL_NM + made.GROWTH_NM_S * at
    unsure = replace(drag, constant_error_nm=0.08 * torque, growth_error_nm_s=0.06 * torque / at)
    assert share(rundown.fit_rundown("x", falls, unsure).keys[0]) == pytest.approx(np.hypot(plain, 0.1), rel=1e-6)
    by_meter = rundown.fit_rundown("x", falls, drag, gain_error=0.1).keys[0]
    assert share(by_meter) == pytest.approx(np.hypot(plain, 0.1), rel=1e-6)
    assert all(share(each) > 0.1 for each in rundown.fit_rundown("x", falls, None, made.INERTIA, 0.1).keys)
    # A drag that does not grow is another shape than this fall's: that is an error too.
    assert share(rundown.fit_rundown("x", falls, rundown.Drag(0.12, 0.0)).keys[0]) > 0.05
    grows = rundown.fit_rundown("x", falls, rundown.Drag(0.0, 4e-4))
    assert grows.verdict == "look again" and "differ in shape" in grows.reason


def test_a_fall_ends_where_the_motor_is_driven_again_and_has_to_go_far_enough():
    time = np.arange(0.0, 20.0, 0.1)
    down = np.where(time < 10.0, 4000.0 - 300.0 * time, 1000.0)
    again = np.where(time < 10.0, down, 4000.0 - 300.0 * (time - 10.0))
    assert [round(seconds[-1]) for seconds, _ in rundown.falls_of("x", time, again)] == [9, 9]
    little = 4000.0 - 60.0 * time  # by 30 %
    with pytest.raises(RideError, match="falls freely by 40%"):
        rundown.falls_of("x", time, little)


def run_of(place: Path, columns: dict[str, Any], error_c: float = 0.0, gain: float = 0.0) -> heating.HeatingRun:
    return BenchFiles(None).heating(str(made.write(place / "h.csv", columns)), None, error_c, gain)


def test_what_all_readings_of_a_heating_run_share_is_in_its_errors(tmp_path: Path):
    columns = made.heating(RNG(3), every_s=30.0, on_s=1500.0, off_s=1500.0)
    plain, unsure, rough = (
        heating.fit_heating(run_of(tmp_path, columns, error_c, gain)).keys
        for error_c, gain in ((0.0, 0.0), (0.0, 0.2), (3.0, 0.0))
    )
    assert plain[4].key == "resistance_mohm"
    assert plain[4].value == pytest.approx(1e3 * made.OHM, abs=3.0 * plain[4].error)  # its gains come with the sheet
    for before, after in zip(plain[:4], unsure[:4], strict=True):
        assert share(after) == pytest.approx(np.hypot(share(before), 0.2 * 2.0**0.5), rel=1e-3)
    assert all(share(after) > 1.5 * share(before) for before, after in zip(plain, rough, strict=True))


def test_numbers_that_a_run_does_not_tell_are_told_as_such(tmp_path: Path):
    columns = made.heating(RNG(5), every_s=30.0)
    columns["motor_current_a"] = columns.pop("current_a")
    kept = {name: values for name, values in columns.items() if name[:3] not in ("win", "vol")}
    run = run_of(tmp_path, kept)
    with pytest.raises(RideError, match="its resistance, which is not known"):
        heating.fit_heating(run)
    keys = heating.fit_heating(replace(run, resistance_mohm=26.0)).keys
    assert [each.told for each in keys] == [share(each) < 0.5 for each in keys]
    assert not all(each.told for each in keys) and keys[3].told


def test_copper_and_iron_warm_both_lumps_as_in_closed_form():
    """Settled: body = air + (P + P_i)/G_ba, winding = body + P/G_wb, P = I2 R (234.5 + T_w)/254.5.

    In air at 4 m/s: G_ba = 0.4 + 0.25 sqrt(4).
    """
    count, squared, ohm, iron = 400, 900.0, 0.02, 12.0
    out, each = np.empty((2, count + 1)), np.ones(count)
    warming._warm(60.0 * each, 0.0 * each, squared * each, iron * each, 20.0 * each, 4.0 * each, ohm, 1 / 120.0,
                  1 / 650.0, 3.5, 0.4, 0.25, 0.5, 20.0, 20.0, out)  # fmt: skip
    winding, body = out[:, -1]
    copper = squared * ohm * (234.5 + winding) / 254.5
    assert body == pytest.approx(20.0 + (copper + iron) / 0.9, rel=1e-4)
    assert winding - body == pytest.approx(copper / 3.5, rel=1e-4)


WHOLE = (
    RunKey("kv_rpm_per_v", "", 100.0, 0.4), RunKey("resistance_mohm", "", 26.0, 7.8),
    RunKey("drag_torque_nm", "", 0.08, 0.0), RunKey("rotor_inertia_kg_m2", "", 1e-3, 1e-8),
    RunKey("body_to_air_still_w_per_k", "", 0.7, 0.07),
)  # fmt: skip
SIZED = {"mass_kg": 1.75, "can_diameter_mm": 80.0, "can_length_mm": 85.0}


def part(
    given: dict[str, float],
    extends: str | None = None,
    ratio: float | None = None,
    measured: tuple[RunKey, ...] = WHOLE,
) -> list[str]:
    sheet: Any = SimpleNamespace(measured=measured, pole_pairs=7)
    return motor_part_text(sheet, "mine", "ridesim bench", (), given, extends, ratio).splitlines()


def test_a_part_says_how_sure_it_is():
    """One deviation of 30 % is a factor of 1.47 from 10 to 90 %: exp(1.2816 x 0.3); no meter is surer than 0.1 %."""
    lines = part(SIZED)
    assert 'kv_rpm_per_v = "0.4 %"' in lines and 'resistance_mohm = "x/ 1.47"' in lines
    assert 'drag_torque_nm = "measured"' in lines and 'rotor_inertia_kg_m2 = "0.1 %"' in lines


def test_a_part_has_the_cooling_of_both_airs_or_of_none():
    assert not any("body_to_air" in line for line in part(SIZED))
    assert any(line.startswith("body_to_air_at_36_km_h_w_per_k = 2.1 ") for line in part(SIZED, ratio=3.0))
    assert "body_to_air_still_w_per_k = 0.7" in part(SIZED, ratio=3.0)
    assert cooling_ratio(80.0, 85.0) > 1.5
    moving = RunKey("body_to_air_at_36_km_h_w_per_k", "", 2.1, 0.42)
    by_road = part(SIZED, ratio=3.0, measured=(*WHOLE[:-1], moving))
    assert "body_to_air_still_w_per_k = 0.7  # by the motor's size: no run tells it" in by_road
    assert "body_to_air_at_36_km_h_w_per_k = 2.1" in by_road
    both = part(SIZED, measured=(*WHOLE, moving))
    # Drawn by one factor: each as unsure as the less sure.
    for key, value in (("body_to_air_still_w_per_k", "0.7"), ("body_to_air_at_36_km_h_w_per_k", "2.1")):
        assert f"{key} = {value}" in both and f'{key} = "20 %"' in both
    slower = part(SIZED, measured=(*WHOLE, replace(moving, value=0.6)))
    assert "body_to_air_at_36_km_h_w_per_k = 0.7" in slower  # moving air never takes less than still air


@pytest.mark.parametrize(("off", "told"), [(0.104, True), (0.106, False)])
def test_moving_air_is_told_with_the_errors_of_both_its_parts(off: float, told: bool):
    """1 W/K ± 10 % still and 3 W/K ± 20 % added: 4 W/K ± 15.2 %; a power narrowed to 0.7 of the 0.15 known before."""
    theta = np.log(np.array([1.0, 1.0, 1.0, 1.0, 3.0, 0.6]))
    covariance = np.diag([0.0, 0.0, 0.0, 0.1**2, 0.2**2, off**2])
    run: Any = SimpleNamespace(gain_error=0.0)
    at_36, power = heating.moving_keys(run, theta, covariance, slice(4, 6))
    assert (at_36.value, share(at_36)) == pytest.approx((4.0, np.hypot(0.1, 0.6) / 4.0))
    assert (power.value, share(power), power.told) == (pytest.approx(0.6), pytest.approx(off), told)
    by_meter, _ = heating.moving_keys(SimpleNamespace(gain_error=0.2), theta, covariance, slice(4, 6))  # type: ignore[arg-type]
    assert share(by_meter) == pytest.approx(np.hypot(share(at_36), 0.2))


@pytest.mark.parametrize(("verdict", "lends"), [("fine", True), ("look again", True), ("stop", False)])
def test_a_run_that_says_stop_lends_the_next_nothing(verdict: str, lends: bool, monkeypatch: pytest.MonkeyPatch):
    run = run_of_nothing()
    still: Any = SimpleNamespace(verdict=verdict, keys=(RunKey("resistance_mohm", "", 26.0, 1.0),))
    monkeypatch.setattr(sheet, "fit_heating", lambda run, known: (run.resistance_mohm, known))
    ohm, known = sheet._heating(sheet.Readings(), run, None, None, still)
    assert (ohm, known) == ((26.0, still) if lends else (None, None))


def test_what_is_read_under_load_heats_no_winding(monkeypatch: pytest.MonkeyPatch):
    """It is the inverter's and the leads' too: without a drop the winding's own is not known."""

    def heat(r: Any, run: Any, cold_mohm: float | None, no_load: Any) -> None:
        raise RideError("heated", f"by {cold_mohm}", "")

    monkeypatch.setattr(sheet, "_heating", heat)
    loads = tuple(BenchPoint(48.0, amps, 100.0 * (48.0 - amps * 0.038)) for amps in (10.0, 30.0))
    for drop, said in ((None, "by None"), ((0.52, 20.0, 20.0), r"by 26\.0")):
        with pytest.raises(RideError, match=said):
            sheet.fill_sheet(sheet.Readings(loaded=loads, drop=drop, heating=run_of_nothing()))


@pytest.mark.parametrize(("share_known", "loose"), [(0.001, 0.01), (0.2, 0.2), (None, 3.0)])
def test_nothing_is_known_better_from_another_run_than_a_hundredth(share_known: float | None, loose: float):
    known = [] if share_known is None else [(5.0, share_known)] * 4
    problem: Any = SimpleNamespace(known=known, run=SimpleNamespace(in_moving_air=False))
    assert warming.Problem.loose.fget(problem).tolist() == [loose] * 4  # type: ignore[attr-defined]


def run_of_nothing() -> heating.HeatingRun:
    return heating.HeatingRun("x", *(np.zeros(3) for _ in range(9)))


def test_a_part_that_would_not_load_is_not_written():
    with pytest.raises(RideError, match="can_length_mm"):
        part({"mass_kg": 1.75, "can_diameter_mm": 80.0})
    laid_over = part({}, "motor-80mm")
    assert any(line.startswith("no_load = []") for line in laid_over)
    assert not any(line.startswith("no_load") for line in part(SIZED))


def test_readings_of_a_motor_that_speeds_up_are_left_out():
    time = np.arange(0.0, 40.0)
    rpm = np.where(time < 15.0, 2000.0, np.minimum(2000.0 + 200.0 * (time - 15.0), 4000.0))
    found = sweep_of("x", rpm / 100.0, 0.0 * time + 1.0, rpm, time_s=time)
    assert {round(each.speed_rpm) for each in found.points} <= {2000, 4000}
    assert 25 <= len(found.points) <= 29 and any("not steady" in note for note in found.notes)
