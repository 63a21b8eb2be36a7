"""Lumps of heat and heat transfer against closed forms and textbook examples."""

from __future__ import annotations

from ridesim.evidence.checks import Check, Kind, Subject, near
from ridesim.physics import cooling
from ridesim.physics.heat import one_lump, two_lumps
from ridesim.physics.motor import winding_resistance

INCROPERA = "Incropera et al., Fundamentals of Heat and Mass Transfer"
HT = "ht 1.2.0 with CoolProp air at 323.15 K"
STEP_S = 0.1


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of heat."""
    return [*_lump(), *_feedback(), *_two(), *_transfer()], []


def _lump() -> list[Check]:
    rows = {225: "84.0204", 450: "119.8181", 900: "154.6997", 1800: "172.2527"}
    temp, checks = 25.0, []
    for step in range(1, 18001):
        temp = one_lump(temp, 100.0, 1.0 / 300.0, 1.0 / 1.5, 25.0, STEP_S)
        seconds = step * STEP_S
        if seconds in rows:
            name = f"one lump, 100 W on 1.5 K/W and 300 J/K, after {seconds:g} s"
            checks.append(near(name, temp, rows[round(seconds)], "°C", "first order", Kind.CLOSED_FORM))
    return checks


def _feedback() -> list[Check]:
    """Copper that resists more as it warms: 60 W at 20 degC on 1.5 K/W and 300 J/K in air of 25 degC."""
    after: dict[int, float] = {}
    temp = 25.0
    for second in range(1, 14001):
        half = one_lump(temp, 60.0 * winding_resistance(1.0, temp), 1.0 / 300.0, 1.0 / 1.5, 25.0, 0.5)
        temp = one_lump(temp, 60.0 * winding_resistance(1.0, half), 1.0 / 300.0, 1.0 / 1.5, 25.0, 1.0)
        after[second] = temp
    per_k = winding_resistance(1.0, 21.0) - 1.0
    return [
        near("copper that warms, 60 W at 20 °C: after 450 s", after[450], "92.590", "°C", "closed form with feedback",
             Kind.CLOSED_FORM, within=1e-3),
        near("copper that warms, 60 W at 20 °C: in the end", after[14000], "166.991", "°C", "closed form with feedback",
             Kind.CLOSED_FORM, within=1e-3),
        near("loss above which no steady state exists", 1.0 / (per_k * 1.5), "169.635", "W",
             "closed form with feedback", Kind.CLOSED_FORM),
    ]  # fmt: skip


def _two() -> list[Check]:
    """A catalogue motor: 6.64 and 2.55 K/W, 43.1 and 127 s, 10 W into the winding."""
    rows = {10.0: ("13.765", "0.2083"), 43.1: ("42.770", "2.7332"), 127.0: ("70.259", "11.2951"),
            300.0: ("85.480", "20.9329"), 600.0: ("91.030", "24.8799")}  # fmt: skip
    source = "matrix exponential; EC 45 flat 70 W, catalogue"
    hot, warm, checks = 0.0, 0.0, []
    for step in range(1, 6001):
        hot, warm = two_lumps(hot, warm, 10.0, 0.0, 6.64 / 43.1, 2.55 / 127.0, 1 / 6.64, 1 / 2.55, 0.0, STEP_S)
        printed = rows.get(round(step * STEP_S, 1))
        if printed:
            name = f"two lumps of a catalogue motor after {step * STEP_S:g} s"
            checks += [
                near(f"{name}: winding", hot, printed[0], "K", source, Kind.CLOSED_FORM),
                near(f"{name}: body", warm, printed[1], "K", source, Kind.CLOSED_FORM, within=1e-4),
            ]
    return checks


def _transfer() -> list[Check]:
    stream = cooling.churchill_bernstein
    grey = cooling.radiation_coefficient
    checks = [
        near("cylinder in a stream, Re 6071: Nu", stream(6071.0, 0.70), "40.6", "", f"{INCROPERA}, ex. 7.4",
             Kind.PUBLISHED),
        near("pipe in a wind of 50 km/h: Nu", stream(6.228e4, 0.7232), "159.1", "",
             "Çengel, Thermal-Fluid Sciences, problem 19-35", Kind.PUBLISHED),
        near("cylinder in still air, Gr 2.63e9: Nu", cooling.churchill_chu(2.63e9 * 0.69, 0.69), "139.1349", "",
             f"{INCROPERA}, Introduction, ex. 9.2; ht 1.2.0", Kind.LIBRARY),
        near("pipe in still air, Ra 5.07e6: Nu", cooling.churchill_chu(5.073e6, 0.697), "23.3", "",
             f"{INCROPERA}, ex. 9.4, from memory", Kind.FROM_MEMORY, share=0.01),
        near("radiation of a painted surface, 80 to 20 °C", grey(0.9, 353.15, 293.15) * 60.0, "416.874", "W/m²",
             "Stefan-Boltzmann", Kind.CLOSED_FORM, share=1e-4, note="the constant is rounded in the row"),
        near("black body at 400 K", grey(1.0, 400.0, 0.0) * 400.0, "1451.61", "W/m²", "Stefan-Boltzmann",
             Kind.CLOSED_FORM, share=1e-4, note="the constant is rounded in the row"),
    ]  # fmt: skip
    moving = ((0.063, 5.0, "32.664"), (0.063, 10.0, "49.103"), (0.080, 2.0, "17.604"), (0.080, 5.0, "29.528"))
    for diameter, speed, printed in moving:
        ours = cooling.moving_air_coefficient(diameter, speed)
        name = f"motor can of {diameter * 1000:g} mm at {speed:g} m/s"
        checks.append(near(name, ours, printed, "W/(m²·K)", HT, Kind.LIBRARY, share=1e-4, note="rounded air"))
    for diameter, warmer, printed in ((0.063, 60.0, "6.460"), (0.080, 60.0, "6.233"), (0.080, 20.0, "4.573")):
        ours = cooling.still_air_coefficient(diameter, warmer)
        name = f"motor can of {diameter * 1000:g} mm, {warmer:g} K above still air"
        checks.append(near(name, ours, printed, "W/(m²·K)", HT, Kind.LIBRARY))
    return checks


SUBJECT = Subject("heat", "Heat", run)
