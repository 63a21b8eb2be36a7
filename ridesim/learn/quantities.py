"""What a log may hold: each quantity by its name, whose suffix is its unit, with the units it may come in."""

from __future__ import annotations

from typing import NamedTuple


class LogQuantity(NamedTuple):
    """One quantity of a log. `units`: suffixes it may be written in, the first its own. `believed`: in its own unit,
    readings outside count as none. `typical`: where the middle of a ride's readings lies, from which units are told."""

    name: str
    words: str
    units: tuple[str, ...]
    believed: tuple[float, float]
    typical: tuple[float, float]
    signed: bool = False


SHARE = "share"
_TEMPERATURES = ("c", "f", "k")
_SPEEDS = ("km_h", "m_per_s", "mph", "ft_per_s")
_HOT = (-40.0, 400.0)

QUANTITIES: tuple[LogQuantity, ...] = (
    LogQuantity("speed_km_h", "speed by the wheel", _SPEEDS, (-5.0, 160.0), (2.0, 80.0)),
    LogQuantity("gps_speed_km_h", "speed by the receiver", _SPEEDS, (-5.0, 160.0), (2.0, 80.0)),
    LogQuantity("air_speed_km_h", "speed of the air past the motor", _SPEEDS, (-5.0, 200.0), (0.0, 100.0)),
    LogQuantity("motor_speed_rpm", "motor shaft speed", ("rpm",), (-1e5, 1e5), (10.0, 2e4), signed=True),
    LogQuantity("electrical_speed_rpm", "electrical speed, shaft speed times pole pairs", ("rpm",), (-1e6, 1e6),
                (100.0, 2e5), signed=True),
    LogQuantity("wheel_speed_rpm", "wheel speed", ("rpm", "hz"), (-2000.0, 2000.0), (20.0, 800.0)),
    LogQuantity("distance_km", "distance", ("km", "m", "mi"), (0.0, 1e6), (0.01, 1e5)),
    LogQuantity("pack_current_a", "pack current, + out of the pack", ("a", "ma"), (-1000.0, 1000.0), (0.3, 300.0),
                signed=True),
    LogQuantity("pack_voltage_v", "pack voltage", ("v", "mv"), (5.0, 500.0), (9.0, 450.0)),
    LogQuantity("pack_power_w", "pack power, + out of the pack", ("w", "kw"), (-5e4, 5e4), (20.0, 2e4), signed=True),
    LogQuantity("motor_current_a", "motor current", ("a", "ma"), (-2000.0, 2000.0), (0.5, 800.0), signed=True),
    LogQuantity("duty", "duty, motor voltage over pack voltage", (SHARE, "percent"), (-1.1, 1.2), (0.02, 1.0),
                signed=True),
    LogQuantity("throttle", "throttle", (SHARE, "percent", "v"), (-0.1, 6.0), (0.0, 5.0)),
    LogQuantity("winding_temperature_c", "temperature by a sensor in the winding", _TEMPERATURES, _HOT, (-20.0, 250.0)),
    LogQuantity("body_temperature_c", "temperature by a sensor on the motor's body", _TEMPERATURES, _HOT,
                (-20.0, 200.0)),
    LogQuantity("controller_temperature_c", "controller temperature", _TEMPERATURES, _HOT, (-20.0, 130.0)),
    LogQuantity("pack_temperature_c", "pack temperature", _TEMPERATURES, (-40.0, 150.0), (-20.0, 80.0)),
    LogQuantity("air_temperature_c", "air temperature", _TEMPERATURES, (-40.0, 60.0), (-25.0, 50.0)),
    LogQuantity("charge_used_ah", "charge taken from the pack", ("ah", "mah"), (-10.0, 1000.0), (0.0, 500.0)),
    LogQuantity("energy_used_wh", "energy taken from the pack", ("wh",), (-500.0, 1e5), (0.0, 5e4)),
    LogQuantity("charge_fraction", "charge of the pack", (SHARE, "percent"), (-0.05, 1.1), (0.02, 1.0)),
    LogQuantity("latitude_deg", "latitude", ("deg",), (-90.0, 90.0), (-90.0, 90.0)),
    LogQuantity("longitude_deg", "longitude", ("deg",), (-180.0, 180.0), (-180.0, 180.0)),
    LogQuantity("altitude_m", "altitude", ("m", "ft"), (-450.0, 6000.0), (-450.0, 5000.0)),
    LogQuantity("cadence_rpm", "pedal cadence", ("rpm",), (0.0, 250.0), (0.0, 130.0)),
    LogQuantity("pedal_power_w", "pedal power", ("w",), (0.0, 2500.0), (0.0, 600.0)),
)  # fmt: skip
"""Ranges are what a home-built bike can show, with room (guess)."""

BY_NAME = {each.name: each for each in QUANTITIES}

TIME = "time"
"""The quantity of a clock column; its units are those of `clock.TIME_UNITS`."""
IGNORED = "ignore"

READINGS = ("amplitude", "dc", "rms")
"""What a motor current counts: the amplitude of the phase current, the DC-equivalent, or a phase's rms."""


def in_own_unit(quantity: LogQuantity, values, unit: str):  # type: ignore[no-untyped-def]
    """Return values in a quantity's own unit."""
    from ridesim.units import convert, to_si

    own = quantity.units[0]
    if unit == own:
        return values
    if own == SHARE:
        return to_si(values, "percent") if unit == "percent" else values
    if quantity.name == "wheel_speed_rpm" and unit == "hz":
        return convert(values, "rev_per_s", "rpm")
    return convert(values, unit, own)
