"""The figures of a year on the commute as plain values, for JSON, tables and Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ridesim.report.plain import as_plain

if TYPE_CHECKING:
    from ridesim.workshop.season.season import Day, Season


def season_figures(result: Season) -> dict[str, Any]:
    """Return the figures of a season as plain values."""
    weather, lived = result.commute.weather, result.years
    return {
        "verdict": result.verdict,
        "weather": {
            "name": weather.name, "invented": weather.invented, "by_the_hour": weather.by_the_hour,
            "first_day": weather.first.isoformat(), "days": weather.days,
        },
        "plan": as_plain(result.commute.plan),
        "days_ridden": len(result.days),
        "days_not_home": result.not_home,
        "days_on_which_a_limit_stops": result.passed,
        "worst_day": _day(result.worst),
        "typical_day": _day(result.typical),
        "months": [_month(each) for each in result.months],
        "pack_energy_kwh": result.net_kwh,
        "bought_kwh": result.bought_kwh,
        "price": result.price,
        "charges_below_freezing": result.cold_charges,
        "charges_not_done_in_time": result.late_charges,
        "spans": [as_plain(each) for each in result.spans],
        "years": [as_plain(each) for each in lived.rows],
        "worst_day_fails_in_year": lived.fails_in_year,
        "ageing_spread_ridden": lived.spanned,
        "worst_day_fails_if_ageing_doubles": lived.fails_early,
        "worst_day_fails_if_ageing_halves": lived.fails_late,
        "no_law": lived.no_law or None,
        "law": None if lived.wear is None else _law(lived.wear),
        "changes": [as_plain(each) for each in result.worths],
    }  # fmt: skip


def _law(wear: Any) -> dict[str, Any]:
    return {
        "kind": wear.kind, "hours_below_range": wear.below_range_h, "hours_below_measured": wear.below_measured_h,
        "cycles_slower_than_law": wear.slow_cycles,
    }  # fmt: skip


def _known(value: float) -> float | None:
    return value if value == value else None


def _day(day: Day) -> dict[str, Any]:
    return {
        "date": day.date, "arrives": day.arrives, "verdict": day.word, "time_s": _known(day.time_s),
        "net_energy_wh": _known(day.net_wh), "charge_left_fraction": day.charge_left,
        "rides": [_leg(leg) for leg in day.legs],
    }  # fmt: skip


def _leg(leg: Any) -> dict[str, Any]:
    found = leg._asdict()
    air = found.pop("air")
    found.update(air._asdict() if hasattr(air, "_asdict") else vars(air))
    found.update(way="back" if leg.way else "out", verdict=found.pop("word"), passed=list(leg.passed))
    return found


def _month(month: Any) -> dict[str, Any]:
    return {**vars(month), "least_charge_left": _known(month.least_charge_left)}


def day_rows(result: Season) -> list[dict[str, Any]]:
    """Return one row a ride, with its air and its verdict."""
    rows = []
    for day in result.days:
        for leg in day.legs:
            found = _leg(leg)
            found.update(date=day.date, passed=" ".join(leg.passed))
            del found["day"]
            rows.append({"date": found.pop("date"), **{
                name: f"{value:.6g}" if isinstance(value, float) else value for name, value in found.items()
            }})  # fmt: skip
    return rows
