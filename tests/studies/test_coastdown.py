"""Coast-downs made by an independent solver, and by the closed form where the bearings are taken out."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ridesim.errors import LogError
from ridesim.road.air import air_density, pressure_pa
from ridesim.studies.coastdown import CoastRun, fit_coastdown, load_coast_run

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
    assert abs(fit.drag_area_m2 - CDA) < 4.0 * fit.drag_area_sd_m2
    assert abs(fit.rolling_resistance - CRR) < 4.0 * fit.rolling_resistance_sd


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
        ("time_s,speed_m_per_s\n0,5\n1,4\n", "readings above walking pace"),
        ("time_s,speed_m_per_s\n" + "".join(f"{n},{5 - 0.01 * n}\n" for n in range(20)), "loses only"),
        ("time_s,speed_m_per_s\n" + "".join(f"{-n},{9 - 0.3 * n}\n" for n in range(20)), "does not rise"),
    ],
)
def test_a_bad_run_is_refused(tmp_path: Path, text: str, words: str) -> None:
    place = tmp_path / "run.csv"
    place.write_text(text)
    with pytest.raises(LogError, match=words):
        load_coast_run(place)
