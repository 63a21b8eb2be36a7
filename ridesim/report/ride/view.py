"""Words, figures and pictures of one ride, in the order a rider asks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ridesim.report.ride.helps import helps_words
from ridesim.report.text import NO_CHANCES, gear_setting_words, ride_rows
from ridesim.report.view import Table, View
from ridesim.ride.judge import judge
from ridesim.road.above import is_a_line
from ridesim.units import told as in_units

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridesim.ride.range import Outlook
    from ridesim.ride.simulate import Ride
    from ridesim.sure.spread import Spread

CAPTIONS = {
    "speed": "Altitude, and speed as ridden beside the speed that was planned.",
    "way": "The way seen from above, coloured by the winding's temperature.",
    "currents": "Motor and pack current with their limits; shaded, and in lanes below, where a limit held.",
    "temperatures": "Temperatures along the road with what each part may reach.",
    "charge": "Charge left, and the pack's voltage at rest and under load.",
    "energy": "Where the energy came from and where it went.",
}
"""The pictures of the page in its order, each with its caption."""


def view(
    ride: Ride, outlook: Outlook | None, units: str = "metric", *, pictures: bool = True, told: Spread | None = None
) -> View:
    """Return the answer to a ride: verdict and reasons, its figures with their spans, and its pictures.

    Without an outlook (that takes rides of its own) its range is not told.
    """
    from ridesim.report.spread.beside import with_spans
    from ridesim.sure.beside import judged

    s, verdict = ride.summary, judged(judge(ride, units), told)
    cruise = ride.options.cruise_speed_km_h or ride.build.rider.cruise_speed_km_h
    rows = with_spans(ride_rows(s, outlook, units, told), told, units)
    return View(
        title=f"{ride.build.name} on {ride.road.name}",
        question=f"Does it arrive, what does it draw, and how hot does it get? {_how(ride, cruise, units)}",
        answer=(
            *verdict.reasons,
            *(f"What helps: {words}" for words in helps_words(ride, verdict, told)),
            *gear_setting_words(outlook, units),
        ),
        verdict=verdict.word,
        tables=(Table("The ride in figures", ("", ""), tuple(rows)),),
        figures=_figures(ride, units) if pictures else (),
        notes=(*(in_units(each, units) for each in s["warnings"]), *((NO_CHANCES,) if told is None else ())),
        heeds_chances=told is not None,
    )


def _how(ride: Ride, cruise: float, units: str) -> str:
    from ridesim.report.text import shown

    options = ride.options
    if ride.road.cycle is not None:
        how = "Ridden by the clock of the speed-time cycle"
    elif options.speed_source == "recorded":
        how = "Ridden at the recording's own speed"
    else:
        how = f"Ridden at up to {shown(cruise, 'km_h', units, 0)}, slower in bends and where the road says so"
    extras = [
        words
        for words, true in (
            (f"{options.laps} times", options.laps > 1),
            ("the controller's limits switched off", not options.limits),
            ("without regen", not options.regen),
        )
        if true
    ]
    return ", ".join([how, *extras]) + "."


def _figures(ride: Ride, units: str) -> tuple[tuple[str, Figure], ...]:
    from ridesim.report.ride.figures import draw

    left_out = "way" if is_a_line(ride.road) else ""
    return tuple((caption, draw(ride, name, units)) for name, caption in CAPTIONS.items() if name != left_out)
