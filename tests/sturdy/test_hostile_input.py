"""What is no file, no text, or too much is refused in one line before it is read; streams that fail are no fault."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from .mutation import asked

ROOT = Path(__file__).parents[2]
BELT, CLIMB = str(ROOT / "configs/longtail-belt.toml"), str(ROOT / "routes/ridge-climb.gpx")

READERS = {
    "build": lambda path: ("ride", path, CLIMB),
    "road": lambda path: ("ride", BELT, path),
    "log": lambda path: ("fit", path),
    "coasting": lambda path: ("coastdown", path),
    "cells": lambda path: ("group", path, "--series", "2", "--parallel", "1"),
}


def _fifo(place: Path) -> Path:
    os.mkfifo(place / "pipe")
    return place / "pipe"


def _socket(place: Path) -> Path:
    before = Path.cwd()
    os.chdir(place)  # a socket's name has room for 108 characters only
    socket.socket(socket.AF_UNIX).bind("s")
    os.chdir(before)
    return place / "s"


def _loop(place: Path) -> Path:
    (place / "a").symlink_to(place / "b")
    (place / "b").symlink_to(place / "a")
    return place / "a"


NO_FILES = {
    "pipe": _fifo,
    "socket": _socket,
    "device": lambda _: Path("/dev/zero"),
    "folder": lambda place: place,
    "loop of links": _loop,
    "missing": lambda place: place / "none",
    "endless name": lambda place: place / ("long" * 200),
    "zero byte": lambda place: f"{place}/a\0b",
    "unreadable text": lambda place: _with(place, b"\xff\xfe\xfa\x00" * 50),
    "empty": lambda place: _with(place, b""),
    "deep brackets": lambda place: _with(place, b"[a]\nx = " + b"[" * 50_000),
    "endless integer": lambda place: _with(place, b"[rider]\nmass_kg = " + b"9" * 90_000),
    "one endless line": lambda place: _with(place, b"time_s," * 300_000),
    "one endless word": lambda place: _with(place, b"x" * 900_000),
    "too many lines": lambda place: _with(place, b"1\n" * 1_100_000),
}


def _with(place: Path, text: bytes) -> Path:
    (place / "input").write_bytes(text)
    return place / "input"


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("kind", NO_FILES)
def test_what_is_no_input_is_refused_in_one_line(tmp_path: Path, kind: str, reader: str):
    code, _, told = asked(READERS[reader](NO_FILES[kind](tmp_path)))
    assert code == 2
    lines = told.strip().splitlines()
    assert len(lines) == 1 or (kind, reader) == ("empty", "build"), told


def test_a_file_of_many_gigabytes_is_refused_unread(tmp_path: Path):
    for reader, words in READERS.items():
        huge = tmp_path / ("huge.gpx" if reader == "road" else "huge.toml")
        with huge.open("wb") as sparse:
            sparse.truncate(50 * 2**30)
        code, _, told = asked(words(huge))
        assert code == 2 and "large" in told


COAST = {
    "a last time of 1e9 s": "time_s,speed_km_h\n" + "\n".join(f"{t},{40 - t}" for t in range(30)) + "\n1e9,9\n",
    "a speed of 1e9": "time_s,speed_km_h\n" + "\n".join(f"{t},{(40 - t) * 1e8}" for t in range(30)),
    "times that are not finite": "time_s,speed_km_h\n" + "\n".join(f"inf,{40 - t}" for t in range(30)),
}


@pytest.mark.parametrize("kind", COAST)
def test_times_and_speeds_of_no_coasting_are_refused(tmp_path: Path, kind: str):
    code, _, _ = asked(("coastdown", _with(tmp_path, COAST[kind].encode())))
    assert code == 2


def test_a_log_over_years_is_refused(tmp_path: Path):
    rows = "".join(f"{t * 1e7},7,100,180\n" for t in range(400))
    code, _, told = asked(("fit", _with(tmp_path, ("time_s,speed_m_per_s,altitude_m,power_w\n" + rows).encode())))
    assert code == 2 and "time_s spans" in told


def test_a_chain_of_files_has_an_end(tmp_path: Path):
    for number in range(60):
        (tmp_path / f"{number}.toml").write_text(f'extends = "{number + 1}.toml"\n')
    (tmp_path / "60.toml").write_text("")
    code, _, told = asked(("ride", tmp_path / "0.toml", CLIMB))
    assert code == 2 and "extend one another" in told


def test_a_nested_override_is_refused():
    code, _, told = asked(("ride", BELT, CLIMB, "--set", "rider.mass_kg=" + "[" * 20_000))
    assert code == 2 and "nested too deep" in told


def _process(*words: object, **how) -> subprocess.CompletedProcess[bytes]:
    environment = {**os.environ, **how.pop("env", {})}
    streams = {"capture_output": True} if "stdout" not in how else {"stderr": subprocess.PIPE}
    return subprocess.run(
        [sys.executable, "-m", "ridesim", *words], cwd=ROOT, timeout=120, env=environment, **streams, **how
    )


ROAD = ("road", "routes/valley-commute.toml")


def test_memory_of_what_is_refused_stays_under_a_gibibyte(tmp_path: Path):
    wide = _with(tmp_path, b"time_s,speed_m_per_s,altitude_m,power_w\n" + b",".join([b"1"] * 9000) * 3300)
    refused = [("fit", wide), ("ride", BELT, wide), ("ride", wide, CLIMB), ("fit", "/dev/zero")]
    codes, kilobytes = _memory_of(refused)
    assert codes == [2] * len(refused)
    assert kilobytes < 2**20


def _memory_of(asked: list[tuple[object, ...]]) -> tuple[list[int], int]:
    """Exit codes and highest memory [kB] of one process that runs these commands, one after another."""
    words = [[str(word) for word in each] for each in asked]
    # Its own status tells the memory: what the system counts for a process begins with that of the one that started it.
    most = "next(line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM'))"
    code = f"from ridesim.cli.door import run; print(*[run(words) for words in {words!r}], {most})"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, text=True, capture_output=True, check=True)
    *codes, kilobytes = (int(word) for word in done.stdout.split())
    return codes, kilobytes


def test_a_terminal_that_knows_ascii_only():
    done = _process("ride", BELT, CLIMB, "--quick", env={"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "LC_ALL": "C"})
    assert done.returncode == 0, done.stderr
    assert b"deg C" in done.stdout and b"\\x" not in done.stdout
    done = _process(*ROAD, "--json", env={"PYTHONIOENCODING": "latin-1"})
    assert json.loads(done.stdout.decode("latin-1"))["schema"].startswith("ridesim.road")


def test_a_full_device_is_told():
    for words in (ROAD, (*ROAD, "--json"), ("--help",), ("new", "--schema")):
        with Path("/dev/full").open("wb") as full:
            done = _process(*words, stdout=full)
        assert done.returncode == 2, words
        assert b"No space left" in done.stderr and b"Traceback" not in done.stderr
        assert len(done.stderr.strip().splitlines()) == 1


def test_closed_streams():
    shell = f"{sys.executable} -m ridesim"
    for line, code in (
        (f"{shell} group - --series 1 --parallel 1 <&-", 2),
        (f"{shell} ride - {CLIMB} <&-", 2),
        (f"{shell} {' '.join(ROAD)} >&-", 0),
        (f"{shell} ride nothing.toml {CLIMB} 2>&-", 2),
        (f"{shell} {' '.join(ROAD)} --json | head -n 1", 0),
    ):
        done = subprocess.run(["bash", "-c", f"set -o pipefail; {line}"], cwd=ROOT, capture_output=True, timeout=120)
        assert done.returncode == code, (line, done.stderr)
        assert b"Traceback" not in done.stderr and b"Exception" not in done.stderr, done.stderr


def test_a_name_that_is_not_utf_8(tmp_path: Path):
    strange = os.fsencode(tmp_path) + b"/bike-\xff\xfe.toml"
    Path(os.fsdecode(strange)).write_bytes(Path(BELT).read_bytes())
    (tmp_path / "parts").symlink_to(ROOT / "configs" / "parts")
    more = ("--json", "--quick", "--out", tmp_path / "out", "--no-plots", "--report", tmp_path / "page.html")
    done = _process("ride", strange, CLIMB, *more)
    assert done.returncode == 0, done.stderr
    assert "\\udcff" in json.dumps(json.loads(done.stdout)["inputs"]["build"]["path"])
    assert "bike-" in (tmp_path / "page.html").read_text(encoding="utf-8")
    assert asked(("ride", os.fsdecode(strange + b"x"), CLIMB))[0] == 2


@pytest.mark.parametrize("name", ["n" * 300 + ".html", "folder/" + "n" * 300 + ".html", "a\0b.html", "", "."])
def test_a_report_that_cannot_be_named_so(tmp_path: Path, name: str):
    code, _, told = asked(("road", ROOT / ROAD[1], "--report", f"{tmp_path}/{name}"))
    assert code == 2 and len(told.strip().splitlines()) == 1
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def test_control_characters_and_turned_text_reach_nothing(tmp_path: Path):
    name = "x\\u001b[2J\\u202etxt\\u0007\\u200b\\nFINE"
    build = Path(BELT).read_text(encoding="utf-8").replace("longtail, single-stage belt", name)
    (tmp_path / "b.toml").write_text(build)
    (tmp_path / "parts").symlink_to(ROOT / "configs" / "parts")
    out = tmp_path / "out"
    words = ("ride", tmp_path / "b.toml", CLIMB, "--quick")
    _, text, told = asked((*words, "--out", out, "--no-plots", "--report", out / "page.html"), hang_s=100.0)
    _, data, _ = asked((*words, "--json"), hang_s=100.0)
    pages = [path.read_text(encoding="utf-8") for path in out.iterdir() if path.suffix in (".html", ".json", ".csv")]
    for shown in (text, told, data, *pages):
        assert not {"\x1b", "\u202e", "\x07", "\u200b"} & set(shown)
    assert text.splitlines()[0].startswith("x") and "FINE on" in text.splitlines()[0], "a name stays in its line"
