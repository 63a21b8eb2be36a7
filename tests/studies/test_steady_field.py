"""Field weakening in the steady climb: the map's rides against the closed form, beyond where the voltage ends."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ridesim.bike.load import LoadedBuild, load_build
from ridesim.engine.params import current_scale, parameters
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_flat
from ridesim.studies.climb_map import ClimbMap, climb_map
from ridesim.studies.demand import cold_demands, demands
from ridesim.studies.rating import rate
from ridesim.studies.steady import electric_at, load_at, settle, still_of
from ridesim.units import to_si

CONFIGS = Path(__file__).parents[2] / "configs"
FAST: dict[str, Any] = {"rider.power_w": 0.0, "controller.pack_current_limit_a": 60.0, "pack.parallel": 12}
FIELD_A = 40.0


def weakened(field_a: float, keys: dict[str, Any] | None = None) -> LoadedBuild:
    fields = {"controller.field_weakening_current_a": field_a}
    return load_build(CONFIGS / "longtail-hub.toml", {**FAST, **fields, **(keys or {})})


@pytest.fixture(scope="module")
def maps() -> dict[float, ClimbMap]:
    return {
        field: climb_map(weakened(field), points=9, fastest_km_h=56.0, steepest_percent=4.0, rating_speeds_km_h=(45.0,))
        for field in (0.0, FIELD_A)
    }


def test_the_map_reaches_as_fast_as_field_weakening_does(maps: dict[float, ClimbMap]) -> None:
    fastest = {field: found.speed_km_h[(found.minutes > 1.0).any(axis=0)].max() for field, found in maps.items()}
    assert fastest[FIELD_A] > fastest[0.0] + 3.0
    slow = maps[0.0].speed_km_h < 0.7 * fastest[0.0]
    assert np.array_equal(maps[0.0].minutes[:, slow], maps[FIELD_A].minutes[:, slow])


def test_rides_settle_at_the_steady_state_with_field_weakening(maps: dict[float, ClimbMap]) -> None:
    """Held for ever where only the field makes room.

    The closed form holds the pack at its starting temperature; in the ride it warms, sags less and asks for less field:
    the closed form is the warmer one, by a little.
    """
    found, plain = maps[FIELD_A], maps[0.0]
    by_field = np.isinf(found.minutes) & (plain.demand["modulation"] > 1.0)
    assert by_field.any()
    warmer = (found.steady_winding_c - found.winding_temp_c)[by_field]
    assert warmer.min() > -0.5 and warmer.max() < 2.0
    row, column = np.argwhere(by_field)[0]
    p, still = parameters(found.loaded.build), still_of(found.loaded.build, 0.5)
    load = load_at(
        p, still, to_si(float(found.grade_percent[row]), "percent"), to_si(float(found.speed_km_h[column]), "km_h")
    )
    without = settle(p, load, still.air_temp)  # the field's own copper left out
    assert without is not None and found.winding_temp_c[row, column] > without.winding_temp + 1.0


def test_the_steady_field_is_that_of_a_ride(maps: dict[float, ClimbMap]) -> None:
    """At a speed that a ride holds on the level: field, motor and pack current at the ride's own temperatures."""
    loaded = weakened(FIELD_A, {"pack.start_charge_fraction": 0.5})
    fast = float(maps[0.0].speed_km_h[(maps[0.0].minutes > 1.0).any(axis=0)].max()) + 3.0
    ride = simulate(loaded, make_flat(1500.0), cruise_speed_km_h=fast)
    last, p = ride.trace.iloc[-1], parameters(loaded.build)
    still = still_of(loaded.build, float(last["charge_fraction"]))
    load = load_at(p, still, 0.0, to_si(float(last["speed_km_h"]), "km_h"))
    ours = electric_at(p, load, still, float(last["winding_temp_c"]), float(last["body_temp_c"]))
    scale = current_scale(loaded.build)
    assert last["field_current_a"] > 1.0
    assert ours.current / scale == pytest.approx(last["motor_current_a"], rel=0.03)
    assert ours.field / scale == pytest.approx(last["field_current_a"], rel=0.10)
    assert ours.controller_loss == pytest.approx(last["controller_power_w"], rel=0.05)
    # the limit of the motor current sees the length of the current's arrow
    limit = loaded.build.controller.motor_current_limit_a
    arrow = np.hypot(ours.current, ours.field)
    assert demands(p, still, load, ours)["motor_current"] == pytest.approx(arrow / (limit * scale), rel=1e-9)
    assert arrow > 1.01 * ours.current


def test_its_demand_turns_at_the_most_field_there_is() -> None:
    p = parameters(weakened(FIELD_A).build)
    still = still_of(weakened(FIELD_A).build, 0.5)
    demands = [
        cold_demands(p, still, load_at(p, still, 0.0, to_si(speed, "km_h")))["modulation"]
        for speed in np.arange(30.0, 70.0, 0.5)
    ]
    over = [demand > 1.0 for demand in demands]
    assert over == sorted(over) and any(over) and not all(over)


def test_the_field_is_what_the_voltage_lacks_and_no_more_than_there_is() -> None:
    """Where it suffices the voltage is just met; beyond, all of it flows and the voltage does not suffice."""
    p, still = parameters(weakened(FIELD_A).build), still_of(weakened(FIELD_A).build, 0.5)
    met = short = 0
    for speed in np.arange(40.0, 75.0, 1.0):
        found = electric_at(p, load_at(p, still, 0.0, to_si(speed, "km_h")), still, 40.0, 35.0)
        if not np.isfinite(found.pack_voltage) or found.field <= 0.0:
            continue
        share = found.voltage_squared**0.5 / (p.duty * found.pack_voltage)
        if found.field < p.field_current:
            met += 1
            assert share == pytest.approx(1.0, rel=2e-3)
        else:
            short += 1
            assert found.field == p.field_current and share > 1.0
    assert met >= 3 and short >= 3


def test_a_rating_by_field_weakening_counts_the_field_s_own_heat() -> None:
    """A winding of class A, 105 degC: at 53 km/h the field's copper is worth 6 K of it."""
    build = weakened(FIELD_A, {"motor.insulation_class": "A"}).build
    p, still = parameters(build), still_of(build, 0.5)
    held = rate(build, p, still, 53.0)
    assert held.held_back_by == "winding" and held.grade_percent is not None
    assert held.winding_temp_c == pytest.approx(105.0, abs=0.1)
    without = settle(p, load_at(p, still, to_si(held.grade_percent, "percent"), to_si(53.0, "km_h")), still.air_temp)
    assert without is not None and without.winding_temp < 101.0


def test_a_salient_motor_s_closed_form_is_the_ride_s() -> None:
    """The last step of a ride at an even speed against `electric_at` at its temperatures and its pack's voltage."""
    keys = {"motor.salience": 2.0, "motor.inductance_uh": 600.0, "rider.cruise_speed_km_h": 53.0}
    loaded = weakened(FIELD_A, keys)
    build, last = loaded.build, simulate(loaded, make_flat(3000.0)).trace.iloc[-2]
    p, speed = parameters(build), to_si(float(last["speed_km_h"]), "km_h")
    still = still_of(build, 0.5)._replace(open_voltage=float(last["pack_voltage_v"]), pack_resistance=1e-9)
    load = load_at(p, still, 0.0, speed)
    found = electric_at(p, load, still, float(last["winding_temp_c"]), float(last["body_temp_c"]))
    scale = current_scale(build)
    assert found.field > 5.0
    assert found.field / scale == pytest.approx(float(last["field_current_a"]), rel=2e-2)
    assert found.current / scale == pytest.approx(float(last["motor_current_a"]), rel=2e-3)
    hot = settle(p, load._replace(field=found.field), still.air_temp)
    surface = settle(p._replace(reluctance=0.0), load._replace(field=found.field), still.air_temp)
    assert hot is not None and surface is not None and hot.current < surface.current
