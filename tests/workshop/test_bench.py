"""Bench measurements: exact recovery, error propagation, senseless input."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridesim.errors import RidesimError
from ridesim.report.bench.view import view
from ridesim.units import RPM
from ridesim.workshop.bench import readings as bench
from ridesim.workshop.bench import resistance as bench_resistance
from ridesim.workshop.bench.errors import ReadingErrors
from ridesim.workshop.bench.readings import BenchPoint
from ridesim.workshop.bench.sheet import Readings, fill_sheet

KV, RESISTANCE_MOHM = 83.0, 62.0
TWO_SPEEDS = (900.0, 2700.0)


def no_load_points(drag: float, growth: float, speeds: tuple[float, ...] = TWO_SPEEDS) -> list[BenchPoint]:
    points = []
    for speed in speeds:
        current = (drag + growth * speed * RPM) * RPM * KV
        points.append(BenchPoint(speed / KV + current * RESISTANCE_MOHM * 1e-3, current, speed))
    return points


@given(st.floats(0.01, 1.0), st.floats(1e-5, 5e-3))
@settings(deadline=None)  # the first fit loads the t distribution
def test_two_no_load_points_return_kv_and_both_drag_terms(drag: float, growth: float) -> None:
    fit = bench.fit_no_load(no_load_points(drag, growth), RESISTANCE_MOHM)
    assert fit.kv_rpm_per_v == pytest.approx(KV, rel=1e-9)
    assert fit.drag_torque_nm == pytest.approx(drag, rel=1e-6)
    assert fit.drag_growth_nm_s == pytest.approx(growth, rel=1e-6)
    assert fit.torque_per_current_nm_per_a == pytest.approx(60.0 / (2.0 * math.pi * KV), rel=1e-9)
    assert fit.verdict == "fine"


def test_no_load_errors_agree_with_a_random_draw() -> None:
    points = no_load_points(0.2, 5e-4, (800.0, 1600.0, 2600.0))
    errors = ReadingErrors(voltage_v=0.05, current_a=0.02, speed_rpm=8.0, resistance_mohm=3.0)
    fit = bench.fit_no_load(points, RESISTANCE_MOHM, errors)
    draw = np.random.default_rng(7)
    found = []
    for _ in range(3000):
        noisy = [
            BenchPoint(
                point.voltage_v + draw.normal(0.0, errors.voltage_v),
                point.current_a + draw.normal(0.0, errors.current_a),
                point.speed_rpm + draw.normal(0.0, errors.speed_rpm),
            )
            for point in points
        ]
        once = bench.fit_no_load(noisy, RESISTANCE_MOHM + draw.normal(0.0, errors.resistance_mohm))
        found.append((once.kv_rpm_per_v, once.drag_torque_nm, once.drag_growth_nm_s))
    # 3000 draws know a standard deviation to 1/sqrt(6000) = 1.3 %; four of these.
    told = (fit.kv_error_rpm_per_v, fit.drag_torque_error_nm, fit.drag_growth_error_nm_s)
    assert np.std(found, axis=0) == pytest.approx(told, rel=0.052)


def test_negative_drag_is_a_stop() -> None:
    faster_but_easier = [BenchPoint(12.0, 1.5, 900.0), BenchPoint(36.0, 0.4, 2700.0)]
    assert bench.fit_no_load(faster_but_easier, RESISTANCE_MOHM).verdict == "stop"


def test_close_speeds_and_a_far_name_plate_are_looked_at_again() -> None:
    assert bench.fit_no_load(no_load_points(0.2, 5e-4, (900.0, 1200.0)), RESISTANCE_MOHM).verdict == "look again"
    points = no_load_points(0.2, 5e-4)
    assert bench.fit_no_load(points, RESISTANCE_MOHM, name_plate_kv_rpm_per_v=KV * 0.95).verdict == "fine"
    assert bench.fit_no_load(points, RESISTANCE_MOHM, name_plate_kv_rpm_per_v=KV * 0.85).verdict == "look again"


def test_coarse_meter_is_looked_at_again() -> None:
    points = no_load_points(0.2, 5e-4)
    coarse = bench.fit_no_load(points, RESISTANCE_MOHM, ReadingErrors(voltage_v=5.0))
    assert coarse.verdict == "look again"
    assert coarse.kv_error_rpm_per_v > 0.05 * KV


@given(st.floats(5.0, 60.0), st.floats(10.0, 400.0))
def test_loaded_points_return_kv_and_resistance(current: float, resistance: float) -> None:
    points = [
        BenchPoint(speed / KV + load * resistance * 1e-3, load, speed)
        for speed, load in ((3000.0, 0.2 * current), (2800.0, current), (2500.0, 2.0 * current))
    ]
    fit = bench.fit_loaded_points(points)
    assert fit.kv_rpm_per_v == pytest.approx(KV, rel=1e-8)
    assert fit.resistance_mohm == pytest.approx(resistance, rel=1e-6)
    assert fit.r_squared == pytest.approx(1.0, abs=1e-9)


def test_loaded_points_with_a_falling_drop_are_a_stop() -> None:
    points = [BenchPoint(24.0, 5.0, 1900.0), BenchPoint(24.0, 20.0, 2100.0)]
    assert bench.fit_loaded_points(points).verdict == "stop"


def test_loaded_errors_agree_with_a_random_draw_and_the_worse_one_is_judged() -> None:
    points = [BenchPoint(48.0, load, (48.0 - load * 0.062) * KV) for load in (5.0, 20.0, 40.0)]
    errors = ReadingErrors(voltage_v=0.1, current_a=0.05, speed_rpm=4.0)
    fit = bench.fit_loaded_points(points, errors)
    draw = np.random.default_rng(11)
    found = []
    for _ in range(3000):
        noise = draw.normal(0.0, (errors.voltage_v, errors.current_a, errors.speed_rpm), (3, 3))
        noisy = [
            BenchPoint(point.voltage_v + v, point.current_a + a, point.speed_rpm + rpm)
            for point, (v, a, rpm) in zip(points, noise.tolist(), strict=True)
        ]
        once = bench.fit_loaded_points(noisy)
        found.append((once.kv_rpm_per_v, once.resistance_mohm))
    # 3000 draws know a standard deviation to 1.3 %; four of these.
    assert np.std(found, axis=0) == pytest.approx((fit.kv_error_rpm_per_v, fit.resistance_error_mohm), rel=0.052)
    assert fit.verdict == "fine"
    # Kv is known to well under 5 %, the resistance is not to 15 %: the verdict follows the resistance.
    coarse = bench.fit_loaded_points(points, ReadingErrors(voltage_v=0.4))
    assert coarse.kv_error_rpm_per_v < 0.02 * coarse.kv_rpm_per_v
    assert (coarse.verdict, "the resistance" in coarse.reason) == ("look again", True)


def contradicting(kv_low: float, kv_high: float) -> list[BenchPoint]:
    """No-load readings of which every other one belongs to another motor."""
    speeds = (12.0, 24.0, 36.0, 48.0)
    kvs = (kv_low, kv_high, kv_low, kv_high)
    return [
        BenchPoint(v, 1.0 + 0.02 * v, (v - (1.0 + 0.02 * v) * 0.06) * kv) for v, kv in zip(speeds, kvs, strict=True)
    ]


def test_half_the_points_of_another_motor_are_no_measurement() -> None:
    fit = bench.fit_no_load(contradicting(125.0, 176.0), 60.0)
    assert (fit.verdict, "125 to 176" in fit.reason) == ("stop", True)
    assert fit.kv_spread_percent == pytest.approx(100.0 * 51.0 / 150.5)
    # The truth may be either: one error must reach half way from the fit to both.
    assert fit.kv_error_rpm_per_v > 0.05 * fit.kv_rpm_per_v
    loaded = [BenchPoint(48.0, load, (48.0 - 0.06 * load) * kv) for kv in (125.0, 176.0) for load in (5.0, 20.0)]
    under = bench.fit_loaded_points(loaded)
    assert (under.verdict, "contradict" in under.reason) == ("stop", True)
    assert under.kv_error_rpm_per_v > 0.1 * under.kv_rpm_per_v


def test_the_bounds_of_contradiction() -> None:
    # Largest less smallest over the mean: 0.15 stops; below, the scatter's own error speaks (5 %).
    near = 125.0 * (1.0 + bench.CONTRADICTION / 2.0 * 0.99) / (1.0 - bench.CONTRADICTION / 2.0 * 0.99)
    past = 125.0 * (1.0 + bench.CONTRADICTION / 2.0 * 1.01) / (1.0 - bench.CONTRADICTION / 2.0 * 1.01)
    assert bench.fit_no_load(contradicting(125.0, near), 60.0).verdict != "stop"
    assert bench.fit_no_load(contradicting(125.0, past), 60.0).verdict == "stop"
    for share, verdict in ((0.98, "look again"), (1.02, "stop")):
        off = share * bench.CONTRADICTION / 2.0
        points = [
            BenchPoint(48.0 * (1.0 + sign * off), load, (48.0 - 0.06 * load) * 125.0)
            for load in (5.0, 20.0)
            for sign in (1.0, -1.0)
        ]
        fit = bench.fit_loaded_points(points)
        assert fit.misfit_percent == pytest.approx(100.0 * off)
        assert fit.verdict == verdict, fit.reason


@pytest.mark.parametrize("test", ["no load", "under load"])
def test_scatter_alone_tells_errors_that_hold_two_of_three_truths(test: str) -> None:
    """No reading error is told; scatter must show in the answer, by Student's factor even for two spare points."""
    draw, tries, held = np.random.default_rng(23), 1500, np.zeros(2)
    truth = (KV, RESISTANCE_MOHM) if test == "under load" else (KV, 0.2)
    speeds = (800.0, 1400.0, 2000.0, 2600.0)
    for _ in range(tries):
        if test == "under load":
            points = [
                BenchPoint(48.0 + draw.normal(0.0, 0.3), load, (48.0 - load * RESISTANCE_MOHM * 1e-3) * KV)
                for load in (5.0, 15.0, 25.0, 40.0)
            ]
            fit = bench.fit_loaded_points(points)
            found = ((fit.kv_rpm_per_v, fit.kv_error_rpm_per_v), (fit.resistance_mohm, fit.resistance_error_mohm))
        else:
            points = [
                BenchPoint(p.voltage_v + draw.normal(0.0, 0.3), p.current_a + draw.normal(0.0, 0.05), p.speed_rpm)
                for p in no_load_points(0.2, 5e-4, speeds)
            ]
            none = bench.fit_no_load(points, RESISTANCE_MOHM)
            found = ((none.kv_rpm_per_v, none.kv_error_rpm_per_v), (none.drag_torque_nm, none.drag_torque_error_nm))
        held += [abs(value - true) <= error for (value, error), true in zip(found, truth, strict=True)]
    # 68.3 % of 1500, and four standard deviations of a count (18 each).
    assert held == pytest.approx([0.683 * tries] * 2, abs=4.0 * math.sqrt(0.683 * 0.317 * tries))


def test_drag_readings_that_scatter_are_looked_at_again() -> None:
    def with_currents(factor: float) -> bench.NoLoadFit:
        points = no_load_points(0.2, 5e-4, (900.0, 900.0, 2700.0, 2700.0))
        signs = (1.0, -1.0, 1.0, -1.0)
        spread = [
            BenchPoint(p.voltage_v, p.current_a * (1.0 + s * factor), p.speed_rpm)
            for p, s in zip(points, signs, strict=True)
        ]
        return bench.fit_no_load(spread, RESISTANCE_MOHM)

    assert with_currents(0.05).verdict == "fine"
    wild = with_currents(0.25)
    assert (wild.verdict, "drag torque" in wild.reason) == ("look again", True)


@pytest.mark.parametrize(("inside", "verdict"), [(0.99, "fine"), (1.01, "look again")])
def test_every_limit_of_the_bench_just_inside_and_just_outside(inside: float, verdict: str) -> None:
    points = no_load_points(0.2, 5e-4)
    # 5 % of a result; errors go with the readings' to first order.
    unit = bench.kv_from_spin(4.0, 500.0, ReadingErrors(speed_rpm=1.0)).kv_error_rpm_per_v
    spin = bench.kv_from_spin(4.0, 500.0)
    spun = bench.kv_from_spin(4.0, 500.0, ReadingErrors(speed_rpm=inside * 0.05 * spin.kv_rpm_per_v / unit))
    assert spun.verdict == verdict
    # 5 % between the pairs: largest less smallest over the mean.
    apart = inside * bench_resistance.PAIR_SPREAD * 60.0
    assert bench_resistance.compare_pairs((60.0 - apart / 2.0, 60.0, 60.0 + apart / 2.0)).verdict == verdict
    # Speeds a factor 1.5 apart (more is better).
    speeds = no_load_points(0.2, 5e-4, (900.0, 900.0 * bench.SPEED_SPREAD / inside))
    assert bench.fit_no_load(speeds, RESISTANCE_MOHM).verdict == verdict
    # 11 % off the name plate.
    plate = KV / (1.0 + inside * bench.NAME_PLATE_KV_SPREAD)
    assert bench.fit_no_load(points, RESISTANCE_MOHM, name_plate_kv_rpm_per_v=plate).verdict == verdict
    # 15 % of a resistance under load, Kv far better known.
    loaded = [BenchPoint(48.0, load, (48.0 - load * 0.062) * KV) for load in (5.0, 20.0, 40.0)]
    one = bench.fit_loaded_points(loaded, ReadingErrors(voltage_v=0.01)).resistance_error_mohm
    volts = 0.01 * inside * bench.WIDE_RESISTANCE * RESISTANCE_MOHM / one
    fit = bench.fit_loaded_points(loaded, ReadingErrors(voltage_v=volts))
    assert (fit.verdict, fit.kv_error_rpm_per_v < 0.04 * fit.kv_rpm_per_v) == (verdict, True)


def drag_share(fit: bench.NoLoadFit, speed_rpm: float) -> float:
    at = speed_rpm * RPM
    error = math.hypot(fit.drag_torque_error_nm, fit.drag_growth_error_nm_s * at)
    return error / (fit.drag_torque_nm + fit.drag_growth_nm_s * at)


@pytest.mark.parametrize(("inside", "verdict"), [(0.99, "fine"), (1.01, "look again")])
def test_the_drag_torque_is_judged_in_the_middle_of_the_speeds(inside: float, verdict: str) -> None:
    points = no_load_points(0.2, 5e-4)
    one = drag_share(bench.fit_no_load(points, RESISTANCE_MOHM, ReadingErrors(current_a=0.01)), 1800.0)
    amps = 0.01 * inside * bench.WIDE_DRAG / one
    fit = bench.fit_no_load(points, RESISTANCE_MOHM, ReadingErrors(current_a=amps))
    assert drag_share(fit, 1800.0) == pytest.approx(inside * bench.WIDE_DRAG, rel=2e-3)
    assert (fit.verdict, "drag torque" in fit.reason) == (verdict, verdict != "fine")


def test_nobody_is_told_that_a_reading_is_certain_to_nothing() -> None:
    quiet = [
        bench.fit_no_load(no_load_points(0.2, 5e-4), RESISTANCE_MOHM).reason,
        bench.kv_from_spin(4.0, 500.0).reason,
        bench_resistance.line_resistance(0.5, 10.0, 20.0).reason,
        bench_resistance.pack_resistance(48.0, 2.0, 46.0, 30.0).reason,
    ]
    assert all("nobody said" in reason and "0.0%" not in reason for reason in quiet), quiet
    told = bench.kv_from_spin(4.0, 500.0, ReadingErrors(voltage_v=0.04)).reason
    assert "certain to 1.0%" in told


@pytest.mark.parametrize(
    ("spun_kv", "pairs", "loaded_mohm", "verdict", "says"),
    [
        (KV, 62.0, 75.0, "fine", ""),
        (KV * 1.055, 62.0, 75.0, "fine", ""),
        (KV * 1.065, 62.0, 75.0, "look again", "one of the two tests is wrong"),
        (KV / 2.0**0.5, 62.0, 75.0, "look again", "root of 2 apart"),
        (KV * 3.0**0.5, 62.0, 75.0, "look again", "root of 3 apart"),
        (KV, 62.0 * 1.14, 75.0, "fine", ""),
        (KV, 62.0 * 1.16, 75.0, "look again", "which is it"),
        (KV, 62.0, 62.0 * 0.86, "fine", ""),
        (KV, 62.0, 62.0 * 0.84, "look again", "cannot take any away"),
    ],
)
def test_tests_of_one_motor_are_held_against_each_other(
    spun_kv: float, pairs: float, loaded_mohm: float, verdict: str, says: str
) -> None:
    readings = Readings(
        no_load=no_load_points(0.2, 5e-4),
        loaded=[BenchPoint(48.0, load, (48.0 - load * loaded_mohm * 1e-3) * KV) for load in (5.0, 20.0, 40.0)],
        drop=(0.62, 10.0, 20.0),
        pairs_mohm=(pairs, pairs, pairs),
        spin=(500.0 / spun_kv / math.sqrt(2.0), 500.0),
    )
    sheet = fill_sheet(readings)
    assert (sheet.verdict, says in sheet.reason) == (verdict, True), sheet.reason


def test_a_test_that_says_stop_gives_the_build_file_nothing() -> None:
    drop = (0.62, 10.0, 20.0)
    good = dict(fill_sheet(Readings(no_load=no_load_points(0.2, 5e-4), drop=drop)).keys)
    assert set(good) == {
        f"motor.{key}" for key in ("kv_rpm_per_v", "resistance_mohm", "drag_torque_nm", "drag_growth_nm_s")
    }
    bad = dict(fill_sheet(Readings(no_load=contradicting(125.0, 176.0), drop=drop)).keys)
    assert set(bad) == {"motor.resistance_mohm"}


def test_line_resistance_comes_back_to_20_degrees() -> None:
    hot = bench_resistance.line_resistance(0.62 * 1.15717, 10.0, 60.0)
    assert hot.resistance_mohm == pytest.approx(62.0 * 1.15717)
    assert hot.resistance_at_20_c_mohm == pytest.approx(62.0, rel=1e-5)


def test_line_resistance_error_is_the_root_of_squares() -> None:
    errors = ReadingErrors(voltage_v=0.005, current_a=0.1, temperature_c=2.0)
    told = bench_resistance.line_resistance(0.5, 10.0, 20.0, errors)
    by_hand = 50.0 * math.sqrt((0.005 / 0.5) ** 2 + (0.1 / 10.0) ** 2 + (2.0 / 254.5) ** 2)
    assert told.resistance_error_mohm == pytest.approx(by_hand, rel=1e-3)
    assert told.verdict == "fine"


def test_pairs_that_differ_are_looked_at_again() -> None:
    assert bench_resistance.compare_pairs((62.0, 63.0, 62.5)).verdict == "fine"
    apart = bench_resistance.compare_pairs((62.0, 62.0, 68.0))
    assert apart.verdict == "look again"
    assert apart.spread_percent == pytest.approx(100.0 * 6.0 / 64.0)


@given(st.integers(1, 100))
def test_pole_pairs(pairs: int) -> None:
    assert bench.pole_pairs_from_magnets(2 * pairs) == pairs
    with pytest.raises(RidesimError, match="even"):
        bench.pole_pairs_from_magnets(2 * pairs + 1)


def test_spin_test_agrees_with_the_no_load_definition() -> None:
    speed = 500.0
    result = bench.kv_from_spin(speed / KV / math.sqrt(2.0), speed, ReadingErrors(voltage_v=0.05))
    assert result.kv_rpm_per_v == pytest.approx(KV, rel=1e-12)
    relative = 0.05 / (speed / KV / math.sqrt(2.0))
    assert result.kv_error_rpm_per_v == pytest.approx(KV * relative, rel=2e-4)


def test_pack_resistance_from_two_loads() -> None:
    errors = ReadingErrors(voltage_v=0.02, current_a=0.1)
    result = bench_resistance.pack_resistance(48.7617 - 0.0975 * 2.0, 2.0, 48.7617 - 0.0975 * 32.0, 32.0, errors)
    assert result.resistance_mohm == pytest.approx(97.5)
    assert result.open_circuit_v == pytest.approx(48.7617)
    by_hand = 97.5 * math.hypot(math.sqrt(2.0) * 0.02 / 2.925, math.sqrt(2.0) * 0.1 / 30.0)
    assert result.resistance_error_mohm == pytest.approx(by_hand, rel=1e-3)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: BenchPoint(24.0, 0.0, 900.0), r"current_a: must be .*got 0"),
        (lambda: BenchPoint(24.0, 1.0, math.nan), r"speed_rpm: must be .*got nan"),
        (lambda: ReadingErrors(voltage_v=-0.1), r"voltage_v: must be .*got -0.1"),
        (lambda: bench.fit_no_load(no_load_points(0.2, 1e-4)[:1], 62.0), "1 points"),
        (lambda: bench.fit_no_load(no_load_points(0.2, 1e-4, (900.0, 900.0)), 62.0), "same speed"),
        (lambda: bench.fit_no_load(no_load_points(0.2, 1e-4), 6.2e6), "as large as the voltage"),
        (lambda: bench.fit_no_load(no_load_points(0.2, 1e-4), -1.0), r"resistance_mohm: must be .*got -1"),
        (lambda: bench.fit_no_load(no_load_points(0.2, 1e-4), 0.099), r"at least 0.1 mΩ.*0.099 Ω are 99 mΩ"),
        (lambda: bench_resistance.compare_pairs((0.026, 0.026, 0.026)), "0.026 Ω are 26 mΩ"),
        (lambda: bench.fit_loaded_points([BenchPoint(24.0, 5.0, 1900.0)] * 2), "differ in load"),
        (lambda: bench_resistance.line_resistance(0.5, 10.0, 400.0), "400 degC"),
        (lambda: bench_resistance.line_resistance(0.5, 10.0, math.nan), "nan degC"),
        (lambda: bench_resistance.compare_pairs((62.0, 62.0)), "2 pairs"),
        (lambda: bench.kv_from_spin(0.0, 500.0), "line_voltage_rms_v"),
        (lambda: bench_resistance.pack_resistance(48.0, 20.0, 47.0, 10.0), "no more current"),
        (lambda: bench_resistance.pack_resistance(47.0, 2.0, 48.0, 10.0), "does not fall"),
    ],
)
def test_senseless_readings_are_refused_in_one_line(call: object, says: str) -> None:
    assert callable(call)
    with pytest.raises(RidesimError, match=says) as caught:
        call()
    assert str(caught.value).count("\n") == 0


@pytest.mark.parametrize(("printed", "verdict"), [(KV / 1.10, "fine"), (KV / 1.13, "look again")])
def test_a_far_name_plate_is_looked_at_again_by_any_test_of_kv(printed: float, verdict: str) -> None:
    """Eleven of a hundred off is more than measured motors are, whether spun, loaded or run free."""
    spun = bench.kv_from_spin(1000.0 / KV / 2**0.5, 1000.0, name_plate_kv_rpm_per_v=printed)
    loads = [bench.BenchPoint(48.0, amps, KV * (48.0 - amps * 0.05)) for amps in (10.0, 30.0)]
    loaded = bench.fit_loaded_points(loads, name_plate_kv_rpm_per_v=printed)
    assert (spun.verdict, loaded.verdict) == (verdict, verdict)


def test_the_gain_of_the_meters_is_in_the_errors_that_are_shown() -> None:
    """Two points may lie on one line by chance: a meter that reads 1 % off moves Kv by 1 % all the same."""
    points = tuple(no_load_points(0.2, 5e-4)[:2])
    readings = Readings(no_load=points, drop=(0.62, 10.0, 20.0), gain_error=0.01)
    shown = {row[0]: row[2] for row in view(fill_sheet(readings), readings, pictures=False).tables[0].rows}
    assert float(shown["Kv, no load"].split()[1]) == pytest.approx(0.01 * KV, rel=0.02)
    # Volts over amperes: two meters.
    assert shown["resistance at 20 °C"] == f"± {0.62 * 2**0.5:.2f} by gain alone"
    sheet = fill_sheet(readings)
    assert sheet.no_load is not None
    growth = 0.01 * 2**0.5 * sheet.no_load.drag_growth_nm_s
    assert float(shown["drag, growing part"].split()[1]) == pytest.approx(growth, rel=0.05)
    told = bench.kv_from_spin(4.0, 500.0, ReadingErrors(voltage_v=0.001)).reason
    assert "better than 0.1%, before the meters' own gain" in told
