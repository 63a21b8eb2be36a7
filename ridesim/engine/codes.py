"""Names for the numbers that the compiled step reads and writes: laws, limits, stops, ledger, totals, channels."""

from __future__ import annotations

from enum import IntEnum


class Law(IntEnum):
    """What the throttle asks for."""

    TORQUE = 0
    VOLTAGE = 1
    GOVERNOR = 2
    ASSIST = 3


class Limit(IntEnum):
    """The bound that holds the motor (or the tyre) in a step; each step counts for one motor cause at the most."""

    NONE = 0
    MOTOR_CURRENT = 1
    BRAKE_CURRENT = 2
    PACK_CURRENT = 3
    PACK_POWER = 4
    CHARGE_CURRENT = 5
    FULL_PACK = 6
    COLD_PACK = 7
    MODULATION = 8
    ELECTRICAL_FREQUENCY = 9
    MOTOR_TEMPERATURE = 10
    CONTROLLER_TEMPERATURE = 11
    LOW_VOLTAGE = 12
    ASSIST_SPEED = 13
    MOTOR_POWER = 14
    OVER_SPEED = 15
    GRIP = 16


class Stop(IntEnum):
    """Why a ride ended."""

    RUNNING = 0
    FINISHED = 1
    PACK_EMPTY = 2
    LOW_VOLTAGE = 3
    STALLED = 4
    OVER_TEMPERATURE = 5
    TIME_LIMIT = 6
    NOT_FINITE = 7
    INTERRUPTED = 8  # by a signal; raised as Interrupted, never an answer


class Ledger(IntEnum):
    """Lines of the energy ledger [J]. Sources positive when they give, sinks positive when they take."""

    CHEMISTRY_OUT = 0
    CHEMISTRY_IN = 1
    RIDER = 2
    PACK_LOSS = 3
    PACK_POLARISATION_STORED = 4
    CONTROLLER_LOSS = 5
    COPPER = 6
    IRON = 7
    STAGES = 8
    PEDAL_CHAIN = 9
    AIR = 10
    ROLLING = 11
    BEARINGS = 12
    FRICTION_BRAKES = 13
    HEIGHT = 14
    KINETIC = 15


class Total(IntEnum):
    """Running figures of a ride: integrals, extremes and where they were met. SI units."""

    TIME = 0
    MOVING_TIME = 1
    DISTANCE = 2
    TERMINAL_OUT = 3
    TERMINAL_IN = 4
    PEAK_DRIVE_CURRENT = 5
    PEAK_BRAKE_CURRENT = 6
    PEAK_PACK_CURRENT = 7
    PEAK_CHARGE_CURRENT = 8
    LOWEST_VOLTAGE = 9
    HIGHEST_VOLTAGE = 10
    TOP_SPEED = 11
    PEAK_WINDING = 12
    PEAK_WINDING_AT = 13
    PEAK_BODY = 14
    PEAK_BODY_AT = 15
    PEAK_CONTROLLER = 16
    PEAK_CONTROLLER_AT = 17
    PEAK_PACK_TEMP = 18
    PEAK_PACK_TEMP_AT = 19
    MOTOR_SQUARE_TIME = 20
    PACK_SQUARE_TIME = 21
    SUSTAINED_MOTOR_SQUARE = 22
    SUSTAINED_PACK_SQUARE = 23
    PEAK_SHAFT_TORQUE = 24
    PEAK_BRAKE_TORQUE = 25
    BRAKING_WANTED = 26
    MOTOR_BRAKING = 27
    WINDING_OVER_SECONDS = 28
    WINDING_OVER_FIRST_AT = 29
    BODY_OVER_SECONDS = 30
    PACK_OVER_SECONDS = 31
    CURVE_LEFT_SECONDS = 32
    PEAK_MECHANICAL_POWER = 33
    CHARGE_OUT = 34
    CHARGE_IN = 35
    SHAFT_WORK = 36
    LOWEST_VOLTAGE_AT = 37
    PEAK_DRIVE_CURRENT_AT = 38
    MEAN_MOTOR_SQUARE = 39
    MEAN_PACK_SQUARE = 40
    LAST_LIMIT = 41


class Channel(IntEnum):
    """Columns of the recorded trace. SI units."""

    TIME = 0
    DISTANCE = 1
    SPEED = 2
    PLAN_SPEED = 3
    ALTITUDE = 4
    GRADE = 5
    MOTOR_CURRENT = 6
    MOTOR_CURRENT_HIGH = 7
    MOTOR_CURRENT_LOW = 8
    PACK_CURRENT = 9
    PACK_CURRENT_HIGH = 10
    PACK_CURRENT_LOW = 11
    PACK_VOLTAGE = 12
    PACK_VOLTAGE_LOW = 13
    MODULATION = 14
    MOTOR_SPEED = 15
    SHAFT_TORQUE = 16
    MOTOR_FORCE = 17
    PEDAL_FORCE = 18
    BRAKE_FORCE = 19
    AIR_FORCE = 20
    ROLLING_FORCE = 21
    GRADE_FORCE = 22
    BEARING_FORCE = 23
    COPPER_POWER = 24
    IRON_POWER = 25
    CONTROLLER_POWER = 26
    WINDING_TEMP = 27
    BODY_TEMP = 28
    CONTROLLER_TEMP = 29
    PACK_TEMP = 30
    CHARGE_FRACTION = 31
    LIMIT = 32
    OPEN_VOLTAGE = 33
    AIR_TEMP = 34
