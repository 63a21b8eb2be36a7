"""`ridesim season`: a year on the commute, and the pack's years."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

from ridesim.cli import options
from ridesim.cli.answer import inputs_of, reply
from ridesim.cli.options import choice
from ridesim.cli.output import command, progress, say_if_compiling
from ridesim.errors import RideError

if TYPE_CHECKING:
    from ridesim.bike.load import LoadedBuild
    from ridesim.workshop.season.air import WeatherYear
    from ridesim.workshop.season.plan import Plan

EXAMPLE = (
    "Example: ridesim season configs/longtail-belt.toml routes/valley-commute.toml --days mon-fri --charge home=0.9 "
    "--price 0.30"
)
_WEATHER, _PLAN, _PACK = "Weather", "Plan", "Pack"


@dataclass(frozen=True)
class Weather(options.Bundle):
    """What weather the year has: a file of it, or one invented from monthly means."""

    weather: Annotated[str | None, choice("--weather", "FILE.csv", "A year of days or hours.", _WEATHER)] = None
    map_: Annotated[
        list[str] | None,
        choice(
            "--map", "NAME=COLUMN", "Which column (or a TOML file of such lines) is time, temperature_c (_f, _k), "
            "lowest_c, highest_c, wind_speed_km_h (_m_per_s, _mph), wind_from_deg, wet or rain_mm.", _WEATHER),
    ] = None  # fmt: skip
    year: Annotated[str | None, choice("--year", "FILE.toml", "Monthly means to invent a year from.", _WEATHER)] = None
    seed: Annotated[int, choice("--seed", "N", "Same seed, same invented year.", _WEATHER, min=0)] = 1
    latitude: Annotated[float | None, choice("--latitude", "DEG", "Of a file that tells days only.", _WEATHER)] = None

    def load(self) -> WeatherYear:
        """Return the year's weather. Raises RideError."""
        from ridesim.workshop.season.typical import load_typical, typical_year
        from ridesim.workshop.season.weather_file import DEFAULT_LATITUDE_DEG, load_weather, parse_mapping

        if self.weather is None:
            if self.map_ or self.latitude is not None:
                raise RideError("--map and --latitude", "belong to a file of weather", "give --weather FILE.csv")
            return typical_year(load_typical(self.year), self.seed)
        if self.year is not None:
            raise RideError("--weather and --year", "are both given", "leave out one of them")
        latitude = DEFAULT_LATITUDE_DEG if self.latitude is None else self.latitude
        return load_weather(self.weather, parse_mapping(self.map_), latitude)


@dataclass(frozen=True)
class Week(options.Bundle):
    """When the rider sets out, and where the pack rests and is charged."""

    days: Annotated[str | None, choice("--days", "DAYS", "mon-fri, or mon,wed,fri; else every day.", _PLAN)] = None
    out_at: Annotated[float | None, choice("--out-at", "H", "Hour of setting out (7.5).", _PLAN)] = None
    back_at: Annotated[float | None, choice("--back-at", "H", "Hour of setting out home (17).", _PLAN)] = None
    charge: Annotated[
        str | None, choice("--charge", "WHERE=SHARE,...", "home, or home=0.8,work=1; else home, as the build.", _PLAN)
    ] = None
    charge_on: Annotated[str | None, choice("--charge-on", "WHEN", "arrival, or leaving (a timer).", _PLAN)] = None
    home_c: Annotated[
        float | None, choice("--home-c", "C", "Where the pack rests at home; else as outside.", _PLAN)
    ] = None
    work_c: Annotated[float | None, choice("--work-c", "C", "Where it rests at work; else as outside.", _PLAN)] = None
    price: Annotated[float | None, choice("--price", "MONEY", "Of one kWh from the wall.", _PLAN)] = None

    def of(self, loaded: LoadedBuild) -> Plan:
        """Return a build's plan as asked. Raises RideError."""
        from ridesim.workshop.season.plan import plan_for

        return plan_for(
            loaded, days=self.days, charge=self.charge, home_c=self.home_c, out_at_h=self.out_at,
            back_at_h=self.back_at, charge_on=self.charge_on, work_c=self.work_c, price_per_kwh=self.price,
        )  # fmt: skip


@command("season", EXAMPLE)
def year_round(
    build: options.BuildFile,
    road: options.RoadFile,
    weather: Weather = Weather(),
    back: Annotated[str | None, choice("--back", "ROAD", "Another road home; else ROAD turned round.", _PLAN)] = None,
    week: Week = Week(),
    years: Annotated[int, choice("--years", "N", "Years to live the pack through.", _PACK)] = 10,
    quick: Annotated[bool, options.flag("--quick", "Without spans and changes.", _PACK)] = False,
    speed: options.Speed = None,
    reading: options.Reading = options.PLAIN_READING,
    set_: options.Set = None,
    wanted: options.Wanted = options.IN_WORDS,
) -> None:
    """Ride BUILD over ROAD and back every day of a year: worst day, energy, price, and how long the pack lasts."""
    from ridesim.bike.load import load_build
    from ridesim.ride.running import RideOptions
    from ridesim.workshop.season.season import expected_rides, season

    loaded = load_build(build, options.overrides(set_))
    roads = [reading.load(each) for each in (road, back) if each is not None]
    plan, air = week.of(loaded), weather.load()
    say_if_compiling(loaded)
    with progress("riding every day", expected_rides(loaded, air, plan, years, quick=quick)) as done:
        result = season(
            loaded, roads[0], air, back=roads[1] if back else None, plan=plan,
            options=RideOptions(cruise_speed_km_h=speed), years=years, quick=quick, seed=weather.seed, done=done,
        )  # fmt: skip
    named = [(path, each.name) for path, each in zip((road, back), roads, strict=False) if path is not None]
    inputs = {**inputs_of([loaded], named), "weather": weather.weather or weather.year}
    reply(wanted, "season", inputs, result, [loaded], table="days.csv")
