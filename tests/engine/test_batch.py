"""Many rides at once: the same answers as one by one, whatever the number of threads."""

from __future__ import annotations

import pytest

from ridesim.engine.batch import Job, run_many
from ridesim.engine.state import Stop, Total
from ridesim.ride.simulate import simulate
from ridesim.road.made import make_hills

from ..bikes import bike

ROAD = make_hills(1200.0, 15.0, 400.0, start_altitude_m=50.0)


@pytest.fixture(scope="module")
def jobs() -> list[Job]:
    rides = [simulate(bike({"rider.mass_kg": 50.0 + 10.0 * n}), ROAD, trace=False) for n in range(8)]
    return [Job(ride.params, ride.arrays, ride.start) for ride in rides]


@pytest.mark.parametrize("threads", [1, 2, 5])
def test_number_of_threads_changes_no_bit(jobs: list[Job], threads: int) -> None:
    alone = [run_many([job])[0] for job in jobs]
    together = run_many(jobs, threads=threads)
    for one, other in zip(alone, together, strict=True):
        assert one.end == other.end
        assert one.stop is other.stop is Stop.FINISHED
        assert one.totals.tobytes() == other.totals.tobytes()
        assert one.ledger.tobytes() == other.ledger.tobytes()


def test_batch_is_the_ride(jobs: list[Job]) -> None:
    ride = simulate(bike({"rider.mass_kg": 70.0}), ROAD)
    assert run_many(jobs)[2].totals.tobytes() == ride.raw.totals.tobytes()


def test_progress_counts_every_ride(jobs: list[Job]) -> None:
    told: list[int] = []
    run_many(jobs, done=told.append)
    assert sum(told) == len(jobs)


def test_nothing_to_ride() -> None:
    assert run_many([]) == []


def test_heavier_bikes_take_more_energy(jobs: list[Job]) -> None:
    """The outcomes come back in the order of the jobs."""
    out = [outcome.totals[Total.TERMINAL_OUT] for outcome in run_many(jobs)]
    assert out == sorted(out)
