"""The goals of a search: what may vary, what must hold, what matters. A short TOML that the builder can read aloud."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, Strict, ValidationError, model_validator

from ridesim.errors import GoalsError
from ridesim.schema import section
from ridesim.schema.problems import Document, problems_of
from ridesim.schema.section import Number, Section, fault, key
from ridesim.schema.source import read_whole, refuse_deep_keys

Texts = tuple[str, ...]
Teeth = tuple[Annotated[int, Strict(), Field(ge=5, le=400)], ...]
Counts = tuple[Annotated[int, Strict(), Field(ge=1, le=200)], ...]
Speeds = tuple[Annotated[float, Strict(), Field(ge=3.0, le=120.0)], ...]
Amperes = tuple[Annotated[float, Strict(), Field(ge=1.0, le=1500.0)], ...]
MOST_BYTES = 1024 * 1024


def _list(meaning: str, least: int = 1) -> Any:
    """A list that may be left out; where it is written it has something in it."""
    return Field(None, description=meaning, min_length=least)


class RoadWish(Section):
    """One road, and how much it counts."""

    file: str = key(..., "a GPX recording or a road file, beside this file")
    weight: float = key(1.0, "how often this road is ridden, against the others", above=0, high=1000)
    flat: bool = Field(False, description="true rides a road without altitude as if it were level", strict=True)


class StageWish(Section):
    """One reduction, motor side first: pulleys that exist, in every pair."""

    driver_teeth: Teeth = Field(..., description="teeth that exist on the motor side", min_length=1)
    driven_teeth: Teeth = Field(..., description="teeth that exist on the wheel side", min_length=1)
    kind: Literal["belt", "chain", "gear"] = key("belt", "what transmits")
    pitch_mm: float = key(5.0, "tooth pitch of the belt", 2, 20)
    width_mm: float = key(15.0, "belt width", 3, 100)
    centre_distance_mm: float | None = key(None, "distance of the shafts; empty: as the belt asks", 10, 1500)
    slide_mm: float = key(20.0, "how far the shafts can be moved to fit a belt, either way", 0, 500)
    belt_teeth: Teeth | None = Field(None, description="teeth of the belts that exist; empty: any length", min_length=1)
    may_be_left_out: bool = Field(False, description="true also tries the drive without this stage", strict=True)


class Between(Section):
    """Any number of the build, between two values."""

    key: str = section.key(..., "the key of the build, such as motor.kv_rpm_per_v")
    low: float = section.key(..., "the least", -1e6, 1e6)
    high: float = section.key(..., "the most", -1e6, 1e6)
    step: float | None = section.key(None, "distance of the values tried; empty: any value between", above=0, high=1e6)

    @model_validator(mode="after")
    def _upwards(self) -> Between:
        if self.high <= self.low:
            raise fault("high", f"is not above low ({self.low:g}); give the least and the most")
        return self


class Values(Section):
    """Any number of the build, one of some values."""

    key: str = section.key(..., "the key of the build, such as bicycle.cargo_kg")
    values: tuple[Number, ...] = Field(..., description="the values to try", min_length=1)


class Vary(Section):
    """What may vary; what is left out stays as the build has it."""

    motor: Texts | None = _list("motor parts, or labels such as 6374,149")
    controller: Texts | None = _list("controller parts")
    second_motor: Texts | None = _list("motors of a second, different drive, which the base build has")
    second_controller: Texts | None = _list("its controllers")
    tyre: Texts | None = _list("tyre parts")
    cell: Texts | None = _list("cell parts")
    series: Counts | None = _list("groups in series")
    parallel: Counts | None = _list("cells in a group")
    motor_current_limit_a: Amperes | None = _list("motor current limits")
    pack_current_limit_a: Amperes | None = _list("pack current limits")
    cruise_speed_km_h: Speeds | None = _list("speeds wanted on a free road")
    stage: tuple[StageWish, ...] = Field((), description="reductions, motor side first")
    values: tuple[Values, ...] = Field((), description="any other number of the build: a list")
    between: tuple[Between, ...] = Field((), description="any other number of the build: from low to high")


class Hold(Section):
    """A ceiling or a floor on one quantity, on the worst of the roads."""

    what: str = key(..., "the quantity: ridesim search --names lists them")
    at_most: float | None = key(None, "ceiling, in the quantity's unit", -1e9, 1e9)
    at_least: float | None = key(None, "floor, in the quantity's unit", -1e9, 1e9)
    certainty_percent: float | None = key(None, "how sure it must hold; empty: for the numbers as they stand", 50, 99)

    @model_validator(mode="after")
    def _a_bound(self) -> Hold:
        if self.at_most is None and self.at_least is None:
            raise fault("at_most", "is missing, and so is at_least; give one of them, or both")
        if self.at_most is not None and self.at_least is not None and self.at_most < self.at_least:
            raise fault("at_most", f"is below at_least ({self.at_least:g}): nothing can keep both; lower the floor")
        return self


class Price(Section):
    """What a part costs, in the builder's own money."""

    part: str = key(..., "the part as it is named under [vary] or in the build")
    price: float = key(..., "of one piece, a cell as one cell", 0, 1e6)


class Goals(Section):
    """A whole goals file."""

    name: str = key("which bike", "what you call the question")
    build: str = key(..., "the base build, beside this file")
    matters: Texts = Field(..., description="what matters, one or several quantities", min_length=1)
    bicycle_under: Texts | None = _list(
        "published rules under which it must count as a bicycle: ridesim law lists them; local law decides"
    )
    road: tuple[RoadWish, ...] = Field(..., description="the roads it is for", min_length=1)
    vary: Vary = Field(default_factory=Vary, description="what may vary; what is left out stays as the build has it")
    hold: tuple[Hold, ...] = Field((), description="what must hold: a ceiling or a floor")
    price: tuple[Price, ...] = Field((), description="what parts cost")


GOALS = Document(Goals, GoalsError)


@dataclass(frozen=True)
class Asked:
    """Goals as they were read: the model, the file, and its text."""

    goals: Goals
    path: Path
    text: bytes
    changes: tuple[tuple[str, Any], ...] = ()
    """Keys of the base build that the caller changes, as (dotted key, value)."""

    def beside(self, name: str) -> Path:
        """Return a file named in the goals: beside them, or by its path."""
        return self.path.parent / name


def read_goals(path: str | Path, changes: Mapping[str, Any] | None = None) -> Asked:
    """Return the goals of a TOML file; `changes` are laid over the base build.

    Raises GoalsError, which carries every problem of the file.
    """
    at = Path(path)
    if not at.is_file():
        raise GoalsError(str(at), "there is no such file", "write one: ridesim search --new my-goals.toml")
    text = read_whole(at, MOST_BYTES, GoalsError)
    refuse_deep_keys(text, str(at), GoalsError)
    try:
        data = tomllib.loads(text.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise GoalsError(str(at), "is not UTF-8 text", "save the file as UTF-8") from None
    except (ValueError, RecursionError) as error:
        told = " ".join(str(error).split())[:160]
        raise GoalsError(str(at), f"is not valid TOML ({told})", "correct the file there") from None
    return Asked(goals_from(data, str(at)), at, text, tuple((changes or {}).items()))


def goals_from(data: dict[str, object], where: str = "goals") -> Goals:
    """Return checked goals from nested dicts. Raises GoalsError with every problem."""
    if {"rider", "motor", "pack", "extends"} & set(data) and not {"matters", "vary", "hold"} & set(data):
        raise GoalsError(where, "is a build, not goals", "write goals that name it: ridesim search --new my-goals.toml")
    try:
        return Goals.model_validate(data)
    except ValidationError as faults:
        raise problems_of(faults, {}, where, GOALS) from None
