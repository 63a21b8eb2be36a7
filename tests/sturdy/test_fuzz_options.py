"""Every option of every command may hold anything: an answer or one clear line, no fault, no hang, no invalid JSON."""

from __future__ import annotations

import inspect
import math
import os
import random
import shutil
from enum import Enum
from pathlib import Path
from typing import Any, get_args, get_origin

import pytest
import typer

from ridesim.cli.app import all_commands

from ..tries import OPTION_TRIES
from .mutation import NUMBERS, asked
from .test_fuzz import BELT, ROAD, _coast_text, _log_text

SEED = 20_260_207
MANY = 400
"""Tries a command; each takes a ride or more."""
PATIENCE_S = 20.0
"""CPU time of one try: many of these commands ride tens of times, and some try a thousand builds."""
HUB = (Path(__file__).parents[2] / "configs" / "longtail-hub.toml").read_text()
CELL = Path(__file__).parents[1] / "data" / "cell"
CELLS = "cell,capacity_ah\n" + "\n".join(f"{n},{2.9 + 0.01 * (n % 7)}" for n in range(24))


def _motor_log() -> str:
    """Five minutes with a motor's readings."""
    rows = [
        ",".join(f"{each:.3f}" for each in (t, 20 + 5 * wave, 46 - t / 300, 8 + 4 * wave, 14 + 6 * wave))
        for t, wave in ((t, math.sin(t / 20)) for t in range(300))
    ]
    return "time_s,speed_km_h,pack_voltage_v,pack_current_a,motor_current_a\n" + "\n".join(rows)


INPUTS = {
    "road.toml": ROAD, "belt.toml": BELT, "hub.toml": HUB, "cells.csv": CELLS, "log.csv": _log_text(),
    "motor.csv": _motor_log(),
    "run.csv": _coast_text(),
    **{f"{name}.csv": (CELL / f"{name}.csv").read_text() for name in ("open-circuit", "discharge-1c", "discharge-2c")},
}  # fmt: skip
PAIR = ("belt.toml", "road.toml")
BASES: dict[str, tuple[str, ...]] = {
    "compare": ("belt.toml", "hub.toml", "--road", "road.toml"),
    "road": ("road.toml",),
    "new": (),
    "rewind": (
        "--turns",
        "7",
        "--teeth",
        "12",
        "--connection",
        "delta",
        "--kv",
        "70",
        "--resistance-mohm",
        "60",
        "--wire-mm",
        "0.5",
        "--strands",
        "6",
        "--want-kv",
        "90",
    ),
    "pack": ("--voltage", "48", "--energy-wh", "600", "--current", "25"),
    "cell": ("open-circuit.csv", "--run", "discharge-1c.csv", "--run", "discharge-2c.csv", "--capacity", "5"),
    "group": ("cells.csv", "--series", "4", "--parallel", "3"),
    "bench": ("--no-load", "24,1.0,2370", "--no-load", "48,1.7,4750", "--drop", "0.53,20,24"),
    "size": ("--mass-kg", "130", "--top-speed-km-h", "25", "--hill", "8,1", "--range-km", "5"),
    "fit": ("log.csv", "--mass", "90"),
    "coastdown": ("run.csv", "--mass", "90"),
    "log": ("log.csv",),
    "replay": ("belt.toml", "motor.csv"),
    "evidence": (),
    "law": ("belt.toml",),
    "launch": ("belt.toml",),
    "belt": (
        "--driver-teeth",
        "18",
        "--driven-teeth",
        "72",
        "--centre-mm",
        "220",
        "--width-mm",
        "15",
        "--torque-nm",
        "5",
        "--speed-rpm",
        "900",
    ),
    "explain": ("Kv",),
    "spread": (*PAIR, "--samples", "16"),
    "ratios": (*PAIR, "--ratios", "4,5"),
    "climb": (*PAIR,),
}
APART = ("search", "live")
"""One runs for minutes by design, and on several processes; the other serves until it is told to end."""
COMMANDS = {str(command.name): command for command in all_commands() if command.name not in APART}


def options_of(command: Any) -> list[tuple[str, str, Any]]:
    """Flag, metavar and type of each option of a command."""
    found = []
    for name, parameter in inspect.signature(command.callback, eval_str=True).parameters.items():
        kind, *marks = get_args(parameter.annotation)
        info = next((mark for mark in marks if isinstance(mark, typer.models.OptionInfo)), None)
        if info is not None:
            flags = [*(info.param_decls or ()), info.default, "--" + name.replace("_", "-")]
            flag = next(each for each in flags if isinstance(each, str) and each.startswith("--"))
            found.append((flag.split("/")[0], str(info.metavar or ""), kind))
    return found


def value_for(flag: str, metavar: str, kind: Any, chance: random.Random) -> list[str]:
    """A value for an option, likely or not; a switch has none."""
    kinds = [each for each in get_args(kind) if each is not type(None)] if get_origin(kind) is not type else [kind]
    kinds = kinds or [kind]
    if bool in kinds:
        return [flag]
    if flag in ("--out", "--report"):
        return [flag, chance.choice(("made", "made/page.html", "belt.toml", ".", "", "no/such/place/x.html"))]
    choices = [member.value for each in kinds if isinstance(each, type) and issubclass(each, Enum) for member in each]
    if choices and chance.random() < 0.7:
        return [flag, chance.choice(choices)]
    if chance.random() < 0.3:
        return [flag, chance.choice((*NUMBERS, *WORDS))]
    marks = [mark for mark in ",:/" if mark in metavar]
    pieces = max(len(metavar.split(marks[0])) if marks else 1, 1)
    pieces = max(pieces + chance.choice((0, 0, 0, 0, -1, 1)), 1)
    mark = marks[0] if marks else chance.choice((",", ":", "-"))
    return [flag, mark.join(_number(chance) for _ in range(pieces))]


WORDS = (
    "", " ", "x", "metric", "star", "torque", "speed", "belt.toml", "road.toml", "log.csv", "missing.toml", ".", "/",
    "/dev/null", "rider.mass_kg=60", "motor.kv_rpm_per_v=1e9", "=", "a=b=c", "pack.series=", "\u202ex", "\x1b[31m",
    "ä 漢 🚲", "1,2,,3", "1:2:3:4", "5-1", "nan,nan", "1e308,1e308,1e308", "x" * 3000, "--json", "-", "%s{0}", "1/0",
)  # fmt: skip


def _number(chance: random.Random) -> str:
    kind = chance.random()
    if kind < 0.15:
        return chance.choice(NUMBERS)
    if kind < 0.5:
        return str(chance.randint(0, 60))
    return f"{10 ** chance.uniform(-2.0, 3.0):.4g}"


@pytest.fixture(scope="module", autouse=True)
def place(tmp_path_factory: pytest.TempPathFactory):
    """A folder with builds, a road, a log and cells, in which commands run."""
    folder, before = tmp_path_factory.mktemp("options"), Path.cwd()
    shutil.copytree(Path(__file__).parents[2] / "configs" / "parts", folder / "parts")
    os.chdir(folder)
    yield folder
    os.chdir(before)


def _lay() -> None:
    """Put the inputs there anew: `new --force` may write over them."""
    for name, text in INPUTS.items():
        Path(name).write_text(text)


def _hold(name: str, tries: int, seed: int) -> int:
    """Try a command so often and return how many of the tries were answered."""
    chance, offered, answered = random.Random(f"{seed} {name}"), options_of(COMMANDS[name]), 0
    for _ in range(tries):
        words = [name, *BASES.get(name, PAIR)]
        for _ in range(chance.choice((1, 1, 2, 3))):
            words += value_for(*chance.choice(offered), chance)
        if chance.random() < 0.5 and name != "new":
            words.append("--json")
        if name == "evidence":  # the others ride and measure for a minute
            words += ["--subject", "air"]
        _lay()
        answered += asked(words, hang_s=PATIENCE_S)[0] == 0
    return answered


def test_every_command_has_options_to_try():
    assert all(len(options_of(command)) >= 1 for command in COMMANDS.values())
    assert sum(len(options_of(command)) for command in COMMANDS.values()) > 300


LONG = ("ride", "range", "size", "season", "dossier", "spread", "throttle", "compare")
"""Commands of many rides: their options are tried in a slow test."""


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.slow if name in LONG else ()) for name in COMMANDS]
)
def test_options_of_a_command(name: str):
    few = 1 if name == "dossier" else OPTION_TRIES  # ten commands in one
    _hold(name, few, SEED)


@pytest.mark.slow
@pytest.mark.parametrize("name", COMMANDS)
def test_options_of_a_command_many_times(name: str):
    assert _hold(name, MANY, SEED + 1) >= MANY // 20, "nearly all was refused: the tries tell little"
