"""Three throttle laws on one climb: what each does to the current, from the circuit's own equations."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from typer.testing import CliRunner

from ridesim.bike.load import load_build
from ridesim.cli.app import app
from ridesim.errors import RideError
from ridesim.report.throttle.view import view
from ridesim.report.view import view_text
from ridesim.studies.throttle import LAWS, RIDES, Throttle, throttle

from ..bikes import bike

TO_AMPLITUDE = 2.0 / math.sqrt(3.0)


@pytest.fixture(scope="module")
def belt(root) -> Throttle:
    return throttle(load_build(root / "configs" / "longtail-belt.toml"))


@pytest.fixture(scope="module")
def burnt(root) -> Throttle:
    return throttle(load_build(root / "configs" / "longtail-two-stage.toml"), grade_percent=14.0, length_km=2.0)


def test_six_rides_of_one_climb(belt):
    assert [(case.law, case.limits) for case in belt.cases] == [(law, on) for on in (True, False) for law in LAWS]
    assert len(belt.rides) == RIDES
    assert {ride.road.name for ride in belt.rides} == {belt.road.name}
    assert belt.cruise_speed_km_h == 25.0


def test_with_limits_a_governor_is_a_torque_throttle_that_holds_a_speed(belt):
    torque, governor = (belt.case(law, limits=True) for law in ("torque", "governor"))
    assert governor.peak_winding_temp_c == pytest.approx(torque.peak_winding_temp_c, abs=1e-6)
    assert governor.rms_motor_current_a == pytest.approx(torque.rms_motor_current_a, rel=1e-9)


def test_limits_are_kept_and_without_them_passed(belt):
    for case in belt.cases:
        if case.limits or case.law == "torque":
            assert case.peak_motor_current_a <= belt.motor_current_limit_a * (1.0 + 1e-9)
        else:
            assert case.peak_motor_current_a > 3.0 * belt.motor_current_limit_a
        if case.limits:
            assert case.peak_pack_current_a <= belt.pack_current_limit_a * (1.0 + 1e-6)


def test_without_limits_a_governor_holds_its_speed_and_the_others_do_not(belt):
    slowest = {law: belt.case(law, limits=False).slowest_on_climb_km_h for law in LAWS}
    assert slowest["governor"] == pytest.approx(25.0, abs=0.6)  # the foot of the hill is met within a second
    assert slowest["torque"] < slowest["voltage"] < 24.0


def _circuit(loaded) -> tuple[float, float, float, float]:
    """Return OCV, pack resistance, motor resistance and on resistance at the start, all cold [V, ohm]."""
    b, cell = loaded.build, loaded.build.pack.cell
    charge = b.pack.start_charge_fraction
    volts = float(np.interp(charge, cell.charge_fraction, cell.open_circuit_v)) * b.pack.series
    warm = math.exp(cell.activation_kj_per_mol * 1e3 / 8.314462618 * (1.0 / 293.15 - 1.0 / 298.15))
    factor = float(np.interp(charge, cell.charge_fraction, cell.resistance_curve)) if cell.resistance_curve else 1.0
    groups = b.pack.series / b.pack.parallel * b.pack.resistance_factor * 1e-3
    pack = cell.resistance_mohm * groups * factor * warm + (b.pack.interconnect_mohm + b.pack.wiring_mohm) * 1e-3
    return volts, pack, b.motor.resistance_mohm * 1e-3, b.controller.on_resistance_mohm * 1e-3


def _standing_current(loaded, duty: float) -> float:
    """Return the current of a standing motor at a duty [A]: I R = d V, V = U - r I_b, V I_b = I^2 R + losses.

    Where that lies past the pack's power peak, the current that the peak feeds.
    """
    volts, pack, motor, on = _circuit(loaded)
    box = loaded.build.controller

    def load(current: float, terminal: float) -> float:
        lost = box.standby_power_w + box.switching_loss_fraction * current * terminal
        return current**2 * (motor + on) + lost

    def missing(current: float) -> float:
        terminal = current * motor / duty
        return volts - pack * load(current, terminal) / terminal - terminal

    by_duty = brentq(missing, 1.0, 5000.0)
    if by_duty * motor / duty > 0.505 * volts:
        return by_duty
    half = 0.505 * volts
    return brentq(lambda current: load(current, half) - half * (volts - half) / pack, 1.0, 5000.0)


@pytest.mark.parametrize("name", ["longtail-belt", "longtail-two-stage", "longtail-hub"])
def test_the_stall_current_is_the_circuit_s_own(root, name: str):
    """Standing at full duty."""
    loaded = load_build(root / "configs" / f"{name}.toml")
    found = throttle(loaded, grade_percent=2.0, length_km=0.1)
    scale = TO_AMPLITUDE if loaded.build.controller.commutation == "sine" else 1.0
    wanted = _standing_current(loaded, loaded.build.controller.modulation_limit) * scale
    assert found.stall_current_a == pytest.approx(wanted, rel=1e-6)


def test_a_voltage_throttle_surges_from_rest_by_the_same_circuit(root):
    """The duty that gives the cruise speed, on a standing motor. 3 %: the bike moves within the first short steps."""
    loaded = load_build(root / "configs" / "longtail-hub.toml")
    found = throttle(loaded, grade_percent=5.0, length_km=0.2)
    b = loaded.build
    emf = 25.0 / 3.6 / (b.tyre.circumference_mm * 1e-3) * b.drive.turns * 60.0 / b.motor.kv_rpm_per_v
    duty = emf / _circuit(loaded)[0]
    wanted = _standing_current(loaded, duty) * TO_AMPLITUDE
    assert found.case("voltage", limits=False).peak_motor_current_a == pytest.approx(wanted, rel=0.03)


def test_on_the_hill_the_voltage_throttle_stays_where_the_level_put_it(belt):
    """The share of the pack's voltage is that of the back-EMF at the wanted speed; the current is the hill's."""
    ride = belt.rides[LAWS.index("voltage") + 3]
    p, row = ride.params, ride.trace.iloc[len(ride.trace) // 2]
    k = p.torque_constant * (1.0 + p.magnet_per_k * (row["body_temp_c"] - 20.0))
    rested = row["open_voltage_v"] - p.polarisation_resistance * row["pack_current_a"]
    assert row["modulation"] == pytest.approx(k * p.turned * 25.0 / 3.6 / rested, rel=0.005)
    assert row["speed_km_h"] < 24.0


def test_a_burnt_winding_is_timed_and_told(burnt):
    quickest = burnt.case("governor", limits=False)
    slowest = burnt.case("torque", limits=True)
    assert quickest.limit_passed_after_min < slowest.limit_passed_after_min
    ride = burnt.rides[5]
    over = ride.trace[ride.trace["winding_temp_c"] > 155.0]["time_s"].iloc[0]
    assert quickest.limit_passed_after_min == pytest.approx(over / 60.0)
    text = view_text(view(burnt, pictures=False))
    assert text.count("cooks") == 3
    for word in ("STOP", "past its limit", "times the set current", "lithium", "torque, voltage and governor"):
        assert word in text


def test_the_verdict_is_the_judges_of_the_builds_own_law(belt, burnt):
    for result in (belt, burnt):
        own = result.case("torque", limits=True)
        assert result.loaded.build.controller.throttle_law == "torque"
        assert view(result, pictures=False).verdict == own.verdict
    assert burnt.case("torque", limits=True).verdict == "stop"
    # A bike whose own law is a fourth one was told "As built (torque law, limits on)".
    own = burnt.loaded.build.controller.model_copy(update={"throttle_law": "assist"})
    other = replace(burnt.loaded, build=burnt.loaded.build.model_copy(update={"controller": own}))
    first = view(replace(burnt, loaded=other), pictures=False).answer[0]
    assert "As built" not in first and "own law, assist, is none of the three" in first
    assert view(burnt, pictures=False).answer[0].startswith("As built (torque law")


def test_the_shape_of_the_answer_in_pictures(belt):
    answer = view(belt, "imperial")
    assert len(answer.figures) == 2
    heat = answer.figures[0][1].axes[1]
    assert len(heat.lines) >= 4  # three laws and the limit
    assert "°F" in heat.get_ylabel()


def test_a_freewheel_hub_and_an_assist_build_are_answered(root):
    freewheel = throttle(load_build(root / "configs" / "longtail-freewheel.toml"), grade_percent=6.0, length_km=0.3)
    assert all(case.finished for case in freewheel.cases)
    assist = bike({"controller.throttle_law": "assist"})
    assert throttle(assist, grade_percent=3.0, length_km=0.3).case("governor", limits=True).finished


@pytest.mark.parametrize(
    ("question", "told"),
    [
        ({"grade_percent": -2.0}, "no climb"),
        ({"length_km": 0.0}, "--length"),
        ({"speed_km_h": 1.0}, "cruise_speed"),
        ({"road": "x.gpx", "grade_percent": 3.0}, "both"),
    ],
)
def test_questions_that_are_none(question: dict, told: str):
    with pytest.raises(RideError, match=told):
        throttle(bike(), **question)


def test_the_command_answers_in_text_files_and_a_page(ridesim_command, tmp_path):
    out, page = tmp_path / "laws", tmp_path / "laws.html"
    done = ridesim_command(
        "throttle", "configs/longtail-hub.toml", "--length", 0.5, "--out", out, "--report", page
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "Six rides up one climb" in done.stdout
    names = {path.name for path in out.glob("[!.]*")}
    assert {"cases.csv", "limits-on.png", "limits-off.png", "trace-voltage-off.csv", "answer.json"} <= names
    answer = json.loads((out / "answer.json").read_text())
    assert answer["schema"] == "ridesim.throttle/2"
    assert len(answer["cases"]) == RIDES
    assert "Governor law" in page.read_text()


def test_the_command_prints_json_alone_and_refuses_in_one_line(root):
    build = str(root / "configs" / "longtail-belt.toml")
    done = CliRunner().invoke(app, ["throttle", build, "--grade", "5", "--length", "0.3", "--json"])
    assert json.loads(done.stdout)["stall_current_a"] > 400.0
    for words, told in ((["--grade", "-3"], "no climb"), (["none.gpx"], "none.gpx"), (["--speed", "900"], "speed")):
        done = CliRunner().invoke(app, ["throttle", build, *words])
        assert done.exit_code == 2
        assert told in done.stderr
        assert len(done.stderr.splitlines()) == 1
