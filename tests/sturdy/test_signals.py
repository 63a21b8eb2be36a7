"""Ctrl-C and a polite kill are answered at once, with what is done told, in real processes at random moments."""

from __future__ import annotations

import csv
import itertools
import json
import os
import random
import re
import signal
import subprocess
import sys
import threading
import time
import types
from pathlib import Path

import pytest

from ridesim.cli.door import run
from ridesim.engine.halting import HALT, halted, off_the_main_thread, on_all_cores
from ridesim.errors import Interrupted
from ridesim.ride.simulate import simulate
from ridesim.search.starter import STARTER
from ridesim.studies import many
from ridesim.studies.so_far import SoFar, rides_so_far

from .test_fuzz_options import _motor_log

BELT, CLIMB, ROUND = "configs/longtail-belt.toml", "routes/ridge-climb.gpx", "routes/terrace-round.gpx"
COMMANDS = (
    ("ride", BELT, CLIMB, "--step", "0.0005"),
    ("range", BELT, ROUND),
    ("compare", BELT, "configs/longtail-hub.toml", "--road", CLIMB),
    ("ratios", BELT, ROUND),
    ("check", BELT, CLIMB),
)
LONG = ("ride", BELT, CLIMB, "--step", "0.0001", "--laps", "50")
ANSWER_WITHIN_S = 0.5
BUSY = 3.0
"""Other work on the machine may make an answer so many times later; the wanted time is held for the median."""


def started(root: Path, *words: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "ridesim", *map(str, words)],
        cwd=root, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip


def interrupted(work: subprocess.Popen[str], after_s: float, number: int) -> tuple[int, float, str]:
    """Return exit code, seconds until it came, and stderr of a process that gets a signal at that moment."""
    try:
        work.wait(after_s)
    except subprocess.TimeoutExpired:
        work.send_signal(number)
    sent = time.monotonic()
    _, told = work.communicate(timeout=60)
    return work.returncode, time.monotonic() - sent, told


def _at_random_moments(root: Path, times: int, seed: int) -> None:
    chance = random.Random(seed)
    took = []
    for turn in range(times):
        words = COMMANDS[turn % len(COMMANDS)]
        moment, number = chance.uniform(0.1, 2.0), chance.choice((signal.SIGINT, signal.SIGTERM))
        code, seconds, told = interrupted(started(root, *words), moment, number)
        assert code in (0, 130), (words, moment, code, told)
        assert "Traceback" not in told and "Fatal" not in told, (words, moment, told)
        assert code == 0 or "interrupted" in told
        took.append(seconds)
    others = os.getloadavg()[0] / (os.cpu_count() or 1)
    assert sorted(took)[len(took) // 2] < ANSWER_WITHIN_S * min(max(1.0, others), BUSY)
    assert max(took) < BUSY * ANSWER_WITHIN_S


def test_signals_at_five_random_moments(root: Path):
    _at_random_moments(root, 5, 3)


CELL = tuple(f"tests/data/cell/{name}.csv" for name in ("open-circuit", "discharge-1c", "discharge-2c"))
EVERYWHERE = (
    ("season", BELT, CLIMB, "--out", "{out}"),
    ("search", "{out}.goals.toml", "--out", "{out}"),
    ("live", BELT, CLIMB, "--no-browser"),
    ("fit", BELT, "{out}.log.csv", "--out", "{out}"),
    ("replay", BELT, "{out}.log.csv", "--out", "{out}"),
    ("cell", CELL[0], "--run", CELL[1], "--run", CELL[2], "--out", "{out}"),
    ("mount", BELT, CLIMB, "--report", "{out}/page.html"),
    ("descend", BELT, CLIMB, "--out", "{out}"),
    ("dossier", BELT, CLIMB, "--report", "{out}.html"),
    ("spread", BELT, CLIMB, "--report", "{out}/page.html"),
)
"""Commands that ride, fit, serve or write; `{out}` is a place of each try's own."""


def _tried_everywhere(root: Path, place: Path, turns: range, seed: int, latest_s: float = 6.0) -> list[int]:
    """Interrupt each command once a turn; nothing half-written, one line, exit 130. Return the exit codes."""
    chance, codes = random.Random(seed), list[int]()
    for turn in turns:
        words = EVERYWHERE[turn % len(EVERYWHERE)]
        out = place / f"try{turn}"
        (place / f"{out.name}.goals.toml").write_text(STARTER.format(build=root / BELT, road=root / CLIMB))
        (place / f"{out.name}.log.csv").write_text(_motor_log())
        asked = [word.format(out=out) for word in words]
        moment, number = chance.uniform(0.1, latest_s), chance.choice((signal.SIGINT, signal.SIGTERM))
        code, seconds, told = interrupted(started(root, *asked), moment, number)
        codes.append(code)
        assert code in (0, 130), (asked, moment, code, told)
        assert "Traceback" not in told and "Fatal" not in told, (asked, moment, told)
        assert code == 0 or sum("interrupted" in line for line in told.splitlines()) == 1, (asked, moment, told)
        assert seconds < 10.0 * ANSWER_WITHIN_S, (asked, moment, seconds)
        assert not [path for path in place.rglob("*") if path.name.startswith(".ridesim-")], asked
        for page in place.rglob("*.html"):
            assert "</html>" in page.read_text(encoding="utf-8")[-200:], asked
        for answer in (*place.rglob("*.json"),):
            json.loads(answer.read_text(encoding="utf-8"))
    return codes


def test_a_signal_in_any_kind_of_command(root: Path, tmp_path: Path):
    assert 130 in _tried_everywhere(root, tmp_path, range(2, 6), 5, latest_s=0.6)


@pytest.mark.slow
def test_a_hundred_signals_in_commands_of_every_kind(root: Path, tmp_path: Path):
    codes = _tried_everywhere(root, tmp_path, range(100), 9)
    assert codes.count(130) > 50, codes


def test_a_signal_before_any_ride_is_answered_without_a_wait(root: Path):
    """While a command still reads and imports, nothing can be told of any ride, and nothing is waited for."""
    took = []
    for moment in (0.1, 0.2, 0.3):
        code, seconds, told = interrupted(started(root, "ride", BELT, CLIMB), moment, signal.SIGINT)
        assert code == 130 and "interrupted; nothing was left half-written" in told
        took.append(seconds)
    others = os.getloadavg()[0] / (os.cpu_count() or 1)
    assert min(took) < 0.2 * min(max(1.0, others), BUSY), took


@pytest.mark.slow
def test_signals_at_two_hundred_random_moments(root: Path):
    _at_random_moments(root, 200, 7)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_long_ride_tells_how_far_it_came_and_keeps_its_trace(root: Path, tmp_path: Path, number: int):
    simulate(root / BELT, root / CLIMB)  # compiled by now
    told = ""
    for moment in (1.0, 2.5, 6.0, 15.0, 30.0):  # a busy machine may still be reading files
        code, _, told = interrupted(started(root, *LONG, "--out", tmp_path / "kept"), moment, number)
        assert code == 130
        if "ridden" in told and "after 0.00 km" not in told:
            break
    assert " km were ridden, kept in" in told or "while its range was ridden, kept in" in told, told
    assert "trace-so-far.csv" in told, told
    rows = (tmp_path / "kept" / "trace-so-far.csv").read_text().splitlines()
    assert rows[0].startswith("time_s,distance_km") and len(rows) > 2
    assert not list((tmp_path / "kept").glob(".ridesim-*"))


def _ring_after(seconds: float) -> threading.Timer:
    ring = threading.Timer(seconds, os.kill, (os.getpid(), signal.SIGINT))
    ring.start()
    return ring


def test_a_program_that_calls_simulate_can_be_interrupted_and_go_on(root: Path):
    before = simulate(root / BELT, root / CLIMB, trace=False)
    _ring_after(0.5)
    start = time.monotonic()
    with pytest.raises(Interrupted, match="km were ridden") as caught:
        simulate(root / BELT, root / CLIMB, step_s=0.0001, laps=1000)
    assert time.monotonic() - start < 0.5 + BUSY * ANSWER_WITHIN_S
    so_far = caught.value.left
    assert so_far.raw.trace.shape[0] > 1 and not so_far.finished  # type: ignore[union-attr]
    assert HALT[0] == 0
    assert simulate(root / BELT, root / CLIMB, trace=False).raw.totals.tobytes() == before.raw.totals.tobytes()


def test_a_batch_under_way_is_ended_by_a_signal():
    begun: list[int] = []

    def work(item: int) -> int:
        begun.append(item)
        while HALT[0] == 0:
            time.sleep(0.005)
        return item

    _ring_after(0.3)
    with pytest.raises(KeyboardInterrupt):
        on_all_cores(work, range(100), 2, None)
    assert len(begun) <= 4, "what had not begun is left undone"
    assert HALT[0] == 0


def test_off_the_main_thread_hands_over_answers_and_errors():
    where = off_the_main_thread(lambda _: threading.current_thread(), 0, lambda _: RuntimeError())
    assert where is not threading.main_thread()
    with pytest.raises(ZeroDivisionError):
        off_the_main_thread(lambda item: 1 // item, 0, lambda _: RuntimeError())


def test_a_halted_ride_is_never_an_answer(root: Path):
    with halted(), pytest.raises(Interrupted):
        simulate(root / BELT, root / CLIMB)


def test_a_map_that_is_cut_short_keeps_and_tells_what_is_done(root: Path, tmp_path: Path):
    for moment in (1.5, 3.0, 5.0, 8.0, 12.0, 20.0):  # a busy machine may still be reading files
        work = started(root, "climb", BELT, "--map", "150", "--out", tmp_path)
        code, _, told = interrupted(work, moment, signal.SIGINT)
        if code == 0 or "kept in" in told:
            break
    assert code == 130 and "kept in" in told, (code, told)
    rows = list(csv.DictReader((tmp_path / "rides-so-far.csv").open()))
    done, asked = (int(word) for word in re.search(r"after (\d+) of (\d+) points", told).groups())
    assert 0 < len(rows) == done < asked
    assert all(len(row) == 4 and None not in row.values() for row in rows)


BATCHES = {
    "ratios": (BELT, ROUND),
    "compare": (BELT, "configs/longtail-hub.toml", "--road", CLIMB),
    "throttle": (BELT, CLIMB),
    "range": (BELT, CLIMB),
    "regen": (BELT, CLIMB),
    "climb": (BELT, CLIMB, "--find", "speed"),
}


@pytest.mark.parametrize("as_json", [False, True])
@pytest.mark.parametrize("name", BATCHES)
def test_a_batch_that_is_cut_short_keeps_and_tells_what_is_done(
    name: str, as_json: bool, root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys
):
    whole, begun = many._ridden, itertools.count()

    def ridden(asked):
        if next(begun) >= 3:
            raise Interrupted("0 km were ridden")
        return whole(asked)

    monkeypatch.chdir(root)
    monkeypatch.setattr(many, "_ridden", ridden)
    code = run([name, *BATCHES[name], "--out", str(tmp_path), *["--json"] * as_json])
    shown, told = capsys.readouterr()
    assert code == 130
    found = re.search(r"interrupted after (\d) of \d+ rides, kept in .*rides-so-far.csv", told)
    assert found, told
    rows = list(csv.DictReader((tmp_path / "rides-so-far.csv").open()))
    assert 1 <= len(rows) == int(found[1]) <= 3  # one that was under way may be ended too
    assert all(float(row["distance_km"]) > 0.0 for row in rows)
    if as_json:
        assert [row["end"] for row in json.loads(shown)["rows"]] == [row["end"] for row in rows]
    else:
        assert "What was done by then" in shown and len(shown.splitlines()) > 1 + len(rows), shown


def test_a_batch_that_is_cut_short_before_any_ride_has_ended():
    assert rides_so_far([], 26).rows() == []


def test_rides_of_a_batch_that_was_cut_short_are_those_of_the_whole(root: Path):
    from ridesim.bike.load import load_build, replace_keys
    from ridesim.road.load import load_road
    from ridesim.studies.many import Wish, ride_many

    loaded, road = load_build(root / BELT), load_road(root / ROUND)
    wishes = [Wish(replace_keys(loaded, {"rider.mass_kg": 50.0 + 0.2 * at}), road) for at in range(300)]
    first = simulate(loaded, road)
    rung: list[int] = []

    def ring(_: int) -> None:
        rung.append(1)
        if len(rung) == 20:
            signal.raise_signal(signal.SIGINT)

    with pytest.raises(Interrupted, match=r"\d+ of 301 rides") as caught:
        ride_many(wishes, before=[first], done=ring)
    left = caught.value.left
    assert isinstance(left, SoFar) and left.asked == 301
    rows = left.rows()
    assert 20 < len(rows) < 300 and rows[0]["rider.mass_kg"] == loaded.build.rider.mass_kg
    again = simulate(replace_keys(loaded, {"rider.mass_kg": rows[1]["rider.mass_kg"]}), road).figures
    assert rows[1]["net_energy_wh"] == again.net_energy_wh


def test_a_signal_while_the_writer_is_half_imported_ends_as_any_other(monkeypatch: pytest.MonkeyPatch):
    from ridesim.cli import door

    monkeypatch.setitem(sys.modules, "ridesim.cli.writing", types.ModuleType("ridesim.cli.writing"))
    left = []
    monkeypatch.setattr(os, "_exit", left.append)
    assert not door._is_keeping()
    door._give_up()
    assert left == [130]
