"""How quick? Top speeds, times and starts against closed forms, and against whole rides."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from scipy.optimize import brentq
from typer.testing import CliRunner

from ridesim.bike.load import load_build, replace_keys
from ridesim.cli.app import app
from ridesim.engine.batch import Job, run_one
from ridesim.engine.pace import NORMAL
from ridesim.engine.params import parameters, start_state
from ridesim.errors import RideError
from ridesim.report.launch.view import view
from ridesim.report.view import view_text
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_climb
from ridesim.studies.launch import Launch, _grade_speed, launch
from ridesim.studies.steady import endless_road, still_of

from ..bikes import bike

DEMOS = ["longtail-belt", "longtail-hub", "commuter-light", "longtail-freewheel"]


@pytest.fixture(scope="module")
def starts(root) -> dict[str, Launch]:
    return {name: launch(load_build(root / "configs" / f"{name}.toml")) for name in DEMOS}


def _wheel_power(found: Launch, v: float) -> float:
    """Return the power at the shaft, iron's drag included, that holds a speed on the level [W], by the build."""
    p, b = found.run_up.params, found.loaded.build
    density = float(found.run_up.arrays.nodes["air_density"][0])
    force = 0.5 * density * p.drag_area * v * v + p.crr * b.mass_kg * 9.80665 + 0.091 + 0.0087 * v
    force -= b.rider.power_w * b.rider.chain_efficiency / v
    omega = v * b.drive.turns * 2.0 * math.pi / (b.tyre.circumference_mm * 1e-3)
    return force * v / p.efficiency + (p.stage_drag_driving + p.tau_0 + p.tau_1 * omega) * omega


def _electric(found: Launch, v: float) -> tuple[float, float, float]:
    """Return EMF [V], winding resistance and reactance [ohm] at a speed, as warm as the run-up ended."""
    p, b, end = found.run_up.params, found.loaded.build, found.run_up.raw.end
    omega = v * b.drive.turns * 2.0 * math.pi / (b.tyre.circumference_mm * 1e-3)
    k = 60.0 / (2.0 * math.pi * b.motor.kv_rpm_per_v) * (1.0 - 0.0012 * (end.body_temp - 20.0))
    resistance = b.motor.resistance_mohm * 1e-3 * (1.0 + 0.00393 * (end.winding_temp - 20.0))
    return k * omega, resistance, b.motor.pole_pairs * omega * b.motor.inductance_uh * 1e-6 * (p.duty > 0.0)


def _pack_at_end(found: Launch) -> tuple[float, float]:
    """Return the pack's voltage behind its fast resistance, and that resistance, where the run-up ended."""
    end, b, cell = found.run_up.raw.end, found.loaded.build, found.loaded.build.pack.cell
    volts = float(np.interp(end.charge, cell.charge_fraction, cell.open_circuit_v)) * b.pack.series - end.polarisation
    warm = math.exp(cell.activation_kj_per_mol * 1e3 / 8.314462618 * (1 / (end.pack_temp + 273.15) - 1 / 298.15))
    factor = float(np.interp(end.charge, cell.charge_fraction, cell.resistance_curve)) if cell.resistance_curve else 1.0
    groups = b.pack.series / b.pack.parallel * b.pack.resistance_factor * 1e-3
    return volts, cell.resistance_mohm * groups * factor * warm + (b.pack.interconnect_mohm + b.pack.wiring_mohm) * 1e-3


def _loss(found: Launch, current: float, volts: float) -> float:
    box = found.loaded.build.controller
    return (
        box.standby_power_w + box.on_resistance_mohm * 1e-3 * current**2 + box.switching_loss_fraction * current * volts
    )


def test_a_pack_limited_top_speed_is_the_power_balance(starts):
    """V I_b = shaft power + copper + controller, V = U - r I_b, I_b the limit. 0.1 %: the pack still empties.

    The highest speed is passed a little before the end, while the slow part of the pack's voltage still grows: 1 %.
    """
    for name in ("longtail-belt", "commuter-light"):
        found = starts[name]
        assert found.top_speed_held_by == "pack_current"
        volts, ohm = _pack_at_end(found)
        most = found.loaded.build.controller.pack_current_limit_a
        terminal = volts - ohm * most

        def spare(v: float, found: Launch = found, terminal: float = terminal, most: float = most) -> float:
            emf, resistance, _ = _electric(found, v)
            current = _wheel_power(found, v) / emf
            return terminal * most - emf * current - resistance * current**2 - _loss(found, current, terminal)

        wanted = brentq(spare, 8.0, 30.0) * 3.6
        end = found.run_up.raw.end.speed * 3.6
        assert end == pytest.approx(wanted, rel=0.001)
        assert found.top_speed_cold_pedalled_start_charge_km_h == pytest.approx(wanted, rel=0.01)


def test_a_voltage_limited_top_speed_is_the_voltage_balance(starts):
    """(E + I R)^2 + (X I)^2 = (d V)^2 with the pack loaded by the same current. 0.1 %: the pack still empties."""
    found = starts["longtail-hub"]
    assert found.top_speed_held_by == "modulation"
    volts, ohm = _pack_at_end(found)

    def spare(v: float) -> float:
        emf, resistance, reactance = _electric(found, v)
        current = _wheel_power(found, v) / emf
        terminal = volts
        for _ in range(50):
            drawn = (emf * current + resistance * current**2 + _loss(found, current, terminal)) / terminal
            terminal = volts - ohm * drawn
        return 0.95 * terminal - math.hypot(emf + current * resistance, reactance * current)

    wanted = brentq(spare, 8.0, 30.0) * 3.6
    assert found.run_up.raw.end.speed * 3.6 == pytest.approx(wanted, rel=0.001)


def test_a_start_without_air_or_rider_is_a_constant_push():
    """t = m_eff v / F, x = v^2 m_eff / 2 F. 0.5 %: the iron's drag grows with speed, the magnets warm."""
    loaded = bike(
        {
            "rider.power_w": 0.0,
            "bicycle.drag_area_m2": 0.1,
            "bicycle.wheel_drag_area_m2": 0.0,
            "controller.motor_current_limit_a": 40.0,
            "controller.motor_full_current_below_c": None,
        }
    )
    found = launch(loaded, to_km_h=(10.0,))
    b, p = loaded.build, found.run_up.params
    k = 60.0 / (2.0 * math.pi * b.motor.kv_rpm_per_v)
    torque = k * 40.0 * math.sqrt(3.0) / 2.0 - p.tau_0 - p.stage_drag_driving
    push = torque * p.turned * p.efficiency
    net = push - b.tyre.rolling_resistance * b.mass_kg * 9.80665 - 0.091
    radius = b.tyre.circumference_mm * 1e-3 / (2.0 * math.pi)
    mass = b.mass_kg + b.bicycle.wheels_inertia_kg_m2 / radius**2 + b.motor.rotor_inertia_kg_m2 * p.turned**2
    v = 10.0 / 3.6
    assert found.times[0].time_s == pytest.approx(mass * v / net, rel=0.02)
    assert found.times[0].distance_m == pytest.approx(mass * v * v / (2.0 * net), rel=0.02)
    assert found.motor_force_n[0] == pytest.approx(push, rel=1e-3)
    assert found.peak_acceleration_m_per_s2 == pytest.approx(net / mass, rel=0.01)


@pytest.mark.parametrize("name", DEMOS)
def test_the_steepest_start_is_where_rides_begin_to_stick(starts, name: str):
    found = starts[name]
    for change, stuck in ((-0.4, False), (+0.4, True)):
        hill = make_climb(60.0, found.steepest_start_percent + change)
        ride = simulate(found.loaded, hill, throttle=1.0, time_limit_h=0.1, trace=False)
        assert (ride.raw.stop.name == "STALLED") == stuck


@pytest.mark.parametrize("name", DEMOS)
def test_speeds_on_grades_are_those_of_rides(starts, name: str):
    """Full throttle on a grade without end, charge and heat held: the speed the ride ends at. 0.2 %: 121 points."""
    found = starts[name]
    b, still = found.loaded.build, still_of(found.loaded.build, found.loaded.build.pack.start_charge_fraction)
    p = found.run_up.params._replace(
        charge_per_coulomb=0.0, pack_k_per_j=0.0, winding_k_per_j=0.0, body_k_per_j=0.0, controller_k_per_j=0.0
    )
    for one in found.speeds_on_grades[1:4]:
        road = endless_road(still, one.grade_percent / 100.0, 33.0)
        ended = run_one(Job(p, road, start_state(b, speed_m_per_s=5.0), NORMAL, 1, 600.0)).end
        assert ended.speed * 3.6 == pytest.approx(one.speed_km_h, rel=0.002)


@pytest.mark.parametrize("name", DEMOS)
def test_pull_and_run_up_are_one_physics(starts, monkeypatch, name: str):
    """The run-up's own forces lie between the curve of a rested pack and that of a pack under lasting load.

    0.5 %: the run-up is a little warmer, and the curve has 121 points.
    """
    lasting = starts[name]
    monkeypatch.setattr("ridesim.studies.launch.PACK_PASSES", 1)
    rested = launch(lasting.loaded)
    trace = lasting.run_up.trace
    for wanted in (5.0, 10.0, 20.0, 30.0, 40.0):
        row = trace.iloc[int((trace["speed_km_h"] - wanted).abs().argmin())]
        low, high = (
            float(np.interp(row["speed_km_h"], found.speed_km_h, found.motor_force_n)) for found in (lasting, rested)
        )
        assert 0.995 * low <= row["motor_force_n"] <= 1.005 * high
        assert high < 1.04 * low


def test_a_freewheel_pulls_as_its_fixed_twin(starts):
    fixed, free = starts["longtail-belt"], starts["longtail-freewheel"]
    moving = fixed.motor_force_n > 1.0
    assert free.motor_force_n[moving] == pytest.approx(fixed.motor_force_n[moving], rel=0.01)


def test_times_and_distances_are_in_order(starts):
    for found in starts.values():
        reached = [time for time in found.times if time.time_s is not None]
        assert [time.time_s for time in reached] == sorted(time.time_s for time in reached)
        assert found.sprint_s is not None
        before = np.interp(100.0, found.run_up.trace["distance_km"] * 1e3, found.run_up.trace["time_s"])
        assert found.sprint_s == pytest.approx(float(before))


def test_a_light_high_bike_is_held_by_its_front_wheel():
    wild = {
        "bicycle.mass_centre_height_mm": 1500.0,
        "bicycle.mass_centre_ahead_mm": 150.0,
        "bicycle.cargo_kg": 0.0,
        "controller.motor_current_limit_a": 300.0,
    }
    found = launch(bike(wild))
    assert found.steepest_start_held_by == "front_lift"
    b = found.loaded.build
    assert found.lift_force_n == pytest.approx(b.mass_kg * 9.80665 * 150.0 / 1500.0, rel=1e-9)
    assert (found.motor_force_n + found.pedal_force_n).max() <= found.lift_force_n * 1.001
    assert "Mind the start" in view_text(view(found, pictures=False))


def test_a_slippery_road_is_held_by_grip():
    found = launch(bike({"bicycle.grip": 0.15, "controller.motor_current_limit_a": 200.0}))
    assert found.slip_force_n < found.lift_force_n
    assert found.steepest_start_held_by == "grip"
    assert launch(bike({"drive.driven_wheel": "front"})).lift_force_n == math.inf


def test_what_is_not_reached_is_told(starts):
    found = launch(starts["longtail-hub"].loaded, to_km_h=(25.0, 90.0))
    assert found.times[1].time_s is None
    assert "90 km/h is not reached" in view_text(view(found, pictures=False))


def test_the_assist_law_gives_what_the_pedals_call_for():
    found = launch(bike({"controller.throttle_law": "assist", "controller.assist_factor": 1.0}))
    assert found.top_speed_held_by == "assist"
    b = found.loaded.build
    moving = found.speed_km_h > 10.0
    share = found.motor_force_n[moving] / found.pedal_force_n[moving]
    efficiency = parameters(b).efficiency
    assert share == pytest.approx(efficiency / b.rider.chain_efficiency, rel=0.01)
    assert "assist law has no throttle" in view_text(view(found, pictures=False))


@pytest.mark.parametrize(
    ("question", "told"),
    [({"to_km_h": (0.0,)}, "--to"), ({"to_km_h": ()}, "--to"), ({"grades_percent": (90.0,)}, "--g")],
)
def test_questions_that_are_none(question: dict, told: str):
    with pytest.raises(RideError, match=told):
        launch(bike(), **question)


def test_pictures_name_what_they_show(starts):
    answer = view(starts["longtail-belt"], "imperial")
    axes = answer.figures[0][1].axes[0]
    words = {text.get_text() for text in axes.texts}
    assert {"motor current", "pack current", "0 %", "10 %"} <= words
    assert axes.get_xlabel() == "speed [mph]"
    assert axes.get_ylabel() == "force at the wheel [lbf]"


def test_the_command_answers_in_text_files_and_a_page(ridesim_command, tmp_path):
    out, page = tmp_path / "start", tmp_path / "start.html"
    words = ("configs/longtail-belt.toml", "--to", 20, "--to", 30, "--grades", "0,5,10")
    done = ridesim_command("launch", *words, "--out", out, "--report", page)
    assert done.returncode == 0, done.stderr
    for word in ("20 km/h from rest in", "30 km/h from rest in", "top speed", "steepest start", "100 m from rest"):
        assert word in done.stdout
    assert {path.name for path in out.glob("[!.]*")} == {
        "answer.txt", "answer.json", "pull.csv", "trace.csv", "pull-against-speed.png", "speed-against-time.png",
    }  # fmt: skip
    assert "resistance_at_5_percent_n" in (out / "pull.csv").read_text().splitlines()[0]
    assert json.loads((out / "answer.json").read_text())["schema"] == "ridesim.launch/2"
    assert "steepest start" in page.read_text()


def test_the_command_prints_json_alone_and_refuses_in_one_line(root):
    build = str(root / "configs" / "longtail-hub.toml")
    done = CliRunner().invoke(app, ["launch", build, "--json"])
    answer = json.loads(done.stdout)
    assert answer["top_speed_held_by"] == "modulation"
    assert len(answer["times"]) == 2
    for words, told in ((["--to", "0"], "--to"), (["--grades", "a,b"], "--grades"), (["--set", "x=1"], "x")):
        done = CliRunner().invoke(app, ["launch", build, *words])
        assert done.exit_code == 2
        assert told in done.stderr
        assert len(done.stderr.splitlines()) == 1


def test_a_run_up_that_burns_the_motor_says_so():
    """A winding of a few grams at full throttle: no run may end as if nothing were amiss."""
    tiny = bike({"motor.winding_heat_capacity_j_per_k": 8.0, "motor.winding_to_body_w_per_k": 0.3})
    assert launch(tiny).run_up_end_winding_temp_c > tiny.build.motor.winding_limit_c
    assert "burns the motor" in view_text(view(launch(tiny), pictures=False))
    assert "burns the motor" not in view_text(view(launch(bike()), pictures=False))


def test_a_rider_who_never_pedals_is_not_told_to_pedal():
    words = view_text(view(launch(bike({"rider.power_w": 0.0})), pictures=False)).split("note:")[0]
    assert "pedalling" not in words and "rider and motor" not in words and "the motor alone" in words


def test_a_front_motor_s_tyre_is_asked_for_the_motor_s_push():
    """The pedals push at the rear and only take load off the front: mu h / (L + mu h) of theirs, by moments."""
    front = launch(bike({"drive.driven_wheel": "front", "rider.power_w": 200.0}))
    b = front.loaded.build.bicycle
    part = b.grip * b.mass_centre_height_mm / (b.wheelbase_mm + b.grip * b.mass_centre_height_mm)
    allowed = front.slip_force_n - part * float(front.pedal_force_n.max())
    assert front.pedal_takes == pytest.approx(part)
    line = next(each for each in view(front, pictures=False).answer if "push" in each)
    assert f"{front.motor_force_n.max():.0f} N" in line and f"{allowed:.0f} N" in line


@pytest.mark.parametrize(("grade", "starts"), [(9.9, True), (10.0, True), (10.1, False), (19.0, False)])
def test_a_grade_beyond_the_steepest_start_is_none_to_start_on(grade: float, starts: bool) -> None:
    """However fast it is ridden with a run-up: what meets the resistance at speed may not set off."""
    at, spare = np.array([0.0, 10.0, 20.0, 30.0]), np.array([5.0, 5.0, 5.0, -5.0])
    found = _grade_speed(grade, at, spare, 10.0)
    assert (found.grade_percent, found.speed_km_h, found.starts) == (grade, 25.0, starts)
    assert _grade_speed(grade, at, spare - 20.0, 10.0).speed_km_h is None


def test_a_start_that_gears_or_chain_do_not_stand_is_told(root) -> None:
    """Nothing pulls a hub as hard as a start: just inside what it stands, and just outside (1 % is rounding)."""
    bike = load_build(root / "configs" / "longtail-mid-drive.toml")
    most = launch(bike).run_up.figures.peak_gear_torque_nm
    for stands, told in ((most / 1.005, False), (most / 1.03, True)):
        answer = launch(replace_keys(bike, {"drive.gears.input_torque_limit_nm": stands})).view(pictures=False).answer
        assert any(line.startswith("Mind the start: up to") and "go into the gears" in line for line in answer) is told
