"""Every file and option may hold anything: a clear refusal or an answer, never a fault, a hang or invalid JSON."""

from __future__ import annotations

import os
import tomllib
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from ..tries import FILE_TRIES
from .mutation import FACTORS, VALUES, asked, leaves, mutated_table, mutated_toml, scaled

ROOT = Path(__file__).parents[2]
BUILDS = {path.name: path.read_text(encoding="utf-8") for path in sorted((ROOT / "configs").glob("*.toml"))}
BELT = BUILDS["longtail-belt.toml"]
LITTLE_CHARGE = "[pack]\nstart_charge_fraction = 0.1\n"
BASES = [text.replace("[pack]\n", LITTLE_CHARGE) for text in BUILDS.values()]
"""The demo bikes with a tenth of their charge: their range, which every ride tells, is soon ridden."""
PARTS = {path.stem: path.read_text(encoding="utf-8") for path in sorted((ROOT / "configs" / "parts").glob("*.toml"))}
ROAD = '[road]\nkind = "hills"\nlength_km = 0.3\nhill_height_m = 4\nhill_length_km = 0.15\n'
SEED = 20_250_611
MANY = 10_000


def _tries(times: int):
    def wrap(test):
        checks = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large]
        # No shrinking: it takes longer than the search, and the failing input is printed anyway.
        held = settings(
            max_examples=times, deadline=None, database=None, suppress_health_check=checks, phases=[Phase.generate]
        )
        return seed(SEED)(held(test))

    return wrap


def kind(strategy, least: float):
    """Make two tests of one check: a short one, and one of 10,000 tries that is marked slow.

    At least such a share must be answered: where nearly all is refused at the door, nothing behind it is tried.
    """

    def wrap(check):
        def tried(times: int) -> None:
            answered: list[bool] = []
            _tries(times)(given(strategy)(lambda drawn: answered.append(check(drawn) == 0)))()
            assert sum(answered) >= least * len(answered), (sum(answered), len(answered))

        def few() -> None:
            tried(FILE_TRIES)

        def many() -> None:
            tried(MANY)

        return few, pytest.mark.slow(many)

    return wrap


@pytest.fixture(scope="module", autouse=True)
def place(tmp_path_factory: pytest.TempPathFactory):
    """A folder with the demo parts and a short road, in which commands run."""
    folder, before = tmp_path_factory.mktemp("fuzz"), Path.cwd()
    (folder / "parts").mkdir()
    (folder / "road.toml").write_text(ROAD)
    for name, text in BUILDS.items():
        (folder / name).write_text(text)
    (folder / "belt.toml").write_text(BELT.replace("[pack]\n", LITTLE_CHARGE))
    os.chdir(folder)
    asked(("ride", "belt.toml", "road.toml"), hang_s=200.0)  # compiled by now
    yield folder
    os.chdir(before)


def _written(name: str, text: bytes) -> str:
    Path(name).write_bytes(text)
    return name


def _ride(content: object, *words: str) -> int:
    """Ride and say how sure the answer is in one of twenty tries, for that is 256 rides more."""
    quick = zlib.crc32(repr(content).encode("utf-8", "replace")) % 20 > 0
    return asked(("ride", *words, "--json", *["--quick"] * quick))[0]


def _build(text: bytes) -> int:
    return _ride(text, _written("tried.toml", text), "road.toml")


def _part(drawn: tuple[str, bytes]) -> int:
    name, text = drawn
    section = {"cell": "pack.cell"}.get(name.split("-")[0], name.split("-")[0])
    try:
        _written(f"parts/{name}.toml", text)
        return _ride(text, "belt.toml", "road.toml", "--set", f"{section}={name}")
    finally:
        Path(f"parts/{name}.toml").unlink(missing_ok=True)


def _log(text: bytes) -> int:
    """Look at a log; one in twenty is fitted too, which takes longer than all the rest."""
    code = asked(("log", _written("log.csv", text), "--json"))[0]
    return code if zlib.crc32(text) % 20 else asked(("fit", "log.csv", "--mass", "90", "--json"))[0]


def _coast(text: bytes) -> int:
    return asked(("coastdown", _written("run.csv", text), "--mass", "90", "--json"))[0]


def _cells(drawn: tuple[bytes, int, int]) -> int:
    text, series, parallel = drawn
    return asked(("group", _written("cells.csv", text), "--series", series, "--parallel", parallel, "--json"))[0]


def _cycle(text: bytes) -> int:
    _written("cycle.csv", text)
    _written("cycle.toml", b'[road]\nkind = "cycle"\nfile = "cycle.csv"\n')
    return asked(("road", "cycle.toml", "--json"))[0]


def _log_text(seconds: int = 1800, every: int = 10) -> str:
    time = np.arange(0.0, float(seconds), float(every))
    speed = 7.0 + 2.0 * np.sin(time / 20.0)
    columns = (time, speed, 100 + 5 * np.sin(time / 50), 180 + 90 * np.sin(time / 30), 46 + time / 1e5, 14 + time / 1e5)
    rows = zip(*columns, strict=True)
    return "time_s,speed_m_per_s,altitude_m,power_w,lat,lon\n" + "\n".join(
        ",".join(f"{x:.6g}" for x in row) for row in rows
    )


def _coast_text() -> str:
    return "time_s,speed_km_h\n" + "\n".join(f"{t},{40 * np.exp(-t / 40):.3f}" for t in range(60))


CELLS = "cell,capacity\n" + "\n".join(f"{n},{2.9 + 0.01 * (n % 7)}" for n in range(24))
CYCLE = "time_s,speed_km_h\n" + "\n".join(f"{10 * n},{20 + n % 3}" for n in range(12)) + "\n130,0"
NUMBERS_OF_BELT = {
    ".".join(path): value for path, value in leaves(tomllib.loads(BELT)) if isinstance(value, int | float)
}
DOTTED = (*NUMBERS_OF_BELT, "pack.cell", "motor", "name", "weather", "drive.stage", "kv_rpm_per_v", "mass_kg")

test_builds, test_builds_long = kind(st.sampled_from(BASES).flatmap(mutated_toml), 0.05)(_build)
test_parts, test_parts_long = kind(
    st.sampled_from(sorted(PARTS)).flatmap(lambda name: st.tuples(st.just(name), mutated_toml(PARTS[name]))), 0.1
)(_part)
test_logs, test_logs_long = kind(mutated_table(_log_text()), 0.1)(_log)
test_coast_runs, test_coast_runs_long = kind(mutated_table(_coast_text()), 0.05)(_coast)
test_cells, test_cells_long = kind(st.tuples(mutated_table(CELLS), st.integers(-1, 9), st.integers(-1, 4)), 0.1)(_cells)
test_cycles, test_cycles_long = kind(mutated_table(CYCLE, most=2), 0.1)(_cycle)


def _set(pairs: list[tuple[str, str]]) -> int:
    words = [word for key, value in pairs for word in ("--set", f"{key}={value}")]
    return _ride(pairs, "belt.toml", "road.toml", *words)


TOLD = st.sampled_from(sorted(NUMBERS_OF_BELT)).flatmap(
    lambda key: st.tuples(st.just(key), st.builds(scaled, st.just(str(NUMBERS_OF_BELT[key])), FACTORS))
)
ANY = st.tuples(st.one_of(st.sampled_from(DOTTED), st.text(max_size=9)), VALUES)
test_set, test_set_long = kind(st.lists(st.one_of(TOLD, TOLD, ANY), min_size=1, max_size=3), 0.1)(_set)
