"""The compile cache may be cut short, emptied, full, missing or shared: the answer is the same, and it is said once."""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
RIDE = ("-m", "ridesim", "ride", "configs/longtail-belt.toml", "routes/ridge-climb.gpx", "--json")
SMALL = """
import sys
from ridesim import jit
jit.teller[:] = [lambda words: print(words, file=sys.stderr)]

@jit.kernel
def halved(x: float) -> float:
    return 0.5 * x

@jit.kernel
def quartered(x: float) -> float:
    return 0.5 * halved(x)

print(quartered(5.0), sum(quartered.stats.cache_hits.values()))
"""


@pytest.fixture(scope="module")
def script(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("script") / "small.py"
    place.write_text(SMALL)
    return place


@pytest.fixture(scope="module")
def warm(tmp_path_factory: pytest.TempPathFactory, script: Path) -> Path:
    """A cache that holds the script's kernels; what has read it once reads it again."""
    cache = tmp_path_factory.mktemp("warm") / "cache"
    assert answered(cache, script) == ("1.25 0", "")
    assert answered(cache, script) == ("1.25 1", "")
    return cache


def started(cache: Path, *words: object, **how) -> subprocess.Popen[str]:
    environment = {**os.environ, "XDG_CACHE_HOME": str(cache), "PYTHONPATH": str(ROOT)}
    return subprocess.Popen(
        [sys.executable, *map(str, words)], cwd=ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        env=environment, **how,
    )  # fmt: skip


def answered(cache: Path, *words: object, **how) -> tuple[str, str]:
    work = started(cache, *words, **how)
    text, told = work.communicate(timeout=600)
    assert work.returncode == 0, told
    assert "Traceback" not in told
    return text.strip(), told


def _cut(cache: Path, name: str, left: float) -> None:
    files = list(cache.rglob(name))
    assert files
    for path in files:
        text = path.read_bytes()
        path.write_bytes(text[: int(left * len(text))])


@pytest.mark.parametrize("ending", ["nbi", "nbc"])
@pytest.mark.parametrize("left", [0, 0.5])
def test_a_damaged_cache_is_rebuilt_and_told_once(tmp_path: Path, script: Path, warm: Path, ending: str, left: float):
    cache = Path(shutil.copytree(warm, tmp_path / "cache"))
    _cut(cache, f"*.{ending}", left)
    answer, told = answered(cache, script)
    assert answer == "1.25 0"
    assert told.count("rebuilt") == 1 and len(told.splitlines()) == 1, told
    assert answered(cache, script) == ("1.25 1", "")


def test_a_full_disk_costs_the_cache_only(tmp_path: Path, script: Path):
    limit = lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (500, 500))  # noqa: E731
    answer, told = answered(tmp_path / "full", script, preexec_fn=limit)
    assert answer == "1.25 0"
    assert told.count("cannot be written") == 1 and len(told.splitlines()) == 1, told


def test_a_place_that_is_no_folder(tmp_path: Path, script: Path):
    (tmp_path / "file").write_text("x")
    assert answered(tmp_path / "file", script) == ("1.25 0", "")


def test_many_processes_at_once(tmp_path: Path, script: Path):
    works = [started(tmp_path / "cache", script) for _ in range(3)]
    assert {work.communicate(timeout=600)[0].split()[0] for work in works} == {"1.25"}
    assert [work.returncode for work in works] == [0] * 3
    assert answered(tmp_path / "cache", script) == ("1.25 1", "")


@pytest.mark.slow
def test_cold_warm_damaged_and_shared_caches_give_the_ride_the_same_bytes(tmp_path: Path):
    cache = tmp_path / "cache"
    works = [started(cache, *RIDE) for _ in range(2)]
    texts = {work.communicate(timeout=600)[0].strip() for work in works}
    assert len(texts) == 1
    assert answered(cache, *RIDE)[0] in texts
    _cut(cache, "loop.ride-*.nbc", 0.5)
    text, told = answered(cache, *RIDE)
    assert text in texts and told.count("rebuilt") == 1
    assert answered(cache, *RIDE) == (text, "")
