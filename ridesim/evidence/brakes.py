"""Heat of friction brakes against closed forms and published correlations, by the lumps that a ride uses."""

from __future__ import annotations

from ridesim.evidence.checks import Check, Subject, near
from ridesim.evidence.store import sheet, table
from ridesim.physics.brakes import disc_coefficient, lump_after, plate_coefficient
from ridesim.units import from_si, to_si

STEP_S = 0.5
AIR_C = 20.0
CORRELATION_SHARE = 1e-4
CORRELATION_NOTE = "the air's properties are rounded differently"


def run() -> tuple[list[Check], list[str]]:
    """Return the checks of brakes."""
    return [*_lumps(), *_cooling()], []


def heated_c(seconds: float, power_w: float, to_air: float, radiating_m2: float, capacity: float) -> float:
    """Return a lump's temperature after a time at one power, starting as warm as the air [degC]."""
    now = air = to_si(AIR_C, "c")
    steps = round(seconds / STEP_S)
    for _ in range(steps):
        now, _ = lump_after(now, power_w, to_air, radiating_m2, air, capacity, seconds / steps)
    return from_si(now, "c")


def _lumps() -> list[Check]:
    checks = [
        near(f"brake after {time:g} s", heated_c(time, 200.0, 1.2, 0.0, 120.0), printed)
        for time, printed in table("brakes.constant_power").rows
    ]
    note = f"radiation is linear within a step of {STEP_S:g} s"
    checks += [
        near(
            f"brake after {time:g} s, radiating",
            heated_c(time, 200.0, 1.2, 0.018, 120.0),
            printed,
            within=2e-3,
            note=note,
        )
        for time, printed in table("brakes.with_radiation").rows
    ]  # fmt: skip
    return checks


def _cooling() -> list[Check]:
    checks = [
        near(f"cooling of a disc at {speed:g} km/h", disc_coefficient(0.18, to_si(speed, "km_h")), printed,
             share=CORRELATION_SHARE, note=CORRELATION_NOTE)
        for speed, printed in table("brakes.disc_cooling").rows
    ]  # fmt: skip
    rim = sheet("brakes.rim_cooling")
    ours = plate_coefficient(to_si(rim.chord_mm, "mm"), to_si(rim.speed_km_h, "km_h"))
    printed = rim.coefficient_w_per_m2_k
    return [*checks, near("cooling of a rim", ours, printed, share=CORRELATION_SHARE, note=CORRELATION_NOTE)]


SUBJECT = Subject("brakes", "Heat of friction brakes", run)
