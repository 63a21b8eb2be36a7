"""README tells the truth: its outputs, its table of keys and commands, its pictures and its Python lines."""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _blocks():
    spec = importlib.util.spec_from_file_location("readme_blocks", ROOT / "tests" / "readme_blocks.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_written_blocks_are_fresh():
    assert _blocks().refreshed(README) == README, "run: python tests/readme_blocks.py"


def test_pictures_exist():
    named = re.findall(r"\]\((\.github/[^)]+)\)", README)
    assert named
    assert not [name for name in named if not (ROOT / name).is_file()]


def test_python_lines_run(tmp_path: Path):
    lines = re.search(r"```python\n(.*?)```", README, re.S)[1]
    assert len([line for line in lines.splitlines() if line]) <= 10
    code = lines.replace('"temperatures.png"', repr(str(tmp_path / "t.png")))
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=240)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "t.png").stat().st_size > 10_000


def test_readme_names_every_command():
    from ridesim.cli.app import app

    for command in app.registered_commands:
        assert f"`ridesim {command.name}`" in README


def test_files_named_in_readme_exist():
    for name in re.findall(r"`((?:configs|routes)/[\w./-]+)`", README):
        assert (ROOT / name).exists(), name


def test_every_command_has_the_options_that_readme_promises():
    import inspect

    from ridesim.cli.app import app

    for command in app.registered_commands:
        has = set(inspect.signature(command.callback).parameters)
        if command.name == "new":  # writes files, answers nothing
            continue
        assert {"as_json", "out", "report"} <= has, command.name
        assert "units" in has or command.name == "evidence", command.name
        assert "set_" in has or not {"build", "builds"} & has, command.name
