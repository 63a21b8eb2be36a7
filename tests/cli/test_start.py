"""A quick start: the list of commands imports none of them, and a command imports only what it uses."""

from __future__ import annotations

import inspect
import subprocess
import sys
from pathlib import Path

import pytest

from ridesim.cli.app import COMMANDS, all_commands

ROOT = Path(__file__).parents[2]
MODULES = {f"ridesim.cli.{listed.module}" for listed in COMMANDS.values()}


def loaded_by(*words: str) -> set[str]:
    """Return the modules that a command has imported when it has answered."""
    code = (
        f"import sys\nfrom ridesim.cli.door import run\nsys.argv = {['ridesim', *words]!r}\ncode = run()\n"
        "print('\\n'.join(sys.modules), file=sys.stderr)\nraise SystemExit(code)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=240)
    assert done.returncode == 0, done.stderr
    return set(done.stderr.splitlines())


@pytest.mark.parametrize("command", all_commands(), ids=lambda command: str(command.name))
def test_the_list_says_what_the_command_says(command):
    assert COMMANDS[str(command.name)].help == inspect.getdoc(command.callback).split("\n\n")[0].replace("\n", " ")


def test_the_list_names_all_that_its_modules_register():
    assert [command.name for command in all_commands()] == list(COMMANDS)


def test_the_list_imports_no_command():
    assert not MODULES & loaded_by("--help")


@pytest.mark.parametrize("words", [("group", "--help"), ("explain", "Kv")])
def test_a_command_imports_no_other(words):
    assert MODULES & loaded_by(*words) == {f"ridesim.cli.{COMMANDS[words[0]].module}"}


HEAVY = (
    "scipy.linalg", "scipy.special", "scipy.stats", "scipy.optimize", "pandas", "matplotlib", "jinja2",
    "numpy.f2py", "numpy.testing", "statistics", "numba.np.arraymath", "numba.np.random.distributions",
)  # fmt: skip


@pytest.fixture(scope="module")
def compiled():
    """Let the model be compiled and kept on disk before anything is said of a warm start."""
    loaded_by("ride", "configs/longtail-belt.toml", "routes/ridge-climb.gpx")


@pytest.mark.usefixtures("compiled")
@pytest.mark.parametrize("more", [("--quick",), ("--quick", "--json"), (), ("--json",)])
def test_a_ride_leaves_what_is_heavy_alone(more):
    loaded = loaded_by("ride", "configs/longtail-belt.toml", "routes/ridge-climb.gpx", *more)
    assert not [name for name in HEAVY if name in loaded]


ASKS_NO_KERNEL = {
    "road": ("routes/terrace-round.gpx",),
    "pack": ("--voltage", "48", "--energy-wh", "600", "--current", "25"),
    "bench": ("--no-load", "24,1.0,2370", "--no-load", "48,1.7,4750", "--drop", "0.53,20,24"),
    "explain": ("Kv",),
}


@pytest.mark.parametrize("command", ASKS_NO_KERNEL)
def test_what_calls_no_kernel_starts_no_compiler(command):
    assert not {"numba", "llvmlite"} & loaded_by(command, *ASKS_NO_KERNEL[command])
