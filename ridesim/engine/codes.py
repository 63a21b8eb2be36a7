"""Names for the numbers that the compiled step reads and writes: laws, limits, stops, ledger, totals, channels."""

from __future__ import annotations

from enum import IntEnum, unique


@unique
class Law(IntEnum):
    """What the throttle asks for."""

    TORQUE = 0
    VOLTAGE = 1
    GOVERNOR = 2
    ASSIST = 3


@unique
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


@unique
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
    OVERCHARGED = 9


@unique
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
    SHIFTS = 16  # of the rotor, given up while it is taken to another gear's speed
    WALKER = 17


@unique
class Total(IntEnum):
    """Running figures of a ride: integrals, extremes and where they were met. SI units."""

    TIME = 0  # s
    MOVING_TIME = 1  # s
    DISTANCE = 2  # m
    TERMINAL_OUT = 3  # J
    TERMINAL_IN = 4  # J
    PEAK_DRIVE_CURRENT = 5  # A
    PEAK_BRAKE_CURRENT = 6  # A, as a size
    PEAK_PACK_CURRENT = 7  # A
    PEAK_CHARGE_CURRENT = 8  # A, as a size
    LOWEST_VOLTAGE = 9  # V
    HIGHEST_VOLTAGE = 10  # V
    TOP_SPEED = 11  # m/s
    PEAK_WINDING = 12  # degC
    PEAK_WINDING_AT = 13  # m
    PEAK_BODY = 14  # degC
    PEAK_BODY_AT = 15  # m
    PEAK_CONTROLLER = 16  # degC
    PEAK_PACK_TEMP = 17  # degC
    MOTOR_SQUARE_TIME = 18  # A2 s
    PACK_SQUARE_TIME = 19  # A2 s
    SUSTAINED_MOTOR_SQUARE = 20  # A2, the highest running mean
    SUSTAINED_PACK_SQUARE = 21  # A2
    PEAK_SHAFT_TORQUE = 22  # N m
    PEAK_BRAKE_TORQUE = 23  # N m, as a size
    MOTOR_BRAKING = 24  # J at the wheel
    WINDING_OVER_SECONDS = 25  # s
    WINDING_OVER_FIRST_AT = 26  # m
    BODY_OVER_SECONDS = 27  # s
    PACK_OVER_SECONDS = 28  # s
    CURVE_LEFT_SECONDS = 29  # s, charge outside 0 to 1
    PEAK_MECHANICAL_POWER = 30  # W at the shaft
    CHARGE_OUT = 31  # C
    CHARGE_IN = 32  # C
    LOWEST_VOLTAGE_AT = 33  # m
    PEAK_DRIVE_CURRENT_AT = 34  # m
    MEAN_MOTOR_SQUARE = 35  # A2, the running mean itself
    MEAN_PACK_SQUARE = 36  # A2
    LAST_LIMIT = 37  # the code of the last step's limit
    HIGHEST_CHARGE = 38  # fraction
    PEAK_CONTROLLER_AT = 39  # m
    PEAK_PACK_TEMP_AT = 40  # m
    PEAK_FIELD_CURRENT = 41  # A
    PEAK_GEAR_TORQUE = 42  # N m into the gears, or onto the pedal chain's wheel sprocket
    SHIFTS = 43  # how many
    SHIFTING_TIME = 44  # s
    PUSHED_DISTANCE = 45  # m
    PUSHED_TIME = 46  # s
    PUSHES = 47
    PUSHED_FIRST_AT = 48  # m
    NOT_PUSHED = 49  # why the last stuck bike was not pushed: 1 too far, 2 too steep, 0 no reason
    GEAR_TIME = 50  # s in the lowest gear; the others follow, so it stays the last


@unique
class Channel(IntEnum):
    """Columns of the recorded trace. SI units."""

    TIME = 0  # s
    DISTANCE = 1  # m, laps added up
    SPEED = 2  # m/s
    PLAN_SPEED = 3  # m/s
    ALTITUDE = 4  # m
    GRADE = 5  # rise per run
    MOTOR_CURRENT = 6  # A, DC-equivalent
    MOTOR_CURRENT_HIGH = 7  # A, highest since the row before
    MOTOR_CURRENT_LOW = 8  # A
    PACK_CURRENT = 9  # A, + out
    PACK_CURRENT_HIGH = 10  # A
    PACK_CURRENT_LOW = 11  # A
    PACK_VOLTAGE = 12  # V
    PACK_VOLTAGE_LOW = 13  # V
    MODULATION = 14  # motor voltage over pack voltage
    MOTOR_SPEED = 15  # rad/s
    SHAFT_TORQUE = 16  # N m
    MOTOR_FORCE = 17  # N, + drives
    PEDAL_FORCE = 18  # N
    BRAKE_FORCE = 19  # N
    AIR_FORCE = 20  # N
    ROLLING_FORCE = 21  # N
    GRADE_FORCE = 22  # N
    BEARING_FORCE = 23  # N
    COPPER_POWER = 24  # W
    IRON_POWER = 25  # W
    CONTROLLER_POWER = 26  # W
    WINDING_TEMP = 27  # degC
    BODY_TEMP = 28  # degC
    CONTROLLER_TEMP = 29  # degC
    PACK_TEMP = 30  # degC
    CHARGE_FRACTION = 31  # fraction
    LIMIT = 32  # code of the limit
    OPEN_VOLTAGE = 33  # V
    AIR_TEMP = 34  # degC
    FIELD_CURRENT = 35  # A, DC-equivalent, against the magnets
    GEAR = 36  # the lowest is 1; 0 in a shift
    WALKER_FORCE = 37  # N, of a rider on foot
