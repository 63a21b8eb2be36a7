"""From motor shaft to wheel: fixed stages, gears behind them, and the chain that the rider pedals too."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from ridesim.bike.gears import Gear, Gears
from ridesim.bike.second_motor import SecondMotor
from ridesim.schema.section import Section, fault, key
from ridesim.schema.tolerance import by_source

STAGE_EFFICIENCY = {"belt": 0.97, "chain": 0.97, "gear": 0.96}
"""Load efficiency of one stage. Belt: 96 to 98 % (synchronous-belt handbooks); chain and gear: guess."""


class Stage(Section):
    """One reduction, motor side first."""

    kind: Literal["belt", "chain", "gear"] = key("belt", "what transmits")
    driver_teeth: int | None = key(None, "teeth on the motor side", 5, 400)
    driven_teeth: int | None = key(None, "teeth on the wheel side", 5, 400)
    ratio: float | None = key(None, "turns in per turn out, instead of teeth", 0.05, 100)
    efficiency: float | None = key(
        None,
        "of the load; empty: 0.97 belt or chain, 0.96 gear",
        0.5,
        1,
        tolerance=by_source(0.015, 0.01, None, "belts 0.95 to 0.98 (handbooks)"),
    )
    drag_torque_nm: float = key(
        0.0, "drag without load, at the faster shaft", 0, 10, tolerance=by_source("x/ 1.6", "x/ 1.3", "10 %", "guess")
    )
    pitch_mm: float = key(5.0, "tooth pitch of the belt", 2, 20)
    width_mm: float = key(15.0, "belt width", 3, 100)
    centre_distance_mm: float | None = key(None, "distance of the shafts", 10, 1500)

    @model_validator(mode="after")
    def _one_way_to_say_it(self) -> Stage:
        teeth = (self.driver_teeth, self.driven_teeth)
        if self.ratio is None and None in teeth:
            raise fault("ratio", "is missing, and so are the teeth; give driver_teeth and driven_teeth, or ratio")
        if self.ratio is not None and teeth != (None, None):
            raise fault("ratio", "is given together with teeth; give the teeth or the ratio, not both")
        return self

    @property
    def turns(self) -> float:
        """Motor-side turns per wheel-side turn."""
        if self.ratio is not None:
            return self.ratio
        return self.driven_teeth / self.driver_teeth  # type: ignore[operator]

    @property
    def load_efficiency(self) -> float:
        """Share of the torque that a loaded stage passes on."""
        return self.efficiency if self.efficiency is not None else STAGE_EFFICIENCY[self.kind]


class Drive(Section):
    """From motor shaft to wheel. No stage: a direct hub motor."""

    stage: tuple[Stage, ...] = Field((), description="reductions, motor side first; none for a direct hub motor")
    coupling: Literal["fixed", "freewheel"] = key("fixed", "fixed: can regenerate; freewheel: coasts freely")
    driven_wheel: Literal["rear", "front"] = key("rear", "the wheel the motor drives")
    motors: int = key(1, "alike motors on the drive, a controller each; currents and limits are per motor", 1, 2)
    motors_share: Literal["one_shaft", "one_belt", "second_belt"] = key(
        "one_shaft", "two motors: on one shaft, in series on one belt, or the second joined to the first by a belt"
    )
    kv_difference_percent: float = key(0.0, "two motors: Kv of one over the other, less 1; split evenly", 0, 20)
    second_motor: SecondMotor = Field(
        default_factory=SecondMotor, description="where the belt of two motors runs, for `ridesim belt`"
    )
    gears: Gears = Field(default_factory=Gears, description="gears behind the stages, shifted by the motor's speed")
    through_pedal_chain: bool = key(False, "the motor drives the chain that the rider pedals; their forces add on it")
    chain_force_limit_n: float | None = key(
        None, "most pull of that chain; empty: a word above 2600 N (200 N m of legs on 38 teeth: guess)", 100, 20000
    )

    @model_validator(mode="after")
    def _gears_fit(self) -> Drive:
        freewheels = self.gears.kind != "gearbox" and bool(self.gears.ratios)
        if freewheels and self.coupling == "fixed":
            raise fault(
                "coupling", f"is fixed, but a {self.gears.kind}'s gears freewheel; "
                'use coupling = "freewheel", or gears.kind = "gearbox"'
            )  # fmt: skip
        if self.through_pedal_chain and self.coupling == "fixed":
            raise fault("coupling", 'is fixed, which would drive the cranks; use coupling = "freewheel"')
        if self.through_pedal_chain and self.pedal_chain is None:
            raise fault(
                "through_pedal_chain", "asks for a last stage of kind chain with teeth (crank ring to wheel), or for "
                "a derailleur with gears.chainring_teeth; describe that chain"
            )  # fmt: skip
        return self

    @property
    def pedal_chain(self) -> tuple[float, float] | None:
        """Of the chain that both use: crank turns per turn of the gears' input, teeth of the ring there; None: none."""
        if not self.through_pedal_chain:
            return None
        if self.gears.kind == "derailleur" and self.gears.ratios:
            teeth = self.gears.chainring_teeth
            return None if teeth is None else (1.0, teeth)
        last = self.stage[-1] if self.stage else None
        if last is None or last.kind != "chain" or last.driven_teeth is None:
            return None
        return last.turns, last.driven_teeth

    @property
    def motors_last_stage(self) -> int:
        """The last stage that is the motor's alone, from 0: a chain that the rider pedals too is left as it is."""
        inside_gears = self.gears.kind == "derailleur" and bool(self.gears.ratios)
        shared = self.through_pedal_chain and not inside_gears and len(self.stage) > 1
        return len(self.stage) - (2 if shared else 1)

    @property
    def speeds(self) -> tuple[Gear, ...]:
        """Every gear, the lowest first; one of ratio 1 without loss where there are none."""
        return self.gears.steps or (Gear(1.0, 1.0),)

    @property
    def reduction(self) -> float:
        """Motor turns per turn of the last stage's output, before the gears."""
        product = 1.0
        for stage in self.stage:
            product = product * stage.turns
        return product

    @property
    def turns(self) -> float:
        """Motor turns per wheel turn, in the lowest gear."""
        return self.reduction * self.speeds[0].turns

    @property
    def fastest_turns(self) -> float:
        """Motor turns per wheel turn, in the highest gear."""
        return self.reduction * self.speeds[-1].turns
