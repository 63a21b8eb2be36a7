"""The one conversion table, and the legend of the unit suffixes.

A number in SI is `factor * value + offset` of the number in the suffix's unit.
Sources: BIPM, The International System of Units (9th ed. 2019); the international mile and foot of 1959
(1 mile = 1609.344 m, 1 foot = 0.3048 m) and pound (0.45359237 kg) by NIST SP 811 (2008), appendix B.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any, NamedTuple, overload

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


class Unit(NamedTuple):
    """How a suffix's unit relates to SI, and how it is written for people."""

    factor: float
    symbol: str
    meaning: str
    offset: float = 0.0


RPM = 2.0 * math.pi / 60.0
POUND_FORCE = 0.45359237 * 9.80665
KCMIL = 1e3 * math.pi / 4.0 * 2.54e-5**2

UNITS: dict[str, Unit] = {
    "kg": Unit(1.0, "kg", "kilogram"),
    "g": Unit(1e-3, "g", "gram"),
    "g_per_m": Unit(1e-3, "g/m", "gram per metre"),
    "lb": Unit(0.45359237, "lb", "pound"),
    "m": Unit(1.0, "m", "metre"),
    "mm": Unit(1e-3, "mm", "millimetre"),
    "um": Unit(1e-6, "µm", "micrometre"),
    "km": Unit(1e3, "km", "kilometre"),
    "mi": Unit(1609.344, "mi", "mile"),
    "ft": Unit(0.3048, "ft", "foot"),
    "in": Unit(0.0254, "in", "inch"),
    "cm2": Unit(1e-4, "cm²", "square centimetre"),
    "mm2": Unit(1e-6, "mm²", "square millimetre"),
    "a_per_mm2": Unit(1e6, "A/mm²", "ampere per square millimetre"),
    "kcmil": Unit(KCMIL, "kcmil", "thousand circular mils"),
    "a_per_kcmil": Unit(1.0 / KCMIL, "A/kcmil", "ampere per thousand circular mils"),
    "l": Unit(1e-3, "l", "litre"),
    "in3": Unit(0.0254**3, "in³", "cubic inch"),
    "mm3": Unit(1e-9, "mm³", "cubic millimetre"),
    "s": Unit(1.0, "s", "second"),
    "ms": Unit(1e-3, "ms", "millisecond"),
    "us": Unit(1e-6, "µs", "microsecond"),
    "min": Unit(60.0, "min", "minute"),
    "h": Unit(3600.0, "h", "hour"),
    "days": Unit(86_400.0, "d", "day"),
    "v": Unit(1.0, "V", "volt"),
    "mv": Unit(1e-3, "mV", "millivolt"),
    "a": Unit(1.0, "A", "ampere"),
    "ma": Unit(1e-3, "mA", "milliampere"),
    "w": Unit(1.0, "W", "watt"),
    "kw": Unit(1e3, "kW", "kilowatt"),
    "wh": Unit(3600.0, "Wh", "watt-hour"),
    "ah": Unit(3600.0, "Ah", "ampere-hour"),
    "mah": Unit(3.6, "mAh", "milliampere-hour"),
    "ohm": Unit(1.0, "Ω", "ohm"),
    "mohm": Unit(1e-3, "mΩ", "milliohm"),
    "ohm_per_km": Unit(1e-3, "Ω/km", "ohm per kilometre"),
    "mohm_per_m": Unit(1e-3, "mΩ/m", "milliohm per metre"),
    "uh": Unit(1e-6, "µH", "microhenry"),
    "uf": Unit(1e-6, "µF", "microfarad"),
    "nm": Unit(1.0, "N·m", "newton metre"),
    "nm_s": Unit(1.0, "N·m·s", "newton metre second"),
    "nm_per_a": Unit(1.0, "N·m/A", "newton metre per ampere"),
    "n": Unit(1.0, "N", "newton"),
    "kn": Unit(1e3, "kN", "kilonewton"),
    "lbf": Unit(POUND_FORCE, "lbf", "pound-force"),
    "lbf_ft": Unit(POUND_FORCE * 0.3048, "lbf·ft", "pound-force foot"),
    "j": Unit(1.0, "J", "joule"),
    "rpm": Unit(RPM, "rpm", "revolution per minute"),
    "rev_per_s": Unit(2.0 * math.pi, "rev/s", "revolution per second"),
    "rpm_per_v": Unit(RPM, "rpm/V", "revolution per minute and volt"),
    "rpm_per_mnm": Unit(1e3 * RPM, "rpm/(mN·m)", "revolution per minute and millinewton metre"),
    "wb": Unit(1.0, "Wb", "weber"),
    "hz": Unit(1.0, "Hz", "hertz"),
    "kg_m2": Unit(1.0, "kg·m²", "kilogram square metre"),
    "c": Unit(1.0, "°C", "degree Celsius", 273.15),
    "k": Unit(1.0, "K", "kelvin"),
    "f": Unit(5.0 / 9.0, "°F", "degree Fahrenheit", 459.67 * 5.0 / 9.0),
    "f_step": Unit(5.0 / 9.0, "°F", "degree Fahrenheit, of a difference"),
    "percent": Unit(1e-2, "%", "per cent"),
    "percent_per_k": Unit(1e-2, "%/K", "per cent and kelvin"),
    "deg": Unit(math.pi / 180.0, "°", "degree of angle"),
    "arcmin": Unit(math.pi / 10_800.0, "′", "minute of arc"),
    "arcsec": Unit(math.pi / 648_000.0, "″", "second of arc"),
    "m_per_s": Unit(1.0, "m/s", "metre per second"),
    "ft_per_s": Unit(0.3048, "ft/s", "foot per second"),
    "km_h": Unit(1.0 / 3.6, "km/h", "kilometre per hour"),
    "mph": Unit(1609.344 / 3600.0, "mph", "mile per hour"),
    "m_per_s2": Unit(1.0, "m/s²", "metre per second squared"),
    "w_per_k": Unit(1.0, "W/K", "watt per kelvin"),
    "k_per_w": Unit(1.0, "K/W", "kelvin per watt"),
    "w_per_m": Unit(1.0, "W/m", "watt per metre"),
    "w_per_m_k": Unit(1.0, "W/(m·K)", "watt per metre and kelvin"),
    "w_per_m2": Unit(1.0, "W/m²", "watt per square metre"),
    "w_per_m2_k": Unit(1.0, "W/(m²·K)", "watt per square metre and kelvin"),
    "j_per_kg_k": Unit(1.0, "J/(kg·K)", "joule per kilogram and kelvin"),
    "j_per_k": Unit(1.0, "J/K", "joule per kelvin"),
    "per_k": Unit(1.0, "1/K", "per kelvin"),
    "k_per_j": Unit(1.0, "K/J", "kelvin per joule"),
    "kj_per_mol": Unit(1e3, "kJ/mol", "kilojoule per mole"),
    "m2": Unit(1.0, "m²", "square metre"),
    "m2_per_s": Unit(1.0, "m²/s", "square metre per second"),
    "kg_per_m3": Unit(1.0, "kg/m³", "kilogram per cubic metre"),
    "pa": Unit(1.0, "Pa", "pascal"),
    "mpa": Unit(1e6, "MPa", "megapascal"),
    "gpa": Unit(1e9, "GPa", "gigapascal"),
    "hpa": Unit(100.0, "hPa", "hectopascal"),
    "wh_per_km": Unit(3.6, "Wh/km", "watt-hour per kilometre"),
    "wh_per_mi": Unit(3600.0 / 1609.344, "Wh/mi", "watt-hour per mile"),
    "mb": Unit(1e6, "MB", "megabyte"),
}

IMPERIAL: dict[str, str] = {
    "km": "mi", "km_h": "mph", "m": "ft", "mm": "in", "kg": "lb", "c": "f", "k": "f_step", "wh_per_km": "wh_per_mi",
    "n": "lbf", "nm": "lbf_ft", "m_per_s": "ft_per_s", "l": "in3", "mm2": "kcmil", "a_per_mm2": "a_per_kcmil",
}  # fmt: skip
"""Which unit stands in for which when a person asks for miles."""


@overload
def to_si(value: float, suffix: str) -> float: ...
@overload
def to_si(value: Floats, suffix: str) -> Floats: ...
def to_si(value: Any, suffix: str) -> Any:
    """Return `value`, a number or an array in the unit of `suffix`, in SI. Raises KeyError for an unknown suffix."""
    unit = UNITS[suffix]
    return value * unit.factor + unit.offset


@overload
def from_si(value: float, suffix: str) -> float: ...
@overload
def from_si(value: Floats, suffix: str) -> Floats: ...
def from_si(value: Any, suffix: str) -> Any:
    """Return `value`, a number or an array in SI, in the unit of `suffix`. Raises KeyError for an unknown suffix."""
    unit = UNITS[suffix]
    return (value - unit.offset) / unit.factor


@overload
def convert(value: float, suffix: str, to_suffix: str) -> float: ...
@overload
def convert(value: Floats, suffix: str, to_suffix: str) -> Floats: ...
def convert(value: Any, suffix: str, to_suffix: str) -> Any:
    """Return `value`, a number or an array in the unit of `suffix`, in the unit of `to_suffix`."""
    return from_si(to_si(value, suffix), to_suffix)


_BY_LENGTH = sorted(UNITS, key=len, reverse=True)


def suffix_of(name: str) -> str:
    """Return the unit suffix that ends `name` (`mass_kg` -> `kg`), or an empty string."""
    return next((suffix for suffix in _BY_LENGTH if name.endswith("_" + suffix)), "")


def symbol_of(name: str) -> str:
    """Return the symbol of the unit that ends `name` (`mass_kg` -> `kg`, `cell_c` -> `°C`), or ''."""
    suffix = suffix_of(name)
    return UNITS[suffix].symbol if suffix else ""


def for_people(value: float, suffix: str, system: str = "metric") -> tuple[float, str]:
    """Return a value and its symbol in the unit that `system` ("metric" or "imperial") shows for `suffix`."""
    shown = IMPERIAL.get(suffix, suffix) if system == "imperial" else suffix
    return convert(value, suffix, shown), UNITS[shown].symbol


def shown(value: float | None, unit: str, system: str = "metric", digits: int = 1) -> str:
    """Return a value with its unit for people; `unit` is a suffix of the unit table. None reads as a dash.

    `digits` after the point; -1 rounds to tens, -2 to hundreds.
    """
    if value is None or not math.isfinite(value):
        return "-"
    if unit == "c" and system != "metric":  # words are written in whole degrees: a table beside them says the same
        value = round(value, digits)
    number, symbol = for_people(value, unit, system)
    return f"{round(number, digits) if digits < 0 else number:z.{max(digits, 0)}f} {symbol}"


_TOLD = {
    "km/h": "km_h",
    "km": "km",
    "mm": "mm",
    "m/s": "m_per_s",
    "m": "m",
    "°C": "c",
    "K": "k",
    "kg": "kg",
    "N·m": "nm",
    "N": "n",
    "Wh/km": "wh_per_km",
}
_TOLD_NUMBER = re.compile(
    r"(?<![\w.])(-?[0-9]+(?:\.([0-9]+))?(e[-+]?[0-9]+)?) (km/h|km|mm|m/s|m|°C|K|kg|N·m|N|Wh/km)(?![/\w·²])"
)
_TOLD_PAIR = re.compile(
    r"(-?[0-9]+(?:\.[0-9]+)?)( to | and )(?=-?[0-9]+(?:\.[0-9]+)? (km/h|km|mm|m/s|m|°C|K|kg|N·m|N|Wh/km)(?![/\w·²]))"
)


def told(words: str, system: str = "metric") -> str:
    """Return a sentence with its speeds, lengths, temperatures, forces and masses in a system's units.

    For the reasons that a calculator writes, in metric; not for names that a person gave, nor for the names of parts
    on sale: a no-break space between number and unit ("round pin 4 mm") keeps those as the trade has them.
    """
    if system == "metric":
        return words

    def retold(found: re.Match[str]) -> str:
        """Return one number with its unit in the other system."""
        suffix, digits = _TOLD[found[4]], len(found[2] or "")
        if found[3]:  # a tiny number keeps its power of ten
            number, symbol = for_people(float(found[1]), suffix, system)
            return f"{number:.{digits + 1}g} {symbol}"
        return shown(float(found[1]), suffix, system, _digits_told(suffix, digits))

    both = _TOLD_PAIR.sub(r"\1 \3\2", words)  # "3 to 5 N" reads as "3 N to 5 N" before each is told
    return _TOLD_NUMBER.sub(retold, both)


def _digits_told(suffix: str, digits: int) -> int:
    """Digits of a figure told in the other system: whole miles and pounds would lose too much, an inch is large."""
    if suffix == "mm":
        return max(digits + 1, 2)
    return digits if suffix in ("c", "k", "n") else max(digits, 1)
