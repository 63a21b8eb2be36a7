"""`ridesim spread`: how sure is it, and what to measure next?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from ridesim.cli import options
from ridesim.cli.answer import frame_writer, inputs_of, reply
from ridesim.cli.output import command, progress, say_if_compiling
from ridesim.cli.writing import keeping
from ridesim.errors import Interrupted, RideError
from ridesim.units import from_si

if TYPE_CHECKING:
    from ridesim.sure.spread import Spread

EXAMPLE = "Example: ridesim spread configs/longtail-two-stage.toml routes/ridge-climb.gpx --answer peak_winding_temp_c"
_PANEL = "Spread"
PATIENCE_S = 120.0
"""A spread that takes longer wants a yes."""


@command("spread", EXAMPLE)
def how_sure(
    build: options.BuildFile,
    road: options.RoadFile,
    samples: Annotated[int, options.choice("--samples", "N", "Bikes drawn; rounded up to 2^k.", _PANEL)] = 512,
    seed: Annotated[int, options.choice("--seed", "N", "Same seed, same answer.", _PANEL, min=0)] = 1,
    only: Annotated[str | None, options.choice("--only", "KEY,...", "Only these keys are uncertain.", _PANEL)] = None,
    about: Annotated[
        str | None, options.choice("--answer", "NAME", "The answer asked about (else the verdict's trouble).", _PANEL)
    ] = None,
    yes: Annotated[bool, options.flag("--yes", "Also where it takes more than two minutes.", _PANEL)] = False,
    speed: options.Speed = None,
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """How sure are BUILD's answers on ROAD: spans, chances, what carries them, and what to measure next."""
    from ridesim.bike.load import load_build
    from ridesim.ride.running import RideOptions
    from ridesim.sure.batch import answers_of
    from ridesim.sure.spread import expected_rides, expected_seconds, spread

    loaded = load_build(build, options.overrides(set_))
    known = answers_of(loaded.build)
    if about is not None and about not in known:
        raise RideError("--answer", f"there is no answer {about!r}", f"choose one of {', '.join(known)}")
    ridden = reading.load(road)
    chosen = RideOptions(cruise_speed_km_h=speed)
    keys = tuple(key.strip() for key in (only or "").split(",") if key.strip())
    rides = expected_rides(loaded, ridden, samples, keys)
    say_if_compiling(loaded)
    if not yes:
        _refuse_long(expected_seconds(loaded, ridden, chosen, samples, keys), rides)
    try:
        with progress("riding bikes like yours", rides) as done:
            result = spread(loaded, ridden, chosen, samples=samples, seed=seed, only=keys, done=done)
    except Interrupted as end:
        raise _kept(end, wanted, road, about) from None
    _answer(result, wanted, road, about)


def _refuse_long(seconds: float, rides: int) -> None:
    if seconds > PATIENCE_S:
        minutes = from_si(seconds, "min")
        words = f"{minutes:.0f} min" if minutes < 120.0 else f"{from_si(seconds, 'h'):.0f} h"
        raise RideError("--samples", f"{rides} rides take about {words}", "ask for fewer, or say --yes")


def _kept(end: Interrupted, wanted: options.Wanted, road: str, about: str | None) -> Interrupted:
    """Tell what the rides so far came to, without pictures, and return the interrupt."""
    from ridesim.sure.spread import LEAST_DRAWS, Spread

    if isinstance(end.left, Spread) and end.left.samples >= LEAST_DRAWS:
        keeping.set()
        _answer(end.left, options.Wanted(wanted.as_json, units=wanted.units), road, about)
    return Interrupted(end.done)


def _answer(result: Spread, wanted: options.Wanted, road: str, about: str | None) -> None:
    inputs = inputs_of([result.loaded], [(road, result.road.name)])
    reply(
        wanted,
        "spread",
        inputs,
        result,
        [result.loaded],
        tables={"draws.csv": frame_writer(result)},
        more=(about or "",),
    )
