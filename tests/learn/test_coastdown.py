"""Coast-downs made by an independent solver, and by the closed form where the bearings are taken out."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ridesim.errors import LogError
from ridesim.learn.asked import coastdown
from ridesim.learn.coastdown import (
    HIGHEST,
    LOWEST,
    NAMES,
    WIDE_SHARE,
    CoastRun,
    _judge,
    edges,
    fit_coastdown,
    load_coast_run,
)
from ridesim.road.air import air_density, pressure_pa

MASS, CDA, CRR = 100.0, 0.559, 0.0077
G, FW, WHEELS = 9.80665, 0.0044, 0.14 / 0.311**2
RHO = float(air_density(pressure_pa(0.0), 15.0, 0.5))


def coast(first: float, grade: float, wind: float, seconds: float = 45.0) -> CoastRun:
    theta = math.atan(grade)

    def slowing(_t: float, v: np.ndarray) -> np.ndarray:
        air = 0.5 * RHO * (CDA + FW) * np.abs(v + wind) * (v + wind)
        return -(air + MASS * G * (CRR * math.cos(theta) + math.sin(theta)) + 0.091 + 0.0087 * v) / (MASS + WHEELS)

    clock = np.arange(0.0, seconds, 1.0)
    return CoastRun("made", clock, solve_ivp(slowing, (0.0, seconds), [first], t_eval=clock, rtol=1e-10).y[0])


def test_both_ways_give_drags_slope_and_wind() -> None:
    fit = fit_coastdown([coast(8.0, 0.002, 0.6)], [coast(8.3, -0.002, -0.6)], mass_kg=MASS)
    assert (fit.drag_area_m2, fit.rolling_resistance) == pytest.approx((CDA, CRR), rel=1e-3)
    assert (fit.grade, fit.headwind_m_per_s) == pytest.approx((0.002, 0.6), rel=1e-2)
    assert fit.speed_error_m_per_s < 1e-4


def test_one_way_takes_a_slope_for_rolling_and_says_so() -> None:
    level = fit_coastdown([coast(8.0, 0.0, 0.0)], mass_kg=MASS)
    tilted = fit_coastdown([coast(8.0, 0.001, 0.0)], mass_kg=MASS)
    told = fit_coastdown([coast(8.0, 0.001, 0.0)], mass_kg=MASS, grade_percent=0.1)
    assert level.rolling_resistance == pytest.approx(CRR, rel=1e-3)
    assert tilted.rolling_resistance == pytest.approx(CRR + 0.001, rel=0.01)
    assert told.rolling_resistance == pytest.approx(CRR, rel=1e-3)
    assert any("one way" in note for note in tilted.notes)


def test_noise_shows_in_the_deviation() -> None:
    noise = 0.05 * np.random.default_rng(5).standard_normal(45)
    clean = coast(8.0, 0.0, 0.0)
    fit = fit_coastdown([CoastRun("noisy", clean.time_s, clean.speed_m_per_s + noise)], mass_kg=MASS)
    assert fit.speed_error_m_per_s == pytest.approx(0.05, rel=0.3)
    assert fit.drag_area_90_m2[0] < CDA < fit.drag_area_90_m2[1]
    assert fit.rolling_resistance_90[0] < CRR < fit.rolling_resistance_90[1]


def gusty(draw: np.random.Generator, grade: float, wind: float, sd: float, lasting_s: float = 8.0) -> CoastRun:
    """A run in gusts that die away over some seconds (an Ornstein-Uhlenbeck wind), with 0.03 m/s of reading noise."""
    dt, seconds, v = 0.1, 45, 8.0 + 0.3 * float(draw.standard_normal())
    keep = math.exp(-dt / lasting_s)
    gust, speeds = sd * float(draw.standard_normal()), [v]
    kicks = sd * math.sqrt(1.0 - keep**2) * draw.standard_normal(int(seconds / dt))

    def slowing(speed: float) -> float:
        air = speed + wind + gust
        force = 0.5 * RHO * (CDA + FW) * abs(air) * air + MASS * G * (CRR + grade) + 0.091 + 0.0087 * speed
        return -force / (MASS + WHEELS)

    for number, kick in enumerate(kicks.tolist(), start=1):
        v += dt * slowing(v + 0.5 * dt * slowing(v))
        gust = keep * gust + kick
        if number % 10 == 0:
            speeds.append(v)
    noise = 0.03 * draw.standard_normal(len(speeds))
    return CoastRun("gusty", np.arange(len(speeds), dtype=float), np.array(speeds) + noise)


@pytest.mark.parametrize(("pairs", "gust_m_per_s"), [(2, 0.5), pytest.param(3, 0.8, marks=pytest.mark.slow)])
def test_intervals_hold_the_truth_nine_times_in_ten_in_gusts(pairs: int, gust_m_per_s: float) -> None:
    draw, tries, held = np.random.default_rng(41), 120, np.zeros(2)
    for _ in range(tries):
        there = [gusty(draw, 0.002, 0.6, gust_m_per_s) for _ in range(pairs)]
        back = [gusty(draw, -0.002, -0.6, gust_m_per_s) for _ in range(pairs)]
        fit = fit_coastdown(there, back, mass_kg=MASS)
        assert fit.compared == pairs
        for number, (truth, (low, high)) in enumerate(((CDA, fit.drag_area_90_m2), (CRR, fit.rolling_resistance_90))):
            held[number] += low < truth < high
    # 90 % of 120 is 108 with a standard deviation of 3.3: three of them either way.
    assert held == pytest.approx([108.0, 108.0], abs=3.0 * math.sqrt(120 * 0.9 * 0.1))


def test_one_run_cannot_tell_its_own_error_and_says_so() -> None:
    fit = fit_coastdown([coast(8.0, 0.002, 0.6)], [coast(8.3, -0.002, -0.6)], mass_kg=MASS)
    assert (fit.compared, fit.verdict) == (1, "look again")
    # 1.645 standard deviations of Tengattini's (2017) method: 0.1 m2 and 0.001.
    assert fit.drag_area_90_m2[1] - fit.drag_area_m2 == pytest.approx(0.1645, rel=0.01)
    assert fit.rolling_resistance_90[1] - fit.rolling_resistance == pytest.approx(0.001645, rel=0.01)
    assert "other people's" in fit.reason


@pytest.mark.parametrize(("faster", "verdict"), [(1.0, "fine"), (1.25, "fine"), (1.35, "look again")])
def test_runs_that_differ_widen_the_interval(faster: float, verdict: str) -> None:
    """The second pair slows that much faster: at some point three pairs no longer tell the drag area."""
    there = [coast(first, 0.002, 0.6) for first in (8.0, 8.05, 8.1)]
    back = [coast(first, -0.002, -0.6) for first in (8.3, 8.35, 8.4)]
    for runs in (there, back):
        runs[1] = CoastRun("second", runs[1].time_s / faster, runs[1].speed_m_per_s)
    fit = fit_coastdown(there, back, mass_kg=MASS)
    assert fit.verdict == verdict, fit.reason
    assert (fit.drag_area_90_m2[1] - fit.drag_area_m2 > WIDE_SHARE * fit.drag_area_m2) == (verdict == "look again")


def test_a_fit_at_the_edge_of_its_search_is_a_stop() -> None:
    """Half the mass that rolled and a brake that drags: no drag area in the search explains it."""
    run = coast(8.0, 0.0, 0.0)
    braked = CoastRun("braked", run.time_s / 12.0, run.speed_m_per_s)
    fit = fit_coastdown([braked], mass_kg=MASS)
    assert (fit.verdict, bool(fit.at_bounds)) == ("stop", True)
    assert "ended at" in fit.reason and "edge of the search" in fit.reason
    assert fit_coastdown([run], mass_kg=MASS).at_bounds == ()


@pytest.mark.parametrize(("share", "word"), [(1.1e-3, "fine"), (0.9e-3, "stop")])
def test_the_edge_of_a_search_begins_a_thousandth_away(share: float, word: str) -> None:
    """For each of the four numbers, at both of its ends."""
    middle = 0.5 * (np.array(LOWEST) + np.array(HIGHEST))
    assert [each.verdict for each in edges(middle)] == ["fine"] * 4
    for at, (low, high) in enumerate(zip(LOWEST, HIGHEST, strict=True)):
        for value, edge in ((low + share * (high - low), low), (high - share * (high - low), high)):
            values = middle.copy()
            values[at] = value
            found = edges(values)
            assert [each.verdict for each in found] == [word if each == at else "fine" for each in range(4)]
            assert found[at].reason.startswith(NAMES[at]) and f"ended at {edge:g}," in found[at].reason


def test_one_run_is_looked_at_again_and_two_pairs_that_agree_are_fine() -> None:
    one, two = coast(8.0, 0.0, 0.0), coast(7.9, 0.0, 0.0)
    back = [coast(7.8, 0.0, 0.0), coast(7.7, 0.0, 0.0)]
    alone, both = fit_coastdown([one], mass_kg=MASS), fit_coastdown([one, two], back, mass_kg=MASS)
    assert (alone.verdict, alone.compared, both.verdict, both.compared) == ("look again", 1, "fine", 2)
    assert "says nothing of its own error" in alone.reason
    assert "± 0%" not in both.reason and "within 1%" in both.reason
    shared = "drag area goes up and down with the mass"
    assert any(shared in note for note in both.notes) and not any(shared in note for note in alone.notes)


def test_runs_that_agree_one_way_only_are_looked_at_again() -> None:
    """A wind of 2 m/s in the face of both reads as a third more drag area, and no spread between them shows it."""
    still, windy = (fit_coastdown([coast(8.0, 0.0, wind), coast(7.9, 0.0, wind)], mass_kg=MASS) for wind in (0.0, 2.0))
    assert windy.drag_area_m2 > 1.2 * still.drag_area_m2
    for fit in (still, windy):
        assert fit.verdict == "look again" and "add runs back" in fit.reason


def test_a_mass_that_nobody_gave_is_no_fine_answer(tmp_path: Path) -> None:
    """Coasting tells decelerations: rolling stays under any mass, the drag area goes with it."""
    for number, name in enumerate(("there-1", "there-2", "back-1", "back-2")):
        run = coast(8.0 - 0.1 * number, 0.0, 0.0)
        rows = zip(run.time_s, run.speed_m_per_s, strict=True)
        (tmp_path / f"{name}.csv").write_text("time_s,speed_m_per_s\n" + "".join(f"{t},{v}\n" for t, v in rows))
    ways = [[tmp_path / f"{way}-{n}.csv" for n in (1, 2)] for way in ("there", "back")]
    light, heavy, unsaid = (coastdown(*ways, mass_kg=mass) for mass in (80.0, 120.0, None))
    assert heavy.rolling_resistance == pytest.approx(light.rolling_resistance, rel=0.02)
    assert heavy.drag_area_m2 > 1.4 * light.drag_area_m2
    assert (light.verdict, unsaid.verdict) == ("fine", "look again")
    assert "give --mass" in unsaid.reason
    assert any("the drag area goes up and down" in note for note in unsaid.notes)


@pytest.mark.parametrize(
    ("shares", "wide"),
    [((0.29, 0.29), ""), ((0.31, 0.1), "drag area to ± 31%"), ((0.1, 0.31), "rolling resistance to ± 31%")],
)
def test_either_number_may_be_told_too_widely(shares: tuple[float, float], wide: str) -> None:
    middle = edges(0.5 * (np.array(LOWEST) + np.array(HIGHEST)))
    word, reason = _judge(middle, 3, shares, True)
    assert word == ("look again" if wide else "fine")
    assert f"leaves {wide}: coast more often" in reason if wide else "agree" in reason


def test_runs_on_ground_of_unlike_slopes_leave_the_rolling_resistance_open() -> None:
    """One way only, a slope reads as rolling: 0.3 % up and down are two fifths of it, and the drag area stays told."""
    fit = fit_coastdown([coast(8.0, slope, 0.0) for slope in (0.0, 0.003, -0.003)], mass_kg=MASS)
    low, high = fit.rolling_resistance_90
    assert high - low > 2.0 * WIDE_SHARE * fit.rolling_resistance
    assert fit.drag_area_90_m2[1] - fit.drag_area_m2 < WIDE_SHARE * fit.drag_area_m2
    assert fit.verdict == "look again" and "leaves rolling resistance to" in fit.reason


def test_the_same_run_twice_is_no_agreement() -> None:
    run = coast(8.0, 0.0, 0.0)
    with pytest.raises(LogError, match="copy: is the same run as made"):
        fit_coastdown([run, CoastRun("copy", run.time_s, run.speed_m_per_s.copy())], mass_kg=MASS)
    with pytest.raises(LogError, match="is the same run"):
        fit_coastdown([run], [run], mass_kg=MASS)


@pytest.mark.parametrize(
    ("name", "inside", "outside"),
    [("temperature_c", 60.0, 60.1), ("altitude_m", 6000.0, 6001.0), ("grade_percent", -20.0, -20.1),
     ("headwind_m_per_s", 0.0, math.nan)],
)  # fmt: skip
def test_a_day_that_cannot_be_is_refused(name: str, inside: float, outside: float) -> None:
    run = coast(8.0, 0.0, 0.0)
    fit_coastdown([run], mass_kg=MASS, **{name: inside})
    with pytest.raises(LogError, match="is out of range"):
        fit_coastdown([run], mass_kg=MASS, **{name: outside})


def test_km_h_in_a_column_of_m_s_are_refused() -> None:
    assert fit_coastdown([coast(19.9, 0.0, 0.0)], mass_kg=MASS).at_bounds == ()
    with pytest.raises(LogError, match=r"begins at 20.1 m/s, that is 72 km/h; name the column speed_km_h"):
        fit_coastdown([coast(20.1, 0.0, 0.0)], mass_kg=MASS)


def test_the_mass_is_told_for_the_drags_go_with_it() -> None:
    light, heavy = (fit_coastdown([coast(8.0, 0.0, 0.0)], mass_kg=mass) for mass in (50.0, 100.0))
    assert (light.mass_kg, heavy.mass_kg) == (50.0, 100.0)
    assert heavy.drag_area_m2 > 1.8 * light.drag_area_m2


def test_a_file_in_km_h_reads_as_one_in_m_s(tmp_path: Path) -> None:
    run = coast(8.0, 0.0, 0.0)
    for name, values in (("speed_m_per_s", run.speed_m_per_s), ("speed_km_h", run.speed_m_per_s * 3.6)):
        rows = "\n".join(f"{t},{v}" for t, v in zip(run.time_s, values, strict=True))
        (tmp_path / f"{name}.csv").write_text(f"time_s,{name}\n{rows}\n")
    first, second = (load_coast_run(tmp_path / f"{name}.csv") for name in ("speed_m_per_s", "speed_km_h"))
    assert first.speed_m_per_s == pytest.approx(second.speed_m_per_s, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("t,v\n0,1\n", "has the columns t, v"),
        ("time_s,speed_m_per_s\n0,5\n1,4\n", "readings above 7.2 km/h"),
        ("time_s,speed_m_per_s\n" + "".join(f"{n},{5 - 0.01 * n}\n" for n in range(20)), "loses only"),
        ("time_s,speed_m_per_s\n" + "".join(f"{-n},{9 - 0.3 * n}\n" for n in range(20)), "does not rise"),
    ],
)
def test_a_bad_run_is_refused(tmp_path: Path, text: str, words: str) -> None:
    place = tmp_path / "run.csv"
    place.write_text(text)
    with pytest.raises(LogError, match=words):
        load_coast_run(place)


@pytest.mark.parametrize("cell", ["9" * 5000, "-" + "9" * 320, "1e999"])
def test_an_endless_number_is_no_reading(cell: str, tmp_path: Path) -> None:
    rows = [f"{t},{8.0 - 0.1 * t}" for t in range(40)]
    file = tmp_path / "run.csv"
    file.write_text("\n".join(["time_s,speed_m_per_s", *rows[:20], f"20,{cell}", *rows[21:]]) + "\n")
    assert load_coast_run(file).time_s.tolist() == [t for t in range(40) if t != 20]


@pytest.mark.parametrize(("head", "comma", "per_s", "per_m_per_s"), [
    ("Zeit s;v km/h", ",", 1.0, 3.6), ("Time [ms];Speed (mph)", ".", 1000.0, 3.6 / 1.609344),
    ("t;Geschwindigkeit m/s;Puls", ".", 1.0, 1.0),
])  # fmt: skip
def test_a_run_is_read_by_what_its_heads_speak_of(
    head: str, comma: str, per_s: float, per_m_per_s: float, tmp_path: Path
):
    """`v km/h` behind a decimal comma was no run; a mile is 1609.344 m (NIST SP 811)."""
    run = coast(11.0, 0.0, 0.0)
    rest = [0.0] * (head.count(";") - 1)
    rows = [[per_s * t, per_m_per_s * v, *rest] for t, v in zip(run.time_s, run.speed_m_per_s, strict=True)]
    file = tmp_path / "run.csv"
    file.write_text(head + "\n" + "".join(";".join(f"{x:.5f}" for x in row).replace(".", comma) + "\n" for row in rows))
    read = load_coast_run(file)
    assert read.time_s == pytest.approx(run.time_s[: len(read.time_s)] - run.time_s[0], abs=1e-4)
    assert read.speed_m_per_s == pytest.approx(run.speed_m_per_s[: len(read.time_s)], abs=1e-4)


@pytest.mark.parametrize("head", ["Zeit s;v", "Zeit s;Windgeschwindigkeit km/h", "Zeit s;v km/h;GPS speed km/h"])
def test_a_run_whose_speed_has_no_unit_or_two_columns_is_refused(head: str, tmp_path: Path):
    file = tmp_path / "run.csv"
    rest = ";9.0" * (head.count(";") - 1)
    file.write_text(head + "\n" + "".join(f"{t};{40 - t}{rest}\n" for t in range(20)))
    with pytest.raises(LogError, match="name them time_s and speed_m_per_s"):
        load_coast_run(file)
