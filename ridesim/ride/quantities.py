"""The one table of quantities: what each key of a trace or an answer is called, means, and how it is shown."""

from __future__ import annotations

from typing import Literal, NamedTuple

from ridesim.engine.state import Channel
from ridesim.units import UNITS, suffix_of


class Quantity(NamedTuple):
    """One quantity by its JSON key, whose suffix is its unit.

    `words` in sentences and tables, `short` on axes; `digits` after the point; `better`: which way is good, where one
    is. `channel`: the column of the trace it is recorded in. `meaning` and `measured`: what it is, how a builder
    measures it.
    """

    key: str
    words: str
    short: str
    digits: int
    better: Literal["high", "low", ""] = ""
    channel: Channel | None = None
    meaning: str = ""
    measured: str = ""

    @property
    def unit(self) -> str:
        """The unit's suffix; "" where the quantity has none."""
        return suffix_of(self.key)

    @property
    def label(self) -> str:
        """Words for an axis, with the unit: `speed [km/h]`."""
        return f"{self.short} [{UNITS[self.unit].symbol}]" if self.unit else self.short


_C = Channel
_METER = "a meter in the pack's lead, or the controller's own log"
_PROBE = "a sensor in the winding, or on the body and then the winding is warmer"
_GPS = "a receiver's recording, or the wheel's turns"

_TRACE = (
    Quantity("time_s", "time", "time", 0, "low", _C.TIME, "time since the start"),
    Quantity("distance_km", "distance", "distance", 1, "high", _C.DISTANCE, "along the road's surface", _GPS),
    Quantity("speed_km_h", "speed", "speed", 1, "", _C.SPEED, "of the bike over the road", _GPS),
    Quantity("plan_speed_km_h", "planned speed", "planned", 1, "", _C.PLAN_SPEED,
             "what a careful rider would ride there: cruise speed, limits, bends and stops"),
    Quantity("altitude_m", "altitude", "altitude", 0, "", _C.ALTITUDE, "of the smoothed road", "a barometer"),
    Quantity("grade_percent", "grade", "grade", 1, "", _C.GRADE, "rise over run, up positive"),
    Quantity("motor_current_a", "motor current", "motor current", 1, "", _C.MOTOR_CURRENT,
             "as the build's commutation reads it: amplitude of the phase current, or DC-equivalent",
             "the controller's log; a clamp meter around one phase reads an rms"),
    Quantity("motor_current_high_a", "highest motor current of the interval", "highest", 1, "",
             _C.MOTOR_CURRENT_HIGH, "since the row before"),
    Quantity("motor_current_low_a", "lowest motor current of the interval", "lowest", 1, "", _C.MOTOR_CURRENT_LOW,
             "since the row before; braking is negative"),
    Quantity("pack_current_a", "pack current", "pack current", 1, "", _C.PACK_CURRENT, "out of the pack positive",
             _METER),
    Quantity("pack_current_high_a", "highest pack current of the interval", "highest", 1, "", _C.PACK_CURRENT_HIGH,
             "since the row before"),
    Quantity("pack_current_low_a", "lowest pack current of the interval", "lowest", 1, "", _C.PACK_CURRENT_LOW,
             "since the row before; charging is negative"),
    Quantity("pack_voltage_v", "pack voltage", "pack", 1, "", _C.PACK_VOLTAGE, "under load", "a voltmeter"),
    Quantity("pack_voltage_low_v", "lowest pack voltage of the interval", "lowest", 1, "", _C.PACK_VOLTAGE_LOW,
             "since the row before"),
    Quantity("modulation", "modulation", "modulation", 2, "", _C.MODULATION,
             "motor voltage over pack voltage; at its limit the motor turns as fast as the voltage lets it",
             "the controller's log"),
    Quantity("motor_speed_rpm", "motor speed", "motor", 0, "", _C.MOTOR_SPEED, "of the motor's shaft",
             "wheel turns times motor turns a wheel turn"),
    Quantity("shaft_torque_nm", "shaft torque", "torque", 2, "", _C.SHAFT_TORQUE,
             "at the motor's shaft, after iron, bearings and air have taken theirs"),
    Quantity("motor_force_n", "motor force", "motor force", 0, "", _C.MOTOR_FORCE, "at the wheel"),
    Quantity("pedal_force_n", "pedal force", "pedal force", 0, "", _C.PEDAL_FORCE, "at the wheel"),
    Quantity("walker_force_n", "force of a rider on foot", "on foot", 0, "", _C.WALKER_FORCE,
             "of the legs that push the bike and lift the walker", "a luggage scale at the handlebar"),
    Quantity("brake_force_n", "friction brake force", "brakes", 0, "", _C.BRAKE_FORCE, "at the wheels"),
    Quantity("air_force_n", "air drag", "air", 0, "", _C.AIR_FORCE, "with the wind"),
    Quantity("rolling_force_n", "rolling drag", "rolling", 0, "", _C.ROLLING_FORCE, "of both tyres"),
    Quantity("grade_force_n", "grade force", "grade", 0, "", _C.GRADE_FORCE, "weight along the road"),
    Quantity("bearing_force_n", "bearing drag", "bearings", 1, "", _C.BEARING_FORCE, "of the wheels"),
    Quantity("copper_power_w", "copper loss", "copper", 0, "low", _C.COPPER_POWER, "current squared x resistance"),
    Quantity("iron_power_w", "iron loss", "iron", 0, "low", _C.IRON_POWER,
             "magnetic hysteresis, eddy currents, bearings and air, paid whenever the motor turns",
             "no-load current at two speeds: `ridesim bench`"),
    Quantity("controller_power_w", "controller loss", "controller", 0, "low", _C.CONTROLLER_POWER,
             "standby, conduction and switching"),
    Quantity("winding_temp_c", "winding temperature", "winding", 0, "low", _C.WINDING_TEMP,
             "of the copper, one lump", _PROBE),
    Quantity("body_temp_c", "body temperature", "body", 0, "low", _C.BODY_TEMP,
             "of iron, can and magnets, one lump", "a sensor on the can"),
    Quantity("controller_temp_c", "controller temperature", "controller", 0, "low", _C.CONTROLLER_TEMP,
             "of switches and heat sink, one lump", "a sensor on the heat sink"),
    Quantity("pack_temp_c", "cell temperature", "pack", 0, "low", _C.PACK_TEMP, "of the cells, one lump",
             "a sensor between the cells"),
    Quantity("charge_fraction", "charge", "charge", 2, "high", _C.CHARGE_FRACTION,
             "charge in the cells over that of a full pack", "rested voltage, or counted ampere-hours"),
    Quantity("limit", "what held the motor", "held by", 0, "", _C.LIMIT, "the bound of the step that held it"),
    Quantity("open_voltage_v", "resting voltage", "at rest", 1, "", _C.OPEN_VOLTAGE,
             "what the cells would rest at", "a voltmeter after an hour of rest"),
    Quantity("field_current_a", "field-weakening current", "against the magnets", 1, "", _C.FIELD_CURRENT,
             "d-axis current against the magnets, read as the motor current", "the controller's log"),
    Quantity("gear", "gear", "gear", 0, "", _C.GEAR, "the lowest is 1; 0 in a shift, 1 where there are none",
             "counted at the lever"),
    Quantity("air_temp_c", "air temperature", "air", 0, "", _C.AIR_TEMP, "falls with altitude", "a thermometer"),
)  # fmt: skip

_ANSWER = (
    Quantity("road_km", "length asked for", "road", 1),
    Quantity("total_time_s", "time", "time", 0, "low"),
    Quantity("moving_time_s", "moving time", "moving", 0, "low"),
    Quantity("mean_speed_km_h", "mean speed while moving", "mean speed", 1, "high"),
    Quantity("top_speed_km_h", "highest speed of the ride", "top speed", 1),
    Quantity("end_speed_km_h", "speed at the end", "end speed", 1),
    Quantity("pushed_m", "length pushed on foot", "pushed", 0, "low", None,
             "up short ramps that motor and rider cannot climb"),
    Quantity("pushed_s", "time on foot", "on foot", 0, "low"),
    Quantity("pushes", "times that the rider gets off to push", "pushes", 0, "low"),
    Quantity("pushed_first_at_km", "where the rider first gets off to push", "at", 1),
    Quantity("climb_m", "climb", "climb", 0, "", None, "sum of the rises of the smoothed road"),
    Quantity("pack_energy_out_wh", "energy drawn from the pack", "drawn", 0, "low", None,
             "at its terminals, whenever current flows out", _METER),
    Quantity("pack_energy_returned_wh", "energy returned by regen", "returned", 1, "high", None,
             "at its terminals, whenever current flows in", _METER),
    Quantity("net_energy_wh", "energy from the pack", "energy", 0, "low", None, "drawn less returned", _METER),
    Quantity("net_wh_per_km", "energy a distance", "energy", 1, "low", None, "drawn less returned, over the distance",
             _METER),
    Quantity("returned_fraction", "returned over drawn", "returned", 3, "high"),
    Quantity("rider_energy_wh", "energy from the rider", "rider", 0, "", None, "at the pedals", "a pedal power meter"),
    Quantity("charge_left_fraction", "charge left", "charge left", 2, "high", None,
             "charge in the cells at the end over that of a full pack", "rested voltage, or counted ampere-hours"),
    Quantity("charge_out_of_reach_fraction", "charge out of reach in the cold", "out of reach", 2, "low", None,
             "what cells as cold as at the end of the ride do not give at its highest draw of a minute or more"),
    Quantity("highest_charge_fraction", "highest charge", "highest charge", 3, "low", None,
             "above 1 the cells are overcharged"),
    Quantity("range_km", "range", "range", 1, "high", None,
             "the same road ridden again and again until the pack's voltage, the charge floor or a hill ends it"),
    Quantity("range_added_by_regen_km", "range that regen adds", "added by regen", 1, "high", None,
             "against the same ride without regen"),
    Quantity("rise_a_lap_m", "rise of each lap", "rise a lap", 0, "", None, "how far a lap ends above its start"),
    Quantity("peak_motor_current_a", "highest motor current", "peak motor current", 0, "low", None,
             "read as the commutation reads it"),
    Quantity("peak_motor_current_at_km", "where the motor current peaked", "at", 1),
    Quantity("peak_motor_current_dc_equivalent_a", "highest motor current, DC-equivalent", "peak, DC-equivalent", 0,
             "low", None, "the current of a brushed motor of the same torque: sqrt(3)/2 of a sine drive's amplitude"),
    Quantity("peak_field_current_a", "highest field-weakening current", "field weakening", 0),
    Quantity("peak_brake_current_a", "highest braking current of the motor", "peak braking", 0),
    Quantity("sustained_motor_current_a", "lasting motor current", "lasting motor current", 0, "low", None,
             "the highest root of a running mean of squares over 60 s: what heats"),
    Quantity("sustained_motor_current_dc_equivalent_a", "lasting motor current, DC-equivalent", "lasting", 0, "low"),
    Quantity("rms_motor_current_a", "rms motor current", "rms motor current", 0, "low", None, "over the whole ride"),
    Quantity("rms_motor_current_dc_equivalent_a", "rms motor current, DC-equivalent", "rms", 0, "low"),
    Quantity("peak_pack_current_a", "highest pack current", "peak pack current", 1, "low", None, "", _METER),
    Quantity("peak_charge_current_a", "highest charging current", "peak charging", 1, "low", None, "by regen", _METER),
    Quantity("sustained_pack_current_a", "lasting pack current", "lasting pack current", 1, "low", None,
             "the highest root of a running mean of squares over 60 s"),
    Quantity("rms_pack_current_a", "rms pack current", "rms pack current", 1, "low"),
    Quantity("peak_cell_current_a", "highest current of a cell", "peak, a cell", 1, "low", None,
             "pack current over the cells in parallel"),
    Quantity("sustained_cell_current_a", "lasting current of a cell", "lasting, a cell", 1, "low"),
    Quantity("peak_cell_charge_current_a", "highest charging current of a cell", "charging, a cell", 1, "low"),
    Quantity("lowest_pack_voltage_v", "lowest pack voltage", "lowest voltage", 1, "high", None, "under load",
             "a voltmeter that keeps its lowest"),
    Quantity("lowest_pack_voltage_at_km", "where the voltage was lowest", "at", 1),
    Quantity("highest_pack_voltage_v", "highest pack voltage", "highest voltage", 1, "low", None,
             "the pack at rest before the start included"),
    Quantity("highest_cell_voltage_v", "highest voltage of a cell", "highest, a cell", 2, "low"),
    Quantity("peak_shaft_torque_nm", "highest shaft torque", "peak torque", 1),
    Quantity("peak_brake_torque_nm", "highest braking torque of the motor", "peak braking torque", 1),
    Quantity("peak_shaft_power_w", "highest shaft power", "peak power", 0),
    Quantity("motor_braking_wh", "energy braked by the motor", "motor braking", 1, "", None, "at the wheel"),
    Quantity("gear_shifts", "gear shifts", "shifts", 0),
    Quantity("shifting_time_s", "time in shifts", "in shifts", 1, "low", None, "without force of the motor"),
    Quantity("peak_gear_torque_nm", "highest torque into the gears", "into the gears", 0, "low", None,
             "of the motor, and of legs on the same chain as a mean over the crank's turn"),
    Quantity("peak_chain_force_n", "highest pull of the pedal chain", "chain pull", 0, "low", None,
             "motor and legs added up; the legs' as a mean over the crank's turn"),
    Quantity("peak_winding_temp_c", "hottest winding", "hottest winding", 0, "low", None, "", _PROBE),
    Quantity("peak_winding_temp_at_km", "where the winding was hottest", "at", 1),
    Quantity("winding_limit_c", "winding temperature allowed", "winding limit", 0, "", None,
             "by the insulation's thermal class, IEC 60085"),
    Quantity("winding_over_limit_s", "time with the winding too hot", "winding too hot", 0, "low"),
    Quantity("winding_over_limit_from_km", "where the winding first grew too hot", "from", 1),
    Quantity("peak_body_temp_c", "hottest body and magnets", "hottest body", 0, "low", None, "", "a sensor on the can"),
    Quantity("peak_body_temp_at_km", "where the body was hottest", "at", 1),
    Quantity("magnet_limit_c", "magnet temperature allowed", "magnet limit", 0, "", None, "by the magnets' grade"),
    Quantity("magnets_over_limit_s", "time with the magnets too hot", "magnets too hot", 0, "low"),
    Quantity("peak_controller_temp_c", "hottest controller", "hottest controller", 0, "low"),
    Quantity("peak_controller_temp_at_km", "where the controller was hottest", "at", 1),
    Quantity("peak_pack_temp_c", "hottest cells", "hottest cells", 0, "low"),
    Quantity("peak_pack_temp_at_km", "where the cells were hottest", "at", 1),
    Quantity("off_curve_s", "time off the cells' voltage curve", "off the curve", 0, "low", None,
             "below empty or above full, where the curve is extrapolated"),
    Quantity("over_speed_s", "time with back-EMF above the pack", "over-speed", 0, "low", None,
             "the diodes charge and brake with no control"),
    Quantity("over_speed_from_km_h", "speed from which back-EMF passes the pack", "over-speed from", 0, "high", None,
             "of a fixed drive, at the charge of the ride's end"),
    Quantity("rest_to_cool_min", "rest that cools the motor", "rest", 0, "low", None,
             "standing, from the hottest winding and body"),
)  # fmt: skip

SECOND = "second_"
"""How the key of a second, different drive's own figure begins."""

OF_SECOND = (
    "peak_motor_current_a", "sustained_motor_current_a", "peak_winding_temp_c", "peak_body_temp_c",
    "peak_controller_temp_c",
)  # fmt: skip
"""Figures that a second, different drive has for itself where many bikes are ridden."""


def _of_second(row: Quantity) -> Quantity:
    return row._replace(
        key=f"{SECOND}{row.key}", words=f"second drive, {row.words}", short=f"second drive, {row.short}",
        meaning="; ".join(filter(None, ("of the second of two different drives", row.meaning))),
    )  # fmt: skip


_SECOND = tuple(_of_second(row) for row in _ANSWER if row.key in OF_SECOND)

QUANTITIES: dict[str, Quantity] = {each.key: each for each in (*_TRACE, *_ANSWER, *_SECOND)}
"""Every quantity by its key."""

COLUMNS: dict[Channel, str] = {each.channel: each.key for each in _TRACE if each.channel is not None}
"""The trace's columns by their channel."""
