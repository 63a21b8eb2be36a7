"""What a column may hold, guessed from its head and its values. A guess is shown as one, and a mapping overrules it."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.learn.quantities import BY_NAME, IGNORED, SHARE, LogQuantity, in_own_unit
from ridesim.units import UNITS, suffix_of

_BATTERY = r"(batt\w*|pack|akku\w*|input|supply|bus|main|dc ?link|\bin\b|\bb\b)"
_MOTOR = r"(mot\w*|engine|phase|stator)"
_TEMP = r"(temp\w*|\bt\b)"

_RULES: tuple[tuple[str, str], ...] = (
    ("latitude_deg", r"\blat\w*|breite"),
    ("longitude_deg", r"\b(lon|lng|long)\b|longitude|\blon\w*|laenge|länge"),
    (IGNORED, r"\b(total cell|cell ?\d+|(avg|average|mean|max|min) (speed|power|volt\w*)|fault|error|status|mode|sats?|satellites|hdop|pdop|accuracy|precision|heading|course|bearing|pitch|roll|yaw|acc [xyz]|gyro\w*|heart ?rate|hr|humidity|pressure|id current|i ?d|d axis|charged|regen\w*|recovered|index|count\w*|row|sample|lap|gear|checksum|crc)\b"),  # noqa: E501
    ("altitude_m", r"\b(alt\w*|ele|elev\w*|height|hoehe|höhe)\b"),
    ("cadence_rpm", r"cadence|trittfrequenz|crank (rpm|speed)|\bcad\b"),
    ("pedal_power_w", r"(pedal|rider|human|crank|leg|tret)\w* *(power|watts?|leistung)|power ?meter"),
    ("air_temperature_c", rf"(air|ambient|outside|env\w*|luft|weather) *{_TEMP}|{_TEMP} *(air|ambient|outside|luft)"),
    ("body_temperature_c",
     rf"(body|can|case|housing|bell|surface|geh(ae|ä)use) *{_TEMP}|{_TEMP} *(body|can|housing|bell)"),
    ("winding_temperature_c", rf"(winding|coil|stator|copper|wicklung)\w* *{_TEMP}|{_TEMP} *(winding|coil|stator)"),
    ("controller_temperature_c",
     rf"(contr\w*|esc|fets?|mos\w*|inv\w*|driver?|heat ?sink|igbt|pcb|regler|power ?stage|bridge) *{_TEMP}|{_TEMP} *(contr\w*|esc|fets?|mos\w*|inv\w*|heat ?sink|pcb|regler)"),  # noqa: E501
    ("pack_temperature_c", rf"(batt\w*|pack|cells?|bms|akku) *{_TEMP}|{_TEMP} *(batt\w*|pack|cells?|bms|akku)"),
    ("winding_temperature_c", rf"{_MOTOR} *{_TEMP}|{_TEMP} *{_MOTOR}"),
    (IGNORED, r"^(?!(time|zeit|elapsed|clock|t)\b).*(?<!/)\b(max|min)\b"),  # but `Zeit (min)` and `U/min`
    ("air_speed_km_h", r"\b(air|wind|fan|luft) ?(speed|vel\w*|spd|geschw\w*|km ?h|m s)|anemometer"),
    ("electrical_speed_rpm", r"\be ?rpm\b|elec\w* *(rpm|speed|rev\w*|drehzahl)"),
    ("wheel_speed_rpm", r"wheel *(rpm|turns|rev\w*|hz)"),
    ("gps_speed_km_h", r"(gps|gnss|satnav)\w*( \w)? *(speed|vel\w*|v\b|kmh|km h|spd)|speed *(gps|gnss)"),
    ("motor_speed_rpm", rf"\brpm\b|{_MOTOR} *(speed|rev\w*|drehzahl)|drehzahl|shaft speed"),
    ("throttle", r"throttle|gas ?(griff|hebel)?\b|accelerator|thumb"),
    ("duty", r"duty|modulation|pwm"),
    ("charge_fraction", r"\bsoc\b|state of charge|(charge|batt\w*|akku) *(level|percent|fraction|left)|ladestand"),
    ("charge_used_ah", r"amp(ere)? ?hours?|\bm?ah\b|charge used|ladung"),
    ("energy_used_wh", r"watt ?hours?|\bk?wh\b|energy|energie"),
    ("pack_voltage_v", rf"{_BATTERY} *(volt\w*|v\b|spannung)|(volt\w*|\bv\b|\bu\b|spannung) *{_BATTERY}|\b[vu] ?bat\w*|\bv ?in\b"),  # noqa: E501
    ("pack_current_a", rf"{_BATTERY} *(cur\w*|\bamp\w*|\bi\b|\ba\b|strom)|(cur\w*|amp\w*|strom|\bi\b) *{_BATTERY}|\bi ?bat\w*|\bi ?in\b"),  # noqa: E501
    ("motor_current_a",
     rf"({_MOTOR}|\bi ?q\b|\bq axis) *(cur\w*|amp\w*|strom|\bi\b|\ba\b)|(cur\w*|amp\w*|strom|\bi\b) *({_MOTOR}|q\b)|\bi ?q\b"),  # noqa: E501
    ("pack_voltage_v", r"volt\w*|\bv\b|\bu\b|spannung"),
    ("pack_current_a", r"\bcur\w*|\bamps?\b|ampere\w*|\bi\b|strom|^a$"),
    (IGNORED, r"\b(copper|iron|core|loss\w*|lost|controller|esc|shaft|mech\w*|wheel) *(power|watts?|leistung)"),
    ("pack_power_w", r"\bpower\b|watts?\b|leistung"),
    ("speed_km_h", r"speed|velocity|geschw\w*|tempo|\bkm ?h\b|\bkph\b|\bmph\b|\bspd\b"),
    ("distance_km", r"dist\w*|odo\w*|trip\w*|mileage|strecke|\bkm\b|\bweg\b"),
    ("time",
     r"time\w*|zeit|clock|unix\w*|epoch\w*|millis\w*|micros\w*|seconds?|\bdate\w*|datum|uhr\w*|\butc\b|elapsed|^ ?t ?$|^m?s$"),  # noqa: E501
    ("temperature", rf"{_TEMP}"),
)  # fmt: skip
"""The first rule that fits wins."""

_UNIT_WORDS = {
    "km/h": "km_h", "kmh": "km_h", "kph": "km_h", "km h": "km_h", "mph": "mph", "mi/h": "mph", "m/s": "m_per_s",
    "mps": "m_per_s", "m s": "m_per_s", "ft/s": "ft_per_s", "fps": "ft_per_s", "rpm": "rpm", "1/min": "rpm",
    "min-1": "rpm", "erpm": "rpm",
    "u/min": "rpm", "hz": "hz", "km": "km", "m": "m", "mi": "mi", "miles": "mi", "ft": "ft", "feet": "ft",
    "a": "a", "amp": "a", "amps": "a", "ma": "ma", "v": "v", "volt": "v", "volts": "v", "mv": "mv", "w": "w",
    "watt": "w", "watts": "w", "kw": "kw", "ah": "ah", "mah": "mah", "wh": "wh", "%": "percent", "percent": "percent",
    "pct": "percent", "perc": "percent", "c": "c", "°c": "c", "degc": "c", "deg c": "c", "celsius": "c", "f": "f",
    "°f": "f", "degf": "f", "fahrenheit": "f", "k": "k", "kelvin": "k", "s": "s", "sec": "s", "secs": "s",
    "seconds": "s", "ms": "ms", "msec": "ms", "millis": "ms", "milliseconds": "ms", "us": "us", "µs": "us",
    "micros": "us", "min": "min", "minutes": "min", "h": "h", "hours": "h", "hrs": "h", "deg": "deg", "°": "deg",
    "degrees": "deg", "days": "days",
}  # fmt: skip
_BRACKETS = re.compile(r"[\[(]([^\])]*)[\])]")
UNKNOWN = "no word of its head is known"

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Guess:
    """What a column may hold: quantity (or "time", "ignore", "temperature"), unit (or ""), and why."""

    quantity: str
    unit: str
    why: str
    unit_said: bool = False


def plain_head(head: str) -> str:
    """Return a head in small letters and plain words: `BattCurrent_A` -> `batt current a`."""
    words = re.sub(r"([a-zä-ü])([A-Z])", r"\1 \2", head)
    words = re.sub(r"([A-Za-z])(\d)", r"\1 \2", words)
    return " ".join(re.sub(r"[^a-zäöüßµ0-9%°/]+", " ", words.lower()).split())


def unit_in(head: str, unit_row: str = "") -> str:
    """Return the unit that a head (or the row of units) names, as a suffix of the unit table; "" where none is."""
    for text in (unit_row, *(_BRACKETS.findall(head))):
        word = text.strip().lower()
        if word in _UNIT_WORDS:
            return _UNIT_WORDS[word]
    own = suffix_of(head.strip().lower())
    if own in _UNIT_WORDS.values():
        return own
    bare = _BRACKETS.sub(" ", head)
    words = plain_head(bare).split()
    as_written = re.split(r"[\s_]+", bare.strip().lower())  # mV, mAh and kW are one word, not two
    if len(as_written) == 1 < len(words) and as_written[0] in _UNIT_WORDS:
        return _UNIT_WORDS[as_written[0]]
    for found in (as_written, words):
        for length in (2, 1):
            word = " ".join(found[-length:])
            if word in _UNIT_WORDS and len(found) > length:
                return _UNIT_WORDS[word]
    return _UNIT_WORDS.get(words[0], "") if len(words) == 1 and len(words[0]) > 2 else ""


def guess_column(head: str, unit_row: str, values: Array) -> Guess:
    """Return what a column of numbers may hold, by the words of its head."""
    said = unit_in(head, unit_row)
    name = head.strip().lower()
    if name in BY_NAME:
        if BY_NAME[name].units[0] == SHARE:  # our name tells no unit
            return Guess(name, unit_by_values(BY_NAME[name], values), "its head is our name; unit by its values")
        return Guess(name, BY_NAME[name].units[0], "its head is our name", True)
    if alone := _unit_alone(name):
        return alone
    text = plain_head(head)
    if said in BY_NAME["speed_km_h"].units and text.split()[0] == "v":  # the v of physics, not a volt
        return Guess("speed_km_h", said, "its head and unit", True)
    for quantity, pattern in _RULES:
        if re.search(pattern, text):
            if quantity in ("time", IGNORED, "temperature"):
                return Guess(quantity, said, "its head", bool(said))
            return _with_unit(BY_NAME[quantity], said, values)
    return Guess(IGNORED, "", UNKNOWN)


def _unit_alone(name: str) -> Guess | None:
    """Return what a column holds whose head is nothing but a unit that one quantity of a ride has; None for others."""
    unit = _UNIT_WORDS.get(name.strip("[]() "), "")
    if unit in BY_NAME["speed_km_h"].units:
        return Guess("speed_km_h", unit, "its head is a unit", True)
    if unit in BY_NAME["pack_power_w"].units:
        return Guess("pack_power_w", unit, "its head is a unit", True)
    return None


def _with_unit(quantity: LogQuantity, said: str, values: Array) -> Guess:
    """Return the guess with its unit: the head's own where the quantity can have it, else by the values."""
    if said in quantity.units:
        return Guess(quantity.name, said, "its head and unit", True)
    if said and said in UNITS and quantity.units[0] != SHARE and not _may_differ(quantity.name, said):
        return Guess(IGNORED, "", f"the head speaks of {quantity.words}, but in {UNITS[said].symbol}")
    return Guess(quantity.name, unit_by_values(quantity, values), "its head; unit by its values")


def _may_differ(name: str, said: str) -> bool:
    """A head such as `distance_s` or `GPS speed [deg]` is another quantity; a lone last letter may be a name."""
    return len(said) == 1


def unit_by_values(quantity: LogQuantity, values: Array) -> str:
    """Return the unit in which the middle of a column's readings is most like the quantity."""
    known = np.abs(values[np.isfinite(values)]) if quantity.signed else values[np.isfinite(values)]
    moving = known[known != 0.0]
    if not moving.size:
        return quantity.units[0]
    if quantity.units[0] == SHARE:
        top = float(np.quantile(moving, 0.98))
        if "v" in quantity.units and WHOLE < top <= MOST_THROTTLE_V:
            return "v"
        return "percent" if top > WHOLE else SHARE
    if quantity.name in ("speed_km_h", "gps_speed_km_h"):
        return "km_h" if float(np.quantile(moving, 0.9)) > FAST_M_PER_S else "m_per_s"
    if quantity.name == "distance_km":
        span = float(known.max() - known.min())
        return "m" if span > LONG_KM else "km"
    fitting = [unit for unit in quantity.units if is_typical(quantity, moving, unit)]
    return fitting[0] if fitting else quantity.units[0]


def is_typical(quantity: LogQuantity, moving: Array, unit: str) -> bool:
    """Return whether the middle of a column's readings but zero is like the quantity in a unit.

    What comes and goes with the throttle may be nothing for most of a ride: of that the larger readings tell.
    """
    low, high = quantity.typical
    return low <= telling(quantity, moving, unit) <= high


def telling(quantity: LogQuantity, moving: Array, unit: str) -> float:
    """Return the reading that tells a column's unit, in the quantity's own."""
    values = np.abs(in_own_unit(quantity, moving, unit)) if quantity.signed else in_own_unit(quantity, moving, unit)
    return float(np.quantile(values, LARGE_SHARE if quantity.signed else 0.5))


LARGE_SHARE = 0.95
"""Of the readings of a current, a power or a motor's speed so many lie below the one that tells their unit (guess)."""
WHOLE, MOST_THROTTLE_V = 1.5, 5.5
"""A share beyond the first is none; a throttle of 5 V goes no higher than the second (guesses)."""
FAST_M_PER_S = 13.0
"""Speeds of a ride above it, nine in ten below, are km/h: as m/s they would be 47 km/h (guess)."""
LONG_KM = 400.0
"""A distance that grows by more than this counts metres (guess)."""


def temperature_of(values: Array, others: set[str]) -> tuple[str, str]:
    """Return which temperature an unnamed one may be, and why: the motor's where one is logged and it gets hot."""
    known = values[np.isfinite(values)]
    rise = float(np.ptp(known)) if known.size else 0.0
    electric = bool(others & {"motor_current_a", "pack_current_a", "duty", "pack_voltage_v"})
    if electric and rise > MOTOR_RISE_K and "winding_temperature_c" not in others:
        return "winding_temperature_c", "an unnamed temperature that rises like a motor's"
    if electric and "air_temperature_c" in others and "body_temperature_c" not in others and rise > BODY_RISE_K:
        return "body_temperature_c", "an unnamed temperature that rises, beside that of the air"
    return "air_temperature_c", "an unnamed temperature that hardly moves"


BODY_RISE_K = 5.0
MOTOR_RISE_K = 15.0
"""Air rarely warms by more in a ride (guess)."""
