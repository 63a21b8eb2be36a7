"""The ride's equations written a second time, for scipy's integrator: a check on the compiled step.

Plain Python after the model's description, sharing no code with the simulator's physics or engine. Time is continuous;
the motor current is found by root search, not in closed form. SI units; temperatures in degC.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from ridesim.bike.schema import Build

G = 9.80665
FIELDS = ("x", "v", "charge", "v_rc", "winding", "body", "box", "cells", "out", "back", "rider", "friction", "copper")
MUCH = 1e6


def moist_air_density(pascal: float, celsius: float, humidity: float) -> float:
    """CIPM-2007 (Picard et al. 2008, Metrologia 45:149), 400 ppm CO2."""
    t, kelvin = celsius, celsius + 273.15
    saturated = math.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin)
    xv = humidity * (1.00062 + 3.14e-8 * pascal + 5.6e-7 * t * t) * saturated / pascal
    a = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t
    b = (5.707e-6 - 2.051e-8 * t) * xv + (1.9898e-4 - 2.376e-6 * t) * xv * xv
    ratio = pascal / kelvin
    z = 1.0 - ratio * (a + b) + ratio * ratio * (1.83e-11 - 0.765e-8 * xv * xv)
    return pascal * 28.96546e-3 / (z * 8.314472 * kelvin) * (1.0 - xv * (1.0 - 18.01528 / 28.96546))


def standard_pressure(altitude: float) -> float:
    """ISO 2533:1975, troposphere."""
    h = 6356766.0 * altitude / (6356766.0 + altitude)
    return 101325.0 * ((288.15 - 0.0065 * h) / 288.15) ** (G / (287.05287 * 0.0065))


@dataclass(frozen=True)
class Way:
    """A road in closed form: sine of the slope and altitude by distance along the surface [m], heading in degrees."""

    length: float
    sine: Callable[[float], float]
    altitude: Callable[[float], float]
    heading: float = 0.0


def climb(length: float, grade_percent: float, start: float = 0.0) -> Way:
    slope = math.sin(math.atan(grade_percent / 100.0))
    return Way(length, lambda x: slope, lambda x: start + slope * x)


def hills(length: float, height: float, wave: float) -> Way:
    return Way(
        length,
        lambda x: math.pi * height / wave * math.sin(2.0 * math.pi * x / wave),
        lambda x: 0.5 * height * (1.0 - math.cos(2.0 * math.pi * x / wave)),
    )


@dataclass
class Solved:
    """A solved ride: times and states, and the algebraic quantities at them."""

    time: np.ndarray
    states: dict[str, np.ndarray]
    at: dict[str, np.ndarray]
    ended_by: str


class Plant:
    """One bike on one road."""

    def __init__(self, build: Build, way: Way, *, throttle: float | None = None) -> None:
        self.b, self.way, self.throttle = build, way, throttle
        bike, motor, drive = build.bicycle, build.motor, build.drive
        self.mass = build.mass_kg
        self.r = build.tyre.circumference_mm / 1000.0 / (2.0 * math.pi)
        self.ratio, self.eta, self.drag, self.drag_braking = 1.0, 1.0, 0.0, 0.0
        for stage in drive.stage:
            turns = stage.ratio or stage.driven_teeth / stage.driver_teeth
            ratio_before, eta_before = self.ratio, self.eta
            self.ratio *= turns
            self.eta *= stage.efficiency
            if turns < 1.0:  # the faster shaft is behind the teeth
                ratio_before, eta_before = self.ratio, self.eta
            self.drag += stage.drag_torque_nm / (ratio_before * eta_before)
            self.drag_braking += stage.drag_torque_nm * eta_before / ratio_before
        rotor = motor.rotor_inertia_kg_m2 * (self.ratio / self.r) ** 2
        self.free = drive.coupling == "freewheel"
        self.rolling_inertia = self.mass + bike.wheels_inertia_kg_m2 / self.r**2
        self.inertia = self.rolling_inertia + rotor
        self.cda = bike.drag_area_m2 + bike.wheel_drag_area_m2
        self.k20 = 60.0 / (2.0 * math.pi * motor.kv_rpm_per_v)
        (low, high) = sorted((p.speed_rpm * math.pi / 30.0, p.current_a * self.k20) for p in motor.no_load)
        self.tau1 = (high[1] - low[1]) / (high[0] - low[0])
        self.tau0 = low[1] - self.tau1 * low[0]
        self.scale = math.sqrt(3.0) / 2.0 if build.controller.commutation == "sine" else 1.0
        self._pack_numbers()
        self._tyre_numbers()

    def _pack_numbers(self) -> None:
        pack, cell = self.b.pack, self.b.pack.cell
        share = pack.series / pack.parallel * pack.resistance_factor / 1000.0
        self.r_cells, self.r_slow = cell.resistance_mohm * share, cell.polarisation_resistance_mohm * share
        self.r_wires = (pack.interconnect_mohm + pack.wiring_mohm) / 1000.0
        amp_hours = cell.capacity_ah * pack.parallel * pack.weakest_group_fraction * pack.capacity_fraction
        self.coulombs = amp_hours * 3600.0
        self.cells_heat = pack.cells * cell.mass_kg * 1000.0

    def _tyre_numbers(self) -> None:
        """Moments about the contacts: L wheelbase, h height, b ahead of the rear contact; rear-wheel drive."""
        bike = self.b.bicycle
        span, h, b = (v / 1000.0 for v in (bike.wheelbase_mm, bike.mass_centre_height_mm, bike.mass_centre_ahead_mm))
        mu, weight = bike.grip, self.mass * G
        slip = mu * weight * (span - b) / (span - mu * h) if span > mu * h else math.inf
        self.most_drive = min(slip, weight * b / h)
        self.most_motor_brake = mu * weight * (span - b) / (span + mu * h)
        self.most_brakes = min(mu * weight, weight * (span - b) / h)

    # --- pack and motor as one circuit ---------------------------------------------------------------------------

    def circuit(self, y: dict[str, float]) -> dict[str, float]:
        motor, cell = self.b.motor, self.b.pack.cell
        k = self.k20 * (1.0 + motor.magnet_coefficient_percent_per_k / 100.0 * (y["body"] - 20.0))
        omega = y["v"] * self.ratio / self.r
        curve = cell.resistance_curve or [1.0] * len(cell.charge_fraction)
        cold = math.exp(cell.activation_kj_per_mol * 1000.0 / 8.314462618 * (1.0 / (y["cells"] + 273.15) - 1 / 298.15))
        r0 = self.r_cells * cold * float(np.interp(y["charge"], cell.charge_fraction, curve)) + self.r_wires
        (q0, q1), (v0, v1) = cell.charge_fraction[-2:], cell.open_circuit_v[-2:]
        ocv = float(np.interp(y["charge"], cell.charge_fraction, cell.open_circuit_v))
        ocv = self.b.pack.series * (ocv + max(y["charge"] - 1.0, 0.0) * (v1 - v0) / (q1 - q0))
        return {
            "k": k,
            "omega": omega,
            "emf": k * omega,
            "iron": self.tau0 + self.tau1 * omega,
            "r_motor": motor.resistance_mohm / 1000.0 * (1.0 + 0.00393 * (y["winding"] - 20.0)),
            "reactance": motor.pole_pairs * omega * motor.inductance_uh * 1e-6,
            "r0": r0,
            "u": ocv - y["v_rc"],
        }

    def pack_current(self, c: dict[str, float], i: float) -> float:
        """Pack current under motor current i: (U - r b)(b - s) = P with switching current s; rises past the peak."""
        box = self.b.controller
        s = box.switching_loss_fraction * abs(i)
        p = c["emf"] * i + (c["r_motor"] + box.on_resistance_mohm / 1000.0) * i * i + box.standby_power_w
        half = c["u"] + c["r0"] * s
        inside = half * half - 4.0 * c["r0"] * (p + c["u"] * s)
        if inside < 0.0:
            return half / (2.0 * c["r0"]) - inside
        return 2.0 * (p + c["u"] * s) / (half + math.sqrt(inside))

    def voltage(self, c: dict[str, float], i: float) -> float:
        return c["u"] - c["r0"] * self.pack_current(c, i)

    def duty_passed(self, c: dict[str, float], i: float) -> float:
        """Motor voltage less duty limit times pack voltage."""
        motor = math.hypot(c["emf"] + i * c["r_motor"], c["reactance"] * i)
        return motor - self.b.controller.modulation_limit * max(self.voltage(c, i), 0.0)

    def warm_share(self, y: dict[str, float]) -> float:
        box = self.b.controller
        share = 1.0
        if box.motor_full_current_below_c is not None:
            share *= fold(y["winding"], box.motor_full_current_below_c, box.motor_no_current_above_c)
        return share * fold(y["box"], box.controller_full_current_below_c, box.controller_no_current_above_c)

    def driving_current(self, y: dict[str, float], c: dict[str, float], asked: float) -> float:
        box = self.b.controller
        full = box.motor_current_limit_a * self.scale * self.warm_share(y)
        i = min(asked, full)

        def too_much_draw(j: float) -> float:
            return self.pack_current(c, j) - box.pack_current_limit_a

        def too_low(j: float) -> float:
            v = self.voltage(c, j)
            share = 1.0 - fold(v, box.no_current_below_v, box.full_current_above_v)
            return j - full * share

        for excess in (too_much_draw, lambda j: self.duty_passed(c, j), too_low):
            if i > 0.0 and excess(i) > 0.0:
                i = 0.0 if excess(0.0) >= 0.0 else brentq(excess, 0.0, i, xtol=1e-12, rtol=1e-14)
        return i

    def braking_current(self, y: dict[str, float], c: dict[str, float], asked: float) -> float:
        """The braking current (> 0) that brake limit, charge bounds and duty leave."""
        box = self.b.controller
        j = min(asked, box.brake_current_limit_a * self.scale * self.warm_share(y))
        charge = min(box.charge_current_limit_a, max(box.charge_voltage_limit_v - c["u"], 0.0) / c["r0"])
        if y["cells"] < 0.0:
            charge = 0.0

        def too_much(current: float) -> float:
            return -self.pack_current(c, -current) - charge

        best = min(j, c["emf"] / (2.0 * (c["r_motor"] + box.on_resistance_mohm / 1000.0)))
        if best > 0.0 and too_much(best) > 0.0:
            j = 0.0 if too_much(0.0) >= 0.0 else brentq(too_much, 0.0, best, xtol=1e-12, rtol=1e-14)
        if j > 0.0 and c["emf"] < box.modulation_limit * c["u"] and self.duty_passed(c, -j) > 0.0:
            j = brentq(lambda q: self.duty_passed(c, -q), 0.0, j, xtol=1e-12, rtol=1e-14)
        return j

    def with_diodes(self, c: dict[str, float], i: float) -> float:
        """Above the pack's voltage the diodes conduct whatever was asked: E + I R = V."""
        over = c["emf"] - c["u"]
        if self.free or over <= 0.0:
            return i

        def missing(j: float) -> float:
            return c["emf"] + j * c["r_motor"] - self.voltage(c, j)

        return min(i, brentq(missing, -(over + 1.0) / c["r_motor"], 0.0, xtol=1e-12, rtol=1e-14))

    # --- the bike ------------------------------------------------------------------------------------------------

    def current_for(self, c: dict[str, float], force: float) -> float:
        torque = force * self.r / self.ratio
        torque = torque / self.eta if force >= 0.0 else torque * self.eta
        drag = self.drag if force >= 0.0 else self.drag_braking
        return (torque + drag + c["iron"]) / c["k"]

    def force_of(self, c: dict[str, float], i: float) -> float:
        torque = c["k"] * i - c["iron"]
        if torque >= self.drag:
            return (torque - self.drag) * self.ratio / self.r * self.eta
        return min((torque - self.drag_braking) * self.ratio / self.r / self.eta, 0.0)

    def plan(self, _x: float) -> tuple[float, float]:
        """Planned speed at a place [m/s] and the plan's own acceleration there [m/s2]."""
        return self.b.rider.cruise_speed_km_h / 3.6, 0.0

    def air(self, x: float) -> tuple[float, float]:
        """Density and temperature of the air at a place."""
        w, height = self.b.weather, self.way.altitude(x)
        celsius = w.temperature_c - 0.0065 * (height - self.way.altitude(0.0))
        pascal = standard_pressure(height) * w.sea_level_pressure_hpa / 1013.25
        return moist_air_density(pascal, celsius, w.relative_humidity_percent / 100.0), celsius

    def operate(self, y: dict[str, float]) -> dict[str, float]:
        """Everything algebraic at one state."""
        b, rider, box, w = self.b, self.b.rider, self.b.controller, self.b.weather
        v, sine = y["v"], self.way.sine(y["x"])
        cosine = math.sqrt(1.0 - sine * sine)
        rho, air_c = self.air(y["x"])
        angle, wind = math.radians(w.wind_from_deg - self.way.heading), w.wind_speed_km_h / 3.6 * w.wind_exposure
        along, across = v + wind * math.cos(angle), wind * math.sin(angle)
        drag = 0.5 * rho * self.cda * math.hypot(along, across) * along
        resist = drag + self.mass * G * (b.tyre.rolling_resistance * cosine + sine) + 0.091 + 0.0087 * v
        speed, braking = self.plan(y["x"])
        push = self.inertia * (braking + (speed - v) / rider.response_time_s)
        wanted = MUCH if self.throttle is not None else resist + push
        c = self.circuit(y)
        pedal, brake = 0.0, 0.0
        if wanted > 0.0:
            crank = rider.crank_torque_limit_nm * rider.chain_efficiency / (rider.lowest_gear * self.r)
            pedal = min(rider.power_w * rider.chain_efficiency / max(v, 1.5), wanted, crank)
            i = self._drive(y, c, wanted - pedal, resist, pedal, cosine, box)
        else:
            i = self._brake(y, c, wanted, cosine)
        i = self.with_diodes(c, i)
        force = self.force_of(c, i)
        coupled = i > 0.0 or not self.free
        if not coupled:  # the rotor stands still behind the freewheel; how it is caught up with again is left out
            force, c = 0.0, {**c, "omega": 0.0, "emf": 0.0}
        if wanted <= 0.0:
            brake = min(max(force - wanted, 0.0), max(self.most_brakes * cosine + min(force, 0.0), 0.0))
        net, inertia = force + pedal - brake - resist, self.inertia if coupled else self.rolling_inertia
        current = self.pack_current(c, i)
        volts = c["u"] - c["r0"] * current
        lost = (
            box.standby_power_w + box.on_resistance_mohm / 1000 * i * i + box.switching_loss_fraction * abs(i) * volts
        )
        return {
            "i": i, "pack_current": current, "pack_voltage": volts, "acceleration": net / inertia,
            "copper": i * i * c["r_motor"], "iron": c["iron"] * c["omega"], "lost": lost,
            "pack_loss": current**2 * c["r0"] + y["v_rc"] ** 2 / self.r_slow, "air_c": air_c, "pedal": pedal,
            "brake": brake,
        }  # fmt: skip

    def _drive(
        self, y: dict[str, float], c: dict[str, float], wanted: float, resist: float, pedal: float, cosine: float,
        box: Any,
    ) -> float:  # fmt: skip
        if self.free and wanted <= 0.0:
            return 0.0
        asked = self.current_for(c, wanted)
        if self.throttle is not None:
            asked = self.throttle * box.motor_current_limit_a * self.scale
        if asked <= 0.0:
            return 0.0
        fastest = box.electrical_frequency_limit_hz / self.b.motor.pole_pairs * math.tau * self.r / self.ratio
        hold = resist + self.inertia * (fastest - y["v"]) / self.b.rider.response_time_s - pedal
        most = max(min(self.most_drive * cosine - pedal, hold), 0.0)
        return self.driving_current(y, c, min(asked, self.current_for(c, most)))

    def _brake(self, y: dict[str, float], c: dict[str, float], wanted: float, cosine: float) -> float:
        if self.free:
            return 0.0
        asked = self.current_for(c, wanted)
        if asked >= 0.0:
            return self.driving_current(y, c, asked)
        grip = max(-self.current_for(c, -self.most_motor_brake * cosine), 0.0)
        return -self.braking_current(y, c, min(-asked, grip))

    def slope(self, _t: float, vector: np.ndarray) -> list[float]:
        y = dict(zip(FIELDS, vector, strict=True))
        y["v"] = max(y["v"], 0.0)
        o, motor, pack, box = self.operate(y), self.b.motor, self.b.pack, self.b.controller
        still = motor.body_to_air_still_w_per_k
        moving = (motor.body_to_air_at_36_km_h_w_per_k - still) * (y["v"] / 10.0) ** motor.cooling_exponent
        to_body = motor.winding_to_body_w_per_k * (y["winding"] - y["body"])
        to_air = motor.enclosure * (still + moving) * (y["body"] - o["air_c"])
        power = o["pack_voltage"] * o["pack_current"]
        return [
            y["v"],
            o["acceleration"],
            -o["pack_current"] / self.coulombs,
            (o["pack_current"] * self.r_slow - y["v_rc"]) / pack.cell.polarisation_time_s,
            (o["copper"] - to_body) / motor.winding_heat_capacity_j_per_k,
            (o["iron"] + to_body - to_air) / motor.body_heat_capacity_j_per_k,
            (o["lost"] - box.to_air_w_per_k * (y["box"] - o["air_c"])) / box.heat_capacity_j_per_k,
            (o["pack_loss"] - pack.to_air_w_per_k * (y["cells"] - o["air_c"])) / self.cells_heat,
            max(power, 0.0),
            max(-power, 0.0),
            o["pedal"] * y["v"] / self.b.rider.chain_efficiency,
            o["brake"] * y["v"],
            o["copper"],
        ]  # fmt: skip

    def ride(self, *, start_speed: float = 0.0, longest_s: float = 40000.0, samples: int = 400) -> Solved:
        """Solve until the road or the pack ends."""
        air = self.b.weather.temperature_c
        start = [0.0, start_speed, self.b.pack.start_charge_fraction, 0.0, air, air, air, air, 0, 0, 0, 0, 0]
        box, pack = self.b.controller, self.b.pack

        def road_end(_t: float, y: np.ndarray) -> float:
            return y[0] - self.way.length

        def empty(_t: float, y: np.ndarray) -> float:
            return y[2] - pack.charge_floor_fraction

        def weak(_t: float, y: np.ndarray) -> float:
            done = box.no_current_below_v + 0.02 * (box.full_current_above_v - box.no_current_below_v)
            volts = self.operate(dict(zip(FIELDS, y, strict=True)))["pack_voltage"]
            return volts - max(done, pack.series * pack.cell.min_voltage_v)

        events = (road_end, empty, weak)
        for event in events:
            event.terminal = True  # type: ignore[attr-defined]
        got = solve_ivp(
            self.slope, (0.0, longest_s), start, method="LSODA", rtol=1e-8, atol=1e-8, events=events, dense_output=True,
            max_step=20.0,
        )  # fmt: skip
        assert got.success, got.message
        ended = [name for name, hit in zip(("road", "empty", "weak"), got.t_events, strict=True) if hit.size]
        time = np.union1d(got.t, np.linspace(0.0, got.t[-1], samples))
        states = dict(zip(FIELDS, got.sol(time), strict=True))
        rows = [self.operate({k: float(s[n]) for k, s in states.items()}) for n in range(len(time))]
        return Solved(time, states, {k: np.array([row[k] for row in rows]) for k in rows[0]}, ended[0])


def fold(reading: float, start: float, end: float) -> float:
    """1 below start, 0 above end, straight between."""
    return min(max((end - reading) / (end - start), 0.0), 1.0)
