"""The steady climb in closed form, against the same balance by a general root finder and against long rides."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.studies.rating import rate
from ridesim.studies.steady import SteadyState, endless_road, settle, steady_state, still_of

from ..bikes import bike

AIR_C = 20.0


def _force(b: Any, grade: float, v: float, density: float) -> float:
    """Resistance of a climb, Martin et al. (1998), less the rider's push [N]."""
    angle, mass = math.atan(grade / 100.0), b.mass_kg * 9.80665
    area = b.bicycle.drag_area_m2 + b.bicycle.wheel_drag_area_m2
    rolling = b.tyre.rolling_resistance * mass * math.cos(angle)
    total = 0.5 * density * area * v * v + rolling + mass * math.sin(angle) + 0.091 + 0.0087 * v
    return total - min(b.rider.power_w * b.rider.chain_efficiency / v, total)


def _air_torque(b: Any, grade: float, v: float, density: float) -> tuple[float, float, float]:
    """Return K I at the shaft with the iron's drag [N m], motor speed [rad/s] and iron torque [N m]."""
    radius = b.tyre.circumference_mm / 2000.0 / math.pi
    turns = efficiency = 1.0
    drag = 0.0
    for stage in b.drive.stage:
        drag += stage.drag_torque_nm / (turns * efficiency)
        turns *= stage.turns
        efficiency *= stage.load_efficiency
    omega = v / radius * turns
    k = 60.0 / (2.0 * math.pi * b.motor.kv_rpm_per_v)
    speeds = [point.speed_rpm * math.pi / 30.0 for point in b.motor.no_load]
    tau_1, tau_0 = np.polyfit(speeds, [k * point.current_a for point in b.motor.no_load], 1)
    iron = tau_0 + tau_1 * omega
    return _force(b, grade, v, density) * radius / turns / efficiency + drag + iron, omega, iron


def _by_root(b: Any, grade: float, v: float, density: float) -> tuple[float, float, float]:
    """Return winding, body [degC] and current [A]: one equation in the body's temperature, bracketed."""
    torque, omega, iron = _air_torque(b, grade, v, density)
    m = b.motor
    k_20 = 60.0 / (2.0 * math.pi * m.kv_rpm_per_v)
    moving = m.body_to_air_at_36_km_h_w_per_k - m.body_to_air_still_w_per_k
    cooling = m.enclosure * (m.body_to_air_still_w_per_k + moving * (v / 10.0) ** m.cooling_exponent)

    def of(body: float) -> tuple[float, float]:
        current = torque / (k_20 * (1.0 + m.magnet_coefficient_percent_per_k / 100.0 * (body - 20.0)))
        winding = brentq(
            lambda t: (t - body) * m.winding_to_body_w_per_k
            - current**2 * m.resistance_mohm / 1000.0 * (1.0 + 0.00393 * (t - 20.0)),
            body, 2000.0, xtol=1e-11,
        )  # fmt: skip
        return winding, current

    def missing(body: float) -> float:
        return (of(body)[0] - body) * m.winding_to_body_w_per_k + iron * omega - cooling * (body - AIR_C)

    body = brentq(missing, AIR_C, 140.0, xtol=1e-11)
    return (*of(body)[:1], body, of(body)[1])


@pytest.mark.parametrize(("grade", "speed"), [(3.0, 12.0), (5.0, 25.0), (6.5, 18.0)])
def test_the_fixed_point_is_the_root_of_the_heat_balance(grade: float, speed: float):
    loaded = bike()
    density = still_of(loaded.build, 0.5).air_density
    found = steady_state(loaded, grade, speed)
    winding, body, current = _by_root(loaded.build, grade, speed / 3.6, density)
    assert found.winding_temp_c == pytest.approx(winding, abs=1e-6)
    assert found.body_temp_c == pytest.approx(body, abs=1e-6)
    assert found.motor_current_dc_equivalent_a == pytest.approx(current, rel=1e-9)
    assert found.motor_current_a == pytest.approx(current * 2.0 / math.sqrt(3.0), rel=1e-9)  # a sine drive's amplitude


def test_without_magnet_loss_the_runaway_current_is_the_closed_form():
    """I^2 R_20 alpha (1/G_wb + 1/G_ba) = 1: one K of heat brings itself back."""
    loaded = replace_keys(bike(), {"motor.magnet_coefficient_percent_per_k": 0.0})
    m = loaded.build.motor
    moving = m.body_to_air_at_36_km_h_w_per_k - m.body_to_air_still_w_per_k
    cooling = m.enclosure * (m.body_to_air_still_w_per_k + moving * (20.0 / 36.0) ** m.cooling_exponent)
    wanted = 1.0 / math.sqrt(m.resistance_mohm / 1e3 * 0.00393 * (1.0 / m.winding_to_body_w_per_k + 1.0 / cooling))
    assert steady_state(loaded, 5.0, 20.0).runaway_current_dc_equivalent_a == pytest.approx(wanted, rel=1e-6)


def test_past_the_runaway_current_no_steady_state_is_claimed():
    steep = [steady_state(bike(), grade, 20.0) for grade in np.arange(2.0, 30.0, 1.0)]
    exists = [one.exists for one in steep]
    assert exists[0]
    assert not exists[-1]
    assert exists == sorted(exists, reverse=True)
    lost = steep[exists.index(False)]
    assert (lost.winding_temp_c, lost.motor_current_a, lost.controller_temp_c) == (None, None, None)
    hottest = [one for one in steep if one.exists][-1]
    assert hottest.motor_current_dc_equivalent_a < hottest.runaway_current_dc_equivalent_a


def test_steeper_is_hotter_and_magnets_make_it_worse():
    windings = [steady_state(bike(), grade, 20.0).winding_temp_c for grade in (0.0, 2.0, 4.0, 6.0)]
    assert windings == sorted(windings)
    cold_magnets = replace_keys(bike(), {"motor.magnet_coefficient_percent_per_k": 0.0})
    assert steady_state(cold_magnets, 6.0, 20.0).winding_temp_c < windings[-1]


def test_a_freewheel_drive_that_the_rider_pushes_alone_stays_cold():
    loaded = replace_keys(bike(), {"drive.coupling": "freewheel", "controller.brake_current_limit_a": 0.0})
    strong = replace_keys(loaded, {"rider.power_w": 300.0})
    assert steady_state(strong, 0.0, 10.0).winding_temp_c == pytest.approx(AIR_C)
    assert steady_state(loaded, 4.0, 20.0).winding_temp_c > AIR_C + 10.0


def _long_ride(loaded: LoadedBuild, grade: float, speed_km_h: float, hours: float) -> tuple[float, float]:
    """Return speed [km/h] and cells [degC] after hours on a grade, every limit and foldback live, the charge held."""
    from ridesim.engine.batch import Job, run_one
    from ridesim.engine.pace import NORMAL
    from ridesim.engine.params import parameters, start_state

    still = still_of(loaded.build, 0.5)
    p = parameters(loaded.build, law="torque")._replace(charge_per_coulomb=0.0)
    road = endless_road(still, grade / 100.0, speed_km_h / 3.6)
    start = start_state(loaded.build, speed_m_per_s=speed_km_h / 3.6)._replace(charge=0.5)
    end = run_one(Job(p, road, start, NORMAL, 1, hours * 3600.0)).end
    return end.speed * 3.6, end.pack_temp


@pytest.mark.parametrize("name", ["longtail-belt", "longtail-hub"])
@pytest.mark.parametrize("speed", [12.0, 25.0, 40.0])
def test_the_rated_grade_is_held_for_hours_and_a_steeper_one_is_not(root, name: str, speed: float):
    """Twelve hours are eight of the slowest time constants, the cells'; what ends it is a foldback or the pack."""
    from ridesim.engine.params import parameters

    loaded = load_build(root / "configs" / f"{name}.toml")
    p, still = parameters(loaded.build), still_of(loaded.build, 0.5)
    rated = rate(loaded.build, p, still, speed)
    kept, cells = _long_ride(loaded, rated.grade_percent - 0.05, speed, 12.0)
    assert kept == pytest.approx(speed, abs=0.01)
    assert cells < 60.0
    kept, cells = _long_ride(loaded, rated.grade_percent + 0.1, speed, 12.0)
    assert kept < speed - 0.05 or (rated.held_back_by == "cells" and cells > 60.0)


def test_the_cells_settle_where_their_loss_leaves_by_the_case(root):
    """An equation solver of its own against Newton's: T = T_air + I^2 (R(T) + wiring) / G."""
    from scipy.optimize import brentq

    from ridesim.engine.params import parameters
    from ridesim.studies.demand import cells_temp
    from ridesim.studies.steady import Electric

    loaded = load_build(root / "configs" / "longtail-belt.toml")
    p, still = parameters(loaded.build), still_of(loaded.build, 0.5)
    assert still.cells == pytest.approx(p.cell_resistance)  # a flat curve

    def missing(temp: float, current: float) -> float:
        cells = p.cell_resistance * math.exp(p.activation / 8.314462618 * (1.0 / (temp + 273.15) - 1.0 / 298.15))
        return (
            still.air_temp
            + current**2 * (cells + p.polarisation_resistance + p.wiring_resistance) / p.pack_to_air
            - temp
        )

    for current in (5.0, 20.0, 60.0):
        told = cells_temp(p, still, Electric(0.0, 0.0, 48.0, current, 0.0))
        assert told == pytest.approx(brentq(missing, -50.0, 2000.0, args=(current,)), abs=0.01)


def test_cold_cells_settle_warmer_by_what_the_cold_adds(root):
    """At a fifth of the charge and -10 degC, by an equation solver over the step's own kernel; none above 20 degC."""
    from scipy.optimize import brentq

    from ridesim.engine.circuit import fade_over, read_pack
    from ridesim.engine.params import parameters, start_state
    from ridesim.studies.demand import cells_temp
    from ridesim.studies.steady import Electric

    settled = {}
    for celsius, loss in ((-10.0, 0.0), (-10.0, 15.0), (20.0, 0.0), (20.0, 15.0)):
        keys = {"weather.temperature_c": celsius, "pack.parallel": 4, "pack.cell.cold_capacity_loss_percent": loss}
        build = load_build(root / "configs" / "longtail-belt.toml", keys).build
        p, still, start = parameters(build), still_of(build, 0.2), start_state(build)

        def missing(temp: float, p=p, still=still, start=start) -> float:
            now = read_pack(p, start._replace(charge=0.2, pack_temp=temp), fade_over(p, 1.0))
            return still.air_temp + 8.0**2 * (now.fast_resistance + now.slow_resistance) / p.pack_to_air - temp

        settled[celsius, loss] = cells_temp(p, still, Electric(0.0, 0.0, 48.0, 8.0, 0.0))
        assert settled[celsius, loss] == pytest.approx(brentq(missing, -50.0, 2000.0), abs=0.01)
    assert settled[-10.0, 15.0] > settled[-10.0, 0.0] + 0.1
    assert settled[20.0, 15.0] == settled[20.0, 0.0]


def test_without_a_sensor_the_rating_ends_at_the_winding_limit(root):
    from ridesim.engine.params import parameters

    loaded = load_build(root / "configs" / "longtail-two-stage.toml")
    rated = rate(loaded.build, parameters(loaded.build), still_of(loaded.build, 0.5), 20.0)
    assert rated.held_back_by == "winding"
    assert rated.winding_temp_c == pytest.approx(155.0, abs=1e-6)
    assert isinstance(steady_state(loaded, rated.grade_percent, 20.0), SteadyState)
    assert steady_state(loaded, rated.grade_percent, 20.0).winding_temp_c == pytest.approx(155.0, abs=1e-6)


def test_the_magnets_can_be_what_ends_it(root):
    from ridesim.engine.params import parameters

    loaded = load_build(root / "configs" / "longtail-two-stage.toml", {"motor.magnet_grade": "plain"})
    rated = rate(loaded.build, parameters(loaded.build), still_of(loaded.build, 0.5), 20.0)
    assert (rated.held_back_by, rated.body_temp_c) == ("magnets", pytest.approx(80.0, abs=1e-6))


def test_too_fast_for_the_level_is_told():
    from ridesim.engine.params import parameters

    loaded = bike()
    rated = rate(loaded.build, parameters(loaded.build), still_of(loaded.build, 0.5), 110.0)
    assert rated.grade_percent is None
    assert rated.held_back_by in ("modulation", "pack_current", "low_voltage")


def test_settling_needs_no_luck_near_the_edge():
    """Just inside the largest torque a balance is found; just outside none is."""
    from ridesim.engine.params import parameters
    from ridesim.studies.steady import load_at

    loaded = bike()
    p, still = parameters(loaded.build), still_of(loaded.build, 0.5)
    load = load_at(p, still, 0.05, 5.0)
    low, high = load.torque, 10.0 * load.torque
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if settle(p, load._replace(torque=middle), AIR_C) else (low, middle)
    inside = settle(p, load._replace(torque=low * (1.0 - 1e-9)), AIR_C)
    assert inside is not None
    assert 0.99 < inside.gain < 1.0
    assert settle(p, load._replace(torque=high * (1.0 + 1e-9)), AIR_C) is None
