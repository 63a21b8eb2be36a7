"""The chosen size on each pack voltage: a whole build, ridden and checked as it is written out."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from ridesim.bike.load import LoadedBuild, build_from_dict, replace_keys
from ridesim.bike.motor import Motor
from ridesim.ride.kept import stops
from ridesim.ride.limits import ORDER
from ridesim.schema.texts import toml_value
from ridesim.schema.tolerance import Tolerances
from ridesim.sure.spread import LOOK_CHANCE, Chance
from ridesim.units import from_si, to_si
from ridesim.workshop.check.sheet import check_build
from ridesim.workshop.level_run import run_level
from ridesim.workshop.limits import Verdict, worst_verdict
from ridesim.workshop.pack.design import PackDesign, PackNeeds, design_pack
from ridesim.workshop.pack.plan import cell_data, load_cell
from ridesim.workshop.size.belts import StageBelt, belts_for, verdict_on
from ridesim.workshop.size.drawn import Drawn, chance_verdict, drawn_bikes, range_verdict
from ridesim.workshop.size.judged import (
    LOW_CHARGE,
    OF_THE_PACK,
    SPEED_SHARE,
    TUNING_RUN_M,
    Trials,
    is_empty,
    judge_trials,
    lacks_reserve,
    ride_all,
)
from ridesim.workshop.size.parts import Layout, load_motor, scaled_motor
from ridesim.workshop.size.trial import (
    TUNING_STEPS,
    USABLE,
    controller_for,
    drive_keys,
    series_for,
    shift_keys,
    tuned,
    with_limits,
)
from ridesim.workshop.size.wish import Wish, trial_bike

SPEED_TO_SPARE = 1.5
"""Top speed on a full pack over the wish beyond which more Kv only asks for more motor current (guess)."""
MORE_PACK, MORE_CURRENT, MORE_KV = 1.12, 1.12, 1.02
"""Steps by which a pack, its current limit and Kv grow until the rides are content (a choice)."""
MORE_FOR_DRAWS = 3
"""So often a pack grows because bikes like the proposal run it empty, or its cells too hot (a choice)."""
CURRENT_RESERVE = 1.1
"""Pack current limit over what hill, range and top speed take (guess)."""
VOLTS_RESERVE = 1.1
"""What the controller must stand over the full pack (guess)."""
FREQUENCY_RESERVE = 1.1
"""What the controller must follow over the motor unloaded on the full pack (guess)."""
LEAST_FREQUENCY_HZ, MOST_FREQUENCY_HZ = 1667.0, 33400.0
"""A common controller's limit (the schema's default, common practice), and the highest that the schema knows."""


@dataclass(frozen=True, eq=False)
class PackAnswer:
    """The chosen size on one pack voltage. `kv_low`: holds the top speed on a nearly empty pack; `kv_high`: half as
    much again on a full one. Current limits are those of one motor and its controller; `ratio` is that of the belts.
    `build` is the whole bike as nested keys, whose rides and check give the verdict."""

    nominal_voltage_v: float
    kv_low_rpm_per_v: float
    kv_high_rpm_per_v: float
    ratio: float
    motor_current_limit_a: float
    pack_current_limit_a: float
    design: PackDesign
    belts: tuple[StageBelt, ...]
    wh_per_km: float
    charge_left_fraction: float
    top_speed_motor_alone_low_charge_km_h: float
    peak_winding_temp_c: float
    peak_magnet_temp_c: float
    arrives: bool
    verdict: Verdict
    reason: str
    build: dict[str, Any]
    set_by: str
    """What set the cells in parallel: the range, the current, or what the cells bear in heat and for long."""
    chances: tuple[Chance, ...] = ()
    """The limits that bikes like it pass, the likeliest first; not drawn where the bike as it stands is stopped."""


SET_BY = {"energy": "range", "discharge current": "current", "charge current": "charging"}


@dataclass(frozen=True)
class _Draft:
    """A proposal in the making."""

    wish: Wish
    layout: Layout
    volts: float
    belts: tuple[StageBelt, ...]
    kv: float
    needs: PackNeeds
    grown_for_cells: bool = False

    @property
    def set_by(self) -> str:
        """What set the cells in parallel, in a word."""
        word = SET_BY[self.design().decided_by]
        return "cell limits" if self.grown_for_cells and word == "range" else word

    @property
    def ratio(self) -> float:
        """Motor turns a turn of the wheel or of the gears' input, by the teeth."""
        return math.prod(each.driven_teeth / each.driver_teeth for each in self.belts)

    @property
    def name(self) -> str:
        """What the build is called."""
        hub = f", hub of {len(self.layout.gears)} gears" if self.layout.gears else ""
        return f"{self.layout.motor_words}{hub}, {self.volts:g} V"

    def with_more_pack(self) -> _Draft:
        """The same with a larger pack."""
        more = max(MORE_PACK * self.design().energy_wh * USABLE, self.needs.energy_wh)
        return replace(self, needs=replace(self.needs, energy_wh=more))

    def design(self) -> PackDesign:
        """The smallest pack for the needs."""
        return design_pack(cell_data(load_cell(self.wish.cell)), self.needs)

    def keys(self) -> dict[str, Any]:
        """The whole bike as nested keys."""
        design, size = self.design(), self.layout.size
        drive = drive_keys(self.layout, [each.keys for each in self.belts])
        motor = scaled_motor(load_motor(size.part), size.mass_kg, self.kv)
        keys = trial_bike(self.wish, motor, drive, series_for(self.wish, self.volts), design.parallel)
        keys["name"] = self.name
        plain = build_from_dict(keys, where="trial bike")
        if self.layout.gears:
            shifts = shift_keys(plain.build)
            keys["drive"]["gears"] |= {name.rpartition(".")[2]: value for name, value in shifts.items()}
            plain = replace_keys(plain, shifts)
        limited, limit = with_limits(self.wish, plain)
        box = {name.split(".")[1]: value for name, value in controller_for(limit).items()}
        turning = to_si(self.kv * design.full_voltage_v, "rpm") / math.tau
        top = turning * limited.build.motor.pole_pairs
        keys["controller"] |= box | {
            "pack_current_limit_a": self.needs.discharge_a / self.layout.motors,
            "voltage_limit_v": float(math.ceil(VOLTS_RESERVE * design.full_voltage_v)),
            "electrical_frequency_limit_hz": min(
                max(LEAST_FREQUENCY_HZ, float(math.ceil(FREQUENCY_RESERVE * top))), MOST_FREQUENCY_HZ
            ),
        }
        return _rounded(keys)


def _rounded(value: Any) -> Any:
    """Return nested keys with numbers as a file shows them, so that what is ridden is what is written."""
    if isinstance(value, dict):
        return {name: _rounded(each) for name, each in value.items()}
    if isinstance(value, list):
        return [_rounded(each) for each in value]
    return float(f"{value:.6g}") if isinstance(value, float) else value


def answer_for_voltage(wish: Wish, layout: Layout, ratio: float, volts: float) -> PackAnswer:
    """Return a layout wound for a pack voltage, its Kv window, belts, limits and pack, all ridden as one build."""
    args = (wish, layout, ratio, volts)
    low = tuned(*args, wish.top_speed_km_h, LOW_CHARGE)
    high = tuned(*args, SPEED_TO_SPARE * wish.top_speed_km_h, 1.0)
    kv, limited = low.build.motor.kv_rpm_per_v, with_limits(wish, low)[0]
    belts = belts_of(wish, limited, layout, ratio)
    turns = math.prod(each.driven_teeth / each.driver_teeth for each in belts) if belts else ratio
    draft = _Draft(wish, layout, volts, belts, kv * turns / ratio, _first_needs(wish, limited, volts))
    kept: PackAnswer | None = None
    for left in range(MORE_FOR_DRAWS, -1, -1):
        draft, loaded, trials = _settled(draft)
        answer = _answered(draft, loaded, trials, high.build.motor.kv_rpm_per_v * turns / ratio)
        if answer.verdict == "stop":
            return kept or answer  # a pack that grew too heavy gives way to the one before
        written = build_from_dict(tomllib.loads(build_text(answer)), where="proposal")
        drawn = drawn_bikes(wish, written, trials)
        kept = _heeding(answer, drawn, trials)
        if not drawn.pack_too_small or not left:
            break
        cells = draft.grown_for_cells or (drawn.cells_worn and drawn.empty <= LOOK_CHANCE)
        draft = replace(draft.with_more_pack(), grown_for_cells=cells)
    return kept or answer


def _answered(draft: _Draft, loaded: LoadedBuild, trials: Trials, kv_high: float) -> PackAnswer:
    """Return a proposal as its own rides and the check judge it, as it stands."""
    stages = draft.layout.stages
    belt_verdict: tuple[Verdict, str] = verdict_on(draft.belts, stages) if stages else ("fine", "no belts")
    verdict, reason = judge_trials(draft.wish, trials, pack_too=True)
    faults: list[tuple[Verdict, str]] = [(verdict, reason), belt_verdict, _checked(loaded)]
    verdict, told = worst_verdict(faults, reason)
    whole = trials.whole.figures
    return PackAnswer(
        nominal_voltage_v=draft.volts,
        kv_low_rpm_per_v=draft.kv,
        kv_high_rpm_per_v=max(kv_high, draft.kv),
        ratio=draft.ratio,
        motor_current_limit_a=loaded.build.controller.motor_current_limit_a,
        pack_current_limit_a=loaded.build.controller.pack_current_limit_a,
        design=draft.design(),
        belts=draft.belts,
        wh_per_km=whole.net_wh_per_km or 0.0,
        charge_left_fraction=whole.charge_left_fraction,
        top_speed_motor_alone_low_charge_km_h=trials.top_speed_km_h,
        peak_winding_temp_c=trials.hottest_winding_c,
        peak_magnet_temp_c=trials.hottest_magnets_c,
        arrives=whole.finished,
        verdict=verdict,
        reason=told,
        build=draft.keys(),
        set_by=draft.set_by,
    )


def _heeding(answer: PackAnswer, drawn: Drawn, trials: Trials) -> PackAnswer:
    """Return a proposal whose verdict heeds the bikes like it, never milder than it was."""
    chances = drawn.chances
    word, told = chance_verdict(chances)
    also = range_verdict(trials)
    if word == also[0] == "fine":
        return replace(answer, chances=chances)
    verdict = max((answer.verdict, word, also[0]), key=ORDER.index)
    reasons = [answer.reason, *(why for each, why in ((word, told), also) if each != "fine")]
    return replace(answer, verdict=verdict, reason="; ".join(reasons), chances=chances)


def belts_of(wish: Wish, limited: LoadedBuild, layout: Layout, ratio: float) -> tuple[StageBelt, ...]:
    """Return belts for a trial bike at the torque of all motors' current limits; none for a hub motor."""
    if not layout.stages:
        return ()
    build = limited.build
    each = build.controller.motor_current_limit_a / to_si(build.motor.kv_rpm_per_v, "rpm_per_v")
    rpm = ratio * layout.highest * wish.wheel_rpm(wish.top_speed_km_h)
    return belts_for(layout.stages, ratio, layout.motors * each, rpm, from_si(wish.radius_m, "mm"))


def _first_needs(wish: Wish, limited: LoadedBuild, volts: float) -> PackNeeds:
    """Return what hill, range and top speed ask of a pack, by rides on a rough one whose current is free."""
    trials = ride_all(wish, limited)
    level = run_level(limited, LOW_CHARGE, TUNING_RUN_M).end_pack_current_a
    peaks = (ride.figures.peak_pack_current_a for ride in (trials.whole, trials.hill))
    most = float(math.ceil(CURRENT_RESERVE * max(level, *peaks)))
    return PackNeeds(volts, _energy_wh(trials), most, usable_fraction=USABLE)


def _settled(draft: _Draft) -> tuple[_Draft, LoadedBuild, Trials]:
    """Let pack, current limit and Kv grow until every ride is content, or growing does not help."""
    for left in range(TUNING_STEPS, -1, -1):
        loaded = build_from_dict(draft.keys(), where="proposal")
        trials = ride_all(draft.wish, loaded)
        whole, needs = trials.whole, draft.needs
        empty = is_empty(whole) or lacks_reserve(whole)
        worn = any(OF_THE_PACK & set(stops(ride)) for ride in trials.rides.values())
        slow = trials.top_speed_km_h < SPEED_SHARE * draft.wish.top_speed_km_h
        if not (empty or worn or slow) or not left:
            break  # what is returned is what was ridden
        if empty or worn:
            needs = draft.with_more_pack().needs
        if slow:
            needs = replace(needs, discharge_a=float(math.ceil(MORE_CURRENT * needs.discharge_a)))
        cells = draft.grown_for_cells or (worn and not empty)
        draft = replace(draft, needs=needs, kv=draft.kv * (MORE_KV if slow else 1.0), grown_for_cells=cells)
    return draft, loaded, trials


def _checked(loaded: LoadedBuild) -> tuple[Verdict, str]:
    """What the check sheet stops of a build; what it only looks at again is for the builder, not for the choice."""
    sheet = check_build(loaded)
    stopped = [f"{each.title} ({each.reason})" for each in sheet.findings if each.verdict == "stop"]
    return ("stop", f"check stops {'; '.join(stopped)}") if stopped else ("fine", "check stops nothing")


def _energy_wh(trials: Trials) -> float:
    """Energy of the whole range ride; scaled up from the part ridden where the first pack was too small."""
    f = trials.whole.figures
    return max(f.net_energy_wh, 1.0) / max(f.distance_km / f.road_km, 0.05)


def build_text(answer: PackAnswer) -> str:
    """Return a proposal as a build file (TOML)."""
    lines = [
        "# A proposal of `ridesim size`: a generic motor of this mass, not one that you can buy. Put your own motor,",
        "# cells and controller in its place, ride it and check it before you build. Local law decides what may be",
        "# ridden.",
        f"name = {toml_value(answer.build['name'])}",
    ]
    for section, keys in answer.build.items():
        if isinstance(keys, dict):
            lines += _section(section, keys)
    lines += [
        "",
        "# Scaled from a generic motor: how unsure its figures are. Measure yours (ridesim bench).",
        "[tolerance]",
    ]
    lines += [f"{toml_value(f'motor.{name}')} = {toml_value(said)}" for name, said in _as_unsure(answer.build["motor"])]
    return "\n".join(lines) + "\n"


def _as_unsure(motor: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Go through a motor's figures with the tolerance that the schema has for a guess of each."""
    for name in motor:
        for mark in Motor.model_fields[name].metadata:
            if isinstance(mark, Tolerances):
                yield name, mark.guess.said


def _section(path: str, keys: dict[str, Any]) -> list[str]:
    """Return a table with the tables inside it, and its rows last."""
    lines = ["", f"[{path}]", *_plain(keys)]
    for name, value in keys.items():
        if isinstance(value, dict):
            lines += _section(f"{path}.{name}", value)
    return lines + [line for name, rows in keys.items() for line in _tables(f"{path}.{name}", rows)]


def _plain(keys: dict[str, Any]) -> list[str]:
    plain = ((name, value) for name, value in keys.items() if not _is_rows(value) and not isinstance(value, dict))
    return [f"{name} = {toml_value(value)}" for name, value in plain]


def _tables(path: str, rows: Any) -> list[str]:
    return [line for row in rows for line in ("", f"[[{path}]]", *_plain(row))] if _is_rows(rows) else []


def _is_rows(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and isinstance(value[0], dict)
