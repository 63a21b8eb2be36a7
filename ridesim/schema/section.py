"""What every section of a file is made of: a key with its help text and range, and faults between keys."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, Strict, field_validator
from pydantic_core import PydanticCustomError

from ridesim.schema.tolerance import Tolerances

Number = Annotated[float, Strict()]
"""A number in a list; text is not read as one."""


def key(
    default: Any,
    help_text: str,
    low: float | None = None,
    high: float | None = None,
    *,
    above: float | None = None,
    tolerance: Tolerances | None = None,
) -> Any:
    """Return a field with its help text and allowed range; `...` as default makes the key required.

    `tolerance`: how uncertain its value is, by whose it is; None: exact, as what a builder counts or sets.
    """
    number = low is not None or above is not None
    field = Field(default, description=help_text, ge=low, le=high, gt=above, strict=True if number else None)
    if tolerance is not None:
        field.metadata.append(tolerance)
    return field


class Section(BaseModel):
    """A part of a bike or road file: frozen, and strict about unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    @field_validator("name", mode="after", check_fields=False)
    @classmethod
    def _in_one_line(cls, name: str | None) -> str | None:
        """A name is shown in headings: line ends in it could pass for lines of the answer."""
        return name if name is None else " ".join(name.split())


TOGETHER = "together:"
"""Marks, in pydantic's error type, a key that is at odds with its neighbours. The message reads `fault; cure`."""


def fault(name: str, message: str) -> PydanticCustomError:
    """Return a fault of the key `name`. Braces in the message would be read as a template."""
    return PydanticCustomError(TOGETHER + name, message)
