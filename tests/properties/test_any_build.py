"""Any build inside the declared ranges, on any short road: finite, closed, within its limits, or refused with a reason.

The ranges are the schema's own. A few of a demo bike's numbers are drawn at once, evenly or by their logarithm; what
the build's own checks refuse before the ride counts as refused.
"""

from __future__ import annotations

import math
import random
import time
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from ridesim.bike.keys import bike_keys
from ridesim.bike.load import LoadedBuild, load_build, replace_keys
from ridesim.cli.output import to_json
from ridesim.engine.codes import Ledger, Stop
from ridesim.errors import RidesimError
from ridesim.ride.judge import judge
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_points
from ridesim.road.profile import Road

from ..tries import BUILD_TRIES

ROOT = Path(__file__).parents[2]
FEW, MANY = BUILD_TRIES, 10_000
SECONDS = 1.0
LIMIT_TOLERANCE = 0.005
"""By how much a limit on a current may be passed inside a step."""
APART = ("brakes", "brakes.front", "brakes.rear", "mount", "mount.joint", "mount.wheel_pulley", "mount.bracket")
"""Sections that a ride does not read."""


def drawable() -> list[tuple[str, float, float, bool]]:
    """Dotted key, lowest and highest value of each bounded number that a ride reads, and whether it is whole."""
    found = []
    for key in bike_keys():
        low, high = key.bounds
        if math.isfinite(low) and math.isfinite(high) and key.section not in APART:
            section = "drive.stage.0" if key.in_array else key.section
            found.append((f"{section}.{key.name}", low, high, "int" in str(key.field.annotation)))
    return found


KEYS = drawable()
BASES = [load_build(path) for path in sorted((ROOT / "configs").glob("*.toml"))]


def drawn_build(chance: random.Random) -> LoadedBuild:
    """One of the demo bikes with some of its numbers drawn. Raises BuildError where its checks refuse it."""
    base, changed = chance.choice(BASES), {}
    for key, low, high, whole in chance.sample(KEYS, chance.choice((1, 1, 2, 3, 5, 8))):
        if low > 0.0 and chance.random() < 0.6:
            value = low * (high / low) ** chance.random()
        else:
            value = chance.uniform(low, high)
        changed[key] = chance.choice((low, high)) if chance.random() < 0.1 else value
        changed[key] = round(changed[key]) if whole else changed[key]
    return replace_keys(base, changed)


def drawn_road(chance: random.Random) -> Road:
    """A short road of a few legs, up and down to 20 %."""
    spans = [chance.uniform(40.0, 300.0) for _ in range(chance.randint(2, 5))]
    grades = [chance.uniform(-0.2, 0.2) for _ in spans]
    at = np.concatenate(([0.0], np.cumsum(spans)))
    height = 500.0 + np.concatenate(([0.0], np.cumsum([s * g for s, g in zip(spans, grades, strict=True)])))
    return make_points(at, height, smoothing_m=chance.choice((0.0, 20.0)), bearing_deg=chance.uniform(0.0, 359.0))


def _is_finite(state: tuple) -> bool:
    """Return whether every number of a state is finite, those of a second drive with them."""
    parts = (part for part in state if part is not None)
    return all(_is_finite(part) if isinstance(part, tuple) else math.isfinite(part) for part in parts)


def faults_of(ride: Ride, seconds: float) -> list[str]:
    """What a ride did that none may do."""
    f, raw, controller = ride.figures, ride.raw, ride.build.controller
    found = []
    if raw.stop is Stop.NOT_FINITE or not (np.isfinite(raw.ledger).all() and _is_finite(raw.end)):
        found.append("not finite")
    if abs(ride.ledger_residual_fraction) > 1e-9:
        scale = raw.ledger[Ledger.CHEMISTRY_OUT] + raw.ledger[Ledger.RIDER] + abs(raw.ledger[Ledger.HEIGHT])
        if abs(ride.ledger_residual_fraction) * max(raw.ledger[Ledger.CHEMISTRY_OUT], 1.0) > 1e-9 * max(scale, 1.0):
            found.append(f"ledger open by {ride.ledger_residual_fraction:.2g}")
    if not raw.end.charge >= -1e-6:
        found.append(f"charge {raw.end.charge:.4g}")
    if f.highest_charge_fraction > 1.001 and judge(ride).word == "fine":
        found.append(f"charged to {f.highest_charge_fraction:.4g} without a word")
    limit = controller.pack_current_limit_a * ride.build.drive.motors  # a controller each
    standby = controller.standby_power_w * ride.build.drive.motors / max(f.lowest_pack_voltage_v, 0.1)
    if ride.build.second is not None:  # a second drive has a controller of its own
        limit += ride.build.second.controller.pack_current_limit_a
        standby += ride.build.second.controller.standby_power_w / max(f.lowest_pack_voltage_v, 0.1)
    if f.peak_pack_current_a > limit * (1.0 + LIMIT_TOLERANCE) + 0.05 + standby:
        found.append(f"pack current {f.peak_pack_current_a:.4g} of {limit:.4g} A")
    fed = float(raw.ledger[Ledger.COPPER] + raw.ledger[Ledger.IRON])
    heat = fed * max(ride.params.winding_k_per_j, ride.params.body_k_per_j)
    warmest = max(ride.start.winding_temp, ride.start.body_temp, ride.build.weather.temperature_c)
    if f.peak_winding_temp_c > warmest + heat + 1.0:
        found.append(f"winding {f.peak_winding_temp_c:.5g} fed for {warmest + heat:.5g}")
    if seconds > SECONDS:
        found.append(f"took {seconds:.2g} s")
    return found


def _hold(tries: int, seed: int) -> tuple[list[str], Counter[str]]:
    """Return the faults with their builds, and how the tries ended."""
    faults, ends = [], Counter[str]()
    kinds = {base.build.second is None: base for base in BASES}  # bikes of one drive, of two
    for base in kinds.values():
        simulate(base, drawn_road(random.Random(seed)))  # compiled by now: it is the rides that are timed
    for at in range(tries):
        chance = random.Random(f"{seed} {at}")
        road = drawn_road(chance)
        try:
            build = drawn_build(chance)
        except RidesimError:
            ends["refused"] += 1
            continue
        for fault in _ridden(build, road, ends):
            faults.append(f"{at}: {fault}; {build.build.name} {dict(build.overrides)}")
    return faults, ends


def _ridden(build: LoadedBuild, road: Road, ends: Counter[str]) -> list[str]:
    begun = time.process_time()
    try:
        ride = simulate(build, road, time_limit_h=2.0)
        took = time.process_time() - begun
        to_json(ride.summary)
        ends[ride.raw.stop.name.lower()] += 1
        return faults_of(ride, took)
    except RidesimError:
        ends["refused"] += 1
        return []
    except Exception as error:  # each is a fault to be listed beside the others
        ends["raised"] += 1
        return [f"{type(error).__name__}: {error}"]


def test_what_is_drawn_is_most_of_what_a_ride_reads():
    assert len(KEYS) > 80 and {"motor.kv_rpm_per_v", "pack.series", "drive.stage.0.ratio"} <= {key for key, *_ in KEYS}


def test_any_build_on_any_short_road():
    faults, ends = _hold(FEW, 11)
    assert not faults, "\n".join(faults)
    assert sum(ends.values()) - ends["refused"] > FEW // 3, ends


FIELD = (
    (5097, "commuter-light.toml", {
        "pack.series": 1, "pack.open_circuit_offset_v": 0.82, "controller.charge_current_limit_a": 410.0,
        "controller.field_weakening_current_a": 562.0,
    }),
    (5684, "longtail-two-motors.toml", {
        "controller.field_weakening_current_a": 882.0, "controller.voltage_limit_v": 438.0, "rider.power_w": 314.0,
        "rider.braking_m_per_s2": 2.93, "rider.cruise_speed_km_h": 120.0, "tyre.circumference_mm": 586.7,
        "motor.winding_heat_capacity_j_per_k": 20000.0,
    }),
)  # fmt: skip


@pytest.mark.parametrize(("at", "bike", "changes"), FIELD)
def test_a_field_takes_no_more_than_the_pack_may_give(at: int, bike: str, changes: dict[str, float]):
    """Found by the ten thousand: a field whose copper would draw three times the limit, or more than a pack has."""
    build = load_build(ROOT / "configs" / bike, changes)
    ride = simulate(build, drawn_road(random.Random(f"12 {at}")))
    assert faults_of(ride, 0.0) == [] and ride.figures.peak_field_current_a > 50.0


@pytest.mark.slow
def test_ten_thousand_builds_on_short_roads():
    faults, ends = _hold(MANY, 12)
    assert not faults, f"{len(faults)} of {ends}\n" + "\n".join(faults[:40])
