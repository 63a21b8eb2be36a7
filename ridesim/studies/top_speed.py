"""How fast on the level? The top speed under a stated condition: charge, a cold motor, the rider pedalling, still air.

A warm motor turns faster at full modulation (its magnets weaken) and gives less where current holds it, so a run that
heats the motor tells neither. Here charge and all temperatures are held while the ride settles.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ridesim.bike.load import LoadedBuild
from ridesim.bike.schema import Build
from ridesim.engine.batch import Job, no_results, ride_blocks, run_many
from ridesim.engine.codes import Law, Limit, Stop
from ridesim.engine.pace import DRAFT, NORMAL
from ridesim.engine.params import start_state
from ridesim.engine.state import Parameters, State, as_records
from ridesim.ride.bounds import BOUNDS
from ridesim.ride.figures import last_bound
from ridesim.ride.simulate import RideOptions, ride_parameters
from ridesim.studies.steady import HALF_CHARGE, endless_road, still_of
from ridesim.units import from_si, to_si

FASTEST_KM_H = 120.0
"""What a rider in a hurry asks of the assist law, which has no throttle (guess)."""
SETTLED_M_PER_S2 = 0.005
"""A top speed is reached when the bike gains less than this."""
LONGEST_S = 1200.0
"""Every bike of this kind has settled by then (guess); one that has not says so."""


@dataclass(frozen=True)
class TopSpeed:
    """A top speed on the level with a cold motor, the rider pedalling, in still air, at a charge that is held."""

    charge_fraction: float
    speed_km_h: float
    held_by: str
    settled: bool
    """Whether the bike had stopped gaining when patience ended."""


def top_speeds(
    builds: Sequence[LoadedBuild], altitude_m: float = 0.0, threads: int | None = None
) -> list[tuple[TopSpeed, TopSpeed]]:
    """Return each build's top speed at its starting charge and at half charge."""
    charges = [(each.build.pack.start_charge_fraction, HALF_CHARGE) for each in builds]
    jobs = [_job(each.build, at, altitude_m) for each, two in zip(builds, charges, strict=True) for at in two]
    outs = run_many(jobs, threads)
    found = [
        TopSpeed(
            job.start.charge,
            from_si(0.0 if out.stop is Stop.STALLED else out.end.speed, "km_h"),
            bound_name(last_bound(out), job.params),
            abs(out.end.acceleration) < SETTLED_M_PER_S2,
        )
        for job, out in zip(jobs, outs, strict=True)
    ]
    return list(zip(found[::2], found[1::2], strict=True))


def _job(build: Build, charge: float, altitude_m: float) -> Job:
    p = _held(ride_parameters(build, full_pull(build)))
    start = start_state(build, speed_m_per_s=0.0)._replace(charge=charge)
    road = endless_road(still_of(build, charge, altitude_m), 0.0, to_si(FASTEST_KM_H, "km_h"))
    return Job(p, road, start, NORMAL, 1, LONGEST_S)


def _held(p: Parameters) -> Parameters:
    """Return the parameters of a bike whose charge and temperatures stay as they are."""
    second = None if p.second is None else _held(p.second)
    return p._replace(
        charge_per_coulomb=0.0, pack_k_per_j=0.0, winding_k_per_j=0.0, body_k_per_j=0.0, controller_k_per_j=0.0,
        second=second,
    )  # fmt: skip


def full_pull(build: Build) -> RideOptions:
    """Return the options of a ride with all there is: full throttle; under the assist law, a rider in a hurry."""
    if build.controller.throttle_law == "assist":
        return RideOptions(cruise_speed_km_h=FASTEST_KM_H)
    return RideOptions(throttle=1.0)


def bound_name(limit: Limit, p: Parameters) -> str:
    """Return the name of a bound; where none is met, the throttle's own wish: the set motor current, or the assist."""
    if limit is Limit.NONE:
        return "assist" if p.law == Law.ASSIST else BOUNDS[Limit.MOTOR_CURRENT].name
    return BOUNDS[limit].name


DRAFT_LONGEST_S = 300.0
"""A rough run, for sorting out: most bikes have settled by then, and the others read a little low (guess)."""


def half_charge_speeds(
    plain: Build, columns: Build, rows: int, altitude_m: float = 0.0, *, draft: bool = False, threads: int | None = None
) -> NDArray[np.float64]:
    """Return the top speed at half charge [km/h] of every row of a build with columns, (rows,), as `top_speeds` does.

    `plain`: the same build without columns; rider, tyre and weather must be alike in all rows. `draft`: a shorter run
    at the draft accuracy.
    """
    params = _held(ride_parameters(columns, full_pull(plain)))
    records = as_records(params, range(rows))
    seconds = [None] * rows if params.second is None else as_records(params.second, range(rows))
    road = endless_road(still_of(plain, HALF_CHARGE, altitude_m), 0.0, to_si(FASTEST_KM_H, "km_h"))
    start = start_state(plain, speed_m_per_s=0.0)._replace(charge=HALF_CHARGE)
    pacing, longest = (DRAFT, DRAFT_LONGEST_S) if draft else (NORMAL, LONGEST_S)
    found = no_results(rows, two_drives=params.second is not None)

    def block(of: range) -> Iterator[tuple[int, Job]]:
        """Yield the jobs of some rows, all on the same road."""
        for row in of:
            yield row, Job(records[row], road, start, pacing, 1, longest, seconds[row])

    ride_blocks(block, range(rows), found, threads=threads)
    speed = found.end[:, State._fields.index("speed")]
    return np.asarray(from_si(np.where(found.stop == Stop.STALLED, 0.0, speed), "km_h"))
