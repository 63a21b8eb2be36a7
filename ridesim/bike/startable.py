"""What cannot start is an error, with every reason and what to do."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from ridesim.bike.rough import (
    FASTER_GEARING,
    SLOWER_GEARING,
    both_standing_force_n,
    flat_resistance_n,
    full_v,
    low_voltage_v,
    pack_resistance_ohm,
    shift_rpm,
    unloaded_speed_km_h,
)
from ridesim.bike.schema import Build
from ridesim.bike.second import PREFIX, seen_by_second
from ridesim.errors import BuildError
from ridesim.units import from_si

STARTING_SPEED_M_PER_S = 1.5
"""Walking pace that a pack must be able to feed (guess)."""

SLOWEST_KM_H = 3.0
"""A bike whose motor stops pushing below this is pushed, not ridden (guess)."""


def startability(build: Build, sources: Mapping[str, str], where: str) -> None:
    """Raise BuildError, with every reason, for a bike that cannot start."""
    faults = [(key, what, to_do) for check in CANNOT_START for key, what, to_do in check(build)]
    if build.second is not None:
        faults += _faults_of_second(seen_by_second(build), {what for _, what, _ in faults})
    if faults:
        raise BuildError.many(tuple(BuildError(sources.get(key, where), what, to_do) for key, what, to_do in faults))


Fault = tuple[str, str, str]


def _faults_of_second(seen: Build, told: set[str]) -> Iterator[Fault]:
    """Yield why a second drive cannot start; its keys begin with `second.`."""
    for check in CANNOT_START:
        for key, what, to_do in check(seen):
            if what not in told:
                yield f"{PREFIX}{key}", f"{OF_SECOND}{what}", to_do


OF_SECOND = f"second drive (its keys begin with {PREFIX[:-1]}): "
"""Before what is told of a second, different drive."""


def _pack_reaches_the_controller(build: Build) -> Iterator[Fault]:
    full, (start, end) = full_v(build), low_voltage_v(build)
    if full <= end:
        yield (
            "pack.series",
            f"the pack cannot start the bike: pack.series = {build.pack.series} gives {full:.1f} V full, "
            f"not above controller.no_current_below_v = {end:.1f} V: the controller gives no current",
            "put more cells in series, or lower full_current_above_v and no_current_below_v",
        )
    if start <= end:
        yield (
            "controller.no_current_below_v",
            f"controller.full_current_above_v = {start:.1f} V is not above no_current_below_v = {end:.1f} V "
            "(the cells' default where left out)",
            "give both, the start above the end",
        )


def _pack_has_power(build: Build) -> Iterator[Fault]:
    resistance = pack_resistance_ohm(build)
    peak = full_v(build) ** 2 / (4.0 * resistance)
    need = build.controller.standby_power_w + flat_resistance_n(build) * STARTING_SPEED_M_PER_S
    if peak <= need:
        yield (
            "pack.cell.resistance_mohm",
            f"the pack cannot start the bike: its {from_si(resistance, 'mohm'):.0f} mΩ let at most {peak:.1f} W out "
            f"of it, and standby and rolling on the flat take {need:.1f} W",
            "check cell.resistance_mohm, wiring_mohm and interconnect_mohm",
        )


def _motor_turns_the_wheel(build: Build) -> Iterator[Fault]:
    force, need = both_standing_force_n(build), flat_resistance_n(build)
    if force <= need:
        yield (
            "controller.motor_current_limit_a",
            f"the motor cannot turn the wheel: at controller.motor_current_limit_a = "
            f"{build.controller.motor_current_limit_a:g} A it pushes with {max(force, 0.0):.1f} N, "
            f"and {need:.1f} N roll the bike on the flat",
            f"raise the current limit, choose {SLOWER_GEARING}, now {build.drive.turns:.2f}, or lower "
            "motor.kv_rpm_per_v",
        )


def _voltage_turns_the_wheel(build: Build) -> Iterator[Fault]:
    top = unloaded_speed_km_h(build)
    if top < SLOWEST_KM_H and build.controller.field_weakening_current_a <= 0.0:
        yield (
            "motor.kv_rpm_per_v",
            f"the motor cannot keep up with a walk: unloaded on the full pack of {full_v(build):.1f} V, "
            f"motor.kv_rpm_per_v = {build.motor.kv_rpm_per_v:g} over {build.drive.fastest_turns:.2f} turns a turn of "
            f"the wheel come to {top:.1f} km/h",
            f"check Kv (rpm per volt, line to line), or choose {FASTER_GEARING}",
        )


def _field_can_be_weakened(build: Build) -> Iterator[Fault]:
    if build.controller.field_weakening_current_a > 0.0 and build.motor.inductance_uh == 0.0:
        yield (
            "motor.inductance_uh",
            "motor.inductance_uh = 0, and controller.field_weakening_current_a works through it",
            "give the motor's inductance, or leave field weakening out",
        )


def _gears_do_not_hunt(build: Build) -> Iterator[Fault]:
    (up, down), gears = shift_rpm(build), build.drive.gears
    if len(gears.ratios) > 1 and down >= up * gears.widest_step:
        yield (
            "drive.gears.down_rpm",
            f"drive.gears would shift to and fro: an up-shift at {up:.0f} rpm leaves the motor at "
            f"{up * gears.widest_step:.0f} rpm, where it shifts down again ({down:.0f} rpm)",
            f"set drive.gears.down_rpm below {up * gears.widest_step:.0f}, or raise up_rpm",
        )


CANNOT_START: tuple[Callable[[Build], Iterator[Fault]], ...] = (
    _pack_reaches_the_controller,
    _pack_has_power,
    _motor_turns_the_wheel,
    _voltage_turns_the_wheel,
    _field_can_be_weakened,
    _gears_do_not_hunt,
)
