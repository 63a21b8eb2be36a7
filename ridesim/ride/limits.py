"""The one list of limits: what each protects, how near is too near, how much is rounding, and what helps.

A limit is judged by `judge.hold` and nowhere else; whoever knows the figure and the part's own value calls it.
"""

from __future__ import annotations

from ridesim.ride.bench_limits import BENCH_LIMITS
from ridesim.ride.rule import (
    FINE,
    LOOK_AGAIN,
    NEAR_LIMIT_K,
    ORDER,
    RATING_TOLERANCE,
    ROUNDING,
    SPEED_TOLERANCE,
    STOP,
    TEMPERATURE_TOLERANCE_K,
    Rule,
    Word,
)

__all__ = [
    "FINE", "LIMITS", "LOOK_AGAIN", "NEAR_LIMIT_K", "ORDER", "RATING_TOLERANCE", "ROUNDING", "SPEED_TOLERANCE", "STOP",
    "TEMPERATURE_TOLERANCE_K", "Rule", "Word",
]  # fmt: skip

BRAKE_NEAR = 0.16
"""Share of what a brake may reach: 40 K of a disc, 16 K of a rim, which is never far from warm (guess)."""

LIMITS: dict[str, Rule] = {
    "arrival": Rule(
        "the ride itself", "km", "the rider, who wants to get there",
        "more charge, less load or speed, or slower gearing, as the reason says", "the ride", floor=True,
        tolerance=1e-3,
        broken="does not arrive",
    ),
    "pushed": Rule(
        "pushed on foot", "m", "the rider, who has to walk and push there",
        "less load, slower gearing, or more motor current, as for a bike that gets stuck",
        "the ride; rider.pushes_up_to_m", passed=LOOK_AGAIN,
    ),
    "winding": Rule(
        "winding", "c", "the winding's insulation, which ages fast when hot and then burns through",
        "ride slower, lower the motor current limit, take slower gearing or a larger motor", "IEC 60085, thermal class",
        near=NEAR_LIMIT_K, tolerance=TEMPERATURE_TOLERANCE_K,
        broken="winding too hot",
    ),
    "magnets": Rule(
        "magnets", "c", "the magnets, which weaken for good when hot", "as for the winding, with more time to cool",
        "makers' charts by grade (common practice, no standard)", near=NEAR_LIMIT_K,
        tolerance=TEMPERATURE_TOLERANCE_K,
        broken="magnets too hot",
    ),
    "controller": Rule(
        "controller", "c", "the controller's switches", "a heat sink in the wind, or less current",
        "controller.controller_no_current_above_c", tolerance=TEMPERATURE_TOLERANCE_K,
        broken="controller too hot",
    ),
    "cells_heat": Rule(
        "cells, temperature", "c", "the cells, which age fast and can vent when hot",
        "more cells in parallel, or less power", "pack.temperature_limit_c", near=5.0,
        tolerance=TEMPERATURE_TOLERANCE_K,
        broken="cells too hot",
    ),
    "cell_peak": Rule(
        "cell current, peak", "a", "the cells' rating, for a moment",
        "more cells in parallel, or a lower pack current limit", "cell data sheet: pack.cell.max_discharge_a",
        passed=LOOK_AGAIN, tolerance_share=RATING_TOLERANCE,
    ),
    "cell_lasting": Rule(
        "cell current, lasting", "a", "the cells, which heat and sag above their continuous rating",
        "more cells in parallel, or a lower pack current limit", "cell data sheet: pack.cell.max_discharge_a",
        tolerance_share=RATING_TOLERANCE,
        broken="cells overloaded",
    ),
    "cell_by_limit": Rule(
        "cell current at the controller's limit", "a", "the cells on a road that asks for all the controller gives",
        "lower controller.pack_current_limit_a, or more cells in parallel",
        "cell data sheet: pack.cell.max_discharge_a", passed=LOOK_AGAIN, tolerance_share=RATING_TOLERANCE,
    ),
    "charge_peak": Rule(
        "cell current, charging", "a", "the cells' charging rating",
        "lower controller.charge_current_limit_a, or more cells in parallel",
        "cell data sheet: pack.cell.max_charge_a", passed=LOOK_AGAIN, tolerance_share=RATING_TOLERANCE,
    ),
    "charge_hard": Rule(
        "cell current, charging hard", "a", "the cells: lithium plates out when they are charged too fast",
        "lower controller.charge_current_limit_a, or more cells in parallel",
        "1.5 times pack.cell.max_charge_a (guess)", tolerance_share=RATING_TOLERANCE,
        broken="cells charged too hard",
    ),
    "charge_by_limit": Rule(
        "cell charging at the controller's limit", "a", "the cells on a road that returns all the controller lets in",
        "lower controller.charge_current_limit_a, or more cells in parallel",
        "cell data sheet: pack.cell.max_charge_a", passed=LOOK_AGAIN, tolerance_share=RATING_TOLERANCE,
    ),
    "overcharge": Rule(
        "charge", "fraction", "the cells: charged above full they plate lithium, swell, vent and can burn",
        "start a descent with less than a full pack, and brake with the brakes", "full pack",
        tolerance=1e-3,
        broken="pack overcharged",
    ),
    "cell_voltage_high": Rule(
        "cell voltage, highest", "v", "the cells: charged above full they plate lithium, swell, vent and can burn",
        "lower controller.charge_voltage_limit_v, or start a descent with less than a full pack",
        "pack.cell.max_voltage_v", tolerance_share=0.002,
        broken="cells above full",
    ),
    "reserve": Rule(
        "charge left", "fraction", "the way home: wind, cold and age take their share",
        "a larger pack, a slower ride, or a warmer pack",
        "a tenth of the pack (guess) above the rider's floor, or above what cold cells do not give",
        passed=LOOK_AGAIN, floor=True,
    ),
    "supply_voltage": Rule(
        "pack voltage at the controller", "v", "the controller's capacitors and switches",
        "fewer cells in series, or a controller rated for more", "controller.voltage_limit_v", near_share=0.05,
        broken="too many volts for the controller",
    ),
    "over_speed": Rule(
        "back-EMF on descents", "km_h", "pack and controller: past it the diodes charge and brake with no control",
        "keep below that speed, or take more cells in series, a lower Kv, or a freewheel", "ride model, over-speed",
        near_share=0.1, tolerance_share=1e-3,
        broken="over-speed",
    ),
    "field_lost": Rule(
        "back-EMF if field weakening is lost", "v", "controller, pack and rider: the diodes charge and brake at once",
        "less field weakening, a lower top speed, or a controller rated for the voltage", "rectified back-EMF",
        broken="lost field weakening would burn the controller",
    ),
    "electrical_frequency": Rule(
        "electrical frequency", "hz", "the controller, which loses the motor above it",
        "fewer motor turns (faster gearing), fewer pole pairs, or a controller rated for more",
        "controller.electrical_frequency_limit_hz", near_share=0.02, tolerance_share=0.01,
        broken="electrical frequency too high",
    ),
    "free_frequency": Rule(
        "electrical frequency, wheel lifted", "hz", "the controller, on a full pack with nothing to turn",
        "do not open the throttle with the wheel lifted; or a controller rated for more",
        "controller.electrical_frequency_limit_hz", passed=LOOK_AGAIN,
    ),
    "time_on_a_bound": Rule(
        "time on one bound", "fraction", "the pace: the rider feels it", "as the bound says",
        "15 % of the time (guess)", passed=LOOK_AGAIN,
    ),
    "top_speed": Rule(
        "top speed", "km_h", "the pace that is wanted", "faster gearing, more voltage, more power, or a humbler wish",
        "rider.cruise_speed_km_h", passed=LOOK_AGAIN, floor=True, tolerance_share=SPEED_TOLERANCE,
    ),
    "standing_force": Rule(
        "grip and front lift", "n", "the rider: a careless throttle slips the tyre or lifts the front wheel",
        "lower the motor current limit, or let the throttle rise slowly", "moments about the wheel contacts",
        passed=LOOK_AGAIN,
    ),
    "wheel_kv": Rule(
        "wheel-equivalent Kv", "rpm_per_v", "a rule of thumb, no more: the ride decides",
        "ride it, and let the ride decide", "common practice, no source", passed=LOOK_AGAIN,
    ),
    "wheel_kv_low": Rule(
        "wheel-equivalent Kv, least", "rpm_per_v", "a rule of thumb, no more: the ride decides",
        "ride it, and let the ride decide", "common practice, no source", passed=LOOK_AGAIN, floor=True,
    ),
    "cold_charging": Rule(
        "cold charging", "c", "the cells: lithium plates out when they are charged below 0 °C, by charger or by regen",
        "warm the pack before it is charged", "cell data sheets", passed=LOOK_AGAIN, floor=True, near=5.0,
    ),
    "belt_pull": Rule(
        "belt pull", "n", "the belt's cords and teeth", "a wider belt, a larger pulley, or less torque",
        "workshop.belt", tolerance_share=RATING_TOLERANCE,
        broken="belt overloaded",
    ),
    "lead": Rule(
        "lead", "a", "the lead's insulation, its solder, and whoever touches it",
        "a thicker or shorter lead, or less current", "workshop.wire",
        broken="lead too thin",
    ),
    "fuse": Rule(
        "fuse", "a", "the leads, when something shorts", "a fuse between load and lead", "workshop.wire",
        broken="fuse wrong",
    ),
    "legal_class": Rule(
        "legal class", "w", "your right to ride on public roads", "ask local law and licensed advice",
        "workshop.law", passed=LOOK_AGAIN,
    ),
    "belt_service": Rule(
        "belt pull, service factor on it", "n", "the belt's life under bumps and starts", "as for the belt's pull",
        "SDP/SI, section 24", passed=LOOK_AGAIN, tolerance_share=RATING_TOLERANCE,
    ),
    "belt_mesh": Rule(
        "teeth in mesh", "", "the teeth, which share the pull", "shafts further apart, or a larger small pulley",
        "SDP/SI, section 13.3", passed=LOOK_AGAIN, floor=True,
    ),
    "belt_teeth": Rule(
        "teeth of the smallest pulley", "", "the cords, which bend over it", "a pulley with more teeth",
        "makers' least teeth by profile, from memory", passed=LOOK_AGAIN, floor=True,
    ),
    "belt_empty": Rule(
        "slack side", "n", "the rider: where it goes empty a tooth skips", "more tension at rest",
        "statics of a belt", floor=True,
    ),
    "belt_slack": Rule(
        "slack side, its share of the pull", "n", "the teeth, which climb when the belt hangs", "more tension at rest",
        "engineer's handbook: 10 to 30 % of the pull", passed=LOOK_AGAIN, floor=True, tolerance_share=1e-9,
    ),
    "belt_tension": Rule(
        "tension at rest", "n", "cords, shafts and bearings", "less tension at rest", "SDP/SI, table 3",
        tolerance_share=1e-9,
    ),
    "belt_tight": Rule(
        "tight side", "n", "the cords", "less tension at rest, or a wider belt", "SDP/SI, table 3", passed=LOOK_AGAIN,
        tolerance_share=1e-9,
    ),
    "tooth_skip": Rule(
        "tooth-skip margin", "", "the rider: a skipped tooth drops the load", "more tension at rest",
        "common practice, no source; a fifth to spare is a guess", floor=True, near=0.2,
    ),
    "tooth_load": Rule(
        "tooth-load margin", "", "the teeth in mesh", "a wider belt or larger pulleys", "SDP/SI, table 3",
        passed=LOOK_AGAIN, floor=True,
    ),
    "shaft_load": Rule(
        "side load of the motor's shaft", "n", "shaft and bearing", "a bearing on both sides of the pulley",
        "motor.shaft_side_load_limit_n",
    ),
    "shaft_estimate": Rule(
        "side load of the motor's shaft, by estimate", "n", "shaft and bearing",
        "a thicker shaft, or a bearing on both sides of the pulley", "Shigley, chapter 6; ISO 281", passed=LOOK_AGAIN,
    ),
    "pulley_room": Rule(
        "room of the wheel's pulley", "mm", "frame, tyre and rim when the wheel flexes", "fewer teeth, or more room",
        "3 mm to spare (guess)", floor=True, near=3.0,
    ),
    "pulley_ground": Rule(
        "room under the wheel's pulley", "mm", "the belt, from kerbs and ruts", "fewer teeth",
        "20 mm at least, 60 mm wanted (guesses)", floor=True, near=40.0,
    ),
    "lead_heat": Rule(
        "lead, temperature", "c", "insulation, solder, sleeves and hands", "a thicker lead, or fewer in one sleeve",
        "the jacket's print; joints: common practice", near=NEAR_LIMIT_K, tolerance=TEMPERATURE_TOLERANCE_K,
    ),
    "lead_drop": Rule(
        "voltage lost in a lead", "percent", "range and pull", "a thicker or shorter lead",
        "3 % (common practice, no source)", passed=LOOK_AGAIN,
    ),
    "plug": Rule(
        "plug", "a", "contacts and their housing", "a larger plug", "ratings from memory", near_share=0.2,
        tolerance_share=1e-9,
    ),
    "plug_peak": Rule(
        "plug, peak", "a", "contacts and their housing", "a larger plug", "twice the rating (common practice)",
        passed=LOOK_AGAIN, tolerance_share=1e-9,
    ),
    "plug_fuse": Rule(
        "plug behind its fuse", "a", "the plug, in an overload that the fuse lets pass", "a larger plug",
        "IEC 60364-4-43, from memory", tolerance_share=1e-9,
    ),
    "strip_heat": Rule(
        "strips between cells", "k", "the cells under them", "thicker or more strips",
        "20 K above the cells wanted, 40 K at most (guesses)", near_share=0.5,
    ),
    "strip_fuse": Rule(
        "strips behind their fuse", "a", "the cells, in an overload that the fuse lets pass", "thicker or more strips",
        "IEC 60364-4-43, from memory", tolerance_share=1e-9,
    ),
    "fuse_peak": Rule(
        "fuse in the peak", "a", "the ride: a blown fuse ends it", "a larger fuse on a thicker lead",
        "1.35 times the rating, ISO 8820, from memory", passed=LOOK_AGAIN,
    ),
    "fuse_voltage": Rule(
        "voltage of the fuse", "v", "the bike: an arc goes on burning in a fuse made for less", "a DC fuse for more",
        "the fuse's own print; kinds from memory",
    ),
    "fuse_breaking": Rule(
        "short that the fuse breaks", "a", "the bike: a fuse can burst in a short it is not made for",
        "a fuse of higher breaking capacity", "the fuse's own print; kinds from memory",
    ),
    "precharge_gap": Rule(
        "voltage left at closing", "percent", "contacts and capacitors, from a spark", "a smaller resistor",
        "5 % wanted, 15 % at most (guesses)", near=10.0,
    ),
    "precharge_time": Rule(
        "time to pre-charge", "s", "patience: nobody holds the button longer", "a smaller resistor", "guess",
        passed=LOOK_AGAIN,
    ),
    "motor_shares": Rule(
        "how two motors share", "fraction", "the motor that does the other's work, and its winding",
        "a torque law, or motors whose Kv agree", "closed form, omega K d/R; a fifth of the current is a guess",
        passed=LOOK_AGAIN,
    ),
    "gear_torque": Rule(
        "torque into the gears", "nm", "the gears' teeth and pawls, and the rider who stands on the pedals",
        "a larger ring or a smaller sprocket on the hub, less motor current, or gears that stand more",
        "drive.gears.input_torque_limit_nm", tolerance_share=RATING_TOLERANCE,
        broken="gears overloaded",
    ),
    "chain_force": Rule(
        "pull of the pedal chain", "n", "the chain and the rider, who falls when it breaks",
        "a larger ring, less motor current, or a stronger chain",
        "drive.chain_force_limit_n",
        tolerance_share=RATING_TOLERANCE,
        broken="chain overloaded",
    ),
    "chain_guess": Rule(
        "pull of the pedal chain, against a strong rider's", "n", "the chain, which wears fast and may break",
        "a larger ring, less motor current, or a stronger chain and its limit in drive.chain_force_limit_n",
        "200 N m on 38 teeth (guess)", passed=LOOK_AGAIN, tolerance_share=RATING_TOLERANCE,
    ),
    "shifting": Rule(
        "gear shifts a minute", "", "the pace and the gears: a shift on a climb costs more speed than the step gains",
        "a wider gap between drive.gears.up_rpm and down_rpm, fewer or closer gears, or quicker shifts",
        "6 a minute (guess)", passed=LOOK_AGAIN,
    ),
    "brake_heat": Rule(
        "friction brakes", "c", "the rider: hot pads fade, a hot rim softens tyre, glue or resin, hot fluid boils",
        "stop and let them cool, ride down slower or faster than the worst speed, larger discs, or regen with room in "
        "the pack", "brakes.front.limit_c, brakes.rear.limit_c", near_share=BRAKE_NEAR,
        tolerance=TEMPERATURE_TOLERANCE_K,
        broken="brakes too hot",
    ),
    "brake_guess": Rule(
        "friction brakes, by a guessed disc", "c", "the rider: hot pads fade, hot fluid boils",
        "say what brakes the bike has in [brakes.front] and [brakes.rear]; stop and let them cool", "a disc of 180 mm",
        passed=LOOK_AGAIN, near_share=BRAKE_NEAR,
    ),
    "mount_peak": Rule(
        "safety of what holds the drive, at the peak", "",
        "the rider: what turns loose or breaks beside a wheel locks it",
        "a stronger part, as the reason says", "closed forms of `ridesim mount`", floor=True, near=0.5,
        tolerance_share=1e-9,
        broken="the mount breaks",
    ),
    "mount_estimate": Rule(
        "safety of what holds the drive, by estimate", "", "the rider: what breaks beside a wheel locks it",
        "a stronger part, as the reason says", "closed forms of `ridesim mount`, material or place guessed",
        passed=LOOK_AGAIN, floor=True, near=0.5, tolerance_share=1e-9,
    ),
    "mount_lasting": Rule(
        "safety of what holds the drive, for good", "", "the part: it cracks or creeps after months",
        "a stronger part, as the reason says", "Goodman line; lasting strengths of `ridesim mount`",
        passed=LOOK_AGAIN, floor=True, near=0.25, tolerance_share=1e-9,
    ),
    "mount_grub": Rule(
        "grip of grub screws", "", "the rider: a pulley that slips bites into its shaft and turns loose",
        "a flat under the screws, a key, or a clamp", "a shaft-component maker: 4 to 8 where loads change",
        passed=LOOK_AGAIN, floor=True, tolerance_share=1e-9,
    ),
    "mount_warm": Rule(
        "warmth of a printed part", "c", "the part: printed polymers soften far below where they melt",
        "metal, or a polymer that bears more heat", "filament makers' data sheets", passed=LOOK_AGAIN, near=5.0,
    ),
    **BENCH_LIMITS,
}  # fmt: skip
"""Every limit by its name in JSON. Workshop rooms that know more parts hold them by the same rules."""
