"""Lumps of heat and heat transfer against closed forms and textbook examples."""

from __future__ import annotations

from ridesim.evidence.checks import Check, Subject, near
from ridesim.evidence.store import sheet, table
from ridesim.physics import cooling
from ridesim.physics.heat import one_lump, two_lumps
from ridesim.physics.motor import winding_resistance
from ridesim.units import to_si

STEP_S = 0.1
K_PER_J, W_PER_K, AIR_C = 1.0 / 300.0, 1.0 / 1.5, 25.0
"""One lump of the closed forms."""
ROUNDED = "the constant is rounded in the row"


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of heat."""
    return [*_lump(), *_feedback(), *_two(), *_books(), *_cans()], []


def _lump() -> list[Check]:
    rows = {row.seconds: row.temperature_c for row in table("heat.one_lump").rows}
    temp, checks = AIR_C, []
    for step in range(1, 18001):
        temp = one_lump(temp, 100.0, K_PER_J, W_PER_K, AIR_C, STEP_S)
        seconds = step * STEP_S
        if seconds in rows:
            name = f"one lump, 100 W on 1.5 K/W and 300 J/K, after {seconds:g} s"
            checks.append(near(name, temp, rows[seconds]))
    return checks


def _feedback() -> list[Check]:
    """Copper that resists more as it warms: 60 W at 20 degC on 1.5 K/W and 300 J/K in air of 25 degC."""
    printed = sheet("heat.feedback")
    after: dict[int, float] = {}
    temp = AIR_C
    for second in range(1, 14001):
        half = one_lump(temp, _copper(temp), K_PER_J, W_PER_K, AIR_C, 0.5)
        temp = one_lump(temp, _copper(half), K_PER_J, W_PER_K, AIR_C, 1.0)
        after[second] = temp
    runaway = W_PER_K / (winding_resistance(1.0, 21.0) - 1.0)
    name = "copper that warms, 60 W at 20 °C"
    return [
        near(f"{name}: after 450 s", after[450], printed.after_450_s_c, within=1e-3),
        near(f"{name}: in the end", after[14000], printed.in_the_end_c, within=1e-3),
        near("loss above which no steady state exists", runaway, printed.runaway_w),
    ]


def _copper(temperature_c: float) -> float:
    return float(sheet("heat.feedback").power_at_20_c_w * winding_resistance(1.0, temperature_c))


def _two() -> list[Check]:
    """A catalogue motor with 10 W into the winding."""
    motor = sheet("motor.catalogue")
    rows = {row.seconds: row for row in table("heat.two_lumps").rows}
    to_body, to_air = 1.0 / motor.winding_to_body_k_per_w, 1.0 / motor.body_to_air_k_per_w
    winding, body = 1.0 / (motor.winding_time_s * to_body), 1.0 / (motor.body_time_s * to_air)
    hot, warm, checks = 0.0, 0.0, []
    for step in range(1, 6001):
        hot, warm = two_lumps(hot, warm, 10.0, 0.0, winding, body, to_body, to_air, 0.0, STEP_S)
        row = rows.get(round(step * STEP_S, 1))
        if row:
            name = f"two lumps of a catalogue motor after {step * STEP_S:g} s"
            checks += [
                near(f"{name}: winding", hot, row.winding_k, within=1e-4),
                near(f"{name}: body", warm, row.body_k, within=1e-4),
            ]
    return checks


def _books() -> list[Check]:
    checks = [
        near(row.name, cooling.churchill_bernstein(row.reynolds, row.prandtl), row.nusselt)
        for row in table("heat.cross_flow").rows
    ]
    still, pipe = sheet("heat.still_air_example"), sheet("heat.warm_pipe")
    computed = cooling.churchill_chu(pipe.rayleigh, pipe.prandtl)
    checks += [
        near("cylinder in still air, Gr 2.63e9: Nu",
             cooling.churchill_chu(still.grashof * still.prandtl, still.prandtl), still.nusselt),
        near("pipe in still air, Ra 5.07e6: Nu", computed, pipe.nusselt, share=0.01),
        near("pipe in still air, Ra 5.07e6: Nu as computed", computed, pipe.computed_nusselt),
    ]  # fmt: skip
    for name, surface, around, emissivity, flux in table("heat.radiation").rows:
        ours = cooling.radiation_coefficient(emissivity, surface, around) * (surface - around)
        checks.append(near(name, ours, flux, share=1e-4, note=ROUNDED))
    return checks


def _cans() -> list[Check]:
    checks = []
    for diameter, speed, printed in table("heat.moving_air").rows:
        ours = cooling.moving_air_coefficient(to_si(diameter, "mm"), speed)
        checks.append(near(f"motor can of {diameter:g} mm at {speed:g} m/s", ours, printed, share=1e-4,
                           note="rounded air"))  # fmt: skip
    for diameter, warmer, printed in table("heat.still_air").rows:
        ours = cooling.still_air_coefficient(to_si(diameter, "mm"), warmer)
        checks.append(near(f"motor can of {diameter:g} mm, {warmer:g} K above still air", ours, printed))
    return checks


SUBJECT = Subject("heat", "Heat", run)
