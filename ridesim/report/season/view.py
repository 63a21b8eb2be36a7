"""Words of a year on the commute: the worst day and a typical one, what it costs, and the pack's years."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridesim.report.digits import significant_digits
from ridesim.report.season.notes import notes_of
from ridesim.report.text import duration, shown
from ridesim.report.view import Table, View
from ridesim.ride.bounds import STOP_WORDS
from ridesim.ride.limits import LIMITS, LOOK_AGAIN
from ridesim.units import told
from ridesim.workshop.season.season import limit_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.workshop.season.legs import Leg
    from ridesim.workshop.season.season import Day, Month, Season
    from ridesim.workshop.season.spans import DaySpan
    from ridesim.workshop.season.worth import Worth
    from ridesim.workshop.season.years import YearRow

MONTH_NAMES = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
POINTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
FULL_TURN_DEG = 360.0
STOPS = {code.name.lower(): words for code, words in STOP_WORDS.items()}


def view(result: Season, units: str = "metric", *, pictures: bool = True) -> View:
    """Return a year on the commute as words and tables, and pictures where they are wanted."""
    c = result.commute
    return View(
        title=f"A year with {c.build.name} on {c.out.name}",
        question=_question(result, units),
        answer=(
            _headline(result),
            _day_words("The worst", result.worst, result.spans[0] if result.spans else None, units),
            _day_words("A typical day", result.typical, result.spans[1] if len(result.spans) > 1 else None, units),
            *_passed(result),
            *_looked(result),
            _energy(result),
            *_years(result, units),
            *_best(result, units),
        ),
        verdict=result.verdict,
        tables=(
            _months(result, units), *_years_table(result.years.rows), *_worths_table(result.worths, units),
        ),
        figures=_figures(result, units) if pictures else (),
        notes=notes_of(result, units),
    )  # fmt: skip


def _question(result: Season, units: str) -> str:
    c, plan = result.commute, result.commute.plan
    back = "back the same way" if c.back.name == f"{c.out.name}, back" else f"back by {c.back.name}"
    shares = [
        f"at {place} to {share:.0%}" for place, share in (("home", plan.home_share), ("work", plan.work_share)) if share
    ]
    when = "on arrival" if plan.charge_on == "arrival" else "so that it ends when leaving"
    home = "as warm as the air outside" if plan.home_c is None else f"at {shown(plan.home_c, 'c', units, 0)}"
    return (
        f"{len(result.days)} days are ridden, out at {_clock(plan.out_at_h)} and {back} at {_clock(plan.back_at_h)}, "
        f"in the weather of {c.weather.name}. The pack is charged {' and '.join(shares)}, {when}, and rests {home}."
    )


def _clock(hour: float) -> str:
    whole = int(hour)
    return f"{whole}:{round((hour - whole) * float(_MINUTES)):02d}"


_MINUTES = 60


def _headline(result: Season) -> str:
    count = len(result.days)
    stopped = sum(day.word == "stop" for day in result.days)
    if result.not_home:
        return f"{result.not_home} of {count} days do not come home."
    said = f"Every one of {count} days comes home, the pack never below {result.worst.charge_left:.0%}"
    return f"{said}." if not stopped else f"{said}; but on {stopped} of them a limit is passed."


def _air(leg: Leg, units: str) -> str:
    wind, speed = leg.air.wind_from_deg, leg.air.wind_speed_km_h
    point = POINTS[round(wind / FULL_TURN_DEG * len(POINTS)) % len(POINTS)]
    calm = f"wind {shown(speed, 'km_h', units, 0)} from the {point}" if round(speed) else "calm"
    return f"{shown(leg.air.temperature_c, 'c', units, 0)}, {calm}{', wet' if leg.air.wet else ''}"


def _day_words(name: str, day: Day, span: DaySpan | None, units: str) -> str:
    air = "; ".join(f"{'back' if leg.way else 'out'} at {_air(leg, units)}" for leg in day.legs)
    when = date_words(day.date)
    if not day.arrives:
        leg = day.legs[-1]
        where = f"{shown(leg.distance_km, 'km', units)} of {shown(leg.road_km, 'km', units)}"
        way = "back" if leg.way else "out"
        said = f"{name}, {when} ({air}): the ride {way} ends after {where}, {STOPS.get(leg.stop, leg.stop)}."
    else:
        came_to = f"{duration(day.time_s)}, {day.net_wh:.0f} Wh, {day.charge_left:.0%} of charge left"
        said = f"{name}, {when} ({air}): {came_to}."
    return said + _span_words(span)


def date_words(date: str) -> str:
    """Return a day of the year as people write it: `1 Mar`."""
    return f"{int(date[8:])} {MONTH_NAMES[int(date[5:7]) - 1]}"


def _span_words(span: DaySpan | None) -> str:
    if span is None:
        return ""
    if span.net_wh is None or span.charge_left_fraction is None:
        return " None of the bikes like it comes home."
    wh, left = span.net_wh, span.charge_left_fraction
    return (
        f" Of bikes like it {span.arrive_fraction:.0%} come home, 8 of 10 of these with {wh[0]:.0f} to {wh[1]:.0f} Wh, "
        f"{max(left[0], 0.0):.0%} to {left[1]:.0%} left."
    )


def _looked(result: Season) -> tuple[str, ...]:
    """Why a year without a stop is not fine."""
    if result.verdict != LOOK_AGAIN:
        return ()
    rows = ", ".join(f"{LIMITS[name].words} on {_days(count)}" for name, count in result.looked.items())
    return (f"To look at again: {rows}; `ridesim ride` gives the figures.",)


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def _passed(result: Season) -> tuple[str, ...]:
    others = {name: count for name, count in result.passed.items() if name != "arrival"}
    if not others:
        return (
            "No limit that stops a ride is passed on any day." if not result.not_home else "No other limit stops it.",
        )
    rows = ", ".join(f"{limit_words(name)} on {_days(count)}" for name, count in others.items())
    cures = "; ".join(dict.fromkeys(LIMITS[name].cure for name in others if name in LIMITS))
    return (f"Limits passed: {rows}.", *((f"What helps: {cures}.",) if cures else ()))


def _kwh(energy_kwh: float) -> str:
    """A year's energy to three figures at most."""
    return f"{energy_kwh:.{significant_digits(energy_kwh, '', 'metric', 1)}f} kWh"


def _energy(result: Season) -> str:
    price = "" if result.price is None else f", {result.price:.2f} in your money"
    factor = result.spans[1].energy_factor if len(result.spans) > 1 else None
    span = ""
    if factor is not None:
        low, high = (f"{each * result.bought_kwh:.0f}" for each in factor)
        span = f"; for 8 of 10 bikes like it {low} to {high} kWh, as on a typical day"
    bought = f"{_kwh(result.bought_kwh)} from the wall{price}{span}"
    return f"The year takes {_kwh(result.net_kwh)} out of the pack and {bought}."


def _years(result: Season, units: str) -> tuple[str, ...]:
    lived, last = result.years, result.years.last
    if last is None:
        return (f"How the pack ages is not told: {told(lived.no_law, units)}.",)
    if last.year == 0:
        return ()
    said = (
        f"After {_years_words(last.year)} the pack has {last.capacity_left_fraction:.0%} of its capacity and "
        f"{last.resistance_factor:.2f} times its resistance."
    )
    if lived.fails_in_year == 0:
        return (said, "The worst day does not come home even with a new pack.")
    no_further = () if not lived.no_law else (f"Told no further than year {last.year}: {told(lived.no_law, units)}.",)
    return (said, f"The worst days of the year: {_worst_years(result)}.", *no_further)


def _worst_years(result: Season) -> str:
    lived = result.years
    as_law, fast, slow = (_fails(year) for year in (lived.fails_in_year, lived.fails_early, lived.fails_late))
    if not lived.spanned:
        return as_law
    if as_law == fast == slow:
        return f"{as_law}; the same if it ages half or twice as fast as the law has it"
    return f"{as_law}; if the pack ages twice as fast as the law has it: {fast}; half as fast: {slow}"


def _years_words(count: int) -> str:
    return "1 year" if count == 1 else f"{count} years"


def _fails(year: int | None) -> str:
    if year is None:
        return "they come home in every year told"
    return "one does not come home now" if year == 0 else f"one no longer comes home after {_years_words(year)}"


def _best(result: Season, units: str) -> tuple[str, ...]:
    planned = next((one for one in result.worths if one.name == "as_planned"), None)
    if planned is None or not result.worths or result.worths[0] is planned:
        return ("No change that was tried does better on the worst day.",) if result.worths else ()
    best = result.worths[0]
    if planned.arrives_now and planned.fails_in_year is None:
        return (
            f"As planned the worst days come home in every year told: no change is needed for that. Most to spare is "
            f"with this: {told(best.words, units)}; after {_years_words(best.years_told)} the worst day ends "
            f"with {best.worst_day_charge_left_last_fraction:.0%} of charge, as planned with "
            f"{planned.worst_day_charge_left_last_fraction:.0%}.",
        )
    fails = best.fails_in_year
    until = "in every year told" if fails is None else f"{_until(fails)}, no longer after {_years_words(fails)}"
    return (
        f"Worth most: {told(best.words, units)}. Then the worst day comes home {until}, after "
        f"{_years_words(best.years_told)} with {best.worst_day_charge_left_last_fraction:.0%} of charge; "
        f"as planned, after {_years_words(planned.years_told)} with {planned.worst_day_charge_left_last_fraction:.0%}.",
    )


def _until(fails_in_year: int | None) -> str:
    """Up to which age of the pack the worst day comes home; the year in which it fails is not among them."""
    if fails_in_year is None:
        return "always"
    return {0: "never", 1: "as new"}.get(fails_in_year, f"up to year {fails_in_year - 1}")


def _months(result: Season, units: str) -> Table:
    del units  # nothing in it has another unit
    head = ("month", "days", "not home", "time, 10 to 90 %", "middle", "energy, 10 to 90 %", "middle", "least left")
    return Table("The year by month, out and back together", head, tuple(map(_month, result.months)))


def _month(month: Month) -> tuple[str, ...]:
    name = MONTH_NAMES[month.month - 1]
    if month.days == 0:
        return (name, "0", *["-"] * 6)
    left = f"{month.least_charge_left:.0%}"
    if month.time_s is None or month.net_wh is None:
        return (name, str(month.days), str(month.not_home), *["-"] * 4, left)
    times = [duration(each) for each in month.time_s]
    low, middle, high = month.net_wh
    return (
        name, str(month.days), str(month.not_home), f"{times[0]} to {times[2]}", times[1],
        f"{low:.0f} to {high:.0f} Wh", f"{middle:.0f} Wh", left,
    )  # fmt: skip


def _years_table(rows: tuple[YearRow, ...]) -> tuple[Table, ...]:
    if len(rows) < 2:
        return ()
    head = ("after", "capacity", "lost by rest", "by cycles", "second law", "resistance", "worst day", "charge left")
    return (Table("The pack's years, the same weather each year", head, tuple(map(_year, rows))),)


def _year(row: YearRow) -> tuple[str, ...]:
    second = "-" if row.second_opinion_loss_fraction is None else f"{1.0 - row.second_opinion_loss_fraction:.0%}"
    left = row.worst_day_charge_left_fraction
    return (
        _years_words(row.year), f"{row.capacity_left_fraction:.1%}", f"{row.loss_by_rest_fraction:.1%}",
        f"{row.loss_by_cycles_fraction:.1%}", second, f"x {row.resistance_factor:.2f}",
        "comes home" if row.arrives else "does not", "-" if left is None or not row.arrives else f"{left:.0%}",
    )  # fmt: skip


def _worths_table(worths: tuple[Worth, ...], units: str) -> tuple[Table, ...]:
    if not worths:
        return ()
    head = ("what", "worst day comes home", "left, new", "told for", "left then", "capacity then", "resistance")
    title = "What a change is worth, the best first (one day in seven is ridden)"
    return (Table(title, head, tuple(_worth(one, units) for one in worths)),)


def _worth(one: Worth, units: str) -> tuple[str, ...]:
    return (
        told(one.words, units), _until(one.fails_in_year),
        f"{one.worst_day_charge_left_new_fraction:.0%}", _years_words(one.years_told),
        f"{one.worst_day_charge_left_last_fraction:.0%}", f"{one.capacity_left_fraction:.0%}",
        f"x {one.resistance_factor:.2f}",
    )  # fmt: skip


def _figures(result: Season, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.season.figure import draw_year, draw_years

    words = "The year: each dot a day, the line its month's middle, the band 8 of 10 of its days"
    made = [(words, draw_year(result, units))]
    if len(result.years.rows) > 1:
        made.append(("The pack's years, and the worst day's charge at the end", draw_years(result)))
    return tuple(made)
