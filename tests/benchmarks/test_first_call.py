"""The first call of all: how long it compiles, against numba's own way with the same kernels, in one run."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from ridesim.compiling import IS_KNOWN

HOME = Path(__file__).parents[2]

FIRST_CALL = """
import json, sys, time
from pathlib import Path
from ridesim import compiling, load_road, taken_in
if sys.argv[1] == "numba's own way":
    compiling.IS_KNOWN = taken_in.IS_KNOWN = False
from ridesim.ride.simulate import simulate
spent = time.process_time()
ride = simulate(Path("configs/longtail-two-stage.toml"), load_road("routes/terrace-round.gpx"), trace=False)
print(json.dumps([time.process_time() - spent, ride.summary]))
"""


@pytest.mark.benchmark
@pytest.mark.slow
@pytest.mark.skipif(not IS_KNOWN, reason="another numba goes its own way")
def test_the_first_call_compiles_in_half_of_the_time_of_numbas_own_way_and_rides_the_same(
    tmp_path: Path,
) -> None:
    told = {}
    for way in ("ours", "numba's own way"):
        where = {**os.environ, "XDG_CACHE_HOME": str(tmp_path / way), "PYTHONPATH": str(HOME)}
        run = subprocess.run(
            [sys.executable, "-c", FIRST_CALL, way], cwd=HOME, env=where, capture_output=True, text=True, check=True
        )
        told[way] = json.loads(run.stdout)
    (ours, ridden), (theirs, as_numba_rides) = told.values()
    assert ours < 0.6 * theirs, f"{ours:.1f} s against {theirs:.1f} s"  # 0.47 on a machine with other work
    assert ridden == as_numba_rides
