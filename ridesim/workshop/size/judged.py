"""How a trial bike does its wish: the range, the hill from warm, the hill wide open, the top speed; and the verdict."""

from __future__ import annotations

from dataclasses import dataclass

from ridesim.bike.load import LoadedBuild
from ridesim.engine.loop import restart
from ridesim.engine.state import State
from ridesim.ride.judge import Finding, charge_wanted, hold, judge
from ridesim.ride.kept import stops
from ridesim.ride.limits import LIMITS, ORDER
from ridesim.ride.simulate import Ride, simulate
from ridesim.road.made import make_climb, make_flat, make_ramp
from ridesim.road.profile import Road
from ridesim.units import from_si, to_si
from ridesim.workshop.level_run import run_level
from ridesim.workshop.limits import Verdict
from ridesim.workshop.size.wish import Wish

LOW_CHARGE = 0.3
"""Charge down to which the top speed is to be held (guess)."""
TUNING_RUN_M = 5000.0
"""Longer than a plain top-speed run: the limits leave a small surplus of force only."""
SPEED_SHARE = 0.98
"""Share of the wished top speed that counts as reached (guess)."""
HUB_BINDS = 0.9
"""Share of what a gear hub's input stands, from which it is what holds the current back (guess)."""
EMPTY = ("pack_empty", "low_voltage")
"""The ends of a ride that a larger pack puts off."""
START_S = 20.0
"""What the start on the hill may take longer than the wished speed does [s] (guess)."""
OF_THE_CELLS = ("cells_heat", "cell_lasting")
"""The limits of cells that a pack with more of them side by side keeps."""
OF_THE_PACK = frozenset(LIMITS[name].broken for name in OF_THE_CELLS)
"""What a ride on a rough pack does not decide: the pack is designed later."""


@dataclass(frozen=True, eq=False)
class Trials:
    """The rides of one trial bike: `hill` and `fast` begin as warm as the level half of the range leaves it."""

    whole: Ride
    hill: Ride
    fast: Ride
    top_speed_km_h: float

    @property
    def rides(self) -> dict[str, Ride]:
        """Every ride by its words."""
        return {"on the range ride": self.whole, "on the hill": self.hill, "on the hill wide open": self.fast}

    @property
    def hottest_winding_c(self) -> float:
        """The hottest winding of any ride."""
        return max(ride.figures.peak_winding_temp_c for ride in self.rides.values())

    @property
    def hottest_magnets_c(self) -> float:
        """The hottest magnets of any ride."""
        return max(ride.figures.peak_body_temp_c for ride in self.rides.values())

    @property
    def room_k(self) -> float:
        """How far winding and magnets stay below their limits, the nearer of both [K]."""
        motor = self.hill.build.motor
        return min(motor.winding_limit_c - self.hottest_winding_c, motor.magnet_limit_c - self.hottest_magnets_c)


def ride_all(wish: Wish, loaded: LoadedBuild) -> Trials:
    """Ride everything that was wished for. Raises RidesimError."""
    level = make_flat(to_si(wish.range_km - wish.hill_km, "km") / 2.0, spacing_m=10.0, name="to the hill")
    warm = restart(simulate(loaded, level, cruise_speed_km_h=wish.cruise, trace=False, time_limit_h=200.0).raw.end)
    return Trials(
        whole=simulate(loaded, range_road(wish), cruise_speed_km_h=wish.cruise, trace=False, time_limit_h=200.0),
        hill=hill_ride(wish, loaded, wish.hill_speed_km_h, start=warm),
        fast=hill_ride(wish, loaded, wish.top_speed_km_h, start=warm),
        top_speed_km_h=run_level(loaded, LOW_CHARGE, TUNING_RUN_M).top_speed_km_h,
    )


def range_road(wish: Wish) -> Road:
    """Return the wished distance, level but for the hill in its middle."""
    hill, rest = to_si(wish.hill_km, "km"), to_si(wish.range_km - wish.hill_km, "km")
    return make_ramp(rest / 2.0, hill, wish.hill_percent, run_out_m=rest / 2.0, spacing_m=10.0, name="the range")


def hill_ride(
    wish: Wish, loaded: LoadedBuild, speed_km_h: float, *, start: State | None = None, trace: bool = False
) -> Ride:
    """Ride the wished hill at a speed."""
    road = make_climb(to_si(wish.hill_km, "km"), wish.hill_percent, name="the hill")
    return simulate(loaded, road, start=start, cruise_speed_km_h=speed_km_h, trace=trace)


def judge_trials(wish: Wish, trials: Trials, *, pack_too: bool) -> tuple[Verdict, str]:
    """Judge trials by what would stop each ride, the top speed, and the heat that is left; a rough pack is let off."""
    found = _found_on(trials.rides, pack_too)
    found += _slow_on_the_hill(wish, trials.hill)
    if trials.top_speed_km_h < SPEED_SHARE * wish.top_speed_km_h:
        found.append(f"its top speed is {trials.top_speed_km_h:.0f} km/h at {LOW_CHARGE:.0%} of charge")
    if pack_too and trials.whole.finished and lacks_reserve(trials.whole):
        found.append(f"it comes home with {trials.whole.figures.charge_left_fraction:.0%} of charge")
    motor = trials.hill.build.motor
    winding, magnets = trials.hottest_winding_c, trials.hottest_magnets_c
    heat = f"the winding reaches {winding:.0f} °C of {motor.winding_limit_c:.0f} °C"
    heat += f", the magnets {magnets:.0f} °C of {motor.magnet_limit_c:.0f} °C"
    if found:
        return "stop", f"{'; '.join(found)}; {heat}"
    held = (hold("winding", winding, motor.winding_limit_c), hold("magnets", magnets, motor.magnet_limit_c))
    word = max((each.verdict for each in held), key=ORDER.index)
    told = heat if word == "fine" else f"{heat}: little is left"
    hunts = [
        f"{where} {each.reason[0].lower()}{each.reason[1:].rstrip('.')}"
        for where, ride in trials.rides.items() for each in _shifting(ride)
    ]  # fmt: skip
    return ("look again", f"{told}; {hunts[0]}") if hunts else (word, told)


def _slow_on_the_hill(wish: Wish, ride: Ride) -> list[str]:
    """Return that a ride of the hill falls behind the wished speed; nothing where it holds it, or does not arrive."""
    f = ride.figures
    wanted_s = to_si(wish.hill_km / wish.hill_speed_km_h, "h")
    if not f.finished or f.total_time_s <= wanted_s / SPEED_SHARE + START_S:
        return []
    stands = ride.build.drive.gears.input_torque_limit_nm
    hub = stands is not None and (f.peak_gear_torque_nm or 0.0) > HUB_BINDS * stands
    why = f", held by the {stands:g} N·m that the gear hub's input stands" if hub else ""
    return [f"it climbs the hill at {wish.hill_km / from_si(f.total_time_s, 'h'):.0f} km/h{why}"]


def _shifting(ride: Ride) -> list[Finding]:
    """Return what the judge says of a ride that shifts to and fro; nothing where it does not."""
    return [each for each in judge(ride).findings if each.name == "shifting" and each.verdict != "fine"]


def lacks_reserve(ride: Ride) -> bool:
    """Return whether a ride ends with less charge than the judge wants to see left."""
    return ride.figures.charge_left_fraction < charge_wanted(ride.figures, ride.build)


def _found_on(rides: dict[str, Ride], pack_too: bool) -> list[str]:
    """Return what would stop each ride, in words; rides that fail alike are told together."""
    alike: dict[str, list[str]] = {}
    for where, ride in rides.items():
        faults = [fault for fault in stops(ride) if pack_too or fault not in OF_THE_PACK]
        if faults:
            alike.setdefault(_words(faults, ride), []).append(where)
    return [f"{', '.join(where)}: {faults}" for faults, where in alike.items()]


def is_empty(ride: Ride) -> bool:
    """Return whether an empty pack ended a ride."""
    return ride.figures.stop in EMPTY


def _words(faults: list[str], ride: Ride) -> str:
    there = LIMITS["arrival"].broken
    return " and ".join(f"it {each} ({ride.figures.stop_reason})" if each == there else each for each in faults)
