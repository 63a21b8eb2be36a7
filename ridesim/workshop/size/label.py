"""A motor part from what is printed on it: the size of the can, Kv, perhaps a mass. An estimate, and it says how wide.

A can number writes diameter and length in millimetres one after the other: 6374 is 63 mm across and 74 mm long.
Scaled from the generic part of the nearest diameter, d and l being diameter and length over the part's, at equal field,
slot fill and current density: torque ~ d^3 l (air gap, slots, active length), copper loss ~ d^2 (active length + end
turns). So torque per root of copper loss, squared, ~ d^4 l^2 / ((1 - e) l + e d), which is s^5 for similar machines, as
`size.parts` has it; mass ~ d^2 l. Source: textbook similarity of electrical machines (Hendershot and Miller 2010, from
memory). How wide: mass 10 %, resistance 20 % from a motor's size (Saemi and Benedict 2024, Aerospace 11(8):649,
abstract), here wider because turns and wire are not known; Kv 8 %, see `bike.motor`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from ridesim.bike.motor import Motor
from ridesim.errors import BuildError
from ridesim.schema.texts import toml_value
from ridesim.units import from_si, to_si
from ridesim.workshop.size.parts import load_motor

GENERIC = ("motor-63mm", "motor-80mm")
END_TURNS = 0.4
"""Share of the generic motors' conductor that lies in the end turns (guess)."""
LABEL = re.compile(r"\s*(\d{4,6})\s*,\s*([0-9.]+)\s*(?:,\s*([0-9.]+)\s*)?")
DIAMETER_MM, LENGTH_MM, KV = (20.0, 160.0), (10.0, 160.0), (10.0, 3000.0)
"""What a can of this kind measures, and the Kv it is wound for (guess)."""
FORM = "CAN,KV or CAN,KV,KG, for example 6374,149"

TOLERANCES = {
    "kv_rpm_per_v": "8 %",
    "resistance_mohm": "x/ 1.4",
    "inductance_uh": "x/ 1.6",
    "winding_to_body_w_per_k": "x/ 1.6",
    "body_to_air_still_w_per_k": "x/ 1.6",
}
"""Of an estimate. Resistance: 20 % from the size, and Kv's 8 % twice (Kv enters squared), and the winding (guess)."""
MASS_TOLERANCE = "10 %"
FIRST = (
    ("mass_kg", "a kitchen scale"),
    ("kv_rpm_per_v", "turn it with a drill, read the volts between two leads: ridesim bench"),
    ("resistance_mohm", "the voltage drop between two leads at 20 A: ridesim bench"),
    ("no_load", "no-load current at two speeds: ridesim bench"),
)
"""What narrows an estimate first: the cheapest, then what carries most of the heat (guess)."""


@dataclass(frozen=True)
class Label:
    """What is printed on a motor; `mass_kg` None: not known."""

    diameter_mm: float
    length_mm: float
    kv_rpm_per_v: float
    mass_kg: float | None

    @property
    def name(self) -> str:
        """The motor as people call it."""
        return f"{self.diameter_mm:.0f} x {self.length_mm:.0f} mm outrunner, {self.kv_rpm_per_v:g} rpm/V, by its label"


def is_label(text: str) -> bool:
    """Return whether a motor's name is a label rather than the name of a part."""
    return re.fullmatch(r"\s*\d+\s*,.*", text) is not None


def parse_label(text: str, where: str = "--motor") -> Label:
    """Return the label written `6374,149` or `6374,149,0.9`. Raises BuildError."""
    found = LABEL.fullmatch(text)
    try:
        numbers = [float(each) for each in found.groups()[1:] if each is not None] if found else []
    except ValueError:
        numbers = []
    if found is None or not numbers:
        raise BuildError(where, f"{text!r} is no label", f"write {FORM}")
    digits = found[1]
    half = len(digits) // 2
    label = Label(float(digits[:half]), float(digits[half:]), numbers[0], numbers[1] if len(numbers) > 1 else None)
    _refuse_outside(label, text, where)
    return label


def _refuse_outside(label: Label, text: str, where: str) -> None:
    mass = Motor.model_fields["mass_kg"].metadata
    low, high = (next(getattr(mark, name) for mark in mass if hasattr(mark, name)) for name in ("ge", "le"))
    rows = [("a diameter", label.diameter_mm, DIAMETER_MM, "mm"), ("a length", label.length_mm, LENGTH_MM, "mm"),
            ("a Kv", label.kv_rpm_per_v, KV, "rpm/V")]  # fmt: skip
    if label.mass_kg is not None:
        rows.append(("a mass", label.mass_kg, (low, high), "kg"))
    for words, value, (least, most), unit in rows:
        if not least <= value <= most:
            what = f"{text!r} means {words} of {value:g} {unit} (allowed {least:g} to {most:g})"
            raise BuildError(where, what, f"write {FORM}")


def labelled_motor(label: Label) -> dict[str, Any]:
    """Return the keys of a motor part estimated from its label. Heat is left to the size, drag to the mass."""
    part = min((load_motor(name) for name in GENERIC), key=lambda each: abs(each.can_diameter_mm - label.diameter_mm))
    d, length = label.diameter_mm / part.can_diameter_mm, label.length_mm / part.can_length_mm
    wound = (part.kv_rpm_per_v / label.kv_rpm_per_v) ** 2
    strength = d**4 * length**2 / ((1.0 - END_TURNS) * length + END_TURNS * d)
    return {
        "name": label.name,
        "kv_rpm_per_v": label.kv_rpm_per_v,
        "resistance_mohm": _short(part.resistance_mohm * wound / strength),
        "inductance_uh": _short(part.inductance_uh * wound / length),
        "pole_pairs": part.pole_pairs,
        "mass_kg": label.mass_kg or _short(part.mass_kg * d**2 * length),
        "can_diameter_mm": label.diameter_mm,
        "can_length_mm": label.length_mm,
    }


def _short(value: float) -> float:
    """An estimate has three digits."""
    return float(f"{value:.3g}")


def label_tolerances(label: Label) -> dict[str, str]:
    """Return how far each figure of an estimate may be off, by the motor's keys."""
    return TOLERANCES if label.mass_kg is not None else {**TOLERANCES, "mass_kg": MASS_TOLERANCE}


def label_part(label: Label) -> dict[str, Any]:
    """Return the motor as a part file has it: its keys, and how far each may be off."""
    return {**labelled_motor(label), "tolerance": label_tolerances(label)}


def part_text(label: Label) -> str:
    """Return a motor part file, with what was assumed and what to measure first."""
    keys = labelled_motor(label)
    volume = from_si(to_si(label.diameter_mm, "mm") ** 2 * to_si(label.length_mm, "mm"), "l")
    first = [(name, how) for name, how in FIRST if name != "mass_kg" or label.mass_kg is None]
    lines = [
        f"# Motor estimated from its label: a can {label.diameter_mm:g} mm across and {label.length_mm:g} mm long "
        f"(a box of {volume:.2f} l), {label.kv_rpm_per_v:g} rpm/V.",
        "# Scaled from a generic outrunner; no figure but the label's was measured. Some labels give the size of the",
        "# stator inside instead: hold a ruler to the can, and count the magnets (pole_pairs is a guess).",
        "# What narrows it first:",
        *(f"#   {name}: now {_now(name, label)}, then {_then(name)}: {how}" for name, how in first),
        *(f"{name} = {toml_value(value)}" for name, value in keys.items()),
        "",
        "[tolerance]",
        *(f"{name} = {toml_value(value)}" for name, value in label_tolerances(label).items()),
    ]
    return "\n".join(lines) + "\n"


def _now(name: str, label: Label) -> str:
    return label_tolerances(label).get(name) or _by_source(name).guess.said


def _then(name: str) -> str:
    return _by_source(name).measured.said


def _by_source(name: str) -> Any:
    from ridesim.schema.tolerance import Tolerances

    return next(mark for mark in Motor.model_fields[name].metadata if isinstance(mark, Tolerances))
