"""Files come whole or not at all: killed writers, two writers, full and read-only disks, and files of somebody else."""

from __future__ import annotations

import multiprocessing
import os
import random
import resource
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from ridesim.cli import writing
from ridesim.cli.door import run
from ridesim.cli.written import RECORD, hashes_of, record_text
from ridesim.errors import RideError

from ..tries import KILLS
from .mutation import asked

ROOT = str(Path(__file__).parents[2])
ROAD = Path(ROOT) / "routes" / "valley-commute.toml"
KINDS = ("metric", "imperial")


def _words(place: Path, kind: str) -> list[str]:
    return ["road", str(ROAD), "--units", kind, "--out", str(place), "--report", str(place / "page.html")]


def _words_here(kind: str) -> list[str]:
    """The same in the place itself: an answer holds its command, which is then the same in every place."""
    return ["road", str(ROAD), "--units", kind, "--out", ".", "--report", "page.html"]


def _started(place: Path, kind: str, **how) -> subprocess.Popen[str]:
    command, environment = [sys.executable, "-m", "ridesim", *_words_here(kind)], {**os.environ, "PYTHONPATH": ROOT}
    return subprocess.Popen(
        command, cwd=place, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **how
    )


def _files(place: Path) -> dict[str, bytes]:
    """The files in a place without the record of what was written, whose truth is looked at."""
    found = {path.name: path.read_bytes() for path in place.iterdir() if path.is_file()}
    found.pop(RECORD, None)
    return found


def _names(place: Path) -> set[str]:
    return {path.name for path in place.iterdir()} - {RECORD}


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A folder of each kind of answer, written once by a process of its own."""
    places = {kind: tmp_path_factory.mktemp(kind) for kind in KINDS}
    assert [_started(place, kind).wait(120) for kind, place in places.items()] == [0, 0]
    return places


def _whole(place: Path, written: dict[str, Path]) -> dict[str, dict[str, bytes]]:
    """What each kind of answer writes, in the order of KINDS; the second is put in place."""
    found = {kind: _files(folder) for kind, folder in written.items()}
    shutil.copytree(written["imperial"], place, dirs_exist_ok=True)
    assert set(found["metric"]) == {"road.json", "road.png", "page.html"}
    assert all(found["metric"][name] != found["imperial"][name] for name in found["metric"])
    return found


Kill = Callable[[Path, str, float], None]


def _killed(place: Path, kind: str, after_s: float) -> None:
    """Start the real executable and kill it after so long."""
    work = _started(place, kind)
    try:
        work.communicate(timeout=after_s)
    except subprocess.TimeoutExpired:
        work.kill()
        work.communicate()


def _killed_at_random(
    place: Path, written: dict[str, Path], times: int, seed: int, kill: Kill, longest_s: float
) -> None:
    chance, whole = random.Random(seed), _whole(place, written)
    for turn in range(times):
        kill(place, KINDS[turn % 2], chance.uniform(0.08 * longest_s, longest_s))
        for name, text in _files(place).items():
            assert any(text == whole[kind][name] for kind in KINDS), (turn, name)
    for room in place.glob(
        f"{writing.ROOM}*"
    ):  # an empty one may be a writer's that has just begun: a minute is waited
        long_ago = room.stat().st_mtime - 120.0
        os.utime(room, (long_ago, long_ago))
    assert _started(place, "metric").wait(120) == 0
    assert _files(place) == whole["metric"]
    assert _names(place) == set(whole["metric"]), "leftovers are gone"


def test_some_kills_leave_old_or_new(tmp_path: Path, written: dict[str, Path], monkeypatch: pytest.MonkeyPatch):
    """Kills of processes that have read all their code already, so that they fall on the work."""
    apart = multiprocessing.get_context("forkserver")
    apart.set_forkserver_preload(["ridesim.cli.road", "ridesim.report.road", "matplotlib.figure", "jinja2"])

    monkeypatch.chdir(tmp_path)

    def killed(_: Path, kind: str, after_s: float) -> None:
        work = apart.Process(target=run, args=(_words_here(kind),))
        work.start()
        work.join(after_s)
        work.kill()
        work.join()

    _killed_at_random(tmp_path, written, KILLS, 5, killed, 1.0)


@pytest.mark.slow
def test_two_hundred_kills_leave_old_or_new(tmp_path: Path, written: dict[str, Path]):
    _killed_at_random(tmp_path, written, 200, 6, _killed, 2.5)


def test_a_set_that_was_being_moved_is_moved_on_by_the_next_writer(tmp_path: Path):
    room = tmp_path / f"{writing.ROOM}abc"
    room.mkdir()
    (room / "b.txt").write_text("new")
    (room / writing.READY).touch()
    (tmp_path / "a.txt").write_text("new, moved before the kill")
    half = tmp_path / f"{writing.ROOM}def"
    half.mkdir()
    (half / "c.txt").write_text("half")
    writing.write_all(tmp_path, {"d.txt": lambda path: path.write_text("d")})
    assert _files(tmp_path) == {"a.txt": b"new, moved before the kill", "b.txt": b"new", "d.txt": b"d"}


def test_a_living_writer_keeps_its_room(tmp_path: Path):
    def second(path: Path) -> None:
        writing.write_all(tmp_path, {"b.txt": lambda inner: inner.write_text("b")})
        path.write_text("a")

    writing.write_all(tmp_path, {"a.txt": second})
    assert _names(tmp_path) == {"a.txt", "b.txt"}


def test_what_another_writer_is_moving_in_is_not_taken_for_a_strangers(tmp_path: Path):
    writing.write_all(tmp_path, {"a.txt": _text("old")})
    told: list[BaseException] = []

    def second() -> None:
        try:
            writing.write_all(tmp_path, {"a.txt": _text("second")})
        except RideError as error:
            told.append(error)

    with writing._locked(tmp_path):  # another one's record has come, its file not yet
        (tmp_path / "new").write_text("first")
        (tmp_path / RECORD).write_text(record_text({"a.txt": hashes_of(tmp_path, ["new"])["new"]}))
        work = threading.Thread(target=second)
        work.start()
        work.join(0.3)
        (tmp_path / "new").replace(tmp_path / "a.txt")
    work.join(10.0)
    assert not told and (tmp_path / "a.txt").read_text() == "second"


def test_two_writers_at_once_leave_one_whole_set(tmp_path: Path, written: dict[str, Path]):
    whole = _whole(tmp_path, written)
    works = [_started(tmp_path, kind) for kind in KINDS * 2]
    assert [work.wait(240) for work in works] == [0] * 4
    left = _files(tmp_path)
    assert {left["road.json"], left["page.html"]} <= {text for kind in KINDS for text in whole[kind].values()}
    assert any(all(left[name] == whole[kind][name] for name in ("road.json", "road.png")) for kind in KINDS)
    assert set(left) == _names(tmp_path)


def test_a_full_disk_is_told_and_leaves_the_old_files(tmp_path: Path, written: dict[str, Path]):
    whole = _whole(tmp_path, written)
    limit = lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (3000, 3000))  # noqa: E731
    work = _started(tmp_path, "metric", preexec_fn=limit)
    _, told = work.communicate(timeout=120)
    assert work.returncode == 2 and "cannot be written" in told and "Traceback" not in told, told
    assert _files(tmp_path) == whole["imperial"]
    assert set(whole["imperial"]) == _names(tmp_path)


@pytest.mark.parametrize("place", ["/proc/nowhere", "/dev/null/x", "/sys/x"])
def test_a_place_where_nothing_can_be_written_is_told(place: str):
    for option in ("--out", "--report"):
        code, _, told = asked(("road", ROAD, option, place))
        assert code == 2 and place.split("/")[1] in told, told


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is read-only for root")
def test_a_read_only_folder_is_told(tmp_path: Path):
    tmp_path.chmod(0o500)
    code, _, told = asked(("road", ROAD, "--out", tmp_path / "x"))
    assert code == 2 and "cannot be written" in told


@pytest.mark.parametrize("name", ["road.json", "road.png", "page.html"])
def test_files_of_others_stay_without_force(tmp_path: Path, name: str):
    (tmp_path / name).write_text("mine, and not yours")
    code, _, told = asked(_words(tmp_path, "metric"), hang_s=60.0)
    assert code == 2 and "--force" in told and name in told
    assert (tmp_path / name).read_text() == "mine, and not yours"
    code, _, _ = asked([*_words(tmp_path, "metric"), "--force"], hang_s=60.0)
    assert code == 0 and (tmp_path / name).read_bytes() != b"mine, and not yours"
    code, _, _ = asked(_words(tmp_path, "metric"), hang_s=60.0)
    assert code == 0, "its own files it writes again"


@pytest.mark.parametrize("name", ["road.json", "road.png", "page.html"])
def test_a_file_that_a_person_worked_on_since_stays(tmp_path: Path, name: str, written: dict[str, Path]):
    shutil.copytree(written["metric"], tmp_path, dirs_exist_ok=True)
    mine = (tmp_path / name).read_bytes() + b" \n"
    (tmp_path / name).write_bytes(mine)
    before = _files(tmp_path)
    code, _, told = asked(_words(tmp_path, "imperial"), hang_s=60.0)
    assert code == 2 and name in told and "changed since" in told and "--force" in told
    assert _files(tmp_path) == before
    assert asked([*_words(tmp_path, "imperial"), "--force"], hang_s=60.0)[0] == 0
    assert _files(tmp_path)[name] != mine
    assert asked(_words(tmp_path, "metric"), hang_s=60.0)[0] == 0, "what it wrote itself it writes again"


def _text(words: str):
    return lambda path: path.write_text(words)


@pytest.mark.parametrize("name", ["rows.csv", "answer.txt", "trace.parquet", "answer.json"])
def test_a_file_of_any_kind_is_known_by_what_was_written(tmp_path: Path, name: str):
    (tmp_path / name).write_text("time_s,x\n1,2\n")
    with pytest.raises(RideError, match="did not write it"):
        writing.write_all(tmp_path, {name: _text("time_s,x\n3,4\n")})
    (tmp_path / name).unlink()
    for words in ("time_s,x\n3,4\n", "time_s,x\n5,6\n"):
        writing.write_all(tmp_path, {name: _text(words)})
        assert (tmp_path / name).read_text() == words
    writing.write_all(tmp_path, {"another.csv": _text("y\n")})
    (tmp_path / name).write_text("time_s,x\n5,7\n")
    with pytest.raises(RideError, match="changed since"):
        writing.write_all(tmp_path, {name: _text("x"), "third.csv": _text("z\n")})
    assert _names(tmp_path) == {name, "another.csv"} and (tmp_path / name).read_text() == "time_s,x\n5,7\n"
    lines = (tmp_path / RECORD).read_text().splitlines()
    assert [line.split("  ")[1] for line in lines] == sorted([name, "another.csv"])


@pytest.mark.parametrize("text", [b"", b"\xff\xfe", b"0" * 64 + b"  ../x\n", b"a" * 3_000_000, b"{}\n"])
def test_a_record_that_says_nothing_keeps_files_from_being_written_over(tmp_path: Path, text: bytes):
    writing.write_all(tmp_path, {"rows.csv": _text("x\n")})
    (tmp_path / RECORD).write_bytes(text)
    with pytest.raises(RideError, match="did not write it"):
        writing.write_all(tmp_path, {"rows.csv": _text("y\n")})
    writing.write_all(tmp_path, {"rows.csv": _text("y\n")}, force=True)
    writing.write_all(tmp_path, {"rows.csv": _text("z\n")})
    assert (tmp_path / "rows.csv").read_text() == "z\n"


def test_a_set_moved_on_by_the_next_writer_is_known_as_ours(tmp_path: Path):
    room = tmp_path / f"{writing.ROOM}abc"
    room.mkdir()
    (room / "b.txt").write_text("new")
    (room / RECORD).write_text(record_text(hashes_of(room, ["b.txt"])))
    (room / writing.READY).touch()
    writing.write_all(tmp_path, {"b.txt": _text("newer")})
    assert (tmp_path / "b.txt").read_text() == "newer"


def test_out_through_a_link_and_over_a_link(tmp_path: Path):
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    writing.write_all(tmp_path / "link", {"a.csv": lambda path: path.write_text("x\n")})
    assert (tmp_path / "real" / "a.csv").exists()
    (tmp_path / "real" / "b.csv").symlink_to(tmp_path / "elsewhere.csv")
    with pytest.raises(RideError):
        writing.write_all(tmp_path / "real", {"b.csv": lambda path: path.write_text("x\n")})
