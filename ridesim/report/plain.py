"""Results as plain values."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from ridesim.harmless import HARMFUL


def as_plain(value: Any) -> Any:
    """Return a result as plain values for JSON; arrays (the course of a ride) stay out."""
    if is_dataclass(value) and not isinstance(value, type):
        pairs = ((each.name, getattr(value, each.name)) for each in fields(value))
        return {name: as_plain(item) for name, item in pairs if not hasattr(item, "dtype") or item.ndim == 0}
    if hasattr(value, "_asdict"):
        return {name: as_plain(item) for name, item in value._asdict().items() if not hasattr(item, "dtype")}
    if hasattr(value, "model_dump"):
        return value.model_dump()
    if isinstance(value, Mapping):
        return {key: as_plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [as_plain(item) for item in value]
    return value


def to_json(payload: Mapping[str, Any]) -> str:
    """Return JSON text of plain values, numpy values included; what is not finite becomes null."""
    text = json.dumps(plain(payload), indent=2, ensure_ascii=False, allow_nan=False)
    return HARMFUL.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def plain(value: Any) -> Any:
    """Return a value made of dict, list, str, int, float, bool and None only."""
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
