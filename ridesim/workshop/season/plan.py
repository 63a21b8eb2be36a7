"""The rider's week: which days, at what hours, where the pack rests and where and to what share it is charged."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Literal

from ridesim.bike.load import LoadedBuild
from ridesim.errors import RideError

Charging = Literal["arrival", "leaving"]
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
LEAST_SHARE = 0.05
PLACE_C = (-30.0, 50.0)
LEAST_STAY_H = 1.0
"""Between setting out and setting out back (guess: a shorter stay leaves motor and cells warm, which is not told)."""
CHARGER_C_RATE = 0.25
"""1/h, charger's current over the pack's capacity (guess: a four-hour charge)."""
PLACES = ("home", "work")


@dataclass(frozen=True)
class Plan:
    """A year's habit. `weekdays`: 0 is Monday. Shares: the charge filled up to, None where nothing is charged there.

    `charge_on`: after each arrival, or timed so that it ends when leaving. `home_c`, `work_c`: where the pack rests;
    None: as warm as the air outside. `price_per_kwh` in your own money.
    """

    weekdays: tuple[int, ...] = tuple(range(len(WEEKDAYS)))
    out_at_h: float = 7.5
    back_at_h: float = 17.0
    home_share: float | None = 1.0
    work_share: float | None = None
    charge_on: Charging = "arrival"
    home_c: float | None = None
    work_c: float | None = None
    price_per_kwh: float | None = None

    @property
    def top_share(self) -> float:
        """The highest charge it is filled to."""
        return max(share for share in (self.home_share, self.work_share) if share is not None)


def plan_for(
    loaded: LoadedBuild,
    *,
    days: str | None = None,
    charge: str | None = None,
    home_c: float | None = None,
    **others: object,
) -> Plan:
    """Return a checked plan; what is not said is the build's own: its start charge, and where its pack is warm.

    `days`: "mon-fri" or "mon,wed,fri"; `charge`: "home", "home=0.8,work", each with the share filled up to.
    Raises RideError.
    """
    pack = loaded.build.pack
    shares = _shares(charge, pack.start_charge_fraction)
    given = {name: value for name, value in others.items() if value is not None}
    made = Plan(
        weekdays=_weekdays(days),
        home_share=shares.get("home"),
        work_share=shares.get("work"),
        home_c=pack.start_temperature_c if home_c is None else home_c,
    )
    return checked_plan(replace(made, **given), pack.charge_floor_fraction)  # type: ignore[arg-type]


def checked_plan(plan: Plan, floor: float = 0.0) -> Plan:
    """Return a plan if it can be lived by. Raises RideError."""
    if not 0.0 <= plan.out_at_h < plan.back_at_h - LEAST_STAY_H or plan.back_at_h >= 24.0:
        what = f"{plan.out_at_h:g} h out and {plan.back_at_h:g} h back (0 to 24, at least {LEAST_STAY_H:g} h between)"
        raise RideError("--out-at and --back-at", what, "write hours of the day, e.g. --out-at 7.5 --back-at 17")
    for name, share in (("home", plan.home_share), ("work", plan.work_share)):
        least = max(LEAST_SHARE, floor)
        if share is not None and not least < share <= 1.0:
            raise RideError("--charge", f"{name}={share:g} (allowed above {least:g}, to 1)", "write 0.8 for 80 %")
    for name, place in (("--home-c", plan.home_c), ("--work-c", plan.work_c)):
        if place is not None and not PLACE_C[0] <= place <= PLACE_C[1]:
            raise RideError(name, f"{place:g} °C (allowed {PLACE_C[0]:g} to {PLACE_C[1]:g})", "give degrees Celsius")
    if plan.price_per_kwh is not None and not 0.0 <= plan.price_per_kwh <= 1e6:
        raise RideError("--price", f"{plan.price_per_kwh:g} (allowed 0 to 1e6)", "give the price of one kWh")
    if plan.charge_on not in ("arrival", "leaving"):
        raise RideError("--charge-on", f"{plan.charge_on!r}", "choose arrival or leaving")
    return plan


def _weekdays(text: str | None) -> tuple[int, ...]:
    if text is None:
        return tuple(range(len(WEEKDAYS)))
    found: set[int] = set()
    for piece in text.lower().split(","):
        ends = [end.strip()[:3] for end in piece.split("-")]
        if len(ends) > 2 or any(end not in WEEKDAYS for end in ends):
            raise RideError("--days", f"{piece.strip()!r} is no day of the week", "write mon-fri, or mon,wed,fri")
        first, last = WEEKDAYS.index(ends[0]), WEEKDAYS.index(ends[-1])
        span = (last - first) % len(WEEKDAYS)
        found |= {(first + step) % len(WEEKDAYS) for step in range(span + 1)}
    return tuple(sorted(found))


def _shares(text: str | None, own: float) -> dict[str, float]:
    if text is None:
        return {"home": own}
    found: dict[str, float] = {}
    for piece in text.lower().split(","):
        name, equals, share = (part.strip() for part in piece.partition("="))
        if name not in PLACES or (equals and not re.fullmatch(r"[0-9]*\.?[0-9]+", share)):
            raise RideError("--charge", f"{piece.strip()!r} is no place", "write home, or home=0.8,work=1")
        found[name] = float(share) if equals else own
    return found
