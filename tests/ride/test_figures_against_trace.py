"""Every figure of a ride against an independent reading of its trace: sums, peaks, places and times by hand.

Rows stand at even instants, as dense as the trace has room for, and show the operating point of the instant; figures
are taken at the middles of steps. So a sum over rows misses the change of a power between two rows: `SUMS`. A row
between two middles may stand a little above the higher of them, by less than the ride's accuracy lets a peak be off:
`BETWEEN`; where the trace keeps no extremes, the row may miss a change within a step: `PEAKS`.
"""

from __future__ import annotations

import functools
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ridesim.engine.pace import NORMAL
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_flat, make_hills
from ridesim.road.profile import Stop

from ..bikes import bike
from .conftest import build, road

EVERY_STEP = 1e-6
SUMS = 5e-3
PEAKS = 0.02
BETWEEN = 1e-3
"""What "normal" promises of peaks; of a voltage's sag or rise, as that is what the current makes."""
PLACE_KM = 0.02
"""Two rows at most: 20 m at 36 km/h."""
SECOND = 0.5
SUSTAINED_S = 60.0
WH = 3600.0


def hot_bike() -> Any:
    """The reference bike with small lumps and low limits, so that every limit of heat is passed."""
    return bike({
        "motor.winding_heat_capacity_j_per_k": 60.0, "motor.body_heat_capacity_j_per_k": 300.0,
        "motor.magnet_grade": "plain", "motor.insulation_class": "A", "controller.motor_current_limit_a": 110.0,
        "controller.motor_full_current_below_c": 190.0, "controller.motor_no_current_above_c": 220.0,
    })  # fmt: skip


@functools.cache
def ridden(name: str) -> Ride:
    """One ride by its name, with a row a step."""
    hills = replace(make_hills(6000.0, 40.0, 1500.0), stops=(Stop(1700.0, 20.0), Stop(4100.0, 5.0), Stop(5990.0, 2.0)))
    if name == "reference, hills":
        return simulate(bike({}), hills, record_every_s=EVERY_STEP)
    if name == "reference, two laps downhill first":
        return simulate(bike({"pack.start_charge_fraction": 0.97}), make_hills(3000.0, -30.0, 1500.0), laps=2,
                        record_every_s=EVERY_STEP)  # fmt: skip
    if name == "reference, hot":
        return simulate(hot_bike(), make_climb(3500.0, 11.0), record_every_s=EVERY_STEP)
    demo, way = name.split(" on ")
    return simulate(build(demo), road(way), record_every_s=EVERY_STEP)


RIDES = (
    "reference, hills", "reference, two laps downhill first", "reference, hot",
    "longtail-two-stage on ridge-climb.gpx", "longtail-belt on valley-commute.toml",
    "longtail-freewheel on terrace-round.gpx", "longtail-hub on valley-commute.toml",
)  # fmt: skip
EACH = pytest.mark.parametrize("name", RIDES)


class Read:
    """A trace as arrays, with the time and the way of each row."""

    def __init__(self, ride: Ride) -> None:
        self.ride, self.s, self.t = ride, ride.summary, ride.trace
        self.dt = np.diff(self["time_s"], prepend=0.0)
        self.dx = 1000.0 * np.diff(self["distance_km"], prepend=0.0)
        self.dc = math.sqrt(0.75) if ride.build.controller.commutation == "sine" else 1.0

    def __getitem__(self, column: str) -> np.ndarray:
        return self.t[column].to_numpy(dtype=float)

    def sum_over(self, values: np.ndarray) -> float:
        return float((values * self.dt).sum())

    def sustained(self, values: np.ndarray) -> float:
        mean = most = 0.0
        for square, dt in zip(values**2, self.dt, strict=True):
            mean += (square - mean) * -math.expm1(-dt / SUSTAINED_S)
            most = max(most, mean)
        return math.sqrt(most)

    def moving_time(self) -> float:
        """The time of rows with a way; one that begins or ends at rest holds a rest too and moves for 2 x / v of it."""
        speed = self["speed_km_h"] / 3.6
        before = np.concatenate(([speed[0]], speed[:-1]))
        part = np.minimum(self.dt, 2.0 * self.dx / np.maximum(np.maximum(speed, before), 1e-9))
        return float(np.where((speed <= 0.0) | (before <= 0.0), part, self.dt)[self.dx > 0.0].sum())

    def place_of(self, values: np.ndarray) -> float:
        return float(self["distance_km"][int(np.argmax(values))])


def sums(wanted: float, least: float) -> Any:
    return pytest.approx(wanted, rel=SUMS, abs=least)


@EACH
def test_way_time_and_speed(name: str) -> None:
    r = Read(ridden(name))
    s, speed = r.s, r["speed_km_h"]
    assert s["distance_km"] == pytest.approx(r["distance_km"][-1], rel=1e-12)
    assert s["total_time_s"] == pytest.approx(r["time_s"][-1], rel=1e-12)
    assert s["moving_time_s"] == pytest.approx(r.moving_time(), abs=SECOND)
    assert s["mean_speed_km_h"] == pytest.approx(s["distance_km"] / (s["moving_time_s"] / WH), rel=1e-12)
    assert s["top_speed_km_h"] == pytest.approx(speed.max(), rel=1e-3)
    assert s["end_speed_km_h"] == pytest.approx(speed[-1], abs=1e-9)
    assert s["road_km"] == pytest.approx(r.ride.road.length_m / 1000.0 * r.ride.options.laps, rel=1e-12)
    assert s["finished"] == (s["distance_km"] >= s["road_km"] - 1e-6)
    climbed = float(np.clip(np.diff(r["altitude_m"]), 0.0, None).sum())
    if s["finished"]:
        assert s["climb_m"] == pytest.approx(climbed, rel=0.03, abs=2.0)  # a survey of nodes 10 m apart


@EACH
def test_energies(name: str) -> None:
    r = Read(ridden(name))
    s, power = r.s, r["pack_voltage_v"] * r["pack_current_a"]
    out, back = (r.sum_over(np.clip(sign * power, 0.0, None)) / WH for sign in (1.0, -1.0))
    assert s["pack_energy_out_wh"] == sums(out, 0.01)
    assert s["pack_energy_returned_wh"] == sums(back, 0.02)
    assert s["net_energy_wh"] == pytest.approx(s["pack_energy_out_wh"] - s["pack_energy_returned_wh"], rel=1e-12)
    assert s["net_wh_per_km"] == pytest.approx(s["net_energy_wh"] / s["distance_km"], rel=1e-12)
    assert s["returned_fraction"] == pytest.approx(s["pack_energy_returned_wh"] / s["pack_energy_out_wh"], rel=1e-12)
    legs = float((r["pedal_force_n"] * r.dx).sum()) / r.ride.build.rider.chain_efficiency / WH
    assert s["rider_energy_wh"] == sums(legs, 0.02)
    braked = float((np.clip(-r["motor_force_n"], 0.0, None) * r.dx).sum()) / WH
    assert s["motor_braking_wh"] == sums(braked, 0.2)  # drag of a motor that is not asked to brake counts here only
    assert s["charge_left_fraction"] == pytest.approx(max(r["charge_fraction"][-1], 0.0), abs=1e-12)
    first = r.ride.build.pack.start_charge_fraction
    assert s["highest_charge_fraction"] == pytest.approx(max(first, r["charge_fraction"].max()), abs=1e-5)


@EACH
def test_motor_currents(name: str) -> None:
    r = Read(ridden(name))
    s, amps = r.s, r["motor_current_a"]
    sine = r.ride.build.controller.commutation == "sine"
    assert ("amplitude" in s["motor_current_reading"]) == sine
    assert s["peak_motor_current_a"] == pytest.approx(r["motor_current_high_a"].max(), rel=BETWEEN)
    assert s["peak_motor_current_at_km"] == pytest.approx(r.place_of(r["motor_current_high_a"]), abs=PLACE_KM)
    assert s["peak_brake_current_a"] == pytest.approx(max(-r["motor_current_low_a"].min(), 0.0), rel=BETWEEN)
    assert s["rms_motor_current_a"] == sums(math.sqrt(r.sum_over(amps**2) / s["total_time_s"]), 1e-3)
    assert s["sustained_motor_current_a"] == sums(r.sustained(amps), 1e-3)
    for key in ("peak_motor_current", "sustained_motor_current", "rms_motor_current"):
        assert s[f"{key}_dc_equivalent_a"] == pytest.approx(s[f"{key}_a"] * r.dc, rel=1e-12), key


@EACH
def test_pack_currents_are_cells_times_strings(name: str) -> None:
    r = Read(ridden(name))
    s, amps, strings = r.s, r["pack_current_a"], r.ride.build.pack.parallel
    # The figure is taken at the faster end of a step, the trace at its mean: above it, by some per cent at the most.
    high, low = max(r["pack_current_high_a"].max(), 0.0), max(-r["pack_current_low_a"].min(), 0.0)
    assert high * (1.0 - BETWEEN) <= s["peak_pack_current_a"] <= high * (1.0 + 2.0 * PEAKS)
    assert low * (1.0 - BETWEEN) <= s["peak_charge_current_a"] <= low * (1.0 + 2.0 * PEAKS) + 0.05
    assert s["rms_pack_current_a"] == sums(math.sqrt(r.sum_over(amps**2) / s["total_time_s"]), 1e-3)
    assert s["sustained_pack_current_a"] == sums(r.sustained(amps), 1e-3)
    assert s["peak_cell_current_a"] * strings == pytest.approx(s["peak_pack_current_a"], rel=1e-12)
    assert s["sustained_cell_current_a"] * strings == pytest.approx(s["sustained_pack_current_a"], rel=1e-12)
    assert s["peak_cell_charge_current_a"] * strings == pytest.approx(s["peak_charge_current_a"], rel=1e-12)


@EACH
def test_voltages(name: str) -> None:
    r = Read(ridden(name))
    s, volts, rest = r.s, r["pack_voltage_v"], r["open_voltage_v"]
    lowest, highest = int(np.argmin(r["pack_voltage_low_v"])), int(np.argmax(volts))
    low, sag = r["pack_voltage_low_v"][lowest], rest[lowest] - r["pack_voltage_low_v"][lowest]
    # The charge taken in the half step from its middle to a row lowers the open-circuit voltage too. At a flat bottom
    # the row may stand between two middles, whose currents both lie off its own by `BETWEEN`.
    drained = abs(np.gradient(rest, r["time_s"])[lowest]) * NORMAL.longest / 2.0
    assert s["lowest_pack_voltage_v"] == pytest.approx(low, abs=2.0 * BETWEEN * sag + drained)
    assert s["lowest_pack_voltage_at_km"] == pytest.approx(r.place_of(-r["pack_voltage_low_v"]), abs=PLACE_KM)
    pack = r.ride.build.pack
    at_rest = pack.series * np.interp(pack.start_charge_fraction, pack.cell.charge_fraction, pack.cell.open_circuit_v)
    assert s["highest_pack_voltage_v"] == pytest.approx(max(volts.max(), at_rest), rel=2e-3)
    rise = abs(volts[highest] - rest[highest])
    assert s["highest_pack_voltage_v"] >= volts.max() - BETWEEN * rise - 1e-9
    assert s["highest_cell_voltage_v"] * r.ride.build.pack.series == pytest.approx(s["highest_pack_voltage_v"])


@EACH
def test_shaft(name: str) -> None:
    r = Read(ridden(name))
    s, torque = r.s, r["shaft_torque_nm"]
    assert s["peak_shaft_torque_nm"] == pytest.approx(torque.max(), rel=PEAKS)
    assert s["peak_brake_torque_nm"] == pytest.approx(max(-torque.min(), 0.0), rel=PEAKS, abs=0.02)
    power = torque * r["motor_speed_rpm"] * 2.0 * math.pi / 60.0
    assert s["peak_shaft_power_w"] == pytest.approx(power.max(), rel=PEAKS)


@EACH
@pytest.mark.parametrize("lump", ["winding", "body", "controller", "pack"])
def test_temperatures_by_lump(name: str, lump: str) -> None:
    r = Read(ridden(name))
    s, celsius = r.s, r[f"{lump}_temp_c"]
    start = r.ride.start
    first = {"winding": start.winding_temp, "body": start.body_temp, "controller": start.controller_temp,
             "pack": start.pack_temp}[lump]  # fmt: skip
    assert s[f"peak_{lump}_temp_c"] == pytest.approx(max(celsius.max(), first), abs=0.05)
    if celsius.max() > first + 0.1:
        hot = np.interp(s[f"peak_{lump}_temp_at_km"], r["distance_km"], celsius)
        assert hot == pytest.approx(celsius.max(), abs=0.3)
        near = r["distance_km"][celsius > celsius.max() - 0.1]
        assert near.min() - PLACE_KM <= s[f"peak_{lump}_temp_at_km"] <= near.max() + PLACE_KM


@EACH
def test_time_over_limits(name: str) -> None:
    r = Read(ridden(name))
    s, motor = r.s, r.ride.build.motor
    assert (s["winding_limit_c"], s["magnet_limit_c"]) == (motor.winding_limit_c, motor.magnet_limit_c)
    hot = r["winding_temp_c"] > motor.winding_limit_c
    assert s["winding_over_limit_s"] == pytest.approx(r.sum_over(hot), abs=SECOND)
    if hot.any():
        assert s["winding_over_limit_from_km"] == pytest.approx(r["distance_km"][hot][0], abs=PLACE_KM)
    else:
        assert s["winding_over_limit_from_km"] is None
    assert s["magnets_over_limit_s"] == pytest.approx(r.sum_over(r["body_temp_c"] > motor.magnet_limit_c), abs=SECOND)
    charge = r["charge_fraction"]
    assert s["off_curve_s"] == pytest.approx(r.sum_over((charge < 0.0) | (charge > 1.0)), abs=SECOND)


@EACH
def test_time_on_bounds_and_where_each_begins(name: str) -> None:
    r = Read(ridden(name))
    limits, names = {met["name"]: met for met in r.s["limits"]}, r.t["limit"].to_numpy()
    seen = {str(each) for each in set(names)} - {"none"}
    brief = {each for each, met in limits.items() if met["seconds"] < 2.0}
    assert seen <= limits.keys()
    assert limits.keys() - seen <= brief
    for each in seen:
        on = names == each
        # A row of several steps counts for its last one.
        assert limits[each]["seconds"] == pytest.approx(r.sum_over(on), rel=0.03, abs=3.0 * SECOND), each
        assert limits[each]["first_at_km"] == pytest.approx(r["distance_km"][on][0], abs=PLACE_KM), each
    seconds = [met["seconds"] for met in r.s["limits"]]
    assert seconds == sorted(seconds, reverse=True)
    assert r.s["over_speed_s"] == limits.get("over_speed", {"seconds": 0.0})["seconds"]


@EACH
def test_speed_at_which_the_back_emf_passes_the_pack(name: str) -> None:
    r = Read(ridden(name))
    b = r.ride.build
    if b.drive.coupling != "fixed":
        assert r.s["over_speed_from_km_h"] is None
        return
    rpm = r["open_voltage_v"][-1] * b.motor.kv_rpm_per_v
    metres_a_second = rpm / b.drive.turns / 60.0 * b.tyre.circumference_mm / 1000.0
    # The curve is read at the nearest of its grid's points, the voltage of the row at the charge itself.
    assert r.s["over_speed_from_km_h"] == pytest.approx(3.6 * metres_a_second, rel=5e-3)


def test_the_rides_reach_what_is_read() -> None:
    """A figure that is nought in every ride is held against nothing."""
    found = [ridden(name).summary for name in RIDES]
    for key in (
        "pack_energy_returned_wh", "motor_braking_wh", "rider_energy_wh", "peak_brake_current_a",
        "peak_charge_current_a", "peak_brake_torque_nm", "winding_over_limit_s", "magnets_over_limit_s", "climb_m",
    ):  # fmt: skip
        assert max(s[key] for s in found) > 0.1, key
    assert len({met["name"] for s in found for met in s["limits"]}) >= 4
    assert {s["motor_current_reading"] for s in found} >= {"amplitude of the phase current"}
    assert any(s["moving_time_s"] < s["total_time_s"] - 20.0 for s in found)


def test_sustained_current_of_a_constant_current_is_that_current() -> None:
    """Level road from its pace on, without wind: after ten time constants nothing of the start is left."""
    level = bike({"weather.wind_speed_km_h": 0.0, "rider.power_w": 0.0})
    ride = simulate(level, make_flat(6000.0), start_speed_km_h=25.0, record_every_s=1.0)
    s, last = ride.summary, ride.trace.iloc[-2]
    assert s["sustained_motor_current_a"] == pytest.approx(last["motor_current_a"], rel=0.02)
    assert s["sustained_pack_current_a"] == pytest.approx(last["pack_current_a"], rel=0.02)
