"""What must hold on every ride: random builds on random short roads."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ridesim.bike.load import LoadedBuild
from ridesim.engine.loop import restart
from ridesim.engine.params import current_scale
from ridesim.engine.state import Ledger, Limit, State, Stop, Total
from ridesim.engine.step import SPEED_TOLERANCE
from ridesim.errors import BuildError
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_hills, make_points
from ridesim.road.profile import Road
from ridesim.road.profile import Stop as RoadStop

from ..bikes import bike

FEW = settings(max_examples=120, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
FEWER = settings(FEW, max_examples=60)
FLIPPED = 1e-3
"""A rounding of an angle can flip whether a step is taken again: the same ride by another way differs by up to this."""


@dataclass(frozen=True)
class Trip:
    """What a property rides."""

    keys: dict[str, Any]
    road: Road
    options: dict[str, Any]

    def bike(self, **more: Any) -> LoadedBuild | None:
        """Return the bike, or None where the build's own checks say that it cannot start."""
        try:
            return bike({**self.keys, **{key.replace("__", "."): value for key, value in more.items()}})
        except BuildError:
            return None

    def ride(self, *, road: Road | None = None, options: dict[str, Any] | None = None, **more: Any) -> Ride | None:
        loaded = self.bike(**more)
        if loaded is None:
            return None
        return simulate(loaded, road or self.road, **{**self.options, **(options or {})})


def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


KEYS = st.fixed_dictionaries(
    {
        "rider.mass_kg": number(45, 120),
        "rider.power_w": number(0, 250),
        "rider.cruise_speed_km_h": number(8, 50),
        "rider.response_time_s": number(0.4, 3),
        "bicycle.cargo_kg": number(0, 80),
        "bicycle.drag_area_m2": number(0.25, 0.9),
        "bicycle.wheels_inertia_kg_m2": number(0, 0.5),
        "bicycle.grip": number(0.3, 1.0),
        "tyre.rolling_resistance": number(0.003, 0.03),
        "drive.coupling": st.sampled_from(["fixed", "fixed", "freewheel"]),
        "motor.kv_rpm_per_v": number(50, 220),
        "motor.resistance_mohm": number(12, 150),
        "motor.inductance_uh": number(0, 200),
        "motor.winding_heat_capacity_j_per_k": number(20, 300),
        "motor.enclosure": number(0.2, 1.5),
        "controller.commutation": st.sampled_from(["sine", "six_step"]),
        "controller.motor_current_limit_a": number(25, 160),
        "controller.brake_current_limit_a": number(0, 120),
        "controller.pack_current_limit_a": number(8, 80),
        "controller.charge_current_limit_a": number(0, 30),
        "controller.electrical_frequency_limit_hz": number(133, 1667),
        "controller.throttle_law": st.sampled_from(["torque", "voltage", "governor", "assist"]),
        "controller.assist_factor": number(0.5, 4),
        "controller.assist_speed_limit_km_h": st.none() | number(15, 45),
        "controller.motor_power_limit_w": st.none() | number(150, 2500),
        "controller.standby_power_w": number(0, 10),
        "pack.parallel": st.integers(1, 10),
        "pack.cell.resistance_mohm": number(8, 80),
        "pack.cell.polarisation_resistance_mohm": st.just(0.0) | number(0.01, 50),
        "pack.start_charge_fraction": number(0.02, 1.0),
        "weather.temperature_c": number(-15, 40),
        "weather.wind_speed_km_h": number(0, 60),
        "weather.wind_from_deg": number(0, 360),
    }
)


@st.composite
def roads(draw: st.DrawFn, *, stops: bool = True) -> Road:
    """A short road: points with grades up to 20 %, and now and then a stop."""
    legs = draw(st.integers(2, 6))
    spans = [draw(number(40, 250)) for _ in range(legs)]
    grades = [draw(number(-0.2, 0.2)) for _ in range(legs)]
    at = np.concatenate(([0.0], np.cumsum(spans)))
    height = 500.0 + np.concatenate(([0.0], np.cumsum([s * g for s, g in zip(spans, grades, strict=True)])))
    road = make_points(at, height, smoothing_m=draw(st.sampled_from([0.0, 20.0])), bearing_deg=draw(number(0, 359)))
    if stops and draw(st.booleans()):
        place = draw(number(0.2, 0.9)) * road.length_m
        road = replace(road, stops=(RoadStop(place, draw(number(0.0, 30.0))),))
    return road


OPTIONS = st.fixed_dictionaries(
    {
        "limits": st.sampled_from([True, True, True, False]),
        "throttle": st.none() | st.none() | number(0.1, 1.0),
        "start_speed_km_h": st.just(0.0) | number(0, 40),
        "step_s": st.sampled_from([0.1, 0.1, 0.05, 0.3]),
        "time_limit_h": st.just(0.5),
        "record_every_s": st.just(0.3),
    }
)
TRIPS = st.builds(Trip, KEYS, roads(), OPTIONS)


@FEW
@given(TRIPS)
def test_no_nan_and_the_ledger_closes(trip: Trip) -> None:
    ride = trip.ride()
    if ride is None:
        return
    assert ride.raw.stop is not Stop.NOT_FINITE
    assert np.isfinite(ride.raw.trace).all()
    assert np.isfinite(ride.raw.ledger).all()
    assert all(math.isfinite(value) for value in ride.raw.end if value is not None)  # no second drive: None
    finite = np.delete(ride.raw.totals, [Total.WINDING_OVER_FIRST_AT, Total.LOWEST_VOLTAGE])
    assert np.isfinite(finite).all()
    scale = ride.raw.ledger[Ledger.CHEMISTRY_OUT] + ride.raw.ledger[Ledger.RIDER] + abs(ride.raw.ledger[Ledger.HEIGHT])
    missed = ride.ledger_residual_fraction * max(ride.raw.ledger[Ledger.CHEMISTRY_OUT], 1.0)
    assert abs(missed) < 1e-9 * max(scale, 1.0)


@FEW
@given(TRIPS)
def test_temperatures_never_fall_below_the_coldest_air(trip: Trip) -> None:
    ride = trip.ride()
    if ride is None:
        return
    coldest = min(float(ride.arrays.nodes["air_temp"].min()), ride.build.weather.temperature_c)
    for name in ("winding_temp_c", "body_temp_c", "controller_temp_c", "pack_temp_c"):
        assert ride.trace[name].min() >= coldest - 1e-9


@FEW
@given(TRIPS)
def test_chemistry_gives_at_least_what_crosses_the_terminals(trip: Trip) -> None:
    """Out: chemistry >= terminals; in: what is stored is at most what came in; losses are never negative."""
    ride = trip.ride()
    if ride is None:
        return
    raw, ledger = ride.raw, ride.raw.ledger
    given_net = ledger[Ledger.CHEMISTRY_OUT] - ledger[Ledger.CHEMISTRY_IN] - ledger[Ledger.PACK_POLARISATION_STORED]
    crossed = raw.total(Total.TERMINAL_OUT) - raw.total(Total.TERMINAL_IN)
    slack = 1e-9 * (abs(given_net) + abs(crossed) + 1.0)
    assert given_net >= crossed - slack
    for line in (Ledger.PACK_LOSS, Ledger.CONTROLLER_LOSS, Ledger.COPPER, Ledger.IRON, Ledger.BEARINGS, Ledger.ROLLING,
                 Ledger.FRICTION_BRAKES, Ledger.PEDAL_CHAIN, Ledger.RIDER):  # fmt: skip
        assert ledger[line] >= -1e-9, line


@FEW
@given(TRIPS)
def test_stages_never_create_energy(trip: Trip) -> None:
    ride = trip.ride()
    if ride is not None:
        assert ride.raw.ledger[Ledger.STAGES] >= -1e-9


@FEW
@given(TRIPS)
def test_limits_are_never_passed(trip: Trip) -> None:
    """Command and bounds are solved at a mean speed known to `SPEED_TOLERANCE`: pack figures may pass by what that is.

    With steps of 0.3 s, doubled on calm stretches, the duty bound swings by 0.1 %: the default step is promised.
    Pack currents are read from the trace, whose extremes are not cut at the limit as the summary's peaks are. Diodes at
    over-speed are bounded by nothing, so rides that meet it are left out of the current bounds.
    """
    ride = trip.ride(options={"limits": True, "step_s": min(trip.options["step_s"], 0.1)})
    if ride is None or len(ride.trace) < 3 or ride.raw.limit_seconds[Limit.OVER_SPEED] > 0.0:
        return
    box, raw, scale = ride.build.controller, ride.raw, current_scale(ride.build)
    assert raw.total(Total.PEAK_DRIVE_CURRENT) <= box.motor_current_limit_a * scale * (1.0 + 1e-12)
    assert raw.total(Total.PEAK_BRAKE_CURRENT) <= box.brake_current_limit_a * scale * (1.0 + 1e-12)
    trace, slack = ride.trace, may_pass(ride)
    driving = trace[trace["motor_current_low_a"] >= 0.0]  # a motor that brakes: the test below
    drawn, charged = max(driving["pack_current_high_a"], default=0.0), -trace["pack_current_low_a"].min()
    assert drawn <= max(box.pack_current_limit_a, standing_draw(ride)) + slack.current
    charge = box.charge_current_limit_a
    assert charge is not None
    assert charged <= charge + slack.current
    row_modulation = trace["modulation"][trace["motor_current_a"] > 0.0]
    assert (row_modulation <= box.modulation_limit + slack.modulation).all()
    pushed = trace["motor_force_n"] + trace["pedal_force_n"]
    assert (pushed <= max(ride.params.drive_grip, float(trace["pedal_force_n"].max())) * (1.0 + 1e-9)).all()


@FEW
@given(TRIPS, number(1.0, 8.0))
def test_regen_and_friction_together_never_pass_the_tyres(trip: Trip, braking: float) -> None:
    """Both wheels together hold back no more than grip times the weight on the road, however hard the plan brakes.

    Regen on one wheel passes its own share only where the diodes conduct with no control, or with the limits off.
    """
    ride = trip.ride(rider__braking_m_per_s2=braking, options={"limits": True})
    if ride is None or len(ride.trace) < 3 or ride.raw.limit_seconds[Limit.OVER_SPEED] > 0.0:
        return
    trace, grip = ride.trace, ride.build.bicycle.grip
    weight = ride.build.mass_kg * 9.80665 / np.hypot(1.0, trace["grade_percent"] / 100.0)
    held = trace["brake_force_n"] - np.minimum(trace["motor_force_n"], 0.0)
    assert (held <= grip * weight * (1.0 + 1e-3) + 1.0).all()


class Slack(NamedTuple):
    """By how much a pack current [A] and the modulation may pass their bounds."""

    current: float
    modulation: float


def may_pass(ride: Ride) -> Slack:
    """Return what a mean speed that is off by `SPEED_TOLERANCE` adds to currents and modulation.

    The back-EMF is off by K G/r times it, the pack's power by that times the motor current; the pack feeds it with
    dP/dI = V - r I, which is 2 V - U, and sags under it by U - V an I.
    """
    p, raw, trace = ride.params, ride.raw, ride.trace
    strongest_magnets = p.torque_constant * (1.0 + p.magnet_per_k * (ride.build.weather.temperature_c - 40.0 - 20.0))
    volts = strongest_magnets * p.turned * SPEED_TOLERANCE
    lowest = raw.total(Total.LOWEST_VOLTAGE)
    steep = float((2.0 * trace["pack_voltage_low_v"] - trace["open_voltage_v"]).min())
    amps = volts * max(raw.total(Total.PEAK_DRIVE_CURRENT), raw.total(Total.PEAK_BRAKE_CURRENT)) / steep
    return Slack(amps * 1.01 + 1e-9, (volts + (lowest - steep) / raw.total(Total.PEAK_PACK_CURRENT) * amps) / lowest)


def standing_draw(ride: Ride) -> float:
    """The controller's own draw at the lowest voltage [A], which no limit can hold back."""
    return ride.build.controller.standby_power_w / ride.raw.total(Total.LOWEST_VOLTAGE)


@FEWER
@given(TRIPS)
def test_motor_power_and_foldback_are_kept(trip: Trip) -> None:
    ride = trip.ride(controller__motor_power_limit_w=400.0, controller__throttle_law="torque")
    if ride is None or not ride.options.limits:
        return
    assert ride.raw.total(Total.PEAK_MECHANICAL_POWER) <= 400.0 * 1.001


def on_climb(keys: dict[str, Any], grade: float, throttle: float | None) -> Trip:
    road = make_climb(400.0, grade, start_altitude_m=100.0)
    return Trip(keys, road, {"throttle": throttle, "time_limit_h": 0.5, "trace": False})


@FEWER
@given(KEYS, number(0.0, 15.0), number(1.0, 60.0), st.none() | st.just(1.0))
def test_heavier_never_climbs_faster(keys: dict[str, Any], grade: float, more: float, throttle: float | None) -> None:
    """On an even climb; grip grows with weight, so it is made large enough not to matter.

    Where driver or governor hold the acceleration both bikes ride alike, but for the rotor's share of the first
    metres: 1e-6 of the time. Steps of their own leave 1e-5 between two such rides, so a tenth of what a ride promises.
    """
    trip = on_climb({**keys, "bicycle.grip": 1.5, "bicycle.mass_centre_ahead_mm": 1200.0}, grade, throttle)
    light, heavy = trip.ride(), trip.ride(bicycle__cargo_kg=keys["bicycle.cargo_kg"] + more)
    if light is None or heavy is None or light.raw.stop is not Stop.FINISHED:
        return
    if heavy.raw.stop is Stop.FINISHED:
        assert heavy.raw.total(Total.TIME) >= light.raw.total(Total.TIME) * (1.0 - 1e-4)


@FEWER
@given(KEYS, number(0.0, 12.0), number(1.05, 3.0))
def test_more_resistance_is_never_cooler_at_equal_current(keys: dict[str, Any], grade: float, factor: float) -> None:
    """Torque throttle with every voltage limit out of reach: the same current, so the same ride, only hotter copper."""
    calm = {
        **keys, "controller.throttle_law": "torque", "controller.commutation": "sine",
        "controller.motor_current_limit_a": 30.0, "controller.pack_current_limit_a": 500.0,
        "controller.assist_speed_limit_km_h": None, "controller.motor_power_limit_w": None,
        "controller.electrical_frequency_limit_hz": 33000.0, "motor.kv_rpm_per_v": 120.0,
        "motor.magnet_coefficient_percent_per_k": 0.0, "controller.brake_current_limit_a": 0.0,
        "controller.controller_full_current_below_c": 190.0, "controller.controller_no_current_above_c": 200.0,
        "pack.parallel": 10, "pack.start_charge_fraction": 0.9, "pack.cell.resistance_mohm": 10.0,
    }  # fmt: skip
    trip = on_climb(calm, grade, 1.0)
    cool, hot = trip.ride(), trip.ride(motor__resistance_mohm=keys["motor.resistance_mohm"] * factor)
    if cool is None or hot is None:
        return
    bent = [Limit.MODULATION, Limit.LOW_VOLTAGE, Limit.PACK_CURRENT, Limit.OVER_SPEED]
    if cool.raw.limit_seconds[bent].sum() + hot.raw.limit_seconds[bent].sum() > 0.0:
        return
    assert hot.raw.total(Total.PEAK_WINDING) >= cool.raw.total(Total.PEAK_WINDING)
    assert hot.raw.ledger[Ledger.COPPER] >= cool.raw.ledger[Ledger.COPPER]


@FEWER
@given(KEYS, number(1.05, 3.0))
def test_higher_rolling_resistance_never_goes_further(keys: dict[str, Any], factor: float) -> None:
    """Round and round over hills until the pack ends it, where both keep their speed.

    What the pack's voltage holds back rides slower, which saves air drag and power at the last hill: it may go further.
    """
    small = {**keys, "pack.parallel": 1, "pack.cell.capacity_ah": 0.3, "pack.start_charge_fraction": 0.9,
             "rider.power_w": 0.0, "controller.brake_current_limit_a": 0.0, "controller.throttle_law": "torque",
             "drive.coupling": "freewheel", "pack.cell.resistance_mohm": 20.0}  # fmt: skip
    road = make_hills(800.0, 8.0, 400.0, start_altitude_m=100.0)
    trip = Trip(small, road, {"laps": 10_000, "time_limit_h": 30.0, "trace": False})
    easy, stiff = trip.ride(), trip.ride(tyre__rolling_resistance=keys["tyre.rolling_resistance"] * factor)
    if easy is None or stiff is None:
        return
    if stiff.raw.total(Total.DISTANCE) / stiff.raw.end.time < 0.99 * easy.raw.total(Total.DISTANCE) / easy.raw.end.time:
        return
    assert stiff.raw.total(Total.DISTANCE) <= easy.raw.total(Total.DISTANCE) * (1.0 + 1e-6)


@FEWER
@given(TRIPS, number(0, 359))
def test_wind_reversed_twice_changes_nothing(trip: Trip, wind_from: float) -> None:
    """And turning road and wind together by any angle changes nothing either."""
    once = trip.ride(weather__wind_from_deg=wind_from, options={"trace": False})
    if once is None:
        return
    reversed_twice = ((wind_from + 180.0) % 360.0 + 180.0) % 360.0
    twice = trip.ride(weather__wind_from_deg=reversed_twice, options={"trace": False})
    turned_road = replace(trip.road, bearing_deg=trip.road.bearing_deg + 90.0)
    turned = trip.ride(road=turned_road, weather__wind_from_deg=(wind_from + 90.0) % 360.0, options={"trace": False})
    for other in (twice, turned):
        assert other is not None
        assert other.raw.stop is once.raw.stop
        assert other.raw.total(Total.TIME) == pytest.approx(once.raw.total(Total.TIME), rel=FLIPPED)
        assert other.raw.total(Total.TERMINAL_OUT) == pytest.approx(once.raw.total(Total.TERMINAL_OUT), rel=FLIPPED)


@FEWER
@given(TRIPS)
def test_wind_from_left_is_wind_from_right(trip: Trip) -> None:
    """Mirrored about the road's heading."""
    heading = float(trip.road.bearing_deg[0])
    rides = [
        trip.ride(weather__wind_from_deg=(heading + side * 70.0) % 360.0, options={"trace": False}) for side in (1, -1)
    ]
    if rides[0] is None or rides[1] is None:
        return
    assert rides[0].raw.total(Total.TIME) == pytest.approx(rides[1].raw.total(Total.TIME), rel=FLIPPED)
    assert rides[0].raw.ledger[Ledger.AIR] == pytest.approx(rides[1].raw.ledger[Ledger.AIR], rel=FLIPPED)


def part_of(road: Road, first: int, last: int) -> Road:
    """A stretch of a road between two nodes, both included."""
    cut = slice(first, last + 1)
    names = ("altitude_m", "grade", "bearing_deg", "curvature_per_m", "rolling_factor", "speed_limit_m_per_s")
    arrays = {name: getattr(road, name)[cut] for name in names}
    return replace(
        road, distance_m=road.distance_m[cut] - road.distance_m[first], surface=road.surface[cut], stops=(), **arrays
    )


@FEWER
@given(KEYS, roads(stops=False), number(0.2, 0.8), st.none() | number(0.3, 1.0))
def test_a_road_ridden_in_two_parts_gives_the_same(
    keys: dict[str, Any], road: Road, share: float, throttle: float | None
) -> None:
    """The second ride starts from the first one's end.

    The seam cuts a step and starts the step control anew, and the day's temperature is read at the seam's own height
    (at most 0.3 K of lapse): a few of 1e-4 of time and energy, and on a road of a hundred metres a few of 1e-3.
    """
    trip = Trip(keys, road, {"throttle": throttle, "time_limit_h": 0.5, "trace": False, "step_s": 0.02})
    loaded = trip.bike()
    if loaded is None:
        return
    whole = simulate(loaded, road, **trip.options)
    if whole.raw.stop is not Stop.FINISHED:
        return
    seam = max(2, min(len(road.distance_m) - 3, round(share * (len(road.distance_m) - 1))))
    first_road, second_road = part_of(road, 0, seam), part_of(road, seam, len(road.distance_m) - 1)
    first = simulate(loaded, first_road, **trip.options)
    assert first.raw.stop is Stop.FINISHED
    second = simulate(loaded, second_road, start=State(*restart(first.raw.end)), **trip.options)
    time = first.raw.total(Total.TIME) + second.raw.total(Total.TIME)
    energy = first.raw.total(Total.TERMINAL_OUT) + second.raw.total(Total.TERMINAL_OUT)
    assert second.raw.stop is Stop.FINISHED
    assert time == pytest.approx(whole.raw.total(Total.TIME), rel=2e-3)
    assert energy == pytest.approx(whole.raw.total(Total.TERMINAL_OUT), rel=4e-3, abs=1.0)
    warmed = abs(whole.raw.end.winding_temp - whole.start.winding_temp)
    assert second.raw.end.winding_temp == pytest.approx(whole.raw.end.winding_temp, abs=0.1 + 4e-3 * warmed)
    assert second.raw.end.charge == pytest.approx(whole.raw.end.charge, abs=1e-3 * (1.0 - whole.raw.end.charge) + 1e-6)


def test_a_vanishing_polarisation_resistance_is_no_nan() -> None:
    ride = simulate(bike({"pack.cell.polarisation_resistance_mohm": 1e-308}), make_climb(200.0, 2.0), trace=False)
    assert ride.raw.stop is Stop.FINISHED
    assert math.isfinite(ride.raw.end.pack_temp)


def test_electric_braking_to_a_stop_keeps_the_pack_limit() -> None:
    """At walking speed the copper takes more than braking gives, so braking draws: 110 A through 120 mohm, 1.4 kW."""
    loaded = bike({"motor.resistance_mohm": 120.0, "controller.brake_current_limit_a": 110.0,
                   "controller.commutation": "six_step", "controller.pack_current_limit_a": 9.0,
                   "rider.braking_m_per_s2": 3.0})  # fmt: skip
    road = replace(make_climb(300.0, 0.0), stops=(RoadStop(200.0, 5.0),))
    ride = simulate(loaded, road, record_every_s=0.1)
    assert ride.trace["pack_current_high_a"].max() <= 9.0 * 1.0002
